//! A pattern and its variants from one table: typed or pasted, read with what is wrong by row, added in one step.

use super::drawing::size_label;
use super::variant::depth;
use super::{back, pattern_path};
use crate::app::AppError;
use crate::app::enter_pattern::{self, Entered, Sent};
use crate::castings::entry::Column;
use crate::castings::fault::{LONGEST_NAME, MOST_CYLINDERS};
use crate::castings::{Feature, Metal};
use crate::db::people::Role;
use crate::db::{DbError, Unique};
use crate::units::text::capitalised;
use crate::units::{Code, LengthUnit};
use crate::web::ui::forms::Choice;
use crate::web::ui::show::count;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::BTreeSet;

const TITLE: &str = "New pattern from a table";
const PATH: &str = "/castings/patterns/from-table";
/// Faults that are told.
const TOLD: usize = 50;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(PATH)
            .route(web::get().to(start))
            .route(web::post().to(send)),
    );
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct TableForm {
    name: String,
    cylinders: String,
    mains: String,
    metal: String,
    table: String,
    column: Vec<String>,
    gearbox_under: Vec<String>,
    /// Sent by the button that adds it.
    add: String,
}

async fn start(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let form = TableForm {
        metal: Metal::GreyIron.code().to_owned(),
        ..TableForm::default()
    };
    Ok(page(&who, &form, None, &FormErrors::default()).into())
}

async fn send(who: SignedIn, form: CheckedForm<TableForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = labelled();
    let name = errors.required_text("name", &form.name, LONGEST_NAME);
    let most = i64::from(MOST_CYLINDERS);
    let cylinders = errors.int("cylinders", &form.cylinders, 1..=most);
    let mains = errors.int("mains", &form.mains, 1..=most + 1);
    let metal = errors.choice("metal", &form.metal, Metal::from_code);
    if form.table.trim().is_empty() {
        errors.add("table", "Enter a row for each hole, headings first");
        return Ok(page(&who, &form, None, &errors).invalid().into());
    }
    let columns: Vec<Column> = form
        .column
        .iter()
        .map(|code| Column::from_code(code).unwrap_or(Column::Ignore))
        .collect();
    let gearbox_under: BTreeSet<String> = form.gearbox_under.iter().cloned().collect();
    let whole = |figure: Option<i64>| figure.and_then(|n| u32::try_from(n).ok());
    let sent = Sent {
        name: name.as_deref().unwrap_or("…"),
        // Until they are typed, the table is read as if of the smallest.
        cylinders: whole(cylinders).unwrap_or(1),
        mains: whole(mains).unwrap_or(1),
        metal: metal.unwrap_or_default(),
        table: &form.table,
        columns: &columns,
        gearbox_under: &gearbox_under,
        unit: who.shop.length_unit,
    };
    let looked = enter_pattern::look(&sent);
    say_faults(&looked, &mut errors);
    if form.add != "yes" || !errors.is_empty() {
        let page = page(&who, &form, Some(&looked), &errors);
        return Ok(if errors.is_empty() {
            page
        } else {
            page.invalid()
        }
        .into());
    }
    match enter_pattern::take(&who.actor(), &sent).await {
        Ok(entered) => {
            let variants = i64::try_from(entered.variants.len()).unwrap_or(i64::MAX);
            let said = format!("Added with {}.", count(variants, "variant", "variants"));
            return Ok(Reply::see_other(pattern_path(entered.pattern.id)).flash(said));
        }
        Err(AppError::Db(DbError::Duplicate(Unique::VariantName))) => {
            errors.add("table", "There is a variant of one of these names already");
        }
        Err(AppError::Db(error)) => errors.absorb(error)?,
        Err(other) => return Err(other.into()),
    }
    Ok(page(&who, &form, Some(&looked), &errors).invalid().into())
}

fn labelled() -> FormErrors {
    let mut errors = FormErrors::default();
    for (field, label) in [
        ("name", "Name"),
        ("cylinders", "Cylinders"),
        ("mains", "Main bearings"),
        ("metal", "Metal"),
        ("table", "Table"),
    ] {
        errors.label(field, label);
    }
    errors
}

/// What is wrong, beside the table where it is of a row or a variant.
fn say_faults(looked: &Entered, errors: &mut FormErrors) {
    let draft = &looked.draft;
    if draft.variants.is_empty() {
        errors.add(
            "table",
            "Name at least one variant in the headings: its column says where it is machined",
        );
    } else if draft.bosses.is_empty() && draft.faults.is_empty() {
        errors.add("table", "Enter a row for each hole under the headings");
    } else if !draft.faults.is_empty() {
        errors.add("table", "Correct the rows below");
    }
    if draft.too_many {
        let most = crate::castings::entry::MOST_ROWS;
        errors.add("table", format!("At most {most} rows at once"));
    }
    for fault in &looked.faults {
        let field = match fault.field() {
            field @ ("cylinders" | "mains") => field,
            _ => "table",
        };
        errors.add(field, fault);
    }
}

fn page(who: &SignedIn, form: &TableForm, looked: Option<&Entered>, errors: &FormErrors) -> Page {
    let metals = Metal::ALL.iter();
    let metals = metals.map(|m| Choice::new(m.code(), m.word())).collect();
    let ready = errors.is_empty() && looked.is_some_and(Entered::is_sound);
    let body = html! {
        (back("/castings", "Castings"))
        h1 { (TITLE) }
        p.lead { "One row for each hole or group of holes, one column for each variant. Positions can wait until somebody measures them." }
        (errors.summary())
        form.grid method="post" action=(PATH) novalidate {
            (csrf_field(who))
            (Field::text("name", "Name", &form.name).wide().autofocus(looked.is_none() && errors.is_empty()).errors(errors))
            (Field::int("cylinders", "Cylinders", &form.cylinders).errors(errors))
            (Field::int("mains", "Main bearings", &form.mains).errors(errors))
            (Field::select("metal", "Metal", &form.metal, metals).errors(errors))
            (Field::textarea("table", "Table", &form.table, 10).wide().errors(errors)
                .hint("Paste it from a spreadsheet, or type it with semicolons. In a variant’s column, x: machined like that; empty: not machined; or what is machined there instead"))
            @if looked.is_none() { (example()) }
            @if let Some(looked) = looked { (mapping(form, looked)) }
            div.actions {
                button.quiet[ready] type="submit" { @if looked.is_some() { "Check again" } @else { "Check the table" } }
                @if ready {
                    button type="submit" name="add" value="yes" { "Add the pattern" }
                }
                a.button.quiet href="/castings" { "Cancel" }
            }
        }
        @if let Some(looked) = looked { (faults(looked)) (preview(looked, who.shop.length_unit)) }
    };
    Page::new(who, TITLE).nav(Section::Castings).body(body)
}

fn example() -> Markup {
    html! {
        div.wide {
            p.small.muted { "For example:" }
            pre.small {
                "Feature; Farm; Marine\n"
                "rear face, four of M10×22 deep; x; x\n"
                "rear D1, dowel 12 H7 × 15 deep; ; x\n"
                "rear face, M8 × 18 deep; x; M10 × 22 deep\n"
                "left side, plain 8 through; x; G 1/4"
            }
        }
    }
}

fn column_words(column: Column) -> &'static str {
    match column {
        Column::Face => "Face",
        Column::Label => "Label of the place",
        Column::Feature => "Feature",
        Column::Count => "How many alike",
        Column::Size => "Size or thread",
        Column::Fit => "Fit",
        Column::Depth => "Depth",
        Column::Across => "Across from the datum",
        Column::Up => "Up from the datum",
        Column::LargestMetal => "Metal: largest diameter",
        Column::DeepestMetal => "Metal: how deep",
        Column::Note => "Note",
        Column::Variant => "A variant",
        Column::Ignore => "Leave out",
    }
}

fn mapping(form: &TableForm, looked: &Entered) -> Markup {
    let choices = || {
        let all = Column::ALL.iter();
        all.map(|column| Choice::new(column.code(), column_words(*column)))
            .collect()
    };
    let draft = &looked.draft;
    html! {
        details.wide {
            summary { "What the columns hold" }
            div.grid {
                @for (at, (heading, column)) in draft.headings.iter().zip(&draft.columns).enumerate() {
                    @let label = if heading.is_empty() { format!("Column {}", at + 1) } else { format!("“{heading}”") };
                    (Field::select("column", &label, column.code(), choices()).id(&format!("column-{at}")))
                }
            }
        }
        @if !draft.variants.is_empty() {
            fieldset.wide {
                legend { "A gearbox hangs under the block of" }
                @for (at, (name, _)) in draft.variants.iter().enumerate() {
                    @let id = format!("gearbox-{at}");
                    p { label.pick for=(id) {
                        input id=(id) type="checkbox" name="gearbox_under" value=(name) checked[form.gearbox_under.contains(name)];
                        " " (name)
                    } }
                }
            }
        }
    }
}

fn faults(looked: &Entered) -> Markup {
    let faults = &looked.draft.faults;
    html! {
        @if !faults.is_empty() {
            section.card #faults {
                h2 { "Rows to correct" }
                ul.plain { @for (row, fault) in faults.iter().take(TOLD) { li { "Row " (row) ": " (fault) } } }
                @if faults.len() > TOLD { p.muted { "And " (faults.len() - TOLD) " more." } }
            }
        }
    }
}

fn preview(looked: &Entered, unit: LengthUnit) -> Markup {
    let cell = |feature: Option<&Feature>| match feature {
        Some(feature) if feature.depth.is_some() => {
            format!(
                "{}, {} deep",
                size_label(feature, unit),
                depth(feature, unit)
            )
        }
        Some(feature) => format!("{}, through", size_label(feature, unit)),
        None => "–".to_owned(),
    };
    html! {
        @if !looked.pattern.bosses.is_empty() {
            section.card {
                h2 { "As it will be added" }
                p.small.muted { "Castings of one pattern come out of one mould. So where one variant has a hole, the other has the metal for it: as much as the widest and deepest of them shows, unless the table says." }
                table.cells {
                    thead { tr {
                        th scope="col" { "Place" }
                        @for variant in &looked.variants { th scope="col" { (variant.name) } }
                    } }
                    tbody { @for boss in &looked.pattern.bosses { tr {
                        th scope="row" { (capitalised(boss.place.face.word())) ", " (boss.place.label) }
                        @for variant in &looked.variants {
                            td data-label=(variant.name) { (cell(variant.feature(&boss.place))) }
                        }
                    } } }
                }
                @if !looked.pattern.outlines.is_empty() {
                    p.small.muted { "Faces with positions are drawn just large enough for them. Correct their outlines on the pattern." }
                }
            }
        }
    }
}
