//! Frame times of a pass: scene profile, correlated load, noise, heavy tail and hitches, at a given level and low.

use crate::random::Random;
use crate::registers::NS_PER_S;
use crate::truth::{CAP_FPS, CellTruth, Fault, FaultKind};

/// All that the bytes of a pass depend on, besides its start.
#[derive(Clone, Debug)]
pub struct Recipe {
    /// Seed of the demo.
    pub seed: u64,
    /// Which pass: its stream of random numbers.
    pub stream: u64,
    /// Which scene: its profile is common to all its passes.
    pub scene: usize,
    /// Played by hand: the profile does not begin at the same moment twice.
    pub by_hand: bool,
    /// Level of this pass, with its own chance in average and low.
    pub level: CellTruth,
    /// Shown frames for each rendered one.
    pub generated: usize,
    /// Length, ns.
    pub length_ns: i64,
    /// Standard window, ns.
    pub window_ns: (i64, i64),
    /// What is wrong with it.
    pub fault: Option<Fault>,
    /// Core clock without throttling, MHz.
    pub clock_mhz: f64,
    /// Temperature that the card settles at, degrees Celsius.
    pub settles_at_c: f64,
    /// How the loggers write.
    pub layout: crate::logs::Layout,
    /// UTC start of the first frame, ns since 1970.
    pub wall_start_ns: i64,
}

/// The frames of a pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Frames {
    /// Start of each frame from the first one, ns.
    pub at_ns: Vec<i64>,
    /// Duration of each frame, ns.
    pub frame_ns: Vec<i64>,
}

/// Nearest whole number; the demo's values stay far within range.
#[expect(clippy::cast_possible_truncation, reason = "rounded, and far below 2^53 by construction")]
pub fn whole(x: f64) -> i64 {
    libm::round(x) as i64
}

fn count(x: f64) -> usize {
    usize::try_from(whole(x)).unwrap_or(0)
}

/// Steps of the scene profile, seconds.
const PROFILE_STEP_S: f64 = 0.1;

/// Load of a scene over time, in units of its own spread.
struct Profile(Vec<f64>);

impl Profile {
    /// Slow swells and a few busy stretches with soft edges; the same numbers for each pass of a scene.
    fn new(seed: u64, scene: usize, shift_s: f64) -> Self {
        let mut random = Random::new(seed, 1_000_000 + scene as u64);
        let swells: Vec<(f64, f64, f64)> = (0..5)
            .map(|_| (random.between(0.4, 1.0), random.between(3.0, 19.0), random.between(0.0, 6.3)))
            .collect();
        let busy: Vec<(f64, f64, f64)> = (0..3)
            .map(|n| {
                (
                    random.between(0.6, 1.4),
                    10.0 * f64::from(n) + random.between(1.0, 7.0),
                    random.between(0.5, 1.6),
                )
            })
            .collect();
        let value = |t: f64| {
            let swell: f64 = swells
                .iter()
                .map(|&(a, period, at)| a * libm::sin(std::f64::consts::TAU * t / period + at))
                .sum();
            let peak: f64 =
                busy.iter().map(|&(a, at, width)| a / (1.0 + libm::pow((t - at) / width, 4.0))).sum();
            0.42 * swell + 0.7 * peak
        };
        Self((0..400_u32).map(|n| value(f64::from(n) * PROFILE_STEP_S + shift_s)).collect())
    }

    fn at(&self, seconds: f64) -> f64 {
        let x = seconds / PROFILE_STEP_S;
        let n = count(libm::floor(x)).min(self.0.len() - 2);
        let share = (x - n as f64).min(1.0);
        self.0[n] * (1.0 - share) + self.0[n + 1] * share
    }
}

/// The frames of a pass. The average over the window is the level's to within one frame, the 1% low to about a per cent.
pub fn frames(recipe: &Recipe) -> Frames {
    let mut random = Random::new(recipe.seed, recipe.stream);
    let load = load(recipe, &mut random);
    let shape = recipe.level.average_fps / recipe.level.low_1_quantile_fps;
    let mut relative = shaped(&load, libm::log(shape));
    add_hitches(&mut relative, &mut random);
    let mut frame_ns = levelled(&relative, recipe);
    let mut gap = None;
    if let Some(fault) = recipe.fault {
        gap = spoil(&mut frame_ns, fault, &mut random);
    }
    let mut at_ns = Vec::with_capacity(frame_ns.len());
    let mut now = 0;
    for (n, &duration) in frame_ns.iter().enumerate() {
        if now >= recipe.length_ns {
            break;
        }
        at_ns.push(now);
        now += duration;
        if let Some((after, missed)) = gap
            && after == n
        {
            now += missed;
        }
    }
    frame_ns.truncate(at_ns.len());
    Frames { at_ns, frame_ns }
}

/// Log load of each frame: profile, two speeds of correlated load, noise, and a tail of single slow frames.
fn load(recipe: &Recipe, random: &mut Random) -> Vec<f64> {
    let wrong = matches!(recipe.fault, Some(Fault { kind: FaultKind::WrongPassage, .. }));
    let scene = if wrong { recipe.scene + 100 } else { recipe.scene };
    let shift_s = if recipe.by_hand { random.between(0.0, 0.8) } else { 0.0 };
    let profile = Profile::new(recipe.seed, scene, shift_s);
    let mean_s = 1.0 / recipe.level.average_fps;
    // One second more than needed, so that a fault that shortens frames still fills the pass.
    let n = count((recipe.length_ns as f64 / NS_PER_S as f64 + 1.0) / mean_s);
    let (slow, fast) = (libm::exp(-mean_s / 0.6), libm::exp(-mean_s / 0.03));
    let (slow_step, fast_step) = (libm::sqrt(1.0 - slow * slow), libm::sqrt(1.0 - fast * fast));
    let (mut drift, mut flicker, mut debt) = (random.normal(), random.normal(), 0.0);
    let mut group = 0.0;
    let mut load = Vec::with_capacity(n);
    for i in 0..n {
        drift = slow * drift + slow_step * random.rough_normal();
        flicker = fast * flicker + fast_step * random.rough_normal();
        if i % recipe.generated == 0 {
            let bump = if random.uniform() < 0.012 { 1.3 * random.exponential() } else { 0.0 };
            group = profile.at(i as f64 * mean_s)
                + 0.35 * drift
                + 0.45 * flicker
                + 0.4 * random.rough_normal()
                + bump
                - debt;
            // After a slow frame the queue is shorter: the next one comes early.
            debt = 0.35 * bump;
        }
        let uneven = if recipe.generated > 1 { 0.15 * random.rough_normal() } else { 0.0 };
        load.push(group + uneven);
    }
    load
}

/// Durations of mean 1 whose 99% quantile is exp(`log_shape`) times the mean: `exp(a load)` with the right `a`.
fn shaped(load: &[f64], log_shape: f64) -> Vec<f64> {
    let n = load.len() as f64;
    let mut sorted = load.to_vec();
    let (_, &mut slow, _) = sorted.select_nth_unstable_by(count(0.99 * (n - 1.0)), f64::total_cmp);
    let centre = load.iter().sum::<f64>() / n;
    let mut a = log_shape / (slow - centre);
    let mut mean = 1.0;
    // Newton's method on a slow - ln mean(exp(a load)) = log_shape.
    for _ in 0..4 {
        let (mut sum, mut moment) = (0.0, 0.0);
        for &g in load {
            let e = libm::exp(a * g);
            sum += e;
            moment += g * e;
        }
        mean = sum / n;
        a -= (a * slow - libm::log(mean) - log_shape) / (slow - moment / sum);
    }
    load.iter().map(|g| libm::exp(a * g) / mean).collect()
}

/// Up to three single long frames, each followed by one that comes early.
fn add_hitches(relative: &mut [f64], random: &mut Random) {
    for _ in 0..count(random.between(-0.5, 3.5)) {
        let at = count(random.uniform() * relative.len() as f64).clamp(1, relative.len() - 2);
        relative[at] += random.between(1.2, 2.8);
        relative[at + 1] *= 0.7;
    }
}

/// Scales to the level: frames that start in the window divided by their time.
fn levelled(relative: &[f64], recipe: &Recipe) -> Vec<i64> {
    let wanted = NS_PER_S as f64 / recipe.level.average_fps;
    let mut scale = wanted;
    for _ in 0..3 {
        let (mut now, mut sum, mut n) = (0.0, 0.0, 0.0);
        for r in relative {
            let duration = r * scale;
            if now >= recipe.window_ns.0 as f64 && now < recipe.window_ns.1 as f64 {
                sum += duration;
                n += 1.0;
            }
            now += duration;
        }
        scale *= wanted * n / sum;
    }
    relative.iter().map(|r| whole(r * scale).max(1_000)).collect()
}

/// How much longer frames take at `seconds` under a fault that slows the machine down.
pub fn slowdown(fault: Fault, seconds: f64) -> f64 {
    let within = seconds >= fault.start_s && seconds < fault.end_s;
    match fault.kind {
        FaultKind::Updater if within => 1.2,
        FaultKind::Throttling if within => 1.0 + 0.11 * ((seconds - fault.start_s) / 2.5).min(1.0),
        _ => 1.0,
    }
}

/// Plants a fault. A gap is returned: after which frame, and how many nanoseconds were missed.
fn spoil(frame_ns: &mut Vec<i64>, fault: Fault, random: &mut Random) -> Option<(usize, i64)> {
    match fault.kind {
        FaultKind::Updater | FaultKind::Throttling => {
            let mut now = 0;
            for duration in frame_ns.iter_mut() {
                let factor = slowdown(fault, now as f64 / NS_PER_S as f64);
                *duration = whole(*duration as f64 * factor);
                now += *duration;
            }
        }
        FaultKind::Cap => {
            for duration in frame_ns.iter_mut() {
                let least = NS_PER_S as f64 / CAP_FPS + 6_000.0 * random.rough_normal();
                *duration = (*duration).max(whole(least));
            }
        }
        FaultKind::ShaderHitches => {
            for _ in 0..16 {
                let at = starts_at(frame_ns, random.between(fault.start_s, fault.end_s));
                frame_ns[at] += whole(1e6 * random.between(35.0, 120.0));
            }
        }
        FaultKind::Gap => {
            let from = starts_at(frame_ns, fault.start_s);
            let to = starts_at(frame_ns, fault.end_s);
            let missed = frame_ns.drain(from..to).sum();
            return Some((from - 1, missed));
        }
        FaultKind::WrongPassage => {}
    }
    None
}

/// First frame that starts at or after `seconds`.
fn starts_at(frame_ns: &[i64], seconds: f64) -> usize {
    let mut now = 0;
    for (n, duration) in frame_ns.iter().enumerate() {
        if now as f64 >= seconds * NS_PER_S as f64 {
            return n;
        }
        now += duration;
    }
    frame_ns.len() - 1
}
