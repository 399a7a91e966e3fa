//! The shop's settings: its pricing policy, its clock, the units its screens show.

use crate::db::people::Role;
use crate::db::settings::{self, Settings};
use crate::db::{DbError, ShopTx};
use crate::units::{LengthUnit, Money};
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::{Decimal, dec};
use uuid::Uuid;

const PATH: &str = "/shop/settings";

/// `/shop/settings`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<ShopSheet>(cfg);
}

/// The settings of a shop.
#[derive(Debug, Clone)]
pub(super) struct ShopSheet {
    shop_id: Uuid,
    settings: Settings,
}

impl Record for ShopSheet {
    type Around = Settings;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Owner;
    const TABLE: &'static str = "shop";
    const PATHS: Paths = Paths {
        new: "",
        add: "",
        edit: PATH,
        delete: "",
        copy: "",
    };
    const API: Api = Api::single("settings", "/api/v1/settings");

    async fn load(tx: &mut ShopTx, who: &SignedIn, _: &At) -> Result<Self, WebError> {
        Ok(Self {
            shop_id: who.scope.shop_id,
            settings: settings::get(tx).await?,
        })
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(settings::get(tx).await?)
    }

    fn blank(settings: &Settings, who: &SignedIn, _: &At) -> Self {
        Self {
            shop_id: who.scope.shop_id,
            settings: settings.clone(),
        }
    }

    fn fields(_: &Settings, who: &SignedIn, _: bool) -> Fields<Self> {
        // What a policy may be is the policy's to say, in the check.
        let percent = || Decimal::NEGATIVE_ONE..=Decimal::ONE_THOUSAND;
        let mut f = Fields::<Self>::new(who);
        f.heading("Pricing");
        f.decimal(
            "overhead_percent",
            "Overhead",
            percent(),
            at!(settings.policy.overhead_percent),
        )
        .unit("% of cost")
        .hint("What the shop spends that no machine’s or person’s hour carries");
        f.decimal(
            "margin_percent",
            "Margin",
            percent(),
            at!(settings.policy.margin_percent),
        )
        .unit("% of price")
        .hint("A share of the selling price, not a mark-up on cost");
        f.int(
            "confidence_percent",
            "Confidence",
            0..=100,
            at!(settings.policy.confidence_percent),
        )
        .unit("%")
        .hint("How sure you want to be of a quoted price and day");
        f.text("tax_name", "Name of the tax", 40, at!(settings.tax_name));
        f.decimal(
            "tax_percent",
            "Tax",
            percent(),
            at!(settings.policy.tax_percent),
        )
        .unit("%");
        f.int(
            "quote_valid_days",
            "Quotes are valid for",
            1..=365,
            at!(settings.quote_valid_days),
        )
        .unit("days");
        f.heading("The shop");
        f.text("name", "Name", 80, at!(settings.name));
        f.value(
            Field::text("time_zone", "Time zone", "").suggestions("zones"),
            at!(settings.time_zone),
            |zone: &chrono_tz::Tz| zone.name().to_owned(),
            |errors, name, raw| {
                errors.parsed(name, raw, |text| {
                    text.parse::<chrono_tz::Tz>()
                        .map_err(|_| "Choose a time zone from the list, like Europe/London")
                })
            },
        );
        let units = vec![
            Choice::new("mm", "Millimetres"),
            Choice::new("inch", "Inches"),
        ];
        f.code::<LengthUnit, _>(
            Field::radios("length_unit", "Lengths in", "", units),
            at!(settings.length_unit),
        );
        f.between(html! {
            p.wide { "Money is in " strong { (who.shop.currency.code()) } ". It was chosen when the shop was set up and stays: every stored amount is in it." }
            datalist #zones { @for zone in chrono_tz::TZ_VARIANTS { option value=(zone.name()) {} } }
        });
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.settings.version
    }

    fn key(&self) -> Uuid {
        self.shop_id
    }

    fn check(&mut self, _: &Settings, _: &SignedIn, errors: &mut FormErrors) {
        if errors.is_empty() {
            for (field, message) in self.settings.policy.faults() {
                errors.add(field, message);
            }
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        self.update(tx).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        settings::update(tx, &self.settings).await
    }

    fn words(&self, _: &Settings, _: bool) -> Words {
        Words {
            title: "Settings".to_owned(),
            ..Words::of(false, "", "The settings", "/shop")
        }
    }

    fn done(&self, _: Done, _: &Sheet<Self>) -> (String, String) {
        (PATH.to_owned(), "The settings are saved.".to_owned())
    }

    fn below(sheet: &Sheet<Self>) -> Markup {
        example(&sheet.around)
    }
}

/// What the policy does to a round cost, so that margin is not taken for a mark-up.
fn example(stored: &Settings) -> Markup {
    let policy = &stored.policy;
    let cost = Money::new(dec!(1000), stored.currency);
    let steps = || -> Result<_, crate::units::MoneyError> {
        let overhead = cost.percent(policy.overhead_percent)?.rounded();
        let net = policy.price(cost)?.rounded();
        let margin = net.minus(cost)?.minus(overhead)?;
        let tax = net.percent(policy.tax_percent)?.rounded();
        Ok((overhead, margin, net, tax, net.plus(tax)?))
    };
    html! {
        @if let Ok((overhead, margin, net, tax, gross)) = steps() {
            section.card.example aria-labelledby="example" {
                h2 #example { "What that does to a price" }
                table.cells.sum {
                    tbody {
                        tr { th scope="row" { "Cost, with its contingency" } td.number { (cost) } }
                        tr { th scope="row" { "Overhead, " (policy.overhead_percent.normalize()) " % of cost" } td.number { (overhead) } }
                        tr { th scope="row" { "Margin, " (policy.margin_percent.normalize()) " % of the price" } td.number { (margin) } }
                    }
                    tfoot {
                        tr { th scope="row" { "Price" } td.number { (net) } }
                        tr { th scope="row" { (stored.tax_name) ", " (policy.tax_percent.normalize()) " %" } td.number { (tax) } }
                        tr { th scope="row" { "The customer pays" } td.number { (gross) } }
                    }
                }
            }
        }
    }
}
