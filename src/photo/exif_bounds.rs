//! Whether a file's EXIF can be read in memory that its size allows. The reader copies the whole block, and takes a text
//! apart at its zeros, 24 bytes for each; of a block as large as a photo file may be, that is far too much.

use std::collections::BTreeSet;

/// Largest EXIF block that is read unseen, in bytes: in a JPEG it can have half of it (EXIF 2.3, 4.7.2).
const LARGEST: usize = 128 << 10;

/// Type of a text (TIFF 6.0, section 2).
const TEXT: u32 = 2;

/// Tags of the directories that a directory may lead to (EXIF 2.3, 4.6.3).
const DIRECTORIES: [u32; 3] = [0x8769, 0x8825, 0xA005];

/// Tags whose numbers are asked for, see [`super::CameraRecord`].
const NUMBERS: [u32; 5] = [0x0112, 0xA002, 0xA003, 0xA404, 0xA405];

/// Most directories that are looked at: the reader follows eight, each leading to three more.
const MOST_DIRECTORIES: usize = 64;

/// Whether the EXIF of a photo file of any format may be read. In JPEG and HEIC the format and the reader limit it.
pub(super) fn may_be_read(file: &[u8]) -> bool {
    match file {
        [b'I', b'I', ..] => !has_numbers_in_text(file, false),
        [b'M', b'M', ..] => !has_numbers_in_text(file, true),
        [0x89, b'P', b'N', b'G', ..] => {
            let chunk = |at: usize| Some((number(file, at, 4, true)?, file.get(at + 4..at + 8)?, at + 12));
            chunks_are_small(8, b"eXIf", chunk)
        }
        [b'R', b'I', b'F', b'F', ..] => {
            let chunk = |at: usize| {
                let length = number(file, at + 4, 4, false)?;
                Some((length, file.get(at..at + 4)?, at + 8 + (length & 1) as usize))
            };
            chunks_are_small(12, b"EXIF", chunk)
        }
        _ => true,
    }
}

/// Whether no chunk of this name is larger than [`LARGEST`]. `chunk` gives length, name and end without the content of the
/// one that begins at a place.
fn chunks_are_small<'a>(
    mut at: usize,
    exif: &[u8; 4],
    chunk: impl Fn(usize) -> Option<(u32, &'a [u8], usize)>,
) -> bool {
    while let Some((length, name, end)) = chunk(at) {
        let length = length as usize;
        if name == exif && length > LARGEST {
            return false;
        }
        at = end.saturating_add(length);
    }
    true
}

/// Whether anything that is asked for as a number is stored as text.
fn has_numbers_in_text(tiff: &[u8], big_endian: bool) -> bool {
    let number = |at: usize, bytes: usize| number(tiff, at, bytes, big_endian);
    let mut seen = BTreeSet::new();
    let mut waiting = vec![number(4, 4)];
    while let Some(at) = waiting.pop() {
        let Some(at) = at.filter(|at| seen.insert(*at)) else { continue };
        if seen.len() > MOST_DIRECTORIES {
            return true;
        }
        let mut entry = at as usize + 2;
        for _ in 0..number(at as usize, 2).unwrap_or(0) {
            let (Some(tag), Some(kind)) = (number(entry, 2), number(entry + 2, 2)) else { break };
            let leads_on = DIRECTORIES.contains(&tag);
            if kind == TEXT && (leads_on || NUMBERS.contains(&tag)) {
                return true;
            }
            if leads_on {
                waiting.push(number(entry + 8, 4));
            }
            entry += 12;
        }
        waiting.push(number(entry, 4));
    }
    false
}

/// An unsigned number of up to four bytes; `None` beyond the end.
fn number(bytes: &[u8], at: usize, count: usize, big_endian: bool) -> Option<u32> {
    let bytes = bytes.get(at..at.checked_add(count)?)?.iter();
    let append = |number: u32, byte: &u8| number << 8 | u32::from(*byte);
    Some(if big_endian { bytes.fold(0, append) } else { bytes.rev().fold(0, append) })
}
