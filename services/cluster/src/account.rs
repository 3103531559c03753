//! Who runs PostgreSQL.
//!
//! PostgreSQL refuses to run as root.
//! Started by root, it therefore runs as an existing unprivileged account; `initdb` wants one with
//! an entry in the password file, so an invented number would not do.

use std::{
    fs,
    os::unix::fs::MetadataExt,
    os::unix::process::CommandExt,
    path::Path,
    process::{Command, Stdio},
};

use crate::error::{ClusterError, io};

/// The accounts to run as when root starts the cluster, best first.
const CANDIDATES: [&str; 2] = ["postgres", "nobody"];

/// An unprivileged account of this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Account {
    pub name: String,
    pub uid: u32,
    pub gid: u32,
}

impl Account {
    /// Returns the account PostgreSQL must run as, or `None` where our own will do.
    pub fn needed(data: &Path) -> Result<Option<Self>, ClusterError> {
        if !rustix::process::geteuid().is_root() {
            return Ok(None);
        }
        let passwd_path = Path::new("/etc/passwd");
        let passwd = fs::read_to_string(passwd_path).map_err(io("read", passwd_path))?;
        Self::owner(data, &passwd)
            .or_else(|| CANDIDATES.iter().find_map(|name| Self::by_name(&passwd, name)))
            .map(Some)
            .ok_or(ClusterError::NoAccount)
    }

    /// Data that exist are only ever opened by their owner.
    fn owner(data: &Path, passwd: &str) -> Option<Self> {
        let metadata = fs::metadata(data).ok().filter(|metadata| metadata.uid() != 0)?;
        let known = passwd.lines().filter_map(Self::parse).find(|a| a.uid == metadata.uid());
        Some(known.unwrap_or_else(|| Self {
            name: metadata.uid().to_string(),
            uid: metadata.uid(),
            gid: metadata.gid(),
        }))
    }

    fn by_name(passwd: &str, name: &str) -> Option<Self> {
        passwd.lines().filter_map(Self::parse).find(|account| account.name == name)
    }

    /// Reads one line of the password file: `name:password:uid:gid:...`.
    fn parse(line: &str) -> Option<Self> {
        let mut fields = line.split(':');
        let name = fields.next()?.to_owned();
        let uid = fields.nth(1)?.parse().ok()?;
        let gid = fields.next()?.parse().ok()?;
        Some(Self { name, uid, gid })
    }

    /// Refuses a directory the account cannot reach, naming the one that is closed.
    pub fn check_may_enter(&self, dir: &Path) -> Result<(), ClusterError> {
        for part in dir.ancestors() {
            let metadata = fs::metadata(part).map_err(io("look at", part))?;
            let bit = match (metadata.uid() == self.uid, metadata.gid() == self.gid) {
                (true, _) => 0o100,
                (false, true) => 0o010,
                (false, false) => 0o001,
            };
            if metadata.mode() & bit == 0 {
                return Err(ClusterError::CannotEnter {
                    dir: part.to_path_buf(),
                    account: self.name.clone(),
                });
            }
        }
        Ok(())
    }
}

/// Returns a command that runs a server program as the right account, apart from our terminal.
pub(crate) fn command(program: &Path, account: Option<&Account>) -> Command {
    let mut command = Command::new(program);
    if let Some(account) = account {
        command.uid(account.uid).gid(account.gid);
    }
    command
        .stdin(Stdio::null())
        // Our own directory may be closed to the account.
        .current_dir("/")
        // Messages we can read, whoever starts us and wherever.
        .env("LC_ALL", "C.UTF-8")
        .env("TZ", "UTC")
        // Ctrl-C at the terminal reaches us; we then stop PostgreSQL in good order.
        .process_group(0);
    command
}

#[cfg(test)]
mod tests {
    use super::*;

    const PASSWD: &str = "root:x:0:0:root:/root:/bin/sh\n\
                          broken line\n\
                          postgres:x:101:104:PostgreSQL,,,:/var/lib/postgresql:/bin/bash\n";

    #[test]
    fn an_account_is_read_from_the_password_file() {
        let postgres = Account { name: "postgres".to_owned(), uid: 101, gid: 104 };
        assert_eq!(Account::by_name(PASSWD, "postgres"), Some(postgres));
        assert_eq!(Account::by_name(PASSWD, "broken line"), None);
    }

    #[test]
    fn a_closed_directory_is_named() {
        use std::os::unix::fs::PermissionsExt;
        let closed = std::env::temp_dir().join(format!("jw-closed-{}", std::process::id()));
        let inner = closed.join("inner");
        fs::create_dir_all(&inner).unwrap();
        let nobody = Account { name: "nobody".to_owned(), uid: 65534, gid: 65534 };

        fs::set_permissions(&closed, fs::Permissions::from_mode(0o700)).unwrap();
        let refusal = nobody.check_may_enter(&inner).unwrap_err();

        fs::remove_dir_all(&closed).unwrap();
        assert!(matches!(&refusal, ClusterError::CannotEnter { dir, .. } if *dir == closed));
        assert!(refusal.to_string().contains("`nobody`, who may not enter"), "{refusal}");
    }
}
