//! Where a job stands: hours and money so far against what was reckoned, operation by operation, and what it will have
//! cost when it is done.

use super::{missed, operation_words};
use crate::db::checks::CheckResult;
use crate::db::holds::JobCost;
use crate::db::jobs::{JobOperation, OperationState};
use crate::estimating::{CostError, Rates};
use crate::jobs::forecast::{Earned, Forecast};
use crate::shopfloor::Hours;
use crate::units::{Minutes, Money, MoneyError};
use crate::web::screens::bench::found_words;
use crate::web::ui::show::count;
use maud::{Markup, html};
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

/// An operation with what it was reckoned at and what it has had.
struct Line<'a> {
    operation: &'a JobOperation,
    hours: Hours,
    /// Reckoned and spent; none without rates, or for those who see no money.
    money: Option<(Money, Money)>,
    checks: Vec<&'a CheckResult>,
}

impl Line<'_> {
    /// What was checked, and what is still to be.
    fn checked(&self, job_id: Uuid, may_enter: bool) -> Markup {
        let mut missing = Vec::new();
        let mut made = Vec::new();
        for (place, check) in (0_u32..).zip(&self.operation.planned.checks) {
            match self
                .checks
                .iter()
                .rfind(|r| u32::try_from(r.place) == Ok(place))
            {
                Some(result) => made.push((check, result)),
                None => missing.push(place),
            }
        }
        let done = self.operation.state == OperationState::Done;
        html! {
            @for (check, result) in &made {
                br;
                span.muted { (check.what) ": " } (found_words(result)) span.muted { ", " (result.person) }
                @if let Some(by) = &result.entered_by { span.muted { " (entered later by " (by) ": " (result.note) ")" } }
            }
            @if !missing.is_empty() {
                @if done && may_enter { (missed::links(job_id, self.operation, &missing)) }
                @else { br; span.muted { (count(i64::try_from(missing.len()).unwrap_or(i64::MAX), "check", "checks")) @if done { " not entered" } @else { " to be made" } } }
            }
        }
    }
}

/// The route with its progress.
pub(super) struct Progress<'a> {
    lines: Vec<Line<'a>>,
    costs: &'a [JobCost],
    forecast: Option<(Earned, Forecast)>,
}

fn minutes(whole: i64) -> Minutes {
    Minutes(Decimal::from(whole))
}

impl<'a> Progress<'a> {
    /// Works out where a job stands. `rates` are those in force; without them there are hours and no money.
    ///
    /// What is reckoned is the route the job began with; rework and work done again cost, and earn nothing more. A
    /// finished operation earns all of what it was reckoned at and an unfinished one nothing (the 0/100 rule of earned
    /// value, from memory); one that must be done again has lost what it earned until that is done.
    pub(super) fn of(
        operations: &'a [JobOperation],
        hours: &HashMap<Uuid, Hours>,
        checks: &'a [CheckResult],
        costs: &'a [JobCost],
        rates: Option<&Rates>,
    ) -> Result<Self, CostError> {
        let mut lines = Vec::new();
        for operation in operations {
            let hours = hours.get(&operation.id).copied().unwrap_or_default();
            let money = match rates {
                None => None,
                Some(rates) => Some((
                    operation.planned.reckoned_cost(rates)?,
                    operation.planned.spent_cost(
                        minutes(hours.people()),
                        minutes(hours.machine),
                        operation.state != OperationState::Queued,
                        rates,
                    )?,
                )),
            };
            lines.push(Line {
                operation,
                hours,
                money,
                checks: checks
                    .iter()
                    .filter(|c| c.operation_id == operation.id)
                    .collect(),
            });
        }
        let forecast = match rates {
            Some(rates) => Some(forecast(&lines, costs, rates)?),
            None => None,
        };
        Ok(Self {
            lines,
            costs,
            forecast,
        })
    }

    /// The figures above the route.
    pub(super) fn figures(&self) -> Markup {
        let standard: Minutes = self
            .lines
            .iter()
            .filter(|l| !l.operation.added)
            .map(|l| l.operation.planned.setup + l.operation.planned.run)
            .sum();
        let machine: i64 = self.lines.iter().map(|l| l.hours.machine).sum();
        let people: i64 = self.lines.iter().map(|l| l.hours.people()).sum();
        html! {
            div { dt { "Hours of people so far" } dd { (minutes(people)) } }
            div { dt { "Hours of machines so far" } dd { (minutes(machine)) " of " (standard.rounded()) " at the standard" } }
            @if let Some((earned, forecast)) = &self.forecast {
                div { dt { "Cost so far" } dd { (earned.actual.rounded()) } }
                div { dt { "Reckoned for what is done" } dd { (earned.earned.rounded()) " of " (earned.budget.rounded()) } }
                div { dt { "At completion, if it goes on so" } dd {
                    @match forecast.at_this_rate { Some(cost) => (cost.rounded()), None => "not to be told yet" }
                } }
                div { dt { "At completion, if the rest goes as reckoned" } dd { (forecast.as_reckoned.rounded()) } }
                @if let Some(cpi) = forecast.cpi {
                    div { dt { "Reckoned over spent" } dd {
                        (cpi.round_dp(2)) ": " @if cpi < Decimal::ONE { "costs more than reckoned" } @else { "no dearer than reckoned" }
                    } }
                }
            }
        }
    }

    /// The route, operation by operation.
    ///
    /// `may_enter`: whoever looks may enter checks that were made and not written down.
    pub(super) fn table(&self, job_id: Uuid, may_enter: bool) -> Markup {
        let with_money = self.forecast.is_some();
        html! {
            table.cells.small.progress {
                thead { tr {
                    th scope="col" { "No." } th scope="col" { "Operation" }
                    th.number scope="col" { "Set up" } th.number scope="col" { "Run" } th.number scope="col" { "By itself" }
                    @if with_money { th.number scope="col" { "Reckoned" } th.number scope="col" { "So far" } }
                    th scope="col" { "Stands at" }
                } }
                tbody { @for line in &self.lines {
                    @let planned = &line.operation.planned;
                    tr {
                        th scope="row" { (planned.number) }
                        td data-label="Operation" {
                            (planned.title)
                            @if line.operation.added { " " span.tag { "added" } }
                            (line.checked(job_id, may_enter))
                        }
                        td.number data-label="Set up" { (against(line.hours.setup, planned.setup)) }
                        td.number data-label="Run" { (against(line.hours.attended, planned.run * planned.attended_share)) }
                        td.number data-label="By itself" { (against(line.hours.alone, planned.run * (Decimal::ONE - planned.attended_share))) }
                        @if with_money {
                            td.number data-label="Reckoned" { @if let Some((reckoned, _)) = line.money { (reckoned.rounded()) } }
                            td.number data-label="So far" { @if let Some((_, spent)) = line.money { (spent.rounded()) } }
                        }
                        td data-label="Stands at" { span.tag { (operation_words(line.operation.state)) } }
                    }
                } }
            }
            p.small.muted { "Hours as booked, then the standard. What several jobs did in one setup is shared among them in proportion to their standard setups." @if with_money { " Money at the rates in force." } }
            @if with_money && !self.costs.is_empty() {
                h3 { "Besides" }
                ul.plain { @for cost in self.costs { li { (cost.what) ": " (cost.amount) } } }
            }
        }
    }
}

/// What was booked, and the standard.
fn against(booked: i64, standard: Minutes) -> Markup {
    let standard = standard.rounded();
    html! {
        @if booked == 0 && standard == Minutes::ZERO { "–" }
        @else { (minutes(booked)) span.muted { " of " (standard) } }
    }
}

fn forecast(
    lines: &[Line],
    costs: &[JobCost],
    rates: &Rates,
) -> Result<(Earned, Forecast), MoneyError> {
    let nothing = Money::zero(rates.people_default.currency());
    let mut earned = Earned {
        budget: nothing,
        earned: nothing,
        actual: nothing,
    };
    for cost in costs {
        earned.actual = earned.actual.plus(cost.amount)?;
    }
    for line in lines {
        let Some((reckoned, spent)) = line.money else {
            continue;
        };
        earned.actual = earned.actual.plus(spent)?;
        if line.operation.added {
            continue;
        }
        earned.budget = earned.budget.plus(reckoned)?;
        let number = line.operation.planned.number;
        let lost = lines.iter().any(|other| {
            other.operation.again_for == Some(number)
                && other.operation.state != OperationState::Done
        });
        if line.operation.state == OperationState::Done && !lost {
            earned.earned = earned.earned.plus(reckoned)?;
        }
    }
    Ok((earned, earned.forecast()?))
}
