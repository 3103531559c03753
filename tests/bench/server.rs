//! The server as a process of its own.

use std::{
    fs,
    net::TcpListener,
    path::PathBuf,
    process::{Child, Command, Stdio},
    time::{Duration, Instant},
};

use harness::{Line, actor::PASSWORD};
use serde_json::{Value, json};

use crate::{Outcome, http::Connection, options::Options, requests::post};

/// A started server; dropped, it is killed.
pub struct Server {
    /// Where it listens.
    pub address: String,
    child: Child,
}

impl Server {
    /// Starts the server on the database of `line`.
    pub async fn start(line: &Line, options: &Options) -> Outcome<Self> {
        let built = || PathBuf::from(env!("CARGO_BIN_EXE_jointward"));
        let program = options.server.clone().unwrap_or_else(built);
        let address = free_address()?;
        let child = Command::new(program)
            .args(["serve", "--listen", &address])
            .env("DATABASE_URL", &line.app.database.url)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()?;
        let server = Self { address, child };
        until_answered(&server.address).await?;
        Ok(server)
    }

    /// An access token of `email`; it ends after ten minutes.
    pub async fn token(&self, email: &str) -> Outcome<String> {
        let who = json!({ "email": email, "password": PASSWORD });
        let session = self.ask(&post("/v1/sessions", "", &who), 201).await?;
        Ok(session["access_token"].as_str().ok_or("a session without a token")?.to_owned())
    }

    /// Asks once, on a new connection.
    pub async fn ask(&self, request: &[u8], wanted: u16) -> Outcome<Value> {
        let mut connection = Connection::open(&self.address).await?;
        let status = connection.ask(request).await?;
        let body = String::from_utf8_lossy(connection.body()).into_owned();
        if status != wanted {
            return Err(format!("{status} instead of {wanted}: {body}").into());
        }
        Ok(serde_json::from_str(&body)?)
    }

    /// Memory in use now and at most since [`Self::forget_peak`], MB.
    pub fn memory_mb(&self) -> Outcome<(f64, f64)> {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id()))?;
        let read = |name: &str| -> Option<f64> {
            let line = status.lines().find(|it| it.starts_with(name))?;
            Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
        };
        Ok((read("VmRSS:").ok_or("no VmRSS")?, read("VmHWM:").ok_or("no VmHWM")?))
    }

    /// Lets the peak begin anew.
    pub fn forget_peak(&self) -> Outcome<()> {
        Ok(fs::write(format!("/proc/{}/clear_refs", self.child.id()), "5")?)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Free now, and nobody else is told of it.
pub fn free_address() -> Outcome<String> {
    Ok(TcpListener::bind("127.0.0.1:0")?.local_addr()?.to_string())
}

/// Waits for the first answer.
pub async fn until_answered(address: &str) -> Outcome<()> {
    let end = Instant::now() + Duration::from_mins(1);
    while Instant::now() < end {
        if let Ok(mut connection) = Connection::open(address).await
            && connection.ask(b"GET /livez HTTP/1.1\r\nhost: bench\r\n\r\n").await.is_ok()
        {
            return Ok(());
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    Err(format!("nobody answers at {address}").into())
}
