//! The fields of an element's form.

use super::form::{ElementForm, cell, filled};
use crate::db::people::Role;
use crate::estimating::{Basis, Process, Stage, Standing};
use crate::units::Code;
use crate::web::ui::forms::Choice;
use crate::web::ui::{Field, FormErrors, SignedIn};
use maud::{Markup, html};
use std::collections::BTreeSet;

/// Words offered as one types.
#[derive(Debug, Default)]
pub(super) struct Suggestions {
    pub(super) kinds: BTreeSet<String>,
    pub(super) skills: BTreeSet<String>,
    pub(super) tools: BTreeSet<String>,
}

/// Empty rows offered under every list.
const SPARE: usize = 2;

pub(super) fn fields(
    who: &SignedIn,
    suggested: &Suggestions,
    form: &ElementForm,
    errors: &FormErrors,
) -> Markup {
    html! {
        (the_work(form, errors))
        (the_time(form, errors))
        (cuts(who, form, errors))
        (checks(form, errors))
        (Field::textarea("cautions", "Cautions, one a line", &form.cautions, 4).optional()
            .hint("They stand where the work is instructed: guards, lifting, rotating cutters, swarf, pressure").errors(errors))
        @if who.may(Role::Office) {
            (materials(who, form, errors))
            h2 { "Sent out" }
            p.hint { "Only where the kind of machine is “outside”." }
            (Field::money("outside_price", "Price each", &form.outside_price, who.shop.currency).optional().errors(errors))
            (Field::int("outside_days", "Days away", &form.outside_days).unit("days").optional().errors(errors))
        }
        (list("kinds", &suggested.kinds))
        (list("skills", &suggested.skills))
        (list("tools", &suggested.tools))
    }
}

fn list(id: &str, words: &BTreeSet<String>) -> Markup {
    html! { datalist id=(id) { @for word in words { option value=(word) {} } } }
}

fn the_work(form: &ElementForm, errors: &FormErrors) -> Markup {
    let stages = Stage::ALL.iter().map(|s| Choice::new(s.code(), s.word()));
    let bases = Basis::ALL.iter().map(|b| Choice::new(b.code(), b.word()));
    let standings = Standing::ALL
        .iter()
        .map(|s| Choice::new(s.code(), s.word()));
    html! {
        h2 { "The work" }
        (Field::text("code", "Code", &form.code).hint("Capitals, digits and hyphens, like DOWEL-REAM; rules ask for it").errors(errors))
        (Field::text("name", "What is done", &form.name).errors(errors))
        (Field::select("stage", "Stage", &form.stage, stages.collect()).errors(errors))
        (Field::text("machine_kind", "Kind of machine", &form.machine_kind).suggestions("kinds").errors(errors))
        (Field::text("skill", "Skill", &form.skill).suggestions("skills").errors(errors))
        (Field::select("basis", "How often", &form.basis, bases.collect()).errors(errors))
        (Field::select("standing", "Done", &form.standing, standings.collect()).errors(errors))
        (Field::checkbox("can_fail", "A donor can fail here", form.can_fail == "yes"))
        (Field::checkbox("apart", "Done to a part off the block, so it need not wait for the block", form.apart == "yes"))
    }
}

fn the_time(form: &ElementForm, errors: &FormErrors) -> Markup {
    let kinds = vec![
        Choice::new("points", "Three points"),
        Choice::new("cv", "Coefficient of variation"),
    ];
    let ratio = |name, label, value: &str| {
        Field::decimal(name, label, value)
            .unit("× standard")
            .optional()
            .errors(errors)
    };
    html! {
        h2 { "The time" }
        p.hint { "Best source first: your revised standard; the cuts below, calculated, plus handling; your own figure. 90, 1:30 and 1.5 h all read." }
        (Field::minutes("setup", "Setup", &form.setup).hint("Shared by all that is done on the same face and machine").errors(errors))
        (Field::minutes("revised", "Revised standard, each", &form.revised).optional()
            .hint("From the shop's own hours").errors(errors))
        (Field::minutes("handling", "Handling, each", &form.handling).hint("Added to calculated cutting time").errors(errors))
        (Field::minutes("owner_figure", "Your figure, each", &form.owner_figure).errors(errors))
        (Field::decimal("attended_share", "Attended", &form.attended_share).unit("% of the run")
            .hint("Setup is always attended").errors(errors))
        (Field::radios("spread", "How far it spreads", &form.spread, kinds).wide().errors(errors))
        (ratio("low", "Lowest", &form.low))
        (ratio("likely", "Likeliest", &form.likely))
        (ratio("high", "Highest", &form.high))
        (Field::decimal("cv", "Standard deviation over mean", &form.cv).optional()
            .hint("For a coefficient of variation").errors(errors))
    }
}

/// As many rows as are written in, and some to spare.
fn rows(columns: &[&[String]]) -> std::ops::Range<usize> {
    0..filled(columns).last().map_or(0, |last| last + 1) + SPARE
}

/// A field in a row of a list.
fn row_field(field: Field, name: &str, row: usize, errors: &FormErrors) -> Field {
    field.id(&format!("{name}-{row}")).optional().errors(errors)
}

fn section(title: &str, name: &str, hint: &str, errors: &FormErrors, rows: Markup) -> Markup {
    html! {
        fieldset.rows.wide id=(name) {
            legend { h2 { (title) } }
            p.hint { (hint) }
            @if let Some(error) = errors.get(name) {
                p.error { span.sign aria-hidden="true" { "!" } " " (error) }
            }
            (rows)
        }
    }
}

fn cuts(who: &SignedIn, form: &ElementForm, errors: &FormErrors) -> Markup {
    let columns = [&form.cut_process, &form.cut_tool, &form.cut_diameter].map(Vec::as_slice);
    let processes = || -> Vec<Choice> {
        let all = Process::ALL.iter();
        all.map(|p| Choice::new(p.code(), p.word())).collect()
    };
    let unit = who.shop.length_unit;
    section(
        "Cuts",
        "cuts",
        "In order, if the time is to be calculated from the feature it makes. Leave the diameter empty for the feature's own.",
        errors,
        html! {
            @for row in rows(&columns) {
                div.row {
                    (row_field(Field::select("cut_process", "Process", cell(&form.cut_process, row), processes()), "cut_process", row, errors))
                    (row_field(Field::text("cut_tool", "Tool", cell(&form.cut_tool, row)).suggestions("tools"), "cut_tool", row, errors))
                    (row_field(Field::int("cut_passes", "Passes", cell(&form.cut_passes, row)), "cut_passes", row, errors))
                    (row_field(Field::length("cut_diameter", "Diameter", cell(&form.cut_diameter, row), unit), "cut_diameter", row, errors))
                }
            }
        },
    )
}

fn checks(form: &ElementForm, errors: &FormErrors) -> Markup {
    let columns = [&form.check_what, &form.check_limits, &form.check_instrument].map(Vec::as_slice);
    section(
        "Checks",
        "checks",
        "What it must pass. Leave the limits empty to take them from the fit of the feature.",
        errors,
        html! {
            @for row in rows(&columns) {
                div.row {
                    (row_field(Field::text("check_what", "What", cell(&form.check_what, row)), "check_what", row, errors))
                    (row_field(Field::text("check_limits", "Limits", cell(&form.check_limits, row)), "check_limits", row, errors))
                    (row_field(Field::text("check_instrument", "With", cell(&form.check_instrument, row)), "check_instrument", row, errors))
                }
            }
        },
    )
}

fn materials(who: &SignedIn, form: &ElementForm, errors: &FormErrors) -> Markup {
    let columns = [
        &form.material_name,
        &form.material_quantity,
        &form.material_price,
    ]
    .map(Vec::as_slice);
    let currency = who.shop.currency;
    section(
        "Materials",
        "materials",
        "What it uses up each time it is done.",
        errors,
        html! {
            @for row in rows(&columns) {
                div.row {
                    (row_field(Field::text("material_name", "Material", cell(&form.material_name, row)), "material_name", row, errors))
                    (row_field(Field::decimal("material_quantity", "Quantity", cell(&form.material_quantity, row)), "material_quantity", row, errors))
                    (row_field(Field::money("material_price", "Price of one", cell(&form.material_price, row), currency), "material_price", row, errors))
                }
            }
        },
    )
}
