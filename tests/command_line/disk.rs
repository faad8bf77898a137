//! A small disk of its own, as far as a test may mount one.

use std::io::Write;
use std::path::PathBuf;
use std::process::Command;

/// A file system in memory, mounted until it is dropped.
pub struct SmallDisk(pub PathBuf);

impl SmallDisk {
    /// `None` where that is not allowed; says so.
    pub fn mount(at: PathBuf, size: &str) -> Option<Self> {
        std::fs::create_dir(&at).unwrap();
        let option = format!("size={size}");
        let mounted = Command::new("mount").args(["-t", "tmpfs", "-o", &option, "tmpfs"]).arg(&at).output();
        let disk = mounted.is_ok_and(|o| o.status.success()).then_some(Self(at));
        if disk.is_none() {
            println!("SKIPPED: a small disk can't be mounted here");
        }
        disk
    }

    pub fn make_read_only(&self) {
        let done = Command::new("mount").args(["-o", "remount,ro"]).arg(&self.0).status().unwrap();
        assert!(done.success());
    }

    /// Fills what room is left.
    pub fn fill(&self) {
        let mut filler = std::fs::File::create(self.0.join("filler")).unwrap();
        while filler.write_all(&[1; 4096]).is_ok() {}
    }

    pub fn names(&self) -> Vec<String> {
        let entries = std::fs::read_dir(&self.0).unwrap();
        let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        // Left to the system where it fails: the test is over either way.
        let _ = Command::new("umount").arg(&self.0).status();
    }
}
