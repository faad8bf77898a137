//! Rows → how often the intervals held the truth, by group.

use super::rows::Row;

/// Both axes of the photos of one group.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    pub name: String,
    /// Photos with an answer.
    pub photos: usize,
    pub intervals: usize,
    pub covered: usize,
    /// Root mean square of error over standard uncertainty, silently wrong photos left out.
    pub rms_error_over_u: f64,
    pub median_half_width_percent: f64,
    pub median_error_percent: f64,
    pub p95_error_percent: f64,
    /// Photos off by more than 5 % or three half-widths.
    pub wrong: usize,
}

/// Error that counts as wrong whatever the interval says, relative.
const WRONG: f64 = 0.05;

impl Group {
    fn of(name: &str, intervals: &[(&Row, usize)]) -> Option<Self> {
        let seen: Vec<(f64, f64, f64)> = intervals
            .iter()
            .map(|(row, axis)| {
                let half_width = row.half_width[*axis] / row.value[*axis];
                (row.error(*axis).abs(), half_width, row.standard[*axis] / row.value[*axis])
            })
            .collect();
        if seen.is_empty() {
            return None;
        }
        let is_wrong = |(error, half_width, _): &(f64, f64, f64)| *error > WRONG || *error > 3.0 * half_width;
        let right: Vec<f64> = seen.iter().filter(|s| !is_wrong(s)).map(|(e, _, u)| (e / u).powi(2)).collect();
        let mut wrong: Vec<&str> =
            intervals.iter().zip(&seen).filter(|(_, s)| is_wrong(s)).map(|((row, _), _)| row.id.as_str()).collect();
        wrong.sort_unstable();
        wrong.dedup();
        let mut ids: Vec<&str> = intervals.iter().map(|(row, _)| row.id.as_str()).collect();
        ids.sort_unstable();
        ids.dedup();
        let percentile = |of: fn(&(f64, f64, f64)) -> f64, q: f64| {
            let mut values: Vec<f64> = seen.iter().map(of).collect();
            values.sort_by(f64::total_cmp);
            100.0 * values[((values.len() - 1) as f64 * q).round() as usize]
        };
        Some(Self {
            name: name.to_owned(),
            photos: ids.len(),
            intervals: seen.len(),
            covered: seen.iter().filter(|(error, half_width, _)| error <= half_width).count(),
            rms_error_over_u: (right.iter().sum::<f64>() / right.len().max(1) as f64).sqrt(),
            median_half_width_percent: percentile(|s| s.1, 0.5),
            median_error_percent: percentile(|s| s.0, 0.5),
            p95_error_percent: percentile(|s| s.0, 0.95),
            wrong: wrong.len(),
        })
    }

    pub fn coverage_percent(&self) -> f64 {
        100.0 * self.covered as f64 / self.intervals as f64
    }

    /// Wilson's interval for the coverage, per cent (Wilson 1927). The two axes of a photo share most of their error, so
    /// that the photos are counted, not the intervals.
    pub fn wilson_percent(&self) -> [f64; 2] {
        wilson(self.coverage_percent() / 100.0, self.photos as f64).map(|p| 100.0 * p)
    }

    pub fn line(&self) -> String {
        let [low, high] = self.wilson_percent();
        format!(
            "{},{},{},{:.1},{low:.1},{high:.1},{:.2},{:.2},{:.2},{:.2},{}",
            self.name,
            self.photos,
            self.intervals,
            self.coverage_percent(),
            self.rms_error_over_u,
            self.median_half_width_percent,
            self.median_error_percent,
            self.p95_error_percent,
            self.wrong
        )
    }
}

/// Head of the summary.
pub const HEAD: &str = "group,photos,intervals,coverage_percent,wilson_low_percent,wilson_high_percent,rms_error_over_u,median_half_width_percent,median_error_percent,p95_error_percent,silently_wrong_photos";

/// The last line of the summary: how many photos have a true gauge, answered or not.
pub fn with_truth(photos: usize) -> String {
    format!("with a true gauge,{photos}{}\n", ",".repeat(HEAD.matches(',').count() - 1))
}

/// Wilson's 95 % interval for a share seen in n trials.
pub fn wilson(share: f64, n: f64) -> [f64; 2] {
    const Z: f64 = 1.959_963_985;
    let middle = (share + Z * Z / (2.0 * n)) / (1.0 + Z * Z / n);
    let half = Z / (1.0 + Z * Z / n) * (share * (1.0 - share) / n + Z * Z / (4.0 * n * n)).sqrt();
    [middle - half, middle + half]
}

/// All groups: everything, each axis, thirds of the stated half-width, difficulties, sources, and each swept value.
pub fn groups(rows: &[Row]) -> Vec<Group> {
    let both: Vec<(&Row, usize)> = rows.iter().filter(|r| r.measured()).flat_map(|r| [(r, 0), (r, 1)]).collect();
    let mut groups = vec![Group::of("all", &both)];
    for (axis, name) in ["stitches", "rows"].into_iter().enumerate() {
        let mut own: Vec<(&Row, usize)> = both.iter().filter(|i| i.1 == axis).copied().collect();
        groups.push(Group::of(name, &own));
        own.sort_by(|a, b| {
            let width = |(row, axis): &(&Row, usize)| row.half_width[*axis] / row.value[*axis];
            width(a).total_cmp(&width(b))
        });
        let third = own.len().div_ceil(3).max(1);
        for (part, label) in own.chunks(third).zip(["narrow", "middle", "wide"]) {
            groups.push(Group::of(&format!("{name} {label} third"), part));
        }
    }
    let mut by = |of: &dyn Fn(&Row) -> String| {
        let mut names: Vec<String> = both.iter().map(|(row, _)| of(row)).filter(|n| !n.is_empty()).collect();
        names.sort();
        names.dedup();
        for name in names {
            let own: Vec<(&Row, usize)> = both.iter().filter(|(row, _)| of(row) == name).copied().collect();
            groups.push(Group::of(&name, &own));
        }
    };
    by(&|row| row.difficulty.clone());
    by(&|row| format!("set {}", row.source));
    by(&|row| row.varied.clone());
    groups.into_iter().flatten().collect()
}
