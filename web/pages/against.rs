//! Parts against a baseline: ratios scene by scene and overall, as a chart and as the same numbers in tables.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Field, Frame, Page, Ranks};
use crate::charts::{Ratios, Theme};
use crate::format::{self, Unit};
use crate::paths;

/// The page.
#[derive(Template, Serialize)]
#[template(path = "against.html")]
pub struct Against {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    #[serde(skip)]
    pub key: String,
    /// The form of choices.
    #[serde(skip)]
    pub form: AgainstForm,
    /// What is compared; `None` while the piece has nothing to compare.
    pub comparison: Option<Comparison>,
    /// The noise prior that intervals rest on.
    pub prior: PriorShown,
}

/// The choices there are and those made.
#[derive(Clone, Debug, Default)]
pub struct AgainstForm {
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
    /// Ids of those compared with the baseline.
    pub with: Vec<String>,
}

impl AgainstForm {
    /// The choices as an address says them.
    pub fn query(&self) -> Vec<(&str, &str)> {
        let mut pairs = vec![
            ("measure", self.measure.value.as_str()),
            ("setting", self.setting.value.as_str()),
            ("baseline", self.baseline.value.as_str()),
        ];
        pairs.extend(self.with.iter().map(|id| ("with", id.as_str())));
        pairs
    }

    pub(super) fn compares(&self, id: &str) -> bool {
        self.with.iter().any(|with| with == id)
    }
}

/// A comparison.
#[derive(Clone, Debug, Serialize)]
pub struct Comparison {
    /// Key of the measure.
    pub measure: String,
    /// Its name in print; a low's says how it is computed.
    pub measure_name: String,
    /// Its unit.
    pub unit: Unit,
    /// Name of the setting.
    pub setting: String,
    /// Name of the baseline.
    pub baseline: String,
    /// One for each part that is compared with it.
    pub contenders: Vec<Contender>,
    /// Scenes that leave the overall ratios for all, each with why, in a sentence.
    pub left_out: Vec<String>,
    /// What of it was carried over from earlier pieces, with what the spot checks say; empty: nothing.
    pub carried: String,
    /// Method, passes, rigs, drivers, builds: a sentence each.
    pub foot: Vec<String>,
    /// The picture of it.
    #[serde(skip)]
    pub chart: Ratios,
    /// By how much each scene moves the overall ratios; `None` of two scenes or fewer.
    #[serde(skip)]
    pub strip: Option<Ratios>,
    /// Ranks of all that are compared; `None` of two.
    pub ranks: Option<Ranks>,
}

/// A part against the baseline.
#[derive(Clone, Debug, Serialize)]
pub struct Contender {
    /// Its name.
    pub name: String,
    /// By scene.
    pub scenes: Vec<SceneLine>,
    /// Over the scenes that all ran; `None` where there is none.
    pub overall: Option<OverallLine>,
}

/// A scene.
#[derive(Clone, Debug, Serialize)]
pub struct SceneLine {
    /// Its name.
    pub scene: String,
    /// What must be known beside it, such as `played by hand, margin 3%`; may be empty.
    pub note: String,
    /// Who keeps it out of the overall ratio, each with why; empty where it counts.
    pub out: String,
    /// The baseline's value.
    pub baseline: CellLine,
    /// The contender's value.
    pub contender: CellLine,
    /// Which of the two are not the limit there: something else, such as the processor, decides how long frames take.
    pub not_the_limit: Vec<String>,
    /// Contender over baseline.
    pub ratio: Option<RatioLine>,
}

/// A cell's value.
#[derive(Clone, Debug, Default, Serialize)]
pub struct CellLine {
    /// Geometric mean over its kept passes.
    pub value: Option<f64>,
    /// Ends of its 95% interval.
    pub interval: Option<(f64, f64)>,
    /// Kept passes.
    pub passes: u64,
    /// Those of them that are flagged and not ruled on.
    pub flagged: u64,
    /// Why there is no value.
    pub missing: String,
    /// What a figure of it would be.
    pub what: String,
}

/// A ratio.
#[derive(Clone, Debug, Serialize)]
pub struct RatioLine {
    /// Contender over baseline.
    pub ratio: f64,
    /// Ends of its 95% interval.
    pub interval: Option<(f64, f64)>,
    /// What may be said of it.
    pub verdict: String,
    /// `up`, `down`, `level` or `open`.
    pub way: &'static str,
    /// What it crosses without losing its verdict.
    pub marks: Vec<String>,
    /// What a figure of it would be.
    pub what: String,
}

/// An overall ratio.
#[derive(Clone, Debug, Serialize)]
pub struct OverallLine {
    /// Scenes in it.
    pub scenes: u64,
    /// Geometric mean, interval of these scenes.
    pub these: RatioLine,
    /// 95% interval of another scene like these.
    pub another: Option<(f64, f64)>,
    /// Scenes, and the ratio without each.
    pub without: Vec<(String, f64)>,
    /// Which scene drives it, and the ratio without that one.
    pub drives: Option<(String, f64)>,
}

/// The noise prior.
#[derive(Clone, Debug, Default, Serialize)]
pub struct PriorShown {
    /// Its number; 0: none is kept.
    pub number: i64,
    /// Who kept it.
    pub by: String,
    /// When.
    pub at: Option<Timestamp>,
}

impl PriorShown {
    /// In a sentence.
    pub fn says(&self) -> String {
        match self.at {
            None => "No noise prior is kept: each interval rests on its own cells' few passes.".to_owned(),
            Some(at) => {
                format!(
                    "Intervals rest on noise prior {}, kept by {} on {}.",
                    self.number,
                    self.by,
                    format::day(at, "UTC")
                )
            }
        }
    }
}

impl CellLine {
    /// `124.0 ± 0.9`, in the unit of the page.
    fn number(&self, unit: &Unit) -> String {
        match (self.value, self.interval) {
            (Some(value), Some((low, high))) => format::give_or_take(value, (high - low) / 2.0, *unit),
            (value, _) => format::maybe(value, *unit),
        }
    }

    fn of_passes(&self) -> String {
        format::plural(self.passes, "pass", "passes")
    }
}

impl RatioLine {
    pub(super) fn change(&self) -> String {
        match self.interval {
            Some((low, high)) => format::change_to(self.ratio, low, high),
            None => format::change(self.ratio),
        }
    }

    pub(super) fn interval(&self) -> String {
        self.interval
            .map_or_else(|| format::NOTHING.to_owned(), |(low, high)| format::change_interval(low, high))
    }
}

impl OverallLine {
    fn driven_by(&self) -> Option<String> {
        let (scene, without) = self.drives.as_ref()?;
        Some(format!(
            "{scene} moves the overall most: without it that would be {}.",
            format::change(*without)
        ))
    }

    fn another(&self) -> String {
        match self.another {
            Some((low, high)) => format::change_interval(low, high),
            None if self.scenes < 6 => "said from 6 scenes on".to_owned(),
            None => format::NOTHING.to_owned(),
        }
    }
}

impl Against {
    fn units_agree(&self) -> String {
        paths::with_query(&paths::rig_check(&self.key), &[("among", "units")])
    }

    fn svg(comparison: &Comparison) -> String {
        comparison.chart.svg(&Theme::LIGHT)
    }

    fn strip(strip: &Ratios) -> String {
        strip.svg(&Theme::LIGHT)
    }

    fn asked(&self, of: &'static str) -> String {
        let mut query = vec![("of", of)];
        query.extend(self.form.query());
        paths::query(&query)
    }

    fn figure(&self, what: &str) -> String {
        paths::new_figure(&self.key, what)
    }
}

impl Page for Against {
    fn title(&self) -> String {
        "Against".to_owned()
    }

    fn samples() -> Vec<Self> {
        let cell = |value: f64, passes| CellLine {
            value: Some(value),
            interval: Some((value * 0.99, value * 1.01)),
            passes,
            what: r#"{"kind":"cell","measure":"average_fps","cell":1}"#.into(),
            ..CellLine::default()
        };
        let ratio = |ratio: f64| RatioLine {
            ratio,
            interval: Some((ratio * 0.99, ratio * 1.012)),
            verdict: "faster".into(),
            way: "up",
            marks: vec![],
            what: r#"{"kind":"ratio"}"#.into(),
        };
        let scene = |name: &str, contender: CellLine, ratio: Option<RatioLine>| SceneLine {
            scene: name.into(),
            note: if name.starts_with("Drift") { "played by hand, margin 3%".into() } else { String::new() },
            out: if ratio.is_some() {
                String::new()
            } else {
                "Ullmere Thole: did not run: out of memory".into()
            },
            baseline: CellLine { flagged: u64::from(ratio.is_none()), ..cell(104.2, 3) },
            contender,
            not_the_limit: if name.starts_with("Drift") { vec![] } else { vec!["Tarnwick Curlew".into()] },
            ratio,
        };
        let gone = CellLine { missing: "did not run: out of memory".into(), ..CellLine::default() };
        let bare = RatioLine {
            interval: None,
            verdict: "not settled (2 more passes)".into(),
            way: "open",
            marks: vec!["crosses rigs (interval widened by the spread between rigs)".into()],
            ..ratio(1.31)
        };
        let contender = Contender {
            name: "Tarnwick Curlew".into(),
            scenes: vec![
                scene("Vellum Rally, hairpin", cell(129.3, 3), Some(ratio(1.241))),
                scene("Driftglass, arena", CellLine { interval: None, ..cell(136.0, 1) }, Some(bare)),
                scene("Hollow Regatta, night harbour", gone.clone(), None),
                SceneLine { baseline: gone, ..scene("Tin Comet, corridor", cell(96.1, 3), None) },
            ],
            overall: Some(OverallLine {
                scenes: 2,
                these: ratio(1.262),
                another: None,
                without: vec![],
                drives: Some(("Driftglass, arena".into(), 1.241)),
            }),
        };
        let comparison = Comparison {
            measure: "average_fps".into(),
            measure_name: "average frame rate".into(),
            unit: Unit::Fps,
            setting: "2160p native".into(),
            baseline: "Tarnwick Dunlin".into(),
            contenders: vec![
                contender.clone(),
                Contender { name: "Ullmere Thole".into(), overall: None, ..contender.clone() },
                Contender {
                    name: "Tarnwick Curlew (400 W)".into(),
                    overall: contender.overall.clone().map(|of| OverallLine { drives: None, ..of }),
                    ..contender
                },
            ],
            carried: "Carried over from 14 Oct 2026, driver 30.1: Ullmere Thole; spot checks: not checked."
                .to_owned(),
            left_out: vec![
                "Hollow Regatta, night harbour (Ullmere Thole: did not run: out of memory).".into(),
            ],
            foot: vec!["Passes: 1 to 3 a cell.".into()],
            chart: crate::charts::samples::ratios(),
            strip: None,
            ranks: Some(Ranks::sample(&ratio(0.97))),
        };
        let form = AgainstForm {
            measure: Field::of("average_fps"),
            measures: vec![("average_fps".into(), "average frame rate".into())],
            setting: Field::of("1"),
            settings: vec![("1".into(), "2160p native".into())],
            baseline: Field::of("1"),
            tunings: vec![("1".into(), "Tarnwick Dunlin".into()), ("2".into(), "Tarnwick Curlew".into())],
            with: vec!["2".into()],
        };
        let kept = PriorShown { number: 2, by: "Maren Oake".into(), at: Some(Timestamp::UNIX_EPOCH) };
        let page = |frame, comparison, prior| Against {
            frame,
            key: "k3v9".into(),
            form: form.clone(),
            comparison,
            prior,
        };
        let guest = Frame::signed_in("Ada Fenn", "guest", "Pieces");
        vec![
            page(Frame::sample("Against"), None, PriorShown::default()),
            page(Frame::sample("Against"), Some(comparison.clone()), kept),
            page(guest, Some(comparison), PriorShown::default()),
        ]
    }
}
