//! File names that say which cell a log belongs to: `{part}_{scene}_{setting}_{rig}_p{pass}`.
//!
//! Words in braces are ours; the text between them is literal. What stands for a word must be the name of something
//! in the registers, without regard to case, spaces and punctuation, so a name may hold the text between the words too.

/// What a word in braces stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// A part: model, or maker and model.
    Part,
    /// A tuning of the part.
    Tuning,
    /// A scene: passage, game, or both.
    Scene,
    /// A setting.
    Setting,
    /// A rig.
    Rig,
    /// Number of the pass: any digits; passes are numbered as they are made.
    Pass,
    /// Anything.
    Any,
}

impl Word {
    /// All words with how they are written.
    pub const ALL: [(Self, &'static str); 7] = [
        (Self::Part, "part"),
        (Self::Tuning, "tuning"),
        (Self::Scene, "scene"),
        (Self::Setting, "setting"),
        (Self::Rig, "rig"),
        (Self::Pass, "pass"),
        (Self::Any, "any"),
    ];
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Bit {
    Text(String),
    Word(Word),
}

/// A pattern of file names, without their ending.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pattern(Vec<Bit>);

impl Pattern {
    /// Reads a pattern as it was typed.
    ///
    /// # Errors
    /// In words, what is wrong with it and where.
    pub fn parse(typed: &str) -> Result<Self, String> {
        let (mut bits, mut rest) = (Vec::new(), typed.trim());
        while !rest.is_empty() {
            let (text, after) = rest.split_once('{').unwrap_or((rest, ""));
            if text.contains('}') {
                return Err(format!("There is a '}}' without its '{{' after '{text}'."));
            }
            if !text.is_empty() {
                bits.push(Bit::Text(text.to_lowercase()));
            }
            if text.len() == rest.len() {
                break;
            }
            let Some((word, after)) = after.split_once('}') else {
                return Err(format!("'{{{after}' has no '}}'."));
            };
            let word = Word::ALL
                .iter()
                .find(|(_, written)| word.trim().eq_ignore_ascii_case(written))
                .ok_or_else(|| {
                    format!(
                        "'{{{word}}}' is no word; there are {}.",
                        Word::ALL.map(|(_, w)| format!("{{{w}}}")).join(", ")
                    )
                })?;
            if matches!(bits.last(), Some(Bit::Word(_))) {
                return Err("Two words need some text between them, such as '_'.".to_owned());
            }
            if word.0 != Word::Any && bits.contains(&Bit::Word(word.0)) {
                return Err(format!("'{{{}}}' stands twice.", word.1));
            }
            bits.push(Bit::Word(word.0));
            rest = after;
        }
        if bits.iter().any(|bit| matches!(bit, Bit::Word(word) if *word != Word::Any)) {
            Ok(Self(bits))
        } else {
            Err("It has no word in braces, as in {part}_{scene}_{setting}.".to_owned())
        }
    }

    /// Whether the pattern names this.
    pub fn names(&self, word: Word) -> bool {
        self.0.contains(&Bit::Word(word))
    }

    /// What stands in a name (without its ending) for each word; none when it does not fit. `known` says whether a
    /// text names something; shorter texts are tried first.
    pub fn read(&self, name: &str, known: &dyn Fn(Word, &str) -> bool) -> Option<Vec<(Word, String)>> {
        let mut found = Vec::new();
        fits(&self.0, &name.to_lowercase(), known, &mut found).then_some(found)
    }
}

/// Ways in which teams name their logs, the fullest first; '_' may be another separator.
const USUAL: [&str; 9] = [
    "{part}_{tuning}_{scene}_{setting}_{rig}_p{pass}",
    "{part}_{scene}_{setting}_{rig}_p{pass}",
    "{part}_{tuning}_{scene}_{setting}_p{pass}",
    "{part}_{scene}_{setting}_p{pass}",
    "{part}_{scene}_{setting}_{rig}_{any}",
    "{part}_{tuning}_{scene}_{setting}_{any}",
    "{part}_{scene}_{setting}_{any}",
    "{part}_{scene}_{setting}",
    "{part}_{scene}_{any}",
];

/// The usual pattern that most of the names (without their endings) fit, the fullest of several; none when no name
/// fits any. `known` as in [`Pattern::read`].
pub fn guess(names: &[&str], known: &dyn Fn(Word, &str) -> bool) -> Option<String> {
    let mut best = (0, None);
    for separator in ["_", "-", " "] {
        for usual in USUAL {
            let written = usual.replace('_', separator);
            let Ok(pattern) = Pattern::parse(&written) else { continue };
            let fitting = names.iter().filter(|name| pattern.read(name, known).is_some()).count();
            if fitting > best.0 {
                best = (fitting, Some(written));
            }
        }
    }
    best.1
}

fn fits(
    bits: &[Bit],
    name: &str,
    known: &dyn Fn(Word, &str) -> bool,
    found: &mut Vec<(Word, String)>,
) -> bool {
    let Some((bit, after)) = bits.split_first() else { return name.is_empty() };
    let word = match bit {
        Bit::Text(text) => {
            return name.strip_prefix(text.as_str()).is_some_and(|rest| fits(after, rest, known, found));
        }
        Bit::Word(word) => *word,
    };
    // The text after a word says where it may end.
    let ends = name.char_indices().map(|(at, c)| at + c.len_utf8());
    for end in ends {
        let (text, rest) = name.split_at(end);
        let may_end = match after.first() {
            Some(Bit::Text(next)) => rest.starts_with(next.as_str()),
            _ => rest.is_empty(),
        };
        let is_known = match word {
            Word::Any => true,
            Word::Pass => text.bytes().all(|b| b.is_ascii_digit()),
            _ => may_end && known(word, text),
        };
        if may_end && is_known {
            found.push((word, text.to_owned()));
            if fits(after, rest, known, found) {
                return true;
            }
            found.pop();
        }
    }
    false
}

/// A name without case, spaces and punctuation: what two spellings of it share.
pub fn bare(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: &[(Word, &str)] = &[
        (Word::Part, "Tarnwick Dunlin"),
        (Word::Part, "Dunlin"),
        (Word::Scene, "Nine Lamps"),
        (Word::Scene, "Nine"),
        (Word::Setting, "2160p, native"),
        (Word::Rig, "alder"),
    ];

    fn read(pattern: &str, name: &str) -> Option<Vec<String>> {
        let known = |word, text: &str| NAMES.iter().any(|(w, n)| *w == word && bare(n) == bare(text));
        let found = Pattern::parse(pattern).unwrap().read(name, &known)?;
        Some(found.into_iter().map(|(_, text)| text).collect())
    }

    #[test]
    fn a_name_is_read_by_what_the_registers_know() {
        let usual = "{part}_{scene}_{setting}_{rig}_p{pass}";
        assert_eq!(
            read(usual, "Dunlin_nine-lamps_2160p-native_alder_p3").unwrap(),
            ["dunlin", "nine-lamps", "2160p-native", "alder", "3"]
        );
        // The text between the words may stand in a name as well.
        assert_eq!(
            read(usual, "tarnwick_dunlin_NINE_LAMPS_2160p_native_alder_p12").unwrap()[..3],
            ["tarnwick_dunlin", "nine_lamps", "2160p_native"]
        );
        assert_eq!(read("{any} {part}", "take 2 dunlin").unwrap(), ["take 2", "dunlin"]);
        assert_eq!(read("bench-{rig}", "BENCH-Alder").unwrap(), ["alder"]);
    }

    #[test]
    fn a_pattern_is_guessed_from_names_that_the_registers_know() {
        let known = |word, text: &str| NAMES.iter().any(|(w, n)| *w == word && bare(n) == bare(text));
        let guess = |names: &[&str]| guess(names, &known);
        let usual = ["dunlin_nine_2160p-native_p1", "dunlin_nine_2160p-native_p2", "bench notes"];
        assert_eq!(guess(&usual).unwrap(), "{part}_{scene}_{setting}_p{pass}");
        let with_rig = ["dunlin_nine_2160p-native_alder_p1"];
        assert_eq!(guess(&with_rig).unwrap(), "{part}_{scene}_{setting}_{rig}_p{pass}");
        let other = ["dunlin_nine_2160p-native_p1", "dunlin_nine_2160p-native_cold"];
        assert_eq!(guess(&other).unwrap(), "{part}_{scene}_{setting}_{any}");
        assert_eq!(guess(&["Dunlin-Nine Lamps-2160p native"]).unwrap(), "{part}-{scene}-{setting}");
        assert_eq!(guess(&["curlew_nine_2160p_p1", ""]), None);
    }

    #[test]
    fn what_does_not_fit_is_not_read() {
        let usual = "{part}_{scene}_p{pass}";
        for name in ["dunlin_nine_p", "dunlin_nine_px", "curlew_nine_p1", "dunlin_nine_p1_sensors", "", "_"] {
            assert_eq!(read(usual, name), None, "{name}");
        }
    }

    #[test]
    fn a_slip_in_a_pattern_is_named() {
        for (typed, says) in [
            ("", "no word"),
            ("abc", "no word"),
            ("{any}", "no word"),
            ("{part", "no '}'"),
            ("part}_{scene}", "without its '{'"),
            ("{game}", "'{game}' is no word"),
            ("{part}{scene}", "some text between"),
            ("{part}_{part}", "stands twice"),
        ] {
            let told = Pattern::parse(typed).unwrap_err();
            assert!(told.contains(says), "{typed}: {told}");
        }
        let pattern = Pattern::parse(" {Part}-{ scene } ").unwrap();
        assert!(pattern.names(Word::Scene) && !pattern.names(Word::Rig));
    }
}
