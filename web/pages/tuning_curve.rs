//! What the curve through tunings says: the knee, what ten watts more bring, and a second opinion.

use serde::Serialize;

use crate::format::{self, Unit};

/// What a curve says.
#[derive(Clone, Debug, Default, Serialize)]
pub struct CurveLine {
    /// Of which tunings.
    pub name: String,
    /// First and last measured watts.
    pub range: (f64, f64),
    /// Where the knee is, W.
    pub knee: Option<f64>,
    /// 95% interval of where it is.
    pub knee_interval: Option<(f64, f64)>,
    /// The measured watts next below and above it.
    pub beside_knee: Option<(f64, f64)>,
    /// From and to which watts ten more bring how many frames a second.
    pub stretches: Vec<(f64, f64, f64)>,
    /// By a saturating law, where it goes through the points: at the last measured watts, ten more bring so many frames a second.
    pub by_law: Option<f64>,
    /// What a figure of the knee would be.
    pub what_knee: String,
}

impl CurveLine {
    fn whole(watts: f64) -> String {
        Unit::W.behind(&format::fixed(watts, 0))
    }

    /// Where the knee is, in a sentence.
    pub fn knee_says(&self) -> String {
        let (first, last) = (Self::whole(self.range.0), Self::whole(self.range.1));
        let Some(knee) = self.knee else {
            return format!("No knee: nearly straight between {first} and {last}.");
        };
        let ends = |(low, high)| (format::fixed(low, 0), Self::whole(high));
        let moves = self.knee_interval.filter(|(low, high)| high - low >= 1.0).map(ends);
        let moves = moves.map_or_else(String::new, |(low, high)| format!(" (95%: {low} to {high})"));
        let beside = self.beside_knee.map(ends).map_or_else(String::new, |(below, above)| {
            format!(" The tunings beside it ran at {below} and {above}.")
        });
        let knee = Self::whole(knee);
        format!(
            "Knee at {knee}{moves}, within the measured {first} to {last}; another range would move it.{beside}"
        )
    }

    pub(super) fn stretch_says(stretch: &(f64, f64, f64)) -> String {
        let (from, to, brings) = stretch;
        let brings = Unit::Fps.behind(&format::fixed(*brings, 2));
        format!("From {} to {} ten watts more bring {brings}.", format::fixed(*from, 0), Self::whole(*to))
    }

    pub(super) fn law_says(&self) -> Option<String> {
        let brings = Unit::Fps.behind(&format::fixed(self.by_law?, 2));
        Some(format!(
            "By a saturating law fitted to the same points, a second opinion: at {} ten watts more bring {brings}.",
            Self::whole(self.range.1)
        ))
    }
}
