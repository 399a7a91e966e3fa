//! The shapes of the seed files that the rooms read otherwise, and what they mean there.

use super::seed::SeedError;
use crate::castings::measured::Sizes;
use crate::castings::{
    Boss, Face, Feature, FeatureKind, Metal, Outline, Pattern, Place, Point, Variant,
};
use crate::estimating::{LabourRate, Machine, MachineRate};
use crate::units::{Fit, Length, Money, Thread};
use rust_decimal::Decimal;
use serde::Deserialize;
use std::str::FromStr;
use uuid::Uuid;

/// Reads a value by its own parser, so that a length may be written `1/2 in` and a thread `M10`.
fn parsed<'de, D: serde::Deserializer<'de>, T: FromStr<Err: std::fmt::Display>>(
    deserializer: D,
) -> Result<T, D::Error> {
    let text = String::deserialize(deserializer)?;
    text.parse().map_err(serde::de::Error::custom)
}

/// The same for a value that may be left out.
fn parsed_option<'de, D: serde::Deserializer<'de>, T: FromStr<Err: std::fmt::Display>>(
    deserializer: D,
) -> Result<Option<T>, D::Error> {
    parsed(deserializer).map(Some)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MachinesFile {
    machine: Vec<MachineSeed>,
    labour: Vec<LabourSeed>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MachineSeed {
    name: String,
    kind: String,
    capital: Decimal,
    residual: Decimal,
    life_years: Decimal,
    interest_percent: Decimal,
    power_kw: Decimal,
    power_price: Decimal,
    maintenance_a_year: Decimal,
    space_m2: Decimal,
    space_price: Decimal,
    insurance_a_year: Decimal,
    hours_a_year: Decimal,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LabourSeed {
    skill: Option<String>,
    hourly: Decimal,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PatternFile {
    pattern: PatternSeed,
    variant: Vec<VariantSeed>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PatternSeed {
    name: String,
    cylinders: u32,
    mains: u32,
    marks: String,
    #[serde(default)]
    metal: Metal,
    weight_kg: Option<Decimal>,
    outlines: Vec<OutlineSeed>,
    bosses: Vec<BossSeed>,
    common: Vec<FeatureSeed>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OutlineSeed {
    face: Face,
    #[serde(deserialize_with = "parsed")]
    width: Length,
    #[serde(deserialize_with = "parsed")]
    height: Length,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BossSeed {
    face: Face,
    label: String,
    #[serde(deserialize_with = "parsed")]
    largest: Length,
    #[serde(default, deserialize_with = "parsed_option")]
    deepest: Option<Length>,
    #[serde(default)]
    through: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct VariantSeed {
    name: String,
    gearbox_under: bool,
    note: String,
    features: Vec<FeatureSeed>,
}

#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct FeatureSeed {
    face: Face,
    label: String,
    kind: FeatureKind,
    #[serde(deserialize_with = "parsed")]
    x: Length,
    #[serde(deserialize_with = "parsed")]
    y: Length,
    /// Left out for a thread, whose major diameter it is.
    #[serde(default, deserialize_with = "parsed_option")]
    size: Option<Length>,
    #[serde(default, deserialize_with = "parsed_option")]
    depth: Option<Length>,
    thread: Option<Thread>,
    fit: Option<Fit>,
    #[serde(default = "one")]
    count: u32,
    #[serde(default)]
    note: String,
}

fn one() -> u32 {
    1
}

impl MachinesFile {
    /// The machines and the rates of their people.
    pub(super) fn understood(
        self,
        money: &impl Fn(Decimal) -> Money,
    ) -> (Vec<Machine>, Vec<LabourRate>) {
        let machines = self.machine.into_iter().map(|seed| Machine {
            id: Uuid::now_v7(),
            kind: seed.kind,
            name: seed.name,
            active: true,
            worksheet: MachineRate {
                capital: money(seed.capital),
                residual: money(seed.residual),
                life_years: seed.life_years,
                interest_percent: seed.interest_percent,
                power_kw: seed.power_kw,
                power_price: money(seed.power_price),
                maintenance_a_year: money(seed.maintenance_a_year),
                space_m2: seed.space_m2,
                space_price: money(seed.space_price),
                insurance_a_year: money(seed.insurance_a_year),
                hours_a_year: seed.hours_a_year,
            },
            agreed_rate: None,
            version: 1,
        });
        let labour = self.labour.into_iter().map(|seed| LabourRate {
            id: Uuid::now_v7(),
            skill: seed.skill,
            hourly: money(seed.hourly),
            version: 1,
        });
        (machines.collect(), labour.collect())
    }
}

impl PatternFile {
    /// The pattern and its variants, free of faults.
    pub(super) fn understood(
        self,
        file: &'static str,
    ) -> Result<(Pattern, Vec<Variant>), SeedError> {
        let fault = |why: String| SeedError { file, why };
        let seed = self.pattern;
        let pattern = Pattern {
            id: Uuid::now_v7(),
            name: seed.name,
            cylinders: seed.cylinders,
            mains: seed.mains,
            outlines: seed
                .outlines
                .into_iter()
                .map(|outline| Outline {
                    face: outline.face,
                    width: outline.width,
                    height: outline.height,
                })
                .collect(),
            bosses: seed
                .bosses
                .into_iter()
                .map(|boss| Boss {
                    place: Place::new(boss.face, boss.label),
                    largest: boss.largest,
                    deepest: boss.deepest,
                    through: boss.through,
                })
                .collect(),
            marks: seed.marks,
            metal: seed.metal,
            weight_kg: seed.weight_kg,
            sizes: Sizes::default(),
            version: 1,
        };
        if let Some(what) = pattern.faults().first() {
            return Err(fault(what.to_string()));
        }
        let mut variants = Vec::with_capacity(self.variant.len());
        for own in self.variant {
            let features = seed.common.iter().cloned().chain(own.features);
            let variant = Variant {
                id: Uuid::now_v7(),
                pattern_id: pattern.id,
                name: own.name,
                gearbox_under: own.gearbox_under,
                features: features
                    .map(FeatureSeed::understood)
                    .collect::<Result<_, _>>()
                    .map_err(fault)?,
                note: own.note,
                version: 1,
            };
            if let Some(what) = variant.faults(&pattern).first() {
                return Err(fault(format!("{}: {what}", variant.name)));
            }
            variants.push(variant);
        }
        Ok((pattern, variants))
    }
}

impl FeatureSeed {
    fn understood(self) -> Result<Feature, String> {
        let size = self
            .size
            .or_else(|| self.thread.as_ref().map(Thread::major_diameter))
            .ok_or_else(|| format!("{} has neither a size nor a thread", self.label))?;
        Ok(Feature {
            place: Place::new(self.face, self.label),
            kind: self.kind,
            at: Some(Point {
                x: self.x,
                y: self.y,
            }),
            size,
            depth: self.depth,
            thread: self.thread,
            fit: self.fit,
            count: self.count,
            note: self.note,
        })
    }
}
