//! What people change on a pass: its window, remarks, and where its companions stand.

use serde::{Deserialize, Serialize};
use weighhouse_measure::recording::{Placing, Window};

use crate::store::companions::{self, PlacedBy};
use crate::store::passes::{self, PassRow};
use crate::store::{CompanionId, Store, StoreError, Tx, rulings};
use crate::work::once::By;
use crate::work::{Error, Refusal, Result};

/// Longest remark, characters (the table has the same limit).
pub(super) const LONGEST_REMARK: usize = 4000;

/// The window that a pass should have; none: the scene's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WindowChange {
    /// Its own window.
    pub own: Option<Window>,
    /// Why it differs from the scene's.
    pub reason: String,
    /// Of the pass, when the form was made.
    pub version: i64,
}

/// The window that a pass had.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FormerWindow {
    /// Its own; none: the scene's.
    pub own: Option<Window>,
    /// Why it differed.
    pub reason: String,
    /// Of the pass, now.
    pub version: i64,
}

/// Gives a pass its own window, or the scene's again. Answers with the one it had, for undoing.
///
/// # Errors
/// Refused when the window is empty or outside the pass, has no reason, or the pass was changed in between.
pub async fn move_window(
    store: &Store,
    by: impl Into<By>,
    pass: &str,
    change: WindowChange,
) -> Result<FormerWindow> {
    let pass = pass.to_owned();
    by.into()
        .write(store, async move |tx| {
            let row = found(tx, &pass).await?;
            let WindowChange { own, reason, version } = change;
            let own = own.filter(|own| Some(*own) != standard(&row));
            checked(&row, own, &reason)?;
            let reason = if own.is_some() { reason } else { String::new() };
            let former = own_window(&row);
            match passes::set_window(tx, row.id, version, own, &reason).await {
                Err(StoreError::Stale) => Err(stale_window(former, own)),
                other => Ok(other.map(|()| FormerWindow {
                    own: former,
                    reason: row.window_reason,
                    version: version + 1,
                })?),
            }
        })
        .await
}

fn own_window(row: &PassRow) -> Option<Window> {
    let (start_ns, end_ns) = row.window_start_ns.zip(row.window_end_ns)?;
    Some(Window { start_ns, end_ns })
}

/// The scene's window, where it has an end of its own.
fn standard(row: &PassRow) -> Option<Window> {
    let end_ns = row.scene_window_end_ns?;
    Some(Window { start_ns: row.scene_window_start_ns, end_ns })
}

fn checked(row: &PassRow, own: Option<Window>, reason: &str) -> Result<()> {
    let Some(own) = own else { return Ok(()) };
    let mut wrong = Vec::new();
    if own.start_ns < 0 || own.start_ns >= row.span_ns {
        wrong.push(("from", "It must begin within the pass.".to_owned()));
    } else if own.length_ns() <= 0 {
        wrong.push(("to", "It must end after it begins.".to_owned()));
    }
    if reason.trim().is_empty() {
        let says = "A window unlike the scene's needs a reason: one sentence that a reader would accept.";
        wrong.push(("reason", says.to_owned()));
    }
    if wrong.is_empty() { Ok(()) } else { Err(Refusal::fields(wrong).into()) }
}

fn stale_window(theirs: Option<Window>, yours: Option<Window>) -> Error {
    let words = |window: Option<Window>| {
        window.map_or("the scene's window".to_owned(), |Window { start_ns, end_ns }| {
            format!("from {start_ns} to {end_ns} ns")
        })
    };
    Refusal::stale("the window", words(yours), words(theirs)).into()
}

pub(super) async fn found(tx: &mut Tx<'_>, pass: &str) -> Result<PassRow> {
    passes::by_key(tx, pass).await?.ok_or_else(|| Refusal::missing("pass", pass).into())
}

/// Writes a remark on a pass, or on a stretch of it (ns).
///
/// # Errors
/// Refused when it says nothing, is too long, or the stretch is empty or outside the pass.
pub async fn remark(
    store: &Store,
    by: impl Into<By>,
    pass: &str,
    stretch: Option<(i64, i64)>,
    says: &str,
) -> Result<()> {
    if says.trim().is_empty() {
        return Err(Refusal::field("says", "The remark says nothing; write a sentence.").into());
    }
    if says.chars().count() > LONGEST_REMARK {
        let wrong = format!("The remark is longer than {LONGEST_REMARK} characters; write it shorter.");
        return Err(Refusal::field("says", wrong).into());
    }
    let (pass, says) = (pass.to_owned(), says.to_owned());
    by.into()
        .write(store, async move |tx| {
            let row = found(tx, &pass).await?;
            if stretch.is_some_and(|(start, end)| start < 0 || end <= start || start >= row.span_ns) {
                let wrong = "The stretch must lie within the pass and end after it begins.";
                return Err(Refusal::field("end", wrong).into());
            }
            rulings::remark(tx, row.id, stretch, &says).await?;
            Ok(())
        })
        .await
}

/// Where a companion should stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Which companion.
    pub companion: CompanionId,
    /// Pass time of its first row and drift; none: not placed.
    pub to: Option<Placing>,
    /// How it came to stand there.
    pub by: PlacedBy,
    /// Of the companion, when the form was made.
    pub version: i64,
}

/// Where a companion stood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FormerPlace {
    /// Pass time of its first row and drift; none: not placed.
    pub to: Option<Placing>,
    /// How it came to stand there.
    pub by: PlacedBy,
    /// Of the companion, now.
    pub version: i64,
}

/// Places a companion by hand, or takes its placing back. Answers with where it stood, for undoing.
///
/// # Errors
/// Refused when the pass has no such companion, or it was moved in between.
pub async fn place(store: &Store, by: impl Into<By>, pass: &str, place: Place) -> Result<FormerPlace> {
    let pass = pass.to_owned();
    by.into()
        .write(store, async move |tx| {
            let row = found(tx, &pass).await?;
            let all = companions::of_pass(tx, row.id).await?;
            let before = all.into_iter().find(|companion| companion.id == place.companion);
            let before = before.ok_or_else(|| Refusal::missing("companion", place.companion))?;
            let how = if place.to.is_some() { place.by } else { PlacedBy::Nobody };
            match companions::place(tx, place.companion, place.version, place.to, how).await {
                Err(StoreError::Stale) => Err(stale_place(&before, place.to)),
                other => Ok(other.map(|()| FormerPlace {
                    to: before.placing(),
                    by: before.placed_by,
                    version: place.version + 1,
                })?),
            }
        })
        .await
}

fn stale_place(theirs: &companions::CompanionRow, yours: Option<Placing>) -> Error {
    let words =
        |offset: Option<i64>| offset.map_or("not placed".to_owned(), |ns| format!("placed at {ns} ns"));
    let (yours, theirs) = (words(yours.map(|p| p.offset_ns)), words(theirs.offset_ns));
    Refusal::stale("the placing", yours, theirs).into()
}

#[cfg(test)]
mod tests {
    use weighhouse_measure::recording::Kind as Sort;

    use super::*;
    use crate::store::{Actor, testing};
    use crate::work::Kind;

    fn refused<T: std::fmt::Debug>(result: Result<T>) -> Refusal {
        let Err(Error::Refused(refusal)) = result else { panic!("{result:?}") };
        *refusal
    }

    fn own(start_s: i64, end_s: i64, reason: &str, version: i64) -> WindowChange {
        let window = Window { start_ns: start_s * 1_000_000_000, end_ns: end_s * 1_000_000_000 };
        WindowChange { own: Some(window), reason: reason.to_owned(), version }
    }

    #[tokio::test]
    async fn a_window_needs_a_reason_lies_within_the_pass_and_goes_back() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "p").await;
        let by = team.person;
        let bare = refused(move_window(&store, by, "p", own(1, 8, " ", 1)).await);
        assert!(!bare.wrong("reason").is_empty());
        assert!(!refused(move_window(&store, by, "p", own(3, 3, "x", 1)).await).wrong("to").is_empty());
        assert!(!refused(move_window(&store, by, "p", own(11, 12, "x", 1)).await).wrong("from").is_empty());
        let before = move_window(&store, by, "p", own(1, 8, "a menu at the start", 1)).await.unwrap();
        assert_eq!((before.own, before.version), (None, 2));
        let stale = refused(move_window(&store, by, "p", own(2, 8, "x", 1)).await);
        assert_eq!((stale.kind, stale.both.is_some()), (Kind::Stale, true));
        let back = WindowChange { own: None, reason: String::new(), version: 2 };
        let before = move_window(&store, by, "p", back).await.unwrap();
        assert_eq!(before.own.unwrap().start_ns, 1_000_000_000);
        assert_eq!(refused(move_window(&store, by, "q", own(1, 2, "x", 1)).await).kind, Kind::Missing);
    }

    #[tokio::test]
    async fn remarks_are_on_the_pass_or_on_a_stretch_of_it() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        let by = team.person;
        remark(&store, by, "p", Some((0, 5)), "the gate opens").await.unwrap();
        assert!(!refused(remark(&store, by, "p", None, " ").await).wrong("says").is_empty());
        let outside = (10_000_000_000, 11_000_000_000);
        assert!(!refused(remark(&store, by, "p", Some(outside), "x").await).wrong("end").is_empty());
        let kept = rulings::remarks(&mut store.read().await.unwrap(), pass).await.unwrap();
        assert_eq!(
            kept.iter().map(|r| (r.says.as_str(), r.start_ns)).collect::<Vec<_>>(),
            [("the gate opens", Some(0))]
        );
    }

    #[tokio::test]
    async fn a_companion_is_placed_by_hand_and_taken_back() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        let segment = testing::segment(&store, "s", Sort::Companion, 50).await;
        let by = team.person;
        let companion = store
            .write(Actor::Person(by), async move |tx| {
                companions::add(tx, pass, segment, None, PlacedBy::Nobody).await
            })
            .await
            .unwrap();
        let to = Some(Placing { offset_ns: -3, drift_ppb: 0 });
        let hand = Place { companion, to, by: PlacedBy::Hand, version: 1 };
        assert_eq!(place(&store, by, "p", hand).await.unwrap().to, None);
        assert_eq!(refused(place(&store, by, "p", hand).await).kind, Kind::Stale);
        let back = Place { to: None, version: 2, ..hand };
        assert_eq!(place(&store, by, "p", back).await.unwrap().to, to);
        let other = Place { companion: CompanionId(99), ..hand };
        assert_eq!(refused(place(&store, by, "p", other).await).kind, Kind::Missing);
    }
}
