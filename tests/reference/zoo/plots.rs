//! The kinds of log beyond stamps beside durations.

use super::columns::{Column, MS, Pen, S, Stamps, US, back, frames_log, rows_log, scaled};
use super::layouts::{Log, Truth};
use super::words::Is;

/// Starts of frames that follow on each other, ns.
fn starts(frames: &[i64]) -> Vec<i64> {
    frames.iter().scan(0, |at, ns| Some(std::mem::replace(at, *at + ns))).collect()
}

/// Differences, with a last 0 for the frame that never ends.
fn steps(stamps: &[i64]) -> Vec<i64> {
    stamps.windows(2).map(|w| w[1] - w[0]).chain([0]).collect()
}

impl Pen<'_> {
    /// Near enough for rates written with few digits, ns.
    fn rates(&mut self, frames: &[i64], digits: u32) -> Column {
        let cells = frames.iter().map(|ns| {
            let scaled = (1_000_000_000_i128 * 10_i128.pow(digits) + i128::from(*ns) / 2) / i128::from(*ns);
            self.draw.clothes.number(i64::try_from(scaled).unwrap(), digits)
        });
        let cells = cells.collect();
        self.column(Is::Rate, "", cells)
    }

    pub fn stamps_only(&mut self, frames: &[i64]) -> Log {
        let how = match self.draw.dice.below(4) {
            0 => self.draw.dice.pick(&[Stamps::IsoZ, Stamps::EpochUs, Stamps::TimeOfDay, Stamps::EpochNs]),
            _ => self.elapsed(),
        };
        let (stamps, at) = self.stamps(&starts(frames), how);
        let mut columns = vec![stamps];
        if self.draw.dice.chance(60) {
            let work: Vec<i64> =
                frames.iter().map(|ns| ns * self.draw.dice.between(700, 950) / 1000).collect();
            let is = self.draw.dice.pick(&[Is::Card, Is::Processor]);
            columns.push(self.durations_in(is, &work, MS, 3).0);
        }
        frames_log(columns, steps(&at), None, Some(0))
    }

    pub fn frame_only(&mut self, frames: &[i64]) -> Log {
        let (column, written) = self.durations(Is::Frame, frames);
        frames_log(vec![column], written, Some(0), None)
    }

    /// Frame time and processor time that nearly agree; only the stamps tell which is which.
    pub fn two_nearby(&mut self, frames: &[i64]) -> Log {
        let how = self.elapsed();
        let (stamps, _) = self.stamps(&starts(frames), how);
        let near: Vec<i64> = frames.iter().map(|ns| ns - self.draw.dice.between(1, 60) * 1000).collect();
        let (processor, _) = self.durations_in(Is::Processor, &near, MS, 4);
        let (frame, written) = self.durations_in(Is::Frame, frames, MS, 4);
        let mut log = frames_log(vec![stamps, processor, frame], written, Some(2), Some(0));
        if self.draw.dice.chance(25) {
            // Without stamps nothing but the header is left.
            log.columns.remove(0);
            (log.durations, log.stamps) = (Some(1), None);
            log.truth.must_ask = self.draw.headless;
        }
        log
    }

    pub fn frame_and_rate(&mut self, frames: &[i64]) -> Log {
        let (frame, written) = self.durations(Is::Frame, frames);
        let rate = self.rates(frames, 3);
        frames_log(vec![frame, rate], written, Some(0), None)
    }

    pub fn rate_only(&mut self, frames: &[i64]) -> Log {
        let digits = self.draw.dice.pick(&[1, 2, 3]);
        let rate = self.rates(frames, digits);
        let mut log = frames_log(vec![rate], frames.to_vec(), Some(0), None);
        log.truth.must_ask = true;
        log.truth.slack_ns = frames.iter().sum::<i64>() / 1000;
        log
    }

    pub fn elapsed_and_rate(&mut self, frames: &[i64]) -> Log {
        let how = self.elapsed();
        let (stamps, at) = self.stamps(&starts(frames), how);
        let rate = self.rates(frames, 2);
        let total: i64 = frames.iter().sum();
        let mut log = frames_log(vec![stamps, rate], steps(&at), None, Some(0));
        // By the rates the last row counts too.
        log.truth.frames.push(vec![(frames.len(), total)]);
        log.truth.slack_ns = total / 1000;
        log
    }

    /// Two programs whose rows are mixed.
    pub fn programs(&mut self, frames: &[i64]) -> Log {
        let share = self.draw.dice.pick(&[2, 3, 9]);
        let (mut at, mut other_at) = (0, 0);
        let mut rows: Vec<(i64, i64, bool)> = Vec::new();
        for (i, &ns) in frames.iter().enumerate() {
            rows.push((at, ns, true));
            at += ns;
            if i % share == 0 {
                let other = ns * i64::try_from(share).unwrap() * 9 / 10;
                rows.push((other_at, other, false));
                other_at += other;
            }
        }
        rows.sort_by_key(|r| r.0);
        let how = self.elapsed();
        let (stamps, _) = self.stamps(&rows.iter().map(|r| r.0).collect::<Vec<_>>(), how);
        let (durations, written) = self.durations(Is::Frame, &rows.iter().map(|r| r.1).collect::<Vec<_>>());
        let names = rows.iter().map(|r| if r.2 { "saltmarsh" } else { "shell" }.to_owned()).collect();
        let program = self.column(Is::Program, "", names);
        let of = |main: bool| {
            let mine: Vec<i64> =
                written.iter().zip(&rows).filter(|(_, r)| r.2 == main).map(|(ns, _)| *ns).collect();
            vec![(mine.len(), mine.iter().sum::<i64>())]
        };
        let truth = Truth { frames: vec![of(true), of(false)], must_ask: true, ..Truth::default() };
        let columns = vec![program, stamps, durations];
        Log { columns, truth, frames: Vec::new(), durations: None, stamps: None, again: None }
    }

    /// Frames that were made and not shown, marked.
    pub fn dropped(&mut self, frames: &[i64]) -> Log {
        let how = self.elapsed();
        let mut log = self.both(frames, how, false);
        let lost: Vec<bool> =
            (0..frames.len()).map(|i| i > 3 && self.draw.dice.chance(2) || i == 7).collect();
        let (yes, no) = self.draw.dice.pick(&[("1", "0"), ("true", "false"), ("yes", "no")]);
        let cells = lost.iter().map(|&l| if l { yes } else { no }.to_owned()).collect();
        let column = self.column(Is::Dropped, "", cells);
        log.columns.push(column);
        // Each row a frame; or only those shown, over the same time.
        let (count, ns) = log.truth.frames[0][0];
        let shown = count - lost.iter().filter(|l| **l).count();
        log.truth.frames.push(vec![(shown, ns)]);
        log.truth.must_ask = !self.draw.headless;
        log.frames.clear();
        log
    }

    pub fn companion(&mut self, count: usize) -> Log {
        let rows = count.min(700);
        let period = self.draw.dice.pick(&[50, 100, 250, 1000]) * 1_000_000;
        let mut at = 0;
        let stamps: Vec<i64> = (0..rows)
            .map(|_| {
                at += period + self.draw.dice.between(-2, 2) * 1_000_000;
                at
            })
            .collect();
        let how = self.draw.dice.pick(&[Stamps::IsoZ, Stamps::IsoBlank, Stamps::Seconds, Stamps::Ms]);
        let (stamps, _) = self.stamps(&stamps, how);
        let columns = vec![stamps, self.power(rows, 1), self.temperature(rows)];
        rows_log(columns, Truth { companion: Some(rows), ..Truth::default() })
    }

    /// Runs and their results.
    pub fn summary(&mut self) -> Log {
        let runs = usize::try_from(self.draw.dice.between(3, 12)).unwrap();
        let led_by_words = self.draw.dice.chance(60);
        let names =
            (1..=runs).map(|i| if led_by_words { format!("run {i}") } else { i.to_string() }).collect();
        let mut columns = vec![Column { name: "run".into(), cells: names }];
        let mut add = |pen: &mut Self, name: &str, from: i64, to: i64, digits: u32| {
            let cells = (0..runs)
                .map(|_| {
                    let v = pen.draw.dice.between(from, to);
                    pen.draw.clothes.number(v, digits)
                })
                .collect();
            columns.push(Column { name: name.to_owned(), cells });
        };
        add(self, "average [fps]", 9000, 14_000, 2);
        add(self, "1% low [fps]", 5000, 8000, 2);
        add(self, "average frame time [ms]", 700, 1100, 2);
        if self.draw.dice.chance(50) {
            add(self, "p99 frame time [ms]", 1500, 2500, 2);
            add(self, "power, mean [W]", 25_000, 45_000, 2);
        }
        rows_log(columns, Truth { none: true, ..Truth::default() })
    }

    /// The header stands again where the logger was started again.
    pub fn restart(&mut self, frames: &[i64]) -> Log {
        let half = frames.len() / 2;
        let how = self.elapsed();
        let mut at = starts(&frames[..half]);
        at.extend(starts(&frames[half..]));
        let (stamps, _) = self.stamps(&at, how);
        let (durations, written) = self.durations(Is::Frame, frames);
        let sum = |part: &[i64]| (part.len(), part.iter().sum::<i64>());
        let truth =
            Truth { frames: vec![vec![sum(&written[..half]), sum(&written[half..])]], ..Truth::default() };
        Log {
            columns: vec![stamps, durations],
            truth,
            frames: written,
            durations: Some(1),
            stamps: Some(0),
            again: Some(half),
        }
    }

    /// The header names another unit than the numbers have.
    pub fn wrong_unit(&mut self, frames: &[i64]) -> Log {
        let digits = 4;
        let written: Vec<i64> = frames.iter().map(|&ns| scaled(ns, MS, digits)).collect();
        let cells = written.iter().map(|&v| self.draw.clothes.number(v, digits)).collect();
        let wrong = self.draw.dice.pick(&["s", "us"]);
        if self.draw.style == super::words::UnitStyle::Missing {
            self.draw.style = super::words::UnitStyle::Square;
        }
        let durations = self.column(Is::Frame, wrong, cells);
        let written: Vec<i64> = written.iter().map(|&v| back(v, MS, digits)).collect();
        if self.draw.dice.chance(50) {
            let how = self.elapsed();
            let (stamps, _) = self.stamps(&starts(frames), how);
            let mut log = frames_log(vec![stamps, durations], written, Some(1), Some(0));
            log.truth.must_ask = true;
            return log;
        }
        let mut log = frames_log(vec![durations], written, Some(0), None);
        log.truth.must_ask = true;
        log
    }

    /// A frame log that repeats what its sensors said last.
    pub fn held_sensors(&mut self, frames: &[i64]) -> Log {
        let mut log =
            if self.draw.dice.chance(50) { self.stamps_only(frames) } else { self.frame_only(frames) };
        let (power, temperature) = (self.power(frames.len(), 12), self.temperature(frames.len()));
        log.columns.extend([power, temperature]);
        log
    }

    /// A second column whose running sum is a third.
    pub fn second_sum(&mut self, frames: &[i64]) -> Log {
        let how = self.elapsed();
        let mut log = self.both(frames, how, false);
        let work: Vec<i64> = frames.iter().map(|ns| ns * self.draw.dice.between(400, 700) / 1000).collect();
        let (each, written) = self.durations_in(Is::Processor, &work, US, 1);
        let sums: Vec<i64> = starts(&written);
        let cells = sums.iter().map(|&ns| self.draw.clothes.number(scaled(ns, S, 7), 7)).collect();
        let total = self.column(Is::Processor, "s", cells);
        let energy: Vec<String> =
            starts(frames).iter().map(|ns| self.draw.clothes.number(ns / 3_000_000, 3)).collect();
        let energy = self.column(Is::Other, "J", energy);
        log.columns.extend([each, total, energy]);
        log.truth.must_ask = self.draw.headless;
        log
    }

    /// A rate sampled each second: no frames in it.
    pub fn sampled_rate(&mut self) -> Log {
        let rows = usize::try_from(self.draw.dice.between(20, 300)).unwrap();
        let at: Vec<i64> = (0..rows).map(|i| i64::try_from(i).unwrap() * 1_000_000_000).collect();
        let (stamps, _) = self.stamps(&at, Stamps::Seconds);
        let cells = (0..rows).map(|_| {
            let v = self.draw.dice.between(5500, 6500);
            self.draw.clothes.number(v, 2)
        });
        let cells = cells.collect();
        let rate = self.column(Is::Rate, "", cells);
        rows_log(vec![stamps, rate], Truth { none: true, companion: Some(rows), ..Truth::default() })
    }
}
