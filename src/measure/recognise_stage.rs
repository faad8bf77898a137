//! The fabric when nobody says what was knitted: one lead is followed to see where the fabric is, then several places of
//! it are read by themselves, what they may be is followed over the fabric, and the whole of it is looked at.

use super::Setup;
use super::fabric_stage::{self, Followed, View, first_held, put_with_alike};
use super::rivals::{area_mm2, as_rival, over_like_areas, places_differ, same_lattice};
use crate::fabric::{FabricSeed, inside};
use crate::lattice::{self, Decision, Declared, LatticeReading, PhaseBlock, Places, Whole};
use crate::quantity::PlanePoint;
use crate::refusal::{Refusal, RefusalCode};
use crate::side_by_side::map_in_order;

/// Places of one fabric that are read: more say little that is new on a swatch of 10 cm (stated choice).
const PLACES: usize = 5;

/// Distance of places, in sides of what is looked at: Hann windows that overlap by half are nearly independent (Welch 1967).
const APART: f64 = 0.5;

/// A place lies amid the fabric when it has so large a part of the blocks near it that the best place has; a place on a
/// straight edge has half.
const AMID: f64 = 0.55;

/// Fabrics looked at, largest first, of those that do not hold each other's seeds.
const FABRICS: usize = 3;

/// Part of the fabric that the most far-reaching lead was followed over, that another must be followed over as well to say
/// anything of the whole (stated choice).
const MUCH_OF_IT: f64 = 0.4;

/// One fabric: where a lead was followed.
struct Fabric<'a> {
    seed: &'a FabricSeed,
    reading: LatticeReading,
    area_mm2: f64,
}

impl View<'_> {
    /// Recognises what was knitted in the largest fabrics, and follows the lattice of the one that is read.
    pub fn recognise(&self, seeds: &[FabricSeed], setup: &Setup) -> Result<Followed, Refusal> {
        let fabrics = self.fabrics(seeds, setup)?;
        let knitted = |r: &Result<Followed, Refusal>| !matches!(r, Err(e) if e.code == RefusalCode::NotKnit);
        let mut apart: Vec<usize> = Vec::new();
        for (i, fabric) in fabrics.iter().enumerate() {
            if apart.len() < FABRICS && !apart.iter().any(|other| self.holds(&fabrics[*other], fabric.seed)) {
                apart.push(i);
            }
        }
        let read = |i: usize| (fabrics[i].area_mm2, self.recognise_in(&fabrics[i], setup));
        let mut found: Vec<(f64, Result<Followed, Refusal>)> = apart.iter().map(|i| read(*i)).collect();
        // A table that repeats, or a lattice of the fabric that is none of its stitches, hides what is knitted no longer.
        let mut others = (0..fabrics.len()).filter(|i| !apart.contains(i));
        while !found.iter().any(|(_, r)| knitted(r))
            && let Some(other) = others.next()
        {
            found.push(read(other));
        }
        let best = found.iter().position(|(_, r)| r.is_ok());
        if let Some(at) = best
            && let (area, Ok(answer)) = &found[at]
        {
            let contradicts = |(i, (other, r)): (usize, &(f64, Result<Followed, Refusal>))| {
                let larger = i < at;
                i != at && (larger || over_like_areas(*area, *other)) && knitted(r) && !agrees(answer, r)
            };
            if found.iter().enumerate().any(contradicts) {
                return Err(places_differ(found.iter().filter_map(|(area, r)| Some((*area, r.as_ref().ok()?)))));
            }
        }
        let chosen = best.or_else(|| found.iter().position(|(_, r)| knitted(r))).unwrap_or(0);
        let nothing = || Err(Refusal::new(RefusalCode::NotKnit, ""));
        found.into_iter().nth(chosen).map_or_else(nothing, |(_, r)| r)
    }

    /// Where the leads of the seeds can be followed to, largest first; they may be one fabric, read in several ways.
    fn fabrics<'a>(&self, seeds: &'a [FabricSeed], setup: &Setup) -> Result<Vec<Fabric<'a>>, Refusal> {
        let mut first_refusal = None;
        let mut all: Vec<Fabric> = Vec::new();
        let mut leads: Vec<Vec<(&FabricSeed, Decision)>> = Vec::new();
        let lead = |seed: &FabricSeed| lattice::lead(&seed.sheets, &self.declared(setup, seed.centre));
        for (seed, lead) in seeds.iter().zip(map_in_order(seeds, lead)) {
            match lead {
                Ok(lead) => put_with_alike(&mut leads, (seed, lead), |(_, lead)| &lead.basis),
                Err(refusal) => {
                    first_refusal.get_or_insert(refusal);
                }
            }
        }
        let grow = |(_, lead): &(&FabricSeed, Decision)| {
            lattice::grow(self.photo, self.map, lead, self.excluded, self.region, self.windows)
        };
        for alike in leads {
            match first_held(alike, grow) {
                Ok(((seed, _), reading)) => {
                    let area_mm2 = area_mm2(&reading);
                    all.push(Fabric { seed, reading, area_mm2 });
                }
                Err(refusal) => {
                    first_refusal.get_or_insert(refusal);
                }
            }
        }
        all.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
        if all.is_empty() {
            return Err(first_refusal.unwrap_or_else(|| Refusal::new(RefusalCode::NotKnit, "")));
        }
        Ok(all)
    }

    /// Whether a fabric was followed over the place of a seed.
    fn holds(&self, fabric: &Fabric, seed: &FabricSeed) -> bool {
        self.map.to_photo(seed.centre).is_some_and(|p| inside(&fabric.reading.region_px, p))
    }

    /// Reads places all over one fabric, follows what they may be, and decides on the whole that each shows.
    fn recognise_in(&self, fabric: &Fabric, setup: &Setup) -> Result<Followed, Refusal> {
        let seed = fabric.seed;
        let declared = self.declared(setup, seed.centre);
        let mut places = vec![seed.sheets.clone()];
        let others = spread(&fabric.reading.blocks, seed);
        places.extend(map_in_order(others, |at| seed.sheets_at(self.photo, self.map, at, self.excluded)));
        let places = Places::read(&places, &declared)?;
        let mut first_refusal = None;
        let mut followed: Vec<Followed> = Vec::new();
        for lead in places.leads() {
            match self.grow(lead) {
                Ok(reading) => followed.push(Followed::new(lead.clone(), reading)),
                Err(refusal) => {
                    first_refusal.get_or_insert(refusal);
                }
            }
        }
        let most = followed.iter().map(|f| area_mm2(&f.reading)).fold(0.0, f64::max);
        followed.retain(|f| area_mm2(&f.reading) >= MUCH_OF_IT * most);
        let wholes: Vec<Whole> = followed.iter().filter_map(|f| self.whole(f, &declared)).collect();
        if wholes.is_empty() {
            return Err(first_refusal.unwrap_or_else(|| Refusal::new(RefusalCode::NotKnit, "")));
        }
        let decision = lattice::recognise(&places, &wholes, &declared)?;
        let known = followed.into_iter().find(|f| same_lattice(&f.reading.basis, &decision.basis));
        let with_rivals = |refusal: Refusal| match refusal.code {
            RefusalCode::LatticeUnclear if refusal.rivals.is_empty() => {
                refusal.with_rivals(as_rival(&decision).into_iter().chain(decision.rivals.clone()).collect())
            }
            _ => refusal,
        };
        let reading = known.map_or_else(|| self.grow(&decision).map_err(with_rivals), |f| Ok(f.reading))?;
        self.borne_out(Followed::new(decision, reading), setup)
    }

    /// What the whole of the fabric shows that a lattice was followed over.
    fn whole(&self, found: &Followed, declared: &Declared) -> Option<Whole> {
        let even = lattice::straightened(self.photo, self.map, &found.reading, self.excluded)?;
        let light_mm = fabric_stage::light_mm(&found.reading.basis)?;
        lattice::look_over(&even.patch.sheets(light_mm), declared, &found.reading.basis)
    }
}

/// Whether another fabric shows the same counts, if only as its likeliest reading.
fn agrees(answer: &Followed, other: &Result<Followed, Refusal>) -> bool {
    /// What tension varies over a swatch, relatively, as for readings of its places.
    const ONE_READING: f64 = 0.08;
    let counts = match other {
        Ok(found) => found.reading.basis.per_10cm(),
        Err(refusal) => refusal.rivals.first().map(|r| (r.stitches_per_10cm, r.rows_per_10cm)),
    };
    let near = |a: f64, b: f64| (a / b - 1.0).abs() < ONE_READING;
    answer.reading.basis.per_10cm().zip(counts).is_some_and(|((s, r), (t, u))| near(s, t) && near(r, u))
}

/// Places amid the fabric, each as far as possible from the seed and those before it.
fn spread(blocks: &[PhaseBlock], seed: &FabricSeed) -> Vec<PlanePoint> {
    let near = |b: &PhaseBlock| blocks.iter().filter(|o| o.at.distance(b.at) < 0.5 * seed.size_mm).count();
    let counts: Vec<usize> = blocks.iter().map(near).collect();
    let most = counts.iter().copied().max().unwrap_or(0) as f64;
    let amid: Vec<PlanePoint> =
        blocks.iter().zip(&counts).filter(|(_, n)| **n as f64 >= AMID * most).map(|(b, _)| b.at).collect();
    let mut taken = vec![seed.centre];
    while taken.len() < PLACES {
        let distance = |p: &PlanePoint| taken.iter().map(|t| t.distance(*p)).fold(f64::INFINITY, f64::min);
        let Some(next) = amid.iter().max_by(|a, b| distance(a).total_cmp(&distance(b))) else { break };
        if distance(next) < APART * seed.size_mm {
            break;
        }
        taken.push(*next);
    }
    taken.split_off(1)
}
