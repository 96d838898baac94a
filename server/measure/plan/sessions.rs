//! Orders missing passes into sessions of one rig.
//!
//! Within a session the rig is warmed up first; then a control scene is run, then the missing passes tuning by tuning,
//! stock first. Passes of one cell are not run in a row but in rounds over the scenes, each round beginning at another
//! scene, so that whatever drifts falls on all scenes alike; the control scene ends the session. Where the time allows
//! it the part that came first comes back last (A-B-A) for the control scene. (Blocking, randomised or rotated order
//! and control runs: NIST/SEMATECH e-Handbook, 5.3.3.2 and 2.3.3, recalled from memory.)
//!
//! The plan is a function of what is missing now: when a pass came in, the same function gives the rest of it.

use std::collections::BTreeMap;

use super::Costs;
pub use super::ask::{Ask, Control, InRig, Need};

/// Why a pass is run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// It is missing.
    Missing,
    /// Control scene, before the others.
    ControlStart,
    /// Control scene, after the others.
    ControlEnd,
}

/// What is done in a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// The part goes in.
    Swap,
    /// Its driver is installed, and the rig restarted.
    Driver,
    /// The part is set to this tuning, and the rig restarted.
    Tune(i64),
    /// The rig is warmed up with this cell; nothing counts.
    Soak(i64),
    /// A pass of this cell, with its number there; whether the scene is loaded for it.
    Pass {
        /// The cell.
        cell: i64,
        /// Number of the pass.
        number: u32,
        /// Whether scene or setting change.
        load: bool,
        /// Why.
        why: Why,
    },
}

/// A step of a session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// What is done.
    pub what: What,
    /// How long it takes.
    pub takes_s: u32,
    /// When it ends, from now.
    pub ends_s: i64,
}

/// One part in the rig between two swaps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// The part.
    pub part: i64,
    /// Whether it is the first part's return, for the control scene alone.
    pub back: bool,
    /// When it begins, from now.
    pub starts_s: i64,
    /// Its steps.
    pub steps: Vec<Step>,
}

impl Session {
    /// When it ends, from now.
    pub fn ends_s(&self) -> i64 {
        self.steps.last().map_or(self.starts_s, |step| step.ends_s)
    }

    /// Its passes.
    pub fn passes(&self) -> usize {
        self.steps.iter().filter(|step| matches!(step.what, What::Pass { .. })).count()
    }
}

/// Whether the first part comes back last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Back {
    /// One part only: nothing to come back to.
    One,
    /// It does.
    Planned,
    /// No time is left for it.
    NoTime,
}

/// The sessions of a rig.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// In their order.
    pub sessions: Vec<Session>,
    /// Missing passes for which no time is left: cell and passes.
    pub left_out: Vec<(i64, u32)>,
    /// Whether the first part comes back.
    pub back: Back,
}

impl Plan {
    /// The step that is next, with its session.
    pub fn next(&self) -> Option<(&Session, &Step)> {
        let session = self.sessions.first()?;
        Some((session, session.steps.first()?))
    }

    /// When all is done, from now.
    pub fn ends_s(&self) -> i64 {
        self.sessions.last().map_or(0, Session::ends_s)
    }
}

/// A pass that is to be run; its number is given when all are in order.
#[derive(Clone, Copy, Debug)]
struct Run {
    cell: i64,
    tuning: i64,
    loads: (i64, i64),
    recording_s: u32,
    why: Why,
}

/// Plans the sessions of a rig.
pub fn plan(ask: &Ask<'_>) -> Plan {
    let now = ask.now;
    let mut bench =
        Bench { ask, at_s: 0, part: now.map(|now| now.part), driver: now.map(|now| now.driver.as_str()) };
    let mut plan = Plan { sessions: Vec::new(), left_out: Vec::new(), back: Back::One };
    // The part in the rig first, then as they are wanted.
    let held = now.map(|now| now.part);
    let others = ask.parts.iter().copied().filter(|part| Some(*part) != held);
    for part in held.into_iter().chain(others) {
        bench.session(part, &mut plan);
    }
    let began = ask.began.or(plan.sessions.first().map(|session| session.part));
    if !plan.sessions.is_empty() && began.is_some() && began != bench.part {
        plan.back = bench.back(began, &mut plan);
    }
    number(ask, &mut plan);
    plan
}

/// Gives each pass its number: those that are there, then in the order of the plan.
fn number(ask: &Ask<'_>, plan: &mut Plan) {
    let mut done: BTreeMap<i64, u32> = ask.needs.iter().map(|need| (need.cell, need.done)).collect();
    done.extend(ask.controls.iter().map(|control| (control.cell, control.done)));
    for step in plan.sessions.iter_mut().flat_map(|session| &mut session.steps) {
        if let What::Pass { cell, number, .. } = &mut step.what {
            let done = done.entry(*cell).or_default();
            *done = done.saturating_add(1);
            *number = *done;
        }
    }
}

/// The rig as the plan goes on.
struct Bench<'a> {
    ask: &'a Ask<'a>,
    at_s: i64,
    part: Option<i64>,
    driver: Option<&'a str>,
}

impl<'a> Bench<'a> {
    /// The session of a part, if anything of it is missing and fits.
    fn session(&mut self, part: i64, plan: &mut Plan) {
        let control = self.ask.controls.iter().find(|control| control.part == part);
        let open = self.ask.now.filter(|now| now.part == part && self.part == Some(part) && now.warm);
        let had = open.is_some_and(|open| open.control);
        // A session that goes on is closed by its control scene even where nothing is missing any more.
        let to_close = open.is_some_and(|open| open.control && !open.ended) && control.is_some();
        let needs: Vec<&Need> = self.ask.needs.iter().filter(|need| need.part == part).collect();
        if needs.is_empty() && !to_close {
            return;
        }
        let mut session = Session { part, back: false, starts_s: self.at_s, steps: Vec::new() };
        let mut walk = self.enter(part, open, control, &mut session.steps);
        let end = control.map(|control| control.run(Why::ControlEnd));
        let start = control.filter(|_| !had).map(|control| control.run(Why::ControlStart));
        let of_control = |run: &Run| control.is_some_and(|control| control.cell == run.cell);
        let needed = |run: &Run| needs.iter().any(|need| need.cell == run.cell);
        let (mut fitted, mut left_out) = (0, Vec::new());
        for run in start.into_iter().chain(runs(self.ask, &needs, control, had)) {
            // The control scene at the end must fit too.
            if self.ask.left_s.is_some_and(|left| walk.clone().after(&run, end.as_ref()) > left) {
                left_out.push(run.cell);
                if of_control(&run) && run.why == Why::ControlStart {
                    break;
                }
                continue;
            }
            walk.pass(&run, &mut session.steps);
            fitted += usize::from(needed(&run));
        }
        if fitted == 0 && !to_close {
            plan.left_out.extend(needs.iter().map(|need| (need.cell, need.passes)));
            return;
        }
        left_out.iter().for_each(|cell| leave_out(plan, *cell));
        if let Some(end) = end {
            walk.pass(&end, &mut session.steps);
        }
        self.keep(session, &walk, plan);
    }

    /// The part that came first once more, for its control scene; `NoTime` where that does not fit.
    fn back(&mut self, part: Option<i64>, plan: &mut Plan) -> Back {
        let Some(control) = self.ask.controls.iter().find(|control| Some(control.part) == part) else {
            return Back::One;
        };
        let mut session = Session { part: control.part, back: true, starts_s: self.at_s, steps: Vec::new() };
        let mut walk = self.enter(control.part, None, Some(control), &mut session.steps);
        walk.pass(&control.run(Why::ControlEnd), &mut session.steps);
        if self.ask.left_s.is_some_and(|left| walk.at_s > left) {
            return Back::NoTime;
        }
        self.keep(session, &walk, plan);
        Back::Planned
    }

    /// Swap, driver and soak, as far as the rig needs them.
    fn enter(
        &self,
        part: i64,
        open: Option<&InRig>,
        control: Option<&Control>,
        steps: &mut Vec<Step>,
    ) -> Walk {
        let costs = self.ask.costs;
        let mut walk = Walk { costs, at_s: self.at_s, tuning: control.map(|c| c.tuning), loaded: None };
        if self.part != Some(part) {
            walk.step(What::Swap, costs.swap_s, steps);
        }
        let driver = self.driver_of(part);
        if driver.is_some() && driver != self.driver {
            walk.step(What::Driver, costs.driver_s.saturating_add(costs.restart_s), steps);
        }
        if open.is_none() {
            let with = control.map(|control| (control.cell, control.loads, control.tuning));
            let first = self.ask.needs.iter().find(|need| need.part == part);
            let with = with.or(first.map(|need| (need.cell, need.loads, need.tuning)));
            if let Some((cell, loads, tuning)) = with {
                walk.step(What::Soak(cell), costs.soak_s.saturating_add(costs.load_s), steps);
                (walk.loaded, walk.tuning) = (Some(loads), Some(tuning));
            }
        }
        walk
    }

    fn driver_of(&self, part: i64) -> Option<&'a str> {
        self.ask.drivers.iter().find(|(of, _)| *of == part).map(|(_, name)| name.as_str())
    }

    fn keep(&mut self, session: Session, walk: &Walk, plan: &mut Plan) {
        self.at_s = walk.at_s;
        self.part = Some(session.part);
        self.driver = self.driver_of(session.part).or(self.driver);
        plan.sessions.push(session);
    }
}

fn leave_out(plan: &mut Plan, cell: i64) {
    match plan.left_out.iter_mut().find(|(of, _)| *of == cell) {
        Some((_, passes)) => *passes += 1,
        None => plan.left_out.push((cell, 1)),
    }
}

impl Control {
    fn run(&self, why: Why) -> Run {
        let Control { cell, tuning, loads, recording_s, .. } = *self;
        Run { cell, tuning, loads, recording_s, why }
    }
}

/// Passes of a part between the control scenes, tuning by tuning in rounds. The control scene's own missing passes are
/// run at both ends as far as they go; `had`: the one at the start is there already.
fn runs(ask: &Ask<'_>, needs: &[&Need], control: Option<&Control>, had: bool) -> Vec<Run> {
    let places = ask.places.max(1);
    let shift = (places / usize::try_from(ask.wanted.max(1)).unwrap_or(1)).max(1);
    let mut tunings: Vec<i64> = Vec::new();
    let mut keyed = Vec::new();
    for need in needs {
        if !tunings.contains(&need.tuning) {
            tunings.push(need.tuning);
        }
        let tuning = tunings.iter().position(|tuning| *tuning == need.tuning).unwrap_or(0);
        let is_control = control.is_some_and(|control| control.cell == need.cell);
        let at_ends = if is_control { 2 - u32::from(had) } else { 0 };
        for nth in 0..need.passes.saturating_sub(at_ends) {
            let round =
                usize::try_from(need.done.saturating_add(nth)).unwrap_or(0) + usize::from(is_control && !had);
            let place = (need.place + places - round.wrapping_mul(shift) % places) % places;
            let Need { cell, tuning: of, loads, recording_s, .. } = **need;
            let run = Run { cell, tuning: of, loads, recording_s, why: Why::Missing };
            keyed.push(((!need.stock, tuning, round, place), run));
        }
    }
    keyed.sort_by_key(|(key, _)| *key);
    keyed.into_iter().map(|(_, run)| run).collect()
}

/// How far a session has come.
#[derive(Clone, Debug)]
struct Walk {
    costs: Costs,
    at_s: i64,
    tuning: Option<i64>,
    loaded: Option<(i64, i64)>,
}

impl Walk {
    fn step(&mut self, what: What, takes_s: u32, steps: &mut Vec<Step>) {
        self.at_s = self.at_s.saturating_add(i64::from(takes_s));
        steps.push(Step { what, takes_s, ends_s: self.at_s });
    }

    /// A pass, with what must be set and loaded for it.
    fn pass(&mut self, run: &Run, steps: &mut Vec<Step>) {
        if self.tuning.is_some_and(|tuning| tuning != run.tuning) {
            self.step(What::Tune(run.tuning), self.costs.restart_s, steps);
            self.loaded = None;
        }
        let load = self.loaded != Some(run.loads);
        let loading_s = if load { self.costs.load_s } else { 0 };
        let takes_s = loading_s.saturating_add(self.costs.pass_s).saturating_add(run.recording_s);
        (self.tuning, self.loaded) = (Some(run.tuning), Some(run.loads));
        self.step(What::Pass { cell: run.cell, number: 0, load, why: run.why }, takes_s, steps);
    }

    /// When this pass and the one at the end would be over.
    fn after(mut self, run: &Run, end: Option<&Run>) -> i64 {
        let mut steps = Vec::new();
        self.pass(run, &mut steps);
        if let Some(end) = end {
            self.pass(end, &mut steps);
        }
        self.at_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COSTS: Costs =
        Costs { swap_s: 900, driver_s: 600, restart_s: 180, load_s: 90, soak_s: 720, pass_s: 60 };

    /// A cell of a part at stock: 12 is part 1 in scene 2. A recording takes a minute.
    fn need(part: i64, scene: i64, done: u32, passes: u32) -> Need {
        Need {
            cell: part * 10 + scene,
            part,
            tuning: part,
            stock: true,
            loads: (scene, 1),
            place: usize::try_from(scene - 1).unwrap(),
            done,
            passes,
            recording_s: 60,
        }
    }

    fn needs(parts: i64, passes: u32) -> Vec<Need> {
        (1..=parts).flat_map(|part| (1..=3).map(move |scene| need(part, scene, 0, passes))).collect()
    }

    /// Scene 3 of each part.
    fn controls(done: u32) -> Vec<Control> {
        let one = |part: i64| Control {
            cell: part * 10 + 3,
            part,
            tuning: part,
            loads: (3, 1),
            done,
            recording_s: 60,
        };
        [1, 2].map(one).to_vec()
    }

    fn ask<'a>(needs: &'a [Need], controls: &'a [Control]) -> Ask<'a> {
        Ask {
            needs,
            parts: &[1, 2],
            controls,
            drivers: &[],
            now: None,
            began: None,
            places: 3,
            wanted: 3,
            costs: COSTS,
            left_s: None,
        }
    }

    fn passes(session: &Session) -> Vec<(i64, u32)> {
        let pass = |step: &Step| match step.what {
            What::Pass { cell, number, .. } => Some((cell, number)),
            _ => None,
        };
        session.steps.iter().filter_map(pass).collect()
    }

    fn now(part: i64, warm: bool, control: bool, ended: bool) -> InRig {
        InRig { part, driver: "1.0".to_owned(), warm, control, ended }
    }

    #[test]
    fn scenes_rotate_between_the_control_scene_at_both_ends_and_the_first_part_comes_back_last() {
        let (needs, controls) = (needs(2, 3), controls(0));
        let plan = plan(&ask(&needs, &controls));
        let parts: Vec<(i64, bool)> = plan.sessions.iter().map(|s| (s.part, s.back)).collect();
        assert_eq!(parts, [(1, false), (2, false), (1, true)]);
        let run = passes(&plan.sessions[0]);
        assert_eq!(run, [(13, 1), (11, 1), (12, 1), (12, 2), (13, 2), (11, 2), (11, 3), (12, 3), (13, 3)]);
        assert_eq!(passes(&plan.sessions[2]), [(13, 4)]);
        assert_eq!((plan.back, plan.left_out.is_empty()), (Back::Planned, true));
    }

    #[test]
    fn steps_take_what_they_cost() {
        let (needs, controls) = ([need(1, 1, 0, 1)], controls(3));
        let plan = plan(&ask(&needs, &controls));
        let what: Vec<(What, u32)> = plan.sessions[0].steps.iter().map(|s| (s.what, s.takes_s)).collect();
        let pass = |cell, number, load, why| What::Pass { cell, number, load, why };
        assert_eq!(
            what,
            [
                (What::Swap, 900),
                (What::Soak(13), 810),
                (pass(13, 4, false, Why::ControlStart), 120),
                (pass(11, 1, true, Why::Missing), 210),
                (pass(13, 5, true, Why::ControlEnd), 210),
            ]
        );
        assert_eq!(plan.ends_s(), 900 + 810 + 120 + 210 + 210);
        assert_eq!(plan.back, Back::One);
    }

    #[test]
    fn the_plan_goes_on_where_it_stopped() {
        let controls = controls(1);
        let needs = [need(1, 1, 1, 2), need(1, 2, 0, 3), need(1, 3, 1, 2), need(2, 1, 0, 1)];
        let now = now(1, true, true, false);
        let plan = plan(&Ask { now: Some(&now), ..ask(&needs, &controls) });
        let first = plan.next().unwrap();
        assert_eq!(first.0.part, 1);
        assert!(matches!(first.1.what, What::Pass { cell: 12, number: 1, load: true, why: Why::Missing }));
        assert_eq!(passes(&plan.sessions[0])[..2], [(12, 1), (12, 2)]);
        assert_eq!(passes(&plan.sessions[0]).last(), Some(&(13, 3)));
    }

    #[test]
    fn a_session_under_way_is_closed_before_the_next_swap_and_a_cold_one_is_warmed_again() {
        let (controls, needs) = (controls(3), [need(2, 1, 0, 1)]);
        let open = now(1, true, true, false);
        let closing = plan(&Ask { now: Some(&open), ..ask(&needs, &controls) });
        assert_eq!(passes(&closing.sessions[0]), [(13, 4)]);
        assert_eq!((closing.sessions[1].part, closing.sessions[2].part), (2, 1));
        let ended = now(1, true, true, true);
        let next = plan(&Ask { now: Some(&ended), ..ask(&needs, &controls) });
        assert_eq!(next.sessions[0].part, 2);
        let cold = now(2, false, true, false);
        let warmed = plan(&Ask { now: Some(&cold), ..ask(&needs, &controls) });
        assert!(matches!(warmed.next().unwrap().1.what, What::Soak(23)));
    }

    #[test]
    fn a_driver_is_installed_where_the_name_differs_and_a_tuning_is_set_after_stock() {
        let tuned = Need { cell: 15, tuning: 9, stock: false, ..need(1, 1, 0, 1) };
        let (needs, controls) = ([tuned, need(1, 2, 0, 1)], controls(3));
        let drivers = [(1, "2.0".to_owned())];
        let now = now(1, true, true, false);
        let plan = plan(&Ask { now: Some(&now), drivers: &drivers, ..ask(&needs, &controls) });
        let what: Vec<What> = plan.sessions[0].steps.iter().map(|step| step.what).collect();
        assert_eq!(what[0], What::Driver);
        assert_eq!(passes(&plan.sessions[0]), [(12, 1), (15, 1), (13, 4)]);
        assert_eq!((what[2], what[4]), (What::Tune(9), What::Tune(1)));
    }

    #[test]
    fn what_does_not_fit_before_the_deadline_is_said_and_the_control_scene_still_ends_the_session() {
        let (needs, controls) = (needs(2, 3), controls(0));
        let whole = plan(&ask(&needs, &controls));
        let first_s = whole.sessions[0].ends_s();
        let all = plan(&Ask { left_s: Some(first_s), ..ask(&needs, &controls) });
        assert_eq!((all.sessions.len(), all.back), (1, Back::One));
        assert_eq!(all.left_out, [(21, 3), (22, 3), (23, 3)]);
        let short = plan(&Ask { left_s: Some(first_s - 1), ..ask(&needs, &controls) });
        assert!(short.ends_s() < first_s);
        assert_eq!(passes(&short.sessions[0]).last().map(|pass| pass.0), Some(13));
        assert_eq!(short.left_out.iter().map(|(_, n)| n).sum::<u32>(), 10);
        let back_s = whole.sessions[1].ends_s();
        assert_eq!(plan(&Ask { left_s: Some(back_s), ..ask(&needs, &controls) }).back, Back::NoTime);
        let none = plan(&Ask { left_s: Some(60), ..ask(&needs, &controls) });
        assert_eq!((none.sessions.len(), none.left_out.len()), (0, 6));
    }

    #[test]
    fn with_nothing_missing_there_is_nothing_to_do() {
        let done = plan(&ask(&[], &controls(3)));
        assert_eq!((done.next(), done.ends_s(), done.back), (None, 0, Back::One));
    }

    #[test]
    fn passes_of_a_part_without_a_control_scene_are_planned_all_the_same() {
        let needs = [need(1, 1, 2, 1)];
        let plan = plan(&ask(&needs, &[]));
        assert_eq!(passes(&plan.sessions[0]), [(11, 3)]);
        assert!(matches!(plan.sessions[0].steps[1].what, What::Soak(11)));
    }
}
