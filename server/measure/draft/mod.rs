//! Checks the numbers of a text against figures: text -> [`tokens`] -> [`numbers`] with a meaning -> the figure each
//! quotes ([`link`]) -> a verdict ([`judge`]).
//!
//! What is a number is read from the words of one language ([`words_en`]), kept apart so that others can be added.
//! Nothing is guessed silently: a suggested figure is a suggestion until a person confirms it, and each verdict says
//! in a sentence what it rests on.

pub mod counts;
pub mod find;
pub mod hedges;
pub mod judge;
pub mod language;
pub mod leave;
pub mod link;
pub mod names;
pub mod numbers;
pub mod remember;
pub mod score;
pub mod sense;
pub mod sides;
pub mod text;
pub mod tokens;
pub mod units;
pub mod words_en;

use std::ops::Range;

use serde::{Deserialize, Serialize};

pub use hedges::Hedge;
pub use judge::{Judged, Verdict};
pub use link::Link;
pub use remember::Decision;

/// How a text is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Form {
    /// Plain text.
    #[default]
    Plain,
    /// Markdown.
    Markdown,
    /// Subtitles with numbered cues.
    Srt,
    /// Subtitles of the web (W3C WebVTT).
    Vtt,
}

impl Form {
    /// All, in the order of a list of choices.
    pub const ALL: [Form; 4] = [Form::Plain, Form::Markdown, Form::Srt, Form::Vtt];

    /// As it stands in forms and tables.
    pub fn key(self) -> &'static str {
        match self {
            Form::Plain => "plain",
            Form::Markdown => "markdown",
            Form::Srt => "srt",
            Form::Vtt => "vtt",
        }
    }

    /// The form with this key.
    pub fn parse(key: &str) -> Option<Form> {
        Form::ALL.into_iter().find(|form| form.key() == key)
    }
}

/// Money of which country.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Currency {
    /// Euro.
    Eur,
    /// Dollar of the United States.
    Usd,
    /// Pound sterling.
    Gbp,
    /// The text does not say.
    Unsaid,
}

/// What a number counts, and so its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Kind {
    /// Frames per second.
    Fps,
    /// Watts.
    W,
    /// Milliseconds.
    Ms,
    /// Degrees Celsius.
    C,
    /// Megahertz.
    MHz,
    /// Gigabytes of 1 024 megabytes, as memory is sold.
    GB,
    /// Joules.
    J,
    /// Decibels.
    Db,
    /// Money, in whole units of the currency.
    Money(Currency),
    /// How many scenes were measured.
    Scenes,
    /// A change in per cent of a baseline.
    Change,
    /// A factor: '1.28 times', 'twice', 'half the power'.
    Times,
}

impl Kind {
    /// Whether it compares two values.
    pub fn compares(self) -> bool {
        matches!(self, Kind::Change | Kind::Times)
    }

    /// Whether numbers of these kinds can say the same; money of an unsaid currency is any money.
    pub fn fits(self, other: Kind) -> bool {
        match (self, other) {
            (Kind::Money(a), Kind::Money(b)) => a == b || a == Currency::Unsaid || b == Currency::Unsaid,
            (a, b) => a == b || (a.compares() && b.compares()),
        }
    }

    /// The sign behind its numbers.
    pub fn sign(self) -> &'static str {
        match self {
            Kind::Fps => "fps",
            Kind::W => "W",
            Kind::Ms => "ms",
            Kind::C => "°C",
            Kind::MHz => "MHz",
            Kind::GB => "GB",
            Kind::J => "J",
            Kind::Db => "dB",
            Kind::Money(Currency::Eur) => "EUR",
            Kind::Money(Currency::Usd) => "USD",
            Kind::Money(Currency::Gbp) => "GBP",
            Kind::Money(Currency::Unsaid) => "",
            Kind::Scenes => "scenes",
            Kind::Change => "%",
            Kind::Times => "times",
        }
    }
}

/// Which way a comparison goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Sense {
    /// Faster, more, ahead.
    More,
    /// Slower, less, behind.
    Less,
    /// Not said.
    Unsaid,
}

/// A number with a meaning, as found in a text.
#[derive(Clone, Debug, PartialEq)]
pub struct Number {
    /// Bytes of the text, from the number to the end of its unit.
    pub span: Range<usize>,
    /// Its tokens.
    pub tokens: Range<usize>,
    /// What it counts.
    pub kind: Kind,
    /// Value; the lower one of a range. Of a change the magnitude in per cent.
    pub low: f64,
    /// The upper one of a range, else `low`.
    pub high: f64,
    /// One unit of the last place that is written.
    pub step: f64,
    /// How far a value may lie from it because of the words it is told in: fractions and multiples are round.
    pub loose: f64,
    /// What stands around it: 'about', 'nearly'.
    pub hedge: Hedge,
    /// Which way a comparison goes.
    pub sense: Sense,
    /// Whether it is told as a difference of two values: '79 watts more'.
    pub difference: bool,
}

/// Where a figure stands, as far as a text cares.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Two people agreed on it, and it holds.
    Agreed,
    /// Nobody agreed yet, or it was withdrawn.
    NotAgreed,
    /// What it rests on has changed.
    Lapsed,
}

/// Where a figure comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Measured by the team.
    Measured,
    /// Quoted, with its source.
    Named,
    /// Quoted, without one.
    Missing,
}

/// A low's definition.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LowBy {
    /// The frame rate that this share of frames fall short of.
    Quantile,
    /// The mean of the slowest frames.
    TailMean,
    /// The frame rate below which this share of the time is spent.
    TimeShare,
}

/// A figure, as far as a text can quote it.
#[derive(Clone, Debug)]
pub struct Known {
    /// Its key.
    pub key: String,
    /// What it is called.
    pub name: String,
    /// What it counts; of a ratio [`Kind::Change`].
    pub kind: Kind,
    /// In the unit of `kind`; of a ratio the change in per cent of the baseline.
    pub value: f64,
    /// Decimal places that were agreed on.
    pub places: i32,
    /// Its measure in words.
    pub measure: String,
    /// The part it is of; of a ratio the contender. What stands in parentheses is its tuning.
    pub part: String,
    /// The part at 1; empty where it is no ratio.
    pub baseline: String,
    /// Its scene; empty where it is of none. What stands in parentheses is the passage.
    pub scene: String,
    /// Its setting; empty where it is of none.
    pub setting: String,
    /// Whether it is over all scenes.
    pub overall: bool,
    /// Where it stands.
    pub standing: Standing,
    /// As it was printed before it lapsed.
    pub was: Option<f64>,
    /// As it was agreed in former times.
    pub once: Vec<f64>,
    /// 95% interval of a change, per cent.
    pub interval: Option<(f64, f64)>,
    /// Definition, where it is a low.
    pub low: Option<LowBy>,
    /// Where it comes from.
    pub source: Source,
}

/// A number of a text with all that follows for it.
#[derive(Clone, Debug)]
pub struct Checked {
    /// The number.
    pub number: Number,
    /// Figures it may quote, most likely first.
    pub suggested: Vec<Link>,
    /// The figure it is judged by.
    pub link: Option<Link>,
    /// Whether a person said so.
    pub confirmed: bool,
    /// The verdict, with reasons.
    pub judged: Judged,
}

/// A checked text.
#[derive(Clone, Debug)]
pub struct Report {
    /// Numbers with a meaning, in order.
    pub numbers: Vec<Checked>,
    /// Numbers that people said to leave alone, bytes of the text.
    pub left: Vec<Range<usize>>,
}

/// Checks a text: finds its numbers, gives each the figure people decided on or the most likely one, and judges it.
pub fn check(text: &str, form: Form, known: &[Known], decisions: &[Decision]) -> Report {
    let read = text::read(text, form);
    let words = &words_en::ENGLISH;
    let tokens = tokens::tokens(&read);
    let names = names::Names::of(known);
    let seen = names.seen(&tokens);
    let found = find::numbers(&tokens, &seen, known, words);
    let context = sides::Context { tokens: &tokens, seen: &seen, names: &names, known, words };
    let decided = remember::apply(text, found, decisions);
    let (left, kept): (Vec<_>, Vec<_>) = decided.into_iter().partition(|(_, d)| d.is_some_and(|d| d.leave));
    let numbers: Vec<Number> = kept.iter().map(|(number, _)| number.clone()).collect();
    let suggested = link::suggest(&context, &numbers);
    let each = kept.into_iter().zip(suggested);
    let mut checked: Vec<Checked> = each
        .map(|((number, decided), suggested)| {
            let chosen = decided.and_then(|d| Link::parse(&d.link, known));
            let link = chosen.or_else(|| suggested.first().copied());
            let judged = judge::judge(&context, link, &number);
            Checked { number, suggested, link, confirmed: chosen.is_some(), judged }
        })
        .collect();
    counts::contradictions(&mut checked);
    Report { numbers: checked, left: left.into_iter().map(|(number, _)| number.span).collect() }
}
