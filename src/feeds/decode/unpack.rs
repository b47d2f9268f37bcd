//! Unpacks gzip, zip and zstd, recognised by their first bytes whatever the server says.
//!
//! At most two layers, and never more output than the body limit: a bomb costs the limit and
//! no more. What a layer finds wrong travels up as a [`DecodeFault`] inside `io::Error`.

use super::fault::DecodeFault;
use super::zip_entry::{ZipChoice, open_zip};
use flate2::bufread::MultiGzDecoder;
use ruzstd::decoding::errors::{FrameDecoderError, ReadFrameHeaderError};
use ruzstd::decoding::{BlockDecodingStrategy, FrameDecoder};
use std::io::{self, BufRead, BufReader, Cursor, Read};

/// Layers that are taken off. More means a broken export or a trick.
const LAYERS_MAX: usize = 2;
const BUFFER_BYTES: usize = 64 * 1024;
/// A zstd frame may ask for any window; this much is memory we are willing to hold. zstd's own
/// highest level without `--ultra` asks for 8 MB.
const ZSTD_WINDOW_BYTES_MAX: u64 = 16 << 20;

/// Takes off the layers; `zip` tells which file of an archive is meant. Reading the result fails once it exceeds `limit` bytes.
pub(super) fn unpack<'b>(
    body: Box<dyn BufRead + 'b>,
    limit: u64,
    zip: &ZipChoice<'_>,
) -> Result<Box<dyn BufRead + 'b>, DecodeFault> {
    let mut body = capped(body, None, limit);
    for layer in 0.. {
        let (prefix, whole) = peek(body, 4).map_err(DecodeFault::of_io)?;
        let packing = match prefix.as_slice() {
            [0x1F, 0x8B, 8, ..] => Packing::Gzip,
            b"PK\x03\x04" => Packing::Zip,
            [0x28, 0xB5, 0x2F, 0xFD] => Packing::Zstd,
            b"PK\x05\x06" => {
                let detail = "the zip archive is empty".to_owned();
                return Err(DecodeFault::NoData { detail });
            }
            _ => return Ok(whole),
        };
        if layer == LAYERS_MAX {
            break;
        }
        body = match packing {
            Packing::Gzip => capped(MultiGzDecoder::new(whole), Some("gzip"), limit),
            Packing::Zip => capped(open_zip(whole, limit, zip)?, Some("zip"), limit),
            Packing::Zstd => capped(ZstdFrames::new(whole), Some("zstd"), limit),
        };
    }
    Err(DecodeFault::PackedTooDeep)
}

enum Packing {
    Gzip,
    Zip,
    Zstd,
}

/// Reads the first `length` bytes and gives them back together with the whole body.
pub(super) fn peek<'b>(
    mut body: Box<dyn BufRead + 'b>,
    length: u64,
) -> io::Result<(Vec<u8>, Box<dyn BufRead + 'b>)> {
    let mut prefix = Vec::new();
    body.by_ref().take(length).read_to_end(&mut prefix)?;
    let whole = Cursor::new(prefix.clone()).chain(body);
    Ok((prefix, Box::new(whole)))
}

fn capped<'b>(
    inner: impl Read + 'b,
    packing: Option<&'static str>,
    limit: u64,
) -> Box<dyn BufRead + 'b> {
    let reader = Capped {
        inner,
        packing,
        limit,
        left: limit,
    };
    Box::new(BufReader::with_capacity(BUFFER_BYTES, reader))
}

/// Counts the bytes that a layer gives and names what is wrong with it.
struct Capped<R> {
    inner: R,
    /// The packing that `inner` takes off; none for the body as it came.
    packing: Option<&'static str>,
    limit: u64,
    left: u64,
}

impl<R: Read> Read for Capped<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = match self.inner.read(buffer) {
            Ok(count) => count,
            Err(error) => return Err(self.explain(error)),
        };
        match self.left.checked_sub(count as u64) {
            Some(left) => self.left = left,
            None => {
                let limit = self.limit;
                return Err(DecodeFault::TooLarge { limit }.into_io());
            }
        }
        Ok(count)
    }
}

impl<R> Capped<R> {
    fn explain(&self, error: io::Error) -> io::Error {
        let ours = error
            .get_ref()
            .is_some_and(|inner| inner.is::<DecodeFault>());
        let Some(packing) = self.packing else {
            return error;
        };
        if ours || error.kind() == io::ErrorKind::Interrupted {
            return error;
        }
        if error.kind() == io::ErrorKind::UnexpectedEof {
            return DecodeFault::Truncated { what: packing }.into_io();
        }
        let detail = error.to_string();
        DecodeFault::Damaged { packing, detail }.into_io()
    }
}

/// Reads zstd frames one after another, as RFC 8878 section 3 allows.
struct ZstdFrames<R> {
    source: R,
    decoder: FrameDecoder,
    in_frame: bool,
}

impl<R: BufRead> ZstdFrames<R> {
    fn new(source: R) -> ZstdFrames<R> {
        let mut decoder = FrameDecoder::new();
        decoder.set_max_window_size(ZSTD_WINDOW_BYTES_MAX);
        ZstdFrames {
            source,
            decoder,
            in_frame: false,
        }
    }

    /// Enters the next frame; `false` at the end of the data.
    fn next_frame(&mut self) -> io::Result<bool> {
        loop {
            if self.source.fill_buf()?.is_empty() {
                return Ok(false);
            }
            match self.decoder.init(&mut self.source) {
                Ok(()) => return Ok(true),
                Err(FrameDecoderError::ReadFrameHeaderError(ReadFrameHeaderError::SkipFrame {
                    length,
                    ..
                })) => {
                    let mut skipped = self.source.by_ref().take(length.into());
                    io::copy(&mut skipped, &mut io::sink())?;
                }
                Err(error) => return Err(self.zstd_error(&error)),
            }
        }
    }

    /// The decoder hides the kind of an error below it; an exhausted source means truncation.
    fn zstd_error(&mut self, error: &FrameDecoderError) -> io::Error {
        match self.source.fill_buf() {
            Ok([]) => io::ErrorKind::UnexpectedEof.into(),
            Ok(_) => io::Error::new(io::ErrorKind::InvalidData, error.to_string()),
            Err(below) => below,
        }
    }
}

impl<R: BufRead> Read for ZstdFrames<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            if !self.in_frame {
                if !self.next_frame()? {
                    return Ok(0);
                }
                self.in_frame = true;
            }
            while self.decoder.can_collect() < buffer.len() && !self.decoder.is_finished() {
                let wanted = buffer.len() - self.decoder.can_collect();
                let strategy = BlockDecodingStrategy::UptoBytes(wanted);
                if let Err(error) = self.decoder.decode_blocks(&mut self.source, strategy) {
                    return Err(self.zstd_error(&error));
                }
            }
            let count = self.decoder.read(buffer)?;
            if count > 0 || buffer.is_empty() {
                return Ok(count);
            }
            let stated = self.decoder.get_checksum_from_data();
            if stated.is_some() && stated != self.decoder.get_calculated_checksum() {
                let detail = "the checksum does not fit";
                return Err(io::Error::new(io::ErrorKind::InvalidData, detail));
            }
            self.in_frame = false;
        }
    }
}
