//! The layouts: each seed gives the bytes of one log and what is true of it.

use super::columns::{Column, Pen, Stamps};
use super::dice::Dice;
use super::dress::Clothes;
use super::words::{Tongue, UnitStyle};

/// One log with its truth.
pub struct Animal {
    pub seed: u64,
    pub says: String,
    pub bytes: Vec<u8>,
    pub truth: Truth,
}

/// What is true of a log.
#[derive(Clone, Debug, Default)]
pub struct Truth {
    /// Readings that are right: frames and their time (ns) of each segment.
    pub frames: Vec<Vec<(usize, i64)>>,
    /// Rows, where it is a companion.
    pub companion: Option<usize>,
    /// Nothing in it can be read as frames.
    pub none: bool,
    /// Nothing in it says which of several readings is right: it has to be asked.
    pub must_ask: bool,
    /// By how much a sum of times may miss for the digits written, ns.
    pub slack_ns: i64,
}

/// What kind of log it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Plot {
    ElapsedAndFrame,
    StampsOnly,
    FrameOnly,
    Wall,
    Epoch,
    Midnight,
    TwoNearby,
    FrameAndRate,
    RateOnly,
    ElapsedAndRate,
    Programs,
    Dropped,
    Companion,
    Summary,
    Restart,
    WrongUnit,
    HeldSensors,
    Lagged,
    SecondSum,
    SampledRate,
    NoFrames,
}

pub const PLOTS: [Plot; 21] = [
    Plot::ElapsedAndFrame,
    Plot::StampsOnly,
    Plot::FrameOnly,
    Plot::Wall,
    Plot::Epoch,
    Plot::Midnight,
    Plot::TwoNearby,
    Plot::FrameAndRate,
    Plot::RateOnly,
    Plot::ElapsedAndRate,
    Plot::Programs,
    Plot::Dropped,
    Plot::Companion,
    Plot::Summary,
    Plot::Restart,
    Plot::WrongUnit,
    Plot::HeldSensors,
    Plot::Lagged,
    Plot::SecondSum,
    Plot::SampledRate,
    Plot::NoFrames,
];

/// Everything that is drawn for one log.
pub struct Draw {
    pub dice: Dice,
    pub clothes: Clothes,
    pub tongue: Tongue,
    pub style: UnitStyle,
    pub headless: bool,
    pub plot: Plot,
}

/// A log under way: its columns, its rows' truth.
pub struct Log {
    pub columns: Vec<Column>,
    pub truth: Truth,
    /// Durations as written, ns; empty where the rows are no frames.
    pub frames: Vec<i64>,
    /// Column of the durations and of the stamps, before any shuffling.
    pub durations: Option<usize>,
    pub stamps: Option<usize>,
    /// Row before which the header stands again.
    pub again: Option<usize>,
}

/// The log of a seed.
pub fn animal(seed: u64) -> Animal {
    let mut dice = Dice::new(seed);
    let plot = PLOTS[usize::try_from(seed % PLOTS.len() as u64).unwrap()];
    let clothes = Clothes::draw(&mut dice);
    let tongue =
        dice.pick(&[Tongue::English, Tongue::English, Tongue::German, Tongue::French, Tongue::Spanish]);
    let style = dice.pick(&[
        UnitStyle::Square,
        UnitStyle::Round,
        UnitStyle::Underscore,
        UnitStyle::Comma,
        UnitStyle::Slash,
        UnitStyle::In,
        UnitStyle::Missing,
    ]);
    let headless = dice.chance(8) && !matches!(plot, Plot::Summary | Plot::Restart | Plot::WrongUnit);
    let mut draw = Draw { dice, clothes, tongue, style, headless, plot };
    if plot == Plot::NoFrames {
        return draw.no_frames(seed);
    }
    let mut log = draw.log();
    draw.distract(&mut log);
    draw.finish(seed, log)
}

impl Draw {
    fn log(&mut self) -> Log {
        let count = usize::try_from(self.dice.pick(&[90, 240, 700, 1500, 5200])).unwrap();
        let fps = self.dice.pick(&[31, 48, 60, 75, 118, 144, 240, 390]);
        let frames = self.dice.frames(count, fps);
        let mut pen = Pen { draw: self };
        match pen.draw.plot {
            Plot::Wall => {
                let stamps = pen.draw.dice.pick(&[
                    Stamps::IsoZ,
                    Stamps::IsoOffset,
                    Stamps::IsoBlank,
                    Stamps::DayFirst,
                ]);
                pen.both(&frames, stamps, false)
            }
            Plot::Epoch => {
                let stamps =
                    pen.draw.dice.pick(&[Stamps::EpochS, Stamps::EpochMs, Stamps::EpochUs, Stamps::EpochNs]);
                pen.both(&frames, stamps, false)
            }
            Plot::Midnight => pen.both(&frames, Stamps::TimeOfDay, false),
            Plot::Lagged => {
                let stamps = pen.elapsed();
                pen.both(&frames, stamps, true)
            }
            Plot::StampsOnly => pen.stamps_only(&frames),
            Plot::FrameOnly => pen.frame_only(&frames),
            Plot::TwoNearby => pen.two_nearby(&frames),
            Plot::FrameAndRate => pen.frame_and_rate(&frames),
            Plot::RateOnly => pen.rate_only(&frames),
            Plot::ElapsedAndRate => pen.elapsed_and_rate(&frames),
            Plot::Programs => pen.programs(&frames),
            Plot::Dropped => pen.dropped(&frames),
            Plot::Companion => pen.companion(count),
            Plot::Summary => pen.summary(),
            Plot::Restart => pen.restart(&frames),
            Plot::WrongUnit => pen.wrong_unit(&frames),
            Plot::HeldSensors => pen.held_sensors(&frames),
            Plot::SecondSum => pen.second_sum(&frames),
            Plot::SampledRate => pen.sampled_rate(),
            Plot::ElapsedAndFrame | Plot::NoFrames => {
                let stamps = pen.elapsed();
                pen.both(&frames, stamps, false)
            }
        }
    }

    /// Columns that say nothing about frames.
    fn distract(&mut self, log: &mut Log) {
        let rows = log.columns[0].cells.len();
        if matches!(self.plot, Plot::Summary) {
            return;
        }
        for _ in 0..self.dice.below(4) {
            let mut pen = Pen { draw: self };
            let column = match pen.draw.dice.below(7) {
                0 => pen.counter(rows),
                1 => pen.constant(rows),
                2 => pen.text(rows),
                3 => pen.program(rows),
                4 => pen.noise(rows),
                5 if !log.frames.is_empty() => pen.latency(&log.frames),
                _ => pen.power(rows, 9),
            };
            log.columns.push(column);
        }
    }

    fn finish(mut self, seed: u64, mut log: Log) -> Animal {
        self.spoil(&mut log);
        let mut order: Vec<usize> = (0..log.columns.len()).collect();
        if self.plot != Plot::Summary && self.dice.chance(50) {
            self.dice.shuffle(&mut order);
        }
        let header: Vec<String> = order.iter().map(|&c| log.columns[c].name.clone()).collect();
        let mut lines = self.clothes.head(&mut self.dice);
        if !self.headless {
            lines.push(self.clothes.line(&header));
            if self.clothes.blank_before_rows {
                lines.push(String::new());
            }
        }
        let rows = log.columns[0].cells.len();
        let talks = self.clothes.commented && self.dice.chance(60);
        for row in 0..rows {
            if log.again == Some(row) && !self.headless {
                lines.push(self.clothes.line(&header));
            }
            if talks && row > 2 && row % 97 == 5 {
                lines.push("# scene change".to_owned());
            }
            let cells: Vec<String> = order.iter().map(|&c| log.columns[c].cells[row].clone()).collect();
            lines.push(self.clothes.line(&cells));
        }
        self.end(&mut lines, &mut log, header.len());
        let says = format!(
            "{:?} {:?} {:?} headless {} {:?}",
            self.plot, self.tongue, self.style, self.headless, self.clothes
        );
        Animal { seed, says, bytes: self.clothes.bytes(&lines), truth: log.truth }
    }

    /// A row without its last cells, or lines that sum the log up.
    fn end(&mut self, lines: &mut Vec<String>, log: &mut Log, width: usize) {
        let frames = !log.frames.is_empty();
        if self.dice.chance(12) && frames && width > 1 && self.plot != Plot::Programs {
            let last = lines.last_mut().unwrap();
            let cut = last.rfind(self.clothes.delimiter).unwrap_or(0);
            last.truncate(cut.max(1));
            self.clothes.last_end = false;
            log.lose(log.frames.len() - 1);
        } else if self.dice.chance(10) && self.plot != Plot::Summary {
            self.clothes.last_end = true;
            if self.dice.chance(50) {
                lines.push(String::new());
            }
            let mut cells = vec![self.dice.pick(&["average", "Mittelwert", "mean", "Total:"]).to_owned()];
            cells.resize(width, self.clothes.number(16_667, 3));
            lines.push(self.clothes.line(&cells));
        }
    }

    /// Cells that hold no time.
    fn spoil(&mut self, log: &mut Log) {
        if !self.dice.chance(25)
            || log.frames.is_empty()
            || matches!(self.plot, Plot::Programs | Plot::Dropped)
        {
            return;
        }
        let Some(column) = log.durations.or(log.stamps) else { return };
        let bad: &[&str] =
            if log.durations.is_some() { &["NaN", "", "-3", "0", "inf", "1e999"] } else { &["", "NaN"] };
        let rows = log.frames.len();
        for k in 1..=usize::try_from(self.dice.between(1, 3)).unwrap() {
            let row = rows * k / 5 + 3;
            // Rows of their own: two spoilt neighbours would share a frame.
            if log.again.is_some_and(|again| row.abs_diff(again) < 4) {
                continue;
            }
            log.columns[column].cells[row] = self.dice.pick(bad).to_owned();
            log.lose(row);
            if log.durations.is_none() {
                log.lose(row - 1);
            }
        }
    }

    fn no_frames(&mut self, seed: u64) -> Animal {
        let (says, bytes): (&str, Vec<u8>) = match self.dice.below(7) {
            0 => ("empty", Vec::new()),
            1 => ("blank", b"\n\r\n  \n".to_vec()),
            2 => ("binary", (0..4000_u32).map(|i| (i * 37 % 251) as u8).collect()),
            3 => ("header only", b"time [s],frame time [ms],power [W]\n".to_vec()),
            4 => ("letter", "Dear reader,\nnothing here is a number.\nYours\n".repeat(9).into_bytes()),
            5 => (
                "sentences with numbers",
                "At 10 we met; 3 of us, then 4.\nNobody, 7 or 8, left\n".repeat(5).into_bytes(),
            ),
            _ => ("settings", "width=3840\nheight=2160\ncap=0\nname=alder\n".to_owned().into_bytes()),
        };
        let truth = Truth { none: true, ..Truth::default() };
        Animal { seed, says: format!("NoFrames {says}"), bytes, truth }
    }
}

impl Log {
    /// A frame that cannot be had.
    pub fn lose(&mut self, frame: usize) {
        let alone = self.durations.is_none();
        // Stamps alone: the last row begins a frame that never ends.
        if alone && frame + 1 >= self.frames.len() {
            // Losing the last stamp loses the frame that it would have ended.
            self.lose(frame - 1);
            return;
        }
        let ns = std::mem::take(&mut self.frames[frame]);
        if ns == 0 {
            return;
        }
        for reading in &mut self.truth.frames {
            let mut first = self.again.unwrap_or(usize::MAX);
            for segment in reading.iter_mut() {
                if frame < first {
                    segment.0 -= 1;
                    segment.1 -= ns;
                    break;
                }
                first = usize::MAX;
            }
        }
    }
}
