//! What a new shop may start from: elements, machines with worked rates, a labour rate. Its figures are starting points for the
//! shop's own.

use super::check::Check;
use super::cutting::{Cut, Process, Recipe};
use super::element::{Basis, Element, Inclusion, Material, Stage};
use super::machine::{LabourRate, Machine};
use super::rates::MachineRate;
use crate::castings::Metal;
use crate::units::{Currency, Length, Minutes, Money, Spread};
use rust_decimal::Decimal;
use serde::Deserialize;
use uuid::Uuid;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    element: Vec<Line>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    code: String,
    name: String,
    stage: Stage,
    machine_kind: String,
    skill: String,
    standing: Option<Inclusion>,
    basis: Option<Basis>,
    #[serde(default)]
    can_fail: bool,
    #[serde(default)]
    apart: bool,
    #[serde(default)]
    left_out: String,
    #[serde(default)]
    at_machine: String,
    #[serde(default)]
    setup: Decimal,
    #[serde(default)]
    handling: Decimal,
    owner: Decimal,
    #[serde(default = "wholly")]
    attended: Decimal,
    spread: [Decimal; 3],
    #[serde(default)]
    cuts: Vec<CutLine>,
    outside_price: Option<Decimal>,
    outside_days: Option<u32>,
    #[serde(default)]
    checks: Vec<Check>,
    #[serde(default)]
    cautions: Vec<String>,
    #[serde(default)]
    followed_by: Vec<String>,
    #[serde(default)]
    metals: Vec<Metal>,
    #[serde(default)]
    tools: Vec<String>,
    #[serde(default)]
    materials: Vec<MaterialLine>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CutLine {
    process: Process,
    tool: String,
    #[serde(default = "once")]
    passes: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MaterialLine {
    name: String,
    quantity: Decimal,
    price: Decimal,
    smallest: Option<Length>,
    largest: Option<Length>,
}

fn wholly() -> Decimal {
    Decimal::ONE
}

fn once() -> u32 {
    1
}

/// The starting set, priced in the shop's currency; `new_id` makes their keys.
///
/// # Errors
/// A set that does not read, with where; the set is part of the program, so a test rules this out.
pub fn elements(
    currency: Currency,
    mut new_id: impl FnMut() -> Uuid,
) -> Result<Vec<Element>, toml::de::Error> {
    let file: File = toml::from_str(include_str!("starting.toml"))?;
    let price = |amount| Money::new(amount, currency);
    Ok(file
        .element
        .into_iter()
        .map(|line| {
            let standing = line.standing.unwrap_or(Inclusion::Asked);
            let [low, likely, high] = line.spread;
            let cuts = line.cuts.into_iter().map(|cut| Cut {
                process: cut.process,
                tool: cut.tool,
                passes: cut.passes,
                diameter: None,
            });
            Element {
                id: new_id(),
                code: line.code,
                name: line.name,
                stage: line.stage,
                machine_kind: line.machine_kind,
                skill: line.skill,
                setup: Minutes(line.setup),
                revised: None,
                recipe: Some(Recipe {
                    cuts: cuts.collect(),
                })
                .filter(|r| !r.cuts.is_empty()),
                handling: Minutes(line.handling),
                calculated_percent: Decimal::ONE_HUNDRED,
                owner_figure: Minutes(line.owner),
                attended_share: line.attended,
                spread: Spread::ThreePoint { low, likely, high },
                basis: line.basis.unwrap_or(match standing {
                    Inclusion::Asked => Basis::PerFeature,
                    _ => Basis::Once,
                }),
                standing,
                can_fail: line.can_fail,
                left_out: line.left_out,
                at_machine: line.at_machine,
                outside_price: line.outside_price.map(price),
                outside_days: line.outside_days,
                checks: line.checks,
                cautions: line.cautions,
                followed_by: line.followed_by,
                metals: line.metals,
                tools: line.tools,
                apart: line.apart,
                materials: line
                    .materials
                    .into_iter()
                    .map(|m| Material {
                        name: m.name,
                        quantity: m.quantity,
                        price: price(m.price),
                        smallest: m.smallest,
                        largest: m.largest,
                        made: false,
                    })
                    .collect(),
                version: 1,
            }
        })
        .collect())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MachinesFile {
    labour: Decimal,
    machine: Vec<MachineLine>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MachineLine {
    name: String,
    kind: String,
    capital: Decimal,
    residual: Decimal,
    life_years: Decimal,
    power_kw: Decimal,
    maintenance_a_year: Decimal,
    space_m2: Decimal,
    insurance_a_year: Decimal,
    hours_a_year: Decimal,
}

/// Interest, per cent a year; the price of a kWh; rent, rates and heat of one m² a year. From memory, to be replaced.
const INTEREST_PERCENT: Decimal = Decimal::from_parts(6, 0, 0, false, 0);
const POWER_PRICE: Decimal = Decimal::from_parts(28, 0, 0, false, 2);
const SPACE_PRICE: Decimal = Decimal::from_parts(90, 0, 0, false, 0);

/// The machines of a typical shop with worksheets that work out, and a labour rate for every skill, in the shop's currency;
/// `new_id` makes their keys.
///
/// # Errors
/// As [`elements`].
pub fn machines(
    currency: Currency,
    mut new_id: impl FnMut() -> Uuid,
) -> Result<(Vec<Machine>, LabourRate), toml::de::Error> {
    let file: MachinesFile = toml::from_str(include_str!("starting_machines.toml"))?;
    let price = |amount| Money::new(amount, currency);
    let labour = LabourRate {
        id: new_id(),
        skill: None,
        hourly: price(file.labour),
        version: 1,
    };
    let machines = file.machine.into_iter().map(|line| Machine {
        id: new_id(),
        kind: line.kind,
        name: line.name,
        active: true,
        worksheet: MachineRate {
            capital: price(line.capital),
            residual: price(line.residual),
            life_years: line.life_years,
            interest_percent: INTEREST_PERCENT,
            power_kw: line.power_kw,
            power_price: price(POWER_PRICE),
            maintenance_a_year: price(line.maintenance_a_year),
            space_m2: line.space_m2,
            space_price: price(SPACE_PRICE),
            insurance_a_year: price(line.insurance_a_year),
            hours_a_year: line.hours_a_year,
        },
        agreed_rate: None,
        version: 1,
    });
    Ok((machines.collect(), labour))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::cutting_data;
    use crate::estimating::element::OUTSIDE;
    use crate::units::Length;

    #[test]
    fn every_element_has_a_machine_and_every_machine_a_rate() {
        let pounds = Currency::from_code("GBP").unwrap();
        let (machines, _) = machines(pounds, Uuid::nil).unwrap();
        for machine in &machines {
            assert!(
                machine.hourly().unwrap().amount() > Decimal::ZERO,
                "{}",
                machine.name
            );
        }
        for element in elements(pounds, Uuid::nil).unwrap() {
            let kind = &element.machine_kind;
            let done = kind == OUTSIDE || machines.iter().any(|m| m.kind == *kind);
            assert!(done, "{} needs a {kind}", element.code);
        }
    }

    #[test]
    fn every_tool_of_the_starting_set_has_cutting_data() {
        let iron = cutting_data::starting_points().remove(0);
        let size = Length::from_mm(Decimal::TEN);
        for element in elements(Currency::from_code("GBP").unwrap(), Uuid::nil).unwrap() {
            for cut in element.recipe.iter().flat_map(|r| &r.cuts) {
                assert!(
                    iron.find(cut.process, &cut.tool, size).is_some(),
                    "{} needs {}",
                    element.code,
                    cut.tool
                );
            }
        }
    }

    #[test]
    fn the_starting_set_reads_and_has_no_faults() {
        let pounds = Currency::from_code("GBP").unwrap();
        let set = elements(pounds, Uuid::nil).unwrap();
        assert!(set.len() > 20);
        for element in &set {
            assert_eq!(element.faults(), vec![], "{}", element.code);
        }
        let mut codes: Vec<_> = set.iter().map(|e| &e.code).collect();
        codes.sort();
        codes.dedup();
        assert_eq!(codes.len(), set.len(), "a code is used twice");
    }
}
