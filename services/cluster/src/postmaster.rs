//! Starts, finds and stops the server process.

use std::{
    fs::{self, OpenOptions},
    os::unix::fs::OpenOptionsExt,
    path::{Path, PathBuf},
    process::{Child, ExitStatus},
    thread,
    time::{Duration, Instant},
};

use rustix::process::{Pid, Signal, kill_process};

use crate::{
    account::{Account, command},
    binaries::Installation,
    error::{ClusterError, io},
    layout::Layout,
    pid_file::PidFile,
};

/// Recovery after a crash replays what the log holds; on a slow disk that takes minutes.
const START_LIMIT: Duration = Duration::from_mins(5);
/// A fast shutdown breaks sessions off, rolls back and writes a checkpoint.
const FAST_STOP_LIMIT: Duration = Duration::from_secs(30);
/// An immediate shutdown writes nothing; the next start recovers.
const IMMEDIATE_STOP_LIMIT: Duration = Duration::from_secs(10);
/// Sessions of a killed server notice its death at once; a long sort may hold one up.
const ORPHANS_LIMIT: Duration = Duration::from_secs(10);
/// How often a condition is looked at again.
const INTERVAL: Duration = Duration::from_millis(10);

/// The running server of one data directory: our child, or one that outlived an earlier parent.
#[derive(Debug)]
pub(crate) struct Postmaster {
    data: PathBuf,
    child: Option<Child>,
    /// What its pid file said when it was ready.
    pub process: PidFile,
}

impl Postmaster {
    /// Finds the server that an earlier parent left running when it was killed.
    ///
    /// One that is just starting is waited for, and so is one that is just stopping: it is gone
    /// then, and `None` is the answer.
    pub fn adopt(layout: &Layout) -> Result<Option<Self>, ClusterError> {
        let found = wait_for(START_LIMIT, || match PidFile::of_running(&layout.data) {
            None => Some(None),
            Some(process) => process.ready.then_some(Some(process)),
        });
        let running = found.ok_or_else(|| not_ready(layout))?;
        Ok(running.map(|process| Self { data: layout.data.clone(), child: None, process }))
    }

    /// Starts the server and returns when it takes connections.
    pub fn launch(
        layout: &Layout,
        server: &Installation,
        account: Option<&Account>,
        settings: &[(String, String)],
    ) -> Result<Self, ClusterError> {
        clear_stale_files(layout)?;
        let mut child = spawn(layout, server, account, settings)?;
        match wait_until_ready(&mut child, layout) {
            Ok(process) => Ok(Self { data: layout.data.clone(), child: Some(child), process }),
            Err(error) => {
                // The first error is the one to report.
                let _ = kill_process(Pid::from_child(&child), Signal::QUIT);
                let _ = child.wait();
                Err(error)
            }
        }
    }

    /// Stops the server: fast first, at once where that takes too long.
    pub fn stop(&mut self) -> Result<(), ClusterError> {
        let ways = [(Signal::INT, FAST_STOP_LIMIT), (Signal::QUIT, IMMEDIATE_STOP_LIMIT)];
        for (signal, limit) in ways {
            // The number may belong to another process by now.
            if self.process.is_running(&self.data) {
                self.process.signal(signal);
            }
            if self.ends_within(limit) {
                return Ok(());
            }
        }
        Err(self.not_stopped())
    }

    /// Waits for a server that somebody else has told to stop.
    pub fn wait_for_end(&mut self) -> Result<(), ClusterError> {
        if self.ends_within(IMMEDIATE_STOP_LIMIT) { Ok(()) } else { Err(self.not_stopped()) }
    }

    fn ends_within(&mut self, limit: Duration) -> bool {
        wait_for(limit, || self.has_ended().then_some(())).is_some()
    }

    /// Asks for the process itself; its pid file goes a little earlier.
    fn has_ended(&mut self) -> bool {
        match &mut self.child {
            // Taking its end leaves no zombie.
            Some(child) => child.try_wait().is_ok_and(|end| end.is_some()),
            None => !self.process.is_running(&self.data),
        }
    }

    fn not_stopped(&self) -> ClusterError {
        ClusterError::NotStopped { pid: self.process.pid }
    }
}

/// Waits for our child to take connections, and for nobody else's.
fn wait_until_ready(child: &mut Child, layout: &Layout) -> Result<PidFile, ClusterError> {
    let answer = wait_for(START_LIMIT, || {
        if let Ok(Some(status)) = child.try_wait() {
            return Some(Err(ended(layout, status)));
        }
        let own = |process: &PidFile| u32::try_from(process.pid) == Ok(child.id());
        PidFile::read(&layout.data).filter(|process| process.ready && own(process)).map(Ok)
    });
    answer.unwrap_or_else(|| Err(not_ready(layout)))
}

/// Clears the way for a start after a crash.
///
/// PostgreSQL refuses to start while a pid file names any living process of its account: one that
/// got the number later, or a zombie nobody reaps, as in a container. We know better than the
/// number (see [`PidFile::of_running`]), but must not fool PostgreSQL's second interlock, the
/// shared memory: while orphaned sessions hold it, the files stay and PostgreSQL decides.
fn clear_stale_files(layout: &Layout) -> Result<(), ClusterError> {
    let Some(file) = PidFile::read(&layout.data) else { return Ok(()) };
    if wait_for(ORPHANS_LIMIT, || (!file.memory_in_use()).then_some(())).is_none() {
        return Ok(());
    }
    let pid_file = layout.data.join("postmaster.pid");
    fs::remove_file(&pid_file).map_err(io("remove", &pid_file))?;
    // The socket has a lock file that is judged by a process number in the same way.
    let entries = fs::read_dir(&layout.sockets).map_err(io("list", &layout.sockets))?;
    for entry in entries.flatten() {
        if entry.file_name().to_string_lossy().starts_with(".s.PGSQL.") {
            fs::remove_file(entry.path()).map_err(io("remove", &entry.path()))?;
        }
    }
    Ok(())
}

fn spawn(
    layout: &Layout,
    server: &Installation,
    account: Option<&Account>,
    settings: &[(String, String)],
) -> Result<Child, ClusterError> {
    let log = OpenOptions::new()
        .create(true)
        .append(true)
        .mode(0o600)
        .open(&layout.log)
        .map_err(io("open", &layout.log))?;
    let program = server.bin_dir.join("postgres");
    let mut postgres = command(&program, account);
    postgres.arg("-D").arg(&layout.data).arg("-k").arg(&layout.sockets);
    // No TCP: the port is only a part of the socket's name, and nothing to clash over.
    postgres.args(["-p", "5432", "-c", "listen_addresses="]);
    for (name, value) in settings {
        postgres.arg("-c").arg(format!("{name}={value}"));
    }
    postgres.stdout(log.try_clone().map_err(io("open", &layout.log))?).stderr(log);
    postgres.spawn().map_err(io("run", &program))
}

fn not_ready(layout: &Layout) -> ClusterError {
    ClusterError::NotReady { seconds: START_LIMIT.as_secs(), log: layout.log.clone() }
}

fn ended(layout: &Layout, status: ExitStatus) -> ClusterError {
    ClusterError::Ended { status, log: layout.log.clone(), tail: tail(&layout.log) }
}

/// Returns the last lines of the log, where PostgreSQL says why it ended.
fn tail(log: &Path) -> String {
    let text = fs::read(log).unwrap_or_default();
    let text = String::from_utf8_lossy(&text);
    let lines: Vec<&str> = text.lines().collect();
    lines[lines.len().saturating_sub(8)..].join("\n")
}

/// Asks again and again until there is an answer or the time is up.
fn wait_for<T>(limit: Duration, mut question: impl FnMut() -> Option<T>) -> Option<T> {
    let end = Instant::now() + limit;
    loop {
        let answer = question();
        if answer.is_some() || Instant::now() > end {
            return answer;
        }
        thread::sleep(INTERVAL);
    }
}
