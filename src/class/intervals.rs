//! Intervals for components of variance and for the share of the knitters in it, for any nest with known measuring errors.
//!
//! Let Q be the weighted sum of squares between the groups of a level: what generalised least squares leaves when only the
//! level's own superior groups are fitted, less what it leaves when the level's groups are fitted too. With the true
//! variances in the weights Q is chi-squared with (groups − superior groups) degrees of freedom, whatever the balance and
//! the measuring errors. So those variances of the level for which Q lies between the 2.5 % and the 97.5 % point are a
//! 95 % interval (Viechtbauer 2007 for one level with known errors, where it is exact), and the one for which Q equals its
//! degrees of freedom is an estimate (Paule & Mandel 1982). The next inner level's variance is put in as so estimated; that
//! is itself uncertain, so Q over its degrees of freedom is compared with F instead, whose second degrees of freedom are
//! those of the inner level over the squared share it has in the variance of a group's mean (Satterthwaite 1946). For one
//! level in another, with no measuring errors, that is Wald's exact interval (1940), and for balanced data the usual one.

use super::nested::{Level, Nested};
use nalgebra::DMatrix;
use statrs::distribution::{Beta, ChiSquared, ContinuousCDF};

/// Half of what lies outside a 95 % interval.
const TAIL: f64 = 0.025;
/// Steps of a search at most; ten are usual.
const MOST_STEPS: usize = 120;
/// Precision of a search: of the solution relative to itself, or of what is sought to be zero.
const PRECISION: f64 = 1e-11;
/// Doublings until a bracket holds the solution: 10¹² times the values' own variance.
const DOUBLINGS: usize = 40;
/// Beyond so many second degrees of freedom F is chi-squared to six digits.
const NEARLY_INFINITE: f64 = 1e6;

/// What the sum of squares between the groups of a level says of their variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelInterval {
    /// Which level.
    pub level: Level,
    /// The estimate that makes the sum of squares what is expected, at least 0.
    pub estimate: f64,
    /// Whether the sum of squares is less than the measuring and the inner levels alone make expect: without the limit at
    /// 0 the estimate would be negative.
    pub negative: bool,
    /// Whether the sum of squares is so small that even without any variance of this level it is below the 2.5 % point.
    pub closer_than_stated: bool,
    /// 95 % interval of the variance.
    pub interval: [f64; 2],
    /// Degrees of freedom.
    pub freedom: f64,
}

/// The levels' intervals, outermost first. `None` where the covariance can't be inverted.
pub fn intervals(nested: &Nested) -> Option<Vec<LevelInterval>> {
    let mut found: Vec<LevelInterval> = Vec::new();
    for level in nested.levels().into_iter().rev() {
        let mut interval = Squares::new(nested, level, &found).interval()?;
        if interval.interval[1] <= 0.0 && nested.total_variance() > 0.0 {
            // The values agree better than their stated errors allow. A spread of nothing is not shown by that: the upper
            // end is then what it would be if the measuring had no errors.
            interval.closer_than_stated = true;
            let bare = nested.without_measuring();
            interval.interval[1] = Squares::new(&bare, level, &[]).interval()?.interval[1];
        }
        found.push(interval);
    }
    found.reverse();
    Some(found)
}

/// 95 % interval of the knitters' share in the variance of knitted swatches, σ²(knitters) / (σ²(knitters) + σ²(swatches)):
/// the intraclass correlation of two swatches of one knitter. `None` where the two can't be told apart.
///
/// `levels` are the nest's [`intervals`].
pub fn share_interval(nested: &Nested, levels: &[LevelInterval]) -> Option<[f64; 2]> {
    let of = |level| levels.iter().find(|l| l.level == level).copied();
    let (knitters, swatches) = (of(Level::Knitter)?, of(Level::Swatch)?);
    let inner: Vec<LevelInterval> = levels.iter().filter(|l| l.level != Level::Knitter).copied().collect();
    if swatches.estimate <= 0.0 {
        // All the spread within knitters may be measuring: the ratio is bounded by the ends of the two intervals only.
        let (a, b) = (knitters.interval[0], swatches.interval[1]);
        return Some([if a + b > 0.0 { a / (a + b) } else { 0.0 }, 1.0]);
    }
    // What is sought is the ratio: with the swatches' variance the knitters' moves too, and all that is not known is unsure.
    let squares = Squares { of_ratio: true, ..Squares::new(nested, Level::Knitter, &inner) };
    let [low, high] = squares.ends(swatches.estimate)?;
    let share = |variance: f64| variance / (variance + swatches.estimate);
    Some([share(low), share(high)])
}

/// The sum of squares between the groups of one level, as a function of its variance.
struct Squares<'a> {
    nested: &'a Nested,
    level: Level,
    inner: Vec<(Level, f64)>,
    /// Squares left when this level's groups are fitted: they do not depend on its variance.
    rest: Option<f64>,
    freedom: f64,
    /// Degrees of freedom of the next inner level's estimate, and its variance.
    inner_estimate: Option<(f64, f64)>,
    /// Whether the level's variance is a multiple of the inner level's, as sure as that.
    of_ratio: bool,
}

impl<'a> Squares<'a> {
    fn new(nested: &'a Nested, level: Level, found: &[LevelInterval]) -> Self {
        let inner: Vec<(Level, f64)> = found.iter().map(|l| (l.level, l.estimate)).collect();
        let groups = nested.groups(level).1;
        let outer = superior(nested, level).map_or(1, |l| nested.groups(l).1);
        Self {
            nested,
            level,
            rest: left_over(nested, &inner, Some(level)),
            freedom: groups as f64 - outer as f64,
            inner_estimate: found.iter().min_by_key(|l| l.level as usize).map(|l| (l.freedom, l.estimate)),
            inner,
            of_ratio: false,
        }
    }

    fn interval(&self) -> Option<LevelInterval> {
        let scale = self.nested.total_variance();
        Some(LevelInterval {
            level: self.level,
            estimate: solve(scale, |v| Some(self.at(v)? - self.freedom))?,
            negative: self.at(0.0)? < self.freedom,
            closer_than_stated: false,
            interval: self.ends(scale)?,
            freedom: self.freedom,
        })
    }

    /// Variances at which the sum of squares is at its upper and its lower point.
    fn ends(&self, scale: f64) -> Option<[f64; 2]> {
        let low = solve(scale, |v| Some(self.below(v)? - (1.0 - TAIL)))?;
        let high = solve(scale, |v| Some(self.below(v)? - TAIL))?;
        Some([low, high])
    }

    /// The sum of squares if the level has this variance.
    fn at(&self, variance: f64) -> Option<f64> {
        let mut variances = self.inner.clone();
        variances.push((self.level, variance));
        Some(left_over(self.nested, &variances, superior(self.nested, self.level))? - self.rest?)
    }

    /// Probability of a sum of squares up to the one seen, if the level has this variance.
    fn below(&self, variance: f64) -> Option<f64> {
        let squares = self.at(variance)?.max(0.0);
        let second = self.inner_estimate.map_or(f64::INFINITY, |(freedom, inner)| {
            let share = self.inner_share(variance, inner);
            freedom / (share * share)
        });
        if second > NEARLY_INFINITE {
            return Some(ChiSquared::new(self.freedom).ok()?.cdf(squares));
        }
        let x = squares / (squares + second);
        Some(Beta::new(self.freedom / 2.0, second / 2.0).ok()?.cdf(x.clamp(0.0, 1.0)))
    }

    /// Share of the inner level's variance, or of all that moves with it, in the variance of a group's mean.
    fn inner_share(&self, variance: f64, inner: f64) -> f64 {
        let inner_level = self.inner.iter().map(|(l, _)| *l).min_by_key(|l| *l as usize).unwrap_or(Level::Photo);
        let size = self.nested.groups(inner_level).1 as f64 / self.nested.groups(self.level).1 as f64;
        let known = self.nested.known();
        let measuring = known.diagonal().sum() / known.nrows() as f64 / size;
        let whole = variance + inner / size + measuring;
        let unsure = inner / size + if self.of_ratio { variance } else { 0.0 };
        if whole > 0.0 { unsure / whole } else { 0.0 }
    }
}

/// The level whose groups hold those of this one, where there are several of them and of this level more.
fn superior(nested: &Nested, level: Level) -> Option<Level> {
    let levels = nested.levels();
    match level {
        Level::Knitter => None,
        Level::Swatch => levels.contains(&Level::Knitter).then_some(Level::Knitter),
        Level::Photo => Some(Level::Swatch),
    }
}

/// Squares that generalised least squares leaves with a mean for each group of a level, or with one mean for all.
fn left_over(nested: &Nested, variances: &[(Level, f64)], means: Option<Level>) -> Option<f64> {
    let n = nested.values().len();
    let one = vec![0; n];
    let (groups, count) = means.map_or((one.as_slice(), 1), |level| nested.groups(level));
    let factor = nested.covariance(variances)?;
    let mut design = DMatrix::zeros(n, count);
    groups.iter().enumerate().for_each(|(i, g)| design[(i, *g)] = 1.0);
    let weighted = factor.solve(&design);
    let normal = design.transpose() * &weighted;
    let side = weighted.transpose() * nested.values();
    let whole = nested.values().dot(&factor.solve(nested.values()));
    Some(whole - side.dot(&normal.cholesky()?.solve(&side)))
}

/// Where a falling function crosses zero above 0; 0 where it begins below. Regula falsi with the Illinois rule (Dowell &
/// Jarratt 1971), and a bisection wherever that does not halve the bracket in two steps.
fn solve(scale: f64, f: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let (mut low, mut at_low) = (0.0, f(0.0)?);
    if at_low <= 0.0 {
        return Some(0.0);
    }
    let mut high = scale.max(f64::MIN_POSITIVE);
    let mut at_high = f(high)?;
    for _ in 0..DOUBLINGS {
        if at_high <= 0.0 {
            break;
        }
        (low, at_low) = (high, at_high);
        high *= 2.0;
        at_high = f(high)?;
    }
    let mut before = high - low;
    for step in 0..MOST_STEPS {
        if high - low <= PRECISION * high || at_high == 0.0 {
            break;
        }
        let bisect = step % 3 == 2 && high - low > before / 2.0;
        if step % 3 == 2 {
            before = high - low;
        }
        let cut = (low * at_high - high * at_low) / (at_high - at_low);
        let next = if bisect || !(cut > low && cut < high) { (low + high) / 2.0 } else { cut };
        let value = f(next)?;
        if value > 0.0 {
            (low, at_low, at_high) = (next, value, at_high / 2.0);
        } else {
            (high, at_high, at_low) = (next, value, at_low / 2.0);
        }
        if value.abs() <= PRECISION {
            return Some(next);
        }
    }
    Some((low + high) / 2.0)
}
