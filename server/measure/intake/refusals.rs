//! The sentences in which a log is refused: file, line, what is wrong, the mend.

use super::held::Broken;
use super::layout::Layout;
use super::lines;
use super::table::{NoTable, Table};
use crate::recording::Role;

const AGAIN: &str = "Record it again, or fetch it again from the rig.";

/// A file of no bytes.
pub fn empty(name: &str) -> String {
    format!("{name} is empty (0 bytes). {AGAIN}")
}

/// A packed log that is larger than a log is.
pub fn unpacks_too_far(name: &str, most_bytes: u64) -> String {
    format!(
        "{name} unpacks to more than {} MiB. A log is smaller: give the part that is wanted.",
        most_bytes >> 20
    )
}

/// A packed log that does not unpack.
pub fn damaged(name: &str, why: &std::io::Error) -> String {
    format!("{name} is packed and damaged ({why}). Fetch it again, or give it unpacked.")
}

/// A byte that no text has, at `at` of the head.
pub fn not_text(name: &str, head: &[u8], at: usize) -> String {
    let line = memchr::memchr_iter(b'\n', &head[..at]).count() + 1;
    format!(
        "{name}, line {line}: byte {at} is 0x{:02X}, so this is not text. Export the log as delimited text (comma, semicolon or tab).",
        head[at]
    )
}

/// Rows of which none gives a frame.
pub fn no_frame(name: &str, table: &Table, layout: &Layout) -> String {
    let timed = layout.column(Role::FrameTime).map(|c| c.index).or(layout.clock).unwrap_or(1);
    format!(
        "{name}, line {}: not one of its rows gives a frame: every time is missing, zero, negative or not a number. Check column {timed}.",
        table.first_row
    )
}

/// More rows than one log may have.
pub fn too_many(name: &str, line: u64, most: usize) -> String {
    format!("{name}, line {line}: more than {most} rows. Cut the log into passes.")
}

/// Where no table was found.
pub fn no_table(name: &str, why: &NoTable) -> String {
    match why {
        NoTable::Blank => format!("{name} holds nothing but blank lines. {AGAIN}"),
        NoTable::TooLong(line) => format!(
            "{name}, line {line}: longer than {} KiB, so this is no table of rows. Export the log as delimited text.",
            lines::LONGEST_LINE >> 10
        ),
        NoTable::TooWide(line, columns) => format!(
            "{name}, line {line}: a row of {columns} columns; at most {} can be weighed. Write the columns that are wanted.",
            super::table::MOST_COLUMNS
        ),
        NoTable::SameComma(line, named, columns) => format!(
            "{name}, line {line}: {columns} cells under a header of {named} columns: the comma stands between columns and inside numbers. Export with semicolons, or with a point in numbers."
        ),
        NoTable::NoRows(line, columns) if *columns > 1 => format!(
            "{name}, line {line}: a header of {columns} columns with no row of numbers below it. The recorder was stopped before the first frame: record again."
        ),
        NoTable::NoRows(line, _) => format!(
            "{name}, line {line}: no rows of numbers separated by comma, semicolon, tab, bar or blanks. Export the log as delimited text."
        ),
    }
}

/// Where nothing times frames or samples.
pub fn untimed(name: &str, table: &Table) -> String {
    format!(
        "{name}, line {}: none of its {} columns times frames or samples. Record with frame times or an elapsed time, with the unit in the header.",
        table.header_line.max(1),
        table.names.len()
    )
}

/// Where the rows are runs or events.
pub fn summary(name: &str, table: &Table) -> String {
    format!(
        "{name}, line {}: a table of results or events, not the frames themselves. Give the logs that it was made from.",
        table.header_line.max(1)
    )
}

/// A table whose last row is the first in time.
pub fn backwards(name: &str, table: &Table, column: usize) -> String {
    format!(
        "{name}, line {}: the times in column {column} run backwards. Sort the rows by time.",
        table.first_row
    )
}

/// JSON that is not an object on each line.
pub fn json(name: &str) -> String {
    format!(
        "{name}, line 1: JSON, but not one object on each line. Write it as JSON Lines or as delimited text, a row for each frame."
    )
}

/// Packed more than once.
pub fn nested(name: &str) -> String {
    format!("{name} holds another packed file. Unpack it, and give the logs in it.")
}

/// An archive with too many files.
pub fn too_many_members(name: &str, there: usize, most: usize) -> String {
    format!("{name} holds {there} files; at most {most} are read at once. Give it in parts.")
}

/// An archive without files.
pub fn no_members(name: &str) -> String {
    format!("{name} holds no files. Pack the logs again.")
}

/// A table that has to be held whole and is too large for that.
pub fn table_too_large(name: &str, most: u64) -> String {
    format!(
        "{name} is a Parquet table of more than {} MiB. Write the columns that are wanted, or delimited text.",
        most >> 20
    )
}

/// Where a log no longer is what its first rows were: the line, and why a person has to say.
pub fn broken(layout: &Layout, broken: Broken) -> (u64, String) {
    let durations = layout.column(Role::FrameTime).map(|c| c.index).or(layout.clock).unwrap_or(1);
    match broken {
        Broken::Apart(line) => (
            line,
            format!(
                "Column {durations} is the differences of column {} at first, but no longer from line {line} on. Cut the log there, or say which column to trust.",
                layout.clock.unwrap_or(1)
            ),
        ),
        Broken::Header(line) => (
            line,
            format!(
                "On line {line} another header stands, with the columns in other places: two logs were put together. Cut the file there, and give both parts; what follows is not read."
            ),
        ),
        Broken::Unit(line) => (
            line,
            format!(
                "From line {line} on the times in column {durations} are about a thousand times larger or smaller: its unit changes. Cut the log there, and give both parts."
            ),
        ),
    }
}

/// Longest name of a file in a sentence, characters.
const NAME: usize = 80;

/// A file's name as a sentence may hold it: without line ends and marks that turn the direction of writing, and cut.
pub fn shown(name: &str) -> String {
    let turns = |c: char| matches!(c, '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FEFF}');
    let mut shown: String =
        name.chars().take(NAME).map(|c| if c.is_control() || turns(c) { '·' } else { c }).collect();
    if name.chars().nth(NAME).is_some() {
        shown.push('…');
    }
    shown
}
