//! The list of reusable tooling.

use super::{or_nothing, tool};
use crate::db::lists::{self, ToolSort, ToolView};
use crate::db::people::Role;
use crate::db::tools::Tool;
use crate::web::screens::castings::back;
use crate::web::ui::{Answer, List, ListQuery, Page, Section, SignedIn, csv};
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};

pub(super) const PATH: &str = "/stock/tools";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list))
        .route("/stock/tools.csv", web::get().to(file));
}

/// The tooling as it is asked for.
type Asked = List<ToolView, ToolSort>;

async fn list(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read(PATH, false);
    let mut tx = who.begin().await?;
    let today = who.today();
    let (tools, all) = lists::tools(
        &mut tx,
        asked.view,
        &asked.words,
        asked.sort,
        today,
        asked.part(),
    )
    .await?;
    let heads = html! {
        (asked.head(&[(ToolSort::Name, "Item")], None))
        th scope="col" { "Where it is" }
        (asked.head(&[(ToolSort::KeptAt, "Kept at")], None))
    };
    let body = html! {
        (back(super::PATH, "Stock"))
        div.bar {
            h1 { "Reusable tooling" }
            @if who.may(Role::Office) { a.button href="/stock/tools/new" data-key="n" data-key-label="Add tooling" { "Add tooling" } }
        }
        (asked.views("Reusable tooling", &[
            (ToolView::InUse, "In use"), (ToolView::Out, "With a job"), (ToolView::Overdue, "Should be back"), (ToolView::All, "No longer in use too"),
        ]))
        (asked.filter("Item or place"))
        @if tools.is_empty() {
            (asked.nothing("None yet. Add sets of temporary bolts, mandrels and the like, each out with one job at a time."))
        } @else {
            (table(&heads, &tools, today))
        }
        (asked.pages(all, "set", "sets", Some("/stock/tools.csv")))
    };
    Ok(Page::new(&who, "Reusable tooling")
        .nav(Section::Stock)
        .body(body)
        .into())
}

/// A table that is not sorted by its heads.
pub(super) fn plain_table(tools: &[Tool], today: NaiveDate) -> Markup {
    let heads = html! { th scope="col" { "Item" } th scope="col" { "Where it is" } th scope="col" { "Kept at" } };
    table(&heads, tools, today)
}

fn table(heads: &Markup, tools: &[Tool], today: NaiveDate) -> Markup {
    html! {
        table.cells {
            thead { tr { (heads) } }
            tbody { @for tool in tools {
                tr {
                    th scope="row" {
                        a href=(tool::path(tool.id)) { (tool.details.name) }
                        @if !tool.details.active { " " span.tag { "no longer in use" } }
                    }
                    td data-label="Where it is" { (tool::whereabouts(tool, today)) }
                    td data-label="Kept at" { (or_nothing(&tool.details.kept_at)) }
                }
            } }
        }
    }
}

async fn file(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read(PATH, false);
    let mut tx = who.begin().await?;
    let (tools, _) = lists::tools(
        &mut tx,
        asked.view,
        &asked.words,
        asked.sort,
        who.today(),
        asked.whole(),
    )
    .await?;
    let head = ["Item", "With job", "Back by", "Kept at", "In use"];
    let rows = tools.into_iter().map(|tool| {
        let out = tool.out.as_ref();
        vec![
            tool.details.name.clone(),
            out.map(|out| out.job_number.to_string())
                .unwrap_or_default(),
            csv::day(out.and_then(|out| out.back_on())),
            tool.details.kept_at.clone(),
            csv::yes(tool.details.active),
        ]
    });
    Ok(csv::download_under("tooling.csv", &head, rows).into())
}
