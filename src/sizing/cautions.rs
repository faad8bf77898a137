//! What to be careful about in a plan: where a piece can hurt, and where a number says less than it seems to.

use serde::Serialize;

/// Who wears it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Wearer {
    /// A child.
    Child,
    /// A grown person.
    Adult,
}

/// Which caution. The names are part of the JSON contract.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PlanCautionCode {
    /// Cords or ties on a child's piece.
    ChildCords,
    /// Cords or ties, and nobody said that no child wears it.
    CordsWearerUnsaid,
    /// Beads or buttons on a child's piece.
    ChildSmallParts,
    /// Beads, and nobody said that no child wears it.
    BeadsWearerUnsaid,
    /// A fibre that can irritate, worn on the skin.
    FibreOnSkin,
    /// The swatch was knitted flat, the piece is round, or the reverse.
    FlatAgainstRound,
    /// What only a flat piece has was said of a round one, and left out.
    FlatOnly,
    /// The swatch was not washed and dried as the piece will be.
    NotWashed,
    /// Nobody said how the swatch was treated.
    TreatmentUnsaid,
    /// A rib measured relaxed for a piece worn stretched.
    RibStretched,
    /// What a measurement warns of.
    FromMeasurement,
    /// How the fabric varies was not measured but assumed.
    VariationAssumed,
    /// The gauge was stated over "10 cm / 4 in".
    TenCmOrFourInches,
    /// The printed gauge line, rounded, moves a size.
    RoundingMovesSize,
    /// No possible count is likely to land within the tolerance.
    NoGoodCount,
}

/// A caution in words.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanCaution {
    /// Which.
    pub code: PlanCautionCode,
    /// In words, a whole sentence.
    pub message: String,
}

/// What is known of a swatch.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct SwatchFacts {
    /// Name of its gauge.
    pub gauge: String,
    /// Whether it was knitted in the round; `None` where nobody said.
    pub round: Option<bool>,
    /// Whether it was washed and dried as the piece will be; `None` where nobody said.
    pub washed: Option<bool>,
    /// Whether it is a rib.
    pub rib: bool,
    /// Whether it was measured relaxed; a stretched rib is measured at the width it is worn.
    pub relaxed: bool,
    /// Whether its variation from place to place is known.
    pub variation_known: bool,
}

/// What is known of a piece or a part of it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PieceFacts {
    /// What it is called.
    pub name: String,
    /// Name of the gauge it is knitted at.
    pub gauge: String,
    /// Whether it is worked in the round.
    pub round: bool,
    /// Whether it is worn stretched: smaller than the body.
    pub stretched: bool,
}

/// What is known of the whole plan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WholeFacts {
    /// Who wears it; `None` where nobody said.
    pub wearer: Option<Wearer>,
    /// Whether there are cords or ties.
    pub ties: bool,
    /// Whether there are beads or buttons.
    pub beads: bool,
    /// What the yarn is made of; empty where nobody said.
    pub fibre: String,
    /// Whether it is worn on the skin.
    pub on_skin: bool,
}

/// Fibres that often irritate sensitive skin (common practice, no source).
const SCRATCHY: [&str; 10] =
    ["wool", "merino", "mohair", "cashmere", "alpaca", "llama", "camel", "angora", "yak", "hemp"];

/// The cautions of a plan, those that can hurt first.
pub fn cautions(whole: &WholeFacts, swatches: &[SwatchFacts], pieces: &[PieceFacts]) -> Vec<PlanCaution> {
    let mut out = Vec::new();
    can_hurt(&mut out, whole);
    for piece in pieces {
        if let Some(swatch) = swatches.iter().find(|s| s.gauge == piece.gauge) {
            fits_piece(&mut out, swatch, piece);
        }
    }
    for swatch in swatches.iter().filter(|s| pieces.iter().any(|p| p.gauge == s.gauge)) {
        treatment(&mut out, swatch);
    }
    out
}

fn say(out: &mut Vec<PlanCaution>, code: PlanCautionCode, message: String) {
    out.push(PlanCaution { code, message });
}

fn can_hurt(out: &mut Vec<PlanCaution>, whole: &WholeFacts) {
    use PlanCautionCode::{BeadsWearerUnsaid, ChildCords, ChildSmallParts, CordsWearerUnsaid, FibreOnSkin};
    let child = whole.wearer == Some(Wearer::Child);
    let unsaid = whole.wearer.is_none();
    let rules =
        "Rules for children's clothing, such as EN 14682 in Europe, limit or forbid them; the local ones decide.";
    if whole.ties && child {
        let message = format!(
            "Cords and ties at a child's head or neck can strangle. {rules} Leave them off, or close the piece without ends that can catch."
        );
        say(out, ChildCords, message);
    } else if whole.ties && unsaid {
        say(
            out,
            CordsWearerUnsaid,
            format!("Not for a child as it is: cords and ties at head or neck can strangle. {rules}"),
        );
    }
    if whole.beads && child {
        let message =
            "Beads and buttons are small parts: a small child can choke on one that comes off. Leave them off.";
        say(out, ChildSmallParts, message.to_owned());
    } else if whole.beads && unsaid {
        say(
            out,
            BeadsWearerUnsaid,
            "Beads and buttons are small parts a child can choke on: not for small children.".to_owned(),
        );
    }
    let fibre = whole.fibre.to_lowercase();
    if whole.on_skin && SCRATCHY.iter().any(|f| fibre.contains(f)) {
        let message = format!(
            "The fibre ({}) can scratch or redden sensitive skin: try a swatch on the skin first.",
            whole.fibre
        );
        say(out, FibreOnSkin, message);
    }
}

fn fits_piece(out: &mut Vec<PlanCaution>, swatch: &SwatchFacts, piece: &PieceFacts) {
    if let Some(round) = swatch.round.filter(|round| *round != piece.round) {
        let word = |round: bool| if round { "in the round" } else { "flat" };
        let message = format!(
            "{} is worked {}, but the swatch '{}' was knitted {}: the gauge often differs. Knit the swatch as the piece.",
            piece.name,
            word(piece.round),
            swatch.gauge,
            word(round)
        );
        say(out, PlanCautionCode::FlatAgainstRound, message);
    }
    if swatch.rib && swatch.relaxed && piece.stretched {
        let message = format!(
            "{} is smaller than the body and worn stretched, but the rib '{}' was measured relaxed: the counts are for the relaxed width. Measure the rib also stretched as it is worn.",
            piece.name, swatch.gauge
        );
        say(out, PlanCautionCode::RibStretched, message);
    }
}

fn treatment(out: &mut Vec<PlanCaution>, swatch: &SwatchFacts) {
    let name = &swatch.gauge;
    match swatch.washed {
        Some(true) => {}
        Some(false) => {
            let message =
                format!("The swatch '{name}' was not washed and dried: if the piece will be, its gauge changes.");
            say(out, PlanCautionCode::NotWashed, message);
        }
        None => {
            let message = format!(
                "Nobody said whether the swatch '{name}' was washed and dried as the piece will be: if not, the gauge changes."
            );
            say(out, PlanCautionCode::TreatmentUnsaid, message);
        }
    }
    if !swatch.variation_known {
        let message = format!(
            "How the fabric of '{name}' varies from place to place is not known: 1 % between places 3 cm apart is assumed. No interval knows how you knit on another day."
        );
        say(out, PlanCautionCode::VariationAssumed, message);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(whole: &WholeFacts, swatch: SwatchFacts, piece: PieceFacts) -> Vec<PlanCautionCode> {
        cautions(whole, &[swatch], &[piece]).into_iter().map(|c| c.code).collect()
    }

    #[test]
    fn what_can_hurt_comes_first_and_only_where_it_applies() {
        use PlanCautionCode::{BeadsWearerUnsaid, ChildCords, ChildSmallParts, CordsWearerUnsaid, FibreOnSkin};
        let quiet =
            || (SwatchFacts { washed: Some(true), variation_known: true, ..Default::default() }, PieceFacts::default());
        let of = |whole: &WholeFacts| codes(whole, quiet().0, quiet().1);
        assert_eq!(of(&WholeFacts::default()), []);
        let mut facts = WholeFacts { wearer: Some(Wearer::Child), ties: true, beads: true, ..WholeFacts::default() };
        assert_eq!(of(&facts), [ChildCords, ChildSmallParts]);
        facts.wearer = None;
        assert_eq!(of(&facts), [CordsWearerUnsaid, BeadsWearerUnsaid]);
        facts.wearer = Some(Wearer::Adult);
        assert_eq!(of(&facts), []);
        let scratchy = WholeFacts { fibre: "Lambswool".to_owned(), on_skin: true, ..WholeFacts::default() };
        assert_eq!(of(&scratchy), [FibreOnSkin]);
        // A sheep's fibre by its breed alone.
        assert_eq!(of(&WholeFacts { fibre: "extrafine Merino".to_owned(), ..scratchy.clone() }), [FibreOnSkin]);
        assert_eq!(of(&WholeFacts { fibre: "cotton".to_owned(), ..scratchy }), []);
    }

    #[test]
    fn numbers_that_say_less_than_they_seem_to() {
        use PlanCautionCode::{FlatAgainstRound, NotWashed, RibStretched, TreatmentUnsaid, VariationAssumed};
        let whole = WholeFacts::default();
        let rib =
            SwatchFacts { round: Some(false), washed: Some(false), rib: true, relaxed: true, ..Default::default() };
        let band = PieceFacts { round: true, stretched: true, ..Default::default() };
        assert_eq!(
            codes(&whole, rib.clone(), band.clone()),
            [FlatAgainstRound, RibStretched, NotWashed, VariationAssumed]
        );
        let stretched = SwatchFacts { relaxed: false, round: Some(true), washed: None, ..rib };
        assert_eq!(codes(&whole, stretched, band), [TreatmentUnsaid, VariationAssumed]);
    }
}
