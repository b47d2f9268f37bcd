//! Bodies: kept in memory while small, in an unnamed file beyond, never above their limit.
//!
//! The bytes are kept as the server sent them. Packed bodies are unpacked by the decoder, which
//! holds the same limit again.

use flate2::bufread::MultiGzDecoder;
use ring::digest::{Context, SHA256};
use std::fs::File;
use std::io::{self, BufRead, BufReader, Cursor, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// A body that is larger goes to disk.
const MEMORY_BYTES: usize = 1024 * 1024;

/// A whole body.
#[derive(Debug)]
pub struct Body {
    store: Store,
    length: u64,
    digest: String,
}

#[derive(Debug)]
enum Store {
    Memory(Vec<u8>),
    /// Has no name, so that nothing is left behind whatever ends the process.
    Spooled(File),
    /// A file of the author's, read in place.
    File(PathBuf),
}

/// A body while it arrives.
pub struct Spool {
    memory: Vec<u8>,
    file: Option<File>,
    directory: Option<PathBuf>,
    limit_bytes: u64,
    length: u64,
    hash: Context,
}

/// Why bytes were not taken.
#[derive(Debug)]
pub enum SpoolFault {
    TooLarge,
    Disk(io::Error),
}

impl Body {
    /// Takes a file of the author's as it stands, reading it once for its digest.
    ///
    /// # Errors
    /// The file cannot be read, or is larger than the limit.
    pub fn of_file(path: &Path, limit_bytes: u64) -> Result<Body, SpoolFault> {
        let mut file = File::open(path).map_err(SpoolFault::Disk)?;
        let mut hash = Context::new(&SHA256);
        let mut buffer = vec![0; 64 * 1024];
        let mut length = 0;
        loop {
            let n_read = file.read(&mut buffer).map_err(SpoolFault::Disk)?;
            if n_read == 0 {
                break;
            }
            length += n_read as u64;
            if length > limit_bytes {
                return Err(SpoolFault::TooLarge);
            }
            hash.update(&buffer[..n_read]);
        }
        let store = Store::File(path.to_owned());
        let digest = hex(hash);
        Ok(Body {
            store,
            length,
            digest,
        })
    }

    /// Takes everything that a reader gives, such as standard input.
    ///
    /// # Errors
    /// Reading fails, or there is more than the limit.
    pub fn of_reader(mut reader: impl Read, mut spool: Spool) -> Result<Body, SpoolFault> {
        let mut buffer = vec![0; 64 * 1024];
        loop {
            match reader.read(&mut buffer).map_err(SpoolFault::Disk)? {
                0 => return spool.finish(),
                n_read => spool.push(&buffer[..n_read])?,
            }
        }
    }

    /// A reader from the first byte. It borrows the body, so there is one at a time.
    ///
    /// # Errors
    /// The file behind the body cannot be read.
    pub fn open(&mut self) -> io::Result<Box<dyn BufRead + Send + '_>> {
        Ok(match &mut self.store {
            Store::Memory(bytes) => Box::new(Cursor::new(bytes.as_slice())),
            Store::Spooled(file) => {
                file.seek(SeekFrom::Start(0))?;
                Box::new(BufReader::new(file))
            }
            Store::File(path) => Box::new(BufReader::new(File::open(path)?)),
        })
    }

    /// Takes a file that is read in place into memory, as it is now.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn detach(&mut self) -> io::Result<()> {
        if let Store::File(path) = &self.store {
            self.store = Store::Memory(std::fs::read(path)?);
        }
        Ok(())
    }

    /// Bytes as sent, before anything is unpacked.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// SHA-256 of the bytes as sent, in lower-case hexadecimal.
    pub fn digest(&self) -> &str {
        &self.digest
    }

    /// The first bytes, unpacked if they are gzip; what cannot be read is left out.
    pub fn head(&mut self, most_bytes: u64) -> Vec<u8> {
        let mut head = Vec::new();
        if let Ok(mut reader) = self.open() {
            let packed = reader
                .fill_buf()
                .is_ok_and(|start| start.starts_with(&[0x1f, 0x8b]));
            // What was read before an error is still a head.
            let _ = match packed {
                true => MultiGzDecoder::new(reader)
                    .take(most_bytes)
                    .read_to_end(&mut head),
                false => reader.take(most_bytes).read_to_end(&mut head),
            };
        }
        head
    }
}

impl Spool {
    /// `directory` is where a large body goes; the system's own place when it is `None`.
    pub fn new(limit_bytes: u64, directory: Option<PathBuf>) -> Spool {
        Spool {
            memory: Vec::new(),
            file: None,
            directory,
            limit_bytes,
            length: 0,
            hash: Context::new(&SHA256),
        }
    }

    /// Takes more bytes.
    ///
    /// # Errors
    /// They exceed the limit, or cannot be written.
    pub fn push(&mut self, bytes: &[u8]) -> Result<(), SpoolFault> {
        let length = self.length + bytes.len() as u64;
        if length > self.limit_bytes {
            return Err(SpoolFault::TooLarge);
        }
        self.hash.update(bytes);
        self.length = length;
        if self.file.is_none() && self.memory.len() + bytes.len() > MEMORY_BYTES {
            let mut file = self.new_file().map_err(SpoolFault::Disk)?;
            let memory = std::mem::take(&mut self.memory);
            file.write_all(&memory).map_err(SpoolFault::Disk)?;
            self.file = Some(file);
        }
        match &mut self.file {
            Some(file) => file.write_all(bytes).map_err(SpoolFault::Disk),
            None => {
                self.memory.extend_from_slice(bytes);
                Ok(())
            }
        }
    }

    /// Bytes taken so far.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// The body, whole.
    ///
    /// # Errors
    /// The last bytes cannot be written.
    pub fn finish(self) -> Result<Body, SpoolFault> {
        let store = match self.file {
            Some(mut file) => {
                file.flush().map_err(SpoolFault::Disk)?;
                Store::Spooled(file)
            }
            None => Store::Memory(self.memory),
        };
        Ok(Body {
            store,
            length: self.length,
            digest: hex(self.hash),
        })
    }

    fn new_file(&self) -> io::Result<File> {
        match &self.directory {
            Some(directory) => tempfile::tempfile_in(directory),
            None => tempfile::tempfile(),
        }
    }
}

/// SHA-256 of a text, in lower-case hexadecimal.
pub(super) fn digest_of(text: &str) -> String {
    let mut hash = Context::new(&SHA256);
    hash.update(text.as_bytes());
    hex(hash)
}

fn hex(hash: Context) -> String {
    hash.finish()
        .as_ref()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spooled(pieces: &[&[u8]], limit_bytes: u64) -> Result<Body, SpoolFault> {
        let mut spool = Spool::new(limit_bytes, None);
        for piece in pieces {
            spool.push(piece)?;
        }
        spool.finish()
    }

    // FIPS 180-2 appendix B.1: SHA-256 of "abc".
    #[test]
    fn a_small_body_stays_in_memory_and_reads_twice() {
        let mut body = spooled(&[b"a", b"bc"], 3).unwrap();
        assert!(matches!(body.store, Store::Memory(_)));
        assert_eq!(
            body.digest(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        for _ in 0..2 {
            let mut text = String::new();
            body.open().unwrap().read_to_string(&mut text).unwrap();
            assert_eq!(text, "abc");
        }
    }

    #[test]
    fn a_large_body_goes_to_disk_and_reads_twice() {
        let piece = vec![b'x'; 300_000];
        let mut body = spooled(&[piece.as_slice(); 5], 2_000_000).unwrap();
        assert!(matches!(body.store, Store::Spooled(_)));
        for _ in 0..2 {
            let mut bytes = Vec::new();
            body.open().unwrap().read_to_end(&mut bytes).unwrap();
            assert_eq!(bytes.len() as u64, body.length());
        }
    }

    #[test]
    fn one_byte_above_the_limit_is_too_large() {
        assert!(spooled(&[b"abc"], 3).is_ok());
        assert!(matches!(
            spooled(&[b"abc", b"d"], 3),
            Err(SpoolFault::TooLarge)
        ));
    }

    #[test]
    fn the_head_of_a_bomb_costs_its_own_size_only() {
        let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
        packed.write_all(&vec![b'0'; 32 << 20]).unwrap();
        let packed = packed.finish().unwrap();
        let mut body = spooled(&[&packed], 1 << 20).unwrap();
        assert_eq!(body.head(1000), vec![b'0'; 1000]);
    }

    #[test]
    fn the_head_of_broken_gzip_is_what_could_be_read() {
        let mut body = spooled(&[&[0x1f, 0x8b, 0x08, 0x00, 0x00]], 100).unwrap();
        assert!(body.head(1000).is_empty());
    }
}
