//! What an element's form holds, and its reading into an element.

use crate::estimating::{Basis, Check, Cut, Element, Material, Process, Recipe, Stage, Standing};
use crate::units::{Length, Minutes, Spread};
use crate::web::ui::record::amount;
use crate::web::ui::stale::Changed;
use crate::web::ui::{FormErrors, SignedIn};
use rust_decimal::Decimal;
use serde::Deserialize;
use uuid::Uuid;

/// Everything typed, as it was typed. Lists come as one column for each of their parts.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct ElementForm {
    pub(super) code: String,
    pub(super) name: String,
    pub(super) stage: String,
    pub(super) machine_kind: String,
    pub(super) skill: String,
    pub(super) basis: String,
    pub(super) standing: String,
    pub(super) can_fail: String,
    pub(super) apart: String,
    pub(super) setup: String,
    pub(super) revised: String,
    pub(super) handling: String,
    pub(super) owner_figure: String,
    pub(super) attended_share: String,
    pub(super) spread: String,
    pub(super) low: String,
    pub(super) likely: String,
    pub(super) high: String,
    pub(super) cv: String,
    pub(super) cut_process: Vec<String>,
    pub(super) cut_tool: Vec<String>,
    pub(super) cut_passes: Vec<String>,
    pub(super) cut_diameter: Vec<String>,
    pub(super) outside_price: String,
    pub(super) outside_days: String,
    pub(super) check_what: Vec<String>,
    pub(super) check_limits: Vec<String>,
    pub(super) check_instrument: Vec<String>,
    pub(super) cautions: String,
    pub(super) material_name: Vec<String>,
    pub(super) material_quantity: Vec<String>,
    pub(super) material_price: Vec<String>,
    pub(super) version: String,
}

/// What stands in a row of a column.
pub(super) fn cell(column: &[String], row: usize) -> &str {
    column.get(row).map_or("", |text| text.trim())
}

/// Rows in which something is written.
pub(super) fn filled(columns: &[&[String]]) -> Vec<usize> {
    let longest = columns.iter().map(|c| c.len()).max().unwrap_or(0);
    (0..longest)
        .filter(|&row| columns.iter().any(|column| !cell(column, row).is_empty()))
        .collect()
}

fn number(n: Decimal) -> String {
    n.normalize().to_string()
}

fn minutes(m: Minutes) -> String {
    number(m.0)
}

fn tick(yes: bool) -> String {
    if yes { "yes" } else { "" }.to_owned()
}

impl ElementForm {
    pub(super) fn of(who: &SignedIn, element: &Element) -> Self {
        let unit = who.shop.length_unit;
        let mut form = Self {
            code: element.code.clone(),
            name: element.name.clone(),
            stage: element.stage.code().to_owned(),
            machine_kind: element.machine_kind.clone(),
            skill: element.skill.clone(),
            basis: element.basis.code().to_owned(),
            standing: element.standing.code().to_owned(),
            can_fail: tick(element.can_fail),
            apart: tick(element.apart),
            setup: minutes(element.setup),
            revised: element.revised.map(minutes).unwrap_or_default(),
            handling: minutes(element.handling),
            owner_figure: minutes(element.owner_figure),
            attended_share: number(element.attended_share * Decimal::ONE_HUNDRED),
            outside_price: element.outside_price.map(amount).unwrap_or_default(),
            outside_days: element
                .outside_days
                .map(|days| days.to_string())
                .unwrap_or_default(),
            cautions: element.cautions.join("\n"),
            version: element.version.to_string(),
            ..Self::default()
        };
        match element.spread {
            Spread::ThreePoint { low, likely, high } => {
                "points".clone_into(&mut form.spread);
                (form.low, form.likely, form.high) = (number(low), number(likely), number(high));
            }
            Spread::Cv { cv } => {
                "cv".clone_into(&mut form.spread);
                form.cv = number(cv);
            }
        }
        for cut in element.recipe.iter().flat_map(|recipe| &recipe.cuts) {
            form.cut_process.push(cut.process.code().to_owned());
            form.cut_tool.push(cut.tool.clone());
            form.cut_passes.push(cut.passes.to_string());
            let diameter = cut.diameter.map(|d| d.entry(unit));
            form.cut_diameter.push(diameter.unwrap_or_default());
        }
        for check in &element.checks {
            form.check_what.push(check.what.clone());
            form.check_limits.push(check.limits.clone());
            form.check_instrument.push(check.instrument.clone());
        }
        for material in &element.materials {
            form.material_name.push(material.name.clone());
            form.material_quantity.push(number(material.quantity));
            form.material_price.push(amount(material.price));
        }
        form
    }

    /// A form for something new: done when asked for, once for each feature, attended all the time.
    pub(super) fn blank() -> Self {
        Self {
            basis: Basis::PerFeature.code().to_owned(),
            standing: Standing::Asked.code().to_owned(),
            setup: "0".to_owned(),
            handling: "0".to_owned(),
            attended_share: "100".to_owned(),
            spread: "points".to_owned(),
            low: "0.8".to_owned(),
            likely: "1".to_owned(),
            high: "1.8".to_owned(),
            ..Self::default()
        }
    }

    pub(super) fn read(
        &self,
        who: &SignedIn,
        id: Uuid,
        errors: &mut FormErrors,
    ) -> Option<Element> {
        let code = errors.required_text("code", &self.code, 40);
        let name = errors.required_text("name", &self.name, 120);
        let stage = errors.choice("stage", &self.stage, Stage::from_code);
        let machine_kind = errors.required_text("machine_kind", &self.machine_kind, 60);
        let skill = errors.required_text("skill", &self.skill, 60);
        let basis = errors.choice("basis", &self.basis, Basis::from_code);
        let standing = errors.choice("standing", &self.standing, Standing::from_code);
        let setup = errors.minutes("setup", &self.setup);
        let owner_figure = errors.minutes("owner_figure", &self.owner_figure);
        let handling = errors.minutes("handling", &self.handling);
        let revised = errors.optional(&self.revised, |errors| {
            errors.minutes("revised", &self.revised)
        });
        let attended = errors.percent(
            "attended_share",
            &self.attended_share,
            Decimal::ZERO..=Decimal::ONE_HUNDRED,
        );
        let spread = self.read_spread(errors);
        let cuts = self.read_cuts(who, errors);
        let outside_price = errors.optional(&self.outside_price, |errors| {
            errors.money("outside_price", &self.outside_price, who.shop.currency)
        });
        let outside_days = errors.optional(&self.outside_days, |errors| {
            let days = errors.int("outside_days", &self.outside_days, 0..=365)?;
            u32::try_from(days).ok()
        });
        let checks = self.read_checks(errors);
        let cautions = errors.text("cautions", &self.cautions, 8_000);
        let materials = self.read_materials(who, errors);
        let cuts = cuts?;
        let element = Element {
            id,
            code: code?.to_uppercase(),
            name: name?,
            stage: stage?,
            machine_kind: machine_kind?.to_lowercase(),
            skill: skill?.to_lowercase(),
            setup: setup?,
            revised: revised?,
            recipe: (!cuts.is_empty()).then_some(Recipe { cuts }),
            handling: handling?,
            owner_figure: owner_figure?,
            attended_share: attended? / Decimal::ONE_HUNDRED,
            spread: spread?,
            basis: basis?,
            standing: standing?,
            can_fail: self.can_fail == "yes",
            outside_price: outside_price?,
            outside_days: outside_days?,
            checks: checks?,
            cautions: cautions?
                .lines()
                .map(str::trim)
                .filter(|line| !line.is_empty())
                .map(str::to_owned)
                .collect(),
            apart: self.apart == "yes",
            materials: materials?,
            version: self.version.parse().unwrap_or_default(),
        };
        let faults = element.faults();
        let sound = faults.is_empty();
        for (field, message) in faults {
            errors.add(field, message);
        }
        sound.then_some(element)
    }

    fn read_spread(&self, errors: &mut FormErrors) -> Option<Spread> {
        let ratio = Decimal::ZERO..=Decimal::ONE_HUNDRED;
        match self.spread.as_str() {
            "points" => {
                let low = errors.decimal("low", &self.low, ratio.clone());
                let likely = errors.decimal("likely", &self.likely, ratio.clone());
                let high = errors.decimal("high", &self.high, ratio);
                Some(Spread::ThreePoint {
                    low: low?,
                    likely: likely?,
                    high: high?,
                })
            }
            "cv" => errors
                .decimal("cv", &self.cv, Decimal::ZERO..=Decimal::from(3))
                .map(|cv| Spread::Cv { cv }),
            _ => {
                errors.add("spread", "Choose one");
                None
            }
        }
    }

    fn read_cuts(&self, who: &SignedIn, errors: &mut FormErrors) -> Option<Vec<Cut>> {
        let columns = [&self.cut_process, &self.cut_tool, &self.cut_diameter];
        let rows = filled(&columns.map(Vec::as_slice)).into_iter().map(|row| {
            let process = errors.choice(
                &format!("cut_process-{row}"),
                cell(&self.cut_process, row),
                Process::from_code,
            );
            let tool =
                errors.required_text(&format!("cut_tool-{row}"), cell(&self.cut_tool, row), 80);
            let passes = match cell(&self.cut_passes, row) {
                "" => Some(1),
                passes => errors.int(&format!("cut_passes-{row}"), passes, 1..=99),
            };
            let typed = cell(&self.cut_diameter, row);
            let diameter = errors.optional(typed, |errors| {
                let field = format!("cut_diameter-{row}");
                let length = errors.length(&field, typed, who.shop.length_unit)?;
                if length <= Length::ZERO {
                    errors.add(&field, "A diameter is above nothing");
                    return None;
                }
                Some(length)
            });
            Some(Cut {
                process: process?,
                tool: tool?,
                passes: u32::try_from(passes?).ok()?,
                diameter: diameter?,
            })
        });
        // Collected first, so that every row complains.
        let rows: Vec<_> = rows.collect();
        rows.into_iter().collect()
    }

    fn read_checks(&self, errors: &mut FormErrors) -> Option<Vec<Check>> {
        let columns = [&self.check_what, &self.check_limits, &self.check_instrument];
        let rows: Vec<_> = filled(&columns.map(Vec::as_slice))
            .into_iter()
            .map(|row| {
                let what = errors.required_text(
                    &format!("check_what-{row}"),
                    cell(&self.check_what, row),
                    200,
                );
                let limits = errors.text(
                    &format!("check_limits-{row}"),
                    cell(&self.check_limits, row),
                    200,
                );
                let instrument = errors.text(
                    &format!("check_instrument-{row}"),
                    cell(&self.check_instrument, row),
                    120,
                );
                Some(Check {
                    what: what?,
                    limits: limits?,
                    instrument: instrument?,
                })
            })
            .collect();
        rows.into_iter().collect()
    }

    fn read_materials(&self, who: &SignedIn, errors: &mut FormErrors) -> Option<Vec<Material>> {
        let columns = [
            &self.material_name,
            &self.material_quantity,
            &self.material_price,
        ];
        let rows: Vec<_> = filled(&columns.map(Vec::as_slice))
            .into_iter()
            .map(|row| {
                let name = errors.required_text(
                    &format!("material_name-{row}"),
                    cell(&self.material_name, row),
                    120,
                );
                let quantity = errors.decimal(
                    &format!("material_quantity-{row}"),
                    cell(&self.material_quantity, row),
                    Decimal::ZERO..=Decimal::from(10_000),
                );
                let price = errors.money(
                    &format!("material_price-{row}"),
                    cell(&self.material_price, row),
                    who.shop.currency,
                );
                Some(Material {
                    name: name?,
                    quantity: quantity?,
                    price: price?,
                })
            })
            .collect();
        rows.into_iter().collect()
    }

    /// What differs between what is stored now and what this person wants.
    pub(super) fn differences(now: &Self, mine: &Self) -> Vec<Changed> {
        let list = |columns: [&[String]; 3]| {
            filled(&columns)
                .into_iter()
                .map(|row| columns.map(|c| cell(c, row)).join(", "))
                .collect::<Vec<_>>()
                .join("; ")
        };
        let checks = |f: &Self| list([&f.check_what, &f.check_limits, &f.check_instrument]);
        let materials =
            |f: &Self| list([&f.material_name, &f.material_quantity, &f.material_price]);
        let cuts = |f: &Self| list([&f.cut_process, &f.cut_tool, &f.cut_passes]);
        let spread = |f: &Self| match f.spread.as_str() {
            "cv" => format!("coefficient of variation {}", f.cv),
            _ => format!("{}, {}, {}", f.low, f.likely, f.high),
        };
        let one = Changed::if_differs;
        [
            one("Code", &now.code, &mine.code),
            one("What is done", &now.name, &mine.name),
            one("Stage", &now.stage, &mine.stage),
            one("Kind of machine", &now.machine_kind, &mine.machine_kind),
            one("Skill", &now.skill, &mine.skill),
            one("How often", &now.basis, &mine.basis),
            one("Asked for", &now.standing, &mine.standing),
            one("A donor can fail here", &now.can_fail, &mine.can_fail),
            one("Off the block", &now.apart, &mine.apart),
            one("Setup", &now.setup, &mine.setup),
            one("Revised standard", &now.revised, &mine.revised),
            one("Handling", &now.handling, &mine.handling),
            one("Owner's figure", &now.owner_figure, &mine.owner_figure),
            one("Attended", &now.attended_share, &mine.attended_share),
            one("Spread", &spread(now), &spread(mine)),
            one("Cuts", &cuts(now), &cuts(mine)),
            one("Price outside", &now.outside_price, &mine.outside_price),
            one("Days away", &now.outside_days, &mine.outside_days),
            one("Checks", &checks(now), &checks(mine)),
            one("Cautions", &now.cautions, &mine.cautions),
            one("Materials", &materials(now), &materials(mine)),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}
