//! The same as the picture in words and figures: issues, load under capacity, the work day by day.

use super::keys::Keys;
use super::sheet::{Detail, Stretch, today};
use super::words::{for_whom, job_href, long_number, slack_cell, state_words};
use crate::planning::floor::{DayLoad, Floor, Resource, SchedulingIssue, Slot, StandIn, Timetable};
use crate::planning::words::{hours, person_name};
use crate::web::ui::show;
use chrono::{Datelike, NaiveDate};
use maud::{Markup, html};
use std::collections::BTreeMap;

/// Issues in sight; further ones fold away, and stay off the paper.
const ISSUES: usize = 4;

/// What could not be scheduled, or not as wished, in sight above everything else.
pub(super) fn issues(floor: &Floor, issues: &[SchedulingIssue]) -> Markup {
    let (first, rest) = issues.split_at(issues.len().min(ISSUES));
    html! {
        @if !issues.is_empty() {
            section.notice.warn aria-labelledby="week-issues" {
                h2 #week-issues { span.sign aria-hidden="true" { "!" } " " "Can't be scheduled" @if !rest.is_empty() { ": " (issues.len()) } }
                ul.plain { @for issue in first { (issue_line(floor, issue)) } }
                @if !rest.is_empty() {
                    details { summary { "And " (rest.len()) " more" } ul.plain { @for issue in rest { (issue_line(floor, issue)) } } }
                }
            }
        }
    }
}

fn issue_line(floor: &Floor, issue: &SchedulingIssue) -> Markup {
    html! {
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

/// Begun work that somebody else goes on with, because whoever began it is away.
pub(super) fn stand_ins(floor: &Floor, stand_ins: &[StandIn], stretch: Stretch) -> Markup {
    html! {
        @if !stand_ins.is_empty() {
            section.notice aria-labelledby="week-stand-ins" {
                h2 #week-stand-ins { "Handed over while somebody is away" }
                ul.plain { @for of in stand_ins {
                    @if let Some((job, operation)) = floor.operation(of.operation) {
                        li {
                            a href={ "/week?" (stretch.query()) "&operation=" (of.operation) "#operation" } { (for_whom(job)) ", " (operation.number) " " (operation.what) }
                            ": " (person_name(floor, of.by)) " goes on with it, " (person_name(floor, of.for_whom)) " is away."
                        }
                    }
                } }
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
    /// The day it is over by so much.
    worst: Option<NaiveDate>,
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
        if over > sum.over {
            (sum.over, sum.worst) = (over, Some(day));
        }
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
    // Of each machine and person the worst day.
    let mut worst: Vec<Overload> = owners
        .iter()
        .filter_map(|&(owner, name)| {
            let sums = columns.iter().map(|c| sum(owner, c));
            let worst = sums.max_by_key(|sum| (sum.over, std::cmp::Reverse(sum.worst)))?;
            Some(Overload {
                owner,
                name,
                over: worst.over,
                day: worst.worst?,
            })
        })
        .collect();
    worst.sort_by_key(|worst| -worst.over);
    html! {
        section.card.week-load aria-labelledby="week-load" {
            h2 #week-load { "Load and capacity" }
            p {
                @if worst.is_empty() { "No overload: there are enough hours for every due date." }
                @else { "Overload: work due by then beyond capacity." }
            }
            @if !worst.is_empty() { (overloads(floor, timetable, stretch, &worst)) }
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

/// A machine or person with the day it is over by most.
struct Overload<'a> {
    owner: Resource,
    name: &'a str,
    over: i64,
    day: NaiveDate,
}

/// Which machine or person is over by which day, and by what work.
fn overloads(floor: &Floor, timetable: &Timetable, stretch: Stretch, worst: &[Overload]) -> Markup {
    const SHOWN: usize = 4;
    const NAMED: usize = 3;
    let keys = Keys::of(floor);
    let item = |of: &Overload| {
        let work = timetable.late_work(floor, of.owner, of.day);
        let named = work.iter().take(NAMED).filter_map(|(id, minutes)| {
            let (job, operation) = floor.operation(*id)?;
            Some((*id, job, operation, *minutes))
        });
        html! {
            li {
                strong { (of.name) ": " (hours(of.over)) " over by the end of " (show::day(of.day, today(floor.zone))) } ". Due by then and done later: "
                @for (i, (id, job, operation, minutes)) in named.enumerate() {
                    @if i > 0 { "; " }
                    a href=(keys.href(floor, stretch, id)) { (for_whom(job)) ", " (operation.number) " " (operation.what) }
                    " (" (hours(minutes)) ")"
                }
                @if work.len() > NAMED { "; and " (work.len() - NAMED) " more" }
                "."
            }
        }
    };
    let (first, rest) = worst.split_at(worst.len().min(SHOWN));
    html! {
        ul.week-over { @for of in first { (item(of)) } }
        @if !rest.is_empty() {
            details { summary { "And " (rest.len()) " more" } ul.week-over { @for of in rest { (item(of)) } } }
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
        svg class=(if sum.over > 0 { "load-bar over" } else { "load-bar" }) viewBox="0 0 64 8" aria-hidden="true" {
            path d={ "M0 0H" (format!("{:.0}", 64.0 * share)) "V8H0z" } {}
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
    let keys = Keys::of(floor);
    let further = match by_day.keys().nth(listed(stretch)).copied() {
        Some(first) => by_day.split_off(&first),
        None => BTreeMap::new(),
    };
    let head = |day: NaiveDate, slots: &[&Slot]| {
        html! { (show::day(day, today(floor.zone))) " " span.muted { (show::count(slots.len() as i64, "operation", "operations")) } }
    };
    html! {
        section.week-lists aria-labelledby="week-lists" {
            h2 #week-lists { "Day by day" }
            @if by_day.is_empty() && further.is_empty() { p { "Nothing is scheduled on these days." } }
            @for (i, (day, slots)) in by_day.iter().enumerate() {
                details open[i == 0] {
                    summary { (head(*day, slots)) }
                    p { a href={ "/week/day/" (day) } { "Print the day’s work by machine and person" } }
                    (table(floor, slots, stretch, &keys))
                }
            }
            @if !further.is_empty() {
                details {
                    summary { @if listed(stretch) == 0 { (show::count(further.len() as i64, "day", "days")) } @else { (show::count(further.len() as i64, "more day", "more days")) } }
                    ul.week-days { @for (day, slots) in &further { li { a href={ "/week/day/" (day) } { (head(*day, slots)) } } } }
                }
            }
        }
    }
}

/// Days that have their table on the page; each further one is a link to its list.
fn listed(stretch: Stretch) -> usize {
    match stretch.detail() {
        Detail::Full if stretch.days <= 7 => 7,
        Detail::Full => 4,
        Detail::Brief => 1,
        Detail::Least => 0,
    }
}

fn table(floor: &Floor, slots: &[&Slot], stretch: Stretch, keys: &Keys) -> Markup {
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
                            a href=(keys.href(floor, stretch, slot.operation)) { (clock(slot.starts, day.max(stretch.from))) }
                            @if let Some(state) = state_words(slot.state) { " " span.tag { (state) } }
                        }
                        td data-label="Until" { (clock(slot.ends, day)) }
                        td data-label="Job" { a href=(job_href(job)) { (for_whom(job)) } }
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
