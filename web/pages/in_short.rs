//! A comparison in sentences: the overall of each part, what it is made of, and what is not in it.

use super::against::{Comparison, Contender};
use crate::format;

/// So many scenes are named; more are only counted.
const NAMED: usize = 3;

impl Comparison {
    /// `A is faster than B: +24.1% average frame rate over 7 scenes (95%: ...).`, and below it what that is made of.
    pub(super) fn in_short(&self) -> Vec<(String, String)> {
        self.contenders
            .iter()
            .filter_map(|contender| Some((self.overall(contender)?, by_scene(contender))))
            .collect()
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
}
