//! The fields of an element.

use super::checks::checks;
use crate::castings::Metal;
use crate::db::people::Role;
use crate::estimating::{Basis, Cut, Element, Inclusion, Material, Process, Recipe, Stage};
use crate::units::{Code, Length, Spread};
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{Fields, Group, Shape, Typed, amount, at, rows};
use crate::web::ui::{Field, FormErrors, SignedIn};
use maud::{Markup, html};
use rust_decimal::Decimal;
use std::collections::BTreeSet;

/// Words offered as one types.
#[derive(Debug, Default)]
pub(in crate::web) struct Suggestions {
    pub(super) kinds: BTreeSet<String>,
    pub(super) skills: BTreeSet<String>,
    pub(super) tools: BTreeSet<String>,
}

pub(super) fn fields(suggested: &Suggestions, who: &SignedIn) -> Fields<Element> {
    let mut f = Fields::new(who);
    the_work(&mut f);
    the_time(&mut f);
    f.group(cuts(who));
    f.group(checks());
    f.heading("Rules");
    f.value(
        Field::textarea("cautions", "Cautions, one a line", "", 4).optional(),
        at!(cautions),
        |lines: &Vec<String>| lines.join("\n"),
        |errors, name, raw| {
            let text = errors.text(name, raw, 8_000)?;
            let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
            Some(lines.map(str::to_owned).collect())
        },
    )
    .hint("Shown with the work: guards, lifting, rotating cutters, swarf, pressure");
    f.value(
        Field::text("followed_by", "Must be followed by", "").optional(),
        at!(followed_by),
        |codes: &Vec<String>| codes.join(", "),
        |errors, name, raw| {
            let text = errors.text(name, raw, 400)?;
            let codes = text.split(',').map(|code| code.trim().to_uppercase());
            Some(codes.filter(|code| !code.is_empty()).collect())
        },
    )
    .hint("Codes of elements, with commas, for example CRACK-RETEST after welding");
    f.value(
        Field::textarea("tools_back", "Tools that come back, one a line", "", 2).optional(),
        at!(tools),
        |lines: &Vec<String>| lines.join("\n"),
        |errors, name, raw| {
            let text = errors.text(name, raw, 2_000)?;
            let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
            Some(lines.map(str::to_owned).collect())
        },
    )
    .hint("Temporary bolts, a mandrel. {part} stands for the pattern; a set in the tool store whose name begins so is meant");
    f.value(
        Field::text("metals", "Only on these metals", "").optional(),
        at!(metals),
        |metals: &Vec<Metal>| {
            metals
                .iter()
                .map(|m| m.word())
                .collect::<Vec<_>>()
                .join(", ")
        },
        metals_typed,
    )
    .hint("Grey cast iron, ductile iron, aluminium alloy, steel; leave it empty for any");
    if who.may(Role::Office) {
        f.group(materials(who));
        f.heading("Sent out");
        f.between(html! { p.hint { "Only where the kind of machine is “outside”." } });
        f.money("outside_price", "Price each", at!(outside_price));
        f.int("outside_days", "Days away", 0..=365, at!(outside_days))
            .unit("days");
    }
    f.datalist("kinds", &suggested.kinds);
    f.datalist("skills", &suggested.skills);
    f.datalist("tools", &suggested.tools);
    f
}

/// Metals by name, with commas.
fn metals_typed(errors: &mut FormErrors, name: &str, raw: &str) -> Option<Vec<Metal>> {
    let typed = raw.split(',').map(str::trim).filter(|one| !one.is_empty());
    let named = |one: &str| {
        Metal::ALL
            .iter()
            .copied()
            .find(|metal| metal.word().eq_ignore_ascii_case(one))
    };
    let metals: Option<Vec<Metal>> = typed.map(named).collect();
    if metals.is_none() {
        errors.add(
            name,
            "Enter metals as grey cast iron, ductile iron, aluminium alloy, steel",
        );
    }
    metals
}

fn the_work(f: &mut Fields<Element>) {
    let stages = Stage::ALL.iter().map(|s| Choice::new(s.code(), s.word()));
    let bases = Basis::ALL.iter().map(|b| Choice::new(b.code(), b.word()));
    let standings = Inclusion::ALL.iter();
    let standings = standings.map(|s| Choice::new(s.code(), s.word()));
    let lower = |errors: &mut FormErrors, name: &str, raw: &str| {
        let text = errors.required_text(name, raw, 60)?;
        Some(text.to_lowercase())
    };
    f.heading("The work");
    f.value(
        Field::text("code", "Code", ""),
        at!(code),
        String::clone,
        |errors, name, raw| {
            let code = errors.required_text(name, raw, 40)?;
            Some(code.to_uppercase())
        },
    )
    .hint("Capitals, digits and hyphens, for example DOWEL-REAM. Conversion rules name it");
    f.text("name", "Work", 120, at!(name));
    let stage = Field::select("stage", "Stage", "", stages.collect());
    f.code::<Stage, _>(stage, at!(stage));
    let kind = Field::text("machine_kind", "Kind of machine", "").suggestions("kinds");
    f.value(kind, at!(machine_kind), String::clone, lower);
    let skill = Field::text("skill", "Skill", "").suggestions("skills");
    f.value(skill, at!(skill), String::clone, lower);
    let basis = Field::select("basis", "How often", "", bases.collect());
    f.code::<Basis, _>(basis, at!(basis));
    let standing = Field::select("standing", "When", "", standings.collect());
    f.code::<Inclusion, _>(standing, at!(standing));
    f.tick("can_fail", "A donor can fail here", at!(can_fail));
    f.area(
        "left_out",
        "When it is left out, the customer must hear",
        2,
        500,
        at!(left_out),
    )
    .hint("Leave empty for work that is always done, like a crack-test");
    f.area("at_machine", "At the machine", 2, 500, at!(at_machine))
        .hint("Stock per pass, feed, stones: what no cut below says. It is printed on the card");
    f.tick(
        "apart",
        "Done on a part off the block, so it need not wait for the block",
        at!(apart),
    );
}

fn the_time(f: &mut Fields<Element>) {
    f.heading("The time");
    f.between(html! {
        p.hint { "Best source first: your revised standard; the cuts below, calculated, plus handling; your own figure. Enter 90, 1:30 or 1.5 h." }
    });
    f.minutes("setup", "Setup", at!(setup))
        .hint("Shared by everything done on the same face and machine");
    f.minutes("revised", "Revised standard, each", at!(revised))
        .hint("From the shop’s own hours");
    f.minutes("handling", "Handling, each", at!(handling))
        .hint("Added to calculated cutting time");
    f.decimal(
        "calculated_percent",
        "Calculated time counts",
        Decimal::TEN..=Decimal::ONE_THOUSAND,
        at!(calculated_percent),
    )
    .unit("%")
    .hint("100 as calculated; 120 when your bookings show it takes a fifth longer");
    f.minutes("owner_figure", "Your figure, each", at!(owner_figure));
    let hundred = Decimal::ONE_HUNDRED;
    f.value(
        Field::decimal("attended_share", "Attended", "").unit("% of the run"),
        at!(attended_share),
        move |share: &Decimal| (share * hundred).normalize().to_string(),
        move |errors, name, raw| {
            let percent = errors.percent(name, raw, Decimal::ZERO..=hundred)?;
            Some(percent / hundred)
        },
    )
    .hint("Setup is always attended");
    f.group(Group::new(
        "Spread",
        spread_fields().map(Shape::One).into(),
        write_spread,
        |element, typed, errors| {
            if let Some(spread) = read_spread(typed, errors) {
                element.spread = spread;
            }
        },
        draw_spread,
        |typed| match typed.get("spread") {
            "cv" => format!("coefficient of variation {}", typed.get("cv")),
            _ => ["low", "likely", "high"]
                .map(|name| typed.get(name))
                .join(", "),
        },
    ));
}

fn write_spread(element: &Element, typed: &mut Typed) {
    let number = |n: Decimal| n.normalize().to_string();
    match element.spread {
        Spread::ThreePoint { low, likely, high } => {
            typed.set("spread", "points");
            typed.set("low", number(low));
            typed.set("likely", number(likely));
            typed.set("high", number(high));
        }
        Spread::Cv { cv } => {
            typed.set("spread", "cv");
            typed.set("cv", number(cv));
        }
    }
}

fn read_spread(typed: &Typed, errors: &mut FormErrors) -> Option<Spread> {
    match typed.get("spread") {
        "points" => {
            let mut ratio =
                |name| errors.decimal(name, typed.get(name), Decimal::ZERO..=Decimal::ONE_HUNDRED);
            let (low, likely, high) = (ratio("low"), ratio("likely"), ratio("high"));
            Some(Spread::ThreePoint {
                low: low?,
                likely: likely?,
                high: high?,
            })
        }
        "cv" => errors
            .decimal("cv", typed.get("cv"), Decimal::ZERO..=Decimal::from(3))
            .map(|cv| Spread::Cv { cv }),
        _ => {
            errors.add("spread", "Choose one");
            None
        }
    }
}

fn spread_fields() -> [Field; 5] {
    let kinds = vec![
        Choice::new("points", "Three points"),
        Choice::new("cv", "Coefficient of variation"),
    ];
    let ratio = |name, label| {
        Field::decimal(name, label, "")
            .unit("× standard")
            .optional()
    };
    [
        Field::radios("spread", "Spread", "", kinds).wide(),
        ratio("low", "Lowest"),
        ratio("likely", "Most likely"),
        ratio("high", "Highest"),
        Field::decimal("cv", "Standard deviation ÷ mean", "")
            .optional()
            .hint("For a coefficient of variation"),
    ]
}

fn draw_spread(typed: &Typed, errors: &FormErrors) -> Markup {
    html! {
        @for field in spread_fields() {
            @let typed = typed.get(field.name()).to_owned();
            (field.filled(&typed).errors(errors))
        }
    }
}

/// Every item that reads, or nothing when one does not.
pub(super) fn all<T>(items: Vec<Option<T>>) -> Option<Vec<T>> {
    items.into_iter().collect()
}

fn cuts(who: &SignedIn) -> Group<Element> {
    let unit = who.shop.length_unit;
    let processes = Process::ALL.iter().map(|p| Choice::new(p.code(), p.word()));
    rows(
        (
            "Cuts",
            "cuts",
            "In order, if the time is calculated from the feature. Leave the diameter empty for the feature’s own.",
        ),
        vec![
            Field::select("cut_process", "Process", "", processes.collect()),
            Field::text("cut_tool", "Tool", "").suggestions("tools"),
            Field::int("cut_passes", "Passes", ""),
            Field::length("cut_diameter", "Diameter", "", unit),
        ],
        move |element: &Element| {
            let cuts = element.recipe.iter().flat_map(|recipe| &recipe.cuts);
            cuts.map(|cut| {
                let diameter = cut.diameter.map(|d| d.entry(unit)).unwrap_or_default();
                vec![
                    cut.process.code().to_owned(),
                    cut.tool.clone(),
                    cut.passes.to_string(),
                    diameter,
                ]
            })
            .collect()
        },
        move |element, rows, errors| {
            let cuts = rows.iter().map(|row| {
                let process = errors.choice(&row.id("cut_process"), row.get(0), Process::from_code);
                let tool = errors.required_text(&row.id("cut_tool"), row.get(1), 80);
                let passes = match row.get(2) {
                    "" => Some(1),
                    passes => errors.int(&row.id("cut_passes"), passes, 1..=99),
                };
                let field = row.id("cut_diameter");
                let diameter = errors.optional(row.get(3), |errors| {
                    let length = errors.length(&field, row.get(3), unit)?;
                    if length <= Length::ZERO {
                        errors.add(&field, "Enter a diameter above 0");
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
            if let Some(cuts) = all(cuts.collect()) {
                element.recipe = (!cuts.is_empty()).then_some(Recipe { cuts });
            }
        },
    )
}

fn materials(who: &SignedIn) -> Group<Element> {
    let currency = who.shop.currency;
    let unit = who.shop.length_unit;
    rows(
        (
            "Materials",
            "materials",
            "What it uses up each time it is done. With sizes, only for features of those sizes: a sleeve by its bore.",
        ),
        vec![
            Field::text("material_name", "Material", ""),
            Field::decimal("material_quantity", "Quantity", ""),
            Field::money("material_price", "Price of one", "", currency),
            Field::length("material_smallest", "Above size", "", unit),
            Field::length("material_largest", "Up to size", "", unit),
        ],
        move |element: &Element| {
            let materials = element.materials.iter();
            materials
                .map(|m| {
                    let quantity = m.quantity.normalize().to_string();
                    let size =
                        |size: Option<Length>| size.map(|s| s.entry(unit)).unwrap_or_default();
                    let (smallest, largest) = (size(m.smallest), size(m.largest));
                    vec![m.name.clone(), quantity, amount(m.price), smallest, largest]
                })
                .collect()
        },
        move |element, rows, errors| {
            let materials = rows.iter().map(|row| {
                let name = errors.required_text(&row.id("material_name"), row.get(0), 120);
                let most = Decimal::ZERO..=Decimal::from(10_000);
                let quantity = errors.decimal(&row.id("material_quantity"), row.get(1), most);
                let price = errors.money(&row.id("material_price"), row.get(2), currency);
                let mut size = |column: usize, name: &str| {
                    let field = row.id(name);
                    let typed = row.get(column);
                    errors.optional(typed, |errors| errors.length(&field, typed, unit))
                };
                let smallest = size(3, "material_smallest");
                let largest = size(4, "material_largest");
                Some(Material {
                    name: name?,
                    quantity: quantity?,
                    price: price?,
                    smallest: smallest?,
                    largest: largest?,
                    made: false,
                })
            });
            if let Some(materials) = all(materials.collect()) {
                element.materials = materials;
            }
        },
    )
}
