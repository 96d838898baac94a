//! What a frame costs: dated prices of one market, price per frame against the baseline, and what running costs.
//!
//! A market is a country, a kind of price and a currency: prices of two markets are never put side by side, and nothing
//! is converted. Of each part the newest price of the market counts.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::compare::money::Amount;
use weighhouse_measure::compare::together::{Together, together};
use weighhouse_measure::compare::worth::{self, Value};
use weighhouse_measure::measures::Measure;

use super::against::{self, OverallRatio};
use super::evidence::Evidence;
use super::{Internal, Kind, Refusal, Result};
use crate::store::registers::parts::{Price, PriceKind};
use crate::store::{PartId, PieceId, SceneId, SettingId, Store, TuningId};

/// What an address asks for; what is empty is chosen by the piece.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// What is compared, as on the page Against.
    pub compared: against::Asked,
    /// A market as [`Market::key`] writes it.
    pub market: String,
    /// Hours a week, whole.
    pub hours: String,
    /// Price of a kilowatt-hour in the market's currency.
    pub kwh: String,
}

/// Where and how prices are read.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Market {
    /// Country as it was entered; may be empty.
    pub country: String,
    /// List or street.
    pub kind: PriceKind,
    /// Currency.
    pub currency: String,
}

impl Market {
    fn of(price: &Price) -> Market {
        let f = &price.fields;
        Market { country: f.country.clone(), kind: f.kind, currency: f.currency.clone() }
    }

    /// As addresses write it: `street EUR DE`.
    pub fn key(&self) -> String {
        format!("{} {} {}", self.kind, self.currency, self.country).trim_end().to_owned()
    }

    /// As people write it: `street prices in DE, EUR`.
    pub fn words(&self) -> String {
        if self.country.is_empty() {
            format!("{} prices, no country said, {}", self.kind, self.currency)
        } else {
            format!("{} prices in {}, {}", self.kind, self.country, self.currency)
        }
    }
}

/// Hours and the price of energy, for running costs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Running {
    /// Hours a week.
    pub hours: u32,
    /// Price of a kilowatt-hour; `None`: neither asked nor known of a reader, kWh alone are told.
    pub kwh: Option<Amount>,
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// What is compared.
    pub choice: against::Choice,
    /// What else could be.
    pub options: against::Options,
    /// The market; `None` where no compared part has a price.
    pub market: Option<Market>,
    /// Markets with a price of a compared part.
    pub markets: Vec<Market>,
    /// What running is reckoned with.
    pub running: Running,
    /// The scenes behind it.
    pub scenes: Vec<SceneId>,
    /// The baseline first, then the contenders.
    pub lines: Vec<Line>,
}

/// A part as it is run.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// How it is run.
    pub tuning: TuningId,
    /// Its part.
    pub part: Option<PartId>,
    /// Its newest price in the market.
    pub price: Option<Price>,
    /// The same as an amount.
    pub amount: Option<Amount>,
    /// Measure over the scenes, in its unit.
    pub rate: Option<Together>,
    /// Against the baseline; `None` for the baseline itself.
    pub ratio: Option<OverallRatio>,
    /// Price of a frame a second, in the currency.
    pub per_frame: Option<f64>,
    /// Its 95% interval, which comes from the frame rate.
    pub per_frame_interval: Option<(f64, f64)>,
    /// Against the baseline's.
    pub value: Option<Value>,
    /// Mean power over the scenes, W.
    pub watts: Option<Together>,
    /// Energy in a year at the hours, kWh.
    pub kwh_a_year: Option<f64>,
    /// What that costs in one year and in three.
    pub cost: Option<(Amount, Amount)>,
}

/// Reads a piece's evidence and reckons; nothing where the piece has nothing to compare.
///
/// # Errors
/// Refused when something is asked for that the piece does not have.
pub async fn show(store: &Store, piece: PieceId, asked: &Asked) -> Result<(Evidence, Option<Found>)> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let found = find(&evidence, asked)?;
    Ok((evidence, found))
}

/// Reckons.
///
/// # Errors
/// Refused when something is asked for that the piece does not have.
pub fn find(evidence: &Evidence, asked: &Asked) -> Result<Option<Found>> {
    let Some(choice) = against::choose(evidence, &asked.compared)? else { return Ok(None) };
    let compared = choice.compared();
    let parts: BTreeSet<PartId> = compared.iter().filter_map(|id| evidence.part_of(*id)).collect();
    let (market, markets) = market(evidence, &parts, &asked.market)?;
    let running = running(&asked.hours, &asked.kwh, usual_kwh(evidence, market.as_ref()))?;
    let scenes: Vec<SceneId> =
        against::scenes_all_ran(evidence, choice.measure, choice.setting, &compared).into_iter().collect();
    let mut lines: Vec<Line> = compared
        .iter()
        .map(|id| line(evidence, &choice, &scenes, market.as_ref(), *id, running))
        .collect::<Result<_>>()?;
    weigh(&mut lines);
    let options = against::options(evidence);
    Ok(Some(Found { choice, options, market, markets, running, scenes, lines }))
}

/// What the first reader who pays in the market's currency pays for energy.
fn usual_kwh(evidence: &Evidence, market: Option<&Market>) -> Option<Amount> {
    let currency = &market?.currency;
    evidence
        .readers
        .iter()
        .find(|r| r.fields.kwh_currency == *currency)
        .and_then(|r| Amount::parse(&r.fields.kwh_price))
}

fn running(hours: &str, kwh: &str, usual: Option<Amount>) -> Result<Running> {
    let hours = match hours {
        "" => Some(20),
        text => text.parse().ok().filter(|hours| *hours <= 168),
    };
    let hours = hours.ok_or_else(|| not_there("Write whole hours a week, from 0 to 168."))?;
    let kwh = match kwh {
        "" => usual,
        text => Some(
            Amount::parse(text)
                .ok_or_else(|| not_there("Write the price of a kWh with a point, such as 0.35."))?,
        ),
    };
    Ok(Running { hours, kwh })
}

fn not_there(says: impl Into<String>) -> Refusal {
    Refusal::new(Kind::Invalid, "Not reckoned", says, "Choose in the form of the page.")
}

/// The newest price of a part in a market.
pub fn newest<'a>(evidence: &'a Evidence, part: PartId, market: &Market) -> Option<&'a Price> {
    let own =
        evidence.prices.iter().filter(|price| price.fields.part_id == part && Market::of(price) == *market);
    own.max_by_key(|price| (price.fields.dated_us, price.id))
}

/// The market that is asked for, else the one that prices most of the parts, street before list.
fn market(
    evidence: &Evidence,
    parts: &BTreeSet<PartId>,
    asked: &str,
) -> Result<(Option<Market>, Vec<Market>)> {
    let mut priced: BTreeMap<Market, BTreeSet<PartId>> = BTreeMap::new();
    for price in evidence.prices.iter().filter(|price| parts.contains(&price.fields.part_id)) {
        priced.entry(Market::of(price)).or_default().insert(price.fields.part_id);
    }
    let markets: Vec<Market> = priced.keys().cloned().collect();
    let chosen = if asked.is_empty() {
        let street = |market: &Market| market.kind == PriceKind::Street;
        priced
            .iter()
            .max_by_key(|(market, parts)| (parts.len(), street(market)))
            .map(|(market, _)| market.clone())
    } else {
        let found = markets.iter().find(|market| market.key() == asked).cloned();
        Some(found.ok_or_else(|| not_there(format!("No part here has a price of '{asked}'.")))?)
    };
    Ok((chosen, markets))
}

/// A price as an amount.
///
/// # Errors
/// When what is kept is no amount.
pub fn amount(price: &Price) -> Result<Amount> {
    let text = &price.fields.amount;
    Amount::parse(text).ok_or_else(|| Internal(format!("price {} is kept as '{text}'", price.id)).into())
}

fn line(
    evidence: &Evidence,
    choice: &against::Choice,
    scenes: &[SceneId],
    market: Option<&Market>,
    tuning: TuningId,
    running: Running,
) -> Result<Line> {
    let part = evidence.part_of(tuning);
    let price = market.zip(part).and_then(|(market, part)| newest(evidence, part, market)).cloned();
    let watts = over_scenes(evidence, Measure::PowerW, tuning, scenes, choice.setting);
    let kwh_a_year = watts.map(|watts| worth::kwh_a_year(watts.value, f64::from(running.hours)));
    let cost = kwh_a_year
        .zip(running.kwh)
        .and_then(|(kwh, price)| Some((worth::running(kwh, price)?, worth::running(3.0 * kwh, price)?)));
    let compared = choice.compared();
    let other = tuning != choice.baseline;
    let pair = (choice.baseline, tuning);
    Ok(Line {
        tuning,
        part,
        amount: price.as_ref().map(amount).transpose()?,
        price,
        rate: over_scenes(evidence, choice.measure, tuning, scenes, choice.setting),
        ratio: other
            .then(|| against::overall(evidence, choice.measure, choice.setting, pair, &compared))
            .flatten(),
        per_frame: None,
        per_frame_interval: None,
        value: None,
        watts,
        kwh_a_year,
        cost,
    })
}

/// A measure over all these scenes; `None` where one has no value.
pub fn over_scenes(
    evidence: &Evidence,
    measure: Measure,
    tuning: TuningId,
    scenes: &[SceneId],
    setting: SettingId,
) -> Option<Together> {
    let cells =
        scenes.iter().map(|scene| evidence.value(evidence.cell_of(tuning, *scene, setting)?, measure));
    together(&cells.collect::<Option<Vec<_>>>()?)
}

/// Prices of frames: absolute of each, against the baseline where both have a price.
fn weigh(lines: &mut [Line]) {
    let baseline = lines.first().and_then(|first| first.amount);
    for line in lines {
        let (Some(amount), Some(rate)) = (line.amount, line.rate) else { continue };
        line.per_frame = Some(worth::per_frame(amount, rate.value));
        line.per_frame_interval =
            rate.interval.map(|i| (worth::per_frame(amount, i.high), worth::per_frame(amount, i.low)));
        if let (Some(ratio), Some(baseline)) = (&line.ratio, baseline) {
            line.value = worth::value(&ratio.overall.these, amount, baseline);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::PriceId;
    use crate::store::registers::parts::PriceFields;
    use crate::work::made_up::{self, add_cell};

    fn price(id: i64, part: i64, amount: &str, kind: PriceKind, dated_us: i64) -> Price {
        let fields = PriceFields {
            part_id: PartId(part),
            amount: amount.to_owned(),
            currency: "EUR".to_owned(),
            kind,
            country: "DE".to_owned(),
            source: "a shop".to_owned(),
            dated_us,
        };
        Price { id: PriceId(id), fields, version: 1 }
    }

    /// The second part is 28% faster in both scenes.
    fn evidence() -> Evidence {
        let mut evidence = made_up::piece(2, 2);
        for scene in 1..=2 {
            add_cell(&mut evidence, 1, scene, &[100.0, 100.1, 99.9]);
            add_cell(&mut evidence, 2, scene, &[128.0, 128.1, 127.9]);
        }
        for cell in evidence.cells.values_mut() {
            let watts = if cell.cell.part_id == PartId(1) { 375.0 } else { 500.0 };
            cell.passes.iter_mut().for_each(|pass| pass.measures.power_w = Some(watts));
        }
        evidence.prices = vec![
            price(1, 1, "1700.00", PriceKind::Street, 1),
            price(2, 1, "1600.00", PriceKind::Street, 2),
            price(3, 2, "2000.00", PriceKind::Street, 2),
            price(4, 2, "1900.00", PriceKind::List, 3),
        ];
        evidence
    }

    fn found(asked: &Asked) -> Found {
        find(&evidence(), asked).unwrap().unwrap()
    }

    /// Common practice, no source: +28% rate at +25% price is about the same value, 2.3% less a frame; 1 600 breaks even
    /// at 2 048; 125 W more, 20 h a week, 0.35 a kWh: 130 kWh and 45.50 a year.
    #[test]
    fn the_newest_street_price_counts_and_gives_the_value() {
        let found = found(&Asked { kwh: "0.35".to_owned(), ..Asked::default() });
        assert_eq!(found.market.as_ref().unwrap().key(), "street EUR DE");
        let value = found.lines[1].value.as_ref().unwrap();
        assert_eq!(value.verdict, worth::Verdict::Same);
        assert!((value.per_frame - 0.976_56).abs() < 1e-4);
        assert_eq!(value.break_even.unwrap().to_string(), "2048.00");
        assert!((found.lines[0].per_frame.unwrap() - 16.0).abs() < 1e-3);
        let more = found.lines[1].kwh_a_year.unwrap() - found.lines[0].kwh_a_year.unwrap();
        assert!((more - 130.0).abs() < 1e-6, "{more}");
        let (a, b) = (found.lines[0].cost.unwrap(), found.lines[1].cost.unwrap());
        assert_eq!(b.0.minus(a.0).to_string(), "45.50");
        assert_eq!(b.1.minus(a.1).to_string(), "136.50");
    }

    #[test]
    fn another_market_stands_alone_and_is_never_mixed_in() {
        let found = found(&Asked { market: "list EUR DE".to_owned(), ..Asked::default() });
        assert_eq!(found.markets.len(), 2);
        assert!(found.lines[0].price.is_none() && found.lines[1].value.is_none());
        assert!(found.lines[1].per_frame.is_some());
        assert!(found.lines[1].cost.is_none(), "no price of a kWh was said");
    }

    #[test]
    fn what_is_not_there_is_refused_in_words() {
        for asked in [
            Asked { market: "list USD".to_owned(), ..Asked::default() },
            Asked { hours: "200".to_owned(), ..Asked::default() },
            Asked { kwh: "0,35".to_owned(), ..Asked::default() },
        ] {
            assert!(find(&evidence(), &asked).is_err(), "{asked:?}");
        }
        assert_eq!(find(&made_up::piece(2, 2), &Asked::default()).unwrap(), None);
    }

    #[test]
    fn without_prices_the_rates_still_stand() {
        let mut evidence = evidence();
        evidence.prices.clear();
        let found = find(&evidence, &Asked::default()).unwrap().unwrap();
        assert_eq!((found.market, found.lines[1].value.clone()), (None, None));
        assert!(found.lines[1].ratio.is_some());
    }
}
