//! Invented passes for the screens: clean ones of several kinds, and the same with a fault of known size.
//!
//! All passes of a cell share a scene (slow swings, changes of place, hitches of its own); each has its own level, its own
//! slow wander, correlated and heavy-tailed scatter from frame to frame, and rare single hitches.

use weighhouse_measure::recording::{Kind, Recording, Role, Track, Unit};
use weighhouse_measure::screens::Timing;

/// SplitMix64 (Steele, Lea & Flood 2014): small, seeded, the same everywhere.
pub struct Rng(u64);

impl Rng {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in (0, 1).
    pub fn uniform(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
    }

    /// Standard normal (Box & Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        radius * libm::cos(std::f64::consts::TAU * self.uniform())
    }
}

/// A kind of clean pass.
#[derive(Clone, Copy)]
pub struct Manner {
    pub name: &'static str,
    /// Frames a second of the scene's middle.
    rate: f64,
    /// Swing of the scene, log scale.
    swing: f64,
    /// Changes of place in the scene, each to another level.
    places: usize,
    /// Scatter of a frame, log scale, and its correlation with the frame before.
    scatter: f64,
    correlation: f64,
    /// Share of frames with a long tail.
    tail: f64,
    /// Scatter of a pass's slow wander (over about two seconds) and of its level, log scale.
    wander: f64,
    level: f64,
    /// Single hitches a second: the scene's own at fixed times, and the pass's own.
    scene_hitches: f64,
    own_hitches: f64,
    /// How far passages of two passes lie apart in time, seconds (scenes played by hand).
    timing: f64,
}

impl Manner {
    /// Frames a second of the scene's middle.
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// Whether passages come at the same time in every pass.
    pub fn timing(&self) -> Timing {
        if self.timing > 0.0 { Timing::ByHand } else { Timing::Fixed }
    }
}

const EVEN: Manner = Manner {
    name: "even",
    rate: 90.0,
    swing: 0.15,
    places: 0,
    scatter: 0.04,
    correlation: 0.5,
    tail: 0.002,
    wander: 0.006,
    level: 0.003,
    scene_hitches: 0.03,
    own_hitches: 0.02,
    timing: 0.0,
};

/// The kinds of clean passes.
pub const MANNERS: [Manner; 8] = [
    EVEN,
    Manner { name: "swinging scene", swing: 0.3, places: 6, ..EVEN },
    Manner { name: "bursty", scene_hitches: 0.15, own_hitches: 0.12, tail: 0.01, ..EVEN },
    Manner { name: "heavy-tailed", scatter: 0.09, tail: 0.03, ..EVEN },
    Manner { name: "strongly correlated", correlation: 0.97, scatter: 0.06, wander: 0.012, ..EVEN },
    Manner {
        name: "played by hand",
        swing: 0.25,
        places: 4,
        wander: 0.02,
        level: 0.012,
        timing: 0.4,
        ..EVEN
    },
    Manner { name: "quick", rate: 260.0, scatter: 0.08, ..EVEN },
    Manner { name: "slow", rate: 38.0, places: 2, ..EVEN },
];

/// What all passes of a cell have in common.
pub struct Scene {
    manner: Manner,
    swings: [(f64, f64, f64); 3],
    places: Vec<(f64, f64)>,
    hitches: Vec<f64>,
    seconds: f64,
}

impl Scene {
    pub fn new(manner: Manner, seconds: f64, rng: &mut Rng) -> Self {
        let swings = [0; 3].map(|_| {
            let period = 6.0 + 40.0 * rng.uniform();
            (manner.swing * (0.3 + 0.5 * rng.uniform()), period, rng.uniform())
        });
        let mut places: Vec<(f64, f64)> =
            (0..manner.places).map(|_| (seconds * rng.uniform(), 0.3 * rng.normal())).collect();
        places.sort_by(|a, b| a.0.total_cmp(&b.0));
        let hitches = arrivals(manner.scene_hitches, seconds, rng);
        Self { manner, swings, places, hitches, seconds }
    }

    fn ln_level(&self, t: f64) -> f64 {
        let swing: f64 =
            self.swings.iter().map(|(a, p, at)| a * libm::sin(std::f64::consts::TAU * (t / p + at))).sum();
        swing + self.places.iter().rev().find(|(at, _)| *at <= t).map_or(0.0, |(_, level)| *level)
    }
}

fn arrivals(rate: f64, seconds: f64, rng: &mut Rng) -> Vec<f64> {
    let mut times = Vec::new();
    let mut t = 0.0;
    loop {
        t -= libm::log(rng.uniform()) / rate.max(1e-9);
        if t >= seconds {
            return times;
        }
        times.push(t);
    }
}

/// What is wrong with a pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    None,
    /// Durations times `factor` from `from` for `seconds`.
    Step {
        from: f64,
        seconds: f64,
        factor: f64,
    },
    /// Durations grow by this share from start to end.
    Drift(f64),
    /// So many hitches of 60 ms within three seconds from here.
    Cluster {
        from: f64,
        hitches: usize,
    },
    /// One frame lasts so many seconds longer.
    Freeze {
        from: f64,
        seconds: f64,
    },
    /// No frame is shorter than this many seconds.
    Cap(f64),
    /// The log leaves out so many seconds of frames.
    Gap {
        from: f64,
        seconds: f64,
    },
    /// All durations times this.
    Level(f64),
    /// Durations times `factor` at the start, falling to once over so many seconds.
    WarmUp {
        seconds: f64,
        factor: f64,
    },
    /// A frame that lasts 30 ms longer, so often.
    Timer {
        every: f64,
    },
    /// Durations in turns of two, this share longer and shorter.
    Pairs(f64),
    /// The passage begins so many seconds later in the scene.
    Later(f64),
    /// The processor works `work` times as long on each frame, and frames last `factor` times as long.
    Background {
        from: f64,
        seconds: f64,
        work: f64,
        factor: f64,
    },
    /// The part's clock times this, and durations the other way.
    Throttle {
        from: f64,
        seconds: f64,
        clock: f64,
    },
}

/// One pass of a scene.
pub fn pass(scene: &Scene, fault: Fault, rng: &mut Rng) -> Recording {
    let m = scene.manner;
    let level = m.level * rng.normal();
    let (late, hurry) = (m.timing * rng.normal(), 1.0 + 0.01 * m.timing * rng.normal());
    let mut hitches: Vec<f64> = scene.hitches.iter().map(|h| h + 0.05 * rng.uniform()).collect();
    hitches.extend(arrivals(m.own_hitches, scene.seconds, rng));
    hitches.sort_by(f64::total_cmp);
    let mut burst: Vec<f64> = match fault {
        Fault::Cluster { from, hitches } => (0..hitches).map(|_| from + 3.0 * rng.uniform()).collect(),
        _ => vec![],
    };
    burst.sort_by(f64::total_cmp);
    let (mut next_hitch, mut next_burst) = (0, 0);
    let (mut wander, mut scatter) = (m.wander * rng.normal(), 0.0);
    let mut frozen = false;
    let mut t = 0.0;
    let (mut at_ns, mut frame_ns, mut sum_ns, mut left_out_ns) = (vec![], vec![], 0, 0);
    let (mut work, mut due) = (vec![], 0.0);
    let begins = if let Fault::Later(seconds) = fault { seconds } else { 0.0 };
    while t < scene.seconds {
        let ln = scene.ln_level(t * hurry + late + begins) + level + wander + scatter;
        let mut d = libm::exp(ln) / m.rate;
        // Wander forgets half of itself in about a second and a half.
        let keep = libm::exp(-d / 2.0);
        wander = keep * wander + m.wander * (1.0 - keep * keep).sqrt() * rng.normal();
        let c = m.correlation;
        scatter = c * scatter + m.scatter * (1.0 - c * c).sqrt() * rng.normal();
        if rng.uniform() < m.tail {
            d *= 1.0 + 0.15 * (libm::pow(rng.uniform(), -0.4) - 0.5);
        }
        if hitches.get(next_hitch).is_some_and(|h| *h <= t) {
            next_hitch += 1;
            d += 0.02 + 0.05 * rng.uniform();
        }
        if burst.get(next_burst).is_some_and(|h| *h <= t) {
            next_burst += 1;
            d += 0.06;
        }
        // Half of a frame, within some per cent.
        let mut worked = 0.5 * d * (1.0 + 0.04 * libm::sin(37.0 * t));
        match fault {
            Fault::WarmUp { seconds, factor } if t < seconds => d *= factor - (factor - 1.0) * t / seconds,
            Fault::Timer { every } if t >= due => {
                due += every;
                d += 0.03;
            }
            Fault::Pairs(share) => d *= if at_ns.len() % 2 == 0 { 1.0 + share } else { 1.0 - share },
            Fault::Background { from, seconds, work, factor } if t >= from && t < from + seconds => {
                worked *= work;
                d *= factor;
            }
            Fault::Throttle { from, seconds, clock } if t >= from && t < from + seconds => d /= clock,
            Fault::Step { from, seconds, factor } if t >= from && t < from + seconds => d *= factor,
            Fault::Drift(change) => d *= 1.0 + change * t / scene.seconds,
            Fault::Freeze { from, seconds } if t >= from && !frozen => {
                frozen = true;
                d += seconds;
            }
            // Limiters hit their mark to about two per cent of a frame and make up for it with the next.
            Fault::Cap(least) => d = d.max(least * (1.0 + if at_ns.len() % 2 == 0 { 0.01 } else { -0.01 })),
            Fault::Level(factor) => d *= factor,
            _ => {}
        }
        let ns = whole_ns(d);
        let lost = matches!(fault, Fault::Gap { from, seconds } if t >= from && t < from + seconds);
        t += d;
        if lost {
            left_out_ns += ns;
            continue;
        }
        at_ns.push(sum_ns + left_out_ns);
        frame_ns.push(ns);
        work.push(worked);
        sum_ns += ns;
    }
    let work = track(Role::CpuWork, Unit::Millisecond, work);
    Recording { kind: Kind::Frames, wall_start_ns: None, at_ns, frame_ns, tracks: vec![work] }
}

fn track(role: Role, unit: Unit, values: Vec<f64>) -> Track {
    Track { role, unit, name: String::new(), values }
}

/// What a sensor logger ten times a second writes beside a pass: power, clock, temperature and load.
pub fn sensors(scene: &Scene, fault: Fault, rng: &mut Rng) -> Recording {
    let (mut at_ns, mut t) = (vec![], 0.0);
    let mut values = [vec![], vec![], vec![], vec![]];
    while t < scene.seconds {
        let throttled = match fault {
            Fault::Throttle { from, seconds, clock } if t >= from && t < from + seconds => clock,
            _ => 1.0,
        };
        let busy = (0.97 + 0.01 * rng.normal()).min(1.0);
        let step = |value: f64, steps: f64| (value * steps).round() / steps;
        values[0].push(step(380.0 * throttled * (1.0 + 0.03 * rng.normal()), 10.0));
        values[1].push(1e6 * step(2400.0 * throttled * (1.0 + 0.004 * rng.normal()), 1.0 / 15.0));
        values[2].push(step(72.0 - 14.0 * libm::exp(-t / 6.0) + 0.2 * rng.normal(), 1.0));
        values[3].push(step(busy, 100.0));
        at_ns.push(whole_ns(t));
        t += 0.1;
    }
    let [power, clock, temperature, load] = values;
    Recording {
        kind: Kind::Companion,
        wall_start_ns: None,
        at_ns,
        frame_ns: vec![],
        tracks: vec![
            track(Role::Power, Unit::Watt, power),
            track(Role::Clock, Unit::Megahertz, clock),
            track(Role::Temperature, Unit::Celsius, temperature),
            track(Role::Load, Unit::Percent, load),
        ],
    }
}

/// Logs are written in tenths of a microsecond.
fn whole_ns(seconds: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "durations are a few seconds at most")]
    let tenths = (seconds * 1e7).round() as i64;
    tenths.max(1) * 100
}
