//! One setting against another that differs in one option: what it costs each part, and what becomes of a lead.

use askama::Template;
use serde::Serialize;

use super::{AgainstForm, Field, Frame, Page, RatioLine};
use crate::charts::{Ratios, Theme};
use crate::paths;

/// The page.
#[derive(Template, Serialize)]
#[template(path = "across.html")]
pub struct Across {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    #[serde(skip)]
    pub key: String,
    /// The choices of the page Against; its setting is the step from one to another.
    #[serde(skip)]
    pub form: AgainstForm,
    /// What was found; `None` where no two settings of the piece differ in one option.
    pub found: Option<AcrossFound>,
}

/// What was found.
#[derive(Clone, Debug, Serialize)]
pub struct AcrossFound {
    /// Name of the measure.
    pub measure_name: String,
    /// Name of the first setting.
    pub from: String,
    /// Name of the second.
    pub to: String,
    /// In what they differ.
    pub option: &'static str,
    /// Name of the baseline.
    pub baseline: String,
    /// Names of the parts, the baseline first.
    pub parts: Vec<String>,
    /// By scene, then over all of them where there are several.
    pub costs: Vec<CostLine>,
    /// One for each contender.
    pub changes: Vec<ChangeOf>,
    /// Parts that are left out, with why.
    pub left_out: Vec<String>,
    /// Method, a sentence each.
    pub foot: Vec<String>,
    /// The picture of the costs; `None` without a scene.
    #[serde(skip)]
    pub chart: Option<Ratios>,
}

/// What the option costs in a scene.
#[derive(Clone, Debug, Serialize)]
pub struct CostLine {
    /// The scene, or all of them.
    pub name: String,
    /// What must be known beside it; may be empty.
    pub note: String,
    /// One for each part.
    pub costs: Vec<Option<RatioLine>>,
}

/// What becomes of a contender's ratio to the baseline.
#[derive(Clone, Debug, Serialize)]
pub struct ChangeOf {
    /// Its name.
    pub name: String,
    /// By scene, then over all of them where there are several.
    pub lines: Vec<ChangeLine>,
}

/// In a scene.
#[derive(Clone, Debug, Serialize)]
pub struct ChangeLine {
    /// The scene, or all of them.
    pub name: String,
    /// What must be known beside it; may be empty.
    pub note: String,
    /// At the first setting.
    pub from: RatioLine,
    /// At the second.
    pub to: RatioLine,
    /// Second over first.
    pub change: RatioLine,
}

impl ChangeOf {
    /// The last line in a sentence.
    fn says(&self, found: &AcrossFound) -> Option<String> {
        let ChangeLine { from, to, change, .. } = self.lines.last()?;
        Some(format!(
            "{} against {}: {} at {}, {} at {}. Between them {} ({}): {}.",
            self.name,
            found.baseline,
            from.change(),
            found.from,
            to.change(),
            found.to,
            change.change(),
            change.interval(),
            change.verdict
        ))
    }
}

impl AcrossFound {
    /// What the foot of the chart does not say.
    fn beside_chart(&self) -> impl Iterator<Item = &String> {
        let said = self.chart.as_ref().map_or(&[][..], |chart| &chart.caption.foot);
        self.foot.iter().filter(|line| !said.contains(line))
    }
}

impl Across {
    fn svg(chart: &Ratios) -> String {
        chart.svg(&Theme::LIGHT)
    }

    fn asked(&self) -> String {
        let mut query = vec![("of", "across"), ("step", self.form.setting.value.as_str())];
        query.extend(self.form.query());
        query.retain(|(name, _)| *name != "setting");
        paths::query(&query)
    }
}

impl Page for Across {
    fn title(&self) -> String {
        "One option on and off".to_owned()
    }

    fn samples() -> Vec<Self> {
        let ratio = |ratio: f64, verdict: &str, way| RatioLine {
            ratio,
            interval: Some((ratio * 0.99, ratio * 1.01)),
            verdict: verdict.into(),
            way,
            marks: vec![],
            what: String::new(),
        };
        let cost = |name: &str, costs| CostLine { name: name.into(), note: String::new(), costs };
        let change = |name: &str, note: &str| ChangeLine {
            name: name.into(),
            note: note.into(),
            from: ratio(1.24, "faster", "up"),
            to: ratio(1.17, "faster", "up"),
            change: ratio(0.944, "lower", "down"),
        };
        let found = AcrossFound {
            measure_name: "average frame rate".into(),
            from: "2160p native".into(),
            to: "2160p upscaled from 1080p".into(),
            option: "upscaling",
            baseline: "Tarnwick Dunlin".into(),
            parts: vec!["Tarnwick Dunlin".into(), "Tarnwick Curlew".into()],
            costs: vec![
                cost("Vellum Rally, hairpin", vec![Some(ratio(1.61, "faster", "up")), None]),
                cost(
                    "All 2 scenes",
                    vec![Some(ratio(1.61, "faster", "up")), Some(ratio(1.52, "faster", "up"))],
                ),
            ],
            changes: vec![ChangeOf {
                name: "Tarnwick Curlew".into(),
                lines: vec![
                    change("Vellum Rally, hairpin", "card at work 71% of the time"),
                    change("All 2 scenes", ""),
                ],
            }],
            left_out: vec!["Ullmere Thole ran no scene at both settings.".into()],
            foot: vec!["Cost: the ratio of a part's cells.".into()],
            chart: Some(crate::charts::samples::ratios()),
        };
        let form = AgainstForm {
            measure: Field::of("average_fps"),
            measures: vec![("average_fps".into(), "average frame rate".into())],
            setting: Field::of("1-2"),
            settings: vec![("1-2".into(), "2160p native to 2160p upscaled from 1080p: upscaling".into())],
            baseline: Field::of("1"),
            tunings: vec![("1".into(), "Tarnwick Dunlin".into()), ("2".into(), "Tarnwick Curlew".into())],
            with: vec!["2".into()],
        };
        let page = |frame, form, found| Across { frame, key: "k3v9".into(), form, found };
        let none = AcrossFound { costs: vec![], changes: vec![], chart: None, ..found.clone() };
        vec![
            page(Frame::sample("Against"), AgainstForm::default(), None),
            page(Frame::sample("Against"), form.clone(), Some(found)),
            page(Frame::sample("Against"), form, Some(none)),
        ]
    }
}
