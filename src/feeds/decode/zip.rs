//! Reads the files of a zip archive from the front.
//!
//! Archives made by servers often put sizes behind the data, so the local headers are followed
//! (APPNOTE 6.3.10 sections 4.3.7 and 4.3.9) and the deflate stream tells where it ends. An
//! archive without its directory at the end is cut. Folders, hidden files and `__MACOSX/` are
//! passed over.

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
/// Bytes of all names of an archive.
const NAMES_BYTES_MAX: usize = 1 << 20;

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

/// The names of the files that hold data, in their order. Where an archive does not say how long
/// a file is, it has to be unpacked to pass over it, `limit` bytes in all.
pub(super) fn list_files(mut source: impl BufRead, limit: u64) -> Result<Vec<String>, DecodeFault> {
    let (mut names, mut n_bytes) = (Vec::new(), 0);
    let mut budget = Budget { limit, left: limit };
    while let Some(header) = Header::read(&mut source)? {
        n_bytes += header.name.len() + 1;
        if n_bytes > NAMES_BYTES_MAX {
            return Err(damaged("it holds too many files"));
        }
        if !header.is_passed_over() {
            names.push(header.name.clone());
        }
        source = pass_over(header, source, &mut budget)?;
    }
    Ok(names)
}

/// What may be unpacked on the way to a file.
struct Budget {
    limit: u64,
    left: u64,
}

fn pass_over<R: BufRead>(
    header: Header,
    mut source: R,
    budget: &mut Budget,
) -> Result<R, DecodeFault> {
    if header.flags & FLAG_SIZES_FOLLOW == 0 && header.packed_size != ZIP64 {
        let packed = u64::from(header.packed_size);
        let copied = io::copy(&mut source.by_ref().take(packed), &mut io::sink());
        if copied.map_err(read_fault)? < packed {
            return Err(DecodeFault::Truncated { what: "zip" });
        }
        return Ok(source);
    }
    let mut passed = ZipMember::of(header, source)?;
    let copied = io::copy(&mut passed.by_ref().take(budget.left), &mut io::sink());
    budget.left -= copied.map_err(read_fault)?;
    if budget.left == 0 {
        let limit = budget.limit;
        return Err(DecodeFault::TooLarge { limit });
    }
    Ok(passed.into_source())
}

impl<R: BufRead> ZipMember<R> {
    /// Opens the file that stands at `place` in [`list_files`].
    pub(super) fn open(
        mut source: R,
        place: usize,
        limit: u64,
    ) -> Result<ZipMember<R>, DecodeFault> {
        let mut budget = Budget { limit, left: limit };
        let mut n_before = place;
        while let Some(header) = Header::read(&mut source)? {
            match (header.is_passed_over(), n_before) {
                (false, 0) => return ZipMember::of(header, source),
                (false, _) => n_before -= 1,
                (true, _) => {}
            }
            source = pass_over(header, source, &mut budget)?;
        }
        let detail = "the zip archive holds no file".to_owned();
        Err(DecodeFault::NoData { detail })
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
                    let length = decoder.total_out();
                    read_descriptor(decoder.get_mut(), length)?
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
    /// The next file's header; `None` where the directory begins.
    fn read(source: &mut impl Read) -> Result<Option<Header>, DecodeFault> {
        let mut fixed = [0u8; 30];
        let (signature, rest) = fixed.split_at_mut(4);
        source.read_exact(signature).map_err(read_fault)?;
        match &*signature {
            b"PK\x03\x04" => source.read_exact(rest).map_err(read_fault)?,
            [b'P', b'K', ..] => return Ok(None),
            _ => return Err(damaged("a file does not end where it should")),
        }
        let u16_at = |at: usize| u16::from_le_bytes([fixed[at], fixed[at + 1]]);
        let u32_at = |at: usize| {
            u32::from_le_bytes([fixed[at], fixed[at + 1], fixed[at + 2], fixed[at + 3]])
        };
        let mut name = vec![0u8; usize::from(u16_at(26))];
        source.read_exact(&mut name).map_err(read_fault)?;
        let mut extra = source.take(u16_at(28).into());
        io::copy(&mut extra, &mut io::sink()).map_err(read_fault)?;
        Ok(Some(Header {
            name: String::from_utf8_lossy(&name).into_owned(),
            flags: u16_at(6),
            method: u16_at(8),
            crc: u32_at(14),
            packed_size: u32_at(18),
        }))
    }

    fn is_passed_over(&self) -> bool {
        let file = self.name.rsplit('/').next().unwrap_or("");
        file.is_empty() || file.starts_with('.') || self.name.starts_with("__MACOSX/")
    }
}

/// Reads the data descriptor behind a file of `length` bytes; its signature is optional (4.3.9.3).
/// Returns the CRC. The sizes are of either width (4.3.9.2), which is told by whether the second
/// one is the length.
fn read_descriptor(source: &mut impl Read, length: u64) -> io::Result<u32> {
    let mut word = [0u8; 4];
    let mut next = || {
        source.read_exact(&mut word)?;
        Ok::<u32, io::Error>(u32::from_le_bytes(word))
    };
    let mut crc = next()?;
    if crc == DESCRIPTOR_SIGNATURE {
        crc = next()?;
    }
    let (_packed, second) = (next()?, next()?);
    if u64::from(second) != length & u64::from(u32::MAX) {
        next()?;
        next()?;
    }
    Ok(crc)
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
