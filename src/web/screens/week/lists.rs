//! The same as the picture in words and figures: issues, load under capacity, the work day by day.

use super::sheet::{Stretch, today};
use super::words::{job_href, long_number, slack_cell, state_words};
use crate::planning::floor::{DayLoad, Floor, Resource, SchedulingIssue, Slot, Timetable};
use crate::planning::words::hours;
use crate::web::ui::show;
use chrono::{Datelike, NaiveDate};
use maud::{Markup, html};
use std::collections::BTreeMap;

/// What could not be scheduled, or not as wished, in sight above everything else.
pub(super) fn issues(floor: &Floor, issues: &[SchedulingIssue]) -> Markup {
    html! {
        @if !issues.is_empty() {
            section.notice.warn aria-labelledby="week-issues" {
                h2 #week-issues { span.sign aria-hidden="true" { "!" } " " "Can't be scheduled" }
                ul.plain {
                    @for issue in issues {
                        @if let Some(job) = floor.job(issue.job) {
                            li {
                                a href=(job_href(job)) { (long_number(job)) }
                                " " (job.title)
                                @if let Some(operation) = issue.operation.and_then(|id| floor.operation(id)) { ", " (operation.1.number) " " (operation.1.what) }
                                ": " (issue.reason)
                                @if issue.reason.leaves_out() { "." } @else { ". It is scheduled somewhere else." }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// A column of the load: a day, or a week when there are many.
struct Column {
    first: NaiveDate,
    label: String,
    long: String,
}

#[derive(Default, Clone, Copy)]
struct Sum {
    load: i64,
    capacity: i64,
    over: i64,
}

fn columns(stretch: Stretch) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    for day in stretch.days() {
        if stretch.days <= 14 {
            columns.push(Column {
                first: day,
                label: day.format("%a %-d").to_string(),
                long: day.format("%a %-d %b").to_string(),
            });
        } else if columns
            .last()
            .is_none_or(|c| c.first.iso_week() != day.iso_week())
        {
            let label = day.format("%-d %b").to_string();
            columns.push(Column {
                first: day,
                long: format!("week from {label}"),
                label,
            });
        }
    }
    columns
}

/// Hours with one decimal, as a machine's day is spoken of.
fn in_hours(minutes: i64) -> String {
    let text = format!("{:.1}", minutes as f64 / 60.0);
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// Sums by machine or person and first day of a column.
type Sums = BTreeMap<(Resource, NaiveDate), Sum>;

fn sums(floor: &Floor, timetable: &Timetable, stretch: Stretch, columns: &[Column]) -> Sums {
    let mut sums = Sums::new();
    for DayLoad {
        owner,
        day,
        load,
        capacity,
        over,
    } in timetable.load(floor, stretch.from, stretch.days)
    {
        let Some(column) = columns.iter().rev().find(|c| c.first <= day) else {
            continue;
        };
        let sum = sums.entry((owner, column.first)).or_default();
        sum.load += load;
        sum.capacity += capacity;
        // What is over at the end of a day is still over, or done, by the next: a week is over by its worst day.
        sum.over = sum.over.max(over);
    }
    sums
}

/// Load and capacity of each machine and person and each day, or each week.
pub(super) fn load(floor: &Floor, timetable: &Timetable, stretch: Stretch) -> Markup {
    let all = columns(stretch);
    let sums = sums(floor, timetable, stretch, &all);
    // Days on which nobody works and nothing is done take no room.
    let columns: Vec<&Column> = all
        .iter()
        .filter(|c| {
            sums.iter().any(|((_, first), sum)| {
                *first == c.first && sum.capacity + sum.load + sum.over > 0
            })
        })
        .collect();
    let machines = floor
        .machines
        .iter()
        .map(|m| (Resource::Machine(m.id), m.name.as_str()));
    let people = floor
        .people
        .iter()
        .filter(|p| !p.skills.is_empty())
        .map(|p| (Resource::Person(p.id), p.name.as_str()));
    let owners: Vec<(Resource, &str)> = machines.chain(people).collect();
    let sum = |owner, column: &Column| {
        sums.get(&(owner, column.first))
            .copied()
            .unwrap_or_default()
    };
    let mut worst: Vec<(i64, String)> = owners
        .iter()
        .flat_map(|&(owner, name)| columns.iter().map(move |c| (owner, name, *c)))
        .filter_map(|(owner, name, c)| {
            let over = sum(owner, c).over;
            (over > 0).then(|| (over, format!("{name} {} over by {}", hours(over), c.long)))
        })
        .collect();
    worst.sort_by_key(|(over, _)| -over);
    html! {
        section.card.week-load aria-labelledby="week-load" {
            h2 #week-load { "Load and capacity" }
            p {
                @if worst.is_empty() { "No overload: there are enough hours for every due date." }
                @else {
                    "Overload: work due by then beyond capacity. "
                    @for (i, (_, words)) in worst.iter().take(4).enumerate() { @if i > 0 { "; " } (words) }
                    @if worst.len() > 4 { "; and " (show::count(worst.len() as i64 - 4, "more", "more")) } "."
                }
            }
            div.scroll-x tabindex="0" role="region" aria-label="Load, hours planned of hours there are" {
                table.cells.small.load {
                    thead { tr {
                        th scope="col" { "Hours" }
                        @for column in &columns { th scope="col" { (column.label) } }
                    } }
                    tbody { @for &(owner, name) in &owners {
                        tr {
                            th scope="row" { (name) }
                            @for column in &columns {
                                @let sum = sum(owner, column);
                                @let easy = sum.over == 0 && sum.load * 5 < sum.capacity * 4;
                                td.easy[easy] data-label=(column.long) { (cell(sum)) }
                            }
                        }
                    } }
                }
            }
        }
    }
}

/// Hours planned of hours there are, a bar of the same, and what is over.
fn cell(sum: Sum) -> Markup {
    if sum.capacity == 0 && sum.load == 0 && sum.over == 0 {
        return html! { span.muted { "closed" } };
    }
    let share = if sum.capacity > 0 {
        (sum.load as f64 / sum.capacity as f64).clamp(0.0, 1.0)
    } else {
        1.0
    };
    html! {
        (in_hours(sum.load)) span.muted { " of " (in_hours(sum.capacity)) }
        svg.load-bar viewBox="0 0 64 8" width="64" height="8" aria-hidden="true" {
            rect.frame x="0.5" y="0.5" width="63" height="7" {}
            rect.full x="0.5" y="0.5" width=(format!("{:.1}", 63.0 * share)) height="7" {}
            @if sum.over > 0 { path.over d="M2 8l6 -8M10 8l6 -8M18 8l6 -8M26 8l6 -8M34 8l6 -8M42 8l6 -8M50 8l6 -8M58 8l6 -8" {} }
        }
        @if sum.over > 0 { strong.over { (in_hours(sum.over)) " over" } }
    }
}

/// The work day by day, for readers and small screens.
pub(super) fn days(floor: &Floor, timetable: &Timetable, stretch: Stretch) -> Markup {
    let date = |at: chrono::DateTime<chrono::Utc>| at.with_timezone(&floor.zone).date_naive();
    let mut by_day: BTreeMap<NaiveDate, Vec<&Slot>> = BTreeMap::new();
    for slot in &timetable.slots {
        let first = date(slot.starts).max(stretch.from);
        let within = first < stretch.from + chrono::Days::new(u64::from(stretch.days));
        if within && date(slot.ends) >= stretch.from {
            by_day.entry(first).or_default().push(slot);
        }
    }
    html! {
        section.week-lists aria-labelledby="week-lists" {
            h2 #week-lists { "Day by day" }
            @if by_day.is_empty() { p { "Nothing is scheduled on these days." } }
            @for (i, (day, slots)) in by_day.iter().enumerate() {
                details open[i == 0] {
                    summary { (show::day(*day, today(floor.zone))) " " span.muted { (show::count(slots.len() as i64, "operation", "operations")) } }
                    (table(floor, slots, stretch))
                }
            }
        }
    }
}

fn table(floor: &Floor, slots: &[&Slot], stretch: Stretch) -> Markup {
    let clock = |at: chrono::DateTime<chrono::Utc>, beside: NaiveDate| {
        let local = at.with_timezone(&floor.zone);
        if local.date_naive() == beside {
            local.format("%H:%M").to_string()
        } else {
            local.format("%a %-d %b, %H:%M").to_string()
        }
    };
    html! {
        table.cells.small {
            thead { tr {
                th scope="col" { "From" } th scope="col" { "Until" } th scope="col" { "Job" } th scope="col" { "Operation" }
                th scope="col" { "Machine" } th scope="col" { "Person" } th scope="col" { "Slack" }
            } }
            tbody { @for slot in slots {
                @if let Some((job, operation)) = floor.operation(slot.operation) {
                    @let day = slot.starts.with_timezone(&floor.zone).date_naive();
                    tr {
                        th scope="row" {
                            a href={ "/week?" (stretch.query()) "&operation=" (slot.operation) "#operation" } { (clock(slot.starts, day.max(stretch.from))) }
                            @if let Some(state) = state_words(slot.state) { " " span.tag { (state) } }
                        }
                        td data-label="Until" { (clock(slot.ends, day)) }
                        td data-label="Job" { a href=(job_href(job)) { (long_number(job)) } }
                        td data-label="Operation" { (operation.number) " " (operation.what) @if slot.setup_minutes > 0 { span.muted { ", setup " (hours(slot.setup_minutes)) } } }
                        td data-label="Machine" { @match slot.machine.and_then(|id| floor.machine(id)) { Some(machine) => (machine.name), None => "sent out" } }
                        td data-label="Person" { @match slot.person.and_then(|id| floor.person(id)) { Some(person) => (person.name), None => { span.muted { "unattended" } } } }
                        td data-label="Slack" { @if slot.slack_minutes.is_some_and(|s| s < 0) { strong { (slack_cell(floor, slot.slack_minutes)) } } @else { (slack_cell(floor, slot.slack_minutes)) } }
                    }
                }
            } }
        }
    }
}
