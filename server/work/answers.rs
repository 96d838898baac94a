//! For whom it is worth it: each kind of reader's own lead, what it costs them, and the answer.
//!
//! A reader who owns a part asks what another one brings over that; one who buys new asks what it brings over the
//! piece's baseline. Parts run at stock. Weights say for whom, not how sure: the interval comes from passes alone.

use weighhouse_measure::compare::Interval;
use weighhouse_measure::compare::cell::CellValue;
use weighhouse_measure::compare::money::Amount;
use weighhouse_measure::compare::ratio::Ratio;
use weighhouse_measure::compare::reader::{self, Answer};
use weighhouse_measure::compare::together::{Together, weighted};
use weighhouse_measure::compare::worth;
use weighhouse_measure::measures::Measure;

use super::against;
use super::evidence::Evidence;
use super::readers::Plays;
use super::worth::{Market, amount, newest};
use super::{Error, Result};
use crate::store::readers::{JudgesBy, Reader};
use crate::store::registers::parts::Price;
use crate::store::registers::tunings::STOCK;
use crate::store::{PartId, SceneId, SettingId, TuningId};

/// What a part is to a kind of reader.
#[derive(Clone, Debug, PartialEq)]
pub struct ForReader {
    /// Who they are.
    pub reader: Reader,
    /// What they play.
    pub plays: Plays,
    /// The part that they ask about.
    pub contender: TuningId,
    /// What they have or would buy else; `None` where the piece does not know.
    pub instead_of: Option<TuningId>,
    /// The number by which they judge.
    pub measure: Measure,
    /// The lead in what they play; `None` where nothing of it was measured.
    pub lead: Option<Ratio>,
    /// Share of what they play that was measured.
    pub covered: f64,
    /// What of it was not measured.
    pub missing: Vec<(SceneId, SettingId)>,
    /// The answer.
    pub answer: Answer,
    /// Average frame rate of the part in what they play, fps.
    pub rate: Option<Together>,
    /// Whether that passes the refresh rate of their screen: the whole interval above, below, or neither.
    pub refresh: Option<Refresh>,
    /// Its newest price in the market.
    pub price: Option<(Price, Amount)>,
    /// Watts more than what they have.
    pub more_watts: Option<f64>,
    /// What those cost them in one year and in three, in the currency of their energy.
    pub running: Option<(Amount, Amount)>,
}

/// A rate against a refresh rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refresh {
    /// The whole interval lies above.
    Passes,
    /// The whole interval lies below.
    Below,
    /// The interval holds it, or is not known.
    About,
}

/// Answers of all readers for these contenders, reader by reader. `market`: where the part is bought.
///
/// # Errors
/// When what is kept of a reader cannot be read.
pub fn answers(
    evidence: &Evidence,
    baseline: TuningId,
    contenders: &[TuningId],
    market: Option<&Market>,
) -> Result<Vec<ForReader>> {
    let mut found = Vec::new();
    for reader in &evidence.readers {
        let plays = Plays::of(&reader.fields)?;
        for contender in contenders {
            let part = evidence.part_of(*contender);
            if reader.fields.owned_part_id.is_some() && part == reader.fields.owned_part_id {
                continue;
            }
            found.push(for_reader(evidence, reader, &plays, (baseline, *contender), market)?);
        }
    }
    Ok(found)
}

fn for_reader(
    evidence: &Evidence,
    reader: &Reader,
    plays: &Plays,
    (baseline, contender): (TuningId, TuningId),
    market: Option<&Market>,
) -> Result<ForReader> {
    let fields = &reader.fields;
    let instead_of = match fields.owned_part_id {
        Some(part) => stock(evidence, part),
        None => Some(baseline),
    };
    let measure = match fields.judges_by {
        JudgesBy::Average => Measure::AverageFps,
        JudgesBy::Low => evidence.low(),
    };
    let spots = spots(plays);
    let ratio =
        |scene, setting| against::in_scene(evidence, measure, (scene, setting), (instead_of?, contender));
    let weighed: Vec<(f64, Option<Ratio>)> = spots
        .iter()
        .map(|(scene, setting, weight)| (*weight, ratio(*scene, *setting).map(|judged| judged.ratio)))
        .collect();
    let missing = spots.iter().zip(&weighed).filter(|(_, (_, ratio))| ratio.is_none());
    let missing = missing.map(|((scene, setting, _), _)| (*scene, *setting)).collect();
    let lead = reader::lead(&weighed);
    let over = |tuning: TuningId, measure| {
        let cells: Vec<(f64, CellValue)> = spots
            .iter()
            .filter(|(scene, setting, _)| ratio(*scene, *setting).is_some())
            .filter_map(|(scene, setting, weight)| {
                Some((*weight, evidence.value(evidence.cell_of(tuning, *scene, *setting)?, measure)?))
            })
            .collect();
        weighted(&cells)
    };
    let rate = over(contender, Measure::AverageFps);
    let watts = |tuning| over(tuning, Measure::PowerW).map(|watts| watts.value);
    let more_watts = instead_of.and_then(|own| Some(watts(contender)? - watts(own)?));
    let price =
        market.zip(evidence.part_of(contender)).and_then(|(market, part)| newest(evidence, part, market));
    Ok(ForReader {
        contender,
        instead_of,
        measure,
        answer: lead.answer(fields.asks_permille as f64 / 1000.0),
        lead: lead.ratio,
        covered: lead.covered,
        missing,
        refresh: rate.and_then(|rate| Some(refresh(rate, fields.refresh_hz? as f64))),
        rate,
        price: price.map(|price| Ok::<_, Error>((price.clone(), amount(price)?))).transpose()?,
        running: more_watts.and_then(|watts| running(watts, reader)),
        more_watts,
        reader: reader.clone(),
        plays: plays.clone(),
    })
}

/// What they play: each scene at each setting with its weight.
fn spots(plays: &Plays) -> Vec<(SceneId, SettingId, f64)> {
    let each =
        plays.scenes.iter().flat_map(|scene| plays.settings.iter().map(move |setting| (scene, setting)));
    each.map(|((scene, a), (setting, b))| (*scene, *setting, f64::from(*a) * f64::from(*b))).collect()
}

fn stock(evidence: &Evidence, part: PartId) -> Option<TuningId> {
    let all = evidence.registers.tunings.values();
    all.filter(|t| t.fields.part_id == part).find(|t| t.fields.name == STOCK).map(|tuning| tuning.id)
}

fn refresh(rate: Together, hz: f64) -> Refresh {
    match rate.interval {
        Some(Interval { low, .. }) if low > hz => Refresh::Passes,
        Some(Interval { high, .. }) if high < hz => Refresh::Below,
        _ => Refresh::About,
    }
}

fn running(more_watts: f64, reader: &Reader) -> Option<(Amount, Amount)> {
    let price = Amount::parse(&reader.fields.kwh_price)?;
    let kwh = worth::kwh_a_year(more_watts, reader.fields.hours_a_week as f64);
    Some((worth::running(kwh, price)?, worth::running(3.0 * kwh, price)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::readers::ReaderFields;
    use crate::store::{PieceId, ReaderId};
    use crate::work::made_up::{self, add_cell};

    fn reader(owned: Option<i64>, asks_permille: i64, plays: &str) -> Reader {
        let fields = ReaderFields {
            piece_id: PieceId(1),
            name: "somebody".to_owned(),
            owned_part_id: owned.map(PartId),
            judges_by: JudgesBy::Average,
            asks_permille,
            refresh_hz: Some(120),
            hours_a_week: 20,
            kwh_price: "0.35".to_owned(),
            kwh_currency: "EUR".to_owned(),
            plays: plays.to_owned(),
        };
        Reader { id: ReaderId(1), fields, version: 1 }
    }

    /// The second part leads by 24% in the first scene and by 50% in the second one.
    fn evidence(readers: Vec<Reader>) -> Evidence {
        let mut evidence = made_up::piece(2, 2);
        add_cell(&mut evidence, 1, 1, &[100.0, 100.1, 99.9]);
        add_cell(&mut evidence, 2, 1, &[124.0, 124.1, 123.9]);
        add_cell(&mut evidence, 1, 2, &[80.0, 80.1, 79.9]);
        add_cell(&mut evidence, 2, 2, &[120.0, 120.1, 119.9]);
        for cell in evidence.cells.values_mut() {
            let watts = if cell.cell.part_id == PartId(1) { 375.0 } else { 500.0 };
            cell.passes.iter_mut().for_each(|pass| pass.measures.power_w = Some(watts));
        }
        evidence.readers = readers;
        evidence
    }

    fn answer(reader: Reader) -> ForReader {
        answers(&evidence(vec![reader]), TuningId(1), &[TuningId(2)], None).unwrap().remove(0)
    }

    #[test]
    fn three_readers_have_three_answers() {
        let both = r#"{"scenes":{"1":1,"2":1},"settings":{"1":1}}"#;
        let daily = r#"{"scenes":{"2":7},"settings":{"1":1}}"#;
        let elsewhere = r#"{"scenes":{"1":1},"settings":{"7":1}}"#;
        assert_eq!(answer(reader(Some(1), 500, both)).answer, Answer::No);
        assert_eq!(answer(reader(None, 400, daily)).answer, Answer::Yes);
        let found = answer(reader(None, 0, elsewhere));
        assert_eq!((found.answer, found.covered), (Answer::NotMeasured, 0.0));
        assert_eq!(found.missing, [(SceneId(1), SettingId(7))]);
    }

    /// Common practice, no source: 125 W more, 20 h a week, 0.35 a kWh: 45.50 a year.
    #[test]
    fn what_it_costs_them_and_whether_it_passes_their_screen() {
        let found = answer(reader(Some(1), 100, r#"{"scenes":{"1":1},"settings":{"1":1}}"#));
        assert_eq!(found.running.map(|(one, _)| one.to_string()).as_deref(), Some("45.50"));
        assert_eq!(found.refresh, Some(Refresh::Passes));
        assert!((found.more_watts.unwrap() - 125.0).abs() < 1e-9);
        let slower = answer(reader(None, 100, r#"{"scenes":{"2":1},"settings":{"1":1}}"#));
        assert_eq!(slower.refresh, Some(Refresh::About));
    }

    #[test]
    fn who_owns_it_is_not_asked() {
        let owner = reader(Some(2), 100, r#"{"scenes":{"1":1},"settings":{"1":1}}"#);
        assert_eq!(answers(&evidence(vec![owner]), TuningId(1), &[TuningId(2)], None).unwrap(), []);
    }
}
