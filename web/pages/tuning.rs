//! A part at its tunings: measured watts against frame rate, with what equals stock for less.

use askama::Template;
use serde::Serialize;

use super::{CurveLine, Field, Frame, Page, RatioLine};
use crate::charts::{Plane, Theme};
use crate::format::{self, Unit};
use crate::paths;

/// The page.
#[derive(Template, Serialize)]
#[template(path = "tuning.html")]
pub struct Tuning {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    #[serde(skip)]
    pub key: String,
    /// The form of choices.
    #[serde(skip)]
    pub form: TuningForm,
    /// What was found; `None` while no part has two tunings.
    pub found: Option<TuningFound>,
}

/// The choices there are and those made.
#[derive(Clone, Debug, Default)]
pub struct TuningForm {
    /// Id of the part.
    pub part: Field,
    /// Ids and names of parts with several tunings.
    pub parts: Vec<(String, String)>,
    /// Id of the setting.
    pub setting: Field,
    /// Ids and names of settings.
    pub settings: Vec<(String, String)>,
    /// Id of the scene; empty: all that every tuning ran.
    pub scene: Field,
    /// Ids and names of scenes.
    pub scenes: Vec<(String, String)>,
}

/// A part at its tunings.
#[derive(Clone, Debug, Serialize)]
pub struct TuningFound {
    /// Name of the part.
    pub part: String,
    /// Name of the setting.
    pub setting: String,
    /// The scenes in it.
    pub scenes: Vec<String>,
    /// The units that ran; 'this sample only' is said with them.
    pub units: Vec<String>,
    /// The margin of the verdicts, a share; `None` where nothing is held against stock.
    pub margin: Option<f64>,
    /// Tunings past the maker's rated limits, in words; empty: none.
    pub past_limits: String,
    /// The tuning that is level with stock or faster for less.
    pub for_less: Option<ForLess>,
    /// The tuning of fewest joules a frame: name, joules, those of stock.
    pub thriftiest: Option<(String, f64, Option<f64>)>,
    /// A rate that falls with more memory offset: names of both tunings.
    pub falling: Vec<(String, String)>,
    /// The tunings, stock first, then by watts.
    pub rows: Vec<TuningRow>,
    /// What curves say.
    pub curves: Vec<CurveLine>,
    /// Scenes that some tuning has no value in.
    pub left_out: Vec<String>,
    /// Method and what it rests on, a sentence each.
    pub foot: Vec<String>,
    /// The picture of it.
    #[serde(skip)]
    pub chart: Plane,
}

/// What equals stock for fewer watts.
#[derive(Clone, Debug, Serialize)]
pub struct ForLess {
    /// Name of the tuning.
    pub name: String,
    /// Its verdict against stock.
    pub verdict: String,
    /// Watts less than stock.
    pub less_w: f64,
    /// Its watts.
    pub watts: f64,
    /// Those of stock.
    pub stock_w: f64,
    /// What of it is past the maker's rated limits, as an aside; empty: nothing.
    pub past_limits: &'static str,
    /// What a figure of the watts less would be.
    pub what: String,
}

/// A tuning.
#[derive(Clone, Debug, Default, Serialize)]
pub struct TuningRow {
    /// Its name.
    pub name: String,
    /// Whether it is stock, which the others are held against.
    pub stock: bool,
    /// What was set: limit and offsets, in words.
    pub set: String,
    /// Mean measured power, W, with its 95% interval.
    pub watts: Measured,
    /// What a figure of it would be; the same of the other values.
    pub what_watts: String,
    /// Average frame rate, fps.
    pub rate: Measured,
    /// What a figure of it would be.
    pub what_rate: String,
    /// Frame rate against stock.
    pub against_stock: Option<RatioLine>,
    /// Energy per frame, J.
    pub joules: Measured,
    /// What a figure of it would be.
    pub what_joules: String,
    /// Mean clock, MHz.
    pub clock_mhz: Option<f64>,
    /// Highest temperature, degrees Celsius.
    pub hottest_c: Option<f64>,
    /// `on the front`, `not shown worse`, `shown worse`; empty without watts.
    pub place: &'static str,
    /// Passes it was shown to run.
    pub passes: u64,
    /// In how many scenes.
    pub scenes: u64,
    /// How long in all, s.
    pub seconds: f64,
    /// Where it did not run, each with the reason.
    pub did_not_run: Vec<String>,
}

/// A value with its interval.
#[derive(Clone, Copy, Debug, Default, Serialize)]
pub struct Measured {
    /// In the unit of its column.
    pub value: Option<f64>,
    /// Ends of its 95% interval.
    pub interval: Option<(f64, f64)>,
}

impl Measured {
    /// `416.2 ± 0.9 W`.
    pub fn shown(&self, unit: Unit) -> String {
        match (self.value, self.interval) {
            (Some(value), Some((low, high))) => format::give_or_take(value, (high - low) / 2.0, unit),
            (value, _) => format::maybe(value, unit),
        }
    }
}

impl ForLess {
    /// `420 W is level with stock within 2% (1.2% slower) and takes 76 W less: 416 W instead of 492 W.`
    pub fn says(&self, margin: &Option<f64>) -> String {
        let margin = margin
            .map_or_else(String::new, |margin| format!(" within {}", Unit::Percent.plain(margin * 100.0)));
        let whole = |watts| Unit::W.behind(&format::fixed(watts, 0));
        let stands = match self.verdict.strip_prefix("level") {
            Some(rest) if rest.starts_with(" within") => format!("level with stock{rest}"),
            Some(rest) => format!("level with stock{margin}{rest}"),
            None => format!("{} than stock", self.verdict),
        };
        format!(
            "{}{} is {stands} and takes {} less: {} instead of {}.",
            self.name,
            self.past_limits,
            whole(self.less_w),
            whole(self.watts),
            whole(self.stock_w)
        )
    }
}

impl TuningRow {
    fn ran(&self) -> String {
        if self.passes == 0 {
            return format::NOTHING.to_owned();
        }
        let (passes, scenes) =
            (format::plural(self.passes, "pass", "passes"), format::plural(self.scenes, "scene", "scenes"));
        format!(
            "{passes} in {scenes}, {} in all",
            format::text_in(&format::fixed(self.seconds / 60.0, 1), "min")
        )
    }
}

impl TuningFound {
    fn over(&self) -> String {
        match self.scenes.as_slice() {
            [] => "no scene that every tuning ran".to_owned(),
            [only] => only.clone(),
            many => format!("geometric mean of {}", many.join("; ")),
        }
    }

    /// What the words of the verdicts mean; empty where nothing is held against stock.
    fn margin_says(&self) -> String {
        self.margin.map_or_else(String::new, |margin| {
            let margin = Unit::Percent.plain(margin * 100.0);
            format!(" Level: the 90% interval against stock lies within the piece's margin of {margin}.")
        })
    }

    fn sample(&self) -> String {
        if self.units.is_empty() {
            return "Tunings hold for the sample that was measured only.".to_owned();
        }
        format!(
            "This sample only: {}. Another one may need more watts, or not run at all.",
            self.units.join(", ")
        )
    }

    fn thriftiest_says(&self) -> Option<String> {
        let (name, joules, stock) = self.thriftiest.as_ref()?;
        let joules = format::value(*joules, Unit::J);
        Some(match stock {
            Some(stock) => {
                format!(
                    "Fewest joules a frame: {name}, {joules}; stock takes {}.",
                    format::value(*stock, Unit::J)
                )
            }
            None => format!("Fewest joules a frame: {name}, {joules}."),
        })
    }
}

impl Tuning {
    fn svg(found: &TuningFound) -> String {
        found.chart.svg(&Theme::LIGHT)
    }

    fn asked(&self) -> String {
        let query = [
            ("of", "tuning"),
            ("part", self.form.part.value.as_str()),
            ("setting", self.form.setting.value.as_str()),
            ("scene", self.form.scene.value.as_str()),
        ];
        paths::query(&query)
    }

    fn figure(&self, what: &str) -> String {
        paths::new_figure(&self.key, what)
    }
}

impl Page for Tuning {
    fn title(&self) -> String {
        "Tuning".to_owned()
    }

    fn samples() -> Vec<Self> {
        let measured =
            |value: f64| Measured { value: Some(value), interval: Some((value * 0.99, value * 1.01)) };
        let stock = TuningRow {
            name: "stock".into(),
            stock: true,
            set: "as the maker runs it".into(),
            watts: measured(492.0),
            rate: measured(98.0),
            joules: measured(5.02),
            clock_mhz: Some(2690.0),
            hottest_c: Some(72.0),
            place: "on the front",
            passes: 6,
            scenes: 2,
            seconds: 183.0,
            ..TuningRow::default()
        };
        let limited = TuningRow {
            name: "400 W with clock offsets".into(),
            stock: false,
            set: "limit 400 W, core +180 MHz, memory +750 MHz".into(),
            watts: measured(396.0),
            against_stock: Some(RatioLine {
                ratio: 1.012,
                interval: Some((1.008, 1.016)),
                verdict: "level (1.2% faster)".into(),
                way: "level",
                marks: vec![],
                what: r#"{"kind":"overall"}"#.into(),
            }),
            did_not_run: vec!["Tin Comet, corridor: the picture froze after 40 s".into()],
            ..stock.clone()
        };
        let found = TuningFound {
            part: "Tarnwick Curlew".into(),
            setting: "2160p native".into(),
            scenes: vec!["Vellum Rally, hairpin".into(), "Nine Lamps Below, cistern".into()],
            units: vec!["Curlew #1".into()],
            margin: Some(0.02),
            past_limits: "400 W with clock offsets".into(),
            for_less: Some(ForLess {
                name: "400 W with clock offsets".into(),
                verdict: "level (1.2% faster)".into(),
                less_w: 96.0,
                watts: 396.0,
                stock_w: 492.0,
                past_limits: ", offsets past the maker's rating,",
                what: r#"{"kind":"less"}"#.into(),
            }),
            thriftiest: Some(("350 W".into(), 4.02, Some(5.02))),
            falling: vec![("memory +750 MHz".into(), "memory +1500 MHz".into())],
            rows: vec![stock, limited, TuningRow { name: "300 W".into(), ..TuningRow::default() }],
            curves: vec![
                CurveLine {
                    name: "stock clocks".into(),
                    range: (347.0, 492.0),
                    knee: Some(416.0),
                    knee_between: Some((396.0, 445.0)),
                    stretches: vec![(347.0, 416.0, 1.4), (416.0, 492.0, 0.29)],
                    by_law: Some(0.3),
                    what_knee: r#"{"kind":"knee"}"#.into(),
                },
                CurveLine { name: "core +180 MHz".into(), range: (350.0, 450.0), ..CurveLine::default() },
            ],
            left_out: vec!["Tin Comet, corridor".into()],
            foot: vec!["Watts: mean measured board power, not the limit that was set.".into()],
            chart: crate::charts::samples::plane(),
        };
        let form = TuningForm {
            part: Field::of("1"),
            parts: vec![("1".into(), "Tarnwick Curlew".into())],
            setting: Field::of("1"),
            settings: vec![("1".into(), "2160p native".into())],
            scene: Field::of(""),
            scenes: vec![
                ("".into(), "all that every tuning ran".into()),
                ("1".into(), "Vellum Rally, hairpin".into()),
            ],
        };
        let page =
            |frame, form: &TuningForm, found| Tuning { frame, key: "k3v9".into(), form: form.clone(), found };
        let bare = TuningFound {
            units: vec![],
            margin: None,
            past_limits: String::new(),
            for_less: None,
            thriftiest: Some(("350 W".into(), 4.02, None)),
            falling: vec![],
            curves: vec![],
            left_out: vec![],
            scenes: vec![],
            ..found.clone()
        };
        vec![
            page(Frame::sample("Tuning"), &TuningForm::default(), None),
            page(Frame::sample("Tuning"), &form, Some(found)),
            page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), &form, Some(bare)),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_equals_stock_for_less_is_told_with_its_margin_and_limits() {
        let of = |verdict: &str, past_limits| ForLess {
            name: "400 W".into(),
            verdict: verdict.into(),
            less_w: 95.0,
            watts: 395.0,
            stock_w: 490.0,
            past_limits,
            what: String::new(),
        };
        let says = |verdict, past| of(verdict, past).says(&Some(0.02)).replace('\u{a0}', " ");
        let takes = "and takes 95 W less: 395 W instead of 490 W.";
        assert_eq!(says("level within 2%", ""), format!("400 W is level with stock within 2% {takes}"));
        assert_eq!(
            says("level (1.2% faster)", ", offsets past the maker's rating,"),
            format!(
                "400 W, offsets past the maker's rating, is level with stock within 2% (1.2% faster) {takes}"
            )
        );
        assert_eq!(says("faster", ""), format!("400 W is faster than stock {takes}"));
    }
}
