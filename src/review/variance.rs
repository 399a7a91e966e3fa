//! Where the hours and the money went: what was booked against what was estimated for it.
//!
//! Cost accounting splits the difference between what work cost and what it should have cost in two. The **rate** variance
//! is what an hour cost more than the estimate reckoned with, (actual rate − standard rate) × actual hours; the
//! **efficiency** variance is what the hours beyond the standard cost, (actual hours − standard hours allowed) × standard
//! rate. Both together are the whole difference. Above nought is unfavourable: it cost more (OpenStax, *Principles of
//! Accounting, Volume 2: Managerial Accounting*, 2019, chapter 8.3; Horngren, *Cost Accounting*, flexible-budget variances;
//! both from memory).
//!
//! The standard is the estimate of the quote: the hours the operation was expected to take, at the rates of the day it was
//! quoted. Hours allowed are those of the part that is done ([`crate::estimating::allowed`]). Materials and outside work
//! are left out: their price is charged as it was estimated.
//!
//! Where an operation was booked by several people, at several machines or in several months, each bears the share of its
//! allowed hours that it has of the booked ones. An operation has two units here, its setup and its run, so that a long
//! setup is not held against the elements of the run.
//!
//! ```
//! use borewright::review::variance::Figures;
//! use rust_decimal::dec;
//!
//! // Two hours at 42 an hour where 90 minutes at 40 were allowed.
//! let worked = Figures::of(dec!(120), dec!(42), dec!(90), dec!(40));
//! assert_eq!((worked.cost, worked.allowed_cost), (dec!(84), dec!(60)));
//! assert_eq!((worked.rate, worked.efficiency()), (dec!(4), dec!(20)));
//! ```

#[cfg(test)]
mod tests;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use std::ops::AddAssign;
use std::sync::Arc;
use strum::{EnumString, IntoStaticStr, VariantArray};

/// By what the figures are put together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Grouping {
    /// The operation, by its name on the route card.
    Operation,
    /// The element of work; setups apart.
    Element,
    /// The kind of work: conversion, repair.
    Kind,
    /// The machine it was done at.
    Machine,
    /// Who did it.
    Person,
    /// The pattern of the casting.
    Pattern,
    /// The customer.
    Customer,
    /// The job.
    Job,
}

/// What a group is known by, and its name.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Label {
    /// The same for all that belongs together.
    pub key: String,
    /// As it is read; empty where nothing was noted.
    pub name: String,
}

/// Hours and money, booked and allowed. Time in minutes, money in the shop's currency; exact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Figures {
    /// Minutes booked of people.
    pub people: Decimal,
    /// Minutes allowed of people.
    pub people_allowed: Decimal,
    /// Minutes booked of machines.
    pub machine: Decimal,
    /// Minutes allowed of machines.
    pub machine_allowed: Decimal,
    /// What the booked minutes cost.
    pub cost: Decimal,
    /// What the allowed minutes cost at the standard rates.
    pub allowed_cost: Decimal,
    /// The rate variance; above nought it cost more.
    pub rate: Decimal,
}

/// Figures are kept to this many places, so that their sums are exact.
const PLACES: u32 = 8;
const SIXTY: Decimal = Decimal::from_parts(60, 0, 0, false, 0);

/// Money for minutes at an hourly rate.
fn money(minutes: Decimal, hourly: Decimal) -> Decimal {
    (minutes * hourly / SIXTY).round_dp(PLACES)
}

impl Figures {
    /// The figures of people's time: minutes booked at an hourly rate, minutes allowed at the standard one.
    #[must_use]
    pub fn of(booked: Decimal, actual: Decimal, allowed: Decimal, standard: Decimal) -> Self {
        Self {
            people: booked,
            people_allowed: allowed,
            cost: money(booked, actual),
            allowed_cost: money(allowed, standard),
            rate: money(booked, actual - standard),
            ..Self::default()
        }
    }

    /// The same of a machine's time.
    fn of_machine(booked: Decimal, actual: Decimal, allowed: Decimal, standard: Decimal) -> Self {
        let time = Self::of(booked, actual, allowed, standard);
        Self {
            people: Decimal::ZERO,
            people_allowed: Decimal::ZERO,
            machine: booked,
            machine_allowed: allowed,
            ..time
        }
    }

    /// The efficiency variance; above nought it took longer.
    #[must_use]
    pub fn efficiency(&self) -> Decimal {
        self.variance() - self.rate
    }

    /// The whole variance: what it cost beyond what it should have.
    #[must_use]
    pub fn variance(&self) -> Decimal {
        self.cost - self.allowed_cost
    }

    /// A share of the figures.
    fn times(&self, share: Decimal) -> Self {
        let of = |whole: Decimal| (whole * share).round_dp(PLACES);
        Self {
            people: of(self.people),
            people_allowed: of(self.people_allowed),
            machine: of(self.machine),
            machine_allowed: of(self.machine_allowed),
            cost: of(self.cost),
            allowed_cost: of(self.allowed_cost),
            rate: of(self.rate),
        }
    }

    fn less(&self, other: &Self) -> Self {
        Self {
            people: self.people - other.people,
            people_allowed: self.people_allowed - other.people_allowed,
            machine: self.machine - other.machine,
            machine_allowed: self.machine_allowed - other.machine_allowed,
            cost: self.cost - other.cost,
            allowed_cost: self.allowed_cost - other.allowed_cost,
            rate: self.rate - other.rate,
        }
    }
}

impl AddAssign for Figures {
    fn add_assign(&mut self, other: Self) {
        self.people += other.people;
        self.people_allowed += other.people_allowed;
        self.machine += other.machine;
        self.machine_allowed += other.machine_allowed;
        self.cost += other.cost;
        self.allowed_cost += other.allowed_cost;
        self.rate += other.rate;
    }
}

/// What was booked on a unit by one person at one machine on one day.
#[derive(Debug, Clone)]
pub struct Row {
    /// Who.
    pub person: Arc<Label>,
    /// At which machine.
    pub machine: Arc<Label>,
    /// On which day.
    pub day: NaiveDate,
    /// Minutes of the person.
    pub people: i64,
    /// Minutes of the machine.
    pub machine_minutes: i64,
    /// What an hour of the person cost then.
    pub labour_rate: Decimal,
    /// What an hour of the machine cost then.
    pub machine_rate: Decimal,
    /// Whether it is in the period that is looked at.
    pub counts: bool,
}

/// The setup or the run of an operation, with all that was ever booked on it.
#[derive(Debug, Clone)]
pub struct Unit {
    /// The operation.
    pub operation: Arc<Label>,
    /// The kind of work.
    pub kind: Arc<Label>,
    /// The pattern.
    pub pattern: Arc<Label>,
    /// The customer.
    pub customer: Arc<Label>,
    /// The job.
    pub job: Arc<Label>,
    /// Number of the operation.
    pub number: u32,
    /// Its elements, each with its share of the estimate, which together are one. One of a setup.
    pub elements: Vec<(Arc<Label>, Decimal)>,
    /// Minutes of people allowed.
    pub people_allowed: Decimal,
    /// Minutes of a machine allowed.
    pub machine_allowed: Decimal,
    /// The hourly rate of people it was quoted with.
    pub labour_standard: Decimal,
    /// The hourly rate of the machine it was quoted with.
    pub machine_standard: Decimal,
    /// What was booked.
    pub rows: Vec<Row>,
}

/// The parts of a whole by weights, to [`PLACES`]; equal when all weights are nothing. They sum to the whole.
fn parts(whole: Decimal, weights: &[i64]) -> Vec<Decimal> {
    let total: i64 = weights.iter().sum();
    let count = i64::try_from(weights.len()).unwrap_or(1).max(1);
    let mut left = whole;
    let last = weights.len().saturating_sub(1);
    weights
        .iter()
        .enumerate()
        .map(|(at, weight)| {
            let (weight, total) = if total > 0 {
                (*weight, total)
            } else {
                (1, count)
            };
            let part = if at == last {
                left
            } else {
                (whole * Decimal::from(weight) / Decimal::from(total)).round_dp(PLACES)
            };
            left -= part;
            part
        })
        .collect()
}

impl Unit {
    /// The figures of each row, in the order of the rows.
    #[must_use]
    pub fn figures(&self) -> Vec<Figures> {
        let people: Vec<i64> = self.rows.iter().map(|row| row.people).collect();
        let machine: Vec<i64> = self.rows.iter().map(|row| row.machine_minutes).collect();
        let or = |mine: &[i64], other: &[i64]| match mine.iter().any(|m| *m > 0) {
            true => mine.to_vec(),
            false => other.to_vec(),
        };
        let of_people = parts(self.people_allowed, &or(&people, &machine));
        let of_machine = parts(self.machine_allowed, &or(&machine, &people));
        self.rows
            .iter()
            .zip(of_people.into_iter().zip(of_machine))
            .map(|(row, (people, machine))| {
                let mut figures = Figures::of(
                    row.people.into(),
                    row.labour_rate,
                    people,
                    self.labour_standard,
                );
                figures += Figures::of_machine(
                    row.machine_minutes.into(),
                    row.machine_rate,
                    machine,
                    self.machine_standard,
                );
                figures
            })
            .collect()
    }

    /// What a row belongs to, each with its figures; together they are the figures of the row.
    fn belongs(&self, row: &Row, figures: Figures, by: Grouping) -> Vec<(Arc<Label>, Figures)> {
        let label = match by {
            Grouping::Operation => &self.operation,
            Grouping::Kind => &self.kind,
            Grouping::Machine => &row.machine,
            Grouping::Person => &row.person,
            Grouping::Pattern => &self.pattern,
            Grouping::Customer => &self.customer,
            Grouping::Job => &self.job,
            Grouping::Element => {
                let mut left = figures;
                let last = self.elements.len().saturating_sub(1);
                let split = self
                    .elements
                    .iter()
                    .enumerate()
                    .map(|(at, (label, share))| {
                        let part = if at == last {
                            left
                        } else {
                            figures.times(*share)
                        };
                        left = left.less(&part);
                        (Arc::clone(label), part)
                    });
                return split.collect();
            }
        };
        vec![(Arc::clone(label), figures)]
    }
}

/// One group with its figures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// What it is.
    pub label: Label,
    /// Its figures.
    pub figures: Figures,
}

/// Groups, what cost most beyond its estimate first, and the sum of all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Review {
    /// The groups.
    pub groups: Vec<Group>,
    /// All of them together.
    pub total: Figures,
}

/// Puts the rows of a period together.
#[must_use]
pub fn review(units: &[Unit], by: Grouping) -> Review {
    let mut sums: BTreeMap<Arc<Label>, Figures> = BTreeMap::new();
    let mut total = Figures::default();
    for unit in units {
        for (row, figures) in unit.rows.iter().zip(unit.figures()) {
            if !row.counts {
                continue;
            }
            total += figures;
            for (label, part) in unit.belongs(row, figures, by) {
                *sums.entry(label).or_default() += part;
            }
        }
    }
    let mut groups: Vec<Group> = sums
        .into_iter()
        .filter(|(_, figures)| *figures != Figures::default())
        .map(|(label, figures)| Group {
            label: Label::clone(&label),
            figures,
        })
        .collect();
    groups.sort_by_key(|group| std::cmp::Reverse(group.figures.variance()));
    Review { groups, total }
}

/// One booked stretch behind a group: the unit, the row, and as much of its figures as belongs to the group.
#[derive(Debug, Clone)]
pub struct Line<'a> {
    /// The setup or run it was booked on.
    pub unit: &'a Unit,
    /// Who, where and when.
    pub row: &'a Row,
    /// The figures.
    pub figures: Figures,
}

/// What stands behind one group, the latest day first.
#[must_use]
pub fn lines<'a>(units: &'a [Unit], by: Grouping, key: &str) -> Vec<Line<'a>> {
    let mut lines: Vec<Line> = units
        .iter()
        .flat_map(|unit| {
            unit.rows
                .iter()
                .zip(unit.figures())
                .map(move |(row, figures)| (unit, row, figures))
        })
        .filter(|(_, row, _)| row.counts)
        .flat_map(|(unit, row, figures)| {
            unit.belongs(row, figures, by)
                .into_iter()
                .filter(|(label, _)| label.key == key)
                .map(move |(_, figures)| Line { unit, row, figures })
        })
        .collect();
    lines.sort_by(|a, b| {
        let key = |line: &Line| {
            (
                std::cmp::Reverse(line.row.day),
                line.unit.job.name.clone(),
                line.unit.number,
            )
        };
        key(a).cmp(&key(b))
    });
    lines
}
