//! The tracking of a variant on the market: since when, and the shop's own opinion.

use super::path;
use crate::castings::Variant;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, castings, settings, sightings};
use crate::sourcing::{WIDEST_FACTOR, Watch};
use crate::units::Money;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use uuid::Uuid;

pub fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<WatchSheet>(cfg);
}

/// A watch; its version is 0 while none is kept.
#[derive(Debug, Clone)]
pub(super) struct WatchSheet {
    watch: Watch,
}

/// The variant, its weight in kg, and what carriage of it costs by weight.
#[derive(Debug, Clone)]
pub(super) struct Around {
    variant: Variant,
    weight: Option<Decimal>,
    carriage: Option<Money>,
}

impl Around {
    async fn read(tx: &mut ShopTx, variant_id: Uuid) -> Result<Self, DbError> {
        let variant = castings::variant(tx, variant_id).await?;
        let weight = castings::pattern(tx, variant.pattern_id).await?.weight_kg;
        let carriage = settings::get(tx).await?.selling.carriage(weight);
        Ok(Self {
            variant,
            weight,
            carriage,
        })
    }

    /// A new watch, with the carriage by weight where it is known.
    fn watch(&self, who: &SignedIn) -> Watch {
        let new = Watch::new(self.variant.id, who.today(), who.shop.currency);
        Watch {
            carriage: self.carriage.unwrap_or(new.carriage),
            ..new
        }
    }
}

impl Record for WatchSheet {
    type Around = Around;
    const NAV: Section = Section::Market;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "",
        add: "",
        edit: "/market/{parent}/watch",
        delete: "",
        copy: "",
    };
    const API: Api = Api::single("watch", "/api/v1/variants/{parent}/watch");

    async fn load(tx: &mut ShopTx, who: &SignedIn, at: &At) -> Result<Self, WebError> {
        let around = Around::read(tx, at.parent).await?;
        let watch = match sightings::watch(tx, around.variant.id).await? {
            Some(watch) => watch,
            None => Watch {
                version: 0,
                ..around.watch(who)
            },
        };
        Ok(Self { watch })
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        at: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(Around::read(tx, at.parent).await?)
    }

    fn blank(around: &Around, who: &SignedIn, _: &At) -> Self {
        Self {
            watch: around.watch(who),
        }
    }

    fn fields(around: &Around, who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.heading("How long");
        f.date("since", "Tracked since", at!(watch.since))
            .hint("The first day you would have noticed one for sale");
        f.int(
            "likely_wait_days",
            "Likely wait",
            1..=36_500,
            at!(watch.likely_wait_days),
        )
        .unit("days")
        .hint("Half of the time one turns up sooner, half of the time later");
        f.int(
            "offer_days",
            "An offer stays open",
            1..=3650,
            at!(watch.offer_days),
        )
        .unit("days")
        .hint("On average, before it is sold to someone else");
        f.heading("Price");
        f.money("likely_price", "Likely price", at!(watch.likely_price))
            .hint("Leave empty to go by the prices seen");
        let factor = Decimal::new(105, 2)..=WIDEST_FACTOR;
        f.decimal(
            "price_factor",
            "How far out it may be",
            factor,
            at!(watch.price_factor),
        )
        .unit("times")
        .hint("2 means: 80 % of the time it is between half and twice the likely price");
        f.money("carriage", "Carriage of one", at!(watch.carriage));
        if let (Some(carriage), Some(kg)) = (around.carriage, around.weight) {
            f.hint(&format!(
                "By the terms of sale, for {} kg: {carriage}",
                kg.normalize()
            ));
        }
        f.heading("Chance it is sound, and time spent looking");
        f.int(
            "good_percent",
            "Chance it is sound",
            1..=99,
            at!(watch.good_percent),
        )
        .unit("%");
        f.int(
            "carriage_days",
            "Buying to inspected",
            0..=365,
            at!(watch.carriage_days),
        )
        .unit("days")
        .hint("From paying for one to knowing whether it is sound");
        let week = Decimal::ZERO..=Decimal::from(168);
        f.decimal(
            "search_hours_a_week",
            "Time spent looking",
            week,
            at!(watch.search_hours_a_week),
        )
        .unit("h a week")
        .hint("Charged like any other hour");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.watch.version
    }

    fn key(&self) -> Uuid {
        self.watch.variant_id
    }

    fn check(&mut self, _: &Around, who: &SignedIn, errors: &mut FormErrors) {
        if self.watch.since > who.today() {
            errors.add("since", "Enter today or an earlier day");
        }
        if self
            .watch
            .likely_price
            .is_some_and(|price| price.amount().is_zero())
        {
            errors.add("likely_price", "Enter an amount above 0, or leave it empty");
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        sightings::keep_watch(tx, &self.watch, None).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        let seen = Some(self.watch.version).filter(|version| *version > 0);
        sightings::keep_watch(tx, &self.watch, seen).await
    }

    fn words(&self, around: &Around, _: bool) -> Words {
        Words {
            title: format!("Tracking {}", around.variant.name),
            ..Words::of(false, "", "the tracking", &path(around.variant.id))
        }
    }

    fn done(&self, _: Done, sheet: &Sheet<Self>) -> (String, String) {
        (
            path(sheet.around.variant.id),
            "The tracking is saved.".to_owned(),
        )
    }

    fn lead(_: &Sheet<Self>) -> Markup {
        html! {
            p.lead {
                "Your own estimate before much has been seen. Your wait and price count as much as one sighting, the chance "
                "that one is sound as much as two bought ones: what is really seen soon outweighs them."
            }
        }
    }
}
