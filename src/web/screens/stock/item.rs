//! One item of stock: what is on hand, what is on order, every movement; counted, written off, changed.

use super::form::{BookForm, ItemForm, OrderForm};
use super::order::OpenForm;
use super::{or_nothing, order};
use crate::db::history::{self, Change};
use crate::db::people::Role;
use crate::db::stock::{self, Item, Movement, Order, Reason};
use crate::db::{DbError, ShopTx};
use crate::web::screens::castings::{back, version, written_down};
use crate::web::screens::jobs::amount;
use crate::web::ui::history as past;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field, show,
};
use actix_web::http::StatusCode;
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/stock/items/new")
            .route(web::get().to(blank))
            .route(web::post().to(add)),
    )
    .service(
        web::resource("/stock/items/{id}")
            .route(web::get().to(show_item))
            .route(web::post().to(save)),
    )
    .route("/stock/items/{id}/count", web::post().to(count))
    .route("/stock/items/{id}/write-off", web::post().to(write_off));
}

/// Where an item's page is.
pub(super) fn path(id: Uuid) -> String {
    format!("/stock/items/{id}")
}

/// Movements on one page.
const MOVEMENTS: u16 = 100;

fn new_page(who: &SignedIn, form: &ItemForm, errors: &FormErrors) -> Page {
    let fields = form.fields(errors);
    super::new_page(
        who,
        "An item for stock",
        "/stock/items/new",
        &fields,
        errors,
    )
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    Ok(new_page(&who, &ItemForm::blank(), &FormErrors::default()).into())
}

async fn add(who: SignedIn, form: CheckedForm<ItemForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(details) = form.read(&mut errors) {
        let mut tx = who.begin().await?;
        match stock::insert(&mut tx, &details).await {
            Ok(id) => {
                tx.commit().await?;
                return Ok(Reply::see_other(path(id))
                    .flash("The item is added. Count what is on hand, or order some."));
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(new_page(&who, &form, &errors).invalid().into())
}

async fn show_item(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    Ok(View::load(&mut tx, *id).await?.page(&who).into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<ItemForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    if let Some(details) = form.read(&mut errors) {
        match stock::update(&mut tx, *id, version(&form.version)?, &details).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(path(*id)).flash("Saved."));
            }
            Err(DbError::Stale(what)) => {
                let mut view = View::load(&mut tx, *id).await?;
                view.notice = stale_notice(what, &view.details.differs_from(&form));
                view.details = ItemForm {
                    version: view.item.version.to_string(),
                    ..form.into_inner()
                };
                return Ok(view.page(&who).status(StatusCode::CONFLICT).into());
            }
            Err(error) => {
                errors.absorb(error)?;
                // The refused statement ended the transaction.
                tx = who.begin().await?;
            }
        }
    }
    let mut view = View::load(&mut tx, *id).await?;
    view.details = form.into_inner();
    view.errors = errors;
    Ok(view.page(&who).invalid().into())
}

/// Whoever stands at the shelf may count it.
async fn count(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<BookForm>) -> Answer {
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    if let (Some((counted, why)), Ok(seen)) = (
        form.read_count(&mut errors),
        Decimal::from_str_exact(&form.seen),
    ) {
        match stock::count(&mut tx, *id, seen, counted, &why).await {
            Ok(differed) => {
                tx.commit().await?;
                return Ok(Reply::see_other(path(*id)).flash(if differed {
                    "Set right, with the reason on record."
                } else {
                    "It was right."
                }));
            }
            Err(DbError::Stale(what)) => {
                let mut view = View::load(&mut tx, *id).await?;
                let now = view.item.on_hand.to_string();
                let changed = Changed::if_differs("On hand", &now, form.counted.trim());
                view.notice = stale_notice(what, &Vec::from_iter(changed));
                view.book = form.into_inner();
                return Ok(view.page(&who).status(StatusCode::CONFLICT).into());
            }
            Err(error) => return Err(error.into()),
        }
    }
    let mut view = View::load(&mut tx, *id).await?;
    view.book = form.into_inner();
    view.errors = errors;
    Ok(view.page(&who).invalid().into())
}

async fn write_off(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<BookForm>) -> Answer {
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    if let Some((quantity, why)) = form.read_off(&mut errors) {
        match stock::write_off(&mut tx, *id, quantity, &why).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(path(*id)).flash("Written off."));
            }
            Err(DbError::Refused(why)) => {
                errors.add("off_quantity", why);
                tx = who.begin().await?;
            }
            Err(error) => return Err(error.into()),
        }
    }
    let mut view = View::load(&mut tx, *id).await?;
    view.book = form.into_inner();
    view.errors = errors;
    Ok(view.page(&who).invalid().into())
}

/// An item's page: what is stored, and what was typed over it.
pub(super) struct View {
    pub(super) item: Item,
    orders: Vec<Order>,
    movements: Vec<Movement>,
    changes: Vec<Change>,
    details: ItemForm,
    pub(super) order: OrderForm,
    /// What was typed about an order that is open.
    pub(super) open_order: Option<(Uuid, OpenForm)>,
    book: BookForm,
    pub(super) errors: FormErrors,
    pub(super) notice: Markup,
}

impl View {
    /// As it is stored, nothing typed yet.
    pub(super) async fn load(tx: &mut ShopTx, id: Uuid) -> Result<Self, DbError> {
        let item = stock::item(tx, id).await?;
        let mut changes = history::of_row(tx, "stock_item", id).await?;
        // What is on hand has its own list, with reasons.
        for change in &mut changes {
            change.fields.retain(|field| field.field != "on_hand");
        }
        changes.retain(|change| change.action != "update" || !change.fields.is_empty());
        Ok(Self {
            orders: stock::orders(tx, id).await?,
            movements: stock::movements(tx, id, MOVEMENTS).await?,
            changes,
            details: ItemForm::of(&item),
            order: OrderForm {
                order_supplier: item.details.supplier.clone(),
                ..OrderForm::default()
            },
            open_order: None,
            book: BookForm::default(),
            errors: FormErrors::default(),
            notice: html! {},
            item,
        })
    }

    pub(super) fn page(&self, who: &SignedIn) -> Page {
        let item = &self.item;
        let unit = &item.details.unit;
        let office = who.may(Role::Office);
        let body = html! {
            (back(super::PATH, "Stock"))
            h1 { (item.details.name) @if item.level().is_low() { " " span.tag.hole { "low" } } }
            (self.notice)
            (self.errors.summary())
            section.card {
                dl.figures {
                    div { dt { "On hand" } dd { (amount(item.on_hand, unit)) } }
                    div { dt { "Jobs want" } dd { (amount(item.wanted, unit)) } }
                    div { dt { "On order" } dd { (amount(item.on_order, unit)) } }
                    div { dt { "Minimum" } dd { @match item.details.minimum { Some(least) => (amount(least, unit)), None => "none" } } }
                    div { dt { "Kept" } dd { (or_nothing(&item.details.kept_at)) } }
                    div { dt { "Bought from" } dd { (or_nothing(&item.details.supplier)) } }
                }
                @if let Some(short) = item.level().short_by() {
                    p.notice.warn { "With what jobs want taken off and what is on order added, " (amount(short, unit)) " short of the minimum." }
                }
            }
            (order::section(who, item, &self.orders, &self.order, self.open_order.as_ref(), &self.errors))
            div.columns {
                section.card aria-labelledby="count-title" {
                    h2 #count-title { "Count it" }
                    form.grid method="post" action={ (path(item.id)) "/count" } novalidate {
                        (csrf_field(who))
                        input type="hidden" name="seen" value=(item.on_hand);
                        (Field::decimal("counted", "Counted", &self.book.counted).unit(unit).errors(&self.errors))
                        (Field::text("counted_why", "Why it differs", &self.book.counted_why).hint("Stocktake, miscounted, used without booking …").errors(&self.errors))
                        div.actions { button.quiet type="submit" { "Set it right" } }
                    }
                }
                section.card aria-labelledby="off-title" {
                    h2 #off-title { "Write some off" }
                    form.grid method="post" action={ (path(item.id)) "/write-off" } novalidate {
                        (csrf_field(who))
                        (Field::decimal("off_quantity", "Quantity", &self.book.off_quantity).unit(unit).errors(&self.errors))
                        (Field::text("off_why", "Why", &self.book.off_why).hint("Spoilt, lost, out of date …").errors(&self.errors))
                        div.actions { button.quiet type="submit" { "Write it off" } }
                    }
                }
            }
            @if office {
                (written_down(who, &path(item.id), &self.details.version, &self.details.fields(&self.errors), !self.errors.is_empty() || !self.notice.0.is_empty()))
            }
            (self.moved(who))
            (past::section(who, &self.changes))
        };
        Page::new(who, item.details.name.as_str())
            .nav(Section::Stock)
            .body(body)
    }

    fn moved(&self, who: &SignedIn) -> Markup {
        html! {
            h2 { "Movements" }
            @if self.movements.is_empty() {
                p.muted { "None yet." }
            } @else {
                table.cells.small {
                    thead { tr { th scope="col" { "When" } th.number scope="col" { "Change" } th scope="col" { "Why" } th scope="col" { "Who" } } }
                    tbody { @for movement in &self.movements {
                        tr {
                            th scope="row" { (show::moment(movement.at, who.shop.time_zone)) }
                            td.number data-label="Change" { @if movement.quantity.is_sign_positive() { "+" } (movement.quantity) }
                            td data-label="Why" {
                                (reason_words(movement.reason))
                                @if let Some((id, number)) = movement.job { " " a href={ "/jobs/" (id) "#needs" } { "job " (number) } }
                                @if !movement.note.is_empty() { ": " (movement.note) }
                            }
                            td data-label="Who" { (movement.person.as_deref().unwrap_or("the program")) }
                        }
                    } }
                }
            }
        }
    }
}

fn reason_words(reason: Reason) -> &'static str {
    match reason {
        Reason::Received => "received",
        Reason::Issued => "taken for",
        Reason::Returned => "put back by",
        Reason::Counted => "counted",
        Reason::WrittenOff => "written off",
    }
}
