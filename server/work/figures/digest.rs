//! What a figure rests on, as canonical bytes, and their SHA-256.
//!
//! The bytes are a list of fields, each `N:name=M:value` and a line feed, where `N` and `M` are the lengths of name
//! and value in bytes, in decimal: nothing that stands in a field can look like another field. The first field is
//! `format` and names the form of all others ([`FORMAT`]). Values are texts that people typed, integers, decimal
//! strings and SHA-256 digests in hexadecimal, never computed floats, so that they are the same on every machine:
//!
//! - `kind`, `measure`, `measure version`, `compare version` (what computes it), and `rate version`, of the
//!   average frame rate, for a knee, which has watts one way and the rate the other;
//! - `low` where it is a low: definition and tenths of a per cent that the piece declares; `margin: KIND OF SCENE` in
//!   tenths of a per cent where it is a ratio;
//! - `prior` and `prior sha256`: number of the noise prior and digest of its text as kept; 0 and nothing without one;
//! - `setting: FIELD`, then for each tuning by its role (`cell`, `baseline`, `contender`) `ROLE: FIELD`: maker, model,
//!   name, power limit (W), offsets (MHz, mV), and the driver that the piece declares for the part, with its date;
//! - `among: PART` for each tuning that is compared along, where it is an overall ratio; `scene: NAME` with its kind;
//! - of what a page derives: `setting ROLE: FIELD` for each setting where there are several; `price: FIELD` of the dated
//!   price it rests on; `reader: FIELD` of the kind of reader, with `reader plays: SCENE` and `reader uses: SETTING` and
//!   their weights;
//! - for each pass of its cells, by key, `pass KEY: FIELD`: role and scene; capture (SHA-256), member, segment; layout
//!   (shape and version); window in ns; whether it counts ('counts', 'set aside', 'run
//!   again'; with ', disputed' behind it while rulings of two people stand); where its cell is carried over from an earlier
//!   piece, `carried over` with 'earlier', 'earlier, fresh passes count' or 'fresh'; unit; rig base; driver
//!   and build with their dates (microseconds UTC); each placed companion with its digest, offset (ns) and drift
//!   (parts in 1e9).
//!
//! - of a reading: `reading: FIELD` of its kind, and `reading KEY: FIELD` of each sitting with `repeat N` and whether it counts;
//!
//! Registers stand in by what people typed, not by row ids. Flags are no part of it, nor are rulings that change
//! nothing. What belongs to other cells is not in it either: a figure lapses only by its own cells and the piece's
//! declared choices.

use sha2::{Digest as _, Sha256};
use weighhouse_measure::compare;
use weighhouse_measure::measures::Measure;

use super::value::{cells, scene_name, scenes, setting_name};
use super::what::What;
use super::{derived, of_reading};
use crate::store::rulings::Verdict;
use crate::store::{DriverId, PartId, SettingId, TuningId};
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::readers::Plays;
use crate::work::results::hex;

/// Number of the form described above.
pub const FORMAT: &str = "1";

/// Named values, in order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fields(pub Vec<(String, String)>);

impl Fields {
    pub(super) fn add(&mut self, name: impl Into<String>, value: impl ToString) {
        self.0.push((name.into(), value.to_string()));
    }

    /// The canonical text.
    pub fn text(&self) -> String {
        self.0
            .iter()
            .map(|(name, value)| format!("{}:{name}={}:{value}\n", name.len(), value.len()))
            .collect()
    }

    /// SHA-256 of the canonical text.
    pub fn sha256(&self) -> [u8; 32] {
        Sha256::digest(self.text()).into()
    }

    /// The same, hexadecimal.
    pub fn digest(&self) -> String {
        hex(&self.sha256())
    }

    /// Reads a canonical text; `None` where it is none.
    pub fn read(text: &str) -> Option<Fields> {
        let mut fields = Vec::new();
        let mut rest = text;
        while !rest.is_empty() {
            let (name, after) = counted(rest)?;
            let (value, after) = counted(after.strip_prefix('=')?)?;
            rest = after.strip_prefix('\n')?;
            fields.push((name.to_owned(), value.to_owned()));
        }
        Some(Fields(fields))
    }

    /// The value of a field.
    pub fn get(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(n, _)| n == name).map(|(_, value)| value.as_str())
    }
}

/// `3:abcrest` is `abc` and `rest`.
fn counted(text: &str) -> Option<(&str, &str)> {
    let (length, rest) = text.split_once(':')?;
    let length: usize = length.parse().ok()?;
    Some((rest.get(..length)?, rest.get(length..)?))
}

/// What a figure rests on now.
pub fn rests_on(evidence: &Evidence, what: &What) -> Fields {
    let mut fields = Fields::default();
    let Some(measure) = what.measure() else {
        return what.reading().map_or(fields, |of| of_reading::fields(evidence, of));
    };
    fields.add("format", FORMAT);
    fields.add("kind", kind(what));
    fields.add("measure", measure.key());
    fields.add("measure version", measure.version());
    if let What::Knee { .. } = what {
        fields.add("rate version", Measure::AverageFps.version());
    }
    fields.add("compare version", compare::VERSION);
    choices(&mut fields, evidence, what);
    for (role, setting) in settings_of(evidence, what) {
        setting_fields(&mut fields, evidence, &role, setting);
    }
    price_fields(&mut fields, evidence, what);
    reader_fields(&mut fields, evidence, what);
    for (role, tuning) in roles(evidence, what) {
        tuning_fields(&mut fields, evidence, role, tuning);
    }
    if let What::Overall { among, .. } | What::Even { among, .. } = what {
        let mut names: Vec<String> = among.iter().map(|tuning| full_name(evidence, *tuning)).collect();
        names.sort();
        names.into_iter().for_each(|name| fields.add(format!("among: {name}"), ""));
    }
    let mut named: Vec<(String, &'static str)> = Vec::new();
    for id in scenes(evidence, what) {
        if let Some(scene) = evidence.registers.scenes.get(&id) {
            named.push((scene_name(evidence, id), scene.fields.kind.as_str()));
        }
    }
    named.sort();
    named.into_iter().for_each(|(name, kind)| fields.add(format!("scene: {name}"), kind));
    passes(&mut fields, evidence, what);
    fields
}

fn kind(what: &What) -> &'static str {
    match what {
        What::Cell { .. } => "cell",
        What::Ratio { .. } => "ratio",
        What::Overall { .. } => "overall",
        What::Costs { .. } => "costs",
        What::Lead { .. } => "lead",
        What::Tuned { .. } => "tuned",
        What::Less { .. } => "less",
        What::Knee { .. } => "knee",
        What::Step { .. } => "step",
        What::Price { .. } => "price",
        What::Even { .. } => "even",
        What::Reader { .. } => "reader",
        What::Reading { .. } => "reading",
    }
}

/// The piece's declared choices, as far as the figure rests on them.
fn choices(fields: &mut Fields, evidence: &Evidence, what: &What) {
    let piece = &evidence.piece.fields;
    if let Some(Measure::Low(..)) = what.measure() {
        fields.add("low", format!("{} {}", piece.low_definition.as_str(), piece.low_permille));
    }
    if what.is_ratio() {
        let by_hand = |cell: &&CellEvidence| cell.kind == compare::SceneKind::ByHand;
        let own = cells(evidence, what);
        if own.iter().any(|cell| !by_hand(cell)) {
            fields.add("margin: run by itself", piece.margin_permille);
        }
        if own.iter().any(by_hand) {
            fields.add("margin: played by hand", piece.hand_margin_permille);
        }
    }
    fields.add("prior", evidence.prior_number);
    let prior =
        if evidence.prior_number == 0 { String::new() } else { hex(&Sha256::digest(&evidence.prior_body)) };
    fields.add("prior sha256", prior);
}

/// Its settings by what they are in it.
fn settings_of(evidence: &Evidence, what: &What) -> Vec<(String, SettingId)> {
    let one = |id: SettingId| ("setting".to_owned(), id);
    match what {
        What::Cell { cell, .. } => {
            evidence.cells.get(cell).map(|c| one(c.cell.of.setting_id)).into_iter().collect()
        }
        What::Ratio { setting, .. } | What::Overall { setting, .. } => vec![one(*setting)],
        _ => derived::settings(evidence, what),
    }
}

fn price_fields(fields: &mut Fields, evidence: &Evidence, what: &What) {
    let (What::Price { price, .. } | What::Even { price, .. }) = what else { return };
    let Some(price) = derived::price_of(evidence, *price).map(|price| &price.fields) else { return };
    fields.add("price: amount", &price.amount);
    fields.add("price: currency", &price.currency);
    fields.add("price: kind", price.kind.as_str());
    fields.add("price: country", &price.country);
    fields.add("price: source", &price.source);
    fields.add("price: dated", price.dated_us);
}

fn reader_fields(fields: &mut Fields, evidence: &Evidence, what: &What) {
    let What::Reader { reader, .. } = what else { return };
    let Some(reader) = derived::reader(evidence, *reader).map(|reader| &reader.fields) else { return };
    let owned = reader.owned_part_id.map(|part| evidence.registers.part_name(part));
    fields.add("reader: name", &reader.name);
    fields.add("reader: owns", owned.unwrap_or_default());
    fields.add("reader: judges by", reader.judges_by.as_str());
    fields.add("reader: asks", reader.asks_permille);
    let plays = Plays::of(reader).unwrap_or_default();
    let scenes = plays
        .scenes
        .iter()
        .map(|(id, weight)| (format!("reader plays: {}", scene_name(evidence, *id)), weight));
    let settings = plays
        .settings
        .iter()
        .map(|(id, weight)| (format!("reader uses: {}", setting_name(evidence, *id)), weight));
    let mut weights: Vec<(String, &u32)> = scenes.chain(settings).collect();
    weights.sort();
    weights.into_iter().for_each(|(name, weight)| fields.add(name, weight));
}

fn setting_fields(fields: &mut Fields, evidence: &Evidence, role: &str, id: SettingId) {
    let Some(setting) = evidence.registers.settings.get(&id).map(|s| &s.fields) else { return };
    fields.add(format!("{role}: name"), &setting.name);
    fields.add(format!("{role}: width"), setting.width_px);
    fields.add(format!("{role}: height"), setting.height_px);
    fields.add(format!("{role}: preset"), &setting.preset);
    fields.add(format!("{role}: ray tracing"), &setting.ray_tracing);
    fields.add(format!("{role}: upscaling"), &setting.upscaling);
    fields.add(format!("{role}: generated"), setting.generated);
}

/// The tunings whose passes it rests on, by what they are in it.
fn roles(evidence: &Evidence, what: &What) -> Vec<(&'static str, TuningId)> {
    match what {
        What::Cell { cell, .. } => {
            evidence.cells.get(cell).map(|c| ("cell", c.cell.of.tuning_id)).into_iter().collect()
        }
        What::Ratio { baseline, contender, .. }
        | What::Overall { baseline, contender, .. }
        | What::Even { baseline, contender, .. } => {
            vec![("baseline", *baseline), ("contender", *contender)]
        }
        _ => derived::roles(evidence, what),
    }
}

pub(super) fn tuning_fields(fields: &mut Fields, evidence: &Evidence, role: &str, id: TuningId) {
    let Some(tuning) = evidence.registers.tunings.get(&id).map(|t| &t.fields) else { return };
    if let Some(part) = evidence.registers.parts.get(&tuning.part_id) {
        fields.add(format!("{role}: maker"), &part.fields.maker);
        fields.add(format!("{role}: model"), &part.fields.model);
    }
    fields.add(format!("{role}: tuning"), &tuning.name);
    fields.add(
        format!("{role}: power limit"),
        tuning.power_limit_w.map_or_else(String::new, |w| w.to_string()),
    );
    fields.add(format!("{role}: core offset"), tuning.core_offset_mhz);
    fields.add(format!("{role}: memory offset"), tuning.memory_offset_mhz);
    fields.add(format!("{role}: voltage offset"), tuning.voltage_offset_mv);
    fields.add(format!("{role}: declared driver"), declared(evidence, tuning.part_id));
}

fn declared(evidence: &Evidence, part: PartId) -> String {
    evidence.declared.get(&part).map_or_else(String::new, |driver| driver_text(evidence, *driver))
}

/// `NAME @ MICROSECONDS`.
pub(super) fn driver_text(evidence: &Evidence, id: DriverId) -> String {
    let driver = evidence.registers.drivers.get(&id);
    driver.map_or_else(String::new, |d| format!("{} @ {}", d.fields.name, d.fields.dated_us))
}

fn full_name(evidence: &Evidence, id: TuningId) -> String {
    let Some(tuning) = evidence.registers.tunings.get(&id) else { return String::new() };
    let part = evidence.registers.parts.get(&tuning.fields.part_id);
    format!("{}, {}", part.map_or_else(String::new, |p| p.name()), tuning.fields.name)
}

fn passes(fields: &mut Fields, evidence: &Evidence, what: &What) {
    let roles = roles(evidence, what);
    let mut own: Vec<(&CellEvidence, &PassEvidence)> = cells(evidence, what)
        .into_iter()
        .flat_map(|cell| cell.passes.iter().map(move |pass| (cell, pass)))
        .collect();
    own.sort_by(|a, b| a.1.row.key.cmp(&b.1.row.key));
    let several = settings_of(evidence, what).len() > 1;
    for (cell, pass) in own {
        let role =
            roles.iter().find(|(_, tuning)| *tuning == cell.cell.of.tuning_id).map_or("", |(role, _)| role);
        let mut of = format!("{role}, {}", scene_name(evidence, cell.cell.of.scene_id));
        if several {
            of = format!("{of}, {}", setting_name(evidence, cell.cell.of.setting_id));
        }
        pass_fields(fields, evidence, pass, &of);
    }
}

fn pass_fields(fields: &mut Fields, evidence: &Evidence, pass: &PassEvidence, of: &str) {
    let row = &pass.row;
    let mut add = |name: &str, value: String| fields.add(format!("pass {}: {name}", row.key), value);
    let window = row.window();
    add("of", of.to_owned());
    add("capture", row.digest.clone());
    add("member", row.member.clone());
    add("segment", row.cut.names(row.segment_n));
    add("layout", format!("{} {}", row.layout_shape, row.layout_version));
    add("window", format!("{} {}", window.start_ns, window.end_ns));
    add("ruling", format!("{}{}", ruling(row.verdict), if row.disputed() { DISPUTED } else { "" }));
    if let Some(word) = pass.age.word() {
        add("carried over", word.to_owned());
    }
    add("unit", row.unit.clone());
    add("rig", row.rig.clone());
    if let Some(base) = evidence.registers.bases.get(&row.rig_base_id).map(|b| &b.fields) {
        add("rig from", base.from_us.to_string());
        add("board", base.board.clone());
        add("processor", base.processor.clone());
        add("memory", base.memory.clone());
        add("system", base.os_build.clone());
        add("firmware", base.firmware.clone());
        add("cooling", base.cooling.clone());
        add("enclosure", base.enclosure.as_str().to_owned());
    }
    add("driver", driver_text(evidence, row.driver_id));
    let build = evidence.registers.builds.get(&row.build_id);
    add("build", build.map_or_else(String::new, |b| format!("{} @ {}", b.fields.name, b.fields.dated_us)));
    let mut placed: Vec<(String, String)> = Vec::new();
    for companion in &pass.companions {
        if let Some(placing) = companion.placing() {
            let segment = companion.cut.names(companion.segment_n);
            let name = format!("companion {} {segment} {}", companion.digest, companion.member);
            let layout = format!("{} {}", companion.layout_shape, companion.layout_version);
            placed.push((name, format!("{} {} {layout}", placing.offset_ns, placing.drift_ppb)));
        }
    }
    placed.sort();
    placed.into_iter().for_each(|(name, value)| add(&name, value));
}

/// Stands behind the ruling while another person's contradicts it.
pub const DISPUTED: &str = ", disputed";

/// A pass counts until a person rules it out; a ruling that changes nothing is no part of the digest.
fn ruling(verdict: Option<Verdict>) -> &'static str {
    match verdict {
        Some(Verdict::SetAside) => "set aside",
        Some(Verdict::RunAgain) => "run again",
        Some(Verdict::Keep | Verdict::Open) | None => "counts",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{BuildId, CellId, SceneId};
    use crate::work::made_up::{self, SETTING, add_cell};

    const AVERAGE: Measure = Measure::AverageFps;

    /// Three parts in three scenes; every pass of its own value.
    fn evidence() -> Evidence {
        let mut evidence = made_up::piece(3, 3);
        for part in 1..=3 {
            for scene in 1..=3 {
                add_cell(&mut evidence, part, scene, &[100.0, 101.0]);
            }
        }
        evidence
    }

    fn ratio() -> What {
        What::Ratio {
            measure: AVERAGE,
            scene: SceneId(1),
            setting: SETTING,
            baseline: TuningId(1),
            contender: TuningId(2),
        }
    }

    fn overall() -> What {
        What::Overall {
            measure: AVERAGE,
            setting: SETTING,
            baseline: TuningId(1),
            contender: TuningId(2),
            among: vec![TuningId(1), TuningId(2), TuningId(3)],
        }
    }

    fn changed(what: &What, change: impl FnOnce(&mut Evidence)) -> bool {
        let mut evidence = evidence();
        let before = rests_on(&evidence, what).digest();
        change(&mut evidence);
        before != rests_on(&evidence, what).digest()
    }

    fn pass(evidence: &mut Evidence, cell: i64) -> &mut PassEvidence {
        &mut evidence.cells.get_mut(&CellId(cell)).unwrap().passes[0]
    }

    #[test]
    fn each_input_changes_the_digest() {
        let what = ratio();
        assert!(!changed(&what, |_| {}));
        let of_pass: [fn(&mut PassEvidence); 9] = [
            |p| p.row.digest = "11".repeat(32),
            |p| p.row.member = "inside.log".to_owned(),
            |p| p.row.segment_n = 1,
            |p| p.row.layout_version = 2,
            |p| p.row.layout_shape = "another".to_owned(),
            |p| p.row.window_start_ns = Some(10_000_000),
            |p| p.row.verdict = Some(Verdict::SetAside),
            |p| p.row.unit = "B".to_owned(),
            |p| p.row.rig = "birch".to_owned(),
        ];
        for (n, change) in of_pass.into_iter().enumerate() {
            assert!(changed(&what, |e| change(pass(e, 201))), "input {n} of a pass");
        }
        let of_piece: [fn(&mut Evidence); 8] = [
            |e| e.piece.fields.margin_permille = 30,
            |e| e.prior_number = 1,
            |e| {
                add_cell(e, 2, 1, &[100.0, 101.0, 102.0]);
            },
            |e| e.registers.parts.get_mut(&PartId(1)).unwrap().fields.model = "Thole".to_owned(),
            |e| e.registers.tunings.get_mut(&TuningId(2)).unwrap().fields.power_limit_w = Some(300),
            |e| e.registers.settings.get_mut(&SETTING).unwrap().fields.preset = "high".to_owned(),
            |e| e.registers.scenes.get_mut(&SceneId(1)).unwrap().fields.passage = "square".to_owned(),
            |e| pass(e, 101).row.key = "other".to_owned(),
        ];
        for (n, change) in of_piece.into_iter().enumerate() {
            assert!(changed(&what, change), "input {n} of the piece");
        }
    }

    #[test]
    fn drivers_builds_bases_and_companions_are_inputs() {
        let what = ratio();
        let mut evidence = evidence();
        let at = |evidence: &Evidence| rests_on(evidence, &what).digest();
        let mut seen = vec![at(&evidence)];
        evidence.registers.drivers.insert(DriverId(1), made_up::driver(1, "501.2", 5));
        seen.push(at(&evidence));
        evidence.registers.drivers.insert(DriverId(1), made_up::driver(1, "501.2", 6));
        seen.push(at(&evidence));
        evidence.declared.remove(&PartId(1));
        seen.push(at(&evidence));
        evidence.registers.builds.insert(BuildId(1), made_up::build("1.0", 7));
        seen.push(at(&evidence));
        evidence.registers.bases.insert(crate::store::RigBaseId(1), made_up::base("Osier 8"));
        seen.push(at(&evidence));
        evidence.registers.bases.insert(crate::store::RigBaseId(1), made_up::base("Osier 9"));
        seen.push(at(&evidence));
        pass(&mut evidence, 101).companions.push(made_up::companion(None));
        assert_eq!(seen.last(), Some(&at(&evidence)), "what is not placed is not used");
        for offset in [0, 5] {
            pass(&mut evidence, 101).companions = vec![made_up::companion(Some(offset))];
            seen.push(at(&evidence));
        }
        let count = seen.len();
        seen.sort();
        seen.dedup();
        assert_eq!(seen.len(), count);
    }

    #[test]
    fn carrying_over_is_an_input_of_its_own_cells_and_of_no_others() {
        use crate::work::carried::Age;
        for what in [ratio(), overall(), What::Cell { measure: AVERAGE, cell: CellId(101) }] {
            assert!(changed(&what, |e| pass(e, 101).age = Age::Earlier));
            assert!(!changed(&what, |e| pass(e, 301).age = Age::Earlier));
        }
        assert!(!changed(&ratio(), |e| pass(e, 102).age = Age::Fresh), "another scene");
        let at = |age| {
            let mut evidence = evidence();
            pass(&mut evidence, 101).age = age;
            rests_on(&evidence, &ratio())
        };
        let digests = [Age::Own, Age::Earlier, Age::Replaced, Age::Fresh].map(|age| at(age).digest());
        assert_eq!(digests.iter().collect::<std::collections::BTreeSet<_>>().len(), 4);
        let field = |age| at(age).get("pass pass10101: carried over").map(str::to_owned);
        assert_eq!(field(Age::Replaced).as_deref(), Some("earlier, fresh passes count"));
        assert_eq!(field(Age::Own), None, "figures from before keep their digest");
    }

    #[test]
    fn other_cells_flags_and_rulings_that_change_nothing_are_no_part_of_it() {
        for what in [ratio(), overall(), What::Cell { measure: AVERAGE, cell: CellId(101) }] {
            assert!(!changed(&what, |e| pass(e, 303).row.verdict = Some(Verdict::SetAside)));
            assert!(!changed(&what, |e| pass(e, 301).row.window_start_ns = Some(1)));
            assert!(!changed(&what, |e| pass(e, 101).row.verdict = Some(Verdict::Keep)));
            assert!(!changed(&what, |e| e.piece.fields.passes_wanted = 9));
            assert!(!changed(&what, |e| e.piece.fields.low_permille = 1), "only lows rest on it");
        }
        assert!(!changed(&ratio(), |e| pass(e, 102).row.verdict = Some(Verdict::SetAside)), "another scene");
        let low = What::parse(r#"{"kind":"cell","measure":"low_1_quantile_fps","cell":101}"#).unwrap();
        assert!(changed(&low, |e| e.piece.fields.low_permille = 1));
    }

    #[test]
    fn an_overall_ratio_rests_on_which_scenes_all_ran() {
        let all_out = |e: &mut Evidence| {
            for pass in &mut e.cells.get_mut(&CellId(303)).unwrap().passes {
                pass.row.verdict = Some(Verdict::SetAside);
            }
        };
        assert!(changed(&overall(), all_out), "scene 3 leaves for all");
        assert!(!changed(&ratio(), all_out));
    }

    #[test]
    fn the_canonical_text_comes_back_whatever_stands_in_it() {
        let fields = Fields(vec![
            ("a".to_owned(), "1:b=2:cc\n".to_owned()),
            (String::new(), String::new()),
            ("pass k: member".to_owned(), "Größe.log".to_owned()),
        ]);
        assert_eq!(Fields::read(&fields.text()), Some(fields.clone()));
        assert_eq!(fields.text().lines().next(), Some("1:a=9:1:b=2:cc"));
        assert_eq!(Fields::read("3:ab"), None);
        assert_eq!(Fields::read("1:a=1:b"), None);
        let real = rests_on(&evidence(), &overall());
        assert_eq!(Fields::read(&real.text()), Some(real));
    }

    /// Made by `tests/reference/figure_digest.py`, which shares nothing with this file but its description.
    #[test]
    fn another_program_comes_to_the_same_bytes_and_digests() {
        let text = include_str!("../../../tests/reference/vectors/figure_digests.json");
        let vectors: Vec<serde_json::Value> = serde_json::from_str(text).unwrap();
        assert!(vectors.len() >= 4);
        for vector in vectors {
            let fields = Fields(serde_json::from_value(vector["fields"].clone()).unwrap());
            assert_eq!(hex(fields.text().as_bytes()), vector["bytes"], "{fields:?}");
            assert_eq!(fields.digest(), vector["digest"], "{fields:?}");
        }
    }
}
