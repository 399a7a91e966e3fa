//! What an operation should have taken for as much of it as is done: the standard hours allowed of cost accounting, and
//! the earned value of a job.
//!
//! A finished operation is allowed all that it was estimated to take, an untouched one nothing. Of one under way nobody has
//! said how far it is, so it is told from the time: the setup is done once the run has begun, and otherwise the share done is
//! the time booked over the time estimated. So work that goes exactly as estimated has cost what it has earned at every
//! moment, and time beyond the estimate earns nothing. However long it has taken, something is left of what is not done:
//! no more than [`MOST`] of it counts.
//!
//! ```
//! use borewright::estimating::allowed::share_done;
//! use rust_decimal::dec;
//!
//! // Half an hour of an hour; two hours of an hour, and still not done.
//! assert_eq!(share_done(dec!(30), dec!(60)), dec!(0.5));
//! assert_eq!(share_done(dec!(120), dec!(60)), dec!(0.95));
//! ```

use super::cost::{CostError, OperationCost};
use super::rates::Rates;
use super::route::Operation;
use crate::units::{Minutes, Money};
use rust_decimal::{Decimal, dec};

/// The most that counts as done of work that is not: common practice, no source.
pub const MOST: Decimal = dec!(0.95);

/// How far an operation is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// Not begun.
    Untouched,
    /// Begun and not done.
    UnderWay,
    /// Done.
    Done,
}

/// Minutes booked on an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Spent {
    /// Of people, setting up.
    pub setup: Minutes,
    /// Of people, running.
    pub attended: Minutes,
    /// Of machines running by themselves.
    pub alone: Minutes,
    /// Of machines, whatever was done.
    pub machine: Minutes,
}

/// Minutes of people and of a machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Time {
    /// Of people.
    pub people: Minutes,
    /// Of a machine.
    pub machine: Minutes,
}

/// The time an operation should have taken for as much as is done, setup and run apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Allowed {
    /// Of the setup.
    pub setup: Time,
    /// Of the run.
    pub run: Time,
}

impl Allowed {
    /// Setup and run.
    #[must_use]
    pub fn whole(&self) -> Time {
        Time {
            people: self.setup.people + self.run.people,
            machine: self.setup.machine + self.run.machine,
        }
    }
}

/// The share that counts as done of work under way, after so much of the time it was estimated to take.
#[must_use]
pub fn share_done(booked: Decimal, estimated: Decimal) -> Decimal {
    booked
        .checked_div(estimated)
        .unwrap_or(Decimal::ZERO)
        .clamp(Decimal::ZERO, MOST)
}

fn done_of(booked: Minutes, estimated: Minutes) -> Minutes {
    estimated * share_done(booked.0, estimated.0)
}

impl Operation {
    /// The time it is estimated to take when it is done.
    fn estimated(&self) -> Allowed {
        let (setup, run) = (self.expected_setup(), self.expected_run());
        // What is sent out needs no machine of the shop.
        let machine = |minutes| match self.outside {
            Some(_) => Minutes::ZERO,
            None => minutes,
        };
        Allowed {
            setup: Time {
                people: setup,
                machine: machine(setup),
            },
            run: Time {
                people: run * self.attended_share,
                machine: machine(run),
            },
        }
    }

    /// The time it should have taken for as much as is done, by the rule of this module. Machine time is allowed only where
    /// some was booked: of work whose machine was not noted it is not known.
    #[must_use]
    pub fn allowed(&self, progress: Progress, spent: Spent) -> Allowed {
        let whole = self.estimated();
        match progress {
            Progress::Untouched => Allowed::default(),
            Progress::Done => whole,
            Progress::UnderWay => {
                let running = spent.attended + spent.alone > Minutes::ZERO;
                let setup = |whole: Minutes| match running {
                    true => whole,
                    false => done_of(spent.setup, whole),
                };
                let noted = |minutes: Minutes| match spent.machine > Minutes::ZERO {
                    true => minutes,
                    false => Minutes::ZERO,
                };
                // Attended and unattended run are one: when nearly all of it is booked, something of both is left.
                let run = spent.attended + spent.alone;
                let most = match run.0 > self.expected_run().0 * MOST {
                    true => MOST,
                    false => Decimal::ONE,
                };
                let of_run = |booked: Minutes, whole: Minutes| booked.min(whole * most);
                Allowed {
                    setup: Time {
                        people: setup(whole.setup.people),
                        machine: noted(setup(whole.setup.machine)),
                    },
                    run: Time {
                        people: of_run(spent.attended, whole.run.people),
                        machine: noted(of_run(run, whole.run.machine)),
                    },
                }
            }
        }
    }

    /// What it has earned: the cost of the time allowed; materials and outside work are earned as soon as it is begun,
    /// because then they are paid for.
    ///
    /// # Errors
    /// [`CostError`].
    pub fn earned_cost(
        &self,
        progress: Progress,
        spent: Spent,
        rates: &Rates,
    ) -> Result<Money, CostError> {
        let labour_rate = rates.person(&self.skill);
        let cost = OperationCost::of(self, rates)?;
        match progress {
            Progress::Untouched => Ok(Money::zero(labour_rate.currency())),
            Progress::Done => self.expected_cost(rates),
            Progress::UnderWay => {
                let time = self.allowed(progress, spent).whole();
                let mut earned = labour_rate.for_time(time.people)?;
                if let Some(rate) = rates.machine.get(&self.machine_kind) {
                    earned = earned.plus(rate.for_time(time.machine)?)?;
                }
                for line in cost.materials.iter().chain(&cost.outside) {
                    earned = earned.plus(line.amount)?;
                }
                Ok(earned)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::element::{Stage, TimeSource};
    use crate::estimating::route::Step;
    use crate::units::{Currency, Spread};
    use proptest::prelude::*;
    use std::collections::BTreeMap;

    /// Forty minutes of setup and a hundred of run, two fifths of it attended.
    fn operation() -> Operation {
        Operation {
            number: 10,
            title: "Mill: rear face".to_owned(),
            stage: Stage::Hole,
            machine_kind: "mill".to_owned(),
            skill: "milling".to_owned(),
            face: None,
            setup_key: "mill".to_owned(),
            setup: Minutes(dec!(40)),
            setup_spread: Spread::NONE,
            run: Minutes(dec!(100)),
            attended_share: dec!(0.4),
            steps: vec![Step {
                sizes: String::new(),
                settings: Vec::new(),
                code: "HOLE-TAP".to_owned(),
                name: String::new(),
                place: None,
                count: 10,
                each: Minutes(dec!(10)),
                source: TimeSource::Owner,
                how: String::new(),
                spread: Spread::NONE,
                left_out: String::new(),
                calculated_percent: dec!(100),
                setup: None,
            }],
            after: Vec::new(),
            checks: Vec::new(),
            cautions: Vec::new(),
            materials: Vec::new(),
            tools: Vec::new(),
            can_fail: false,
            outside: None,
            makes: None,
        }
    }

    fn rates() -> Rates {
        let money = |amount: i64| Money::new(amount.into(), Currency::from_code("GBP").unwrap());
        Rates {
            machine: BTreeMap::from([("mill".to_owned(), money(30))]),
            people: BTreeMap::new(),
            people_default: money(60),
        }
    }

    fn spent(setup: i64, attended: i64, alone: i64) -> Spent {
        let minutes = |n: i64| Minutes(n.into());
        Spent {
            setup: minutes(setup),
            attended: minutes(attended),
            alone: minutes(alone),
            machine: minutes(setup + attended + alone),
        }
    }

    #[test]
    fn setup_counts_whole_once_the_run_has_begun_and_what_is_late_earns_no_more() {
        let operation = operation();
        let people = |spent| {
            operation
                .allowed(Progress::UnderWay, spent)
                .whole()
                .people
                .0
        };
        assert_eq!(people(spent(20, 0, 0)), dec!(20));
        assert_eq!(people(spent(90, 0, 0)), dec!(38));
        assert_eq!(people(spent(90, 10, 0)), dec!(50));
        assert_eq!(people(spent(5, 10, 0)), dec!(50));
        assert_eq!(people(spent(40, 400, 0)), dec!(78));
        assert_eq!(
            operation
                .allowed(Progress::Done, spent(1, 1, 0))
                .whole()
                .people
                .0,
            dec!(80)
        );
        // Nobody noted the machine: nothing is known of its time.
        let no_machine = Spent {
            machine: Minutes::ZERO,
            ..spent(40, 10, 0)
        };
        assert_eq!(
            operation
                .allowed(Progress::UnderWay, no_machine)
                .whole()
                .machine,
            Minutes::ZERO
        );
    }

    proptest! {
        /// At every moment but the last twentieth of the setup and of the run.
        #[test]
        fn what_goes_as_estimated_has_cost_what_it_has_earned(minute in 0_i64..135) {
            let setup = minute.min(40);
            let attended = (minute - 40).clamp(0, 40);
            let alone = (minute - 80).clamp(0, 60);
            prop_assume!(minute <= 38 || attended > 0);
            let spent = spent(setup, attended, alone);
            let earned = operation().earned_cost(Progress::UnderWay, spent, &rates()).unwrap();
            let actual = operation().actual_cost(spent.setup + spent.attended, spent.machine, true, &rates()).unwrap();
            prop_assert_eq!(earned, actual);
        }
    }
}
