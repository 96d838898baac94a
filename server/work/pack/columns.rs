//! Tracks and measures of passes as Apache Parquet, in folders `part=/scene=/setting=`: any column engine reads such a
//! tree as one table, with the folders as columns.

use std::collections::BTreeMap;
use std::sync::Arc;

use parquet::basic::{Compression, ZstdLevel};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;
use weighhouse_measure::measures::Measure;
use weighhouse_measure::recording::{Recording, Role};

use super::File;
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::{Internal, Result};

/// A column with a value for each row.
enum Column<'a> {
    /// Words, none missing.
    Words(Vec<&'a str>),
    /// Whole numbers, none missing.
    Whole(&'a [i64]),
    /// Numbers; `NaN` is written as missing.
    Numbers(Vec<f64>),
}

/// Writes a table; the same columns give the same bytes.
fn table(columns: &[(String, Column<'_>)]) -> Result<Vec<u8>> {
    written(columns).map_err(|e| Internal(format!("writing columns: {e}")).into())
}

fn written(columns: &[(String, Column<'_>)]) -> std::result::Result<Vec<u8>, ParquetError> {
    let fields = columns.iter().map(|(name, column)| match column {
        Column::Words(_) => format!("required binary {name} (STRING);"),
        Column::Whole(_) => format!("required int64 {name};"),
        Column::Numbers(_) => format!("optional double {name};"),
    });
    let schema = format!("message rows {{ {} }}", fields.collect::<String>());
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::default()))
        .set_created_by("weighhouse".to_owned())
        .build();
    let mut writer =
        SerializedFileWriter::new(Vec::new(), Arc::new(parse_message_type(&schema)?), Arc::new(properties))?;
    let mut group = writer.next_row_group()?;
    for (_, column) in columns {
        let Some(mut of) = group.next_column()? else { break };
        match column {
            Column::Words(words) => {
                let words: Vec<ByteArray> = words.iter().map(|word| ByteArray::from(*word)).collect();
                of.typed::<ByteArrayType>().write_batch(&words, None, None)?;
            }
            Column::Whole(values) => {
                of.typed::<Int64Type>().write_batch(values, None, None)?;
            }
            Column::Numbers(values) => {
                let there: Vec<i16> = values.iter().map(|value| i16::from(!value.is_nan())).collect();
                let values: Vec<f64> = values.iter().copied().filter(|value| !value.is_nan()).collect();
                of.typed::<DoubleType>().write_batch(&values, Some(&there), None)?;
            }
        }
        of.close()?;
    }
    group.close()?;
    writer.into_inner()
}

/// `part=Tarnwick%20Curlew/scene=.../setting=...`: folder names are percent-encoded (RFC 3986), as column engines
/// expect of such trees.
fn folders(evidence: &Evidence, cell: &CellEvidence) -> String {
    let names = &evidence.registers;
    let of = &cell.cell.of;
    let part = names.part_name(cell.cell.part_id);
    let (scene, setting) = (names.scene_name(of.scene_id), names.setting_name(of.setting_id));
    format!("part={}/scene={}/setting={}", encoded(&part), encoded(&scene), encoded(&setting))
}

fn encoded(name: &str) -> String {
    let mut out = String::new();
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_') {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

/// The frames of a pass, a row each, or the rows of a companion (`beside`: its number from 1), on the clock of its own
/// first row. A track's column is called by its role; a second of the same role ends in `_2`.
pub fn tracks(
    evidence: &Evidence,
    (cell, pass): (&CellEvidence, &PassEvidence),
    beside: Option<usize>,
    recording: &Recording,
) -> Result<File> {
    let rows = recording.rows();
    let tuning = evidence.registers.tunings.get(&cell.cell.of.tuning_id);
    let tuning = tuning.map_or("", |tuning| tuning.fields.name.as_str());
    let mut columns = vec![
        ("pass".to_owned(), Column::Words(vec![pass.row.key.as_str(); rows])),
        ("tuning".to_owned(), Column::Words(vec![tuning; rows])),
        ("at_ns".to_owned(), Column::Whole(&recording.at_ns)),
    ];
    if !recording.frame_ns.is_empty() {
        columns.push(("frame_ns".to_owned(), Column::Whole(&recording.frame_ns)));
    }
    let mut seen: BTreeMap<Role, usize> = BTreeMap::new();
    for track in &recording.tracks {
        let count = seen.entry(track.role).or_default();
        *count += 1;
        let name = column_name(track.role);
        let name = if *count == 1 { name.to_owned() } else { format!("{name}_{count}") };
        columns.push((name, Column::Numbers(track.values.clone())));
    }
    let folders = folders(evidence, cell);
    let path = match beside {
        None => format!("tracks/{folders}/{}.parquet", pass.row.key),
        Some(number) => format!("companions/{folders}/{}-{number}.parquet", pass.row.key),
    };
    Ok(File { path, bytes: table(&columns)? })
}

/// Role with the base unit of its values.
fn column_name(role: Role) -> &'static str {
    match role {
        Role::Elapsed => "elapsed_s",
        Role::WallClock => "wall_clock_s",
        Role::FrameTime => "frame_time_s",
        Role::Rate => "rate_fps",
        Role::CpuWork => "cpu_work_s",
        Role::CardWork => "card_work_s",
        Role::Latency => "latency_s",
        Role::Power => "power_w",
        Role::Clock => "clock_hz",
        Role::Temperature => "temperature_c",
        Role::Load => "load_share",
        Role::Program => "program",
        Role::Counter => "counter",
        Role::Constant => "constant",
        Role::Text => "text",
        Role::Other => "other",
    }
}

/// What was measured, a row a pass, a file for each part, scene and setting.
pub fn measures(evidence: &Evidence) -> Result<Vec<File>> {
    let mut at: BTreeMap<String, Vec<(&CellEvidence, &PassEvidence)>> = BTreeMap::new();
    for cell in evidence.cells.values() {
        for pass in &cell.passes {
            at.entry(folders(evidence, cell)).or_default().push((cell, pass));
        }
    }
    let mut files = Vec::new();
    for (folders, passes) in at {
        let tuning = |cell: &CellEvidence| evidence.registers.tunings.get(&cell.cell.of.tuning_id);
        let tunings = passes.iter().map(|(cell, _)| tuning(cell).map_or("", |t| t.fields.name.as_str()));
        let mut columns = vec![
            (
                "pass".to_owned(),
                Column::Words(passes.iter().map(|(_, pass)| pass.row.key.as_str()).collect()),
            ),
            ("tuning".to_owned(), Column::Words(tunings.collect())),
        ];
        for measure in Measure::all() {
            let values = passes.iter().map(|(_, pass)| pass.measures.value(measure).unwrap_or(f64::NAN));
            columns.push((measure.key().to_owned(), Column::Numbers(values.collect())));
        }
        let path = format!("measures/{folders}/measures.parquet");
        files.push(File { path, bytes: table(&columns)? });
    }
    Ok(files)
}

#[cfg(test)]
mod tests {
    use parquet::file::reader::{FileReader as _, SerializedFileReader};
    use parquet::record::Field;

    use super::*;

    #[test]
    fn a_table_reads_back_to_the_same_numbers_and_what_is_missing_stays_missing() {
        let columns = || {
            [
                ("pass".to_owned(), Column::Words(vec!["k1", "k1"])),
                ("at_ns".to_owned(), Column::Whole(&[0, 7])),
                ("power_w".to_owned(), Column::Numbers(vec![f64::NAN, 1.0 / 3.0])),
            ]
        };
        let bytes = table(&columns()).unwrap();
        assert_eq!(bytes, table(&columns()).unwrap());
        let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).unwrap();
        let rows: Vec<Vec<Field>> = reader
            .get_row_iter(None)
            .unwrap()
            .map(|row| row.unwrap().get_column_iter().map(|(_, field)| field.clone()).collect())
            .collect();
        let name = Field::Str("k1".to_owned());
        assert_eq!(rows[0], [name.clone(), Field::Long(0), Field::Null]);
        assert_eq!(rows[1], [name, Field::Long(7), Field::Double(1.0 / 3.0)]);
    }

    #[test]
    fn folder_names_hold_any_name() {
        assert_eq!(encoded("Tarnwick Curlew/2"), "Tarnwick%20Curlew%2F2");
        assert_eq!(encoded("1440p, é"), "1440p%2C%20%C3%A9");
        assert_eq!(encoded(".."), "%2E%2E");
    }
}
