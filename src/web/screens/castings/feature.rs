//! A feature of a variant added, changed or deleted.

use super::{
    CheckedForm, PlaceQuery, ask_to_delete, back, face_choices, kind_choices, place_id,
    place_query, variant_path, version,
};
use crate::castings::fault::{LONGEST_LABEL, LONGEST_NOTE, MOST_ALIKE};
use crate::castings::{Face, Feature, FeatureKind, Pattern, Place, Variant};
use crate::db::castings as db;
use crate::db::people::Role;
use crate::units::{Code, Fit, LengthUnit, Thread};
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::{http::StatusCode, web};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/variants/{id}/features/new", web::get().to(new))
        .route("/castings/variants/{id}/features/new", web::post().to(add))
        .route("/castings/variants/{id}/features/edit", web::get().to(edit))
        .route(
            "/castings/variants/{id}/features/edit",
            web::post().to(save),
        )
        .route(
            "/castings/variants/{id}/features/delete",
            web::get().to(ask_delete),
        )
        .route(
            "/castings/variants/{id}/features/delete",
            web::post().to(delete),
        );
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct FeatureForm {
    face: String,
    label: String,
    kind: String,
    across: String,
    up: String,
    size: String,
    thread: String,
    fit: String,
    depth: String,
    count: String,
    note: String,
    version: String,
    /// `another` when the next one is to be added straight away.
    then: String,
}

impl FeatureForm {
    fn of(feature: &Feature, version: i32, unit: LengthUnit) -> Self {
        Self {
            face: feature.place.face.code().to_owned(),
            label: feature.place.label.clone(),
            kind: feature.kind.code().to_owned(),
            across: feature.x.entry(unit),
            up: feature.y.entry(unit),
            size: match feature.thread {
                Some(_) => String::new(),
                None => feature.size.entry(unit),
            },
            thread: feature
                .thread
                .as_ref()
                .map(Thread::to_string)
                .unwrap_or_default(),
            fit: feature.fit.as_ref().map(Fit::to_string).unwrap_or_default(),
            depth: feature
                .depth
                .map(|depth| depth.entry(unit))
                .unwrap_or_default(),
            count: feature.count.to_string(),
            note: feature.note.clone(),
            version: version.to_string(),
            then: String::new(),
        }
    }

    /// Reads it for a variant of `pattern` whose other features are `others`.
    fn parse<'a>(
        &self,
        pattern: &Pattern,
        mut others: impl Iterator<Item = &'a Feature>,
        unit: LengthUnit,
    ) -> Result<Feature, FormErrors> {
        let mut errors = FormErrors::default();
        let face = errors.choice("face", &self.face, Face::from_code);
        let label = errors.required_text("label", &self.label, LONGEST_LABEL);
        let kind = errors.choice("kind", &self.kind, FeatureKind::from_code);
        let x = errors.length("across", &self.across, unit);
        let y = errors.length("up", &self.up, unit);
        let thread = errors.optional(&self.thread, |errors| {
            errors.parsed("thread", &self.thread, str::parse::<Thread>)
        });
        let size = match &thread {
            // A thread says its own size, and one that does not read may yet say it.
            Some(Some(thread)) if self.size.trim().is_empty() => Some(thread.major_diameter()),
            None if self.size.trim().is_empty() => None,
            _ if kind == Some(FeatureKind::TappedHole) && self.size.trim().is_empty() => {
                errors.add("thread", "a tapped hole needs its thread, e.g. M10x1.5");
                None
            }
            _ => errors.length("size", &self.size, unit),
        };
        let fit = errors.optional(&self.fit, |errors| {
            errors.parsed("fit", &self.fit, str::parse::<Fit>)
        });
        let depth = errors.optional(&self.depth, |errors| {
            errors.length("depth", &self.depth, unit)
        });
        let count = errors.int("count", &self.count, 1..=i64::from(MOST_ALIKE));
        let note = errors.text("note", &self.note, LONGEST_NOTE);
        let read = || {
            Some(Feature {
                place: Place::new(face?, label?),
                kind: kind?,
                x: x?,
                y: y?,
                size: size?,
                depth: depth?,
                thread: thread?,
                fit: fit?,
                count: u32::try_from(count?).ok()?,
                note: note?,
            })
        };
        let Some(feature) = read() else {
            return Err(errors);
        };
        for fault in feature.faults(pattern.outline(feature.place.face)) {
            errors.add(fault.field(), fault);
        }
        if others.any(|other| other.place == feature.place) {
            let taken = format!("there is a feature at {} already", feature.place);
            errors.add("label", taken);
        }
        if errors.is_empty() {
            Ok(feature)
        } else {
            Err(errors)
        }
    }
}

fn view(
    who: &SignedIn,
    variant: &Variant,
    old: Option<&Place>,
    form: &FeatureForm,
    errors: &FormErrors,
    notice: Option<Markup>,
) -> Page {
    let unit = who.shop.length_unit;
    let path = variant_path(variant.id);
    let (title, action) = match old {
        None => ("Add a feature".to_owned(), format!("{path}/features/new")),
        Some(place) => (
            format!("Edit {place}"),
            format!("{path}/features/edit?{}", place_query(place)),
        ),
    };
    Page::new(who, title.clone()).nav(Section::Castings).body(html! {
        (back(&path, &variant.name))
        h1 { (title) }
        p.muted { "Lengths may be typed in mm, inches (3.5 in, 1 3/8 in) or thou, e.g. 5 thou. A bare number is in "
            @match unit { LengthUnit::Mm => "mm.", LengthUnit::Inch => "inches." } }
        @if let Some(notice) = notice { (notice) }
        (errors.summary())
        form.grid method="post" action=(action) {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::select("face", "Face", &form.face, face_choices()).errors(errors))
            (Field::text("label", "Place on it", &form.label).errors(errors).hint("The shop's own label, e.g. R7").autofocus(errors.is_empty()))
            (Field::select("kind", "Feature", &form.kind, kind_choices()).errors(errors))
            (Field::length("across", "Across from the datum", &form.across, unit).errors(errors))
            (Field::length("up", "Up from the datum", &form.up, unit).errors(errors))
            (Field::length("size", "Diameter", &form.size, unit).errors(errors).optional()
                .hint("Leave empty for a tapped hole: its thread says it"))
            (Field::text("thread", "Thread", &form.thread).errors(errors).optional()
                .hint("Tapped holes only: M10x1.5, 1/2-13 UNC, G 3/8, 3/8 BSW"))
            (Field::text("fit", "Fit", &form.fit).errors(errors).optional()
                .hint("Where it matters, e.g. H7"))
            (Field::length("depth", "Depth", &form.depth, unit).errors(errors).optional()
                .hint("Empty when it goes through; of a tapped hole, the full thread"))
            (Field::int("count", "How many alike", &form.count).errors(errors)
                .hint("A bolt group drawn as one place counts them all"))
            (Field::textarea("note", "Note", &form.note, 2).errors(errors).optional()
                .hint("What a drawing would say in words"))
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
    let variant = db::variant(&mut tx, *id).await?;
    let form = FeatureForm {
        face: query.face.clone(),
        count: "1".to_owned(),
        version: variant.version.to_string(),
        ..FeatureForm::default()
    };
    Ok(view(&who, &variant, None, &form, &FormErrors::default(), None).into())
}

async fn add(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<FeatureForm>) -> Answer {
    put(&who, *id, None, &form).await
}

async fn edit(who: SignedIn, id: web::Path<Uuid>, query: web::Query<PlaceQuery>) -> Answer {
    who.require(Role::Office)?;
    let place = query.place()?;
    let mut tx = who.begin().await?;
    let variant = db::variant(&mut tx, *id).await?;
    let feature = variant
        .feature(&place)
        .ok_or(WebError::NotFound("this feature"))?;
    let form = FeatureForm::of(feature, variant.version, who.shop.length_unit);
    Ok(view(
        &who,
        &variant,
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
    form: CheckedForm<FeatureForm>,
) -> Answer {
    put(&who, *id, Some(query.place()?), &form).await
}

/// Puts a feature into its variant: a new one, or in place of the one at `old`.
async fn put(who: &SignedIn, id: Uuid, old: Option<Place>, form: &FeatureForm) -> Answer {
    who.require(Role::Office)?;
    let seen = version(&form.version)?;
    let mut tx = who.begin().await?;
    let mut variant = db::variant(&mut tx, id).await?;
    let pattern = db::pattern(&mut tx, variant.pattern_id).await?;
    if variant.version != seen {
        return Ok(stale(who, &pattern, &variant, old.as_ref(), form));
    }
    let is_other = |feature: &&Feature| Some(&feature.place) != old.as_ref();
    let others = variant.features.iter().filter(is_other);
    let feature = match form.parse(&pattern, others, who.shop.length_unit) {
        Ok(feature) => feature,
        Err(errors) => {
            return Ok(view(who, &variant, old.as_ref(), form, &errors, None)
                .invalid()
                .into());
        }
    };
    let place = feature.place.clone();
    variant.features.retain(|feature| is_other(&feature));
    variant.features.push(feature);
    db::update_variant(&mut tx, &variant).await?;
    tx.commit().await?;
    let path = variant_path(id);
    Ok(Reply::see_other(if form.then == "another" {
        format!("{path}/features/new?face={}", place.face.code())
    } else {
        format!("{path}#{}", place_id(&place))
    })
    .flash(format!("Saved: {place}")))
}

fn stale(
    who: &SignedIn,
    pattern: &Pattern,
    stored: &Variant,
    old: Option<&Place>,
    typed: &FeatureForm,
) -> Reply {
    let unit = who.shop.length_unit;
    let now = old
        .and_then(|place| stored.feature(place))
        .map(|feature| FeatureForm::of(feature, stored.version, unit));
    // Written alike, so that 1 in and 25.4 mm are no difference.
    let wanted = typed.parse(pattern, std::iter::empty(), unit).map_or_else(
        |_| typed.clone(),
        |feature| FeatureForm::of(&feature, stored.version, unit),
    );
    let changed: Vec<Changed> = now
        .iter()
        .flat_map(|now| {
            [
                Changed::if_differs("Face", &now.face, &wanted.face),
                Changed::if_differs("Place", &now.label, &wanted.label),
                Changed::if_differs("Feature", &now.kind, &wanted.kind),
                Changed::if_differs("Across", &now.across, &wanted.across),
                Changed::if_differs("Up", &now.up, &wanted.up),
                Changed::if_differs("Diameter", &now.size, &wanted.size),
                Changed::if_differs("Thread", &now.thread, &wanted.thread),
                Changed::if_differs("Fit", &now.fit, &wanted.fit),
                Changed::if_differs("Depth", &now.depth, &wanted.depth),
                Changed::if_differs("How many", &now.count, &wanted.count),
                Changed::if_differs("Note", &now.note, &wanted.note),
            ]
        })
        .flatten()
        .collect();
    let form = FeatureForm {
        version: stored.version.to_string(),
        ..typed.clone()
    };
    let notice = stale_notice("The variant", &changed);
    // One that was deleted meanwhile is added again by saving.
    let old = old.filter(|place| stored.feature(place).is_some());
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
    let variant = db::variant(&mut tx, *id).await?;
    let path = variant_path(variant.id);
    let page = ask_to_delete(
        &who,
        &format!("Delete {place}"),
        &format!("{} will be without this feature.", variant.name),
        &format!("{path}/features/delete?{}", place_query(&place)),
        &[("version", &variant.version.to_string())],
        &path,
    );
    Ok(page.into())
}

async fn delete(
    who: SignedIn,
    id: web::Path<Uuid>,
    query: web::Query<PlaceQuery>,
    form: CheckedForm<FeatureForm>,
) -> Answer {
    who.require(Role::Office)?;
    let place = query.place()?;
    let mut tx = who.begin().await?;
    let mut variant = db::variant(&mut tx, *id).await?;
    variant.version = version(&form.version)?;
    variant.features.retain(|feature| feature.place != place);
    db::update_variant(&mut tx, &variant).await?;
    tx.commit().await?;
    Ok(Reply::see_other(variant_path(*id)).flash(format!("Deleted: {place}")))
}
