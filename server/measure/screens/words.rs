//! How screens write seconds, shares and lists in their sentences.

/// Seconds with one decimal: `8.2 s`.
pub(crate) fn seconds(ns: i64) -> String {
    format!("{:.1} s", ns as f64 / 1e9)
}

/// Milliseconds without decimals: `240 ms`.
pub(crate) fn milliseconds(ns: i64) -> String {
    format!("{:.0} ms", ns as f64 / 1e6)
}

/// A share as per cent: two significant digits below 10 %, whole numbers above.
pub(crate) fn percent(share: f64) -> String {
    let percent = share.abs() * 100.0;
    if percent < 0.995 {
        format!("{percent:.2} %")
    } else if percent < 9.95 {
        format!("{percent:.1} %")
    } else {
        format!("{percent:.0} %")
    }
}

/// `14 % longer` or `9 % shorter`, from a change on the log scale.
pub(crate) fn longer(ln_change: f64) -> String {
    let share = libm::exp(ln_change) - 1.0;
    format!("{} {}", percent(share), if share < 0.0 { "shorter" } else { "longer" })
}

/// A correlation with two decimals.
pub(crate) fn correlation(r: f64) -> String {
    format!("{r:.2}")
}

/// Small counts as words.
pub(crate) fn count(n: usize) -> String {
    const WORDS: [&str; 10] = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
    WORDS.get(n).map_or_else(|| n.to_string(), |w| (*w).to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_as_in_a_sentence() {
        assert_eq!(seconds(8_240_000_000), "8.2 s");
        assert_eq!(milliseconds(239_600_000), "240 ms");
        assert_eq!(percent(0.004), "0.40 %");
        assert_eq!(percent(-0.0421), "4.2 %");
        assert_eq!(percent(0.139), "14 %");
        assert_eq!(longer(libm::log(1.14)), "14 % longer");
        assert_eq!(longer(libm::log(0.91)), "9.0 % shorter");
        assert_eq!(count(3), "three");
        assert_eq!(count(12), "12");
    }
}
