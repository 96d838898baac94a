//! Repeatability and reproducibility of groups of values: one factor, random (ISO 5725-2:2019, clause 7).
//!
//! With p groups of n_i values, N in all: s_r^2 = sum (n_i - 1) s_i^2 / (N - p) within groups; s_d^2 = sum n_i (m_i -
//! m)^2 / (p - 1) about the weighted mean m; n== = (N - sum n_i^2 / N) / (p - 1); s_L^2 = (s_d^2 - s_r^2) / n==, set to 0
//! where negative, and s_R^2 = s_r^2 + s_L^2. The ratio s_d^2 / s_r^2 is the F of a one-way analysis of variance.
//! All values are taken about the first one, so that a common large part costs no digits.

use super::sum::{Sum, mean, sum};

/// What groups of values say of precision, in squared units of the values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Precision {
    /// Groups.
    pub groups: usize,
    /// s_r^2, the variance within groups.
    pub repeatability2: f64,
    /// Its degrees of freedom, N - p.
    pub df_within: f64,
    /// (s_d^2 - s_r^2) / n==, the variance between groups before truncation: negative where the groups' means lie closer
    /// than their spread makes likely.
    pub between_estimate: f64,
    /// s_d^2 / s_r^2; infinite where the groups have no spread.
    pub f: f64,
}

impl Precision {
    /// s_L^2, the variance between groups: the estimate, or 0 where it is negative.
    pub fn between2(&self) -> f64 {
        self.between_estimate.max(0.0)
    }

    /// s_R^2 = s_r^2 + s_L^2.
    pub fn reproducibility2(&self) -> f64 {
        self.repeatability2 + self.between2()
    }
}

/// Precision of the groups; empty ones are passed over. `None` below two groups or where no group has two values.
pub fn precision<G: AsRef<[f64]>>(groups: &[G]) -> Option<Precision> {
    let groups: Vec<&[f64]> = groups.iter().map(AsRef::as_ref).filter(|group| !group.is_empty()).collect();
    let origin = *groups.first()?.first()?;
    let total = groups.iter().map(|group| group.len()).sum::<usize>() as f64;
    let p = groups.len() as f64;
    let df_within = total - p;
    if groups.len() < 2 || df_within <= 0.0 {
        return None;
    }
    let mut within = Sum::default();
    let mut means = Vec::with_capacity(groups.len());
    for group in &groups {
        let centre = mean(&group.iter().map(|x| x - origin).collect::<Vec<f64>>())?;
        group.iter().for_each(|x| within.add((x - origin - centre) * (x - origin - centre)));
        means.push((group.len() as f64, centre));
    }
    let grand = sum(means.iter().map(|(n, m)| n * m)) / total;
    let s_d2 = sum(means.iter().map(|(n, m)| n * (m - grand) * (m - grand))) / (p - 1.0);
    let repeatability2 = within.value() / df_within;
    let per_group = (total - sum(means.iter().map(|(n, _)| n * n)) / total) / (p - 1.0);
    Some(Precision {
        groups: groups.len(),
        repeatability2,
        df_within,
        between_estimate: (s_d2 - repeatability2) / per_group,
        f: s_d2 / repeatability2,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_groups_have_no_variance_between_them() {
        let p = precision(&[[1.0, 2.0], [1.0, 2.0]]).unwrap();
        assert_eq!((p.repeatability2, p.between_estimate, p.between2(), p.f), (0.5, -0.25, 0.0, 0.0));
        assert_eq!(p.reproducibility2(), 0.5);
    }

    #[test]
    fn one_group_or_single_values_say_nothing_of_precision() {
        assert_eq!(precision(&[vec![1.0, 2.0]]), None);
        assert_eq!(precision(&[vec![1.0], vec![2.0]]), None);
        assert_eq!(precision::<Vec<f64>>(&[]), None);
        let with_empty = precision(&[vec![1.0, 2.0], vec![], vec![3.0]]).unwrap();
        assert_eq!((with_empty.groups, with_empty.df_within), (2, 1.0));
    }
}
