//! Makes a throw-away cluster vanish with us, however we die.
//!
//! A shell holds the other end of a pipe that only we write to. When we end, even by SIGKILL, its
//! `read` returns, and it stops the server and removes the directories.
//! This works alike on Linux and macOS; a signal at the parent's death (Linux alone) would come
//! when the *thread* that started the server ends.

use std::{
    os::unix::process::CommandExt,
    path::Path,
    process::{Child, Command, Stdio},
};

use crate::error::{ClusterError, io};

/// Arguments: the cluster's directory, the socket's directory.
///
/// The loop is for a death in the middle of things: `initdb` may still be writing, the server may
/// not have its pid file yet.
const SCRIPT: &str = r#"
trap '' HUP INT TERM
read -r _

# True once the server was told to stop; false where there is none (any more).
stop_server() {
    pid=$(sed -n 1p "$1/data/postmaster.pid")
    [ -n "$pid" ] || return 1
    if [ -d /proc/self ]; then
        case $(cat "/proc/$pid/stat") in
            *"(postgres) Z"*) return 1 ;;
            *"(postgres)"*) ;;
            *) return 1 ;;
        esac
    fi
    kill -QUIT "$pid"
}

tries=0
while [ -d "$1" ] && [ "$tries" -lt 200 ]; do
    stop_server "$1" || rm -rf "$1" "$2"
    [ ! -d "$1" ] || sleep 0.05 || sleep 1
    tries=$((tries + 1))
done
"#;

/// The waiting shell; dropped, it does its work.
#[derive(Debug)]
pub(crate) struct Watchdog(Child);

impl Watchdog {
    /// Starts to watch, before anything that would have to be removed is made.
    pub fn start(dir: &Path, sockets: &Path) -> Result<Self, ClusterError> {
        let shell = Path::new("/bin/sh");
        Command::new(shell)
            .args(["-c", SCRIPT, "sh"])
            .args([dir, sockets])
            .stdin(Stdio::piped())
            // Whoever reads our output to its end must not wait for the shell.
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .current_dir("/")
            .process_group(0)
            .spawn()
            .map(Self)
            .map_err(io("run", shell))
    }
}

impl Drop for Watchdog {
    fn drop(&mut self) {
        // The pipe closes, and the shell sees us gone. Its exit status says nothing we could use.
        drop(self.0.stdin.take());
        let _ = self.0.wait();
    }
}
