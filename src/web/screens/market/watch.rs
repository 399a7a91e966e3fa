//! The watch on a variant: since when, and the shop's own opinion.

use super::{path, today};
use crate::castings::Variant;
use crate::db::people::Role;
use crate::db::{DbError, castings, sightings};
use crate::sourcing::Watch;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;
use uuid::Uuid;

pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/market/{variant_id}/watch")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    );
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct WatchForm {
    since: String,
    likely_wait_days: String,
    likely_price: String,
    price_factor: String,
    good_percent: String,
    search_hours_a_week: String,
    carriage: String,
    carriage_days: String,
    offer_days: String,
    /// Empty when no watch was kept.
    version: String,
}

impl WatchForm {
    fn of(watch: &Watch, kept: bool) -> Self {
        let plain = |amount: Decimal| amount.normalize().to_string();
        Self {
            since: watch.since.to_string(),
            likely_wait_days: watch.likely_wait_days.to_string(),
            likely_price: watch
                .likely_price
                .map(|money| plain(money.amount()))
                .unwrap_or_default(),
            price_factor: plain(watch.price_factor),
            good_percent: watch.good_percent.to_string(),
            search_hours_a_week: plain(watch.search_hours_a_week),
            carriage: plain(watch.carriage.amount()),
            carriage_days: watch.carriage_days.to_string(),
            offer_days: watch.offer_days.to_string(),
            version: if kept {
                watch.version.to_string()
            } else {
                String::new()
            },
        }
    }

    fn read(
        &self,
        errors: &mut FormErrors,
        who: &SignedIn,
        variant_id: Uuid,
        today: NaiveDate,
    ) -> Option<Watch> {
        let currency = who.shop.currency;
        let since = errors.date("since", &self.since).and_then(|day| {
            if day > today {
                errors.add("since", "That day is still to come");
            }
            (day <= today).then_some(day)
        });
        let mut days = |field: &str, raw: &str, from: i64, to: i64| {
            let days = errors.int(field, raw, from..=to)?;
            u32::try_from(days).ok()
        };
        let likely_wait_days = days("likely_wait_days", &self.likely_wait_days, 1, 36_500);
        let good_percent = days("good_percent", &self.good_percent, 1, 99);
        let carriage_days = days("carriage_days", &self.carriage_days, 0, 365);
        let offer_days = days("offer_days", &self.offer_days, 1, 3650);
        let likely_price = errors.optional(&self.likely_price, |errors| {
            let money = errors.money("likely_price", &self.likely_price, currency)?;
            if money.amount().is_zero() {
                errors.add(
                    "likely_price",
                    "Leave this empty when there is no opinion on it",
                );
                return None;
            }
            Some(money)
        });
        let price_factor = errors.decimal(
            "price_factor",
            &self.price_factor,
            Decimal::new(105, 2)..=Decimal::from(20),
        );
        let search_hours_a_week = errors.decimal(
            "search_hours_a_week",
            &self.search_hours_a_week,
            Decimal::ZERO..=Decimal::from(168),
        );
        let carriage = errors.money("carriage", &self.carriage, currency);
        Some(Watch {
            variant_id,
            since: since?,
            likely_wait_days: likely_wait_days?,
            likely_price: likely_price?,
            price_factor: price_factor?,
            good_percent: good_percent?,
            search_hours_a_week: search_hours_a_week?,
            carriage: carriage?,
            carriage_days: carriage_days?,
            offer_days: offer_days?,
            version: self.version.trim().parse().unwrap_or_default(),
        })
    }

    /// The version the editor saw; `None` when there was no watch.
    fn seen(&self) -> Option<i32> {
        let version = self.version.trim();
        (!version.is_empty()).then(|| version.parse().unwrap_or_default())
    }
}

async fn edit(who: SignedIn, variant_id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let variant = castings::variant(&mut tx, *variant_id).await?;
    let kept = sightings::watch(&mut tx, variant.id).await?;
    let form = match &kept {
        Some(watch) => WatchForm::of(watch, true),
        None => WatchForm::of(
            &Watch::new(variant.id, today(&who), who.shop.currency),
            false,
        ),
    };
    Ok(page(&who, &variant, &form, &FormErrors::default(), &html! {}).into())
}

async fn save(who: SignedIn, variant_id: web::Path<Uuid>, form: CheckedForm<WatchForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let variant = castings::variant(&mut tx, *variant_id).await?;
    let Some(watch) = form.read(&mut errors, &who, variant.id, today(&who)) else {
        return Ok(page(&who, &variant, &form, &errors, &html! {})
            .invalid()
            .into());
    };
    match sightings::keep_watch(&mut tx, &watch, form.seen()).await {
        Ok(()) => {
            tx.commit().await?;
            Ok(Reply::see_other(path(variant.id)).flash("The watch is saved."))
        }
        Err(DbError::Stale(_)) => match sightings::watch(&mut tx, variant.id).await? {
            Some(stored) => {
                let page = stale(&who, &variant, &stored, &form);
                Ok(page.status(StatusCode::CONFLICT).into())
            }
            None => Err(DbError::NotFound("the watch").into()),
        },
        Err(error) => Err(error.into()),
    }
}

/// The form again, with what someone else stored beside what was typed.
fn stale(who: &SignedIn, variant: &Variant, stored: &Watch, form: &WatchForm) -> Page {
    let now = WatchForm::of(stored, true);
    let changed: Vec<Changed> = [
        Changed::if_differs("Watched since", &now.since, &form.since),
        Changed::if_differs("Likely wait", &now.likely_wait_days, &form.likely_wait_days),
        Changed::if_differs("Likely price", &now.likely_price, &form.likely_price),
        Changed::if_differs("How far out", &now.price_factor, &form.price_factor),
        Changed::if_differs("Good of a hundred", &now.good_percent, &form.good_percent),
        Changed::if_differs(
            "Hours a week",
            &now.search_hours_a_week,
            &form.search_hours_a_week,
        ),
        Changed::if_differs("Carriage", &now.carriage, &form.carriage),
        Changed::if_differs("Days of carriage", &now.carriage_days, &form.carriage_days),
        Changed::if_differs("Days an offer stays", &now.offer_days, &form.offer_days),
    ]
    .into_iter()
    .flatten()
    .collect();
    let mine = WatchForm {
        version: now.version,
        ..form.clone()
    };
    page(
        who,
        variant,
        &mine,
        &FormErrors::default(),
        &stale_notice("The watch", &changed),
    )
}

fn page(
    who: &SignedIn,
    variant: &Variant,
    form: &WatchForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let currency = who.shop.currency;
    let title = format!("The watch on {}", variant.name);
    let body = html! {
        h1 { (title) }
        p.lead {
            "What the shop would say before it has seen much. An opinion on wait and price counts as much as one sighting, "
            "one on how many are good as much as two bought ones: what is really seen soon outweighs it."
        }
        (notice)
        (errors.summary())
        form.grid method="post" action={ (path(variant.id)) "/watch" } novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            h2 { "How long" }
            (Field::date("since", "Watched since", &form.since)
                .hint("The first day on which one for sale would have been noticed").errors(errors))
            (Field::int("likely_wait_days", "Likely wait", &form.likely_wait_days).unit("days")
                .hint("One turns up within this time as likely as not").errors(errors))
            (Field::int("offer_days", "An offer stays open", &form.offer_days).unit("days")
                .hint("On average, before it is sold to someone else").errors(errors))
            h2 { "How dear" }
            (Field::money("likely_price", "Likely price", &form.likely_price, currency).optional()
                .hint("Without one, the prices seen must do").errors(errors))
            (Field::decimal("price_factor", "How far out it may be", &form.price_factor).unit("times")
                .hint("2: eight times in ten it is between half and twice the likely price").errors(errors))
            (Field::money("carriage", "Carriage of one", &form.carriage, currency).errors(errors))
            h2 { "How good, and what looking takes" }
            (Field::int("good_percent", "Good of a hundred bought", &form.good_percent).errors(errors))
            (Field::int("carriage_days", "Buying to inspected", &form.carriage_days).unit("days")
                .hint("From paying for one to knowing whether it is good").errors(errors))
            (Field::decimal("search_hours_a_week", "Looking takes", &form.search_hours_a_week).unit("h a week")
                .hint("While hunting, paid like any other hour").errors(errors))
            div.actions {
                button type="submit" { "Save" }
                a.button.quiet href=(path(variant.id)) { "Cancel" }
            }
        }
    };
    Page::new(who, title).nav(Section::Market).body(body)
}
