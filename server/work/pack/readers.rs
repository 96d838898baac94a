//! The readers of a piece for the pack: their weights, and the answer for each.

use super::tables::{Table, number, words};
use crate::work::Result;
use crate::work::against;
use crate::work::answers::answers;
use crate::work::evidence::Evidence;
use crate::work::readers::Plays;

/// One row a reader and scene or setting: its whole weight. A scene at a setting weighs the product of both.
///
/// # Errors
/// When what is kept of a reader cannot be read.
pub fn weights(evidence: &Evidence) -> Result<String> {
    let names = &evidence.registers;
    let mut table = Table::new(&["reader", "of", "name", "weight"]);
    for reader in &evidence.readers {
        let plays = Plays::of(&reader.fields)?;
        let mut row = |of: &str, name: String, weight: u32| {
            table.row([words(&reader.fields.name), of.to_owned(), words(&name), weight.to_string()]);
        };
        for (id, weight) in &plays.scenes {
            row("scene", names.scene_name(*id), *weight);
        }
        for (id, weight) in &plays.settings {
            row("setting", names.setting_name(*id), *weight);
        }
    }
    Ok(table.into_text())
}

/// One row a reader and part at stock: the lead in what they play over what they have, and the answer.
///
/// # Errors
/// When what is kept of a reader cannot be read.
pub fn told(evidence: &Evidence) -> Result<String> {
    let names = &evidence.registers;
    let mut table = Table::new(&[
        "reader",
        "part",
        "instead_of",
        "measure",
        "lead_ratio",
        "interval_low",
        "interval_high",
        "asked_ratio",
        "measured_share",
        "answer",
        "refresh_hz",
        "hours_a_week",
        "kwh_price",
        "kwh_currency",
    ]);
    let Some(choice) = against::choose(evidence, &against::Asked::default())? else {
        return Ok(table.into_text());
    };
    for of in answers(evidence, choice.baseline, &choice.contenders, None)? {
        let fields = &of.reader.fields;
        let interval = of.lead.as_ref().and_then(|lead| lead.bounds).map(|bounds| bounds.interval);
        table.row([
            words(&fields.name),
            words(&names.tuning_name(of.contender)),
            of.instead_of.map_or_else(String::new, |id| words(&names.tuning_name(id))),
            of.measure.key().to_owned(),
            number(of.lead.as_ref().map(|lead| lead.ratio)),
            number(interval.map(|i| i.low)),
            number(interval.map(|i| i.high)),
            number(Some(1.0 + fields.asks_permille as f64 / 1000.0)),
            number(Some(of.covered)),
            of.answer.words().to_owned(),
            fields.refresh_hz.map_or_else(String::new, |hz| hz.to_string()),
            fields.hours_a_week.to_string(),
            fields.kwh_price.clone(),
            fields.kwh_currency.clone(),
        ]);
    }
    Ok(table.into_text())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::readers::{JudgesBy, Reader, ReaderFields};
    use crate::store::{PartId, PieceId, ReaderId};
    use crate::work::made_up::{self, add_cell};

    #[test]
    fn weights_and_answers_go_along() {
        let mut evidence = made_up::piece(2, 2);
        add_cell(&mut evidence, 1, 1, &[99.9, 100.0, 100.1]);
        add_cell(&mut evidence, 2, 1, &[127.9, 128.0, 128.1]);
        let fields = ReaderFields {
            piece_id: PieceId(1),
            name: "=plays".to_owned(),
            owned_part_id: Some(PartId(1)),
            judges_by: JudgesBy::Average,
            asks_permille: 250,
            refresh_hz: Some(144),
            hours_a_week: 20,
            kwh_price: String::new(),
            kwh_currency: String::new(),
            plays: r#"{"scenes":{"1":3},"settings":{"1":1}}"#.to_owned(),
        };
        evidence.readers.push(Reader { id: ReaderId(1), fields, version: 1 });
        assert_eq!(
            weights(&evidence).unwrap(),
            "reader,of,name,weight\r\n'=plays,scene,\"Game 1, passage\",3\r\n'=plays,setting,2160p native,1\r\n"
        );
        let told = told(&evidence).unwrap();
        let row = told.lines().nth(1).unwrap();
        assert!(row.starts_with("'=plays,Maker Part 2,Maker Part 1,average_fps,1.28"), "{row}");
        assert!(row.contains(",1.25,1,yes,144,20,,"), "{row}");
    }
}
