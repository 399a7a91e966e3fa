//! How work varies: the shares and rates that prices, ready days and chances are drawn from.

use crate::db::people::Role;
use crate::db::settings::{self, Settings};
use crate::db::{DbError, ShopTx};
use crate::estimating::Variation;
use crate::web::ui::record::{self, Api, At, Done, Fields, Lens, Paths, Record, Sheet, Words, at};
use crate::web::ui::{FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use uuid::Uuid;

const PATH: &str = "/shop/variation";

/// `/shop/variation`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<VariationSheet>(cfg);
}

/// How work varies in a shop, with the version of its settings.
#[derive(Debug, Clone)]
pub(super) struct VariationSheet {
    shop_id: Uuid,
    variation: Variation,
    version: i32,
}

type Figure = Lens<VariationSheet, Decimal>;

/// A field of the form: its name, its label, its unit, what it means, where it is kept.
type Line = (
    &'static str,
    &'static str,
    &'static str,
    &'static str,
    Figure,
);

/// What differs from the standard times.
const TIMES: [Line; 6] = [
    (
        "level_percent",
        "Work takes",
        "% of standard",
        "110 when your standard times are ten per cent short",
        at!(variation.level_percent),
    ),
    (
        "shop_percent",
        "How much the whole shop differs",
        "%",
        "From one month to another, for all work alike",
        at!(variation.shop_percent),
    ),
    (
        "person_percent",
        "How much people differ",
        "%",
        "One is quicker than another at the same work",
        at!(variation.person_percent),
    ),
    (
        "element_percent",
        "How much kinds of work differ",
        "%",
        "A standard time may be short for one kind of work and long for another",
        at!(variation.element_percent),
    ),
    (
        "job_percent",
        "How much whole jobs differ",
        "%",
        "One casting gives trouble from first to last",
        at!(variation.job_percent),
    ),
    (
        "outside_percent",
        "How much deliveries differ",
        "%",
        "Outside work and parts, against the days you were given",
        at!(variation.outside_percent),
    ),
];

/// What happens in between.
const EVENTS: [Line; 5] = [
    (
        "absence_percent",
        "Days off sick",
        "% of days",
        "Booked holidays are under Hours",
        at!(variation.absence_percent),
    ),
    (
        "breakdown_hours",
        "Hours between breakdowns",
        "h",
        "Running hours of one machine; 0 for never",
        at!(variation.breakdown_hours),
    ),
    (
        "repair_hours",
        "A repair takes",
        "h",
        "Working hours",
        at!(variation.repair_hours),
    ),
    (
        "rework_percent",
        "Work done again",
        "% of operations",
        "Out of a hundred operations, how many are done again",
        at!(variation.rework_percent),
    ),
    (
        "rework_share_percent",
        "Doing it again takes",
        "% of its time",
        "",
        at!(variation.rework_share_percent),
    ),
];

impl Record for VariationSheet {
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
    const API: Api = Api::single("variation", "/api/v1/variation");

    async fn load(tx: &mut ShopTx, who: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(Self::blank(&settings::get(tx).await?, who, at))
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(settings::get(tx).await?)
    }

    fn blank(stored: &Settings, who: &SignedIn, _: &At) -> Self {
        Self {
            shop_id: who.scope.shop_id,
            variation: stored.variation.clone(),
            version: stored.version,
        }
    }

    fn fields(_: &Settings, who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.heading("Times");
        lines(&mut f, TIMES);
        f.heading("What gets in the way");
        lines(&mut f, EVENTS);
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.shop_id
    }

    fn check(&mut self, _: &Settings, _: &SignedIn, errors: &mut FormErrors) {
        if errors.is_empty() {
            for (field, message) in self.variation.faults() {
                errors.add(field, message);
            }
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        self.update(tx).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        settings::update_variation(tx, &self.variation, self.version).await
    }

    fn words(&self, _: &Settings, _: bool) -> Words {
        Words {
            title: "How work varies".to_owned(),
            ..Words::of(false, "", "The settings", "/shop")
        }
    }

    fn done(&self, _: Done, _: &Sheet<Self>) -> (String, String) {
        let words = "Saved. Chances and ready days are worked out with it from now on.";
        (PATH.to_owned(), words.to_owned())
    }

    fn lead(_: &Sheet<Self>) -> Markup {
        html! {
            p {
                "Prices, ready days and chances are worked out with these figures. "
                "At 10 %, two times out of three the work takes between 10 % less and 10 % more. "
                "The figures to begin with are common practice: " a href="/review/spread" { "see what your bookings say" } "."
            }
        }
    }
}

fn lines<const N: usize>(f: &mut Fields<VariationSheet>, lines: [Line; N]) {
    for (name, label, unit, hint, lens) in lines {
        // What each may be is the model's to say, in the check.
        let any = Decimal::NEGATIVE_ONE..=Decimal::from(1_000_000);
        f.decimal(name, label, any, lens).unit(unit);
        if !hint.is_empty() {
            f.hint(hint);
        }
    }
}
