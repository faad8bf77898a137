//! Shell completion and manual pages, for all commands.

use super::folder::{Answer, Folder};

#[test]
fn completion_knows_every_command() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let answer = Answer::of(Folder::new().command().args(["completion", shell]));
        assert_eq!((answer.status, answer.err.as_str()), (0, ""));
        for word in ["measure", "sample", "ruler-class"] {
            assert!(answer.out.contains(word), "{shell}: {word}");
        }
        #[cfg(feature = "logbook")]
        assert!(answer.out.contains("remeasure"), "{shell}");
    }
    assert_eq!(Answer::of(Folder::new().command().args(["completion", "no-such-shell"])).status, 2);
}

#[test]
fn manual_pages_are_written() {
    let folder = Folder::new();
    let answer = Answer::of(folder.command().arg("manual"));
    assert_eq!((answer.status, answer.err.as_str()), (0, ""));
    assert!(answer.out.contains(".TH walewise 1"));
    assert_eq!(Answer::of(folder.command().args(["manual", "--folder", "man"])).status, 0);
    let names = folder.names("man");
    assert!(names.contains(&"walewise.1".to_owned()) && names.contains(&"walewise-measure.1".to_owned()), "{names:?}");
    #[cfg(feature = "logbook")]
    assert!(names.contains(&"walewise-log-compare.1".to_owned()), "{names:?}");
}
