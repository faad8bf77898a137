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

/// All local maxima of a spectrum, each with its place to a fraction of a bin.
pub struct Tops {
    n: i64,
    /// For every bin the number of its maximum in `vertices`, plus one; 0 where there is none.
    at: Vec<u32>,
    /// Of the maxima in the half plane of non-negative fy: their bins and places, in bins.
    vertices: Vec<([i32; 2], [f64; 2])>,
}

impl Tops {
    /// Finds them up to the highest frequency that is trusted.
    pub fn of(spectrum: &Spectrum) -> Self {
        let n = spectrum.n as i64;
        let reach = ((spectrum.limit() / spectrum.bin) as i64 + 1).min(n / 2 - 1);
        let mut tops = Self { n, at: vec![0; spectrum.n * spectrum.n], vertices: Vec::new() };
        for iy in 0..=reach {
            for ix in -reach..=reach {
                if (iy > 0 || ix > 0) && spectrum.value(ix, iy) > 0.0 && spectrum.is_highest(ix, iy) {
                    let (x, y) = spectrum.vertex(ix, iy);
                    tops.vertices.push(([ix as i32, iy as i32], [x, y]));
                    let (here, opposite) = (tops.index(ix, iy), tops.index(-ix, -iy));
                    tops.at[here] = tops.vertices.len() as u32;
                    tops.at[opposite] = tops.vertices.len() as u32;
                }
            }
        }
        tops
    }

    fn index(&self, ix: i64, iy: i64) -> usize {
        let wrapped = |i: i64| if i < 0 { i + self.n } else { i };
        (wrapped(iy) * self.n + wrapped(ix)) as usize
    }

    /// Amplitude of the line at a frequency (cycles/mm) below the highest that is trusted: that of a local maximum within
    /// reach, or no more than the noise where there is none, so that the skirt of a line counts for no other.
    pub fn near(&self, spectrum: &Spectrum, f: [f64; 2]) -> f64 {
        let (x, y) = (f[0] / spectrum.bin, f[1] / spectrum.bin);
        let (ix, iy) = (nearest(x), nearest(y));
        let reach = spectrum.reach(f) / spectrum.bin;
        let mut best = 0.0f32;
        for dy in -1..=1 {
            for dx in -1..=1 {
                let bin = self.index(ix + dx, iy + dy);
                let Some(top) = (self.at[bin] as usize).checked_sub(1) else { continue };
                let ([jx, jy], [px, py]) = self.vertices[top];
                // The other half plane is the mirror image of this one.
                let same = (i64::from(jx), i64::from(jy)) == (ix + dx, iy + dy);
                let (px, py) = if same { (px, py) } else { (-px, -py) };
                let off = (px - x) * (px - x) + (py - y) * (py - y);
                if spectrum.amplitude[bin] > best && off <= reach * reach {
                    best = spectrum.amplitude[bin];
                }
            }
        }
        f64::from(if best > 0.0 { best } else { spectrum.amplitude[self.index(ix, iy)].min(1.0) })
    }
}

/// The nearest whole number.
fn nearest(v: f64) -> i64 {
    (v + 0.5_f64.copysign(v)) as i64
}

/// The strongest `most` local maxima, strongest first. Amplitudes are divided by the root of the frequency: the plies of
/// the yarn make lines of their own, higher up, that would crowd out those of the stitches.
pub fn strongest(spectrum: &Spectrum, tops: &Tops, most: usize) -> Vec<Peak> {
    let reach = (spectrum.limit() / spectrum.bin) as i32;
    let mut peaks = Vec::new();
    for &([ix, iy], [x, y]) in &tops.vertices {
        let r2 = ix * ix + iy * iy;
        if (iy == 0 && ix <= 0) || r2 > reach * reach || r2 < 6 {
            continue;
        }
        let amplitude = spectrum.value(i64::from(ix), i64::from(iy));
        let f = [x * spectrum.bin, y * spectrum.bin];
        if amplitude >= MIN_AMPLITUDE && !spectrum.is_coloured(f) {
            peaks.push(Peak { f, amplitude: f64::from(amplitude) });
        }
    }
    let rank = |p: &Peak| p.amplitude / p.f[0].hypot(p.f[1]).sqrt();
    peaks.sort_by(|a, b| rank(b).total_cmp(&rank(a)));
    peaks.truncate(most);
    peaks
}
