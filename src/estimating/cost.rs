//! From a route to a price, every figure opening down to its lines.
//!
//! Every leaf is rounded to the minor unit and every parent is the sum of its lines, so what is shown adds up to the
//! penny. Hours are expected hours: the standard times the mean of its spread.

use super::futures::{CostSampler, percentile};
use super::policy::Policy;
use super::rates::Rates;
use super::route::{Operation, Route};
use crate::units::spread::SpreadError;
use crate::units::{Currency, Minutes, Money, MoneyError};
use rand::Rng;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// No cost is built up on more donors that fail than this for one that passes: no shop goes on so long.
const MOST_FAILURES: u32 = 100;

/// The donor a conversion starts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Donor {
    /// What it costs the shop: price paid or value on the shelf.
    pub price: Money,
    /// How many are expected to fail the inspection, at the shop's expense, before one passes; 0 where the customer
    /// bears that.
    pub failures: Decimal,
    /// What another is expected to cost beyond that when there is none left: how likely that is, times its cost.
    pub another: Option<Money>,
}

/// Everything a cost is built up from.
#[derive(Debug, Clone, Copy)]
pub struct Costing<'a> {
    /// The work.
    pub route: &'a Route,
    /// The rates in force.
    pub rates: &'a Rates,
    /// The shop's pricing policy.
    pub policy: &'a Policy,
    /// The donor, unless the block is the caller's own or costed elsewhere.
    pub donor: Option<Donor>,
}

/// Why a cost cannot be built up.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CostError {
    /// The route needs a kind of machine that no active machine of the shop has a rate for.
    #[error("operation {number} needs a “{kind}”, and no machine of that kind has a rate")]
    NoMachineRate {
        /// The kind.
        kind: String,
        /// The first operation that needs it.
        number: u32,
    },
    /// A number of failures that makes no sense.
    #[error("the number of donors expected to fail must be from 0 to {MOST_FAILURES}, and is {0}")]
    Failures(Decimal),
    /// A spread of time that makes no sense.
    #[error(transparent)]
    Spread(#[from] SpreadError),
    /// Sums that do not add up.
    #[error(transparent)]
    Money(#[from] MoneyError),
}

/// A figure and what it is made of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CostLine {
    /// What it is.
    pub label: String,
    /// How it was reached, e.g. "3.25 h × 42.00".
    pub how: String,
    /// The figure.
    pub amount: Money,
    /// The lines it is the sum of; empty for a leaf.
    pub lines: Vec<CostLine>,
}

impl CostLine {
    /// A figure that is not the sum of others, rounded to the minor unit.
    pub fn leaf(label: impl Into<String>, how: impl Into<String>, amount: Money) -> Self {
        Self {
            label: label.into(),
            how: how.into(),
            amount: amount.rounded(),
            lines: Vec::new(),
        }
    }

    /// The sum of its lines.
    ///
    /// # Errors
    /// [`MoneyError`] when they are of mixed currencies or too large.
    pub fn sum(
        label: impl Into<String>,
        how: impl Into<String>,
        lines: Vec<Self>,
        currency: Currency,
    ) -> Result<Self, MoneyError> {
        Ok(Self {
            label: label.into(),
            how: how.into(),
            amount: total(&lines, currency)?,
            lines,
        })
    }
}

fn total(lines: &[CostLine], currency: Currency) -> Result<Money, MoneyError> {
    lines
        .iter()
        .try_fold(Money::zero(currency), |sum, line| sum.plus(line.amount))
}

/// The build-up of one option's price.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CostBuildUp {
    /// Labour, machines, materials, outside work, donor, failed donors, contingency, overhead, margin, as far as they
    /// arise: summing to `net`.
    pub lines: Vec<CostLine>,
    /// Before tax.
    pub net: Money,
    /// Tax.
    pub tax: Money,
    /// What the customer pays.
    pub gross: Money,
}

/// How many futures stand behind a contingency when the caller brings none.
const FUTURES: usize = 2_000;

impl CostBuildUp {
    /// Builds a price up, with the contingency from simulated futures of its own.
    ///
    /// # Errors
    /// [`CostError`].
    pub fn of(costing: &Costing, rng: &mut impl Rng) -> Result<Self, CostError> {
        let sampler = CostSampler::new(costing)?;
        let times = costing.route.sampler()?;
        let mut minutes = vec![0.0; costing.route.operations.len()];
        let futures: Vec<i64> = (0..FUTURES)
            .map(|_| {
                times.sample(rng, &mut minutes);
                sampler.direct(&minutes, 0)
            })
            .collect();
        Self::of_futures(costing, Vec::new(), &futures)
    }

    /// Builds a price up, with the contingency from futures that the caller has simulated already: direct costs in
    /// minor units, from a [`CostSampler`], without donors that fail. `procured` are direct lines costed elsewhere, such
    /// as a hunt's.
    ///
    /// Donors that fail are charged at their expectation and not once more in the contingency: they come round job after
    /// job, so the shop is whole in the long run, while a customer should not pay for a whole spare donor because two in
    /// ten fail. The contingency is for hours, which the shop may misjudge in the same way each time.
    ///
    /// # Errors
    /// [`CostError`].
    pub fn of_futures(
        costing: &Costing,
        procured: Vec<CostLine>,
        futures: &[i64],
    ) -> Result<Self, CostError> {
        let policy = costing.policy;
        let mut lines = procured;
        let (direct, failed) = direct_lines(costing)?;
        lines.extend(direct);
        let currency = costing.rates.people_default.currency();
        let expected = total(&lines, currency)?;
        lines.extend(failed);

        let confidence = policy.confidence_percent;
        let enough = percentile(futures, policy.covered_percent())
            .map_or(expected, |minor| Money::from_minor(minor, currency));
        let contingency = enough.minus(expected)?;
        let (contingency, how) = if contingency.amount().is_sign_negative() {
            (
                Money::zero(currency),
                format!("the expected cost is enough with {confidence} % certainty already"),
            )
        } else {
            (
                contingency,
                format!(
                    "{enough} is enough with {confidence} % certainty, less the expected {expected}"
                ),
            )
        };
        lines.push(CostLine::leaf("Contingency", how, contingency));

        let cost = total(&lines, currency)?;
        lines.push(CostLine::leaf(
            "Overhead",
            format!("{} % of {cost}", policy.overhead_percent.normalize()),
            cost.percent(policy.overhead_percent)?,
        ));
        let full_cost = total(&lines, currency)?;
        let net = full_cost
            .over(Decimal::ONE - policy.margin_percent / Decimal::ONE_HUNDRED)?
            .rounded();
        lines.push(CostLine::leaf(
            "Margin",
            format!(
                "{} % of the price: {full_cost} ÷ (1 − {}) is {net}",
                policy.margin_percent.normalize(),
                (policy.margin_percent / Decimal::ONE_HUNDRED).normalize(),
            ),
            net.minus(full_cost)?,
        ));
        let tax = net.percent(policy.tax_percent)?.rounded();
        Ok(Self {
            lines,
            net,
            tax,
            gross: net.plus(tax)?,
        })
    }

    /// The cost before overhead, margin and tax that is expected, without contingency: what simulations are held against.
    #[cfg(test)]
    pub(super) fn expected_direct(costing: &Costing) -> Result<Money, CostError> {
        let currency = costing.rates.people_default.currency();
        let (mut lines, failed) = direct_lines(costing)?;
        lines.extend(failed);
        Ok(total(&lines, currency)?)
    }
}

impl Operation {
    /// What it is expected to cost: labour, machine, materials, outside work.
    ///
    /// # Errors
    /// [`CostError`].
    pub fn expected_cost(&self, rates: &Rates) -> Result<Money, CostError> {
        let currency = rates.people_default.currency();
        Ok(OperationCost::of(self, rates)?.total(currency)?)
    }

    /// What it has cost after so much of people's time and so much of a machine's. Materials and outside work count as
    /// soon as it is begun.
    ///
    /// # Errors
    /// [`CostError`].
    pub fn actual_cost(
        &self,
        people: Minutes,
        machine: Minutes,
        begun: bool,
        rates: &Rates,
    ) -> Result<Money, CostError> {
        let labour = rates.person(&self.skill).for_time(people)?;
        let machine = match rates.machine.get(&self.machine_kind) {
            Some(rate) => rate.for_time(machine)?,
            None => Money::zero(labour.currency()),
        };
        let mut spent = labour.plus(machine)?;
        if begun {
            for material in &self.materials {
                spent = spent.plus(material.price.times(material.quantity)?)?;
            }
            if let Some((price, _)) = self.outside {
                spent = spent.plus(price)?;
            }
        }
        Ok(spent)
    }
}

/// What one operation is expected to cost, by what it is spent on.
pub(super) struct OperationCost {
    pub(super) labour: CostLine,
    pub(super) machine: Option<CostLine>,
    pub(super) materials: Vec<CostLine>,
    pub(super) outside: Option<CostLine>,
}

impl OperationCost {
    pub(super) fn of(operation: &Operation, rates: &Rates) -> Result<Self, CostError> {
        let name = format!("{} {}", operation.number, operation.title);
        let setup = operation.expected_setup();
        let run = operation.expected_run();
        let attended = setup + run * operation.attended_share;
        let rate = rates.person(&operation.skill);
        let share = (operation.attended_share * Decimal::ONE_HUNDRED)
            .round_dp(1)
            .normalize();
        let labour = CostLine::leaf(
            &name,
            format!(
                "(setup {} h + {share} % of run {} h) × {rate}",
                hours(setup),
                hours(run)
            ),
            rate.for_time(attended)?,
        );
        let machine = match (
            &operation.outside,
            rates.machine.get(&operation.machine_kind),
        ) {
            (Some(_), _) => None,
            (None, Some(rate)) => Some(CostLine::leaf(
                &name,
                format!("{} h × {rate}", hours(setup + run)),
                rate.for_time(setup + run)?,
            )),
            (None, None) => {
                return Err(CostError::NoMachineRate {
                    kind: operation.machine_kind.clone(),
                    number: operation.number,
                });
            }
        };
        let materials = operation
            .materials
            .iter()
            .map(|m| {
                let how = if m.made {
                    format!("{} made in this job", m.quantity.normalize())
                } else {
                    format!("{} × {}", m.quantity.normalize(), m.price)
                };
                Ok(CostLine::leaf(
                    format!("{}, operation {}", m.name, operation.number),
                    how,
                    m.price.times(m.quantity)?,
                ))
            })
            .collect::<Result<_, MoneyError>>()?;
        let outside = operation
            .outside
            .map(|(price, days)| CostLine::leaf(name, format!("{days} days away"), price));
        Ok(Self {
            labour,
            machine,
            materials,
            outside,
        })
    }

    pub(super) fn total(&self, currency: Currency) -> Result<Money, MoneyError> {
        std::iter::once(&self.labour)
            .chain(&self.machine)
            .chain(&self.materials)
            .chain(&self.outside)
            .try_fold(Money::zero(currency), |sum, line| sum.plus(line.amount))
    }
}

fn hours(minutes: Minutes) -> Decimal {
    minutes.hours().round_dp(2).normalize()
}

/// Labour, machines, materials, outside work and donor, as far as they arise; and the donors that fail.
fn direct_lines(costing: &Costing) -> Result<(Vec<CostLine>, Option<CostLine>), CostError> {
    let currency = costing.rates.people_default.currency();
    let mut labour: BTreeMap<&str, Vec<CostLine>> = BTreeMap::new();
    let mut machine: BTreeMap<&str, Vec<CostLine>> = BTreeMap::new();
    let mut materials = Vec::new();
    let mut outside = Vec::new();
    let mut inspection = Money::zero(currency);
    for (i, operation) in costing.route.operations.iter().enumerate() {
        let cost = OperationCost::of(operation, costing.rates)?;
        if i < costing.route.inspected_after() {
            inspection = inspection.plus(cost.total(currency)?)?;
        }
        labour
            .entry(&operation.skill)
            .or_default()
            .push(cost.labour);
        if let Some(line) = cost.machine {
            machine
                .entry(&operation.machine_kind)
                .or_default()
                .push(line);
        }
        materials.extend(cost.materials);
        outside.extend(cost.outside);
    }
    let grouped = |groups: BTreeMap<&str, Vec<CostLine>>| {
        groups
            .into_iter()
            .map(|(name, lines)| CostLine::sum(name, "", lines, currency))
            .collect::<Result<Vec<_>, _>>()
    };
    let mut lines = vec![
        CostLine::sum(
            "Labour",
            "attended hours × rate",
            grouped(labour)?,
            currency,
        )?,
        CostLine::sum(
            "Machines",
            "machine hours × machine-hour rate",
            grouped(machine)?,
            currency,
        )?,
    ];
    if !materials.is_empty() {
        lines.push(CostLine::sum(
            "Materials",
            "quantity × price",
            materials,
            currency,
        )?);
    }
    if !outside.is_empty() {
        lines.push(CostLine::sum("Outside work", "", outside, currency)?);
    }
    let mut failed = None;
    if let Some(donor) = costing.donor {
        lines.push(CostLine::leaf("Donor", "", donor.price));
        failed = failed_donors(donor, inspection, currency)?;
    }
    Ok((lines, failed))
}

/// What donors that fail are expected to cost, where the shop bears that: each costs the donor and the money spent up to
/// and including the inspection; the good one's are in the direct lines already. When none is left, another has to be
/// found.
fn failed_donors(
    donor: Donor,
    inspection: Money,
    currency: Currency,
) -> Result<Option<CostLine>, CostError> {
    let failures = donor.checked_failures()?;
    if failures.is_zero() {
        return Ok(None);
    }
    let shown = failures.round_dp(3).normalize();
    let mut lines = vec![
        CostLine::leaf(
            "Donors that fail",
            format!("{shown} × {}", donor.price),
            donor.price.times(failures)?,
        ),
        CostLine::leaf(
            "Work on donors that fail",
            format!("{shown} × {inspection} spent up to the inspection"),
            inspection.times(failures)?,
        ),
    ];
    if let Some(another) = donor.another.filter(|money| !money.amount().is_zero()) {
        let how = "how likely the shelf runs out × what another costs";
        lines.push(CostLine::leaf("Another when none is left", how, another));
    }
    let how = format!("{shown} fail for each good one, as expected");
    Ok(Some(CostLine::sum("Failed donors", how, lines, currency)?))
}

impl Donor {
    /// How many are expected to fail, checked.
    pub(super) fn checked_failures(&self) -> Result<Decimal, CostError> {
        if self.failures < Decimal::ZERO || self.failures > Decimal::from(MOST_FAILURES) {
            return Err(CostError::Failures(self.failures));
        }
        Ok(self.failures)
    }
}
