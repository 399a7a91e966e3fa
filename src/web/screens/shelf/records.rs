//! What is known of a casting besides its tag: marks, measurements, photographs. Whoever has it in hand may add to it.

use super::casting::View;
use super::{path, picture};
use crate::app::{AppError, describe_casting, put_photo};
use crate::castings::identify::{Found, Mark, MarkKind};
use crate::castings::{Face, Place};
use crate::db::casting_records::{
    self as db, KeptMark, KeptMeasurement, Measurement, NewPhoto, Photo,
};
use crate::db::castings_on_shelf::Casting;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, castings};
use crate::units::{Code, LengthUnit};
use crate::web::shell::site::Site;
use crate::web::ui::forms::Choice;
use crate::web::ui::forms::upload::{CheckedUpload, Uploaded};
use crate::web::ui::show::moment;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Reply, SignedIn, WebError, csrf_field, once_field,
    words,
};
use actix_web::http::header::CACHE_CONTROL;
use actix_web::{HttpResponse, web};
use maud::{Markup, html};
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/shelf/{id}/marks", web::post().to(add_mark))
        .route(
            "/castings/shelf/{id}/marks/{mark}/remove",
            web::post().to(remove_mark),
        )
        .route("/castings/shelf/{id}/measurements", web::post().to(measure))
        .route("/castings/shelf/{id}/photos", web::post().to(add_photo))
        .route(
            "/castings/shelf/{id}/photos/{photo}.jpg",
            web::get().to(photo),
        )
        .route(
            "/castings/shelf/{id}/photos/{photo}/small.jpg",
            web::get().to(small),
        )
        .route(
            "/castings/shelf/{id}/photos/{photo}/remove",
            web::post().to(remove_photo),
        );
}

pub(super) fn kind_words(kind: MarkKind) -> &'static str {
    match kind {
        MarkKind::Cast => "cast in",
        MarkKind::Stamped => "stamped",
    }
}

/// The kinds of marks, to choose from.
pub(super) fn kind_choices() -> Vec<Choice> {
    let choice = |kind: &MarkKind| Choice::new(kind.code(), kind_words(*kind));
    MarkKind::ALL.iter().map(choice).collect()
}

/// A place of the register as a form sends it: `rear R7`.
pub(super) fn place_code(place: &Place) -> String {
    format!("{} {}", place.face.code(), place.label)
}

pub(super) fn place_from_code(code: &str) -> Option<Place> {
    let (face, label) = code.split_once(' ')?;
    let label = label.trim();
    (!label.is_empty() && label.chars().count() <= 40)
        .then(|| Face::from_code(face).map(|face| Place::new(face, label)))
        .flatten()
}

/// What was found, in words.
pub(super) fn found_words(found: Found, who: &SignedIn) -> String {
    match found {
        Found::Absent => "nothing there".to_owned(),
        Found::There => "there".to_owned(),
        Found::Measured(length) => length.show(who.shop.length_unit),
    }
}

/// What is stored besides a casting's tag.
pub(super) struct Records {
    marks: Vec<KeptMark>,
    measurements: Vec<KeptMeasurement>,
    photos: Vec<Photo>,
    /// Places of its variant.
    places: Vec<Place>,
}

impl Records {
    pub(super) async fn load(tx: &mut ShopTx, casting: &Casting) -> Result<Self, DbError> {
        let variant = castings::variant(tx, casting.details.variant_id).await?;
        let mut places: Vec<Place> = variant.features.into_iter().map(|f| f.place).collect();
        places.sort();
        Ok(Self {
            marks: db::marks(tx, casting.id).await?,
            measurements: db::measurements(tx, casting.id).await?,
            photos: db::photos(tx, casting.id).await?,
            places,
        })
    }

    pub(super) fn sections(
        &self,
        who: &SignedIn,
        casting: &Casting,
        typed: &Typed,
        errors: &FormErrors,
    ) -> Markup {
        let Typed {
            mark,
            measure,
            photo,
        } = typed;
        let here = path(casting.id);
        html! {
            div.columns.records-pair {
                section.card aria-labelledby="marks-title" {
                    h2 #marks-title { "Marks" }
                    (self.mark_list(who, &here))
                    form.grid method="post" action={ (here) "/marks" } novalidate {
                        (csrf_field(who))
                        (once_field())
                        (Field::select("mark_kind", "How it was made", &mark.mark_kind, kind_choices()).errors(errors))
                        (Field::text("mark_place", "Where", &mark.mark_place).hint("left side, above the oil gallery").errors(errors))
                        (Field::text("mark_text", "Text", &mark.mark_text).errors(errors))
                        div.actions { button.quiet type="submit" { "Add mark" } }
                    }
                }
                section.card aria-labelledby="measured-title" {
                    h2 #measured-title { "Measurements" }
                    (self.measurement_list(who))
                    form.grid method="post" action={ (here) "/measurements" } novalidate {
                        (csrf_field(who))
                        (once_field())
                        (Field::select("measured_place", "At", &measure.measured_place, self.places.iter().map(|place| Choice::new(place_code(place), place)).collect()).optional().hint("A place of the register, or say what below").errors(errors))
                        (Field::text("measured_what", "What", &measure.measured_what).optional().hint("bore 3, deck to crank line …").errors(errors))
                        (Field::length("measured_value", "Value", &measure.measured_value, who.shop.length_unit).errors(errors))
                        (Field::text("measured_with", "With", &measure.measured_with).hint("calliper, bore gauge …").errors(errors))
                        div.actions { button.quiet type="submit" { "Add measurement" } }
                    }
                }
            }
            (self.photo_section(who, &here, photo, errors))
        }
    }

    fn mark_list(&self, who: &SignedIn, here: &str) -> Markup {
        html! {
            @if self.marks.is_empty() { p.muted { "None yet." } } @else {
                ul.records { @for kept in &self.marks {
                    li {
                        span { strong { (kept.mark.text) } ", " (kind_words(kept.mark.kind)) ", " (kept.mark.place) }
                        form method="post" action={ (here) "/marks/" (kept.id) "/remove" } {
                            (csrf_field(who))
                            button.quiet type="submit" { "Remove" span.visually-hidden { ": " (kept.mark.text) } }
                        }
                    }
                } }
            }
        }
    }

    fn measurement_list(&self, who: &SignedIn) -> Markup {
        html! {
            @if self.measurements.is_empty() { p.muted { "None yet." } } @else {
                table.cells.small {
                    thead { tr { th scope="col" { "What" } th.number scope="col" { "Found" } th scope="col" { "With" } th scope="col" { "When, by whom" } } }
                    tbody { @for kept in &self.measurements {
                        @let one = &kept.measurement;
                        tr {
                            th scope="row" { (one.what) }
                            td.number data-label="Found" { (found_words(one.found, who)) }
                            td data-label="With" { (one.instrument) }
                            td data-label="When" { (moment(kept.at, who.shop.time_zone, who.today())) @if let Some(name) = &kept.person { ", " (name) } }
                        }
                    } }
                }
            }
        }
    }

    fn photo_section(
        &self,
        who: &SignedIn,
        here: &str,
        typed: &PhotoForm,
        errors: &FormErrors,
    ) -> Markup {
        let error = errors.get("photo");
        html! {
            section.card aria-labelledby="photos-title" {
                h2 #photos-title { "Photographs" }
                @if self.photos.is_empty() { p.muted { "None yet." } } @else {
                    ul.photos { @for photo in &self.photos {
                        li {
                            a type="image/jpeg" href={ (here) "/photos/" (photo.id) ".jpg" } aria-label={ "Photograph: " (photo.caption) } {
                                img src={ (here) "/photos/" (photo.id) "/small.jpg" } alt=(photo.caption) loading="lazy";
                            }
                            p.small { (photo.caption) span.muted { " · " (moment(photo.added_at, who.shop.time_zone, who.today())) @if let Some(name) = &photo.person { ", " (name) } } }
                            @if who.may(Role::Office) {
                                form method="post" action={ (here) "/photos/" (photo.id) "/remove" } {
                                    (csrf_field(who))
                                    button.quiet type="submit" { "Remove" span.visually-hidden { ": " (photo.caption) } }
                                }
                            }
                        }
                    } }
                }
                form.grid method="post" action={ (here) "/photos" } enctype="multipart/form-data" novalidate {
                    (csrf_field(who))
                    (once_field())
                    div.field.wrong[error.is_some()] {
                        label for="photo" { "Photograph" }
                        input #photo type="file" name="photo" accept="image/jpeg,image/png,image/webp" aria-required="true"
                            aria-invalid=[error.map(|_| "true")] aria-describedby=(if error.is_some() { "photo-error photo-hint" } else { "photo-hint" });
                        @if let Some(error) = error { p.error #photo-error { span.sign aria-hidden="true" { "!" } " " (error) } }
                        p.hint #photo-hint { "JPEG, PNG or WebP, up to " (picture::LARGEST / 1024 / 1024) " MB. Place and camera are removed from the file." }
                    }
                    (Field::text("caption", "What it shows", &typed.caption).errors(errors))
                    div.actions { button.quiet type="submit" { "Add photograph" } }
                }
            }
        }
    }
}

/// What was typed in the forms of records; a browser sends one of them at a time.
#[derive(Debug, Default)]
pub(super) struct Typed {
    mark: MarkForm,
    measure: MeasureForm,
    photo: PhotoForm,
}

/// The casting's page again, with what was typed and complaints.
async fn complain(who: &SignedIn, id: Uuid, typed: Typed, errors: FormErrors) -> Answer {
    let mut tx = who.begin().await?;
    let mut view = View::load(&mut tx, who, id).await?;
    view.typed = typed;
    view.errors = errors;
    Ok(view.page(who).invalid().into())
}

/// A mark as typed: `mark_kind` is `cast` or `stamped`.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct MarkForm {
    mark_kind: String,
    mark_place: String,
    mark_text: String,
}

impl MarkForm {
    pub(in crate::web) fn read(&self, errors: &mut FormErrors) -> Option<Mark> {
        let kind = errors.choice("mark_kind", &self.mark_kind, MarkKind::from_code);
        let place = errors.required_text("mark_place", &self.mark_place, 120);
        let text = errors.required_text("mark_text", &self.mark_text, 120);
        Some(Mark {
            kind: kind?,
            place: place?,
            text: text?,
        })
    }
}

async fn add_mark(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<MarkForm>) -> Answer {
    let mut errors = FormErrors::default();
    let Some(mark) = form.read(&mut errors) else {
        let typed = Typed {
            mark: form.into_inner(),
            ..Typed::default()
        };
        return complain(&who, *id, typed, errors).await;
    };
    describe_casting::add_mark(&who.actor(), *id, &mark, form.keyed()).await?;
    Ok(Reply::see_other(path(*id)).flash("Mark added."))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Nothing {}

async fn remove_mark(
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    _: CheckedForm<Nothing>,
) -> Answer {
    let (id, mark) = ids.into_inner();
    describe_casting::remove_mark(&who.actor(), id, mark).await?;
    Ok(Reply::see_other(path(id)).flash("Mark removed."))
}

/// A measurement as typed: a place of the register, `rear R7`, or anything else in words.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct MeasureForm {
    measured_place: String,
    measured_what: String,
    measured_value: String,
    measured_with: String,
}

impl MeasureForm {
    pub(in crate::web) fn read(
        &self,
        unit: LengthUnit,
        errors: &mut FormErrors,
    ) -> Option<Measurement> {
        let place = errors.optional(&self.measured_place, |errors| {
            errors.choice("measured_place", &self.measured_place, place_from_code)
        });
        let what = match &place {
            Some(Some(place)) if self.measured_what.trim().is_empty() => Some(place.to_string()),
            _ => errors.required_text("measured_what", &self.measured_what, 120),
        };
        let value = errors
            .length("measured_value", &self.measured_value, unit)
            .and_then(|value| {
                let positive = value.mm().is_sign_positive() && !value.mm().is_zero();
                if !positive {
                    errors.add("measured_value", "Enter a value of more than 0");
                }
                positive.then_some(value)
            });
        let instrument = errors.required_text("measured_with", &self.measured_with, 80);
        Some(Measurement {
            place: place?,
            what: what?,
            found: Found::Measured(value?),
            instrument: instrument?,
        })
    }
}

async fn measure(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<MeasureForm>) -> Answer {
    let mut errors = FormErrors::default();
    let Some(measurement) = form.read(who.shop.length_unit, &mut errors) else {
        let typed = Typed {
            measure: form.into_inner(),
            ..Typed::default()
        };
        return complain(&who, *id, typed, errors).await;
    };
    describe_casting::add_measurement(&who.actor(), *id, &measurement, form.keyed()).await?;
    Ok(Reply::see_other(path(*id)).flash("Measurement added."))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct PhotoForm {
    caption: String,
}

/// A photograph of the bytes of a file, or why there is none, in words; within the memory that all pictures share.
pub(in crate::web) async fn made_of(
    site: &Site,
    bytes: Vec<u8>,
    caption: String,
) -> Result<Result<NewPhoto, String>, WebError> {
    let memory = match picture::memory(&bytes) {
        Ok(memory) => memory,
        Err(why) => return Ok(Err(why)),
    };
    let share = site.pictures.share(memory).await?;
    // The share is held until the work is done, even when nobody waits for it any more.
    let work = move || (picture::keep(&bytes, caption), share);
    let (made, _) = web::block(work)
        .await
        .map_err(|error| WebError::Internal(error.to_string()))?;
    Ok(made)
}

async fn add_photo(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    upload: CheckedUpload<PhotoForm, { picture::LARGEST }>,
) -> Answer {
    let mut errors = FormErrors::default();
    let keyed = upload.keyed;
    let typed = Typed {
        photo: upload.form,
        ..Typed::default()
    };
    let caption = errors.required_text("caption", &typed.photo.caption, 120);
    let upload_chosen = matches!(upload.file, Uploaded::File(_));
    let photo = match (upload.file, caption) {
        (Uploaded::Nothing, _) => {
            errors.add("photo", "Choose a photograph");
            None
        }
        (Uploaded::TooLarge, _) => {
            let most = picture::LARGEST / 1024 / 1024;
            errors.add("photo", format!("This file is larger than {most} MB"));
            None
        }
        (Uploaded::File(_), None) => None,
        (Uploaded::File(bytes), Some(caption)) => {
            let made = made_of(&site, bytes, caption).await?;
            made.map_err(|why| errors.add("photo", why)).ok()
        }
    };
    let Some(photo) = photo else {
        if upload_chosen {
            errors.add(
                "photo",
                "Choose the photograph again: the browser does not keep it",
            );
        }
        return complain(&who, *id, typed, errors).await;
    };
    match put_photo::put(&who.actor(), &site.photos, *id, &photo, keyed.as_ref()).await {
        Ok(_) => Ok(Reply::see_other(path(*id)).flash("Photograph added.")),
        Err(AppError::Refused(why)) => {
            errors.add("photo", words::refusal(&why, who.today()));
            complain(&who, *id, typed, errors).await
        }
        Err(error) => Err(error.into()),
    }
}

async fn photo(who: SignedIn, site: web::Data<Site>, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    body(&who, &site, ids.into_inner(), false).await
}

async fn small(who: SignedIn, site: web::Data<Site>, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    body(&who, &site, ids.into_inner(), true).await
}

/// Always JPEG, because the program wrote it; a body under a key never changes.
async fn body(who: &SignedIn, site: &Site, ids: (Uuid, Uuid), small: bool) -> Answer {
    let bytes = put_photo::body(&who.actor(), &site.photos, ids.0, ids.1, small).await?;
    Ok(HttpResponse::Ok()
        .content_type("image/jpeg")
        .insert_header((CACHE_CONTROL, "private, max-age=31536000, immutable"))
        .body(bytes)
        .into())
}

async fn remove_photo(
    who: SignedIn,
    site: web::Data<Site>,
    ids: web::Path<(Uuid, Uuid)>,
    _: CheckedForm<Nothing>,
) -> Answer {
    who.require(Role::Office)?;
    let (id, photo) = ids.into_inner();
    let files = put_photo::remove(&who.actor(), &site.photos, id, photo).await?;
    let flash = match put_photo::remove_files(&files).await {
        Ok(()) => "Photograph removed.".to_owned(),
        Err(why) => {
            tracing::error!(%why, ?files, "a photograph's files could not be removed");
            format!("Photograph removed, but its file is still in the folder: {why}.")
        }
    };
    Ok(Reply::see_other(path(id)).flash(flash))
}
