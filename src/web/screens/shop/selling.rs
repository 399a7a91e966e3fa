//! The terms of sale: what a week of waiting is worth, searches, the least margin, and how long an answer keeps.

use crate::db::people::Role;
use crate::db::settings;
use crate::db::{DbError, ShopTx};
use crate::enquiry::Selling;
use crate::enquiry::selling::ANSWER_KEEPS_MINUTES;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<Terms>(cfg);
}

/// The terms with the version of the shop's settings.
#[derive(Debug, Clone)]
pub(super) struct Terms {
    selling: Selling,
    version: i32,
}

impl Record for Terms {
    type Around = ();
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Owner;
    const PATHS: Paths = Paths {
        new: "",
        add: "",
        edit: "/shop/terms",
        delete: "",
        copy: "",
    };
    const API: Api = Api::single("terms_of_sale", "/api/v1/terms");

    async fn load(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Self, WebError> {
        let settings = settings::get(tx).await?;
        Ok(Self {
            selling: settings.selling,
            version: settings.version,
        })
    }

    async fn around(
        _: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(())
    }

    fn blank((): &(), who: &SignedIn, _: &At) -> Self {
        Self {
            selling: Selling::starting(who.shop.currency),
            version: 1,
        }
    }

    fn fields((): &(), who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.heading("Which option is best");
        f.money("week_of_waiting", "A week’s wait is worth", at!(selling.week_of_waiting))
            .hint("For each week after the day the customer needs it, an option counts as this much dearer. 0: waiting counts for nothing");
        f.heading("Searching for a casting");
        f.money("search_fee", "Search fee", at!(selling.search_fee))
            .hint("Charged whether or not one is found. 0: none");
        let percent = Decimal::ZERO..=Decimal::ONE_HUNDRED;
        f.decimal(
            "handling_percent",
            "Handling",
            percent,
            at!(selling.handling_percent),
        )
        .unit("% of cost")
        .hint("Added to the cost of castings bought for a customer");
        f.money(
            "carriage_base",
            "Carriage of a casting",
            at!(selling.carriage_base),
        )
        .hint("Whatever it weighs. Leave empty to say the carriage of each variant by hand");
        f.money(
            "carriage_per_kg",
            "Carriage, each kilogram",
            at!(selling.carriage_per_kg),
        )
        .hint("Added by the weight of the pattern");
        f.heading("Quoting");
        let least = Decimal::ZERO..=Decimal::from(95);
        f.decimal(
            "least_margin_percent",
            "Least margin",
            least,
            at!(selling.least_margin_percent),
        )
        .unit("% of price")
        .hint("Below it only the owner may quote");
        let premium = Decimal::ZERO..=Decimal::from(300);
        f.decimal(
            "overtime_percent",
            "Overtime premium",
            premium,
            at!(selling.overtime_percent),
        )
        .unit("% on a usual hour")
        .hint("To say what making a day would cost");
        f.int(
            "answer_keeps_minutes",
            "An answer keeps for",
            ANSWER_KEEPS_MINUTES,
            at!(selling.answer_keeps_minutes),
        )
        .unit("minutes")
        .hint("Quoting an older one asks first");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        self.update(tx).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        settings::update_selling(tx, &self.selling, self.version).await
    }

    fn words(&self, (): &(), _: bool) -> Words {
        Words {
            title: "Terms of sale".to_owned(),
            ..Words::of(false, "", "the terms of sale", "/shop")
        }
    }

    fn done(&self, _: Done, _: &Sheet<Self>) -> (String, String) {
        ("/shop/terms".to_owned(), "The terms are saved.".to_owned())
    }

    fn lead(_: &Sheet<Self>) -> Markup {
        html! {
            p.lead { "These are starting points. Change them to how your shop sells." }
        }
    }
}
