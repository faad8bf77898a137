//! Why there is no scale: what keeps a ruler from being read often keeps the photo from being measured anyway, and is the
//! better reason to give.

use super::Setup;
use super::fabric_stage::View;
use super::scale_stage::{self, Scale};
use crate::fabric;
use crate::photo::Photo;
use crate::plane::CameraPrior;
use crate::refusal::{Refusal, RefusalCode};
use crate::ruler::RulerUnit;

/// The reason that helps most: a photo that is blown out or blurred shows no marks; in a small corner of a picture of a
/// table there is no room for them; and where nothing is knitted, marks that can't be told apart do not matter.
pub(super) fn better_reason(photo: &Photo, setup: &Setup, refusal: Refusal) -> Refusal {
    if let Some(unreadable) = fabric::unreadable(photo) {
        return unreadable;
    }
    match refusal.code {
        RefusalCode::UnitUnclear if nothing_knitted(photo, setup) => {
            Refusal::new(RefusalCode::NotKnit, "there is a ruler, but no stitches beside it in any of its units")
        }
        RefusalCode::NoScale => far_away(photo).unwrap_or(refusal),
        _ => refusal,
    }
}

/// All that is not table lies in a small part of the picture, and no stitches show in it.
fn far_away(photo: &Photo) -> Option<Refusal> {
    let share = fabric::far_object_share(photo)?;
    (fabric::repeats_somewhere(photo) == Some(false)).then(|| {
        let seen = format!("what lies on the table takes {:.0} % of the picture's width or height", 100.0 * share);
        Refusal::new(RefusalCode::TooSmall, seen)
    })
}

/// Whether no place of the photo is knitted, whichever unit the ruler's marks are taken for. Where they can't be read in either
/// (they may be twice as many), nothing is told.
fn nothing_knitted(photo: &Photo, setup: &Setup) -> bool {
    let read: Vec<_> = [RulerUnit::Cm, RulerUnit::Inch]
        .into_iter()
        .filter_map(|unit| scale_stage::read(photo, &Setup { ruler_unit: Some(unit), ..setup.clone() }).ok())
        .collect();
    !read.is_empty() && read.iter().all(|scale| nothing_knitted_in(photo, setup, scale))
}

fn nothing_knitted_in(photo: &Photo, setup: &Setup, scale: &Scale) -> bool {
    let Ok(plane) = scale_stage::plane(scale, &CameraPrior::of(photo), &[]) else { return true };
    let excluded = scale.excluded();
    let region = setup.region.map(scale_stage::rectangle);
    let ruler_direction_deg = scale.direction_deg(&plane.map);
    let view = View::new(photo, &plane.map, &excluded, region.as_deref(), ruler_direction_deg);
    let not_knit = |refusal: &Refusal| refusal.code == RefusalCode::NotKnit;
    match view.search() {
        Err(refusal) => not_knit(&refusal),
        Ok(search) => search.seeds.iter().all(|s| view.read_at(s, setup).is_err_and(|r| not_knit(&r))),
    }
}
