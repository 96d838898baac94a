//! Scenes with their dated builds, and settings.

use weighhouse_web::pages::scenes::{self as pages, Build, SceneEntry, Setting};
use weighhouse_web::pages::{Scene, Scenes};
use weighhouse_web::paths;

use super::App;
use super::registers::{Kind, Open, Top, at};
use super::resources::Of;
use super::session::SignedIn;
use crate::store::SceneId;
use crate::store::registers::scenes::{BuildFields, SceneFields};
use crate::store::registers::settings::{self, SettingFields};
use crate::work::registers::scenes::{self, NewScene, SceneWithBuilds, percent};
use crate::work::registers::typed::{day_of, seconds_of_ns};
use crate::work::registers::{Entered, Entry};
use crate::work::{Refusal, Result};

/// Label of the register's entry in the frame.
const HERE: &str = "Scenes";

impl Kind for NewScene {
    type Page = Scenes;
    type Owner = Top;

    fn under(_: Top) {}

    async fn page(app: &App, who: &SignedIn, (): (), open: &Open) -> Result<Scenes> {
        list(app, who, open).await
    }

    fn place((): (), id: i64) -> String {
        paths::scene(id)
    }

    fn next((): ()) -> String {
        format!("{}#new-scene-game", paths::scenes())
    }
}

impl Kind for SettingFields {
    type Page = Scenes;
    type Owner = Top;

    fn under(_: Top) {}

    async fn page(app: &App, who: &SignedIn, (): (), open: &Open) -> Result<Scenes> {
        list(app, who, open).await
    }

    fn place((): (), _: i64) -> String {
        paths::scenes()
    }

    fn next((): ()) -> String {
        format!("{}#setting-name", paths::scenes())
    }
}

impl Kind for SceneFields {
    type Page = Scene;
    type Owner = Top;

    fn under(_: Top) {}

    async fn page(app: &App, who: &SignedIn, (): (), open: &Open) -> Result<Scene> {
        page(app, who, SceneId(open.row().unwrap_or(0)), open).await
    }

    fn place((): (), id: i64) -> String {
        paths::scene(id)
    }

    fn next((): ()) -> String {
        paths::scenes()
    }
}

impl Kind for BuildFields {
    type Page = Scene;
    type Owner = Of<Entered<SceneFields>>;

    fn under(Of(scene): Self::Owner) -> SceneId {
        SceneId(scene.id)
    }

    async fn page(app: &App, who: &SignedIn, scene: SceneId, open: &Open) -> Result<Scene> {
        page(app, who, scene, open).await
    }

    fn place(scene: SceneId, _: i64) -> String {
        paths::scene(scene.0)
    }

    fn next(scene: SceneId) -> String {
        format!("{}#build-name", paths::scene(scene.0))
    }
}

/// The page of all scenes and settings.
async fn list(app: &App, who: &SignedIn, open: &Open) -> Result<Scenes> {
    let frame = who.frame(HERE);
    let (scenes, settings) = scenes::all(&app.store).await?;
    let today = day_of(app.clock.now_us());
    let usual = vec![("window_start_s", "0".to_owned()), ("build_dated", today)];
    let usual_setting = vec![("width_px", "3840".to_owned()), ("height_px", "2160".to_owned())];
    let (action, sending) =
        open.sends(SettingFields::THING, paths::settings(), paths::setting, paths::scenes());
    let new = pages::new_scene(&open.filled(NewScene::THING, usual));
    Ok(Scenes {
        frame,
        scenes: scenes.into_iter().map(entry).collect(),
        settings: settings.into_iter().map(setting).collect(),
        new,
        setting: pages::setting(action, sending, &open.filled(SettingFields::THING, usual_setting)),
    })
}

/// The page of one scene.
async fn page(app: &App, who: &SignedIn, id: SceneId, open: &Open) -> Result<Scene> {
    let frame = who.frame(HERE);
    let (scenes, _) = scenes::all(&app.store).await?;
    let found = scenes.into_iter().find(|found| found.scene.id == id);
    let found = found.ok_or_else(|| Refusal::missing(SceneFields::THING, id))?;
    let usual = vec![("dated", day_of(app.clock.now_us()))];
    let (action, sending) =
        open.sends(BuildFields::THING, paths::builds(id.0), paths::build, paths::scene(id.0));
    let own = open.filled_own(SceneFields::THING, found.scene.fields.texts());
    Ok(Scene {
        frame,
        build: pages::build(action, sending, &open.filled(BuildFields::THING, usual)),
        edit: pages::edit_scene(id.0, found.scene.version, &own),
        scene: entry(found),
    })
}

fn entry(of: SceneWithBuilds) -> SceneEntry {
    let SceneWithBuilds { scene, builds } = of;
    let f = scene.fields;
    SceneEntry {
        id: scene.id.0,
        game: f.game,
        passage: f.passage,
        kind: f.kind.as_str().to_owned(),
        start_cue: f.start_cue,
        window_start_s: seconds_of_ns(f.window_start_ns),
        window_end_s: f.window_end_ns.map(seconds_of_ns),
        tolerance_percent: f.tolerance_permille.map(percent),
        note: f.note,
        builds: builds
            .into_iter()
            .map(|row| Build {
                id: row.id.0,
                name: row.fields.name,
                dated: at(row.fields.dated_us),
                version: row.version,
            })
            .collect(),
        version: scene.version,
    }
}

fn setting(row: settings::Setting) -> Setting {
    let f = row.fields;
    Setting {
        id: row.id.0,
        name: f.name,
        width_px: f.width_px,
        height_px: f.height_px,
        preset: f.preset,
        ray_tracing: f.ray_tracing,
        upscaling: f.upscaling,
        generated: f.generated,
        version: row.version,
    }
}
