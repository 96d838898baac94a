//! Rows of a log on their way to segments: what a stamp, a duration and a mark do to the frame under way.

mod leaps;

use super::Segment;
use super::assemble::Conditions;
use super::block::{Block, Row};
use super::clock::{Ahead, Timed, seconds, shortened};
use super::describe::place;
use super::held::{Broken, Held};
use super::layout::{Dropped, Layout, StampAt};
use super::number::Marks;
use super::problems::Problems;
use super::several::is_marked;
use super::stamp::DAY_NS;
use super::text;
use super::tracks::Tracks;
use crate::recording::{Kind, NS_PER_S, Recording, Role, Unit};

/// No frame lasts longer than an hour: a longer one is a slip of the log, and would be all of the pass.
const LONGEST_FRAME_NS: i64 = 3600 * NS_PER_S;

/// A clock that goes back by this much has started again (or was set); by less, the row is out of order.
const RESTART_NS: i64 = NS_PER_S;

/// A row whose end is not known yet: it waits for the next stamp.
#[derive(Clone, Copy)]
struct Waiting {
    line: u64,
    ns: i64,
    /// The stamp before the clock went back to this one.
    after_ns: Option<i64>,
}

pub(super) struct Rows<'a> {
    kind: Kind,
    stamp_at: StampAt,
    marks: Marks,
    clock: Option<Timed>,
    clock_is_wall: bool,
    durations: Option<Timed>,
    wall: Option<Timed>,
    tracks: Tracks,
    conditions: Conditions<'a>,
    pub(super) problems: Problems,
    only: Option<(usize, Vec<u8>)>,
    dropped: Option<(usize, Option<Dropped>)>,
    marked: usize,
    held: Held,
    segments: Vec<Segment>,
    // Of the segment under way:
    at_ns: Vec<i64>,
    frame_ns: Vec<i64>,
    wall_start_ns: Option<i64>,
    first_ns: Option<i64>,
    last_stamp_ns: Option<i64>,
    waiting: Option<Waiting>,
    next_at_ns: i64,
    days_ns: i64,
    before_ns: Option<(i64, i64)>,
    // Of the block that was read ahead:
    stamps: Ahead,
    spans: Ahead,
}

impl<'a> Rows<'a> {
    pub(super) fn new(layout: &Layout, marks: Marks, conditions: Conditions<'a>) -> Self {
        let clock = layout.clock.and_then(|i| layout.columns.get(place(i))).map(Timed::of);
        let durations = layout.column(Role::FrameTime).filter(|_| layout.kind == Kind::Frames).map(Timed::of);
        let wall = layout.column(Role::WallClock).map(Timed::of);
        let clock_is_wall = clock.zip(wall).is_some_and(|(c, w)| c.column == w.column);
        let mut rows = Self {
            kind: layout.kind,
            stamp_at: layout.stamp_at,
            marks,
            clock,
            clock_is_wall,
            durations,
            wall,
            tracks: Tracks::of(layout, marks),
            conditions,
            problems: Problems::default(),
            only: layout.only.as_ref().map(|o| (place(o.column), text::bytes(&o.is, layout.encoding))),
            dropped: layout
                .dropped
                .map(|d| (place(d.column), Some(d)))
                .or(conditions.dropped.map(|c| (c, None))),
            marked: 0,
            held: Held::new(conditions.slack_ns),
            segments: Vec::new(),
            at_ns: Vec::new(),
            frame_ns: Vec::new(),
            wall_start_ns: None,
            first_ns: None,
            last_stamp_ns: None,
            waiting: None,
            next_at_ns: 0,
            days_ns: 0,
            before_ns: None,
            stamps: Ahead::default(),
            spans: Ahead::default(),
        };
        rows.make_room(conditions.expected_rows);
        rows
    }

    /// The last column that is looked into, from 0.
    pub(super) fn last_column(&self) -> usize {
        let timed = [self.clock, self.durations, self.wall].into_iter().flatten().map(|t| t.column);
        let marked = self.dropped.map(|d| d.0).into_iter().chain(self.only.as_ref().map(|o| o.0));
        timed.chain(marked).chain(self.tracks.columns()).max().unwrap_or(0)
    }

    fn make_room(&mut self, rows: usize) {
        self.at_ns.reserve(rows);
        if self.kind == Kind::Frames {
            self.frame_ns.reserve(rows);
        }
        self.tracks.reserve(rows);
    }

    /// Reads times and tracks of a block of rows, column by column.
    pub(super) fn read_ahead(&mut self, block: &Block, text: &[u8]) {
        self.stamps.read(self.clock, block, text, self.marks);
        self.spans.read(self.durations, block, text, self.marks);
        self.tracks.read_ahead(block, text);
    }

    /// Whether the times of a row of the block are known.
    #[inline]
    pub(super) fn is_timed(&self, row: usize) -> bool {
        self.stamps.knows(self.clock, row) && self.spans.knows(self.durations, row)
    }

    /// The block is done with.
    pub(super) fn end_block(&mut self) {
        self.tracks.end_block();
    }

    /// A row of the table.
    #[inline]
    pub(super) fn add(&mut self, number: u64, row: &impl Row) {
        if self.only.as_ref().is_some_and(|(column, is)| row.cell(*column) != is) {
            return;
        }
        let marked = self.dropped.is_some_and(|(column, _)| is_marked(row.cell(column)));
        self.marked += usize::from(marked);
        let joined = marked && self.dropped.is_some_and(|(_, how)| how.is_some_and(|d| !d.counts));
        let stamp = match self.clock {
            Some(clock) => match self.stamps.time(clock, row, self.marks) {
                Ok(ns) => Some(self.past_midnight(clock, ns)),
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
            (Kind::Companion, _) => self.sample(number, stamp, row),
            (Kind::Frames, Some(durations)) => self.frame(number, (stamp, joined), durations, row),
            // Its stamp ends no frame: the one before goes on until the next that was shown.
            (Kind::Frames, None) if joined => {}
            (Kind::Frames, None) => self.stamped(number, stamp, row),
        }
    }

    /// A time of day begins again at midnight.
    fn past_midnight(&mut self, clock: Timed, ns: i64) -> i64 {
        if clock.unit != Unit::TimeOfDay {
            return ns;
        }
        if self.last_stamp_ns.is_some_and(|last| ns + self.days_ns < last - DAY_NS / 2) {
            self.days_ns += DAY_NS;
        }
        ns + self.days_ns
    }

    /// A row with its duration; `joined` gives its time to the frame before it.
    fn frame(&mut self, number: u64, (stamp, joined): (Option<i64>, bool), durations: Timed, row: &impl Row) {
        let duration = match self.spans.time(durations, row, self.marks) {
            Ok(ns) if (1..=LONGEST_FRAME_NS).contains(&ns) => ns,
            Ok(ns) => {
                let what = match ns.signum() {
                    1 => "is over an hour",
                    0 => "is zero",
                    _ => "is negative",
                };
                self.bad_cell(
                    number,
                    durations,
                    &format!("'{}' {what}", shortened(row.cell(durations.column))),
                    "the row is left out",
                );
                self.before_ns = None;
                return;
            }
            Err(what) => {
                self.bad_cell(number, durations, &what, "the row is left out");
                self.before_ns = None;
                return;
            }
        };
        self.hold(number, stamp, duration);
        if joined {
            if let Some(before) = self.frame_ns.last_mut() {
                *before += duration;
                self.next_at_ns += duration;
            }
            return;
        }
        let start = match (stamp, self.stamp_at) {
            (Some(ns), StampAt::End) => Some(ns.saturating_sub(duration)),
            (stamp, _) => stamp,
        };
        self.leap(number, start, LONGEST_FRAME_NS);
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
            Some(ns) => ns.saturating_sub(*self.first_ns.get_or_insert(ns.saturating_sub(self.next_at_ns))),
            None => self.next_at_ns,
        };
        self.last_stamp_ns = start.or(self.last_stamp_ns);
        self.note_wall(row, if self.stamp_at == StampAt::End { duration } else { 0 });
        self.tracks.read(row);
        self.keep(at, Some(duration));
    }

    /// Holds the proof against a row.
    #[inline]
    fn hold(&mut self, number: u64, stamp: Option<i64>, duration: i64) {
        self.held.duration(number, duration);
        let Some(now) = stamp else {
            self.before_ns = None;
            return;
        };
        if let Some((before, its_duration)) = self.before_ns {
            let of = if self.stamp_at == StampAt::End { duration } else { its_duration };
            self.held.step(number, now.saturating_sub(before), of);
        }
        self.before_ns = Some((now, duration));
    }

    /// A row with nothing but its stamp: it ends the frame before it.
    fn stamped(&mut self, number: u64, stamp: Option<i64>, row: &impl Row) {
        let Some(now) = stamp else {
            self.waiting = None;
            return;
        };
        let after_ns = self.last_stamp_ns.filter(|before| now < before - RESTART_NS);
        if let Some(before) = after_ns {
            self.say_restart(number, before - now);
            self.restart();
        }
        // Where the clock is back at once it never ran again from there: that stamp was wrong, not the time since.
        let wrong = |begun: &mut Waiting| begun.after_ns.is_some_and(|after| now >= after);
        if let Some(begun) = self.waiting.take_if(wrong) {
            self.problems.add(begun.line, 0, || {
                "The stamp is far before both its neighbours; the row is left out.".into()
            });
        } else {
            self.leap(number, Some(now), LONGEST_FRAME_NS);
        }
        if let Some(begun) = self.waiting {
            let duration = now - begun.ns;
            if duration > 0 {
                let first = *self.first_ns.get_or_insert(begun.ns);
                if self.stamp_at == StampAt::End {
                    self.tracks.read(row);
                }
                self.held.duration(number, duration);
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
        self.waiting = Some(Waiting { line: number, ns: now, after_ns });
        self.last_stamp_ns = Some(now);
        if self.stamp_at == StampAt::Start {
            self.tracks.read(row);
        }
        if self.at_ns.is_empty() {
            self.wall_start_ns = None;
            self.note_wall(row, 0);
        }
    }

    fn sample(&mut self, number: u64, stamp: Option<i64>, row: &impl Row) {
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
        self.leap(number, Some(now), leaps::LONGEST_PAUSE_NS);
        let first = *self.first_ns.get_or_insert(now);
        self.last_stamp_ns = Some(now);
        self.note_wall(row, 0);
        self.tracks.read(row);
        self.keep(now - first, None);
    }

    /// Wall clock of the segment's first row; `before_ns` is how far the row began before its stamp.
    fn note_wall(&mut self, row: &impl Row, before_ns: i64) {
        let (Some(wall), true) = (self.wall, self.wall_start_ns.is_none() && self.at_ns.is_empty()) else {
            return;
        };
        let start = wall.read_wall(row.cell(wall.column), self.marks, self.conditions.zone);
        self.wall_start_ns = start.map(|ns| ns - before_ns);
    }

    #[inline]
    fn keep(&mut self, at_ns: i64, duration: Option<i64>) {
        let at_ns = at_ns.max(self.at_ns.last().copied().unwrap_or(0));
        self.at_ns.push(at_ns);
        if let Some(duration) = duration {
            self.frame_ns.push(duration);
            self.next_at_ns = at_ns.saturating_add(duration);
        }
        self.tracks.keep();
    }

    /// A row could not be read at all: the frame before it has no known end.
    pub(super) fn lost(&mut self) {
        self.before_ns = None;
        if self.durations.is_none() {
            self.waiting = None;
        }
    }

    /// Ends the segment under way.
    pub(super) fn restart(&mut self) {
        self.held.part();
        let at_ns = std::mem::take(&mut self.at_ns);
        let frame_ns = std::mem::take(&mut self.frame_ns);
        let tracks = self.tracks.take();
        let wall_start_ns = self.wall_start_ns.take();
        (self.first_ns, self.last_stamp_ns, self.waiting, self.before_ns) = (None, None, None, None);
        (self.next_at_ns, self.days_ns) = (0, 0);
        if at_ns.is_empty() {
            return;
        }
        let problems = std::mem::take(&mut self.problems);
        self.segments.push(Segment {
            recording: Recording { kind: self.kind, wall_start_ns, at_ns, frame_ns, tracks },
            problems: problems.into_list(),
        });
    }

    /// The segments, rows that were marked without a word on what they are, and where the proof broke.
    pub(super) fn finish(mut self) -> (Vec<Segment>, usize, Option<Broken>) {
        self.restart();
        // What was found after the last segment's last row belongs to it.
        let left = std::mem::take(&mut self.problems).into_list();
        if let Some(last) = self.segments.last_mut() {
            last.problems.extend(left);
        }
        let unasked = self.dropped.is_some_and(|(_, how)| how.is_none());
        (self.segments, if unasked { self.marked } else { 0 }, self.held.end())
    }

    fn bad_cell(&mut self, line: u64, timed: Timed, what: &str, kept: &str) {
        let column = u32::try_from(timed.column + 1).unwrap_or(u32::MAX);
        self.problems.add(line, column, || format!("{what}; {kept}."));
    }
}
