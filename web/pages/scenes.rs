//! Scenes and settings: all of them, and one scene with its dated builds.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::form::DATED;
use super::{Filled, Form, Frame, How, Page, Sending};
use crate::{format, paths};

/// All scenes and settings, and the forms for another one of each.
#[derive(Template, Serialize)]
#[template(path = "scenes.html")]
pub struct Scenes {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// By game and passage.
    pub scenes: Vec<SceneEntry>,
    /// By name.
    pub settings: Vec<Setting>,
    /// The form for another scene.
    #[serde(skip)]
    pub new: Form,
    /// The form for a setting: another one, or the one that is being changed.
    #[serde(skip)]
    pub setting: Form,
}

/// One scene.
#[derive(Template, Serialize)]
#[template(path = "scene.html")]
pub struct Scene {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// The scene.
    pub scene: SceneEntry,
    /// The form for a build: another one, or the one that is being changed.
    #[serde(skip)]
    pub build: Form,
    /// The form for the scene itself.
    #[serde(skip)]
    pub edit: Form,
}

/// A scene with its builds.
#[derive(Clone, Debug, Serialize)]
pub struct SceneEntry {
    /// Row id.
    pub id: i64,
    /// The game.
    pub game: String,
    /// The passage.
    pub passage: String,
    /// `built-in`, `replay` or `by hand`.
    pub kind: String,
    /// When to start the log.
    pub start_cue: String,
    /// Start of the standard window in a pass, seconds as exact decimal text.
    pub window_start_s: String,
    /// Its end; none: to the pass's end.
    pub window_end_s: Option<String>,
    /// How far a window's length may differ before it is told, per cent as decimal text; none: the usual.
    pub tolerance_percent: Option<String>,
    /// Anything else.
    pub note: String,
    /// Newest first.
    pub builds: Vec<Build>,
    /// For stale forms.
    pub version: i64,
}

/// A game's dated build.
#[derive(Clone, Debug, Serialize)]
pub struct Build {
    /// Row id.
    pub id: i64,
    /// Name or number.
    pub name: String,
    /// When it came out.
    pub dated: Timestamp,
    /// For stale forms.
    pub version: i64,
}

/// A setting.
#[derive(Clone, Debug, Serialize)]
pub struct Setting {
    /// Row id.
    pub id: i64,
    /// Name.
    pub name: String,
    /// Picture width, pixels.
    pub width_px: i64,
    /// Picture height, pixels.
    pub height_px: i64,
    /// Quality preset.
    pub preset: String,
    /// Ray tracing; empty: off.
    pub ray_tracing: String,
    /// Upscaling; empty: native.
    pub upscaling: String,
    /// Shown frames for each rendered one.
    pub generated: i64,
    /// For stale forms.
    pub version: i64,
}

impl SceneEntry {
    fn name(&self) -> String {
        format!("{}, {}", self.game, self.passage)
    }

    fn window(&self) -> String {
        match (&self.window_end_s, self.window_start_s.as_str()) {
            (Some(end), start) => format::text_in(&format!("{start} to {end}"), "s"),
            (None, "0") => "the whole pass".to_owned(),
            (None, start) => format!("from {} on", format::text_in(start, "s")),
        }
    }

    fn tolerance(&self) -> String {
        match (&self.tolerance_percent, self.kind.as_str()) {
            (Some(percent), _) => format!("{percent}%"),
            (None, "by hand") => "10% (usual)".to_owned(),
            (None, _) => "2% (usual)".to_owned(),
        }
    }

    fn newest_build(&self) -> &str {
        self.builds.first().map_or("", |build| &build.name)
    }
}

impl Build {
    fn since(&self) -> String {
        format::day(self.dated, "UTC")
    }
}

impl Setting {
    fn resolution(&self) -> String {
        format!("{} × {}", self.width_px, self.height_px)
    }

    fn or_word<'a>(text: &'a str, word: &'a str) -> &'a str {
        if text.is_empty() { word } else { text }
    }

    fn frames(&self) -> String {
        if self.generated == 1 {
            "none".to_owned()
        } else {
            format!("{} shown for each rendered", self.generated)
        }
    }
}

const KINDS: [(&str, &str); 3] =
    [("built-in", "built-in: the game's own run"), ("replay", "replay"), ("by hand", "by hand")];

fn ask_scene(form: Form) -> Form {
    form.line("game", "Game", "")
        .required()
        .line("passage", "Passage", "The stretch that is run each time")
        .required()
        .ask("kind", "Kind", "", How::OneOf(KINDS.to_vec()))
        .line("start_cue", "Start cue", "When to start the log")
        .later()
        .line("window_start_s", "Window starts at, s", "Seconds from a pass's first frame, such as 2.5")
        .later()
        .line("window_end_s", "Window ends at, s", "Empty: to the pass's end")
        .later()
        .line("tolerance_percent", "Tolerance of its length, %", "Empty: 2, played by hand 10")
        .later()
}

/// The form for a new scene with its game's present build.
pub fn new_scene(filled: &Filled) -> Form {
    ask_scene(Form::new("new-scene", "scene", paths::scenes(), Sending::Add))
        .line("build", "Build of the game", "Its name or number; passes need one")
        .ask("build_dated", "Build came out on", DATED, How::Day)
        .line("note", "Note", "")
        .later()
        .filled(filled)
}

/// The form for the scene itself.
pub fn edit_scene(id: i64, version: i64, filled: &Filled) -> Form {
    ask_scene(Form::new("scene", "scene", paths::scene(id), Sending::Edit { version, back: None }))
        .line("note", "Note", "")
        .later()
        .filled(filled)
}

/// The form for a build.
pub fn build(action: String, sending: Sending, filled: &Filled) -> Form {
    Form::new("build", "build", action, sending)
        .line("name", "Name or number", "")
        .required()
        .ask("dated", "Came out on", DATED, How::Day)
        .required()
        .filled(filled)
}

/// The form for a setting.
pub fn setting(action: String, sending: Sending, filled: &Filled) -> Form {
    const FRAMES: [(&str, &str); 4] =
        [("1", "none"), ("2", "2 shown for each rendered"), ("3", "3 shown"), ("4", "4 shown")];
    Form::new("setting", "setting", action, sending)
        .line("name", "Name", "As charts say it, such as '2160p native'")
        .required()
        .ask("width_px", "Width, pixels", "", How::Whole)
        .required()
        .ask("height_px", "Height, pixels", "", How::Whole)
        .required()
        .line("preset", "Preset", "Quality, as the game calls it")
        .line("ray_tracing", "Ray tracing", "Empty: off")
        .line("upscaling", "Upscaling", "From which resolution; empty: native")
        .ask("generated", "Generated frames", "", How::OneOf(FRAMES.to_vec()))
        .filled(filled)
}

impl Page for Scenes {
    fn title(&self) -> String {
        "Scenes".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |role, scenes, settings| Scenes {
            frame: Frame::signed_in("Maren Oake", role, "Scenes"),
            scenes,
            settings,
            new: new_scene(&Filled::default()),
            setting: setting(paths::settings(), Sending::Add, &Filled::default()),
        };
        let setting_of = |id, name: &str, upscaling: &str, generated| Setting {
            id,
            name: name.into(),
            width_px: 3840,
            height_px: 2160,
            preset: "high".into(),
            ray_tracing: String::new(),
            upscaling: upscaling.into(),
            generated,
            version: 1,
        };
        let settings =
            vec![setting_of(1, "2160p native", "", 1), setting_of(2, "2160p upscaled", "from 1080p", 2)];
        let by_hand = SceneEntry {
            id: 2,
            game: "Driftglass".into(),
            passage: "arena".into(),
            kind: "by hand".into(),
            window_start_s: "2.5".into(),
            window_end_s: None,
            tolerance_percent: None,
            builds: vec![],
            ..sample()
        };
        let error = (
            "window_end_s".to_owned(),
            "'6O' is not a time in seconds; write digits with a point.".to_owned(),
        );
        let refused =
            Filled { texts: vec![("window_end_s".into(), "6O".into())], errors: vec![error], focus: true };
        let change = Sending::Edit { version: 2, back: Some(paths::scenes()) };
        let editing = setting(paths::setting(1), change, &Filled { focus: true, ..Filled::default() });
        vec![
            page("owner", vec![], vec![]),
            page("member", vec![sample(), by_hand], settings.clone()),
            page("guest", vec![sample()], vec![]),
            Scenes { new: new_scene(&refused), ..page("owner", vec![sample()], settings.clone()) },
            Scenes { setting: editing, ..page("owner", vec![], settings) },
        ]
    }
}

fn sample() -> SceneEntry {
    let dated = Timestamp::from_second(1_772_366_400).unwrap_or_default();
    SceneEntry {
        id: 1,
        game: "Vellum Rally".into(),
        passage: "hairpin".into(),
        kind: "replay".into(),
        start_cue: "at the flag".into(),
        window_start_s: "0".into(),
        window_end_s: Some("60.5".into()),
        tolerance_percent: Some("2.5".into()),
        note: "Rain off".into(),
        builds: vec![Build { id: 1, name: "1.0.3".into(), dated, version: 1 }],
        version: 1,
    }
}

impl Page for Scene {
    fn title(&self) -> String {
        self.scene.name()
    }

    fn samples() -> Vec<Self> {
        let none = Filled::default();
        let page = |role, scene| Scene {
            frame: Frame::signed_in("Maren Oake", role, "Scenes"),
            scene,
            build: build(paths::builds(1), Sending::Add, &none),
            edit: edit_scene(1, 1, &none),
        };
        let change = Sending::Edit { version: 2, back: Some(paths::scene(1)) };
        let editing = build(paths::build(1), change, &Filled { focus: true, ..Filled::default() });
        vec![
            page("owner", sample()),
            page(
                "guest",
                SceneEntry {
                    builds: vec![],
                    start_cue: String::new(),
                    tolerance_percent: None,
                    note: String::new(),
                    ..sample()
                },
            ),
            page("member", SceneEntry { builds: vec![], ..sample() }),
            Scene { build: editing, ..page("member", sample()) },
        ]
    }
}
