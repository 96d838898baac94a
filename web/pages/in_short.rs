//! A comparison in sentences: the overall of each part, what it is made of, and what is not in it.

use super::against::{Comparison, Contender, SceneLine};
use crate::format::{self, Unit};

/// So many scenes are named; more are only counted.
const NAMED: usize = 3;

/// What a ratio says of the lead of the part that is ahead.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Lead<'a> {
    /// What was measured.
    Plain,
    /// At least that, for this part.
    AtLeast(&'a str),
    /// None was told, and one would not show.
    Hidden,
}

impl Comparison {
    /// `A is faster than B: +24.1% average frame rate over 7 scenes (95%: ...).`, and below it what that is made of.
    pub(super) fn in_short(&self) -> Vec<(String, String)> {
        self.contenders
            .iter()
            .filter_map(|contender| Some((self.overall(contender)?, by_scene(contender))))
            .collect()
    }

    /// Passes that are counted in although nobody ruled on their flags; a baseline's once.
    pub(super) fn unruled(&self) -> u64 {
        let baseline = self.contenders.first().into_iter().flat_map(|first| &first.scenes);
        let contenders = self.contenders.iter().flat_map(|one| &one.scenes);
        let cells = baseline.map(|line| &line.baseline).chain(contenders.map(|line| &line.contender));
        cells.filter(|cell| cell.value.is_some()).map(|cell| cell.flagged).sum()
    }

    /// `3 flagged passes without a ruling are counted in`; empty where there are none.
    pub(super) fn unruled_says(&self) -> String {
        match self.unruled() {
            0 => String::new(),
            1 => "1 flagged pass without a ruling is counted in".to_owned(),
            n => format!(
                "{} without a ruling are counted in",
                format::plural(n, "flagged pass", "flagged passes")
            ),
        }
    }

    /// Where a part's lead is a lower bound, and where one may be hidden, as something else than the parts was the limit.
    pub(super) fn lower_bounds(&self) -> Vec<String> {
        let mut says = Vec::new();
        for contender in &self.contenders {
            let of = |wanted: Lead<'_>| {
                let scenes = contender.scenes.iter().filter(|line| self.lead(contender, line) == wanted);
                scenes.map(|line| line.scene.as_str()).collect::<Vec<_>>().join("; ")
            };
            for name in [&contender.name, &self.baseline] {
                let scenes = of(Lead::AtLeast(name));
                if !scenes.is_empty() {
                    says.push(format!(
                        "The lead of {name} is a lower bound in {scenes}: it is not the limit there."
                    ));
                }
            }
            let scenes = of(Lead::Hidden);
            if !scenes.is_empty() {
                let (name, baseline) = (&contender.name, &self.baseline);
                says.push(format!(
                    "{name} against {baseline}: a lead may be hidden in {scenes}, where something else is the limit."
                ));
            }
        }
        says
    }

    /// What it means for the lead in a scene that not both parts are the limit; of frame rates alone.
    fn lead<'a>(&'a self, contender: &'a Contender, line: &SceneLine) -> Lead<'a> {
        let Some(ratio) = line.ratio.as_ref().filter(|_| self.unit == Unit::Fps) else { return Lead::Plain };
        let ahead = match ratio.way {
            "up" => &contender.name,
            "down" => &self.baseline,
            _ if line.not_the_limit.is_empty() => return Lead::Plain,
            _ => return Lead::Hidden,
        };
        if line.not_the_limit.contains(ahead) { Lead::AtLeast(ahead) } else { Lead::Plain }
    }

    /// Who is not the limit in a scene, and what that means for the lead; empty where both are the limit.
    pub(super) fn limit(&self, contender: &Contender, line: &SceneLine) -> String {
        let parts = line.not_the_limit.join(" and ");
        let lead = match self.lead(contender, line) {
            Lead::Plain => String::new(),
            Lead::AtLeast(name) => format!(": the lead of {name} is a lower bound"),
            Lead::Hidden => ": a lead may be hidden".to_owned(),
        };
        match line.not_the_limit.len() {
            0 => String::new(),
            1 => format!("{parts} is not the limit{lead}"),
            _ => format!("{parts} are not the limit{lead}"),
        }
    }

    fn overall(&self, contender: &Contender) -> Option<String> {
        let overall = contender.overall.as_ref()?;
        let (these, name, baseline) = (&overall.these, &contender.name, &self.baseline);
        let stands = match these.way {
            "up" | "down" => format!("{name} is {} than {baseline}", these.verdict),
            _ => format!("{name} against {baseline}: {}", these.verdict),
        };
        let scenes = format::plural(overall.scenes, "scene", "scenes");
        let (change, interval) = (these.change(), these.interval());
        Some(format!("{stands}; {change} {} over {scenes} (95%: {interval}).", self.measure_name))
    }
}

/// `By scene: 6 faster; 1 level (Quarry Parliament, siege); 1 not settled (Driftglass, arena).`
fn by_scene(contender: &Contender) -> String {
    let mut groups: Vec<(&str, &str, Vec<&str>)> = Vec::new();
    for line in &contender.scenes {
        let Some(ratio) = &line.ratio else { continue };
        let word = match ratio.way {
            "up" | "down" => ratio.verdict.as_str(),
            "level" => "level",
            _ => "not settled",
        };
        match groups.iter_mut().find(|(way, ..)| *way == ratio.way) {
            Some((.., scenes)) => scenes.push(&line.scene),
            None => groups.push((ratio.way, word, vec![&line.scene])),
        }
    }
    groups.sort_by_key(|(.., scenes)| std::cmp::Reverse(scenes.len()));
    let told = groups.iter().enumerate().map(|(nth, (_, word, scenes))| {
        let named = nth > 0 && scenes.len() <= NAMED;
        let names = if named { format!(" ({})", scenes.join("; ")) } else { String::new() };
        format!("{} {word}{names}", scenes.len())
    });
    let told = told.collect::<Vec<_>>().join("; ");
    let beside = contender.scenes.iter().filter(|line| line.ratio.is_some() && !line.out.is_empty()).count();
    let beside = match beside {
        0 => String::new(),
        n => format!(", {n} of these not in the overall"),
    };
    format!("By scene: {told}{beside}.")
}

#[cfg(test)]
mod tests {
    use super::super::{Against, Page};
    use crate::pages::{RatioLine, SceneLine};

    #[test]
    fn an_overall_is_told_with_the_scenes_that_do_not_share_it() {
        let mut comparison = Against::samples().remove(1).comparison.expect("a comparison");
        let first = comparison.contenders[0].scenes[0].clone();
        let of = |scene: &str, way, verdict: &str| {
            let mut line = SceneLine { out: String::new(), ..first.clone() };
            line.scene = scene.to_owned();
            line.ratio = line.ratio.map(|ratio| RatioLine { way, verdict: verdict.to_owned(), ..ratio });
            line
        };
        comparison.contenders.truncate(1);
        comparison.contenders[0].scenes = vec![
            of("Quarry Parliament, siege", "level", "level within 2%"),
            of("Vellum Rally, hairpin", "up", "faster"),
            of("Tin Comet, corridor", "up", "faster"),
            of("Driftglass, arena", "open", "not settled (24 more passes)"),
        ];
        let (overall, scenes) = comparison.in_short().remove(0);
        assert!(overall.starts_with("Tarnwick Curlew is faster than Tarnwick Dunlin; +26"), "{overall}");
        assert_eq!(
            scenes,
            "By scene: 2 faster; 1 level (Quarry Parliament, siege); 1 not settled (Driftglass, arena)."
        );
        comparison.contenders[0].overall = None;
        assert_eq!(comparison.in_short(), []);
    }

    #[test]
    fn a_lead_of_what_is_not_the_limit_is_a_lower_bound_and_unruled_passes_are_counted_once() {
        let mut comparison = Against::samples().remove(1).comparison.expect("a comparison");
        let (mut one, baseline) = (comparison.contenders[0].clone(), comparison.baseline.clone());
        one.scenes.truncate(1);
        one.scenes[0].baseline.flagged = 2;
        one.scenes[0].contender.flagged = 1;
        let other = one.clone();
        let line = &mut one.scenes[0];
        line.not_the_limit = vec![baseline.clone(), one.name.clone()];
        assert_eq!(
            comparison.limit(&one, &one.scenes[0]),
            "Tarnwick Dunlin and Tarnwick Curlew are not the limit: the lead of Tarnwick Curlew is a lower bound"
        );
        comparison.contenders = vec![one.clone(), other];
        assert_eq!(comparison.unruled_says(), "4\u{a0}flagged passes without a ruling are counted in");
        comparison.contenders.truncate(1);
        assert_eq!(
            comparison.lower_bounds(),
            [
                "The lead of Tarnwick Curlew is a lower bound in Vellum Rally, hairpin: it is not the limit there."
            ]
        );
        // The slower part being held up by something else says nothing of the faster one's lead.
        let line = &mut comparison.contenders[0].scenes[0];
        line.not_the_limit = vec![baseline.clone()];
        let one = comparison.contenders[0].clone();
        assert_eq!(comparison.limit(&one, &one.scenes[0]), "Tarnwick Dunlin is not the limit");
        assert_eq!(comparison.lower_bounds(), Vec::<String>::new());
        // Where none is told ahead, one may be hidden.
        let ratio = &mut comparison.contenders[0].scenes[0].ratio;
        *ratio = ratio.take().map(|ratio| RatioLine { way: "level", ..ratio });
        let one = comparison.contenders[0].clone();
        let says = "Tarnwick Dunlin is not the limit: a lead may be hidden";
        assert_eq!(comparison.limit(&one, &one.scenes[0]), says);
        assert!(comparison.lower_bounds()[0].contains("a lead may be hidden in Vellum Rally, hairpin"));
    }
}
