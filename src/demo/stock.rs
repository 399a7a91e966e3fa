//! Stock, tooling, and what the live jobs need.

use super::draw::LiveJob;
use super::fill::DemoError;
use super::seed::{Seed, SeedError};
use crate::app::meet_need;
use crate::db::ShopTx;
use crate::db::jobs;
use crate::db::needs::{Arrival, Behind, NeedDetails, NeedKind};
use crate::db::standards;
use crate::db::stock::{self, ItemDetails, ItemMaking, OrderDetails};
use crate::db::tools::{self, ToolDetails};
use crate::estimating::{Element, Making, MakingStep, Material};
use crate::units::{Minutes, Money};
use chrono::{Days, NaiveDate};
use rust_decimal::Decimal;
use serde::Deserialize;
use std::collections::HashMap;
use uuid::Uuid;

/// `stock.toml`.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StockFile {
    item: Vec<ItemSeed>,
    part: Vec<PartSeed>,
    tool: Vec<ToolSeed>,
    tooling: Vec<ToolingSeed>,
    making: Vec<MakingSeed>,
    fitting: Vec<FittingSeed>,
    donors: DonorsSeed,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct MakingSeed {
    item: String,
    materials: Vec<MaterialSeed>,
    step: Vec<StepSeed>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct MaterialSeed {
    name: String,
    quantity: Decimal,
    price: Decimal,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct StepSeed {
    what: String,
    machine_kind: String,
    skill: String,
    setup: Decimal,
    each: Decimal,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct FittingSeed {
    like: String,
    code: String,
    name: String,
    part: String,
    price: Decimal,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct ItemSeed {
    name: String,
    unit: String,
    kept_at: String,
    supplier: String,
    minimum: Option<Decimal>,
    on_hand: Decimal,
    #[serde(default)]
    order: Vec<OrderSeed>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct OrderSeed {
    quantity: Decimal,
    ordered_days_ago: u64,
    expected_in_days: Option<u64>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct PartSeed {
    item: String,
    quantity: Decimal,
    title: String,
    machine_kind: String,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct ToolSeed {
    name: String,
    kept_at: String,
    note: String,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct ToolingSeed {
    tool: String,
    title: String,
    machine_kind: String,
    jobs: usize,
    out: bool,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
struct DonorsSeed {
    one_in: usize,
    expected_in_days: u64,
}

fn fault(why: String) -> SeedError {
    SeedError {
        file: "stock.toml",
        why,
    }
}

/// Keys of what was written, by name.
#[derive(Debug, Default)]
pub(super) struct Kept {
    items: HashMap<String, (Uuid, String)>,
    tools: HashMap<String, Uuid>,
    /// Conversions that are not begun, so far.
    waiting: usize,
    /// Jobs that need each line of tooling, so far.
    tooled: HashMap<usize, usize>,
}

/// Writes stock with its orders, and the tooling.
pub(super) async fn write(
    tx: &mut ShopTx,
    seed: &Seed,
    today: NaiveDate,
) -> Result<Kept, DemoError> {
    let mut kept = Kept::default();
    let after = |days| today.checked_add_days(Days::new(days)).unwrap_or(today);
    for item in &seed.stock.item {
        let details = ItemDetails {
            name: item.name.clone(),
            unit: item.unit.clone(),
            kept_at: item.kept_at.clone(),
            supplier: item.supplier.clone(),
            minimum: item.minimum,
            active: true,
        };
        let id = stock::insert(tx, &details).await?;
        if item.on_hand > Decimal::ZERO {
            stock::count(tx, id, Decimal::ZERO, item.on_hand, "First count").await?;
        }
        for order in &item.order {
            let details = OrderDetails {
                quantity: order.quantity,
                supplier: item.supplier.clone(),
                ordered_on: today
                    .checked_sub_days(Days::new(order.ordered_days_ago))
                    .unwrap_or(today),
                expected_on: order.expected_in_days.map(after),
            };
            stock::order(tx, id, &details).await?;
        }
        kept.items
            .insert(item.name.clone(), (id, item.unit.clone()));
    }
    for tool in &seed.stock.tool {
        let details = ToolDetails {
            name: tool.name.clone(),
            kept_at: tool.kept_at.clone(),
            note: tool.note.clone(),
            active: true,
        };
        let id = tools::insert(tx, &details).await?;
        kept.tools.insert(tool.name.clone(), id);
    }
    write_made(tx, seed, &kept).await?;
    Ok(kept)
}

/// Writes how parts are made here, and the work that uses them.
async fn write_made(tx: &mut ShopTx, seed: &Seed, kept: &Kept) -> Result<(), DemoError> {
    let material = |name: &str, quantity, price| Material {
        name: name.to_owned(),
        quantity,
        price: Money::new(price, seed.shop.shop.currency),
        smallest: None,
        largest: None,
        made: false,
    };
    for making in &seed.stock.making {
        let item = kept.items.get(&making.item);
        let (item_id, _) =
            item.ok_or_else(|| fault(format!("there is no item “{}”", making.item)))?;
        let steps = making.step.iter().map(|step| MakingStep {
            code: None,
            what: step.what.clone(),
            machine_kind: step.machine_kind.clone(),
            skill: step.skill.clone(),
            setup: Some(Minutes(step.setup)),
            each: Some(Minutes(step.each)),
        });
        let materials = making.materials.iter();
        let kept = ItemMaking {
            item_id: *item_id,
            making: Making {
                steps: steps.collect(),
                materials: materials
                    .map(|m| material(&m.name, m.quantity, m.price))
                    .collect(),
            },
            version: 0,
        };
        stock::keep_making(tx, &kept).await?;
    }
    for fitting in &seed.stock.fitting {
        let like = seed.elements.iter().find(|e| e.code == fitting.like);
        let like = like.ok_or_else(|| fault(format!("there is no element {}", fitting.like)))?;
        let element = Element {
            id: Uuid::now_v7(),
            code: fitting.code.clone(),
            name: fitting.name.clone(),
            materials: vec![material(&fitting.part, Decimal::ONE, fitting.price)],
            ..like.clone()
        };
        standards::insert(tx, &element).await?;
    }
    Ok(())
}

/// Writes what a live job needs, as far as it has come.
pub(super) async fn write_needs(
    tx: &mut ShopTx,
    seed: &Seed,
    kept: &mut Kept,
    today: NaiveDate,
    job_id: Uuid,
    (job, casting): (
        &LiveJob,
        impl AsyncFnOnce(&mut ShopTx) -> Result<Option<Uuid>, DemoError>,
    ),
) -> Result<(), DemoError> {
    let title = job.title.as_str();
    meet_need::of_route(tx, job_id, &job.route, None).await?;
    let operations = jobs::operations(tx, job_id).await?;
    let under_way = job.done + usize::from(job.begun);
    let begun = under_way > 0;
    let mut need = donor(seed, kept, today, title, begun);
    if need.arrival == Arrival::Here
        && let Some(id) = casting(tx).await?
    {
        (need.behind, need.arrival) = (Behind::Casting(id), Arrival::Wanted);
    }
    meet_need::add_within(tx, job_id, &need).await?;
    let ahead = |title_has: &str, kind: &str| {
        let found = operations
            .iter()
            .skip(under_way)
            .find(|operation| operation.planned.machine_kind == kind);
        found
            .filter(|_| title.contains(title_has))
            .map(|operation| operation.id)
    };
    for part in &seed.stock.part {
        let Some(operation_id) = ahead(&part.title, &part.machine_kind) else {
            continue;
        };
        let (id, unit) = kept
            .items
            .get(&part.item)
            .ok_or_else(|| fault(format!("there is no item “{}”", part.item)))?;
        let details = NeedDetails {
            operation_id: Some(operation_id),
            kind: NeedKind::Part,
            what: part.item.clone(),
            quantity: part.quantity,
            unit: unit.clone(),
            behind: Behind::Item(*id),
            arrival: Arrival::Wanted,
            expected_on: None,
        };
        meet_need::add_within(tx, job_id, &details).await?;
    }
    for (at, tooling) in seed.stock.tooling.iter().enumerate() {
        let so_far = kept.tooled.entry(at).or_default();
        let Some(operation_id) =
            ahead(&tooling.title, &tooling.machine_kind).filter(|_| *so_far < tooling.jobs)
        else {
            continue;
        };
        *so_far += 1;
        let first = *so_far == 1;
        let id = *kept
            .tools
            .get(&tooling.tool)
            .ok_or_else(|| fault(format!("there is no tooling “{}”", tooling.tool)))?;
        let details = NeedDetails {
            operation_id: Some(operation_id),
            kind: NeedKind::Tool,
            what: tooling.tool.clone(),
            quantity: Decimal::ONE,
            unit: "set".to_owned(),
            behind: Behind::Tool(id),
            arrival: Arrival::Wanted,
            expected_on: None,
        };
        meet_need::add_within(tx, job_id, &details).await?;
        if tooling.out && first {
            tools::take_out(tx, id, job_id).await?;
        }
    }
    Ok(())
}

/// The casting a live job is about. What is begun has it.
fn donor(seed: &Seed, kept: &mut Kept, today: NaiveDate, title: &str, begun: bool) -> NeedDetails {
    let conversion = title.contains(" converted to ");
    let waits = conversion && !begun;
    let turn = waits.then(|| {
        kept.waiting += 1;
        kept.waiting % seed.stock.donors.one_in.max(1)
    });
    let (arrival, expected_on) = match turn {
        Some(1) => (
            Arrival::Ordered,
            today.checked_add_days(Days::new(seed.stock.donors.expected_in_days)),
        ),
        Some(2) => (Arrival::Wanted, None),
        _ => (Arrival::Here, None),
    };
    NeedDetails {
        operation_id: None,
        kind: NeedKind::Donor,
        what: if conversion {
            "The casting to be converted".to_owned()
        } else {
            "The customer’s own casting".to_owned()
        },
        quantity: Decimal::ONE,
        unit: "each".to_owned(),
        behind: Behind::Itself,
        arrival,
        expected_on,
    }
}
