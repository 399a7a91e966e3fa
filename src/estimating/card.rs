//! What a route card says of one operation: its steps with their times, its setup, what must be checked, what to beware
//! of, what it uses up.

use super::check::{Check, CheckKind};
use super::cutting::{Process, Recipe};
use super::cutting_data::CuttingData;
use super::element::{Material, Stage};
use super::order::OrderOfWork;
use super::route::{Operation, Step};
use super::routing::{Draft, Group, Key, Part, RouteError};
use crate::castings::measured::Sizes;
use crate::castings::{Feature, FeatureKind, before_reamer};
use crate::units::text::capitalised;
use crate::units::{Length, Minutes, Money, Spread, Thread};
use rust_decimal::Decimal;

/// The operation of a group of steps.
pub(super) fn operation(
    group: &Group,
    number: u32,
    part: &Part,
    (data, order): (&CuttingData, &OrderOfWork),
) -> Result<Operation, RouteError> {
    let mut drafts: Vec<&Draft> = group.drafts.iter().collect();
    drafts.sort_by_key(|d| order.rank(d.stage));
    let key = group.key;
    let steps: Vec<Step> = drafts.iter().map(|d| step(d, data)).collect();
    let run: Minutes = steps.iter().map(Step::run).sum();
    let attended: Decimal = steps
        .iter()
        .zip(&drafts)
        .map(|(s, d)| s.run().0 * d.element.attended_share)
        .sum();
    let longest = drafts.iter().max_by_key(|d| d.element.setup);
    let setup = longest.map_or(Minutes::ZERO, |d| d.element.setup);
    let setup_spread = longest.map_or(Spread::NONE, |d| d.element.spread);

    let mut checks = Vec::new();
    let mut cautions = Vec::new();
    let mut materials: Vec<Material> = Vec::new();
    let mut tools = Vec::new();
    let mut outside: Option<(Money, u32)> = None;
    if let Some(weight) = part.weight.filter(|_| setup > Minutes::ZERO && !key.apart) {
        cautions.push(lifting(weight));
    }
    for draft in &drafts {
        if draft.element.stage == Stage::Hone && part.sizes.bores.torque_plate {
            push_new(&mut checks, torque_plate());
            push_new(&mut tools, format!("Torque plate, {}", part.name));
        }
        for check in checks_of(draft, part.sizes) {
            push_new(&mut checks, check);
        }
        for caution in &draft.element.cautions {
            push_new(&mut cautions, caution.clone());
        }
        for tool in &draft.element.tools {
            push_new(&mut tools, tool.replace("{part}", part.name));
        }
        use_up(&mut materials, draft);
        if let Some(price) = draft.element.outside_price {
            let price = price.times(Decimal::from(draft.count))?;
            let days = draft.element.outside_days.unwrap_or(0);
            outside = Some(match outside {
                Some((so_far, away)) => (so_far.plus(price)?, away.max(days)),
                None => (price, days),
            });
        }
    }
    let table = match key.face {
        Some(face) => format!("{} / {face} / {}", key.machine_kind, part.name),
        None => format!("{} / {}", key.machine_kind, part.name),
    };
    Ok(Operation {
        number,
        title: title(key, &drafts),
        stage: group.stage(order),
        machine_kind: key.machine_kind.to_owned(),
        skill: key.skill.to_owned(),
        face: key.face,
        setup_key: table,
        setup,
        setup_spread,
        run,
        attended_share: if run == Minutes::ZERO {
            Decimal::ONE
        } else {
            (attended / run.0).round_dp(6)
        },
        steps,
        after: Vec::new(),
        checks,
        cautions,
        materials,
        tools,
        can_fail: drafts.iter().any(|d| d.element.can_fail),
        outside,
        makes: None,
    })
}

/// Adds what a step uses up, by the size of its feature; the same material at the same price is one line.
fn use_up(materials: &mut Vec<Material>, draft: &Draft) {
    let size = draft.feature.map(|feature| feature.size);
    let used = draft.element.materials.iter();
    for material in used.filter(|material| material.is_for(size)) {
        let quantity = material.quantity * Decimal::from(draft.count);
        let same = |m: &&mut Material| m.name == material.name && m.price == material.price;
        match materials.iter_mut().find(same) {
            Some(have) => have.quantity += quantity,
            None => materials.push(Material {
                quantity,
                ..material.clone()
            }),
        }
    }
}

/// What is said before a casting is lifted. Above 25 kg nobody lifts alone (the usual guideline figure for one person, from
/// memory; local rules go before it).
fn lifting(weight: Decimal) -> String {
    let kg = weight.normalize();
    if weight > Decimal::from(25) {
        format!(
            "The bare casting weighs about {kg} kg: hoist and rated slings, never by hand alone."
        )
    } else {
        format!(
            "The bare casting weighs about {kg} kg: lift it with straight arms close to the body, or with two."
        )
    }
}

fn push_new<T: PartialEq>(list: &mut Vec<T>, item: T) {
    if !list.contains(&item) {
        list.push(item);
    }
}

fn title(key: Key, drafts: &[&Draft]) -> String {
    let machine = capitalised(key.machine_kind);
    match key.face {
        Some(face) => format!("{machine}: {face}"),
        None => {
            let mut names = Vec::new();
            for draft in drafts {
                push_new(&mut names, draft.element.name.as_str());
            }
            format!("{machine}: {}", names.join("; "))
        }
    }
}

fn step(draft: &Draft, data: &CuttingData) -> Step {
    let element = draft.element;
    let (each, source, how) = element.minutes_each(draft.feature, data);
    let recipe = draft.feature.zip(element.recipe.as_ref());
    let mut settings = recipe.map_or_else(Vec::new, |(feature, recipe)| {
        recipe.settings(feature, draft.from, data)
    });
    settings.extend(Some(element.at_machine.clone()).filter(|said| !said.is_empty()));
    Step {
        code: element.code.clone(),
        name: match draft.feature {
            Some(feature) => format!("{}, {}", element.name, callout(feature)),
            None => element.name.clone(),
        },
        place: draft.feature.map(|f| f.place.clone()),
        count: draft.count,
        each,
        source,
        how,
        sizes: draft
            .feature
            .and_then(|f| sizes(f, element.recipe.as_ref()?, draft.deepest))
            .unwrap_or_default(),
        settings,
        left_out: element.left_out.clone(),
        spread: element.spread,
        calculated_percent: element.calculated_percent,
        setup: Some(element.setup),
    }
}

/// The checks of the element, with the limits of the pattern where they come from there; where the step finishes a feature with a fit, its limits stand in the one that takes
/// them, or in one of their own.
fn checks_of(draft: &Draft, sizes: &Sizes) -> Vec<Check> {
    let basis = draft.element.basis;
    let mut checks: Vec<Check> = (draft.element.checks.iter())
        .map(|check| check.on_route(basis, draft.count, draft.feature))
        .collect();
    if let Some(feature) = draft.finishes.filter(|f| f.fit.is_some()) {
        match checks.iter_mut().find(|c| c.kind == CheckKind::Fit) {
            Some(open) => open.take_fit(feature),
            None => checks.push(Check::of_feature(feature)),
        }
    }
    for check in checks.iter_mut().filter(|c| c.kind == CheckKind::Fit) {
        check.judged("as on the drawing");
    }
    let dowel = draft
        .finishes
        .filter(|f| f.kind == FeatureKind::DowelHole && f.fit.is_some());
    // Ground dowels are m6 where the pattern says nothing else (ISO 2338 parallel pins, from memory).
    let class = sizes.rear.pin_fit.or_else(|| "m6".parse().ok());
    checks.extend(dowel.zip(class).map(|(f, class)| Check::of_dowel(f, class)));
    for check in &mut checks {
        check.take_sizes(sizes);
    }
    let staged = checks.into_iter().flat_map(|check| check.in_stages(sizes));
    staged.collect()
}

/// What is bolted on before bores are honed that are round only under the pull of the head bolts (common practice, no source).
fn torque_plate() -> Check {
    Check::yes_no(
        "Torque plate on before honing",
        "with a gasket like the one that goes in, bolts in stages to the head’s figure; bores gauged with it on",
        "torque wrench",
    )
}

/// What is set at the machine for a feature: the drill, how deep it goes and what of that is full thread, reamed or
/// run-out; the depth that is bored. `deepest` is the metal there.
fn sizes(feature: &Feature, recipe: &Recipe, deepest: Option<Length>) -> Option<String> {
    let has = |process| recipe.cuts.iter().any(|cut| cut.process == process);
    let mm = |length: Length| length.mm().normalize();
    let depths = feature.depths(deepest);
    if !has(Process::Drill) {
        let bored = depths.filter(|_| has(Process::Bore) || has(Process::Mill))?;
        return Some(format!("{} mm deep", mm(bored.full)));
    }
    let (drill, rule) = match &feature.thread {
        None if has(Process::Ream) => {
            let drill = before_reamer(feature.size);
            (drill.diameter, format!(" ({})", drill.rule))
        }
        _ => (feature.first_drill()?.diameter, String::new()),
    };
    let gauged = match feature.thread.as_ref().and_then(Thread::gauging) {
        Some(gauging) => format!("; {gauging}"),
        None => String::new(),
    };
    let Some(depths) = depths else {
        return Some(format!("Drill ⌀{}{rule}, through{gauged}", mm(drill)));
    };
    let below = match (&feature.thread, has(Process::Ream)) {
        (Some(_), _) => format!(
            "; full thread {} mm, run-out {} mm",
            mm(depths.full),
            mm(depths.run_out)
        ),
        (None, true) => format!("; ream {} mm", mm(depths.full)),
        (None, false) => String::new(),
    };
    let short = match deepest.filter(|_| depths.short) {
        Some(deepest) => format!("; bottoming tap, the metal ends at {} mm", mm(deepest)),
        None => String::new(),
    };
    Some(format!(
        "Drill ⌀{}{rule}, {} mm deep, point to {} mm{below}{short}{gauged}",
        mm(drill),
        mm(depths.shoulder()),
        mm(depths.bottom())
    ))
}

/// The size of a feature as a drawing calls it out: `M10x1.5, tap drill 8.5 mm`, `ø12 H7`.
fn callout(feature: &Feature) -> String {
    match (&feature.thread, feature.fit) {
        (Some(thread), _) => {
            format!("{thread}, tap drill {}", thread.tap_drill().diameter)
        }
        (None, Some(fit)) => format!("ø{} {fit}", feature.size.mm().normalize()),
        (None, None) => format!("ø{}", feature.size),
    }
}
