//! From a text as written to the same bytes with all that is not prose blanked, cut into sentences.
//!
//! Blanking keeps every byte's place, so that a span in what is read is the span in what was written. Subtitles:
//! SubRip has no published standard (common practice, no source); WebVTT is W3C's, section 4 (from memory).

use std::ops::Range;

use super::Form;

/// A text made ready to be read.
#[derive(Clone, Debug)]
pub struct Prose {
    /// As long as the text, byte for byte; what is no prose is blank.
    pub text: String,
    /// Its sentences in order.
    pub sentences: Vec<Sentence>,
}

/// A sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sentence {
    /// Its bytes.
    pub span: Range<usize>,
    /// Counts up with each paragraph.
    pub paragraph: usize,
    /// Whether it is a heading.
    pub heading: bool,
}

/// Makes a text ready.
pub fn read(text: &str, form: Form) -> Prose {
    let mut bytes = text.as_bytes().to_vec();
    match form {
        Form::Plain | Form::Markdown => blank_markup(text, &mut bytes, form == Form::Markdown),
        Form::Srt | Form::Vtt => blank_cues(text, &mut bytes),
    }
    blank_addresses(text, &mut bytes);
    // Only whole characters are blanked, with ASCII; should that ever fail, the text is read as it is.
    let prose = String::from_utf8(bytes).unwrap_or_else(|_| text.to_owned());
    let sentences = sentences(&prose);
    Prose { text: prose, sentences }
}

fn blank(bytes: &mut [u8], span: Range<usize>) {
    for byte in &mut bytes[span] {
        if *byte != b'\n' {
            *byte = b' ';
        }
    }
}

/// Lines with their start.
fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut at = 0;
    text.split_inclusive('\n').map(move |line| {
        let start = at;
        at += line.len();
        (start, line.trim_end_matches(['\n', '\r']))
    })
}

fn blank_cues(text: &str, bytes: &mut [u8]) {
    let all: Vec<(usize, &str)> = lines(text).collect();
    let is_time = |at: usize| all.get(at).is_some_and(|(_, line)| line.contains("-->"));
    let mut note = false;
    for (at, (start, line)) in all.iter().enumerate() {
        let bare = line.trim_start_matches('\u{feff}').trim();
        note = (note && !bare.is_empty())
            || ["WEBVTT", "NOTE", "STYLE", "REGION"].iter().any(|word| bare.starts_with(word));
        let after_blank = at == 0 || all.get(at - 1).is_some_and(|(_, before)| before.trim().is_empty());
        if note || is_time(at) || (after_blank && is_time(at + 1)) {
            blank(bytes, *start..start + line.len());
        }
    }
    blank_between(text, bytes, '<', '>');
    // A sentence runs on over cues.
    for byte in bytes {
        if matches!(*byte, b'\n' | b'\r') {
            *byte = b' ';
        }
    }
}

fn blank_between(text: &str, bytes: &mut [u8], open: char, close: char) {
    let mut from = 0;
    while let Some(start) = text[from..].find(open).map(|n| from + n) {
        let inside = start + open.len_utf8();
        let Some(end) = text[inside..].find([close, '\n']).map(|n| inside + n) else { return };
        if text[end..].starts_with(close) {
            blank(bytes, start..end + close.len_utf8());
        }
        from = end + 1;
    }
}

fn blank_markup(text: &str, bytes: &mut [u8], markdown: bool) {
    let mut fenced = false;
    for (start, line) in lines(text) {
        let bare = line.trim_start();
        let indent = start + line.len() - bare.len();
        let fence = markdown && (bare.starts_with("```") || bare.starts_with("~~~"));
        if fence {
            fenced = !fenced;
        }
        if fence || fenced || is_rule(bare) {
            blank(bytes, start..start + line.len());
            continue;
        }
        let digits = bare.bytes().take_while(u8::is_ascii_digit).count();
        let marker = &bare[digits..];
        if (1..=3).contains(&digits) && (marker.starts_with(". ") || marker.starts_with(") ")) {
            blank(bytes, indent..indent + digits + 1);
        }
    }
    if markdown {
        blank_between(text, bytes, '`', '`');
        blank_between(text, bytes, '<', '>');
        let mut from = 0;
        while let Some(start) = text[from..].find("](").map(|n| from + n + 1) {
            let end = text[start..].find([')', '\n']).map_or(text.len(), |n| start + n);
            let closed = text[end..].starts_with(')');
            blank(bytes, start..end + usize::from(closed));
            from = end;
        }
        for byte in bytes {
            if matches!(*byte, b'*' | b'_' | b'[' | b']' | b'\\') {
                *byte = b' ';
            }
        }
    }
}

/// The line below the head of a table, or one across the page.
fn is_rule(line: &str) -> bool {
    line.len() >= 3 && line.contains("--") && line.chars().all(|c| "|-:= \t".contains(c))
}

fn blank_addresses(text: &str, bytes: &mut [u8]) {
    for scheme in ["https://", "http://", "www."] {
        let mut from = 0;
        while let Some(start) = text[from..].find(scheme).map(|n| from + n) {
            let end = text[start..]
                .find(|c: char| c.is_whitespace() || ")>\"".contains(c))
                .map_or(text.len(), |n| start + n);
            blank(bytes, start..end);
            from = end;
        }
    }
}

fn sentences(prose: &str) -> Vec<Sentence> {
    let mut found = Vec::new();
    let mut paragraph = 0;
    let mut start = 0;
    let mut heading = false;
    let mut empty = true;
    for (at, line) in lines(prose) {
        let bare = line.trim();
        let own = ["#", "- ", "* ", "+ ", "|"].iter().any(|mark| bare.starts_with(mark))
            || line.starts_with("   ") && !line.trim().is_empty() && at > start;
        if bare.is_empty() || own || heading {
            push(&mut found, prose, start..at, (paragraph, heading));
            start = at;
            heading = false;
        }
        if bare.is_empty() {
            paragraph += usize::from(!empty);
            empty = true;
            continue;
        }
        empty = false;
        heading = bare.starts_with('#');
        let mut from = at;
        for end in ends(line, at, prose) {
            push(&mut found, prose, start.min(from)..end, (paragraph, heading));
            start = end;
            from = end;
        }
    }
    push(&mut found, prose, start..prose.len(), (paragraph, heading));
    found
}

/// Where sentences end in a line: at a mark followed by a blank and not by a small letter.
fn ends(line: &str, at: usize, prose: &str) -> Vec<usize> {
    let mut ends = Vec::new();
    for (offset, mark) in line.char_indices().filter(|(_, c)| matches!(c, '.' | '!' | '?' | '…')) {
        let end = at + offset + mark.len_utf8();
        let rest = &prose[end..];
        let next = rest.trim_start().chars().next();
        let blank = rest.starts_with(char::is_whitespace);
        let dots = mark == '…' || (mark == '.' && prose[..end - 1].ends_with('.'));
        let big = next.is_some_and(|c| !c.is_lowercase() && (!dots || c.is_uppercase()));
        if blank && big {
            ends.push(end);
        }
    }
    ends
}

fn push(found: &mut Vec<Sentence>, prose: &str, span: Range<usize>, (paragraph, heading): (usize, bool)) {
    if span.start < span.end && !prose[span.clone()].trim().is_empty() {
        found.push(Sentence { span, paragraph, heading });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(text: &str, form: Form) -> Vec<String> {
        let prose = read(text, form);
        assert_eq!(prose.text.len(), text.len(), "each byte keeps its place");
        prose
            .sentences
            .iter()
            .map(|s| prose.text[s.span.clone()].split_whitespace().collect::<Vec<_>>().join(" "))
            .collect()
    }

    #[test]
    fn sentences_end_at_marks_and_not_inside_numbers() {
        let text = "It has HDMI 2.1 and 1.28x the rate. Is it 28... 28 %? Yes.\n\nNew";
        let want = ["It has HDMI 2.1 and 1.28x the rate.", "Is it 28... 28 %?", "Yes.", "New"];
        assert_eq!(cut(text, Form::Plain), want);
    }

    #[test]
    fn subtitles_run_on_over_cues_without_their_numbers_and_times() {
        let srt = "1\r\n00:00:01,000 --> 00:00:02,000\r\nIt runs\r\n\r\n2\r\n00:00:02,000 --> 00:00:03,000\r\n<i>at 150 fps.</i>\r\n";
        assert_eq!(cut(srt, Form::Srt), ["It runs at 150 fps."]);
        let vtt = "WEBVTT\n\nNOTE 12 cues\n\nintro\n00:01.000 --> 00:02.000 line:0\n150 fps\n";
        assert_eq!(cut(vtt, Form::Vtt), ["150 fps"]);
    }

    #[test]
    fn markup_addresses_and_list_numbers_are_no_prose() {
        let text = "# 5 rules\n\n1. See [it](https://example.org/450-watts) at **150 fps**.\n2. `60 fps` no\n\n```\n9 ms\n```\n| --- | --- |\n";
        assert_eq!(cut(text, Form::Markdown), ["# 5 rules", "See it at 150 fps .", "no"]);
    }
}
