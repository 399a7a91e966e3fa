//! Two customers that are one: which to keep, what goes over, and parting them again.

use super::path;
use crate::app::merge_customers::{merge_customers, part_customers};
use crate::db::customer_links::{self, Links};
use crate::db::customers::{self, Customer};
use crate::db::people::Role;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field, show,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/customers/{id}/merge")
            .route(web::get().to(ask))
            .route(web::post().to(merge)),
    )
    .route("/customers/{id}/merges/{merge}/undo", web::post().to(part));
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Into {
    into: String,
}

async fn ask(who: SignedIn, id: web::Path<Uuid>, query: web::Query<Into>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let gone = customers::get(&mut tx, *id).await?;
    if let Some(kept) = gone.merged_into {
        return Ok(Reply::see_other(path(kept)));
    }
    let mut errors = FormErrors::default();
    let typed = query.into.trim();
    let mut both = None;
    if !typed.is_empty() {
        match customers::named(&mut tx, typed).await? {
            Some(kept) if kept == gone.id => {
                errors.add("into", "Enter the name of another customer");
            }
            Some(kept) => {
                let kept = customers::get(&mut tx, kept).await?;
                let links = customer_links::links(&mut tx, gone.id).await?;
                both = Some((kept, links));
            }
            None => errors.add("into", "Enter the name of a customer on record"),
        }
    }
    let title = format!("Merge {}", gone.name);
    let body = html! {
        p.back { a href=(path(gone.id)) { "‹ " (gone.name) } }
        h1 { (title) }
        (errors.summary())
        @match &both {
            Some((kept, links)) => (confirm(&who, &gone, kept, links)),
            None => {
                p { "If this customer is on record twice, name the one to keep. Everything of " (gone.name) " goes to that one." }
                form.grid method="get" action={ (path(gone.id)) "/merge" } novalidate {
                    (Field::text("into", "Customer to keep", typed).customers("").autofocus(true).errors(&errors))
                    div.actions {
                        button type="submit" { "Compare" }
                        a.button.quiet href=(path(gone.id)) { "Cancel" }
                    }
                }
            }
        }
    };
    let page = Page::new(&who, title)
        .nav(Section::Enquiries)
        .script("lookup.js")
        .body(body);
    Ok(if errors.is_empty() {
        page
    } else {
        page.invalid()
    }
    .into())
}

fn confirm(who: &SignedIn, gone: &Customer, kept: &Customer, links: &Links) -> Markup {
    let goes = [
        show::count(whole(links.calls.len()), "call", "calls"),
        show::count(whole(links.jobs.len()), "job", "jobs"),
        show::count(whole(links.castings.len()), "casting", "castings"),
        show::count(whole(gone.contacts.len()), "person", "people"),
        show::count(whole(gone.machines.len()), "machine", "machines"),
    ];
    html! {
        section.card {
            table.cells {
                thead { tr { th scope="col" { "" } th scope="col" { "Goes" } th scope="col" { "Stays" } } }
                tbody {
                    @for (label, of) in COMPARED {
                        tr { th scope="row" { (label) } td data-label="Goes" { (of(gone)) } td data-label="Stays" { (of(kept)) } }
                    }
                }
            }
            p { "To " (kept.name) " go: " (goes.join(", ")) ", and the name “" (gone.name) "”. Phone, email, address, terms and notes of "
                (gone.name) " are not copied. You can undo this on the page of " (kept.name) "." }
            form.actions method="post" action={ (path(gone.id)) "/merge" } {
                (csrf_field(who))
                input type="hidden" name="version" value=(gone.version);
                input type="hidden" name="into" value=(kept.id);
                button type="submit" { "Merge into " (kept.name) }
                a.button.quiet href=(path(gone.id)) { "Cancel" }
            }
        }
    }
}

type Detail = fn(&Customer) -> &str;

const COMPARED: [(&str, Detail); 6] = [
    ("Name", |customer| &customer.name),
    ("Phone", |customer| &customer.phone),
    ("Email", |customer| &customer.email),
    ("Address", |customer| &customer.address),
    ("Terms of payment", |customer| &customer.terms),
    ("Notes", |customer| &customer.note),
];

fn whole(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct MergeForm {
    into: String,
    version: String,
}

async fn merge(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<MergeForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let Some(kept) = errors.row("into", &form.into) else {
        return Err(errors.into());
    };
    let version = form.version.parse().unwrap_or(0);
    merge_customers(&who.actor(), *id, version, kept).await?;
    Ok(Reply::see_other(path(kept)).flash("Merged."))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Nothing {}

async fn part(who: SignedIn, ids: web::Path<(Uuid, Uuid)>, _form: CheckedForm<Nothing>) -> Answer {
    let (kept, merge) = ids.into_inner();
    let back = part_customers(&who.actor(), kept, merge).await?;
    Ok(Reply::see_other(path(back)).flash("They are two customers again."))
}
