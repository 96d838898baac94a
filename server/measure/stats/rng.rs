//! Random numbers that are the same on every machine and for any number of threads.
//!
//! The generator is PCG64 DXSM (O'Neill 2014; numpy's `PCG64DXSM` gives the same numbers), with one stream for each
//! replicate: what a replicate draws depends on its number and on nothing that ran before it. The first state and
//! stream come from SHA-256 over what the numbers are for.

use rand_core::Rng;
use rand_pcg::Pcg64Dxsm;
use sha2::{Digest, Sha256};

/// Odd constant that sets the states of neighbouring streams far apart: 2^128 divided by the golden ratio.
const GOLDEN: u128 = 0x9e37_79b9_7f4a_7c15_f39c_c060_5ced_c835;

/// A family of independent streams of random numbers.
#[derive(Clone, Copy, Debug)]
pub struct Streams {
    state: u128,
    stream: u128,
}

impl Streams {
    /// The family that belongs to these parts; each enters with its length, so that no two lists of parts collide.
    pub fn of(parts: &[&[u8]]) -> Streams {
        let mut hash = Sha256::new();
        for part in parts {
            hash.update((part.len() as u64).to_be_bytes());
            hash.update(part);
        }
        let digest: [u8; 32] = hash.finalize().into();
        let half = |from: usize| {
            digest[from..from + 16].iter().fold(0, |word: u128, &byte| word << 8 | u128::from(byte))
        };
        Streams { state: half(0), stream: half(16) }
    }

    /// Stream `number`.
    pub fn stream(&self, number: u64) -> Stream {
        let number = u128::from(number);
        let state = self.state.wrapping_add(number.wrapping_mul(GOLDEN));
        Stream(Pcg64Dxsm::new(state, self.stream.wrapping_add(number)))
    }
}

/// One stream of random numbers.
#[derive(Clone, Debug)]
pub struct Stream(Pcg64Dxsm);

impl Stream {
    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.0.next_u64()
    }
}

/// A whole number in `0..n` from 64 random bits by multiplication; each has the same chance to within `n / 2^64`.
pub fn below(bits: u64, n: usize) -> usize {
    let scaled = (u128::from(bits) * n as u128) >> 64;
    // Always below n; the fallback is never reached.
    usize::try_from(scaled).unwrap_or(0)
}

/// A number in `[0, 1)` with 53 bits from 64 random bits.
pub fn unit(bits: u64) -> f64 {
    (bits >> 11) as f64 / (1u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_streams_and_lengths_tell_families_apart() {
        let first = |parts: &[&[u8]], n| Streams::of(parts).stream(n).bits();
        assert_eq!(first(&[b"a", b"b"], 0), first(&[b"a", b"b"], 0));
        assert_ne!(first(&[b"a", b"b"], 0), first(&[b"a", b"b"], 1));
        assert_ne!(first(&[b"a", b"b"], 0), first(&[b"ab"], 0));
        assert_ne!(first(&[b"ab", b""], 0), first(&[b"", b"ab"], 0));
    }

    #[test]
    fn bits_become_numbers_in_range() {
        assert_eq!(below(0, 9000), 0);
        assert_eq!(below(u64::MAX, 9000), 8999);
        assert_eq!(unit(0), 0.0);
        assert!(unit(u64::MAX) < 1.0);
    }
}
