//! What an hour of people costs, by skill.

use crate::db::people::Role;
use crate::db::{DbError, ShopTx, history as changes, machines, people, standards};
use crate::estimating::LabourRate;
use crate::units::Money;
use crate::web::ui::history;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::BTreeSet;
use uuid::Uuid;

/// `/shop/rates`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/rates")
            .route(web::get().to(list))
            .route(web::post().to(add)),
    )
    .route("/shop/rates/new", web::get().to(blank))
    .service(
        web::resource("/shop/rates/{id}")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    )
    .route("/shop/rates/{id}/delete", web::post().to(delete));
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct RateForm {
    skill: String,
    hourly: String,
    version: String,
}

impl RateForm {
    fn of(rate: &LabourRate) -> Self {
        Self {
            skill: rate.skill.clone().unwrap_or_default(),
            hourly: amount(rate.hourly),
            version: rate.version.to_string(),
        }
    }

    fn read(&self, who: &SignedIn, id: Uuid, errors: &mut FormErrors) -> Option<LabourRate> {
        let skill = errors.text("skill", &self.skill, 60);
        let hourly = errors.money("hourly", &self.hourly, who.shop.currency);
        Some(LabourRate {
            id,
            skill: Some(skill?.to_lowercase()).filter(|skill| !skill.is_empty()),
            hourly: hourly?,
            version: self.version.parse().unwrap_or_default(),
        })
    }
}

/// An amount as it is typed.
pub(super) fn amount(money: Money) -> String {
    let digits = money.currency().minor_digits();
    let mut exact = money.amount().normalize();
    if exact.scale() < digits {
        exact.rescale(digits);
    }
    exact.to_string()
}

/// Skills that elements ask for or people have.
pub(super) async fn skills(tx: &mut ShopTx) -> Result<BTreeSet<String>, DbError> {
    let mut skills: BTreeSet<String> = BTreeSet::new();
    for person in people::list(tx).await?.into_iter().filter(|p| p.active) {
        skills.extend(person.skills);
    }
    skills.extend(standards::list(tx).await?.into_iter().map(|e| e.skill));
    Ok(skills)
}

fn label(rate: &LabourRate) -> &str {
    rate.skill.as_deref().unwrap_or("Every other skill")
}

async fn list(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let rates = machines::labour_rates(&mut tx).await?;
    let without: Vec<String> = skills(&mut tx)
        .await?
        .into_iter()
        .filter(|skill| !rates.iter().any(|r| r.skill.as_ref() == Some(skill)))
        .collect();
    let body = html! {
        div.bar {
            h1 { "People's rates" }
            @if who.may(Role::Owner) {
                a.button href="/shop/rates/new" data-key="n" data-key-label="Add a rate" { "Add a rate" }
            }
        }
        p.lead { "What an hour of a person costs the shop, wages and all that comes with them, by the skill the work needs." }
        @if rates.is_empty() {
            p.notice.warn { "No rate is set, so nothing can be costed yet. Start with one for every skill." }
        } @else {
            table.cells {
                thead { tr { th scope="col" { "Skill" } th.number scope="col" { "An hour" } } }
                tbody {
                    @for rate in &rates {
                        tr {
                            th scope="row" { a href={ "/shop/rates/" (rate.id) } { (label(rate)) } }
                            td.number data-label="An hour" { (rate.hourly) }
                        }
                    }
                }
            }
            @if !without.is_empty() {
                p.muted { "Without a rate of their own: " (without.join(", ")) "." }
            }
        }
    };
    Ok(Page::new(&who, "People's rates")
        .nav(Section::Shop)
        .body(body)
        .into())
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let suggested = skills(&mut tx).await?;
    Ok(new_page(
        &who,
        &suggested,
        &RateForm::default(),
        &FormErrors::default(),
    )
    .into())
}

async fn add(who: SignedIn, form: CheckedForm<RateForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let suggested = skills(&mut tx).await?;
    if let Some(rate) = form.read(&who, Uuid::now_v7(), &mut errors) {
        match machines::insert_labour_rate(&mut tx, &rate).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other("/shop/rates").flash(format!(
                    "{} an hour for {}.",
                    rate.hourly,
                    label(&rate)
                )));
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(new_page(&who, &suggested, &form, &errors).invalid().into())
}

fn fields(
    who: &SignedIn,
    suggested: &BTreeSet<String>,
    form: &RateForm,
    errors: &FormErrors,
) -> Markup {
    html! {
        (Field::text("skill", "Skill", &form.skill).optional().suggestions("skills")
            .hint("Leave it empty for every skill without a rate of its own").errors(errors))
        (Field::money("hourly", "An hour costs", &form.hourly, who.shop.currency).errors(errors))
        datalist #skills { @for skill in suggested { option value=(skill) {} } }
    }
}

fn new_page(
    who: &SignedIn,
    suggested: &BTreeSet<String>,
    form: &RateForm,
    errors: &FormErrors,
) -> Page {
    let body = html! {
        h1 { "Add a rate" }
        (errors.summary())
        form.grid method="post" action="/shop/rates" novalidate {
            (csrf_field(who))
            (fields(who, suggested, form, errors))
            div.actions { button type="submit" { "Add" } a.button.quiet href="/shop/rates" { "Cancel" } }
        }
    };
    Page::new(who, "Add a rate").nav(Section::Shop).body(body)
}

async fn find(tx: &mut ShopTx, id: Uuid) -> Result<LabourRate, DbError> {
    let rates = machines::labour_rates(tx).await?;
    let found = rates.into_iter().find(|rate| rate.id == id);
    found.ok_or(DbError::NotFound("the rate"))
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let rate = find(&mut tx, *id).await?;
    let form = RateForm::of(&rate);
    page(
        &who,
        &mut tx,
        &rate,
        &form,
        &FormErrors::default(),
        &html! {},
    )
    .await
    .map(Into::into)
    .map_err(Into::into)
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<RateForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let stored = find(&mut tx, *id).await?;
    if let Some(wanted) = form.read(&who, stored.id, &mut errors) {
        match machines::update_labour_rate(&mut tx, &wanted).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other("/shop/rates").flash(format!(
                    "{} an hour for {}.",
                    wanted.hourly,
                    label(&wanted)
                )));
            }
            Err(DbError::Stale(_)) => {
                let now = RateForm::of(&stored);
                let changed: Vec<Changed> = [
                    Changed::if_differs("Skill", &now.skill, &form.skill),
                    Changed::if_differs("An hour costs", &now.hourly, &form.hourly),
                ]
                .into_iter()
                .flatten()
                .collect();
                let mine = RateForm {
                    version: now.version,
                    ..(*form).clone()
                };
                let notice = stale_notice(label(&stored), &changed);
                let page = page(&who, &mut tx, &stored, &mine, &errors, &notice).await?;
                return Ok(page.status(StatusCode::CONFLICT).into());
            }
            Err(error) => errors.absorb(error)?,
        }
        // A statement that failed leaves the transaction unusable.
        tx = who.begin().await?;
    }
    let page = page(&who, &mut tx, &stored, &form, &errors, &html! {}).await?;
    Ok(page.invalid().into())
}

async fn delete(who: SignedIn, id: web::Path<Uuid>, _: CheckedForm<RateForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    machines::delete_labour_rate(&mut tx, *id).await?;
    tx.commit().await?;
    Ok(Reply::see_other("/shop/rates").flash("The rate is deleted."))
}

async fn page(
    who: &SignedIn,
    tx: &mut ShopTx,
    stored: &LabourRate,
    form: &RateForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Result<Page, DbError> {
    let may = who.may(Role::Owner);
    let path = format!("/shop/rates/{}", stored.id);
    let suggested = skills(tx).await?;
    let past = changes::of_row(tx, "labour_rate", stored.id).await?;
    let body = html! {
        h1 { (label(stored)) }
        (notice)
        (errors.summary())
        @if !may { (super::read_only()) }
        form.grid method="post" action=(path) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            fieldset.plain.wide disabled[!may] {
                (fields(who, &suggested, form, errors))
                @if may {
                    div.actions {
                        button type="submit" { "Save" }
                        a.button.quiet href="/shop/rates" { "Cancel" }
                        button.quiet.danger type="submit" formaction={ (path) "/delete" } { "Delete" }
                    }
                }
            }
        }
        (history::section(who, &past))
    };
    Ok(Page::new(who, label(stored).to_owned())
        .nav(Section::Shop)
        .body(body))
}
