//! The calibration card and an ID-1 card in photos: found where they lie, never where they don't, and the scale that
//! follows within what is stated.

mod card_photos;

use card_photos::{Dice, camera, card, photo, scene};
use walewise::photo::Photo;
use walewise::plane::{PlaneEstimate, PlaneMap, Pose, ScaleEvidence, estimate};
use walewise::quantity::PhotoPoint;
use walewise::ruler::{PlacedPoint, read_card, read_id1};
use walewise::synthetic::{Body, RulerScale, Scene};

/// Photos drawn of each kind; `WALEWISE_SEEDS` asks for more.
fn seeds(usual: u64) -> std::ops::Range<u64> {
    0..std::env::var("WALEWISE_SEEDS").ok().and_then(|n| n.parse().ok()).unwrap_or(usual)
}

/// Darkens one part of the picture as a shadow with a soft edge does.
fn shade(photo: &mut Photo, dice: &mut Dice) {
    let way = dice.between(0.0, std::f64::consts::TAU);
    let (nx, ny) = (way.cos(), way.sin());
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    let middle = dice.between(-0.25, 0.25) * w;
    let (soft, dark) = (dice.between(3.0, 60.0), dice.between(0.35, 0.8));
    for (x, y, p) in photo.rgb.enumerate_pixels_mut() {
        let off = (f64::from(x) - w / 2.0) * nx + (f64::from(y) - h / 2.0) * ny - middle;
        let share = (off / soft + 0.5).clamp(0.0, 1.0);
        p.0 = p.0.map(|v| (f64::from(v) * (1.0 - share * (1.0 - dark))) as u8);
    }
}

/// Covers what lies beyond a line across the card, with something striped, so that about this share of it is left.
fn cover(photo: &mut Photo, corners: &[[f64; 2]], left: f64, dice: &mut Dice) {
    let (a, b) = if dice.chance(0.5) { (corners[0], corners[1]) } else { (corners[1], corners[0]) };
    let [dx, dy] = [b[0] - a[0], b[1] - a[1]];
    let end = left * (dx * dx + dy * dy);
    for (x, y, p) in photo.rgb.enumerate_pixels_mut() {
        let along = (f64::from(x) - a[0]) * dx + (f64::from(y) - a[1]) * dy;
        if along > end {
            let stripe = u8::from((x / 7 + y / 11) % 2 == 0) * 25;
            p.0 = [120 + stripe, 70 + stripe, 60];
        }
    }
}

/// True corners of a square of 80 mm where the swatch would lie, 0.1 mm above the table, as the photo shows them.
fn swatch_corners(scene: &Scene) -> Vec<PhotoPoint> {
    let mut other = scene.clone();
    let mut square = card(RulerScale::Unmarked, Body::Plastic);
    square.thickness_mm = scene.ruler.as_ref().map_or(0.1, |r| r.thickness_mm);
    (square.length_mm, square.width_mm) = (80.0, 80.0);
    square.centre_mm = [0.0, 45.0];
    other.ruler = Some(square);
    let truth = other.truth().expect("a scene in range").ruler.expect("a square");
    truth.corners_px.iter().map(|[x, y]| PhotoPoint::new(*x, *y)).collect()
}

/// How much too large the square of [`swatch_corners`] is measured: logarithm of the mean side over the true one.
fn scale_error(map: &PlaneMap, corners: &[PhotoPoint], true_mm: f64) -> Option<f64> {
    let at: Vec<_> = corners.iter().map(|c| map.to_plane(*c)).collect::<Option<_>>()?;
    let sides: f64 = (0..4).map(|k| (at[k].x - at[(k + 1) % 4].x).hypot(at[k].y - at[(k + 1) % 4].y)).sum();
    Some((sides / 4.0 / true_mm).ln())
}

/// What the plane's estimate says about how sure that scale is: a relative standard uncertainty.
fn scale_sigma(plane: &PlaneEstimate, corners: &[PhotoPoint]) -> Option<f64> {
    let mut sum = 0.0;
    for effect in &plane.effects {
        let at = |sign: f64| {
            let start = plane.pose.to_array();
            let pose = Pose::from_array(std::array::from_fn(|i| start[i] + 0.1 * sign * effect.change[i]));
            scale_error(&pose.map(&plane.frame)?, corners, 80.0)
        };
        sum += ((at(1.0)? - at(-1.0)?) / 0.2).powi(2);
    }
    Some(sum.sqrt())
}

/// Errors over photos of one kind.
#[derive(Default)]
struct Score {
    asked: usize,
    errors: Vec<f64>,
    z: Vec<f64>,
    tilt_errors: Vec<f64>,
    marks: Vec<f64>,
}

impl Score {
    fn add(&mut self, scene: &Scene, photo: &Photo, places: Option<Vec<PlacedPoint>>) {
        self.asked += 1;
        let Some(places) = places else { return };
        let prior = camera(photo);
        let Some(plane) = estimate(&ScaleEvidence::Places(&places), &prior, &[]) else { return };
        let corners = swatch_corners(scene);
        let (Some(error), Some(sigma)) = (scale_error(&plane.map, &corners, 80.0), scale_sigma(&plane, &corners))
        else {
            return;
        };
        let truth = scene.truth().expect("a scene in range");
        self.errors.push(error.abs());
        self.z.push(error / sigma);
        self.tilt_errors.push((plane.pose.tilt_deg() - truth.camera.tilt_deg).abs());
        self.marks.push(places.len() as f64);
    }

    /// Share found, median and 95th percentile of the scale's error, share within the stated 95 % interval, root mean
    /// square of error over stated uncertainty, median error of the tilt.
    fn figures(&self) -> [f64; 6] {
        let quantile = |values: &[f64], q: f64| {
            let mut sorted = values.to_vec();
            sorted.sort_by(f64::total_cmp);
            sorted.get(((sorted.len().max(1) - 1) as f64 * q).round() as usize).copied().unwrap_or(f64::NAN)
        };
        let n = self.errors.len() as f64;
        [
            n / self.asked as f64,
            quantile(&self.errors, 0.5),
            quantile(&self.errors, 0.95),
            self.z.iter().filter(|z| z.abs() < 1.96).count() as f64 / n,
            (self.z.iter().map(|z| z * z).sum::<f64>() / n).sqrt(),
            quantile(&self.tilt_errors, 0.5),
        ]
    }

    fn tell(&self, what: &str) -> [f64; 6] {
        let f = self.figures();
        println!(
            "{what}: {} photos, found {:.1} %, scale error median {:.3} % p95 {:.3} %, in interval {:.1} %, rms z {:.2}, \
             tilt error median {:.2} deg, marks {:.0}",
            self.asked,
            100.0 * f[0],
            100.0 * f[1],
            100.0 * f[2],
            100.0 * f[3],
            f[4],
            f[5],
            self.marks.iter().sum::<f64>() / self.marks.len().max(1) as f64
        );
        f
    }
}

#[test]
fn the_card_gives_the_scale_within_its_interval() {
    let mut plain = Score::default();
    let mut shaded = Score::default();
    let mut covered = Score::default();
    for seed in seeds(16) {
        let scene = scene(seed, RulerScale::Card);
        let mut dice = Dice::new(seed ^ 0xCA4D);
        let mut photo = photo(&scene);
        let read = |photo: &_| read_card(photo).ok().map(|card| card.corners);
        plain.add(&scene, &photo, read(&photo));
        shade(&mut photo, &mut dice);
        shaded.add(&scene, &photo, read(&photo));
        let corners = scene.truth().unwrap().ruler.unwrap().corners_px;
        cover(&mut photo, &corners, dice.between(0.35, 0.8), &mut dice);
        covered.add(&scene, &photo, read(&photo));
    }
    for (what, score) in [("card", &plain), ("card in shadow", &shaded), ("card partly covered", &covered)] {
        let [found, median, p95, within, _, tilt] = score.tell(what);
        assert!(found > 0.9, "{what}: {found}");
        assert!(median < 0.002 && p95 < 0.012, "{what}: {median} {p95}");
        assert!(within > 0.85, "{what}: {within}");
        assert!(tilt < 1.0, "{what}: {tilt}");
    }
}

#[test]
fn an_id1_card_gives_the_scale_within_its_interval() {
    let mut score = Score::default();
    for seed in seeds(16) {
        let scene = scene(seed, RulerScale::Id1);
        let photo = photo(&scene);
        score.add(&scene, &photo, read_id1(&photo).ok().map(|card| card.edges));
    }
    let [found, median, p95, within, _, _] = score.tell("ID-1");
    assert!(found > 0.8, "{found}");
    assert!(median < 0.006 && p95 < 0.03, "{median} {p95}");
    assert!(within > 0.85, "{within}");
}

/// Photos without a calibration card: the sample photos, and the sets that are there.
#[test]
fn no_card_is_seen_where_there_is_none() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos");
    let mut paths = folder(&root);
    paths.retain(|p| p.extension().is_some_and(|e| e == "jpg") && !is_of_a_card(p));
    // The photo sets take minutes: with the long runs only.
    let long = std::env::var_os("WALEWISE_SEEDS").and(std::env::var_os("WALEWISE_PHOTOS"));
    for set in long.map(|root| folder(root.as_ref())).unwrap_or_default() {
        paths.extend(folder(&set).into_iter().filter(|p| p.extension().is_some_and(|e| e == "jpg")));
    }
    let (mut cards, mut id1) = (Vec::new(), Vec::new());
    for path in &paths {
        let photo = walewise::photo::decode(&std::fs::read(path).unwrap()).unwrap();
        if read_card(&photo).is_ok() {
            cards.push(path);
        }
        if read_id1(&photo).is_ok() {
            id1.push(path);
        }
    }
    println!("{} photos without a card: {} cards seen, {} ID-1 cards: {id1:?}", paths.len(), cards.len(), id1.len());
    assert!(cards.is_empty(), "{cards:?}");
    // Other cards of that size may lie in a photo: one, and one in fifty photos.
    assert!(id1.len() <= 1 + paths.len() / 50, "{id1:?}");
}

/// Whether a sample photo was made to show the card.
fn is_of_a_card(path: &std::path::Path) -> bool {
    path.file_stem().is_some_and(|s| s.to_string_lossy().contains("calibration-card"))
}

fn folder(path: &std::path::Path) -> Vec<std::path::PathBuf> {
    std::fs::read_dir(path).into_iter().flatten().filter_map(|e| Some(e.ok()?.path())).collect()
}
