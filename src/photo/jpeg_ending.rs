//! Whether a JPEG file holds its whole picture, and can be decoded in a time that its size allows. Decoders fill what is
//! missing with grey, which would be measured.

use super::error::{PhotoError, PhotoFormat};

const START_OF_SCAN: u8 = 0xDA;
const END_OF_IMAGE: u8 = 0xD9;

/// Most passes over the picture that are decoded (a stated choice: progressive files have about ten, the finest divided
/// ones some dozens). Each empty one takes ten bytes of the file, and time for all of the picture.
const MOST_SCANS: u32 = 100;

/// Walks over the file's segments and coded data to the end-of-image marker (ITU-T T.81, B.1). What follows it, such as
/// a second picture or a video, is not looked at.
pub(super) fn check(bytes: &[u8]) -> Result<(), PhotoError> {
    let mut at = 2;
    let mut scans = 0;
    loop {
        let (marker, after) = next_marker(bytes, at).ok_or(PhotoError::Truncated(PhotoFormat::Jpeg))?;
        at = match marker {
            END_OF_IMAGE => return Ok(()),
            // Restart marks, start-of-image and the temporary mark stand alone.
            0x01 | 0xD0..=0xD8 => after,
            // Coded data follow a scan's header; the next marker is looked for in them.
            _ => after + segment_length(bytes, after).ok_or(PhotoError::Truncated(PhotoFormat::Jpeg))?,
        };
        if marker == START_OF_SCAN {
            scans += 1;
            if scans > MOST_SCANS {
                return Err(PhotoError::Damaged(PhotoFormat::Jpeg));
            }
            at = end_of_coded_data(bytes, at);
        }
    }
}

/// The next marker from `at` on and the place after it; bytes between segments are skipped as decoders do.
fn next_marker(bytes: &[u8], at: usize) -> Option<(u8, usize)> {
    let rest = bytes.get(at..)?;
    let found = rest.windows(2).position(|pair| pair[0] == 0xFF && pair[1] != 0xFF && pair[1] != 0)?;
    Some((rest[found + 1], at + found + 2))
}

/// Where coded data end: at a marker that is neither a stuffed zero nor a restart mark.
fn end_of_coded_data(bytes: &[u8], at: usize) -> usize {
    let rest = bytes.get(at..).unwrap_or_default();
    let ends = |pair: &[u8]| pair[0] == 0xFF && !matches!(pair[1], 0 | 0xFF | 0xD0..=0xD7);
    rest.windows(2).position(ends).map_or(bytes.len(), |found| at + found)
}

/// Length of a segment, its own two bytes included.
fn segment_length(bytes: &[u8], at: usize) -> Option<usize> {
    let length = bytes.get(at..at + 2)?;
    Some(usize::from(u16::from_be_bytes([length[0], length[1]])).max(2))
}
