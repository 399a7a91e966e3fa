//! What was changed in the plan by hand: when, by whom, and which promises moved.

use crate::db::people::Role;
use crate::db::plan_changes::{self, AppliedChange};
use crate::web::ui::{Answer, Page, Section, SignedIn, show};
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week/changes", web::get().to(list));
}

/// Changes shown, the newest first.
const SHOWN: u16 = 200;

async fn list(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let changes = plan_changes::recent(&mut tx, SHOWN).await?;
    let newest = plan_changes::newest(&mut tx).await?.map(|change| change.id);
    let zone = who.shop.time_zone;
    let day = |change: &AppliedChange| change.taken_at.with_timezone(&zone).date_naive();
    let days: Vec<(NaiveDate, &[AppliedChange])> = changes
        .chunk_by(|a, b| day(a) == day(b))
        .filter_map(|of_day| Some((day(of_day.first()?), of_day)))
        .collect();
    let row = |change: &AppliedChange| -> Markup {
        let at = change
            .taken_at
            .with_timezone(&zone)
            .format("%H:%M")
            .to_string();
        html! {
            li {
                p {
                    span.when { (at) } " "
                    strong { (super::words::as_sentence(&change.words)) }
                    @if change.undone { " " span.tag { "undone" } }
                    @if change.is_undo { " " span.tag { "undo" } }
                }
                p { (change.sentence) }
                p.muted {
                    "By " (change.by.as_deref().unwrap_or("the program")) "."
                    @if Some(change.id) == newest && who.may(Role::Office) {
                        " " a.button.quiet href={ "/week/undo/" (change.id) } { "Undo" }
                    }
                }
            }
        }
    };
    let body = html! {
        div.bar { h1 { "Manual changes" } a.button.quiet href="/week" { "The week" } }
        @if changes.is_empty() {
            section.card { p { "No manual changes yet. Changes you apply on the week are listed here, with what each did to the promises." } }
        }
        @for (date, of_day) in &days {
            section.card.week-changes {
                h2 { (show::day(*date, who.today())) }
                ul.plain { @for change in *of_day { (row(change)) } }
            }
        }
        @if changes.len() == usize::from(SHOWN) { p.muted { "Older changes are not shown." } }
    };
    Ok(Page::new(&who, "Manual changes")
        .nav(Section::Week)
        .body(body)
        .into())
}
