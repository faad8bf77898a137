//! What is in front of the camera, as plain data.

use super::chart::Chart;
use serde::{Deserialize, Serialize};

/// One photo to be made: everything that decides its bytes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scene {
    /// Start of every random draw made while drawing (stitch irregularity, textures, sensor noise).
    pub seed: u64,
    /// How hard the photo is meant to be; a label, it changes nothing by itself.
    pub difficulty: Difficulty,
    /// The swatch; `None` leaves the table bare.
    pub fabric: Option<Fabric>,
    /// The ruler; `None` for a photo without any scale.
    pub ruler: Option<Ruler>,
    /// What the swatch lies on.
    pub table: Table,
    /// Where the light comes from.
    pub light: Light,
    /// The camera and where it is held.
    pub camera: Camera,
}

/// How hard a photo is meant to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Difficulty {
    /// Sharp, bright, nearly square-on, even knitting.
    Easy,
    /// What a careful knitter sends.
    Normal,
    /// Tilted, dark or noisy, uneven knitting, worn rulers.
    Hard,
}

/// A knitted swatch that lies flat on the table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fabric {
    /// Stitches in a row of the whole swatch, borders included (2 to 400).
    pub stitches: u32,
    /// Rows of the whole swatch, borders included (2 to 400).
    pub rows: u32,
    /// Stitches per 10 cm along the row, before irregularity (5 to 80).
    pub stitches_per_10cm: f64,
    /// Rows per 10 cm along the wale, before irregularity (5 to 120).
    pub rows_per_10cm: f64,
    /// Knit and purl, eyelets and colours.
    pub chart: Chart,
    /// Stitches of garter border on the left and on the right.
    pub border_stitches: u32,
    /// Rows of garter border below and above.
    pub border_rows: u32,
    /// What it is knitted with.
    pub yarn: Yarn,
    /// How unevenly it is knitted.
    pub irregularity: Irregularity,
    /// Middle of the swatch on the table, mm.
    pub centre_mm: [f64; 2],
    /// Direction of the growing stitch index: degrees, 0 right, 90 down (without the camera's roll).
    pub angle_deg: f64,
}

impl Fabric {
    /// Width of one stitch, mm.
    pub fn stitch_mm(&self) -> f64 {
        100.0 / self.stitches_per_10cm
    }

    /// Height of one row, mm.
    pub fn row_mm(&self) -> f64 {
        100.0 / self.rows_per_10cm
    }

    /// Width and height of the whole swatch, mm.
    pub fn size_mm(&self) -> [f64; 2] {
        [f64::from(self.stitches) * self.stitch_mm(), f64::from(self.rows) * self.row_mm()]
    }
}

/// A yarn, as far as a photo shows it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Yarn {
    /// Colours of the palette, linear red, green, blue in 0..=1; the chart's colours index it (at least one).
    pub colours: Vec<[f64; 3]>,
    /// Diameter as a share of the stitch width (0.25 to 0.7).
    pub thickness: f64,
    /// Strands twisted together (1 to 6); 1 looks like a roving.
    pub plies: u32,
    /// Length of one full turn of the twist, in yarn diameters (1 to 20).
    pub lay: f64,
    /// Hairs that stand out, per stitch (0 to 30).
    pub fuzz: f64,
    /// Strength of the highlight (0 matt, 1 silk).
    pub gloss: f64,
    /// Share by which the colour wanders along the yarn (0 solid, 1 from one end of the palette to the other).
    pub variegation: f64,
    /// Share by which single fibres differ in brightness (0 to 1).
    pub heather: f64,
}

/// How unevenly a swatch is knitted. Shares are of a stitch's width or of a row's height.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Irregularity {
    /// Spread (standard deviation) of the distance between neighbouring stitches, as a share of it.
    pub stitch_cv: f64,
    /// Spread of a whole row's place against its neighbours, as a share of the row height.
    pub row_wander: f64,
    /// Spread of slow waves across the swatch, in stitches.
    pub waves: f64,
    /// Change of tension from the middle to the edge, as a share of the local gauge; [along the row, along the wale].
    pub drift: [f64; 2],
    /// Angle by which wales lean against the rows' normal, degrees.
    pub skew_deg: f64,
    /// Every second row taller by this share of the row height, the others shorter.
    pub rowing_out: f64,
    /// Sag of the rows between middle and edge, mm.
    pub bow_mm: f64,
}

impl Irregularity {
    /// A machine's evenness: every lattice point in its place.
    pub const NONE: Self = Self {
        stitch_cv: 0.0,
        row_wander: 0.0,
        waves: 0.0,
        drift: [0.0, 0.0],
        skew_deg: 0.0,
        rowing_out: 0.0,
        bow_mm: 0.0,
    };
}

/// The graduations of a ruler.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RulerScale {
    /// Millimetres; every fifth and tenth longer, numbered in centimetres.
    Cm,
    /// Half millimetres on one edge, millimetres on the other.
    HalfMm,
    /// Eighths of an inch.
    InchEighths,
    /// Sixteenths of an inch.
    InchSixteenths,
    /// Millimetres on one edge, sixteenths of an inch on the other.
    CmInch,
    /// A body without any mark.
    Unmarked,
    /// The printed calibration card; its body's length says at what size it was printed.
    Card,
    /// A card of the size ISO/IEC 7810 ID-1, blank side up.
    Id1,
}

/// What a ruler is made of, as far as a photo shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Body {
    /// Brushed metal.
    Steel,
    /// Opaque plastic, light.
    Plastic,
    /// See-through plastic.
    Clear,
    /// Light wood.
    Wood,
    /// A yellow tape.
    Tape,
    /// Dark body with light marks.
    Dark,
    /// White paper.
    Paper,
}

/// A straight ruler.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ruler {
    /// Which marks it carries.
    pub scale: RulerScale,
    /// What it is made of.
    pub body: Body,
    /// Length of the body, mm.
    pub length_mm: f64,
    /// Width of the body, mm.
    pub width_mm: f64,
    /// Thickness: its face lies this much above what it lies on, mm.
    pub thickness_mm: f64,
    /// Whether it lies on the fabric (else on the table).
    pub on_fabric: bool,
    /// Middle of the body on the table, mm.
    pub centre_mm: [f64; 2],
    /// Direction of the growing scale: degrees, 0 right, 90 down (without the camera's roll).
    pub angle_deg: f64,
    /// Distance from the body's end to the mark of zero, mm.
    pub zero_mm: f64,
    /// Width of a mark, mm.
    pub mark_width_mm: f64,
    /// Length of the marks against the usual (0.6 to 1.4).
    pub mark_length: f64,
    /// Whether it carries numerals.
    pub numerals: bool,
    /// Wear of the print: 0 new, 1 hardly there.
    pub wear: f64,
}

/// What the swatch lies on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Table {
    /// One colour (linear red, green, blue).
    Plain([f64; 3]),
    /// Planks with grain, of this mean colour.
    Wood([f64; 3]),
    /// A woven cloth of this colour.
    Cloth([f64; 3]),
    /// A cutting mat with a line every 10 mm, of this colour.
    Mat([f64; 3]),
}

/// One soft lamp or window from a side, and light from everywhere.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Light {
    /// Where the light comes from, on the table: degrees, 0 from the right, 90 from below.
    pub azimuth_deg: f64,
    /// Height of the light above the table, degrees (15 to 90).
    pub elevation_deg: f64,
    /// Share of light from all around (0 hard light, 1 a cloudy sky).
    pub ambient: f64,
}

/// A pinhole camera with one lens term, and what its sensor does.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Camera {
    /// Width of the photo, px.
    pub width_px: u32,
    /// Height of the photo, px.
    pub height_px: u32,
    /// Focal length for a 35 mm film frame, by the diagonal, mm (15 to 150).
    pub focal_length_35mm: f64,
    /// Distance along the optical axis from the camera to the table, mm.
    pub distance_mm: f64,
    /// The point of the table in the middle of the picture, mm.
    pub target_mm: [f64; 2],
    /// Tilt about the photo's horizontal, degrees.
    pub pitch_deg: f64,
    /// Tilt about the photo's vertical, degrees.
    pub yaw_deg: f64,
    /// Turn of the camera about its own axis, degrees.
    pub roll_deg: f64,
    /// Radial distortion: a point at r half-diagonals moves out by the share `k1 * r * r` (−0.12 to 0.12).
    pub k1: f64,
    /// Blur of lens and focus: standard deviation, px.
    pub blur_px: f64,
    /// Movement while the shutter was open, px.
    pub motion_px: [f64; 2],
    /// Share of light lost in the corners.
    pub vignetting: f64,
    /// Exposure against the right one, stops.
    pub exposure_ev: f64,
    /// Shot noise: standard deviation at full white, as a share of white (linear).
    pub shot_noise: f64,
    /// Read noise: standard deviation, as a share of white (linear).
    pub read_noise: f64,
    /// Gains of red, green and blue.
    pub white_balance: [f64; 3],
    /// Quality of the JPEG file (1 to 100).
    pub jpeg_quality: u8,
}

/// Why a scene cannot be photographed: which value is out of range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SceneError {
    /// The value's name and its range.
    pub what: &'static str,
}

impl std::fmt::Display for SceneError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "out of range: {}", self.what)
    }
}

impl std::error::Error for SceneError {}

impl Scene {
    /// Whether every value lies in the range given at its field.
    pub fn check(&self) -> Result<(), SceneError> {
        self.camera.check()?;
        let light = &self.light;
        need((15.0..=90.0).contains(&light.elevation_deg), "light elevation, 15 to 90 degrees")?;
        need((0.0..=1.0).contains(&light.ambient) && light.azimuth_deg.is_finite(), "ambient light, 0 to 1")?;
        self.fabric.as_ref().map_or(Ok(()), Fabric::check)?;
        self.ruler.as_ref().map_or(Ok(()), Ruler::check)
    }
}

fn need(holds: bool, what: &'static str) -> Result<(), SceneError> {
    if holds { Ok(()) } else { Err(SceneError { what }) }
}

impl Camera {
    fn check(&self) -> Result<(), SceneError> {
        let sides = 16..=12_000;
        need(sides.contains(&self.width_px) && sides.contains(&self.height_px), "photo size, 16 to 12000 px")?;
        let pixels = u64::from(self.width_px) * u64::from(self.height_px);
        need(pixels <= 50_000_000, "photo size, at most 50 megapixels")?;
        need((10.0..=300.0).contains(&self.focal_length_35mm), "focal length, 10 to 300 mm")?;
        need((40.0..=5000.0).contains(&self.distance_mm), "camera distance, 40 to 5000 mm")?;
        need(self.target_mm.iter().all(|t| t.abs() <= 2000.0), "camera target, within 2000 mm")?;
        need(self.pitch_deg.abs() <= 40.0 && self.yaw_deg.abs() <= 40.0, "camera tilt, at most 40 degrees each way")?;
        need(self.roll_deg.is_finite(), "camera roll")?;
        need(self.k1.abs() <= 0.12, "distortion k1, −0.12 to 0.12")?;
        need((0.0..=200.0).contains(&self.blur_px), "blur, 0 to 200 px")?;
        need(self.motion_px.iter().all(|m| m.abs() <= 50.0), "motion, at most 50 px")?;
        need((0.0..=0.95).contains(&self.vignetting), "vignetting, 0 to 0.95")?;
        need(self.exposure_ev.abs() <= 6.0, "exposure, −6 to 6 stops")?;
        need((0.0..=1.0).contains(&self.shot_noise) && (0.0..=1.0).contains(&self.read_noise), "noise, 0 to 1")?;
        need(self.white_balance.iter().all(|g| (0.1..=4.0).contains(g)), "white balance, 0.1 to 4")?;
        need((1..=100).contains(&self.jpeg_quality), "JPEG quality, 1 to 100")
    }
}

impl Fabric {
    fn check(&self) -> Result<(), SceneError> {
        let counts = 2..=400;
        need(counts.contains(&self.stitches) && counts.contains(&self.rows), "stitches and rows, 2 to 400")?;
        need((5.0..=80.0).contains(&self.stitches_per_10cm), "stitches per 10 cm, 5 to 80")?;
        need((5.0..=120.0).contains(&self.rows_per_10cm), "rows per 10 cm, 5 to 120")?;
        need(self.border_stitches <= self.stitches / 2 && self.border_rows <= self.rows / 2, "border, half at most")?;
        need(self.centre_mm.iter().all(|c| c.abs() <= 2000.0) && self.angle_deg.is_finite(), "place of the fabric")?;
        let yarn = &self.yarn;
        need((1..=64).contains(&yarn.colours.len()), "palette, 1 to 64 colours")?;
        need(yarn.colours.iter().flatten().all(|c| (0.0..=1.0).contains(c)), "colours, 0 to 1")?;
        need((0.25..=0.7).contains(&yarn.thickness), "yarn thickness, 0.25 to 0.7 stitches")?;
        need((1..=6).contains(&yarn.plies) && (1.0..=20.0).contains(&yarn.lay), "plies, 1 to 6; lay, 1 to 20")?;
        need((0.0..=30.0).contains(&yarn.fuzz), "fuzz, 0 to 30 hairs a stitch")?;
        need(
            [yarn.gloss, yarn.variegation, yarn.heather].iter().all(|v| (0.0..=1.0).contains(v)),
            "yarn looks, 0 to 1",
        )?;
        self.irregularity.check()
    }
}

impl Irregularity {
    fn check(&self) -> Result<(), SceneError> {
        need((0.0..=0.3).contains(&self.stitch_cv), "stitch spread, 0 to 0.3")?;
        need((0.0..=0.5).contains(&self.row_wander), "row wander, 0 to 0.5")?;
        need((0.0..=2.0).contains(&self.waves), "waves, 0 to 2 stitches")?;
        need(self.drift.iter().all(|d| d.abs() <= 0.3), "drift, at most 0.3")?;
        need(self.skew_deg.abs() <= 20.0, "skew, at most 20 degrees")?;
        need(self.rowing_out.abs() <= 0.4, "rowing out, at most 0.4")?;
        need(self.bow_mm.abs() <= 30.0, "bow, at most 30 mm")
    }
}

impl Ruler {
    fn check(&self) -> Result<(), SceneError> {
        need((10.0..=1000.0).contains(&self.length_mm), "ruler length, 10 to 1000 mm")?;
        need((6.0..=100.0).contains(&self.width_mm), "ruler width, 6 to 100 mm")?;
        need((0.0..=15.0).contains(&self.thickness_mm), "ruler thickness, 0 to 15 mm")?;
        need(self.centre_mm.iter().all(|c| c.abs() <= 2000.0) && self.angle_deg.is_finite(), "place of the ruler")?;
        need((0.0..=self.length_mm).contains(&self.zero_mm), "zero mark, on the ruler")?;
        need((0.05..=0.6).contains(&self.mark_width_mm), "mark width, 0.05 to 0.6 mm")?;
        need((0.5..=1.6).contains(&self.mark_length), "mark length, 0.5 to 1.6 of the usual")?;
        need((0.0..=1.0).contains(&self.wear), "wear, 0 to 1")
    }
}
