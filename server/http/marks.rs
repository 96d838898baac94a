//! The mark of a pass, the same on every page.

use weighhouse_web::marks::Mark;

use crate::work::evidence::{PassEvidence, Standing};

/// How a pass stands, as a mark; one that counts although a screen found something is told from a clean one.
pub(super) fn mark(pass: &PassEvidence) -> Mark {
    match pass.standing {
        Standing::Sound if pass.flags.is_empty() => Mark::Sound,
        Standing::Sound => Mark::Kept,
        Standing::Flagged => Mark::Flagged,
        Standing::SetAside => Mark::SetAside,
        Standing::RunAgain => Mark::RunAgain,
        Standing::Earlier => Mark::Earlier,
    }
}
