//! A cell of a piece with its passes: what was measured on each, what the screens found, and how each stands.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::compare::{PassLog, SceneKind};
use weighhouse_measure::measures::steps::Steps;
use weighhouse_measure::measures::{Measure, PassMeasures};
use weighhouse_measure::screens::among::Timing;
use weighhouse_measure::screens::{
    CellPass, CellSpread, Flag, FlagKind, Profile, RanWith, Strictnesses, other_settings, screen_among,
    screen_cell,
};

use super::carried::{Age, OfCell};
use super::results::{self, PassResults};
use super::rule;
use crate::store::RigBaseId;
use crate::store::companions::CompanionRow;
use crate::store::passes::PassRow;
use crate::store::registers::cells::Cell;
use crate::store::rulings::Verdict;

/// A cell with its passes.
#[derive(Clone, Debug)]
pub struct CellEvidence {
    /// The cell.
    pub cell: Cell,
    /// How its scene is driven.
    pub kind: SceneKind,
    /// Whether its setting asks for generated frames.
    pub generated: bool,
    /// Its passes, by number.
    pub passes: Vec<PassEvidence>,
    /// How it is carried over from an earlier piece; `None`: it is the piece's own.
    pub carried: Option<OfCell>,
}

/// A pass with what is known of it.
#[derive(Clone, Debug)]
pub struct PassEvidence {
    /// The pass, what it ran on, the ruling that stands.
    pub row: PassRow,
    /// Its companions.
    pub companions: Vec<CompanionRow>,
    /// What was measured.
    pub measures: PassMeasures,
    /// Its profile over time.
    pub profile: Profile,
    /// It in steps of time.
    pub steps: Steps,
    /// How its frame times are spread.
    pub times: results::Spread,
    /// All flags: its own, beside its siblings, and as an odd one of its cell.
    pub flags: Vec<Flag>,
    /// How it stands.
    pub standing: Standing,
    /// Where it stands to the moment from which its cell is carried over.
    pub age: Age,
}

/// How a pass stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// No flag, or all its kinds of flag were seen by the ruling 'keep'.
    Sound,
    /// A kind of flag that no ruling saw.
    Flagged,
    /// Ruled out, with a reason.
    SetAside,
    /// Ruled to be recorded once more.
    RunAgain,
    /// Carried over, and fresh passes of its cell count in its place.
    Earlier,
}

impl Standing {
    /// Whether it counts: passes count until a person rules them out.
    pub fn counts(self) -> bool {
        matches!(self, Standing::Sound | Standing::Flagged)
    }

    /// Its word, the same as its mark's.
    pub fn word(self) -> &'static str {
        match self {
            Standing::Sound => "sound",
            Standing::Flagged => "flagged",
            Standing::SetAside => "set aside",
            Standing::RunAgain => "run again",
            Standing::Earlier => "earlier",
        }
    }
}

impl CellEvidence {
    /// Passes that count.
    pub fn kept(&self) -> impl Iterator<Item = &PassEvidence> {
        self.passes.iter().filter(|pass| pass.counts())
    }

    /// Whether carrying this pass over declares the driver that it ran on: only where all that counts in the cell ran on it.
    pub fn declares(&self, pass: &PassEvidence) -> bool {
        let driver = pass.row.driver_id;
        pass.age == Age::Earlier && self.kept().all(|other| other.row.driver_id == driver)
    }

    /// Siblings are the passes that count; set-aside ones are judged beside them too.
    /// What a piece chose not to be told of is no flag.
    pub(super) fn screen(&mut self, spread: &CellSpread, low: Measure, screens: &Strictnesses) {
        let timing = match self.kind {
            SceneKind::BuiltIn | SceneKind::Replay => Timing::Fixed,
            SceneKind::ByHand => Timing::ByHand,
        };
        let among: Vec<Vec<Flag>> = self
            .passes
            .iter()
            .map(|pass| {
                let siblings: Vec<&Profile> = self
                    .kept()
                    .filter(|other| other.row.id != pass.row.id)
                    .map(|other| &other.profile)
                    .collect();
                let mut flags = screen_among(&pass.flags, &pass.profile, &siblings, timing);
                // A cadence is what generated frames come in.
                flags.retain(|flag| !(self.generated && flag.kind == FlagKind::Cadence));
                flags
            })
            .collect();
        for (pass, flags) in self.passes.iter_mut().zip(among) {
            pass.flags = flags;
            pass.flags.retain(|flag| screens.raises(flag));
        }
        self.find_odd_ones(spread, low, screens);
        self.find_other_settings(screens);
        for pass in &mut self.passes {
            pass.standing = pass.stands();
        }
    }

    /// Settings files are held against each other within a rig: another rig's may name other hardware.
    fn find_other_settings(&mut self, screens: &Strictnesses) {
        let mut rigs: BTreeMap<RigBaseId, Vec<usize>> = BTreeMap::new();
        for (at, pass) in self.passes.iter().enumerate().filter(|(_, pass)| pass.row.kept()) {
            rigs.entry(pass.row.rig_base_id).or_default().push(at);
        }
        for places in rigs.values() {
            let ran = places.iter().filter_map(|at| self.passes.get(*at)).map(|pass| RanWith {
                number: pass.row.number,
                file: pass.row.settings_sha256.as_deref(),
                window: pass.row.window(),
            });
            let found = other_settings(&ran.collect::<Vec<_>>());
            for (nth, flag) in found.into_iter().filter(|(_, flag)| screens.raises(flag)) {
                if let Some(pass) = places.get(nth).and_then(|at| self.passes.get_mut(*at)) {
                    pass.flags.push(flag);
                }
            }
        }
    }

    /// Like is held against like: rigs, drivers and builds differ without any pass being wrong.
    fn find_odd_ones(&mut self, spread: &CellSpread, low: Measure, screens: &Strictnesses) {
        let mut groups: BTreeMap<_, Vec<(usize, CellPass)>> = BTreeMap::new();
        for (at, pass) in self.passes.iter().enumerate().filter(|(_, pass)| pass.counts()) {
            let like = (pass.row.rig_base_id.0, pass.row.driver_id.0, pass.row.build_id.0);
            if let Some(in_cell) = pass.in_cell(low) {
                groups.entry(like).or_default().push((at, in_cell));
            }
        }
        let found: Vec<(usize, Flag)> =
            groups.values().flat_map(|group| self.odd_ones(group, spread)).collect();
        for (at, flag) in found.into_iter().filter(|(_, flag)| screens.raises(flag)) {
            if let Some(pass) = self.passes.get_mut(at) {
                pass.flags.push(flag);
            }
        }
    }

    /// Passes without a flag of their own are the measure; each flagged one is held against them, so that it makes none
    /// of them look odd. Where all are flagged they are held against each other.
    fn odd_ones(&self, group: &[(usize, CellPass)], spread: &CellSpread) -> Vec<(usize, Flag)> {
        let (sound, flagged): (Vec<_>, Vec<_>) =
            group.iter().partition(|(at, _)| self.passes.get(*at).is_some_and(|pass| pass.flags.is_empty()));
        let judge = |passes: &[(usize, CellPass)]| {
            let measured: Vec<CellPass> = passes.iter().map(|(_, pass)| *pass).collect();
            passes.iter().map(|(at, _)| *at).zip(screen_cell(&measured, spread)).collect::<Vec<_>>()
        };
        let mut found = judge(if sound.is_empty() { &flagged } else { &sound });
        if !sound.is_empty() {
            found.extend(flagged.into_iter().filter_map(|one| judge(&[&sound[..], &[one]].concat()).pop()));
        }
        found.into_iter().filter_map(|(at, flag)| Some((at, flag?))).collect()
    }
}

impl PassEvidence {
    pub(super) fn new(row: PassRow, beside: &[CompanionRow], results: PassResults) -> Self {
        let companions = beside.iter().filter(|c| c.pass_id == row.id).cloned().collect();
        let PassResults { measures, screened } = results;
        PassEvidence {
            row,
            companions,
            measures,
            profile: screened.profile,
            steps: screened.steps,
            times: screened.spread,
            flags: screened.flags,
            standing: Standing::Sound,
            age: Age::Own,
        }
    }

    /// Whether it counts: nobody ruled it out, and no fresh passes count in its place.
    pub fn counts(&self) -> bool {
        self.row.kept() && self.age != Age::Replaced
    }

    fn in_cell(&self, low: Measure) -> Option<CellPass> {
        let ln = |measure| PassLog::new(self.measures.value(measure)?, 0, 0, true).map(|log| log.ln());
        Some(CellPass { window: self.row.window(), ln_average: ln(Measure::AverageFps)?, ln_low: ln(low) })
    }

    /// Kinds of flag that stand now, each once, by key.
    pub fn flag_kinds(&self) -> BTreeSet<&'static str> {
        self.flags.iter().map(|flag| flag.kind.key()).collect()
    }

    /// A ruling holds for the kinds of flag it saw; a new kind re-opens it (never one that ruled the pass out).
    fn stands(&self) -> Standing {
        let saw = rule::saw(&self.row);
        match self.row.verdict {
            Some(Verdict::SetAside) => Standing::SetAside,
            Some(Verdict::RunAgain) => Standing::RunAgain,
            _ if self.age == Age::Replaced => Standing::Earlier,
            Some(Verdict::Keep) if self.flag_kinds().iter().all(|kind| saw.contains(*kind)) => {
                Standing::Sound
            }
            Some(Verdict::Keep | Verdict::Open) | None if self.flags.is_empty() => Standing::Sound,
            Some(Verdict::Keep | Verdict::Open) | None => Standing::Flagged,
        }
    }
}
