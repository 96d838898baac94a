//! The gate for habits that no compiler checks: documented files, small files, short handlers, a guide that names
//! real paths, SQL and rounding in their one home.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::fs;
use std::path::{Path, PathBuf};

/// Longest a source file may be before its tests.
const MOST_LINES: usize = 400;
/// Longest a handler may be.
const MOST_HANDLER_LINES: usize = 40;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All files below `folder` with this ending, build output left out.
fn files(folder: &str, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut todo = vec![root().join(folder)];
    while let Some(folder) = todo.pop() {
        let Ok(entries) = fs::read_dir(&folder) else { continue };
        for entry in entries {
            let path = entry.unwrap().path();
            if path.is_dir() {
                if !path.ends_with("target") {
                    todo.push(path);
                }
            } else if path.extension().is_some_and(|e| e == ending) {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn name(path: &Path) -> String {
    path.strip_prefix(root()).unwrap().display().to_string()
}

fn sources() -> Vec<(String, String)> {
    let sources: Vec<_> = ["server", "web", "demo", "tests"]
        .iter()
        .flat_map(|folder| files(folder, "rs"))
        .map(|path| (name(&path), fs::read_to_string(&path).unwrap()))
        .collect();
    assert!(sources.len() > 20, "the walk over the sources found too little");
    sources
}

#[test]
fn each_file_says_what_it_is_for() {
    let silent: Vec<_> =
        sources().into_iter().filter(|(_, text)| !text.starts_with("//! ")).map(|(n, _)| n).collect();
    assert!(silent.is_empty(), "begin each file with a `//!` sentence: {silent:?}");
}

#[test]
fn no_file_is_too_long() {
    let long: Vec<_> = sources()
        .into_iter()
        .filter(|(n, _)| !n.ends_with("/tests.rs"))
        .map(|(n, text)| (n, text.lines().take_while(|l| *l != "#[cfg(test)]").count()))
        .filter(|(_, lines)| *lines > MOST_LINES)
        .collect();
    assert!(long.is_empty(), "more than {MOST_LINES} lines before the tests: split by idea: {long:?}");
}

#[test]
fn handlers_are_short() {
    let mut long = Vec::new();
    for path in files("server/http", "rs") {
        let text = fs::read_to_string(&path).unwrap();
        let code: Vec<&str> = text.lines().take_while(|l| *l != "#[cfg(test)]").collect();
        let mut start = None;
        for (at, line) in code.iter().enumerate() {
            if line.starts_with("pub async fn ")
                || line.starts_with("async fn ")
                || line.starts_with("pub(super) async fn ")
            {
                start = Some(at);
            }
            if *line == "}"
                && let Some(from) = start.take()
                && at - from + 1 > MOST_HANDLER_LINES
            {
                long.push(format!("{}:{} ({} lines)", name(&path), from + 1, at - from + 1));
            }
        }
    }
    assert!(long.is_empty(), "a handler reads input, calls work once, builds a page: {long:?}");
}

#[test]
fn each_form_that_changes_something_carries_a_key() {
    // Signing in and out and one's own password make nothing; a one-time link is a key itself.
    let without = ["sign_in()", "sign_out()", "password()", "invitation(token)"];
    let mut astray = Vec::new();
    for path in files("web/templates", "html") {
        let text = fs::read_to_string(&path).unwrap();
        for form in text.split("<form ").skip(1).filter_map(|rest| rest.split("</form>").next()) {
            let opening = form.lines().next().unwrap_or("");
            let changes =
                opening.contains("method=\"post\"") && !without.iter().any(|to| opening.contains(to));
            if changes && !form.contains("parts::once(") && !form.contains("name=\"once\"") {
                astray.push(format!("{}: {}", name(&path), opening.get(..60).unwrap_or(opening)));
            }
        }
    }
    assert!(astray.is_empty(), "sent twice, these may do it twice (parts::once): {astray:?}");
}

#[test]
fn the_guide_names_paths_that_exist() {
    let guide = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    assert!(guide.lines().count() < 300, "DEVELOPERS.md is meant to be read in one go");
    let tops = ["server/", "web/", "migrations/", "tests/", "demo/", ".ci/"];
    let missing: Vec<_> = guide
        .split('`')
        .skip(1)
        .step_by(2)
        .filter(|word| tops.iter().any(|top| word.starts_with(top)))
        .filter(|word| !word.contains(['<', '*', '{', ' ']))
        .filter(|word| !root().join(word.split(':').next().unwrap()).exists())
        .collect();
    assert!(missing.is_empty(), "DEVELOPERS.md names what is not there: {missing:?}");
}

#[test]
fn sql_stays_in_the_store() {
    let words = ["SELECT ", "INSERT INTO", "DELETE FROM", "BEGIN IMMEDIATE"];
    let astray: Vec<_> = sources()
        .into_iter()
        .filter(|(n, _)| n.starts_with("server/") && !n.starts_with("server/store/"))
        .filter(|(_, text)| words.iter().any(|w| text.contains(w)))
        .map(|(n, _)| n)
        .collect();
    assert!(astray.is_empty(), "SQL outside server/store: {astray:?}");
}

#[test]
fn numbers_are_rounded_in_one_place() {
    let astray: Vec<_> = files("web/templates", "html")
        .into_iter()
        .filter(|path| {
            let text = fs::read_to_string(path).unwrap();
            text.contains("|fmt(") || text.contains("format!(")
        })
        .map(|path| name(&path))
        .collect();
    assert!(astray.is_empty(), "templates do not round, web/format.rs does: {astray:?}");
}
