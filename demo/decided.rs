//! What a team decides and quotes: rulings, figures, editions, numbers of makers.

use jiff::Timestamp;

/// Something that somebody of the team decided; people are indices into the team.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Decision {
    /// A ruling on a pass.
    Ruling {
        /// Who.
        by: usize,
        /// File name of the pass.
        pass: String,
        /// `set aside` or `run again`.
        verdict: &'static str,
        /// In the team's words.
        reason: &'static str,
    },
    /// The piece's noise prior, renewed from the passes that are kept.
    Prior {
        /// Who.
        by: usize,
    },
    /// Figures made together and taken as far as people are named.
    Figures {
        /// Who made them.
        made_by: usize,
        /// Who proposed them.
        proposed_by: Option<usize>,
        /// Who agreed to them.
        agreed_by: Option<usize>,
        /// Which.
        figures: Vec<DemoFigure>,
    },
    /// Figures that lapsed, proposed and agreed to as they are now.
    Again {
        /// Who proposed them.
        proposed_by: usize,
        /// Who agreed to them.
        agreed_by: usize,
    },
    /// An edition of what is agreed.
    Edition {
        /// Who froze it.
        by: usize,
        /// What it is for.
        note: &'static str,
    },
}

/// A number that stands somewhere and was not measured.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DemoQuote {
    /// What it is called.
    pub name: &'static str,
    /// The part, an index into `parts`.
    pub part: usize,
    /// Decimal text.
    pub value: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Where it stands.
    pub source: &'static str,
    /// Its address; in the domain that is reserved for examples (RFC 2606, section 2).
    pub link: &'static str,
    /// When it was read.
    pub dated: Timestamp,
    /// The quote that its change is told against, an index into those before it.
    pub over: Option<usize>,
}

/// A number for print.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DemoFigure {
    /// Key of the measure.
    pub measure: &'static str,
    /// What it is a number of.
    pub of: FigureOf,
}

/// What a figure is a number of; cells are indices into `cells`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FigureOf {
    /// A cell.
    Cell(usize),
    /// One part over another in the scene that both cells are of.
    Ratio {
        /// Cell of the part that stands at 1.
        baseline: usize,
        /// Cell of the other.
        contender: usize,
    },
    /// One part over another over all scenes at the setting of these cells.
    Overall {
        /// A cell of the part that stands at 1.
        baseline: usize,
        /// A cell of the other.
        contender: usize,
    },
}
