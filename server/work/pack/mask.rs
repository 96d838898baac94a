//! Names in a pack that tell more than they should: folders of somebody's machine, serial numbers.

/// Letters and digits in a row that a serial number has at least.
const SERIAL: usize = 10;
/// Digits among them.
const SERIAL_DIGITS: usize = 6;

/// A file's name without the folders before it, and with what looks like a serial number (ten letters and digits or more
/// in a row, six of them digits; not a date or counter, which have no letters but `T` and `Z`) as crosses.
pub fn masked(name: &str) -> String {
    let name = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let mut out = String::new();
    let mut run = String::new();
    for c in name.chars().chain([' ']) {
        if c.is_ascii_alphanumeric() {
            run.push(c);
            continue;
        }
        let digits = run.chars().filter(char::is_ascii_digit).count();
        let stamp = run.chars().all(|c| c.is_ascii_digit() || c == 'T' || c == 'Z');
        let serial = run.len() >= SERIAL && digits >= SERIAL_DIGITS && !stamp;
        out.push_str(&if serial { "x".repeat(run.len()) } else { std::mem::take(&mut run) });
        run.clear();
        out.push(c);
    }
    out.pop();
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_and_serials_go_and_names_stay() {
        assert_eq!(masked("C:\\Users\\ada\\hairpin 2.csv"), "hairpin 2.csv");
        assert_eq!(masked("/home/ada/run-GPU0123456789AB.csv"), "run-xxxxxxxxxxxxxxx.csv");
        assert_eq!(masked("vellum_20261124T2230.csv"), "vellum_20261124T2230.csv");
        assert_eq!(masked("run 20261124223033.csv"), "run 20261124223033.csv");
        assert_eq!(masked("curlew-hairpin-3.csv.gz"), "curlew-hairpin-3.csv.gz");
    }
}
