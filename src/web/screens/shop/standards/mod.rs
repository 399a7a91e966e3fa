//! Standard times: the elements of work, in the trade's order.

mod fields;
mod form;

use super::rates::skills;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, cutting, history as changes, machines, standards};
use crate::estimating::{Element, Stage, starting};
use crate::units::Code;
use crate::web::ui::history;
use crate::web::ui::stale::stale_notice;
use crate::web::ui::{
    Answer, CheckedForm, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use fields::{Suggestions, fields};
use form::ElementForm;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// `/shop/standards`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/standards")
            .route(web::get().to(list))
            .route(web::post().to(add)),
    )
    .route("/shop/standards/new", web::get().to(blank))
    .route("/shop/standards/start", web::post().to(start))
    .service(
        web::resource("/shop/standards/{id}")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    )
    .route("/shop/standards/{id}/delete", web::post().to(delete));
}

async fn list(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let elements = standards::list(&mut tx).await?;
    let body = html! {
        div.bar {
            h1 { "Standard times" }
            @if who.may(Role::Owner) {
                a.button href="/shop/standards/new" data-key="n" data-key-label="Add an element" { "Add an element" }
            }
        }
        p.lead { "The pieces of work a route is put together from, in the order of work. Remedy rules ask for them by code." }
        @if elements.is_empty() {
            section.notice.warn {
                h2 { "No elements yet" }
                p { "Nothing can be routed or costed without them. You can start from a set of invented figures and make them your own." }
                @if who.may(Role::Owner) {
                    form method="post" action="/shop/standards/start" {
                        (csrf_field(&who))
                        button type="submit" { "Start with the starting set" }
                    }
                }
            }
        }
        @for &stage in Stage::ALL {
            @let here: Vec<&Element> = elements.iter().filter(|e| e.stage == stage).collect();
            @if !here.is_empty() { (stage_table(stage, &here)) }
        }
    };
    Ok(Page::new(&who, "Standard times")
        .nav(Section::Shop)
        .body(body)
        .into())
}

fn stage_table(stage: Stage, elements: &[&Element]) -> Markup {
    html! {
        table.cells.standards {
            caption { (stage) }
            thead { tr {
                th scope="col" { "Element" } th scope="col" { "Machine and skill" } th.number scope="col" { "Setup" }
                th.number scope="col" { "Each" } th scope="col" { "How often" }
            } }
            tbody {
                @for element in elements {
                    tr {
                        th scope="row" {
                            a href={ "/shop/standards/" (element.id) } { (element.name) }
                            div.small.muted { (element.code) }
                        }
                        td data-label="Machine and skill" { (element.machine_kind) ", " (element.skill) }
                        td.number data-label="Setup" { (element.setup) }
                        td.number data-label="Each" { (each(element)) }
                        td data-label="How often" {
                            (element.basis)
                            @if element.standing > crate::estimating::Standing::Asked { ", " (element.standing) }
                            @if element.can_fail { " " span.tag { "a donor can fail" } }
                        }
                    }
                }
            }
        }
    }
}

/// Time each by the best source there is before a feature is known.
fn each(element: &Element) -> Markup {
    html! {
        @if let Some(revised) = element.revised {
            (revised) " " span.small.muted { "revised" }
        } @else if element.recipe.is_some() {
            (element.handling) " + cutting" " " span.small.muted { "calculated" }
        } @else {
            (element.owner_figure) " " span.small.muted { "owner's figure" }
        }
    }
}

async fn start(who: SignedIn, _: CheckedForm<Nothing>) -> Answer {
    who.require(Role::Owner)?;
    let set = starting::elements(who.shop.currency, Uuid::now_v7)
        .map_err(|why| WebError::Internal(format!("the starting set does not read: {why}")))?;
    let mut tx = who.begin().await?;
    for element in &set {
        standards::insert(&mut tx, element).await?;
    }
    tx.commit().await?;
    Ok(Reply::see_other("/shop/standards")
        .flash("The starting set is in. Its figures are invented: put your own in their place."))
}

/// A form with nothing in it but its token.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Nothing {}

/// Which element a new one is copied from.
#[derive(Debug, Deserialize)]
struct From {
    copy: Option<Uuid>,
}

async fn blank(who: SignedIn, from: web::Query<From>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let form = match from.copy {
        Some(id) => {
            let mut form = ElementForm::of(&who, &standards::get(&mut tx, id).await?);
            form.code.clear();
            form
        }
        None => ElementForm::blank(),
    };
    let page = new_page(&who, &mut tx, &form, &FormErrors::default()).await?;
    Ok(page.into())
}

async fn add(who: SignedIn, form: CheckedForm<ElementForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    if let Some(element) = form.read(&who, Uuid::now_v7(), &mut errors) {
        match standards::insert(&mut tx, &element).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other("/shop/standards")
                    .flash(format!("{} is entered.", element.code)));
            }
            Err(error) => errors.absorb(error)?,
        }
        // A statement that failed leaves the transaction unusable.
        tx = who.begin().await?;
    }
    let page = new_page(&who, &mut tx, &form, &errors).await?;
    Ok(page.invalid().into())
}

async fn suggestions(tx: &mut ShopTx) -> Result<Suggestions, DbError> {
    let mut suggested = Suggestions {
        skills: skills(tx).await?,
        ..Suggestions::default()
    };
    let machines = machines::machines(tx).await?;
    suggested.kinds.extend(machines.into_iter().map(|m| m.kind));
    let elements = standards::list(tx).await?;
    suggested
        .kinds
        .extend(elements.into_iter().map(|e| e.machine_kind));
    let tools = cutting::usual(tx).await?.tools;
    suggested.tools.extend(tools.into_iter().map(|t| t.tool));
    Ok(suggested)
}

async fn new_page(
    who: &SignedIn,
    tx: &mut ShopTx,
    form: &ElementForm,
    errors: &FormErrors,
) -> Result<Page, DbError> {
    let suggested = suggestions(tx).await?;
    let body = html! {
        h1 { "Add an element" }
        (errors.summary())
        form.grid method="post" action="/shop/standards" novalidate {
            (csrf_field(who))
            (fields(who, &suggested, form, errors))
            div.actions {
                button type="submit" { "Add" }
                a.button.quiet href="/shop/standards" { "Cancel" }
            }
        }
    };
    Ok(Page::new(who, "Add an element")
        .nav(Section::Shop)
        .body(body))
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let element = standards::get(&mut tx, *id).await?;
    let form = ElementForm::of(&who, &element);
    let none = (FormErrors::default(), html! {});
    let page = page(&who, &mut tx, &element, &form, &none.0, &none.1).await?;
    Ok(page.into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<ElementForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let stored = standards::get(&mut tx, *id).await?;
    if let Some(wanted) = form.read(&who, stored.id, &mut errors) {
        match standards::update(&mut tx, &wanted).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(
                    Reply::see_other("/shop/standards").flash(format!("{} is saved.", wanted.code))
                );
            }
            Err(DbError::Stale(_)) => {
                let now = ElementForm::of(&who, &stored);
                let notice = stale_notice(&stored.code, &ElementForm::differences(&now, &form));
                let mine = ElementForm {
                    version: now.version,
                    ..(*form).clone()
                };
                let page = page(&who, &mut tx, &stored, &mine, &errors, &notice).await?;
                return Ok(page.status(StatusCode::CONFLICT).into());
            }
            Err(error) => errors.absorb(error)?,
        }
        tx = who.begin().await?;
    }
    let page = page(&who, &mut tx, &stored, &form, &errors, &html! {}).await?;
    Ok(page.invalid().into())
}

async fn delete(who: SignedIn, id: web::Path<Uuid>, _: CheckedForm<Nothing>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    standards::delete(&mut tx, *id).await?;
    tx.commit().await?;
    Ok(Reply::see_other("/shop/standards").flash("The element is deleted."))
}

async fn page(
    who: &SignedIn,
    tx: &mut ShopTx,
    stored: &Element,
    form: &ElementForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Result<Page, DbError> {
    let may = who.may(Role::Owner);
    let path = format!("/shop/standards/{}", stored.id);
    let suggested = suggestions(tx).await?;
    let past = if who.may(Role::Office) {
        changes::of_row(tx, "element", stored.id).await?
    } else {
        Vec::new()
    };
    let body = html! {
        div.bar {
            h1 { (stored.name) }
            @if may {
                a.button.quiet href={ "/shop/standards/new?copy=" (stored.id) } data-key="c" data-key-label="Copy this element" { "Copy" }
            }
        }
        (notice)
        (errors.summary())
        @if !may { (super::read_only()) }
        form.grid method="post" action=(path) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            fieldset.plain.wide disabled[!may] {
                (fields(who, &suggested, form, errors))
                @if may {
                    div.actions {
                        button type="submit" { "Save" }
                        a.button.quiet href="/shop/standards" { "Cancel" }
                        button.quiet.danger type="submit" formaction={ (path) "/delete" } { "Delete" }
                    }
                }
            }
        }
        (history::section(who, &past))
    };
    Ok(Page::new(who, stored.name.clone())
        .nav(Section::Shop)
        .body(body))
}
