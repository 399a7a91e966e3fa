//! One casting: entered, corrected, inspected, written off, given back or put back.

use super::form::{CastingForm, InspectionForm};
use super::list::{Which, condition, cost, list, standing};
use super::measured;
use super::records::{Records, Typed};
use super::{inspection_words, outcome_words, ownership_words, path, source_words, state_words};
use crate::app::take_in_casting::{GoodsIn, take_in};
use crate::app::{AppError, describe_casting, move_casting};
use crate::db::casting_records::{self, Origin, Source};
use crate::db::castings::{self, VariantName};
use crate::db::castings_on_shelf::{self as db, Casting, Outcome, Ownership, ShelfState};
use crate::db::history::{self, Change};
use crate::db::measured_records::MeasuredRecord;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, jobs, sightings};
use crate::sourcing::Sighting;
use crate::units::Code;
use crate::web::screens::castings::{back, details_and_history, variant_path, version};
use crate::web::ui::forms::Choice;
use crate::web::ui::history as past;
use crate::web::ui::show::day;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    once_field, words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/castings/shelf")
            .route(web::get().to(list))
            .route(web::post().to(add)),
    )
    .route("/castings/shelf/new", web::get().to(blank))
    .service(
        web::resource("/castings/shelf/{id}")
            .route(web::get().to(show))
            .route(web::post().to(save)),
    )
    .route("/castings/shelf/{id}/inspection", web::post().to(inspect))
    .route("/castings/shelf/{id}/move", web::post().to(shift));
}

async fn blank(who: SignedIn, which: web::Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let variants = castings::variant_names(&mut tx).await?;
    let seen = sightings::latest(&mut tx, None, SIGHTINGS, 0).await?;
    let form = CastingForm {
        variant: which.variant.map(|id| id.to_string()).unwrap_or_default(),
        ownership: Ownership::Shop.code().to_owned(),
        ..CastingForm::default()
    };
    Ok(new_page(&who, &variants, &seen, &form, &FormErrors::default()).into())
}

async fn add(who: SignedIn, form: CheckedForm<CastingForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let variants = castings::variant_names(&mut tx).await?;
    let Some((details, origin)) = form.read(&who, &variants, &mut errors) else {
        let seen = sightings::latest(&mut tx, None, SIGHTINGS, 0).await?;
        let page = new_page(&who, &variants, &seen, &form, &errors);
        return Ok(page.invalid().into());
    };
    drop(tx);
    let goods = GoodsIn {
        details,
        origin,
        findings: Vec::new(),
        instrument: String::new(),
    };
    let (id, number) = take_in(&who.actor(), goods, form.keyed()).await?;
    Ok(Reply::see_other(path(id)).flash(format!(
        "Casting {number} is on the shelf. Write the number on its tag."
    )))
}

fn new_page(
    who: &SignedIn,
    variants: &[VariantName],
    seen: &[Sighting],
    form: &CastingForm,
    errors: &FormErrors,
) -> Page {
    let title = "Add casting";
    let body = html! {
        (back("/castings/shelf", "On the shelf"))
        h1 { (title) }
        (errors.summary())
        form.grid method="post" action="/castings/shelf" novalidate {
            (csrf_field(who))
            (once_field())
            (form.fields(who, variants, seen, errors))
            div.actions {
                button type="submit" { "Add casting" }
                a.button.quiet href="/castings/shelf" { "Cancel" }
            }
        }
    };
    Page::new(who, title).nav(Section::Castings).body(body)
}

async fn show(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    Ok(View::load(&mut tx, &who, *id).await?.page(&who).into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<CastingForm>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let mut view = View::load(&mut tx, &who, *id).await?;
    let Some((details, origin)) = form.read(&who, &view.variants, &mut view.errors) else {
        view.details = form.into_inner();
        return Ok(view.page(&who).invalid().into());
    };
    drop(tx);
    let seen = version(&form.version)?;
    match describe_casting::change(&who.actor(), *id, seen, &details, &origin).await {
        Ok(()) => Ok(Reply::see_other(path(*id)).flash("Saved.")),
        Err(AppError::Refused(why)) => {
            view.errors.add("owner", words::refusal(&why, who.today()));
            view.details = form.into_inner();
            Ok(view.page(&who).invalid().into())
        }
        Err(AppError::Db(DbError::Stale(_))) => {
            let mut view = View::load(&mut who.begin().await?, &who, *id).await?;
            view.notice = stale_notice("The casting", &view.differs_from(&form));
            view.details = CastingForm {
                version: view.casting.version.to_string(),
                ..form.into_inner()
            };
            Ok(view.page(&who).status(StatusCode::CONFLICT).into())
        }
        Err(error) => Err(error.into()),
    }
}

/// Whoever is at the bench may say what they found.
async fn inspect(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<InspectionForm>) -> Answer {
    let mut errors = FormErrors::default();
    if let Some((outcome, on)) = form.read(who.today(), &mut errors) {
        let seen = version(&form.version)?;
        match move_casting::inspect(&who.actor(), *id, seen, outcome, on).await {
            Ok(()) => {
                return Ok(Reply::see_other(path(*id)).flash(match outcome {
                    Outcome::Good => "Passed inspection.",
                    Outcome::Failed => "Failed inspection: off the shelf.",
                }));
            }
            Err(AppError::Db(DbError::Stale(_))) => {
                let mut view = View::load(&mut who.begin().await?, &who, *id).await?;
                let mine = format!("{}, {}", outcome_words(outcome), day(on, who.today()));
                let stored = inspection_words(&view.casting, who.today());
                let stands = state_words(view.casting.state);
                let ownership = view.casting.details.ownership;
                let wanted = state_words(view.casting.state.after_inspection(outcome, ownership));
                let changed = [
                    Changed::if_differs("Inspection", &stored, &mine),
                    Changed::if_differs("Status", stands, wanted),
                ];
                view.notice = stale_notice(
                    "The casting",
                    &Vec::from_iter(changed.into_iter().flatten()),
                );
                view.inspection = form.into_inner();
                return Ok(view.page(&who).status(StatusCode::CONFLICT).into());
            }
            Err(AppError::Refused(why)) => errors.add("outcome", words::refusal(&why, who.today())),
            Err(error) => return Err(error.into()),
        }
    }
    let mut view = View::load(&mut who.begin().await?, &who, *id).await?;
    view.inspection = form.into_inner();
    view.errors = errors;
    Ok(view.page(&who).invalid().into())
}

/// Where it is to stand.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct MoveForm {
    to: String,
    version: String,
}

async fn shift(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<MoveForm>) -> Answer {
    who.require(Role::Office)?;
    let to = ShelfState::from_code(&form.to).ok_or_else(|| {
        WebError::BadRequest(
            "Choose to write the casting off, return it or put it back.".to_owned(),
        )
    })?;
    match move_casting::move_to(&who.actor(), *id, version(&form.version)?, to).await {
        Ok(()) => {
            let flash = match to {
                ShelfState::OnShelf => "Back on the shelf.",
                _ => "Off the shelf. It stays on record.",
            };
            Ok(Reply::see_other(path(*id)).flash(flash))
        }
        Err(AppError::Db(DbError::Stale(_))) => {
            let mut view = View::load(&mut who.begin().await?, &who, *id).await?;
            let stored = state_words(view.casting.state);
            let changed = Changed::if_differs("Status", stored, state_words(to));
            view.notice = stale_notice("The casting", &Vec::from_iter(changed));
            Ok(view.page(&who).status(StatusCode::CONFLICT).into())
        }
        Err(error) => Err(error.into()),
    }
}

/// Sightings to choose from.
const SIGHTINGS: u32 = 50;

/// A casting's page: what is stored, and what was typed over it.
pub(super) struct View {
    casting: Casting,
    origin: Origin,
    records: Records,
    measured: Vec<MeasuredRecord>,
    variants: Vec<VariantName>,
    seen: Vec<Sighting>,
    changes: Vec<Change>,
    details: CastingForm,
    inspection: InspectionForm,
    pub(super) typed: Typed,
    pub(super) errors: FormErrors,
    notice: Markup,
}

impl View {
    /// As it is stored, nothing typed yet.
    pub(super) async fn load(tx: &mut ShopTx, who: &SignedIn, id: Uuid) -> Result<Self, DbError> {
        let casting = db::get(tx, id).await?;
        let origin = casting_records::origin(tx, id).await?;
        let records = Records::load(tx, &casting).await?;
        let measured = measured::of_casting(tx, id).await?;
        let seen = sightings::latest(tx, None, SIGHTINGS, 0).await?;
        let variants = castings::variant_names(tx).await?;
        let mut changes = history::of_row(tx, "casting", id).await?;
        if !who.may(Role::Office) {
            for change in &mut changes {
                change.fields.retain(|field| field.field != "cost");
            }
        }
        spell_out(tx, &variants, &mut changes).await?;
        Ok(Self {
            details: CastingForm::of(&casting, &origin),
            inspection: InspectionForm::blank(who.today()),
            typed: Typed::default(),
            errors: FormErrors::default(),
            notice: html! {},
            casting,
            origin,
            records,
            measured,
            variants,
            seen,
            changes,
        })
    }

    /// Both values of whatever differs.
    fn differs_from(&self, typed: &CastingForm) -> Vec<Changed> {
        let now = CastingForm::of(&self.casting, &self.origin);
        let owner = |code: &str| Ownership::from_code(code).map_or("", ownership_words);
        let variant = |key: &str| variant_name(&self.variants, key);
        [
            Changed::if_differs("Variant", variant(&now.variant), variant(&typed.variant)),
            Changed::if_differs("Owner", owner(&now.ownership), owner(&typed.ownership)),
            Changed::if_differs("Customer", &now.owner, typed.owner.trim()),
            Changed::if_differs("Supplier", &now.came_from, typed.came_from.trim()),
            Changed::if_differs("Cost", &now.cost, typed.cost.trim()),
            Changed::if_differs("Condition", &now.condition, typed.condition.trim()),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    pub(super) fn page(&self, who: &SignedIn) -> Page {
        let casting = &self.casting;
        let variant_id = casting.details.variant_id;
        let title = format!("Casting {}", casting.number);
        let office = who.may(Role::Office);
        let here = matches!(casting.state, ShelfState::OnShelf | ShelfState::Reserved);
        let body = html! {
            (back("/castings/shelf", "On the shelf"))
            div.bar {
                h1 { (title) }
                a.button.quiet href={ (path(casting.id)) "/label" } { "Label" }
            }
            (self.notice)
            (self.errors.summary())
            section.card {
                h2 { a href=(variant_path(variant_id)) { (variant_name(&self.variants, &variant_id.to_string())) } }
                dl.figures {
                    div { dt { "Status" } dd { (standing(casting)) } }
                    div { dt { "Owner" } dd {
                        (ownership_words(casting.details.ownership))
                        @if !self.origin.owner.is_empty() { ": " (self.origin.owner) }
                    } }
                    div { dt { "Source" } dd { (self.came(who.today())) } }
                    @if office { div { dt { "Cost" } dd { (cost(casting)) } } }
                    div { dt { "Inspection" } dd { (inspection_words(casting, who.today())) } }
                    div { dt { "Condition" } dd { (condition(casting)) } }
                }
                @if office { (self.moves(who)) }
            }
            (measured::section(who, (casting.id, casting.number), &self.measured, None))
            (self.records.sections(who, casting, &self.typed, &self.errors))
            @if here {
                section.card aria-labelledby="inspection-title" {
                    h2 #inspection-title { "Crack test and measuring" }
                    (self.inspection_form(who))
                }
            }
            @if office {
                (details_and_history(who, &path(casting.id), &self.details.version, &self.details.fields(who, &self.variants, &self.seen, &self.errors), !self.errors.is_empty() || !self.notice.0.is_empty()))
            }
            (past::section_of(who, past::Kept::Casting, self.casting.id, &self.changes))
        };
        Page::new(who, title).nav(Section::Castings).body(body)
    }

    /// Where it came from, in words.
    fn came(&self, today: NaiveDate) -> Markup {
        let origin = &self.origin;
        html! {
            (source_words(origin.source))
            @if let Some((id, on, place)) = &origin.sighting {
                ", " a href={ "/market/sightings/" (id) } { (day(*on, today)) ", " (place) }
            }
            @if !origin.came_from.is_empty() { ", from " (origin.came_from) }
        }
    }

    fn inspection_form(&self, who: &SignedIn) -> Markup {
        let failed = match self.casting.details.ownership {
            Ownership::Shop => "Failed: written off",
            Ownership::Customer => "Failed: returned to its owner",
        };
        let outcomes = vec![
            Choice::new(Outcome::Good.code(), "Good: fit to be machined"),
            Choice::new(Outcome::Failed.code(), failed),
        ];
        html! {
            p.small { "Lift it with the right gear. Wash it before the crack test. Keep the guard closed in a pressure test. Limits are the shop’s own." }
            form.grid method="post" action={ (path(self.casting.id)) "/inspection" } novalidate {
                (csrf_field(who))
                input type="hidden" name="version" value=(self.casting.version);
                (Field::radios("outcome", "Result", &self.inspection.outcome, outcomes).errors(&self.errors))
                (Field::date("inspected_on", "Date", &self.inspection.inspected_on).errors(&self.errors))
                div.actions { button type="submit" { "Record result" } }
            }
        }
    }

    /// Off the shelf or back on it, where its job does not decide.
    fn moves(&self, who: &SignedIn) -> Markup {
        let shops = self.casting.details.ownership == Ownership::Shop;
        let ways: &[(ShelfState, &str)] = match self.casting.state {
            ShelfState::OnShelf if shops => &[(ShelfState::Scrapped, "Write off")],
            ShelfState::OnShelf => &[
                (ShelfState::Returned, "Return to owner"),
                (ShelfState::Scrapped, "Write off"),
            ],
            ShelfState::Scrapped | ShelfState::Returned => {
                &[(ShelfState::OnShelf, "Put back on the shelf")]
            }
            ShelfState::Reserved | ShelfState::Used => &[],
        };
        html! {
            @if !ways.is_empty() {
                div.actions {
                    @for (to, words) in ways {
                        form method="post" action={ (path(self.casting.id)) "/move" } {
                            (csrf_field(who))
                            input type="hidden" name="version" value=(self.casting.version);
                            input type="hidden" name="to" value=(to.code());
                            button.quiet type="submit" { (words) }
                        }
                    }
                }
            }
        }
    }
}

fn variant_name<'a>(variants: &'a [VariantName], key: &str) -> &'a str {
    variants
        .iter()
        .find(|variant| variant.id.to_string() == key)
        .map_or("none", |variant| &variant.name)
}

/// Names and words in place of keys and codes.
async fn spell_out(
    tx: &mut ShopTx,
    variants: &[VariantName],
    changes: &mut [Change],
) -> Result<(), DbError> {
    // What the database makes of the owner's name is not for people.
    for change in changes.iter_mut() {
        change
            .fields
            .retain(|field| !matches!(field.field.as_str(), "owner_key" | "sighting_id"));
    }
    for field in changes.iter_mut().flat_map(|change| &mut change.fields) {
        let column = field.field.clone();
        for value in [&mut field.before, &mut field.after] {
            let Some(code) = value.as_deref() else {
                continue;
            };
            let words = match column.as_str() {
                "variant_id" => Some(variant_name(variants, code).to_owned()),
                "job_id" => match code.parse() {
                    Ok(id) => Some(jobs::get(tx, id).await?.number.to_string()),
                    Err(_) => None,
                },
                "state" => ShelfState::from_code(code).map(|s| state_words(s).to_owned()),
                "source" => Source::from_code(code).map(|s| source_words(s).to_owned()),
                "ownership" => Ownership::from_code(code).map(|o| ownership_words(o).to_owned()),
                _ => None,
            };
            if words.is_some() {
                *value = words;
            }
        }
        field.field = match column.as_str() {
            "variant_id" => "variant",
            "job_id" => "job",
            "state" => "status",
            "ownership" => "owner",
            "outcome" => "inspection",
            other => other,
        }
        .to_owned();
    }
    Ok(())
}
