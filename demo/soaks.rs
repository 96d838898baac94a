//! Soaks of the invented team: fifteen minutes of sensors without frames. In birch's closed case the Curlew throttles
//! after nine.

use jiff::Timestamp;

use crate::frames::whole;
use crate::logs::{MILLISECOND_NS, Stamps, push_decimal};
use crate::random::Random;
use crate::registers::{ALDER, BIRCH, CURLEW, DUNLIN, NS_PER_S, THOLE, hours_before};

/// Rows of a log, a second apart.
const ROWS: i64 = 900;
/// When the Curlew gives in, s.
pub const THROTTLES_AFTER_S: i64 = 540;

/// A soak: its log and what the team says of it. Rows are indices into the demo's lists.
#[derive(Clone, Copy, Debug)]
pub struct DemoSoak {
    /// Index into `tunings`; stock is the part's own index.
    pub tuning: usize,
    /// Index into `rigs`.
    pub rig: usize,
    /// File name.
    pub file: &'static str,
    /// When it began.
    pub at: Timestamp,
    /// Air before the cooler, degrees Celsius.
    pub ambient_c: &'static str,
    /// Temperature that it settles at, degrees Celsius.
    pub settles_at_c: f64,
    power_w: f64,
    clock_mhz: f64,
    throttles: bool,
    seed: u64,
}

pub fn soaks(seed: u64, now: Timestamp) -> Vec<DemoSoak> {
    let soak = |tuning, rig, file, hours, (settles_at_c, power_w, clock_mhz)| DemoSoak {
        tuning,
        rig,
        file,
        at: hours_before(now, hours),
        ambient_c: if rig == BIRCH { "23.5" } else { "22.0" },
        settles_at_c,
        power_w,
        clock_mhz,
        throttles: rig == BIRCH,
        seed,
    };
    vec![
        soak(CURLEW, BIRCH, "curlew_birch_soak.csv", 80, (83.5, 482.0, 2_690.0)),
        soak(DUNLIN, ALDER, "dunlin_alder_soak.csv", 79, (68.5, 388.0, 2_520.0)),
        soak(THOLE, ALDER, "thole_alder_soak.csv", 32, (66.0, 301.0, 2_840.0)),
    ]
}

impl DemoSoak {
    /// The bytes of its log.
    pub fn log(&self) -> Vec<u8> {
        let mut random = Random::new(self.seed, 900_000 + self.tuning as u64);
        let mut stamps = Stamps::new();
        let mut out =
            b"moment,board power (W),core clock (MHz),core temperature (\xc2\xb0C),load (%)\n".to_vec();
        let start_ns = self.at.as_second() * NS_PER_S;
        for second in 0..ROWS {
            let gives_in = self.throttles && second >= THROTTLES_AFTER_S;
            let (clock, power) = if gives_in { (0.922, 0.91) } else { (1.0, 1.0) };
            let warmth = (self.settles_at_c - 31.0) * libm::exp(-(second as f64) / 115.0);
            let values = [
                (100.0 * self.power_w * power * (1.0 + 0.006 * random.rough_normal()), 2),
                (self.clock_mhz * clock * (1.0 + 0.001 * random.rough_normal()), 0),
                (10.0 * (self.settles_at_c - warmth + 0.12 * random.rough_normal()), 1),
                (97.0 + 0.5 * random.rough_normal(), 0),
            ];
            stamps.push(&mut out, start_ns + second * NS_PER_S, MILLISECOND_NS, 3);
            for (value, places) in values {
                out.push(b',');
                push_decimal(&mut out, whole(value), places, b'.');
            }
            out.push(b'\n');
        }
        out
    }
}
