//! The form that makes passes: as it was sent, as it is shown, and what it asks for.

use std::collections::{BTreeMap, HashMap};

use weighhouse_web::format;
use weighhouse_web::pages::{Assignment, Field, Group, Select};

use super::piece_frame::at;
use super::sent::Sent;
use crate::store::{BuildId, DriverId, RigBaseId, SceneId, SegmentId, SettingId, TuningId, UnitId};
use crate::work::intake::Choices;
use crate::work::intake::plan::{Chosen, Own};
use crate::work::pattern::Pattern;
use crate::work::{Refusal, Result};

/// Fields beside the ticked logs.
const FIELDS: [&str; 10] =
    ["pattern", "tuning", "scene", "setting", "base", "unit", "driver", "build", "add", "twice"];

/// What can be said of one log alone, as `scene-7` for the log segment 7.
const OWN: [&str; 3] = ["tuning", "scene", "setting"];

/// Heading of what the piece selects.
const IN_PIECE: &str = "In this piece";

/// The form as it was sent, or empty.
#[derive(Clone, Debug, Default)]
pub(super) struct Form {
    values: HashMap<&'static str, String>,
    /// What is said of single logs, in the order of [`OWN`]; empty: nothing.
    own: BTreeMap<SegmentId, [String; 3]>,
    /// Segments that are ticked.
    pub(super) ticked: Vec<SegmentId>,
    /// Why it was refused: of the pattern, of all.
    pub(super) wrong: (String, String),
}

impl Form {
    /// From the query of an address: a look at what would be made.
    pub(super) fn of_query(query: &str) -> Self {
        Self::of_sent(&Sent::of_query(query))
    }

    /// From a form.
    pub(super) fn of_sent(sent: &Sent) -> Self {
        let mut own: BTreeMap<SegmentId, [String; 3]> = BTreeMap::new();
        for (name, text) in sent.pairs().iter().filter(|(_, text)| !text.trim().is_empty()) {
            let Some((field, segment)) = name.split_once('-') else { continue };
            let at = OWN.iter().position(|own| *own == field);
            if let (Some(at), Ok(segment)) = (at, segment.parse()) {
                own.entry(SegmentId(segment)).or_default()[at] = text.trim().to_owned();
            }
        }
        Self {
            values: FIELDS.iter().map(|name| (*name, sent.text(name).to_owned())).collect(),
            own,
            ticked: sent.all("segment").filter_map(|id| id.parse().ok().map(SegmentId)).collect(),
            wrong: Default::default(),
        }
    }

    /// Whether it asks for anything at all.
    pub(super) fn is_empty(&self) -> bool {
        self.ticked.is_empty() && self.own.is_empty() && self.values.values().all(String::is_empty)
    }

    /// What is said of one log, in the order of the selects in [`Assignment::own`].
    pub(super) fn own(&self, segment: SegmentId) -> [String; 3] {
        self.own.get(&segment).cloned().unwrap_or_default()
    }

    /// Fills in a pattern, where there is one to offer.
    pub(super) fn offer(&mut self, pattern: Option<String>) {
        self.values.insert("pattern", pattern.unwrap_or_default());
    }

    fn text(&self, name: &str) -> &str {
        self.values.get(name).map_or("", String::as_str)
    }

    fn id<T>(&self, name: &'static str, typed: fn(i64) -> T) -> Result<Option<T>> {
        id(name, self.text(name), typed)
    }

    /// What it asks for.
    ///
    /// # Errors
    /// Refused when the pattern has a slip or an id is no number.
    pub(super) fn chosen(&self) -> Result<Chosen> {
        let pattern = match self.text("pattern") {
            "" => None,
            typed => Some(Pattern::parse(typed).map_err(|says| Refusal::field("pattern", says))?),
        };
        Ok(Chosen {
            pattern,
            own: self.own.iter().map(|(segment, said)| Ok((*segment, own(said)?))).collect::<Result<_>>()?,
            tuning: self.id("tuning", TuningId)?,
            scene: self.id("scene", SceneId)?,
            setting: self.id("setting", SettingId)?,
            base: self.id("base", RigBaseId)?,
            unit: self.id("unit", UnitId)?,
            driver: self.id("driver", DriverId)?,
            build: self.id("build", BuildId)?,
            add: !self.text("add").is_empty(),
            twice: !self.text("twice").is_empty(),
        })
    }

    /// The form as it is shown.
    pub(super) fn shown(&self, choices: &Choices) -> Assignment {
        let (pattern, refused) = self.wrong.clone();
        let select = |name, label, usual, groups| Select {
            name,
            label,
            usual,
            value: self.text(name).to_owned(),
            groups,
        };
        let named = "as the file's name says";
        let tuning = select("tuning", "Part and tuning", named, tunings(choices));
        let scene = select("scene", "Scene", named, scenes(choices));
        let setting = select("setting", "Setting", named, settings(choices));
        Assignment {
            refused,
            pattern: Field::wrong(self.text("pattern"), pattern),
            twice: !self.text("twice").is_empty(),
            add: !self.text("add").is_empty(),
            own: [&tuning, &scene, &setting].into_iter().filter_map(of_piece).collect(),
            selects: vec![
                tuning,
                scene,
                setting,
                select("base", "Rig base", "newest of the rig that it was recorded on", bases(choices)),
                select("unit", "Unit", "the part's only one", units(choices)),
                select("driver", "Driver", "the piece's declared one, else the newest", drivers(choices)),
                select("build", "Build", "the scene's newest", builds(choices)),
            ],
        }
    }
}

fn id<T>(name: &'static str, text: &str, typed: fn(i64) -> T) -> Result<Option<T>> {
    match text {
        "" => Ok(None),
        text => match text.parse() {
            Ok(id) => Ok(Some(typed(id))),
            Err(_) => Err(Refusal::field(name, format!("'{text}' is no number of a {name}.")).into()),
        },
    }
}

fn own([tuning, scene, setting]: &[String; 3]) -> Result<Own> {
    Ok(Own {
        tuning: id("tuning", tuning, TuningId)?,
        scene: id("scene", scene, SceneId)?,
        setting: id("setting", setting, SettingId)?,
    })
}

/// The same select for one log alone: with what the piece selects, if that is anything.
fn of_piece(all: &Select) -> Option<Select> {
    let groups: Vec<Group> = all.groups.iter().filter(|group| group.label == IN_PIECE).cloned().collect();
    Some(Select { value: String::new(), groups, ..all.clone() }).filter(|select| !select.groups.is_empty())
}

/// What the piece selects first, then the rest of the register.
fn split<T>(all: &[T], selected: impl Fn(&T) -> bool, option: impl Fn(&T) -> (i64, String)) -> Vec<Group> {
    let group = |label: &str, wanted: bool| Group {
        label: label.to_owned(),
        options: all
            .iter()
            .filter(|one| selected(one) == wanted)
            .map(|one| {
                let (id, words) = option(one);
                (id.to_string(), words)
            })
            .collect(),
    };
    let groups = [group(IN_PIECE, true), group("In the register", false)];
    groups.into_iter().filter(|group| !group.options.is_empty()).collect()
}

fn tunings(c: &Choices) -> Vec<Group> {
    let selected = |id| c.cells.iter().any(|cell| cell.of.tuning_id == id);
    split(&c.tunings, |t| selected(t.id), |t| (t.id.0, c.tuning_name(t.id)))
}

fn scenes(c: &Choices) -> Vec<Group> {
    let selected = |id| c.cells.iter().any(|cell| cell.of.scene_id == id);
    split(&c.scenes, |s| selected(s.id), |s| (s.id.0, c.scene_name(s.id)))
}

fn settings(c: &Choices) -> Vec<Group> {
    let selected = |id| c.cells.iter().any(|cell| cell.of.setting_id == id);
    split(&c.settings, |s| selected(s.id), |s| (s.id.0, c.setting_name(s.id)))
}

/// Options grouped by what they belong to.
fn by<T, K: PartialEq>(
    all: &[T],
    key: impl Fn(&T) -> (K, String),
    option: impl Fn(&T) -> (i64, String),
) -> Vec<Group> {
    let mut groups: Vec<(K, Group)> = Vec::new();
    for one in all {
        let ((key, label), (id, words)) = (key(one), option(one));
        if groups.last().is_none_or(|(last, _)| *last != key) {
            groups.push((key, Group { label, options: Vec::new() }));
        }
        if let Some((_, group)) = groups.last_mut() {
            group.options.push((id.to_string(), words));
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

fn bases(c: &Choices) -> Vec<Group> {
    let rig =
        |id| c.rigs.iter().find(|rig| rig.id == id).map_or_else(String::new, |rig| rig.fields.name.clone());
    by(
        &c.bases,
        |b| (b.fields.rig_id, rig(b.fields.rig_id)),
        |b| {
            let from = format::since(at(b.fields.from_us), &b.fields.time_zone);
            let processor = Some(b.fields.processor.as_str()).filter(|name| !name.is_empty());
            let processor = processor.map_or_else(String::new, |name| format!(": {name}"));
            (b.id.0, format!("{}, from {from}{processor}", rig(b.fields.rig_id)))
        },
    )
}

fn units(c: &Choices) -> Vec<Group> {
    let part = |id| (id, c.part_name(id));
    by(
        &c.units,
        |u| part(u.fields.part_id),
        |u| (u.id.0, format!("{}, {}", c.part_name(u.fields.part_id), u.fields.label)),
    )
}

fn drivers(c: &Choices) -> Vec<Group> {
    let part = |id| (id, c.part_name(id));
    by(
        &c.drivers,
        |d| part(d.fields.part_id),
        |d| (d.id.0, format!("{}, {}", c.part_name(d.fields.part_id), d.fields.name)),
    )
}

fn builds(c: &Choices) -> Vec<Group> {
    let scene = |id| (id, c.scene_name(id));
    by(
        &c.builds,
        |b| scene(b.fields.scene_id),
        |b| (b.id.0, format!("{}, {}", c.scene_name(b.fields.scene_id), b.fields.name)),
    )
}
