//! Reads the first file of a zip archive from the front, without seeking.
//!
//! A body arrives as a stream and archives made by servers often put sizes behind the data, so
//! the local headers are followed (APPNOTE 6.3.10 sections 4.3.7 and 4.3.9) and the deflate
//! stream tells where it ends. Folders, hidden files and `__MACOSX/` are passed over.

use super::fault::DecodeFault;
use flate2::Crc;
use flate2::bufread::DeflateDecoder;
use std::io::{self, BufRead, Read};

const STORED: u16 = 0;
const DEFLATED: u16 = 8;
const FLAG_ENCRYPTED: u16 = 1;
const FLAG_SIZES_FOLLOW: u16 = 8;
const DESCRIPTOR_SIGNATURE: u32 = 0x0807_4B50;
/// In a 32-bit size: the real one stands in a zip64 field.
const ZIP64: u32 = u32::MAX;

/// The data of one archived file.
pub(super) struct ZipMember<R: BufRead> {
    data: Data<R>,
    header: Header,
    crc: Crc,
    checked: bool,
}

enum Data<R: BufRead> {
    Stored(io::Take<R>),
    Deflated(DeflateDecoder<R>),
}

struct Header {
    name: String,
    flags: u16,
    method: u16,
    crc: u32,
    packed_size: u32,
}

impl<R: BufRead> ZipMember<R> {
    /// Opens the first file that holds data. Passing over others unpacks at most `limit` bytes.
    pub(super) fn open(mut source: R, limit: u64) -> Result<ZipMember<R>, DecodeFault> {
        loop {
            let header = Header::read(&mut source)?;
            if !header.is_passed_over() {
                return ZipMember::of(header, source);
            }
            let mut passed = ZipMember::of(header, source)?;
            let copied = io::copy(&mut passed.by_ref().take(limit), &mut io::sink());
            if copied.map_err(read_fault)? == limit {
                return Err(DecodeFault::TooLarge { limit });
            }
            source = passed.into_source();
        }
    }

    fn of(header: Header, source: R) -> Result<ZipMember<R>, DecodeFault> {
        if header.flags & FLAG_ENCRYPTED != 0 {
            return Err(damaged("the archive is encrypted"));
        }
        let sizes_follow = header.flags & FLAG_SIZES_FOLLOW != 0;
        let data = match header.method {
            STORED if sizes_follow || header.packed_size == ZIP64 => {
                return Err(damaged("an uncompressed file without its size"));
            }
            STORED => Data::Stored(source.take(header.packed_size.into())),
            DEFLATED => Data::Deflated(DeflateDecoder::new(source)),
            other => return Err(damaged(format!("unsupported compression method {other}"))),
        };
        Ok(ZipMember {
            data,
            header,
            crc: Crc::new(),
            checked: false,
        })
    }

    fn into_source(self) -> R {
        match self.data {
            Data::Stored(take) => take.into_inner(),
            Data::Deflated(decoder) => decoder.into_inner(),
        }
    }

    /// At the end of the data: is it all there, and is it what was packed?
    fn check(&mut self) -> io::Result<()> {
        self.checked = true;
        let stated = match &mut self.data {
            Data::Stored(take) if take.limit() > 0 => {
                return Err(io::ErrorKind::UnexpectedEof.into());
            }
            Data::Stored(_) => self.header.crc,
            Data::Deflated(decoder) => {
                if self.header.flags & FLAG_SIZES_FOLLOW == 0 {
                    self.header.crc
                } else {
                    read_descriptor(decoder.get_mut())?
                }
            }
        };
        if stated != self.crc.sum() {
            let detail = format!("the checksum of \"{}\" does not fit", self.header.name);
            return Err(io::Error::new(io::ErrorKind::InvalidData, detail));
        }
        Ok(())
    }
}

impl<R: BufRead> Read for ZipMember<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = match &mut self.data {
            Data::Stored(take) => take.read(buffer)?,
            Data::Deflated(decoder) => decoder.read(buffer)?,
        };
        if let Some(read) = buffer.get(..count) {
            self.crc.update(read);
        }
        if count == 0 && !buffer.is_empty() && !self.checked {
            self.check()?;
        }
        Ok(count)
    }
}

impl Header {
    fn read(source: &mut impl Read) -> Result<Header, DecodeFault> {
        let mut fixed = [0u8; 30];
        source.read_exact(&mut fixed).map_err(read_fault)?;
        let u16_at = |at: usize| u16::from_le_bytes([fixed[at], fixed[at + 1]]);
        let u32_at = |at: usize| {
            u32::from_le_bytes([fixed[at], fixed[at + 1], fixed[at + 2], fixed[at + 3]])
        };
        if fixed[..4] != *b"PK\x03\x04" {
            let detail = "the zip archive holds no file".to_owned();
            return Err(DecodeFault::NoData { detail });
        }
        let mut name = vec![0u8; usize::from(u16_at(26))];
        source.read_exact(&mut name).map_err(read_fault)?;
        let mut extra = source.take(u16_at(28).into());
        io::copy(&mut extra, &mut io::sink()).map_err(read_fault)?;
        Ok(Header {
            name: String::from_utf8_lossy(&name).into_owned(),
            flags: u16_at(6),
            method: u16_at(8),
            crc: u32_at(14),
            packed_size: u32_at(18),
        })
    }

    fn is_passed_over(&self) -> bool {
        let file = self.name.rsplit('/').next().unwrap_or("");
        file.is_empty() || file.starts_with('.') || self.name.starts_with("__MACOSX/")
    }
}

/// The data descriptor behind a file; its signature is optional (4.3.9.3). Returns the CRC.
/// The sizes that follow are of either width (4.3.9.2) and the next header is not needed unless
/// this file is passed over, so the 32-bit form is taken.
fn read_descriptor(source: &mut impl Read) -> io::Result<u32> {
    let mut word = [0u8; 4];
    source.read_exact(&mut word)?;
    if u32::from_le_bytes(word) == DESCRIPTOR_SIGNATURE {
        source.read_exact(&mut word)?;
    }
    let mut sizes = [0u8; 8];
    source.read_exact(&mut sizes)?;
    Ok(u32::from_le_bytes(word))
}

fn read_fault(error: io::Error) -> DecodeFault {
    match error.kind() {
        io::ErrorKind::UnexpectedEof => DecodeFault::Truncated { what: "zip" },
        io::ErrorKind::InvalidData | io::ErrorKind::InvalidInput => damaged(error.to_string()),
        _ => DecodeFault::of_io(error),
    }
}

fn damaged(detail: impl Into<String>) -> DecodeFault {
    DecodeFault::Damaged {
        packing: "zip",
        detail: detail.into(),
    }
}
