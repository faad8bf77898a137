//! A folder of its own for each test, and the command run in it.

use image::{Rgb, RgbImage};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// A folder of its own for one test, with a plain grey picture that holds neither ruler nor knitting.
pub struct Folder(TempDir);

impl Folder {
    pub fn new() -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        folder.grey_photo("grey.jpg");
        folder
    }

    pub fn path(&self, name: impl AsRef<Path>) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn grey_photo(&self, name: impl AsRef<Path>) {
        RgbImage::from_pixel(640, 480, Rgb([128, 128, 128])).save(self.path(name)).unwrap();
    }

    pub fn names(&self, sub: &str) -> Vec<String> {
        let entries = std::fs::read_dir(self.path(sub)).unwrap();
        let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    /// `walewise measure` with these arguments, run in the folder.
    pub fn measure(&self, arguments: &[impl AsRef<OsStr>]) -> Answer {
        Answer::of(self.command().arg("measure").args(arguments))
    }

    /// `walewise log` with these arguments, on the log `log.sqlite` in the folder.
    #[cfg(feature = "logbook")]
    pub fn log(&self, arguments: &[impl AsRef<OsStr>]) -> Answer {
        Answer::of(self.command().args(["log", "--logbook", "log.sqlite"]).args(arguments))
    }

    /// The same, which must end with 0; gives what was printed.
    #[cfg(feature = "logbook")]
    #[track_caller]
    pub fn log_done(&self, arguments: &[impl AsRef<OsStr> + std::fmt::Debug]) -> String {
        let answer = self.log(arguments);
        assert_eq!(answer.status, 0, "{arguments:?}: {}{}", answer.out, answer.err);
        answer.out
    }

    /// `walewise`, to be run in the folder.
    pub fn command(&self) -> Command {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("walewise"));
        command.current_dir(self.0.path()).env_remove("WALEWISE_LOGBOOK");
        command
    }

    /// A command of the shell in which `$WALEWISE` is the program, run in the folder.
    #[cfg(unix)]
    pub fn shell(&self, script: &str) -> Answer {
        let mut command = Command::new("sh");
        command.current_dir(self.0.path()).env("WALEWISE", assert_cmd::cargo::cargo_bin!("walewise"));
        Answer::of(command.args(["-c", script]))
    }
}

/// How a run ended and what it said.
pub struct Answer {
    pub status: i32,
    pub out: String,
    pub err: String,
}

impl Answer {
    pub fn of(command: &mut Command) -> Self {
        let output = command.output().unwrap();
        Self {
            status: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    pub fn json(&self) -> Vec<serde_json::Value> {
        self.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }
}
