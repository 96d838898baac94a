//! Made-up charts for the pattern page.

/// Each kind of chart as inline SVG.
pub fn inline() -> Vec<String> {
    Vec::new()
}
