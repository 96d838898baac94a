//! What a frame costs, and for whom it is worth it.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::tuning::Measured;
use super::{Field, Frame, Page, RatioLine, ReaderLine};
use crate::charts::{Ratios, Theme};
use crate::format;
use crate::paths;

/// The page.
#[derive(Template, Serialize)]
#[template(path = "worth.html")]
pub struct Worth {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    #[serde(skip)]
    pub key: String,
    /// The form of choices.
    #[serde(skip)]
    pub form: WorthForm,
    /// What was reckoned; `None` while the piece has nothing to compare.
    pub found: Option<WorthFound>,
    /// For each reader and part the answer.
    pub readers: Vec<ReaderLine>,
    /// The picture of their answers; `None` without any.
    #[serde(skip)]
    pub readers_chart: Option<Ratios>,
}

/// The choices there are and those made.
#[derive(Clone, Debug, Default)]
pub struct WorthForm {
    /// Key of the measure.
    pub measure: Field,
    /// Keys and names of measures.
    pub measures: Vec<(String, String)>,
    /// Id of the setting.
    pub setting: Field,
    /// Ids and names of settings.
    pub settings: Vec<(String, String)>,
    /// Id of the baseline.
    pub baseline: Field,
    /// Ids and names of parts as they are run.
    pub tunings: Vec<(String, String)>,
    /// The market.
    pub market: Field,
    /// Markets, as addresses and as people write them.
    pub markets: Vec<(String, String)>,
    /// Hours a week.
    pub hours: Field,
    /// Price of a kilowatt-hour.
    pub kwh: Field,
}

/// What was reckoned.
#[derive(Clone, Debug, Serialize)]
pub struct WorthFound {
    /// Name of the measure.
    pub measure_name: String,
    /// Name of the setting.
    pub setting: String,
    /// Name of the baseline.
    pub baseline: String,
    /// Where and how prices were read, with the dates; empty: there is none.
    pub market: String,
    /// Currency of the market; empty without one.
    pub currency: String,
    /// Hours a week that running costs are reckoned with.
    pub hours: u32,
    /// Price of a kilowatt-hour, decimal text; empty: not asked.
    pub kwh: String,
    /// The baseline first.
    pub lines: Vec<WorthLine>,
    /// Plain specifications, quoted.
    pub specifications: Vec<Specification>,
    /// Method and what it rests on, a sentence each.
    pub foot: Vec<String>,
    /// The picture of the price of a frame; `None` where fewer than two have one.
    #[serde(skip)]
    pub chart: Option<Ratios>,
}

/// A part as it is run.
#[derive(Clone, Debug, Default, Serialize)]
pub struct WorthLine {
    /// Its name.
    pub name: String,
    /// Scenes that it did not run, each with the reason.
    pub did_not_run: Vec<String>,
    /// Its price, decimal text; empty: none in this market.
    pub price: String,
    /// When that was read.
    pub dated: Option<Timestamp>,
    /// Who says so.
    pub source: String,
    /// Measure over the scenes.
    pub rate: Measured,
    /// Against the baseline.
    pub against: Option<RatioLine>,
    /// Price of a frame a second.
    pub per_frame: Measured,
    /// What a figure of it would be; empty without a price.
    pub what_frame: String,
    /// Value against the baseline.
    pub value: Option<ValueLine>,
    /// Mean power, W.
    pub watts: Measured,
    /// Energy in a year, kWh.
    pub kwh_a_year: Option<f64>,
    /// What that costs in a year, decimal text; empty: not asked.
    pub one_year: String,
    /// In three years.
    pub three_years: String,
}

/// Value against the baseline.
#[derive(Clone, Debug, Default, Serialize)]
pub struct ValueLine {
    /// Price of a frame over the baseline's.
    pub per_frame: f64,
    /// Its 95% interval.
    pub interval: Option<(f64, f64)>,
    /// The price of equal value, decimal text.
    pub break_even: String,
    /// Both ends of its 95% interval, decimal text.
    pub break_even_interval: Option<(String, String)>,
    /// What a figure of it would be; empty without the baseline's price.
    pub what_even: String,
    /// What may be said.
    pub verdict: String,
    /// `up`, `down`, `level` or `open`.
    pub way: &'static str,
}

/// A plain specification of all compared parts.
#[derive(Clone, Debug, Serialize)]
pub struct Specification {
    /// What it is.
    pub name: String,
    /// Unit.
    pub unit: &'static str,
    /// One for each line: the value, and its ratio to the baseline's.
    pub values: Vec<(Option<i64>, Option<f64>)>,
}

impl WorthLine {
    pub(super) fn priced(&self, currency: &str) -> String {
        if self.price.is_empty() { format::NOTHING.to_owned() } else { format::money(&self.price, currency) }
    }

    fn read_on(&self) -> String {
        self.dated.map_or_else(String::new, |at| format::day(at, "UTC"))
    }

    pub(super) fn a_frame(&self, currency: &str) -> String {
        let Some(value) = self.per_frame.value else { return format::NOTHING.to_owned() };
        let half =
            self.per_frame.interval.map(|(low, high)| format!(" ± {}", format::fixed((high - low) / 2.0, 2)));
        format::text_in(&format!("{}{}", format::fixed(value, 2), half.unwrap_or_default()), currency)
    }

    fn energy(&self) -> String {
        self.kwh_a_year
            .map_or_else(|| format::NOTHING.to_owned(), |kwh| format::text_in(&format::fixed(kwh, 0), "kWh"))
    }
}

impl WorthFound {
    /// The value of each part in a sentence, and what it did not run.
    fn in_short(&self) -> Vec<(String, String)> {
        let of = |line: &WorthLine| {
            let value = line.value.as_ref()?;
            let stands = match value.way {
                "up" | "down" => format!("{} than {}", value.verdict, self.baseline),
                "level" => format!("{} as {}", value.verdict, self.baseline),
                _ => format!("{} against {}", value.verdict, self.baseline),
            };
            let says =
                format!("{}: {stands}; a frame costs {} ({}).", line.name, value.change(), value.interval());
            let beside = line.did_not_run.iter().map(|scene| format!("It did not run {scene}."));
            Some((says, beside.collect::<Vec<_>>().join(" ")))
        };
        self.lines.iter().filter_map(of).collect()
    }
}

impl ValueLine {
    fn change(&self) -> String {
        match self.interval {
            Some((low, high)) => format::change_to(self.per_frame, low, high),
            None => format::change(self.per_frame),
        }
    }

    fn interval(&self) -> String {
        self.interval
            .map_or_else(|| format::NOTHING.to_owned(), |(low, high)| format::change_interval(low, high))
    }

    /// `1 798 EUR`.
    pub(super) fn equal(&self, currency: &str) -> String {
        format::whole_money(&self.break_even, currency)
    }

    /// `1 790 to 1 806`.
    pub(super) fn equal_interval(&self) -> String {
        let ends = self.break_even_interval.as_ref();
        ends.map_or_else(String::new, |(low, high)| {
            format!("{} to {}", format::whole_money(low, ""), format::whole_money(high, ""))
        })
    }
}

impl Specification {
    fn shown(&self, (value, ratio): &(Option<i64>, Option<f64>)) -> String {
        match ratio {
            Some(ratio) => format!("{} ({})", format::whole(*value, self.unit), format::change(*ratio)),
            None => format::whole(*value, self.unit),
        }
    }
}

impl Worth {
    fn svg(chart: &Ratios) -> String {
        chart.svg(&Theme::LIGHT)
    }

    fn asked(&self, of: &str) -> String {
        let query = [
            ("of", of),
            ("measure", self.form.measure.value.as_str()),
            ("setting", self.form.setting.value.as_str()),
            ("baseline", self.form.baseline.value.as_str()),
            ("market", self.form.market.value.as_str()),
        ];
        paths::query(&query)
    }

    fn figure(&self, what: &str) -> String {
        paths::new_figure(&self.key, what)
    }
}

impl Page for Worth {
    fn title(&self) -> String {
        "Worth".to_owned()
    }

    fn samples() -> Vec<Self> {
        let measured =
            |value: f64| Measured { value: Some(value), interval: Some((value * 0.99, value * 1.01)) };
        let baseline = WorthLine {
            name: "Tarnwick Dunlin".into(),
            price: "1450.00".into(),
            dated: Some(Timestamp::UNIX_EPOCH),
            source: "median of five shops".into(),
            rate: measured(90.1),
            per_frame: measured(16.09),
            what_frame: r#"{"kind":"price"}"#.into(),
            watts: measured(380.0),
            kwh_a_year: Some(395.2),
            one_year: "138.32".into(),
            three_years: "414.96".into(),
            ..WorthLine::default()
        };
        let contender = WorthLine {
            name: "Tarnwick Curlew".into(),
            price: "1790.00".into(),
            against: Some(RatioLine {
                ratio: 1.24,
                interval: Some((1.235, 1.245)),
                verdict: "faster".into(),
                way: "up",
                marks: vec![],
                what: r#"{"kind":"overall"}"#.into(),
            }),
            value: Some(ValueLine {
                per_frame: 0.9956,
                interval: Some((0.9916, 0.9996)),
                break_even: "1798.00".into(),
                break_even_interval: Some(("1790.75".into(), "1805.25".into())),
                what_even: r#"{"kind":"even"}"#.into(),
                verdict: "about the same value".into(),
                way: "level",
            }),
            ..baseline.clone()
        };
        let unpriced = WorthLine {
            name: "Ullmere Thole".into(),
            did_not_run: vec!["Hollow Regatta, night harbour: out of memory".into()],
            ..WorthLine::default()
        };
        let found = WorthFound {
            measure_name: "average frame rate".into(),
            setting: "2160p native".into(),
            baseline: "Tarnwick Dunlin".into(),
            market: "street prices in DE, EUR, read on 24 Nov 2026".into(),
            currency: "EUR".into(),
            hours: 20,
            kwh: "0.35".into(),
            lines: vec![baseline, contender, unpriced],
            specifications: vec![Specification {
                name: "memory".into(),
                unit: "MiB",
                values: vec![(Some(16_384), None), (Some(24_576), Some(1.5)), (None, None)],
            }],
            foot: vec!["Nothing is converted.".into()],
            chart: Some(crate::charts::samples::ratios()),
        };
        let form = WorthForm {
            measure: Field::of("average_fps"),
            measures: vec![("average_fps".into(), "average frame rate".into())],
            setting: Field::of("1"),
            settings: vec![("1".into(), "2160p native".into())],
            baseline: Field::of("1"),
            tunings: vec![("1".into(), "Tarnwick Dunlin".into()), ("2".into(), "Tarnwick Curlew".into())],
            market: Field::of("street EUR DE"),
            markets: vec![("street EUR DE".into(), "street, DE, EUR".into())],
            hours: Field::of("20"),
            kwh: Field::of(""),
        };
        let readers_chart = |id: &str| {
            let mut chart = crate::charts::samples::ratios();
            chart.caption.id = id.to_owned();
            Some(chart)
        };
        let page = |frame, found, readers: Vec<ReaderLine>| Worth {
            frame,
            key: "k3v9".into(),
            form: form.clone(),
            found,
            readers_chart: if readers.is_empty() { None } else { readers_chart("readers") },
            readers,
        };
        let bare = WorthFound {
            market: String::new(),
            kwh: String::new(),
            chart: None,
            specifications: vec![],
            ..found.clone()
        };
        vec![
            page(Frame::sample("Worth"), None, vec![]),
            page(Frame::sample("Worth"), Some(found), ReaderLine::samples()),
            page(Frame::sample("Worth"), Some(bare.clone()), vec![]),
            page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), Some(bare), ReaderLine::samples()),
        ]
    }
}
