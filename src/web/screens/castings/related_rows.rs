//! The lists in the form of a related pattern: what stays different, offsets by face, other labels.

use super::face_choices;
use crate::castings::fault::LONGEST_LABEL;
use crate::castings::{Correspondence, Face, SameSpot, Shift};
use crate::enquiry::{Lasting, Purpose, RelatedPattern};
use crate::units::{Code, Length, LengthUnit};
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{Group, Row, rows};
use crate::web::ui::{Field, FormErrors};

/// Longest description of a difference, or caution of one, in characters: both are said on the phone.
const LONGEST_SAID: usize = 200;
/// What is written between the purposes of a choice that names several.
const AND: char = '+';
/// The purposes that may refuse something, with their words.
const REFUSING: [(Purpose, &str); 3] = [
    (Purpose::Original, "restored to original"),
    (Purpose::Working, "a working boat or machine"),
    (Purpose::Competition, "competition"),
];

/// The purposes in words: "restored to original, competition".
pub(super) fn refused_words(purposes: &[Purpose]) -> String {
    let named = REFUSING
        .iter()
        .filter(|(purpose, _)| purposes.contains(purpose));
    named
        .map(|(_, words)| *words)
        .collect::<Vec<_>>()
        .join(", ")
}

fn refused_code(purposes: &[Purpose]) -> String {
    let named = REFUSING
        .iter()
        .filter(|(purpose, _)| purposes.contains(purpose));
    let codes: Vec<&str> = named.map(|(purpose, _)| purpose.code()).collect();
    codes.join(&AND.to_string())
}

fn refused_from(code: &str) -> Option<Vec<Purpose>> {
    let named = code.split(AND).filter(|part| !part.is_empty());
    named.map(Purpose::from_code).collect()
}

/// Every set of purposes, none first, then by how many.
fn refused_choices() -> Vec<Choice> {
    let sets = 0..1_u8 << REFUSING.len();
    let mut sets: Vec<Vec<Purpose>> = sets
        .map(|bits| {
            let places = REFUSING.iter().enumerate();
            let chosen = places.filter(|(n, _)| bits & (1 << n) != 0);
            chosen.map(|(_, (purpose, _))| *purpose).collect()
        })
        .collect();
    sets.sort_by_key(Vec::len);
    sets.iter()
        .map(|set| {
            let words = match set.as_slice() {
                [] => "nobody".to_owned(),
                set => refused_words(set),
            };
            Choice::new(refused_code(set), words)
        })
        .collect()
}

/// The rows read, when every one of them reads.
fn all<T>(
    rows: &[Row],
    errors: &mut FormErrors,
    read: impl Fn(&Row, &mut FormErrors) -> Option<T>,
) -> Option<Vec<T>> {
    let read: Vec<Option<T>> = rows.iter().map(|row| read(row, errors)).collect();
    read.into_iter().collect()
}

/// What stays different for good.
pub(super) fn lasting() -> Group<RelatedPattern> {
    rows(
        (
            "Stays different for good",
            "lasting",
            "What no machining changes: another ignition drive, a filter in an awkward place. The customer is told each of them.",
        ),
        vec![
            Field::text("lasting_what", "Difference", ""),
            Field::select("lasting_refused", "Will not do for", "", refused_choices()),
            Field::text("lasting_caution", "Caution for the customer", ""),
        ],
        |related: &RelatedPattern| {
            let written = |one: &Lasting| {
                vec![
                    one.what.clone(),
                    refused_code(&one.refused_for),
                    one.caution.clone(),
                ]
            };
            related.lasting.iter().map(written).collect()
        },
        |related, rows, errors| {
            if let Some(lasting) = all(rows, errors, one_lasting) {
                related.lasting = lasting;
            }
        },
    )
}

fn one_lasting(row: &Row, errors: &mut FormErrors) -> Option<Lasting> {
    let [what, refused, caution] =
        ["lasting_what", "lasting_refused", "lasting_caution"].map(|name| row.id(name));
    errors.label(&what, "Difference");
    let said = errors.required_text(&what, row.get(0), LONGEST_SAID);
    let refused_for = errors.choice(&refused, row.get(1), refused_from);
    let caution = errors.text(&caution, row.get(2), LONGEST_SAID);
    Some(Lasting {
        what: said?,
        refused_for: refused_for?,
        caution: caution?,
    })
}

/// Offsets by face.
pub(super) fn shifts(unit: LengthUnit) -> Group<RelatedPattern> {
    rows(
        (
            "Offsets",
            "shifts",
            "How far every place of a face is moved on the donor, each face measured from its own datum: to the right and up, with a minus to the left and down. Leave out a face whose places are the same.",
        ),
        vec![
            Field::select("shift_face", "Face", "", face_choices()),
            Field::length("shift_across", "Across", "", unit),
            Field::length("shift_up", "Up", "", unit),
        ],
        move |related: &RelatedPattern| {
            let written = |shift: &Shift| {
                vec![
                    shift.face.code().to_owned(),
                    shift.across.entry(unit),
                    shift.up.entry(unit),
                ]
            };
            related.places.shifts.iter().map(written).collect()
        },
        move |related, rows, errors| {
            let read = |row: &Row, errors: &mut FormErrors| one_shift(row, unit, errors);
            let Some(shifts) = all(rows, errors, read) else {
                return;
            };
            let places = Correspondence {
                shifts,
                labels: Vec::new(),
            };
            complain(&places, rows, "shift_face", errors);
            related.places.shifts = places.shifts;
        },
    )
}

fn one_shift(row: &Row, unit: LengthUnit, errors: &mut FormErrors) -> Option<Shift> {
    let [face, across, up] = ["shift_face", "shift_across", "shift_up"].map(|name| row.id(name));
    let chosen = errors.choice(&face, row.get(0), Face::from_code);
    let far = |errors: &mut FormErrors, field: &str, raw: &str| {
        let read = errors.optional(raw, |errors| errors.length(field, raw, unit));
        read.map(|length| length.unwrap_or(Length::ZERO))
    };
    let across = far(errors, &across, row.get(1));
    let up = far(errors, &up, row.get(2));
    Some(Shift {
        face: chosen?,
        across: across?,
        up: up?,
    })
}

/// Spots that are labelled differently.
pub(super) fn spots(wanted: &str) -> Group<RelatedPattern> {
    rows(
        (
            "Other labels",
            "spots",
            "Places that the donor’s pattern labels differently. Leave the first label empty where the donor’s place has no counterpart. A label that is not listed is the same place on both.",
        ),
        vec![
            Field::select("spot_face", "Face", "", face_choices()),
            Field::text("spot_wanted", &format!("Label on the {wanted}"), ""),
            Field::text("spot_donor", "Label on the donor", ""),
        ],
        |related: &RelatedPattern| {
            let written = |spot: &SameSpot| {
                vec![
                    spot.face.code().to_owned(),
                    spot.wanted.clone(),
                    spot.donor.clone(),
                ]
            };
            related.places.labels.iter().map(written).collect()
        },
        |related, rows, errors| {
            let Some(labels) = all(rows, errors, one_spot) else {
                return;
            };
            let places = Correspondence {
                shifts: Vec::new(),
                labels,
            };
            complain(&places, rows, "spot_donor", errors);
            related.places.labels = places.labels;
        },
    )
}

fn one_spot(row: &Row, errors: &mut FormErrors) -> Option<SameSpot> {
    let [face, wanted, donor] = ["spot_face", "spot_wanted", "spot_donor"].map(|name| row.id(name));
    errors.label(&donor, "Label on the donor");
    let chosen = errors.choice(&face, row.get(0), Face::from_code);
    let wanted = errors.text(&wanted, row.get(1), LONGEST_LABEL);
    let donor = errors.required_text(&donor, row.get(2), LONGEST_LABEL);
    Some(SameSpot {
        face: chosen?,
        wanted: wanted?,
        donor: donor?,
    })
}

/// What contradicts itself, beside the row that says it again.
fn complain(places: &Correspondence, rows: &[Row], field: &str, errors: &mut FormErrors) {
    for (row, why) in places.faults() {
        if let Some(row) = rows.get(row) {
            errors.add(&row.id(field), why);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_set_of_purposes_is_sent_and_read_back() {
        let choices = refused_choices();
        assert_eq!(choices.len(), 8);
        assert_eq!(
            (choices[0].value.as_str(), choices[0].label.as_str()),
            ("", "nobody")
        );
        for choice in choices {
            let read = refused_from(&choice.value).unwrap();
            assert_eq!(refused_code(&read), choice.value);
        }
        assert_eq!(refused_from("original+nonsense"), None);
    }
}
