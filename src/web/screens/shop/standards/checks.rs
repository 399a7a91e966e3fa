//! The checks of an element: one row of fields each.

use super::fields::all;
use crate::estimating::{Check, CheckKind, Element, Gauge};
use crate::quality::reading;
use crate::units::Code;
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{Group, Row, rows};
use crate::web::ui::{Field, FormErrors};
use rust_decimal::Decimal;

/// The columns of a row, in order.
const COLUMNS: [&str; 11] = [
    "check_what",
    "check_kind",
    "check_nominal",
    "check_lower",
    "check_upper",
    "check_unit",
    "check_gauge",
    "check_instrument",
    "check_note",
    "check_places",
    "check_each",
];

fn fields() -> Vec<Field> {
    let kinds = CheckKind::ALL
        .iter()
        .map(|k| Choice::new(k.code(), k.word()));
    let gauges = Gauge::ALL.iter().map(|g| Choice::new(g.code(), g.word()));
    let each = [
        Choice::new("once", "once"),
        Choice::new("each", "for each main, cylinder or feature"),
    ];
    let [
        what,
        kind,
        nominal,
        lower,
        upper,
        unit,
        gauge,
        instrument,
        note,
        places,
        often,
    ] = COLUMNS;
    vec![
        Field::text(what, "Check", ""),
        Field::select(kind, "Limits are", "", kinds.collect()),
        Field::decimal(nominal, "Nominal", ""),
        Field::decimal(lower, "Smallest", ""),
        Field::decimal(upper, "Largest", ""),
        Field::text(unit, "Unit", ""),
        Field::select(gauge, "Limit gauge", "", gauges.collect()),
        Field::text(instrument, "Instrument", ""),
        Field::text(note, "What passes, or a note", ""),
        Field::text(places, "Places, with commas", ""),
        Field::select(often, "Taken", "", each.into()),
    ]
}

pub(super) fn checks() -> Group<Element> {
    rows(
        (
            "Checks",
            "checks",
            "What it must pass. Smallest and largest are the limits themselves: for “within 0.05” enter -0.05 and 0.05. For several \
             readings name the places: top, middle, bottom.",
        ),
        fields(),
        |element: &Element| element.checks.iter().map(written).collect(),
        |element, rows, errors| {
            let checks = rows.iter().map(|row| read(row, errors));
            if let Some(checks) = all(checks.collect()) {
                element.checks = checks;
            }
        },
    )
}

fn written(check: &Check) -> Vec<String> {
    let number = |limit: Option<Decimal>| limit.map(|n| n.to_string()).unwrap_or_default();
    let often = if check.each { "each" } else { "once" };
    vec![
        check.what.clone(),
        check.kind.code().to_owned(),
        number(check.nominal),
        number(check.lower),
        number(check.upper),
        check.unit.clone(),
        check.gauge.code().to_owned(),
        check.instrument.clone(),
        check.note.clone(),
        check.places.join(", "),
        often.to_owned(),
    ]
}

fn read(row: &Row, errors: &mut FormErrors) -> Option<Check> {
    let [
        what,
        kind,
        nominal,
        lower,
        upper,
        unit,
        gauge,
        instrument,
        note,
        places,
        _,
    ] = COLUMNS.map(|name| row.id(name));
    let said = errors.required_text(&what, row.get(0), 200);
    let of_kind = match row.get(1) {
        "" => Some(CheckKind::YesNo),
        code => errors.choice(&kind, code, CheckKind::from_code),
    };
    let nominal = number(&nominal, row.get(2), errors);
    let lower = number(&lower, row.get(3), errors);
    let upper = number(&upper, row.get(4), errors);
    let unit = errors.text(&unit, row.get(5), 12);
    let with = match row.get(6) {
        "" => Some(Gauge::None),
        code => errors.choice(&gauge, code, Gauge::from_code),
    };
    let instrument = errors.text(&instrument, row.get(7), 120);
    let note = errors.text(&note, row.get(8), 400);
    let at = errors.text(&places, row.get(9), 600);
    let check = Check {
        what: said?,
        kind: of_kind?,
        nominal: nominal?,
        fit: String::new(),
        lower: lower?,
        upper: upper?,
        unit: unit?,
        gauge: with?,
        instrument: instrument?,
        note: note?,
        places: (at?.split(','))
            .map(|place| place.trim().to_owned())
            .filter(|place| !place.is_empty())
            .collect(),
        each: row.get(10) == "each",
    };
    match check.fault() {
        Some((field, why)) => {
            errors.add(&row.id(&format!("check_{field}")), why);
            None
        }
        None => Some(check),
    }
}

/// A number or nothing; `None` when it is neither.
fn number(field: &str, typed: &str, errors: &mut FormErrors) -> Option<Option<Decimal>> {
    if typed.is_empty() {
        return Some(None);
    }
    let found = reading(typed);
    if found.is_none() {
        errors.add(field, "Enter a number, for example 0.05");
    }
    found.map(Some)
}
