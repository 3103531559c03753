//! Whether this process should be sent more requests, but for what the database says.

use std::{
    path::{Path, PathBuf},
    sync::atomic::{AtomicBool, Ordering},
};

/// Below both, PostgreSQL may soon stop in the middle of a write.
const LEAST_FREE_BYTES: u64 = 1 << 30;
/// The same as a share of the file system, 1/20.
const LEAST_FREE_SHARE: u64 = 20;

/// What is known of this process.
#[derive(Debug, Default)]
pub struct Readiness {
    draining: AtomicBool,
    data: Option<PathBuf>,
}

impl Readiness {
    /// Of a process whose database lies in `data`; `None` where it is somebody else's.
    pub fn with_data_in(data: Option<&Path>) -> Self {
        Self { draining: AtomicBool::new(false), data: data.map(Path::to_owned) }
    }

    /// Asks for no more requests, for good.
    pub fn drain(&self) {
        self.draining.store(true, Ordering::Relaxed);
    }

    /// Whether no more requests are asked for.
    pub fn is_draining(&self) -> bool {
        self.draining.load(Ordering::Relaxed)
    }

    /// Whether the data can grow: a GiB is free, or a twentieth of the file system. `None` where
    /// the data are not here.
    pub fn has_room(&self) -> Option<bool> {
        let stat = rustix::fs::statvfs(self.data.as_deref()?);
        Some(stat.is_ok_and(|it| suffices(it.f_bavail, it.f_blocks, it.f_frsize)))
    }
}

fn suffices(free: u64, all: u64, block: u64) -> bool {
    free.saturating_mul(block) >= LEAST_FREE_BYTES || free >= all / LEAST_FREE_SHARE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_disk_needs_a_share_and_a_large_one_a_gib() {
        let check = |free_mib: u64, all_gib: u64| suffices(free_mib * 256, all_gib * 262_144, 4096);
        assert!(check(1024, 1000) && check(512, 10) && check(52, 1));
        assert!(!check(1023, 1000) && !check(50, 1) && !check(0, 1));
    }

    #[test]
    fn room_is_looked_for_where_the_data_are() {
        assert_eq!(Readiness::default().has_room(), None);
        let nowhere = Readiness::with_data_in(Some(Path::new("/nowhere/at/all")));
        assert_eq!(nowhere.has_room(), Some(false));
        nowhere.drain();
        assert!(nowhere.is_draining());
    }
}
