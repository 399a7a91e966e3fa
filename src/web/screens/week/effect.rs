//! What comes of a change, on a page: the sentence, the promises that move, the drawing before and after, and what moves.

use super::picture;
use super::preview::encoded;
use super::sheet::{self, Beside, Stretch};
use super::words::{job_href, long_number, percent};
use crate::app::change_plan::{Preview, role};
use crate::planning::floor::{Floor, Timetable};
use crate::planning::what_if::{PromiseMove, SMALL_SHIFT, WhatIf};
use crate::planning::words::{hours, moment, working_time};
use crate::web::shell::assets;
use crate::web::ui::{Page, Section, SignedIn, csrf_field, show};
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use uuid::Uuid;

/// What would come of a change, with the buttons that apply or discard it.
pub(super) fn page(who: &SignedIn, stretch: Stretch, preview: &Preview, notice: &Markup) -> Page {
    let Preview { what, undoes, .. } = preview;
    let effect = &what.effect;
    let stretch = in_sight(stretch, what);
    let beside = Beside {
        before: &what.before,
        moved: &effect.moved,
    };
    let drawn = sheet::sheet(&what.floor, &what.after, stretch, None, Some(beside));
    let title = if undoes.is_some() { "Undo?" } else { "Preview" };
    let body = html! {
        script type="module" src=(assets::url("week.js")) {}
        h1 { (title) }
        (notice)
        section.card.week-effect {
            p.lead { (effect.sentence) }
            (actions(who, stretch, preview))
            (promises(&what.floor, &effect.promises))
        }
        (pictured(drawn.as_ref()))
        (moved(what))
    };
    Page::new(who, title).nav(Section::Week).body(body)
}

/// Apply or discard, or why it cannot be applied.
fn actions(who: &SignedIn, stretch: Stretch, preview: &Preview) -> Markup {
    let Preview {
        plan,
        change,
        undoes,
        ..
    } = preview;
    let may = who.may(role(change));
    let only = change.preview_only();
    let back = format!("/week?{}", stretch.query());
    let (apply, discard) = match undoes {
        Some(_) => ("Undo", "Keep it"),
        None => ("Apply", "Discard"),
    };
    html! {
        @if let Some(why) = only { p { (why) } }
        @else if !may { p { "Only the owner can apply this." } }
        div.actions {
            @if may && only.is_none() {
                form method="post" action="/week/apply" {
                    (csrf_field(who))
                    input type="hidden" name="change" value=(encoded(change));
                    input type="hidden" name="plan_seen" value=(plan.age.seen());
                    input type="hidden" name="from" value=(stretch.from);
                    input type="hidden" name="days" value=(stretch.days);
                    @if let Some(undoes) = undoes { input type="hidden" name="undoes" value=(undoes); }
                    button type="submit" data-key="y" data-key-label=(apply) { (apply) }
                }
            }
            a.button.quiet href=(back) data-key="n" data-key-label=(discard) { (discard) }
        }
    }
}

fn pictured(drawn: Option<&picture::Picture>) -> Markup {
    html! {
        @match drawn {
            Some(drawn) => {
                figure.week-figure {
                    div.week-sheet tabindex="0" role="region" aria-label="The plan with the change, drawn" { (picture::draw("what-if", drawn)) }
                    figcaption {
                        ul.week-legend {
                            li { svg.week-key viewBox="0 0 34 18" width="34" height="18" aria-hidden="true" { g.block.before { path d="M2 2H32V16H2z" {} } } " before" }
                            li { svg.week-key viewBox="0 0 34 18" width="34" height="18" aria-hidden="true" { g.block.after { path d="M2 2H32V16H2z" {} } } " after" }
                        }
                    }
                }
            }
            None => p.notice { "The shop is closed on these days." },
        }
    }
}

/// The days shown, brought to where something moves when nothing does in them.
fn in_sight(stretch: Stretch, what: &WhatIf) -> Stretch {
    let floor = &what.floor;
    let (from, until) = stretch.span(floor);
    let starts = |timetable: &Timetable| -> Vec<DateTime<Utc>> {
        let moved = |id| timetable.slot(id).map(|slot| slot.starts);
        what.effect
            .moved
            .iter()
            .filter_map(|id| moved(*id))
            .collect()
    };
    let all = [starts(&what.before), starts(&what.after)].concat();
    match all.iter().min() {
        Some(first) if !all.iter().any(|at| (from..until).contains(at)) => Stretch {
            from: first.with_timezone(&floor.zone).date_naive(),
            ..stretch
        },
        _ => stretch,
    }
}

/// The jobs that are ready at another time, those that go late first.
pub(in crate::web) fn promises(floor: &Floor, moves: &[PromiseMove]) -> Markup {
    const SHOWN: usize = 8;
    let (first, rest) = moves.split_at(moves.len().min(SHOWN));
    html! {
        @if !first.is_empty() {
            (promise_table(floor, first))
            @if !rest.is_empty() {
                details { summary { "And " (show::count(rest.len() as i64, "more", "more")) } (promise_table(floor, rest)) }
            }
        }
    }
}

fn promise_table(floor: &Floor, moves: &[PromiseMove]) -> Markup {
    let at = |at: Option<DateTime<Utc>>, none: &str| {
        at.map_or_else(|| none.to_owned(), |at| moment(at, floor.zone))
    };
    html! {
        table.cells.small {
            thead { tr {
                th scope="col" { "Job" } th scope="col" { "Promised" } th scope="col" { "Ready now" } th scope="col" { "Ready after" }
                th scope="col" { "Moves by" } th scope="col" { "Promise" } th scope="col" { "Chance" }
            } }
            tbody { @for p in moves {
                @if let Some(job) = floor.job(p.job) {
                    tr {
                        th scope="row" { a href=(job_href(job)) { (long_number(job)) } }
                        td data-label="Promised" { (at(p.due, "no date")) }
                        td data-label="Ready now" { (at(p.before, "not scheduled")) }
                        td data-label="Ready after" { (at(p.after, "not scheduled")) }
                        td data-label="Moves by" { @match p.later { 0 => "—", n if n > 0 => { (working_time(floor, n)) " later" }, n => { (working_time(floor, n)) " sooner" } } }
                        td data-label="Promise" {
                            @match (p.was_late(), p.is_late()) {
                                (false, true) => strong { "goes late" },
                                (true, false) => "no longer late",
                                (true, true) => "late either way",
                                (false, false) => "on time",
                            }
                        }
                        td data-label="Chance" {
                            @match p.chance {
                                (Some(a), Some(b)) => { (percent(a)) " → " (percent(b)) },
                                (Some(chance), None) | (None, Some(chance)) => (percent(chance)),
                                (None, None) => "—",
                            }
                        }
                    }
                }
            } }
        }
    }
}

/// As many operations that move as somebody would read through.
const MOST_LISTED: usize = 100;

/// The operations that move, from where to where.
fn moved(what: &WhatIf) -> Markup {
    let floor = &what.floor;
    let place = |timetable: &Timetable, id: Uuid| match timetable.slot(id) {
        Some(slot) => {
            let machine = slot.machine.and_then(|id| floor.machine(id));
            let person = slot.person.and_then(|id| floor.person(id));
            let names: Vec<&str> = machine
                .map(|m| m.name.as_str())
                .into_iter()
                .chain(person.map(|p| p.name.as_str()))
                .collect();
            format!("{}, {}", moment(slot.starts, floor.zone), names.join(", "))
        }
        None => "not scheduled".to_owned(),
    };
    let count = what.effect.moved.len();
    let mut listed = what.effect.moved.clone();
    listed.sort_by_key(|&id| {
        let slot = what.after.slot(id).or_else(|| what.before.slot(id));
        slot.map(|slot| slot.starts)
    });
    listed.truncate(MOST_LISTED);
    html! {
        @if !what.effect.shifted.is_empty() {
            p.muted {
                (show::count(what.effect.shifted.len() as i64, "operation keeps its machine and person and starts", "operations keep their machine and person and start"))
                " less than " (hours(SMALL_SHIFT)) " earlier or later."
            }
        }
        @if count > 0 {
            details.act {
                summary { (show::count(count as i64, "operation moves", "operations move")) }
                @if listed.len() < count { p.muted { "The first " (listed.len()) " by the time they begin:" } }
                table.cells.small {
                    thead { tr { th scope="col" { "Operation" } th scope="col" { "Before" } th scope="col" { "After" } } }
                    tbody { @for &id in &listed {
                        @if let Some((job, operation)) = floor.operation(id) {
                            tr {
                                th scope="row" { (long_number(job)) ", " (operation.number) " " (operation.what) }
                                td data-label="Before" { (place(&what.before, id)) }
                                td data-label="After" { (place(&what.after, id)) }
                            }
                        }
                    } }
                }
            }
        }
    }
}
