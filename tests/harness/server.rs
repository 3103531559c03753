//! The server as a process of its own.

use std::{
    fs,
    net::TcpListener,
    path::Path,
    process::{Child, Command, Stdio},
    time::{Duration, Instant},
};

use serde_json::{Value, json};

use crate::{
    actor::PASSWORD,
    http::{Connection, post},
};

/// A started server; dropped, it is killed.
#[derive(Debug)]
pub struct Server {
    /// Where it listens.
    pub address: String,
    child: Child,
}

impl Server {
    /// Starts `program` on the database at `url` and waits for its first answer.
    pub async fn start(program: &Path, url: &str) -> Self {
        let address = free_address();
        let mut command = Command::new(program);
        command.args(["serve", "--listen", &address]).env("DATABASE_URL", url);
        // One user asks here as many.
        command.args(["--requests-per-minute", "0", "--releases-per-minute", "0"]);
        let child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        let server = Self { address, child };
        until_answered(&server.address).await;
        server
    }

    /// An access token of `email`; it ends after ten minutes.
    pub async fn token(&self, email: &str) -> String {
        let who = json!({ "email": email, "password": PASSWORD });
        let session = self.ask(&post("/v1/sessions", "", &who), 201).await;
        session["access_token"].as_str().unwrap().to_owned()
    }

    /// Asks once, on a new connection.
    pub async fn ask(&self, request: &[u8], wanted: u16) -> Value {
        let mut connection = Connection::open(&self.address).await.unwrap();
        let status = connection.ask(request).await.unwrap();
        let body = String::from_utf8_lossy(connection.body()).into_owned();
        assert_eq!(status, wanted, "{body}");
        serde_json::from_str(&body).unwrap()
    }

    /// Memory in use now, and the most since it was last forgotten, MB.
    pub fn memory_mb(&self) -> (f64, f64) {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let read = |name: &str| -> f64 {
            let line = status.lines().find(|it| it.starts_with(name)).unwrap();
            line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
        };
        (read("VmRSS:"), read("VmHWM:"))
    }

    /// Lets the most that is remembered begin anew.
    pub fn forget_most_memory(&self) {
        fs::write(format!("/proc/{}/clear_refs", self.child.id()), "5").unwrap();
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An address that is free now; nobody else is told of it.
pub fn free_address() -> String {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().to_string()
}

/// Waits for the first answer from `address`.
pub async fn until_answered(address: &str) {
    let end = Instant::now() + Duration::from_mins(1);
    while Instant::now() < end {
        if let Ok(mut connection) = Connection::open(address).await
            && connection.ask(b"GET /livez HTTP/1.1\r\nhost: test\r\n\r\n").await.is_ok()
        {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("nobody answers at {address}");
}
