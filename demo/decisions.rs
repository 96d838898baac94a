//! What the team quotes, notes and decided in its week. The Curlew's passes on the driver before the declared one are set
//! aside. Every native pass with a fault has its ruling but one of the Thole's; those of the upscaled setting wait for
//! theirs but one. Two figures went to print with a pass of it whose shaders were built meanwhile: another edition
//! corrects them. One figure was agreed on before a pass of its cells was set aside: it has lapsed.

use jiff::{SignedDuration, Timestamp};

use crate::decided::{Decision, DemoFigure, DemoQuote, FigureOf};
use crate::registers::{
    ALDER, BIRCH, COMET, CURLEW, CURLEW_OLD_DRIVER, DUNLIN, LAMPS, NATIVE, QUARRY, REGATTA, SALTMARSH, THOLE,
    UPSCALED, VELLUM,
};
use crate::types::{Demo, Notes};

/// Indices into the team.
const OWNER: usize = 0;
const TOBIN: usize = 1;
const RENSKE: usize = 2;

const AVERAGE: &str = "average_fps";
const LOW: &str = "low_1_quantile_fps";

/// A pass at the native setting: part, scene, rig and number in its cell.
type Native = (usize, usize, usize, u32);

/// Rulings before anything was agreed on.
const EARLY: [(Native, &str, &str); 6] = [
    ((DUNLIN, LAMPS, ALDER, 1), "run again", "shaders were built during the pass"),
    ((DUNLIN, QUARRY, ALDER, 3), "set aside", "the log is damaged"),
    ((DUNLIN, COMET, ALDER, 4), "set aside", "another program ran beside it"),
    ((CURLEW, REGATTA, BIRCH, 2), "set aside", "the part throttled"),
    ((CURLEW, VELLUM, BIRCH, 2), "set aside", "the part throttled"),
    ((THOLE, SALTMARSH, ALDER, 2), "run again", "wrong passage"),
];
/// The one that came after print: part, scene, rig and number at the upscaled setting.
const AFTER_PRINT: (Native, &str, &str) =
    ((CURLEW, REGATTA, ALDER, 1), "run again", "shaders were built during the pass");
/// The one that made a figure lapse.
const LATE: (Native, &str, &str) =
    ((CURLEW, SALTMARSH, ALDER, 4), "set aside", "another program ran beside it");

/// All decisions, oldest first.
pub fn decisions(demo: &Demo) -> Vec<Decision> {
    let ruled =
        |by, setting, ((part, scene, rig, number), verdict, reason): (Native, &'static str, &'static str)| {
            let cell = cell(demo, part, scene, setting);
            let pass = demo.passes.iter().find(|p| (p.cell, p.rig, p.number) == (cell, rig, number));
            pass.map(|pass| Decision::Ruling { by, pass: pass.file_name.clone(), verdict, reason })
        };
    let ruling = |by, native| ruled(by, NATIVE, native);
    let curlew_over_dunlin =
        |scene, setting| (cell(demo, DUNLIN, scene, setting), cell(demo, CURLEW, scene, setting));
    let ratio_at = |measure, scene, setting| {
        let (baseline, contender) = curlew_over_dunlin(scene, setting);
        DemoFigure { measure, of: FigureOf::Ratio { baseline, contender } }
    };
    let ratio = |measure, scene| ratio_at(measure, scene, NATIVE);
    let overall = |measure, setting| {
        let (baseline, contender) = curlew_over_dunlin(VELLUM, setting);
        DemoFigure { measure, of: FigureOf::Overall { baseline, contender } }
    };
    let figures = |proposed_by, agreed_by, figures| Decision::Figures {
        made_by: RENSKE,
        proposed_by,
        agreed_by,
        figures,
    };
    let of_cell =
        |part| DemoFigure { measure: AVERAGE, of: FigureOf::Cell(cell(demo, part, VELLUM, NATIVE)) };
    let mut all: Vec<Decision> = EARLY.into_iter().filter_map(|early| ruling(TOBIN, early)).collect();
    all.extend(demo.passes.iter().filter(|pass| pass.driver == CURLEW_OLD_DRIVER).map(|pass| {
        Decision::Ruling {
            by: OWNER,
            pass: pass.file_name.clone(),
            verdict: "set aside",
            reason: "wrong driver or build",
        }
    }));
    all.push(Decision::Prior { by: OWNER });
    let printed = vec![ratio_at(AVERAGE, REGATTA, UPSCALED), ratio_at(LOW, REGATTA, UPSCALED)];
    all.push(figures(Some(RENSKE), Some(OWNER), printed));
    all.push(Decision::Edition { by: OWNER, note: "first look, in print" });
    all.extend(ruled(TOBIN, UPSCALED, AFTER_PRINT));
    all.push(Decision::Again { proposed_by: RENSKE, agreed_by: OWNER });
    all.push(Decision::Edition { by: OWNER, note: "correction: a pass had built shaders meanwhile" });
    all.push(figures(Some(RENSKE), Some(OWNER), vec![ratio(AVERAGE, SALTMARSH)]));
    all.extend(ruling(TOBIN, LATE));
    let agreed = vec![
        overall(AVERAGE, NATIVE),
        overall(LOW, NATIVE),
        ratio(LOW, LAMPS),
        of_cell(DUNLIN),
        of_cell(CURLEW),
    ];
    all.push(figures(Some(RENSKE), Some(OWNER), agreed));
    all.push(figures(Some(RENSKE), None, vec![overall(AVERAGE, UPSCALED), ratio(AVERAGE, QUARRY)]));
    all.push(figures(None, None, vec![of_cell(THOLE)]));
    all
}

/// How the team worked, in its own words.
pub const NOTES: Notes = Notes {
    settings: "Each game's settings file was copied onto the rig before a part's first pass; what was shown on the screen was \
               read against the list once a part",
    caches: "Warm: the first pass after an install or a new driver was thrown away",
    order: "Part by part in alder, scenes in the same order, the tunings last; birch repeats four scenes of two parts",
    disclosure: "One Curlew was lent by its maker and goes back two weeks after the piece; all else was bought. Nobody outside \
                 the team saw a number before print",
};

/// What the makers claim. None of it is measured, and the piece says so.
pub fn quotes(now: Timestamp) -> Vec<DemoQuote> {
    let quote = |name, part, value, source, link, over| DemoQuote {
        name,
        part,
        value,
        unit: "W",
        source,
        link,
        dated: now - SignedDuration::from_hours(9 * 24),
        over,
    };
    vec![
        quote(
            "Dunlin, typical board power as its maker says",
            DUNLIN,
            "390",
            "Tarnwick, data sheet of the Dunlin, second page",
            "https://tarnwick.example/dunlin/data-sheet",
            None,
        ),
        quote(
            "Curlew, typical board power as its maker says",
            CURLEW,
            "480",
            "Tarnwick, announcement of the Curlew, footnote 3",
            "https://tarnwick.example/curlew/announcement",
            Some(0),
        ),
    ]
}

/// Index of a part's stock cell.
fn cell(demo: &Demo, part: usize, scene: usize, setting: usize) -> usize {
    let is =
        |cell: &&crate::types::DemoCell| (cell.tuning, cell.scene, cell.setting) == (part, scene, setting);
    // Every part has a cell in every scene at both settings.
    demo.cells.iter().position(|cell| is(&cell)).unwrap_or_default()
}
