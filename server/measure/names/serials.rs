//! Words that look like serial numbers or identifiers of machines: long mixtures of letters and digits, GUIDs (RFC 9562
//! (2024), section 4), MAC addresses (IEEE 802, six pairs of hexadecimal digits), and what stands behind 'serial number'.

/// Letters and digits in a row that a serial number has at least.
const LEAST: usize = 10;
/// Digits among them.
const DIGITS: usize = 6;
/// Digits side by side among them, or else this many changes between letters and digits.
const SIDE_BY_SIDE: usize = 4;
const CHANGES: usize = 6;
/// Of what a label calls so.
const LABELLED: usize = 6;
const LABELLED_DIGITS: usize = 4;
/// Groups of a GUID, with their lengths.
const GUID: [usize; 5] = [8, 4, 4, 4, 12];
/// Groups of a MAC address.
const MAC: [usize; 6] = [2; 6];
/// What may stand behind a number without making a name of it, in lower case.
const UNITS: [&str; 19] = [
    "s", "ms", "us", "ns", "hz", "khz", "mhz", "ghz", "w", "mw", "b", "kb", "mb", "gb", "fps", "rpm", "x",
    "f", "e",
];

/// Where the serial number ends that begins with the word at `start..end`.
pub(super) fn at(bytes: &[u8], start: usize, end: usize) -> Option<usize> {
    let word = &bytes[start..end];
    match word.len() {
        2 => grouped(&bytes[start..], &MAC).map(|length| start + length),
        8 => grouped(&bytes[start..], &GUID)
            .or_else(|| labelled(bytes, start, word).then_some(8))
            .map(|length| start + length),
        LABELLED.. if mixed(word) || labelled(bytes, start, word) => Some(end),
        _ => None,
    }
}

/// Length of hexadecimal groups of these lengths with one sign between, and no word behind.
fn grouped(bytes: &[u8], groups: &[usize]) -> Option<usize> {
    let sign = *bytes.get(groups[0]).filter(|sign| matches!(sign, b'-' | b':'))?;
    let mut at = 0;
    for (n, length) in groups.iter().enumerate() {
        if n > 0 {
            bytes.get(at).filter(|byte| **byte == sign)?;
            at += 1;
        }
        let group = bytes.get(at..at + length)?;
        if !group.iter().all(u8::is_ascii_hexdigit) {
            return None;
        }
        at += length;
    }
    let told = sign == b':' || bytes[..at].iter().any(u8::is_ascii_alphabetic);
    let alone = bytes.get(at).is_none_or(|byte| !super::is_word(*byte) && *byte != sign);
    (told && alone).then_some(at)
}

fn mixed(word: &[u8]) -> bool {
    let digits = word.iter().filter(|byte| byte.is_ascii_digit()).count();
    if word.len() < LEAST || digits < DIGITS || digits == word.len() || !word.is_ascii() || is_number(word) {
        return false;
    }
    let (mut row, mut longest, mut changes) = (0, 0, 0);
    for pair in word.windows(2) {
        changes += usize::from(pair[0].is_ascii_digit() != pair[1].is_ascii_digit());
    }
    for byte in word {
        row = if byte.is_ascii_digit() { row + 1 } else { 0 };
        longest = longest.max(row);
    }
    longest >= SIDE_BY_SIDE || changes >= CHANGES
}

/// A number with its unit or exponent, or a date behind a word.
fn is_number(word: &[u8]) -> bool {
    let stamp = |byte: &u8| byte.is_ascii_digit() || matches!(byte, b'T' | b'Z' | b't' | b'z');
    if word.iter().all(stamp) {
        return true;
    }
    let digits = word.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let behind = word[digits..].to_ascii_lowercase();
    let exponent = behind.strip_prefix(b"e").is_some_and(|digits| digits.iter().all(u8::is_ascii_digit));
    if digits > 0 && (exponent || UNITS.iter().any(|unit| unit.as_bytes() == behind)) {
        return true;
    }
    let letters = word.iter().take_while(|byte| byte.is_ascii_alphabetic()).count();
    let rest = &word[letters..];
    let between = |of: &[u8], from: u8, to: u8| {
        let value =
            of.iter().fold(0_u8, |sum, digit| sum.wrapping_mul(10).wrapping_add(digit.wrapping_sub(b'0')));
        (from..=to).contains(&value)
    };
    rest.len() >= 8
        && rest.iter().all(stamp)
        && between(&rest[..2], 19, 20)
        && between(&rest[4..6], 1, 12)
        && between(&rest[6..8], 1, 31)
}

/// Whether the words before call it a serial number.
fn labelled(bytes: &[u8], start: usize, word: &[u8]) -> bool {
    let digits = word.iter().filter(|byte| byte.is_ascii_digit()).count();
    if word.len() < LABELLED || digits < LABELLED_DIGITS {
        return false;
    }
    let signs = bytes[..start].iter().rev().take_while(|byte| b" :=#,;\"\t.".contains(byte)).count();
    let before = &bytes[..start - signs];
    // Most words of a log are numbers behind numbers.
    if signs == 0 || !before.last().is_some_and(u8::is_ascii_alphabetic) {
        return false;
    }
    let label = before[before.len().saturating_sub(16)..].to_ascii_lowercase();
    ["serial", "serial number", "serial no", "s/n"].iter().any(|word| label.ends_with(word.as_bytes()))
}
