//! A file that is hashed while it is written.

use std::{
    fs::File,
    io::{self, BufWriter, Write},
    path::Path,
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
};

use sha2::{Digest, Sha256};

use super::Listed;

/// A file of a copy on its way.
pub(super) struct Output {
    name: &'static str,
    file: BufWriter<File>,
    hash: Sha256,
    bytes: u64,
    rows: u64,
    all_rows: Arc<AtomicU64>,
}

impl Output {
    pub fn create(dir: &Path, name: &'static str, all_rows: &Arc<AtomicU64>) -> io::Result<Self> {
        let file = BufWriter::new(File::create_new(dir.join(name))?);
        let all_rows = Arc::clone(all_rows);
        Ok(Self { name, file, hash: Sha256::new(), bytes: 0, rows: 0, all_rows })
    }

    /// One record and the end of its line.
    pub fn line(&mut self, line: &[u8]) -> io::Result<()> {
        self.write_all(line)?;
        self.write_all(b"\n")?;
        self.row();
        Ok(())
    }

    /// Counts a record that was written.
    pub fn row(&mut self) {
        self.rows += 1;
        self.all_rows.fetch_add(1, Ordering::Relaxed);
    }

    pub fn finish(self) -> io::Result<Listed> {
        let file = self.file.into_inner().map_err(io::IntoInnerError::into_error)?;
        file.sync_all()?;
        let sha256 = hex::encode(self.hash.finalize());
        Ok(Listed { name: self.name.to_owned(), bytes: self.bytes, rows: self.rows, sha256 })
    }
}

impl Write for Output {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.hash.update(&bytes[..written]);
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}
