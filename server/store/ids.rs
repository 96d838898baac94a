//! Typed row ids: a unit's id cannot stand where a part's is asked for.

use serde::{Deserialize, Serialize};

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, sqlx::Type)]
        #[serde(transparent)]
        #[sqlx(transparent)]
        pub struct $name(pub i64);

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }

        impl From<$name> for i64 {
            fn from(id: $name) -> i64 {
                id.0
            }
        }
    )+};
}

ids! {
    /// A person with an account.
    PersonId,
    /// A one-time link that makes an account.
    InvitationId,
    /// A key that may only upload, for one rig.
    RigKeyId,
    /// A test machine.
    RigId,
    /// The base of a rig from a moment on.
    RigBaseId,
    /// A model under test.
    PartId,
    /// A sample in hand.
    UnitId,
    /// A part's dated driver.
    DriverId,
    /// A part's dated price.
    PriceId,
    /// A game's repeatable passage.
    SceneId,
    /// A game's dated build.
    BuildId,
    /// Resolution, quality and the rest.
    SettingId,
    /// How a part is run.
    TuningId,
    /// A number that nobody measured.
    QuoteId,
    /// A frozen edition of a piece.
    EditionId,
    /// A link that opens an edition.
    EditionLinkId,
    /// A version of a draft's text.
    DraftTextId,
    /// What was decided on a number of a draft.
    DraftNumberId,
    /// Part x tuning x scene x setting.
    CellId,
    /// A log file as it came.
    CaptureId,
    /// How the columns of a kind of log are read.
    LayoutId,
    /// A stretch of a capture.
    SegmentId,
    /// A column of a segment.
    TrackId,
    /// One repetition of a cell.
    PassId,
    /// A second log of the same pass.
    CompanionId,
    /// A person's decision on a pass.
    RulingId,
    /// A pass recorded in another's place.
    ReplacementId,
    /// What a person wrote on a pass.
    RemarkId,
    /// What somebody did with a remark.
    RemarkStepId,
    /// An article or video with a deadline.
    PieceId,
    /// A kind of reader.
    ReaderId,
    /// A kept chart.
    ChartId,
    /// A rig's board beside it.
    BoardId,
    /// A piece's choice of screens.
    PieceScreensId,
    /// A number for print.
    FigureId,
    /// What a person did with a figure.
    FigureStepId,
    /// What the team reads off an instrument.
    ReadingKindId,
    /// A sitting with its repeats.
    ReadingId,
    /// What an instrument showed.
    RepeatId,
    /// A person's decision on a repeat.
    RepeatRulingId,
    /// A file that shows a reading.
    ProofId,
    /// A sensor log of a part that runs warm.
    SoakId,
    /// Notes of a piece.
    PieceNotesId,
    /// An owner's word on an embargo.
    EmbargoWordId,
    /// A part carried over into a piece.
    CarriedId,
    /// A cell carried over into a piece.
    CarriedCellId,
}
