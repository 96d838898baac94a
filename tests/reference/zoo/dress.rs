//! A table of cells put into clothes: delimiter, decimal mark, quotes, preamble, comments, line ends, encoding, faults.

use super::dice::Dice;

/// How cells become bytes.
#[derive(Clone, Copy, Debug)]
pub struct Clothes {
    pub delimiter: &'static str,
    pub decimal: char,
    pub grouped: bool,
    pub encoding: Encoding,
    pub line_end: &'static str,
    pub quoted: bool,
    pub preamble: usize,
    pub commented: bool,
    pub blank_before_rows: bool,
    pub last_end: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    Utf8,
    Utf8Mark,
    Latin1,
    Utf16Le,
    Utf16Be,
    Utf16LeNoMark,
}

impl Clothes {
    pub fn draw(dice: &mut Dice) -> Self {
        let delimiter = dice.pick(&[",", ",", ";", ";", "\t", "\t", "|", "  ", " "]);
        let decimal = if delimiter != "," && dice.chance(45) { ',' } else { '.' };
        Self {
            delimiter,
            decimal,
            grouped: delimiter.trim() != "" && dice.chance(8),
            encoding: dice.pick(&[
                Encoding::Utf8,
                Encoding::Utf8,
                Encoding::Utf8Mark,
                Encoding::Latin1,
                Encoding::Utf16Le,
                Encoding::Utf16Be,
                Encoding::Utf16LeNoMark,
            ]),
            line_end: dice.pick(&["\n", "\n", "\r\n", "\r\n", "\r"]),
            quoted: dice.chance(12),
            preamble: usize::try_from(dice.pick(&[0, 0, 0, 1, 3, 7])).unwrap(),
            commented: dice.chance(12),
            blank_before_rows: dice.chance(8),
            last_end: dice.chance(80),
        }
    }

    /// A number in whole `10^-digits`.
    pub fn number(&self, scaled: i64, digits: u32) -> String {
        let power = 10_i64.pow(digits);
        let whole = scaled.abs() / power;
        let sign = if scaled < 0 { "-" } else { "" };
        let mut text = if self.grouped { self.group(whole) } else { whole.to_string() };
        if digits > 0 {
            text = format!("{text}{}{:0width$}", self.decimal, scaled.abs() % power, width = digits as usize);
        }
        format!("{sign}{text}")
    }

    fn group(&self, whole: i64) -> String {
        let mark = if self.decimal == ',' { '.' } else { '\'' };
        let digits = whole.to_string();
        let mut text = String::new();
        for (i, c) in digits.chars().enumerate() {
            if i > 0 && (digits.len() - i).is_multiple_of(3) {
                text.push(mark);
            }
            text.push(c);
        }
        text
    }

    fn cell(&self, cell: &str) -> String {
        let blanks = self.delimiter.trim().is_empty() && self.delimiter != "\t";
        let needs = cell.contains(self.delimiter)
            || cell.contains(['"', '\n'])
            || (blanks && (cell.contains(' ') || cell.is_empty()));
        if needs || self.quoted { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell.to_owned() }
    }

    pub fn line(&self, cells: &[String]) -> String {
        cells.iter().map(|c| self.cell(c)).collect::<Vec<_>>().join(self.delimiter)
    }

    /// Lines before the header.
    pub fn head(&self, dice: &mut Dice) -> Vec<String> {
        let comment = if self.commented { "# " } else { "" };
        let mut lines: Vec<String> = (0..self.preamble)
            .map(|i| match (i + usize::try_from(dice.below(5)).unwrap()) % 5 {
                0 => format!("{comment}bench alder, third run"),
                1 => format!("{comment}recorded: 2026-11-24 22:30:33"),
                2 => format!("{comment}width{}3840", self.delimiter.trim_end_matches(' ')),
                3 if self.commented => "#".to_owned(),
                3 => String::new(),
                _ => format!("{comment}cap = none"),
            })
            .collect();
        if self.preamble > 0 && dice.chance(40) {
            lines.push(String::new());
        }
        lines
    }

    pub fn bytes(&self, lines: &[String]) -> Vec<u8> {
        let mut text = lines.join(self.line_end);
        if self.last_end {
            text += self.line_end;
        }
        let wide = |bytes: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(bytes).collect::<Vec<u8>>();
        match self.encoding {
            Encoding::Utf8 => text.into_bytes(),
            Encoding::Utf8Mark => [b"\xEF\xBB\xBF", text.as_bytes()].concat(),
            Encoding::Latin1 => text.chars().map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')).collect(),
            Encoding::Utf16Le => [vec![0xFF, 0xFE], wide(u16::to_le_bytes)].concat(),
            Encoding::Utf16Be => [vec![0xFE, 0xFF], wide(u16::to_be_bytes)].concat(),
            Encoding::Utf16LeNoMark => wide(u16::to_le_bytes),
        }
    }
}
