//! Rates as they were in force at each moment, told from the rates now and what changed since.

use super::machine::{LabourRate, Machine, RatesError};
use super::rates::Rates;
use crate::units::Money;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a machine or a labour rate was before a change.
#[derive(Debug, Clone, PartialEq)]
pub enum Before {
    /// A machine with its worksheet.
    Machine(Box<Machine>),
    /// What an hour of people cost.
    Labour(LabourRate),
}

/// The rates of one stretch of time.
#[derive(Debug, Clone, PartialEq)]
pub struct InForce {
    /// What work was quoted with.
    pub rates: Rates,
    /// The hourly rate of each machine.
    pub machines: BTreeMap<Uuid, Money>,
}

/// Rates over time.
#[derive(Debug, Clone, PartialEq)]
pub struct RatesOverTime {
    /// Since when, the latest first; the last one has no beginning.
    spans: Vec<(DateTime<Utc>, InForce)>,
}

impl RatesOverTime {
    /// From the machines and labour rates as they are now, and what each was before it was changed, in any order. What was
    /// added later is taken to have been there before: its rate is the only one known.
    ///
    /// # Errors
    /// [`RatesError`] when there are no rates now. A stretch of the past without rates has those of the time after it.
    pub fn new(
        mut machines: Vec<Machine>,
        mut labour: Vec<LabourRate>,
        mut changes: Vec<(DateTime<Utc>, Before)>,
    ) -> Result<Self, RatesError> {
        changes.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
        let mut now = in_force(&machines, &labour)?;
        let mut spans = Vec::new();
        for (at, before) in changes {
            spans.push((at, now.clone()));
            match before {
                Before::Machine(before) => {
                    match machines.iter_mut().find(|machine| machine.id == before.id) {
                        Some(machine) => *machine = *before,
                        None => machines.push(*before),
                    }
                }
                Before::Labour(before) => {
                    match labour.iter_mut().find(|rate| rate.id == before.id) {
                        Some(rate) => *rate = before,
                        None => labour.push(before),
                    }
                }
            }
            if let Ok(earlier) = in_force(&machines, &labour) {
                now = earlier;
            }
        }
        spans.push((DateTime::<Utc>::MIN_UTC, now));
        Ok(Self { spans })
    }

    /// Those in force at a moment.
    #[must_use]
    pub fn at(&self, at: DateTime<Utc>) -> Option<&InForce> {
        let span = self.spans.iter().find(|(since, _)| *since <= at);
        span.map(|(_, rates)| rates)
    }
}

fn in_force(machines: &[Machine], labour: &[LabourRate]) -> Result<InForce, RatesError> {
    Ok(InForce {
        rates: Rates::in_force(machines, labour)?,
        machines: machines
            .iter()
            .filter_map(|machine| Some((machine.id, machine.hourly().ok()?)))
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Currency;

    #[test]
    fn a_rate_is_what_it_was_until_it_was_raised() {
        let money = |amount: i64| Money::new(amount.into(), Currency::from_code("GBP").unwrap());
        let rate = |key: u128, skill: Option<&str>, hourly| LabourRate {
            id: Uuid::from_u128(key),
            skill: skill.map(str::to_owned),
            hourly: money(hourly),
            version: 1,
        };
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let labour = vec![rate(1, None, 32), rate(2, Some("milling"), 40)];
        // Raised twice, told in no order, and another that is gone since.
        let changes = vec![
            (
                at("2026-03-01T08:00:00Z"),
                Before::Labour(rate(2, Some("milling"), 36)),
            ),
            (
                at("2026-06-01T08:00:00Z"),
                Before::Labour(rate(2, Some("milling"), 38)),
            ),
            (
                at("2026-05-01T08:00:00Z"),
                Before::Labour(rate(3, Some("grinding"), 35)),
            ),
        ];
        let rates = RatesOverTime::new(Vec::new(), labour, changes).unwrap();
        let milling = |day: &str, skill: &str| {
            rates
                .at(at(&format!("{day}T12:00:00Z")))
                .unwrap()
                .rates
                .person(skill)
        };
        assert_eq!(milling("2026-06-01", "milling"), money(40));
        assert_eq!(milling("2026-05-31", "milling"), money(38));
        assert_eq!(milling("2026-02-28", "milling"), money(36));
        assert_eq!(milling("2026-05-31", "grinding"), money(32));
        assert_eq!(milling("2026-04-30", "grinding"), money(35));
    }
}
