//! Reports: a record, and the evidence beside it, put into words and pictures. Pure functions; nothing is read or written.

pub mod annotate;
mod budget;
pub mod comparison;
pub mod json;
mod page;
pub mod text;
