//! Where the camera sees a point of the scene, and which point of a plane a pixel sees.

use super::scene::Camera;

/// Diagonal of the 35 mm film frame (36 mm × 24 mm), mm: the 35 mm equivalent focal length refers to it.
const FILM_DIAGONAL_MM: f64 = 43.266_615_305_567_87;

/// Entries of the table that takes the distortion away; linear between them the error stays below 1e-5 px at 12 MP.
const UNDISTORT_STEPS: usize = 4096;

/// Points farther out than this many half-diagonals are not drawn; below it the distortion grows steadily for every
/// `k1` in range.
const FARTHEST: f64 = 1.5;

/// A camera ready to project.
pub(super) struct View {
    /// Focal length, px.
    pub focal_px: f64,
    /// Middle of the picture, px.
    pub centre: [f64; 2],
    /// Half the picture's diagonal, px.
    pub radius: f64,
    /// Radial distortion over `radius`.
    pub k1: f64,
    rotation: [[f64; 3]; 3],
    target: [f64; 2],
    distance: f64,
    undistort: Vec<f64>,
    position: [f64; 3],
}

/// A line of sight: camera position and direction in table coordinates (x, y, height).
pub(super) struct Sight {
    origin: [f64; 3],
    /// Change of (x, y) for each millimetre of height.
    slope: [f64; 2],
}

impl Sight {
    /// Where the line of sight passes a height above the table, mm.
    pub fn at_height(&self, height: f64) -> [f64; 2] {
        let rise = height - self.origin[2];
        [self.origin[0] + self.slope[0] * rise, self.origin[1] + self.slope[1] * rise]
    }
}

impl View {
    pub fn new(camera: &Camera) -> Self {
        let (w, h) = (f64::from(camera.width_px), f64::from(camera.height_px));
        let diagonal = w.hypot(h);
        let (sp, cp) = camera.pitch_deg.to_radians().sin_cos();
        let (sy, cy) = camera.yaw_deg.to_radians().sin_cos();
        let (sr, cr) = camera.roll_deg.to_radians().sin_cos();
        let pitch = [[1.0, 0.0, 0.0], [0.0, cp, -sp], [0.0, sp, cp]];
        let yaw = [[cy, 0.0, sy], [0.0, 1.0, 0.0], [-sy, 0.0, cy]];
        let roll = [[cr, -sr, 0.0], [sr, cr, 0.0], [0.0, 0.0, 1.0]];
        let rotation = product(&roll, &product(&pitch, &yaw));
        let d = camera.distance_mm;
        let [tx, ty] = camera.target_mm;
        Self {
            focal_px: camera.focal_length_35mm * diagonal / FILM_DIAGONAL_MM,
            centre: [w / 2.0, h / 2.0],
            radius: diagonal / 2.0,
            k1: camera.k1,
            rotation,
            // The camera sits `distance` back along its own axis, the third row of the rotation.
            position: [tx - rotation[2][0] * d, ty - rotation[2][1] * d, rotation[2][2] * d],
            target: camera.target_mm,
            distance: camera.distance_mm,
            undistort: undistortion(camera.k1),
        }
    }

    /// Angle between the optical axis and the table's normal, degrees.
    pub fn tilt_deg(&self) -> f64 {
        self.rotation[2][2].clamp(-1.0, 1.0).acos().to_degrees()
    }

    /// Direction in which the camera looks down the table: degrees in the table, 0 right, 90 down.
    pub fn azimuth_deg(&self) -> f64 {
        self.rotation[2][1].atan2(self.rotation[2][0]).to_degrees()
    }

    /// Height of the camera above the table, mm.
    pub fn height_mm(&self) -> f64 {
        self.position[2]
    }

    fn camera_coordinates(&self, x: f64, y: f64, height: f64) -> [f64; 3] {
        let p = [x - self.target[0], y - self.target[1], -height];
        let r = &self.rotation;
        let along = |row: &[f64; 3]| row[0] * p[0] + row[1] * p[1] + row[2] * p[2];
        [along(&r[0]), along(&r[1]), along(&r[2]) + self.distance]
    }

    /// The photo point of a point of the scene; `None` behind the camera or far outside the picture.
    pub fn project(&self, x: f64, y: f64, height: f64) -> Option<[f64; 2]> {
        let [cx, cy, depth] = self.camera_coordinates(x, y, height);
        if depth < 1.0 {
            return None;
        }
        let (u, v) = (self.focal_px * cx / depth, self.focal_px * cy / depth);
        let r2 = (u * u + v * v) / (self.radius * self.radius);
        if r2 > FARTHEST * FARTHEST {
            return None;
        }
        let grow = 1.0 + self.k1 * r2;
        Some([self.centre[0] + u * grow, self.centre[1] + v * grow])
    }

    /// Pixels per millimetre at a point of the scene, distortion aside.
    pub fn px_per_mm(&self, x: f64, y: f64, height: f64) -> f64 {
        self.focal_px / self.camera_coordinates(x, y, height)[2].max(1.0)
    }

    /// A direction (x, y on the table and up) as the camera sees it: right, down, towards the camera.
    pub fn direction(&self, [x, y, up]: [f64; 3]) -> [f32; 3] {
        let r = &self.rotation;
        let along = |row: &[f64; 3]| (row[0] * x + row[1] * y - row[2] * up) as f32;
        [along(&r[0]), along(&r[1]), -along(&r[2])]
    }

    /// Unit vector from what a pixel shows back to the camera: right, down, towards the camera (distortion aside).
    pub fn back(&self, [x, y]: [usize; 2]) -> [f32; 3] {
        let right = ((self.centre[0] - x as f64) / self.focal_px) as f32;
        let down = ((self.centre[1] - y as f64) / self.focal_px) as f32;
        let size = (right * right + down * down + 1.0).sqrt();
        [right / size, down / size, 1.0 / size]
    }

    /// The line of sight of a photo point.
    pub fn sight(&self, px: f64, py: f64) -> Sight {
        let (dx, dy) = (px - self.centre[0], py - self.centre[1]);
        let r2 = (dx * dx + dy * dy) / (self.radius * self.radius);
        let place = (r2 / (FARTHEST * FARTHEST)).min(1.0) * (UNDISTORT_STEPS - 1) as f64;
        let lower = (place as usize).min(UNDISTORT_STEPS - 2);
        let part = place - lower as f64;
        let shrink = self.undistort[lower] * (1.0 - part) + self.undistort[lower + 1] * part;
        let ray = [dx * shrink / self.focal_px, dy * shrink / self.focal_px, 1.0];
        let r = &self.rotation;
        let turned = |i: usize| r[0][i] * ray[0] + r[1][i] * ray[1] + r[2][i] * ray[2];
        // Heights grow towards the camera, the third axis of the rotation away from it. A line of sight that does not
        // go down to the table (beyond the horizon) is bent to one that hardly does.
        let down = turned(2).max(1e-3);
        Sight { origin: self.position, slope: [-turned(0) / down, -turned(1) / down] }
    }

    /// Homography from the plane at `height` (table mm) to undistorted px, row by row, last element 1.
    pub fn homography(&self, height: f64) -> [[f64; 3]; 3] {
        let r = &self.rotation;
        let k = [[self.focal_px, 0.0, self.centre[0]], [0.0, self.focal_px, self.centre[1]], [0.0, 0.0, 1.0]];
        let offset = |i: usize| {
            let turned = r[i][0] * -self.target[0] + r[i][1] * -self.target[1] + r[i][2] * -height;
            turned + if i == 2 { self.distance } else { 0.0 }
        };
        let pose = [0, 1, 2].map(|i| [r[i][0], r[i][1], offset(i)]);
        let h = product(&k, &pose);
        let last = h[2][2];
        h.map(|row| row.map(|v| v / last))
    }
}

fn product(a: &[[f64; 3]; 3], b: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let cell = |i: usize, j: usize| (0..3).map(|k| a[i][k] * b[k][j]).sum();
    [0, 1, 2].map(|i| [0, 1, 2].map(|j| cell(i, j)))
}

/// Undistorted over distorted radius, at equal steps of the squared distorted radius (Newton's method).
fn undistortion(k1: f64) -> Vec<f64> {
    let solve = |step: usize| {
        let distorted = FARTHEST * (step as f64 / (UNDISTORT_STEPS - 1) as f64).sqrt();
        if distorted == 0.0 {
            return 1.0;
        }
        let mut r = distorted;
        for _ in 0..30 {
            let slope = (1.0 + 3.0 * k1 * r * r).max(0.1);
            r = (r - (r * (1.0 + k1 * r * r) - distorted) / slope).clamp(0.0, 2.0);
        }
        r / distorted
    };
    (0..UNDISTORT_STEPS).map(solve).collect()
}
