//! What a figure is: a measure of a cell, a ratio in one scene, or an overall ratio.

use serde::{Deserialize, Serialize};
use weighhouse_measure::measures::Measure;

use crate::store::{CellId, SceneId, SettingId, TuningId};
use crate::work::{Refusal, Result};

/// What a figure is. Its JSON is canonical: fields in this order, no blanks, `among` ascending and each once.
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

    /// The measure it is of.
    pub fn measure(&self) -> Measure {
        match self {
            What::Cell { measure, .. } | What::Ratio { measure, .. } | What::Overall { measure, .. } => {
                *measure
            }
        }
    }

    /// Whether it is a ratio, printed as a change in per cent.
    pub fn is_ratio(&self) -> bool {
        !matches!(self, What::Cell { .. })
    }

    fn canonical(mut self) -> What {
        if let What::Overall { among, baseline, contender, .. } = &mut self {
            among.extend([*baseline, *contender]);
            among.sort_unstable();
            among.dedup();
        }
        self
    }
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
