//! A table of the pack with what describes it: types of its fields, its key, and whether it speaks of passes.

use serde_json::{Value, json};

use super::File;
use super::tables::Table;

/// What a field holds. The words are those of Table Schema, the open standard of Frictionless Data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Words; what a spreadsheet would take for a formula begins with an apostrophe.
    Words,
    /// A number in full.
    Number,
    /// A whole number.
    Whole,
    /// A day, `2026-01-31`.
    Day,
    /// `yes` or `no`.
    YesNo,
}

/// A field: its name, what it holds, and what that is, with the unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field(pub &'static str, pub Kind, pub String);

/// Fields of words, numbers and so on from constant lists.
pub fn fields(list: &[(&'static str, Kind, &str)]) -> Vec<Field> {
    list.iter().map(|(name, kind, says)| Field(name, *kind, (*says).to_owned())).collect()
}

impl Field {
    fn described(&self) -> Value {
        let Field(name, kind, says) = self;
        let word = match kind {
            Kind::Words => "string",
            Kind::Number => "number",
            Kind::Whole => "integer",
            Kind::Day => "date",
            Kind::YesNo => "boolean",
        };
        let mut field = json!({ "name": name, "type": word, "description": says });
        if *kind == Kind::YesNo {
            field["trueValues"] = json!(["yes"]);
            field["falseValues"] = json!(["no"]);
        }
        field
    }
}

/// What is known of a table before its rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct About {
    /// Its name, unique in the pack.
    pub name: &'static str,
    /// What a row is.
    pub says: &'static str,
    /// The fields that tell its rows apart.
    pub key: &'static [&'static str],
    /// Whether its field `key` is that of a row of the table of passes.
    pub of_passes: bool,
}

impl About {
    /// Its path in the pack.
    pub fn path(&self) -> String {
        format!("tables/{}.csv", self.name)
    }
}

/// A table being filled.
#[derive(Debug)]
pub struct Sheet {
    about: About,
    fields: Vec<Field>,
    table: Table,
}

impl Sheet {
    /// With its headings and no row.
    pub fn new(about: About, fields: Vec<Field>) -> Self {
        let headings: Vec<&str> = fields.iter().map(|Field(name, _, _)| *name).collect();
        Self { about, table: Table::new(&headings), fields }
    }

    /// Adds a row: a cell for each field, numbers or what has been through [`super::tables::words`].
    pub fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.table.row(cells);
    }

    /// The file, and its description as a Data Resource.
    pub fn done(self) -> (File, Value) {
        let file = File::text(&self.about.path(), self.table.into_text());
        let fields: Vec<Value> = self.fields.iter().map(Field::described).collect();
        let mut schema = json!({ "fields": fields, "primaryKey": self.about.key, "missingValues": [""] });
        if self.about.of_passes {
            let there = json!({ "resource": "passes", "fields": "key" });
            schema["foreignKeys"] = json!([{ "fields": "key", "reference": there }]);
        }
        let resource = json!({
            "name": self.about.name,
            "path": file.path,
            "profile": "tabular-data-resource",
            "description": self.about.says,
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "bytes": file.bytes.len(),
            "hash": format!("sha256:{}", super::sha256(&file.bytes)),
            "dialect": { "delimiter": ",", "lineTerminator": "\r\n", "quoteChar": "\"", "doubleQuote": true },
            "schema": schema,
        });
        (file, resource)
    }
}
