//! Where light does not reach: mean heights around every pixel stand for what surrounds it.

/// Where light does not reach: mean heights around every pixel.
pub(super) struct Hollows {
    near: Vec<f32>,
    wide: Vec<f32>,
    width: usize,
    height: usize,
    yarn_mm: f32,
    /// Step towards the lamp, px.
    step: [isize; 2],
}

impl Hollows {
    /// From the heights (mm) of a picture of this size, with the radii (px) of the near and the wide surroundings and the
    /// step towards the lamp (px).
    pub fn new(
        heights: &[f32],
        [width, height]: [usize; 2],
        radii: [usize; 2],
        yarn_mm: f32,
        step: [isize; 2],
    ) -> Self {
        let [near, wide] = radii.map(|radius| blurred(heights, width, height, radius));
        Self { near, wide, width, height, yarn_mm, step }
    }

    /// No yarn anywhere.
    pub fn none() -> Self {
        Self { near: Vec::new(), wide: Vec::new(), width: 0, height: 0, yarn_mm: 1.0, step: [0, 0] }
    }

    /// Share of the light from all around that reaches a height here: less the deeper it lies below its surroundings.
    pub fn open(&self, index: usize, height: f32) -> f32 {
        let Some(&near) = self.near.get(index) else { return 1.0 };
        let below = ((near - height) / self.yarn_mm).max(0.0);
        let wider = ((self.wide[index] - height) / self.yarn_mm).max(0.0);
        1.0 / (1.0 + 1.4 * below * below + 0.9 * below + 0.35 * wider)
    }

    /// Share of the lamp that reaches a height here past the surroundings towards the lamp.
    pub fn lit(&self, index: usize, [x, y]: [usize; 2], height: f32) -> f32 {
        if self.near.is_empty() {
            return 1.0;
        }
        let tx = (x as isize + self.step[0]).clamp(0, self.width as isize - 1) as usize;
        let ty = (y as isize + self.step[1]).clamp(0, self.height as isize - 1) as usize;
        let towards = self.wide[ty * self.width + tx].max(0.7 * self.near[index]);
        1.0 - (0.55 * (towards - height) / self.yarn_mm).clamp(0.0, 0.85)
    }
}

/// Mean over a square of (2 radius + 1) px, taken twice.
fn blurred(values: &[f32], width: usize, height: usize, radius: usize) -> Vec<f32> {
    let mut result = values.to_vec();
    let mut line = Vec::new();
    for _ in 0..2 {
        for y in 0..height {
            running_mean(&mut result[y * width..(y + 1) * width], radius, &mut line);
        }
        running_mean_down(&mut result, width, height, radius);
    }
    result
}

fn running_mean(values: &mut [f32], radius: usize, line: &mut Vec<f32>) {
    line.clear();
    line.extend_from_slice(values);
    let last = line.len() - 1;
    let scale = 1.0 / (2 * radius + 1) as f32;
    let at = |i: isize| line[i.clamp(0, last as isize) as usize];
    let r = radius as isize;
    let mut sum: f32 = (-r..=r).map(at).sum();
    for (i, value) in values.iter_mut().enumerate() {
        *value = sum * scale;
        sum += at(i as isize + r + 1) - at(i as isize - r);
    }
}

fn running_mean_down(values: &mut [f32], width: usize, height: usize, radius: usize) {
    let source = values.to_vec();
    let scale = 1.0 / (2 * radius + 1) as f32;
    let r = radius as isize;
    let row = |j: isize| {
        let j = j.clamp(0, height as isize - 1) as usize;
        &source[j * width..(j + 1) * width]
    };
    let mut sums = vec![0.0_f32; width];
    for j in -r..=r {
        sums.iter_mut().zip(row(j)).for_each(|(sum, v)| *sum += v);
    }
    for j in 0..height {
        let line = &mut values[j * width..(j + 1) * width];
        line.iter_mut().zip(&sums).for_each(|(value, sum)| *value = sum * scale);
        let (enter, leave) = (row(j as isize + r + 1), row(j as isize - r));
        for x in 0..width {
            sums[x] += enter[x] - leave[x];
        }
    }
}
