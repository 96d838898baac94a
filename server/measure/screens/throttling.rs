//! Throttling: the part's clock falls while its temperature stands at its top.
//!
//! Method: PELT (Killick, Fearnhead & Eckley 2012) on the logs of the clock's half-second means; a stretch behind a
//! higher one counts when the temperature stays within two kelvin of the highest of the pass and the part is no less
//! busy. Where power was logged it has to fall too: a part at its power limit lowers its clock in heavy
//! places while its power stands, and that is how it works and no fault (common practice, no source). Without a clock,
//! power alone is held to a wider limit.
//!
//! Sentences tell changes, never clocks or watts: those would tell the part.

use super::profile::Profile;
use super::sampled_blocks::by_block;
use super::{Flag, FlagKind, ScreenInput, moves_average, strength, words};
use crate::recording::Role;
use crate::stats::changepoint::pelt;
use crate::stats::robust::{MAD_TO_SD, mad, median};

/// Fewest blocks of a level: one second.
const MIN_BLOCKS: usize = 2;
/// Least fall of the clock, log scale.
const CLOCK_FALLS: f64 = 0.04;
/// Least fall of power beside it, log scale.
const POWER_FALLS_TOO: f64 = 0.03;
/// Least fall of power where no clock was logged, log scale.
const POWER_FALLS: f64 = 0.08;
/// The temperature stands at its top within this, kelvin.
const AT_TOP_K: f64 = 2.0;
/// Load may fall to this share of what it was.
const AS_BUSY: f64 = 0.93;
/// Least standard deviation of a block that is reckoned with, log scale: loggers write steps of some megahertz.
const LEAST_SD: f64 = 0.004;

/// Flags the stretches in which the part throttles.
pub(super) fn find(input: &ScreenInput<'_>, profile: &Profile) -> Vec<Flag> {
    let of = |role| by_block(role, input, profile);
    let Some(temperature) = of(Role::Temperature) else { return vec![] };
    let (clock, power, load) = (of(Role::Clock), of(Role::Power), of(Role::Load));
    let found = throttled(&temperature, clock.as_deref(), power.as_deref(), load.as_deref());
    found.into_iter().map(|stretch| flag(profile, &stretch)).collect()
}

/// A stretch in which the part throttles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Throttled {
    /// First block.
    pub from: usize,
    /// Block behind the last.
    pub to: usize,
    /// How far the clock (power where no clock was logged) fell, log scale.
    pub fall: f64,
    least: f64,
    by_clock: bool,
    /// Power over that of the stretch before, where it was logged.
    power: Option<f64>,
}

/// Stretches in which clock or power fall while the temperature stands at its top; all in blocks of equal time.
pub(crate) fn throttled(
    temperature: &[f64],
    clock: Option<&[f64]>,
    power: Option<&[f64]>,
    load: Option<&[f64]>,
) -> Vec<Throttled> {
    let (falling, least) = match (clock, power) {
        (Some(clock), _) => (clock, CLOCK_FALLS),
        (None, Some(power)) => (power, POWER_FALLS),
        (None, None) => return vec![],
    };
    let logs: Vec<f64> = falling.iter().map(|v| libm::log(v.max(1e-9))).collect();
    let levels = levels(&logs);
    let top = temperature.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut found = Vec::new();
    let mut before: Option<&Level> = None;
    let mut at = 0;
    while let Some(level) = levels.get(at) {
        let Some(high) = before.filter(|high| high.ln - level.ln >= least) else {
            if before.is_none_or(|high| level.ln >= high.ln) {
                before = Some(level);
            }
            at += 1;
            continue;
        };
        // Neighbouring low levels are one stretch.
        let low = levels[at..].iter().take_while(|l| high.ln - l.ln >= least).count();
        let (from, to) = (level.from, levels[at + low - 1].to);
        at += low;
        let ratio =
            |of: Option<&[f64]>| of.map(|v| median(&v[from..to]) / median(&v[high.from..high.to]).max(1e-9));
        let hot = median(&temperature[from..to]) >= top - AT_TOP_K;
        let power_too = clock.is_none() || ratio(power).is_none_or(|r| r <= 1.0 - POWER_FALLS_TOO);
        let busy = ratio(load).is_none_or(|r| r >= AS_BUSY);
        if hot && power_too && busy {
            let fall = high.ln - logs[from..to].iter().sum::<f64>() / (to - from) as f64;
            found.push(Throttled { from, to, fall, least, by_clock: clock.is_some(), power: ratio(power) });
        }
    }
    found
}

/// A stretch of one level.
struct Level {
    from: usize,
    to: usize,
    ln: f64,
}

fn levels(logs: &[f64]) -> Vec<Level> {
    let differences: Vec<f64> = logs.windows(2).map(|w| w[1] - w[0]).collect();
    let sd = mad(&differences) * MAD_TO_SD / std::f64::consts::SQRT_2;
    let sd = if sd.is_finite() { sd.max(LEAST_SD) } else { LEAST_SD };
    let mut from = 0;
    let ends = pelt(logs, MIN_BLOCKS, 9.0 * sd * sd * libm::log(logs.len().max(2) as f64));
    ends.into_iter()
        .map(|to| {
            let level =
                Level { from, to, ln: logs[from..to].iter().sum::<f64>() / (to - from).max(1) as f64 };
            from = to;
            level
        })
        .collect()
}

fn flag(profile: &Profile, stretch: &Throttled) -> Flag {
    let Throttled { from, to, fall, least, by_clock, power } = *stretch;
    let (start_ns, end_ns) = profile.edges_ns(from, to, profile.median_ns.len());
    let what = if by_clock { "the clock" } else { "power" };
    let beside = match power.filter(|_| by_clock) {
        Some(ratio) => format!(" and power {} lower", words::percent(1.0 - ratio)),
        None => String::new(),
    };
    Flag {
        kind: FlagKind::Throttling,
        start_ns,
        end_ns,
        strength: strength(fall / least),
        // Frame times follow the clock at most one to one.
        moves: Some(moves_average(profile.share(from, to), fall)),
        says: format!(
            "from {} to {} {what} is {} lower than before{beside} while the temperature stands at its top: the part throttles",
            words::seconds(start_ns),
            profile.end_in_words(end_ns),
            words::percent(1.0 - libm::exp(-fall)),
        ),
    }
}
