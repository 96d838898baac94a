//! A form of the registers: its fields as they are shown, with what was typed and what is wrong with it.

/// Beside the date of a driver or a build: it is filled in, so nobody would notice a wrong one.
pub(super) const DATED: &str = "A new one is dated today until you say otherwise";

/// The options of a choice behind an empty one: nothing is chosen for whoever does not choose.
pub(crate) fn with_none(list: &[(String, String)], none: &str) -> Vec<(String, String)> {
    std::iter::once((String::new(), none.to_owned())).chain(list.iter().cloned()).collect()
}

/// A form that adds or changes one thing.
#[derive(Clone, Debug, Default)]
pub struct Form {
    /// Begins the ids of its fields, so that several forms stand on one page.
    pub id: &'static str,
    /// Where it posts to.
    pub action: String,
    /// Hidden fields.
    pub hidden: Vec<(&'static str, String)>,
    /// Its fields, in order.
    pub inputs: Vec<Input>,
    /// Word on its button.
    pub submit: String,
    /// Whether it changes what is there; else it adds.
    pub changes: bool,
    /// Where to go without sending it.
    pub back: Option<String>,
    /// What the cautions before its button are about; none: no cautions.
    pub caution: Option<String>,
}

/// A field of a [`Form`].
#[derive(Clone, Debug)]
pub struct Input {
    /// Under which it is sent.
    pub name: &'static str,
    /// What it is called.
    pub label: &'static str,
    /// What to write; may be empty.
    pub hint: &'static str,
    /// As typed.
    pub value: String,
    /// What is wrong and how to mend it; empty when nothing is.
    pub error: String,
    /// How it is typed.
    pub how: How,
    /// Whether it may not stay empty.
    pub required: bool,
    /// Whether it stands folded away: it can come later.
    pub later: bool,
    /// Whether typing begins here.
    pub focus: bool,
}

/// How a field is typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum How {
    /// A line of text.
    Line,
    /// Several lines.
    Lines,
    /// A day, UTC.
    Day,
    /// A day and time, UTC.
    Moment,
    /// A whole number.
    Whole,
    /// One of several: what is sent, and the word for it.
    OneOf(Vec<(&'static str, &'static str)>),
    /// A tick.
    Tick,
}

/// What stands in the fields of a form.
#[derive(Clone, Debug, Default)]
pub struct Filled {
    /// Name of the field and its text.
    pub texts: Vec<(String, String)>,
    /// Name of the field and what is wrong with it.
    pub errors: Vec<(String, String)>,
    /// Whether typing begins in this form.
    pub focus: bool,
}

/// What sending a form does.
#[derive(Clone, Debug)]
pub enum Sending {
    /// Adds a thing.
    Add,
    /// Changes a thing.
    Edit {
        /// The version that was read.
        version: i64,
        /// Where to go without sending.
        back: Option<String>,
    },
}

impl Filled {
    fn of(pairs: &[(String, String)], name: &str) -> String {
        pairs.iter().find(|(field, _)| field == name).map_or_else(String::new, |(_, text)| text.clone())
    }
}

impl Form {
    /// A form without fields; `thing` as in 'the rig'.
    pub fn new(id: &'static str, thing: &str, action: String, sending: Sending) -> Self {
        let form = Form { id, action, ..Form::default() };
        match sending {
            Sending::Add => Form { submit: format!("Add the {thing}"), ..form },
            Sending::Edit { version, back } => Form {
                hidden: vec![("version", version.to_string())],
                submit: format!("Save the {thing}"),
                changes: true,
                back,
                ..form
            },
        }
    }

    /// Another field.
    #[must_use]
    pub fn ask(mut self, name: &'static str, label: &'static str, hint: &'static str, how: How) -> Self {
        let (value, error) = (String::new(), String::new());
        self.inputs.push(Input {
            name,
            label,
            hint,
            value,
            error,
            how,
            required: false,
            later: false,
            focus: false,
        });
        self
    }

    /// Another line of text.
    #[must_use]
    pub fn line(self, name: &'static str, label: &'static str, hint: &'static str) -> Self {
        self.ask(name, label, hint, How::Line)
    }

    /// The field before this may not stay empty.
    #[must_use]
    pub fn required(mut self) -> Self {
        if let Some(last) = self.inputs.last_mut() {
            last.required = true;
        }
        self
    }

    /// The field before this can come later: it stands folded away with others of its kind.
    #[must_use]
    pub fn later(mut self) -> Self {
        if let Some(last) = self.inputs.last_mut() {
            last.later = true;
        }
        self
    }

    /// The fields that stand first, or those that can come later.
    pub(super) fn asked(&self, later: bool) -> impl Iterator<Item = &Input> {
        self.inputs.iter().filter(move |input| input.later == later)
    }

    /// Whether some fields can come later.
    pub(super) fn has_later(&self) -> bool {
        self.asked(true).next().is_some()
    }

    /// Whether the fields that can come later are shown: where there is something in them to see.
    pub(super) fn shows_later(&self) -> bool {
        self.changes || self.asked(true).any(|input| !input.error.is_empty())
    }

    /// The form with what stands in its fields; typing begins in the first wrong field, else in the first.
    #[must_use]
    pub fn filled(mut self, filled: &Filled) -> Self {
        for input in &mut self.inputs {
            input.value = Filled::of(&filled.texts, input.name);
            input.error = Filled::of(&filled.errors, input.name);
        }
        let first = self.inputs.iter().position(|input| !input.error.is_empty()).unwrap_or(0);
        if let Some(input) = self.inputs.get_mut(first).filter(|_| filled.focus) {
            input.focus = true;
        }
        self
    }

    /// Whether typing begins here: then it stands open.
    pub fn open(&self) -> bool {
        self.changes || self.inputs.iter().any(|input| input.focus || !input.error.is_empty())
    }

    /// Whether sending it is what the page is for: not so where the thing of the page itself could be changed.
    pub fn main(&self) -> bool {
        !self.changes || self.back.is_some()
    }

    /// Id of its first field: a link to `#` this begins typing there.
    pub fn start(&self) -> String {
        self.inputs.first().map_or_else(String::new, |input| format!("{}-{}", self.id, input.name))
    }
}

impl Input {
    /// Ids of what is said about it, for `aria-describedby`.
    pub(super) fn about(&self, form: &str) -> String {
        let mut ids = Vec::new();
        if !self.error.is_empty() {
            ids.push(format!("{form}-{}-error", self.name));
        }
        if !self.hint.is_empty() {
            ids.push(format!("{form}-{}-hint", self.name));
        }
        ids.join(" ")
    }

    /// Its `type` in HTML.
    pub(super) fn kind(&self) -> &'static str {
        match self.how {
            How::Day => "date",
            How::Moment => "datetime-local",
            How::Tick => "checkbox",
            How::Line | How::Lines | How::Whole | How::OneOf(_) => "text",
        }
    }

    /// Whether its box is ticked.
    pub(super) fn ticked(&self) -> bool {
        self.value == "1"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typing_begins_in_the_first_wrong_field() {
        let form = Form::new("rig", "rig", String::new(), Sending::Add)
            .line("name", "Name", "")
            .line("note", "Note", "");
        let pair = |name: &str, text: &str| (name.to_owned(), text.to_owned());
        let errors = vec![pair("note", "Too long.")];
        let refused = form.clone().filled(&Filled { texts: vec![pair("name", "oak")], errors, focus: true });
        assert_eq!(refused.inputs[0].value, "oak");
        assert!(refused.inputs[1].focus && !refused.inputs[0].focus && refused.open());
        let plain = form.filled(&Filled::default());
        assert!(!plain.open());
        assert_eq!(plain.start(), "rig-name");
    }
}
