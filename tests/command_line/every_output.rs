//! Every command that writes a file, and every way in which that can go wrong: full and read-only disks, links, folders,
//! devices, files that must not be lost, two runs at once, readers that leave.

use super::disk::SmallDisk;
use super::folder::{Answer, Folder};
use std::os::unix::fs::{FileTypeExt, MetadataExt, symlink};
use std::path::Path;
use std::sync::OnceLock;

/// A command that writes one file; `OUT` stands for it.
struct Writer {
    /// Ending of the file.
    ending: &'static str,
    arguments: &'static [&'static str],
    /// Exit status when all is well.
    status: i32,
}

const fn writer(ending: &'static str, status: i32, arguments: &'static [&'static str]) -> Writer {
    Writer { ending, arguments, status }
}

/// Every command that writes a file, in its quickest form.
const WRITERS: &[Writer] = &[
    writer("jpg", 3, &["measure", "grey.jpg", "--annotate", "OUT"]),
    writer("png", 3, &["measure", "grey.jpg", "--annotate", "OUT"]),
    writer("html", 3, &["measure", "grey.jpg", "--report", "OUT"]),
    writer("html", 0, &["plan", "plan.toml", "--html", "OUT"]),
    writer("pdf", 0, &["card", "OUT", "--force"]),
    writer("svg", 0, &["card", "OUT", "--force"]),
    writer("jpg", 0, &["sample", "OUT", "--size", "160x120", "--force"]),
    writer("html", 0, &["class", "class.csv", "--handout", "OUT", "--force"]),
    writer("csv", 0, &["class", "class.csv", "--table", "OUT", "--force"]),
    #[cfg(feature = "logbook")]
    writer("jsonl", 0, &["log", "--logbook", "log.sqlite", "export", "OUT", "--force"]),
    #[cfg(feature = "logbook")]
    writer("csv", 0, &["log", "--logbook", "log.sqlite", "export", "OUT", "--force"]),
    #[cfg(feature = "logbook")]
    writer("sqlite", 0, &["log", "--logbook", "log.sqlite", "backup", "OUT", "--force"]),
    #[cfg(feature = "logbook")]
    writer("html", 0, &["log", "--logbook", "log.sqlite", "compare", "--page", "OUT", "--force"]),
    #[cfg(feature = "logbook")]
    writer("svg", 0, &["log", "--logbook", "log.sqlite", "compare", "--plot", "OUT", "--force"]),
    #[cfg(feature = "logbook")]
    writer("jpg", 0, &["log", "--logbook", "log.sqlite", "show", "3", "--thumbnail", "OUT", "--force"]),
    writer("json", 0, LENS),
];

const LENS: &[&str] = &[
    "lens",
    "card1.jpg",
    "card2.jpg",
    "card3.jpg",
    "card7.jpg",
    "card11.jpg",
    "card14.jpg",
    "--output",
    "OUT",
    "--force",
];

/// Photos of the calibration card by one camera: the seeds of the command's own drawings that have one focal length.
fn card_photos() -> &'static [(String, Vec<u8>)] {
    static PHOTOS: OnceLock<Vec<(String, Vec<u8>)>> = OnceLock::new();
    PHOTOS.get_or_init(|| {
        let folder = Folder::new();
        let draw = |seed: u32| {
            let (name, number, tilt) = (format!("card{seed}.jpg"), seed.to_string(), (4 + seed % 6 * 4).to_string());
            let arguments = ["sample", &name, "--ruler", "card", "--stitch", "stockinette", "--size", "800x600"];
            let answer = Answer::of(folder.command().args(arguments).args(["--seed", &number, "--tilt", &tilt]));
            assert_eq!(answer.status, 0, "{}", answer.err);
            (name.clone(), std::fs::read(folder.path(name)).unwrap())
        };
        [1, 2, 3, 7, 11, 14].map(draw).to_vec()
    })
}

/// A folder with all that the commands need.
fn prepared() -> Folder {
    let folder = Folder::new();
    for (name, bytes) in card_photos() {
        std::fs::write(folder.path(name), bytes).unwrap();
    }
    let plan = "[gauge.body]\nstitches = 22\nrows = 30\nover = \"10 cm\"\n[[piece]]\nname = \"Front\"\nwidth = \"50 cm\"\nlength = \"40 cm\"\n";
    std::fs::write(folder.path("plan.toml"), plan).unwrap();
    let class = "knitter,stitches_per_10cm\nAnn,22.1\nBo,23\nCy,21.4\nDi,22.7\n";
    std::fs::write(folder.path("class.csv"), class).unwrap();
    #[cfg(feature = "logbook")]
    for gauge in ["22x30", "23x31"] {
        folder.log_done(&["count", gauge]);
    }
    // A measured photo with a small picture.
    #[cfg(feature = "logbook")]
    folder.log_done(&["add", "card1.jpg", "--stitch", "stockinette", "--card", "--thumbnail"]);
    folder
}

impl Writer {
    fn run(&self, folder: &Folder, out: &Path) -> Answer {
        let mut command = folder.command();
        for argument in self.arguments {
            if *argument == "OUT" {
                command.arg(out)
            } else {
                command.arg(argument)
            };
        }
        Answer::of(&mut command)
    }

    /// One line that names the file and says that it was left alone.
    #[track_caller]
    fn assert_refused(&self, folder: &Folder, out: &Path) -> String {
        let answer = self.run(folder, out);
        let about = format!("{:?} {}: {}{}", self.arguments, out.display(), answer.out, answer.err);
        assert!([1, 2].contains(&answer.status), "{about}");
        assert_eq!(answer.err.lines().count(), 1, "{about}");
        assert!(!answer.err.contains(".walewise-") && !answer.err.contains("panicked"), "{about}");
        answer.err
    }
}

fn each(mut check: impl FnMut(&Folder, &Writer, &str)) {
    let folder = prepared();
    for (i, writer) in WRITERS.iter().enumerate() {
        check(&folder, writer, &format!("out{i}.{}", writer.ending));
    }
    assert!(folder.names(".").iter().all(|name| !name.starts_with(".walewise-")), "{:?}", folder.names("."));
}

#[test]
fn written_replaced_and_through_a_link() {
    each(|folder, writer, name| {
        std::fs::create_dir(folder.path("to")).ok();
        symlink(format!("to/{name}"), folder.path(name)).unwrap();
        for round in ["new", "replaced"] {
            let answer = writer.run(folder, Path::new(name));
            assert_eq!(answer.status, writer.status, "{name} {round} {:?}: {}", writer.arguments, answer.err);
            assert!(folder.path(name).is_symlink(), "{name}: the link stays");
            assert!(folder.path("to").join(name).metadata().unwrap().size() > 50, "{name}");
        }
    });
}

#[test]
fn neither_a_folder_nor_a_device_nor_a_pipe_is_written() {
    each(|folder, writer, name| {
        let pipe = folder.path(name);
        let made = std::process::Command::new("mkfifo").arg(&pipe).status();
        if made.is_ok_and(|s| s.success()) {
            writer.assert_refused(folder, Path::new(name));
            assert!(pipe.metadata().unwrap().file_type().is_fifo(), "{name}");
            std::fs::remove_file(&pipe).unwrap();
        }
        // An administrator's own, which could be replaced; others can't replace the system's.
        let made = std::process::Command::new("mknod").arg(&pipe).args(["c", "1", "3"]).output();
        if !made.is_ok_and(|o| o.status.success()) {
            symlink("/dev/null", &pipe).unwrap();
        }
        writer.assert_refused(folder, Path::new(name));
        assert!(pipe.metadata().unwrap().file_type().is_char_device(), "{:?}", writer.arguments);
        std::fs::remove_file(&pipe).unwrap();
        // A folder is a place for pictures and pages of several photos; for all others it is a mistake.
        if writer.arguments[0] != "measure" {
            std::fs::create_dir(&pipe).unwrap();
            writer.assert_refused(folder, Path::new(name));
            assert!(folder.names(name).is_empty());
        }
    });
}

#[test]
fn a_full_disk_keeps_the_old_file() {
    let folder = prepared();
    let Some(disk) = SmallDisk::mount(folder.path("disk"), "256k") else { return };
    for (i, writer) in WRITERS.iter().enumerate() {
        let name = format!("out{i}.{}", writer.ending);
        std::fs::write(disk.0.join(&name), b"before").unwrap();
        // The sample's truth is written beside it.
        std::fs::write(disk.0.join(&name).with_extension("json"), b"before").unwrap();
    }
    let before = disk.names();
    disk.fill();
    for (i, writer) in WRITERS.iter().enumerate() {
        let out = disk.0.join(format!("out{i}.{}", writer.ending));
        let said = writer.assert_refused(&folder, &out);
        assert!(said.contains("No space left") || said.contains("disk is full"), "{said}");
        assert_eq!(std::fs::read(&out).unwrap(), b"before", "{:?}", writer.arguments);
    }
    std::fs::remove_file(disk.0.join("filler")).unwrap();
    assert_eq!(disk.names(), before, "nothing is left behind");
}

#[test]
fn a_read_only_disk_is_told_at_once() {
    let folder = prepared();
    let Some(disk) = SmallDisk::mount(folder.path("disk"), "256k") else { return };
    disk.make_read_only();
    for (i, writer) in WRITERS.iter().enumerate() {
        let said = writer.assert_refused(&folder, &disk.0.join(format!("out{i}.{}", writer.ending)));
        assert!(said.contains("Read-only file system"), "{said}");
    }
}

/// Photos, plans, tables, logs: what a command reads, it does not write over.
#[test]
fn what_was_read_is_never_lost() {
    let folder = prepared();
    std::fs::copy(folder.path("grey.jpg"), folder.path("photo.html")).unwrap();
    std::fs::copy(folder.path("plan.toml"), folder.path("plan.html")).unwrap();
    std::fs::create_dir_all(folder.path("class/Ann")).unwrap();
    std::fs::copy(folder.path("grey.jpg"), folder.path("class/Ann/photo.jpg")).unwrap();
    let mut runs: Vec<(&str, Vec<&str>)> = vec![
        ("grey.jpg", vec!["measure", "grey.jpg", "--annotate", "./grey.jpg"]),
        ("photo.html", vec!["measure", "photo.html", "--report", "photo.html"]),
        ("plan.html", vec!["plan", "plan.html", "--html", "plan.html"]),
        ("class.csv", vec!["class", "class.csv", "--table", "class.csv", "--force"]),
        ("grey.jpg", vec!["lens", "grey.jpg", "--output", "grey.jpg", "--force"]),
    ];
    #[cfg(feature = "logbook")]
    runs.extend([
        ("log.sqlite", vec!["log", "--logbook", "log.sqlite", "backup", "log.sqlite", "--force"]),
        ("log.sqlite", vec!["log", "--logbook", "log.sqlite", "compare", "--page", "log.sqlite", "--force"]),
        ("log.sqlite", vec!["plan", "plan.toml", "--logbook", "log.sqlite", "--html", "log.sqlite"]),
    ]);
    for (file, arguments) in runs {
        let before = std::fs::read(folder.path(file)).unwrap();
        let answer = Answer::of(folder.command().args(&arguments));
        assert!([1, 2].contains(&answer.status), "{arguments:?}: {}{}", answer.out, answer.err);
        assert!(answer.err.contains("overwrite") || answer.err.contains("itself"), "{arguments:?}: {}", answer.err);
        assert_eq!(std::fs::read(folder.path(file)).unwrap(), before, "{arguments:?}");
    }
    let twice = ["class", "class.csv", "--table", "one.html", "--handout", "one.html"];
    assert_eq!(Answer::of(folder.command().args(twice)).status, 2, "one file for two things");
}

/// Whether a file has its end: what another run has begun and not finished is never seen.
fn is_whole(ending: &str, bytes: &[u8]) -> bool {
    let text = || std::str::from_utf8(bytes).is_ok_and(|text| !text.is_empty());
    match ending {
        "jpg" | "png" => image::load_from_memory(bytes).is_ok(),
        "html" => bytes.trim_ascii_end().ends_with(b"</html>"),
        "svg" => bytes.trim_ascii_end().ends_with(b"</svg>"),
        "pdf" => bytes.trim_ascii_end().ends_with(b"%%EOF"),
        "json" => serde_json::from_slice::<serde_json::Value>(bytes).is_ok(),
        "csv" | "jsonl" => text() && bytes.ends_with(b"\n"),
        "sqlite" => bytes.starts_with(b"SQLite format 3\0") && bytes.len().is_multiple_of(4096),
        other => panic!("{other}"),
    }
}

/// Whoever comes last wins; what is there is whole at every moment.
#[test]
fn two_runs_with_one_output() {
    each(|folder, writer, name| {
        let first = writer.run(folder, Path::new(name));
        assert_eq!(first.status, writer.status, "{name}: {}", first.err);
        std::thread::scope(|scope| {
            let runs = [(); 2].map(|()| {
                scope.spawn(|| {
                    for _ in 0..2 {
                        let answer = writer.run(folder, Path::new(name));
                        assert_eq!(answer.status, writer.status, "{:?}: {}", writer.arguments, answer.err);
                    }
                })
            });
            while runs.iter().any(|run| !run.is_finished()) {
                let bytes = std::fs::read(folder.path(name)).unwrap();
                assert!(is_whole(writer.ending, &bytes), "{:?}: not whole", writer.arguments);
                std::thread::sleep(std::time::Duration::from_millis(5));
            }
        });
    });
}

/// Manual pages are many files in one folder: each is whole, and a folder that takes none is told in one line.
#[test]
fn a_folder_of_manual_pages_that_takes_none() {
    let folder = Folder::new();
    let manual = |at: &Path| Answer::of(folder.command().args(["manual", "--folder"]).arg(at));
    std::fs::write(folder.path("file"), b"before").unwrap();
    for at in ["file", "file/man"] {
        let answer = manual(Path::new(at));
        assert_eq!((answer.status, answer.out.as_str(), answer.err.lines().count()), (1, "", 1), "{}", answer.err);
        assert!(answer.err.contains(at), "{}", answer.err);
    }
    assert_eq!(std::fs::read(folder.path("file")).unwrap(), b"before");
    let Some(disk) = SmallDisk::mount(folder.path("disk"), "256k") else { return };
    std::fs::write(disk.0.join("walewise.1"), b"before").unwrap();
    let before = disk.names();
    disk.fill();
    let answer = manual(&disk.0);
    assert_eq!((answer.status, answer.err.lines().count()), (1, 1), "{}", answer.err);
    assert!(answer.err.contains("No space left") && !answer.err.contains(".walewise-"), "{}", answer.err);
    assert_eq!(std::fs::read(disk.0.join("walewise.1")).unwrap(), b"before");
    std::fs::remove_file(disk.0.join("filler")).unwrap();
    // Pages that had room may be there; nothing half made is.
    assert!(disk.names().iter().all(|name| before.contains(name) || !name.starts_with('.')), "{:?}", disk.names());
    disk.make_read_only();
    let answer = manual(&disk.0);
    assert_eq!((answer.status, answer.err.lines().count()), (1, 1), "{}", answer.err);
    assert!(answer.err.contains("Read-only file system"), "{}", answer.err);
}

/// `| head -1` ends every command quietly, and a full disk behind stdout is told in one line.
#[test]
fn results_that_nobody_takes() {
    let folder = prepared();
    let mut runs = vec![
        "measure grey.jpg grey.jpg --json",
        "plan plan.toml",
        "plan plan.toml --json",
        "class class.csv",
        "class class.csv --json",
        "lens card1.jpg card2.jpg card3.jpg card7.jpg card11.jpg card14.jpg -o lens.json --force",
        "manual",
        "completion bash",
        "--help",
        "plan --help",
    ];
    #[cfg(feature = "logbook")]
    runs.extend([
        "log --logbook log.sqlite list",
        "log --logbook log.sqlite show 1",
        "log --logbook log.sqlite compare",
        "log --logbook log.sqlite count 22x30",
        "log --logbook log.sqlite export export.csv --force",
    ]);
    for run in runs {
        // The reader is gone before anything is written.
        let closed = folder.shell(&format!("{{ sleep 0.2; \"$WALEWISE\" {run}; echo \"$?\" >&2; }} | true"));
        assert!(["0\n", "1\n", "3\n"].contains(&closed.err.as_str()), "{run}: {}", closed.err);
        if Path::new("/dev/full").exists() && !run.ends_with("--help") {
            let full = folder.shell(&format!("exec \"$WALEWISE\" {run} > /dev/full"));
            assert_eq!((full.status, full.err.lines().count()), (1, 1), "{run}: {}", full.err);
            assert!(full.err.contains("can't be written") && full.err.contains("No space left"), "{run}: {}", full.err);
        }
    }
}

/// Files that never end or never begin are no input: neither waited for nor read.
#[test]
fn pipes_and_devices_are_not_read() {
    let folder = prepared();
    let made = std::process::Command::new("mkfifo").arg(folder.path("pipe")).status();
    assert!(made.is_ok_and(|s| s.success()), "mkfifo");
    let mut runs: Vec<(&[&str], i32)> = vec![
        (&["measure", "IN"], 4),
        (&["measure", "grey.jpg", "--lens", "IN"], 2),
        (&["plan", "IN"], 2),
        (&["class", "IN"], 2),
        (&["lens", "IN", "--output", "lens.json"], 2),
    ];
    #[cfg(feature = "logbook")]
    runs.extend([
        (&["log", "--logbook", "log.sqlite", "keep", "IN"][..], 2),
        (&["log", "--logbook", "log.sqlite", "import", "IN.jsonl"], 2),
        (&["log", "--logbook", "log.sqlite", "add", "IN"], 4),
        (&["log", "--logbook", "IN", "list"], 2),
    ]);
    for input in ["pipe", "zero"] {
        if input == "zero" {
            symlink("/dev/zero", folder.path("zero")).unwrap();
        }
        symlink(input, folder.path(format!("{input}.jsonl"))).unwrap();
        for (arguments, status) in &runs {
            let mut command = std::process::Command::new("timeout");
            command.arg("20").arg(assert_cmd::cargo::cargo_bin!("walewise")).current_dir(folder.path("."));
            let answer = Answer::of(command.args(arguments.iter().map(|a| a.replace("IN", input))));
            assert_eq!(answer.status, *status, "{arguments:?} {input}: {}{}", answer.out, answer.err);
            let said = answer.out.clone() + &answer.err;
            assert!(said.contains("pipe or a device") || said.contains("not a swatch log"), "{arguments:?}: {said}");
        }
    }
}
