//! Where PostgreSQL's server programs are.
//!
//! The newest major version wins, except that existing data are opened by exactly the version
//! that wrote them.

use std::{
    env, fs,
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

use crate::error::ClusterError;

/// The oldest major version our SQL is written for.
pub(crate) const OLDEST_MAJOR: u32 = 15;

/// One installed PostgreSQL server.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Installation {
    /// Its major version.
    pub major: u32,
    /// The directory that holds `postgres` and `initdb`.
    pub bin_dir: PathBuf,
}

/// Returns the usable servers of this machine, newest first.
pub fn installed() -> Vec<Installation> {
    inspect(named_dir().map_or_else(search_places, |dir| vec![dir]))
}

/// Returns the server to use: of the major version that wrote `data`, else the newest.
pub(crate) fn choose(bin_dir: Option<&Path>, data: &Path) -> Result<Installation, ClusterError> {
    let named = bin_dir.map(Path::to_path_buf).or_else(named_dir);
    let found = inspect(named.clone().map_or_else(search_places, |dir| vec![dir]));
    if found.is_empty() {
        return Err(match named {
            Some(dir) => ClusterError::NoServerIn { dir, oldest: OLDEST_MAJOR },
            None => ClusterError::NoServer { oldest: OLDEST_MAJOR },
        });
    }
    let needed = written_by(data);
    found.into_iter().find(|server| needed.is_none_or(|needed| server.major == needed)).ok_or_else(
        || ClusterError::MajorMissing {
            data: data.to_path_buf(),
            needed: needed.unwrap_or(OLDEST_MAJOR),
        },
    )
}

/// The user's own word on where the programs are; nothing else is then looked at.
fn named_dir() -> Option<PathBuf> {
    env::var_os("PG_BIN_DIR").filter(|dir| !dir.is_empty()).map(PathBuf::from)
}

/// The major version that wrote the data, if there are any.
fn written_by(data: &Path) -> Option<u32> {
    fs::read_to_string(data.join("PG_VERSION")).ok()?.trim().parse().ok()
}

/// Every directory that packagers are known to use, below the root and as PATH says.
fn search_places() -> Vec<PathBuf> {
    let mut places = package_places(Path::new("/"));
    places.extend(pg_config_place());
    places.extend(env::var_os("PATH").iter().flat_map(env::split_paths));
    places
}

/// The directories of Debian, RPM, Homebrew and the macOS application, and a few plain ones.
fn package_places(root: &Path) -> Vec<PathBuf> {
    let one_per_version = [
        ("usr/lib/postgresql", ""),
        ("usr/local/lib/postgresql", ""),
        ("usr", "pgsql-"),
        ("opt/homebrew/opt", "postgresql"),
        ("usr/local/opt", "postgresql"),
        ("home/linuxbrew/.linuxbrew/opt", "postgresql"),
        ("Applications/Postgres.app/Contents/Versions", ""),
    ];
    let plain = ["usr/libexec/postgresql", "usr/bin", "usr/local/bin", "usr/local/pgsql/bin"];
    one_per_version
        .iter()
        .flat_map(|(parent, prefix)| versions_in(&root.join(parent), prefix))
        .chain(plain.iter().map(|place| root.join(place)))
        .collect()
}

fn versions_in(parent: &Path, prefix: &str) -> Vec<PathBuf> {
    fs::read_dir(parent)
        .into_iter()
        .flatten()
        .flatten()
        .filter(|entry| entry.file_name().to_string_lossy().starts_with(prefix))
        .map(|entry| entry.path().join("bin"))
        .collect()
}

/// What `pg_config` says; the server itself need not be installed there.
fn pg_config_place() -> Option<PathBuf> {
    let answer =
        Command::new("pg_config").arg("--bindir").stderr(Stdio::null()).output().ok()?.stdout;
    Some(PathBuf::from(String::from_utf8(answer).ok()?.trim()))
}

/// Keeps the directories that hold a usable server, newest first.
fn inspect(places: Vec<PathBuf>) -> Vec<Installation> {
    let mut found: Vec<Installation> = Vec::new();
    for bin_dir in places {
        if found.iter().all(|known| known.bin_dir != bin_dir)
            && let Some(major) = major_of(&bin_dir).filter(|major| *major >= OLDEST_MAJOR)
        {
            found.push(Installation { major, bin_dir });
        }
    }
    found.sort_by_key(|server| std::cmp::Reverse(server.major));
    found
}

/// Asks the server program itself for its version.
fn major_of(bin_dir: &Path) -> Option<u32> {
    let postgres = bin_dir.join("postgres");
    if !postgres.is_file() || !bin_dir.join("initdb").is_file() {
        return None;
    }
    let answer = Command::new(postgres).arg("--version").stderr(Stdio::null()).output().ok()?;
    parse_major(&String::from_utf8_lossy(&answer.stdout))
}

/// Reads `postgres (PostgreSQL) 15.14 (Debian 15.14-0+deb12u1)` and `... 19beta1`.
fn parse_major(version: &str) -> Option<u32> {
    version.split_whitespace().find_map(|word| {
        let digits = word.find(|c: char| !c.is_ascii_digit()).map_or(word, |end| &word[..end]);
        digits.parse().ok()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    /// A machine of its own: a root directory with pretended servers.
    struct Machine(PathBuf);

    impl Machine {
        fn new(name: &str) -> Self {
            Self(env::temp_dir().join(format!("jw-{name}-{}", std::process::id())))
        }

        fn with_server(self, bin_dir: &str, version: &str) -> Self {
            let bin_dir = self.0.join(bin_dir);
            fs::create_dir_all(&bin_dir).unwrap();
            for program in ["postgres", "initdb"] {
                let script = format!("#!/bin/sh\necho '{program} (PostgreSQL) {version}'\n");
                fs::write(bin_dir.join(program), script).unwrap();
                let mode = fs::Permissions::from_mode(0o755);
                fs::set_permissions(bin_dir.join(program), mode).unwrap();
            }
            self
        }

        fn majors(&self) -> Vec<u32> {
            inspect(package_places(&self.0)).iter().map(|server| server.major).collect()
        }
    }

    impl Drop for Machine {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    #[test]
    fn servers_of_every_packager_are_found_newest_first() {
        let machine = Machine::new("packagers")
            .with_server("usr/lib/postgresql/15/bin", "15.14 (Debian 15.14-0+deb12u1)")
            .with_server("usr/pgsql-17/bin", "17.2")
            .with_server("opt/homebrew/opt/postgresql@18/bin", "18.0 (Homebrew)")
            .with_server("usr/local/pgsql/bin", "16.1");

        assert_eq!(machine.majors(), [18, 17, 16, 15]);
    }

    #[test]
    fn a_server_that_is_too_old_is_as_good_as_none() {
        let machine = Machine::new("old").with_server("usr/lib/postgresql/14/bin", "14.9");

        assert_eq!(machine.majors(), [0_u32; 0]);
    }

    #[test]
    fn data_are_opened_by_the_version_that_wrote_them() {
        let machine = Machine::new("needed").with_server("bin", "17.2");
        let data = machine.0.join("data");
        fs::create_dir_all(&data).unwrap();

        fs::write(data.join("PG_VERSION"), "17\n").unwrap();
        let server = choose(Some(&machine.0.join("bin")), &data).unwrap();
        assert_eq!(server.major, 17);

        fs::write(data.join("PG_VERSION"), "16\n").unwrap();
        let refusal = choose(Some(&machine.0.join("bin")), &data).unwrap_err();
        assert!(refusal.to_string().contains("apt-get install postgresql-16"), "{refusal}");
    }

    #[test]
    fn versions_are_read_as_packagers_write_them() {
        let cases = [
            ("postgres (PostgreSQL) 15.14 (Debian 15.14-0+deb12u1)", Some(15)),
            ("postgres (PostgreSQL) 19beta1", Some(19)),
            ("", None),
        ];
        for (text, major) in cases {
            assert_eq!(parse_major(text), major, "{text}");
        }
    }
}
