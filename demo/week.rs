//! The bench week: which cells there are, in which sessions their passes were recorded, and how each pass is made.

use jiff::{SignedDuration, Timestamp};

use crate::decisions::{NOTES, decisions, quotes};
use crate::earlier::earlier;
use crate::frames::Recipe;
use crate::logs::Layout;
use crate::random::Random;
use crate::readers::readers;
use crate::readings::{kinds, readings};
use crate::registers::{
    ALDER, BIRCH, COMET, CURLEW, CURLEW_NEW_DRIVER, CURLEW_OLD_DRIVER, DRIFTGLASS, DUNLIN, DUNLIN_DRIVER,
    LAMPS, NATIVE, NS_PER_S, ORCHARD, QUARRY, REGATTA, SALTMARSH, THOLE, THOLE_DRIVER, TRACED, UPSCALED,
    VELLUM, drivers, hours_before, parts, prices, rigs, scenes, settings, team, tunings, units,
};
use crate::soaks::soaks;
use crate::truth::{CellTruth, FaultKind, PassTruth, cell_truth, pass_factor, planted, truth};
use crate::types::{Demo, DemoCell, DemoPass, Piece, Tuning};

/// One part in one rig between two swaps.
struct Session {
    rig: usize,
    driver: usize,
    hours_before: i64,
    layout: Layout,
    /// Cells in the order in which they were run, with the number of passes.
    run: Vec<(usize, u32)>,
}

pub fn bench_week(seed: u64, now: Timestamp) -> Demo {
    let tunings = tunings();
    let cells = cells(&tunings);
    let truths: Vec<Option<CellTruth>> = cells.iter().map(|c| cell_truth(c, &tunings)).collect();
    let mut demo = Demo {
        team: team(),
        rigs: rigs(now),
        parts: parts(),
        units: units(),
        drivers: drivers(now),
        prices: prices(now),
        scenes: scenes(now),
        settings: settings(),
        piece: Piece {
            name: "Is the Curlew worth it?",
            kind: "card",
            deadline: now + SignedDuration::from_hours(31),
            deadline_zone: "Europe/Berlin",
            passes_wanted: 3,
            baseline: DUNLIN,
            drivers: vec![DUNLIN_DRIVER, CURLEW_NEW_DRIVER, THOLE_DRIVER],
        },
        readers: readers(),
        truth: truth(truths, Vec::new()),
        tunings,
        cells,
        passes: Vec::new(),
        reading_kinds: kinds(),
        readings: readings(now),
        soaks: soaks(seed, now),
        earlier: None,
        notes: NOTES,
        quotes: quotes(now),
        decisions: Vec::new(),
    };
    let mut done = vec![0; demo.cells.len()];
    for session in sessions(&demo.cells, &demo.tunings) {
        let mut start = hours_before(now, session.hours_before);
        for &(cell, repeats) in &session.run {
            start += SignedDuration::from_secs(95);
            for _ in 0..repeats {
                done[cell] += 1;
                let (pass, truth) = one_pass(seed, &demo, &session, cell, done[cell], start);
                demo.passes.push(pass);
                demo.truth.passes.push(truth);
                start += SignedDuration::from_secs(75);
            }
        }
    }
    demo.decisions = decisions(&demo);
    demo.earlier = Some(earlier(seed, now, &demo.scenes, &demo.settings));
    demo
}

/// Stock cells of all parts in all scenes, then the Curlew's sweep, the ray-traced pair and generated frames.
fn cells(tunings: &[Tuning]) -> Vec<DemoCell> {
    let cell = |tuning, scene, setting| {
        let no_memory = tuning == THOLE && scene == REGATTA;
        let did_not_run =
            if no_memory { "out of memory while the harbour loads, tried three times" } else { "" };
        DemoCell { tuning, scene, setting, did_not_run }
    };
    let mut cells = Vec::new();
    for part in [DUNLIN, CURLEW, THOLE] {
        for setting in [NATIVE, UPSCALED] {
            cells.extend((VELLUM..=COMET).map(|scene| cell(part, scene, setting)));
        }
    }
    for scene in [VELLUM, LAMPS] {
        cells.extend((THOLE + 1..tunings.len()).map(|tuning| cell(tuning, scene, NATIVE)));
    }
    cells.extend([DUNLIN, CURLEW].map(|part| cell(part, ORCHARD, TRACED)));
    cells.extend((TRACED + 1..=TRACED + 3).map(|setting| cell(CURLEW, ORCHARD, setting)));
    cells
}

/// The sessions, oldest first. The Curlew's driver changed after its first one; birch ran four scenes.
fn sessions(cells: &[DemoCell], tunings: &[Tuning]) -> Vec<Session> {
    let which = |wanted: &dyn Fn(&DemoCell) -> bool, repeats: u32| -> Vec<(usize, u32)> {
        let runs = cells.iter().enumerate().filter(|(_, c)| c.did_not_run.is_empty() && wanted(c));
        // Nobody repeats a scene played by hand as exactly as a replay: two passes more.
        runs.map(|(n, c)| (n, repeats + if c.scene == DRIFTGLASS { 2 } else { 0 })).collect()
    };
    let stock = |part: usize| which(&|c| c.tuning == part && c.setting != TRACED && c.setting <= TRACED, 3);
    let traced = |part: usize| which(&|c| c.tuning == part && c.setting >= TRACED, 3);
    let in_birch = |part: usize| {
        let scenes = [VELLUM, REGATTA, QUARRY, COMET];
        which(&|c| c.tuning == part && c.setting == NATIVE && scenes.contains(&c.scene), 2)
    };
    let before_the_step = which(
        &|c| c.tuning == CURLEW && c.setting <= UPSCALED && [LAMPS, SALTMARSH, ORCHARD].contains(&c.scene),
        2,
    );
    let sweep = which(&|c| c.tuning > THOLE && tunings[c.tuning].part == CURLEW, 3);
    let session = |rig, driver, hours_before, layout, run| Session { rig, driver, hours_before, layout, run };
    vec![
        session(ALDER, CURLEW_OLD_DRIVER, 126, Layout::Older, before_the_step),
        session(BIRCH, DUNLIN_DRIVER, 122, Layout::Case, in_birch(DUNLIN)),
        session(BIRCH, CURLEW_NEW_DRIVER, 79, Layout::Case, in_birch(CURLEW)),
        session(ALDER, DUNLIN_DRIVER, 78, Layout::Bench, [stock(DUNLIN), traced(DUNLIN)].concat()),
        session(ALDER, CURLEW_NEW_DRIVER, 54, Layout::Bench, [stock(CURLEW), traced(CURLEW)].concat()),
        session(ALDER, THOLE_DRIVER, 31, Layout::Bench, stock(THOLE)),
        session(ALDER, CURLEW_NEW_DRIVER, 7, Layout::Bench, sweep),
    ]
}

fn one_pass(
    seed: u64,
    demo: &Demo,
    session: &Session,
    cell_index: usize,
    number: u32,
    start: Timestamp,
) -> (DemoPass, PassTruth) {
    let cell = &demo.cells[cell_index];
    let tuning = &demo.tunings[cell.tuning];
    let (part, scene) = (tuning.part, &demo.scenes[cell.scene]);
    let index = demo.passes.len();
    // Chances of the pass itself; the frames have a stream of their own.
    let mut random = Random::new(seed, 500_000 + index as u64);
    let stock = cell.tuning == part;
    let fault = if stock { planted(part, cell.scene, cell.setting, session.rig, number) } else { None };
    let start = start + SignedDuration::from_millis(crate::frames::whole(random.between(0.0, 9_000.0)));
    let length_ns = 30 * NS_PER_S + crate::frames::whole(random.between(0.0, 8e8));
    let z = if scene.kind == "by hand" {
        by_hand_chance(seed, cell_index, number, &mut random)
    } else {
        random.normal()
    };
    let level = level(demo, session, cell_index, fault.map(|f| f.kind), (z, random.normal()));
    let rig = &demo.rigs[session.rig];
    let setting = &demo.settings[cell.setting];
    let stem = format!(
        "{}{}_{}_{}_{}_p{number}",
        demo.parts[part].slug, tuning.slug, scene.slug, setting.slug, rig.name
    );
    let sensors_missing = part == THOLE && cell.setting == NATIVE && cell.scene >= QUARRY && number == 2;
    let recipe = Recipe {
        seed,
        stream: index as u64,
        scene: cell.scene,
        by_hand: scene.kind == "by hand",
        level,
        generated: usize::try_from(setting.generated).unwrap_or(1),
        length_ns,
        window_ns: (scene.window_start_ns, scene.window_end_ns),
        fault,
        clock_mhz: clock_mhz(tuning),
        settles_at_c: 58.0 + 0.03 * level.power_w + if session.rig == BIRCH { 9.0 } else { 0.0 },
        layout: session.layout,
        wall_start_ns: start.as_second() * NS_PER_S + i64::from(start.subsec_nanosecond()),
    };
    let pass = DemoPass {
        cell: cell_index,
        rig: session.rig,
        base: 0,
        unit: part,
        driver: session.driver,
        build: 0,
        number,
        sensors_name: (!sensors_missing).then(|| format!("{stem}_sensors.csv")),
        file_name: format!("{stem}.csv"),
        start,
        recipe,
    };
    let undeclared_driver = session.driver != demo.piece.drivers[part];
    (pass, PassTruth { average_fps: level.average_fps, fault, undeclared_driver })
}

/// Level of one pass: its cell's truth, rig and driver, and its own chance. The low scatters more than the average.
fn level(
    demo: &Demo,
    session: &Session,
    cell: usize,
    fault: Option<FaultKind>,
    (chance, low_chance): (f64, f64),
) -> CellTruth {
    let nothing = CellTruth {
        average_fps: 1.0,
        low_1_quantile_fps: 1.0,
        power_w: 1.0,
        spread: 0.0,
        card_share: 1.0,
        latency_ms: None,
    };
    let mut level = demo.truth.cells[cell].unwrap_or(nothing);
    let chance =
        libm::exp(level.spread * chance) * pass_factor(&demo.cells[cell], session.rig, session.driver);
    let low_chance = libm::exp((0.6 * level.spread + 0.004) * low_chance);
    let other_passage = fault == Some(FaultKind::WrongPassage);
    level.average_fps *= chance * if other_passage { 0.94 } else { 1.0 };
    level.low_1_quantile_fps *= chance * low_chance * if other_passage { 0.9 } else { 1.0 };
    level
}

/// Chance of a pass played by hand. Five passes share out five normal scores in random order, with some chance of
/// their own: so the scene's spread is seen in each cell whatever the seed.
fn by_hand_chance(seed: u64, cell: usize, number: u32, random: &mut Random) -> f64 {
    // Of standard deviation 1 as a sample.
    let mut scores = [-1.30, -0.55, 0.0, 0.55, 1.30];
    let mut order = Random::new(seed, 700_000 + cell as u64);
    for last in (1..scores.len()).rev() {
        scores.swap(last, order.below(last + 1));
    }
    0.97 * scores[(number as usize - 1) % scores.len()] + 0.25 * random.normal()
}

/// Core clock that a part reaches at its tuning, MHz.
fn clock_mhz(tuning: &Tuning) -> f64 {
    let stock = [2_520.0, 2_690.0, 2_840.0][tuning.part];
    let limited = match tuning.power_limit_w {
        Some(350) => 0.87,
        Some(400) => 0.945,
        Some(420) => 0.97,
        Some(450) => 0.985,
        _ => 1.0,
    };
    stock * limited + f64::from(tuning.core_offset_mhz)
}
