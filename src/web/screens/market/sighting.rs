//! Recording a sighting, correcting it, saying what became of it.

use super::{path, today};
use crate::castings::Variant;
use crate::db::people::Role;
use crate::db::{DbError, castings, sightings};
use crate::sourcing::{Fate, Sighting};
use crate::units::{Code, Currency};
use crate::web::ui::forms::Choice;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/market/sightings/{id}")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    )
    .route("/market/sightings/{id}/remove", web::post().to(remove))
    .route("/market/{variant_id}/new", web::get().to(blank));
}

/// A sighting as typed; also what the JSON interface is read through, so that both complain alike.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct SightingForm {
    /// Day it was seen.
    pub seen_on: String,
    /// Where.
    pub place: String,
    /// Asked price; empty when none was named.
    pub asked: String,
    /// Currency of the asked price; empty means the shop's.
    pub currency: String,
    /// Condition in words.
    pub condition: String,
    /// `yes` or `no`.
    pub acceptable: String,
    /// Code of what became of it.
    pub fate: String,
    /// Version the editor saw.
    pub version: String,
}

impl SightingForm {
    fn blank(today: NaiveDate, currency: Currency) -> Self {
        Self {
            seen_on: today.to_string(),
            currency: currency.code().to_owned(),
            acceptable: "yes".to_owned(),
            fate: Fate::Open.code().to_owned(),
            ..Self::default()
        }
    }

    fn of(sighting: &Sighting, currency: Currency) -> Self {
        let currency = sighting.asked.map_or(currency, |money| money.currency());
        Self {
            seen_on: sighting.seen_on.to_string(),
            place: sighting.place.clone(),
            asked: sighting
                .asked
                .map(|money| money.amount().normalize().to_string())
                .unwrap_or_default(),
            currency: currency.code().to_owned(),
            condition: sighting.condition.clone(),
            acceptable: if sighting.acceptable { "yes" } else { "no" }.to_owned(),
            fate: sighting.fate.code().to_owned(),
            version: sighting.version.to_string(),
        }
    }

    /// Reads it into the sighting `id` of a variant; `today` and `currency` are the shop's.
    pub fn read(
        &self,
        errors: &mut FormErrors,
        id: Uuid,
        variant_id: Uuid,
        today: NaiveDate,
        currency: Currency,
    ) -> Option<Sighting> {
        let seen_on = errors.date("seen_on", &self.seen_on).and_then(|day| {
            if day > today {
                errors.add("seen_on", "That day is still to come");
            }
            (day <= today).then_some(day)
        });
        let place = errors.required_text("place", &self.place, 200);
        let currency = if self.currency.trim().is_empty() {
            Some(currency)
        } else {
            errors.parsed("currency", &self.currency, Currency::from_code)
        };
        let asked = errors.optional(&self.asked, |errors| {
            let money = errors.money("asked", &self.asked, currency?)?;
            if money.amount().is_zero() {
                errors.add("asked", "Leave this empty when no price was named");
                return None;
            }
            Some(money)
        });
        let condition = errors.text("condition", &self.condition, 1000);
        let acceptable = errors.choice("acceptable", &self.acceptable, |word| match word {
            "yes" => Some(true),
            "no" => Some(false),
            _ => None,
        });
        let fate = errors.choice("fate", &self.fate, Fate::from_code);
        currency?;
        Some(Sighting {
            id,
            variant_id,
            seen_on: seen_on?,
            place: place?,
            asked: asked?,
            condition: condition?,
            acceptable: acceptable?,
            fate: fate?,
            version: self.version.trim().parse().unwrap_or_default(),
        })
    }
}

async fn blank(who: SignedIn, variant_id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let variant = castings::variant(&mut tx, *variant_id).await?;
    let form = SightingForm::blank(today(&who), who.shop.currency);
    Ok(new_page(&who, &variant, &form, &FormErrors::default()).into())
}

pub async fn add(
    who: SignedIn,
    variant_id: web::Path<Uuid>,
    form: CheckedForm<SightingForm>,
) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let variant = castings::variant(&mut tx, *variant_id).await?;
    let read = form.read(
        &mut errors,
        Uuid::now_v7(),
        variant.id,
        today(&who),
        who.shop.currency,
    );
    let Some(sighting) = read else {
        return Ok(new_page(&who, &variant, &form, &errors).invalid().into());
    };
    sightings::insert(&mut tx, &sighting).await?;
    tx.commit().await?;
    Ok(Reply::see_other(path(variant.id)).flash("The sighting is recorded."))
}

fn new_page(who: &SignedIn, variant: &Variant, form: &SightingForm, errors: &FormErrors) -> Page {
    let title = format!("Seen for sale: {}", variant.name);
    let body = html! {
        h1 { (title) }
        (errors.summary())
        form.grid method="post" action=(path(variant.id)) novalidate {
            (csrf_field(who))
            (fields(form, errors))
            div.actions {
                button type="submit" { "Record" }
                a.button.quiet href=(path(variant.id)) { "Cancel" }
            }
        }
    };
    Page::new(who, title).nav(Section::Market).body(body)
}

fn fields(form: &SightingForm, errors: &FormErrors) -> Markup {
    let fates = Fate::ALL
        .iter()
        .map(|fate| Choice::new(fate.code(), fate.words()))
        .collect();
    let yes_no = vec![
        Choice::new("yes", "Yes, had one been needed"),
        Choice::new("no", "No"),
    ];
    html! {
        (Field::date("seen_on", "Day it was seen", &form.seen_on).errors(errors))
        (Field::text("place", "Where", &form.place).hint("Who offers it, or where it was advertised").errors(errors))
        (Field::decimal("asked", "Asked price", &form.asked).optional().hint("Empty when no price was named").errors(errors))
        (Field::text("currency", "Currency", &form.currency).hint("ISO 4217 code, e.g. GBP or EUR").errors(errors))
        (Field::textarea("condition", "Condition", &form.condition, 2).optional().errors(errors))
        (Field::radios("acceptable", "Worth having at that price?", &form.acceptable, yes_no).errors(errors))
        (Field::select("fate", "What became of it", &form.fate, fates).errors(errors))
    }
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let stored = sightings::get(&mut tx, *id).await?;
    let variant = castings::variant(&mut tx, stored.variant_id).await?;
    let form = SightingForm::of(&stored, who.shop.currency);
    Ok(edit_page(
        &who,
        &variant,
        stored.id,
        &form,
        &FormErrors::default(),
        &html! {},
    )
    .into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<SightingForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let stored = sightings::get(&mut tx, *id).await?;
    let variant = castings::variant(&mut tx, stored.variant_id).await?;
    let read = form.read(
        &mut errors,
        stored.id,
        variant.id,
        today(&who),
        who.shop.currency,
    );
    let Some(sighting) = read else {
        return Ok(
            edit_page(&who, &variant, stored.id, &form, &errors, &html! {})
                .invalid()
                .into(),
        );
    };
    match sightings::update(&mut tx, &sighting).await {
        Ok(()) => {
            tx.commit().await?;
            Ok(Reply::see_other(path(variant.id)).flash("The sighting is saved."))
        }
        Err(DbError::Stale(_)) => {
            let stored = sightings::get(&mut tx, stored.id).await?;
            let page = stale(&who, &variant, &stored, &form);
            Ok(page.status(StatusCode::CONFLICT).into())
        }
        Err(error) => Err(error.into()),
    }
}

/// The form again, with what someone else stored beside what was typed.
fn stale(who: &SignedIn, variant: &Variant, stored: &Sighting, form: &SightingForm) -> Page {
    let now = SightingForm::of(stored, who.shop.currency);
    let fate =
        |code: &str| Fate::from_code(code).map_or(String::new(), |fate| fate.words().to_owned());
    let changed: Vec<Changed> = [
        Changed::if_differs("Day", &now.seen_on, &form.seen_on),
        Changed::if_differs("Where", &now.place, &form.place),
        Changed::if_differs("Asked price", &now.asked, &form.asked),
        Changed::if_differs("Currency", &now.currency, &form.currency),
        Changed::if_differs("Condition", &now.condition, &form.condition),
        Changed::if_differs("Worth having", &now.acceptable, &form.acceptable),
        Changed::if_differs("What became of it", &fate(&now.fate), &fate(&form.fate)),
    ]
    .into_iter()
    .flatten()
    .collect();
    let mine = SightingForm {
        version: now.version,
        ..form.clone()
    };
    let notice = stale_notice("The sighting", &changed);
    edit_page(
        who,
        variant,
        stored.id,
        &mine,
        &FormErrors::default(),
        &notice,
    )
}

fn edit_page(
    who: &SignedIn,
    variant: &Variant,
    id: Uuid,
    form: &SightingForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let here = format!("/market/sightings/{id}");
    let title = format!("A sighting of {}", variant.name);
    let body = html! {
        h1 { (title) }
        (notice)
        (errors.summary())
        form.grid method="post" action=(here) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (fields(form, errors))
            div.actions {
                button type="submit" { "Save" }
                a.button.quiet href=(path(variant.id)) { "Cancel" }
            }
        }
        details {
            summary { "It was entered by mistake" }
            p { "Taking it out changes what all of them say. One that was sold or passed over is no mistake: say so above instead." }
            form method="post" action={ (here) "/remove" } {
                (csrf_field(who))
                input type="hidden" name="version" value=(form.version);
                button.danger type="submit" { "Take it out" }
            }
        }
    };
    Page::new(who, title).nav(Section::Market).body(body)
}

async fn remove(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<SightingForm>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let stored = sightings::get(&mut tx, *id).await?;
    sightings::delete(&mut tx, stored.id, form.version.parse().unwrap_or_default()).await?;
    tx.commit().await?;
    Ok(Reply::see_other(path(stored.variant_id)).flash("The sighting is taken out."))
}
