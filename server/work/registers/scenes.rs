//! Scenes with their builds, and settings.

use weighhouse_measure::compare::SceneKind;

use super::typed::{day_of, number, seconds_of_ns};
use super::{Add, Edit, Entered, Entry, Texts, Typed};
use crate::store::registers::scenes::{self, Build, BuildFields, Scene, SceneFields};
use crate::store::registers::settings::{self, Setting, SettingFields};
use crate::store::{BuildId, Db, SceneId, SettingId, Store, StoreError, Tx};
use crate::work::Result;

/// Pixels beyond which a text is taken for a slip.
const MOST_PX: i64 = 32_768;

/// A new scene, with its game's present build where it was typed too.
#[derive(Clone, Debug)]
pub struct NewScene {
    scene: SceneFields,
    build: Option<BuildFields>,
}

/// A scene with its builds, newest first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SceneWithBuilds {
    /// The scene.
    pub scene: Scene,
    /// Its builds.
    pub builds: Vec<Build>,
}

/// All scenes by game and passage, and all settings by name, in one view of the store.
///
/// # Errors
/// When the store fails.
pub async fn all(store: &Store) -> Result<(Vec<SceneWithBuilds>, Vec<Setting>)> {
    let mut db = store.read().await?;
    let builds = scenes::builds(&mut db).await?;
    let with_builds = |scene: Scene| SceneWithBuilds {
        builds: builds.iter().filter(|build| build.fields.scene_id == scene.id).cloned().collect(),
        scene,
    };
    let scenes = scenes::all(&mut db).await?.into_iter().map(with_builds).collect();
    Ok((scenes, settings::all(&mut db).await?))
}

fn scene_fields(typed: &mut Typed<'_>) -> SceneFields {
    let window_start_ns = typed.seconds("window_start_s").unwrap_or(0);
    let window_end_ns = typed.seconds("window_end_s");
    if window_end_ns.is_some_and(|end_ns| end_ns <= window_start_ns) {
        typed.wrong(
            "window_end_s",
            "The window must end after it starts; leave the end empty for the whole pass.",
        );
    }
    let tolerance = typed.text("tolerance_percent");
    SceneFields {
        game: typed.name("game", "The game's name"),
        passage: typed.name("passage", "The passage's name"),
        kind: kind(typed),
        start_cue: typed.free("start_cue"),
        window_start_ns,
        window_end_ns,
        tolerance_permille: (!tolerance.is_empty()).then(|| permille(typed, tolerance)),
        note: typed.free("note"),
    }
}

/// How a scene is driven.
fn kind(typed: &mut Typed<'_>) -> SceneKind {
    let text = typed.text("kind");
    if text.is_empty() {
        return SceneKind::BuiltIn;
    }
    SceneKind::parse(text).unwrap_or_else(|| {
        let words = SceneKind::ALL.map(SceneKind::as_str).join(", ");
        typed.wrong("kind", format!("'{text}' is none of: {words}."));
        SceneKind::BuiltIn
    })
}

/// Per cent with at most one decimal place as tenths of a per cent.
fn permille(typed: &mut Typed<'_>, text: &str) -> i64 {
    let (whole, tenth) = text.split_once('.').unwrap_or((text, "0"));
    let digits = |text: &str, most: usize| {
        (1..=most).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit())
    };
    let read =
        if digits(whole, 3) && digits(tenth, 1) { format!("{whole}{tenth}").parse().ok() } else { None };
    read.filter(|permille| (1..=1000).contains(permille)).unwrap_or_else(|| {
        let says = format!(
            "'{text}' is not a tolerance; write per cent from 0.1 to 100, with at most one decimal place."
        );
        typed.wrong("tolerance_percent", says);
        0
    })
}

/// Tenths of a per cent as per cent.
pub fn percent(permille: i64) -> String {
    if permille % 10 == 0 {
        (permille / 10).to_string()
    } else {
        format!("{}.{}", permille / 10, permille % 10)
    }
}

impl Entry for NewScene {
    const THING: &'static str = "scene";
    type Of = ();

    fn read((): (), mut typed: Typed<'_>) -> Result<Self> {
        let scene = scene_fields(&mut typed);
        // The scene's id is filled in when it has one.
        let build = (!typed.text("build").is_empty()).then(|| BuildFields {
            scene_id: SceneId(0),
            name: typed.name("build", "The build's name"),
            dated_us: typed.day("build_dated"),
        });
        typed.done()?;
        Ok(NewScene { scene, build })
    }

    fn texts(&self) -> Texts {
        let mut texts = self.scene.texts();
        if let Some(build) = &self.build {
            texts.extend([("build", build.name.clone()), ("build_dated", day_of(build.dated_us))]);
        }
        texts
    }

    fn called(&self) -> String {
        self.scene.called()
    }
}

impl Add for NewScene {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        let scene_id = scenes::add(tx, &self.scene).await?;
        if let Some(build) = self.build {
            scenes::add_build(tx, &BuildFields { scene_id, ..build }).await?;
        }
        Ok(scene_id.0)
    }
}

impl Entry for SceneFields {
    const THING: &'static str = "scene";
    type Of = ();

    fn read((): (), mut typed: Typed<'_>) -> Result<Self> {
        let fields = scene_fields(&mut typed);
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![
            ("game", self.game.clone()),
            ("passage", self.passage.clone()),
            ("kind", self.kind.as_str().to_owned()),
            ("start_cue", self.start_cue.clone()),
            ("window_start_s", seconds_of_ns(self.window_start_ns)),
            ("window_end_s", self.window_end_ns.map_or_else(String::new, seconds_of_ns)),
            ("tolerance_percent", self.tolerance_permille.map_or_else(String::new, percent)),
            ("note", self.note.clone()),
        ]
    }

    fn called(&self) -> String {
        format!("{}, {}", self.game, self.passage)
    }
}

impl Edit for SceneFields {
    fn of(&self) {}

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = scenes::by_id(db, SceneId(id)).await?;
        Ok(row.map(|row| Entered { id, entry: row.fields, version: row.version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        Ok(scenes::edit(tx, SceneId(id), version, &self).await?)
    }
}

impl Entry for BuildFields {
    const THING: &'static str = "build";
    type Of = SceneId;

    fn read(scene_id: SceneId, mut typed: Typed<'_>) -> Result<Self> {
        let name = typed.name("name", "The build's name");
        let fields = BuildFields { scene_id, name, dated_us: typed.day("dated") };
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![("name", self.name.clone()), ("dated", day_of(self.dated_us))]
    }

    fn called(&self) -> String {
        format!("Build {}", self.name)
    }
}

impl Add for BuildFields {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        Ok(scenes::add_build(tx, &self).await?.0)
    }
}

impl Edit for BuildFields {
    fn of(&self) -> SceneId {
        self.scene_id
    }

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = scenes::builds(db).await?.into_iter().find(|row| row.id.0 == id);
        Ok(row.map(|row| Entered { id, entry: row.fields, version: row.version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        Ok(scenes::edit_build(tx, BuildId(id), version, &self).await?)
    }
}

impl Entry for SettingFields {
    const THING: &'static str = "setting";
    type Of = ();

    fn read((): (), mut typed: Typed<'_>) -> Result<Self> {
        let fields = SettingFields {
            name: typed.name("name", "The setting's name"),
            width_px: pixels(&mut typed, "width_px"),
            height_px: pixels(&mut typed, "height_px"),
            preset: typed.free("preset"),
            ray_tracing: typed.free("ray_tracing"),
            upscaling: typed.free("upscaling"),
            generated: typed.whole("generated", "shown frames for each rendered one", 1..=4).unwrap_or(1),
        };
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![
            ("name", self.name.clone()),
            ("width_px", number(Some(self.width_px))),
            ("height_px", number(Some(self.height_px))),
            ("preset", self.preset.clone()),
            ("ray_tracing", self.ray_tracing.clone()),
            ("upscaling", self.upscaling.clone()),
            ("generated", number(Some(self.generated))),
        ]
    }

    fn called(&self) -> String {
        format!("Setting {}", self.name)
    }
}

fn pixels(typed: &mut Typed<'_>, field: &'static str) -> i64 {
    if typed.text(field).is_empty() {
        typed.wrong(field, "The resolution is missing; write its pixels, such as 3840 by 2160.");
    }
    typed.whole(field, "pixels", 1..=MOST_PX).unwrap_or(1)
}

impl Add for SettingFields {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        Ok(settings::add(tx, &self).await?.0)
    }
}

impl Edit for SettingFields {
    fn of(&self) {}

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = settings::by_id(db, SettingId(id)).await?;
        Ok(row.map(|row| Entered { id, entry: row.fields, version: row.version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        Ok(settings::edit(tx, SettingId(id), version, &self).await?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::Error;

    fn scene(pairs: &[(&str, &'static str)]) -> Result<SceneFields> {
        SceneFields::read(
            (),
            Typed::new(&|name| pairs.iter().find(|(field, _)| *field == name).map_or("x", |(_, text)| text)),
        )
    }

    #[test]
    fn a_window_and_a_tolerance_are_kept_as_whole_numbers_and_written_back() {
        let usual = [
            ("kind", "by hand"),
            ("window_start_s", "0.1"),
            ("window_end_s", "60.123456789"),
            ("tolerance_percent", "2.5"),
        ];
        let read = scene(&usual).unwrap();
        assert_eq!(read.window_start_ns, 100_000_000);
        assert_eq!(read.window_end_ns, Some(60_123_456_789));
        assert_eq!(read.tolerance_permille, Some(25));
        for (field, text) in usual {
            assert!(read.texts().contains(&(field, text.to_owned())), "{field}");
        }
        assert_eq!(percent(20), "2");
    }

    #[test]
    fn every_wrong_field_is_named_at_once() {
        let wrong = [
            ("game", ""),
            ("kind", "by foot"),
            ("window_start_s", "5"),
            ("window_end_s", "5"),
            ("tolerance_percent", "2.55"),
        ];
        let Err(Error::Refused(refusal)) = scene(&wrong) else { panic!("read") };
        for field in ["game", "kind", "window_end_s", "tolerance_percent"] {
            assert!(!refusal.wrong(field).is_empty(), "{field}");
        }
        for text in ["0", "100.1", "-1", "2,5", "2.", ".5", "1e1"] {
            let of =
                [("kind", ""), ("window_start_s", ""), ("window_end_s", ""), ("tolerance_percent", text)];
            assert!(scene(&of).is_err(), "{text}");
        }
    }
}
