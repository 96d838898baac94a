//! Money as decimal text with a currency: kept and added exactly, scaled by a measured number only where that number is
//! what makes it uncertain, and then rounded to the cent.

use serde::{Serialize, Serializer};

/// Places behind the point that are kept: prices of a kilowatt-hour have four.
const PLACES: usize = 4;
/// Ten-thousandths in one unit of a currency.
const UNIT: i64 = 10_000;
/// Ten-thousandths in a cent.
const CENT: f64 = 100.0;
/// Beyond this nobody prices anything here: it keeps products within whole numbers.
const MOST: i64 = 1_000_000_000_000 * UNIT / 10_000;

/// An amount in whole ten-thousandths of a currency that is said beside it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Amount(i64);

impl Amount {
    /// Reads decimal digits with at most one point and four places, as in `1450.00`; `None` for anything else and for
    /// amounts beyond a hundred million.
    pub fn parse(text: &str) -> Option<Amount> {
        let (whole, part) = text.split_once('.').unwrap_or((text, ""));
        let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
        let part = part.trim_end_matches('0');
        if whole.is_empty() || !digits(whole) || !digits(part) || part.len() > PLACES {
            return None;
        }
        let whole: i64 = whole.parse().ok().filter(|whole| *whole <= MOST / UNIT)?;
        let part: i64 = format!("{part:0<PLACES$}").parse().ok()?;
        Some(Amount(whole * UNIT + part))
    }

    /// This amount times a measured number, to the nearest cent; `None` where the result is no amount.
    pub fn times(self, factor: f64) -> Option<Amount> {
        let cents = libm::round(self.0 as f64 * factor / CENT);
        let within = cents.is_finite() && cents.abs() * CENT <= MOST as f64;
        // Whole and far below 2^53.
        #[expect(clippy::cast_possible_truncation, reason = "whole and bounded just before")]
        within.then(|| Amount(cents as i64 * 100))
    }

    /// Both together; bounded amounts cannot overflow.
    #[must_use]
    pub fn plus(self, other: Amount) -> Amount {
        Amount(self.0.saturating_add(other.0))
    }

    /// What is left of this one.
    #[must_use]
    pub fn minus(self, other: Amount) -> Amount {
        Amount(self.0.saturating_sub(other.0))
    }

    /// This one over another; not finite over nothing.
    pub fn over(self, other: Amount) -> f64 {
        self.0 as f64 / other.0 as f64
    }

    /// As a number in the currency, for prices of a frame.
    pub fn value(self) -> f64 {
        self.0 as f64 / UNIT as f64
    }

    /// Whether nothing is left.
    pub fn is_zero(self) -> bool {
        self.0 == 0
    }
}

impl std::fmt::Display for Amount {
    /// `1450.00`: at least two places, more where there are more.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (whole, part) = (self.0.unsigned_abs() / 10_000, self.0.unsigned_abs() % 10_000);
        let part = format!("{part:04}");
        let kept = part.trim_end_matches('0');
        let sign = if self.0 < 0 { "-" } else { "" };
        write!(f, "{sign}{whole}.{kept:0<2}")
    }
}

impl Serialize for Amount {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn amount(text: &str) -> Amount {
        Amount::parse(text).unwrap()
    }

    #[test]
    fn decimal_texts_are_read_and_written_to_the_digit() {
        for (text, written) in [
            ("1450.00", "1450.00"),
            ("890", "890.00"),
            ("0.3125", "0.3125"),
            ("0.350", "0.35"),
            ("7.5", "7.50"),
        ] {
            assert_eq!(amount(text).to_string(), written);
        }
        for bad in ["", ".5", "1,5", "-1", "1.23456", "1 450", "999999999999999999999", "1e3", "1.2.3"] {
            assert_eq!(Amount::parse(bad), None, "{bad}");
        }
    }

    /// 0.10 + 0.20 is 0.30, which it is not in binary.
    #[test]
    fn sums_are_exact_and_products_are_rounded_to_the_cent() {
        assert_eq!(amount("0.10").plus(amount("0.20")), amount("0.30"));
        assert_eq!(amount("1450.00").minus(amount("1790.00")).to_string(), "-340.00");
        assert_eq!(amount("1600").times(1.28), Some(amount("2048")));
        assert_eq!(amount("0.35").times(130.0), Some(amount("45.50")));
        assert_eq!(amount("1").times(f64::NAN), None);
        assert_eq!(amount("1").times(1e30), None);
        assert!((amount("2000").over(amount("1600")) - 1.25).abs() < 1e-15);
    }
}
