//! Where every stitch of the swatch lies, and how high its loops stand.

use super::draw::Draw;
use super::noise;
use super::scene::Fabric;

/// Lattice points kept beyond each edge of the swatch, for the edge stitches' own curves.
const MARGIN: i64 = 3;

/// Amplitude of the loops' way from front to back, in yarn diameters: half a diameter lets crossing yarns touch.
const LOOP_DEPTH: f64 = 0.52;

/// Share of the relief's mean rise that raises the visible surface. With it (and the front yarn's centre line as the
/// height of a flat fabric's surface) the harmonics of the drawn patterns have the scale of the surface's plane to
/// ± 0.3 mm, by their phases left and right, above and below in nine patterns; yarn is seen by its outline, which lies at
/// the height of its centre line, not of its top.
const FACE_OF_RELIEF: f64 = 0.5;

/// A swatch laid out: lattice points and relief.
pub(super) struct FabricSurface<'a> {
    pub fabric: &'a Fabric,
    /// Lattice points on the table, mm, row by row, with the margin.
    points: Vec<[f64; 2]>,
    /// Height of the loops' middle against the mean, mm, same order.
    relief: Vec<f64>,
    /// Sideways shift within the repeat (ribs draw in), stitches, for every column with the margin.
    pull: Vec<f64>,
    columns: i64,
    /// Height of the loops' mean middle above the table, mm.
    middle_mm: f64,
}

impl<'a> FabricSurface<'a> {
    pub fn new(fabric: &'a Fabric, seed: u64) -> Self {
        let (n, m) = (i64::from(fabric.stitches), i64::from(fabric.rows));
        let columns = n + 2 * MARGIN;
        let points = lay_out(fabric, seed);
        let mut surface = Self { fabric, points, relief: Vec::new(), pull: Vec::new(), columns, middle_mm: 0.0 };
        let mut relief = Vec::with_capacity(surface.points.len());
        for j in -MARGIN..m + MARGIN {
            relief.extend((-MARGIN..n + MARGIN).map(|i| surface.relief_of(i, j)));
        }
        let mean = relief.iter().sum::<f64>() / relief.len() as f64;
        relief.iter_mut().for_each(|r| *r -= mean);
        let lowest = relief.iter().fold(0.0_f64, |low, &r| low.min(r));
        surface.middle_mm = surface.yarn_mm() * (LOOP_DEPTH + 0.5) - lowest;
        let half_width = fabric.size_mm()[0] / 2.0;
        for (k, height) in relief.iter_mut().enumerate() {
            let stitch = k as i64 % columns - MARGIN;
            *height += fold(fabric, (stitch as f64 + 0.5) * fabric.stitch_mm() - half_width).1;
        }
        surface.relief = relief;
        surface.pull = surface.drawing_in();
        surface
    }

    /// Diameter of the yarn, mm.
    pub fn yarn_mm(&self) -> f64 {
        self.fabric.yarn.thickness * self.fabric.stitch_mm()
    }

    /// How far the yarn's centre line swings to front and back, mm.
    pub fn loop_depth_mm(&self) -> f64 {
        LOOP_DEPTH * self.yarn_mm()
    }

    /// Height above the table of the fabric's visible surface, mm: the plane at which the picture of the stitches has its
    /// scale.
    pub fn face_mm(&self) -> f64 {
        let front: f64 = self.relief.iter().map(|r| r.max(0.0)).sum::<f64>() / self.relief.len() as f64;
        self.middle_mm + FACE_OF_RELIEF * front + self.loop_depth_mm()
    }

    /// Height above the table that a ruler on the fabric rests on, mm.
    pub fn top_mm(&self) -> f64 {
        let highest = self.relief.iter().fold(0.0_f64, |high, &r| high.max(r));
        self.middle_mm + highest + self.loop_depth_mm() + self.yarn_mm() / 2.0
    }

    /// +1 where the loop is knit, −1 where it is purl, as seen; a garter border around the chart.
    pub fn sign(&self, stitch: i64, row: i64) -> f64 {
        let f = self.fabric;
        let row = row.clamp(0, i64::from(f.rows) - 1);
        let stitch = stitch.clamp(0, i64::from(f.stitches) - 1);
        let value = match self.in_body(stitch, row) {
            true => f.chart.sign(stitch - i64::from(f.border_stitches), row - i64::from(f.border_rows)),
            false => 1 - 2 * (row.rem_euclid(2) as i8),
        };
        f64::from(value)
    }

    /// Whether a stitch belongs to the chart and not to the border.
    pub fn in_body(&self, stitch: i64, row: i64) -> bool {
        let f = self.fabric;
        let (bs, br) = (i64::from(f.border_stitches), i64::from(f.border_rows));
        (bs..i64::from(f.stitches) - bs).contains(&stitch) && (br..i64::from(f.rows) - br).contains(&row)
    }

    /// The lattice point of a stitch on the table, mm: the middle of its loop.
    pub fn lattice_point(&self, stitch: i64, row: i64) -> [f64; 2] {
        self.points[self.index(stitch, row)]
    }

    /// The lattice at a fractional stitch and row, on the table, mm.
    pub fn grid_point(&self, stitch: f64, row: f64) -> [f64; 2] {
        self.between(stitch, row).0
    }

    fn index(&self, stitch: i64, row: i64) -> usize {
        let rows = self.points.len() as i64 / self.columns;
        let i = (stitch + MARGIN).clamp(0, self.columns - 1);
        let j = (row + MARGIN).clamp(0, rows - 1);
        (j * self.columns + i) as usize
    }

    /// The table point (mm) and height (mm) of the loops' middle at a fractional stitch and row.
    pub fn place(&self, stitch: f64, row: f64) -> ([f64; 2], f64) {
        let pulled = stitch + self.pull_at(stitch);
        let (point, _) = self.between(pulled, row);
        let (_, height) = self.between(stitch, row);
        (point, self.middle_mm + height)
    }

    fn between(&self, stitch: f64, row: f64) -> ([f64; 2], f64) {
        let (i, j) = (stitch.floor(), row.floor());
        let (ti, tj) = (stitch - i, row - j);
        let (i, j) = (i as i64, j as i64);
        let weights =
            [(0, 0, (1.0 - ti) * (1.0 - tj)), (1, 0, ti * (1.0 - tj)), (0, 1, (1.0 - ti) * tj), (1, 1, ti * tj)];
        let mut point = [0.0; 2];
        let mut height = 0.0;
        for (di, dj, weight) in weights {
            let at = self.index(i + di, j + dj);
            point[0] += weight * self.points[at][0];
            point[1] += weight * self.points[at][1];
            height += weight * self.relief.get(at).copied().unwrap_or(0.0);
        }
        (point, height)
    }

    fn pull_at(&self, stitch: f64) -> f64 {
        let at = (stitch + MARGIN as f64).clamp(0.0, self.pull.len() as f64 - 1.001);
        let lower = at as usize;
        let part = at - lower as f64;
        self.pull[lower] * (1.0 - part) + self.pull[lower + 1] * part
    }

    /// Columns of knit come forward beside purl, rows of purl come forward beside knit (common practice, no source; the
    /// cause is the curl of the loop). Strength: 0.45 and 0.25 yarn diameters, by eye.
    fn relief_of(&self, stitch: i64, row: i64) -> f64 {
        let mean = |values: [f64; 5]| values.iter().sum::<f64>() / 5.0;
        let along_wale = mean([-2, -1, 0, 1, 2].map(|k| self.sign(stitch, row + k)));
        let along_row = mean([-2, -1, 0, 1, 2].map(|k| self.sign(stitch + k, row)));
        self.yarn_mm() * (0.45 * along_wale - 0.25 * along_row)
    }

    /// Ribs draw in: knit columns stay wide, purl columns hide. A shift with the repeat's period and mean zero, so that
    /// the gauge stays what it is.
    fn drawing_in(&self) -> Vec<f64> {
        let chart = &self.fabric.chart;
        let (a, b) = chart.repeat();
        let column = |i: i64| (0..i64::from(b)).map(|j| f64::from(chart.sign(i, j))).sum::<f64>() / f64::from(b);
        let body: Vec<f64> = (0..i64::from(a)).map(column).collect();
        let mean = body.iter().sum::<f64>() / f64::from(a);
        // Width of a purl column against a knit one in rib: 0.7 to 1.3, by eye.
        let wide = |i: i64| 0.3 * (body[i.rem_euclid(i64::from(a)) as usize] - mean);
        let edges: Vec<f64> = (0..i64::from(a))
            .scan(0.0, |edge, i| {
                *edge += wide(i);
                Some(*edge - wide(i) / 2.0)
            })
            .collect();
        let centre = edges.iter().sum::<f64>() / f64::from(a);
        let first = i64::from(self.fabric.border_stitches);
        let shift = |i: i64| {
            if self.in_body(i, i64::from(self.fabric.rows) / 2) {
                edges[(i - first).rem_euclid(i64::from(a)) as usize] - centre
            } else {
                0.0
            }
        };
        (-MARGIN..i64::from(self.fabric.stitches) + MARGIN).map(shift).collect()
    }
}

/// All lattice points with the margin, on the table, mm.
fn lay_out(fabric: &Fabric, seed: u64) -> Vec<[f64; 2]> {
    let mut draw = Draw::new(seed, 1);
    let uneven = &fabric.irregularity;
    let (w, r) = (fabric.stitch_mm(), fabric.row_mm());
    let [width, height] = fabric.size_mm();
    let (half_w, half_h) = (width / 2.0, height / 2.0);
    let mut row_shift = 0.0;
    let rows: Vec<f64> = (-MARGIN..i64::from(fabric.rows) + MARGIN)
        .map(|j| {
            // Neighbouring rows' places are correlated by 0.7 (a stated choice), so a row does not jump alone.
            row_shift = 0.7 * row_shift + 0.51_f64.sqrt() * draw.normal();
            let taller = if j.rem_euclid(2) == 0 { 0.25 } else { -0.25 };
            (row_shift * uneven.row_wander + taller * uneven.rowing_out) * r
        })
        .collect();
    let waves = slow_waves(seed, width.max(height));
    let (sin, cos) = fabric.angle_deg.to_radians().sin_cos();
    let skew = uneven.skew_deg.to_radians().tan();
    let columns = i64::from(fabric.stitches) + 2 * MARGIN;
    let mut points = Vec::with_capacity((columns as usize) * rows.len());
    for (line, shift) in rows.iter().enumerate() {
        for i in -MARGIN..columns - MARGIN {
            let u = (i as f64 + 0.5) * w - half_w;
            let v = (line as f64 - MARGIN as f64 + 0.5) * r - half_h;
            // The spacing of two neighbours spreads by √2 times the spread of one place.
            let spread = uneven.stitch_cv * std::f64::consts::FRAC_1_SQRT_2;
            let slow = waves.iter().fold([0.0, 0.0], |sum, wave| {
                let s = (wave.turn[0] * u + wave.turn[1] * v + wave.phase).sin() * uneven.waves;
                [sum[0] + s * wave.push[0] * w, sum[1] + s * wave.push[1] * r]
            });
            let lying = fold(fabric, u).0;
            let along =
                lying + uneven.drift[0] * u * u / (2.0 * half_w) + skew * v + slow[0] + spread * w * draw.normal();
            let sag = uneven.bow_mm * (u / half_w) * (u / half_w);
            let up = v + uneven.drift[1] * v * v / (2.0 * half_h) + shift + sag + slow[1] + spread * r * draw.normal();
            points.push([fabric.centre_mm[0] + along * cos + up * sin, fabric.centre_mm[1] + along * sin - up * cos]);
        }
    }
    points
}

/// Where a place of the swatch comes to lie over its folds: along the table and above it, mm. `s` is measured along the
/// fabric from the middle of the swatch.
fn fold(fabric: &Fabric, s: f64) -> (f64, f64) {
    let [height, apart] = fabric.irregularity.folds_mm;
    if height <= 0.0 {
        return (s, 0.0);
    }
    let turn = std::f64::consts::TAU / apart;
    // The height is a sine of the length along the fabric; the rest of each step goes along the table.
    const STEPS: usize = 64;
    let level = |t: f64| (1.0 - (height / 2.0 * turn * (turn * t).cos()).powi(2)).max(0.0).sqrt();
    let along = (0..STEPS).map(|k| level(s * (k as f64 + 0.5) / STEPS as f64)).sum::<f64>() / STEPS as f64;
    (s * along, height / 2.0 * (1.0 + (turn * s).sin()))
}

struct Wave {
    turn: [f64; 2],
    phase: f64,
    push: [f64; 2],
}

/// Four plane waves of 1/3 to 1 swatch size, their amplitudes such that the sum has a spread of one stitch.
fn slow_waves(seed: u64, size_mm: f64) -> Vec<Wave> {
    let mut draw = Draw::new(seed, 2);
    (0..4)
        .map(|_| {
            let length = size_mm * (0.33 + 0.67 * draw.share());
            let direction = std::f64::consts::TAU * draw.share();
            let turn = std::f64::consts::TAU / length;
            let push = std::f64::consts::TAU * draw.share();
            Wave {
                turn: [turn * direction.cos(), turn * direction.sin()],
                phase: std::f64::consts::TAU * draw.share(),
                push: [push.cos(), push.sin()],
            }
        })
        .collect()
}

/// Slow random value in 0..1 along the yarn, for colours that change with its length.
pub(super) fn along_yarn(stitches: f64, length: f64, salt: u32) -> f64 {
    f64::from(noise::smooth((stitches / length) as f32, 0.5, salt))
}
