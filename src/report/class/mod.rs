//! A class in words, as a table, and as a handout.

mod dots;
mod initials;
mod page;
mod shares;
mod sizes;
mod table;
mod text;
mod words;

pub use initials::initials;
pub use page::{SwatchPicture, page};
pub use table::table;
pub use text::describe;

/// How knitters are called in a handout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Naming {
    /// By the initials of their names: a handout goes from hand to hand.
    Initials,
    /// By their names.
    Names,
}
