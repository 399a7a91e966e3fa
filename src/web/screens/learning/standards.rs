//! Every standard with what the bookings say of it.

use super::picture::small;
use super::shape;
use super::words::{names, part, range, standard, took};
use crate::app::learn::{self, Lesson};
use crate::review::proposals::{Decided, Decision, LEAST_OPERATIONS, Proposal, Verdict};
use crate::review::ratios::LEAST_ROWS;
use crate::units::Code;
use crate::web::screens::review::tabs;
use crate::web::shell::site::Site;
use crate::web::ui::show::{count, day};
use crate::web::ui::{Answer, Page, Section, SignedIn, WebError};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};

pub(super) const PATH: &str = "/review/standards";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list));
}

/// Where a proposal is decided.
pub(super) fn path(proposal: &Proposal) -> String {
    match proposal.key() {
        Some((element, part)) => format!("{PATH}/{element}/{}", part.code()),
        None => PATH.to_owned(),
    }
}

async fn list(who: SignedIn, site: web::Data<Site>) -> Answer {
    Ok(page(&who, &site, &html! {}).await?.into())
}

pub(super) async fn page(who: &SignedIn, site: &Site, notice: &Markup) -> Result<Page, WebError> {
    let actor = who.actor();
    let lesson = learn::lesson(&actor, &site.lessons, Utc::now()).await?;
    let decided = learn::decisions(&actor).await?;
    let body = html! {
        h1 { "Standard times against bookings" }
        (tabs(PATH))
        (notice)
        @if lesson.findings.is_none() { (nothing_yet(&lesson)) } @else { (found(who, &lesson, &decided)) }
        (shape::attended(who, &lesson.attended))
        (shape::scatter(who, &lesson.scatter))
        @if lesson.findings.is_some() { p.no-print { a type="text/csv" href={ (PATH) ".csv" } { "Download for a spreadsheet" } } }
        p.no-print {
            @if lesson.past > 0 { (count(lesson.past, "row of past work counts too. ", "rows of past work count too. ")) }
            a href="/import/past-work" { "Past hours from a spreadsheet" }
        }
        (decisions(who, &decided))
    };
    Ok(Page::new(who, "Standard times against bookings")
        .nav(Section::Review)
        .body(body))
}

fn nothing_yet(lesson: &Lesson) -> Markup {
    html! {
        section.card {
            p {
                "Here you will see which standard times are short and which are long, from the time booked on finished operations. "
                "It takes about " (LEAST_ROWS / 2 + 2) " finished operations before anything can be said, and "
                (LEAST_OPERATIONS) " of one kind before a new standard is proposed."
            }
            p {
                @if lesson.finished == 0 { "No operation with bookings is finished yet." }
                @else { "Finished so far: " (lesson.finished) ". " (without_setup(lesson)) }
                " At the bench, book setup and run apart, and book each operation as done."
            }
        }
    }
}

fn without_setup(lesson: &Lesson) -> Markup {
    html! {
        @if lesson.without_setup > 0 {
            (count(lesson.without_setup as i64, "operation is", "operations are"))
            " left out because no setup was booked on an operation that has one: it may be in the run."
        }
    }
}

fn found(who: &SignedIn, lesson: &Lesson, decided: &[Decided]) -> Markup {
    let of = |verdict: Verdict, refused: bool| -> Vec<&Proposal> {
        lesson
            .proposals
            .iter()
            .filter(|p| p.verdict == verdict && (p.refused(decided).is_some() == refused))
            .collect()
    };
    let (change, refused) = (of(Verdict::Change, false), of(Verdict::Change, true));
    let mut right = of(Verdict::Right, false);
    right.extend(of(Verdict::Right, true));
    let mut little = of(Verdict::TooLittle, false);
    little.extend(of(Verdict::TooLittle, true));
    html! {
        p.lead {
            @if change.is_empty() { "No standard time needs changing on what is booked so far." }
            @else {
                (count(change.len() as i64, "standard time", "standard times")) " should change, by your own bookings. "
                "Nothing changes until the owner accepts it; quotes and jobs keep the times they were given with."
            }
        }
        @if let Some(findings) = &lesson.findings {
            p {
                "From " (count(lesson.sources.len() as i64, "finished operation", "finished operations"))
                " since " (day(lesson.since_first(), who.today())) ". Taken together, work "
                (took(findings.level.likely)) " (" (range(findings.level)) ", 9 in 10 sure). "
                "A standard counts as what a quote expects of it on average, with its spread. "
                @if lesson.level_counts() {
                    "The " (lesson.settings.variation.level_percent.normalize()) " % under " a href="/shop/variation" { "How work varies" } " is counted in already. "
                }
                @if findings.odd > 0 {
                    (count(findings.odd as i64, "booking lies", "bookings lie")) " so far out that "
                    @if findings.odd == 1 { "it hardly counts" } @else { "they hardly count" } ", like a clock nobody stopped. "
                }
                (without_setup(lesson))
            }
        }
        @if !change.is_empty() { (table("Change", "change", &change)) }
        @if !refused.is_empty() {
            details { summary { "Kept by the owner (" (refused.len()) ")" }
                p.muted { "They come up again when half as much again is booked, or when the figure leaves its range of then." }
                (table("Kept", "kept", &refused))
            }
        }
        @if !right.is_empty() {
            details { summary { "Right, or not far enough off to be sure (" (right.len()) ")" } (table("Right", "right", &right)) }
        }
        @if !little.is_empty() {
            details {
                summary { "Too little booked to say (" (little.len()) ")" }
                p.muted { "A figure from few operations is pulled towards the mean of all work." }
                (table("Too little", "little", &little))
            }
        }
    }
}

fn table(caption: &str, id: &str, proposals: &[&Proposal]) -> Markup {
    html! {
        table.cells.learned #(id) {
            caption.visually-hidden { (caption) }
            thead { tr {
                th scope="col" { "Work" } th scope="col" { "What it took" }
                th.number scope="col" { "Standard" } th.number scope="col" { "By bookings" } th.number scope="col" { "Operations" }
            } }
            tbody { @for proposal in proposals { (row(proposal)) } }
        }
    }
}

fn row(proposal: &Proposal) -> Markup {
    let found = &proposal.found;
    html! {
        tr {
            th scope="row" {
                a href=(path(proposal)) { (names(&proposal.changes)) ", " (part(found.part)) }
                @if proposal.changes.len() > 1 { div.small.muted { "Always done together, so they cannot be told apart" } }
            }
            td data-label="What it took" {
                (small(found.ratio))
                div.small { (range(found.ratio)) }
            }
            td.number data-label="Standard" { @for c in &proposal.changes { div { (standard(c.measure, c.before)) } } }
            td.number data-label="By bookings" { @for c in &proposal.changes { div { (standard(c.measure, c.after)) } } }
            td.number data-label="Operations" { (found.operations) }
        }
    }
}

fn decisions(who: &SignedIn, decided: &[Decided]) -> Markup {
    html! {
        @if !decided.is_empty() {
            details #decisions {
                summary { "Decided (" (decided.len()) ")" }
                table.cells {
                    thead { tr {
                        th scope="col" { "Day" } th scope="col" { "Work" } th scope="col" { "Decision" } th scope="col" { "Why" } th scope="col" { "By" }
                    } }
                    tbody { @for d in decided {
                        tr {
                            td data-label="Day" { (day(d.at.with_timezone(&who.shop.time_zone).date_naive(), who.today())) }
                            th scope="row" { a href={ "/shop/standards/" (d.element) } { (d.name) ", " (part(d.part)) } }
                            td data-label="Decision" { (decision(d)) }
                            td data-label="Why" { @if d.reason.is_empty() { span.muted { "no reason given" } } @else { (d.reason) } }
                            td data-label="By" { (d.by) }
                        }
                    } }
                }
            }
        }
    }
}

fn decision(d: &Decided) -> String {
    let [before, after, proposed] = [d.before, d.after, d.proposed].map(|f| standard(d.measure, f));
    match d.decision {
        Decision::Accepted => format!("{before} changed to {after}"),
        Decision::Changed => format!("{before} changed to {after}; {proposed} was proposed"),
        Decision::Refused => format!("{before} kept; {proposed} was proposed"),
    }
}
