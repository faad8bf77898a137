//! A swatch of the log as a plan takes it.

use super::screen::safe;
use super::{Ended, list::state_words, open, place, status_of};
use crate::cli::ExitStatus;
use crate::compare::NeedleFit;
use crate::logbook::{Access, Filter, Logbook, Measurement, Reading, SortKey, State, SwatchLine, Worked};
use crate::plan::{LoggedSwatch, swatch_area_mm2, warnings};
use crate::sizing::TriedNeedles;
use std::path::Path;

/// Looks a swatch up: its newest measurement, or its newest in a state. `logbook` names the log's file; without it the
/// usual one is meant. The error is a line and its exit status.
pub fn swatch(logbook: Option<&Path>, number: u32, state: Option<&str>) -> Result<LoggedSwatch, (ExitStatus, String)> {
    let path = place::of(logbook).map_err(|message| (ExitStatus::Other, message))?;
    look_up(&path, i64::from(number), state).map_err(|ended| match ended {
        Ended::Failed(message, status) => (status, message),
        Ended::Log(error) => (status_of(&error), format!("{}: {error}", path.display())),
        Ended::Unwritten(error) => (ExitStatus::Other, error.to_string()),
    })
}

fn look_up(path: &Path, number: i64, state: Option<&str>) -> Result<LoggedSwatch, Ended> {
    let state = state.map(super::about::state).transpose().map_err(Ended::bad)?;
    let log = open(path, Access::Read)?;
    // Says so where there is no such swatch at all.
    let swatch = log.swatch(number)?;
    let filter = Filter { ids: vec![number], state, ..Filter::default() };
    let line = log.find(&filter, SortKey::Number, false, 1)?.lines.into_iter().next();
    let missing = || match state {
        _ if swatch.deleted_at.is_some() => Ended::bad(format!("swatch {number} is deleted")),
        Some(state) => Ended::bad(format!("swatch {number} was not measured in the state '{}'", state.name())),
        None => Ended::bad(format!("swatch {number} has no measurement")),
    };
    let line = line.ok_or_else(missing)?;
    let measurement = log
        .counting(number, state)?
        .ok_or_else(|| Ended::inconclusive(format!("swatch {number} has no measured gauge")))?;
    logged(&log, &line, &measurement, swatch.description.worked)
}

fn logged(log: &Logbook, line: &SwatchLine, of: &Measurement, worked: Option<Worked>) -> Result<LoggedSwatch, Ended> {
    let gauge = of.reading.gauge(&of.uid).map_err(|e| Ended::inconclusive(format!("swatch {}: {e}", line.id)))?;
    let record = match &of.reading {
        Reading::Photo(text) => text.record(),
        Reading::Count(_) | Reading::Stated { .. } => None,
    };
    let needles = match line.needle_mm {
        Some(needle_mm) => {
            let fit = NeedleFit::of(&log.of_the_same_fabric(line)?).ok();
            fit.map(|fit| TriedNeedles { needle_mm, fit })
        }
        None => None,
    };
    Ok(LoggedSwatch {
        gauge,
        words: words(line, of),
        stitch: line.stitch.clone().unwrap_or_default(),
        round: worked.map(|worked| worked == Worked::Round),
        washed: of.state.and_then(washed),
        stretched: of.stretched_to_mm.is_some(),
        cautions: record.as_ref().map(warnings).unwrap_or_default(),
        area_mm2: record.as_ref().and_then(swatch_area_mm2),
        needles,
    })
}

/// Whether a state means washed and dried; hung fabric may be either.
fn washed(state: State) -> Option<bool> {
    match state {
        State::Washed | State::Pinned => Some(true),
        State::OnNeedle | State::OffNeedle | State::Steamed => Some(false),
        State::Hung => None,
    }
}

/// `swatch 3 of the log: undyed alpaca, 3.5 mm, washed, measured on 2024-03-11`.
fn words(line: &SwatchLine, of: &Measurement) -> String {
    let state = state_words(of.state, of.stretched_to_mm);
    let parts = [
        line.yarn.as_deref().map(safe),
        line.needle_mm.map(|mm| format!("{mm} mm")),
        (!state.is_empty()).then_some(state),
        Some(format!("measured on {}", of.measured_on)),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    format!("swatch {} of the log: {}", line.id, parts.join(", "))
}
