//! A boss of a pattern added, changed or deleted.

use super::{
    CheckedForm, PlaceQuery, ask_to_delete, back, face_choices, pattern_path, place_id,
    place_query, version,
};
use crate::castings::fault::LONGEST_LABEL;
use crate::castings::{Boss, Face, Pattern, Place};
use crate::db::castings as db;
use crate::db::people::Role;
use crate::units::{Code, LengthUnit};
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::{http::StatusCode, web};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/patterns/{id}/bosses/new", web::get().to(new))
        .route("/castings/patterns/{id}/bosses/new", web::post().to(add))
        .route("/castings/patterns/{id}/bosses/edit", web::get().to(edit))
        .route("/castings/patterns/{id}/bosses/edit", web::post().to(save))
        .route(
            "/castings/patterns/{id}/bosses/delete",
            web::get().to(ask_delete),
        )
        .route(
            "/castings/patterns/{id}/bosses/delete",
            web::post().to(delete),
        );
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct BossForm {
    face: String,
    label: String,
    largest: String,
    deepest: String,
    version: String,
    /// `another` when the next one is to be added straight away.
    then: String,
}

impl BossForm {
    fn of(boss: &Boss, version: i32, unit: LengthUnit) -> Self {
        Self {
            face: boss.place.face.code().to_owned(),
            label: boss.place.label.clone(),
            largest: boss.largest.entry(unit),
            deepest: boss
                .deepest
                .map(|depth| depth.entry(unit))
                .unwrap_or_default(),
            version: version.to_string(),
            then: String::new(),
        }
    }

    /// Reads it for a pattern whose other bosses are `others`.
    fn parse<'a>(
        &self,
        mut others: impl Iterator<Item = &'a Boss>,
        unit: LengthUnit,
    ) -> Result<Boss, FormErrors> {
        let mut errors = FormErrors::default();
        let face = errors.choice("face", &self.face, Face::from_code);
        let label = errors.required_text("label", &self.label, LONGEST_LABEL);
        let largest = errors.length("largest", &self.largest, unit);
        let deepest = errors.optional(&self.deepest, |errors| {
            errors.length("deepest", &self.deepest, unit)
        });
        let (Some(face), Some(label), Some(largest), Some(deepest)) =
            (face, label, largest, deepest)
        else {
            return Err(errors);
        };
        let boss = Boss {
            place: Place::new(face, label),
            largest,
            deepest,
        };
        for fault in boss.faults() {
            errors.add(fault.field(), fault);
        }
        if others.any(|other| other.place == boss.place) {
            errors.add(
                "label",
                format!("there is a boss at {} already", boss.place),
            );
        }
        if errors.is_empty() {
            Ok(boss)
        } else {
            Err(errors)
        }
    }
}

fn view(
    who: &SignedIn,
    pattern: &Pattern,
    old: Option<&Place>,
    form: &BossForm,
    errors: &FormErrors,
    notice: Option<Markup>,
) -> Page {
    let unit = who.shop.length_unit;
    let path = pattern_path(pattern.id);
    let (title, action) = match old {
        None => ("Add a boss".to_owned(), format!("{path}/bosses/new")),
        Some(place) => (
            format!("Edit the boss at {place}"),
            format!("{path}/bosses/edit?{}", place_query(place)),
        ),
    };
    Page::new(who, title.clone()).nav(Section::Castings).body(html! {
        (back(&path, &pattern.name))
        h1 { (title) }
        @if let Some(notice) = notice { (notice) }
        (errors.summary())
        form.grid method="post" action=(action) {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::select("face", "Face", &form.face, face_choices()).errors(errors))
            (Field::text("label", "Place on it", &form.label).errors(errors).hint("The shop's own label, e.g. R7").autofocus(errors.is_empty()))
            (Field::length("largest", "Largest diameter", &form.largest, unit).errors(errors)
                .hint("That leaves a sound wall; a thread counts by its major diameter"))
            (Field::length("deepest", "Deepest", &form.deepest, unit).errors(errors).optional()
                .hint("That does not break out; empty where a hole may go through"))
            div.actions {
                button type="submit" { "Save" }
                @if old.is_none() { button.quiet type="submit" name="then" value="another" { "Save and add another" } }
                a.button.quiet href=(path) { "Cancel" }
            }
        }
    })
}

async fn new(who: SignedIn, id: web::Path<Uuid>, query: web::Query<PlaceQuery>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let pattern = db::pattern(&mut tx, *id).await?;
    let form = BossForm {
        face: query.face.clone(),
        version: pattern.version.to_string(),
        ..BossForm::default()
    };
    Ok(view(&who, &pattern, None, &form, &FormErrors::default(), None).into())
}

async fn add(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<BossForm>) -> Answer {
    put(&who, *id, None, &form).await
}

async fn edit(who: SignedIn, id: web::Path<Uuid>, query: web::Query<PlaceQuery>) -> Answer {
    who.require(Role::Office)?;
    let place = query.place()?;
    let mut tx = who.begin().await?;
    let pattern = db::pattern(&mut tx, *id).await?;
    let boss = pattern
        .boss(&place)
        .ok_or(WebError::NotFound("this boss"))?;
    let form = BossForm::of(boss, pattern.version, who.shop.length_unit);
    Ok(view(
        &who,
        &pattern,
        Some(&place),
        &form,
        &FormErrors::default(),
        None,
    )
    .into())
}

async fn save(
    who: SignedIn,
    id: web::Path<Uuid>,
    query: web::Query<PlaceQuery>,
    form: CheckedForm<BossForm>,
) -> Answer {
    put(&who, *id, Some(query.place()?), &form).await
}

/// Puts a boss into its pattern: a new one, or in place of the one at `old`.
async fn put(who: &SignedIn, id: Uuid, old: Option<Place>, form: &BossForm) -> Answer {
    who.require(Role::Office)?;
    let seen = version(&form.version)?;
    let mut tx = who.begin().await?;
    let mut pattern = db::pattern(&mut tx, id).await?;
    if pattern.version != seen {
        return Ok(stale(who, &pattern, old.as_ref(), form));
    }
    let others = pattern
        .bosses
        .iter()
        .filter(|boss| Some(&boss.place) != old.as_ref());
    let boss = match form.parse(others, who.shop.length_unit) {
        Ok(boss) => boss,
        Err(errors) => {
            return Ok(view(who, &pattern, old.as_ref(), form, &errors, None)
                .invalid()
                .into());
        }
    };
    let place = boss.place.clone();
    pattern
        .bosses
        .retain(|boss| Some(&boss.place) != old.as_ref());
    pattern.bosses.push(boss);
    db::update_pattern(&mut tx, &pattern).await?;
    tx.commit().await?;
    let path = pattern_path(id);
    Ok(Reply::see_other(if form.then == "another" {
        format!("{path}/bosses/new?face={}", place.face.code())
    } else {
        format!("{path}#{}", place_id(&place))
    })
    .flash(format!("Saved: {place}")))
}

fn stale(who: &SignedIn, stored: &Pattern, old: Option<&Place>, typed: &BossForm) -> Reply {
    let unit = who.shop.length_unit;
    let now = old
        .and_then(|place| stored.boss(place))
        .map(|boss| BossForm::of(boss, stored.version, unit));
    // Written alike, so that 1 in and 25.4 mm are no difference.
    let wanted = typed.parse(std::iter::empty(), unit).map_or_else(
        |_| typed.clone(),
        |boss| BossForm::of(&boss, stored.version, unit),
    );
    let changed: Vec<Changed> = now
        .iter()
        .flat_map(|now| {
            [
                Changed::if_differs("Face", &now.face, &wanted.face),
                Changed::if_differs("Place", &now.label, &wanted.label),
                Changed::if_differs("Largest diameter", &now.largest, &wanted.largest),
                Changed::if_differs("Deepest", &now.deepest, &wanted.deepest),
            ]
        })
        .flatten()
        .collect();
    let form = BossForm {
        version: stored.version.to_string(),
        ..typed.clone()
    };
    let notice = stale_notice("The pattern", &changed);
    // One that was deleted meanwhile is added again by saving.
    let old = old.filter(|place| stored.boss(place).is_some());
    view(
        who,
        stored,
        old,
        &form,
        &FormErrors::default(),
        Some(notice),
    )
    .status(StatusCode::CONFLICT)
    .into()
}

async fn ask_delete(who: SignedIn, id: web::Path<Uuid>, query: web::Query<PlaceQuery>) -> Answer {
    who.require(Role::Office)?;
    let place = query.place()?;
    let mut tx = who.begin().await?;
    let pattern = db::pattern(&mut tx, *id).await?;
    let path = pattern_path(pattern.id);
    let page = ask_to_delete(
        &who,
        &format!("Delete the boss at {place}"),
        &format!(
            "Then nothing can be machined at that place of {} where it is missing.",
            pattern.name
        ),
        &format!("{path}/bosses/delete?{}", place_query(&place)),
        &[("version", &pattern.version.to_string())],
        &path,
    );
    Ok(page.into())
}

async fn delete(
    who: SignedIn,
    id: web::Path<Uuid>,
    query: web::Query<PlaceQuery>,
    form: CheckedForm<BossForm>,
) -> Answer {
    who.require(Role::Office)?;
    let place = query.place()?;
    let mut tx = who.begin().await?;
    let mut pattern = db::pattern(&mut tx, *id).await?;
    pattern.version = version(&form.version)?;
    pattern.bosses.retain(|boss| boss.place != place);
    db::update_pattern(&mut tx, &pattern).await?;
    tx.commit().await?;
    Ok(Reply::see_other(pattern_path(*id)).flash(format!("Deleted: {place}")))
}
