//! A variant entered or changed: its name and what hangs under it. Its features have a form of their own.

use super::{CheckedForm, back, pattern_path, variant_path, version};
use crate::castings::fault::{LONGEST_NAME, LONGEST_NOTE};
use crate::castings::{Pattern, Variant};
use crate::db::people::Role;
use crate::db::{DbError, castings as db};
use crate::web::ui::forms::Choice;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{Answer, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field};
use actix_web::{http::StatusCode, web};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/variants/new", web::get().to(new))
        .route("/castings/variants", web::post().to(create))
        .route("/castings/variants/{id}/edit", web::get().to(edit))
        .route("/castings/variants/{id}/edit", web::post().to(save));
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct VariantForm {
    pattern: String,
    name: String,
    gearbox_under: String,
    note: String,
    version: String,
}

impl VariantForm {
    fn of(variant: &Variant) -> Self {
        Self {
            pattern: variant.pattern_id.to_string(),
            name: variant.name.clone(),
            gearbox_under: if variant.gearbox_under { "yes" } else { "" }.to_owned(),
            note: variant.note.clone(),
            version: variant.version.to_string(),
        }
    }

    fn gearbox_under(&self) -> bool {
        self.gearbox_under == "yes"
    }

    /// Reads name, gearbox and note onto a variant; the rest of it stays.
    fn parse(&self, onto: Variant) -> Result<Variant, FormErrors> {
        let mut errors = FormErrors::default();
        let name = errors.required_text("name", &self.name, LONGEST_NAME);
        let note = errors.text("note", &self.note, LONGEST_NOTE);
        match (name, note) {
            (Some(name), Some(note)) => Ok(Variant {
                name,
                note,
                gearbox_under: self.gearbox_under(),
                ..onto
            }),
            _ => Err(errors),
        }
    }
}

/// Which variant the form changes; a new one still chooses its pattern.
enum Of<'a> {
    New { patterns: &'a [Pattern] },
    Stored(Uuid),
}

fn view(
    who: &SignedIn,
    of: &Of<'_>,
    form: &VariantForm,
    errors: &FormErrors,
    notice: Option<Markup>,
) -> Page {
    let (title, action, back_to) = match of {
        Of::New { .. } => (
            "New variant".to_owned(),
            "/castings/variants".to_owned(),
            form.pattern
                .parse()
                .map_or_else(|_| "/castings".to_owned(), pattern_path),
        ),
        Of::Stored(id) => (
            format!("Edit {}", form.name),
            format!("{}/edit", variant_path(*id)),
            variant_path(*id),
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
            @if let Of::New { patterns } = of {
                @let choices = patterns.iter().map(|pattern| Choice::new(pattern.id, &pattern.name)).collect();
                (Field::select("pattern", "Pattern it is cast from", &form.pattern, choices).errors(errors))
            }
            (Field::text("name", "Name", &form.name).errors(errors).hint("E.g. Tarn 4/90 marine").autofocus(errors.is_empty()))
            div.wide {
                (Field::checkbox("gearbox_under", "A gearbox hangs under the block in this application", form.gearbox_under())
                    .errors(errors).hint("Then the sump face carries load, and its fastenings matter"))
            }
            (Field::textarea("note", "Note", &form.note, 3).errors(errors).optional())
            div.actions {
                button type="submit" { "Save" }
                a.button.quiet href=(back_to) { "Cancel" }
            }
        }
    })
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct NewQuery {
    pattern: String,
}

async fn new(who: SignedIn, query: web::Query<NewQuery>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let patterns = db::patterns(&mut tx).await?;
    let form = VariantForm {
        pattern: query.pattern.clone(),
        ..VariantForm::default()
    };
    let of = Of::New {
        patterns: &patterns,
    };
    Ok(view(&who, &of, &form, &FormErrors::default(), None).into())
}

async fn create(who: SignedIn, form: CheckedForm<VariantForm>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let patterns = db::patterns(&mut tx).await?;
    let mut errors = FormErrors::default();
    let pattern = errors.choice("pattern", &form.pattern, |text| {
        patterns
            .iter()
            .find(|pattern| pattern.id.to_string() == text)
    });
    let blank = Variant {
        id: Uuid::now_v7(),
        pattern_id: pattern.map(|pattern| pattern.id).unwrap_or_default(),
        name: String::new(),
        gearbox_under: false,
        features: Vec::new(),
        note: String::new(),
        version: 1,
    };
    match form.parse(blank) {
        Err(more) => more
            .iter()
            .for_each(|(field, message)| errors.add(field, message)),
        Ok(variant) if errors.is_empty() => match db::insert_variant(&mut tx, &variant).await {
            Ok(()) => {
                tx.commit().await?;
                let to = variant_path(variant.id);
                return Ok(Reply::see_other(to).flash("Saved. Now add its features."));
            }
            Err(error) => errors.absorb(error)?,
        },
        Ok(_) => {}
    }
    let of = Of::New {
        patterns: &patterns,
    };
    Ok(view(&who, &of, &form, &errors, None).invalid().into())
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let variant = db::variant(&mut tx, *id).await?;
    let form = VariantForm::of(&variant);
    Ok(view(&who, &Of::Stored(*id), &form, &FormErrors::default(), None).into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<VariantForm>) -> Answer {
    who.require(Role::Office)?;
    let seen = version(&form.version)?;
    let mut tx = who.begin().await?;
    let stored = db::variant(&mut tx, *id).await?;
    if stored.version != seen {
        return Ok(stale(&who, &stored, &form));
    }
    let errors = match form.parse(stored) {
        Err(errors) => errors,
        Ok(variant) => match db::update_variant(&mut tx, &variant).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(variant_path(*id)).flash("Saved"));
            }
            Err(error @ DbError::Stale(_)) => return Err(error.into()),
            Err(error) => {
                let mut errors = FormErrors::default();
                errors.absorb(error)?;
                errors
            }
        },
    };
    Ok(view(&who, &Of::Stored(*id), &form, &errors, None)
        .invalid()
        .into())
}

fn stale(who: &SignedIn, stored: &Variant, typed: &VariantForm) -> Reply {
    let now = VariantForm::of(stored);
    let under = |form: &VariantForm| if form.gearbox_under() { "yes" } else { "no" };
    let changed: Vec<Changed> = [
        Changed::if_differs("Name", &now.name, &typed.name),
        Changed::if_differs("Gearbox under the block", under(&now), under(typed)),
        Changed::if_differs("Note", &now.note, &typed.note),
    ]
    .into_iter()
    .flatten()
    .collect();
    let form = VariantForm {
        version: now.version,
        ..typed.clone()
    };
    let notice = stale_notice("The variant", &changed);
    view(
        who,
        &Of::Stored(stored.id),
        &form,
        &FormErrors::default(),
        Some(notice),
    )
    .status(StatusCode::CONFLICT)
    .into()
}
