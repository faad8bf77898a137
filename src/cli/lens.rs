//! `walewise lens`: the lens profile from photos of the calibration card.

use super::input_file::{self, Kind};
use super::{ExitStatus, output, output_file, whole_file};
use crate::photo;
use crate::plane::{CameraPrior, CardPhoto, LensError, LensProfile, measure_lens};
use crate::ruler;
use clap::Args;
use std::path::{Path, PathBuf};

/// Measure a camera's lens from photos of the printed calibration card, and write a profile for measure --lens
///
/// Take 6 to 12 photos of the card (walewise card), laid flat: filling the picture, from several sides, tilted by 10 to 30
/// degrees, and some with the card in the corners of the picture. Same camera, same zoom, none of them cut.
///
/// Exit status: 0 done, 2 bad arguments or a file that can't be read, 3 the photos don't show the lens, 1 anything else.
#[derive(Debug, Clone, Args)]
#[command(after_help = "Examples:
  walewise lens card-*.jpg -o lens.json
  walewise measure swatch.jpg --stitch stockinette --lens lens.json")]
pub struct LensArgs {
    /// Photos of the card
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
    /// The profile to write
    #[arg(short, long, value_name = "FILE.json")]
    output: PathBuf,
    /// Replace a file that is there already
    #[arg(long)]
    force: bool,
}

/// Measures the lens and writes the profile; photos without a readable card are left out, and said so.
pub fn run(args: &LensArgs) -> ExitStatus {
    match measured(args) {
        Ok(profile) => written(args, &profile),
        Err((message, status)) => fail(status, &message),
    }
}

fn measured(args: &LensArgs) -> Result<LensProfile, (String, ExitStatus)> {
    if whole_file::is_one_of(&args.output, &args.photos) {
        let message = format!("{}: this would overwrite a photo", args.output.display());
        return Err((message, ExitStatus::BadArguments));
    }
    output_file::free_and_writable(&args.output, args.force).map_err(|message| (message, ExitStatus::Other))?;
    let mut cards = Vec::new();
    let mut names: Vec<&Path> = Vec::new();
    for path in &args.photos {
        match card_photo(path)? {
            Ok(card) => {
                cards.push(card);
                names.push(path);
            }
            Err(why) => output::complain(&format!("{}: left out: {why}", path.display())),
        }
    }
    if cards.is_empty() {
        return Err(("no photo shows the calibration card".to_owned(), ExitStatus::Refused));
    }
    measure_lens(&cards).map_err(|error| match error {
        LensError::Unlike(n) => (format!("{}: {error}", names[n].display()), ExitStatus::BadArguments),
        LensError::TooMany => (error.to_string(), ExitStatus::BadArguments),
        _ => (error.to_string(), ExitStatus::Refused),
    })
}

/// One photo's card, or why it is not there; `Err` outside where the file is no photo.
fn card_photo(path: &Path) -> Result<Result<CardPhoto, String>, (String, ExitStatus)> {
    let bad = |what: String| (format!("{}: {what}", path.display()), ExitStatus::BadArguments);
    let bytes = input_file::read(path, Kind::PHOTO).map_err(|e| bad(e.message))?;
    let photo = photo::decode(&bytes).map_err(|e| bad(e.to_string()))?;
    Ok(match ruler::read_card(&photo) {
        Ok(card) => Ok(CardPhoto {
            card,
            camera: CameraPrior::of(&photo),
            size_px: (photo.width(), photo.height()),
            focal_length_35mm: photo.focal_length_35mm,
        }),
        Err(refusal) => Err(refusal.seen),
    })
}

fn written(args: &LensArgs, profile: &LensProfile) -> ExitStatus {
    if let Err(message) = output_file::write(&args.output, profile.to_json().as_bytes()) {
        return fail(ExitStatus::Other, &message);
    }
    let corner = 100.0 * (profile.k1.value + profile.k2.value);
    let text = format!(
        "{}: k1 {:.4} ± {:.4}, k2 {:.4} ± {:.4} (standard uncertainties)\n  The lens moves the picture's corners by {corner:.2} %.\n  \
         {} photos, {} corners of the card, {:.2} px residual.\n",
        args.output.display(),
        profile.k1.value,
        profile.k1.standard_uncertainty,
        profile.k2.value,
        profile.k2.standard_uncertainty,
        profile.photos,
        profile.corners,
        profile.residual_px,
    );
    output::print(&text).map_or_else(|e| output::unwritten(&e), |()| ExitStatus::Done)
}

fn fail(status: ExitStatus, message: &str) -> ExitStatus {
    output::complain(message);
    status
}
