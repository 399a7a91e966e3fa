//! A pattern added or changed: its name, its bearings, and the outline of each face.

use super::pattern_path;
use crate::castings::fault::{LONGEST_NAME, LONGEST_NOTE, MOST_CYLINDERS};
use crate::castings::{Face, Fault, Metal, Outline, Pattern, Variant};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, castings as db};
use crate::units::text::capitalised;
use crate::units::{Code, LengthUnit};
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{
    self, Api, At, Copying, Done, Fields, Group, Paths, Record, Shape, Sheet, Typed, Words, at,
};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<Pattern>(cfg);
}

impl Record for Pattern {
    /// Its variants, whose features must stay on its faces.
    type Around = Vec<Variant>;
    const NAV: Section = Section::Castings;
    const ADDED_TO_LIST: bool = false;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "/castings/patterns/new",
        add: "/castings/patterns",
        edit: "/castings/patterns/{id}/edit",
        delete: "/castings/patterns/{id}/delete",
        copy: "/castings/patterns/{id}/copy",
    };
    const API: Api = Api::of("pattern", "/api/v1/patterns", "/api/v1/patterns/{id}");
    const EMPTY: &'static [&'static str] = &["cylinders", "mains"];
    const AROUND_EACH: bool = true;

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(db::pattern(tx, at.id).await?)
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        Ok(db::patterns(tx).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        stored: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(match stored {
            Some(pattern) => db::variants_of(tx, &[pattern.id]).await?,
            None => Vec::new(),
        })
    }

    fn blank(_: &Self::Around, _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            name: String::new(),
            cylinders: 0,
            mains: 0,
            outlines: Vec::new(),
            bosses: Vec::new(),
            marks: String::new(),
            metal: Metal::default(),
            weight_kg: None,
            sizes: crate::castings::measured::Sizes::default(),
            version: 1,
        }
    }

    fn fields(_: &Self::Around, who: &SignedIn, _: bool) -> Fields<Self> {
        let unit = who.shop.length_unit;
        let most = i64::from(MOST_CYLINDERS);
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Name", LONGEST_NAME, at!(name))
            .wide()
            .focus();
        f.int("cylinders", "Cylinders", 1..=most, at!(cylinders));
        f.int("mains", "Main bearings", 1..=most + 1, at!(mains));
        f.area("marks", "Marks it is known by", 2, LONGEST_NOTE, at!(marks))
            .hint("Cast or stamped marks, and where they are");
        let metals = Metal::ALL.iter();
        let metals = metals.map(|m| Choice::new(m.code(), m.word())).collect();
        f.value(
            Field::select("metal", "Metal", "", metals),
            at!(metal),
            |metal: &Metal| metal.code().to_owned(),
            |errors, name, raw| match raw {
                // Most blocks are of grey iron, and whoever sends no metal means one.
                "" => Some(Metal::GreyIron),
                code => errors.choice(name, code, Metal::from_code),
            },
        );
        f.decimal(
            "weight_kg",
            "Weight of a bare casting",
            Decimal::ONE..=Decimal::from(20_000),
            at!(weight_kg),
        )
        .unit("kg")
        .hint("For lifting, and said with the work. Leave it empty where nobody has weighed one");
        f.group(Group::new(
            "Faces as drawn",
            Face::ALL
                .iter()
                .flat_map(|face| outline_fields(*face, unit))
                .map(Shape::One)
                .collect(),
            move |pattern: &Self, typed| {
                for outline in &pattern.outlines {
                    typed.set(&width_field(outline.face), outline.width.entry(unit));
                    typed.set(&height_field(outline.face), outline.height.entry(unit));
                }
            },
            move |pattern, typed, errors| {
                pattern.outlines = read_outlines(typed, unit, errors);
            },
            move |typed, errors| faces(typed, unit, errors),
            |typed| {
                let faces = Face::ALL.iter().filter_map(|face| {
                    let width = typed.get(&width_field(*face)).trim();
                    let height = typed.get(&height_field(*face)).trim();
                    let drawn = !width.is_empty() || !height.is_empty();
                    drawn.then(|| format!("{face} {width} × {height}"))
                });
                faces.collect::<Vec<_>>().join("; ")
            },
        ));
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    fn check(&mut self, variants: &Self::Around, _: &SignedIn, errors: &mut FormErrors) {
        if errors.is_empty() {
            still_on_the_faces(self, variants, errors);
            for fault in self.faults() {
                errors.add(fault.field(), fault);
            }
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::insert_pattern(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::update_pattern(tx, self).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::delete_pattern(tx, self.id, self.version).await
    }

    async fn copy(&self, tx: &mut ShopTx, key: Uuid, name: &str) -> Result<(), DbError> {
        db::copy_pattern(tx, self.id, key, name).await
    }

    fn before_copy(&self, _: &Self::Around) -> Option<Copying> {
        Some(Copying {
            longest: LONGEST_NAME,
            words: "Its faces and bosses are copied; its variants are not.",
            to: "/castings/patterns/{id}",
        })
    }

    fn before_delete(&self, _: &Self::Around) -> Option<(String, String)> {
        Some((
            format!("Delete the pattern {}", self.name),
            "Its faces and bosses are deleted too. A pattern with variants can’t be deleted."
                .to_owned(),
        ))
    }

    fn words(&self, _: &Self::Around, new: bool) -> Words {
        let cancel = if new {
            "/castings".to_owned()
        } else {
            pattern_path(self.id)
        };
        Words {
            title: if new {
                "New pattern".to_owned()
            } else {
                format!("Edit {}", self.name)
            },
            save: "Save",
            ..Words::of(new, "", &self.name, &cancel).back("Back")
        }
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        match done {
            Done::Deleted => ("/castings".to_owned(), "Deleted.".to_owned()),
            _ => (pattern_path(self.id), "Saved.".to_owned()),
        }
    }
}

fn width_field(face: Face) -> String {
    format!("width-{}", face.code())
}

fn height_field(face: Face) -> String {
    format!("height-{}", face.code())
}

/// How far a face reaches.
fn outline_fields(face: Face, unit: LengthUnit) -> [Field; 2] {
    let called = capitalised(face.word());
    [
        (width_field(face), format!("{called}, across")),
        (height_field(face), format!("{called}, up")),
    ]
    .map(|(name, label)| Field::length(&name, &label, "", unit).optional())
}

/// The faces of which a width or a height is typed.
fn read_outlines(typed: &Typed, unit: LengthUnit, errors: &mut FormErrors) -> Vec<Outline> {
    let mut outlines = Vec::new();
    for face in Face::ALL {
        let names = [width_field(*face), height_field(*face)];
        if names.iter().all(|name| typed.get(name).trim().is_empty()) {
            continue;
        }
        let [width, height] = names.map(|name| errors.length(&name, typed.get(&name), unit));
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
    outlines
}

fn faces(typed: &Typed, unit: LengthUnit, errors: &FormErrors) -> Markup {
    html! {
        fieldset.wide.faces {
            legend { "Faces as drawn" }
            p.hint { "Width and height from the face’s datum, its lower left corner as you look at it. Leave out a face that is never machined. Enter mm, inches (3.5 in, 1 3/8 in) or thou." }
            @for face in Face::ALL {
                div.pair {
                    @for field in outline_fields(*face, unit) {
                        @let typed = typed.get(field.name()).to_owned();
                        (field.filled(&typed).errors(errors))
                    }
                }
            }
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
                        "{} of “{}” is on this face and would be off it",
                        feature.place.label, variant.name
                    ),
                );
            }
        }
    }
}
