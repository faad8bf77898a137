//! The swatch log as a library: what is kept, found, changed, exported and brought back.
#![cfg(feature = "logbook")]

mod entries;
mod large;
mod log_file;
mod round_trip;
mod search;
