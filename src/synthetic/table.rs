//! What the swatch lies on.

use super::noise;
use super::scene::Table;

/// Light that the table sends back at a place (mm), linear red, green, blue; `soft` is the size of a sample, mm.
pub(super) fn colour(table: &Table, [x, y]: [f64; 2], soft: f64, salt: u32) -> [f32; 3] {
    let (u, v) = (x as f32, y as f32);
    match table {
        Table::Plain(base) => shade(base, 0.97 + 0.06 * noise::smooth(u * 0.8, v * 0.8, salt)),
        Table::Wood(base) => wood(base, u, v, salt),
        Table::Cloth(base) => woven(base, [u, v], 0.8, soft as f32, salt),
        Table::Weave(base) => woven(base, [u, v], 2.6, soft as f32, salt),
        Table::Mat(base) => mat(base, x, y, soft, salt),
        Table::Bricks(base) => bricks(base, [u, v], soft as f32, salt),
        Table::Dots(base) => dots(base, [u, v], soft as f32, salt),
    }
}

fn shade(base: &[f64; 3], factor: f32) -> [f32; 3] {
    base.map(|c| c as f32 * factor)
}

/// Planks of 90 mm with a dark gap, and grain along them.
fn wood(base: &[f64; 3], u: f32, v: f32, salt: u32) -> [f32; 3] {
    let plank = (v / 90.0).floor();
    let own = salt ^ (plank as i32 as u32).wrapping_mul(977);
    let bend = 6.0 * noise::smooth(u * 0.012, v * 0.03, own);
    let broad = noise::smooth(u * 0.01, (v + bend) * 0.35, own ^ 1);
    let fine = noise::smooth(u * 0.06, (v + bend) * 2.4, own ^ 2);
    let gap = ((v - plank * 90.0 - 0.4).abs() < 0.4) as u8 as f32;
    let plank_tone = 0.85 + 0.3 * noise::cell(plank as i32, 3, salt);
    let factor = plank_tone * (0.62 + 0.5 * broad + 0.28 * fine) * (1.0 - 0.7 * gap);
    let warm = [1.0, 0.96 + 0.06 * broad, 0.9 + 0.12 * fine];
    let c = shade(base, factor);
    [c[0] * warm[0], c[1] * warm[1], c[2] * warm[2]]
}

/// A plain weave with threads of this width (mm), thick and thin.
fn woven(base: &[f64; 3], [u, v]: [f32; 2], thread_mm: f32, soft: f32, salt: u32) -> [f32; 3] {
    let (a, b) = (u / thread_mm, v / thread_mm);
    let over = (a.floor() as i32 + b.floor() as i32).rem_euclid(2) == 0;
    let across = if over { b - b.floor() } else { a - a.floor() } * 2.0 - 1.0;
    let thread = if over { noise::cell(b.floor() as i32, 1, salt) } else { noise::cell(a.floor() as i32, 2, salt) };
    let slub = noise::smooth(u * if over { 0.15 } else { 1.2 }, v * if over { 1.2 } else { 0.15 }, salt ^ 9);
    // Threads narrower than two samples blur into their mean.
    let detail = (thread_mm / (2.0 * soft)).clamp(0.0, 1.0);
    shade(base, 1.0 + detail * (0.12 - 0.35 * across * across) + 0.2 * (thread - 0.5) + 0.3 * (slub - 0.5))
}

/// Lines every 10 mm, thicker every 50 mm, thinner in between.
fn mat(base: &[f64; 3], x: f64, y: f64, soft: f64, salt: u32) -> [f32; 3] {
    let line = |t: f64| {
        let index = (t / 10.0).round();
        let half = if (index as i64).rem_euclid(5) == 0 { 0.28 } else { 0.14 };
        let off = (t - index * 10.0).abs();
        (((half + soft / 2.0 - off) / soft).clamp(0.0, 1.0) * (2.0 * half / soft).min(1.0)) as f32
    };
    let ink = 0.7 * line(x).max(line(y));
    let ground = shade(base, 0.9 + 0.2 * noise::smooth(x as f32 * 2.0, y as f32 * 2.0, salt));
    ground.map(|c| c * (1.0 - ink) + 0.55 * ink)
}

/// Bricks of 24 mm by 8 mm, each row moved on by half a brick, with light mortar of 1.2 mm between.
fn bricks(base: &[f64; 3], [u, v]: [f32; 2], soft: f32, salt: u32) -> [f32; 3] {
    let row = (v / 8.0).floor();
    let along = u / 24.0 + 0.5 * row.rem_euclid(2.0);
    let brick = along.floor();
    let to_edge = |share: f32, size: f32| (share - share.floor()).min(1.0 - (share - share.floor())) * size;
    let off = to_edge(along, 24.0).min(to_edge(v / 8.0, 8.0));
    let mortar = ((0.6 - off) / soft + 0.5).clamp(0.0, 1.0);
    let tone = 0.75 + 0.5 * noise::cell(brick as i32, row as i32, salt);
    let rough = 0.9 + 0.2 * noise::smooth(u * 1.5, v * 1.5, salt);
    shade(base, tone * rough).map(|c| c * (1.0 - mortar) + 0.6 * mortar)
}

/// Dots of 3 mm every 6 mm, every second row moved on by half.
fn dots(base: &[f64; 3], [u, v]: [f32; 2], soft: f32, salt: u32) -> [f32; 3] {
    let row = (v / 6.0).round();
    let along = u / 6.0 + 0.5 * row.rem_euclid(2.0);
    let off = (6.0 * (along - along.round())).hypot(v - 6.0 * row);
    let ink = ((1.5 - off) / soft + 0.5).clamp(0.0, 1.0);
    let ground = 0.62 + 0.06 * noise::smooth(u * 1.2, v * 1.2, salt);
    base.map(|c| c as f32 * ink + ground * (1.0 - ink))
}
