//! Every address of the service: a route pattern for the router and, from the same line, a function for links.
//!
//! `/api/v1` twins have the same patterns below [`API`]: the router nests them there, links wrap with [`api`].

use std::fmt::{Display, Write as _};

/// Where the JSON twins of the pages and the uploads of the rigs live.
pub const API: &str = "/api/v1";

/// The twin of a page's address under [`API`].
pub fn api(path: &str) -> String {
    format!("{API}{path}")
}

/// Fills the `{slots}` of a pattern in order, percent-encoding what stands in them.
fn fill(pattern: &str, values: &[&dyn Display]) -> String {
    let mut out = String::with_capacity(pattern.len() + 24);
    let mut values = values.iter();
    let mut rest = pattern;
    while let Some((before, after)) = rest.split_once('{') {
        out.push_str(before);
        if let Some(value) = values.next() {
            out.push_str(&encode(&value.to_string()));
        }
        rest = after.split_once('}').map_or("", |(_, after)| after);
    }
    out.push_str(rest);
    out
}

/// Percent-encodes all but the unreserved characters of RFC 3986, section 2.3.
pub fn encode(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            // Writing to a String cannot fail.
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

/// `path` with a query, values percent-encoded; pairs with an empty value are left out.
pub fn with_query(path: &str, pairs: &[(&str, &str)]) -> String {
    let query = query(pairs);
    if query.is_empty() { path.to_owned() } else { format!("{path}?{query}") }
}

/// The query alone.
pub fn query(pairs: &[(&str, &str)]) -> String {
    let filled = pairs.iter().filter(|(_, value)| !value.is_empty());
    filled.map(|(key, value)| format!("{}={}", encode(key), encode(value))).collect::<Vec<_>>().join("&")
}

macro_rules! routes {
    ($($(#[doc = $doc:literal])* $pattern:ident = $text:literal => $link:ident($($slot:ident: $kind:ty),*);)*) => {
        $(
            #[doc = concat!("Route of [`", stringify!($link), "()`].")]
            pub const $pattern: &str = $text;
            $(#[doc = $doc])*
            pub fn $link($($slot: $kind),*) -> String {
                fill($pattern, &[$(&$slot),*])
            }
        )*
        /// All route patterns, for tests that walk them.
        pub const ALL: &[&str] = &[$($pattern),*];
        /// What each route is for, as it is written here: pattern and words.
        pub const WORDS: &[(&str, &str)] = &[$(($pattern, concat!($($doc),*))),*];
    };
}

routes! {
    /// The front door: leads to the pieces, or to sign-in.
    HOME = "/" => home();
    /// All pieces. POST makes one.
    PIECES = "/pieces" => pieces();
    /// A piece's own choices. POST saves them.
    PIECE = "/pieces/{piece}" => piece(piece: &str);
    /// The cells a piece selects: POST a grid of them.
    PIECE_CELLS = "/pieces/{piece}/cells" => piece_cells(piece: &str);
    /// What a piece carries over from earlier ones. POST carries a part over, lets one go, or chooses its spot checks.
    CARRIED = "/pieces/{piece}/carried" => carried(piece: &str);
    /// Coverage board.
    PLAN = "/pieces/{piece}/plan" => plan(piece: &str);
    /// POST which pass took the place of one that is to be run again.
    REPLACE = "/pieces/{piece}/plan/replace" => replace(piece: &str);
    /// POST why a cell did not run, or that it runs.
    DID_NOT_RUN = "/pieces/{piece}/plan/did-not-run" => did_not_run(piece: &str);
    /// What is missing, made into bench sessions.
    SESSIONS = "/pieces/{piece}/sessions" => sessions(piece: &str);
    /// POST what the steps of a session take.
    BENCH_COSTS = "/pieces/{piece}/sessions/times" => bench_costs(piece: &str);
    /// POST makes a rig's board.
    BOARDS = "/pieces/{piece}/sessions/boards" => boards(piece: &str);
    /// POST takes a board back.
    BOARD_BACK = "/pieces/{piece}/sessions/boards/{board}/take-back" => board_back(piece: &str, board: i64);
    /// A rig's board, opened by who has its address.
    BOARD = "/boards/{token}" => board(token: &str);
    /// Quoted numbers of a piece. POST adds one.
    QUOTES = "/pieces/{piece}/quotes" => quotes(piece: &str);
    /// One of them, to change. POST saves it.
    QUOTE = "/quotes/{quote}" => quote(quote: i64);
    /// POST takes it out.
    QUOTE_OUT = "/quotes/{quote}/take-out" => quote_out(quote: i64);
    /// Readings of a piece's parts. POST adds one.
    READINGS = "/pieces/{piece}/readings" => readings(piece: &str);
    /// The form for another one (`kind`, `tuning`).
    READING_NEW = "/pieces/{piece}/readings/new" => reading_new(piece: &str);
    /// One of them.
    READING = "/pieces/{piece}/readings/{reading}" => reading(piece: &str, reading: &str);
    /// What stands around its repeats, to change. POST saves it.
    READING_AROUND = "/pieces/{piece}/readings/{reading}/around" => reading_around(piece: &str, reading: &str);
    /// POST further repeats.
    READING_REPEATS = "/pieces/{piece}/readings/{reading}/repeats" => reading_repeats(piece: &str, reading: &str);
    /// POST a ruling on a repeat.
    READING_RULING = "/pieces/{piece}/readings/{reading}/ruling" => reading_ruling(piece: &str, reading: &str);
    /// POST a photo or a log that shows it.
    READING_PROOFS = "/pieces/{piece}/readings/{reading}/proofs" => reading_proofs(piece: &str, reading: &str);
    /// Such a file, as it came.
    PROOF = "/proofs/{proof}" => proof(proof: i64);
    /// The form that says that a log is a soak. POST keeps it.
    SOAK_NEW = "/pieces/{piece}/soaks/new/{log}" => soak_new(piece: &str, log: i64);
    /// What a soak shows.
    SOAK = "/pieces/{piece}/soaks/{soak}" => soak(piece: &str, soak: &str);
    /// POST puts its log back to the intake.
    SOAK_BACK = "/pieces/{piece}/soaks/{soak}/take-back" => soak_back(piece: &str, soak: &str);
    /// Kinds of reading. POST adds one.
    READING_KINDS = "/reading-kinds" => reading_kinds();
    /// One kind, to change. POST saves it.
    READING_KIND = "/reading-kinds/{kind}" => reading_kind(kind: i64);
    /// Embargo of a piece, and what its methods page says in the team's words. POST saves them.
    NOTES = "/pieces/{piece}/notes" => notes(piece: &str);
    /// POST an owner's word on the embargo.
    EMBARGO = "/pieces/{piece}/embargo" => embargo(piece: &str);
    /// Editions of a piece. POST freezes one.
    EDITIONS = "/pieces/{piece}/editions" => editions(piece: &str);
    /// One edition.
    EDITION = "/pieces/{piece}/editions/{edition}" => edition(piece: &str, edition: i64);
    /// Its methods page, HTML.
    EDITION_METHODS = "/pieces/{piece}/editions/{edition}/methods" => edition_methods(piece: &str, edition: i64);
    /// POST makes a link that opens the edition without a sign-in.
    EDITION_LINKS = "/pieces/{piece}/editions/{edition}/links" => edition_links(piece: &str, edition: i64);
    /// POST takes a link back.
    EDITION_LINK_BACK = "/pieces/{piece}/editions/{edition}/links/{link}/take-back" => edition_link_back(piece: &str, edition: i64, link: i64);
    /// An edition, opened by who has its address.
    HANDED = "/handed/{token}" => handed(token: &str);
    /// Its methods page, HTML.
    HANDED_METHODS = "/handed/{token}/methods" => handed_methods(token: &str);
    /// Captures on their way in.
    INTAKE = "/pieces/{piece}/intake" => intake(piece: &str);
    /// POST logs by a form, where there is no script.
    INTAKE_LOGS = "/pieces/{piece}/intake/logs" => intake_logs(piece: &str);
    /// Which cell each segment goes to: POST.
    ASSIGN = "/pieces/{piece}/intake/assign" => assign(piece: &str);
    /// POST which pass a waiting companion belongs to.
    PAIR = "/pieces/{piece}/intake/pair" => pair(piece: &str);
    /// POST when a log without a wall clock began.
    GIVE_START = "/pieces/{piece}/intake/start" => give_start(piece: &str);
    /// POST keys of passes that were made just now, to take them back.
    TAKE_BACK = "/pieces/{piece}/intake/take-back" => take_back(piece: &str);
    /// Queue of flagged passes. POST a ruling.
    REVIEW = "/pieces/{piece}/review" => review(piece: &str);
    /// The strips of a pass under review (`pass`, `from`, `to`, `width`): SVG.
    REVIEW_STRIP = "/pieces/{piece}/review/strip" => review_strip(piece: &str);
    /// POST another window for the pass under review.
    REVIEW_WINDOW = "/pieces/{piece}/review/window" => review_window(piece: &str);
    /// POST the team's own reasons.
    REVIEW_REASONS = "/pieces/{piece}/review/reasons" => review_reasons(piece: &str);
    /// Parts against a baseline.
    AGAINST = "/pieces/{piece}/against" => against(piece: &str);
    /// What one option of a setting costs, and what becomes of a lead with it.
    ACROSS = "/pieces/{piece}/against/settings" => across(piece: &str);
    /// A part at its tunings: watts against frame rate.
    PIECE_TUNING = "/pieces/{piece}/tuning" => piece_tuning(piece: &str);
    /// Delay against frame rate.
    LATENCY = "/pieces/{piece}/latency" => latency(piece: &str);
    /// What a frame costs, and for whom it is worth it.
    WORTH = "/pieces/{piece}/worth" => worth(piece: &str);
    /// A chart of a page of the piece alone, as a draft (`of` and the page's query; `theme`, `shape`, `form`): SVG or PNG.
    CHART_ALONE = "/pieces/{piece}/chart" => chart_alone(piece: &str);
    /// The charts that a piece keeps. POST keeps one.
    CHARTS = "/pieces/{piece}/charts" => charts(piece: &str);
    /// POST the team's own colour.
    CHART_LOOK = "/pieces/{piece}/charts/colour" => chart_look(piece: &str);
    /// A kept chart. POST changes its words and scenes.
    CHART = "/charts/{chart}" => chart(chart: i64);
    /// A kept chart as a picture (`theme`, `shape`, `form`, `save`): SVG or PNG.
    CHART_PICTURE = "/charts/{chart}/picture" => chart_picture(chart: i64);
    /// POST takes a kept chart out.
    CHART_OUT = "/charts/{chart}/take-out" => chart_out(chart: i64);
    /// The form for another kind of reader. POST adds one.
    READERS = "/pieces/{piece}/readers" => readers(piece: &str);
    /// A kind of reader. POST changes it.
    READER = "/readers/{reader}" => reader(reader: i64);
    /// POST takes a kind of reader out.
    READER_OUT = "/readers/{reader}/take-out" => reader_out(reader: i64);
    /// What a new noise prior would change. POST keeps it.
    NOISE_PRIOR = "/pieces/{piece}/noise-prior" => noise_prior(piece: &str);
    /// What a late change leaves to do. POST rules that passes are to be run again.
    OUTDATED = "/pieces/{piece}/outdated" => outdated(piece: &str);
    /// How the rigs of a piece agree.
    RIG_CHECK = "/pieces/{piece}/rigs" => rig_check(piece: &str);
    /// What a change of driver, build or rig base did.
    CHANGES = "/pieces/{piece}/changes" => changes(piece: &str);
    /// The text of a piece with its numbers. POST keeps a version.
    DRAFT = "/pieces/{piece}/draft" => draft(piece: &str);
    /// POST a text to check it without keeping it.
    DRAFT_CHECK = "/pieces/{piece}/draft/check" => draft_check(piece: &str);
    /// POST what a number of the text quotes, or that it is left alone.
    DRAFT_NUMBERS = "/pieces/{piece}/draft/numbers" => draft_numbers(piece: &str);
    /// The text with a footnote behind each number: Markdown.
    DRAFT_NOTES = "/pieces/{piece}/draft/notes" => draft_notes(piece: &str);
    /// The numbers of the text with what they quote: CSV.
    DRAFT_TABLE = "/pieces/{piece}/draft/table.csv" => draft_table(piece: &str);
    /// Ledger of figures. POST makes one.
    FIGURES = "/pieces/{piece}/figures" => figures(piece: &str);
    /// The exported bundle.
    PACK = "/pieces/{piece}/pack" => pack(piece: &str);
    /// The bundle itself.
    PACK_ZIP = "/pieces/{piece}/pack.zip" => pack_zip(piece: &str);
    /// One figure: why this number. POST another name, rounding or note.
    FIGURE = "/figures/{figure}" => figure(figure: &str);
    /// The form for a figure (`what`: what it is, as canonical JSON).
    FIGURE_NEW = "/pieces/{piece}/figures/new" => figure_new(piece: &str);
    /// POST the numbers of a table: makes a figure of each and proposes them.
    FIGURES_MANY = "/pieces/{piece}/figures/many" => figures_many(piece: &str);
    /// POST a step with figures of a piece: propose, agree or withdraw.
    FIGURE_STEPS = "/pieces/{piece}/figures/steps" => figure_steps(piece: &str);
    /// The second look of who works alone: the chart without the figure's value.
    FIGURE_BLIND = "/figures/{figure}/blind" => figure_blind(figure: &str);
    /// One pass.
    PASS = "/passes/{pass}" => pass(pass: &str);
    /// The strip of a pass's cell for a stretch of time (`from`, `to`, `width`): SVG.
    PASS_STRIP = "/passes/{pass}/strip" => pass_strip(pass: &str);
    /// The longest frame of a pass in a stretch of time (`from`, `to`): a sentence.
    PASS_FRAME = "/passes/{pass}/frame" => pass_frame(pass: &str);
    /// POST a ruling.
    PASS_RULING = "/passes/{pass}/ruling" => pass_ruling(pass: &str);
    /// POST another window.
    PASS_WINDOW = "/passes/{pass}/window" => pass_window(pass: &str);
    /// POST which stretch of its log a pass is; or that it is all of it again.
    PASS_CUT = "/passes/{pass}/cut" => pass_cut(pass: &str);
    /// POST a remark.
    PASS_REMARK = "/passes/{pass}/remark" => pass_remark(pass: &str);
    /// POST an answer below a remark; settle it, open it again.
    PASS_REMARK_STEP = "/passes/{pass}/remarks/{remark}" => pass_remark_step(pass: &str, remark: i64);
    /// POST where a companion stands.
    PASS_COMPANION = "/passes/{pass}/companions/{companion}" => pass_companion(pass: &str, companion: i64);
    /// A capture's bytes, as they came.
    CAPTURE = "/captures/{capture}" => capture(capture: i64);
    /// Where a log is cut into passes. POST the stretches; or puts them back.
    CUTS = "/logs/{log}/cuts" => cuts(log: i64);
    /// The strip of a log for a stretch of time (`from`, `to`, `width`): SVG.
    CUTS_STRIP = "/logs/{log}/strip" => cuts_strip(log: i64);
    /// POST a companion: each pass of the piece that ran beside it gets its stretch.
    CUT_BESIDE = "/pieces/{piece}/intake/beside" => cut_beside(piece: &str);
    /// First rows of a capture whose columns a person must name. POST the answer.
    LAYOUT = "/captures/{capture}/layout" => layout(capture: i64);
    /// How the team's kinds of log are read.
    LAYOUTS = "/layouts" => layouts();
    /// One of these layouts, with an example. POST another reading: first what would follow is shown, then it is done.
    LAYOUT_READ = "/layouts/{layout}" => layout_read(layout: i64);
    /// Which screens a piece runs, and how strict. POST keeps a choice.
    SCREENS = "/pieces/{piece}/screens" => screens(piece: &str);
    /// Rigs. POST makes one.
    RIGS = "/rigs" => rigs();
    /// One rig and its dated bases. POST changes it.
    RIG = "/rigs/{rig}" => rig(rig: i64);
    /// POST adds a base.
    BASES = "/rigs/{rig}/bases" => bases(rig: i64);
    /// A rig's page with this base to change. POST changes it.
    BASE = "/bases/{base}" => base(base: i64);
    /// Parts. POST makes one.
    PARTS = "/parts" => parts();
    /// One part: units, drivers, prices, tunings. POST changes it.
    PART = "/parts/{part}" => part(part: i64);
    /// POST adds a unit.
    UNITS = "/parts/{part}/units" => units(part: i64);
    /// A part's page with this unit to change. POST changes it.
    UNIT = "/units/{unit}" => unit(unit: i64);
    /// POST adds a driver.
    DRIVERS = "/parts/{part}/drivers" => drivers(part: i64);
    /// A part's page with this driver to change. POST changes it.
    DRIVER = "/drivers/{driver}" => driver(driver: i64);
    /// POST adds a price.
    PRICES = "/parts/{part}/prices" => prices(part: i64);
    /// A part's page with this price to change. POST changes it.
    PRICE = "/prices/{price}" => price(price: i64);
    /// POST adds a tuning.
    TUNINGS = "/parts/{part}/tunings" => tunings(part: i64);
    /// A part's page with this tuning to change. POST changes it.
    TUNING = "/tunings/{tuning}" => tuning(tuning: i64);
    /// Scenes and settings. POST makes a scene.
    SCENES = "/scenes" => scenes();
    /// One scene and its builds. POST changes it.
    SCENE = "/scenes/{scene}" => scene(scene: i64);
    /// POST adds a build.
    BUILDS = "/scenes/{scene}/builds" => builds(scene: i64);
    /// A scene's page with this build to change. POST changes it.
    BUILD = "/builds/{build}" => build(build: i64);
    /// POST makes a setting.
    SETTINGS = "/settings" => settings();
    /// The page of scenes with this setting to change. POST changes it.
    SETTING = "/settings/{setting}" => setting(setting: i64);
    /// Accounts, rig keys, invitations, audit trail.
    PEOPLE = "/people" => people();
    /// POST another role, or whether a person may sign in.
    PERSON = "/people/{person}" => person(person: i64);
    /// POST makes a one-time link.
    INVITATIONS = "/people/invitations" => invitations();
    /// POST takes a one-time link back.
    INVITATION_BACK = "/people/invitations/{invitation}/take-back" => invitation_back(invitation: i64);
    /// POST makes a rig key.
    KEYS = "/people/keys" => keys();
    /// POST takes a rig key back.
    KEY_BACK = "/people/keys/{key}/take-back" => key_back(key: i64);
    /// POST sets one's own password.
    PASSWORD = "/people/password" => password();
    /// Sign-in form and its target.
    SIGN_IN = "/sign-in" => sign_in();
    /// POST only.
    SIGN_OUT = "/sign-out" => sign_out();
    /// A one-time link that makes an account.
    INVITATION = "/invitations/{token}" => invitation(token: &str);
    /// Each part of the pages in each state.
    PATTERN = "/pattern" => pattern();
    /// A static file under its name with hash: see [`asset`].
    STATIC = "/static/{name}" => static_file(name: &str);
}

/// An address of a pass, seen from a piece (its key; empty: from none in particular).
pub fn in_piece(path: &str, piece: &str) -> String {
    with_query(path, &[("piece", piece)])
}

/// Key of the piece in whose context an address stands, by its path or its query; keys need no decoding.
pub fn piece_in(address: &str) -> Option<&str> {
    let (path, query) = address.split_once('?').unwrap_or((address, ""));
    let of_path = path.strip_prefix("/pieces/").and_then(|rest| rest.split('/').next());
    let of_query = || query.split('&').find_map(|pair| pair.strip_prefix("piece="));
    of_path.or_else(of_query).filter(|key| !key.is_empty())
}

/// The form that makes a figure of `what` (JSON).
pub fn new_figure(piece: &str, what: &str) -> String {
    with_query(&figure_new(piece), &[("what", what)])
}

/// The document of the API (OpenAPI).
pub const OPENAPI: &str = "/api/openapi.json";

/// The draft, looking at its nth number, from 1.
pub fn draft_at(piece: &str, n: usize) -> String {
    with_query(&draft(piece), &[("at", &n.to_string())])
}

/// An older version of the draft.
pub fn draft_version(piece: &str, number: i64) -> String {
    with_query(&draft(piece), &[("version", &number.to_string())])
}

/// Which rig a key is for: how a rig tries its key.
pub const KEY: &str = "/api/v1/key";

/// What changes, as a stream of server-sent events.
pub const LIVE: &str = "/api/v1/live";

/// POST lengths and digests of files: which of them need not be sent.
pub const UPLOADS: &str = "/api/v1/uploads";

/// PUT a log file's bytes to `{name}` (its file name): rigs with their key and the intake page use the same route.
pub const UPLOAD: &str = "/api/v1/uploads/{name}";

/// Address of an upload: see [`UPLOAD`].
pub fn upload(name: &str) -> String {
    fill(UPLOAD, &[&name])
}

/// Address of a static file, with the hash of its content in the name.
pub fn asset(name: &str) -> String {
    static_file(&crate::assets::hashed_name(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_piece_of_an_address_is_in_its_path_or_its_query() {
        assert_eq!(piece_in("/pieces/k3v9/plan"), Some("k3v9"));
        assert_eq!(piece_in("/passes/p4/ruling?from=1&piece=k3v9"), Some("k3v9"));
        for none in ["/pieces", "/pieces/", "/rigs/1", "/passes/p4?piece="] {
            assert_eq!(piece_in(none), None, "{none}");
        }
    }

    #[test]
    fn links_fill_the_patterns_of_the_router() {
        assert_eq!(pieces(), "/pieces");
        assert_eq!(plan("k3v9"), "/pieces/k3v9/plan");
        assert_eq!(rig(7), "/rigs/7");
        assert_eq!(api(&figure("f1")), "/api/v1/figures/f1");
    }

    /// RFC 3986, sections 2.1 and 2.3.
    #[test]
    fn what_stands_in_a_slot_cannot_leave_it() {
        assert_eq!(plan("../a b?c#d/é"), "/pieces/..%2Fa%20b%3Fc%23d%2F%C3%A9/plan");
        assert_eq!(with_query("/x", &[("q", "a&b"), ("none", ""), ("r", "1")]), "/x?q=a%26b&r=1");
    }

    #[test]
    fn patterns_are_distinct_and_balanced() {
        let mut seen = std::collections::BTreeSet::new();
        for pattern in ALL {
            assert!(pattern.starts_with('/'), "{pattern}");
            assert_eq!(pattern.matches('{').count(), pattern.matches('}').count(), "{pattern}");
            assert!(seen.insert(pattern), "{pattern} twice");
        }
    }
}
