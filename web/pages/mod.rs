//! Page values: one struct for each template. The same value is rendered as HTML and serialised for `/api/v1`.

mod across;
mod against;
mod board;
mod carried;
mod cells;
mod changes;
mod charts;
mod cuts;
mod draft;
mod editions;
mod figure;
mod figures;
pub mod form;
mod frame;
mod in_short;
mod intake;
mod invitation;
mod latency;
mod layout;
mod layouts;
pub mod methods;
mod noise_prior;
mod notes;
mod outdated;
mod pack;
pub mod part_forms;
pub mod parts;
pub mod pass;
mod pattern;
mod people;
mod piece;
mod pieces;
mod plan;
mod plan_missing;
mod quotes;
mod ranks;
mod reader;
mod reader_line;
mod reading_kinds;
mod reading_new;
mod readings;
mod refusal;
mod review;
mod rig_check;
pub mod rigs;
mod ruled_line;
pub mod scenes;
mod screens;
mod sessions;
mod sign_in;
mod soaks;
mod tuning;
mod tuning_curve;
mod worth;
mod worth_table;

pub use across::{Across, AcrossFound, ChangeLine, ChangeOf, CostLine};
pub use against::{
    Against, AgainstForm, CellLine, Comparison, Contender, OverallLine, PriorShown, RatioLine, SceneLine,
};
pub use board::{Board, LastIn, NextPass, ThenLine};
pub use carried::{CarriedCell, CarriedOver, CarriedPart, CarryOffer, RanOn, SpotCheck};
pub use cells::{CellRow, Cells, Choice, PartTunings, Selected};
pub use changes::{ChangeBlock, ChangeRow, Changes};
pub use charts::{Chart, ChartLine, Charts, ScenePlace, WIDTHS};
pub use cuts::{CutLine, Cuts};
pub use draft::{Draft, NumberLine, TextLine, TextPiece, TextVersion};
pub use editions::{Edition, EditionChange, EditionFigure, EditionLine, Editions, LinkLine};
pub use figure::{CellWhy, Figure, FigureBlind, FigureDone, FigureNew, Holds, PassWhy};
pub use figures::{FigureLine, Figures};
pub use form::{Filled, Form, How, Sending};
pub use frame::{Entry, Field, FirstStep, Flash, FormKeys, Frame, PieceFrame, SignedIn, Undo};
pub use intake::{
    Asking, Assignment, Becomes, Destination, Group, Intake, MOST_BY_FORM, Select, Unplaced, Waiting,
};
pub use invitation::Invitation;
pub use latency::{DelayBlock, DelayRow, Latency};
pub use layout::Layout;
pub use layouts::{Anew, Beyond, Lapsing, LayoutLine, LayoutRead, LayoutSure, LayoutVersion, Layouts};
pub use methods::Methods;
pub use noise_prior::{KindLine, Moments, NoisePrior, RatioChange};
pub use notes::{Embargo, Notes, SaidLine};
pub use outdated::{OlderCell, OlderGroup, OlderPass, Outdated};
pub use pack::{ChartEntry, FileEntry, NameEntry, Pack};
pub use parts::{Part, Parts};
pub use pass::Pass;
pub use pattern::Pattern;
pub use people::{Invited, Key, People, Person, Secret, Step};
pub use piece::{Drivers, Piece};
pub use pieces::{NewPiece, Pieces, Progress};
pub use plan::{Again, Column, PassMark, Plan, PlanRow, Spot};
pub use plan_missing::{Missing, Session};
pub use quotes::{QuoteLine, Quotes};
pub use ranks::{RankLine, Ranks};
pub use reader::{Reader, Weight};
pub use reader_line::{ReaderLine, RunningLine};
pub use reading_kinds::{KindLine as ReadingKindLine, ReadingKinds, kind_form};
pub use reading_new::ReadingNew;
pub use readings::{
    GroupLine, KindReadings, ProofLine, Reading, Readings, RepeatWhy, SittingLink, SittingWhy,
};
pub use refusal::Refusal;
pub use review::{Contested, Found, Queued, Review, Said, UnderReview};
pub use rig_check::{InRigLine, RigCellLine, RigCheck, RigReading, RigSpreads};
pub use rigs::{Rig, Rigs};
pub use ruled_line::RuledLine;
pub use scenes::{Scene, Scenes};
pub use screens::{ScreenChange, ScreenLine, Screens};
pub use sessions::{
    BoardLine, CostField, DriftLine, OrderLine, RanLine, RigSessions, SessionLine, Sessions, StepLine,
};
pub use sign_in::SignIn;
pub use soaks::{Soak, SoakLine, SoakNew};
pub use tuning::{ForLess, Measured, Tuning, TuningForm, TuningFound, TuningRow};
pub use tuning_curve::CurveLine;
pub use worth::{Specification, ValueLine, Worth, WorthForm, WorthFound, WorthLine};
pub use worth_table::worth_table;

/// A page: its fields are what its template and its JSON twin show.
///
/// The template extends `frame.html`, which prints [`Page::title`] as the only `h1`.
pub trait Page: askama::Template + serde::Serialize + Sized {
    /// Title of the page, without the name of the service.
    fn title(&self) -> String;

    /// Values that between them show each state of the page: empty, filled, refused, read by a guest. The test
    /// below renders all of them.
    fn samples() -> Vec<Self>;

    /// The page as HTML.
    ///
    /// # Errors
    /// When its template fails.
    fn html(&self) -> askama::Result<String> {
        self.render()
    }
}

/// What is done with the samples of each page.
trait Samples {
    /// `name`: of the page's template.
    fn page<P: Page>(&mut self, name: &'static str) -> Result<(), askama::Error>;
}

fn each_page(take: &mut impl Samples) -> Result<(), askama::Error> {
    take.page::<Intake>("intake")?;
    take.page::<Against>("against")?;
    take.page::<Across>("across")?;
    take.page::<Tuning>("tuning")?;
    take.page::<Latency>("latency")?;
    take.page::<Worth>("worth")?;
    take.page::<Charts>("charts")?;
    take.page::<Chart>("chart")?;
    take.page::<Reader>("reader")?;
    take.page::<NoisePrior>("noise_prior")?;
    take.page::<Draft>("draft")?;
    take.page::<Figure>("figure")?;
    take.page::<FigureBlind>("figure_blind")?;
    take.page::<FigureNew>("figure_new")?;
    take.page::<Figures>("figures")?;
    take.page::<Invitation>("invitation")?;
    take.page::<Part>("part")?;
    take.page::<Parts>("part_list")?;
    take.page::<Cuts>("cuts")?;
    take.page::<Layout>("layout")?;
    take.page::<Layouts>("layouts")?;
    take.page::<LayoutRead>("layout_read")?;
    take.page::<LayoutSure>("layout_sure")?;
    take.page::<Pass>("pass")?;
    take.page::<Methods>("methods")?;
    take.page::<Pack>("pack")?;
    take.page::<Pattern>("pattern")?;
    take.page::<People>("people")?;
    take.page::<CarriedOver>("carried")?;
    take.page::<Cells>("cells")?;
    take.page::<Changes>("changes")?;
    take.page::<Piece>("piece")?;
    take.page::<Pieces>("pieces")?;
    take.page::<Plan>("plan")?;
    take.page::<Refusal>("refusal")?;
    take.page::<Review>("review")?;
    take.page::<Outdated>("outdated")?;
    take.page::<RigCheck>("rig_check")?;
    take.page::<Rig>("rig")?;
    take.page::<Rigs>("rigs")?;
    take.page::<Scene>("scene")?;
    take.page::<Scenes>("scenes")?;
    take.page::<Sessions>("sessions")?;
    take.page::<Board>("board")?;
    take.page::<Quotes>("quotes")?;
    take.page::<Readings>("readings")?;
    take.page::<ReadingNew>("reading_new")?;
    take.page::<Reading>("reading")?;
    take.page::<ReadingKinds>("reading_kinds")?;
    take.page::<Soak>("soak")?;
    take.page::<SoakNew>("soak_new")?;
    take.page::<Notes>("notes")?;
    take.page::<Editions>("editions")?;
    take.page::<Edition>("edition")?;
    take.page::<Screens>("screens")?;
    take.page::<SignIn>("sign_in")?;
    Ok(())
}

/// Shows samples of all pages to tests: `(file of the template's page, HTML)`.
///
/// # Errors
/// When a template fails to render.
pub fn rendered_samples() -> Result<Vec<(&'static str, String)>, askama::Error> {
    struct Rendered(Vec<(&'static str, String)>);
    impl Samples for Rendered {
        fn page<P: Page>(&mut self, name: &'static str) -> Result<(), askama::Error> {
            for page in P::samples() {
                self.0.push((name, page.render()?));
            }
            Ok(())
        }
    }
    let mut out = Rendered(Vec::new());
    each_page(&mut out)?;
    Ok(out.0)
}

/// Samples of all pages as their JSON twins: `(file of the template's page, JSON)`. The document of the API is made of
/// them.
pub fn twins() -> Vec<(&'static str, serde_json::Value)> {
    struct Twins(Vec<(&'static str, serde_json::Value)>);
    impl Samples for Twins {
        fn page<P: Page>(&mut self, name: &'static str) -> Result<(), askama::Error> {
            self.0.extend(
                P::samples().iter().filter_map(|page| Some((name, serde_json::to_value(page).ok()?))),
            );
            Ok(())
        }
    }
    let mut out = Twins(Vec::new());
    // Nothing is rendered, so nothing fails to.
    let _ = each_page(&mut out);
    out.0
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use scraper::{ElementRef, Html, Selector};

    use super::*;

    fn all(html: &Html, selector: &str) -> Vec<String> {
        let selector = Selector::parse(selector).unwrap();
        html.select(&selector).map(|e| e.html()).collect()
    }

    fn each<'a>(html: &'a Html, selector: &'a Selector) -> impl Iterator<Item = ElementRef<'a>> {
        html.select(selector)
    }

    /// Style, 11: no inline script, style or handler; WCAG 2.2: 2.4.2 title, 1.3.1 labels, 4.1.1 unique ids.
    #[test]
    fn samples_of_all_pages_render_equal_twice_and_well_formed() {
        let first = rendered_samples().unwrap();
        assert_eq!(first, rendered_samples().unwrap());
        for (name, text) in &first {
            let html = Html::parse_document(text);
            assert_eq!(all(&html, "h1").len(), 1, "{name}: h1");
            assert_eq!(all(&html, "title").len(), 1 + all(&html, "svg title").len(), "{name}: title");
            assert_eq!(all(&html, "main").len(), 1, "{name}: main");
            assert!(all(&html, "style, script:not([src]), [style]").is_empty(), "{name}: inline");
            assert!(all(&html, "h1 + h3, a:not([href]), img:not([alt])").is_empty(), "{name}");
            handlers_and_ids(name, &html);
            labels(name, &html);
        }
    }

    fn handlers_and_ids(name: &str, html: &Html) {
        let mut ids = BTreeSet::new();
        let anything = Selector::parse("*").unwrap();
        for element in each(html, &anything) {
            for (attribute, value) in element.value().attrs() {
                assert!(!attribute.starts_with("on"), "{name}: {attribute}");
                assert!(attribute != "id" || ids.insert(value.to_owned()), "{name}: id {value} twice");
            }
        }
        for element in each(html, &anything) {
            for attribute in ["for", "aria-labelledby", "aria-describedby", "list"] {
                for id in element.attr(attribute).unwrap_or("").split_whitespace() {
                    assert!(ids.contains(id), "{name}: {attribute} leads to no {id}");
                }
            }
            if let Some(id) = element.attr("href").and_then(|href| href.strip_prefix('#')) {
                assert!(ids.contains(id), "{name}: #{id} leads nowhere");
            }
        }
    }

    fn labels(name: &str, html: &Html) {
        let inputs = Selector::parse("input:not([type=hidden]), select, textarea").unwrap();
        for input in each(html, &inputs) {
            let wrapped = input.ancestors().filter_map(ElementRef::wrap).any(|e| e.value().name() == "label");
            let by_id =
                input.attr("id").is_some_and(|id| !all(html, &format!("label[for=\"{id}\"]")).is_empty());
            let aria = input.attr("aria-label").is_some() || input.attr("aria-labelledby").is_some();
            assert!(wrapped || by_id || aria, "{name}: no label for {}", input.html());
        }
    }

    /// A literal address in a template would escape `paths.rs` (design, section 5).
    #[test]
    fn templates_link_through_paths_and_each_belongs_to_a_page() {
        let names: BTreeSet<_> = rendered_samples().unwrap().into_iter().map(|(name, _)| name).collect();
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/templates");
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
            let text = std::fs::read_to_string(&path).unwrap();
            for literal in ["href=\"/", "action=\"/", "src=\"/", "href='/", "action='/"] {
                assert!(!text.contains(literal), "{name}: {literal}");
            }
            assert!(
                ["columns", "edition_parts", "embargo_parts", "form", "frame", "parts"]
                    .contains(&name.as_str())
                    || names.contains(name.as_str()),
                "{name}"
            );
        }
    }

    /// The JSON twin carries what the page shows, and not the frame around it.
    #[test]
    fn the_twin_has_no_frame() {
        let twin = serde_json::to_value(&Pieces::samples()[1]).unwrap();
        assert!(twin.get("frame").is_none());
        assert!(twin["pieces"].as_array().is_some_and(|pieces| !pieces.is_empty()));
    }
}
