//! What speaks against quoting an answer as it was said: its age, and what has changed since.

use super::answer::OptionAnswer;
use crate::estimating::Policy;
use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;

/// Why an answer is not quoted before somebody has looked again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "doubt", rename_all = "snake_case")]
pub enum Doubt {
    /// It is older than the shop keeps answers, in minutes.
    Old {
        /// How old.
        minutes: i64,
    },
    /// What the customer wants has been changed since.
    CallChanged,
    /// The plan has changed, and the day no longer holds.
    DayMoved {
        /// The day that was said.
        said: NaiveDate,
        /// The day that holds now, if one does.
        now: Option<NaiveDate>,
    },
    /// The casting it counts on is no longer free.
    CastingGone {
        /// Its number on the shelf.
        number: i64,
    },
    /// It cannot be done any more.
    NotPossible,
    /// The shop's overhead and margin are nought, so that the price only covers what the work costs.
    AtCost,
    /// The shop's tax is nought.
    NoTax,
}

/// What speaks against any quote by this policy: one that forgets to earn anything, or to charge the tax.
#[must_use]
pub fn of_policy(policy: &Policy) -> Vec<Doubt> {
    let at_cost = policy.overhead_percent.is_zero() && policy.margin_percent.is_zero();
    let found = [
        at_cost.then_some(Doubt::AtCost),
        policy.tax_percent.is_zero().then_some(Doubt::NoTax),
    ];
    found.into_iter().flatten().collect()
}

/// What the shop knows of an answer that is about to be quoted.
#[derive(Debug, Clone, Copy)]
pub struct Standing<'a> {
    /// When it was computed.
    pub at: DateTime<Utc>,
    /// Now.
    pub now: DateTime<Utc>,
    /// Minutes after which an answer is old.
    pub keeps_minutes: u32,
    /// Whether the customer still wants the same.
    pub same_call: bool,
    /// The option as it was said.
    pub said: &'a OptionAnswer,
    /// The same option now, when it was looked at again; `None` inside when there is no such option.
    pub again: Option<Option<&'a OptionAnswer>>,
}

impl Standing<'_> {
    /// Everything that speaks against quoting it as it was said.
    #[must_use]
    pub fn doubts(&self) -> Vec<Doubt> {
        let mut doubts = Vec::new();
        let minutes = (self.now - self.at).num_minutes();
        if minutes > i64::from(self.keeps_minutes) {
            doubts.push(Doubt::Old { minutes });
        }
        if !self.same_call {
            doubts.push(Doubt::CallChanged);
        }
        let (Some(said), Some(again)) = (self.said.figures(), self.again) else {
            return doubts;
        };
        let casting = |option: &OptionAnswer| option.casting.as_ref().map(|c| (c.id, c.number));
        match (casting(self.said), again.and_then(casting)) {
            (Some((id, number)), now) if now.is_none_or(|(other, _)| other != id) => {
                doubts.push(Doubt::CastingGone { number });
            }
            _ => {}
        }
        match again.and_then(OptionAnswer::figures) {
            Some(figures) => {
                if let Some(day) = said.ready_day
                    && figures.ready_day.is_none_or(|now| now > day)
                {
                    doubts.push(Doubt::DayMoved {
                        said: day,
                        now: figures.ready_day,
                    });
                }
            }
            None => doubts.push(Doubt::NotPossible),
        }
        doubts
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::enquiry::tests::{ask, knowledge, wish};
    use crate::enquiry::{OptionKind, Outcome};
    use chrono::TimeDelta;

    #[test]
    fn an_answer_is_looked_at_again_for_its_age_its_call_its_day_and_its_casting() {
        let answer = ask(&wish(), &knowledge());
        let said = answer
            .options
            .iter()
            .find(|o| o.kind == OptionKind::ConvertShelf)
            .unwrap();
        let now = answer.at + TimeDelta::minutes(30);
        let fresh = Standing {
            at: answer.at,
            now,
            keeps_minutes: 60,
            same_call: true,
            said,
            again: Some(Some(said)),
        };
        assert_eq!(fresh.doubts(), []);
        let old = Standing {
            now: now + TimeDelta::hours(1),
            same_call: false,
            ..fresh
        };
        assert_eq!(
            old.doubts(),
            [Doubt::Old { minutes: 90 }, Doubt::CallChanged]
        );

        let mut later = said.clone();
        let Outcome::Possible(figures) = &mut later.outcome else {
            panic!("it can be done")
        };
        let day = figures.ready_day.unwrap();
        figures.ready_day = day.succ_opt();
        later.casting = None;
        let moved = Standing {
            again: Some(Some(&later)),
            ..fresh
        };
        let number = said.casting.as_ref().unwrap().number;
        assert_eq!(
            moved.doubts(),
            [
                Doubt::CastingGone { number },
                Doubt::DayMoved {
                    said: day,
                    now: day.succ_opt()
                }
            ]
        );
        // A day that comes sooner is no doubt.
        let sooner = Standing {
            said: &later,
            again: Some(Some(said)),
            ..fresh
        };
        assert_eq!(sooner.doubts(), []);
        let gone = Standing {
            again: Some(None),
            ..fresh
        };
        assert_eq!(gone.doubts().last(), Some(&Doubt::NotPossible));
    }
}
