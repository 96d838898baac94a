//! The rows of a log, streamed once through its layout into recordings.

use std::io::{self, Read};

use jiff::tz::TimeZone;

use super::Segment;
use super::clock::{Timed, seconds};
use super::evidence::place;
use super::layout::{Layout, StampAt};
use super::lines::{Cells, Line, Lines};
use super::number::{self, Cell};
use super::problems::Problems;
use super::table::Table;
use super::tracks::Tracks;
use crate::recording::{Kind, NS_PER_S, Recording, Role};

/// A clock that goes back by this much has started again (or was set); by less, the row is out of order.
const RESTART_NS: i64 = NS_PER_S;

/// What one pass over the rows gives.
#[derive(Debug)]
pub enum Assembled {
    /// Segments in the order of the log; each has rows.
    Segments(Vec<Segment>),
    /// A line is too long to be a row.
    TooLong(u64),
    /// More rows than one log may have.
    TooMany(u64),
}

/// What is done with a log besides its layout.
#[derive(Clone, Copy)]
pub struct Conditions<'a> {
    /// Zone of stamps that name none.
    pub zone: Option<&'a TimeZone>,
    /// Most rows that are taken.
    pub most_rows: usize,
    /// Rows to make room for.
    pub expected_rows: usize,
}

/// Reads all rows. The stream stands at the beginning of the log's text.
///
/// # Errors
/// Those of the source.
pub fn assemble<R: Read>(
    source: R,
    table: &Table,
    layout: &Layout,
    last_digits: Option<i32>,
    conditions: Conditions<'_>,
) -> io::Result<Assembled> {
    let mut lines = Lines::new(source, table.line_end);
    let mut cells = Cells::default();
    let mut rows = Rows::new(layout, table.mark, conditions);
    let width = layout.columns.len();
    let mut count = 0_usize;
    loop {
        let number = lines.number() + 1;
        let Some(line) = lines.advance()? else { break };
        let Line::Text(line, ended) = line else { return Ok(Assembled::TooLong(number)) };
        if number < table.first_row || line.trim_ascii().is_empty() {
            continue;
        }
        count += 1;
        if count > conditions.most_rows {
            return Ok(Assembled::TooMany(number));
        }
        cells.split(line, table.delimiter);
        if !ended && is_cut(&cells, line, width, table.mark, last_digits) {
            rows.problems.add(number, 0, || {
                format!("The last row is cut: {} of {width} columns. It is read without; the recorder was stopped while it wrote.", cells.count())
            });
        } else if cells.count() < width {
            rows.problems.add(number, 0, || {
                format!("The row has {} of {width} columns and is left out.", cells.count())
            });
            rows.lost();
        } else if table.header_line > 0 && repeats_header(&cells, line, layout) {
            rows.restart();
        } else {
            rows.add(number, &cells, line);
        }
    }
    Ok(Assembled::Segments(rows.finish()))
}

/// Whether an unended last row misses cells, or digits of its last number.
fn is_cut(cells: &Cells, line: &[u8], width: usize, mark: u8, last_digits: Option<i32>) -> bool {
    cells.count() < width
        || last_digits.is_some_and(|digits| {
            matches!(number::parse(cells.get(line, width - 1), mark), Cell::Number(n) if n.scale < digits)
                || cells.get(line, width - 1).is_empty()
        })
}

fn repeats_header(cells: &Cells, line: &[u8], layout: &Layout) -> bool {
    let first = cells.get(line, 0);
    first.first().is_some_and(u8::is_ascii_alphabetic)
        && layout.columns.iter().zip(cells.all(line)).all(|(c, cell)| c.name.as_bytes() == cell)
}

/// A row whose end is not known yet: it waits for the next stamp.
#[derive(Clone, Copy)]
struct Waiting {
    line: u64,
    ns: i64,
}

struct Rows<'a> {
    kind: Kind,
    stamp_at: StampAt,
    mark: u8,
    clock: Option<Timed>,
    clock_is_wall: bool,
    durations: Option<Timed>,
    wall: Option<Timed>,
    tracks: Tracks,
    conditions: Conditions<'a>,
    problems: Problems,
    segments: Vec<Segment>,
    // Of the segment under way:
    at_ns: Vec<i64>,
    frame_ns: Vec<i64>,
    wall_start_ns: Option<i64>,
    first_ns: Option<i64>,
    last_stamp_ns: Option<i64>,
    waiting: Option<Waiting>,
    next_at_ns: i64,
}

impl<'a> Rows<'a> {
    fn new(layout: &Layout, mark: u8, conditions: Conditions<'a>) -> Self {
        let clock = layout.clock.and_then(|i| layout.columns.get(place(i))).map(Timed::of);
        let durations = layout.column(Role::FrameTime).filter(|_| layout.kind == Kind::Frames).map(Timed::of);
        let wall = layout.column(Role::WallClock).map(Timed::of);
        let clock_is_wall = clock.zip(wall).is_some_and(|(c, w)| c.column == w.column);
        let mut rows = Self {
            kind: layout.kind,
            stamp_at: layout.stamp_at,
            mark,
            clock,
            clock_is_wall,
            durations,
            wall,
            tracks: Tracks::of(layout, mark),
            conditions,
            problems: Problems::default(),
            segments: Vec::new(),
            at_ns: Vec::new(),
            frame_ns: Vec::new(),
            wall_start_ns: None,
            first_ns: None,
            last_stamp_ns: None,
            waiting: None,
            next_at_ns: 0,
        };
        rows.make_room(conditions.expected_rows);
        rows
    }

    fn make_room(&mut self, rows: usize) {
        self.at_ns.reserve(rows);
        if self.kind == Kind::Frames {
            self.frame_ns.reserve(rows);
        }
        self.tracks.reserve(rows);
    }

    fn add(&mut self, number: u64, cells: &Cells, line: &[u8]) {
        let stamp = match self.clock {
            Some(clock) => match clock.read(cells, line, self.mark) {
                Ok(ns) => Some(ns),
                Err(what) => {
                    let kept = if self.durations.is_some() {
                        "the row is placed by its frame time"
                    } else {
                        "the row is left out"
                    };
                    self.bad_cell(number, clock, &what, kept);
                    None
                }
            },
            None => None,
        };
        match (self.kind, self.durations) {
            (Kind::Companion, _) => self.sample(number, stamp, cells, line),
            (Kind::Frames, Some(durations)) => self.frame(number, stamp, durations, cells, line),
            (Kind::Frames, None) => self.stamped(number, stamp, cells, line),
        }
    }

    /// A row with its duration.
    fn frame(&mut self, number: u64, stamp: Option<i64>, durations: Timed, cells: &Cells, line: &[u8]) {
        let duration = match durations.read(cells, line, self.mark) {
            Ok(ns) if ns > 0 => ns,
            Ok(ns) => {
                let what = if ns == 0 { "is zero" } else { "is negative" };
                self.bad_cell(
                    number,
                    durations,
                    &format!("'{}' {what}", durations.quote(cells, line)),
                    "the row is left out",
                );
                return;
            }
            Err(what) => {
                self.bad_cell(number, durations, &what, "the row is left out");
                return;
            }
        };
        let start = match (stamp, self.stamp_at) {
            (Some(ns), StampAt::End) => Some(ns - duration),
            (stamp, _) => stamp,
        };
        if let (Some(now), Some(before)) = (start, self.last_stamp_ns)
            && now < before - RESTART_NS
        {
            if self.clock_is_wall {
                let back = before - now;
                self.problems.add(number, 0, || {
                    format!(
                        "The wall clock was set back by {:.3} s; frames go on by their frame times.",
                        seconds(back)
                    )
                });
                self.first_ns = Some(now - self.next_at_ns);
            } else {
                self.say_restart(number, before - now);
                self.restart();
            }
        }
        let at = match start {
            Some(ns) => ns - *self.first_ns.get_or_insert(ns - self.next_at_ns),
            None => self.next_at_ns,
        };
        self.last_stamp_ns = start.or(self.last_stamp_ns);
        self.note_wall(cells, line, if self.stamp_at == StampAt::End { duration } else { 0 });
        self.tracks.read(cells, line);
        self.keep(at, Some(duration));
    }

    /// A row with nothing but its stamp: it ends the frame before it.
    fn stamped(&mut self, number: u64, stamp: Option<i64>, cells: &Cells, line: &[u8]) {
        let Some(now) = stamp else {
            self.waiting = None;
            return;
        };
        if let Some(before) = self.last_stamp_ns
            && now < before - RESTART_NS
        {
            self.say_restart(number, before - now);
            self.restart();
        }
        if let Some(begun) = self.waiting {
            let duration = now - begun.ns;
            if duration > 0 {
                let first = *self.first_ns.get_or_insert(begun.ns);
                if self.stamp_at == StampAt::End {
                    self.tracks.read(cells, line);
                }
                self.keep(begun.ns - first, Some(duration));
            } else {
                self.problems.add(begun.line, 0, || {
                    format!(
                        "The frame has no time: the next stamp, on line {number}, is {:.6} s before or at it. It is left out.",
                        seconds(-duration)
                    )
                });
            }
        }
        self.waiting = Some(Waiting { line: number, ns: now });
        self.last_stamp_ns = Some(now);
        if self.stamp_at == StampAt::Start {
            self.tracks.read(cells, line);
        }
        if self.at_ns.is_empty() {
            self.wall_start_ns = None;
            self.note_wall(cells, line, 0);
        }
    }

    fn sample(&mut self, number: u64, stamp: Option<i64>, cells: &Cells, line: &[u8]) {
        let Some(now) = stamp else { return };
        if let Some(before) = self.last_stamp_ns
            && now < before
        {
            let back = before - now;
            if back < RESTART_NS {
                self.problems.add(number, 0, || {
                    format!("The time goes back by {:.6} s; the row is left out.", seconds(back))
                });
                return;
            }
            self.say_restart(number, back);
            self.restart();
        }
        let first = *self.first_ns.get_or_insert(now);
        self.last_stamp_ns = Some(now);
        self.note_wall(cells, line, 0);
        self.tracks.read(cells, line);
        self.keep(now - first, None);
    }

    fn say_restart(&mut self, number: u64, back_ns: i64) {
        self.problems.add(number, 0, || {
            format!("The clock goes back by {:.3} s: a new segment begins here.", seconds(back_ns))
        });
    }

    /// Wall clock of the segment's first row; `before_ns` is how far the row began before its stamp.
    fn note_wall(&mut self, cells: &Cells, line: &[u8], before_ns: i64) {
        let (Some(wall), true) = (self.wall, self.wall_start_ns.is_none() && self.at_ns.is_empty()) else {
            return;
        };
        let start = wall.read_wall(cells, line, self.mark, self.conditions.zone);
        self.wall_start_ns = start.map(|ns| ns - before_ns);
    }

    fn keep(&mut self, at_ns: i64, duration: Option<i64>) {
        let at_ns = at_ns.max(self.at_ns.last().copied().unwrap_or(0));
        self.at_ns.push(at_ns);
        if let Some(duration) = duration {
            self.frame_ns.push(duration);
            self.next_at_ns = at_ns + duration;
        }
        self.tracks.keep();
    }

    /// A row could not be read at all: the frame before it has no known end.
    fn lost(&mut self) {
        if self.durations.is_none() {
            self.waiting = None;
        }
    }

    /// Ends the segment under way.
    fn restart(&mut self) {
        let at_ns = std::mem::take(&mut self.at_ns);
        let frame_ns = std::mem::take(&mut self.frame_ns);
        let tracks = self.tracks.take();
        let wall_start_ns = self.wall_start_ns.take();
        (self.first_ns, self.last_stamp_ns, self.waiting, self.next_at_ns) = (None, None, None, 0);
        if at_ns.is_empty() {
            return;
        }
        let problems = std::mem::take(&mut self.problems);
        self.segments.push(Segment {
            recording: Recording { kind: self.kind, wall_start_ns, at_ns, frame_ns, tracks },
            problems: problems.into_list(),
        });
    }

    fn finish(mut self) -> Vec<Segment> {
        self.restart();
        // What was found after the last segment's last row belongs to it.
        let left = std::mem::take(&mut self.problems).into_list();
        if let Some(last) = self.segments.last_mut() {
            last.problems.extend(left);
        }
        self.segments
    }

    fn bad_cell(&mut self, line: u64, timed: Timed, what: &str, kept: &str) {
        let column = u32::try_from(timed.column + 1).unwrap_or(u32::MAX);
        self.problems.add(line, column, || format!("{what}; {kept}."));
    }
}
