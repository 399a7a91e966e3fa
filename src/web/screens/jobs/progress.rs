//! The hours and money of a job to date against its estimate, operation by operation, and its forecast.

use super::missed;
use crate::app::job_overview::JobOverview;
use crate::db::checks::CheckResult;
use crate::db::jobs::{JobOperation, OperationState};
use crate::jobs::forecast::{Earned, Forecast};
use crate::units::Minutes;
use crate::web::screens::bench::found_words;
use crate::web::ui::floor_words::operation_state;
use crate::web::ui::show::count;
use maud::{Markup, html};
use rust_decimal::Decimal;
use uuid::Uuid;

fn minutes(whole: i64) -> Minutes {
    Minutes(Decimal::from(whole))
}

/// The figures above the route.
pub(super) fn figures(job: &JobOverview) -> Markup {
    let overview = &job.overview;
    html! {
        div { dt { "Labour hours to date" } dd { (minutes(overview.labour)) } }
        div { dt { "Machine hours to date" } dd { (minutes(overview.machine)) " of " (overview.standard.rounded()) " standard" } }
        @if let Some(costs) = &overview.money { (money(&costs.earned, &costs.forecast)) }
    }
}

fn money(earned: &Earned, forecast: &Forecast) -> Markup {
    html! {
        div { dt { "Cost to date" } dd { (earned.actual.rounded()) } }
        div { dt { "Earned value (estimate of work done)" } dd { (earned.earned.rounded()) " of " (earned.budget.rounded()) } }
        div { dt { "Forecast cost at this rate" } dd {
            @match forecast.at_this_rate { Some(cost) => (cost.rounded()), None => "too little is done yet" }
        } }
        div { dt { "Forecast cost, rest as estimated" } dd { (forecast.rest_as_estimated.rounded()) } }
        @if let Some(cpi) = forecast.cpi {
            div { dt { "Cost performance (estimate ÷ actual)" } dd {
                (cpi.round_dp(2)) ": " @if cpi < Decimal::ONE { "over the estimate" } @else { "within the estimate" }
            } }
        }
    }
}

/// The route, operation by operation.
///
/// `may_enter`: whoever looks may enter checks that were made and not recorded.
pub(super) fn table(job: &JobOverview, may_enter: bool) -> Markup {
    let costs = job.overview.money.as_ref();
    html! {
        table.cells.small.progress {
            thead { tr {
                th scope="col" { "No." } th scope="col" { "Operation" }
                th.number scope="col" { "Setup" } th.number scope="col" { "Run" } th.number scope="col" { "Unattended" }
                @if costs.is_some() { th.number scope="col" { "Estimate" } th.number scope="col" { "To date" } }
                th scope="col" { "Status" }
            } }
            tbody { @for (at, (operation, hours)) in job.operations.iter().zip(&job.hours).enumerate() {
                @let planned = &operation.planned;
                tr {
                    th scope="row" { (planned.number) }
                    td data-label="Operation" {
                        (planned.title)
                        @if operation.added { " " span.tag { "added" } }
                        (checked(job.job.id, operation, &job.checks, may_enter))
                    }
                    td.number data-label="Setup" { (against(hours.setup, planned.setup)) }
                    td.number data-label="Run" { (against(hours.attended, planned.run * planned.attended_share)) }
                    td.number data-label="Unattended" { (against(hours.alone, planned.run * (Decimal::ONE - planned.attended_share))) }
                    @if let Some(costs) = costs {
                        td.number data-label="Estimate" { @if let Some(line) = costs.lines.get(at) { (line.estimated.rounded()) } }
                        td.number data-label="To date" { @if let Some(line) = costs.lines.get(at) { (line.actual.rounded()) } }
                    }
                    td data-label="Status" { span.tag { (operation_state(operation.state)) } }
                }
            } }
        }
        p.small.muted { "Hours booked, then the standard. A setup that several jobs shared is split by their standard setups." @if costs.is_some() { " Money at today’s rates." } }
        @if costs.is_some() && !job.costs.is_empty() {
            h3 { "Other costs" }
            ul.plain { @for cost in &job.costs { li { "Casting " (cost.casting) ", scrapped: " (cost.amount) } } }
        }
    }
}

/// What was checked in an operation, and what is still to be.
fn checked(
    job_id: Uuid,
    operation: &JobOperation,
    checks: &[CheckResult],
    may_enter: bool,
) -> Markup {
    let mut missing = Vec::new();
    let mut made = Vec::new();
    for (place, check) in (0_u32..).zip(&operation.planned.checks) {
        let latest = checks
            .iter()
            .rfind(|r| r.operation_id == operation.id && u32::try_from(r.place) == Ok(place));
        match latest {
            Some(result) => made.push((check, result)),
            None => missing.push(place),
        }
    }
    let done = operation.state == OperationState::Done;
    html! {
        @for (check, result) in &made {
            br;
            span.muted { (check.what) ": " } (found_words(result)) span.muted { ", " (result.person) }
            @if let Some(by) = &result.entered_by { span.muted { " (entered later by " (by) ": " (result.note) ")" } }
        }
        @if !missing.is_empty() {
            @if done && may_enter { (missed::links(job_id, operation, &missing)) }
            @else { br; span.muted { (count(i64::try_from(missing.len()).unwrap_or(i64::MAX), "check", "checks")) @if done { " not entered" } @else { " to do" } } }
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
