//! Change points in the mean of a series: PELT, the exact and pruned optimal partitioning.
//!
//! Source: Killick, Fearnhead & Eckley 2012, J. Am. Stat. Assoc. 107:1590-1598 (recalled from memory); cost: sum of squares
//! around each segment's mean. Reference: `ruptures.Pelt(model='l2', min_size=2, jump=1)`.

/// Ends (excluded) of the segments that minimise the sum of squares within segments plus `penalty` for each
/// change; the last is `y.len()`. No segment is shorter than `min_size` (at least 1), unless the whole series is.
pub fn pelt(y: &[f64], min_size: usize, penalty: f64) -> Vec<usize> {
    let n = y.len();
    let min_size = min_size.max(1);
    if n < 2 * min_size {
        return vec![n];
    }
    let cost = SquaresFrom::new(y);
    let mut best = vec![f64::INFINITY; n + 1];
    best[0] = -penalty;
    let mut previous = vec![0; n + 1];
    // A start whose segment is beaten at `s` can still win at ends nearer than min_size behind `s`
    // (where no new segment fits after `s`), so each one is dropped only from `s + min_size` on.
    let mut starts: Vec<(usize, usize)> = vec![];
    for end in min_size..=n {
        let newest = end - min_size;
        if newest == 0 || newest >= min_size {
            starts.push((newest, usize::MAX));
        }
        starts.retain(|&(_, dropped_at)| end < dropped_at);
        for &(start, _) in &starts {
            let total = best[start] + cost.between(start, end) + penalty;
            if total < best[end] {
                best[end] = total;
                previous[end] = start;
            }
        }
        for (start, dropped_at) in &mut starts {
            if *dropped_at == usize::MAX && best[*start] + cost.between(*start, end) > best[end] {
                *dropped_at = end + min_size;
            }
        }
    }
    let mut ends = vec![n];
    let mut end = previous[n];
    while end > 0 {
        ends.push(end);
        end = previous[end];
    }
    ends.reverse();
    ends
}

/// Start of the second of the two segments that minimise the sum of squares around their means; none below two values.
pub fn single(y: &[f64]) -> Option<usize> {
    let cost = SquaresFrom::new(y);
    let total = |at: usize| cost.between(0, at) + cost.between(at, y.len());
    (1..y.len()).min_by(|a, b| total(*a).total_cmp(&total(*b)))
}

/// Sums of squares around the mean of any stretch, from running sums of the series less its mean.
struct SquaresFrom {
    sum: Vec<f64>,
    square: Vec<f64>,
}

impl SquaresFrom {
    fn new(y: &[f64]) -> Self {
        let mean = y.iter().sum::<f64>() / y.len() as f64;
        let (mut sum, mut square) = (vec![0.0], vec![0.0]);
        let (mut s, mut q) = (0.0, 0.0);
        for v in y {
            s += v - mean;
            q += (v - mean) * (v - mean);
            sum.push(s);
            square.push(q);
        }
        Self { sum, square }
    }

    fn between(&self, from: usize, to: usize) -> f64 {
        let s = self.sum[to] - self.sum[from];
        (self.square[to] - self.square[from] - s * s / (to - from) as f64).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Optimal partitioning without any pruning (Jackson et al. 2005), each cost from its own two passes.
    fn unpruned(y: &[f64], min_size: usize, penalty: f64) -> Vec<usize> {
        let n = y.len();
        let cost = |from: usize, to: usize| {
            let mean = y[from..to].iter().sum::<f64>() / (to - from) as f64;
            y[from..to].iter().map(|v| (v - mean) * (v - mean)).sum::<f64>()
        };
        let mut best: Vec<Option<(f64, Vec<usize>)>> = vec![None; n + 1];
        best[0] = Some((0.0, vec![]));
        for end in min_size..=n {
            for start in 0..=end - min_size {
                let Some((before, ends)) = best[start].clone() else { continue };
                let total = before + cost(start, end) + penalty;
                if best[end].as_ref().is_none_or(|(b, _)| total < *b) {
                    best[end] = Some((total, ends.into_iter().chain([end]).collect()));
                }
            }
        }
        best[n].clone().map_or(vec![n], |(_, ends)| ends)
    }

    /// Steps plus a fixed pseudo-random scatter.
    fn series(seed: u64, n: usize) -> Vec<f64> {
        let mut state = seed;
        (0..n)
            .map(|i| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let scatter = (state >> 40) as f64 / 16_777_216.0 - 0.5;
                scatter + if (i / 17) % 3 == 1 { 0.6 } else { 0.0 }
            })
            .collect()
    }

    #[test]
    fn pruning_changes_no_answer() {
        for seed in 1..=12 {
            for min_size in [1, 2, 5] {
                for penalty in [0.05, 0.3, 1.0, 4.0] {
                    let y = series(seed, 80);
                    assert_eq!(
                        pelt(&y, min_size, penalty),
                        unpruned(&y, min_size, penalty),
                        "seed {seed}, min_size {min_size}, penalty {penalty}"
                    );
                }
            }
        }
    }

    #[test]
    fn one_change_is_where_the_best_of_two_segments_part() {
        assert_eq!(single(&[1.0, 1.1, 0.9, 5.0, 5.2]), Some(3));
        assert_eq!((single(&[]), single(&[1.0]), single(&[1.0, 2.0])), (None, None, Some(1)));
        // As PELT has it where it finds one change.
        let y = [1.0, 1.2, 0.8, 1.0, 3.0, 3.3, 2.9];
        assert_eq!(pelt(&y, 1, 1.0), [single(&y).unwrap(), y.len()]);
    }

    #[test]
    fn short_and_level_series_have_one_segment() {
        assert_eq!(pelt(&[], 2, 1.0), [0]);
        assert_eq!(pelt(&[1.0, 9.0, 9.0], 2, 0.1), [3]);
        assert_eq!(pelt(&[4.0; 50], 2, 0.1), [50]);
    }
}
