//! A customer bargains: another price, work left out, parts of their own, another day. What comes of it is worked out from
//! the option as it was said: the price with its lines, the margin, the chance of a loss, what must be said.

use super::answer::{Figures, OptionAnswer, Terms};
use crate::estimating::{CostLine, Operation, Route};
use crate::units::{Money, MoneyError};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// What is asked.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Bargain {
    /// The price before tax; `None` leaves it as it comes out.
    pub price: Option<Money>,
    /// Why.
    pub reason: String,
    /// Numbers of operations that are left out.
    pub left_out: Vec<u32>,
    /// Labels of material and carriage lines that the customer supplies.
    pub supplied: Vec<String>,
    /// The day to promise; `None` leaves it as it was said.
    pub promised_on: Option<NaiveDate>,
}

/// The shop's rules for it.
#[derive(Debug, Clone, Copy)]
pub struct BargainRules {
    /// Tax, in per cent.
    pub tax_percent: Decimal,
    /// The margin, in per cent of the price, below which only the owner may quote.
    pub least_margin_percent: Decimal,
}

/// What is distributed over the futures, as percentiles: the least that 0, 1 … 100 per cent of them do not exceed.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Percentiles {
    /// What the work and the castings at a fixed price cost the shop, overhead included, minor units.
    pub full_cost: Vec<i64>,
    /// The day it is ready; `None`: later than every day.
    pub ready: Vec<Option<NaiveDate>>,
}

/// What comes of a bargain.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Bargained {
    /// What the price is made of.
    pub lines: Vec<CostLine>,
    /// Before tax.
    pub net: Money,
    /// Tax.
    pub tax: Money,
    /// What the customer pays.
    pub gross: Money,
    /// The work that remains.
    pub route: Route,
    /// The day to promise.
    pub promised_on: Option<NaiveDate>,
    /// What is left beyond the expected full cost.
    pub margin: Money,
    /// The same in per cent of the price, to one place.
    pub margin_percent: Decimal,
    /// The chance, in per cent, that the full cost is above the price.
    pub loss_percent: u32,
    /// The lowest price at which the least margin is kept.
    pub floor: Money,
    /// The chance, in per cent, that the promised day holds, if one is promised.
    pub promise_percent: Option<u32>,
    /// What the customer must hear, one sentence each.
    pub conditions: Vec<String>,
    /// Whether anything differs from the option as it was said; then there must be a reason.
    pub differs: bool,
}

impl Bargained {
    /// Whether only the owner may quote it.
    #[must_use]
    pub fn below_floor(&self) -> bool {
        self.net.amount() < self.floor.amount()
    }
}

/// Why a bargain cannot be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BargainFault {
    /// The option cannot be done, or it is a search, whose price is not fixed.
    #[error("this option has no price to bargain over")]
    NoPrice,
    /// An operation that is always done.
    #[error("operation {0} is always done")]
    Mandatory(u32),
    /// A part that is not in the price.
    #[error("“{0}” is not in the price")]
    NotInPrice(String),
    /// Something differs from the answer, and nobody has said why.
    #[error("say why")]
    NoReason,
    /// A price of nothing or less.
    #[error("the price is not above zero")]
    NotAPrice,
    /// Sums that do not add up.
    #[error(transparent)]
    Money(#[from] MoneyError),
}

impl Operation {
    /// What the customer must hear when it is left out; `None` when it is always done, because one of its steps is.
    #[must_use]
    pub fn may_be_left_out(&self) -> Option<String> {
        let mut said: Vec<&str> = Vec::new();
        for step in &self.steps {
            if step.left_out.is_empty() {
                return None;
            }
            if !said.contains(&step.left_out.as_str()) {
                said.push(&step.left_out);
            }
        }
        (!said.is_empty()).then(|| said.join(" "))
    }
}

/// The lines of materials, and of carriage, that a customer may supply instead, by label with their amounts before overhead
/// and margin.
#[must_use]
pub fn supplies(figures: &Figures) -> Vec<(String, Money)> {
    fn walk(lines: &[CostLine], inside: bool, found: &mut Vec<(String, Money)>) {
        for line in lines {
            let here = inside || line.label == "Materials";
            if line.lines.is_empty() && (inside || line.label == "Carriage") {
                if !line.amount.amount().is_zero() {
                    found.push((line.label.clone(), line.amount));
                }
            } else {
                walk(&line.lines, here, found);
            }
        }
    }
    let mut found = Vec::new();
    walk(&figures.build_up.lines, false, &mut found);
    found
}

/// Works a bargain out.
///
/// # Errors
/// [`BargainFault`].
pub fn bargain(
    option: &OptionAnswer,
    asked: &Bargain,
    rules: BargainRules,
) -> Result<Bargained, BargainFault> {
    let figures = option.figures().ok_or(BargainFault::NoPrice)?;
    if matches!(figures.terms, Terms::Search(_)) {
        return Err(BargainFault::NoPrice);
    }
    let sums = Sums::of(figures)?;
    let mut lines = figures.build_up.lines.clone();
    let (mut spared, mut conditions, idle) = leave_out(figures, asked, &sums, &mut lines)?;
    let supplies = supplies(figures);
    for label in &asked.supplied {
        let part = supplies.iter().find(|(known, _)| known == label);
        let (_, cost) = part.ok_or_else(|| BargainFault::NotInPrice(label.clone()))?;
        spared = spared.plus(*cost)?;
        let how = "at its share of the price";
        lines.push(sums.off(&format!("Supplied by the customer: {label}"), how, *cost)?);
        conditions.push(format!(
            "{label} is supplied by the customer, who answers for its quality and for its being here in time."
        ));
    }
    let computed = Money::sum(sums.currency(), lines.iter().map(|line| line.amount))?;
    let net = asked.price.unwrap_or(computed).rounded();
    if net.amount() <= Decimal::ZERO {
        return Err(BargainFault::NotAPrice);
    }
    let differs = net.minus(computed)?;
    if !differs.amount().is_zero() {
        let label = if differs.amount().is_sign_negative() {
            "Discount"
        } else {
            "Surcharge"
        };
        lines.push(CostLine::leaf(label, asked.reason.trim(), differs));
    }
    let changed = lines.len() > figures.build_up.lines.len();
    let promised_on = asked.promised_on.or(figures.ready_day);
    let left_out = |operation: &Operation| {
        asked.left_out.contains(&operation.number)
            || idle.iter().any(|o| o.number == operation.number)
    };
    let full_cost = sums.full_cost.minus(sums.with_overhead(spared)?)?;
    let margin = net.minus(full_cost)?;
    let tax = net.percent(rules.tax_percent)?.rounded();
    Ok(Bargained {
        gross: net.plus(tax)?,
        tax,
        margin_percent: percent(margin, net),
        margin,
        loss_percent: loss_percent(figures, net, sums.with_overhead(spared)?)?,
        floor: floor(full_cost, rules.least_margin_percent)?,
        promise_percent: promised_on.map(|day| held_by(&figures.percentiles.ready, day)),
        differs: changed || promised_on != figures.ready_day,
        promised_on,
        route: without(&figures.route, left_out),
        lines,
        net,
        conditions,
    })
}

/// Takes work that is left out off the price, and the making of parts that only this work needs. Gives what is spared, what
/// the customer must hear, and the operations that are not done besides those that were named.
fn leave_out<'a>(
    figures: &'a Figures,
    asked: &Bargain,
    sums: &Sums,
    lines: &mut Vec<CostLine>,
) -> Result<(Money, Vec<String>, Vec<&'a Operation>), BargainFault> {
    const HOW: &str = "at its share of the price";
    let mut conditions = Vec::new();
    let mut spared = Money::zero(sums.currency());
    let route = &figures.route;
    let mut off = Vec::new();
    for number in &asked.left_out {
        let operation = route.operations.iter().find(|o| o.number == *number);
        let operation = operation.ok_or(BargainFault::Mandatory(*number))?;
        let said = operation
            .may_be_left_out()
            .ok_or(BargainFault::Mandatory(*number))?;
        conditions.push(said);
        off.push((operation, format!("Left out: {}", operation.title)));
    }
    let idle = making_for(route, &asked.left_out);
    off.extend(idle.iter().map(|o| (*o, format!("Not made: {}", o.title))));
    for (operation, label) in off {
        let cost = cost_of(&figures.build_up.lines, operation)?;
        spared = spared.plus(cost)?;
        lines.push(sums.off(&label, HOW, cost)?);
    }
    Ok((spared, conditions, idle))
}

/// What the price of an option is made of, summed up for shares of it.
struct Sums {
    /// Direct costs.
    direct: Money,
    /// With overhead.
    full_cost: Money,
    /// The price.
    net: Money,
}

impl Sums {
    fn of(figures: &Figures) -> Result<Self, MoneyError> {
        let net = figures.build_up.net;
        let margin = named(&figures.build_up.lines, "Margin", net)?;
        let overhead = named(&figures.build_up.lines, "Overhead", net)?;
        let full_cost = net.minus(margin)?;
        Ok(Self {
            direct: full_cost.minus(overhead)?,
            full_cost,
            net,
        })
    }

    fn currency(&self) -> crate::units::Currency {
        self.net.currency()
    }

    fn share(&self, cost: Money, of: Money) -> Result<Money, MoneyError> {
        if self.direct.amount().is_zero() {
            return Ok(cost);
        }
        let times = of
            .amount()
            .checked_div(self.direct.amount())
            .ok_or(MoneyError::Overflow)?;
        Ok(cost.times(times)?.rounded())
    }

    fn with_overhead(&self, cost: Money) -> Result<Money, MoneyError> {
        self.share(cost, self.full_cost)
    }

    /// A line that takes a direct cost off the price, with its overhead and margin.
    fn off(&self, label: &str, how: &str, cost: Money) -> Result<CostLine, MoneyError> {
        let off = self.share(cost, self.net)?;
        Ok(CostLine::leaf(
            label,
            how,
            Money::zero(self.currency()).minus(off)?,
        ))
    }
}

/// The sum of all lines of this label, at any depth.
fn named(lines: &[CostLine], label: &str, like: Money) -> Result<Money, MoneyError> {
    lines
        .iter()
        .try_fold(Money::zero(like.currency()), |sum, line| {
            if line.label == label {
                sum.plus(line.amount)
            } else {
                sum.plus(named(&line.lines, label, like)?)
            }
        })
}

/// What the lines say one operation costs: its labour, machine and outside work are labelled with its number and title, its
/// materials with its number.
fn cost_of(lines: &[CostLine], operation: &Operation) -> Result<Money, MoneyError> {
    let name = format!("{} {}", operation.number, operation.title);
    let material = format!(", operation {}", operation.number);
    fn walk(
        lines: &[CostLine],
        name: &str,
        material: &str,
        sum: Money,
    ) -> Result<Money, MoneyError> {
        lines.iter().try_fold(sum, |sum, line| {
            if !line.lines.is_empty() {
                walk(&line.lines, name, material, sum)
            } else if line.label == name || line.label.ends_with(material) {
                sum.plus(line.amount)
            } else {
                Ok(sum)
            }
        })
    }
    let Some(first) = lines.first() else {
        return Err(MoneyError::Overflow);
    };
    walk(
        lines,
        &name,
        &material,
        Money::zero(first.amount.currency()),
    )
}

fn percent(part: Money, of: Money) -> Decimal {
    (part.amount() * Decimal::ONE_HUNDRED)
        .checked_div(of.amount())
        .unwrap_or_default()
        .round_dp(1)
}

/// The lowest price at which this margin is left.
fn floor(full_cost: Money, least_margin_percent: Decimal) -> Result<Money, MoneyError> {
    let floor = full_cost.over(Decimal::ONE - least_margin_percent / Decimal::ONE_HUNDRED)?;
    Ok(floor.rounded())
}

/// The chance that the full cost, less what is spared, is above the price.
fn loss_percent(figures: &Figures, net: Money, spared: Money) -> Result<u32, MoneyError> {
    let enough = net.plus(spared)?.to_minor()?;
    let costs = &figures.percentiles.full_cost;
    let covered = costs.partition_point(|cost| *cost <= enough);
    let last = costs.len().saturating_sub(1).max(1);
    let held = covered.saturating_sub(1).min(last) * 100 / last;
    Ok(100_u32.saturating_sub(u32::try_from(held).unwrap_or(100)))
}

/// The chance, in per cent, that it is ready on a day or before.
fn held_by(ready: &[Option<NaiveDate>], day: NaiveDate) -> u32 {
    let held = ready.partition_point(|ready| ready.is_some_and(|ready| ready <= day));
    let last = ready.len().saturating_sub(1).max(1);
    u32::try_from(held.saturating_sub(1).min(last) * 100 / last).unwrap_or(100)
}

/// The operations that make parts which only operations that are left out need.
fn making_for<'a>(route: &'a Route, left_out: &[u32]) -> Vec<&'a Operation> {
    let item = |operation: &Operation| operation.makes.as_ref().map(|makes| makes.item_id);
    let last = |o: &&Operation| o.makes.as_ref().is_some_and(|makes| makes.last);
    let idle = |done: &&Operation| {
        let mut needing = route.operations.iter().filter(|o| {
            o.after.contains(&done.number) && o.materials.iter().any(|material| material.made)
        });
        needing.all(|o| left_out.contains(&o.number))
    };
    let finished = route.operations.iter().filter(last).filter(idle);
    let items: Vec<_> = finished.map(item).collect();
    let making = route.operations.iter().filter(|o| o.makes.is_some());
    making.filter(|o| items.contains(&item(o))).collect()
}

/// The route without some operations; what waited for one of them waits for what that waited for.
fn without(route: &Route, left_out: impl Fn(&Operation) -> bool) -> Route {
    let mut operations = route.operations.clone();
    let gone: Vec<Operation> = operations.iter().filter(|o| left_out(o)).cloned().collect();
    operations.retain(|o| !left_out(o));
    // Backwards, so that what waits for one that is gone too is handed on again.
    for gone in gone.iter().rev() {
        for operation in &mut operations {
            if operation.after.contains(&gone.number) {
                operation.after.retain(|number| *number != gone.number);
                for before in &gone.after {
                    if !operation.after.contains(before) {
                        operation.after.push(*before);
                    }
                }
                operation.after.sort_unstable();
            }
        }
    }
    Route { operations }
}
