//! Another yarn for a pattern's: what counts is metres, not grams.

use serde::Serialize;

/// Balls of another yarn in place of a pattern's.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Substitution {
    /// Metres the pattern calls for.
    pub metres: f64,
    /// Balls of mine that hold as many metres.
    pub balls: u32,
    /// Balls of mine that weigh as much as the pattern's.
    pub balls_by_mass: u32,
    /// Metres too few (less than 0) or too many if one bought by mass.
    pub metres_off_by_mass: f64,
}

/// How many balls of (grams, metres) replace so many balls of another (grams, metres); all more than 0.
pub fn substitute(pattern_balls: u32, pattern_ball: (f64, f64), my_ball: (f64, f64)) -> Substitution {
    let metres = f64::from(pattern_balls) * pattern_ball.1;
    let grams = f64::from(pattern_balls) * pattern_ball.0;
    let balls_by_mass = whole_balls(grams / my_ball.0);
    Substitution {
        metres,
        balls: whole_balls(metres / my_ball.1),
        balls_by_mass,
        metres_off_by_mass: f64::from(balls_by_mass) * my_ball.1 - metres,
    }
}

/// The whole balls that hold so many; a millionth of a ball is no reason for another.
pub fn whole_balls(balls: f64) -> u32 {
    /// What rounding in the division may add.
    const NOTHING: f64 = 1e-6;
    // Casts saturate.
    (balls - NOTHING).ceil().max(0.0) as u32
}
