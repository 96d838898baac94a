//! Missing passes as a plan lists them: part by part, as the bench takes them.

use serde::Serialize;

use crate::format;

/// What is missing with a part as it is run.
#[derive(Clone, Debug, Serialize)]
pub struct Session {
    /// The part's name.
    pub part: String,
    /// Its tuning.
    pub tuning: String,
    /// What is missing of each scene at each setting.
    pub cells: Vec<Missing>,
}

/// Passes that a cell lacks.
#[derive(Clone, Debug, Serialize)]
pub struct Missing {
    /// Game and passage.
    pub scene: String,
    /// Setting.
    pub setting: String,
    /// How many.
    pub passes: u64,
    /// How many of them are run in the place of another, as ruled.
    pub again: u64,
}

impl Missing {
    pub(super) fn again(&self) -> String {
        match self.again {
            1 => "one in place of a pass to run again".to_owned(),
            many => format!("{} in place of passes to run again", format::count(many)),
        }
    }
}

impl Session {
    pub(super) fn passes(&self) -> u64 {
        self.cells.iter().map(|cell| cell.passes).sum()
    }
}
