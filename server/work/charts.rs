//! The charts that a piece keeps: what people write on them, checked and kept.

use weighhouse_web::charts::Colour;

use super::evidence::Registers;
use super::once::By;
use super::{Error, Refusal, Result};
use crate::store::charts::{self, ChartFields, KeptChart};
use crate::store::pieces::{self, Piece};
use crate::store::{ChartId, SceneId, Store};

/// Longest title, characters.
const LONGEST_TITLE: usize = 160;
/// Longest note, characters.
const LONGEST_NOTE: usize = 400;

/// The scenes that a kept chart shows, in their order; none: all.
pub fn scenes(fields: &ChartFields) -> Vec<SceneId> {
    // What cannot be read any more is no choice: all are shown.
    serde_json::from_str(&fields.scenes).unwrap_or_default()
}

/// Words and scenes as people type them; `place` gives the text of a scene's place.
///
/// # Errors
/// Refused, naming every field that is wrong.
pub fn read<'a>(
    kept: &ChartFields,
    names: &Registers,
    (title, note): (&str, &str),
    place: impl Fn(SceneId) -> &'a str,
) -> Result<ChartFields> {
    let mut wrong = Vec::new();
    for (field, text, longest) in [("title", title, LONGEST_TITLE), ("note", note, LONGEST_NOTE)] {
        let length = text.chars().count();
        if length > longest {
            wrong.push((field, format!("{length} characters are too many; write at most {longest}.")));
        }
    }
    let mut placed: Vec<(u32, SceneId)> = Vec::new();
    for id in names.scenes.keys() {
        let text = place(*id);
        match text.parse() {
            Ok(at) => placed.push((at, *id)),
            Err(_) if text.is_empty() => {}
            Err(_) => {
                let says = format!("'{text}' is no place; write a whole number, or nothing to leave it out.");
                wrong.push(("places", says));
            }
        }
    }
    if !wrong.is_empty() {
        return Err(Refusal::fields(wrong).into());
    }
    placed.sort_unstable();
    let placed: Vec<SceneId> = placed.into_iter().map(|(_, id)| id).collect();
    Ok(ChartFields {
        title: title.to_owned(),
        note: note.to_owned(),
        // Ids only: writing them cannot fail.
        scenes: serde_json::to_string(&placed).unwrap_or_default(),
        ..kept.clone()
    })
}

/// The piece that a chart belongs to.
///
/// # Errors
/// When the store fails.
pub async fn piece_of(store: &Store, chart: &KeptChart) -> Result<Piece> {
    let id = chart.fields.piece_id;
    let piece = pieces::by_id(&mut *store.read().await?, id).await?;
    piece.ok_or_else(|| Refusal::missing("piece", id).into())
}

/// Keeps a chart.
///
/// # Errors
/// When the store fails.
pub async fn add(store: &Store, by: impl Into<By>, fields: ChartFields) -> Result<ChartId> {
    by.into().write(store, async move |tx| Ok(charts::add(tx, &fields).await?)).await
}

/// Changes the words and scenes of what was read at `version`.
///
/// # Errors
/// Refused when somebody was faster, with both texts.
pub async fn edit(
    store: &Store,
    by: impl Into<By>,
    id: ChartId,
    version: i64,
    fields: ChartFields,
) -> Result<()> {
    by.into()
        .write(store, async move |tx| {
            let now = charts::by_id(tx, id).await?.ok_or_else(|| Refusal::missing("chart", id))?;
            if now.version != version {
                return Err(Refusal::stale("this chart", lines(&fields), lines(&now.fields)).into());
            }
            charts::edit(tx, id, version, &fields).await.map_err(Error::from)
        })
        .await
}

/// Takes a chart out: what it was.
///
/// # Errors
/// Refused when somebody changed it since it was read.
pub async fn take_out(
    store: &Store,
    by: impl Into<By>,
    chart: KeptChart,
    version: i64,
) -> Result<ChartFields> {
    by.into()
        .write(store, async move |tx| {
            if chart.version != version {
                return Err(Refusal::stale("this chart", "take out", lines(&chart.fields)).into());
            }
            charts::remove(tx, chart.id, version).await?;
            Ok(chart.fields)
        })
        .await
}

fn lines(chart: &ChartFields) -> String {
    format!("title: {}\nnote: {}\nscenes: {}", chart.title, chart.note, chart.scenes)
}

/// The team's own colour in its charts.
///
/// # Errors
/// When the store fails.
pub async fn accent(store: &Store) -> Result<Option<Colour>> {
    Ok(Colour::parse(&charts::look(&mut *store.read().await?).await?.accent))
}

/// Keeps the team's own colour; empty: the program's own.
///
/// # Errors
/// Refused when it is no colour, or somebody changed it in between.
pub async fn keep_accent(store: &Store, by: impl Into<By>, version: i64, text: &str) -> Result<()> {
    let accent = match (text, Colour::parse(text)) {
        ("", _) => String::new(),
        (_, Some(colour)) => colour.to_string(),
        (_, None) => {
            let says = format!("'{text}' is no colour; write # and six digits from 0 to f, such as #0a4d8c.");
            return Err(Refusal::field("accent", says).into());
        }
    };
    by.into()
        .write(store, async move |tx| {
            let now = charts::look(tx).await?;
            if now.version != version {
                return Err(Refusal::stale("the colour", accent, now.accent).into());
            }
            charts::keep_look(tx, version, &accent).await.map_err(Error::from)
        })
        .await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::PieceId;
    use crate::store::charts::ChartKind;
    use crate::work::made_up;

    fn kept() -> ChartFields {
        ChartFields {
            piece_id: PieceId(1),
            kind: ChartKind::Ratios,
            asked: "of=ratios".to_owned(),
            title: String::new(),
            note: String::new(),
            scenes: "[]".to_owned(),
        }
    }

    #[test]
    fn scenes_stand_by_their_places() {
        let names = made_up::piece(1, 3).registers;
        let place = |id: SceneId| ["2", "", "1"][usize::try_from(id.0 - 1).unwrap()];
        let fields = read(&kept(), &names, ("A title", ""), place).unwrap();
        assert_eq!(scenes(&fields), [SceneId(3), SceneId(1)]);
        assert_eq!((fields.title.as_str(), fields.asked.as_str()), ("A title", "of=ratios"));
        assert_eq!(scenes(&read(&kept(), &names, ("", ""), |_| "").unwrap()), []);
    }

    #[test]
    fn each_wrong_field_is_named() {
        let names = made_up::piece(1, 3).registers;
        let long = "x".repeat(161);
        let Err(Error::Refused(refusal)) = read(&kept(), &names, (&long, ""), |_| "first") else {
            panic!("kept")
        };
        assert!(refusal.wrong("title").contains("161") && refusal.wrong("places").contains("'first'"));
    }
}
