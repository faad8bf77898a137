//! Refusals: the photo can't give an honest number. One table: code, short text, advice.

use serde::{Deserialize, Serialize};

/// Why a photo was refused. The names are part of the JSON contract.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RefusalCode {
    /// Nothing of known length was found in the photo.
    NoScale,
    /// A ruler is there, but it has no readable graduations.
    RulerUnmarked,
    /// Graduations were read, but whether they are millimetres or parts of an inch stays open.
    UnitUnclear,
    /// No knitted lattice was found.
    NotKnit,
    /// Too few whole stitches or rows can be seen.
    TooFewStitches,
    /// The stitches are too small in the picture.
    TooSmall,
    /// The picture is blurred beyond reading.
    OutOfFocus,
    /// Large parts are blown out.
    Glare,
    /// The camera looked at the fabric too obliquely.
    TiltTooLarge,
    /// The fabric is not flat.
    NotFlat,
    /// Which direction is the row can't be decided.
    AxesUnclear,
    /// Two or more readings of the stitch lattice remain.
    LatticeUnclear,
    /// The stitch pattern was not given and can't be recognised surely.
    PatternUnclear,
    /// More than one swatch is in the photo.
    SeveralSwatches,
    /// The picture shows an interference pattern, as photos of screens do.
    Moire,
    /// Several photos of one swatch contradict each other.
    PhotosDisagree,
}

impl RefusalCode {
    /// Every code, in the order of the contract.
    pub const ALL: [Self; 16] = [
        Self::NoScale,
        Self::RulerUnmarked,
        Self::UnitUnclear,
        Self::NotKnit,
        Self::TooFewStitches,
        Self::TooSmall,
        Self::OutOfFocus,
        Self::Glare,
        Self::TiltTooLarge,
        Self::NotFlat,
        Self::AxesUnclear,
        Self::LatticeUnclear,
        Self::PatternUnclear,
        Self::SeveralSwatches,
        Self::Moire,
        Self::PhotosDisagree,
    ];

    /// What is wrong, in one short sentence.
    pub fn message(self) -> &'static str {
        self.texts().0
    }

    /// What the user should do, in one or two sentences.
    pub fn advice(self) -> &'static str {
        self.texts().1
    }

    fn texts(self) -> (&'static str, &'static str) {
        match self {
            Self::NoScale => (
                "no ruler with readable graduations was found",
                "Lay a ruler flat beside or on the swatch, with at least 5 cm of its marks in the picture and no glare on them; or give a known length with --span.",
            ),
            Self::RulerUnmarked => (
                "there is something like a ruler, but its marks can't be read",
                "Turn the ruler's marked side up, take the photo closer and without glare on it; or give a known length with --span.",
            ),
            Self::UnitUnclear => (
                "the ruler's marks were read, but not whether they are millimetres or parts of an inch",
                "Say which with --ruler cm or --ruler inch, or take the photo closer so that long and short marks can be told apart.",
            ),
            Self::NotKnit => (
                "no knitted fabric was found",
                "Let the swatch fill most of the picture, in even light from one side; or mark it with --region. Where the yarn hides its stitches, count them and give the count with --counted.",
            ),
            Self::TooFewStitches => (
                "too few whole stitches or rows can be seen",
                "Photograph a larger swatch, or step back until at least 10 stitches and 10 rows inside the edges can be seen.",
            ),
            Self::TooSmall => (
                "the stitches are too small in the picture",
                "Move the camera closer until the swatch and the ruler fill the picture, and use the photo itself, not a small copy of it.",
            ),
            Self::OutOfFocus => (
                "the picture is blurred",
                "Tap on the swatch to focus, hold the camera still and take the photo again in better light.",
            ),
            Self::Glare => (
                "a large part of the picture is blown out",
                "Turn off the flash, and let soft light come from the side.",
            ),
            Self::TiltTooLarge => (
                "the camera looked at the swatch too obliquely",
                "Hold the camera straight above the swatch, parallel to the table, and take the photo again.",
            ),
            Self::NotFlat => (
                "the fabric does not lie flat",
                "Smooth the swatch out flat on a table without stretching it; pin its edges down where they curl.",
            ),
            Self::AxesUnclear => (
                "which direction is the row can't be decided from the picture",
                "Say in which direction the rows run with --axes DEGREES (0 is to the right, 90 is down).",
            ),
            Self::LatticeUnclear => (
                "the stitches can be counted in more than one way",
                "Say what was knitted with --stitch (and --repeat), or what you expect with --expect. Or take the photo closer, with light from the side; or count by hand and say --counted.",
            ),
            Self::PatternUnclear => (
                "the stitch pattern can't be recognised surely",
                "Say what was knitted with --stitch, and its repeat with --repeat if it has one; or count by hand and say --counted.",
            ),
            Self::SeveralSwatches => (
                "more than one swatch is in the picture",
                "Photograph one swatch at a time, or mark the one to measure with --region.",
            ),
            Self::Moire => (
                "the picture shows an interference pattern, as photos of a screen do",
                "Photograph the swatch itself, not a picture of it.",
            ),
            Self::PhotosDisagree => (
                "the photos contradict each other by more than their intervals",
                "Check that all photos show the same swatch, laid down the same way.",
            ),
        }
    }
}

/// One of several readings between which the photo does not decide.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rival {
    /// Stitches per 10 cm under this reading.
    pub stitches_per_10cm: f64,
    /// Rows per 10 cm under this reading.
    pub rows_per_10cm: f64,
    /// What speaks for it, in words.
    pub why: String,
    /// Log-score of the reading; only differences between rivals of one photo mean anything.
    pub score: f64,
}

impl Rival {
    /// Whether both count nearly the same stitches and rows, within 3 % of the other's: they are told once.
    pub(crate) fn counts_as(&self, other: &Self) -> bool {
        const WITHIN: f64 = 0.03;
        (self.stitches_per_10cm / other.stitches_per_10cm - 1.0).abs() < WITHIN
            && (self.rows_per_10cm / other.rows_per_10cm - 1.0).abs() < WITHIN
    }
}

/// The photo can't give an honest number: what was seen and what to do.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Which refusal.
    pub code: RefusalCode,
    /// What was seen in this photo and the limit it missed, in words; may be empty.
    pub seen: String,
    /// The readings that remain, best first; empty unless the refusal is about a choice.
    pub rivals: Vec<Rival>,
    /// What is wrong and what to do, where this case of the refusal has words of its own.
    pub own_words: Option<(&'static str, &'static str)>,
}

impl Refusal {
    /// A refusal with what was seen in this photo.
    pub fn new(code: RefusalCode, seen: impl Into<String>) -> Self {
        Self { code, seen: seen.into(), rivals: Vec::new(), own_words: None }
    }

    /// The same with words of its own: what is wrong, and what to do.
    pub fn in_words(mut self, message: &'static str, advice: &'static str) -> Self {
        self.own_words = Some((message, advice));
        self
    }

    /// What is wrong, in one short sentence.
    pub fn message(&self) -> &'static str {
        self.own_words.map_or_else(|| self.code.message(), |words| words.0)
    }

    /// What the user should do, in one or two sentences.
    pub fn advice(&self) -> &'static str {
        self.own_words.map_or_else(|| self.code.advice(), |words| words.1)
    }

    /// The same with the readings that remain.
    pub fn with_rivals(mut self, rivals: Vec<Rival>) -> Self {
        self.rivals = rivals;
        self
    }
}
