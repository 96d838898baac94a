//! Least squares with coefficients that may not be negative.
//!
//! The active-set method of Lawson & Hanson 1974 (Solving Least Squares Problems, ch. 23), on the normal equations: the
//! problems here have at most a few dozen columns, scaled to about 1, so squaring the condition costs nothing that
//! shows.

/// How often a column may enter before the search is given up; each lowers the squares, so it never comes near.
const MOST_STEPS: usize = 1000;

/// x >= 0 with the least x'Gx - 2c'x, where `gram` (G) is symmetric, row by row, and `c` is of its size.
pub fn nnls(gram: &[Vec<f64>], c: &[f64]) -> Vec<f64> {
    let n = c.len();
    let mut x = vec![0.0; n];
    let mut free = vec![false; n];
    let largest = c.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
    let tolerance = largest * 1e-13;
    for _ in 0..MOST_STEPS {
        let gain = |j: usize| c[j] - dot(&gram[j], &x);
        let entering = (0..n)
            .filter(|&j| !free[j] && gain(j) > tolerance)
            .max_by(|&a, &b| gain(a).total_cmp(&gain(b)).then(b.cmp(&a)));
        let Some(entering) = entering else { break };
        free[entering] = true;
        loop {
            let solved = solve(gram, c, &free);
            let blocked = (0..n).filter(|&j| free[j] && solved[j] <= 0.0);
            let share = blocked.map(|j| x[j] / (x[j] - solved[j])).fold(f64::INFINITY, f64::min);
            if share.is_infinite() {
                x = solved;
                break;
            }
            // A column that cannot leave zero would be let in for ever.
            let share = if share.is_finite() { share } else { 0.0 };
            for j in 0..n {
                x[j] += share * (solved[j] - x[j]);
                if free[j] && solved[j] <= 0.0 && x[j] <= tolerance * 1e-3 {
                    (x[j], free[j]) = (0.0, false);
                }
            }
        }
        if !free[entering] {
            break;
        }
    }
    x
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The unconstrained solution in the free columns, 0 elsewhere: elimination with the largest pivot.
fn solve(gram: &[Vec<f64>], c: &[f64], free: &[bool]) -> Vec<f64> {
    let columns: Vec<usize> = (0..c.len()).filter(|&j| free[j]).collect();
    let mut rows: Vec<Vec<f64>> =
        columns.iter().map(|&i| columns.iter().map(|&j| gram[i][j]).chain([c[i]]).collect()).collect();
    let k = columns.len();
    for at in 0..k {
        let best = (at..k).max_by(|&a, &b| rows[a][at].abs().total_cmp(&rows[b][at].abs())).unwrap_or(at);
        rows.swap(at, best);
        let pivot = rows[at].clone();
        if pivot[at] == 0.0 {
            continue;
        }
        for row in rows.iter_mut().enumerate().filter(|(r, _)| *r != at).map(|(_, row)| row) {
            let factor = row[at] / pivot[at];
            row.iter_mut().zip(&pivot).for_each(|(v, p)| *v -= factor * p);
        }
    }
    let mut out = vec![0.0; c.len()];
    for (at, &j) in columns.iter().enumerate() {
        out[j] = if rows[at][at] == 0.0 { 0.0 } else { rows[at][k] / rows[at][at] };
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_coefficient_that_would_be_negative_stays_at_zero() {
        // y = (1, 2, 3) on columns (1, 1, 1) and (-1, 0, 1) turned round: the slope cannot be used.
        let gram = vec![vec![3.0, 0.0], vec![0.0, 2.0]];
        assert_eq!(nnls(&gram, &[6.0, -2.0]), [2.0, 0.0]);
        assert_eq!(nnls(&gram, &[6.0, 2.0]), [2.0, 1.0]);
    }

    /// Karush-Kuhn-Tucker: no gain left in a column at zero, none at all in the others.
    #[test]
    fn the_conditions_of_a_minimum_hold() {
        let a = [[1.0, 0.2, 0.5], [0.3, 1.0, 0.9], [0.1, 0.4, 0.7], [0.8, 0.1, 0.3]];
        for y in [[1.0, -2.0, 3.0, 0.5], [-1.0, -1.0, 2.0, 0.1], [0.2, 4.0, -3.0, 1.0]] {
            let gram: Vec<Vec<f64>> =
                (0..3).map(|i| (0..3).map(|j| a.iter().map(|r| r[i] * r[j]).sum()).collect()).collect();
            let c: Vec<f64> = (0..3).map(|i| a.iter().zip(y).map(|(r, y)| r[i] * y).sum()).collect();
            let x = nnls(&gram, &c);
            for j in 0..3 {
                let gain = c[j] - dot(&gram[j], &x);
                assert!(x[j] >= 0.0 && gain < 1e-9 && (x[j] == 0.0 || gain.abs() < 1e-9), "{y:?} {x:?}");
            }
        }
    }
}
