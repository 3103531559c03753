//! The comparison program: FastAPI and asyncpg with the same statements.

use std::{
    collections::BTreeMap,
    env,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
};

use harness::server::{free_address, until_answered};
use serde_json::json;

use crate::{Outcome, capture::Statement, http, options::Work, seed::World};

/// The program while it runs.
pub struct Comparison {
    address: String,
    plan: PathBuf,
    child: Child,
    joints: u32,
    coated: u32,
}

impl Comparison {
    /// Starts it with two workers.
    pub async fn start(
        python: &Path,
        url: &str,
        statements: &BTreeMap<Work, Vec<Statement>>,
        world: &World,
    ) -> Outcome<Self> {
        let named = |work: Work| format!("{work:?}").to_lowercase();
        let plan: BTreeMap<String, &Vec<Statement>> =
            statements.iter().map(|(work, it)| (named(*work), it)).collect();
        let file = env::temp_dir().join(format!("jointward-plan-{}.json", std::process::id()));
        std::fs::write(&file, json!({ "database": url, "statements": plan }).to_string())?;
        let address = free_address();
        let (host, port) = address.split_once(':').ok_or("an address without a port")?;
        let child = Command::new(python)
            .args(["-m", "uvicorn", "app:app", "--workers", "2", "--no-access-log"])
            .args(["--log-level", "warning", "--host", host, "--port", port])
            .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/bench/comparison"))
            .env("PLAN", &file)
            .stdout(Stdio::null())
            .spawn()?;
        let (joints, coated) = (world.joints, world.coated);
        let comparison = Self { address, plan: file, child, joints, coated };
        until_answered(&comparison.address).await;
        Ok(comparison)
    }

    /// Requests per second.
    pub async fn load(&self, work: Work, clients: u32, seconds: u32) -> Outcome<f64> {
        let make = |random: u64| {
            let joints = if work == Work::List { self.joints } else { self.coated };
            let joint = random % u64::from(joints) + 1;
            let (method, path) = match work {
                Work::Record => ("POST", format!("/joints/{joint}/events")),
                Work::List => ("GET", format!("/joints?after={joint}")),
                _ => ("GET", format!("/joints/{joint}")),
            };
            let body = if work == Work::Record { BODY } else { "" };
            format!(
                "{method} {path} HTTP/1.1\r\nhost: bench\r\ncontent-type: application/json\r\n\
                 content-length: {}\r\n\r\n{body}",
                body.len()
            )
            .into_bytes()
        };
        let answered = http::load(&self.address, clients, seconds, 200, &make).await?;
        Ok(answered.per_second)
    }
}

/// As long as the fact that the server is sent.
const BODY: &str = r#"{"kind":"holiday_tested","occurred_at":"2026-06-10T07:00:00Z","result":"pass","voltage_kv":15.0,"detector":"HD-1","holidays_found":0,"travel_speed_mm_s":200.0,"inspector":"P-INSPECTOR"}"#;

impl Drop for Comparison {
    fn drop(&mut self) {
        // The one that was started ends its workers when it is asked to end.
        if let Some(pid) = rustix::process::Pid::from_raw(self.child.id().try_into().unwrap_or(0)) {
            let _ = rustix::process::kill_process(pid, rustix::process::Signal::TERM);
        }
        let _ = self.child.wait();
        let _ = std::fs::remove_file(&self.plan);
    }
}
