//! What is carried over from an earlier piece: which cells to run again as spot checks, and whether the rest can stand.
//!
//! *Which*: a spot check tells most where a change between then and now shows in different ways and can be seen. So of the
//! cells whose earlier passes are close enough to settle it (standard error at most a third of the margin; of all where fewer
//! than three are) are taken: the one with the highest rate, where processor and driver weigh most; the one with the lowest,
//! where the part itself does, of another scene; and the one with the closest earlier passes, of a scene and a kind of scene not
//! taken yet. Where a choice of another scene is not to be had, the same one serves. That rates tell what weighs is
//! common practice, no source.
//!
//! *Whether*: fresh passes over earlier ones of the same cell, by the two questions of [`super::verdict`] (Schuirmann 1987): the
//! 90% interval lies within the margin: it holds; else the 95% interval excludes 1: run again; else not settled. What was
//! carried over holds only where every check does.

use super::noise::Local;
use super::passes::{MOST, smallest};
use super::ratio::{Ratio, in_scene};
use super::verdict::{Sense, Verdict, Way, tenths, verdict};
use super::{PassLog, SceneKind};
use crate::stats::distributions::t_two_sided;
use serde::Serialize;

/// Spot checks that are proposed for a part.
pub const CHECKS: usize = 3;

/// A cell that could be run again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// Id of its scene.
    pub scene: i64,
    /// How that is driven.
    pub kind: SceneKind,
    /// Its earlier rate, in any unit that all share; above 0.
    pub rate: f64,
    /// Standard error of the logarithm of that; `None`: not known.
    pub se: Option<f64>,
    /// Margin of its kind of scene, a share of 1, above 0.
    pub margin: f64,
}

impl Candidate {
    /// Standard error as a share of the margin.
    fn looseness(&self) -> f64 {
        self.se.map_or(f64::INFINITY, |se| se / libm::log1p(self.margin))
    }
}

/// Why a cell is proposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// Its rate is the highest.
    HighestRate,
    /// Its rate is the lowest.
    LowestRate,
    /// Its earlier passes lie closest together.
    Closest,
}

impl Why {
    /// In a few words.
    pub fn words(self) -> &'static str {
        match self {
            Why::HighestRate => "highest rate: processor and driver weigh most",
            Why::LowestRate => "lowest rate: the part weighs most",
            Why::Closest => "closest earlier passes: a small change shows",
        }
    }
}

/// The cells to run again, by their place in `all`, at most [`CHECKS`] and each once. The same candidates give the same
/// cells; of equal ones the first is taken.
pub fn checks(all: &[Candidate]) -> Vec<(usize, Why)> {
    let able = |at: &usize| all.get(*at).is_some_and(|one| one.looseness() <= 1.0 / 3.0);
    let mut pool: Vec<usize> = (0..all.len()).filter(able).collect();
    if pool.len() < CHECKS {
        pool = (0..all.len()).collect();
    }
    let mut taken: Vec<(usize, Why)> = Vec::new();
    for why in [Why::HighestRate, Why::LowestRate, Why::Closest] {
        let of_taken =
            |is: &dyn Fn(&Candidate) -> bool| taken.iter().any(|(at, _)| all.get(*at).is_some_and(is));
        let rank = |one: &Candidate| {
            let again = of_taken(&|other| other.scene == one.scene);
            match why {
                Why::HighestRate => (again, false, -one.rate),
                Why::LowestRate => (again, false, one.rate),
                Why::Closest => (again, of_taken(&|other| other.kind == one.kind), one.looseness()),
            }
        };
        let left = pool.iter().filter(|at| !taken.iter().any(|(other, _)| other == *at));
        let ranked = left.filter_map(|at| Some((*at, rank(all.get(*at)?))));
        let best = ranked.min_by(|(_, a), (_, b)| (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2)));
        taken.extend(best.map(|(at, _)| (at, why)));
    }
    taken
}

/// What a spot check says.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Says {
    /// No fresh pass yet.
    NotChecked,
    /// Any difference lies within this margin, a share of 1.
    Holds(f64),
    /// It differs, and not within the margin.
    RunAgain {
        /// Which way the fresh passes lie.
        way: Way,
        /// How far, a share of the earlier value, not negative.
        by: f64,
    },
    /// Neither can be said yet.
    NotSettled {
        /// Further fresh passes that should settle it; `None`: no count that anybody runs would tell.
        more: Option<u32>,
    },
}

/// A spot check of a cell.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Check {
    /// Fresh over earlier; `None` without passes on either side.
    pub ratio: Option<Ratio>,
    /// What it says.
    pub says: Says,
}

/// Holds the fresh passes of a cell against its earlier ones. Both count as like with like, whatever they ran on: what changed
/// between them is what is asked about. Passes of one rig are held against those of the same where both have it. `margin` is a
/// share of 1, above 0.
pub fn check(earlier: &[PassLog], fresh: &[PassLog], noise: &Local, margin: f64) -> Check {
    let shared = earlier.iter().any(|a| fresh.iter().any(|b| a.rig == b.rig));
    let alike = |passes: &[PassLog]| -> Vec<PassLog> {
        let one = |pass: &PassLog| PassLog {
            rig: if shared { pass.rig } else { 0 },
            build: 0,
            declared_driver: true,
            ..*pass
        };
        passes.iter().map(one).collect()
    };
    let Some(ratio) = in_scene(&alike(earlier), &alike(fresh), noise, None) else {
        return Check { ratio: None, says: Says::NotChecked };
    };
    let says = match verdict(&ratio, margin, Sense::Rate) {
        Verdict::Differs(way) => Says::RunAgain { way, by: (ratio.ratio - 1.0).abs() },
        Verdict::Level { .. } | Verdict::LevelWithin { .. } => Says::Holds(margin),
        Verdict::NotSettled { .. } | Verdict::None { .. } => Says::NotSettled { more: more(&ratio, margin) },
    };
    Check { ratio: Some(ratio), says }
}

/// Further fresh passes that settle it, if spread and difference stay as they are: earlier ones cannot be added to.
fn more(ratio: &Ratio, margin: f64) -> Option<u32> {
    let there = u32::try_from(ratio.passes_contender).ok()?;
    if ratio.bounds.is_none() {
        return Some(2_u32.saturating_sub(there)).filter(|more| *more > 0);
    }
    let (distance, limit) = (ratio.ln.abs(), libm::log1p(margin));
    let enough = smallest(MOST, |n| {
        ratio.contender_at(n).is_some_and(|error| {
            let half = |level| t_two_sided(level, error.df) * error.s2.sqrt();
            half(0.95) < distance || distance + half(0.9) <= limit
        })
    })?;
    Some(enough.saturating_sub(there).max(1))
}

impl Says {
    /// In words.
    pub fn words(&self) -> String {
        match self {
            Says::NotChecked => "not checked".to_owned(),
            Says::Holds(margin) => format!("holds within {}%", tenths(*margin)),
            Says::RunAgain { way, by } => format!("run again ({:.1}% {})", by * 100.0, way.as_str()),
            Says::NotSettled { more: None } => "not settled".to_owned(),
            Says::NotSettled { more: Some(1) } => "not settled (1 more pass)".to_owned(),
            Says::NotSettled { more: Some(more) } => format!("not settled ({more} more passes)"),
        }
    }
}

/// What all checks of a part say together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Together {
    /// None was chosen, or none has a fresh pass.
    NotChecked,
    /// Every check holds.
    Holds,
    /// One says 'run again': all of the part's cells are to be.
    RunAgain,
    /// Some are still open.
    NotSettled,
}

impl Together {
    /// Of these checks.
    pub fn of<'a>(checks: impl IntoIterator<Item = &'a Says>) -> Together {
        let all: Vec<&Says> = checks.into_iter().collect();
        if all.iter().any(|says| matches!(says, Says::RunAgain { .. })) {
            Together::RunAgain
        } else if all.iter().all(|says| matches!(says, Says::NotChecked)) {
            Together::NotChecked
        } else if all.iter().all(|says| matches!(says, Says::Holds(_))) {
            Together::Holds
        } else {
            Together::NotSettled
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Together::NotChecked => "not checked",
            Together::Holds => "holds within the margin",
            Together::RunAgain => "run again",
            Together::NotSettled => "not settled",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(scene: i64, kind: SceneKind, rate: f64, se: f64) -> Candidate {
        Candidate { scene, kind, rate, se: Some(se), margin: 0.02 }
    }

    fn logs(values: &[f64], rig: i64) -> Vec<PassLog> {
        values.iter().map(|value| PassLog::new(*value, rig, rig, rig == 1).unwrap()).collect()
    }

    fn says(earlier: &[f64], fresh: &[f64]) -> Says {
        check(&logs(earlier, 1), &logs(fresh, 2), &Local::default(), 0.02).says
    }

    #[test]
    fn the_highest_the_lowest_and_the_closest_are_run_again_over_scenes_and_kinds() {
        use SceneKind::{BuiltIn, ByHand, Replay};
        let all = [
            cell(1, Replay, 100.0, 0.003),
            cell(1, Replay, 60.0, 0.003),
            cell(2, Replay, 70.0, 0.004),
            cell(3, Replay, 80.0, 0.001),
            cell(4, BuiltIn, 90.0, 0.002),
            cell(5, ByHand, 300.0, 0.02),
        ];
        let found = checks(&all);
        assert_eq!(found, [(0, Why::HighestRate), (2, Why::LowestRate), (4, Why::Closest)]);
        assert_eq!(checks(&all), found, "the same every time");
    }

    #[test]
    fn few_or_loose_cells_are_all_that_can_be_run_again() {
        use SceneKind::Replay;
        assert_eq!(checks(&[]), []);
        assert_eq!(checks(&[cell(1, Replay, 100.0, 0.5)]), [(0, Why::HighestRate)]);
        let unknown = Candidate { se: None, ..cell(1, Replay, 90.0, 0.0) };
        let two = [unknown, cell(1, Replay, 100.0, 0.001)];
        assert_eq!(checks(&two), [(1, Why::HighestRate), (0, Why::LowestRate)]);
        let alike = [cell(1, Replay, 100.0, 0.001); 5];
        assert_eq!(checks(&alike).iter().map(|(at, _)| *at).collect::<Vec<_>>(), [0, 1, 2]);
    }

    #[test]
    fn a_check_says_holds_run_again_or_how_many_more() {
        let earlier = [100.0, 100.3, 99.8, 100.1];
        assert_eq!(says(&earlier, &[100.2, 99.9, 100.4]), Says::Holds(0.02));
        let Says::RunAgain { way, by } = says(&earlier, &[93.8, 94.2, 94.1]) else { panic!("not told") };
        assert_eq!(way, Way::Slower);
        assert!((by - 0.06).abs() < 0.002, "{by}");
        let open = says(&[100.6, 99.4, 100.2, 99.8, 100.0], &[101.2, 98.8]);
        let Says::NotSettled { more: Some(more) } = open else { panic!("{open:?}") };
        assert!(more > 1);
        let loose = says(&[97.0, 103.0, 100.0, 99.0], &[101.0, 99.0]);
        assert_eq!(loose, Says::NotSettled { more: None }, "no fresh pass closes up the earlier ones");
        assert_eq!(says(&earlier, &[]), Says::NotChecked);
        assert_eq!(says(&[], &earlier), Says::NotChecked);
        assert_eq!(says(&[100.0], &[100.0]), Says::NotSettled { more: Some(1) });
    }

    #[test]
    fn so_many_more_fresh_passes_of_the_same_spread_do_settle_it() {
        let earlier: Vec<f64> = (0..40).map(|n| if n % 2 == 0 { 99.0 } else { 101.0 }).collect();
        let fresh = |n: u32| (0..n).map(|n| if n % 2 == 0 { 98.6 } else { 101.4 }).collect::<Vec<f64>>();
        let Says::NotSettled { more: Some(more) } = says(&earlier, &fresh(2)) else { panic!("settled") };
        assert_eq!(says(&earlier, &fresh(2 + more + more % 2)), Says::Holds(0.02));
    }

    #[test]
    fn what_changed_between_then_and_now_bars_no_verdict_and_a_shared_rig_is_held_to_itself() {
        let mut earlier = logs(&[100.0, 100.2, 99.9], 1);
        earlier.extend(logs(&[150.0, 150.2], 7));
        let fresh = logs(&[100.1, 100.0, 99.8], 1);
        let found = check(&earlier, &fresh, &Local::default(), 0.02);
        assert_eq!(found.says, Says::Holds(0.02));
        assert_eq!(found.ratio.map(|ratio| ratio.left_out), Some(2));
    }

    #[test]
    fn a_part_holds_only_where_every_check_does() {
        let again = Says::RunAgain { way: Way::Slower, by: 0.06 };
        let open = Says::NotSettled { more: Some(2) };
        let of = |all: &[&Says]| Together::of(all.iter().copied());
        let holds = Says::Holds(0.02);
        assert_eq!(of(&[&holds, &holds, &holds]), Together::Holds);
        assert_eq!(of(&[&holds, &again, &open]), Together::RunAgain);
        assert_eq!(of(&[&holds, &open]), Together::NotSettled);
        assert_eq!(of(&[&holds, &Says::NotChecked]), Together::NotSettled);
        assert_eq!(of(&[&Says::NotChecked]), Together::NotChecked);
        assert_eq!(of(&[]), Together::NotChecked);
        assert_eq!(again.words(), "run again (6.0% slower)");
        assert_eq!(Says::Holds(0.02).words(), "holds within 2%");
        assert_eq!(open.words(), "not settled (2 more passes)");
    }
}
