//! A copy in one file: a tape archive as POSIX describes it (IEEE Std 1003.1, pax, "ustar
//! Interchange Format"), which every system can open.

use std::{
    fs::{self, File},
    io::{self, Read, Write},
    path::Path,
};

const BLOCK: usize = 512;

/// Most bytes of a file: eleven octal digits.
const LARGEST: u64 = 0o777_7777_7777;

/// Writes every file of the directory `dir` into `to`, in the order of their names.
pub fn pack(dir: &Path, to: &mut impl Write) -> io::Result<()> {
    let mut names = Vec::new();
    for entry in fs::read_dir(dir)? {
        let name = entry?.file_name().into_string();
        names.push(name.map_err(|_| io::Error::other("a name is no text"))?);
    }
    names.sort();
    for name in names {
        let mut file = File::open(dir.join(&name))?;
        let size = file.metadata()?.len();
        to.write_all(&header(&name, size)?)?;
        if io::copy(&mut file, to)? != size {
            return Err(io::Error::other("a file has changed meanwhile"));
        }
        to.write_all(&[0; BLOCK][..padding(size)])?;
    }
    // Two blocks of nothing are the end.
    to.write_all(&[0; 2 * BLOCK])
}

/// Writes the files of the archive `from` into the directory `dir`. Plain files with plain names
/// only: an archive from elsewhere writes nowhere else.
pub fn unpack(from: &mut impl Read, dir: &Path) -> io::Result<()> {
    let wrong = |what: &str| io::Error::new(io::ErrorKind::InvalidData, what);
    loop {
        let mut block = [0; BLOCK];
        from.read_exact(&mut block)?;
        if block == [0; BLOCK] {
            return Ok(());
        }
        if block[257..262] != *b"ustar" || !matches!(block[156], b'0' | 0) {
            return Err(wrong("the archive holds something else than plain files"));
        }
        if sum(&block) != octal(&block[148..156]).ok_or_else(|| wrong("a header has no sum"))? {
            return Err(wrong("the sum of a header is wrong"));
        }
        let name = text(&block[..100]).ok_or_else(|| wrong("a name is no text"))?;
        let plain = |it: char| it.is_ascii_alphanumeric() || "-_.".contains(it);
        if name.is_empty() || name.starts_with('.') || !name.chars().all(plain) {
            return Err(wrong("a name in the archive is not a plain one"));
        }
        let size = octal(&block[124..136]).ok_or_else(|| wrong("a size is no number"))?;
        let mut file = File::create_new(dir.join(name))?;
        if io::copy(&mut from.by_ref().take(size), &mut file)? != size {
            return Err(wrong("the archive is cut off"));
        }
        from.read_exact(&mut [0; BLOCK][..padding(size)])?;
    }
}

/// Bytes after a file up to the next block.
fn padding(size: u64) -> usize {
    let over = usize::try_from(size % BLOCK as u64).unwrap_or_default();
    (BLOCK - over) % BLOCK
}

fn header(name: &str, size: u64) -> io::Result<[u8; BLOCK]> {
    if name.len() >= 100 || size > LARGEST {
        return Err(io::Error::other("a file is too large for the archive, or its name too long"));
    }
    let mut block = [0; BLOCK];
    let mut put =
        |at: usize, text: &str| block[at..at + text.len()].copy_from_slice(text.as_bytes());
    put(0, name);
    put(100, "0000644");
    put(108, "0000000");
    put(116, "0000000");
    put(124, &format!("{size:011o}"));
    // The times of the files say nothing: the manifest names the moment.
    put(136, "00000000000");
    put(148, "        ");
    put(156, "0");
    put(257, "ustar");
    put(263, "00");
    let sum = sum(&block);
    block[148..155].copy_from_slice(format!("{sum:06o}\0").as_bytes());
    Ok(block)
}

/// The sum of a header, its own place counted as blanks.
fn sum(block: &[u8; BLOCK]) -> u64 {
    let bytes = block.iter().enumerate();
    bytes.map(|(at, byte)| if (148..156).contains(&at) { 32 } else { u64::from(*byte) }).sum()
}

fn text(field: &[u8]) -> Option<&str> {
    let end = field.iter().position(|it| *it == 0).unwrap_or(field.len());
    std::str::from_utf8(&field[..end]).ok()
}

fn octal(field: &[u8]) -> Option<u64> {
    u64::from_str_radix(text(field)?.trim(), 8).ok()
}

#[cfg(test)]
mod tests {
    use std::process::Command;

    use super::*;

    fn folder() -> tempfile::TempDir {
        let dir = tempfile::tempdir().unwrap();
        for (name, size) in [("a.txt", 0), ("b", 511), ("c", 512), ("manifest.json", 70_000)] {
            fs::write(dir.path().join(name), vec![b'x'; size]).unwrap();
        }
        dir
    }

    fn same(left: &Path, right: &Path) -> bool {
        ["a.txt", "b", "c", "manifest.json"]
            .iter()
            .all(|it| fs::read(left.join(it)).unwrap() == fs::read(right.join(it)).unwrap())
    }

    #[test]
    fn what_is_packed_is_unpacked() {
        let (dir, out) = (folder(), tempfile::tempdir().unwrap());
        let mut packed = Vec::new();
        pack(dir.path(), &mut packed).unwrap();
        unpack(&mut packed.as_slice(), out.path()).unwrap();
        assert!(same(dir.path(), out.path()));
        for cut in [1, 600, packed.len() - 2 * BLOCK - 1] {
            let out = tempfile::tempdir().unwrap();
            assert!(unpack(&mut &packed[..cut], out.path()).is_err(), "cut off at {cut}");
        }
    }

    /// Against another program: the system's own `tar` opens ours, and we open its.
    #[test]
    fn the_tar_of_the_system_understands_it_and_is_understood() {
        let (dir, out) = (folder(), tempfile::tempdir().unwrap());
        let file = out.path().join("ours.tar");
        pack(dir.path(), &mut File::create(&file).unwrap()).unwrap();
        let tar = |args: &[&str]| {
            let done = Command::new("tar").args(args).output().unwrap();
            assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
            String::from_utf8(done.stdout).unwrap()
        };
        let listed = tar(&["-tf", file.to_str().unwrap()]);
        assert_eq!(listed, "a.txt\nb\nc\nmanifest.json\n");
        let (theirs, mine) = (out.path().join("theirs"), out.path().join("mine"));
        fs::create_dir(&theirs).unwrap();
        fs::create_dir(&mine).unwrap();
        tar(&["-xf", file.to_str().unwrap(), "-C", theirs.to_str().unwrap()]);
        assert!(same(dir.path(), &theirs));
        let other = out.path().join("other.tar");
        let from = dir.path().to_str().unwrap();
        let names = ["--format=ustar", "-cf", other.to_str().unwrap(), "-C", from];
        tar(&[&names[..], &["a.txt", "b", "c", "manifest.json"]].concat());
        unpack(&mut File::open(&other).unwrap(), &mine).unwrap();
        assert!(same(dir.path(), &mine));
    }

    #[test]
    fn an_archive_writes_nowhere_else() {
        let out = tempfile::tempdir().unwrap();
        for name in ["../x", "/x", "a/b", ".x", ""] {
            let mut archive = header(name, 0).unwrap().to_vec();
            archive.extend([0; 2 * BLOCK]);
            assert!(unpack(&mut archive.as_slice(), out.path()).is_err(), "{name}");
        }
        let mut link = header("x", 0).unwrap();
        link[156] = b'2';
        assert!(unpack(&mut link.as_slice(), out.path()).is_err());
    }
}
