//! Random draws from a seed, the same on every machine.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};

/// A stream of random numbers; streams of one seed with different purposes do not disturb each other.
pub(super) struct Draw(ChaCha8Rng);

impl Draw {
    pub fn new(seed: u64, purpose: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(purpose);
        Self(rng)
    }

    /// Evenly in 0..1.
    pub fn share(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// True with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.share() < probability
    }

    /// Normal with mean 0 and standard deviation 1.
    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Normal as for [`Draw::normal`], in single precision.
    pub fn normal_f32(&mut self) -> f32 {
        StandardNormal.sample(&mut self.0)
    }

    /// One of the list's elements, each as likely as the next; the list must not be empty.
    pub fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        let index = (self.share() * list.len() as f64) as usize;
        list[index.min(list.len() - 1)]
    }
}
