//! Where a ticket is kept, and how a line gets there: whole or not at all, whoever else writes.
//!
//! Appending takes the file's lock, looks at the last byte, writes once and asks the system to put it on the disk. A crash
//! in between leaves a last line without its end; the next append marks that line as cut off, within its own single write,
//! so that at no byte of any write an answer stands that was not given.

use crate::sheet::TORN;
use std::fs::{File, OpenOptions};
use std::io::{Error, ErrorKind, Read, Result, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// Something that keeps the bytes of a ticket.
pub trait Store {
    /// All bytes; nothing when it does not exist yet.
    ///
    /// # Errors
    /// Of reading.
    fn read(&self) -> Result<Vec<u8>>;

    /// Adds lines behind what is there, as one write.
    ///
    /// # Errors
    /// Of writing; the lines are then there in part or not at all.
    fn append(&mut self, lines: &[String]) -> Result<()>;

    /// [`Store::append`] if there are still `seen` bytes; whether it was done. What two benches write at once is then composed
    /// of what is there.
    ///
    /// # Errors
    /// As [`Store::append`].
    fn append_if(&mut self, seen: usize, lines: &[String]) -> Result<bool> {
        let same = self.read()?.len() == seen;
        if same {
            self.append(lines)?;
        }
        Ok(same)
    }
}

/// What to write for these lines when the file ends with `last` (`None`: it is empty): a cut-off line before them is marked
/// as such, and no line breaks another.
///
/// ```
/// use whichsocket::ticket::store::written;
/// assert_eq!(written(Some(b'\n'), &["memory ok".into()]), b"memory ok\n");
/// assert_eq!(written(Some(b'9'), &["memory ok".into()]), b" # torn: not used\nmemory ok\n");
/// ```
pub fn written(last: Option<u8>, lines: &[String]) -> Vec<u8> {
    let mut out = String::new();
    if last.is_some_and(|b| b != b'\n') {
        out += &format!(" {TORN}\n");
    }
    for line in lines {
        out += &line.replace(['\n', '\r'], " ");
        out.push('\n');
    }
    out.into_bytes()
}

/// A ticket in a file.
#[derive(Debug, Clone)]
pub struct FileStore {
    path: PathBuf,
}

impl FileStore {
    /// The ticket at this path, there or not.
    pub fn new(path: &Path) -> Self {
        Self {
            path: path.to_path_buf(),
        }
    }
}

impl Store for FileStore {
    fn read(&self) -> Result<Vec<u8>> {
        let file = match File::open(&self.path) {
            Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
            file => file?,
        };
        // A writer in the middle of a line is waited for.
        file.lock_shared()?;
        let mut bytes = Vec::new();
        file.take(crate::sheet::MOST_BYTES as u64 + 1)
            .read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn append(&mut self, lines: &[String]) -> Result<()> {
        self.write(None, lines).map(|_| ())
    }

    fn append_if(&mut self, seen: usize, lines: &[String]) -> Result<bool> {
        self.write(Some(seen as u64), lines)
    }
}

impl FileStore {
    /// Writes under the lock, if the file is still as long as it was seen.
    fn write(&mut self, seen: Option<u64>, lines: &[String]) -> Result<bool> {
        let new = !self.path.exists();
        let mut file = OpenOptions::new()
            .read(true)
            .append(true)
            .create(true)
            .open(&self.path)?;
        file.lock()?;
        let length = file.seek(SeekFrom::End(0))?;
        if seen.is_some_and(|seen| seen != length) {
            return Ok(false);
        }
        let mut last = [0];
        let last = if length > 0 {
            file.seek(SeekFrom::Start(length - 1))?;
            file.read_exact(&mut last)?;
            Some(last[0])
        } else {
            None
        };
        let bytes = written(last, lines);
        let n = file.write(&bytes)?;
        file.sync_all()?;
        if new {
            sync_folder(&self.path);
        }
        if n < bytes.len() {
            return Err(Error::new(
                ErrorKind::WriteZero,
                "the disk took only a part of the line",
            ));
        }
        Ok(true)
    }
}

/// Puts the name of a new file on the disk too. Where folders cannot be opened as files the system does that by itself.
fn sync_folder(path: &Path) {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    if let Ok(folder) = File::open(folder.unwrap_or(Path::new("."))) {
        let _ = folder.sync_all();
    }
}
