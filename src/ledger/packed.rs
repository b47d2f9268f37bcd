//! Numbers and bytes one after another, in the blobs that hold many small things.
//!
//! May not know what they mean.

/// Takes from the front what was put there; nothing where that cannot be.
#[derive(Debug, Clone, Copy)]
pub(super) struct Packed<'b>(pub &'b [u8]);

impl<'b> Packed<'b> {
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub fn number(&mut self) -> Option<u64> {
        let mut number = 0;
        for shift in (0..u64::BITS).step_by(7) {
            let (byte, rest) = self.0.split_first()?;
            self.0 = rest;
            number |= u64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Some(number);
            }
        }
        None
    }

    pub fn signed(&mut self) -> Option<i64> {
        let folded = self.number()?;
        Some((folded >> 1).cast_signed() ^ -(folded & 1).cast_signed())
    }

    pub fn bytes(&mut self, length: usize) -> Option<&'b [u8]> {
        let (bytes, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        Some(bytes)
    }
}

/// Seven bits a byte, the lowest first; the eighth says that more follow.
pub(super) fn put(bytes: &mut Vec<u8>, mut number: u64) {
    while number > 0x7f {
        bytes.push((number & 0x7f) as u8 | 0x80);
        number >>= 7;
    }
    bytes.push(number as u8);
}

/// Small either way: the sign goes last.
pub(super) fn put_signed(bytes: &mut Vec<u8>, number: i64) {
    put(bytes, ((number << 1) ^ (number >> 63)).cast_unsigned());
}
