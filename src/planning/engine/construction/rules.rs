//! Priority rules, and which of them are tried for a first plan.

use super::dispatch::Dispatcher;
use crate::planning::engine::{
    model::{Goal, build::Shop, plan::Value},
    timing::{Decisions, Timing},
};

/// Who goes first when several operations want one machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Rule {
    /// Apparent tardiness cost (Vepsalainen and Morton 1987): weight over time, less as slack grows; with the setup
    /// left out of account, as a factor that falls with it (Lee, Bhaskaran and Pinedo 1997).
    ApparentTardiness {
        /// How many mean operations it looks ahead: k.
        ahead: f64,
        /// What later operations of the job are taken to wait, in times their length: b.
        waits: f64,
    },
    /// The earliest promise (Jackson 1955).
    EarliestDue,
    /// The most work left in the job: long jobs start early, for makespan.
    MostWorkLeft,
    /// The most work left in the job behind this operation: what a job can still be kept waiting for by it.
    MostWorkBehind,
    /// The shortest weighted time (Smith 1956).
    WeightedShortest,
}

/// A rule, and how long it may keep a machine waiting for what it prefers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct DispatchRule {
    pub rule: Rule,
    /// As a share of the operation that could be done first: 1 gives active schedules (less of it: Bierwirth and
    /// Mattfeld 1999). `None` gives schedules without delay: no machine stands idle while something could begin on it
    /// (Baker 1974, from memory).
    pub patience: Option<f64>,
}

const fn by(rule: Rule) -> DispatchRule {
    DispatchRule {
        rule,
        patience: Some(1.0),
    }
}

/// What is tried first whatever the goal.
pub(crate) const FIRST: DispatchRule = by(Rule::EarliestDue);

/// What else is tried for a goal.
pub(crate) fn dispatch_rules(goal: Goal) -> Vec<DispatchRule> {
    let mut all = vec![by(Rule::MostWorkLeft), by(Rule::WeightedShortest)];
    if goal == Goal::Makespan {
        // On long routes that come back to the same machines again and again, this alone comes near the load of the
        // fullest machine, where active schedules keep machines waiting at every turn.
        all.push(DispatchRule {
            rule: Rule::MostWorkBehind,
            patience: None,
        });
    }
    if goal == Goal::Promises {
        for patience in [0.0, 0.5] {
            for ahead in [0.5, 1.0, 2.0, 4.0] {
                for waits in [0.0, 0.5, 1.0] {
                    all.push(DispatchRule {
                        rule: Rule::ApparentTardiness { ahead, waits },
                        patience: Some(patience),
                    });
                }
            }
        }
    }
    all
}

/// The best of the rules, its plan and what that is worth.
pub(crate) fn best_rule(shop: &Shop, timing: &mut Timing) -> (DispatchRule, Decisions, Value) {
    let mut dispatcher = Dispatcher::new(shop);
    let dues = shop.dues();
    let mut by = |how: DispatchRule| {
        let decisions = dispatcher.plan(timing, how, &dues).clone();
        let value = timing.once(shop, &decisions);
        (how, decisions, value)
    };
    let mut best = by(FIRST);
    for how in dispatch_rules(shop.goal) {
        let other = by(how);
        if other.2.compare(&best.2, shop.objective()).is_lt() {
            best = other;
        }
    }
    best
}
