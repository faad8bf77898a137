//! The gauge of one swatch: a least-squares lattice over the counts in the fabric's plane, and the budget of its
//! uncertainty.

use super::card_accuracy::{id1_card, printed_card};
use super::height::{HeightDifference, HeightFacts, Relief, RulerMake, RulerOn, height_difference};
use crate::lattice::{Basis, PhaseBlock};
use crate::plane::{PlaneEstimate, PlaneInput, PlaneMap, Pose};
use crate::quantity::{Contribution, PlanePoint, RulerClass, Shape, Source, Uncertain};
use nalgebra::{DMatrix, Matrix2, SymmetricEigen};

/// What a simple radial lens model leaves of real lenses' distortion over a swatch, relative standard uncertainty: half a
/// thousandth (a stated choice).
const HIGHER_LENS_TERMS: f64 = 0.0005;

/// Share of the total variance below which the second independent part of an input is left out of the budget.
const NEGLIGIBLE_SHARE: f64 = 1e-4;

/// What gave the scale, as far as its accuracy and height depend on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ScaleSource {
    /// A ruler of which so many mm were read.
    Ruler {
        /// Distance between the outermost marks that were read, in mm.
        length_read_mm: f64,
    },
    /// A printed sheet of squares, read over so many mm; it lies beside the fabric and is thin.
    Sheet {
        /// Largest distance between corners that were read, in mm.
        length_read_mm: f64,
    },
    /// The printed calibration card; it lies beside the fabric and is thin.
    Card {
        /// Its check length as the user measured it, in mm; `None` where nobody did.
        check_length_mm: Option<f64>,
    },
    /// A card of the size ISO/IEC 7810 ID-1.
    Id1,
    /// A length that the user typed; it lies on the fabric's surface unless said otherwise.
    Typed,
}

/// What is known of the scale and of the fabric's relief, told by the user or seen.
#[derive(Debug, Clone, PartialEq)]
pub struct GaugeSettings {
    /// Accuracy class of the ruler; II when not told.
    pub ruler_class: Option<RulerClass>,
    /// Name of the ruler: its error is then the same wherever the name is used.
    pub ruler_id: Option<String>,
    /// Thickness of the ruler, in mm.
    pub ruler_thickness_mm: Option<f64>,
    /// What the ruler lies on, as told or as seen; `None` where it may be either.
    pub ruler_on: Option<RulerOn>,
    /// What the ruler seems to be made of.
    pub ruler_make: RulerMake,
    /// How far the fabric's pattern stands up.
    pub relief: Relief,
}

/// How surely the lattice was followed, apart from the plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RandomPart {
    /// Relative standard uncertainty of the stitch density.
    pub stitches: f64,
    /// Relative standard uncertainty of the row density.
    pub rows: f64,
    /// Degrees of freedom of both.
    pub degrees_of_freedom: f64,
    /// Relative standard uncertainty of the stitch density from where the followed region ends.
    pub region_stitches: f64,
    /// The same of the row density.
    pub region_rows: f64,
}

/// The gauge of one swatch.
#[derive(Debug, Clone)]
pub struct SwatchGauge {
    /// Stitches in 10 cm along the row.
    pub stitches_per_10cm: Uncertain,
    /// Rows in 10 cm along the wale.
    pub rows_per_10cm: Uncertain,
    /// Photo ↔ the fabric's plane.
    pub map: PlaneMap,
    /// The lattice in that plane.
    pub basis: Basis,
    /// Stitch and row count at the plane's origin.
    pub counts_at_origin: (f64, f64),
    /// By how much the gauge was changed because ruler and fabric differ in height, in per cent.
    pub height_correction_percent: f64,
    /// Distance from the camera to the fabric, in mm.
    pub camera_distance_mm: f64,
}

/// The gauge from the counts, the plane and what is known of the scale. `None` where the counts do not span two
/// directions, or part of them lies beyond the plane's horizon.
pub fn swatch_gauge(
    plane: &PlaneEstimate,
    blocks: &[PhaseBlock],
    random: RandomPart,
    scale: ScaleSource,
    settings: &GaugeSettings,
) -> Option<SwatchGauge> {
    let level = lattice_under(&plane.map, blocks)?;
    let height = height_of(scale, settings, level.basis.per_10cm()?);
    let fabric = FabricView { plane, blocks };
    let (map, lattice) = fabric.lattice(plane.pose, height.mean_mm)?;
    let (stitches, rows) = lattice.basis.per_10cm()?;
    let mut gauge = [Uncertain::exact(stitches), Uncertain::exact(rows)];
    for (source, evaluation, part) in fabric.plane_parts(height.mean_mm)? {
        for (axis, value) in part.into_iter().enumerate() {
            let source = Source::named(source.clone());
            let own = gauge[axis].value * value;
            let contribution = match evaluation {
                crate::quantity::Evaluation::A => Contribution::type_a(source, own, f64::INFINITY),
                crate::quantity::Evaluation::B => Contribution::stated(source, own),
            };
            gauge[axis] = gauge[axis].clone().with(contribution);
        }
    }
    for (value, part) in gauge.iter_mut().zip(fabric.second_order(height.mean_mm)) {
        let source = Source::named("foreshortening that was not seen");
        *value = value.clone().with_relative(Contribution::stated(source, part));
    }
    for (name, half_width_mm) in [
        ("height of the fabric's surface", height.fabric_half_width_mm),
        ("thickness of the ruler", height.ruler_half_width_mm),
    ] {
        if half_width_mm > 0.0 {
            let distance = plane.pose.distance_mm() + height.mean_mm;
            for value in &mut gauge {
                let part =
                    Contribution::type_b(Source::named(name), half_width_mm, Shape::Rectangular, -1.0 / distance);
                *value = value.clone().with_relative(part);
            }
        }
    }
    for (axis, value) in gauge.iter_mut().enumerate() {
        for part in scale_accuracy(scale, settings, axis) {
            *value = value.clone().with_relative(part);
        }
        *value =
            value.clone().with_relative(Contribution::stated(Source::named("higher lens terms"), HIGHER_LENS_TERMS));
    }
    let own = [
        ("irregular stitches", random.stitches, "which stitches were followed", random.region_stitches),
        ("irregular rows", random.rows, "which rows were followed", random.region_rows),
    ];
    for (value, (name, irregular, choice, region)) in gauge.iter_mut().zip(own) {
        let part = Contribution::type_a(Source::named(name), irregular, random.degrees_of_freedom);
        *value = value.clone().with_relative(part).with_relative(Contribution::stated(Source::named(choice), region));
    }
    let level_gauge = level.basis.per_10cm()?.0;
    let [stitches_per_10cm, rows_per_10cm] = gauge;
    Some(SwatchGauge {
        height_correction_percent: 100.0 * (stitches_per_10cm.value / level_gauge - 1.0),
        stitches_per_10cm,
        rows_per_10cm,
        map,
        basis: lattice.basis,
        counts_at_origin: lattice.counts_at_origin,
        camera_distance_mm: plane.pose.distance_mm() + height.mean_mm,
    })
}

fn height_of(scale: ScaleSource, settings: &GaugeSettings, (stitches, rows): (f64, f64)) -> HeightDifference {
    /// Thickness of printed card or paper, in mm.
    const SHEET_THICKNESS_MM: f64 = 0.4;
    /// Thickness of office paper, in mm; on stiff card 0.3 to 0.5, within the limits of its bow (common practice, no source).
    const PAPER_THICKNESS_MM: f64 = 0.1;
    /// How far paper that lies flat stands up on the mean, ± mm (a stated choice).
    const PAPER_BOW_MM: f64 = 0.5;
    /// Thickness of an ID-1 card, in mm: 0.76 ± 0.08 (ISO/IEC 7810, from memory).
    const ID1_THICKNESS_MM: f64 = 0.76;
    let facts = HeightFacts {
        on: settings.ruler_on,
        thickness_mm: settings.ruler_thickness_mm,
        make: settings.ruler_make,
        relief: settings.relief,
        stitch_width_mm: 100.0 / stitches,
        rows_per_stitch: rows / stitches,
    };
    let told = |thickness_mm: f64| Some(facts.thickness_mm.unwrap_or(thickness_mm));
    match scale {
        ScaleSource::Ruler { .. } => height_difference(&facts),
        ScaleSource::Sheet { .. } => {
            height_difference(&HeightFacts { thickness_mm: told(SHEET_THICKNESS_MM), ..facts })
        }
        ScaleSource::Card { .. } => {
            let height = height_difference(&HeightFacts { thickness_mm: told(PAPER_THICKNESS_MM), ..facts });
            HeightDifference { ruler_half_width_mm: height.ruler_half_width_mm.max(PAPER_BOW_MM), ..height }
        }
        ScaleSource::Id1 => height_difference(&HeightFacts { thickness_mm: told(ID1_THICKNESS_MM), ..facts }),
        ScaleSource::Typed if facts.on.is_none() && facts.thickness_mm.is_none() => HeightDifference::NONE,
        ScaleSource::Typed => height_difference(&HeightFacts { on: Some(facts.on.unwrap_or(RulerOn::Table)), ..facts }),
    }
}

/// The scale's own error, for stitches (axis 0) or rows (1).
fn scale_accuracy(scale: ScaleSource, settings: &GaugeSettings, axis: usize) -> Vec<Contribution> {
    let class = settings.ruler_class.unwrap_or(RulerClass::II);
    match scale {
        ScaleSource::Card { check_length_mm } => {
            printed_card(check_length_mm, class, settings.ruler_id.as_deref(), axis)
        }
        ScaleSource::Id1 => id1_card(),
        ScaleSource::Ruler { length_read_mm } | ScaleSource::Sheet { length_read_mm } => {
            vec![ruler_accuracy(Some(length_read_mm), settings)]
        }
        ScaleSource::Typed => vec![ruler_accuracy(None, settings)],
    }
}

/// The accuracy class over the length that was read; `None` for a length that was typed.
fn ruler_accuracy(length_read_mm: Option<f64>, settings: &GaugeSettings) -> Contribution {
    /// Relative limit of error of a typed length: half a millimetre in ten centimetres, as far as one can lay two points.
    const TYPED_LIMIT: f64 = 0.005;
    let source = match &settings.ruler_id {
        Some(id) => Source::shared("accuracy of the ruler", id.clone()),
        None => Source::named("accuracy of the ruler"),
    };
    match length_read_mm {
        Some(length) => settings.ruler_class.unwrap_or(RulerClass::II).scale_contribution(source, length),
        None => Contribution::type_b(Source::named("the typed length"), TYPED_LIMIT, Shape::Rectangular, 1.0),
    }
}

/// A least-squares lattice and its count at the plane's origin.
struct FittedLattice {
    basis: Basis,
    counts_at_origin: (f64, f64),
}

/// Straight least squares of the counts on the plane points, all blocks alike.
fn lattice_under(map: &PlaneMap, blocks: &[PhaseBlock]) -> Option<FittedLattice> {
    let places: Vec<PlanePoint> = blocks.iter().map(|b| map.to_plane(b.at_px)).collect::<Option<_>>()?;
    let n = places.len() as f64;
    let middle =
        PlanePoint::new(places.iter().map(|p| p.x).sum::<f64>() / n, places.iter().map(|p| p.y).sum::<f64>() / n);
    let mut normal = Matrix2::zeros();
    let mut sides = Matrix2::zeros();
    let mut means = [0.0; 2];
    for (p, b) in places.iter().zip(blocks) {
        let (x, y) = (p.x - middle.x, p.y - middle.y);
        normal += Matrix2::new(x * x, x * y, x * y, y * y);
        sides += Matrix2::new(x * b.stitches, x * b.rows, y * b.stitches, y * b.rows);
        means[0] += b.stitches / n;
        means[1] += b.rows / n;
    }
    let solution = normal.try_inverse()? * sides;
    let basis = Basis { stitch: [solution[(0, 0)], solution[(1, 0)]], row: [solution[(0, 1)], solution[(1, 1)]] };
    let at_origin = |mean: f64, f: [f64; 2]| mean - f[0] * middle.x - f[1] * middle.y;
    let counts_at_origin = (at_origin(means[0], basis.stitch), at_origin(means[1], basis.row));
    basis.per_10cm().map(|_| FittedLattice { basis, counts_at_origin })
}

/// The counts as they lie under any pose of the camera.
struct FabricView<'a> {
    plane: &'a PlaneEstimate,
    blocks: &'a [PhaseBlock],
}

impl FabricView<'_> {
    /// Map and lattice in the fabric's plane, which is `height_mm` farther from the camera than the scale's.
    fn lattice(&self, pose: Pose, height_mm: f64) -> Option<(PlaneMap, FittedLattice)> {
        let distance = pose.distance_mm();
        let map = pose.at_distance_ratio((distance + height_mm) / distance).map(&self.plane.frame)?;
        let lattice = lattice_under(&map, self.blocks)?;
        Some((map, lattice))
    }

    /// The relative effect of each input of the plane on stitches and rows, as at most two independent parts an input.
    fn plane_parts(&self, height_mm: f64) -> Option<Vec<(String, crate::quantity::Evaluation, [f64; 2])>> {
        let mut inputs: Vec<(PlaneInput, Matrix2<f64>)> = Vec::new();
        for effect in &self.plane.effects {
            let change = self.relative_change(effect.change, height_mm)?;
            let square = Matrix2::new(
                change[0] * change[0],
                change[0] * change[1],
                change[0] * change[1],
                change[1] * change[1],
            );
            match inputs.iter_mut().find(|(input, _)| *input == effect.input) {
                Some((_, sum)) => *sum += square,
                None => inputs.push((effect.input, square)),
            }
        }
        let total: f64 = inputs.iter().map(|(_, c)| c.trace()).sum();
        let mut parts = Vec::new();
        for (input, covariance) in inputs {
            let (name, evaluation) = name_of(input);
            let covariance = DMatrix::from_iterator(2, 2, covariance.iter().copied());
            let eigen = SymmetricEigen::new(covariance);
            let mut order = [0, 1];
            order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
            for (rank, i) in order.into_iter().enumerate() {
                let variance = eigen.eigenvalues[i].max(0.0);
                if variance > NEGLIGIBLE_SHARE * total {
                    let root = variance.sqrt();
                    let name = if rank == 0 { name.to_owned() } else { format!("{name} (stitches against rows)") };
                    parts.push((name, evaluation, [0, 1].map(|k| eigen.eigenvectors[(k, i)] * root)));
                }
            }
        }
        Some(parts)
    }

    /// What the plane's inputs do to stitches and rows in the second order, relative: a tilt changes lengths along its slope
    /// by its square, so near a level camera the first order sees nothing of it.
    ///
    /// For g(x) = g₀ + b x² with a normal x of unit variance the mean is b and the variance 2b²; about g₀, which is kept
    /// since b rests on habit alone, the inputs together have the root mean square √((Σb)² + 2 Σb²).
    fn second_order(&self, height_mm: f64) -> [f64; 2] {
        let start = self.plane.pose.to_array();
        let at = |change: &[f64; Pose::NUMBERS], sign: f64| {
            let moved = Pose::from_array(std::array::from_fn(|i| start[i] + sign * change[i]));
            self.lattice(moved, height_mm)?.1.basis.per_10cm()
        };
        let bends: Vec<[f64; 2]> = self
            .plane
            .effects
            .iter()
            .filter_map(|e| {
                let (up, middle, down) = (at(&e.change, 1.0)?, at(&e.change, 0.0)?, at(&e.change, -1.0)?);
                Some([(up.0 + down.0) / (2.0 * middle.0) - 1.0, (up.1 + down.1) / (2.0 * middle.1) - 1.0])
            })
            .collect();
        [0, 1].map(|axis| {
            let (sum, squares) = bends.iter().fold((0.0, 0.0), |(s, q), b| (s + b[axis], q + b[axis] * b[axis]));
            (sum * sum + 2.0 * squares).sqrt()
        })
    }

    /// Relative change of stitches and rows per 10 cm when the pose changes, by central differences over a tenth of it.
    fn relative_change(&self, change: [f64; Pose::NUMBERS], height_mm: f64) -> Option<[f64; 2]> {
        const PART: f64 = 0.1;
        let at = |sign: f64| {
            let start = self.plane.pose.to_array();
            let moved = Pose::from_array(std::array::from_fn(|i| start[i] + sign * PART * change[i]));
            self.lattice(moved, height_mm)?.1.basis.per_10cm()
        };
        let (up, down) = (at(1.0)?, at(-1.0)?);
        Some([(up.0 / down.0).ln() / (2.0 * PART), (up.1 / down.1).ln() / (2.0 * PART)])
    }
}

/// An input's name in the budget and how it is evaluated.
fn name_of(input: PlaneInput) -> (&'static str, crate::quantity::Evaluation) {
    use crate::quantity::Evaluation::{A, B};
    match input {
        PlaneInput::Graduations => ("reading of the graduations", A),
        PlaneInput::MarkDirections => ("direction of the ruler's marks", B),
        PlaneInput::TiltHabit => ("tilt that was not seen", B),
        PlaneInput::FocalLength => ("focal length", B),
        PlaneInput::OpticalAxis => ("how the picture was cut", B),
        PlaneInput::Lens => ("lens distortion", B),
        PlaneInput::Drift => ("drift of tension taken for tilt", B),
        PlaneInput::Stitches => ("irregular stitches taken for tilt", A),
    }
}
