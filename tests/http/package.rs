//! The tables of a pack are what `datapackage.json` says of them: the rules of Data Package and Table Schema
//! (specification 1, specs.frictionlessdata.io) read here by themselves. The specification's own validator was run on a
//! pack too: `tests/reference/check_pack.py`.

use std::collections::{BTreeMap, HashSet};

use serde_json::Value;
use sha2::{Digest as _, Sha256};

/// Fails on the first thing that is not as described. `file` gives a file of the pack by its path.
pub fn check(package: &Value, file: impl Fn(&str) -> Vec<u8>) {
    assert_eq!(package["profile"], "data-package");
    let plain =
        |name: &str| name.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || "._-".contains(c));
    assert!(plain(package["name"].as_str().unwrap()), "{}", package["name"]);
    let mut tables: BTreeMap<&str, Rows> = BTreeMap::new();
    let resources = package["resources"].as_array().unwrap();
    for resource in resources {
        let name = resource["name"].as_str().unwrap();
        assert!(plain(name), "{name}");
        let bytes = file(resource["path"].as_str().unwrap());
        assert_eq!(resource["bytes"], bytes.len(), "{name}");
        let digest: String = Sha256::digest(&bytes).iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(resource["hash"], format!("sha256:{digest}"), "{name}");
        let rows = Rows::read(&bytes, &resource["schema"]).unwrap_or_else(|says| panic!("{name}: {says}"));
        assert!(tables.insert(name, rows).is_none(), "{name} twice");
    }
    for resource in resources {
        for foreign in resource["schema"]["foreignKeys"].as_array().into_iter().flatten() {
            let [from, to] =
                [&foreign["fields"], &foreign["reference"]["fields"]].map(|f| f.as_str().unwrap());
            let there = &tables[foreign["reference"]["resource"].as_str().unwrap()];
            let there: HashSet<&String> = there.column(to).collect();
            for key in tables[resource["name"].as_str().unwrap()].column(from) {
                assert!(key.is_empty() || there.contains(key), "{}: {key} is nowhere", resource["name"]);
            }
        }
    }
}

struct Rows {
    names: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Rows {
    fn read(bytes: &[u8], schema: &Value) -> Result<Self, String> {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(bytes);
        let mut rows: Vec<Vec<String>> = Vec::new();
        for row in reader.deserialize() {
            rows.push(row.map_err(|e| e.to_string())?);
        }
        let fields = schema["fields"].as_array().ok_or("no fields")?;
        let names: Vec<String> =
            fields.iter().map(|f| f["name"].as_str().unwrap_or_default().to_owned()).collect();
        if rows.is_empty() || rows.remove(0) != names {
            return Err("its heading is not the list of its fields".to_owned());
        }
        for (n, row) in rows.iter().enumerate() {
            for (cell, field) in row.iter().zip(fields) {
                parses(cell, field).map_err(|says| format!("row {n}, {}: {says}", field["name"]))?;
            }
        }
        let read = Self { names, rows };
        let mut seen = HashSet::new();
        let key: Vec<&str> =
            schema["primaryKey"].as_array().ok_or("no key")?.iter().filter_map(Value::as_str).collect();
        for row in &read.rows {
            let of: Vec<&String> = key.iter().map(|name| &row[read.at(name)]).collect();
            if of.iter().any(|cell| cell.is_empty()) || !seen.insert(of) {
                return Err(format!("its key is empty or there twice: {row:?}"));
            }
        }
        Ok(read)
    }

    fn at(&self, name: &str) -> usize {
        self.names.iter().position(|own| own == name).unwrap()
    }

    fn column(&self, name: &str) -> impl Iterator<Item = &String> {
        let at = self.at(name);
        self.rows.iter().map(move |row| &row[at])
    }
}

/// Whether a cell is of its field's type; an empty one is missing, which no field forbids.
fn parses(cell: &str, field: &Value) -> Result<(), String> {
    let right = match field["type"].as_str() {
        _ if cell.is_empty() => true,
        Some("string") => !cell.starts_with(['=', '+', '-', '@', '\t', '\r']),
        Some("number") => cell.parse::<f64>().is_ok_and(f64::is_finite),
        Some("integer") => cell.parse::<i64>().is_ok(),
        Some("date") => cell.len() == 10 && cell.parse::<jiff::civil::Date>().is_ok(),
        Some("boolean") => ["trueValues", "falseValues"].iter().any(|of| field[*of][0] == cell),
        _ => false,
    };
    if right { Ok(()) } else { Err(format!("'{cell}' is not of type {}", field["type"])) }
}

#[test]
fn what_is_not_as_described_is_told() {
    let schema = serde_json::json!({
        "fields": [{ "name": "a", "type": "integer" }, { "name": "b", "type": "string" }],
        "primaryKey": ["a"],
    });
    let read = |text: &str| Rows::read(text.as_bytes(), &schema).map(|rows| rows.rows.len());
    assert_eq!(read("a,b\r\n1,x\r\n2,\r\n"), Ok(2));
    assert!(read("b,a\r\n").unwrap_err().contains("heading"));
    assert!(read("a,b\r\n1.5,x\r\n").unwrap_err().contains("'1.5' is not of type"));
    assert!(read("a,b\r\n1,=x\r\n").unwrap_err().contains("'=x' is not of type"), "a formula");
    assert!(read("a,b\r\n1,x\r\n1,y\r\n").unwrap_err().contains("twice"));
}
