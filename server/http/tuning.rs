//! A part at its tunings.

use axum::extract::State;
use axum::response::Response;
use serde_json::json;
use weighhouse_measure::compare::Interval;
use weighhouse_measure::compare::together::Together;
use weighhouse_measure::measures::Measure;
use weighhouse_web::charts::{Caption, Place, Plane, Series, Spot};
use weighhouse_web::format::{self, Unit};
use weighhouse_web::pages::{
    CurveLine, Field, ForLess, Measured, Tuning, TuningForm, TuningFound, TuningRow,
};

use super::App;
use super::against::{count, ratio};
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, respond};
use super::sent::{self, Sent};
use super::session::SignedIn;
use crate::store::pieces::Piece;
use crate::store::registers::tunings::STOCK;
use crate::work::evidence::{Evidence, Registers};
use crate::work::figures::what::What;
use crate::work::tuning::{self, Asked, CurveFound, Found, Offsets, Tuned};
use crate::work::{Result, foot};

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent::Asked(query): sent::Asked,
) -> Result<Response> {
    let (evidence, found) = tuning::show(&app.store, piece.id, &asked(&query)).await?;
    let told = found.as_ref().map(|found| Told::of(&evidence, found));
    let page = Tuning {
        frame: in_piece(&app, &who, &piece, "Tuning", evidence.to_review().count()),
        key: piece.key,
        form: told.as_ref().map_or_else(TuningForm::default, Told::form),
        found: told.map(|told| told.all()),
    };
    respond(wants, &page)
}

pub(super) fn asked(query: &Sent) -> Asked {
    let text = |name| query.text(name).to_owned();
    Asked { part: text("part"), setting: text("setting"), scene: text("scene") }
}

/// What was found, in the words of the page.
pub(super) fn told(evidence: &Evidence, found: &Found) -> TuningFound {
    Told::of(evidence, found).all()
}

/// What was found, told in the words of the page.
struct Told<'a> {
    evidence: &'a Evidence,
    names: &'a Registers,
    found: &'a Found,
}

impl<'a> Told<'a> {
    fn of(evidence: &'a Evidence, found: &'a Found) -> Self {
        Told { evidence, names: &evidence.registers, found }
    }

    fn form(&self) -> TuningForm {
        let choice = &self.found.choice;
        let scenes = choice.scenes.iter().map(|id| (id.to_string(), self.names.scene_name(*id)));
        let all = (String::new(), "all that every tuning ran".to_owned());
        TuningForm {
            part: Field::of(choice.part.to_string()),
            parts: choice.parts.iter().map(|id| (id.to_string(), self.part(*id))).collect(),
            setting: Field::of(choice.setting.to_string()),
            settings: choice
                .settings
                .iter()
                .map(|id| (id.to_string(), self.names.setting_name(*id)))
                .collect(),
            scene: Field::of(choice.scene.map_or_else(String::new, |id| id.to_string())),
            scenes: [all].into_iter().chain(scenes).collect(),
        }
    }

    fn part(&self, id: crate::store::PartId) -> String {
        self.names.parts.get(&id).map_or_else(|| format!("part {id}"), |part| part.name())
    }

    /// A tuning without its part's name.
    fn name(&self, tuned: &Tuned) -> String {
        let tuning = self.names.tunings.get(&tuned.tuning);
        tuning.map_or_else(|| format!("tuning {}", tuned.tuning), |tuning| tuning.fields.name.clone())
    }

    fn named(&self, at: usize) -> String {
        self.found.tunings.get(at).map_or_else(String::new, |tuned| self.name(tuned))
    }

    fn all(&self) -> TuningFound {
        let found = self.found;
        let past: Vec<String> =
            found.tunings.iter().filter(|t| !t.past_limits.is_empty()).map(|t| self.name(t)).collect();
        TuningFound {
            part: self.part(found.choice.part),
            setting: self.names.setting_name(found.choice.setting),
            scenes: found.scenes.iter().map(|id| self.names.scene_name(*id)).collect(),
            units: found.units.iter().cloned().collect(),
            margin: found.tunings.iter().find_map(|tuned| Some(tuned.against_stock.as_ref()?.margin)),
            past_limits: past.join("; "),
            for_less: found.for_less.and_then(|at| self.for_less(found.tunings.get(at)?)),
            thriftiest: found.thriftiest.and_then(|at| {
                let tuned = found.tunings.get(at)?;
                let stock = found
                    .tunings
                    .iter()
                    .find(|tuned| self.name(tuned) == STOCK && tuned.tuning != found.tunings[at].tuning);
                Some((self.name(tuned), tuned.joules?.value, stock.and_then(|s| Some(s.joules?.value))))
            }),
            falling: found.falling.iter().map(|(a, b)| (self.named(*a), self.named(*b))).collect(),
            rows: found.tunings.iter().map(|tuned| self.row(tuned)).collect(),
            curves: found
                .curves
                .iter()
                .map(|one| CurveLine { what_knee: self.what_knee(one.offsets), ..curve(one) })
                .collect(),
            left_out: found.left_out.iter().map(|id| self.names.scene_name(*id)).collect(),
            foot: foot(),
            chart: self.chart(),
        }
    }

    fn for_less(&self, tuned: &Tuned) -> Option<ForLess> {
        let stock = self.found.tunings.first()?.watts?.value;
        let watts = tuned.watts?.value;
        let verdict = tuned.against_stock.as_ref()?.verdict.words();
        let what = self.what_less(tuned)?;
        Some(ForLess {
            name: self.name(tuned),
            what,
            verdict,
            less_w: stock - watts,
            watts,
            stock_w: stock,
            past_limits: match (tuned.past_limits.is_empty(), tuned.offsets == [0; 3]) {
                (true, _) => "",
                (false, true) => ", a limit past the maker's rating,",
                (false, false) => ", offsets past the maker's rating,",
            },
        })
    }

    fn row(&self, tuned: &Tuned) -> TuningRow {
        let (passes, scenes) = tuned.ran;
        TuningRow {
            name: self.name(tuned),
            stock: self.name(tuned) == STOCK,
            set: self.set(tuned),
            watts: measured(tuned.watts),
            what_watts: self.what_of(Measure::PowerW, tuned),
            rate: measured(tuned.rate),
            what_rate: self.what_of(Measure::AverageFps, tuned),
            against_stock: tuned.against_stock.as_ref().map(|judged| ratio(judged, self.what(tuned))),
            joules: measured(tuned.joules),
            what_joules: self.what_of(Measure::JoulesPerFrame, tuned),
            clock_mhz: tuned.clock_hz.map(|hz| hz / 1e6),
            hottest_c: tuned.hottest_c,
            place: tuned.place.map_or("", |place| place.words()),
            passes: count(passes),
            scenes: count(scenes),
            seconds: tuned.ran_s,
            did_not_run: tuned
                .did_not_run
                .iter()
                .map(|(scene, why)| format!("{}: {why}", self.names.scene_name(*scene)))
                .collect(),
        }
    }

    /// The limit and offsets that were set, in words.
    fn set(&self, tuned: &Tuned) -> String {
        let limit = self.names.tunings.get(&tuned.tuning).and_then(|tuning| tuning.fields.power_limit_w);
        let mut set: Vec<String> =
            limit.map(|w| format!("limit {}", format::whole(Some(w), "W"))).into_iter().collect();
        if tuned.offsets != [0; 3] {
            set.push(offsets(tuned.offsets));
        }
        if set.is_empty() { "as the maker runs it".to_owned() } else { set.join(", ") }
    }

    /// What a figure of the change against stock would be.
    fn what(&self, tuned: &Tuned) -> String {
        let choice = &self.found.choice;
        let stock = self.found.tunings.first().map(|stock| stock.tuning);
        match choice.scene {
            Some(scene) => json!({
                "kind": "ratio", "measure": "average_fps", "scene": scene, "setting": choice.setting,
                "baseline": stock, "contender": tuned.tuning,
            }),
            None => json!({
                "kind": "overall", "measure": "average_fps", "setting": choice.setting, "baseline": stock,
                "contender": tuned.tuning, "among": self.found.tunings.iter().map(|t| t.tuning).collect::<Vec<_>>(),
            }),
        }
        .to_string()
    }

    /// What a figure of a tuning's own value would be.
    fn what_of(&self, measure: Measure, tuned: &Tuned) -> String {
        let (setting, scenes) = (self.found.choice.setting, self.found.scenes.clone());
        What::Tuned { measure, tuning: tuned.tuning, setting, scenes }.json()
    }

    /// What a figure of the watts less than stock would be.
    fn what_less(&self, tuned: &Tuned) -> Option<String> {
        let (setting, scenes) = (self.found.choice.setting, self.found.scenes.clone());
        let baseline = self.found.tunings.first()?.tuning;
        Some(What::Less { setting, baseline, contender: tuned.tuning, scenes }.json())
    }

    /// What a figure of a curve's knee would be.
    fn what_knee(&self, offsets: Offsets) -> String {
        let (setting, scenes) = (self.found.choice.setting, self.found.scenes.clone());
        let on_it =
            |tuned: &&Tuned| tuned.offsets == offsets && tuned.watts.is_some() && tuned.rate.is_some();
        let tunings = self.found.tunings.iter().filter(on_it).map(|tuned| tuned.tuning).collect();
        What::Knee { setting, tunings, scenes }.json()
    }

    fn chart(&self) -> Plane {
        let found = self.found;
        let mut kinds: Vec<Offsets> = found.tunings.iter().map(|tuned| tuned.offsets).collect();
        kinds.sort_by_key(|offsets| (*offsets != [0; 3], *offsets));
        kinds.dedup();
        let title = format!(
            "{}: frame rate over watts, {}",
            self.part(found.choice.part),
            self.names.setting_name(found.choice.setting)
        );
        let units: Vec<&str> = found.units.iter().map(String::as_str).collect();
        let scenes: Vec<String> = found.scenes.iter().map(|id| self.names.scene_name(*id)).collect();
        let cells =
            found.tunings.iter().flat_map(|tuned| found.scenes.iter().map(move |id| (tuned.tuning, *id)));
        let cells = cells.filter_map(|(t, scene)| self.evidence.cell_of(t, scene, found.choice.setting));
        let [passes, builds] = foot::foot(self.evidence, cells);
        let mut foot = vec![
            format!(
                "Scenes: {}. Values: geometric mean of them. Lines through dots: 95% intervals.",
                scenes.join("; ")
            ),
            passes,
            builds,
            format!(
                "Tunings: this sample only ({}). A tuning past the maker's limits is at your own risk.",
                units.join(", ")
            ),
        ];
        foot.extend(found.curves.iter().map(|curve| {
            format!("{}: {}", format::sentence(&offsets(curve.offsets)), self::curve(curve).knee_says())
        }));
        Plane {
            caption: Caption {
                id: "tuning".to_owned(),
                desc: format!("{title}: a dot for each tuning; the table has the same numbers."),
                title,
                subtitle: "Watts as measured, not as set. Curve: monotone concave fit; shade: its 95% band. Grey: where the knee may lie."
                    .to_owned(),
                foot,
                draft: false,
            },
            across: "Mean measured power (W)".to_owned(),
            up: "Average frame rate (fps)".to_owned(),
            series: kinds.iter().map(|offsets| self.series(*offsets)).collect(),
            places: found.curves.iter().filter_map(knee).collect(),
        }
    }

    fn series(&self, of: Offsets) -> Series {
        let curve = self.found.curves.iter().find(|curve| curve.offsets == of);
        let points = self.found.tunings.iter().filter(|tuned| tuned.offsets == of).filter_map(|tuned| {
            let (watts, rate) = (tuned.watts?, tuned.rate?);
            let (w, r) = (measured(tuned.watts).shown(Unit::W), measured(tuned.rate).shown(Unit::Fps));
            Some(Spot {
                name: self.name(tuned),
                x: watts.value,
                y: rate.value,
                x_interval: watts.interval.map(ends),
                y_interval: rate.interval.map(ends),
                says: format!("{}: {r} at {w}", self.name(tuned)),
            })
        });
        let band = curve.and_then(|curve| curve.band.as_ref());
        Series {
            name: offsets(of),
            points: points.collect(),
            line: curve.map_or_else(Vec::new, |curve| curve.curve.corners.clone()),
            band: band.map_or_else(Vec::new, |b| b.rates.iter().map(|(w, i)| (*w, i.low, i.high)).collect()),
        }
    }
}

/// A value with its interval, as pages show it.
pub(super) fn measured(of: Option<Together>) -> Measured {
    Measured { value: of.map(|of| of.value), interval: of.and_then(|of| of.interval).map(ends) }
}

/// Both ends of an interval.
pub(super) fn ends(interval: Interval) -> (f64, f64) {
    (interval.low, interval.high)
}

/// `core +180 MHz, memory +750 MHz`; of none, `stock clocks`.
fn offsets([core, memory, voltage]: Offsets) -> String {
    let each = [("core", core, "MHz"), ("memory", memory, "MHz"), ("voltage", voltage, "mV")];
    let set: Vec<String> = each
        .into_iter()
        .filter(|(_, offset, _)| *offset != 0)
        .map(|(what, offset, unit)| format!("{what} {}", format::offset(offset, unit)))
        .collect();
    if set.is_empty() { "stock clocks".to_owned() } else { set.join(", ") }
}

fn knee(curve: &CurveFound) -> Option<Place> {
    let watts = curve.knee?.watts;
    let interval = curve.band.as_ref().and_then(|band| band.knee).map(ends);
    Some(Place { at: watts, interval, says: format!("knee, {}", offsets(curve.offsets)) })
}

fn curve(found: &CurveFound) -> CurveLine {
    let mut stretches: Vec<(f64, f64, f64)> = Vec::new();
    for pair in found.curve.corners.windows(2) {
        let slope = 10.0 * (pair[1].1 - pair[0].1) / (pair[1].0 - pair[0].0);
        match stretches.last_mut() {
            // The same stretch goes on: the fit is straight through this corner.
            Some(last) if (last.2 - slope).abs() < 1e-9 => last.1 = pair[1].0,
            _ => stretches.push((pair[0].0, pair[1].0, slope)),
        }
    }
    let range = found.curve.range().unwrap_or_default();
    CurveLine {
        name: offsets(found.offsets),
        range,
        knee: found.knee.map(|knee| knee.watts),
        knee_between: found.band.as_ref().and_then(|band| band.knee).map(ends),
        stretches,
        by_law: found.law.and_then(|law| law.marginal(range.1)).map(|slope| 10.0 * slope),
        what_knee: String::new(),
    }
}

fn foot() -> Vec<String> {
    [
        "Watts: mean measured power over the frames in the window, not the limit that was set. Energy per frame: joules divided by frames over the same span.",
        "Curve: the monotone concave curve nearest to the points (least squares); none below three tunings. Band: 95% of 400 refits of points drawn anew within their intervals. The knee lies between the measured points next to where those refits have it.",
        "Knee: by the Kneedle rule on the fitted curve. Saturating law: y = b1 (1 - exp(-b2 w)), told where it meets every point within its interval. Neither says anything outside the measured watts.",
        "On the front: no other tuning gives more frames for no more watts. Not shown worse: one seems to, within the noise.",
        "Verdicts against stock are those of the page Against.",
    ]
    .map(str::to_owned)
    .to_vec()
}
