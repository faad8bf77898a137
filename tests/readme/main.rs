//! The README and the pages of the commands against the program: every block of output is what the command prints, every
//! figure comes from a table or a formula, every picture is drawn by the project.
//!
//! With `WALEWISE_REWRITE_README=1` all three are written anew (`.ci/readme`):
//!
//! - A `sh` block is run, in a folder that holds a copy of `sample-photos/`; a `text` block shows what it prints, or begins
//!   with its own command behind `$`. A line `…` stands for any number of lines. `<!-- not run: why -->` above a block
//!   leaves it out.
//! - What stands between `<!-- figures: NAME -->` and `<!-- end -->` is written by `figures.rs`.
//! - Pictures in `sample-photos/pictures/` are drawn by `pictures.rs`.

#![cfg(all(feature = "cli", feature = "logbook", unix))]

mod blocks;
mod figures;
mod pictures;

use std::path::{Path, PathBuf};

/// Whether texts and pictures are to be written anew.
fn rewriting() -> bool {
    std::env::var_os("WALEWISE_REWRITE_README").is_some_and(|value| value == "1")
}

fn project() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The README and the page of each command.
fn pages() -> Vec<PathBuf> {
    let entries = std::fs::read_dir(project().join("src/cli/pages")).expect("the pages of the commands");
    let mut pages: Vec<PathBuf> = entries.map(|entry| entry.expect("a page").path()).collect();
    pages.push(project().join("README.md"));
    pages.sort();
    pages
}

/// Puts the new text in the old one's place, or says where they differ.
#[track_caller]
fn settle(page: &Path, old: &str, new: &str) {
    if old == new {
        return;
    }
    if rewriting() {
        std::fs::write(page, new).expect("the page can be written");
        println!("{} was written anew", page.display());
        return;
    }
    let differ = old.lines().zip(new.lines()).find(|(o, n)| o != n).unwrap_or(("its end", "its end"));
    panic!("{} says\n{}\nand should say\n{}\n(.ci/readme writes it anew)", page.display(), differ.0, differ.1);
}

/// One after the other: blocks may write pictures, and pages are written twice.
#[test]
fn pages_say_what_the_program_says() {
    for page in pages() {
        let old = std::fs::read_to_string(&page).expect("a page");
        settle(&page, &old, &figures::renewed(&old));
    }
    let failures: Vec<String> = std::thread::scope(|scope| {
        let running: Vec<_> = pages().into_iter().map(|page| scope.spawn(move || checked(&page))).collect();
        running.into_iter().filter_map(|page| page.join().expect("no panic").err()).collect()
    });
    assert!(failures.is_empty(), "{}\n(.ci/readme writes blocks anew)", failures.join("\n\n"));
}

fn checked(page: &Path) -> Result<(), String> {
    let old = std::fs::read_to_string(page).expect("a page");
    let name = page.strip_prefix(project()).expect("of the project").display();
    let new = blocks::renewed(&old, rewriting()).map_err(|why| format!("{name}: {why}"))?;
    settle(page, &old, &new);
    Ok(())
}

#[test]
fn pictures_are_the_projects_own_and_all_are_shown() {
    if rewriting() {
        pictures::draw_all();
    }
    pictures::check_refusals();
    let texts: Vec<String> = pages().iter().map(|page| std::fs::read_to_string(page).expect("a page")).collect();
    for entry in std::fs::read_dir(pictures::folder()).expect("the pictures") {
        let name = entry.expect("a picture").file_name().into_string().expect("a plain name");
        assert!(
            texts.iter().any(|text| text.contains(&format!("sample-photos/pictures/{name}"))),
            "{name} is not shown"
        );
    }
    for (page, text) in pages().iter().zip(&texts) {
        for link in links(text) {
            let target = page.parent().expect("a folder").join(link);
            assert!(target.exists(), "{}: there is no {link}", page.display());
        }
    }
}

/// Files of the project that a page links to or shows.
fn links(text: &str) -> impl Iterator<Item = &str> {
    text.split("](")
        .skip(1)
        .filter_map(|rest| rest.split([')', '#']).next())
        .filter(|link| !link.is_empty() && !link.contains("://"))
}
