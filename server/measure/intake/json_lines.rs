//! JSON Lines as a table of text: an object a line becomes a row, its keys become the columns.

use std::io::{self, Read};

use serde_json::{Map, Value};

use super::lines::{Line, Lines};

/// Objects on which the columns are judged.
const JUDGED: usize = 200;
/// Columns that are taken at most.
const MOST_KEYS: usize = 1024;

/// The keys of the first objects, in the order in which they first come; `None` where the first line is no object.
pub fn keys(head: &[u8]) -> Option<Vec<String>> {
    let mut keys: Vec<String> = Vec::new();
    let mut lines = Lines::held(head, b'\n').unquoted();
    let mut seen = 0;
    while seen < JUDGED {
        // The last line of the head may be cut.
        let Ok(Some(Line::Text(line, _))) = lines.advance() else { break };
        if line.trim_ascii().is_empty() {
            continue;
        }
        let Ok(Value::Object(object)) = serde_json::from_slice(line) else {
            if seen == 0 {
                return None;
            }
            continue;
        };
        seen += 1;
        flat(&object, "", &mut |key, _| {
            if keys.len() < MOST_KEYS && !keys.iter().any(|k| k == key) {
                keys.push(key.to_owned());
            }
        });
    }
    (!keys.is_empty()).then_some(keys)
}

/// Gives each value of an object, those inside objects under `outer.inner`.
fn flat(object: &Map<String, Value>, before: &str, give: &mut impl FnMut(&str, &Value)) {
    for (key, value) in object {
        let name = if before.is_empty() { key.clone() } else { format!("{before}.{key}") };
        match value {
            // Deeper ones than one level are no columns of a log.
            Value::Object(inner) if before.is_empty() => flat(inner, &name, give),
            value => give(&name, value),
        }
    }
}

/// A stream of lines of tab-separated text. Its first line is the header where one is asked for.
pub struct JsonLines<'a, R> {
    lines: Lines<'a, R>,
    keys: &'a [String],
    out: Vec<u8>,
    given: usize,
}

impl<'a, R: Read> JsonLines<'a, R> {
    /// The objects of `source` with these keys.
    pub fn new(source: R, keys: &'a [String], header: bool) -> Self {
        let mut out = Vec::new();
        if header {
            for (i, key) in keys.iter().enumerate() {
                separate(&mut out, i);
                text(&mut out, key);
            }
            out.push(b'\n');
        }
        Self { lines: Lines::new(source, b'\n').unquoted(), keys, out, given: 0 }
    }

    /// Writes the next line; whether there was one.
    fn next_line(&mut self) -> io::Result<bool> {
        self.out.clear();
        self.given = 0;
        let (line, ended) = match self.lines.advance()? {
            None => return Ok(false),
            Some(Line::TooLong) => {
                return Err(io::Error::new(io::ErrorKind::InvalidData, "a line of JSON is too long"));
            }
            Some(Line::Text(line, ended)) => (line, ended),
        };
        match serde_json::from_slice(line) {
            Ok(Value::Object(object)) => {
                let mut cells = vec![None; self.keys.len()];
                flat(&object, "", &mut |key, value| {
                    if let Some(place) = self.keys.iter().position(|k| k == key) {
                        cells[place] = Some(value.clone());
                    }
                });
                for (i, cell) in cells.iter().enumerate() {
                    separate(&mut self.out, i);
                    value(&mut self.out, cell.as_ref());
                }
            }
            // A line that is no object becomes a row that is too short, and is said.
            _ if line.trim_ascii().is_empty() => {}
            _ => self.out.extend_from_slice(b"0"),
        }
        if ended {
            self.out.push(b'\n');
        }
        Ok(true)
    }
}

fn separate(out: &mut Vec<u8>, i: usize) {
    if i > 0 {
        out.push(b'\t');
    }
}

fn text(out: &mut Vec<u8>, words: &str) {
    if words.contains(['\t', '\n', '\r', '"']) {
        out.push(b'"');
        // A line of the table is a line of the file: line ends inside words become blanks.
        out.extend_from_slice(words.replace(['\n', '\r'], " ").replace('"', "\"\"").as_bytes());
        out.push(b'"');
    } else {
        out.extend_from_slice(words.as_bytes());
    }
}

fn value(out: &mut Vec<u8>, value: Option<&Value>) {
    match value {
        None | Some(Value::Null) => {}
        Some(Value::String(words)) => text(out, words),
        Some(other) => text(out, &other.to_string()),
    }
}

impl<R: Read> Read for JsonLines<'_, R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.given == self.out.len() {
            if !self.next_line()? {
                return Ok(0);
            }
        }
        let left = &self.out[self.given..];
        let count = left.len().min(into.len());
        into[..count].copy_from_slice(&left[..count]);
        self.given += count;
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn objects_become_rows_and_inner_objects_columns() {
        let json = b"{\"t\":0.5,\"frame\":{\"ms\":16.5},\"who\":\"a\\tb\"}\n\n{\"t\":1,\"who\":null}\nnot json\n{\"t\":2";
        let keys = keys(json).unwrap();
        assert_eq!(keys, ["frame.ms", "t", "who"]);
        let mut out = String::new();
        JsonLines::new(&json[..], &keys, true).read_to_string(&mut out).unwrap();
        assert_eq!(out, "frame.ms\tt\twho\n16.5\t0.5\t\"a\tb\"\n\n\t1\t\n0\n0");
        assert_eq!(super::keys(b"{\n \"a\": 1\n}"), None);
    }
}
