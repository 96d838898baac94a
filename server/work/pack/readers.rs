//! The readers of a piece for the pack: their weights, and the answer for each.

use super::sheet::{About, Kind, Sheet, fields};
use super::tables::{number, words};
use crate::work::Result;
use crate::work::against;
use crate::work::answers::answers;
use crate::work::evidence::Evidence;
use crate::work::readers::Plays;

/// The table of what readers play.
pub const WEIGHTS: About = About {
    name: "reader_weights",
    says: "what each kind of reader plays, with the weights",
    key: &["reader", "of", "name"],
    of_passes: false,
};

/// The table of answers.
pub const TOLD: About = About {
    name: "readers",
    says: "a row for each kind of reader and part, with the answer",
    key: &["reader", "part"],
    of_passes: false,
};

/// One row a reader and scene or setting: its whole weight. A scene at a setting weighs the product of both.
///
/// # Errors
/// When what is kept of a reader cannot be read.
pub fn weights(evidence: &Evidence) -> Result<Sheet> {
    let names = &evidence.registers;
    let mut sheet = Sheet::new(
        WEIGHTS,
        fields(&[
            ("reader", Kind::Words, "the kind of reader"),
            ("of", Kind::Words, "'scene' or 'setting'"),
            ("name", Kind::Words, "which one"),
            ("weight", Kind::Whole, "its whole weight beside the others of the reader"),
        ]),
    );
    for reader in &evidence.readers {
        let plays = Plays::of(&reader.fields)?;
        let mut row = |of: &str, name: String, weight: u32| {
            sheet.row([words(&reader.fields.name), of.to_owned(), words(&name), weight.to_string()]);
        };
        for (id, weight) in &plays.scenes {
            row("scene", names.scene_name(*id), *weight);
        }
        for (id, weight) in &plays.settings {
            row("setting", names.setting_name(*id), *weight);
        }
    }
    Ok(sheet)
}

/// One row a reader and part at stock: the lead in what they play over what they have, and the answer.
///
/// # Errors
/// When what is kept of a reader cannot be read.
pub fn told(evidence: &Evidence) -> Result<Sheet> {
    let names = &evidence.registers;
    let mut sheet = Sheet::new(
        TOLD,
        fields(&[
            ("reader", Kind::Words, "the kind of reader"),
            ("part", Kind::Words, "the part in question"),
            ("instead_of", Kind::Words, "what they have, or would buy else"),
            ("measure", Kind::Words, "the measure by which they judge"),
            ("lead_ratio", Kind::Number, "how many times the rate of the other, over what they play"),
            ("interval_low", Kind::Number, "lower end of its 95% interval"),
            ("interval_high", Kind::Number, "upper end of its 95% interval"),
            ("asked_ratio", Kind::Number, "the lead that they ask for, as a ratio"),
            ("measured_share", Kind::Number, "share of what they play that both parts ran"),
            ("answer", Kind::Words, "whether it is worth it for them"),
            ("refresh_hz", Kind::Whole, "refresh rate of their screen, in Hz"),
            ("hours_a_week", Kind::Whole, "hours of play a week"),
            ("kwh_price", Kind::Number, "price of a kilowatt-hour, in the currency beside it"),
            ("kwh_currency", Kind::Words, "code of that currency (ISO 4217)"),
        ]),
    );
    let Some(choice) = against::choose(evidence, &against::Asked::default())? else {
        return Ok(sheet);
    };
    for of in answers(evidence, choice.baseline, &choice.contenders, None)? {
        let fields = &of.reader.fields;
        let interval = of.lead.as_ref().and_then(|lead| lead.bounds).map(|bounds| bounds.interval);
        sheet.row([
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
    Ok(sheet)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::readers::{JudgesBy, Reader, ReaderFields};
    use crate::store::{PartId, PieceId, ReaderId};
    use crate::work::made_up::{self, add_cell};

    fn text(sheet: Sheet) -> String {
        String::from_utf8(sheet.done().0.bytes).unwrap()
    }

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
            text(weights(&evidence).unwrap()),
            "reader,of,name,weight\r\n'=plays,scene,\"Game 1, passage\",3\r\n'=plays,setting,2160p native,1\r\n"
        );
        let told = text(told(&evidence).unwrap());
        let row = told.lines().nth(1).unwrap();
        assert!(row.starts_with("'=plays,Maker Part 2,Maker Part 1,average_fps,1.28"), "{row}");
        assert!(row.contains(",1.25,1,yes,144,20,,"), "{row}");
    }
}
