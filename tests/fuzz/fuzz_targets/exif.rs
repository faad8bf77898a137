#![no_main]

#[path = "../entries/mod.rs"]
#[allow(dead_code, unused_imports)]
mod entries;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| entries::exif(bytes));
