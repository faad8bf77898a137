//! One measurement as a page: what was seen, why these are the stitches, how they vary, and what the interval comes from.

mod bars;
mod page;
mod spectrum;

pub use page::page;
