//! Find: search a small copy of the photo for chains of strokes, read the best at full size, keep what is a ruler.

use super::blank::{Body, blank_rulers};
use super::body::outline;
use super::chain::{Chain, find_chains};
use super::edges::{beside_train, faces, lies_on, same_ground, same_line};
use super::hierarchy::{Match, match_scales};
use super::settle::{Candidate, EDGES_AGREE, RESIDUAL_MAX_JOINT, Verdict, agree, is_certain, is_graduated, settle};
use super::small::small_copy;
use super::strokes::find_strokes;
use super::tips::follow;
use super::train::{Train, grow_train, mark_sigma_px, residual_rms_px};
use super::{Graduation, GraduationTrain, RulerReading, RulerUnit};
use crate::photo::{GreyImage, LUMINANCE, Photo};
use crate::quantity::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};
use crate::side_by_side::{both, map_in_order};
use image::RgbImage;

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

/// Marks lighter than the ruler.
const NEGATIVE: [f32; 3] = [-LUMINANCE[0], -LUMINANCE[1], -LUMINANCE[2]];
/// Blue ink on yellow, black on dark red: what luminance hardly shows.
const RED_LESS_BLUE: [f32; 3] = [1.0, 0.0, -0.5];

/// The passes, the cheap and usual first; the search stops at the first that finds a ruler. Ink on a ruler is seldom
/// less than 0.1 deep; worn or see-through rulers need the last.
const PASSES: [Pass; 5] = [
    Pass { longest_px: 1600.0, mix: LUMINANCE, depth: 0.035 },
    Pass { longest_px: 1600.0, mix: NEGATIVE, depth: 0.06 },
    Pass { longest_px: 1600.0, mix: LUMINANCE, depth: 0.012 },
    Pass { longest_px: 2600.0, mix: LUMINANCE, depth: 0.03 },
    Pass { longest_px: 2600.0, mix: RED_LESS_BLUE, depth: 0.05 },
];

/// What is tried when all of these fail: the same on the photo reduced by this factor, if it is at least so large.
const AVERAGED: f64 = 5.0 / 3.0;
const AVERAGED_FROM_PX: u32 = 1200;
const AVERAGED_PASSES: [Pass; 2] = [
    Pass { longest_px: 1600.0, mix: LUMINANCE, depth: 0.03 },
    Pass { longest_px: 1600.0, mix: LUMINANCE, depth: 0.012 },
];

/// What is tried last, on what looks like a ruler without marks.
const ON_BODY: [Pass; 2] = [
    Pass { longest_px: 1600.0, mix: LUMINANCE, depth: 0.012 },
    Pass { longest_px: 2600.0, mix: LUMINANCE, depth: 0.012 },
];

/// Depth from which down a pass is one for faint marks.
const FAINT: f32 = 0.02;
/// Most chains read in one pass, and the least score of those: the best chain of a ruler scored 7.7 and more on every
/// photo measured in one pass or another, mostly above 20; chains by chance score less than 1.
const READS_MAX: usize = 24;
const SCORE_MIN: f64 = 1.5;
/// Chains that failed with the same direction and step (cloth, knitting) before others like them are passed over.
const FAILURES_ALIKE: usize = 4;

/// Least gain with which a train is looked at.
const GAIN_MIN: f64 = 8.0;
/// By how much more the marks must count like a ruler's where a look before left them open: it then sees marks which that one missed
/// (stated choice; measured on two rulers whose longest marks the first look missed: 1.3 and 2.6 times).
const SEES_MORE: f64 = 1.25;
/// Steps of chains that may lie on a ruler's other edge, mm: marks, and every second or fifth of them where the shorter
/// ones were not seen.
const OTHER_STEPS_MM: [f64; 8] = [0.5, 1.0, 2.0, 5.0, 25.4 / 32.0, 25.4 / 16.0, 25.4 / 8.0, 25.4 / 4.0];
/// Most chains read for the other edge.
const PARTNERS_MAX: usize = 6;
/// Finds and reads the ruler in a photo.
///
/// # Errors
///
/// `NoScale` when nothing with graduations is found, `RulerUnmarked` when a long plain body is there, `UnitUnclear` when graduations are read but two units fit them.
pub fn read(photo: &Photo, settings: &RulerSettings) -> Result<RulerReading, Refusal> {
    let refusal = match read_with(photo, settings, &PASSES, None) {
        Err(refusal) if refusal.code == RefusalCode::NoScale => refusal,
        settled => return settled,
    };
    // Faint marks in noise: averaged over more than one pixel they stand out better than they lose in sharpness.
    if photo.width().max(photo.height()) >= AVERAGED_FROM_PX {
        let averaged = Photo { rgb: reduced(photo, AVERAGED), ..Photo::default() };
        if let Ok(reading) = read_with(&averaged, settings, &AVERAGED_PASSES, None) {
            let stretch = |full: u32, small: u32| f64::from(full) / f64::from(small);
            let (x, y) = (stretch(photo.width(), averaged.width()), stretch(photo.height(), averaged.height()));
            return Ok(stretched(reading, x, y));
        }
    }
    let bodies = blank_rulers(&photo.rgb);
    if bodies.is_empty() {
        return Err(refusal);
    }
    // Marks may be so faint that the rows of cloth and knitting around the body come before them.
    match read_with(photo, settings, &ON_BODY, Some(&bodies)) {
        Err(refusal) if refusal.code == RefusalCode::NoScale => {
            Err(Refusal::new(RefusalCode::RulerUnmarked, "a long straight body without a row of marks"))
        }
        settled => settled,
    }
}

/// A reading in the pixels of a picture that is wider and higher by the factors `x` and `y` (nearly the same).
fn stretched(mut reading: RulerReading, x: f64, y: f64) -> RulerReading {
    let place = |p: &mut PhotoPoint| *p = PhotoPoint::new(p.x * x, p.y * y);
    let scale = (x * y).sqrt();
    for train in &mut reading.trains {
        train.residual_rms_px *= scale;
        for mark in &mut train.marks {
            place(&mut mark.at);
            mark.along_sigma_px *= scale;
            mark.length_px *= scale;
        }
    }
    reading.outline_px.iter_mut().for_each(place);
    reading
}

/// Looks in several ways until a ruler is found; for marks on some bodies only, where those are given.
fn read_with(
    photo: &Photo,
    settings: &RulerSettings,
    passes: &[Pass],
    on: Option<&[Body]>,
) -> Result<RulerReading, Refusal> {
    let longest = photo.width().max(photo.height()) as f64;
    let mut unclear = None;
    let mut doubted = Vec::new();
    let mut searched = Vec::new();
    let mut small: Option<(f64, RgbImage)> = None;
    for pass in passes {
        let scale = (longest / pass.longest_px).max(1.0);
        // A photo smaller than that was searched at its own size already.
        let look = (scale.to_bits(), pass.mix.map(f32::to_bits), pass.depth <= FAINT);
        if searched.contains(&look) {
            continue;
        }
        searched.push(look);
        let reduced = match small.take() {
            Some((at, rgb)) if at == scale => rgb,
            _ if scale > 1.0 => reduced(photo, scale),
            _ => photo.rgb.clone(),
        };
        let mut strokes = find_strokes(&in_mix(&reduced, pass.mix), pass.depth);
        if let Some(bodies) = on {
            let holds = |body: &Body, (x, y): (f64, f64)| body.holds((scale * x, scale * y));
            strokes.retain(|s| bodies.iter().any(|body| holds(body, s.a) && holds(body, s.b)));
        }
        let chains = find_chains(&strokes);
        small = Some((scale, reduced));
        match search(photo, settings, &chains, scale, &mut doubted) {
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
    doubted: &mut Vec<(Train, f64)>,
) -> Result<Option<RulerReading>, Refusal> {
    let mut tried: Vec<Train> = Vec::new();
    let mut failures: Vec<(f64, f64)> = Vec::new();
    let mut candidates: Vec<Candidate> = Vec::new();
    let mut reads = 0;
    for chain in chains.iter().take_while(|c| c.score >= SCORE_MIN) {
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
        if candidate.matches.is_empty() || !is_graduated(&candidate.train, &candidate.matches, RESIDUAL_MAX_JOINT) {
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
    conclude(photo, settings, &candidates, chains, scale, doubted)
}

/// What the best candidate says, alone or together with its partner on the ruler's other edge.
fn conclude(
    photo: &Photo,
    settings: &RulerSettings,
    candidates: &[Candidate],
    chains: &[Chain],
    scale: f64,
    doubted: &mut Vec<(Train, f64)>,
) -> Result<Option<RulerReading>, Refusal> {
    let mut unclear = None;
    for main in candidates.iter().filter(|c| c.matches[0].gain > GAIN_MIN) {
        let partner = other_edge(photo, main, candidates, chains, scale);
        match settle(main, partner.as_ref(), settings, photo) {
            Verdict::Nothing => {}
            Verdict::Unclear(a, b) => {
                unclear = unclear.or_else(|| Some(unit_unclear(&a, &b)));
                doubted.push((main.train.clone(), main.matches[0].gain));
            }
            // What one look left open, another look at the same marks does not settle by a little more luck.
            Verdict::Read(m, None)
                if doubted.iter().any(|(d, gain)| same_line(d, &main.train) && m.gain < SEES_MORE * gain) => {}
            Verdict::Read(m, None) => return Ok(Some(reading(photo, (&main.train, &m), None))),
            Verdict::Read(m, Some(p)) => {
                let other = partner.as_ref().map(|o| (&o.train, &p));
                return Ok(Some(reading(photo, (&main.train, &m), other)));
            }
        }
    }
    unclear.map_or(Ok(None), Err)
}

fn reading(photo: &Photo, main: (&Train, &Match), other: Option<(&Train, &Match)>) -> RulerReading {
    let mut trains = vec![graduations(main.0, main.1)];
    trains.extend(other.map(|o| graduations(o.0, o.1)));
    let (tips, outline_px) = both(
        || map_in_order(&trains, |train| follow(&photo.rgb, train)),
        || outline(&photo.rgb, main.0, other.map(|o| o.0), main.1.scale.pitch_mm),
    );
    trains.iter_mut().zip(tips).for_each(|(train, tips)| train.tips = tips);
    RulerReading { trains, outline_px }
}

/// Scales that fit, the user's unit only where one was given.
fn matches_for(train: &Train, settings: &RulerSettings) -> Vec<Match> {
    let mut matches = match_scales(train);
    matches.retain(|m| settings.unit.is_none_or(|u| u == m.scale.unit));
    matches
}

fn unit_unclear(best: &Match, rival: &Match) -> Refusal {
    let name = |m: &Match| match m.scale.unit {
        RulerUnit::Cm => format!("{} mm", m.scale.pitch_mm),
        RulerUnit::Inch => format!("1/{:.0} inch", 25.4 / m.scale.pitch_mm),
    };
    Refusal::new(RefusalCode::UnitUnclear, format!("a mark every {} or every {}", name(best), name(rival)))
}

/// The train along the ruler's other edge: among those read already, or read now.
fn other_edge(
    photo: &Photo,
    main: &Candidate,
    candidates: &[Candidate],
    chains: &[Chain],
    scale: f64,
) -> Option<Candidate> {
    let partner_of = |train: Train| -> Option<Candidate> {
        let one_ruler = faces(&train, &main.train) && same_ground(&photo.rgb, &train, &main.train);
        let mut matches = match_scales(&train);
        if !one_ruler || !is_graduated(&train, &matches, RESIDUAL_MAX_JOINT) {
            return None;
        }
        matches.retain(|p| p.gain > 0.0 && !p.is_halves() && main.beside(p).any(|m| agree(&main.train, &m, &train, p)));
        (!matches.is_empty()).then_some(Candidate { train, matches })
    };
    let known =
        candidates.iter().filter(|c| !same_line(&c.train, &main.train)).find_map(|c| partner_of(c.train.clone()));
    if known.is_some() {
        return known;
    }
    let px_per_mm = main.train.pitch_px() / main.matches[0].scale.pitch_mm;
    let mut tried: Vec<Train> = vec![main.train.clone()];
    for chain in chains {
        if tried.len() > PARTNERS_MAX {
            break;
        }
        let steps = OTHER_STEPS_MM.map(|mm| chain.step_px * scale / (mm * px_per_mm));
        let steps_like_a_ruler = steps.iter().any(|ratio| (ratio - 1.0).abs() < EDGES_AGREE);
        if !steps_like_a_ruler
            || !beside_train(chain, scale, &main.train)
            || tried.iter().any(|t| lies_on(chain, scale, t))
        {
            continue;
        }
        let Some(train) = grow_train(&photo.rgb, chain, scale) else { continue };
        tried.push(train.clone());
        if let Some(partner) = partner_of(train) {
            return Some(partner);
        }
    }
    None
}

/// Angle between two lines, radians.
fn turned_by(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(std::f64::consts::PI);
    d.min(std::f64::consts::PI - d)
}

fn graduations(train: &Train, m: &Match) -> GraduationTrain {
    let sigma = mark_sigma_px(train);
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
                along_sigma_px: sigma,
                length_px: g.length_px,
            })
            .collect(),
        mark_direction: train.frame.direction(train.lean.at(middle), 1.0),
        residual_rms_px: residual_rms_px(train),
        hierarchy: m.explained,
    }
}

/// A copy of the photo, reduced by averaging.
fn reduced(photo: &Photo, scale: f64) -> RgbImage {
    let side = |px: u32| ((f64::from(px) / scale).round() as u32).max(1);
    small_copy(&photo.rgb, side(photo.width()), side(photo.height()))
}

/// One mix of the sRGB-coded channels, 0 to 1.
fn in_mix(rgb: &RgbImage, mix: [f32; 3]) -> GreyImage {
    /// Pixels that are mixed at once.
    const PIXELS: usize = 1 << 16;
    let [r, g, b] = mix.map(|w| w / 255.0);
    let mut grey = GreyImage::new(rgb.width(), rgb.height());
    let parts = grey.as_mut().chunks_mut(PIXELS).zip(rgb.as_raw().chunks(3 * PIXELS));
    map_in_order(parts, |(grey, rgb)| {
        for (out, p) in grey.iter_mut().zip(rgb.chunks_exact(3)) {
            *out = r * f32::from(p[0]) + g * f32::from(p[1]) + b * f32::from(p[2]);
        }
    });
    grey
}
