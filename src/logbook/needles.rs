//! Swatches of one fabric on several needles.

use super::{Filter, Logbook, LogbookError, SortKey, State, SwatchLine};
use crate::compare::NeedleSwatch;

/// Swatches of one yarn and stitch pattern, measured in one state.
#[derive(Debug, Clone, PartialEq)]
pub struct NeedleGroup {
    /// The yarn.
    pub yarn: Option<String>,
    /// The stitch pattern.
    pub stitch: Option<String>,
    /// The state all were measured in.
    pub state: Option<State>,
    /// The width all were stretched to, in mm.
    pub stretched_to_mm: Option<f64>,
    /// The swatches.
    pub swatches: Vec<NeedleSwatch>,
}

impl NeedleGroup {
    fn of(line: &SwatchLine) -> Self {
        Self {
            yarn: line.yarn.clone(),
            stitch: line.stitch.clone(),
            state: line.state,
            stretched_to_mm: line.stretched_to_mm,
            swatches: Vec::new(),
        }
    }

    /// Whether a swatch is of this fabric.
    fn holds(&self, line: &SwatchLine) -> bool {
        let fabric = (&self.yarn, &self.stitch, self.state, self.stretched_to_mm);
        fabric == (&line.yarn, &line.stitch, line.state, line.stretched_to_mm)
    }
}

/// More swatches of one yarn than anybody knits (a stated choice): more are not read for a fit.
const MOST_OF_A_YARN: usize = 1000;

impl Logbook {
    /// The swatches of some lines, sorted into fabrics, in the order of the lines. Swatches without needle size or gauge
    /// are left out. `state` is the one the lines were found in.
    pub fn needle_groups(&self, lines: &[SwatchLine], state: Option<State>) -> Result<Vec<NeedleGroup>, LogbookError> {
        let mut groups: Vec<NeedleGroup> = Vec::new();
        for line in lines {
            let Some(needle_mm) = line.needle_mm else { continue };
            let Some(measurement) = self.counting(line.id, state)? else { continue };
            let Ok(gauge) = measurement.reading.gauge(&measurement.uid) else { continue };
            let swatch = NeedleSwatch { needle_mm, gauge };
            match groups.iter_mut().find(|group| group.holds(line)) {
                Some(group) => group.swatches.push(swatch),
                None => groups.push(NeedleGroup { swatches: vec![swatch], ..NeedleGroup::of(line) }),
            }
        }
        Ok(groups)
    }

    /// All swatches of the same yarn and stitch pattern as one, measured in the same state, that one among them; none
    /// where its yarn is not said.
    pub fn of_the_same_fabric(&self, line: &SwatchLine) -> Result<Vec<NeedleSwatch>, LogbookError> {
        let Some(yarn) = &line.yarn else { return Ok(Vec::new()) };
        let filter =
            Filter { yarn: Some(yarn.clone()), stitch: line.stitch.clone(), state: line.state, ..Filter::default() };
        let found = self.find(&filter, SortKey::Number, true, MOST_OF_A_YARN)?;
        let alike: Vec<SwatchLine> = found.lines.into_iter().filter(|l| NeedleGroup::of(line).holds(l)).collect();
        Ok(self.needle_groups(&alike, line.state)?.pop().map_or_else(Vec::new, |group| group.swatches))
    }
}
