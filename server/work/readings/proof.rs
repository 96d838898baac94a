//! What a file beside a reading is, by its content: a photo, a document or plain text, and nothing that runs.

use crate::store::proofs::ProofKind;
use crate::work::{Kind, Refusal, Result};

/// Bytes of a file at most: a phone's photo has 3 to 12 MB.
pub const MOST_BYTES: usize = 20 << 20;
/// Characters of a name at most.
const NAME: usize = 200;
/// Endings of pictures and documents, with what they promise.
const ENDINGS: [(&str, ProofKind); 5] = [
    ("jpg", ProofKind::Jpeg),
    ("jpeg", ProofKind::Jpeg),
    ("png", ProofKind::Png),
    ("webp", ProofKind::WebP),
    ("pdf", ProofKind::Pdf),
];
/// Endings of plain text.
const TEXTS: [&str; 5] = ["txt", "csv", "tsv", "log", "md"];
/// How scripts and pages begin.
const RUNS: [&str; 4] = ["#!", "<!doctype", "<html", "<script"];

/// What a file is.
///
/// # Errors
/// Refused, naming the file, when it is empty, too large, of no kind that is kept, or not what its name promises.
pub fn kind(name: &str, bytes: &[u8]) -> Result<ProofKind> {
    if bytes.is_empty() {
        return Err(refused(format!("{name} is empty."), "Attach the photo or the log itself."));
    }
    if bytes.len() > MOST_BYTES {
        return Err(too_large(name).into());
    }
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending).to_ascii_lowercase();
    let promised = ENDINGS.iter().find(|(of, _)| *of == ending).map(|(_, kind)| *kind);
    let Some(found) = by_content(bytes).filter(|kind| *kind != ProofKind::Text || TEXTS.contains(&&*ending))
    else {
        let mend = "Attach a photo (JPEG, PNG, WebP), a PDF, or plain text as .txt, .csv, .tsv, .log or .md.";
        let says = match promised {
            Some(kind) => format!("{name} is called a {kind}, but its content is none."),
            None => format!("{name} is of no kind that is kept beside a reading."),
        };
        return Err(refused(says, mend));
    };
    match promised {
        Some(promised) if promised != found => {
            let says = format!("{name} is called a {promised}, but its content is {found}.");
            Err(refused(says, "Attach the file that is meant, or give this one its right ending."))
        }
        _ => Ok(found),
    }
}

/// Signatures of the file formats' own standards: JPEG (ISO/IEC 10918-1), PNG (ISO/IEC 15948, 5.2), WebP in RIFF, PDF
/// (ISO 32000-1, 7.5.2). `None` for all else that is not plain text.
fn by_content(bytes: &[u8]) -> Option<ProofKind> {
    if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
        return Some(ProofKind::Jpeg);
    }
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        return Some(ProofKind::Png);
    }
    if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        return Some(ProofKind::WebP);
    }
    if bytes.starts_with(b"%PDF-") {
        return Some(ProofKind::Pdf);
    }
    let text = std::str::from_utf8(bytes).ok()?;
    let start: String = text.trim_start_matches('\u{feff}').trim_start().chars().take(16).collect();
    let runs = RUNS.iter().any(|way| start.to_ascii_lowercase().starts_with(way));
    let plain = text.chars().all(|c| !c.is_control() || matches!(c, '\t' | '\n' | '\r'));
    (plain && !runs).then_some(ProofKind::Text)
}

/// The name that a file is kept under: without folders, not endless.
pub fn name(of: &str) -> String {
    let last = of.rsplit(['/', '\\']).next().unwrap_or(of);
    let kept: String = last.chars().filter(|c| !c.is_control()).take(NAME).collect();
    if kept.trim().is_empty() { "file".to_owned() } else { kept }
}

/// The file is larger than what is kept.
pub fn too_large(name: &str) -> Refusal {
    let says = format!("{name} is larger than {} MiB.", MOST_BYTES >> 20);
    let mend = "Send a smaller picture of it; the reading itself is kept.";
    Refusal::new(Kind::TooLarge, "Too large", says, mend)
}

fn refused(says: String, mend: &str) -> crate::work::Error {
    Refusal::new(Kind::Invalid, "Not attached", says, mend).into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::Error;

    const JPEG: &[u8] = &[0xff, 0xd8, 0xff, 0xe0, 0, 16, b'J', b'F', b'I', b'F'];

    #[track_caller]
    fn says(name: &str, bytes: &[u8]) -> String {
        let Err(Error::Refused(refusal)) = kind(name, bytes) else { panic!("{name} is taken") };
        refusal.says
    }

    #[test]
    fn a_file_is_what_its_content_is() {
        assert_eq!(kind("meter.jpg", JPEG).unwrap(), ProofKind::Jpeg);
        assert_eq!(kind("meter", JPEG).unwrap(), ProofKind::Jpeg, "phones forget endings");
        assert_eq!(kind("meter.png", b"\x89PNG\r\n\x1a\n\0").unwrap(), ProofKind::Png);
        assert_eq!(kind("m.webp", b"RIFF\0\0\0\0WEBPVP8 ").unwrap(), ProofKind::WebP);
        assert_eq!(kind("m.pdf", b"%PDF-1.7\n").unwrap(), ProofKind::Pdf);
        assert_eq!(kind("meter.csv", "zeit;dB\n0;41,2\n".as_bytes()).unwrap(), ProofKind::Text);
    }

    #[test]
    fn what_is_not_what_it_is_called_is_refused_by_name() {
        assert_eq!(
            says("meter.jpg", b"#!/bin/sh\nrm -r x\n"),
            "meter.jpg is called a JPEG, but its content is none."
        );
        assert_eq!(
            says("meter.jpg", b"a plain text"),
            "meter.jpg is called a JPEG, but its content is none."
        );
        assert_eq!(says("meter.png", JPEG), "meter.png is called a PNG, but its content is JPEG.");
        for (name, bytes) in [
            ("page.txt", &b"\n<HTML><body>"[..]),
            ("run.log", b"#!/bin/sh\n"),
            ("meter.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
            ("tool.exe", b"MZ\x90\0"),
            ("notes.txt", b"\xff\xfe\0a"),
        ] {
            assert_eq!(says(name, bytes), format!("{name} is of no kind that is kept beside a reading."));
        }
        assert_eq!(says("meter.jpg", b""), "meter.jpg is empty.");
        let mut large = JPEG.to_vec();
        large.resize(MOST_BYTES + 1, 0);
        assert_eq!(says("meter.jpg", &large), "meter.jpg is larger than 20 MiB.");
    }

    #[test]
    fn a_name_is_kept_without_its_folders() {
        assert_eq!(name("C:\\Users\\m\\meter.jpg"), "meter.jpg");
        assert_eq!(name("../../etc/passwd"), "passwd");
        assert_eq!(name("a\nb.txt"), "ab.txt");
        assert_eq!(name("/"), "file");
    }
}
