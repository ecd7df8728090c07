//! Bytes to text, within bounds: what a run sheet can be at all.

use std::io::Read;

/// Sheets longer than this are refused.
pub const MOST_BYTES: usize = 8_000_000;

/// Sheets of more lines, or with more statements, than this are refused: one for every address of 64 KiB, and room for the
/// rest. A line in memory takes several times its length.
pub const MOST_LINES: usize = 50_000;

/// Why bytes are not a run sheet.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SheetError {
    /// It is no text.
    #[error(
        "this is not a text file (byte {at} cannot be part of a text); a run sheet is plain text, one statement a line"
    )]
    Binary {
        /// Byte position of what cannot be text.
        at: usize,
    },
    /// Nothing but blanks and comments.
    #[error(
        "the run sheet is empty; type what the machine showed, one statement a line, for example `memory bit 3 bad`"
    )]
    Empty,
    /// Too long.
    #[error(
        "the run sheet is longer than 8 MB ({MOST_BYTES} bytes); keep one run of one machine in a file"
    )]
    TooLong,
    /// Too many lines or statements.
    #[error(
        "the run sheet has more than {MOST_LINES} lines or statements; keep one run of one machine in a file"
    )]
    TooManyLines,
    /// The file or stream could not be read.
    #[error("the run sheet cannot be read: {0}")]
    Unreadable(String),
}

/// Reads a whole stream, but never more than [`MOST_BYTES`] and one.
///
/// # Errors
/// [`SheetError::TooLong`], or [`SheetError::Unreadable`] when the stream fails.
pub fn read_limited(reader: impl Read) -> Result<Vec<u8>, SheetError> {
    let mut bytes = Vec::new();
    let limit = MOST_BYTES as u64 + 1;
    reader
        .take(limit)
        .read_to_end(&mut bytes)
        .map_err(|e| SheetError::Unreadable(e.to_string()))?;
    if bytes.len() > MOST_BYTES {
        Err(SheetError::TooLong)
    } else {
        Ok(bytes)
    }
}

/// Text, and whether it had to be taken as Latin-1 because it is not UTF-8.
pub(super) fn decode(bytes: &[u8]) -> Result<(String, bool), SheetError> {
    if bytes.len() > MOST_BYTES {
        return Err(SheetError::TooLong);
    }
    if let [0xff, 0xfe, rest @ ..] = bytes {
        return utf16(rest, u16::from_le_bytes);
    }
    if let [0xfe, 0xff, rest @ ..] = bytes {
        return utf16(rest, u16::from_be_bytes);
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if let Some(at) = bytes.iter().position(|b| *b == 0) {
        return Err(SheetError::Binary { at });
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok((text.to_string(), false)),
        Err(_) if only_torn_lines_are_broken(bytes) => {
            Ok((String::from_utf8_lossy(bytes).into_owned(), false))
        }
        Err(error) => latin1(bytes, error.valid_up_to()),
    }
}

/// A line of a ticket that was cut off while it was written may end within a character; it says nothing any more.
fn only_torn_lines_are_broken(bytes: &[u8]) -> bool {
    let mut lines = bytes.split(|b| matches!(b, b'\n' | b'\r'));
    lines.all(|l| l.ends_with(super::entry::TORN.as_bytes()) || std::str::from_utf8(l).is_ok())
}

fn utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Result<(String, bool), SheetError> {
    let pairs = bytes.chunks_exact(2);
    if !pairs.remainder().is_empty() {
        return Err(SheetError::Binary {
            at: bytes.len() + 1,
        });
    }
    let text: Result<String, _> = char::decode_utf16(pairs.map(|p| unit([p[0], p[1]]))).collect();
    match text {
        Ok(text) if !text.contains('\0') => Ok((text, false)),
        _ => Err(SheetError::Binary { at: 2 }),
    }
}

/// Old editors write one byte a character. A text has few such bytes and no control characters.
fn latin1(bytes: &[u8], at: usize) -> Result<(String, bool), SheetError> {
    let control = |b: u8| {
        b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0c)
            || (0x7f..=0x9f).contains(&b) && !printable_1252(b)
    };
    let high = bytes.iter().filter(|b| **b >= 0x80).count();
    if bytes.iter().any(|b| control(*b)) || high * 4 > bytes.len() {
        return Err(SheetError::Binary { at });
    }
    Ok((bytes.iter().map(|b| char::from(*b)).collect(), true))
}

/// Quotes and dashes that sit between 0x80 and 0x9f in the common extension of Latin-1.
fn printable_1252(b: u8) -> bool {
    matches!(b, 0x80 | 0x85 | 0x91..=0x97)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_text_and_what_is_not() {
        assert_eq!(
            decode(b"\xef\xbb\xbfmemory ok"),
            Ok(("memory ok".into(), false))
        );
        assert_eq!(
            decode(b"5 k\xb5 caf\xe9 is fine here"),
            Ok(("5 k\u{b5} caf\u{e9} is fine here".into(), true))
        );
        assert_eq!(decode(b"\xff\xfeo\0k\0"), Ok(("ok".into(), false)));
        assert_eq!(decode(b"me\0mory"), Err(SheetError::Binary { at: 2 }));
        assert_eq!(
            decode(b"\x7fELF\x02\x01\xff\xfe\x80"),
            Err(SheetError::Binary { at: 6 })
        );
        assert!(matches!(
            decode(&[0xc3; 40]),
            Err(SheetError::Binary { at: 0 })
        ));
    }

    #[test]
    fn an_endless_stream_is_refused_in_bounded_memory() {
        let error = read_limited(std::io::repeat(b'a')).unwrap_err();
        assert_eq!(error, SheetError::TooLong);
        assert_eq!(read_limited(&b"memory ok"[..]).unwrap(), b"memory ok");
    }
}
