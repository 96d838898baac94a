//! The columns of the layouts, with what is true of them.

use super::layouts::{Draw, Log, Truth};
use super::words::{Is, header};

/// A column as it will be written.
pub struct Column {
    pub name: String,
    pub cells: Vec<String>,
}

/// How stamps are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stamps {
    Seconds,
    Ms,
    Us,
    Ns,
    EpochS,
    EpochMs,
    EpochUs,
    EpochNs,
    IsoZ,
    IsoOffset,
    IsoBlank,
    DayFirst,
    TimeOfDay,
}

/// A unit of time with its power of ten in ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unit(pub &'static str, pub u32);

pub const S: Unit = Unit("s", 9);
pub const MS: Unit = Unit("ms", 6);
pub const US: Unit = Unit("us", 3);
pub const NS: Unit = Unit("ns", 0);

/// ns rounded to whole `10^-digits` of a unit.
pub fn scaled(ns: i64, unit: Unit, digits: u32) -> i64 {
    if digits >= unit.1 {
        return ns * 10_i64.pow(digits - unit.1);
    }
    let divisor = 10_i64.pow(unit.1 - digits);
    (ns + divisor / 2).div_euclid(divisor)
}

/// What whole `10^-digits` of a unit are in ns.
pub fn back(scaled: i64, unit: Unit, digits: u32) -> i64 {
    if digits >= unit.1 { scaled / 10_i64.pow(digits - unit.1) } else { scaled * 10_i64.pow(unit.1 - digits) }
}

/// Writes columns.
pub struct Pen<'a> {
    pub draw: &'a mut Draw,
}

impl Pen<'_> {
    pub fn column(&mut self, is: Is, unit: &str, cells: Vec<String>) -> Column {
        let name = header(&mut self.draw.dice, is, unit, self.draw.tongue, self.draw.style);
        Column { name, cells }
    }

    pub fn elapsed(&mut self) -> Stamps {
        self.draw.dice.pick(&[Stamps::Seconds, Stamps::Seconds, Stamps::Ms, Stamps::Us, Stamps::Ns])
    }

    /// Durations in a unit, and the ns that they are as written.
    pub fn durations(&mut self, is: Is, frames: &[i64]) -> (Column, Vec<i64>) {
        let (unit, digits) =
            self.draw.dice.pick(&[(MS, 4), (MS, 3), (MS, 2), (US, 0), (US, 1), (S, 6), (S, 7), (NS, 0)]);
        self.durations_in(is, frames, unit, digits)
    }

    pub fn durations_in(&mut self, is: Is, frames: &[i64], unit: Unit, digits: u32) -> (Column, Vec<i64>) {
        let written: Vec<i64> = frames.iter().map(|&ns| scaled(ns, unit, digits)).collect();
        let cells = written.iter().map(|&v| self.draw.clothes.number(v, digits)).collect();
        (self.column(is, unit.0, cells), written.iter().map(|&v| back(v, unit, digits)).collect())
    }

    /// Stamps from `starts` (ns), and the ns that they are as written.
    pub fn stamps(&mut self, starts: &[i64], how: Stamps) -> (Column, Vec<i64>) {
        let offset = match how {
            Stamps::Seconds | Stamps::Ms | Stamps::Us | Stamps::Ns => {
                self.draw.dice.pick(&[0, 0, 1_697_900, 812_345_678_900, 69_857_249_078_100])
            }
            Stamps::TimeOfDay => 86_399_000_000_000,
            _ => 1_795_559_675_557_512_000,
        };
        let face: Vec<i64> = starts.iter().map(|ns| ns + offset).collect();
        let (unit, digits) = match how {
            Stamps::Seconds | Stamps::EpochS => (S, self.draw.dice.pick(&[5, 6, 7])),
            Stamps::Ms | Stamps::EpochMs => (MS, self.draw.dice.pick(&[2, 3, 4])),
            Stamps::Us | Stamps::EpochUs => (US, self.draw.dice.pick(&[0, 1])),
            Stamps::Ns | Stamps::EpochNs => (NS, 0),
            _ => (S, self.draw.dice.pick(&[6, 7])),
        };
        let written: Vec<i64> = face.iter().map(|&ns| scaled(ns, unit, digits)).collect();
        let cells: Vec<String> = written.iter().map(|&v| self.stamp(v, digits, how)).collect();
        let name = match how {
            Stamps::IsoZ | Stamps::IsoOffset | Stamps::IsoBlank | Stamps::DayFirst | Stamps::TimeOfDay => "",
            _ => unit.0,
        };
        (self.column(Is::Time, name, cells), written.iter().map(|&v| back(v, unit, digits)).collect())
    }

    fn stamp(&self, v: i64, digits: u32, how: Stamps) -> String {
        let power = 10_i64.pow(digits);
        let (s, fraction) = (v.div_euclid(power), v.rem_euclid(power));
        let day = s.rem_euclid(86_400);
        let mark = if how == Stamps::DayFirst { self.draw.clothes.decimal } else { '.' };
        let clock = format!(
            "{:02}:{:02}:{:02}{mark}{fraction:0width$}",
            day / 3600,
            day / 60 % 60,
            day % 60,
            width = digits as usize
        );
        match how {
            Stamps::IsoZ => format!("2026-11-24T{clock}Z"),
            Stamps::IsoOffset => format!("2026-11-24T{clock}+01:00"),
            Stamps::IsoBlank => format!("2026-11-24 {clock}"),
            Stamps::DayFirst => format!("24.11.2026 {clock}"),
            Stamps::TimeOfDay => clock,
            _ => self.draw.clothes.number(v, digits),
        }
    }

    pub fn both(&mut self, frames: &[i64], how: Stamps, at_end: bool) -> Log {
        let starts: Vec<i64> =
            frames.iter().scan(0, |at, ns| Some(std::mem::replace(at, *at + ns))).collect();
        let starts: Vec<i64> =
            if at_end { starts.iter().zip(frames).map(|(at, ns)| at + ns).collect() } else { starts };
        let (stamps, _) = self.stamps(&starts, how);
        let (durations, written) = self.durations(Is::Frame, frames);
        frames_log(vec![stamps, durations], written, Some(1), Some(0))
    }

    pub fn counter(&mut self, rows: usize) -> Column {
        let from = self.draw.dice.pick(&[0, 1, 8123]);
        self.column(Is::Counter, "", (0..rows).map(|i| (from + i).to_string()).collect())
    }

    pub fn constant(&mut self, rows: usize) -> Column {
        let value = self.draw.dice.pick(&["3840", "1", "0", "16"]);
        self.column(Is::Other, "", vec![value.to_owned(); rows])
    }

    pub fn text(&mut self, rows: usize) -> Column {
        let words = self.draw.dice.pick(&["ok", "said \"so\"", "two\nlines", "a, b"]);
        let blank = self.draw.dice.chance(30);
        let cell = |i: usize| if blank && i % 3 == 1 { String::new() } else { words.to_owned() };
        self.column(Is::Other, "", (0..rows).map(cell).collect())
    }

    pub fn program(&mut self, rows: usize) -> Column {
        self.column(Is::Program, "", vec!["saltmarsh".to_owned(); rows])
    }

    pub fn noise(&mut self, rows: usize) -> Column {
        let cells = (0..rows).map(|_| {
            let v = self.draw.dice.between(-500, 9000);
            self.draw.clothes.number(v, 2)
        });
        let cells = cells.collect();
        self.column(Is::Other, "", cells)
    }

    pub fn latency(&mut self, frames: &[i64]) -> Column {
        let late: Vec<i64> =
            frames.iter().map(|ns| ns * 2 + self.draw.dice.between(10, 90) * 10_000).collect();
        self.durations_in(Is::Latency, &late, MS, 2).0
    }

    /// Power that holds for `held` rows.
    pub fn power(&mut self, rows: usize, held: usize) -> Column {
        let mut watts = 30_000;
        let cells: Vec<String> = (0..rows)
            .map(|i| {
                if i % held == 0 {
                    watts = 30_000 + self.draw.dice.between(-2500, 2500);
                }
                self.draw.clothes.number(watts, 2)
            })
            .collect();
        self.column(Is::Power, "W", cells)
    }

    pub fn temperature(&mut self, rows: usize) -> Column {
        let cells =
            (0..rows).map(|i| self.draw.clothes.number(i64::try_from(41 + i % 7).unwrap(), 0)).collect();
        self.column(Is::Temperature, "°C", cells)
    }
}

/// A log of frames whose one right reading are `written`.
pub fn frames_log(
    columns: Vec<Column>,
    written: Vec<i64>,
    durations: Option<usize>,
    stamps: Option<usize>,
) -> Log {
    let used = if durations.is_some() { &written[..] } else { &written[..written.len() - 1] };
    let truth = Truth { frames: vec![vec![(used.len(), used.iter().sum())]], ..Truth::default() };
    Log { columns, truth, frames: written, durations, stamps, again: None }
}

/// A log whose rows are no frames.
pub fn rows_log(columns: Vec<Column>, truth: Truth) -> Log {
    Log { columns, truth, frames: Vec::new(), durations: None, stamps: None, again: None }
}
