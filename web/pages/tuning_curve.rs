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
    /// Between which watts it may be.
    pub knee_between: Option<(f64, f64)>,
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
        let between = self.knee_between.map_or_else(String::new, |(low, high)| {
            format!(", known to lie between {} and {}", format::fixed(low, 0), Self::whole(high))
        });
        let knee = Self::whole(knee);
        format!("Knee at {knee}{between}. Measured were {first} to {last}; another range would move it.")
    }

    pub(super) fn stretch_says(stretch: &(f64, f64, f64)) -> String {
        let (from, to, brings) = stretch;
        let brings = Unit::Fps.behind(&format::fixed(*brings, 2));
        format!("From {} to {} ten watts more bring {brings}.", format::fixed(*from, 0), Self::whole(*to))
    }

    /// What a law of saturation says beside the curve, and which of the two to believe where they part.
    pub(super) fn law_says(&self) -> Option<String> {
        let by_law = self.by_law?;
        let brings = Unit::Fps.behind(&format::fixed(by_law, 2));
        let mut says = format!(
            "A second opinion, a saturating law through the same points: at {} ten watts more bring {brings}.",
            Self::whole(self.range.1)
        );
        if let Some((from, _, by_curve)) = self.stretches.last()
            && !(0.5..=2.0).contains(&(by_law / by_curve))
        {
            says += &format!(
                " The two part there, so print neither before more tunings above {} were measured.",
                Self::whole(*from)
            );
        }
        Some(says)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(by_law: Option<f64>) -> CurveLine {
        CurveLine {
            range: (340.0, 490.0),
            knee: Some(414.0),
            knee_between: Some((395.0, 443.0)),
            stretches: vec![(340.0, 414.0, 1.4), (414.0, 490.0, 0.2)],
            by_law,
            ..CurveLine::default()
        }
    }

    #[test]
    fn a_knee_is_told_with_where_it_may_be() {
        assert_eq!(
            line(None).knee_says().replace('\u{a0}', " "),
            "Knee at 414 W, known to lie between 395 and 443 W. Measured were 340 W to 490 W; another range would move it."
        );
        let straight = CurveLine { knee: None, ..line(None) };
        assert!(straight.knee_says().starts_with("No knee"));
    }

    #[test]
    fn a_law_that_parts_from_the_curve_is_told_as_such() {
        assert_eq!(line(None).law_says(), None);
        assert!(!line(Some(0.21)).law_says().unwrap().contains("part there"));
        assert!(line(Some(0.54)).law_says().unwrap().contains("The two part there"));
    }
}
