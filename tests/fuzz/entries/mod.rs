//! What is done with a hostile input: bytes → the library, as far as such an input gets in the command. The fuzz targets
//! call these functions, and `tests/hostile_corpus.rs` replays the kept inputs through them. They return nothing: what
//! counts is that they return, and that what must hold of an answer does.

mod drawn;
mod photo;
mod texts;

pub use photo::{exif, photo};
pub use texts::{class_table, json, log_import, plan};
