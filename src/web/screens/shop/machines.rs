//! Machines, each with the worksheet behind its hourly rate.

use super::rates::amount;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, history as changes, machines, standards};
use crate::estimating::{Machine, MachineRate, RateError};
use crate::units::Money;
use crate::web::ui::forms::Live;
use crate::web::ui::history;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;
use std::collections::BTreeSet;
use uuid::Uuid;

/// `/shop/machines`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/machines")
            .route(web::get().to(list))
            .route(web::post().to(add)),
    )
    .route("/shop/machines/new", web::get().to(blank))
    .service(
        web::resource("/shop/machines/{id}")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    );
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct MachineForm {
    name: String,
    kind: String,
    active: String,
    capital: String,
    residual: String,
    life_years: String,
    interest_percent: String,
    power_kw: String,
    power_price: String,
    maintenance_a_year: String,
    space_m2: String,
    space_price: String,
    insurance_a_year: String,
    hours_a_year: String,
    agreed_rate: String,
    version: String,
}

impl MachineForm {
    fn of(machine: &Machine) -> Self {
        let sheet = &machine.worksheet;
        let number = |n: Decimal| n.normalize().to_string();
        Self {
            name: machine.name.clone(),
            kind: machine.kind.clone(),
            active: if machine.active { "yes" } else { "" }.to_owned(),
            capital: amount(sheet.capital),
            residual: amount(sheet.residual),
            life_years: number(sheet.life_years),
            interest_percent: number(sheet.interest_percent),
            power_kw: number(sheet.power_kw),
            power_price: amount(sheet.power_price),
            maintenance_a_year: amount(sheet.maintenance_a_year),
            space_m2: number(sheet.space_m2),
            space_price: amount(sheet.space_price),
            insurance_a_year: amount(sheet.insurance_a_year),
            hours_a_year: number(sheet.hours_a_year),
            agreed_rate: machine.agreed_rate.map(amount).unwrap_or_default(),
            version: machine.version.to_string(),
        }
    }

    fn read_worksheet(&self, who: &SignedIn, errors: &mut FormErrors) -> Option<MachineRate> {
        let currency = who.shop.currency;
        let most = |n: i64| Decimal::ZERO..=Decimal::from(n);
        let capital = errors.money("capital", &self.capital, currency);
        let residual = errors.money("residual", &self.residual, currency);
        let life_years = errors.decimal("life_years", &self.life_years, most(100));
        let interest = errors.percent("interest_percent", &self.interest_percent, most(100));
        let power_kw = errors.decimal("power_kw", &self.power_kw, most(10_000));
        // Finer than a penny, as electricity is priced.
        let power_price = errors
            .decimal("power_price", &self.power_price, most(1_000))
            .map(|price| Money::new(price, currency));
        let maintenance = errors.money("maintenance_a_year", &self.maintenance_a_year, currency);
        let space_m2 = errors.decimal("space_m2", &self.space_m2, most(100_000));
        let space_price = errors.money("space_price", &self.space_price, currency);
        let insurance = errors.money("insurance_a_year", &self.insurance_a_year, currency);
        let hours_a_year = errors.decimal("hours_a_year", &self.hours_a_year, most(8784));
        let sheet = MachineRate {
            capital: capital?,
            residual: residual?,
            life_years: life_years?,
            interest_percent: interest?,
            power_kw: power_kw?,
            power_price: power_price?,
            maintenance_a_year: maintenance?,
            space_m2: space_m2?,
            space_price: space_price?,
            insurance_a_year: insurance?,
            hours_a_year: hours_a_year?,
        };
        match sheet.per_hour() {
            Ok(_) => Some(sheet),
            Err(why) => {
                let field = match &why {
                    RateError::NotPositive { field, .. } | RateError::Negative { field, .. } => {
                        field
                    }
                    RateError::ResidualAboveCapital => "residual",
                    RateError::Money(_) => "capital",
                };
                errors.add(field, sentence(&why));
                None
            }
        }
    }

    fn read(&self, who: &SignedIn, id: Uuid, errors: &mut FormErrors) -> Option<Machine> {
        let name = errors.required_text("name", &self.name, 80);
        let kind = errors.required_text("kind", &self.kind, 60);
        let worksheet = self.read_worksheet(who, errors);
        let agreed = errors.optional(&self.agreed_rate, |errors| {
            errors.money("agreed_rate", &self.agreed_rate, who.shop.currency)
        });
        Some(Machine {
            id,
            kind: kind?.to_lowercase(),
            name: name?,
            active: self.active == "yes",
            worksheet: worksheet?,
            agreed_rate: agreed?,
            version: self.version.parse().unwrap_or_default(),
        })
    }
}

/// With a capital letter.
fn sentence(why: &RateError) -> String {
    let text = why.to_string();
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}

/// Kinds that elements ask for or machines are of.
async fn kinds(tx: &mut ShopTx) -> Result<BTreeSet<String>, DbError> {
    let mut kinds: BTreeSet<String> = machines::machines(tx)
        .await?
        .into_iter()
        .map(|m| m.kind)
        .collect();
    let asked = standards::list(tx).await?;
    kinds.extend(
        asked
            .into_iter()
            .filter(|e| e.outside_price.is_none())
            .map(|e| e.machine_kind),
    );
    Ok(kinds)
}

async fn list(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let all = machines::machines(&mut tx).await?;
    let missing: Vec<String> = kinds(&mut tx)
        .await?
        .into_iter()
        .filter(|kind| !all.iter().any(|m| m.active && m.kind == *kind))
        .collect();
    let body = html! {
        div.bar {
            h1 { "Machines" }
            @if who.may(Role::Owner) {
                a.button href="/shop/machines/new" data-key="n" data-key-label="Add a machine" { "Add a machine" }
            }
        }
        @if all.is_empty() {
            p.notice.warn { "No machine is entered yet, so no machine time can be costed." }
        } @else {
            table.cells {
                thead { tr {
                    th scope="col" { "Machine" } th scope="col" { "Kind" } th.number scope="col" { "An hour" }
                    th scope="col" { "From" } th scope="col" { "In use" }
                } }
                tbody {
                    @for machine in &all {
                        tr {
                            th scope="row" { a href={ "/shop/machines/" (machine.id) } { (machine.name) } }
                            td data-label="Kind" { (machine.kind) }
                            td.number data-label="An hour" {
                                @match machine.hourly() { Ok(rate) => (rate), Err(_) => "no rate" }
                            }
                            td data-label="From" {
                                @if machine.agreed_rate.is_some() { "the owner's own rate" } @else { "its worksheet" }
                            }
                            td data-label="In use" { @if machine.active { "Yes" } @else { span.tag { "No" } } }
                        }
                    }
                }
            }
            p.muted { "Where there are several of a kind, work is costed at the dearest of them, so that a price holds whichever is free." }
        }
        @if !missing.is_empty() {
            p.notice.warn { "Asked for by standard times, but there is no machine in use: " (missing.join(", ")) ". Work on them cannot be costed." }
        }
    };
    Ok(Page::new(&who, "Machines")
        .nav(Section::Shop)
        .body(body)
        .into())
}

fn blank_machine(who: &SignedIn) -> Machine {
    Machine {
        id: Uuid::now_v7(),
        kind: String::new(),
        name: String::new(),
        active: true,
        worksheet: MachineRate::blank(who.shop.currency),
        agreed_rate: None,
        version: 1,
    }
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    let form = MachineForm::of(&blank_machine(&who));
    new_page(&who, &form, &FormErrors::default())
        .await
        .map(Into::into)
        .map_err(Into::into)
}

async fn add(who: SignedIn, live: Live, form: CheckedForm<MachineForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let read = form.read(&who, Uuid::now_v7(), &mut errors);
    if let Some(machine) = read.filter(|_| !live.0) {
        let mut tx = who.begin().await?;
        match machines::insert(&mut tx, &machine).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(format!("/shop/machines/{}", machine.id))
                    .flash(format!("{} is entered.", machine.name)));
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    let page = new_page(&who, &form, &errors).await?;
    Ok(if errors.is_empty() {
        page.into()
    } else {
        page.invalid().into()
    })
}

async fn new_page(
    who: &SignedIn,
    form: &MachineForm,
    errors: &FormErrors,
) -> Result<Page, DbError> {
    let mut tx = who.begin().await?;
    let kinds = kinds(&mut tx).await?;
    let body = html! {
        h1 { "Add a machine" }
        (errors.summary())
        div.columns.sheet {
            form.grid method="post" action="/shop/machines" novalidate data-live="worksheet" {
                (csrf_field(who))
                (fields(who, &kinds, form, errors))
                div.actions {
                    button type="submit" { "Add" }
                    a.button.quiet href="/shop/machines" { "Cancel" }
                }
            }
            (worksheet(who, form))
        }
    };
    Ok(Page::new(who, "Add a machine")
        .nav(Section::Shop)
        .body(body))
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let machine = machines::machine(&mut tx, *id).await?;
    let form = MachineForm::of(&machine);
    page(
        &who,
        &mut tx,
        &machine,
        &form,
        &FormErrors::default(),
        &html! {},
    )
    .await
    .map(Into::into)
    .map_err(Into::into)
}

async fn save(
    who: SignedIn,
    id: web::Path<Uuid>,
    live: Live,
    form: CheckedForm<MachineForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let stored = machines::machine(&mut tx, *id).await?;
    let read = form.read(&who, stored.id, &mut errors);
    if let Some(wanted) = read.filter(|_| !live.0) {
        match machines::update(&mut tx, &wanted).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(format!("/shop/machines/{}", wanted.id))
                    .flash(format!("{} is saved.", wanted.name)));
            }
            Err(DbError::Stale(_)) => {
                let now = MachineForm::of(&stored);
                let notice = stale_notice(&stored.name, &differences(&now, &form));
                let mine = MachineForm {
                    version: now.version,
                    ..(*form).clone()
                };
                let page = page(&who, &mut tx, &stored, &mine, &errors, &notice).await?;
                return Ok(page.status(StatusCode::CONFLICT).into());
            }
            Err(error) => errors.absorb(error)?,
        }
        // A statement that failed leaves the transaction unusable.
        tx = who.begin().await?;
    }
    let page = page(&who, &mut tx, &stored, &form, &errors, &html! {}).await?;
    Ok(if errors.is_empty() {
        page.into()
    } else {
        page.invalid().into()
    })
}

fn differences(now: &MachineForm, mine: &MachineForm) -> Vec<Changed> {
    let in_use = |active: &str| if active == "yes" { "Yes" } else { "No" };
    [
        Changed::if_differs("Name", &now.name, &mine.name),
        Changed::if_differs("Kind", &now.kind, &mine.kind),
        Changed::if_differs("In use", in_use(&now.active), in_use(&mine.active)),
        Changed::if_differs("Cost, installed", &now.capital, &mine.capital),
        Changed::if_differs("Fetches at the end", &now.residual, &mine.residual),
        Changed::if_differs("Life", &now.life_years, &mine.life_years),
        Changed::if_differs("Interest", &now.interest_percent, &mine.interest_percent),
        Changed::if_differs("Power", &now.power_kw, &mine.power_kw),
        Changed::if_differs("Price of a kWh", &now.power_price, &mine.power_price),
        Changed::if_differs(
            "Maintenance",
            &now.maintenance_a_year,
            &mine.maintenance_a_year,
        ),
        Changed::if_differs("Floor space", &now.space_m2, &mine.space_m2),
        Changed::if_differs(
            "Price of a square metre",
            &now.space_price,
            &mine.space_price,
        ),
        Changed::if_differs("Insurance", &now.insurance_a_year, &mine.insurance_a_year),
        Changed::if_differs("Productive hours", &now.hours_a_year, &mine.hours_a_year),
        Changed::if_differs("Own rate", &now.agreed_rate, &mine.agreed_rate),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn fields(
    who: &SignedIn,
    kinds: &BTreeSet<String>,
    form: &MachineForm,
    errors: &FormErrors,
) -> Markup {
    let currency = who.shop.currency;
    let money =
        |name, label, value: &str| Field::money(name, label, value, currency).errors(errors);
    let number = |name, label, value: &str, unit| {
        Field::decimal(name, label, value).unit(unit).errors(errors)
    };
    html! {
        (Field::text("name", "Name", &form.name).errors(errors))
        (Field::text("kind", "Kind", &form.kind).suggestions("kinds")
            .hint("In the words of the standard times: mill, line borer, bench …").errors(errors))
        (Field::checkbox("active", "In use", form.active == "yes"))
        datalist #kinds { @for kind in kinds { option value=(kind) {} } }
        h2 { "Worksheet" }
        (money("capital", "Cost, installed", &form.capital))
        (money("residual", "Fetches at the end", &form.residual))
        (number("life_years", "Life", &form.life_years, "years"))
        (number("interest_percent", "Interest on the money in it", &form.interest_percent, "% a year"))
        (number("power_kw", "Average power, running", &form.power_kw, "kW"))
        (money("power_price", "Price of a kWh", &form.power_price))
        (money("maintenance_a_year", "Maintenance and tooling, a year", &form.maintenance_a_year))
        (money("insurance_a_year", "Insurance, a year", &form.insurance_a_year))
        (number("space_m2", "Floor space", &form.space_m2, "m²"))
        (money("space_price", "Rent and heat of a square metre, a year", &form.space_price))
        (number("hours_a_year", "Productive hours, a year", &form.hours_a_year, "h")
            .hint("Hours it is charged for, not hours the shop is open"))
        h2 { "Or your own rate" }
        (money("agreed_rate", "Charge an hour at", &form.agreed_rate).optional()
            .hint("In place of the worksheet's"))
    }
}

/// The rate and its lines, from what stands in the form.
fn worksheet(who: &SignedIn, form: &MachineForm) -> Markup {
    let mut ignored = FormErrors::default();
    let worked = form
        .read_worksheet(who, &mut ignored)
        .and_then(|sheet| sheet.per_hour().ok());
    let agreed = Money::parse(&form.agreed_rate, who.shop.currency).ok();
    html! {
        section.card #worksheet aria-labelledby="worksheet-title" aria-live="polite" {
            h2 #worksheet-title { "A machine hour" }
            @match worked {
                Some(rate) => {
                    table.cells.sum {
                        tbody {
                            @for line in &rate.lines {
                                tr {
                                    th scope="row" { (line.label) div.small.muted { (line.how) } }
                                    td.number { (line.amount) }
                                }
                            }
                        }
                        tfoot { tr { th scope="row" { "An hour" } td.number { (rate.amount) } } }
                    }
                    @if let Some(agreed) = agreed {
                        p { "Charged at your own rate of " strong { (agreed) } " instead." }
                    }
                }
                None => { p { "The worksheet gives no rate until every figure in it reads." } }
            }
        }
    }
}

async fn page(
    who: &SignedIn,
    tx: &mut ShopTx,
    stored: &Machine,
    form: &MachineForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Result<Page, DbError> {
    let may = who.may(Role::Owner);
    let path = format!("/shop/machines/{}", stored.id);
    let kinds = kinds(tx).await?;
    let past = changes::of_row(tx, "machine", stored.id).await?;
    let body = html! {
        h1 { (stored.name) }
        (notice)
        (errors.summary())
        @if !may { (super::read_only()) }
        div.columns.sheet {
            form.grid method="post" action=(path) novalidate data-live="worksheet" {
                (csrf_field(who))
                input type="hidden" name="version" value=(form.version);
                fieldset.plain.wide disabled[!may] {
                    (fields(who, &kinds, form, errors))
                    @if may {
                        div.actions {
                            button type="submit" { "Save" }
                            a.button.quiet href="/shop/machines" { "Cancel" }
                        }
                    }
                }
            }
            (worksheet(who, form))
        }
        (history::section(who, &past))
    };
    Ok(Page::new(who, stored.name.clone())
        .nav(Section::Shop)
        .body(body))
}
