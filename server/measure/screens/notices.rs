//! Notices: what is good to know about a pass and needs no ruling.

use serde::{Deserialize, Serialize};

use super::words;

/// Frames in the tail below which a low says little (methods: n p < 10; common practice, no source).
pub const FEWEST_IN_TAIL: u64 = 10;

/// Mean load from which the part counts as the limit of the frame rate (common practice, no source).
pub const LIMIT_FROM: f64 = 0.9;

/// What a notice is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NoticeKind {
    /// The kept passes of the cell together have too few frames for the low.
    FewFramesForLow,
    /// It has no power track, where other passes of the piece have one.
    NoPowerTrack,
    /// The cell has one kept pass: no spread of its own.
    OnePass,
    /// The window differs from the scene's by more than its tolerance.
    WindowUnlikeScene,
    /// The part has time to spare: the processor, or something else, is the limit.
    NotTheLimit,
}

impl NoticeKind {
    /// All kinds, in the order in which they are listed.
    pub const ALL: [Self; 5] = [
        Self::FewFramesForLow,
        Self::NoPowerTrack,
        Self::OnePass,
        Self::WindowUnlikeScene,
        Self::NotTheLimit,
    ];

    /// Stable key.
    pub fn key(self) -> &'static str {
        match self {
            Self::FewFramesForLow => "few_frames_for_low",
            Self::NoPowerTrack => "no_power_track",
            Self::OnePass => "one_pass",
            Self::WindowUnlikeScene => "window_unlike_scene",
            Self::NotTheLimit => "not_the_limit",
        }
    }

    /// Name in plain words, for pages.
    pub fn name(self) -> &'static str {
        match self {
            Self::FewFramesForLow => "too few frames for a low",
            Self::NoPowerTrack => "no power track",
            Self::OnePass => "one pass",
            Self::WindowUnlikeScene => "window unlike the scene's",
            Self::NotTheLimit => "the part is not the limit",
        }
    }
}

/// A notice with its sentence.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Notice {
    /// What it is about.
    pub kind: NoticeKind,
    /// A plain sentence.
    pub says: String,
}

/// What notices are taken from: a pass in its cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoticeInput {
    /// Frames in the windows of the cell's kept passes together.
    pub cell_frames: u64,
    /// Kept passes of the cell.
    pub cell_passes: usize,
    /// The low's share as one in so many: 100 for a 1% low, 1000 for a 0.1% low.
    pub low_one_in: u64,
    /// Whether the pass has a power track of its own or from a companion.
    pub has_power: bool,
    /// Whether other passes of the piece have one.
    pub others_have_power: bool,
    /// Length of the pass's window as far as it holds frames, ns.
    pub window_ns: i64,
    /// Length of the scene's standard window, ns, if it has one.
    pub scene_window_ns: Option<i64>,
    /// Share by which the two may differ (2% for built-in runs and replays, 10% by hand, unless the scene says otherwise).
    pub window_tolerance: f64,
    /// Mean load of the part over the window, a share of 1, where it was logged.
    pub part_load: Option<f64>,
}

/// The notices for a pass, in the order of [`NoticeKind::ALL`].
pub fn notices(input: &NoticeInput) -> Vec<Notice> {
    let found =
        [few_frames(input), no_power(input), one_pass(input), window_unlike(input), not_the_limit(input)];
    NoticeKind::ALL
        .into_iter()
        .zip(found)
        .filter_map(|(kind, says)| says.map(|says| Notice { kind, says }))
        .collect()
}

/// Whether so few frames are no ground for the low of the slowest one in `one_in` (100 for a 1% low).
pub fn too_few_for_low(frames: u64, one_in: u64) -> bool {
    // n / k < 10 in whole numbers, so that 1 000 frames at 1 in 100 are enough exactly.
    frames < FEWEST_IN_TAIL * one_in
}

fn few_frames(input: &NoticeInput) -> Option<String> {
    too_few_for_low(input.cell_frames, input.low_one_in).then(|| {
        format!(
            "the cell's kept passes have {} frames together: the slowest one in {} of them are fewer than {FEWEST_IN_TAIL}, too few for that low",
            input.cell_frames, input.low_one_in
        )
    })
}

fn no_power(input: &NoticeInput) -> Option<String> {
    (!input.has_power && input.others_have_power)
        .then(|| "it has no power track, and other passes of this piece have one".to_owned())
}

fn one_pass(input: &NoticeInput) -> Option<String> {
    (input.cell_passes == 1)
        .then(|| "it is the only kept pass of its cell: its spread is borrowed from other cells".to_owned())
}

fn window_unlike(input: &NoticeInput) -> Option<String> {
    let scene_ns = input.scene_window_ns.filter(|s| *s > 0)?;
    let off = input.window_ns as f64 / scene_ns as f64 - 1.0;
    (off.abs() > input.window_tolerance).then(|| {
        format!(
            "its window holds {}, {} {} than the scene's {}",
            words::seconds(input.window_ns),
            words::percent(off),
            if off < 0.0 { "shorter" } else { "longer" },
            words::seconds(scene_ns)
        )
    })
}

fn not_the_limit(input: &NoticeInput) -> Option<String> {
    let load = input.part_load.filter(|load| *load < LIMIT_FROM)?;
    Some(format!(
        "the part was busy for {} of the time: something else, such as the processor, decides how long frames take",
        words::percent(load)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOUND: NoticeInput = NoticeInput {
        cell_frames: 12_000,
        cell_passes: 3,
        low_one_in: 100,
        has_power: true,
        others_have_power: true,
        window_ns: 60_300_000_000,
        scene_window_ns: Some(60_000_000_000),
        window_tolerance: 0.02,
        part_load: Some(0.98),
    };

    fn kinds(input: &NoticeInput) -> Vec<NoticeKind> {
        notices(input).into_iter().map(|n| n.kind).collect()
    }

    #[test]
    fn a_sound_pass_has_none() {
        assert_eq!(kinds(&SOUND), []);
    }

    #[test]
    fn ten_frames_in_the_tail_are_enough() {
        assert_eq!(kinds(&NoticeInput { cell_frames: 1_000, ..SOUND }), []);
        assert_eq!(kinds(&NoticeInput { cell_frames: 999, ..SOUND }), [NoticeKind::FewFramesForLow]);
        assert_eq!(
            kinds(&NoticeInput { low_one_in: 1_000, cell_frames: 9_999, ..SOUND }),
            [NoticeKind::FewFramesForLow]
        );
    }

    #[test]
    fn power_is_missed_only_where_others_have_it() {
        assert_eq!(kinds(&NoticeInput { has_power: false, ..SOUND }), [NoticeKind::NoPowerTrack]);
        assert_eq!(kinds(&NoticeInput { has_power: false, others_have_power: false, ..SOUND }), []);
    }

    #[test]
    fn a_part_with_time_to_spare_is_not_the_limit() {
        let found = notices(&NoticeInput { part_load: Some(0.71), ..SOUND });
        assert_eq!(found.len(), 1);
        assert!(found[0].says.starts_with("the part was busy for 71 % of the time"), "{}", found[0].says);
        assert_eq!(kinds(&NoticeInput { part_load: None, ..SOUND }), []);
    }

    #[test]
    fn one_pass_and_a_short_window_are_said() {
        let short = NoticeInput { cell_passes: 1, window_ns: 37_200_000_000, ..SOUND };
        let found = notices(&short);
        assert_eq!(
            found.iter().map(|n| n.kind).collect::<Vec<_>>(),
            [NoticeKind::OnePass, NoticeKind::WindowUnlikeScene]
        );
        assert_eq!(found[1].says, "its window holds 37.2 s, 38 % shorter than the scene's 60.0 s");
        assert_eq!(kinds(&NoticeInput { scene_window_ns: None, ..short }), [NoticeKind::OnePass]);
    }
}
