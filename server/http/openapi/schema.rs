//! The shape of JSON values, as a schema: what is in all of them, what in some, and of which types.

use std::collections::BTreeMap;

use serde_json::{Map, Value, json};

/// What was seen in one place of several values.
#[derive(Debug, Default)]
pub(super) struct Seen {
    null: bool,
    boolean: bool,
    integer: bool,
    number: bool,
    text: bool,
    items: Option<Box<Seen>>,
    members: Option<Members>,
}

/// Members of the objects that were seen.
#[derive(Debug, Default)]
struct Members {
    objects: usize,
    each: BTreeMap<String, (usize, Seen)>,
}

impl Seen {
    /// Sees one more value.
    pub(super) fn add(&mut self, value: &Value) {
        match value {
            Value::Null => self.null = true,
            Value::Bool(_) => self.boolean = true,
            Value::Number(number) if number.is_f64() => self.number = true,
            Value::Number(_) => self.integer = true,
            Value::String(_) => self.text = true,
            Value::Array(values) => {
                let items = self.items.get_or_insert_default();
                values.iter().for_each(|value| items.add(value));
            }
            Value::Object(members) => {
                let seen = self.members.get_or_insert_default();
                seen.objects += 1;
                for (name, value) in members {
                    let (times, of) = seen.each.entry(name.clone()).or_default();
                    *times += 1;
                    of.add(value);
                }
            }
        }
    }

    /// As a schema (JSON Schema 2020-12, as OpenAPI 3.1 has it). What was only ever seen empty or null may be anything.
    pub(super) fn schema(&self) -> Value {
        let known = [
            ("boolean", self.boolean),
            // An average may be a whole number in a sample.
            ("integer", self.integer && !self.number),
            ("number", self.number),
            ("string", self.text),
            ("array", self.items.is_some()),
            ("object", self.members.is_some()),
        ];
        let mut types: Vec<&str> = known.iter().filter(|(_, seen)| *seen).map(|(name, _)| *name).collect();
        if types.is_empty() {
            return json!({});
        }
        if self.null {
            types.push("null");
        }
        let mut schema = Map::new();
        schema.insert("type".to_owned(), if let [one] = types[..] { json!(one) } else { json!(types) });
        if let Some(items) = &self.items {
            schema.insert("items".to_owned(), items.schema());
        }
        if let Some(members) = &self.members {
            let each = members.each.iter().map(|(name, (_, of))| (name.clone(), of.schema()));
            schema.insert("properties".to_owned(), Value::Object(each.collect()));
            let always = members.each.iter().filter(|(_, (times, _))| *times == members.objects);
            let always: Vec<&String> = always.map(|(name, _)| name).collect();
            if !always.is_empty() {
                schema.insert("required".to_owned(), json!(always));
            }
        }
        Value::Object(schema)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_become_the_schema_that_holds_them_all() {
        let mut seen = Seen::default();
        for value in
            [json!({ "a": 1, "b": [], "c": null }), json!({ "a": 1.5, "b": [{ "d": "x" }], "e": true })]
        {
            seen.add(&value);
        }
        let item =
            json!({ "type": "object", "properties": { "d": { "type": "string" } }, "required": ["d"] });
        assert_eq!(
            seen.schema(),
            json!({
                "type": "object",
                "properties": {
                    "a": { "type": "number" },
                    "b": { "type": "array", "items": item },
                    "c": {},
                    "e": { "type": "boolean" },
                },
                "required": ["a", "b"],
            })
        );
    }

    #[test]
    fn what_may_be_nothing_says_so() {
        let mut seen = Seen::default();
        [json!(null), json!(3), json!("x")].iter().for_each(|value| seen.add(value));
        assert_eq!(seen.schema(), json!({ "type": ["integer", "string", "null"] }));
    }
}
