//! Compensated sums, so that a result depends neither on the size of the terms nor on the machine.

/// A running sum with Neumaier's compensation (Neumaier 1974, Z. Angew. Math. Mech. 54:39-51). What an addition loses is
/// found without a look at which term is the larger (Knuth 1997, The Art of Computer Programming 2, sec. 4.2.2, theorem
/// B; recalled from memory): it is the same number, exactly.
///
/// Terms are added in the order given; the error stays near one rounding of the result.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sum {
    total: f64,
    lost: f64,
}

impl Sum {
    /// Adds a term.
    #[inline]
    pub fn add(&mut self, term: f64) {
        let total = self.total + term;
        let of_term = total - self.total;
        let of_total = total - of_term;
        self.lost += (self.total - of_total) + (term - of_term);
        self.total = total;
    }

    /// The sum so far.
    pub fn value(self) -> f64 {
        self.total + self.lost
    }
}

/// Compensated sum of all terms, in order.
pub fn sum(terms: impl IntoIterator<Item = f64>) -> f64 {
    let mut sum = Sum::default();
    terms.into_iter().for_each(|t| sum.add(t));
    sum.value()
}

/// Arithmetic mean; `None` of nothing.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| sum(values.iter().copied()) / values.len() as f64)
}

/// Values summed side by side before their sum enters the compensated one.
const STRETCH: usize = 512;
/// Partial sums kept at once: a fixed number, so that wide registers are used and every machine rounds alike.
const LANES: usize = 8;

/// Sum of products of two series, over the length of the shorter: plain in fixed lanes within short stretches,
/// compensated from stretch to stretch.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    sum(a.chunks(STRETCH).zip(b.chunks(STRETCH)).map(|(a, b)| {
        let mut lanes = [0.0; LANES];
        let (a_rows, b_rows) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
        let whole = a_rows.len().min(b_rows.len()) * LANES;
        for (a, b) in a_rows.zip(b_rows) {
            for (lane, (a, b)) in lanes.iter_mut().zip(a.iter().zip(b)) {
                *lane += a * b;
            }
        }
        let rest: f64 = a[whole..].iter().zip(&b[whole..]).map(|(a, b)| a * b).sum();
        lanes.iter().sum::<f64>() + rest
    }))
}

/// Sample standard deviation (divisor n - 1) by two passes with compensation of both; `None` below two values.
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    let mean = mean(values).filter(|_| values.len() > 1)?;
    // The mean is rounded; the second term takes that rounding out again (Chan, Golub & LeVeque 1983, eq. 1.7).
    let squares = sum(values.iter().map(|v| (v - mean) * (v - mean)));
    let rest = sum(values.iter().map(|v| v - mean));
    let n = values.len() as f64;
    Some(((squares - rest * rest / n).max(0.0) / (n - 1.0)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_terms_survive_large_ones() {
        // Neumaier's own example of what plain and Kahan's sums lose.
        assert_eq!(sum([1.0, 1e100, 1.0, -1e100]), 2.0);
        assert_eq!(sum([0.1; 10]), 1.0);
    }

    #[test]
    fn products_of_any_length_are_summed_once() {
        for n in [0_u32, 1, 7, 8, 511, 512, 513, 2000] {
            let ones = vec![1.0; 2100];
            let values: Vec<f64> = (1..=n).map(f64::from).collect();
            let expected = f64::from(n) * f64::from(n + 1) / 2.0;
            assert_eq!((dot(&values, &ones), dot(&ones, &values)), (expected, expected));
        }
    }

    #[test]
    fn nothing_has_no_mean_and_one_value_no_spread() {
        assert_eq!(mean(&[]), None);
        assert_eq!(standard_deviation(&[3.0]), None);
        assert_eq!(standard_deviation(&[1.0, 3.0]), Some(std::f64::consts::SQRT_2));
    }
}
