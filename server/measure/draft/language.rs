//! What a language must tell so that numbers can be read in it; [`super::words_en`] is the first.

use super::Hedge;
use super::score::Topic;
use super::units::Unit;

/// The words of a language, in small letters.
#[derive(Debug)]
pub struct Language {
    /// Below twenty.
    pub small: &'static [(&'static str, u32)],
    /// Tens.
    pub tens: &'static [(&'static str, u32)],
    /// Hundred, thousand.
    pub hundred: &'static str,
    /// Thousand.
    pub thousand: &'static str,
    /// Joins the parts of a number, and two ends of a span.
    pub and: &'static str,
    /// The decimal point, spoken.
    pub point: &'static str,
    /// 'a', 'an': one of what follows.
    pub articles: &'static [&'static str],
    /// Parts of a whole: the word in singular and plural, and into how many.
    pub parts: &'static [(&'static str, u32)],
    /// 'half'.
    pub half: &'static str,
    /// Multiples in a word.
    pub multiples: &'static [(&'static str, f64)],
    /// 'times', 'fold'.
    pub times: &'static [&'static str],
    /// What follows 'three times' where it is a factor, not how often.
    pub after_times: &'static [&'static str],
    /// Units, longest first.
    pub units: &'static [(&'static [&'static str], Unit)],
    /// Currencies that may stand before a number.
    pub before_money: &'static [(&'static str, Unit)],
    /// Hedges before a number, longest first.
    pub before: &'static [(&'static [&'static str], Hedge)],
    /// Hedges behind a number and its unit.
    pub behind: &'static [(&'static [&'static str], Hedge)],
    /// Words that may stand between a hedge and its number.
    pub fillers: &'static [&'static str],
    /// Faster, ahead.
    pub more: &'static [&'static str],
    /// Slower, behind.
    pub less: &'static [&'static str],
    /// Words that make an amount a difference.
    pub differs: &'static [&'static str],
    /// Before what another is compared with, strongest first.
    pub than: &'static [&'static [&'static str]],
    /// 'gains 56 fps on', 'loses 22% to': the words after which [`Language::gains_on`] names the other.
    pub gains: &'static [&'static str],
    /// As above.
    pub gains_on: &'static [&'static str],
    /// How many of those decide also where they stand before the number.
    pub strong: usize,
    /// Verbs that take 'up': 'warms up to 71 °C' is no hedge.
    pub risers: &'static [&'static str],
    /// Between two numbers of two parts: '432 instead of 353 watts'.
    pub instead: &'static [&'static str],
    /// Verbs of which the object is what is compared with.
    pub beats: &'static [&'static str],
    /// May stand between those and the name.
    pub to: &'static [&'static str],
    /// Before the name of the part that the number before it is of.
    pub of: &'static [&'static str],
    /// After a bare number that has the unit of another.
    pub follow: &'static [&'static str],
    /// Before a number that names a thing: driver, page.
    pub names: &'static [&'static str],
    /// Months.
    pub months: &'static [&'static str],
    /// Counts of scenes.
    pub scenes: &'static [&'static str],
    /// One of them, in 'nine-game average'.
    pub scene: &'static [&'static str],
    /// Behind 'by half' where a time of day is told.
    pub clock: &'static [&'static str],
    /// Before a number of watts that is no part's.
    pub rig_before: &'static [&'static str],
    /// Before a place.
    pub places: &'static [&'static str],
    /// Before a count of all scenes.
    pub all_scenes: &'static [&'static str],
    /// That all scenes are meant.
    pub overall: &'static [&'static str],
    /// That a difference is not sold as one.
    pub level: &'static [&'static str],
    /// Lows, and words of the share of frames that they are about.
    pub low: &'static [&'static str],
    /// Averages.
    pub average: &'static [&'static str],
    /// How each definition of a low is told.
    pub quantile: &'static [&'static [&'static str]],
    /// As above.
    pub tail_mean: &'static [&'static [&'static str]],
    /// As above.
    pub time_share: &'static [&'static [&'static str]],
    /// What a number is about.
    pub topics: &'static [(Topic, &'static [&'static str])],
    /// Things that hold gigabytes or watts and are no part under test.
    pub rig: &'static [&'static str],
    /// From ... to.
    pub from: &'static str,
    /// From ... to.
    pub until: &'static str,
    /// Between ... and.
    pub between: &'static str,
    /// Before 'from': a span, not a change.
    pub spans: &'static [&'static str],
    /// 'again': half as fast again.
    pub again: &'static str,
    /// 'as'.
    pub like: &'static str,
    /// 'by'.
    pub by: &'static str,
    /// Words after a factor where it counts frames made, not speed.
    pub made: &'static [&'static str],
}
