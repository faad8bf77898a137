//! Scenes of sensible variety, drawn from a seed.

use super::chart::{Chart, UnknownPattern};
use super::draw::Draw;
use super::framing::{Framing, camera, is_card, ruler};
use super::sample::SampleSettings;
use super::scene::{Body, Camera, Difficulty, Fabric, Irregularity, Light, Ruler, RulerScale, Scene, Table, Yarn};

impl Scene {
    /// A photo that can be measured, of the variety that a difficulty brings.
    pub fn random(seed: u64, difficulty: Difficulty) -> Self {
        let wishes = SampleSettings { seed, difficulty, ..SampleSettings::default() };
        compose(&wishes, None)
    }

    /// A photo that cannot be measured: without ruler or with an unmarked one, out of focus, a bare table, or a swatch of
    /// a few stitches.
    pub fn random_unmeasurable(seed: u64, difficulty: Difficulty) -> Self {
        let mut draw = Draw::new(seed, 12);
        let mut scene = Self::random(seed, difficulty);
        match draw.pick(&[0, 1, 2, 3, 4]) {
            0 => scene.ruler = None,
            1 => scene.ruler.iter_mut().for_each(|r| r.scale = RulerScale::Unmarked),
            2 => {
                let stitch = scene.truth().ok().and_then(|t| Some(t.px_per_stitch?.max(t.px_per_row?)));
                scene.camera.blur_px = stitch.unwrap_or(30.0) * draw.between(0.8, 1.1);
            }
            3 => scene.fabric = None,
            _ => {
                if let Some(fabric) = &mut scene.fabric {
                    fabric.stitches = draw.pick(&[4, 5, 6]);
                    fabric.rows = draw.pick(&[5, 6, 8]);
                    fabric.border_stitches = 0;
                    fabric.border_rows = 0;
                }
            }
        }
        scene
    }

    /// A neutral scene to change single factors of: even stockinette of 22 × 30 per 10 cm in one mid colour on a plain
    /// table, a plastic cm ruler on the fabric, square-on camera of 26 mm, 1600 × 1200 px, a little blur and noise.
    pub fn plain(seed: u64) -> Self {
        let wishes = SampleSettings {
            seed,
            difficulty: Difficulty::Easy,
            stitch: Some("stockinette".to_owned()),
            gauge: Some([22.0, 30.0]),
            size: Some([1600, 1200]),
            ..SampleSettings::default()
        };
        let mut scene = compose(&wishes, Some(Framing::Across));
        scene.table = Table::Plain([0.35, 0.36, 0.38]);
        scene.light = Light { azimuth_deg: 220.0, elevation_deg: 50.0, ambient: 0.5 };
        if let Some(fabric) = &mut scene.fabric {
            fabric.irregularity = Irregularity::NONE;
            fabric.yarn = Yarn {
                colours: vec![[0.25, 0.3, 0.42]],
                thickness: 0.42,
                plies: 3,
                lay: 5.0,
                fuzz: 1.0,
                gloss: 0.1,
                variegation: 0.0,
                heather: 0.1,
            };
        }
        if let Some(ruler) = &mut scene.ruler {
            *ruler = Ruler {
                body: Body::Plastic,
                scale: RulerScale::Cm,
                thickness_mm: 1.5,
                wear: 0.0,
                mark_width_mm: 0.25,
                ..ruler.clone()
            };
        }
        scene.camera = Camera {
            pitch_deg: 0.0,
            yaw_deg: 0.0,
            roll_deg: 0.0,
            k1: 0.0,
            blur_px: 0.7,
            motion_px: [0.0, 0.0],
            vignetting: 0.0,
            exposure_ev: 0.0,
            shot_noise: 0.01,
            read_noise: 0.003,
            white_balance: [1.0; 3],
            jpeg_quality: 92,
            ..scene.camera
        };
        scene
    }
}

/// A scene that fulfils the wishes, the rest drawn at random; a wished pattern that does not exist counts as
/// stockinette.
pub(super) fn compose(wishes: &SampleSettings, framing: Option<Framing>) -> Scene {
    let seed = wishes.seed;
    let mut draw = Draw::new(seed, 10);
    let hard = match wishes.difficulty {
        Difficulty::Easy => 0.0,
        Difficulty::Normal => 0.45,
        Difficulty::Hard => 1.0,
    };
    let framing = framing.unwrap_or(draw.pick(&[Framing::Beside, Framing::Beside, Framing::Across, Framing::CloseUp]));
    let framing = if wishes.ruler.flatten().is_some_and(is_card) { Framing::Beside } else { framing };
    let fabric = fabric(wishes, framing, hard, &mut draw);
    let ruler = ruler(wishes, framing, &fabric, hard, &mut draw);
    let camera = camera(wishes, framing, &fabric, ruler.as_ref(), hard, &mut draw);
    let light = Light {
        azimuth_deg: draw.between(0.0, 360.0),
        elevation_deg: draw.between(70.0 - 42.0 * hard, 75.0),
        ambient: draw.between(0.25, 0.75),
    };
    let table = table(&mut draw);
    Scene { seed, difficulty: wishes.difficulty, fabric: Some(fabric), ruler, table, light, camera }
}

/// Whether a wished pattern exists.
pub(super) fn check_stitch(wishes: &SampleSettings) -> Result<(), UnknownPattern> {
    wishes.stitch.as_ref().map_or(Ok(()), |name| Chart::named(name).map(drop))
}

/// Patterns with their weight and the range of rows ÷ stitches when relaxed (common practice, no source).
const PATTERNS: [(&str, u32, f64, f64); 15] = [
    ("stockinette", 6, 1.2, 1.5),
    ("reverse-stockinette", 2, 1.2, 1.5),
    ("garter", 2, 1.7, 2.1),
    ("seed", 2, 1.5, 1.85),
    ("moss", 1, 1.4, 1.7),
    ("rib-1x1", 2, 1.0, 1.3),
    ("rib-2x2", 2, 1.0, 1.3),
    ("basketweave", 1, 1.3, 1.55),
    ("broken-rib", 1, 1.3, 1.6),
    ("waffle", 1, 1.35, 1.6),
    ("eyelets", 1, 1.25, 1.5),
    ("stripes", 1, 1.2, 1.5),
    ("random", 1, 1.3, 1.6),
    ("stranded", 1, 1.05, 1.3),
    ("garter-stripes", 1, 1.7, 2.1),
];

fn fabric(wishes: &SampleSettings, framing: Framing, hard: f64, draw: &mut Draw) -> Fabric {
    let total: u32 = PATTERNS.iter().map(|p| p.1).sum();
    let mut ticket = (draw.share() * f64::from(total)) as u32;
    let drawn = PATTERNS
        .iter()
        .find(|p| {
            if ticket < p.1 {
                true
            } else {
                ticket -= p.1;
                false
            }
        })
        .unwrap_or(&PATTERNS[0]);
    let (chart, ratio) = match &wishes.stitch {
        Some(name) => {
            let named = PATTERNS.iter().find(|p| p.0 == name.replace('_', "-")).unwrap_or(&PATTERNS[0]);
            (chart_of(name, draw), (named.2, named.3))
        }
        None => (chart_of(drawn.0, draw), (drawn.2, drawn.3)),
    };
    let stitches_drawn = draw.between(16.0, 34.0);
    let rows_drawn = stitches_drawn * draw.between(ratio.0, ratio.1);
    let [per_10cm, rows_per_10cm] = wishes.gauge.unwrap_or([stitches_drawn, rows_drawn]);
    let border = framing != Framing::CloseUp && draw.chance(0.3);
    let (wide, tall) = if framing == Framing::CloseUp {
        (260.0, 220.0)
    } else {
        (draw.between(95.0, 165.0), draw.between(85.0, 150.0))
    };
    let count = |mm: f64, per_10cm: f64| ((mm * per_10cm / 100.0).round() as u32).clamp(12, 200);
    let turned = if draw.chance(0.3) { 90.0 * f64::from(draw.pick(&[1, 2, 3])) } else { 0.0 };
    let colours = 1 + chart.colours.iter().flatten().copied().max().unwrap_or(0);
    Fabric {
        stitches: count(wide, per_10cm),
        rows: count(tall, rows_per_10cm),
        stitches_per_10cm: per_10cm,
        rows_per_10cm,
        yarn: yarn(usize::from(colours), draw),
        chart,
        border_stitches: if border { 4 } else { 0 },
        border_rows: if border { 6 } else { 0 },
        irregularity: irregularity(hard, draw),
        centre_mm: [draw.between(-4.0, 4.0), draw.between(-4.0, 4.0)],
        angle_deg: turned + draw.between(-4.0, 4.0) * (1.0 + 3.0 * hard),
    }
}

fn chart_of(name: &str, draw: &mut Draw) -> Chart {
    match name {
        "stranded" => {
            let (a, b) = (draw.pick(&[4_usize, 6, 8]), draw.pick(&[4_usize, 6, 8]));
            let mut chart = Chart::from_rows("colourwork", &["k"]);
            chart.colours = (0..b).map(|_| (0..a).map(|_| u8::from(draw.chance(0.42))).collect()).collect();
            chart
        }
        "garter-stripes" => {
            let mut chart = Chart::from_rows("garter", &["k", "p"]);
            chart.colours = vec![vec![0], vec![0], vec![1], vec![1]];
            chart
        }
        "random" => {
            let (a, b) = (draw.pick(&[4_usize, 5, 6]), draw.pick(&[4_usize, 6, 8]));
            let stitches = (0..b).map(|_| (0..a).map(|_| if draw.chance(0.35) { -1 } else { 1 }).collect()).collect();
            Chart { stitches, ..Chart::from_rows("texture", &["k"]) }
        }
        _ => Chart::named(name).unwrap_or_else(|_| Chart::from_rows("stockinette", &["k"])),
    }
}

fn irregularity(hard: f64, draw: &mut Draw) -> Irregularity {
    let more = 0.4 + hard;
    let either = |draw: &mut Draw, size: f64| draw.between(-size, size);
    Irregularity {
        stitch_cv: draw.between(0.015, 0.045) * more,
        row_wander: draw.between(0.02, 0.06) * more,
        waves: draw.between(0.05, 0.25) * more,
        drift: [either(draw, 0.02 * more), either(draw, 0.03 * more)],
        skew_deg: either(draw, 2.5 * more),
        rowing_out: if draw.chance(0.3 * more) { draw.between(0.02, 0.08) } else { 0.0 },
        bow_mm: either(draw, 1.5 * more),
    }
}

fn yarn(colours: usize, draw: &mut Draw) -> Yarn {
    let hue = draw.share();
    let dark = draw.chance(0.2);
    let value = if dark { draw.between(0.12, 0.25) } else { draw.between(0.35, 0.92) };
    let saturation = draw.between(0.05, 0.75);
    let variegated = colours == 1 && draw.chance(0.15);
    let mut list = vec![linear(hue, saturation, value)];
    while list.len() < colours || (variegated && list.len() < 4) {
        let apart = if variegated { draw.between(-0.12, 0.12) } else { draw.between(0.2, 0.8) };
        let lighter = if value > 0.5 { value - draw.between(0.2, 0.35) } else { value + draw.between(0.2, 0.45) };
        let other = if variegated { value + draw.between(-0.2, 0.2) } else { lighter };
        list.push(linear(hue + apart, draw.between(0.05, 0.8), other.clamp(0.08, 0.95)));
    }
    let fuzzy = draw.chance(0.25);
    Yarn {
        colours: list,
        thickness: draw.between(0.38, 0.47),
        plies: draw.pick(&[1, 2, 2, 3, 3, 4]),
        lay: draw.between(3.0, 7.0),
        fuzz: if fuzzy { draw.between(4.0, 10.0) } else { draw.between(0.2, 2.0) },
        gloss: if draw.chance(0.2) { draw.between(0.4, 1.0) } else { draw.between(0.0, 0.15) },
        variegation: if variegated { draw.between(0.5, 1.0) } else { 0.0 },
        heather: draw.between(0.0, 0.4),
    }
}

/// Linear light of a hue (turns), saturation and value, by the hexagon of hues and a power of 2.2.
fn linear(hue: f64, saturation: f64, value: f64) -> [f64; 3] {
    [0.0, 4.0, 2.0].map(|shift| {
        let place = (hue.rem_euclid(1.0) * 6.0 + shift).rem_euclid(6.0);
        let full = ((place - 3.0).abs() - 1.0).clamp(0.0, 1.0);
        (value * (1.0 - saturation + saturation * full)).powf(2.2).clamp(0.0, 1.0)
    })
}

fn table(draw: &mut Draw) -> Table {
    let shade = draw.between(0.08, 0.7);
    let tint = linear(draw.share(), draw.between(0.0, 0.35), shade.powf(0.45));
    match draw.pick(&[0, 0, 0, 1, 1, 2, 2, 3]) {
        0 => Table::Plain(tint),
        1 => Table::Wood(draw.pick(&[[0.3, 0.16, 0.07], [0.13, 0.065, 0.03], [0.45, 0.3, 0.17], [0.2, 0.12, 0.08]])),
        2 => Table::Cloth(tint),
        _ => Table::Mat(draw.pick(&[[0.01, 0.1, 0.07], [0.02, 0.05, 0.16], [0.03, 0.03, 0.03]])),
    }
}
