//! Machines, each with the worksheet behind its hourly rate.

use crate::db::people::Role;
use crate::db::{DbError, ShopTx, machines, standards};
use crate::estimating::{Machine, MachineRate, RateError};
use crate::units::text::capitalised;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Answer, Field, FormErrors, Page, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use std::collections::BTreeSet;
use uuid::Uuid;

const PATH: &str = "/shop/machines";

/// `/shop/machines`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list));
    record::routes::<Machine>(cfg);
}

/// The fields of the worksheet.
const WORKSHEET: [&str; 11] = [
    "capital",
    "residual",
    "life_years",
    "interest_percent",
    "power_kw",
    "power_price",
    "maintenance_a_year",
    "insurance_a_year",
    "space_m2",
    "space_price",
    "hours_a_year",
];

impl Record for Machine {
    /// Kinds to choose from.
    type Around = BTreeSet<String>;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Owner;
    const TABLE: &'static str = "machine";
    const PATHS: Paths = Paths {
        new: "/shop/machines/new",
        add: "/shop/machines",
        edit: "/shop/machines/{id}",
        delete: "",
        copy: "",
    };
    const API: Api = Api::of("machine", "/api/v1/machines", "/api/v1/machines/{id}");
    const LIVE: &'static str = "worksheet";

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(machines::machine(tx, at.id).await?)
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        Ok(machines::machines(tx).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(kinds(tx).await?)
    }

    fn blank(_: &Self::Around, who: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            kind: String::new(),
            name: String::new(),
            active: true,
            worksheet: MachineRate::blank(who.shop.currency),
            agreed_rate: None,
            version: 1,
        }
    }

    fn fields(kinds: &Self::Around, who: &SignedIn, _: bool) -> Fields<Self> {
        let upto = |most: i64| Decimal::ZERO..=Decimal::from(most);
        let currency = who.shop.currency;
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Name", 80, at!(name));
        let kind = Field::text("kind", "Kind", "").suggestions("kinds");
        f.value(kind, at!(kind), String::clone, |errors, name, raw| {
            let kind = errors.required_text(name, raw, 60)?;
            Some(kind.to_lowercase())
        })
        .hint("As the standard times name it: mill, line borer, bench …");
        f.tick("active", "In use", at!(active));
        f.datalist("kinds", kinds);
        f.heading("Worksheet");
        f.money("capital", "Cost, installed", at!(worksheet.capital));
        f.money("residual", "Resale value", at!(worksheet.residual));
        f.decimal("life_years", "Life", upto(100), at!(worksheet.life_years))
            .unit("years");
        f.decimal(
            "interest_percent",
            "Finance cost",
            upto(100),
            at!(worksheet.interest_percent),
        )
        .unit("% a year");
        f.decimal(
            "power_kw",
            "Average power, running",
            upto(10_000),
            at!(worksheet.power_kw),
        )
        .unit("kW");
        // Finer than a penny, as electricity is priced.
        let power_price = Field::money("power_price", "Price of a kWh", "", currency);
        f.value(
            power_price,
            at!(worksheet.power_price),
            |price| record::amount(*price),
            move |errors, name, raw| {
                let price = errors.decimal(name, raw, Decimal::ZERO..=Decimal::from(1_000))?;
                Some(crate::units::Money::new(price, currency))
            },
        );
        f.money(
            "maintenance_a_year",
            "Maintenance and tooling, a year",
            at!(worksheet.maintenance_a_year),
        );
        f.money(
            "insurance_a_year",
            "Insurance, a year",
            at!(worksheet.insurance_a_year),
        );
        f.decimal(
            "space_m2",
            "Floor space",
            upto(100_000),
            at!(worksheet.space_m2),
        )
        .unit("m²");
        f.money(
            "space_price",
            "Rent and heating per m², a year",
            at!(worksheet.space_price),
        );
        f.decimal(
            "hours_a_year",
            "Productive hours, a year",
            upto(8784),
            at!(worksheet.hours_a_year),
        )
        .unit("h")
        .hint("Hours it is charged for, not hours the shop is open");
        f.heading("Or your own rate");
        f.money("agreed_rate", "Own rate an hour", at!(agreed_rate))
            .hint("Used instead of the worksheet");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    /// Complains where the worksheet gives no rate, beside the figure that is to blame.
    fn check(&mut self, _: &Self::Around, _: &SignedIn, errors: &mut FormErrors) {
        if WORKSHEET.iter().any(|field| errors.get(field).is_some()) {
            return;
        }
        if let Err(why) = self.worksheet.per_hour() {
            let field = match &why {
                RateError::NotPositive { field, .. } | RateError::Negative { field, .. } => field,
                RateError::ResidualAboveCapital => "residual",
                RateError::Money(_) => "capital",
            };
            errors.add(field, capitalised(&why.to_string()));
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        machines::insert(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        machines::update(tx, self).await
    }

    fn words(&self, _: &Self::Around, new: bool) -> Words {
        Words::of(new, "Add a machine", &self.name, PATH)
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Added => format!("{} is added.", self.name),
            _ => format!("{} is saved.", self.name),
        };
        (format!("{PATH}/{}", self.id), words)
    }

    fn aside(sheet: &Sheet<Self>) -> Option<Markup> {
        Some(worksheet(&sheet.draft, &sheet.errors))
    }
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
            p.notice.warn { "No machines yet, so machine time can’t be costed." }
        } @else {
            table.cells {
                thead { tr {
                    th scope="col" { "Machine" } th scope="col" { "Kind" } th.number scope="col" { "Rate an hour" }
                    th scope="col" { "From" } th scope="col" { "In use" }
                } }
                tbody {
                    @for machine in &all {
                        tr {
                            th scope="row" { a href={ "/shop/machines/" (machine.id) } { (machine.name) } }
                            td data-label="Kind" { (machine.kind) }
                            td.number data-label="Rate an hour" {
                                @match machine.hourly() { Ok(rate) => (rate), Err(_) => "no rate" }
                            }
                            td data-label="From" {
                                @if machine.agreed_rate.is_some() { "own rate" } @else { "worksheet" }
                            }
                            td data-label="In use" { @if machine.active { "Yes" } @else { span.tag { "No" } } }
                        }
                    }
                }
            }
            p.muted { "Where there are several of a kind, work is costed at the dearest, so the price holds whichever is free." }
        }
        @if !missing.is_empty() {
            p.notice.warn { "Standard times need these kinds, but no machine of them is in use: " (missing.join(", ")) ". Add one, or that work can’t be costed." }
        }
    };
    Ok(Page::new(&who, "Machines")
        .nav(Section::Shop)
        .body(body)
        .into())
}

/// The rate and its lines, from what stands in the form.
fn worksheet(machine: &Machine, errors: &FormErrors) -> Markup {
    let reads = WORKSHEET.iter().all(|field| errors.get(field).is_none());
    let worked = machine.worksheet.per_hour().ok().filter(|_| reads);
    html! {
        section.card #worksheet aria-labelledby="worksheet-title" aria-live="polite" {
            h2 #worksheet-title { "Rate an hour" }
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
                    @if let Some(agreed) = machine.agreed_rate {
                        p { "Charged at your own rate of " strong { (agreed) } " instead." }
                    }
                }
                None => { p { "Fill in every figure of the worksheet to see the rate." } }
            }
        }
    }
}
