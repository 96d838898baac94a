//! The verdict on a number: what the text says against what its figure says.

use serde::Serialize;

use super::link::Link;
use super::names::Who;
use super::sides::Context;
use super::{Hedge, Kind, Known, LowBy, Number, Sense, Source, Standing};

/// Room for the last bit of a double.
const EPS: f64 = 1e-9;
/// Below so many per cent a change turned round cannot be told from the change.
const TELLS_TURNED: f64 = 2.0;

/// A verdict.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Agreed and right.
    Right,
    /// Right, but its figure has lapsed; or as it was before it lapsed.
    Lapsed,
    /// Right, but nobody agreed on it.
    NotAgreed,
    /// Rounded wrongly, or to more digits than were agreed on.
    Rounded,
    /// Wrong.
    Wrong,
    /// Turned round: slower for faster, or one over the other.
    Turned,
    /// A low whose definition the text does not say.
    LowUnsaid,
    /// A comparison that does not say with whom.
    BaselineUnsaid,
    /// A difference inside the noise sold as one.
    Noise,
    /// No figure is behind it.
    #[default]
    Unsupported,
    /// Quoted, without a source.
    NoSource,
    /// As it was agreed in former times.
    OldEdition,
    /// Counts of scenes that do not agree with each other.
    Contradicts,
}

impl Verdict {
    /// All, in the order in which they are worked through.
    pub const ALL: [Verdict; 13] = [
        Verdict::Wrong,
        Verdict::Turned,
        Verdict::OldEdition,
        Verdict::Contradicts,
        Verdict::Rounded,
        Verdict::Noise,
        Verdict::Lapsed,
        Verdict::NotAgreed,
        Verdict::Unsupported,
        Verdict::NoSource,
        Verdict::LowUnsaid,
        Verdict::BaselineUnsaid,
        Verdict::Right,
    ];

    /// As it stands in files and addresses.
    pub fn key(self) -> &'static str {
        match self {
            Verdict::Right => "right",
            Verdict::Lapsed => "lapsed",
            Verdict::NotAgreed => "not-agreed",
            Verdict::Rounded => "rounded",
            Verdict::Wrong => "wrong",
            Verdict::Turned => "turned",
            Verdict::LowUnsaid => "low-unsaid",
            Verdict::BaselineUnsaid => "baseline-unsaid",
            Verdict::Noise => "noise",
            Verdict::Unsupported => "unsupported",
            Verdict::NoSource => "no-source",
            Verdict::OldEdition => "old-edition",
            Verdict::Contradicts => "contradicts",
        }
    }
}

/// A verdict with what would be right.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judged {
    /// The verdict.
    pub verdict: Verdict,
    /// What the figure says, in the words of the number: its kind and value.
    pub right: Option<(Kind, f64)>,
    /// Whether a price was spoken in a pair and written as cents.
    pub cents: bool,
}

/// How a number stands to a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Match {
    /// It says it, within its hedge.
    Right,
    /// Rounded wrongly.
    Rounded,
    /// As it was before it lapsed.
    Was,
    /// As it was agreed in former times.
    Once,
    /// Turned round.
    Turned,
    /// A pair spoken as a price, written as cents.
    Cents,
    /// None of these.
    Wrong,
}

/// What a link gives, in the kind of the number that quotes it.
#[derive(Clone, Debug)]
pub struct Expected {
    /// As it may be printed: from full values, and from those that are printed beside it. Changes are signed.
    values: Vec<f64>,
    /// One unit of the last place that was agreed on; 0 where none was.
    agreed: f64,
    /// The value before it lapsed, and those of former times.
    was: Option<f64>,
    once: Vec<f64>,
    /// Signed values that say it turned round.
    turned: Vec<f64>,
}

/// From a change in per cent to what the number tells: per cent or a factor.
fn told(kind: Kind, change: f64) -> f64 {
    if kind == Kind::Times { 1.0 + change / 100.0 } else { change }
}

fn inverse(change: f64) -> f64 {
    (1.0 / (1.0 + change / 100.0) - 1.0) * 100.0
}

fn round_to(value: f64, places: i32) -> f64 {
    let scale = (0..places).fold(1.0, |s, _| s * 10.0);
    (value * scale).round() / scale
}

fn unit_of(places: i32) -> f64 {
    (0..places).fold(1.0, |s, _| s / 10.0)
}

/// What a link gives for this number; `None` where it gives nothing of its kind.
pub fn expected(context: &Context<'_>, link: Link, number: &Number) -> Option<Expected> {
    let known = |at: usize| context.known.get(at);
    match link {
        Link::Figure(at) => {
            let figure = known(at)?;
            if !figure.kind.fits(number.kind) {
                return None;
            }
            Some(if figure.kind.compares() {
                of_change(context, at, figure, number)
            } else {
                of_amount(figure)
            })
        }
        Link::Ratio(a, b) => {
            let (a, b) = (known(a)?, known(b)?);
            let printed = (round_to(a.value, a.places), round_to(b.value, b.places));
            let changes = [(a.value / b.value - 1.0) * 100.0, (printed.0 / printed.1 - 1.0) * 100.0];
            changes.iter().all(|c| c.is_finite()).then(|| compared(number.kind, &changes, 0.0))
        }
        Link::Difference(a, b) => {
            let (a, b) = (known(a)?, known(b)?);
            let printed = round_to(a.value, a.places) - round_to(b.value, b.places);
            let values = vec![a.value - b.value, printed];
            Some(Expected { values, agreed: 0.0, was: None, once: Vec::new(), turned: Vec::new() })
        }
    }
}

fn of_amount(figure: &Known) -> Expected {
    Expected {
        values: vec![figure.value],
        agreed: unit_of(figure.places),
        was: figure.was,
        once: figure.once.clone(),
        turned: Vec::new(),
    }
}

/// A ratio, from whose side the text tells it.
fn of_change(context: &Context<'_>, at: usize, figure: &Known, number: &Number) -> Expected {
    let (sides, ids) = (context.sides(number), &context.names.of[at]);
    let is = |who: Option<Who>, part: Option<usize>| who.is_some() && who == part.map(Who::Part);
    let sentence = context.sentence(number);
    let named = |part: Option<usize>| context.parts(sentence).any(|m| is(Some(m.who), part));
    // Without 'than' whom, and with both named, it is told from the contender's side.
    let alone = sides.base.is_none() && is(sides.subject, ids.baseline) && !named(ids.part);
    let backwards = is(sides.base, ids.part) || alone;
    let view = |change: f64| if backwards { inverse(change) } else { change };
    let agreed = if number.kind == Kind::Times { 0.01 } else { 1.0 } * unit_of(figure.places);
    Expected {
        was: figure.was.map(|c| told(number.kind, view(c))),
        once: figure.once.iter().map(|c| told(number.kind, view(*c))).collect(),
        ..compared(number.kind, &[view(figure.value)], if backwards { 0.0 } else { agreed })
    }
}

fn compared(kind: Kind, changes: &[f64], agreed: f64) -> Expected {
    let change = changes.first().copied().unwrap_or(0.0);
    let turned = if change.abs() < TELLS_TURNED {
        Vec::new()
    } else if kind == Kind::Times {
        vec![told(kind, inverse(change))]
    } else {
        vec![-change, inverse(change), -inverse(change)]
    };
    let values = changes.iter().map(|c| told(kind, *c)).collect();
    Expected { values, agreed, was: None, once: Vec::new(), turned }
}

impl Expected {
    /// The value in full.
    pub fn value(&self) -> f64 {
        self.values.first().copied().unwrap_or(f64::NAN)
    }

    /// How the number stands to it.
    pub fn compare(&self, number: &Number) -> Match {
        if self.values.iter().any(|v| says(number, *v)) {
            return if self.too_fine(number) { Match::Rounded } else { Match::Right };
        }
        if self.was.is_some_and(|v| says(number, v)) {
            return Match::Was;
        }
        if self.once.iter().any(|v| says(number, *v)) {
            return Match::Once;
        }
        if self.turned.iter().any(|v| says(number, *v)) {
            return Match::Turned;
        }
        let spoken = matches!(number.kind, Kind::Money(_)) && number.step < 0.1;
        if spoken && self.values.iter().any(|v| (v - number.low * 100.0).abs() < 0.5) {
            return Match::Cents;
        }
        let near = |v: &f64| {
            signed(number, *v).is_some_and(|v| (v - number.low).abs() < number.step + number.loose - EPS)
        };
        let ranged = number.high > number.low;
        if !ranged && number.hedge != Hedge::About && self.values.iter().any(near) {
            return Match::Rounded;
        }
        Match::Wrong
    }

    /// Whether it is told in more digits than were agreed on, or exactly and in fewer.
    fn too_fine(&self, number: &Number) -> bool {
        if self.agreed == 0.0 || number.step == 0.0 || number.high > number.low {
            return false;
        }
        let finer = number.step < self.agreed * (1.0 - EPS) && !is_multiple(number.low, self.agreed);
        let coarser = number.step > self.agreed * (1.0 + EPS);
        match number.hedge {
            Hedge::None => finer,
            Hedge::Exactly => finer || coarser,
            _ => false,
        }
    }
}

fn is_multiple(value: f64, step: f64) -> bool {
    let times = value / step;
    (times - times.round()).abs() < 1e-6
}

/// The magnitude of a value where its direction agrees with the number's; factors and amounts as they are.
fn signed(number: &Number, value: f64) -> Option<f64> {
    if number.kind != Kind::Change {
        return Some(value);
    }
    match number.sense {
        Sense::Unsaid => Some(value.abs()),
        Sense::More if value > -EPS => Some(value),
        Sense::Less if value < EPS => Some(-value),
        _ => None,
    }
}

/// Whether the number, with its hedge, says this value.
fn says(number: &Number, value: f64) -> bool {
    let Some(value) = signed(number, value) else { return false };
    let half = number.step / 2.0 + number.loose;
    if number.high > number.low {
        return value >= number.low - half - EPS && value <= number.high + half + EPS;
    }
    let (below, above) = number.hedge.reach(number.low, half, number.kind == Kind::Change);
    let off = value - number.low;
    let strict = if number.hedge.one_sided() { -EPS } else { EPS };
    match number.hedge {
        Hedge::Nearly | Hedge::Under => off < strict && off >= -below - EPS,
        Hedge::Over | Hedge::JustOver => off > -strict && off <= above + EPS,
        _ => off >= -below - EPS && off <= above + EPS,
    }
}

/// Judges a number by its figure.
pub fn judge(context: &Context<'_>, link: Option<Link>, number: &Number) -> Judged {
    let Some((link, wanted)) = link.and_then(|link| Some((link, expected(context, link, number)?))) else {
        return Judged::default();
    };
    let found = wanted.compare(number);
    let right = Some((number.kind, wanted.value()));
    let verdict = match found {
        Match::Right => standing(context, link, number),
        Match::Rounded => Verdict::Rounded,
        Match::Was => Verdict::Lapsed,
        Match::Once => Verdict::OldEdition,
        Match::Turned => Verdict::Turned,
        Match::Cents | Match::Wrong => Verdict::Wrong,
    };
    Judged { verdict, right, cents: found == Match::Cents }
}

/// Of a number that is right: what else there is to say.
fn standing(context: &Context<'_>, link: Link, number: &Number) -> Verdict {
    let figures: Vec<&Known> = link.figures().into_iter().filter_map(|at| context.known.get(at)).collect();
    let any = |of: fn(&Known) -> bool| figures.iter().any(|k| of(k));
    if any(|k| k.standing == Standing::Lapsed) {
        return Verdict::Lapsed;
    }
    if any(|k| k.standing == Standing::NotAgreed) {
        return Verdict::NotAgreed;
    }
    if any(|k| k.source == Source::Missing) {
        return Verdict::NoSource;
    }
    let sentence = context.sentence(number);
    let inside = |k: &Known| k.interval.is_some_and(|(low, high)| low <= 0.0 && high >= 0.0);
    if figures.iter().any(|k| inside(k)) && !context.says(sentence, context.words.level) {
        return Verdict::Noise;
    }
    if let Link::Figure(at) = link
        && context.known[at].kind.compares()
        && context.names.of[at].baseline.is_some()
        && !baseline_said(context, at, number)
    {
        return Verdict::BaselineUnsaid;
    }
    let lows: Vec<LowBy> = figures.iter().filter_map(|k| k.low).collect();
    if lows.iter().any(|low| !low_said(context, *low)) {
        return Verdict::LowUnsaid;
    }
    Verdict::Right
}

/// Whether the text says with whom it compares: in its sentence, or before it in its paragraph.
fn baseline_said(context: &Context<'_>, at: usize, number: &Number) -> bool {
    let sentence = context.sentence(number);
    let ids = &context.names.of[at];
    let paragraph = context.of(sentence).next().map(|t| t.paragraph);
    let named = |part: Option<usize>| {
        part.is_some_and(|part| {
            context.seen.iter().any(|m| {
                let token = &context.tokens[m.tokens.start];
                m.who == Who::Part(part) && token.sentence <= sentence && Some(token.paragraph) == paragraph
            })
        })
    };
    let sides = context.sides(number);
    let turned = sides.base.is_some() && sides.base == ids.part.map(Who::Part);
    named(ids.baseline) || sides.base_said || turned
}

/// Whether the text says anywhere how this low is defined.
fn low_said(context: &Context<'_>, low: LowBy) -> bool {
    let all = match low {
        LowBy::Quantile => context.words.quantile,
        LowBy::TailMean => context.words.tail_mean,
        LowBy::TimeShare => context.words.time_share,
    };
    let starts = |at: usize, phrase: &[&str]| {
        super::units::starts(context.tokens, at, phrase, context.tokens[at].sentence)
    };
    (0..context.tokens.len()).any(|at| all.iter().any(|phrase| starts(at, phrase)))
}

#[cfg(test)]
mod tests {
    use super::super::{Form, Number, check};
    use super::*;

    /// A measured value of a part.
    fn known(key: &str, kind: Kind, value: f64, part: &str) -> Known {
        Known {
            key: key.to_owned(),
            name: key.to_owned(),
            kind,
            value,
            places: 0,
            measure: "average".to_owned(),
            part: part.to_owned(),
            baseline: String::new(),
            scene: String::new(),
            setting: String::new(),
            overall: false,
            standing: Standing::Agreed,
            was: None,
            once: Vec::new(),
            interval: None,
            low: None,
            source: Source::Measured,
        }
    }

    fn pair(kind: Kind, old: f64, new: f64) -> Vec<Known> {
        vec![known("old", kind, old, "Dunlin"), known("new", kind, new, "Curlew")]
    }

    fn verdicts(text: &str, known: &[Known]) -> Vec<Verdict> {
        check(text, Form::Plain, known, &[]).numbers.iter().map(|one| one.judged.verdict).collect()
    }

    /// Facts of the trade: common practice, no source.
    #[test]
    fn changes_that_everybody_in_the_trade_works_out() {
        let cases = [
            (Kind::Fps, 94.0, 150.0, "From 94 to 150 fps the Curlew is 60% faster than the Dunlin."),
            (Kind::Fps, 173.0, 221.0, "From 173 to 221 fps the Curlew is 28% faster than the Dunlin."),
            (Kind::W, 450.0, 575.0, "From 450 to 575 W the Curlew draws 28% more power than the Dunlin."),
            (Kind::GB, 24.0, 32.0, "From 24 to 32 GB the Curlew has a third more memory than the Dunlin."),
            (Kind::Ms, 31.0, 40.0, "From 31 to 40 ms the Curlew has 29% more latency than the Dunlin."),
            (Kind::Ms, 31.0, 40.0, "From 31 to 40 ms the Curlew has 9 ms more latency than the Dunlin."),
        ];
        for (kind, old, new, text) in cases {
            assert_eq!(verdicts(text, &pair(kind, old, new)), [Verdict::Right; 3], "{text}");
        }
        let wrong = "From 94 to 150 fps the Curlew is 37% faster than the Dunlin.";
        assert_eq!(verdicts(wrong, &pair(Kind::Fps, 94.0, 150.0))[2], Verdict::Turned, "1 - 94/150 is 37%");
    }

    #[test]
    fn a_low_must_be_told_with_the_definition_that_was_agreed() {
        let low = Known { low: Some(LowBy::TailMean), ..known("low", Kind::Fps, 71.0, "Dunlin") };
        let says = |text: &str| verdicts(text, std::slice::from_ref(&low));
        assert_eq!(says("The 1% low of the Dunlin is 71 fps."), [Verdict::LowUnsaid]);
        assert_eq!(says("The 1% low of the Dunlin, a percentile, is 71 fps."), [Verdict::LowUnsaid]);
        assert_eq!(
            says("The 1% low of the Dunlin, the mean of the slowest 1% of frames, is 71 fps."),
            [Verdict::Right]
        );
    }

    #[test]
    fn more_digits_than_were_agreed_are_rounded_wrongly_and_fewer_are_not() {
        let dunlin = [Known { places: 1, ..known("one", Kind::Fps, 94.14, "Dunlin") }];
        let cases = [
            ("94.1", Verdict::Right),
            ("94", Verdict::Right),
            ("94.14", Verdict::Rounded),
            ("94.2", Verdict::Rounded),
            ("95", Verdict::Rounded),
            ("96", Verdict::Wrong),
        ];
        for (number, want) in cases {
            assert_eq!(verdicts(&format!("The Dunlin makes {number} fps."), &dunlin), [want], "{number}");
        }
        for (text, want) in [
            ("The Dunlin makes exactly 94 fps.", Verdict::Rounded),
            ("The Dunlin makes nearly 94 fps.", Verdict::Rounded),
            ("The Dunlin makes nearly 95 fps.", Verdict::Right),
            ("The Dunlin makes about 90 fps.", Verdict::Right),
            ("The Dunlin makes over 90 fps.", Verdict::Right),
            ("The Dunlin makes over 80 fps.", Verdict::Wrong),
        ] {
            assert_eq!(verdicts(text, &dunlin), [want], "{text}");
        }
    }

    #[test]
    fn a_change_is_signed_by_its_words() {
        let number = Number {
            span: 0..1,
            tokens: 0..1,
            kind: Kind::Change,
            low: 28.0,
            high: 28.0,
            step: 1.0,
            loose: 0.0,
            hedge: Hedge::None,
            sense: Sense::Less,
            difference: false,
        };
        let expected = compared(Kind::Change, &[27.8], 1.0);
        assert_eq!(expected.compare(&number), Match::Turned);
        let more = Number { sense: Sense::More, ..number.clone() };
        assert_eq!(expected.compare(&more), Match::Right);
        let inverse = Number { low: 22.0, high: 22.0, sense: Sense::More, ..number };
        assert_eq!(expected.compare(&inverse), Match::Turned);
    }
}
