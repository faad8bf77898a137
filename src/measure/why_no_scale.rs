//! Why there is no scale: what keeps a ruler from being read often keeps the photo from being measured anyway, and is the
//! better reason to give.

use crate::fabric;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use crate::ruler;

/// The reason that helps most: a photo that is blown out or blurred shows no marks; a ruler much smaller than the picture
/// has no room for them; and where nothing is knitted, marks that can't be told apart do not matter.
pub(super) fn better_reason(photo: &Photo, refusal: Refusal) -> Refusal {
    if let Some(unreadable) = fabric::unreadable(photo) {
        return unreadable;
    }
    match refusal.code {
        RefusalCode::UnitUnclear if fabric::repeats_somewhere(photo) == Some(false) => {
            Refusal::new(RefusalCode::NotKnit, "there is a ruler, but no texture repeats in two directions")
        }
        RefusalCode::NoScale | RefusalCode::RulerUnmarked => far_away(photo).unwrap_or(refusal),
        _ => refusal,
    }
}

/// A ruler-shaped body so small that its millimetres can't be told apart, in a picture in which no stitches show either.
fn far_away(photo: &Photo) -> Option<Refusal> {
    let length_px = ruler::small_body_px(photo)?;
    (fabric::repeats_somewhere(photo) == Some(false)).then(|| {
        let seen = format!("what may be the ruler is only {length_px:.0} px long, and no stitches can be told apart");
        Refusal::new(RefusalCode::TooSmall, seen)
    })
}
