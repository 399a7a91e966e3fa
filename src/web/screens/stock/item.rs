//! One item of stock: what is on hand, what is on order, every movement; counted, written off, changed.

use super::form::{BookForm, LEAST, MOST, OrderForm};
use super::made::{Made, MakeForm};
use super::order::OpenForm;
use super::{made, or_nothing, order};
use crate::app::{AppError, move_stock};
use crate::db::history::{self, Change};
use crate::db::people::Role;
use crate::db::stock::{self, Item, ItemDetails, Movement, Order, Reason};
use crate::db::{DbError, ShopTx};
use crate::web::screens::castings::{back, details_and_history};
use crate::web::screens::jobs::amount;
use crate::web::ui::history as past;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    once_field, show, words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<ItemSheet>(cfg);
    cfg.route("/stock/items/{id}/count", web::post().to(count))
        .route("/stock/items/{id}/write-off", web::post().to(write_off));
}

/// Where an item's page is.
pub(super) fn path(id: Uuid) -> String {
    format!("/stock/items/{id}")
}

/// Movements on one page.
const MOVEMENTS: u16 = 100;

/// An item's details.
#[derive(Debug, Clone)]
pub(super) struct ItemSheet {
    id: Uuid,
    details: ItemDetails,
    version: i32,
}

impl ItemSheet {
    fn of(item: &Item) -> Self {
        Self {
            id: item.id,
            details: item.details.clone(),
            version: item.version,
        }
    }
}

impl Record for ItemSheet {
    type Around = ();
    const NAV: Section = Section::Stock;
    const READ: Role = Role::Machinist;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "/stock/items/new",
        add: "/stock/items/new",
        edit: "/stock/items/{id}",
        delete: "",
        copy: "",
    };
    const API: Api = Api::of("item", "/api/v1/stock", "/api/v1/stock/{id}").listed_elsewhere();

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(Self::of(&stock::item(tx, at.id).await?))
    }

    async fn around(
        _: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(())
    }

    fn blank((): &(), _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::nil(),
            details: ItemDetails {
                name: String::new(),
                unit: "each".to_owned(),
                kept_at: String::new(),
                supplier: String::new(),
                minimum: None,
                active: true,
            },
            version: 1,
        }
    }

    fn fields((): &(), who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Name", 120, at!(details.name))
            .hint("A material of a standard time with this name is taken from it");
        f.text("unit", "Unit", 20, at!(details.unit))
            .hint("each, kg, m, litre …");
        f.decimal("minimum", "Minimum", LEAST..=MOST, at!(details.minimum))
            .hint("For what must never run out. Leave empty to buy when a job asks");
        f.note("kept_at", "Kept at", 120, at!(details.kept_at));
        f.note("supplier", "Supplier", 120, at!(details.supplier));
        f.tick("active", "Still stocked", at!(details.active));
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        self.id = stock::insert(tx, &self.details).await?;
        Ok(())
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        stock::update(tx, self.id, self.version, &self.details).await
    }

    fn words(&self, (): &(), new: bool) -> Words {
        Words::of(new, "Add an item", &self.details.name, super::PATH).back("Stock")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Added => "The item is added. Count what is on hand, or order some.",
            _ => "Saved.",
        };
        (path(self.id), words.to_owned())
    }

    async fn page(sheet: Sheet<Self>, tx: &mut ShopTx) -> Result<Page, WebError> {
        let Some(stored) = &sheet.stored else {
            return Ok(sheet.page());
        };
        let who = sheet.who.clone();
        let mut view = View::load(tx, stored.id).await?;
        view.details = Some(sheet);
        Ok(view.page(&who))
    }
}

/// Whoever stands at the shelf may count it.
async fn count(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<BookForm>) -> Answer {
    let mut errors = FormErrors::default();
    if let (Some((counted, why)), Ok(seen)) = (
        form.read_count(&mut errors),
        Decimal::from_str_exact(&form.seen),
    ) {
        match move_stock::count(&who.actor(), *id, seen, counted, &why).await {
            Ok(differed) => {
                return Ok(Reply::see_other(path(*id)).flash(if differed {
                    "Count corrected, with the reason on record."
                } else {
                    "The count was right."
                }));
            }
            Err(AppError::Db(DbError::Stale(_))) => {
                let mut view = View::load(&mut who.begin().await?, *id).await?;
                let now = view.item.on_hand.to_string();
                let changed = Changed::if_differs("On hand", &now, form.counted.trim());
                view.notice = stale_notice("What is on hand", &Vec::from_iter(changed));
                view.book = form.into_inner();
                return Ok(view.page(&who).status(StatusCode::CONFLICT).into());
            }
            Err(error) => return Err(error.into()),
        }
    }
    let mut view = View::load(&mut who.begin().await?, *id).await?;
    view.book = form.into_inner();
    view.errors = errors;
    Ok(view.page(&who).invalid().into())
}

async fn write_off(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<BookForm>) -> Answer {
    let mut errors = FormErrors::default();
    if let Some((quantity, why)) = form.read_off(&mut errors) {
        match move_stock::write_off(&who.actor(), *id, (quantity, &why), form.keyed()).await {
            Ok(()) => return Ok(Reply::see_other(path(*id)).flash("Written off.")),
            Err(AppError::Refused(why)) => {
                errors.add("off_quantity", words::refusal(&why, who.today()))
            }
            Err(error) => return Err(error.into()),
        }
    }
    let mut view = View::load(&mut who.begin().await?, *id).await?;
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
    /// What was typed over its details.
    details: Option<Sheet<ItemSheet>>,
    pub(super) order: OrderForm,
    /// What was typed about an order that is open.
    pub(super) open_order: Option<(Uuid, OpenForm)>,
    book: BookForm,
    made: Made,
    /// What was typed to make some for the shelf.
    pub(super) make: MakeForm,
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
            details: None,
            order: OrderForm {
                order_supplier: item.details.supplier.clone(),
                ..OrderForm::default()
            },
            open_order: None,
            book: BookForm::default(),
            made: Made::load(tx, id).await?,
            make: MakeForm::default(),
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
            @if let Some(sheet) = &self.details { (sheet.notice) (sheet.errors.summary()) }
            section.card {
                dl.figures {
                    div { dt { "On hand" } dd { (amount(item.on_hand, unit)) } }
                    div { dt { "Allocated" } dd { (amount(item.wanted, unit)) } }
                    div { dt { "On order" } dd { (amount(item.on_order, unit)) } }
                    @if item.made_here { div { dt { "Being made for the shelf" } dd { (amount(item.being_made, unit)) } } }
                    div { dt { "Minimum" } dd { @match item.details.minimum { Some(least) => (amount(least, unit)), None => "none" } } }
                    div { dt { "Kept at" } dd { (or_nothing(&item.details.kept_at)) } }
                    div { dt { "Supplier" } dd { (or_nothing(&item.details.supplier)) } }
                }
                @if let Some(short) = item.level().short_by() {
                    p.notice.warn {
                        @match item.level().missing() {
                            Some(missing) => { "Not enough for the jobs: " (amount(missing, unit)) " more is needed, and " (amount(short, unit)) " to be at the minimum again." }
                            None => { "Enough for the jobs. What is left after them is " (amount(short, unit)) " below the minimum." }
                        }
                    }
                }
            }
            (made::section(who, item, &self.made, &self.make, &self.errors))
            (order::section(who, item, &self.orders, &self.order, self.open_order.as_ref(), &self.errors))
            div.columns {
                section.card aria-labelledby="count-title" {
                    h2 #count-title { "Count" }
                    form.grid method="post" action={ (path(item.id)) "/count" } novalidate {
                        (csrf_field(who))
                        input type="hidden" name="seen" value=(item.on_hand);
                        (Field::decimal("counted", "Counted", &self.book.counted).unit(unit).errors(&self.errors))
                        (Field::text("counted_why", "Reason", &self.book.counted_why).hint("Stocktake, miscounted, used without booking …").errors(&self.errors))
                        div.actions { button.quiet type="submit" { "Correct count" } }
                    }
                }
                section.card aria-labelledby="off-title" {
                    h2 #off-title { "Write off" }
                    form.grid method="post" action={ (path(item.id)) "/write-off" } novalidate {
                        (csrf_field(who))
                        (once_field())
                        (Field::decimal("off_quantity", "Quantity", &self.book.off_quantity).unit(unit).errors(&self.errors))
                        (Field::text("off_why", "Reason", &self.book.off_why).hint("Spoilt, lost, out of date …").errors(&self.errors))
                        div.actions { button.quiet type="submit" { "Write off" } }
                    }
                }
            }
            @if office { (self.details_form(who)) }
            (self.moved(who))
            (past::section_of(who, past::Kept::StockItem, self.item.id, &self.changes))
        };
        Page::new(who, item.details.name.as_str())
            .nav(Section::Stock)
            .body(body)
    }

    fn details_form(&self, who: &SignedIn) -> Markup {
        let path = path(self.item.id);
        match &self.details {
            Some(sheet) => {
                let open = !sheet.errors.is_empty() || !sheet.notice.0.is_empty();
                details_and_history(
                    who,
                    &path,
                    sheet.typed.get("version"),
                    &sheet.fields(),
                    open,
                )
            }
            None => {
                let stored = ItemSheet::of(&self.item);
                let at = At::id(self.item.id);
                let sheet = Sheet::new(who.clone(), at, (), stored.clone(), Some(stored));
                details_and_history(
                    who,
                    &path,
                    sheet.typed.get("version"),
                    &sheet.fields(),
                    false,
                )
            }
        }
    }

    fn moved(&self, who: &SignedIn) -> Markup {
        html! {
            h2 { "Movements" }
            @if self.movements.is_empty() {
                p.muted { "None yet." }
            } @else {
                table.cells.small {
                    thead { tr { th scope="col" { "When" } th.number scope="col" { "Change" } th scope="col" { "Reason" } th scope="col" { "Who" } } }
                    tbody { @for movement in &self.movements {
                        tr {
                            th scope="row" { (show::moment(movement.at, who.shop.time_zone, who.today())) }
                            td.number data-label="Change" { @if movement.quantity.is_sign_positive() { "+" } (movement.quantity) }
                            td data-label="Reason" {
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
        Reason::Made => "made in",
    }
}
