//! The command as people and scripts meet it: exit statuses, what goes to stdout, and files left behind.

mod arguments;
mod cards;
mod classes;
#[cfg(unix)]
mod disk;
#[cfg(unix)]
mod every_output;
mod folder;
#[cfg(all(feature = "logbook", feature = "serve", unix))]
mod help_examples;
#[cfg(unix)]
mod hostile_photos;
#[cfg(unix)]
mod interrupted;
#[cfg(feature = "logbook")]
mod log_entries;
#[cfg(all(feature = "logbook", unix))]
mod log_faults;
#[cfg(all(feature = "logbook", unix))]
mod log_killed;
#[cfg(feature = "logbook")]
mod log_photos;
mod manual;
mod outputs;
mod photos;
mod plans;
#[cfg(unix)]
mod surroundings;
mod ways;
