//! Invented castings for the tests of this room.

use super::{
    Action, Boss, Face, Feature, FeatureKind, Outline, Pattern, Place, Point, RemedyRule, Variant,
    When,
};
use crate::units::{Length, LengthUnit};
use uuid::Uuid;

/// A length in millimetres, or as typed with its unit.
pub(crate) fn length(text: &str) -> Length {
    Length::parse(text, LengthUnit::Mm).unwrap()
}

/// A plain through hole at R1 of the rear face, at the datum.
pub(crate) fn plain(size: &str) -> Feature {
    Feature {
        place: Place::new(Face::Rear, "R1"),
        kind: FeatureKind::PlainHole,
        at: Some(Point {
            x: Length::ZERO,
            y: Length::ZERO,
        }),
        size: length(size),
        depth: None,
        thread: None,
        fit: None,
        count: 1,
        note: String::new(),
    }
}

/// A tapped through hole in the same spot.
pub(crate) fn tapped(thread: &str) -> Feature {
    let thread: crate::units::Thread = thread.parse().unwrap();
    Feature {
        kind: FeatureKind::TappedHole,
        size: thread.major_diameter(),
        thread: Some(thread),
        ..plain("1")
    }
}

/// A dowel hole with a fit in the same spot.
pub(crate) fn fitted(size: &str, fit: &str) -> Feature {
    Feature {
        kind: FeatureKind::DowelHole,
        fit: Some(fit.parse().unwrap()),
        ..plain(size)
    }
}

/// The feature at another position.
pub(crate) fn at(feature: Feature, x: &str, y: &str) -> Feature {
    Feature {
        at: Some(Point {
            x: length(x),
            y: length(y),
        }),
        ..feature
    }
}

/// The feature at another place.
pub(crate) fn on(feature: Feature, face: Face, label: &str) -> Feature {
    Feature {
        place: Place::new(face, label),
        ..feature
    }
}

/// A small four-cylinder pattern with metal at R1 to R4 and S1 to S3.
pub(crate) fn pattern() -> Pattern {
    let boss = |face, label: &str, largest: &str, deepest: Option<&str>| Boss {
        place: Place::new(face, label),
        largest: length(largest),
        deepest: deepest.map(length),
        through: deepest.is_none(),
    };
    let outline = |face, width, height| Outline {
        face,
        width: length(width),
        height: length(height),
    };
    Pattern {
        id: Uuid::from_u128(1),
        name: "Tarn 4/90".to_owned(),
        cylinders: 4,
        mains: 5,
        outlines: vec![
            outline(Face::Sump, "520", "240"),
            outline(Face::Rear, "380", "320"),
        ],
        bosses: vec![
            boss(Face::Rear, "R1", "18", Some("30")),
            boss(Face::Rear, "R2", "18", Some("30")),
            boss(Face::Rear, "R3", "14", None),
            boss(Face::Rear, "R4", "14", None),
            boss(Face::Sump, "S1", "16", Some("40")),
            boss(Face::Sump, "S2", "16", Some("40")),
            boss(Face::Sump, "S3", "16", Some("40")),
        ],
        marks: "TARN cast beside the mounting pad".to_owned(),
        metal: crate::castings::Metal::default(),
        weight_kg: None,
        sizes: crate::castings::measured::Sizes::default(),
        version: 1,
    }
}

/// A key of its own for each name, the same each time.
fn key(name: &str) -> Uuid {
    let bytes = name.bytes().fold(1_u128, |key, byte| {
        key.wrapping_mul(31).wrapping_add(byte.into())
    });
    Uuid::from_u128(bytes)
}

/// A variant of that pattern.
pub(crate) fn variant(name: &str, gearbox_under: bool, features: Vec<Feature>) -> Variant {
    Variant {
        id: key(name),
        pattern_id: pattern().id,
        name: name.to_owned(),
        gearbox_under,
        features,
        note: String::new(),
        version: 1,
    }
}

/// A rule for any kind, face and size.
pub(crate) fn rule(priority: i32, when: When, action: Action) -> RemedyRule {
    RemedyRule {
        id: key(&format!("{priority} {when} {action}")),
        priority,
        name: format!("{when}: {action}"),
        when,
        kind: None,
        face: None,
        smallest: None,
        largest: None,
        gearbox_under: None,
        action,
        elements: if action.is_work() {
            vec!["WORK".to_owned()]
        } else {
            Vec::new()
        },
        say: String::new(),
        version: 1,
    }
}

/// A table that covers every case.
pub(crate) fn rules() -> Vec<RemedyRule> {
    vec![
        rule(10, When::MissingWithMetal, Action::Machine),
        rule(20, When::ChangedClears, Action::Rework),
        rule(30, When::ChangedDoesNotClear, Action::PlugAndRedo),
        rule(40, When::Extra, Action::Plug),
    ]
}
