//! Reports: a record, and the evidence beside it, put into words, pictures and a page; a class into words, a table and a
//! handout; a plan into words and a page to print.
//! Pure functions; nothing is read or written.

pub mod annotate;
mod axis;
mod budget;
pub mod class;
pub mod comparison;
pub mod json;
pub mod measurement;
pub mod one_line;
mod page;
mod picture;
pub mod place_map;
pub mod plan_html;
mod plan_instructions;
mod plan_measures;
mod plan_schematic;
pub mod plan_text;
pub mod text;
pub mod thumbnail;
mod ways;

pub use plan_instructions::instructions;
