//! A pattern entered or changed: its name, its bearings, and the outline of each face.

use super::{CheckedForm, back, capital, pattern_path, version};
use crate::castings::fault::{LONGEST_NAME, LONGEST_NOTE, MOST_CYLINDERS};
use crate::castings::{Face, Fault, Outline, Pattern, Variant};
use crate::db::people::Role;
use crate::db::{DbError, castings as db};
use crate::units::{Code, LengthUnit};
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{Answer, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field};
use actix_web::{http::StatusCode, web};
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::BTreeMap;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/patterns/new", web::get().to(new))
        .route("/castings/patterns", web::post().to(create))
        .route("/castings/patterns/{id}/edit", web::get().to(edit))
        .route("/castings/patterns/{id}/edit", web::post().to(save));
}

/// As typed. The faces' fields are `width-<face>` and `height-<face>`.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct PatternForm {
    name: String,
    cylinders: String,
    mains: String,
    marks: String,
    version: String,
    #[serde(flatten)]
    faces: BTreeMap<String, String>,
}

fn width_field(face: Face) -> String {
    format!("width-{}", face.code())
}

fn height_field(face: Face) -> String {
    format!("height-{}", face.code())
}

impl PatternForm {
    fn of(pattern: &Pattern, unit: LengthUnit) -> Self {
        let faces = pattern.outlines.iter().flat_map(|outline| {
            [
                (width_field(outline.face), outline.width.entry(unit)),
                (height_field(outline.face), outline.height.entry(unit)),
            ]
        });
        Self {
            name: pattern.name.clone(),
            cylinders: pattern.cylinders.to_string(),
            mains: pattern.mains.to_string(),
            marks: pattern.marks.clone(),
            version: pattern.version.to_string(),
            faces: faces.collect(),
        }
    }

    fn face(&self, field: &str) -> &str {
        self.faces.get(field).map_or("", String::as_str)
    }

    /// Reads what was typed onto a pattern that keeps its key, version and bosses.
    fn parse(
        &self,
        onto: Pattern,
        variants: &[Variant],
        unit: LengthUnit,
    ) -> Result<Pattern, FormErrors> {
        let mut errors = FormErrors::default();
        let most = i64::from(MOST_CYLINDERS);
        let name = errors.required_text("name", &self.name, LONGEST_NAME);
        let cylinders = errors.int("cylinders", &self.cylinders, 1..=most);
        let mains = errors.int("mains", &self.mains, 1..=most + 1);
        let marks = errors.text("marks", &self.marks, LONGEST_NOTE);
        let mut outlines = Vec::new();
        for face in Face::ALL {
            let (width_name, height_name) = (width_field(*face), height_field(*face));
            let (width, height) = (self.face(&width_name), self.face(&height_name));
            if width.trim().is_empty() && height.trim().is_empty() {
                continue;
            }
            let width = errors.length(&width_name, width, unit);
            let height = errors.length(&height_name, height, unit);
            if let (Some(width), Some(height)) = (width, height) {
                let outline = Outline {
                    face: *face,
                    width,
                    height,
                };
                for fault in outline.faults() {
                    errors.add(&format!("{}-{}", fault.field(), face.code()), fault);
                }
                outlines.push(outline);
            }
        }
        match (name, cylinders, mains, marks) {
            (Some(name), Some(cylinders), Some(mains), Some(marks)) if errors.is_empty() => {
                let pattern = Pattern {
                    name,
                    cylinders: u32::try_from(cylinders).unwrap_or_default(),
                    mains: u32::try_from(mains).unwrap_or_default(),
                    marks,
                    outlines,
                    ..onto
                };
                still_on_the_faces(&pattern, variants, &mut errors);
                for fault in pattern.faults() {
                    errors.add(fault.field(), fault);
                }
                if errors.is_empty() {
                    Ok(pattern)
                } else {
                    Err(errors)
                }
            }
            _ => Err(errors),
        }
    }
}

/// Complains beside a face's outline where a variant's features would no longer lie on it.
fn still_on_the_faces(pattern: &Pattern, variants: &[Variant], errors: &mut FormErrors) {
    for variant in variants {
        for feature in &variant.features {
            let face = feature.place.face;
            for fault in feature.faults(pattern.outline(face)) {
                let field = match &fault {
                    Fault::OffTheFace {
                        field: "across", ..
                    }
                    | Fault::NoOutline(_) => width_field(face),
                    Fault::OffTheFace { .. } => height_field(face),
                    _ => continue,
                };
                errors.add(
                    &field,
                    format!(
                        "{} of “{}” stands on this face and would be off it",
                        feature.place.label, variant.name
                    ),
                );
            }
        }
    }
}

fn view(
    who: &SignedIn,
    id: Option<Uuid>,
    form: &PatternForm,
    errors: &FormErrors,
    notice: Option<Markup>,
) -> Page {
    let unit = who.shop.length_unit;
    let (title, action, back_to) = match id {
        None => (
            "New pattern".to_owned(),
            "/castings/patterns".to_owned(),
            "/castings".to_owned(),
        ),
        Some(id) => (
            format!("Edit {}", form.name),
            format!("{}/edit", pattern_path(id)),
            pattern_path(id),
        ),
    };
    Page::new(who, title.clone()).nav(Section::Castings).body(html! {
        (back(&back_to, "Back"))
        h1 { (title) }
        @if let Some(notice) = notice { (notice) }
        (errors.summary())
        form.grid method="post" action=(action) {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::text("name", "Name", &form.name).errors(errors).wide().autofocus(errors.is_empty()))
            (Field::int("cylinders", "Cylinders", &form.cylinders).errors(errors))
            (Field::int("mains", "Main bearings", &form.mains).errors(errors))
            (Field::textarea("marks", "Marks it is known by", &form.marks, 2).errors(errors).optional()
                .hint("Cast or stamped marks, and where they are"))
            fieldset.wide.faces {
                legend { "Faces as drawn" }
                p.hint { "Width and height from the face's datum, its lower left corner as you look at it. Leave out a face on which nothing is ever machined. mm, inches (3.5 in, 1 3/8 in) and thou are understood." }
                @for face in Face::ALL {
                    @let (width, height) = (width_field(*face), height_field(*face));
                    div.pair {
                        (Field::length(&width, &format!("{}, across", capital(face.word())), form.face(&width), unit).errors(errors).optional())
                        (Field::length(&height, &format!("{}, up", capital(face.word())), form.face(&height), unit).errors(errors).optional())
                    }
                }
            }
            div.actions {
                button type="submit" { "Save" }
                a.button.quiet href=(back_to) { "Cancel" }
            }
        }
    })
}

async fn new(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let blank = PatternForm::default();
    Ok(view(&who, None, &blank, &FormErrors::default(), None).into())
}

async fn create(who: SignedIn, form: CheckedForm<PatternForm>) -> Answer {
    who.require(Role::Office)?;
    let blank = Pattern {
        id: Uuid::now_v7(),
        name: String::new(),
        cylinders: 0,
        mains: 0,
        outlines: Vec::new(),
        bosses: Vec::new(),
        marks: String::new(),
        version: 1,
    };
    let errors = match form.parse(blank, &[], who.shop.length_unit) {
        Err(errors) => errors,
        Ok(pattern) => {
            let mut tx = who.begin().await?;
            match db::insert_pattern(&mut tx, &pattern).await {
                Ok(()) => {
                    tx.commit().await?;
                    return Ok(Reply::see_other(pattern_path(pattern.id)).flash("Saved"));
                }
                Err(error) => {
                    let mut errors = FormErrors::default();
                    errors.absorb(error)?;
                    errors
                }
            }
        }
    };
    Ok(view(&who, None, &form, &errors, None).invalid().into())
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let pattern = db::pattern(&mut tx, *id).await?;
    let form = PatternForm::of(&pattern, who.shop.length_unit);
    Ok(view(&who, Some(*id), &form, &FormErrors::default(), None).into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<PatternForm>) -> Answer {
    who.require(Role::Office)?;
    let unit = who.shop.length_unit;
    let seen = version(&form.version)?;
    let mut tx = who.begin().await?;
    let stored = db::pattern(&mut tx, *id).await?;
    if stored.version != seen {
        return Ok(stale(&who, &stored, &form));
    }
    let variants = db::variants_of(&mut tx, *id).await?;
    let errors = match form.parse(stored, &variants, unit) {
        Err(errors) => errors,
        Ok(pattern) => match db::update_pattern(&mut tx, &pattern).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(pattern_path(*id)).flash("Saved"));
            }
            Err(error @ DbError::Stale(_)) => return Err(error.into()),
            Err(error) => {
                let mut errors = FormErrors::default();
                errors.absorb(error)?;
                errors
            }
        },
    };
    Ok(view(&who, Some(*id), &form, &errors, None).invalid().into())
}

fn stale(who: &SignedIn, stored: &Pattern, typed: &PatternForm) -> Reply {
    let unit = who.shop.length_unit;
    let now = PatternForm::of(stored, unit);
    // Written alike, so that 1 in and 25.4 mm are no difference.
    let wanted = typed
        .parse(stored.clone(), &[], unit)
        .map_or_else(|_| typed.clone(), |pattern| PatternForm::of(&pattern, unit));
    let faces = Face::ALL.iter().flat_map(|face| {
        [
            (format!("{face}, across"), width_field(*face)),
            (format!("{face}, up"), height_field(*face)),
        ]
    });
    let mut changed: Vec<Option<Changed>> = vec![
        Changed::if_differs("Name", &now.name, &wanted.name),
        Changed::if_differs("Cylinders", &now.cylinders, &wanted.cylinders),
        Changed::if_differs("Main bearings", &now.mains, &wanted.mains),
        Changed::if_differs("Marks", &now.marks, &wanted.marks),
    ];
    changed.extend(
        faces.map(|(label, field)| {
            Changed::if_differs(&label, now.face(&field), wanted.face(&field))
        }),
    );
    let changed: Vec<Changed> = changed.into_iter().flatten().collect();
    let form = PatternForm {
        version: now.version,
        ..typed.clone()
    };
    let notice = stale_notice("The pattern", &changed);
    view(
        who,
        Some(stored.id),
        &form,
        &FormErrors::default(),
        Some(notice),
    )
    .status(StatusCode::CONFLICT)
    .into()
}
