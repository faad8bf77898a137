//! What is said of a measurement that is to be kept, and where it goes: to a new swatch, or to one that is there.

use super::about::{AboutArguments, StateArguments};
use super::{Ended, now};
use crate::logbook::{Description, Logbook, NewMeasurement, Reading};
use crate::record::Record;

/// Options that all commands have that keep measurements.
#[derive(clap::Args)]
pub struct KeepingArguments {
    /// Add the measurement to this swatch instead of beginning a new one: another state, or once more
    #[arg(long, value_name = "NUMBER")]
    to: Option<i64>,
    #[command(flatten)]
    about: AboutArguments,
    #[command(flatten)]
    state: StateArguments,
}

impl KeepingArguments {
    /// The swatch that is there, where one was named. Nothing new may then be said of the swatch itself; `says_more`: other
    /// options do.
    pub fn swatch(&self, says_more: bool) -> Result<Option<i64>, Ended> {
        if self.to.is_some() && (says_more || !self.about.is_empty()) {
            return Err(Ended::bad("--to names a swatch that is there: change what is said of it with `log edit`"));
        }
        Ok(self.to)
    }

    /// What is said of the swatch; the day of the measuring is that of its knitting where nothing else is said.
    pub fn description(&self) -> Result<Description, Ended> {
        let mut description = Description::default();
        self.about.apply(&mut description)?;
        let (_, _, measured_on) = self.state.get();
        description.made_on = description.made_on.or(Some(measured_on));
        Ok(description)
    }

    /// The measurement of a reading, in the state and on the day that were said.
    pub fn measurement(&self, reading: Reading) -> NewMeasurement {
        let (state, stretched_to_mm, measured_on) = self.state.get();
        NewMeasurement { state, stretched_to_mm, ..NewMeasurement::of(reading, measured_on) }
    }

    /// Keeps a measurement and says as what: `swatch 3`, `measurement 6 of swatch 5`.
    pub fn keep(&self, log: &mut Logbook, description: &Description, new: &NewMeasurement) -> Result<String, Ended> {
        match self.to {
            Some(swatch) => {
                let added = log.add_measurement(swatch, new, now())?;
                Ok(format!("measurement {} of swatch {}", added.measurement, added.swatch))
            }
            None => Ok(format!("swatch {}", log.add(description, &self.about.tags(), new, now())?.swatch)),
        }
    }
}

/// A description with the stitch pattern of a record.
pub fn with_pattern(mut description: Description, record: &Record) -> Description {
    if let Some(note) = &record.stitch_pattern {
        description.stitch = Some(note.pattern.name.clone());
        description.repeat_stitches = Some(note.pattern.repeat_stitches);
        description.repeat_rows = Some(note.pattern.repeat_rows);
    }
    description
}
