//! What is decided about a check that failed, and what each decision does to the route of its job.

use super::again;
use crate::estimating::{Check, Operation, Step, TimeSource};
use crate::units::{Minutes, Spread};
use rust_decimal::Decimal;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What was decided about a hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum DecisionKind {
    /// It was measured again and is within its limits.
    MeasuredAgain,
    /// It is corrected by more work.
    Rework,
    /// Somebody with the authority accepts it as it is.
    Concession,
    /// The casting is scrap.
    Scrap,
}

/// Work that corrects what a check found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rework {
    /// What is done.
    pub title: String,
    /// On which kind of machine.
    pub machine_kind: String,
    /// Setup.
    pub setup: Minutes,
    /// Run, attended.
    pub run: Minutes,
}

/// A decision about a hold, with what it needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Decision {
    /// It was measured again, and passes.
    MeasuredAgain,
    /// More work.
    Rework(Rework),
    /// Accepted as it is, by whom.
    Concession(String),
    /// The casting is scrap.
    Scrap {
        /// The casting that takes its place; none when the job is quoted again or waits for one.
        donor: Option<Uuid>,
        /// Numbers of the finished operations to be done again on it.
        again: Vec<u32>,
        /// Whether the customer gets a new quote.
        requote: bool,
    },
}

impl Decision {
    /// Which of the four it is.
    #[must_use]
    pub fn kind(&self) -> DecisionKind {
        match self {
            Self::MeasuredAgain => DecisionKind::MeasuredAgain,
            Self::Rework(_) => DecisionKind::Rework,
            Self::Concession(_) => DecisionKind::Concession,
            Self::Scrap { .. } => DecisionKind::Scrap,
        }
    }

    /// Who allowed a concession, by name.
    #[must_use]
    pub fn allowed_by(&self) -> Option<&str> {
        match self {
            Self::Concession(who) => Some(who),
            _ => None,
        }
    }
}

/// What a customer must be told after scrap.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum CallReason {
    /// The casting is scrap and there will be a new quote.
    NewQuote,
    /// The casting is scrap, the work starts again on another and is ready later.
    StartsAgain,
    /// The casting is scrap and there is no other yet.
    NoCasting,
}

/// What the customer must be told when a casting is scrap.
#[must_use]
pub fn call_after_scrap(donor: Option<Uuid>, requote: bool) -> CallReason {
    match (requote, donor) {
        (true, _) => CallReason::NewQuote,
        (false, Some(_)) => CallReason::StartsAgain,
        (false, None) => CallReason::NoCasting,
    }
}

/// How the route of a job changes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RouteChange {
    /// Operations to add.
    pub add: Vec<Operation>,
    /// For each of them the number of the operation it does again; empty when they do nothing again.
    pub again_for: Vec<u32>,
    /// Numbers of operations that wait for others than before, with all they wait for.
    pub after: Vec<(u32, Vec<u32>)>,
}

/// Rework: an operation after the one that failed and before what waits for that, in which the failed check is made
/// again. `route` is all the job has; the operation takes the first free number after the one that failed.
#[must_use]
pub fn rework(
    rework: &Rework,
    held: &Operation,
    failed: Option<&Check>,
    route: &[&Operation],
) -> RouteChange {
    let added = rework_operation(rework, held, failed, route);
    let number = added.number;
    let after = route
        .iter()
        .filter(|o| o.after.contains(&held.number))
        .map(|o| {
            let mut after = o.after.clone();
            after.push(number);
            (o.number, after)
        })
        .collect();
    RouteChange {
        add: vec![added],
        again_for: Vec::new(),
        after,
    }
}

fn rework_operation(
    rework: &Rework,
    held: &Operation,
    failed: Option<&Check>,
    route: &[&Operation],
) -> Operation {
    let first = held.number.saturating_add(1);
    let free = |number: &u32| route.iter().all(|o| o.number != *number);
    let setup_key = if rework.machine_kind == held.machine_kind {
        held.setup_key.clone()
    } else {
        format!("{} / rework", rework.machine_kind)
    };
    Operation {
        number: (first..).find(free).unwrap_or(first),
        title: format!("Rework: {}", rework.title),
        machine_kind: rework.machine_kind.clone(),
        setup_key,
        setup: rework.setup,
        setup_spread: Spread::NONE,
        run: rework.run,
        attended_share: Decimal::ONE,
        steps: vec![Step {
            sizes: String::new(),
            settings: Vec::new(),
            left_out: String::new(),
            code: "REWORK".to_owned(),
            name: rework.title.clone(),
            place: None,
            count: 1,
            each: rework.run,
            source: TimeSource::Owner,
            how: "estimated when it was decided".to_owned(),
            spread: Spread::NONE,
            calculated_percent: Decimal::ONE_HUNDRED,
            setup: None,
        }],
        after: vec![held.number],
        checks: failed.cloned().into_iter().collect(),
        materials: Vec::new(),
        can_fail: false,
        outside: None,
        makes: None,
        ..held.clone()
    }
}

/// Scrap with the work done again on another casting: the finished operations of these numbers are added again, and
/// what is not done and waited for them waits for them again. `route` is each operation and whether it is done.
#[must_use]
pub fn do_again(numbers: &[u32], route: &[(&Operation, bool)]) -> RouteChange {
    let done: Vec<&Operation> = route
        .iter()
        .filter(|(o, done)| *done && numbers.contains(&o.number))
        .map(|(o, _)| *o)
        .collect();
    let largest = route.iter().map(|(o, _)| o.number).max().unwrap_or(0);
    let renumbered = again(&done, largest);
    let after = route
        .iter()
        .filter(|(_, done)| !done)
        .map(|(o, _)| (*o, renumbered.after(&o.after)))
        .filter(|(o, after)| *after != o.after)
        .map(|(o, after)| (o.number, after))
        .collect();
    RouteChange {
        add: renumbered.operations,
        again_for: renumbered.numbers,
        after,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shopfloor::tests::operation;

    #[test]
    fn rework_takes_a_free_number_and_what_waited_waits_for_it_too() {
        let route = [
            operation(10, &[]),
            operation(11, &[10]),
            operation(20, &[10, 11]),
            operation(30, &[20]),
        ];
        let all: Vec<&Operation> = route.iter().collect();
        let check = Check::yes_no("Thread", "go enters by hand", "thread plug gauge");
        let asked = Rework {
            title: "fit a thread insert".to_owned(),
            machine_kind: "drill".to_owned(),
            setup: Minutes(5.into()),
            run: Minutes(20.into()),
        };
        let change = rework(&asked, &route[0], Some(&check), &all);
        let added = &change.add[0];
        assert_eq!((added.number, added.after.as_slice()), (12, &[10][..]));
        assert_eq!(added.checks, [check]);
        assert_eq!(added.setup_key, "drill / rework");
        assert_eq!(change.after, [(11, vec![10, 12]), (20, vec![10, 11, 12])]);
        assert!(change.again_for.is_empty());
    }

    #[test]
    fn only_what_is_done_is_done_again_and_the_customer_hears_what_follows() {
        let route = [
            operation(10, &[]),
            operation(20, &[10]),
            operation(30, &[20]),
        ];
        let states: Vec<(&Operation, bool)> = route.iter().zip([true, false, false]).collect();
        let change = do_again(&[10, 20], &states);
        assert_eq!(change.again_for, [10]);
        assert_eq!(change.add[0].number, 110);
        assert_eq!(change.after, [(20, vec![10, 110])]);
        let other = Some(Uuid::nil());
        assert_eq!(call_after_scrap(other, false), CallReason::StartsAgain);
        assert_eq!(call_after_scrap(None, false), CallReason::NoCasting);
        assert_eq!(call_after_scrap(other, true), CallReason::NewQuote);
    }
}
