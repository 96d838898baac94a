//! What is asked of the planner of sessions.

use super::Costs;

/// Missing passes of a cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Need {
    /// The cell.
    pub cell: i64,
    /// Its part.
    pub part: i64,
    /// How the part is run.
    pub tuning: i64,
    /// Whether that is stock.
    pub stock: bool,
    /// Scene and setting: loaded anew when they change.
    pub loads: (i64, i64),
    /// Place of scene and setting among all of the piece, from 0.
    pub place: usize,
    /// Passes that are there already.
    pub done: u32,
    /// Passes that are missing.
    pub passes: u32,
    /// How long a recording takes.
    pub recording_s: u32,
}

/// The control scene of a part: a cell at stock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Control {
    /// The cell; it may be among the needs too.
    pub cell: i64,
    /// Its part.
    pub part: i64,
    /// How the part is run: stock.
    pub tuning: i64,
    /// Scene and setting.
    pub loads: (i64, i64),
    /// Passes that are there already.
    pub done: u32,
    /// How long a recording takes.
    pub recording_s: u32,
}

/// What the rig holds now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InRig {
    /// The part.
    pub part: i64,
    /// Name of its driver.
    pub driver: String,
    /// Whether a pass ended so lately that the rig is still warm.
    pub warm: bool,
    /// Whether this session has a pass of the control scene already.
    pub control: bool,
    /// Whether its last pass was one of the control scene.
    pub ended: bool,
}

/// What is asked of the planner.
#[derive(Clone, Debug)]
pub struct Ask<'a> {
    /// Missing passes.
    pub needs: &'a [Need],
    /// Parts in the order in which they are wanted; the one in the rig goes first.
    pub parts: &'a [i64],
    /// Control scenes.
    pub controls: &'a [Control],
    /// Name of the driver that each part is to run with.
    pub drivers: &'a [(i64, String)],
    /// What the rig holds.
    pub now: Option<&'a InRig>,
    /// The part that this stretch of work began with, where it began already.
    pub began: Option<i64>,
    /// Scenes and settings of the piece.
    pub places: usize,
    /// Passes wanted of each cell.
    pub wanted: u32,
    /// What steps take.
    pub costs: Costs,
    /// Time left to the deadline; none: no deadline.
    pub left_s: Option<i64>,
}
