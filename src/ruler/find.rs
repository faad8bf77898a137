//! Find: search a small copy of the photo for chains of strokes, read the best at full size, keep what is a ruler.

use super::body::outline;
use super::chain::{Chain, find_chains};
use super::hierarchy::{Match, match_scales};
use super::strokes::find_strokes;
use super::train::{Train, grow_train, residual_rms_px};
use super::{Graduation, GraduationTrain, RulerReading, RulerUnit};
use crate::photo::{GreyImage, Photo};
use crate::refusal::{Refusal, RefusalCode};
use image::imageops;

/// What the user says about the ruler.
#[derive(Debug, Clone, Copy, Default)]
pub struct RulerSettings {
    /// The ruler's unit, where the user gave it.
    pub unit: Option<RulerUnit>,
}

/// One way of looking at the photo.
struct Pass {
    /// Longer side of the picture that is searched, px.
    longest_px: f64,
    /// Weights of the sRGB-coded channels; marks are the dark in this mix.
    mix: [f32; 3],
    /// Least depth of a stroke, of full scale 1.
    depth: f32,
}

const LUMINANCE: [f32; 3] = [0.2126, 0.7152, 0.0722];
const NEGATIVE: [f32; 3] = [-0.2126, -0.7152, -0.0722];

/// The passes, the cheap and usual first; the search stops at the first that finds a ruler. Ink on a ruler is seldom
/// less than 0.1 deep; worn or see-through rulers need the last.
const PASSES: [Pass; 5] = [
    Pass { longest_px: 1600.0, mix: LUMINANCE, depth: 0.035 },
    Pass { longest_px: 2600.0, mix: LUMINANCE, depth: 0.03 },
    Pass { longest_px: 1600.0, mix: NEGATIVE, depth: 0.06 },
    Pass { longest_px: 1600.0, mix: LUMINANCE, depth: 0.012 },
    Pass { longest_px: 1600.0, mix: [1.0, 0.0, -0.5], depth: 0.05 },
];

/// Most chains read in one pass.
const READS_MAX: usize = 32;
/// Chains that failed with the same direction and step (cloth, knitting) before others like them are passed over.
const FAILURES_ALIKE: usize = 4;

/// A train and the scales that fit it.
struct Candidate {
    train: Train,
    matches: Vec<Match>,
}

/// Finds and reads the ruler in a photo.
///
/// # Errors
///
/// `NoScale` when nothing with graduations is found, `UnitUnclear` when graduations are read but two units fit them.
pub fn read(photo: &Photo, settings: &RulerSettings) -> Result<RulerReading, Refusal> {
    let longest = photo.width().max(photo.height()) as f64;
    let mut unclear = None;
    let mut searched = Vec::new();
    for pass in &PASSES {
        let scale = (longest / pass.longest_px).max(1.0);
        // A small photo is searched once at its own size.
        if searched.contains(&(scale.to_bits(), pass.mix.map(f32::to_bits), pass.depth <= 0.02)) {
            continue;
        }
        searched.push((scale.to_bits(), pass.mix.map(f32::to_bits), pass.depth <= 0.02));
        let chains = find_chains(&find_strokes(&search_picture(photo, scale, pass.mix), pass.depth));
        match search(photo, settings, &chains, scale) {
            Ok(Some(reading)) => return Ok(reading),
            Ok(None) => {}
            Err(refusal) => unclear = unclear.or(Some(refusal)),
        }
    }
    Err(unclear.unwrap_or_else(|| Refusal::new(RefusalCode::NoScale, "no row of even marks that count like a ruler")))
}

/// Reads chains until a ruler is found, then its other edge.
fn search(
    photo: &Photo,
    settings: &RulerSettings,
    chains: &[Chain],
    scale: f64,
) -> Result<Option<RulerReading>, Refusal> {
    let mut tried: Vec<Train> = Vec::new();
    let mut failures: Vec<(f64, f64)> = Vec::new();
    let mut candidates: Vec<Candidate> = Vec::new();
    let mut reads = 0;
    for chain in chains {
        let (angle, step) = (chain.angle(), chain.step_px);
        let alike = failures.iter().filter(|f| turned_by(f.0, angle) < 0.09 && (f.1 / step).ln().abs() < 0.12).count();
        if alike >= FAILURES_ALIKE || tried.iter().any(|t| lies_on(chain, scale, t)) {
            continue;
        }
        reads += 1;
        if reads > READS_MAX {
            break;
        }
        let Some(train) = grow_train(&photo.rgb, chain, scale) else {
            failures.push((angle, step));
            continue;
        };
        let matches = matches_for(&train, settings);
        tried.push(train.clone());
        let candidate = Candidate { train, matches };
        if !is_graduated(&candidate.train) || candidate.matches.is_empty() {
            failures.push((angle, step));
            continue;
        }
        let certain = is_certain(&candidate);
        candidates.push(candidate);
        if certain {
            break;
        }
    }
    candidates.sort_by(|a, b| b.matches[0].gain.total_cmp(&a.matches[0].gain));
    conclude(photo, settings, &candidates, chains, scale)
}

/// What the best candidate says, with its partner on the ruler's other edge.
fn conclude(
    photo: &Photo,
    settings: &RulerSettings,
    candidates: &[Candidate],
    chains: &[Chain],
    scale: f64,
) -> Result<Option<RulerReading>, Refusal> {
    let mut unclear = None;
    for main in candidates {
        let best = main.matches[0];
        if !is_believable(main, settings) {
            continue;
        }
        let partner = other_edge(photo, main, chains, scale);
        if let Some(rival) = rival_of(main)
            && partner.is_none()
        {
            unclear = unclear.or_else(|| Some(unit_unclear(&best, &rival)));
            continue;
        }
        let mut trains = vec![graduations(&main.train, &best)];
        trains.extend(partner.iter().map(|p| graduations(&p.train, &p.matches[0])));
        let other = partner.as_ref().map(|p| &p.train);
        let outline_px = outline(&photo.rgb, &main.train, other, best.scale.pitch_mm);
        return Ok(Some(RulerReading { trains, outline_px }));
    }
    unclear.map_or(Ok(None), Err)
}

/// Scales that fit, the user's unit only where one was given.
fn matches_for(train: &Train, settings: &RulerSettings) -> Vec<Match> {
    let mut matches = match_scales(train);
    matches.retain(|m| settings.unit.is_none_or(|u| u == m.scale.unit));
    matches
}

/// An even row of marks that begin in line and are long against their step: not yet what they count.
fn is_graduated(train: &Train) -> bool {
    let pitch = train.pitch_px();
    train.marks.len() >= 12
        && train.density() > 0.6
        && residual_rms_px(train) < 0.035 * pitch
        && train.base.rms < (0.16 * pitch).max(1.2)
        && train.short_px > 0.45 * pitch
}

/// The lengths of the marks count like a ruler's.
fn is_believable(c: &Candidate, settings: &RulerSettings) -> bool {
    let m = &c.matches[0];
    (m.scale.sure || settings.unit.is_some()) && m.explained > 0.35 && m.gain > 15.0 && m.repeated
}

/// So many marks that count so well that no better ruler is looked for.
fn is_certain(c: &Candidate) -> bool {
    let m = &c.matches[0];
    m.scale.sure && m.repeated && c.train.marks.len() >= 30 && m.explained > 0.55 && m.gain > 40.0
}

/// A scale with another pitch that fits nearly as well.
fn rival_of(c: &Candidate) -> Option<Match> {
    let best = &c.matches[0];
    let rival = c.matches[1..].iter().find(|m| (m.scale.pitch_mm / best.scale.pitch_mm - 1.0).abs() > 0.05)?;
    (best.gain - rival.gain < 8.0).then_some(*rival)
}

fn unit_unclear(best: &Match, rival: &Match) -> Refusal {
    let name = |m: &Match| match m.scale.unit {
        RulerUnit::Cm => format!("{} mm", m.scale.pitch_mm),
        RulerUnit::Inch => format!("1/{} inch", (25.4 / m.scale.pitch_mm).round()),
    };
    Refusal::new(RefusalCode::UnitUnclear, format!("a mark every {} or every {}", name(best), name(rival)))
}

/// The train along the ruler's other edge, with the scale that agrees with the first.
fn other_edge(photo: &Photo, main: &Candidate, chains: &[Chain], scale: f64) -> Option<Candidate> {
    let px_per_mm = main.train.pitch_px() / main.matches[0].scale.pitch_mm;
    let mut tried: Vec<Train> = vec![main.train.clone()];
    for chain in chains {
        if tried.len() > 8 {
            break;
        }
        if !beside_train(chain, scale, &main.train, px_per_mm) || tried.iter().any(|t| lies_on(chain, scale, t)) {
            continue;
        }
        let Some(train) = grow_train(&photo.rgb, chain, scale) else { continue };
        tried.push(train.clone());
        if !is_graduated(&train) {
            continue;
        }
        let mut matches = match_scales(&train);
        matches.retain(|m| {
            let ratio = train.pitch_px() / m.scale.pitch_mm / px_per_mm;
            m.gain > 4.0 && m.explained > 0.15 && (ratio - 1.0).abs() < 0.06
        });
        if !matches.is_empty() {
            return Some(Candidate { train, matches });
        }
    }
    None
}

/// A chain that runs along a train at a ruler's width from it, and overlaps it.
fn beside_train(chain: &Chain, scale: f64, train: &Train, px_per_mm: f64) -> bool {
    let (Some(a), Some(b)) = (train.marks.first(), train.marks.last()) else { return false };
    let places: Vec<(f64, f64)> = chain.line().map(|p| train.frame.place((p.0 * scale, p.1 * scale))).to_vec();
    let slope = (places[1].1 - places[0].1) / (places[1].0 - places[0].0);
    let inside = |p: &(f64, f64)| p.0 > a.u && p.0 < b.u;
    let away = (places[0].1 - train.base.at(places[0].0)) / px_per_mm;
    slope.abs() < 0.09 && places.iter().any(inside) && (8.0..75.0).contains(&away)
}

/// A chain whose strokes lie on a train that was read already.
fn lies_on(chain: &Chain, scale: f64, train: &Train) -> bool {
    let (Some(a), Some(b)) = (train.marks.first(), train.marks.last()) else { return false };
    let pitch = train.pitch_px();
    chain.line().iter().all(|p| {
        let (u, v) = train.frame.place((p.0 * scale, p.1 * scale));
        let above = v - train.base.at(u.max(a.u.min(b.u)).min(a.u.max(b.u)));
        u > a.u - 2.0 * pitch && u < b.u + 2.0 * pitch && above > -pitch && above < train.short_px + 3.0 * pitch
    })
}

/// Angle between two lines, radians.
fn turned_by(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(std::f64::consts::PI);
    d.min(std::f64::consts::PI - d)
}

fn graduations(train: &Train, m: &Match) -> GraduationTrain {
    let residual = residual_rms_px(train);
    let middle = train.marks.get(train.marks.len() / 2).map_or(0.0, |m| m.u);
    GraduationTrain {
        tips: Vec::new(),
        unit: m.scale.unit,
        pitch_mm: m.scale.pitch_mm,
        marks: train
            .marks
            .iter()
            .map(|g| Graduation {
                index: g.index - m.phase,
                at: train.at(g),
                along_sigma_px: residual,
                length_px: g.length_px,
            })
            .collect(),
        mark_direction: train.frame.direction(train.lean.at(middle), 1.0),
        residual_rms_px: residual,
        hierarchy: m.explained,
    }
}

/// A reduced copy in one mix of the sRGB-coded channels, 0 to 1.
fn search_picture(photo: &Photo, scale: f64, mix: [f32; 3]) -> GreyImage {
    let (w, h) = (photo.width() as f64 / scale, photo.height() as f64 / scale);
    let small = if scale > 1.0 {
        &imageops::thumbnail(&photo.rgb, (w.round() as u32).max(1), (h.round() as u32).max(1))
    } else {
        &photo.rgb
    };
    let mut grey = GreyImage::new(small.width(), small.height());
    for (g, p) in grey.iter_mut().zip(small.pixels()) {
        *g = (0..3).map(|c| mix[c] * p.0[c] as f32).sum::<f32>() / 255.0;
    }
    grey
}
