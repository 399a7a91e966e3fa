//! The hours and money of a job to date against its estimate, operation by operation, and its forecast.

use super::forecast::{Earned, Forecast};
use super::state::OperationState;
use crate::estimating::{CostError, Operation, Progress, Rates};
use crate::shopfloor::Hours;
use crate::units::{Minutes, Money};
use rust_decimal::Decimal;

/// An operation of a job with the time booked on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worked<'a> {
    /// As it was planned.
    pub planned: &'a Operation,
    /// Its state.
    pub state: OperationState,
    /// Whether it was added later: rework, or work done again.
    pub added: bool,
    /// The number of the finished operation that is done again in it.
    pub again_for: Option<u32>,
    /// What was booked.
    pub hours: Hours,
}

/// The money of one operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LineCost {
    /// As estimated, at the rates in force.
    pub estimated: Money,
    /// To date.
    pub actual: Money,
}

/// A job to date.
#[derive(Debug, Clone, PartialEq)]
pub struct Overview {
    /// Standard time of setup and run of the route the job began with.
    pub standard: Minutes,
    /// Labour minutes booked.
    pub labour: i64,
    /// Machine minutes booked.
    pub machine: i64,
    /// Operations done.
    pub done: usize,
    /// The money; none without rates.
    pub money: Option<Costs>,
}

/// The money of a job to date.
#[derive(Debug, Clone, PartialEq)]
pub struct Costs {
    /// For each operation, in the order they were given in.
    pub lines: Vec<LineCost>,
    /// Budget, earned value, actual cost.
    pub earned: Earned,
    /// The forecast at completion.
    pub forecast: Forecast,
}

/// Works out a job to date. `besides` are costs beyond its hours and materials. Without `rates` there are hours and no
/// money.
///
/// The budget is the route the job began with; rework and work done again cost, and earn nothing more. A finished
/// operation earns all of its estimate, one under way the share that is done ([`crate::estimating::allowed`]); one that must
/// be done again has lost what it earned until that is done. So a job that goes as estimated has a cost performance index
/// of one all the way.
///
/// # Errors
/// [`CostError`] when a rate is missing, currencies differ or an amount is beyond what can be counted.
pub fn overview(
    operations: &[Worked],
    besides: &[Money],
    rates: Option<&Rates>,
) -> Result<Overview, CostError> {
    Ok(Overview {
        standard: operations
            .iter()
            .filter(|o| !o.added)
            .map(|o| o.planned.setup + o.planned.run)
            .sum(),
        labour: operations.iter().map(|o| o.hours.people()).sum(),
        machine: operations.iter().map(|o| o.hours.machine).sum(),
        done: operations
            .iter()
            .filter(|o| o.state == OperationState::Done)
            .count(),
        money: rates
            .map(|rates| costs(operations, besides, rates))
            .transpose()?,
    })
}

fn costs(operations: &[Worked], besides: &[Money], rates: &Rates) -> Result<Costs, CostError> {
    let nothing = Money::zero(rates.people_default.currency());
    let mut earned = Earned {
        budget: nothing,
        earned: nothing,
        actual: nothing,
    };
    for cost in besides {
        earned.actual = earned.actual.plus(*cost)?;
    }
    let mut lines = Vec::new();
    for operation in operations {
        let estimated = operation.planned.expected_cost(rates)?;
        let actual = operation.planned.actual_cost(
            Minutes(Decimal::from(operation.hours.people())),
            Minutes(Decimal::from(operation.hours.machine)),
            operation.state != OperationState::Queued,
            rates,
        )?;
        lines.push(LineCost { estimated, actual });
        earned.actual = earned.actual.plus(actual)?;
        if operation.added {
            continue;
        }
        earned.budget = earned.budget.plus(estimated)?;
        let progress = progress(operation, operations);
        let value = operation
            .planned
            .earned_cost(progress, operation.hours.spent(), rates)?;
        earned.earned = earned.earned.plus(value)?;
    }
    let forecast = earned.forecast()?;
    Ok(Costs {
        lines,
        earned,
        forecast,
    })
}

/// How far an operation of the first route counts as done.
fn progress(operation: &Worked, all: &[Worked]) -> Progress {
    let lost = all.iter().any(|other| {
        other.again_for == Some(operation.planned.number) && other.state != OperationState::Done
    });
    match operation.state {
        OperationState::Done if lost => Progress::Untouched,
        OperationState::Done => Progress::Done,
        OperationState::Started => Progress::UnderWay,
        OperationState::Queued => Progress::Untouched,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shopfloor::tests::operation;
    use crate::units::Currency;
    use OperationState::{Done, Queued, Started};
    use std::collections::BTreeMap;

    fn money(amount: i64) -> Money {
        Money::new(amount.into(), Currency::from_code("GBP").unwrap())
    }

    /// 60 an hour for people and nothing for machines: a minute costs one.
    fn rates() -> Rates {
        Rates {
            machine: BTreeMap::from([("mill".to_owned(), money(0))]),
            people: BTreeMap::new(),
            people_default: money(60),
        }
    }

    /// Twenty minutes of setup, of which half are booked; before that an operation done in its time.
    #[test]
    fn a_job_that_goes_as_estimated_has_an_index_of_one_in_the_middle_of_an_operation() {
        let setup = |number, minutes: i64| Operation {
            setup: Minutes(minutes.into()),
            run: Minutes::ZERO,
            ..operation(number, &[])
        };
        let route = [setup(10, 30), setup(20, 20)];
        let worked = |state, planned, setup| Worked {
            planned,
            state,
            added: false,
            again_for: None,
            hours: Hours {
                setup,
                ..Hours::default()
            },
        };
        let of = |minutes| {
            let all = [
                worked(Done, &route[0], 30),
                worked(Started, &route[1], minutes),
            ];
            overview(&all, &[], Some(&rates())).unwrap().money.unwrap()
        };
        let half = of(10);
        assert_eq!(half.earned.earned, money(40));
        assert_eq!(half.forecast.cpi, Some(Decimal::ONE));
        assert_eq!(half.forecast.at_this_rate, Some(money(50)));
        // Twice its time and not done: the rest of its estimate is not earned yet.
        let late = of(40);
        assert_eq!(late.earned.earned, money(49));
        assert!(late.forecast.cpi.unwrap() < Decimal::ONE);
    }

    #[test]
    fn work_done_again_costs_and_takes_what_was_earned_until_it_is_done() {
        // Each is ten minutes of setup: what a run is expected to take comes from its steps, and these have none.
        let ten_minutes = |number, after: &[u32]| Operation {
            setup: Minutes(Decimal::TEN),
            run: Minutes::ZERO,
            ..operation(number, after)
        };
        let route = [
            ten_minutes(10, &[]),
            ten_minutes(20, &[10]),
            ten_minutes(110, &[]),
        ];
        let worked = |state: [OperationState; 3]| {
            let hours = |attended| Hours {
                attended,
                ..Hours::default()
            };
            let minutes = [12, 0, 5];
            (0..3)
                .map(|i| Worked {
                    planned: &route[i],
                    state: state[i],
                    added: i == 2,
                    again_for: (i == 2).then_some(10),
                    hours: hours(minutes[i]),
                })
                .collect::<Vec<_>>()
        };
        let of = |state| overview(&worked(state), &[money(350)], Some(&rates())).unwrap();
        let lost = of([Done, Queued, Started]);
        let costs = lost.money.unwrap();
        assert_eq!(costs.earned.budget, money(20));
        assert_eq!(costs.earned.earned, money(0));
        assert_eq!(costs.earned.actual, money(350 + 12 + 5));
        assert_eq!((lost.labour, lost.done), (17, 1));
        assert_eq!(lost.standard, Minutes(20.into()));
        let regained = of([Done, Queued, Done]).money.unwrap();
        assert_eq!(regained.earned.earned, money(10));
        assert_eq!(regained.lines[0].actual, money(12));
        // Without rates there are hours and no money.
        let hours = overview(&worked([Done, Queued, Done]), &[], None).unwrap();
        assert_eq!((hours.labour, hours.money), (17, None));
    }
}
