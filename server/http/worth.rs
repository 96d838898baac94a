//! What a frame costs, and for whom it is worth it.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::pages::{Field, Worth, WorthForm};

use super::App;
use super::answers::Answers;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, respond};
use super::sent::{self, Sent};
use super::session::SignedIn;
use super::value::Told;
use crate::store::pieces::Piece;
use crate::work::answers::{ForReader, answers};
use crate::work::evidence::{Evidence, Registers};
use crate::work::worth::{self, Asked, Found, Market};
use crate::work::{Result, against};

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent::Asked(query): sent::Asked,
) -> Result<Response> {
    let (evidence, found) = worth::show(&app.store, piece.id, &asked(&query)).await?;
    let readers = of_readers(&evidence, found.as_ref())?;
    let told = found.as_ref().map(|found| Told::new(&evidence, found));
    let answers = found.as_ref().map(|found| Answers::new(&evidence, found, &readers));
    let page = Worth {
        frame: in_piece(&app, &who, &piece, "Worth", evidence.to_review().count()),
        key: piece.key,
        form: found.as_ref().map_or_else(WorthForm::default, |found| form(&evidence.registers, found)),
        found: told.map(|told| told.all()),
        readers: answers.as_ref().map_or_else(Vec::new, Answers::lines),
        readers_chart: answers.as_ref().and_then(Answers::chart),
    };
    respond(wants, &page)
}

pub(super) fn of_readers(evidence: &Evidence, found: Option<&Found>) -> Result<Vec<ForReader>> {
    let Some(found) = found else { return Ok(Vec::new()) };
    answers(evidence, found.choice.baseline, &found.choice.contenders, found.market.as_ref())
}

pub(super) fn asked(query: &Sent) -> Asked {
    let text = |name| query.text(name).to_owned();
    Asked {
        compared: against::Asked {
            measure: text("measure"),
            setting: text("setting"),
            baseline: text("baseline"),
            with: query.all("with").map(str::to_owned).collect(),
        },
        market: text("market"),
        hours: text("hours"),
        kwh: text("kwh"),
    }
}

fn form(names: &Registers, found: &Found) -> WorthForm {
    let (options, choice) = (&found.options, &found.choice);
    // What a frame costs is asked of frame rates alone.
    let rates = options.measures.iter().filter(|measure| measure.unit() == "fps");
    WorthForm {
        measure: Field::of(choice.measure.key()),
        measures: rates.map(|m| (m.key().to_owned(), m.name().to_owned())).collect(),
        setting: Field::of(choice.setting.to_string()),
        settings: options.settings.iter().map(|id| (id.to_string(), names.setting_name(*id))).collect(),
        baseline: Field::of(choice.baseline.to_string()),
        tunings: options.tunings.iter().map(|id| (id.to_string(), names.tuning_name(*id))).collect(),
        market: Field::of(found.market.as_ref().map_or_else(String::new, Market::key)),
        markets: found.markets.iter().map(|market| (market.key(), market.words())).collect(),
        hours: Field::of(found.running.hours.to_string()),
        kwh: Field::of(found.running.kwh.map_or_else(String::new, |kwh| kwh.to_string())),
    }
}
