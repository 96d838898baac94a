//! What the team recorded for a piece six weeks ago and carries over: a card that nobody has the time to run again, on the
//! driver of then, and three of its cells that were run again today on the driver of now.

use jiff::{SignedDuration, Timestamp};

use crate::frames::Recipe;
use crate::logs::Layout;
use crate::random::Random;
use crate::registers::{ALDER, COMET, DRIFTGLASS, LAMPS, NATIVE, NS_PER_S, ORCHARD, VELLUM, hours_before};
use crate::truth::{CellTruth, dunlin_at};
use crate::types::{DemoPass, Driver, Part, Scene, Setting, Unit};

/// Rate of the card against the Dunlin's, in every scene.
const RATE: f64 = 0.82;
/// What the driver of now takes from it where lamps are traced: the check of that cell fails.
pub const DRIVER_LOSS: f64 = 0.94;

/// A card of an earlier piece.
#[derive(Clone, Debug)]
pub struct Earlier {
    /// Title of the piece that it was recorded for.
    pub piece: &'static str,
    /// The card.
    pub part: Part,
    /// The sample.
    pub unit: Unit,
    /// Its drivers: of then and of now.
    pub drivers: [Driver; 2],
    /// Its cells at stock and at the native setting: indices into the scenes.
    pub scenes: Vec<usize>,
    /// Recorded then. `cell` is an index into `scenes`, `driver` into `drivers`; `unit` is 0.
    pub passes: Vec<DemoPass>,
    /// When it was carried over.
    pub carried: Timestamp,
    /// Why.
    pub reason: &'static str,
    /// Recorded since, in three of the cells; as `passes`.
    pub fresh: Vec<DemoPass>,
    /// Scene whose check does not hold, index into the scenes.
    pub fails: usize,
}

impl Earlier {
    /// Average frame rate of a cell then, fps.
    pub fn then_fps(scene: usize) -> f64 {
        RATE * dunlin_at(scene).average_fps
    }

    /// The same now.
    pub fn now_fps(scene: usize) -> f64 {
        Self::then_fps(scene) * if scene == LAMPS { DRIVER_LOSS } else { 1.0 }
    }
}

/// The card, up to `now`.
pub fn earlier(seed: u64, now: Timestamp, scenes: &[Scene], settings: &[Setting]) -> Earlier {
    let all: Vec<usize> = (VELLUM..=COMET).collect();
    let driver = |name, days: i64| Driver { part: 0, name, dated: hours_before(now, 24 * days) };
    let make = |hours: i64, cells: &[usize], driver: usize, from: u32| {
        let mut start = hours_before(now, hours);
        let mut passes = Vec::new();
        for &cell in cells {
            start += SignedDuration::from_secs(95);
            for number in from..from + repeats(cell) {
                let stream = 900_000 + u64::from(number) * 100 + cell as u64;
                passes.push(pass((seed, stream), (scenes, settings), (cell, driver, number), start));
                start += SignedDuration::from_secs(75);
            }
        }
        passes
    };
    Earlier {
        piece: "Cards of the early autumn",
        part: Part {
            maker: "Ullmere",
            model: "Rowlock",
            slug: "rowlock",
            kind: "card",
            rated_power_w: 290,
            memory_mib: 16_384,
            note: "Recorded six weeks ago.",
        },
        unit: Unit {
            part: 0,
            label: "Rowlock #1",
            serial: "UR-29-00412",
            origin: "bought",
            lender: "",
            terms: "",
            firmware: "2.9",
        },
        drivers: [driver("7.09.1", 58), driver("7.11.3", 20)],
        passes: make(44 * 24, &all, 0, 1),
        carried: hours_before(now, 6),
        reason: "no bench time before the deadline",
        fresh: make(4, &[LAMPS, ORCHARD, COMET], 1, 4),
        fails: LAMPS,
        scenes: all,
    }
}

/// Nobody repeats a scene played by hand as exactly as a replay.
fn repeats(scene: usize) -> u32 {
    if scene == DRIFTGLASS { 5 } else { 3 }
}

fn pass(
    (seed, stream): (u64, u64),
    (scenes, settings): (&[Scene], &[Setting]),
    (cell, driver, number): (usize, usize, u32),
    start: Timestamp,
) -> DemoPass {
    let scene = &scenes[cell];
    let mut random = Random::new(seed, 500_000 + stream);
    let dunlin = dunlin_at(cell);
    let loss = if driver == 1 { Earlier::now_fps(cell) / Earlier::then_fps(cell) } else { 1.0 };
    let chance = libm::exp(dunlin.spread * random.normal()) * RATE * loss;
    let level = CellTruth {
        average_fps: dunlin.average_fps * chance,
        low_1_quantile_fps: dunlin.low_1_quantile_fps * chance * libm::exp(0.004 * random.normal()),
        power_w: dunlin.power_w * 0.72,
        ..dunlin
    };
    let start = start + SignedDuration::from_millis(crate::frames::whole(random.between(0.0, 9_000.0)));
    let stem = format!("rowlock_{}_{}_alder_p{number}", scene.slug, settings[NATIVE].slug);
    DemoPass {
        cell,
        rig: ALDER,
        base: 0,
        unit: 0,
        driver,
        build: 0,
        number,
        file_name: format!("{stem}.csv"),
        sensors_name: None,
        start,
        recipe: Recipe {
            seed,
            stream,
            scene: cell,
            by_hand: scene.kind == "by hand",
            level,
            generated: 1,
            length_ns: 30 * NS_PER_S + crate::frames::whole(random.between(0.0, 8e8)),
            window_ns: (scene.window_start_ns, scene.window_end_ns),
            fault: None,
            clock_mhz: 2_610.0,
            settles_at_c: 58.0 + 0.03 * level.power_w,
            layout: Layout::Bench,
            wall_start_ns: start.as_second() * NS_PER_S + i64::from(start.subsec_nanosecond()),
        },
    }
}
