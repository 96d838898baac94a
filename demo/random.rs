//! A small counter-based generator (SplitMix64: Steele, Lea & Flood 2014), so that bytes depend on seed and pass alone.

/// A stream of numbers; equal seeds and streams give equal numbers.
#[derive(Clone, Debug)]
pub struct Random {
    state: u64,
}

const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

fn mix(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

impl Random {
    /// Stream number `stream` of `seed`.
    pub fn new(seed: u64, stream: u64) -> Self {
        Self { state: mix(mix(seed).wrapping_add(mix(stream.wrapping_add(GOLDEN)))) }
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(GOLDEN);
        mix(self.state)
    }

    /// Uniform in [0, 1).
    pub fn uniform(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform over 0..`n`; `n` is small.
    pub fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n as u64).unwrap_or(0)
    }

    /// Uniform in [low, high).
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Close to standard normal: the sum of four uniform numbers out of one draw (tails end at 3.5). For noise.
    pub fn rough_normal(&mut self) -> f64 {
        let bits = self.next();
        let sum = (bits & 0xffff) + ((bits >> 16) & 0xffff) + ((bits >> 32) & 0xffff) + (bits >> 48);
        (sum as f64 / 65_536.0 - 2.0) * 1.732_050_807_568_877_2
    }

    /// Standard normal (Box & Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.uniform()));
        radius * libm::cos(std::f64::consts::TAU * self.uniform())
    }

    /// Exponential with mean 1.
    pub fn exponential(&mut self) -> f64 {
        -libm::log(1.0 - self.uniform())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_differ_and_repeat() {
        let draw = |seed, stream| Random::new(seed, stream).next();
        assert_eq!(draw(1, 2), draw(1, 2));
        assert_ne!(draw(1, 2), draw(1, 3));
        assert_ne!(draw(1, 2), draw(2, 2));
        assert_ne!(draw(1, 2), draw(2, 1));
    }

    // Bounds are four standard errors of mean and variance of 100 000 draws.
    #[test]
    fn normals_have_mean_0_and_variance_1() {
        let n = 100_000.0;
        for draw in [Random::normal, Random::rough_normal] {
            let mut random = Random::new(3, 0);
            let (mut sum, mut squares) = (0.0, 0.0);
            for _ in 0..100_000 {
                let x = draw(&mut random);
                sum += x;
                squares += x * x;
            }
            assert!((sum / n).abs() < 0.0127, "{}", sum / n);
            assert!((squares / n - 1.0).abs() < 0.018, "{}", squares / n);
        }
    }
}
