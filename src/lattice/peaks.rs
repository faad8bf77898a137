//! Peaks of a whitened spectrum, to a fraction of a bin.

use super::spectrum::Spectrum;

/// Lowest amplitude over noise that counts as a peak: averaged noise stays below 2 in practice (measured).
pub const MIN_AMPLITUDE: f32 = 2.6;

/// One line of the spectrum in the half plane of non-negative fy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// Frequency in cycles per mm.
    pub f: [f64; 2],
    /// Amplitude over noise.
    pub amplitude: f64,
}

/// The strongest `most` local maxima, strongest first. Amplitudes are divided by the root of the frequency: the plies of
/// the yarn make lines of their own, higher up, that would crowd out those of the stitches.
pub fn strongest(spectrum: &Spectrum, most: usize) -> Vec<Peak> {
    let reach = (spectrum.limit() / spectrum.bin) as i64;
    let mut peaks = Vec::new();
    for iy in 0..=reach {
        for ix in -reach..=reach {
            let r2 = ix * ix + iy * iy;
            if (iy == 0 && ix <= 0) || r2 > reach * reach || r2 < 6 {
                continue;
            }
            let v = spectrum.value(ix, iy);
            if v >= MIN_AMPLITUDE && spectrum.is_highest(ix, iy) {
                let (x, y) = spectrum.vertex(ix, iy);
                let f = [x * spectrum.bin, y * spectrum.bin];
                if !spectrum.is_coloured(f) {
                    peaks.push(Peak { f, amplitude: f64::from(v) });
                }
            }
        }
    }
    let rank = |p: &Peak| p.amplitude / p.f[0].hypot(p.f[1]).sqrt();
    peaks.sort_by(|a, b| rank(b).total_cmp(&rank(a)));
    peaks.truncate(most);
    peaks
}
