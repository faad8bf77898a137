//! Reports: a record, and the evidence beside it, put into words and pictures; a plan put into words and a page to print.
//! Pure functions; nothing is read or written.

pub mod annotate;
mod budget;
pub mod comparison;
pub mod json;
mod page;
pub mod plan_html;
mod plan_instructions;
mod plan_measures;
mod plan_schematic;
pub mod plan_text;
pub mod text;
mod ways;

pub use plan_instructions::instructions;
