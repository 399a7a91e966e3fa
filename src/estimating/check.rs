//! What an element must pass, as data: what is checked, between which limits, with what, and where readings are taken.

use super::element::Basis;
use crate::castings::{Feature, FeatureKind, words::words};
use crate::units::Fit;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};

/// How a check is held against its limits.
#[derive(
    Debug,
    Clone,
    Copy,
    Default,
    PartialEq,
    Eq,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum CheckKind {
    /// Judged or gauged: it passes or it does not.
    #[default]
    YesNo,
    /// A limit on one side alone: a run-out at most, a torque at least.
    OneSided,
    /// Wrong either way: a position, a centre distance, a clearance about a nominal.
    TwoSided,
    /// A size between a smallest and a largest.
    Range,
    /// The limits of the fit of the feature that is made; only on an element, a route puts the numbers in.
    Fit,
    /// The size of a main bearing housing; as the four below, only on an element: a route puts the numbers of the pattern in.
    Housing,
    /// The ovality of a main bearing housing.
    HousingOvality,
    /// The clearance of a piston in its bore.
    PistonClearance,
    /// The taper of a cylinder.
    BoreTaper,
    /// The ovality of a cylinder.
    BoreOvality,
    /// The roughness Ra of a honed cylinder.
    BoreFinish,
    /// How far a cylinder is out of square with the main line.
    BoreSquare,
    /// How far a liner stands above the deck.
    LinerHeight,
    /// The roughness Ra of the deck.
    DeckFinish,
    /// The width over the thrust faces of the main line.
    ThrustWidth,
    /// The torque of the temporary bolts of the main caps: one check for each stage.
    TorqueBolts,
    /// The torque of the final studs of the main caps, the same way.
    TorqueStuds,
}

words!(CheckKind {
    YesNo = "yes or no";
    OneSided = "one-sided: at most or at least";
    TwoSided = "two-sided: plus or minus";
    Range = "range: smallest to largest";
    Fit = "from the fit of the feature";
    Housing = "from the pattern: main housing";
    HousingOvality = "from the pattern: ovality of a main housing";
    PistonClearance = "from the pattern: piston clearance";
    BoreTaper = "from the pattern: taper of a bore";
    BoreOvality = "from the pattern: ovality of a bore";
    BoreFinish = "from the pattern: surface finish of a bore";
    BoreSquare = "from the pattern: a bore out of square";
    LinerHeight = "from the pattern: liner above the deck";
    DeckFinish = "from the pattern: surface finish of the deck";
    ThrustWidth = "from the pattern: width of the thrust faces";
    TorqueBolts = "from the pattern: torque of the temporary bolts, in stages";
    TorqueStuds = "from the pattern: torque of the final studs, in stages";
});

impl CheckKind {
    /// Whether the pattern gives the limits.
    #[must_use]
    pub fn is_of_pattern(self) -> bool {
        match self {
            Self::Housing
            | Self::HousingOvality
            | Self::PistonClearance
            | Self::BoreTaper
            | Self::BoreOvality
            | Self::BoreFinish
            | Self::BoreSquare
            | Self::LinerHeight
            | Self::DeckFinish
            | Self::ThrustWidth
            | Self::TorqueBolts
            | Self::TorqueStuds => true,
            Self::YesNo | Self::OneSided | Self::TwoSided | Self::Range | Self::Fit => false,
        }
    }
}

/// A gauge that says go or no-go about something that has limits.
#[derive(
    Debug,
    Clone,
    Copy,
    Default,
    PartialEq,
    Eq,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum Gauge {
    /// It is measured, or judged by eye and hand.
    #[default]
    None,
    /// A plug gauge, for a hole.
    Plug,
    /// A gap, ring or snap gauge, for a shaft.
    Gap,
    /// A feeler that must not enter.
    Feeler,
}

words!(Gauge {
    None = "no limit gauge";
    Plug = "plug gauge";
    Gap = "gap, ring or snap gauge";
    Feeler = "feeler that must not enter";
});

/// Most places of one check.
pub const MOST_PLACES: usize = 24;

/// Something an element must pass. Limits are numbers in `unit`; a limit itself passes.
///
/// ```
/// use borewright::estimating::{Check, CheckKind};
/// let run_out = Check {
///     kind: CheckKind::OneSided,
///     upper: Some("0.05".parse()?),
///     unit: "mm".to_owned(),
///     ..Check::yes_no("Register run-out to the mains", "", "dial indicator")
/// };
/// assert_eq!(run_out.limits_in_words(), "at most 0.05 mm");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// What is checked.
    pub what: String,
    /// How it is held against its limits.
    #[serde(default)]
    pub kind: CheckKind,
    /// What is aimed at: the 12 of 12 H7; none for a deviation from true.
    #[serde(default)]
    pub nominal: Option<Decimal>,
    /// The class of fit the limits come from, as `H7`; empty when they come from none.
    #[serde(default)]
    pub fit: String,
    /// Smallest that passes.
    #[serde(default)]
    pub lower: Option<Decimal>,
    /// Largest that passes.
    #[serde(default)]
    pub upper: Option<Decimal>,
    /// The unit of the limits: mm, µm, in, thou, bar, Nm, °C …
    #[serde(default)]
    pub unit: String,
    /// The gauge it may be made with instead of measuring.
    #[serde(default)]
    pub gauge: Gauge,
    /// With what.
    #[serde(default)]
    pub instrument: String,
    /// What passes, in words, where no number says it; otherwise anything to add. Records from before limits were numbers
    /// have their words under `limits`.
    #[serde(default, alias = "limits")]
    pub note: String,
    /// Where a reading is taken, each by name; empty for one reading.
    #[serde(default)]
    pub places: Vec<String>,
    /// Whether all that is done for each main bearing, cylinder or feature; only on an element, a route names the places.
    #[serde(default)]
    pub each: bool,
}

impl Check {
    /// A check that passes or does not.
    #[must_use]
    pub fn yes_no(what: &str, note: &str, instrument: &str) -> Self {
        Self {
            what: what.to_owned(),
            kind: CheckKind::YesNo,
            nominal: None,
            fit: String::new(),
            lower: None,
            upper: None,
            unit: String::new(),
            gauge: Gauge::None,
            instrument: instrument.to_owned(),
            note: note.to_owned(),
            places: Vec::new(),
            each: false,
        }
    }

    /// A check of a size between two limits in millimetres.
    #[must_use]
    pub fn range(what: &str, lower: Decimal, upper: Decimal, instrument: &str) -> Self {
        Self {
            kind: CheckKind::Range,
            lower: Some(lower),
            upper: Some(upper),
            unit: "mm".to_owned(),
            ..Self::yes_no(what, "", instrument)
        }
    }

    /// Its limits as a person reads them: "12 H7: 12.000 to 12.018 mm", "within ±0.05 mm", "at most 40 °C"; what passes in
    /// words where there are none.
    #[must_use]
    pub fn limits_in_words(&self) -> String {
        let unit = if self.unit.is_empty() {
            String::new()
        } else {
            format!(" {}", self.unit)
        };
        let limits = match (self.kind, self.lower, self.upper) {
            (kind, ..) if kind.is_of_pattern() => "to the pattern’s limits".to_owned(),
            (CheckKind::Fit, ..) => "to the fit of the feature".to_owned(),
            (CheckKind::OneSided, _, Some(upper)) => format!("at most {upper}{unit}"),
            (CheckKind::OneSided, Some(lower), None) => format!("at least {lower}{unit}"),
            (CheckKind::TwoSided, Some(lower), Some(upper)) => match self.nominal {
                None if lower == -upper => format!("within ±{upper}{unit}"),
                None => format!("{lower} to {upper}{unit}"),
                Some(nominal) => format!("{nominal}{unit}, {lower} to {upper}{unit}"),
            },
            (CheckKind::Range, Some(lower), Some(upper)) => match self.nominal {
                Some(nominal) => format!("{nominal} {}: {lower} to {upper}{unit}", self.fit),
                None => format!("{lower} to {upper}{unit}"),
            },
            _ => return self.note.clone(),
        };
        if self.note.is_empty() {
            limits
        } else {
            format!("{limits} ({})", self.note)
        }
    }

    /// How many readings it takes; one where nothing else is said.
    #[must_use]
    pub fn readings(&self) -> usize {
        self.places.len().max(1)
    }

    /// What is wrong with it: the field and how to put it right.
    #[must_use]
    pub fn fault(&self) -> Option<(&'static str, &'static str)> {
        let measured =
            !matches!(self.kind, CheckKind::YesNo | CheckKind::Fit) && !self.kind.is_of_pattern();
        let ordered = match (self.lower, self.upper) {
            (Some(lower), Some(upper)) => {
                lower <= upper && self.nominal.is_none_or(|n| (lower..=upper).contains(&n))
            }
            _ => true,
        };
        let limits = usize::from(self.lower.is_some()) + usize::from(self.upper.is_some());
        let wanted = match self.kind {
            CheckKind::OneSided => 1,
            CheckKind::TwoSided | CheckKind::Range => 2,
            _ => 0,
        };
        let names_repeat = (1..self.places.len()).any(|i| {
            let (before, from) = self.places.split_at(i);
            from.first().is_some_and(|name| before.contains(name))
        });
        let complaints = [
            (
                limits != wanted && wanted == 0,
                "lower",
                "Limits only for what is measured; choose one-sided, two-sided or range",
            ),
            (
                limits != wanted && wanted == 1,
                "upper",
                "Enter the smallest or the largest that passes, one of them",
            ),
            (
                limits != wanted && wanted == 2,
                "upper",
                "Enter the smallest and the largest that pass",
            ),
            (
                !ordered,
                "lower",
                "Enter a smallest that is not above the largest, with the nominal between them",
            ),
            (
                measured && self.unit.is_empty(),
                "unit",
                "Enter the unit of the limits, for example mm",
            ),
            (
                self.kind == CheckKind::YesNo && self.note.trim().is_empty(),
                "note",
                "Say what passes, for example: rod passes end to end",
            ),
            (
                self.kind == CheckKind::YesNo && self.readings() > 1,
                "places",
                "Several readings only for what is measured",
            ),
            (
                self.kind == CheckKind::YesNo && self.gauge != Gauge::None,
                "gauge",
                "A limit gauge only where there are limits",
            ),
            (
                self.places.len() > MOST_PLACES || names_repeat,
                "places",
                "Name up to 24 places, each once",
            ),
        ];
        complaints
            .into_iter()
            .find(|(wrong, ..)| *wrong)
            .map(|(_, field, why)| (field, why))
    }

    /// The check of a step that is done `count` times: with the limits of the feature it finishes, and the places at
    /// which it is taken.
    pub(super) fn on_route(&self, basis: Basis, count: u32, at: Option<&Feature>) -> Self {
        let mut check = self.clone();
        if self.each && self.kind != CheckKind::YesNo {
            check.places = one_by_one(basis, count, at)
                .into_iter()
                .flat_map(|one| match self.places.as_slice() {
                    [] => vec![one],
                    places => places.iter().map(|p| format!("{one}, {p}")).collect(),
                })
                .collect();
        }
        check.each = false;
        check
    }

    /// Takes the limits of a feature's fit: 12 H7 is 12.000 to 12.018 mm. Where the standard has none, they are to be
    /// looked up, and the check becomes one of yes or no.
    pub(super) fn take_fit(&mut self, feature: &Feature) {
        let Some(fit) = feature.fit else { return };
        let size = feature.size.mm().normalize();
        match fit.limits(feature.size) {
            Ok(limits) => {
                let finest = limits.lower.mm().normalize().scale();
                let finest = finest.max(limits.upper.mm().normalize().scale()).max(3);
                let shown = |mut limit: Decimal| {
                    limit.rescale(finest);
                    limit
                };
                self.kind = CheckKind::Range;
                self.nominal = Some(size);
                self.fit = fit.to_string();
                self.lower = Some(shown(limits.lower.mm()));
                self.upper = Some(shown(limits.upper.mm()));
                "mm".clone_into(&mut self.unit);
            }
            Err(why) => self.judged(&format!("{size} {fit}: look the limits up; {why}")),
        }
    }

    /// The check of the dowel that goes into a reamed hole: 12 m6 is 12.007 to 12.018 mm.
    pub(super) fn of_dowel(feature: &Feature, class: Fit) -> Self {
        let what = format!("Dowel for {}", feature.place);
        let mut check = Self::yes_no(&what, "", "micrometer");
        let shaft = Feature {
            fit: Some(class),
            ..feature.clone()
        };
        check.take_fit(&shaft);
        check
    }

    /// Leaves it to be judged, where a fit was to give the limits and there is none.
    pub(super) fn judged(&mut self, note: &str) {
        self.kind = CheckKind::YesNo;
        self.gauge = Gauge::None;
        self.places.clear();
        if self.note.is_empty() {
            note.clone_into(&mut self.note);
        }
    }

    /// The check of a feature with a fit that no element has one for.
    pub(super) fn of_feature(feature: &Feature) -> Self {
        let (gauge, instrument) = match feature.kind {
            FeatureKind::DowelHole | FeatureKind::PlainHole => (Gauge::Plug, "plug gauge"),
            FeatureKind::TappedHole => (Gauge::None, "thread plug gauge"),
            FeatureKind::Register | FeatureKind::Bore | FeatureKind::CorePlugBore => {
                (Gauge::None, "bore gauge")
            }
            FeatureKind::Counterbore | FeatureKind::Spotface | FeatureKind::SealSeat => {
                (Gauge::None, "depth gauge")
            }
        };
        let what = format!("{} at {}", feature.kind, feature.place);
        let mut check = Self {
            gauge,
            ..Self::yes_no(&what, "", instrument)
        };
        check.take_fit(feature);
        check
    }
}

/// The names of the pieces an element is done on, one by one.
fn one_by_one(basis: Basis, count: u32, at: Option<&Feature>) -> Vec<String> {
    let called = match (basis, at) {
        (Basis::PerMain, _) => "main".to_owned(),
        (Basis::PerCylinder, _) => "cylinder".to_owned(),
        (_, Some(feature)) => feature.place.label.clone(),
        (_, None) => "piece".to_owned(),
    };
    match (basis, count) {
        (Basis::Once | Basis::PerFeature, 0 | 1) => vec![called],
        (Basis::Once | Basis::PerFeature, _) => (1..=count)
            .map(|n| format!("{called}, {n} of {count}"))
            .collect(),
        _ => (1..=count).map(|n| format!("{called} {n}")).collect(),
    }
}

mod from_pattern;
#[cfg(test)]
mod tests;
