//! What each part is worth, as a picture: prices, the price of a frame, the price of equal value, and what readers get.

use super::{ReaderLine, WorthFound, WorthLine};
use crate::charts::{Block, Caption, Entry, Stands, Table, TableColumn};
use crate::format::{self, Unit};

/// The picture, in the words of the page Worth; `readers`: the answers that stand below the prices.
pub fn worth_table(found: &WorthFound, readers: &[ReaderLine], caption: Caption) -> Table {
    let mut blocks = vec![prices(found)];
    if !readers.is_empty() {
        blocks.push(answers(readers));
    }
    Table { caption, blocks }
}

/// Columns that a narrow sheet can do without.
const MAY_GO: [&str; 3] = ["Frame rate", "95% interval", "Instead of"];

fn columns(heads: &[(&str, Stands)]) -> Vec<TableColumn> {
    let column = |(head, stands): &(&str, Stands)| TableColumn {
        head: (*head).to_owned(),
        stands: *stands,
        may_go: MAY_GO.contains(head),
    };
    heads.iter().map(column).collect()
}

fn prices(found: &WorthFound) -> Block {
    let currency = &found.currency;
    let row = |(nth, line): (usize, &WorthLine)| {
        let value = line.value.as_ref();
        let says = match value {
            Some(value) => Entry { text: value.verdict.clone(), way: value.way },
            None if nth == 0 => "the baseline".to_owned().into(),
            None if line.price.is_empty() => "no price".to_owned().into(),
            None => "not compared".to_owned().into(),
        };
        let out = match line.did_not_run.len() {
            0 => String::new(),
            n => {
                let scenes = format::plural(u64::try_from(n).unwrap_or(u64::MAX), "scene", "scenes");
                format!(" (did not run {scenes})")
            }
        };
        let nothing = || format::NOTHING.to_owned();
        vec![
            (line.name.clone() + &out).into(),
            line.priced(currency).into(),
            line.rate.shown(Unit::Fps).into(),
            line.a_frame(currency).into(),
            value.map_or_else(nothing, |value| value.equal(currency)).into(),
            value.map_or_else(String::new, |value| value.equal_interval()).into(),
            says,
        ]
    };
    Block {
        columns: columns(&[
            ("Part", Stands::Name),
            ("Price", Stands::Number),
            ("Frame rate", Stands::Number),
            ("Price of a frame", Stands::Number),
            ("Price of equal value", Stands::Number),
            ("95% interval", Stands::Number),
            ("Value", Stands::Answer),
        ]),
        rows: found.lines.iter().enumerate().map(row).collect(),
    }
}

fn answers(readers: &[ReaderLine]) -> Block {
    let row = |line: &ReaderLine| {
        vec![
            line.reader.clone().into(),
            line.part.clone().into(),
            line.instead_of.clone().into(),
            line.lead().into(),
            line.interval().into(),
            line.asked().into(),
            Entry { text: line.answer.clone(), way: line.way },
        ]
    };
    Block {
        columns: columns(&[
            ("Reader", Stands::Name),
            ("Part", Stands::Name),
            ("Instead of", Stands::Name),
            ("Lead", Stands::Number),
            ("95% interval", Stands::Number),
            ("Asks for", Stands::Number),
            ("Worth it", Stands::Answer),
        ]),
        rows: readers.iter().map(row).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Page as _, Worth};
    use super::*;
    use crate::charts::{Picture as _, Shape, Theme};

    #[test]
    fn a_part_without_a_price_and_one_without_a_value_say_so() {
        let found = Worth::samples().into_iter().find_map(|page| page.found).unwrap();
        let table = worth_table(&found, &ReaderLine::samples(), Caption::default());
        let last = |nth: usize| table.blocks[0].rows[nth].last().unwrap().text.clone();
        assert_eq!([last(0), last(1), last(2)], ["the baseline", "about the same value", "no price"]);
        assert_eq!(table.blocks[0].rows[2][0].text, "Ullmere Thole (did not run 1\u{a0}scene)");
        assert_eq!(table.blocks[0].rows[2][1].text, format::NOTHING);
        for (_, shape) in Shape::ALL {
            crate::charts::check::sound(&table.shaped(&Theme::LIGHT, shape));
        }
        assert_eq!(worth_table(&found, &[], Caption::default()).blocks.len(), 1);
    }
}
