use super::*;
use crate::castings::samples::{at, fitted, length, on, pattern, plain, tapped};
use crate::castings::{Face, Pattern};
use crate::units::Code;

fn drawn(pattern: &Pattern, marked: &[(Feature, Option<Action>)]) -> String {
    let features: Vec<Marked<'_>> = marked
        .iter()
        .map(|(feature, action)| Marked {
            feature,
            action: *action,
        })
        .collect();
    let drawing = Drawing {
        id: "rear",
        title: "Rear face",
        outline: pattern.outline(Face::Rear).unwrap(),
        features: &features,
        unit: LengthUnit::Mm,
    };
    face(&drawing).into_string()
}

#[test]
fn a_mark_is_a_shape_and_a_word_and_is_spoken() {
    let features: Vec<_> = Action::ALL
        .iter()
        .zip(1u32..)
        .map(|(action, i)| {
            let spot = at(
                on(tapped("M10"), Face::Rear, &format!("R{i}")),
                &(i * 50).to_string(),
                "100",
            );
            (spot, Some(*action))
        })
        .collect();
    let svg = drawn(&pattern(), &features);
    for (feature, action) in &features {
        let label = format!("{} {}", mark_word(action.unwrap()), feature.place.label);
        assert!(svg.contains(&format!(">{label}")), "no “{label}” in {svg}");
    }
    assert!(
        svg.contains("<desc id=\"rear-desc\">Differing: R1 tapped hole M10x1.5, through: make; "),
        "{svg}"
    );
    let shapes: std::collections::BTreeSet<String> = Action::ALL
        .iter()
        .map(|action| symbol(*action).into_string())
        .collect();
    assert_eq!(
        shapes.len(),
        Action::ALL.len(),
        "every mark has a shape of its own"
    );
}

#[test]
fn a_thread_is_three_quarters_of_a_circle_open_to_the_upper_right() {
    let pattern = Pattern {
        outlines: vec![Outline {
            face: Face::Rear,
            width: length("270"),
            height: length("270"),
        }],
        ..pattern()
    };
    // At one unit to the millimetre M20 has a radius of 10 and its centre at (15 + 100, 15 + 270 − 200).
    let svg = drawn(&pattern, &[(at(tapped("M20"), "100", "200"), None)]);
    assert!(svg.contains("M125 85A10 10 0 1 1 115 75"), "{svg}");
}

#[test]
fn sizes_are_written_as_on_a_drawing_in_the_shops_unit() {
    assert_eq!(
        size_label(&fitted("12.7", "H7"), LengthUnit::Mm),
        "⌀12.7 H7"
    );
    assert_eq!(
        size_label(&fitted("12.7", "H7"), LengthUnit::Inch),
        "⌀1/2\" H7"
    );
    let six = Feature {
        count: 6,
        ..plain("8.5")
    };
    assert_eq!(size_label(&six, LengthUnit::Mm), "6× ⌀8.5");
    assert_eq!(size_label(&tapped("3/8 BSW"), LengthUnit::Mm), "3/8-16 BSW");
}

#[test]
fn what_was_typed_cannot_break_out_of_the_picture() {
    let svg = drawn(
        &pattern(),
        &[(on(plain("8"), Face::Rear, "<script>"), None)],
    );
    assert!(!svg.contains("<script>"));
}
