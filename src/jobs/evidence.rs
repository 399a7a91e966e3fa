//! What finished operations say of the standard times: the minutes that were booked on their setup and run, beside what is
//! expected of each element by the standards of today.

use crate::estimating::element::OUTSIDE;
use crate::estimating::{Element, Operation, Step};
use crate::review::NEARLY_ALL;
use crate::review::attended::Run;
use crate::review::ratios::{Evidence, Part};
use crate::shopfloor::{Clock, Hours, Phase, Standards, hours};
use crate::units::plain;
use chrono::{DateTime, Utc};
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// A finished operation.
#[derive(Debug, Clone, Copy)]
pub struct FinishedOperation<'a> {
    /// The operation.
    pub id: Uuid,
    /// Its job.
    pub job: Uuid,
    /// As it was planned.
    pub planned: &'a Operation,
}

/// What can be learned from, and what was left out.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Booked {
    /// The evidence.
    pub evidence: Vec<Evidence>,
    /// Finished operations whose run was left out because the setup that their standard has was not booked: it may be in
    /// the run.
    pub without_setup: usize,
    /// The runs of operations that are nearly all one element, for the share of them that somebody stands by.
    pub runs: Vec<Run>,
}

/// Who worked how long on one part of one operation, and when somebody last did.
#[derive(Default)]
struct Worked {
    minutes: BTreeMap<Uuid, f64>,
    last: Option<DateTime<Utc>>,
}

/// The evidence of finished operations.
///
/// Expected is the standard of today times the mean of its spread times `level`: what a quote of today would expect. The run
/// is what people attended and what the machine ran by itself; where one person attended two machines at once, it is the
/// machine's time. `month` numbers the months.
#[must_use]
pub fn evidence(
    finished: &[FinishedOperation],
    clocks: &[Clock],
    elements: &[Element],
    level: f64,
    month: impl Fn(DateTime<Utc>) -> i32,
) -> Booked {
    let standards: Standards = finished.iter().map(|f| (f.id, f.planned.setup.0)).collect();
    let spent = hours(clocks, &standards);
    let mut worked: HashMap<(Uuid, Part), Worked> = HashMap::new();
    for clock in clocks {
        let part = match clock.phase {
            Phase::Setup => Part::Setup,
            Phase::Run | Phase::Alone => Part::Run,
        };
        let Some(until) = clock.until else { continue };
        let entry = worked.entry((clock.operation, part)).or_default();
        entry.last = entry.last.max(Some(until));
        if clock.phase.is_attended() {
            let minutes = (until - clock.from).num_seconds() as f64 / 60.0;
            *entry.minutes.entry(clock.person).or_default() += minutes;
        }
    }
    let mut booked = Booked::default();
    for one in finished {
        let Some(spent) = spent.get(&one.id) else {
            continue;
        };
        let now = one.planned.restated(elements);
        let setup = setup_expected(&now, elements, level);
        if setup.is_some() && spent.setup == 0 {
            booked.without_setup += 1;
            continue;
        }
        let run: Vec<(String, f64)> = now.steps.iter().map(|s| step_expected(s, level)).collect();
        booked.runs.extend(nearly_one(&run, spent));
        for (part, minutes, expected) in [
            (Part::Setup, spent.setup, setup.into_iter().collect()),
            (Part::Run, run_minutes(spent), run),
        ] {
            let expected: Vec<(String, f64)> = expected;
            let known = worked.get(&(one.id, part));
            let last = known.and_then(|w| w.last);
            let (Some(last), true, false) = (last, minutes > 0, expected.is_empty()) else {
                continue;
            };
            booked.evidence.push(Evidence {
                operation: one.id,
                job: one.job,
                part,
                minutes: minutes as f64,
                expected,
                people: known.map_or(Vec::new(), |w| {
                    w.minutes.iter().map(|(p, m)| (*p, *m)).collect()
                }),
                period: month(last),
            });
        }
    }
    booked
}

/// The evidence of work done before the shop booked its hours here: one element so many times, in so many minutes with its
/// setup, which is in the run for want of anything better. Work sent out is none. `id` and `job` tell it apart.
#[must_use]
pub fn past(
    (id, job): (Uuid, Uuid),
    element: &Element,
    count: u32,
    minutes: f64,
    level: f64,
    period: i32,
) -> Option<Evidence> {
    let each = element.revised.unwrap_or(element.owner_figure);
    let standard = plain(element.setup.0) + f64::from(count) * plain(each.0);
    let expected = standard * element.spread.mean() * level;
    (expected > 0.0 && minutes > 0.0 && element.machine_kind != OUTSIDE).then(|| Evidence {
        operation: id,
        job,
        part: Part::Run,
        minutes,
        expected: vec![(element.code.clone(), expected)],
        people: Vec::new(),
        period,
    })
}

/// The run of an operation of which one element makes nearly all.
fn nearly_one(run: &[(String, f64)], spent: &Hours) -> Option<Run> {
    let all: f64 = run.iter().map(|(_, minutes)| minutes).sum();
    let (code, _) = run
        .iter()
        .find(|(_, minutes)| *minutes >= all * NEARLY_ALL)?;
    (spent.attended + spent.alone > 0).then(|| Run {
        code: code.clone(),
        attended: spent.attended as f64,
        alone: spent.alone as f64,
    })
}

fn run_minutes(spent: &Hours) -> i64 {
    (spent.attended + spent.alone).max(spent.machine - spent.setup)
}

fn setup_expected(now: &Operation, elements: &[Element], level: f64) -> Option<(String, f64)> {
    let minutes = plain(now.setup.0) * now.setup_spread.mean() * level;
    let step = now.setup_step(elements)?;
    (minutes > 0.0).then(|| (step.code.clone(), minutes))
}

fn step_expected(step: &Step, level: f64) -> (String, f64) {
    let minutes = plain(step.run().0) * step.spread.mean() * level;
    (step.code.clone(), minutes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::starting;
    use crate::shopfloor::{Entry, Kind, clocks, tests::operation};
    use crate::units::{Currency, Minutes, Spread};
    use chrono::TimeDelta;
    use rust_decimal::{Decimal, dec};

    /// An hour set up, then half an hour attended and two hours alone; and another operation with its setup booked in the run.
    #[test]
    fn setup_and_run_are_evidence_apart_and_what_hides_its_setup_is_none() {
        let pounds = Currency::from_code("GBP").unwrap();
        let mut elements = starting::elements(pounds, Uuid::nil).unwrap();
        elements.truncate(1);
        elements[0].recipe = None;
        elements[0].revised = Some(Minutes(dec!(100)));
        elements[0].setup = Minutes(dec!(60));
        elements[0].spread = Spread::Cv { cv: dec!(0.2) };
        let mut planned = operation(10, &[]);
        planned.setup = Minutes(dec!(30));
        planned.steps = vec![Step {
            sizes: String::new(),
            settings: Vec::new(),
            code: elements[0].code.clone(),
            name: String::new(),
            place: None,
            count: 2,
            each: Minutes(dec!(40)),
            source: crate::estimating::TimeSource::Owner,
            how: String::new(),
            spread: Spread::NONE,
            left_out: String::new(),
            calculated_percent: Decimal::ONE_HUNDRED,
            setup: Some(Minutes(dec!(30))),
        }];
        let [col, mill, a, b] = [1, 2, 3, 4].map(Uuid::from_u128);
        let entry = |sequence: i64, kind, operation, minute| Entry {
            id: Uuid::from_u128(100 + sequence.unsigned_abs() as u128),
            kind,
            operation,
            person: col,
            machine: Some(mill),
            at: DateTime::UNIX_EPOCH + TimeDelta::minutes(minute),
            sequence,
            corrects: None,
        };
        let entries = [
            entry(1, Kind::Setup, a, 0),
            entry(2, Kind::Run, a, 60),
            entry(3, Kind::RunAlone, a, 90),
            entry(4, Kind::Done, a, 210),
            entry(5, Kind::Run, b, 300),
            entry(6, Kind::Done, b, 400),
        ];
        let finished = [a, b].map(|id| FinishedOperation {
            id,
            job: Uuid::nil(),
            planned: &planned,
        });
        let booked = evidence(&finished, &clocks(&entries), &elements, 1.1, |_| 7);
        assert_eq!(booked.without_setup, 1);
        let said: Vec<_> = booked
            .evidence
            .iter()
            .map(|e| {
                (
                    e.part,
                    e.minutes,
                    e.expected[0].1.round(),
                    e.people.len(),
                    e.period,
                )
            })
            .collect();
        // At the standards of today: 60 and 2 × 100 minutes, a tenth more by the level.
        assert_eq!(
            said,
            [
                (Part::Setup, 60.0, 66.0, 1, 7),
                (Part::Run, 150.0, 220.0, 1, 7)
            ]
        );
    }
}
