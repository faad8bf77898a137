//! How a coded HEVC picture says its samples are to be read: full or limited range, and the colour matrix. Phones write
//! it there and not in the container; read wrongly, the picture's contrast is off by 16 % and its ends are cut.
//!
//! The syntax is that of ITU-T H.265 (2021), 7.3.2.2 (sequence parameter set), 7.3.3, 7.3.4, 7.3.7 and E.2.1. What lies
//! before the wanted fields has to be walked over exactly.

use heic_rs::props::hvcc::{HevcConfig, NAL_SPS};
use heic_rs::{MatrixCoefficients, Nclx, Range};

/// What holds when neither the container nor the coded picture states anything: sYCC, full range (ISO/IEC 23000-22,
/// from memory).
pub(super) const UNSTATED: Nclx =
    Nclx { primaries: 1, transfer: 13, matrix: MatrixCoefficients::Bt601, matrix_code: 5, range: Range::Full };

/// Matrix code for "not stated" (ITU-T H.273).
const MATRIX_UNSPECIFIED: u16 = 2;

/// What the coded picture states; `None` where it states nothing or can't be read.
pub(super) fn stated(config: &HevcConfig<'_>) -> Option<Nclx> {
    let sets = config.arrays.iter().find(|array| array.nal_type == NAL_SPS)?;
    signal_type(&mut Bits::of(sets.nals.first()?))?
}

/// Walks over a sequence parameter set. The outer `None` is a set that can't be read, the inner one a set that states
/// no signal type.
fn signal_type(bits: &mut Bits) -> Option<Option<Nclx>> {
    bits.skip(16)?; // NAL unit header
    bits.skip(4)?; // video parameter set id
    let sub_layers = bits.number(3)?; // less one
    bits.skip(1)?; // temporal id nesting
    profile_tier_level(bits, sub_layers)?;
    bits.exp_golomb()?; // id
    if bits.exp_golomb()? == 3 {
        bits.skip(1)?; // separate colour planes
    }
    bits.exp_golombs(2)?; // width, height
    if bits.flag()? {
        bits.exp_golombs(4)?; // conformance window
    }
    bits.exp_golombs(2)?; // bit depths
    let order_count_bits = bits.exp_golomb()?.min(12) + 4;
    let layers = if bits.flag()? { sub_layers + 1 } else { 1 };
    bits.exp_golombs(3 * layers)?;
    bits.exp_golombs(6)?; // block sizes and depths
    if bits.flag()? && bits.flag()? {
        scaling_lists(bits)?;
    }
    bits.skip(2)?; // asymmetric partitions, sample adaptive offset
    if bits.flag()? {
        bits.skip(8)?; // bit depths of uncompressed blocks
        bits.exp_golombs(2)?; // their sizes
        bits.skip(1)?; // their loop filter
    }
    reference_pictures(bits, order_count_bits)?;
    bits.skip(2)?; // temporal motion vectors, strong intra smoothing
    if bits.flag()? { usability(bits) } else { Some(None) }
}

fn profile_tier_level(bits: &mut Bits, sub_layers: u32) -> Option<()> {
    bits.skip(88)?;
    bits.skip(8)?; // level
    let mut present = Vec::new();
    for _ in 0..sub_layers {
        present.push((bits.flag()?, bits.flag()?));
    }
    if sub_layers > 0 {
        bits.skip(2 * (8 - sub_layers))?;
    }
    for (profile, level) in present {
        bits.skip(if profile { 88 } else { 0 } + if level { 8 } else { 0 })?;
    }
    Some(())
}

fn scaling_lists(bits: &mut Bits) -> Option<()> {
    for size in 0..4u32 {
        for _ in 0..if size == 3 { 2 } else { 6 } {
            if !bits.flag()? {
                bits.exp_golomb()?; // which list it copies
                continue;
            }
            let dc = u32::from(size > 1);
            bits.exp_golombs(dc + (1 << (4 + 2 * size)).min(64))?;
        }
    }
    Some(())
}

fn reference_pictures(bits: &mut Bits, order_count_bits: u32) -> Option<()> {
    let mut counts: Vec<u32> = Vec::new();
    for set in 0..bits.exp_golomb()?.min(64) {
        let count = if set > 0 && bits.flag()? {
            bits.skip(1)?; // sign
            bits.exp_golomb()?; // distance
            let mut kept = 0;
            for _ in 0..=*counts.last()? {
                kept += u32::from(bits.flag()? || bits.flag()?);
            }
            kept
        } else {
            let pictures = bits.exp_golomb()?.checked_add(bits.exp_golomb()?)?;
            for _ in 0..pictures {
                bits.exp_golomb()?;
                bits.skip(1)?;
            }
            pictures
        };
        counts.push(count);
    }
    if bits.flag()? {
        for _ in 0..bits.exp_golomb()? {
            bits.skip(order_count_bits + 1)?; // long-term reference pictures
        }
    }
    Some(())
}

/// The video usability information, as far as the signal type.
fn usability(bits: &mut Bits) -> Option<Option<Nclx>> {
    const EXTENDED_ASPECT: u32 = 255;
    if bits.flag()? && bits.number(8)? == EXTENDED_ASPECT {
        bits.skip(32)?;
    }
    if bits.flag()? {
        bits.skip(1)?; // overscan
    }
    if !bits.flag()? {
        return Some(None);
    }
    bits.skip(3)?; // video format
    let range = if bits.flag()? { Range::Full } else { Range::Limited };
    let mut nclx = Nclx { range, ..UNSTATED };
    if bits.flag()? {
        nclx.primaries = bits.number(8)? as u16;
        nclx.transfer = bits.number(8)? as u16;
        let code = bits.number(8)? as u16;
        if code != MATRIX_UNSPECIFIED {
            (nclx.matrix, nclx.matrix_code) = (MatrixCoefficients::from_code(code), code);
        }
    }
    Some(Some(nclx))
}

/// The bits of a parameter set, the bytes that only prevent false start codes taken out.
struct Bits {
    bytes: Vec<u8>,
    at: usize,
}

impl Bits {
    fn of(nal: &[u8]) -> Self {
        let mut bytes = Vec::with_capacity(nal.len());
        let mut zeros = 0;
        for &byte in nal {
            if zeros >= 2 && byte == 3 {
                zeros = 0;
                continue;
            }
            zeros = if byte == 0 { zeros + 1 } else { 0 };
            bytes.push(byte);
        }
        Self { bytes, at: 0 }
    }

    fn flag(&mut self) -> Option<bool> {
        let byte = self.bytes.get(self.at / 8)?;
        let bit = byte >> (7 - self.at % 8) & 1;
        self.at += 1;
        Some(bit == 1)
    }

    /// An unsigned number of up to 32 bits.
    fn number(&mut self, bits: u32) -> Option<u32> {
        (0..bits).try_fold(0u32, |number, _| Some(number << 1 | u32::from(self.flag()?)))
    }

    fn skip(&mut self, bits: u32) -> Option<()> {
        self.at = self.at.checked_add(bits as usize)?;
        (self.at <= 8 * self.bytes.len()).then_some(())
    }

    /// A number in the Exp-Golomb code, signed or not: the length is the same.
    fn exp_golomb(&mut self) -> Option<u32> {
        let mut zeros = 0;
        while !self.flag()? {
            zeros += 1;
        }
        if zeros > 31 {
            return None;
        }
        Some((1 << zeros) - 1 + self.number(zeros)?)
    }

    fn exp_golombs(&mut self, count: u32) -> Option<()> {
        (0..count).try_for_each(|_| self.exp_golomb().map(|_| ()))
    }
}
