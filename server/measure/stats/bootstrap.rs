//! The stationary bootstrap: blocks with random starts and geometric lengths, wrapped around the end.
//!
//! Politis & Romano 1994, J. Am. Stat. Assoc. 89:1303-1313. Drawing a block's length at once is the same as asking after
//! each value whether the block ends, and lets sums over a block come from prefix sums.

use super::order::{Share, type_7_position};
use super::rng::{Stream, below, unit};
use std::ops::Range;

/// Cells of the guide table: a length is looked up among few candidates.
const CELLS: usize = 4096;

/// Bits of a random word that the guide does not use.
const CELL_SHIFT: u32 = 64 - CELLS.ilog2();

/// Geometric block lengths with a given mean, by inversion of their distribution.
#[derive(Clone, Debug)]
pub struct Lengths {
    /// `longer[k]`: chance that a block is longer than `k + 1`, falling; ends with 0.
    longer: Vec<f64>,
    /// For each cell of `[0, 1)`: how many of `longer` lie above the cell's upper end.
    guide: Vec<usize>,
}

impl Lengths {
    /// Lengths of mean `mean` (1 or below: single values) for a series of `n`; longer blocks than `n` are cut to it.
    pub fn new(mean: f64, n: usize) -> Lengths {
        let goes_on = 1.0 - 1.0 / mean.max(1.0);
        let mut longer = Vec::new();
        let mut chance = goes_on;
        while longer.len() + 1 < n && chance > f64::EPSILON / 2.0 {
            longer.push(chance);
            chance *= goes_on;
        }
        longer.push(0.0);
        let cells = CELLS as f64;
        let above = |edge: f64| longer.partition_point(|&chance| chance > edge);
        let guide = (0..=CELLS).map(|cell| above(cell as f64 / cells)).collect();
        Lengths { longer, guide }
    }

    /// The length that belongs to 64 random bits.
    fn draw(&self, bits: u64) -> usize {
        let u = unit(bits);
        let cell = usize::try_from(bits >> CELL_SHIFT).unwrap_or(0);
        let (from, to) = (self.guide[cell + 1], self.guide[cell]);
        1 + from + self.longer[from..to].partition_point(|&chance| chance > u)
    }
}

/// Draws one resample of a series of `n` values as blocks: `visit` gets ranges of indices, in order, whose lengths add
/// up to `n`. A block that runs past the end goes on at the start, as two ranges.
pub fn resample(n: usize, lengths: &Lengths, random: &mut Stream, mut visit: impl FnMut(Range<usize>)) {
    let mut left = n;
    while left > 0 {
        let start = below(random.bits(), n);
        let length = lengths.draw(random.bits()).min(left);
        let end = start + length;
        if end <= n {
            visit(start..end);
        } else {
            visit(start..n);
            visit(0..end - n);
        }
        left -= length;
    }
}

/// Percentile interval: the type 7 quantiles of the replicates at `(1 - level) / 2` from both ends. Rearranges them.
/// `None` of nothing or when a replicate is not a number.
pub fn percentile_interval(replicates: &mut [f64], level: Share) -> Option<(f64, f64)> {
    if replicates.iter().any(|r| r.is_nan()) {
        return None;
    }
    let end = |parts| Share { parts, of: 2 * level.of };
    let low = select_quantile(replicates, end(level.of - level.parts))?;
    let high = select_quantile(replicates, end(level.of + level.parts))?;
    Some((low, high))
}

/// Type 7 quantile of values in any order, which it rearranges.
fn select_quantile(values: &mut [f64], share: Share) -> Option<f64> {
    let (lower, way) = type_7_position(values.len(), share);
    if lower >= values.len() {
        return None;
    }
    let (_, &mut low, above) = values.select_nth_unstable_by(lower, f64::total_cmp);
    let high = above.iter().copied().min_by(f64::total_cmp).unwrap_or(low);
    Some(low + (high - low) * (f64::from(way) / f64::from(share.of)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::order::quantile;
    use crate::stats::rng::Streams;

    #[test]
    fn lengths_are_those_of_a_plain_search() {
        let mut random = Streams::of(&[b"lengths"]).stream(0);
        for mean in [0.5, 1.0, 2.5, 60.0, 400.0] {
            let lengths = Lengths::new(mean, 1000);
            for bits in (0..5000).map(|_| random.bits()).chain([0, 1 << 11, u64::MAX]) {
                let plain = 1 + lengths.longer.iter().filter(|&&chance| chance > unit(bits)).count();
                assert_eq!(lengths.draw(bits), plain, "mean {mean}, bits {bits}");
            }
        }
    }

    #[test]
    fn mean_length_is_the_one_asked_for() {
        let mut random = Streams::of(&[b"mean length"]).stream(0);
        let lengths = Lengths::new(60.0, 1_000_000);
        let draws = 100_000;
        let total: usize = (0..draws).map(|_| lengths.draw(random.bits())).sum();
        let mean = total as f64 / f64::from(draws);
        // Standard error of the mean of geometric lengths: sqrt(b (b - 1) / draws) = 0.19.
        assert!((mean - 60.0).abs() < 4.0 * 0.19, "{mean}");
    }

    #[test]
    fn a_resample_has_n_values_from_the_series() {
        let lengths = Lengths::new(7.0, 100);
        let mut seen = 0;
        resample(100, &lengths, &mut Streams::of(&[b"n"]).stream(3), |block| {
            assert!(block.start < block.end && block.end <= 100, "{block:?}");
            seen += block.len();
        });
        assert_eq!(seen, 100);
        resample(0, &lengths, &mut Streams::of(&[b"n"]).stream(3), |_| seen += 1);
        assert_eq!(seen, 100);
    }

    #[test]
    fn percentile_limits_are_type_7_quantiles() {
        let mut random = Streams::of(&[b"limits"]).stream(0);
        let mut values: Vec<f64> = (0..2000).map(|_| unit(random.bits())).collect();
        let mut sorted = values.clone();
        sorted.sort_by(f64::total_cmp);
        let expected = quantile(&sorted, Share::permille(25)).zip(quantile(&sorted, Share::permille(975)));
        assert_eq!(percentile_interval(&mut values, Share::permille(950)), expected);
        assert_eq!(percentile_interval(&mut [1.0, f64::NAN], Share::permille(950)), None);
    }
}
