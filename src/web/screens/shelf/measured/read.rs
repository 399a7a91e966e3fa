//! What is measured and on what, and how what was typed is read.

use super::outcome::roughness_division;
use super::table;
use crate::castings::Pattern;
use crate::castings::measured::{Layout, Liner, Reading, Readings, RecordKind, Sizes, reading};
use crate::db::castings_on_shelf::{self as shelf, Casting};
use crate::db::measured_records as db;
use crate::db::{ShopTx, castings};
use crate::units::text::capitalised;
use crate::units::{Code, Length, LengthUnit};
use crate::web::ui::record::Typed;
use crate::web::ui::{FormErrors, WebError};
use rust_decimal::Decimal;
use uuid::Uuid;

/// What is said beside a reading that cannot be.
pub(in crate::web) const CANNOT_BE: &str = "Read it again: this size cannot be";

/// What is measured and on what.
pub(super) struct Subject {
    pub(super) casting: Casting,
    pub(super) pattern: Pattern,
    pub(super) sizes: Sizes,
    pub(super) kind: RecordKind,
}

impl Subject {
    pub(super) async fn load(
        tx: &mut ShopTx,
        (id, kind): &(Uuid, String),
    ) -> Result<Self, WebError> {
        let kind = RecordKind::from_code(kind).ok_or(WebError::NotFound("this record"))?;
        let casting = shelf::get(tx, *id).await?;
        let variant = castings::variant(tx, casting.details.variant_id).await?;
        Ok(Self {
            pattern: castings::pattern(tx, variant.pattern_id).await?,
            sizes: db::sizes(tx, variant.pattern_id).await?,
            casting,
            kind,
        })
    }

    /// How many of each its table has room for.
    pub(super) fn layout(&self) -> Layout {
        Layout::of(self.pattern.cylinders, self.pattern.mains, &self.sizes)
    }

    /// The readings as typed; what does not read is complained about and left out.
    pub(super) fn readings(
        &self,
        typed: &Typed,
        unit: LengthUnit,
        errors: &mut FormErrors,
    ) -> Readings {
        let mut readings = Readings::blank(self.kind, &self.layout());
        let zero = errors
            .optional(typed.get("zero"), |errors| {
                errors.length("zero", typed.get("zero"), unit)
            })
            .flatten();
        match &mut readings {
            Readings::Cylinders(record) => {
                record.over = step(typed, "over", unit, errors);
                record.torque_plate = typed.get("torque_plate") == "yes";
            }
            Readings::Crankshaft(record) => {
                record.under_mains = step(typed, "under_mains", unit, errors);
                record.under_pins = step(typed, "under_pins", unit, errors);
            }
            Readings::MainLine(_)
            | Readings::Deck(_)
            | Readings::CamAndLifters(_)
            | Readings::RearFace(_) => {}
        }
        for (name, value) in readings.fields() {
            errors.label(&name, &table::label(&name));
            let raw = typed.get(&name);
            let read = errors.optional(raw, |errors| match (zero, reading(&name)) {
                (Some(zero), Reading::Diameter) => {
                    let off =
                        errors.decimal(&name, raw, Decimal::from(-1000)..=Decimal::from(1000))?;
                    Some(zero + Length::from_mm(off * dial(unit)))
                }
                (_, Reading::Roughness) => {
                    let ra = errors.decimal(&name, raw, Decimal::ZERO..=Decimal::from(5000))?;
                    Some(Length::from_mm((ra * roughness_division(unit)).normalize()))
                }
                _ => errors.length(&name, raw, unit),
            });
            *value = read.flatten();
        }
        for name in readings.not_believed(&self.sizes) {
            if errors.get(&name).is_none() {
                errors.add(&name, CANNOT_BE);
            }
        }
        readings
    }
}

/// How far bores are over, or journals under, their standard; nought where nothing was typed.
fn step(typed: &Typed, name: &str, unit: LengthUnit, errors: &mut FormErrors) -> Length {
    let raw = typed.get(name);
    let read = errors.optional(raw, |errors| errors.length(name, raw, unit));
    let by = read.flatten().unwrap_or_default();
    if by < Length::ZERO {
        errors.add(name, "Enter 0 or more");
    }
    by
}

/// One division of a dial on which a gauge is read, in mm: a hundredth of a millimetre, or a thou.
fn dial(unit: LengthUnit) -> Decimal {
    match unit {
        LengthUnit::Mm => Decimal::new(1, 2),
        LengthUnit::Inch => Decimal::new(254, 4),
    }
}

/// Under what conditions it was measured.
pub(super) fn conditions(readings: &Readings, unit: LengthUnit) -> Vec<(&'static str, String)> {
    let step = |by: Length, way: &str| match by > Length::ZERO {
        true => format!("{} {way} standard", by.show(unit)),
        false => "standard".to_owned(),
    };
    match readings {
        Readings::Cylinders(record) => {
            let plate = if record.torque_plate { "on" } else { "off" };
            let mut all = vec![
                ("Bores", step(record.over, "over")),
                ("Torque plate", plate.to_owned()),
            ];
            all.extend(
                record
                    .liner
                    .map(|liner: Liner| ("Liners", capitalised(liner.word()))),
            );
            all
        }
        Readings::Crankshaft(record) => vec![
            ("Mains", step(record.under_mains, "under")),
            ("Big-end pins", step(record.under_pins, "under")),
        ],
        Readings::MainLine(_)
        | Readings::Deck(_)
        | Readings::CamAndLifters(_)
        | Readings::RearFace(_) => Vec::new(),
    }
}
