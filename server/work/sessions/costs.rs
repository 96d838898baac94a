//! What the steps of a session take: the team's own times, typed in minutes.

use weighhouse_measure::plan::Costs;

use crate::store::bench::{self, CostFields};
use crate::store::{Store, StoreError};
use crate::work::once::By;
use crate::work::registers::typed::Typed;
use crate::work::{Refusal, Result};

/// Longest time of a step, minutes.
const MOST_MINUTES: i64 = 600;

/// The program's own times.
pub(super) fn usual() -> CostFields {
    let Costs { swap_s, driver_s, restart_s, load_s, soak_s, pass_s } = Costs::default();
    CostFields {
        swap_s: swap_s.into(),
        driver_s: driver_s.into(),
        restart_s: restart_s.into(),
        load_s: load_s.into(),
        soak_s: soak_s.into(),
        pass_s: pass_s.into(),
    }
}

/// For the planner.
pub(super) fn planned(of: CostFields) -> Costs {
    let s = |seconds| u32::try_from(seconds).unwrap_or(0);
    Costs {
        swap_s: s(of.swap_s),
        driver_s: s(of.driver_s),
        restart_s: s(of.restart_s),
        load_s: s(of.load_s),
        soak_s: s(of.soak_s),
        pass_s: s(of.pass_s),
    }
}

/// Fields of the form of times, in its order: name, what takes so long, hint.
pub const COST_FIELDS: [(&str, &str, &str); 6] = [
    ("swap", "Swap", "another part, up to the running system"),
    ("driver", "Driver", "another driver, without its restart"),
    ("restart", "Restart", "after another driver or tuning"),
    ("load", "Scene load", "another scene or setting"),
    ("soak", "Soak", "warm before anything counts"),
    ("pass", "Pass", "handling, beside its recording"),
];

/// A time of a step as the form has it, in minutes: `1.5`.
pub fn minutes(seconds: i64) -> String {
    match (seconds / 60, seconds % 60 / 6) {
        (whole, 0) => whole.to_string(),
        (whole, tenth) => format!("{whole}.{tenth}"),
    }
}

/// The times in the order of [`COST_FIELDS`], as the form has them.
pub fn texts(of: CostFields) -> [String; 6] {
    [of.swap_s, of.driver_s, of.restart_s, of.load_s, of.soak_s, of.pass_s].map(minutes)
}

/// Reads the times of a form.
///
/// # Errors
/// Refused, naming every field that is wrong.
pub fn typed_costs(mut typed: Typed<'_>) -> Result<CostFields> {
    let mut read = [0; 6];
    for (seconds, (field, ..)) in read.iter_mut().zip(COST_FIELDS) {
        let text = typed.text(field);
        match seconds_of(text) {
            Some(found) => *seconds = found,
            None => {
                let says =
                    format!("'{text}' is no time: write minutes from 0 to {MOST_MINUTES}, such as 1.5.");
                typed.wrong(field, says);
            }
        }
    }
    let [swap_s, driver_s, restart_s, load_s, soak_s, pass_s] = read;
    typed.done().map(|()| CostFields { swap_s, driver_s, restart_s, load_s, soak_s, pass_s })
}

/// Minutes with at most one decimal place; a comma is taken for the point.
fn seconds_of(text: &str) -> Option<i64> {
    let (whole, tenth) = text.split_once(['.', ',']).unwrap_or((text, "0"));
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(tenth) || tenth.len() > 1 {
        return None;
    }
    let seconds = whole.parse::<i64>().ok()?.checked_mul(60)? + tenth.parse::<i64>().ok()? * 6;
    (0..=MOST_MINUTES * 60).contains(&seconds).then_some(seconds)
}

/// Keeps the team's times.
///
/// # Errors
/// Refused when somebody changed them in between.
pub async fn keep_costs(store: &Store, by: impl Into<By>, version: i64, costs: CostFields) -> Result<()> {
    by.into()
        .write(store, async move |tx| match bench::keep_costs(tx, version, &costs).await {
            Err(StoreError::Stale) => {
                let theirs = bench::costs(tx).await?.map_or_else(usual, |kept| kept.fields);
                let lines = |of| texts(of).join(" / ");
                Err(Refusal::stale("the times of the bench", lines(costs), lines(theirs)).into())
            }
            other => Ok(other?),
        })
        .await
}
