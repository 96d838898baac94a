//! Ranks without false order: who is not shown to differ shares ranks.
//!
//! The rank of each is a span: from 1 + those shown better to k - those shown worse. Whoever is not shown to differ from
//! a neighbour has a span that overlaps theirs, and is listed as tied.

use serde::Serialize;

/// Which of two is better.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Order {
    /// The first.
    First,
    /// The second.
    Second,
    /// Not shown.
    Open,
}

/// The ranks that one can have, both from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Rank {
    /// If all that is open goes its way.
    pub best: usize,
    /// If none does.
    pub worst: usize,
}

impl Rank {
    /// Whether others share it.
    pub fn tied(self) -> bool {
        self.best != self.worst
    }
}

/// Ranks of `k` things; `order(i, j)` with i < j says which is shown better.
pub fn ranks(k: usize, order: impl Fn(usize, usize) -> Order) -> Vec<Rank> {
    let mut out = vec![Rank { best: 1, worst: k }; k];
    for i in 0..k {
        for j in i + 1..k {
            let (better, worse) = match order(i, j) {
                Order::First => (i, j),
                Order::Second => (j, i),
                Order::Open => continue,
            };
            out[worse].best += 1;
            out[better].worst -= 1;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shown_differences_part_and_open_ones_tie() {
        let values = [10.0, 20.0, 20.4, 40.0];
        let order = |i: usize, j: usize| match values[i] - values[j] {
            d if d > 1.0 => Order::First,
            d if d < -1.0 => Order::Second,
            _ => Order::Open,
        };
        let found = ranks(4, order);
        let span = |best, worst| Rank { best, worst };
        assert_eq!(found, [span(4, 4), span(2, 3), span(2, 3), span(1, 1)]);
        assert!(found[1].tied() && !found[0].tied());
        assert!(ranks(3, |_, _| Order::Open).iter().all(|r| *r == span(1, 3)));
        assert!(ranks(0, |_, _| Order::Open).is_empty());
    }
}
