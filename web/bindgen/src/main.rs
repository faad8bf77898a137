//! `walewise-page-bindgen CORE.wasm FOLDER` writes `core.js` and `core_bg.wasm`, a module for the browser, into FOLDER.
//!
//! The library behind the well-known command is called by itself: the command carries a network client and test servers
//! that the page's build has no use for.

use std::env;

use anyhow::{Context, Result};
use wasm_bindgen_cli_support::Bindgen;

fn main() -> Result<()> {
    let mut named = env::args_os().skip(1);
    let core = named.next().context("which .wasm file?")?;
    let folder = named.next().context("into which folder?")?;
    Bindgen::new().input_path(core).web(true)?.typescript(false).out_name("core").generate(folder)
}
