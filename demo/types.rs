//! The plain data of the demo: what a team would have entered and recorded. Rows refer to each other by index.

use jiff::Timestamp;

use crate::decided::{Decision, DemoQuote};
use crate::earlier::Earlier;
use crate::frames::Recipe;
use crate::readings::{DemoReading, ReadingKind};
use crate::soaks::DemoSoak;
use crate::truth::Truth;

/// All there is of the demo.
#[derive(Clone, Debug)]
pub struct Demo {
    /// The team.
    pub team: Team,
    /// Test machines.
    pub rigs: Vec<Rig>,
    /// Models under test.
    pub parts: Vec<Part>,
    /// Samples in hand.
    pub units: Vec<Unit>,
    /// Dated drivers.
    pub drivers: Vec<Driver>,
    /// Dated prices.
    pub prices: Vec<Price>,
    /// Games and the passages measured in them.
    pub scenes: Vec<Scene>,
    /// Picture settings.
    pub settings: Vec<Setting>,
    /// How parts are run; each part has `stock`.
    pub tunings: Vec<Tuning>,
    /// Tuning x scene x setting.
    pub cells: Vec<DemoCell>,
    /// The article being worked on.
    pub piece: Piece,
    /// The kinds of reader that it asks for.
    pub readers: Vec<Reader>,
    /// All passes, in the order in which they were recorded.
    pub passes: Vec<DemoPass>,
    /// What it reads off instruments.
    pub reading_kinds: Vec<ReadingKind>,
    /// What it read, oldest first.
    pub readings: Vec<DemoReading>,
    /// Sensor logs of parts that run warm.
    pub soaks: Vec<DemoSoak>,
    /// What is carried over from a piece of six weeks ago.
    pub earlier: Option<Earlier>,
    /// What the methods page says of how it worked.
    pub notes: Notes,
    /// Numbers of makers and data sheets that nobody measured.
    pub quotes: Vec<DemoQuote>,
    /// What the team has decided so far, in this order.
    pub decisions: Vec<Decision>,
    /// What is true of all this.
    pub truth: Truth,
}

/// Notes of method.
#[derive(Clone, Copy, Debug)]
pub struct Notes {
    /// How settings were checked.
    pub settings: &'static str,
    /// Caches cold or warm.
    pub caches: &'static str,
    /// In which order things were run.
    pub order: &'static str,
    /// Samples, sponsors and other ties.
    pub disclosure: &'static str,
}

/// The invented team.
#[derive(Clone, Debug)]
pub struct Team {
    /// Its name.
    pub name: &'static str,
    /// Its people; the first one is the owner.
    pub people: Vec<Person>,
}

/// Somebody who signs in.
#[derive(Clone, Debug)]
pub struct Person {
    /// Name to sign in with.
    pub name: &'static str,
    /// `owner`, `member` or `guest`.
    pub role: &'static str,
    /// Password in the demo store only.
    pub password: &'static str,
}

/// A test machine.
#[derive(Clone, Debug)]
pub struct Rig {
    /// Name, also used in file names.
    pub name: &'static str,
    /// What to know about it.
    pub note: &'static str,
    /// Its bases, oldest first.
    pub bases: Vec<Base>,
}

/// The base of a rig from a moment on.
#[derive(Clone, Debug)]
pub struct Base {
    /// Since when.
    pub from: Timestamp,
    /// Main board.
    pub board: &'static str,
    /// Processor.
    pub processor: &'static str,
    /// Memory.
    pub memory: &'static str,
    /// Build of the operating system.
    pub os_build: &'static str,
    /// Firmware of the board.
    pub firmware: &'static str,
    /// Cooling.
    pub cooling: &'static str,
    /// `open bench` or `case`.
    pub enclosure: &'static str,
    /// IANA time zone.
    pub time_zone: &'static str,
}

/// A model under test.
#[derive(Clone, Debug)]
pub struct Part {
    /// Invented maker.
    pub maker: &'static str,
    /// Model.
    pub model: &'static str,
    /// Name in file names.
    pub slug: &'static str,
    /// Kind of part: `card`.
    pub kind: &'static str,
    /// Rated power limit, watts.
    pub rated_power_w: u32,
    /// Memory, MiB.
    pub memory_mib: u32,
    /// What to know about it.
    pub note: &'static str,
}

/// The sample in hand.
#[derive(Clone, Debug)]
pub struct Unit {
    /// Index into `parts`.
    pub part: usize,
    /// Short name.
    pub label: &'static str,
    /// Serial number.
    pub serial: &'static str,
    /// `bought` or `lent`.
    pub origin: &'static str,
    /// Who lent it; empty for a bought one.
    pub lender: &'static str,
    /// On which terms.
    pub terms: &'static str,
    /// Firmware.
    pub firmware: &'static str,
}

/// The dated driver of a part.
#[derive(Clone, Debug)]
pub struct Driver {
    /// Index into `parts`.
    pub part: usize,
    /// Version.
    pub name: &'static str,
    /// Date of release.
    pub dated: Timestamp,
}

/// A dated price.
#[derive(Clone, Debug)]
pub struct Price {
    /// Index into `parts`.
    pub part: usize,
    /// Decimal text.
    pub amount: &'static str,
    /// ISO 4217 code.
    pub currency: &'static str,
    /// `list` or `street`.
    pub kind: &'static str,
    /// ISO 3166 code.
    pub country: &'static str,
    /// Where it was read.
    pub source: &'static str,
    /// When it was read.
    pub dated: Timestamp,
}

/// A game and the repeatable passage measured in it.
#[derive(Clone, Debug)]
pub struct Scene {
    /// Invented game.
    pub game: &'static str,
    /// Passage.
    pub passage: &'static str,
    /// Name in file names.
    pub slug: &'static str,
    /// `built-in`, `replay` or `by hand`.
    pub kind: &'static str,
    /// When to start the recording.
    pub start_cue: &'static str,
    /// Start of the standard window, ns from the first frame.
    pub window_start_ns: i64,
    /// End of the standard window, ns from the first frame.
    pub window_end_ns: i64,
    /// What to know about it.
    pub note: &'static str,
    /// Dated builds of the game, oldest first.
    pub builds: Vec<Build>,
}

/// A game's dated build.
#[derive(Clone, Debug)]
pub struct Build {
    /// Version.
    pub name: &'static str,
    /// Date of release.
    pub dated: Timestamp,
}

/// Picture settings.
#[derive(Clone, Debug)]
pub struct Setting {
    /// Name.
    pub name: &'static str,
    /// Name in file names.
    pub slug: &'static str,
    /// Width of the picture, pixels.
    pub width_px: u32,
    /// Height of the picture, pixels.
    pub height_px: u32,
    /// Quality preset.
    pub preset: &'static str,
    /// Ray tracing, in words; empty: as the scene has it.
    pub ray_tracing: &'static str,
    /// Upscaling, in words; empty: none.
    pub upscaling: &'static str,
    /// Shown frames for each rendered one, 1 to 4.
    pub generated: u32,
}

/// How a part is run.
#[derive(Clone, Debug)]
pub struct Tuning {
    /// Index into `parts`.
    pub part: usize,
    /// Name; `stock` for each part's own.
    pub name: &'static str,
    /// What file names add to the part's name; empty for stock.
    pub slug: &'static str,
    /// Power limit, watts; `None`: the part's own.
    pub power_limit_w: Option<u32>,
    /// Offset of the core clock, MHz.
    pub core_offset_mhz: i32,
    /// Offset of the memory clock, MHz.
    pub memory_offset_mhz: i32,
}

/// Tuning x scene x setting; the part is the tuning's.
#[derive(Clone, Debug)]
pub struct DemoCell {
    /// Index into `tunings`.
    pub tuning: usize,
    /// Index into `scenes`.
    pub scene: usize,
    /// Index into `settings`.
    pub setting: usize,
    /// Why it did not run, in words; empty: it runs.
    pub did_not_run: &'static str,
}

/// The piece: it selects all cells.
#[derive(Clone, Debug)]
pub struct Piece {
    /// Title.
    pub name: &'static str,
    /// What may differ by design: `card`.
    pub kind: &'static str,
    /// When it has to be finished.
    pub deadline: Timestamp,
    /// IANA name in which the deadline was said.
    pub deadline_zone: &'static str,
    /// Passes wanted in each cell.
    pub passes_wanted: u32,
    /// Part that others are compared with, index into `parts`.
    pub baseline: usize,
    /// The one driver declared for each part, indices into `drivers` in the order of `parts`.
    pub drivers: Vec<usize>,
}

/// A kind of reader.
#[derive(Clone, Debug)]
pub struct Reader {
    /// Name.
    pub name: &'static str,
    /// The part they own, index into `parts`; `None`: they buy new.
    pub owns: Option<usize>,
    /// `average` or `low`.
    pub judges_by: &'static str,
    /// The lead that they ask for, per cent.
    pub asks_percent: u32,
    /// Refresh rate of their screen, Hz.
    pub refresh_hz: u32,
    /// Hours they play a week.
    pub hours_a_week: u32,
    /// Price of a kilowatt-hour, decimal text.
    pub kwh_price: &'static str,
    /// Its currency, ISO 4217 code.
    pub kwh_currency: &'static str,
    /// Indices into `scenes` with weights.
    pub scenes: Vec<(usize, u32)>,
    /// Indices into `settings` with weights.
    pub settings: Vec<(usize, u32)>,
    /// Whether the Curlew is worth it to them: `yes`, `no` or `not measured`.
    pub answer: &'static str,
}

/// One repetition of a cell. Its bytes are made when asked for.
#[derive(Clone, Debug)]
pub struct DemoPass {
    /// Index into `cells`.
    pub cell: usize,
    /// Index into `rigs`.
    pub rig: usize,
    /// Index into the rig's `bases`.
    pub base: usize,
    /// Index into `units`.
    pub unit: usize,
    /// Index into `drivers`.
    pub driver: usize,
    /// Index into the scene's `builds`.
    pub build: usize,
    /// Number within its cell, from 1, in the order of recording, over all rigs.
    pub number: u32,
    /// `{part}_{scene}_{setting}_{rig}_p{n}.csv`.
    pub file_name: String,
    /// The same with `_sensors` before the ending; `None` where the sensor logger did not run.
    pub sensors_name: Option<String>,
    /// Wall-clock start of its first frame, whole milliseconds. Some layouts do not hold it.
    pub start: Timestamp,
    pub(crate) recipe: Recipe,
}
