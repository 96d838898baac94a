//! What a figure is: a measure of a cell, a ratio in one scene, an overall ratio, what a page derives from them, or a
//! reading.

use serde::{Deserialize, Serialize};
use weighhouse_measure::measures::Measure;

use crate::store::{CellId, PriceId, ReaderId, ReadingKindId, RigBaseId, SceneId, SettingId, TuningId};
use crate::work::readings::Of;
use crate::work::{Refusal, Result};

/// What a figure is. Its JSON is canonical: fields in this order, no blanks, lists ascending and each once.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
pub enum What {
    /// A measure of a cell: the geometric mean over its kept passes.
    Cell {
        /// Of what.
        measure: Measure,
        /// The cell.
        cell: CellId,
    },
    /// Contender over baseline in one scene.
    Ratio {
        /// Of what.
        measure: Measure,
        /// In which scene.
        scene: SceneId,
        /// At which setting.
        setting: SettingId,
        /// Stands at 1.
        baseline: TuningId,
        /// Compared with it.
        contender: TuningId,
    },
    /// Contender over baseline, over all scenes that every one of `among` ran.
    Overall {
        /// Of what.
        measure: Measure,
        /// At which setting.
        setting: SettingId,
        /// Stands at 1.
        baseline: TuningId,
        /// Compared with it.
        contender: TuningId,
        /// All that are compared together, baseline and contender among them.
        among: Vec<TuningId>,
    },
    /// What one option costs a part: its cells at one setting over those at another.
    Costs {
        /// Of what.
        measure: Measure,
        /// The part as it is run.
        tuning: TuningId,
        /// Stands at 1.
        from: SettingId,
        /// Compared with it.
        to: SettingId,
        /// Over these scenes.
        scenes: Vec<SceneId>,
    },
    /// What becomes of a lead: at one setting over at another.
    Lead {
        /// Of what.
        measure: Measure,
        /// Stands at 1 at both.
        baseline: TuningId,
        /// Compared with it.
        contender: TuningId,
        /// The lead that stands at 1.
        from: SettingId,
        /// The lead that is compared with it.
        to: SettingId,
        /// Over these scenes.
        scenes: Vec<SceneId>,
    },
    /// A measure of a part as it is run, over scenes.
    Tuned {
        /// Of what.
        measure: Measure,
        /// The part as it is run.
        tuning: TuningId,
        /// At which setting.
        setting: SettingId,
        /// Over these scenes.
        scenes: Vec<SceneId>,
    },
    /// Watts that one tuning takes less than another.
    Less {
        /// At which setting.
        setting: SettingId,
        /// Takes more.
        baseline: TuningId,
        /// Takes less.
        contender: TuningId,
        /// Over these scenes.
        scenes: Vec<SceneId>,
    },
    /// Watts from which on more bring clearly less.
    Knee {
        /// At which setting.
        setting: SettingId,
        /// The tunings of the curve.
        tunings: Vec<TuningId>,
        /// Over these scenes.
        scenes: Vec<SceneId>,
    },
    /// What a cell has more than another, as a step of generated frames costs delay.
    Step {
        /// Of what.
        measure: Measure,
        /// Less ...
        first: CellId,
        /// ... than this one.
        second: CellId,
    },
    /// Price of a frame a second.
    Price {
        /// Of which rate.
        measure: Measure,
        /// At which setting.
        setting: SettingId,
        /// The part as it is run.
        tuning: TuningId,
        /// Over these scenes.
        scenes: Vec<SceneId>,
        /// The dated price.
        price: PriceId,
    },
    /// Price at which the contender is worth as much as the baseline.
    Even {
        /// Of which rate.
        measure: Measure,
        /// At which setting.
        setting: SettingId,
        /// Has the price.
        baseline: TuningId,
        /// Is worth as much at the figure's price.
        contender: TuningId,
        /// All that are compared together, baseline and contender among them.
        among: Vec<TuningId>,
        /// The baseline's dated price.
        price: PriceId,
    },
    /// The lead for a kind of reader.
    Reader {
        /// By which they judge.
        measure: Measure,
        /// Who they are.
        reader: ReaderId,
        /// What those who buy new would buy else.
        baseline: TuningId,
        /// What they ask about.
        contender: TuningId,
    },
    /// What was read of a part without a frame log, put together from its repeats.
    Reading {
        /// What was read.
        reading: ReadingKindId,
        /// The part as it was run.
        tuning: TuningId,
        /// The rig as it was.
        base: RigBaseId,
        /// Fan speed that was set, 1/min; none: the maker's fan curve.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        fan_rpm: Option<i64>,
    },
}

impl From<Of> for What {
    fn from(of: Of) -> Self {
        let Of { reading, tuning, base, fan_rpm } = of;
        What::Reading { reading, tuning, base, fan_rpm }
    }
}

impl What {
    /// Reads what [`What::json`] wrote, or a program wrote by hand.
    ///
    /// # Errors
    /// Refused, naming the field `what`, when it is not a figure that can be made.
    pub fn parse(text: &str) -> Result<What> {
        let read: std::result::Result<What, _> = serde_json::from_str(text);
        let what = read.map_err(|e| {
            let says = format!(
                "This does not say what the figure is ({e}); start from a number on Plan, Pass or Against."
            );
            Refusal::field("what", says)
        })?;
        Ok(what.canonical())
    }

    /// Canonical JSON, as kept and as it stands in addresses.
    pub fn json(&self) -> String {
        let canonical = self.clone().canonical();
        // Words and integers only: writing them cannot fail.
        serde_json::to_string(&canonical).unwrap_or_default()
    }

    /// The measure it is of; none of a reading.
    pub fn measure(&self) -> Option<Measure> {
        match self {
            What::Reading { .. } => None,
            What::Cell { measure, .. }
            | What::Ratio { measure, .. }
            | What::Overall { measure, .. }
            | What::Costs { measure, .. }
            | What::Lead { measure, .. }
            | What::Tuned { measure, .. }
            | What::Step { measure, .. }
            | What::Price { measure, .. }
            | What::Even { measure, .. }
            | What::Reader { measure, .. } => Some(*measure),
            What::Less { .. } | What::Knee { .. } => Some(Measure::PowerW),
        }
    }

    /// Which readings it is of; none of what is computed from passes.
    pub fn reading(&self) -> Option<Of> {
        match *self {
            What::Reading { reading, tuning, base, fan_rpm } => Some(Of { reading, tuning, base, fan_rpm }),
            _ => None,
        }
    }

    /// The same of another measure, where it has one to choose.
    #[must_use]
    pub fn with_measure(&self, to: Measure) -> What {
        let mut what = self.clone();
        match &mut what {
            What::Cell { measure, .. }
            | What::Ratio { measure, .. }
            | What::Overall { measure, .. }
            | What::Costs { measure, .. }
            | What::Lead { measure, .. }
            | What::Tuned { measure, .. }
            | What::Step { measure, .. }
            | What::Price { measure, .. }
            | What::Even { measure, .. } => *measure = to,
            // A reader judges by what the reader's row says.
            What::Reader { .. } | What::Less { .. } | What::Knee { .. } | What::Reading { .. } => {}
        }
        what
    }

    /// Whether it is a ratio, printed as a change in per cent.
    pub fn is_ratio(&self) -> bool {
        use What::{Costs, Lead, Overall, Ratio, Reader};
        matches!(self, Ratio { .. } | Overall { .. } | Costs { .. } | Lead { .. } | Reader { .. })
    }

    fn canonical(mut self) -> What {
        match &mut self {
            What::Overall { among, baseline, contender, .. }
            | What::Even { among, baseline, contender, .. } => {
                among.extend([*baseline, *contender]);
                tidy(among);
            }
            What::Knee { tunings, scenes, .. } => {
                tidy(tunings);
                tidy(scenes);
            }
            What::Costs { scenes, .. }
            | What::Lead { scenes, .. }
            | What::Tuned { scenes, .. }
            | What::Less { scenes, .. }
            | What::Price { scenes, .. } => tidy(scenes),
            What::Cell { .. }
            | What::Ratio { .. }
            | What::Step { .. }
            | What::Reader { .. }
            | What::Reading { .. } => {}
        }
        self
    }
}

/// Ascending, each once.
fn tidy<T: Ord>(list: &mut Vec<T>) {
    list.sort_unstable();
    list.dedup();
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_is_written_in_one_way() {
        let texts = [
            r#"{"kind":"cell","measure":"average_fps","cell":4}"#,
            r#"{"kind":"ratio","measure":"low_1_tail_mean_fps","scene":2,"setting":1,"baseline":1,"contender":3}"#,
            r#"{"kind":"overall","measure":"average_fps","setting":1,"baseline":1,"contender":3,"among":[1,2,3]}"#,
        ];
        for text in texts {
            assert_eq!(What::parse(text).unwrap().json(), text);
        }
        let loose = r#"{ "contender": 3, "kind": "overall", "measure": "average_fps", "setting": 1, "baseline": 1, "among": [3, 2, 2] }"#;
        assert_eq!(What::parse(loose).unwrap().json(), texts[2], "the two compared belong to those compared");
    }

    #[test]
    fn what_is_no_figure_is_refused() {
        for text in [
            "",
            "{}",
            r#"{"kind":"cell","measure":"speed","cell":4}"#,
            r#"{"kind":"cell","measure":"average_fps","cell":4,"scene":1}"#,
        ] {
            assert!(matches!(What::parse(text), Err(crate::work::Error::Refused(_))), "{text}");
        }
    }
}
