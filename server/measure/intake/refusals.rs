//! The sentences in which a log is refused: file, line, what is wrong, the mend.

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
    format!("{name} is packed with gzip and damaged ({why}). Fetch it again, or give it unpacked.")
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
        NoTable::NoRows(line, columns) if *columns > 1 => format!(
            "{name}, line {line}: a header of {columns} columns with no row of numbers below it. The recorder was stopped before the first frame: record again."
        ),
        NoTable::NoRows(line, _) => format!(
            "{name}, line {line}: no rows of numbers separated by comma, semicolon or tab. Export the log as delimited text."
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
