//! What `postmaster.pid` says, and whether it is still true.
//!
//! The file outlives a server that is killed, and process numbers are used again.
//! It is believed only where the process it names really works in this data directory.

use std::{
    fs, io,
    os::unix::net::UnixStream,
    path::{Path, PathBuf},
};

use rustix::process::{Pid, Signal, kill_process, test_kill_process};

/// The content of `postmaster.pid`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct PidFile {
    pub pid: i32,
    pub port: String,
    pub sockets: PathBuf,
    /// The number of the shared memory segment that every process of the server holds.
    pub segment: Option<String>,
    /// The server takes connections; before, it starts or recovers; after, it stops.
    pub ready: bool,
}

/// What is to be seen of a process.
enum Sight {
    Gone,
    WorksIn(PathBuf),
    /// It lives, but this system or our rights do not show where.
    Hidden,
}

impl PidFile {
    /// Reads the file; `None` where there is none, or none that is complete yet.
    pub fn read(data: &Path) -> Option<Self> {
        Self::parse(&fs::read_to_string(data.join("postmaster.pid")).ok()?)
    }

    /// The lines are: pid, data directory, start time, port, socket directory, listen address,
    /// shared memory (key and number), status.
    fn parse(text: &str) -> Option<Self> {
        let lines: Vec<&str> = text.lines().map(str::trim).collect();
        let line = |number: usize| lines.get(number - 1).copied();
        Some(Self {
            pid: line(1)?.parse().ok()?,
            port: line(4)?.to_owned(),
            sockets: PathBuf::from(line(5)?),
            segment: line(7).and_then(|memory| memory.split_whitespace().nth(1)).map(str::to_owned),
            ready: line(8) == Some("ready"),
        })
    }

    /// Reads the file and keeps it only if its server lives and works on these data.
    pub fn of_running(data: &Path) -> Option<Self> {
        Self::read(data).filter(|file| file.is_running(data))
    }

    /// Says whether the server this file named, perhaps a while ago, lives and works on `data`.
    pub fn is_running(&self, data: &Path) -> bool {
        match sight_of(self.pid) {
            Sight::Gone => false,
            // The data may lie elsewhere, behind a link.
            Sight::WorksIn(dir) => data.canonicalize().is_ok_and(|data| data == dir),
            Sight::Hidden => may_be_postgres(self.pid) && self.socket_answers(),
        }
    }

    /// The socket lies in a directory of this cluster alone: only its own server listens there.
    fn socket_answers(&self) -> bool {
        UnixStream::connect(self.sockets.join(format!(".s.PGSQL.{}", self.port))).is_ok()
    }

    /// Says whether processes of the server named by this file still hold its shared memory.
    ///
    /// Sessions of a killed server end a little after it; until then the data are theirs.
    pub fn memory_in_use(&self) -> bool {
        let Some(segment) = &self.segment else { return false };
        let table = fs::read_to_string("/proc/sysvipc/shm").unwrap_or_default();
        table.lines().any(|line| {
            let columns: Vec<&str> = line.split_whitespace().collect();
            columns.get(1) == Some(&segment.as_str())
                && columns.get(6).is_some_and(|attached| *attached != "0")
        })
    }

    /// Sends a signal to the server.
    pub fn signal(&self, signal: Signal) {
        if let Some(pid) = Pid::from_raw(self.pid) {
            // It may have ended just now, which is what the signal is for.
            let _ = kill_process(pid, signal);
        }
    }
}

fn sight_of(pid: i32) -> Sight {
    match fs::read_link(format!("/proc/{pid}/cwd")) {
        Ok(dir) => Sight::WorksIn(dir),
        // A zombie has no directory any more: it counts as gone.
        Err(error)
            if error.kind() == io::ErrorKind::NotFound && Path::new("/proc/self").exists() =>
        {
            Sight::Gone
        }
        Err(_) if exists(pid) => Sight::Hidden,
        Err(_) => Sight::Gone,
    }
}

fn exists(pid: i32) -> bool {
    Pid::from_raw(pid)
        .is_some_and(|pid| matches!(test_kill_process(pid), Ok(()) | Err(rustix::io::Errno::PERM)))
}

/// Reads `15 (postgres) S ...`; a system without this file leaves the answer to the socket.
fn may_be_postgres(pid: i32) -> bool {
    fs::read_to_string(format!("/proc/{pid}/stat"))
        .map_or(true, |stat| stat.contains("(postgres) ") && !stat.contains(") Z "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_is_read_line_by_line() {
        let text = "42\n/d/data\n1795599203\n5432\n/d/s\n\n 10010657         4\nready   \n";
        let expected = PidFile {
            pid: 42,
            port: "5432".to_owned(),
            sockets: PathBuf::from("/d/s"),
            segment: Some("4".to_owned()),
            ready: true,
        };
        assert_eq!(PidFile::parse(text), Some(expected.clone()));

        let stopping = text.replace("ready", "stopping");
        assert_eq!(PidFile::parse(&stopping), Some(PidFile { ready: false, ..expected }));
        assert_eq!(PidFile::parse("42\n/d/data\n"), None);
    }

    #[test]
    fn a_process_that_works_elsewhere_is_not_our_server() {
        let data = std::env::temp_dir().join(format!("jw-elsewhere-{}", std::process::id()));
        fs::create_dir_all(&data).unwrap();
        let own_pid = std::process::id();
        let text = format!("{own_pid}\n{}\n0\n5432\n/nowhere\n\n1 1\nready\n", data.display());
        fs::write(data.join("postmaster.pid"), text).unwrap();

        let running = PidFile::of_running(&data);

        fs::remove_dir_all(&data).unwrap();
        assert_eq!(running, None);
    }
}
