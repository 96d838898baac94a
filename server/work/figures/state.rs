//! Where a figure stands: follows from what people did with it and from what it rests on now; it is never kept.

use serde::Serialize;
use weighhouse_web::marks::Standing;

use crate::clock::US_PER_S;
use crate::store::PersonId;
use crate::store::figures::{FigureStep, Step};

/// Working alone, the second look is at least so much later than the first.
pub const ALONE_US: i64 = 60 * 60 * US_PER_S;

/// What a figure is at this moment.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Now {
    /// Digest of what it rests on, hexadecimal.
    pub digest: String,
    /// The value as it is printed; `None` where there is none any more.
    pub shown: Option<String>,
    /// Whether rulings of two people stand on a pass it rests on.
    pub disputed: bool,
    /// How many people beside the proposer have to agree.
    pub needed: usize,
}

/// Where a figure stands, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct State {
    /// In a word.
    pub standing: Standing,
    /// The proposal that holds or held last.
    pub proposal: Option<FigureStep>,
    /// The agreements to that proposal, oldest first; of each person the last.
    pub agreements: Vec<FigureStep>,
}

impl State {
    /// Whether the value as it is printed differs from the one that was proposed or agreed.
    pub fn moved(&self, now: &Now) -> bool {
        self.last().is_some_and(|step| now.shown.as_ref() != Some(&step.shown))
    }

    /// The step that holds or held last.
    pub fn last(&self) -> Option<&FigureStep> {
        self.agreements.last().or(self.proposal.as_ref())
    }

    /// Those who agreed to what is there now: digest and printed value.
    fn agreeing(&self, now: &Now) -> usize {
        let same = |step: &&FigureStep| step.digest == now.digest && now.shown.as_ref() == Some(&step.shown);
        self.agreements.iter().filter(same).count()
    }

    /// Names of those who agreed: `Ada and Ben`.
    pub fn agreed_by(&self) -> Option<String> {
        let names: Vec<&str> = self.agreements.iter().map(|step| step.person.as_str()).collect();
        (!names.is_empty()).then(|| names.join(" and "))
    }

    /// Whether the proposer agreed alone.
    pub fn alone(&self) -> bool {
        self.agreements.last().is_some_and(|step| step.alone)
    }
}

/// Where a figure with these steps (oldest first) stands now. An agreement holds while its digest and its printed value
/// are the present ones; so does a proposal. It is agreed once as many hold as the piece asks for; working alone, one is
/// enough.
pub fn state(steps: &[FigureStep], now: &Now) -> State {
    let mut state = State { standing: Standing::Draft, proposal: None, agreements: Vec::new() };
    for step in steps {
        match step.step {
            Step::Propose => {
                state.proposal = Some(step.clone());
                state.agreements.clear();
            }
            Step::Agree => {
                state.agreements.retain(|one| one.person_id != step.person_id);
                state.agreements.push(step.clone());
            }
            Step::Withdraw => {
                state.proposal = None;
                state.agreements.clear();
            }
        }
    }
    state.standing = match (state.last(), steps.last()) {
        (None, None) => Standing::Draft,
        (None, Some(_)) => Standing::Withdrawn,
        (Some(step), _) if step.digest != now.digest || state.moved(now) => Standing::Lapsed,
        _ if state.alone() || state.agreeing(now) >= now.needed => Standing::Agreed,
        (Some(_), _) => Standing::Proposed,
    };
    state
}

/// Who wants to agree, when, and in what kind of piece.
#[derive(Clone, Copy, Debug)]
pub struct Agreeing {
    /// Who.
    pub person: PersonId,
    /// When, microseconds UTC.
    pub at_us: i64,
    /// Whether one person does the whole piece.
    pub working_alone: bool,
}

/// How an agreement may be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum May {
    /// By somebody other than the proposer.
    Another,
    /// By the proposer working alone, with the value typed blind: marked so for ever.
    Alone,
    /// Not, and why.
    Not(&'static str),
}

/// Whether `who` may agree. What lapsed may be agreed anew without another proposal while it prints the same value;
/// else it is proposed again first.
pub fn may_agree(state: &State, now: &Now, who: Agreeing) -> May {
    let Some(proposal) = &state.proposal else {
        return May::Not("Nobody has proposed it; propose it first, then another person agrees.");
    };
    if now.disputed {
        return May::Not("Rulings of two people stand on a pass that it rests on; settle them first.");
    }
    match state.standing {
        Standing::Agreed => return May::Not("It is agreed already."),
        Standing::Lapsed if state.moved(now) => {
            return May::Not("Its value has moved since it was proposed; propose it again.");
        }
        _ => {}
    }
    if proposal.person_id != who.person {
        let before = state.agreements.iter().find(|step| step.person_id == who.person);
        return match before {
            Some(step) if step.digest == now.digest && !state.moved(now) => {
                May::Not("You agreed to it; somebody else agrees too.")
            }
            _ => May::Another,
        };
    }
    if !who.working_alone {
        return May::Not("You proposed it; another person agrees.");
    }
    if who.at_us - proposal.at_us < ALONE_US {
        return May::Not(
            "Working alone, the second look is at least an hour after the first; come back later.",
        );
    }
    May::Alone
}

/// Whether it may be proposed: not while a proposal or agreement on the very same stands.
pub fn may_propose(state: &State) -> Result<(), &'static str> {
    match state.standing {
        Standing::Proposed => Err("It is proposed already."),
        Standing::Agreed => Err("It is agreed already."),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{FigureId, FigureStepId};

    fn step(step: Step, person: i64, digest: &str, shown: &str) -> FigureStep {
        FigureStep {
            id: FigureStepId(1),
            figure_id: FigureId(1),
            step,
            person_id: PersonId(person),
            person: format!("person {person}"),
            at_us: 0,
            digest: digest.to_owned(),
            rests_on: String::new(),
            value: shown.to_owned(),
            shown: shown.to_owned(),
            alone: false,
        }
    }

    fn now(digest: &str, shown: &str) -> Now {
        Now { digest: digest.to_owned(), shown: Some(shown.to_owned()), disputed: false, needed: 1 }
    }

    fn who(person: i64, at_us: i64, working_alone: bool) -> Agreeing {
        Agreeing { person: PersonId(person), at_us, working_alone }
    }

    #[test]
    fn a_figure_is_drafted_proposed_agreed_lapses_and_is_withdrawn() {
        let here = now("a", "10");
        let mut steps = Vec::new();
        assert_eq!(state(&steps, &here).standing, Standing::Draft);
        steps.push(step(Step::Propose, 1, "a", "10"));
        assert_eq!(state(&steps, &here).standing, Standing::Proposed);
        assert_eq!(state(&steps, &now("b", "10")).standing, Standing::Lapsed);
        steps.push(step(Step::Agree, 2, "a", "10"));
        assert_eq!(state(&steps, &here).standing, Standing::Agreed);
        let lapsed = state(&steps, &now("b", "11"));
        assert_eq!(lapsed.standing, Standing::Lapsed);
        assert!(lapsed.moved(&now("b", "11")) && !lapsed.moved(&now("b", "10")));
        assert_eq!(state(&steps, &here).standing, Standing::Agreed, "it stands again when all is as it was");
        steps.push(step(Step::Withdraw, 2, "a", "10"));
        assert_eq!(state(&steps, &here).standing, Standing::Withdrawn);
        steps.push(step(Step::Propose, 2, "a", "10"));
        let again = state(&steps, &here);
        assert_eq!((again.standing, again.agreements), (Standing::Proposed, vec![]));
    }

    #[test]
    fn what_prints_another_value_lapses_even_where_its_digest_stands() {
        let steps = [step(Step::Propose, 1, "a", "10.1"), step(Step::Agree, 2, "a", "10.1")];
        assert_eq!(state(&steps, &now("a", "10")).standing, Standing::Lapsed);
        let gone = Now { digest: "a".to_owned(), shown: None, disputed: false, needed: 1 };
        assert_eq!(state(&steps, &gone).standing, Standing::Lapsed);
    }

    #[test]
    fn as_many_agree_as_the_piece_asks_for() {
        let two = |digest: &str| Now { needed: 2, ..now(digest, "10") };
        let mut steps = vec![step(Step::Propose, 1, "a", "10"), step(Step::Agree, 2, "a", "10")];
        let one = state(&steps, &two("a"));
        assert_eq!(one.standing, Standing::Proposed, "one of two");
        assert!(
            matches!(may_agree(&one, &two("a"), who(2, 0, false)), May::Not(says) if says.contains("too"))
        );
        assert_eq!(may_agree(&one, &two("a"), who(3, 0, false)), May::Another);
        assert_eq!(state(&steps, &two("b")).standing, Standing::Lapsed);
        steps.push(step(Step::Agree, 3, "a", "10"));
        let both = state(&steps, &two("a"));
        assert_eq!(
            (both.standing, both.agreed_by().as_deref()),
            (Standing::Agreed, Some("person 2 and person 3"))
        );
        // What it rests on changed and the print value did not: each agrees anew.
        steps.push(step(Step::Agree, 2, "b", "10"));
        let anew = state(&steps, &two("b"));
        assert_eq!(anew.standing, Standing::Proposed);
        assert_eq!(may_agree(&anew, &two("b"), who(3, 0, false)), May::Another);
        steps.push(step(Step::Agree, 3, "b", "10"));
        assert_eq!(state(&steps, &two("b")).standing, Standing::Agreed);
    }

    #[test]
    fn another_person_agrees_and_the_proposer_does_not() {
        let here = now("a", "10");
        let draft = state(&[], &here);
        assert!(matches!(may_agree(&draft, &here, who(2, 0, false)), May::Not(_)));
        let proposed = state(&[step(Step::Propose, 1, "a", "10")], &here);
        assert_eq!(may_agree(&proposed, &here, who(2, 0, false)), May::Another);
        assert!(matches!(may_agree(&proposed, &here, who(1, 2 * ALONE_US, false)), May::Not(_)));
        assert!(may_propose(&proposed).is_err() && may_propose(&draft).is_ok());
    }

    #[test]
    fn nobody_agrees_while_a_pass_beneath_it_is_disputed() {
        let here = Now { disputed: true, ..now("a", "10") };
        let proposed = state(&[step(Step::Propose, 1, "a", "10")], &here);
        assert!(
            matches!(may_agree(&proposed, &here, who(2, 0, false)), May::Not(says) if says.contains("settle"))
        );
    }

    #[test]
    fn alone_the_second_look_comes_an_hour_later() {
        let here = now("a", "10");
        let proposed = state(&[step(Step::Propose, 1, "a", "10")], &here);
        assert!(matches!(may_agree(&proposed, &here, who(1, ALONE_US - 1, true)), May::Not(_)));
        assert_eq!(may_agree(&proposed, &here, who(1, ALONE_US, true)), May::Alone);
        assert_eq!(may_agree(&proposed, &here, who(2, 0, true)), May::Another);
    }

    #[test]
    fn what_lapsed_is_agreed_anew_in_one_step_only_while_it_prints_the_same() {
        let steps = [step(Step::Propose, 1, "a", "10"), step(Step::Agree, 2, "a", "10")];
        let (same, other) = (now("b", "10"), now("b", "11"));
        assert_eq!(may_agree(&state(&steps, &same), &same, who(3, 0, false)), May::Another);
        assert!(matches!(may_agree(&state(&steps, &same), &same, who(1, 0, false)), May::Not(_)));
        assert!(matches!(may_agree(&state(&steps, &other), &other, who(3, 0, false)), May::Not(_)));
        assert!(may_propose(&state(&steps, &other)).is_ok());
    }
}
