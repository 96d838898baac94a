//! Which of several groups stands out: Mandel's h and k, Cochran's and Grubbs' tests (ISO 5725-2:2019, clause 7.3).
//!
//! h_i = (m_i - mean of m) / s(m) over the p group means and k_i = s_i / sqrt(mean of s_i^2) are looked at; Cochran's C =
//! max s_i^2 / sum s_i^2 asks whether one group scatters too much, Grubbs' G = |m_i - mean| / s(m) whether one mean lies
//! too far off. Critical values in closed form (Wilrich 2013, AStA Adv. Stat. Anal. 97:1-10): those of h and k are for
//! each group by itself; those of Cochran and Grubbs are Bonferroni bounds for the largest of p, up to 0.001 above
//! the tables of the standard. What stands out is said, never deleted.

use super::distributions::{f_quantile, t_quantile};
use super::sum::{mean, sum};

/// Mandel's statistics, a value a group.
#[derive(Clone, Debug, PartialEq)]
pub struct Mandel {
    /// Consistency of means between groups; 0 everywhere where all means are equal.
    pub h: Vec<f64>,
    /// Consistency of spreads within groups; `None` for a group with a single value.
    pub k: Vec<Option<f64>>,
}

/// Mandel's h and k. `None` below two groups, or where one is empty.
pub fn mandel<G: AsRef<[f64]>>(groups: &[G]) -> Option<Mandel> {
    let means = means(groups)?;
    let centre = mean(&means)?;
    let spread = deviation(&means)?;
    let h = means.iter().map(|m| if spread > 0.0 { (m - centre) / spread } else { 0.0 }).collect();
    let variances: Vec<Option<f64>> =
        groups.iter().map(|group| deviation(group.as_ref()).map(|s| s * s)).collect();
    let pooled = mean(&variances.iter().flatten().copied().collect::<Vec<f64>>()).filter(|v| *v > 0.0);
    let k = variances.iter().map(|v| Some((v.as_ref()? / pooled?).sqrt())).collect();
    Some(Mandel { h, k })
}

/// Critical |h| at significance `alpha` for `p` groups. `None` below three: h is then +-1/sqrt(2) whatever happens.
pub fn h_limit(p: usize, alpha: f64) -> Option<f64> {
    let groups = p as f64;
    let t = t_quantile(1.0 - alpha / 2.0, groups - 2.0);
    (p >= 3).then(|| (groups - 1.0) * t / (groups * (t * t + groups - 2.0)).sqrt())
}

/// Critical k at significance `alpha` for `p` groups of `n` values. `None` below two of either.
pub fn k_limit(p: usize, n: usize, alpha: f64) -> Option<f64> {
    let (groups, values) = (p as f64, n as f64);
    if p < 2 || n < 2 {
        return None;
    }
    let f = f_quantile(1.0 - alpha, values - 1.0, (groups - 1.0) * (values - 1.0));
    Some((groups * f / (f + groups - 1.0)).sqrt())
}

/// A group that stands out most, and by how much.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// Its place among the groups.
    pub at: usize,
    /// The test's statistic.
    pub statistic: f64,
}

/// Cochran's C and the group it belongs to. `None` where a group has a single value, or none has a spread.
pub fn cochran<G: AsRef<[f64]>>(groups: &[G]) -> Option<Extreme> {
    let variances =
        groups.iter().map(|group| deviation(group.as_ref()).map(|s| s * s)).collect::<Option<Vec<f64>>>()?;
    let all = sum(variances.iter().copied());
    let (at, largest) = largest(&variances)?;
    (all > 0.0 && variances.len() > 1).then(|| Extreme { at, statistic: largest / all })
}

/// Critical C at significance `alpha` for `p` groups of `n` values. `None` below two of either.
pub fn cochran_limit(p: usize, n: usize, alpha: f64) -> Option<f64> {
    let (groups, values) = (p as f64, n as f64);
    if p < 2 || n < 2 {
        return None;
    }
    let f = f_quantile(1.0 - alpha / groups, values - 1.0, (groups - 1.0) * (values - 1.0));
    Some(f / (f + groups - 1.0))
}

/// Grubbs' G of the value farthest from the mean. `None` below three values, or where all are equal.
pub fn grubbs(values: &[f64]) -> Option<Extreme> {
    let centre = mean(values)?;
    let spread = deviation(values).filter(|s| *s > 0.0 && values.len() > 2)?;
    let (at, distance) = largest(&values.iter().map(|x| (x - centre).abs()).collect::<Vec<f64>>())?;
    Some(Extreme { at, statistic: distance / spread })
}

/// Critical G, two-sided at significance `alpha`, for `n` values. `None` below three.
pub fn grubbs_limit(n: usize, alpha: f64) -> Option<f64> {
    let values = n as f64;
    let t = t_quantile(1.0 - alpha / (2.0 * values), values - 2.0);
    (n >= 3).then(|| (values - 1.0) / values.sqrt() * (t * t / (values - 2.0 + t * t)).sqrt())
}

fn means<G: AsRef<[f64]>>(groups: &[G]) -> Option<Vec<f64>> {
    let means = groups.iter().map(|group| mean(group.as_ref())).collect::<Option<Vec<f64>>>()?;
    (means.len() > 1).then_some(means)
}

/// Standard deviation; `None` below two values.
fn deviation(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let squares = sum(values.iter().map(|x| (x - centre) * (x - centre)));
    (values.len() > 1).then(|| (squares / (values.len() as f64 - 1.0)).sqrt())
}

fn largest(values: &[f64]) -> Option<(usize, f64)> {
    values.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_few_groups_have_no_limits() {
        assert_eq!((h_limit(2, 0.05), k_limit(1, 3, 0.05), grubbs_limit(2, 0.05)), (None, None, None));
        assert_eq!((cochran_limit(3, 1, 0.05), grubbs(&[1.0, 2.0])), (None, None));
        assert_eq!(mandel(&[[1.0, 2.0]]), None);
    }

    #[test]
    fn equal_groups_stand_out_nowhere() {
        let m = mandel(&[[1.0, 3.0], [1.0, 3.0], [1.0, 3.0]]).unwrap();
        assert_eq!((m.h, m.k), (vec![0.0; 3], vec![Some(1.0); 3]));
        assert_eq!(grubbs(&[2.0, 2.0, 2.0]), None);
        assert_eq!(cochran(&[[1.0, 1.0], [1.0, 1.0]]), None);
    }

    #[test]
    fn a_single_value_has_no_k_and_forbids_cochran() {
        let groups = [vec![1.0, 2.0], vec![1.5]];
        assert_eq!(mandel(&groups).unwrap().k[1], None);
        assert_eq!(cochran(&groups), None);
    }
}
