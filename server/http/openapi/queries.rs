//! What the query of an address may say, for each GET that reads one.

use serde_json::{Value, json};
use weighhouse_measure::screens::FlagKind;
use weighhouse_web::charts::{Shape, Theme};
use weighhouse_web::pages::WIDTHS;
use weighhouse_web::paths as p;

/// A name, and what it says.
type Words = (&'static str, &'static str);

const PIECE: Words = ("piece", "Key of the piece in whose context the page stands.");
const MEASURE: Words = ("measure", "Identifier of the measure; without it the piece's first one.");
const SETTING: Words = ("setting", "Row id of the setting; without it the first one with values.");
const BASELINE: Words = ("baseline", "Row id of the tuning that the others are held against.");
const WITH: Words = ("with", "Row id of a tuning that is compared; once for each.");
const STEP: Words = ("step", "The option whose cost is asked for, as the page's choice names it.");
const PART: Words = ("part", "Row id of the part.");
const SCENE: Words = ("scene", "Row id of the scene.");
const MARKET: Words = ("market", "Country and currency of the prices, as the page's choice names it.");
const HOURS: Words = ("hours", "Hours of play a week.");
const KWH: Words = ("kwh", "Price of a kilowatt hour, in the currency of the market.");
const FROM: Words = ("from", "Start of the stretch, seconds from the first frame.");
const TO: Words = ("to", "Its end, seconds from the first frame.");
const WIDTH: Words = ("width", "Width of the picture in pixels, 320 to 4000.");
const THEME: Words = ("theme", "Colours of the picture.");
const SHAPE: Words = ("shape", "Shape of the picture.");
const FORM: Words = ("form", "'svg', or the width of a PNG in pixels.");
const SAVE: Words = ("save", "Anything: the picture comes as a file to be saved.");

/// Patterns of routes with what the query of their GET may say.
const QUERIES: &[(&str, &[Words])] = &[
    (p::SIGN_IN, &[("next", "Address to go to after signing in.")]),
    (p::PLAN, &[("show", "'low': the piece's low in place of averages.")]),
    (
        p::INTAKE,
        &[
            ("segment", "Row id of a log that the choices are for; once for each."),
            ("pattern", "Pattern of file names that the choices are read from."),
            ("tuning", "Row id of the tuning; 'tuning-7' says it of log 7 alone."),
            ("scene", "Row id of the scene; 'scene-7' says it of log 7 alone."),
            ("setting", "Row id of the setting; 'setting-7' says it of log 7 alone."),
            ("base", "Row id of the rig's base."),
            ("unit", "Row id of the unit."),
            ("driver", "Row id of the driver."),
            ("build", "Row id of the build."),
            ("add", "Anything: cells that the piece does not select are added to it."),
            ("twice", "Anything: logs whose frames are there already too."),
        ],
    ),
    (p::AGAINST, &[MEASURE, SETTING, BASELINE, WITH]),
    (p::PIECE_TUNING, &[PART, SETTING, SCENE]),
    (p::ACROSS, &[MEASURE, BASELINE, WITH, STEP]),
    (p::WORTH, &[MEASURE, SETTING, BASELINE, WITH, MARKET, HOURS, KWH]),
    (p::CHANGES, &[MEASURE]),
    (p::RIG_CHECK, &[("among", "'rigs', or 'units' of a part within one rig; without it rigs."), MEASURE]),
    (
        p::CHART_ALONE,
        &[
            ("of", "Which chart."),
            MEASURE,
            SETTING,
            BASELINE,
            WITH,
            STEP,
            PART,
            SCENE,
            MARKET,
            HOURS,
            KWH,
            ("cell", "Row id of a cell whose frame times are shown; once for each."),
            ("kind", "Row id of the kind of reading that is shown."),
            THEME,
            SHAPE,
            FORM,
            SAVE,
        ],
    ),
    (p::CHART_PICTURE, &[THEME, SHAPE, FORM, SAVE]),
    (
        p::DRAFT,
        &[
            ("at", "Place of the number that is looked at, from 1."),
            ("version", "Version of the text; without it the latest."),
        ],
    ),
    (p::FIGURES, &[("tick", "Section that comes ticked: 'lapsed', 'waiting' or 'others'.")]),
    (p::FIGURE_NEW, &[("what", "What the figure would be of, as JSON.")]),
    (p::REVIEW, &[("pass", "Key of the pass that is up."), FROM, TO, WIDTH]),
    (p::REVIEW_STRIP, &[("pass", "Key of the pass that is up."), FROM, TO, WIDTH]),
    (p::SCREENS, &[]),
    (p::PASS, &[PIECE]),
    (p::PASS_STRIP, &[FROM, TO, WIDTH]),
    (p::PASS_FRAME, &[FROM, TO]),
    (p::CUTS, &[PIECE]),
    (p::CUTS_STRIP, &[FROM, TO, WIDTH]),
    (p::LAYOUT, &[PIECE]),
    (
        p::READING_NEW,
        &[
            ("kind", "Row id of what is read."),
            ("tuning", "Row id of the tuning."),
            ("unit", "Row id of the unit."),
            ("driver", "Row id of the driver."),
            ("rig", "Row id of the rig."),
            ("at", "When, as local date and time."),
            ("repeats", "Values with blanks between them."),
            ("background", "The same with the part off."),
            ("ambient_c", "Ambient temperature, degrees Celsius."),
            ("part_c", "Temperature of the part, degrees Celsius."),
            ("fan_rpm", "Speed of its fans, turns a minute."),
            ("note", "In words."),
        ],
    ),
    (
        p::PACK_ZIP,
        &[
            ("captures", "Anything: the captures too, and what is needed to compute all anew."),
            ("serials", "Anything: serial numbers of units beside them."),
            ("names", "Anything: names in logs that look like folders, users or serial numbers as they are."),
        ],
    ),
    (p::PEOPLE, &[("before", "Audit number: entries of the trail before it.")]),
];

/// The parameters of a route's GET; none where it reads no query.
pub(super) fn of(pattern: &str) -> Vec<Value> {
    let Some((_, words)) = QUERIES.iter().find(|(of, _)| *of == pattern) else { return Vec::new() };
    let mut all: Vec<Value> = words.iter().map(|(name, says)| parameter(name, says)).collect();
    if pattern == p::SCREENS {
        let says =
            |kind: FlagKind| format!("The screen '{}' as it would be: see the page's choices.", kind.name());
        all.extend(FlagKind::ALL.iter().map(|kind| parameter(kind.key(), &says(*kind))));
    }
    all
}

fn parameter(name: &str, says: &str) -> Value {
    let one = match name {
        "theme" => json!({ "type": "string", "enum": Theme::ALL.map(|(name, _)| name) }),
        "shape" => json!({ "type": "string", "enum": Shape::ALL.map(|(name, _)| name) }),
        "form" => {
            let forms = std::iter::once("svg".to_owned()).chain(WIDTHS.iter().map(u32::to_string));
            json!({ "type": "string", "enum": forms.collect::<Vec<_>>() })
        }
        "of" => json!({ "type": "string", "enum": kinds() }),
        "width" | "before" | "version" => json!({ "type": "integer" }),
        _ => json!({ "type": "string" }),
    };
    let several = says.ends_with("once for each.");
    let schema = if several { json!({ "type": "array", "items": one }) } else { one };
    json!({ "name": name, "in": "query", "required": false, "description": says, "schema": schema })
}

fn kinds() -> Vec<&'static str> {
    crate::store::charts::ChartKind::ALL.iter().map(|kind| kind.as_str()).collect()
}
