//! Order statistics: quantiles of type 7 with ranks in whole numbers.

/// A share as a fraction of whole numbers, so that `n * share` is exact (12000 * (1 - 0.99) is not).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    /// Parts taken.
    pub parts: u32,
    /// Out of so many; not zero.
    pub of: u32,
}

impl Share {
    /// `parts` per thousand.
    pub const fn permille(parts: u32) -> Share {
        Share { parts, of: 1000 }
    }

    /// `n * share` as whole part and remainder (in units of `1 / of`), exact for shares up to 1.
    pub fn of_count(self, n: usize) -> (usize, u32) {
        let of = self.of.max(1) as usize;
        let parts = self.parts as usize;
        // Taken apart, so that the product of n and parts is never needed.
        let rest = n % of * parts;
        (n / of * parts + rest / of, u32::try_from(rest % of).unwrap_or(0))
    }

    /// As a number.
    pub fn value(self) -> f64 {
        f64::from(self.parts) / f64::from(self.of.max(1))
    }
}

/// Position of the type 7 quantile in `n` ascending values: index of the lower neighbour, counted from 0, and the
/// way to the next in units of `1 / share.of` (Hyndman & Fan 1996, Am. Stat. 50:361-365). `n` is not zero.
pub fn type_7_position(n: usize, share: Share) -> (usize, u32) {
    share.of_count(n.saturating_sub(1))
}

/// Type 7 quantile of ascending values (numpy's `linear`); `None` of nothing.
pub fn quantile(ascending: &[f64], share: Share) -> Option<f64> {
    let (lower, way) = type_7_position(ascending.len(), share);
    let low = *ascending.get(lower)?;
    let Some(&high) = ascending.get(lower + 1).filter(|_| way > 0) else {
        return Some(low);
    };
    Some(low + (high - low) * (f64::from(way) / f64::from(share.of)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_exact() {
        // In doubles 12000 * (1 - 0.99) is 120.00000000000011, whose ceiling is 121.
        assert_eq!(Share::permille(10).of_count(12_000), (120, 0));
        assert_eq!(Share::permille(1).of_count(3571), (3, 571));
        assert_eq!(Share::permille(1000).of_count(usize::MAX), (usize::MAX, 0));
    }

    #[test]
    fn quantiles_interpolate_between_neighbours() {
        let values = [1.0, 2.0, 4.0, 8.0];
        assert_eq!(quantile(&values, Share::permille(0)), Some(1.0));
        assert_eq!(quantile(&values, Share::permille(500)), Some(3.0));
        assert_eq!(quantile(&values, Share::permille(1000)), Some(8.0));
        assert_eq!(quantile(&[], Share::permille(500)), None);
    }
}
