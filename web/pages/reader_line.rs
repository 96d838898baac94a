//! What a part is to a kind of reader: a line of the page Worth, and its sentence.

use serde::Serialize;

use super::tuning::Measured;
use crate::format::{self, Unit};

/// A part for a kind of reader.
#[derive(Clone, Debug, Default, Serialize)]
pub struct ReaderLine {
    /// Id of the reader.
    pub id: i64,
    /// Who they are.
    pub reader: String,
    /// The part they ask about.
    pub part: String,
    /// What they have or would buy else.
    pub instead_of: String,
    /// Whether they own that.
    pub owns: bool,
    /// By which number they judge.
    pub measure_name: String,
    /// The scenes that were compared of what they play, and their settings.
    pub plays: String,
    /// The lead in what they play.
    pub lead: Option<f64>,
    /// Its 95% interval.
    pub interval: Option<(f64, f64)>,
    /// The lead that they ask for, per cent.
    pub asks: i64,
    /// Share of what they play that was measured.
    pub covered: f64,
    /// What was not measured, in words; empty: all was.
    pub missing: String,
    /// The answer in a word.
    pub answer: String,
    /// `up`, `down` or `open`.
    pub way: &'static str,
    /// Average frame rate in what they play, fps.
    pub rate: Measured,
    /// Refresh rate of their screen, Hz, and the time of one refresh, ms.
    pub refresh: Option<(i64, f64)>,
    /// How the rate stands to it: `above`, `below`, `about`; empty: not asked.
    pub refresh_says: &'static str,
    /// What it costs them, with currency, kind, country and day; empty: no price.
    pub price: String,
    /// What it costs more or less to run; `None`: not asked.
    pub running: Option<RunningLine>,
    /// What a figure of the lead would be; empty where nothing was measured.
    pub what: String,
}

/// What something costs more to run than what they have.
#[derive(Clone, Debug, Default, Serialize)]
pub struct RunningLine {
    /// Whether it costs less.
    pub less: bool,
    /// In a year, with the currency.
    pub one_year: String,
    /// In three years.
    pub three_years: String,
    /// At so many hours a week.
    pub hours: i64,
    /// Price of a kilowatt-hour, with the currency.
    pub kwh: String,
}

impl ReaderLine {
    pub(super) fn lead(&self) -> String {
        match (self.lead, self.interval) {
            (Some(lead), Some((low, high))) => format::change_to(lead, low, high),
            (Some(lead), None) => format::change(lead),
            _ => format::NOTHING.to_owned(),
        }
    }

    pub(super) fn interval(&self) -> String {
        self.interval
            .map_or_else(|| format::NOTHING.to_owned(), |(low, high)| format::change_interval(low, high))
    }

    pub(super) fn asked(&self) -> String {
        Unit::Percent.behind(&format::signed(self.asks as f64, 0))
    }

    /// The answer in one sentence, or as few as it takes.
    pub(super) fn says(&self) -> String {
        let mut says = match self.lead {
            Some(_) => format!(
                "{}: {} ({}) against {}, by {} in {}; they ask for {}: {}.",
                self.part,
                self.lead(),
                self.interval(),
                if self.owns { format!("the {} they own", self.instead_of) } else { self.instead_of.clone() },
                self.measure_name,
                self.plays,
                self.asked(),
                self.answer
            ),
            None => format!("{}: {}.", self.part, self.answer),
        };
        if let (Some((hz, ms)), Some(_)) = (self.refresh, self.rate.value) {
            let refresh = format::whole(Some(hz), "Hz");
            let ms = format::value(ms, Unit::Ms);
            says.push_str(&format!(
                " {} on average, {} the {refresh} of their screen ({ms} a refresh).",
                self.rate.shown(Unit::Fps),
                self.refresh_says
            ));
        }
        if !self.price.is_empty() && self.lead.is_some() {
            says.push_str(&format!(" It costs {}", self.price));
            if let Some(RunningLine { less, one_year, three_years, hours, kwh }) = &self.running {
                let way = if *less { "less" } else { "more" };
                says.push_str(&format!(
                    ", and at their {hours} h a week and {kwh} a kWh {one_year} {way} to run in a year, {three_years} in three"
                ));
            }
            says.push('.');
        }
        if !self.missing.is_empty() {
            says.push_str(&match self.lead {
                Some(_) => {
                    let share = Unit::Percent.plain((self.covered * 100.0).round());
                    format!(" Compared was {share} of what they play; not: {}.", self.missing)
                }
                None => format!(" Nothing of what they play was measured: {}.", self.missing),
            });
        }
        says
    }

    /// One of each answer, for the samples of the page.
    pub(super) fn samples() -> Vec<Self> {
        let yes = ReaderLine {
            id: 1,
            reader: "plays Orchard of Static daily".into(),
            part: "Tarnwick Curlew".into(),
            instead_of: "Tarnwick Dunlin".into(),
            owns: false,
            measure_name: "1% low".into(),
            plays: "Orchard of Static, market rain at 2160p ray traced".into(),
            lead: Some(1.58),
            interval: Some((1.55, 1.61)),
            asks: 25,
            covered: 0.75,
            missing: "Driftglass, arena at 2160p native".into(),
            answer: "yes".into(),
            way: "up",
            rate: Measured { value: Some(67.4), interval: Some((66.7, 68.1)) },
            refresh: Some((60, 16.67)),
            refresh_says: "above",
            price: "1790.00 EUR (street, DE, 24 Nov 2026)".into(),
            running: Some(RunningLine {
                less: false,
                one_year: "45.50 EUR".into(),
                three_years: "136.50 EUR".into(),
                hours: 20,
                kwh: "0.35 EUR".into(),
            }),
            what: r#"{"kind":"reader"}"#.into(),
        };
        let no = ReaderLine {
            owns: true,
            answer: "no".into(),
            way: "down",
            missing: String::new(),
            interval: None,
            ..yes.clone()
        };
        let unmeasured = ReaderLine {
            lead: None,
            interval: None,
            answer: "not measured".into(),
            way: "open",
            rate: Measured::default(),
            refresh: None,
            running: None,
            ..yes.clone()
        };
        vec![yes, no, unmeasured]
    }
}
