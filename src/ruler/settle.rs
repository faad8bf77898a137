//! Settle: what the marks count in, from their lengths, the numerals, and the ruler's other edge; or that it stays open.

use super::hierarchy::Match;
use super::numerals::{NumeralPeriod, numeral_period, numeral_period_beside_lines, numerals_at_every_second};
use super::train::{Train, mark_sigma_px, residual_rms_px};
use super::{RulerSettings, RulerUnit};
use crate::photo::Photo;

/// Robust scatter of marks about the fit, in pitches, up to which a row counts as graduations; look-alikes (ribs, cloth)
/// scatter by 0.03 and more, rulers by 0.02 and less. Two edges that confirm each other may scatter more, and so may marks whose
/// lengths count by such a share (stated choice: twice what is believed otherwise): marks in few pixels are not placed better.
pub(super) const RESIDUAL_MAX: f64 = 0.035;
pub(super) const RESIDUAL_MAX_JOINT: f64 = 0.05;
const EXPLAINED_WELL: f64 = 0.7;
/// Gain from which on nothing but a ruler counts so.
const GAIN_CERTAIN: f64 = 40.0;
/// Least length of the short marks, in pitches: loops and threads are no longer than they are apart (stated choice); where the
/// lengths count as nothing but a ruler's do, ticks of a grid a fifth as long as their spacing (stated choice).
const SHORTEST: f64 = 0.45;
const SHORTEST_CERTAIN: f64 = 0.2;
/// Gain of long and short marks by turns, which much else shows: twice what is believed of other patterns (stated choice).
const GAIN_HALVES: f64 = 30.0;
/// Least joint gain of two edges.
const JOINT_GAIN_MIN: f64 = 20.0;
/// By how much two edges in different units must lead.
const MIXED_LEAD: f64 = 5.0;
/// Share of the best gain from which on another reading is taken when the numerals speak for it.
const NEARLY_SHARE: f64 = 0.5;
/// Share of the best gain from which on the same marks without their longest class are a rival that numerals must settle: numerals
/// that touch marks make such a class (measured: 0.82 on one of those; of 59 right scales that have such a rival 48 have 0.77 and
/// less; of the others numerals or the other edge settle every one).
const OCTAVE_SHARE: f64 = 0.8;
/// px per mm of two edges agree within this share: 18° of tilt across a ruler changes it by 3 %.
pub(super) const EDGES_AGREE: f64 = 0.06;
/// A photo of a swatch and a ruler shows at least this much on its longer side, mm: six stitches of the bulkiest yarn.
const FIELD_MIN_MM: f64 = 80.0;

/// It shows no more than this, mm (stated choice; of 606 photos of seven renderers one shows more, 99 in a hundred less than 520).
const FIELD_MAX_MM: f64 = 650.0;
/// Inches in halves are no longer than this where they stand for the usual ruler (common practice, no source: twelve).
const FOOT_MARKS: usize = 25;

/// A train and the scales that fit it.
pub(super) struct Candidate {
    pub train: Train,
    pub matches: Vec<Match>,
}

impl Candidate {
    /// What it may count in beside another edge. Beside centimetres inches may also have lost their longest marks to wear: the
    /// other edge then tells how far apart they are.
    pub fn beside(&self, other: &Match) -> impl Iterator<Item = Match> {
        let worn = (other.scale.unit == RulerUnit::Cm).then(|| self.matches.iter().filter_map(|m| m.worn()));
        self.matches.iter().copied().chain(worn.into_iter().flatten())
    }

    /// What the numerals say of a scale on these marks.
    fn numerals(&self, m: &Match, photo: &Photo) -> NumeralPeriod {
        numeral_period(&photo.rgb, &self.train, m.phase, m.scale.period())
    }
}

/// What a train, and the one on the other edge, count in.
pub(super) enum Verdict {
    Nothing,
    Unclear(Match, Match),
    Read(Match, Option<Match>),
}

/// Two edges of one ruler have one scale in px per mm: pairs of scales that agree are believed by their joint gain.
/// Edges with the same pitch agree whatever it is, so there, and for one edge alone, the pattern must be sure.
pub(super) fn settle(
    main: &Candidate,
    partner: Option<&Candidate>,
    settings: &RulerSettings,
    photo: &Photo,
) -> Verdict {
    if main.matches[0].is_halves() {
        return settle_halves(main, photo);
    }
    let mut joint: Vec<(f64, Match, Match)> = Vec::new();
    if let Some(other) = partner {
        for p in &other.matches {
            let agreeing = main.beside(p).filter(|m| agree(&main.train, m, &other.train, p));
            joint.extend(agreeing.map(|m| (m.gain + p.gain, m, *p)));
        }
    }
    joint.sort_by(|a, b| b.0.total_cmp(&a.0));
    if let Some((gain, m, p)) = joint.first().copied() {
        let mixed = m.scale.unit != p.scale.unit;
        // Centimetres beside inches fix the scale, unless both may have twice as many marks.
        let lead = |rival: &Match| if mixed && !is_octave(&m, rival) { MIXED_LEAD } else { margin(gain) };
        let clear = joint.iter().filter(|j| differs(&j.1, &m)).all(|j| gain - j.0 > lead(&j.1));
        let sure = mixed || m.scale.sure || p.scale.sure || settings.unit.is_some();
        if clear
            && sure
            && gain > JOINT_GAIN_MIN
            // An edge that would have the marks of this one count worse than by themselves is none.
            && gain >= main.matches[0].gain
            && m.gain.min(p.gain) > 0.0
            && (mixed || is_plausible(main, &m, photo))
        {
            let octave = joint.iter().find(|(_, a, b)| is_octave(&m, a) && is_octave(&p, b));
            let twice = |(m, p): (&Match, &Match)| {
                let half = |c: &Candidate, m: &Match| c.numerals(m, photo) == NumeralPeriod::Half;
                half(main, m) || partner.is_some_and(|other| half(other, p))
            };
            match octave {
                // Numerals that touch marks lengthen some of them, as if every second of the longest were longer.
                Some((_, a, b)) if twice((&m, &p)) => {
                    if mixed && !twice((a, b)) {
                        return Verdict::Read(*a, Some(*b));
                    }
                }
                _ => return Verdict::Read(m, Some(p)),
            }
        }
    }
    settle_alone(main, settings, photo)
}

/// What one train counts in by its mark lengths and by where numerals stand.
pub(super) fn settle_alone(main: &Candidate, settings: &RulerSettings, photo: &Photo) -> Verdict {
    let mut best = main.matches[0];
    let spoken = |m: &Match| main.numerals(m, photo);
    let numerals = spoken(&best);
    let beside_lines = |m: &Match, of: &Match| {
        let counts = |m: &Match| (m.phase, m.scale.period());
        numeral_period_beside_lines(&photo.rgb, &main.train, counts(m), counts(of))
    };
    // Fives of a scale whose tens are no longer: numerals at every second of them is what they should have; longer marks there
    // would be tens.
    let confirmed = match best.scale.period() {
        5 => numerals == NumeralPeriod::Double && beside_lines(&best, &best) == NumeralPeriod::Double,
        _ => matches!(numerals, NumeralPeriod::Confirmed | NumeralPeriod::ConfirmedHalfOn),
    };
    if numerals == NumeralPeriod::ConfirmedHalfOn {
        best.phase += best.scale.period() / 2;
    }
    if !is_believable(main, settings, confirmed) {
        return Verdict::Nothing;
    }
    let chosen = match numerals {
        _ if confirmed => match rival_of(main, photo) {
            Some(rival) if !is_octave(&best, &rival) => return Verdict::Unclear(best, rival),
            // Of inches in sixteenths and in eighths with numerals at both, or half-way beside the marks' own lines, one took ends
            // of marks for numerals.
            Some(rival)
                if rival.scale.period() < best.scale.period()
                    && (spoken(&rival) == NumeralPeriod::Confirmed
                        || beside_lines(&best, &rival) == NumeralPeriod::Half) =>
            {
                return Verdict::Unclear(best, rival);
            }
            // Of inches in eighths, as sixteenths they would have numerals half-way as well; where that is not seen, what
            // stands at the longest marks may be the marks' own ends.
            Some(rival)
                if rival.scale.period() > best.scale.period() && beside_lines(&rival, &best) != NumeralPeriod::Half =>
            {
                return Verdict::Unclear(best, rival);
            }
            _ => best,
        },
        NumeralPeriod::Half | NumeralPeriod::Double => {
            let nearly = main.matches.iter().filter(|m| m.gain > NEARLY_SHARE * best.gain);
            match nearly.filter(|m| differs(m, &best)).find(|m| spoken(m) == NumeralPeriod::Confirmed) {
                Some(m) => *m,
                None if numerals == NumeralPeriod::Half => return Verdict::Unclear(best, best.times(2.0)),
                None => return Verdict::Unclear(best, best.times(0.5)),
            }
        }
        _ => match rival_of(main, photo).or_else(|| octave_of(main)) {
            Some(rival) => return Verdict::Unclear(best, rival),
            None => best,
        },
    };
    if is_plausible(main, &chosen, photo) {
        Verdict::Read(chosen, None)
    } else {
        Verdict::Unclear(chosen, chosen.in_tenths())
    }
}

/// Halves have no pattern of their own: numerals must stand at every longer mark, and the unit is the user's to say, unless
/// inches would make the ruler longer than a foot and the picture too large for a swatch's.
fn settle_halves(main: &Candidate, photo: &Photo) -> Verdict {
    let best = main.matches[0];
    let clear = best.explained > EXPLAINED_WELL && best.gain > GAIN_HALVES;
    if !clear
        || !is_graduated(&main.train, &main.matches, RESIDUAL_MAX)
        || !numerals_at_every_second(&photo.rgb, &main.train, best.phase)
    {
        return Verdict::Nothing;
    }
    // Both units remain where none was said.
    let [cm, inches] = main.matches[..] else { return Verdict::Read(best, None) };
    let field_mm = |m: &Match| field_mm(main, m, photo);
    let longer_than_a_foot = main.train.marks.len() > FOOT_MARKS;
    if longer_than_a_foot && field_mm(&inches) > FIELD_MAX_MM && field_mm(&cm) < FIELD_MAX_MM {
        Verdict::Read(cm, None)
    } else {
        Verdict::Unclear(cm, inches)
    }
}

/// One reading has twice the pitch of the other.
pub(super) fn is_octave(a: &Match, b: &Match) -> bool {
    let ratio = a.scale.pitch_mm / b.scale.pitch_mm;
    (ratio - 2.0).abs() < 0.1 || (ratio - 0.5).abs() < 0.025
}

/// Both trains have about the same px per mm under these scales.
pub(super) fn agree(a: &Train, m: &Match, b: &Train, p: &Match) -> bool {
    let ratio = (b.pitch_px() / p.scale.pitch_mm) / (a.pitch_px() / m.scale.pitch_mm);
    (ratio - 1.0).abs() < EDGES_AGREE
}

/// Two readings of one train that differ in scale.
pub(super) fn differs(a: &Match, b: &Match) -> bool {
    (a.scale.pitch_mm / b.scale.pitch_mm - 1.0).abs() > 0.05
}

/// By how much the best reading must lead.
pub(super) fn margin(gain: f64) -> f64 {
    (0.15 * gain).max(8.0)
}

/// Inches in tenths have the pattern of centimetres in millimetres: a picture of less than [`FIELD_MIN_MM`] is more
/// likely one of those than a swatch beside a millimetre scale.
pub(super) fn is_plausible(c: &Candidate, m: &Match, photo: &Photo) -> bool {
    m.scale.unit == RulerUnit::Inch || field_mm(c, m, photo) > FIELD_MIN_MM
}

/// What the photo's longer side shows by a scale, mm.
fn field_mm(c: &Candidate, m: &Match, photo: &Photo) -> f64 {
    photo.width().max(photo.height()) as f64 / c.train.pitch_px() * m.scale.pitch_mm
}

/// An even row of marks that begin in line and are long against their step: not yet what they count.
pub(super) fn is_graduated(train: &Train, matches: &[Match], residual_max: f64) -> bool {
    let pitch = train.pitch_px();
    let shortest = if count_well(matches) { SHORTEST_CERTAIN } else { SHORTEST };
    train.marks.len() >= 12
        && train.density() > 0.6
        && scatter_px(train, matches) < residual_max * pitch
        && (train.base.rms < (0.16 * pitch).max(1.2) || end_in_line(train, matches))
        && train.short_px > shortest * pitch
}

/// Robust scatter of the marks, in px: about the fit; where their lengths count as nothing but a ruler's do, of each about its neighbours,
/// since a tape that lies in waves or bends departs from the fit by a stretch at a time (measured on three tapes of a foreign renderer:
/// 0.055 to 0.11 pitches about the fit).
fn scatter_px(train: &Train, matches: &[Match]) -> f64 {
    /// Departures from the fit up to which a mark is not taken for the next, in pitches (derived: three of them are less than half).
    const WAVES_MAX: f64 = 0.15;
    let about_fit = residual_rms_px(train);
    let one_by_one = count_well(matches) && about_fit < WAVES_MAX * train.pitch_px();
    if one_by_one { mark_sigma_px(train) } else { about_fit }
}

/// Whether the marks' lengths count as nothing but a ruler's do.
fn count_well(matches: &[Match]) -> bool {
    matches.first().is_some_and(|m| m.explained > EXPLAINED_WELL && m.gain > GAIN_CERTAIN)
}

/// Whether the marks' free ends count so well that their beginnings need not be in line: beyond the edge of a clear ruler dark
/// fabric goes on where the ink ends.
fn end_in_line(train: &Train, matches: &[Match]) -> bool {
    /// Largest scatter of the beginnings, in lengths of the short marks (stated choice; measured on two clear rulers on ribs and
    /// garter: 0.08 and 0.10).
    const OF_SHORT: f64 = 0.125;
    count_well(matches) && train.base.rms < OF_SHORT * train.short_px
}

/// The lengths of the marks count like a ruler's; numerals at the longest marks make up for worn or faint ones.
pub(super) fn is_believable(c: &Candidate, settings: &RulerSettings, confirmed: bool) -> bool {
    let m = &c.matches[0];
    let (explained, gain) = if confirmed { (0.18, 10.0) } else { (0.35, 15.0) };
    let sure = m.scale.sure || confirmed || settings.unit.is_some();
    let residual_max = if m.explained > EXPLAINED_WELL { RESIDUAL_MAX_JOINT } else { RESIDUAL_MAX };
    is_graduated(&c.train, &c.matches, residual_max) && sure && m.explained > explained && m.gain > gain && m.repeated
}

/// So many marks that count so well that no better ruler is looked for.
pub(super) fn is_certain(c: &Candidate) -> bool {
    let m = &c.matches[0];
    m.scale.sure && m.repeated && c.train.marks.len() >= 30 && m.explained > 0.55 && m.gain > GAIN_CERTAIN
}

/// A scale of twice the pitch, where it is nearer than [`OCTAVE_SHARE`] of the gain.
fn octave_of(c: &Candidate) -> Option<Match> {
    let best = &c.matches[0];
    let twice = |m: &&Match| is_octave(best, m) && m.scale.pitch_mm > best.scale.pitch_mm;
    c.matches.iter().find(twice).filter(|m| m.gain > OCTAVE_SHARE * best.gain).copied()
}

/// A scale with another pitch that fits nearly as well, and by which the picture has room for a swatch.
fn rival_of(c: &Candidate, photo: &Photo) -> Option<Match> {
    let best = &c.matches[0];
    let rival = c.matches.iter().find(|m| differs(m, best) && is_plausible(c, m, photo))?;
    (best.gain - rival.gain < margin(best.gain)).then_some(*rival)
}
