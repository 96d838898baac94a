//! Kinds of reader: what people type of them, checked and kept.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::evidence::Registers;
use super::once::By;
use super::registers::typed::{Typed, number};
use super::{Error, Internal, Refusal, Result};
use crate::store::pieces::{self, Piece};
use crate::store::readers::{self, JudgesBy, Reader, ReaderFields};
use crate::store::{PartId, PieceId, ReaderId, SceneId, SettingId, Store};

/// Largest weight of a scene or setting.
const MOST_WEIGHT: u32 = 100;

/// What a reader plays and how: whole weights. The weight of a scene at a setting is the product of both.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plays {
    /// By scene; what is not in here they do not play.
    pub scenes: BTreeMap<SceneId, u32>,
    /// By setting; what is not in here they do not use.
    pub settings: BTreeMap<SettingId, u32>,
}

impl Plays {
    /// What a reader plays.
    ///
    /// # Errors
    /// When what is kept cannot be read.
    pub fn of(reader: &ReaderFields) -> Result<Plays> {
        serde_json::from_str(&reader.plays)
            .map_err(|e| Internal(format!("what a reader plays cannot be read: {e}")).into())
    }

    /// As the store keeps it.
    pub fn text(&self) -> String {
        // Whole numbers only: writing them cannot fail.
        serde_json::to_string(self).unwrap_or_default()
    }
}

/// Reads a reader from typed texts; weights are the fields `scene_ID` and `setting_ID`.
///
/// # Errors
/// Refused, naming every field that is wrong.
pub fn read(piece_id: PieceId, names: &Registers, mut typed: Typed<'_>) -> Result<ReaderFields> {
    let mut plays = Plays::default();
    for id in names.scenes.keys() {
        weight(&mut typed, &format!("scene_{id}")).map(|weight| plays.scenes.insert(*id, weight));
    }
    for id in names.settings.keys() {
        weight(&mut typed, &format!("setting_{id}")).map(|weight| plays.settings.insert(*id, weight));
    }
    if plays.scenes.is_empty() || plays.settings.is_empty() {
        typed.wrong(
            "plays",
            "Give a weight to one scene and one setting at least: what do they play, and how?",
        );
    }
    let asks = typed.whole("asks", "per cent", 0..=1000);
    if typed.text("asks").is_empty() {
        typed.wrong("asks", "The lead that they ask for is missing; write a whole percentage, such as 25.");
    }
    let (mut kwh_price, mut kwh_currency) = (String::new(), String::new());
    if !typed.text("kwh_price").is_empty() {
        kwh_price = typed.amount("kwh_price");
        kwh_currency = typed.currency("kwh_currency");
    }
    let fields = ReaderFields {
        piece_id,
        name: typed.name("name", "The reader's name"),
        owned_part_id: owned(&mut typed, names),
        judges_by: typed.word("judges_by", JudgesBy::ALL, JudgesBy::Average),
        asks_permille: asks.unwrap_or(0) * 10,
        refresh_hz: typed.whole("refresh_hz", "Hz", 20..=1000),
        hours_a_week: typed.whole("hours_a_week", "hours", 0..=168).unwrap_or(0),
        kwh_price,
        kwh_currency,
        plays: plays.text(),
    };
    typed.done().map(|()| fields)
}

/// A weight above 0; none where nothing or 0 was typed.
fn weight(typed: &mut Typed<'_>, field: &str) -> Option<u32> {
    let text = typed.text(field);
    if text.is_empty() {
        return None;
    }
    let read = text.parse::<u32>().ok().filter(|weight| *weight <= MOST_WEIGHT);
    if read.is_none() {
        typed.wrong("plays", format!("'{text}' is no weight; write a whole number from 0 to {MOST_WEIGHT}."));
    }
    read.filter(|weight| *weight > 0)
}

fn owned(typed: &mut Typed<'_>, names: &Registers) -> Option<PartId> {
    let text = typed.text("owned");
    if text.is_empty() {
        return None;
    }
    let part = names.parts.keys().copied().find(|id| id.to_string() == text);
    if part.is_none() {
        typed.wrong("owned", format!("'{text}' is no part: choose one, or none."));
    }
    part
}

/// A reader as a form shows them: name of the field and its text.
///
/// # Errors
/// When what is kept cannot be read.
pub fn texts(reader: &ReaderFields) -> Result<Vec<(String, String)>> {
    let plays = Plays::of(reader)?;
    let text = |name: &str, text: String| (name.to_owned(), text);
    let mut texts = vec![
        text("name", reader.name.clone()),
        text("owned", number(reader.owned_part_id.map(|id| id.0))),
        text("judges_by", reader.judges_by.to_string()),
        text("asks", (reader.asks_permille / 10).to_string()),
        text("refresh_hz", number(reader.refresh_hz)),
        text("hours_a_week", reader.hours_a_week.to_string()),
        text("kwh_price", reader.kwh_price.clone()),
        text("kwh_currency", reader.kwh_currency.clone()),
    ];
    texts.extend(plays.scenes.iter().map(|(id, w)| (format!("scene_{id}"), w.to_string())));
    texts.extend(plays.settings.iter().map(|(id, w)| (format!("setting_{id}"), w.to_string())));
    Ok(texts)
}

/// The piece that a reader belongs to.
///
/// # Errors
/// When the store fails.
pub async fn piece_of(store: &Store, reader: &Reader) -> Result<Piece> {
    let id = reader.fields.piece_id;
    let piece = pieces::by_id(&mut *store.read().await?, id).await?;
    piece.ok_or_else(|| Refusal::missing("piece", id).into())
}

/// Adds a reader.
///
/// # Errors
/// Refused when the name is taken.
pub async fn add(store: &Store, by: impl Into<By>, fields: ReaderFields) -> Result<ReaderId> {
    by.into().write(store, async move |tx| Ok(readers::add(tx, &fields).await?)).await
}

/// Changes what was read at `version`.
///
/// # Errors
/// Refused when somebody was faster, with both texts, and when the name is taken.
pub async fn edit(
    store: &Store,
    by: impl Into<By>,
    id: ReaderId,
    version: i64,
    fields: ReaderFields,
) -> Result<()> {
    by.into()
        .write(store, async move |tx| {
            let now = readers::by_id(tx, id).await?.ok_or_else(|| Refusal::missing("reader", id))?;
            if now.version != version {
                return Err(Refusal::stale("this reader", lines(&fields)?, lines(&now.fields)?).into());
            }
            readers::edit(tx, id, version, &fields).await.map_err(Error::from)
        })
        .await
}

/// Takes a reader out: who they were.
///
/// # Errors
/// Refused when somebody changed them since they were read.
pub async fn take_out(
    store: &Store,
    by: impl Into<By>,
    reader: Reader,
    version: i64,
) -> Result<ReaderFields> {
    by.into()
        .write(store, async move |tx| {
            if reader.version != version {
                return Err(Refusal::stale("this reader", "take out", lines(&reader.fields)?).into());
            }
            readers::remove(tx, reader.id, version).await?;
            Ok(reader.fields)
        })
        .await
}

fn lines(reader: &ReaderFields) -> Result<String> {
    let texts = texts(reader)?;
    let filled = texts.iter().filter(|(_, text)| !text.is_empty());
    Ok(filled
        .map(|(name, text)| format!("{}: {text}", name.replace('_', " ")))
        .collect::<Vec<_>>()
        .join("\n"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::made_up;

    fn typed(pairs: &[(&str, &str)]) -> Result<ReaderFields> {
        let evidence = made_up::piece(2, 3);
        let text = |name: &str| pairs.iter().find(|(n, _)| *n == name).map_or("", |(_, text)| *text);
        read(PieceId(1), &evidence.registers, Typed::new(&text))
    }

    const GOOD: [(&str, &str); 8] = [
        ("name", "plays Game 2 daily"),
        ("owned", "1"),
        ("judges_by", "low"),
        ("asks", "25"),
        ("refresh_hz", "144"),
        ("kwh_price", "0.35"),
        ("kwh_currency", "eur"),
        ("scene_2", "5"),
    ];

    #[test]
    fn what_was_typed_is_kept_and_typed_again() {
        let mut pairs = GOOD.to_vec();
        pairs.extend([("setting_1", "1"), ("scene_1", "0")]);
        let fields = typed(&pairs).unwrap();
        assert_eq!((fields.asks_permille, fields.judges_by), (250, JudgesBy::Low));
        assert_eq!((fields.kwh_price.as_str(), fields.kwh_currency.as_str()), ("0.35", "EUR"));
        let plays = Plays::of(&fields).unwrap();
        assert_eq!(plays.scenes, BTreeMap::from([(SceneId(2), 5)]));
        let again = texts(&fields).unwrap();
        let again: Vec<(&str, &str)> = again.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
        assert_eq!(typed(&again).unwrap(), fields);
    }

    #[test]
    fn each_wrong_field_is_named() {
        let wrong = |pairs: &[(&str, &str)], field: &str| {
            let Err(Error::Refused(refusal)) = typed(pairs) else { panic!("kept {pairs:?}") };
            refusal.wrong(field).to_owned()
        };
        assert!(wrong(&GOOD, "plays").contains("one setting"));
        let all = |name: &'static str, text: &'static str| {
            let mut pairs: Vec<_> = GOOD.iter().copied().filter(|(n, _)| *n != name).collect();
            pairs.extend([("setting_1", "1"), (name, text)]);
            pairs
        };
        assert!(wrong(&all("scene_2", "-1"), "plays").contains("'-1'"));
        assert!(wrong(&all("asks", ""), "asks").contains("missing"));
        assert!(wrong(&all("owned", "9"), "owned").contains("'9'"));
        assert!(wrong(&all("kwh_currency", ""), "kwh_currency").contains("three letters"));
        assert!(wrong(&all("refresh_hz", "10"), "refresh_hz").contains("20 to 1000"));
    }
}
