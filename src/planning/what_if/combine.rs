//! Setups combined: work that needs the same on the table, done one after the other.

use super::effect::{Ground, Settings, TryError, WhatIf};
use crate::planning::changes::{Order, PlanChange, Side};
use crate::planning::engine::model::Minute;
use crate::planning::floor::{Floor, SAME_KEY_REMAINS, Slot, SlotState, Timetable};
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Two operations that could share a setup.
#[derive(Debug, Clone)]
pub struct Combination {
    /// What is on the table.
    pub setup_key: String,
    /// The one that stays, or goes first.
    pub first: Uuid,
    /// The one behind it.
    pub second: Uuid,
    /// The machine.
    pub machine: Uuid,
    /// Setup minutes saved on the whole plan; what a changed order costs elsewhere is taken off.
    pub saves: Minute,
    /// The change that does it.
    pub change: PlanChange,
    /// What comes of it.
    pub tried: WhatIf,
}

/// A pair as it is found, before it is tried.
struct Pair<'a> {
    key: &'a str,
    first: &'a Slot,
    second: &'a Slot,
    /// Whether the second comes forward; otherwise the first goes back.
    forward: bool,
    saves: Minute,
}

/// Pairs of planned operations with the same setup key and other work between, each tried: the second brought forward
/// behind the first when it can begin by then, or the first put back behind the second when its job can spare that. At
/// most `most` are tried, those that promise to save most and lie closest first; what saves nothing is left out.
///
/// # Errors
/// [`TryError::Model`] when there is no plan at all.
pub fn combinations(
    floor: &Floor,
    current: &Timetable,
    most: usize,
    settings: Settings,
) -> Result<Vec<Combination>, TryError> {
    let ground = Ground::new(floor, current, settings)?;
    let mut found: Vec<Combination> = Vec::new();
    for pair in pairs(floor, current).into_iter().take(most) {
        let (moving, stays) = if pair.forward {
            (pair.second, pair.first)
        } else {
            (pair.first, pair.second)
        };
        let Some(machine) = stays.machine else {
            continue;
        };
        let change = PlanChange::from(Order {
            operation: moving.operation,
            other: stays.operation,
            side: Side::Behind,
            machine: (stays.machine != moving.machine).then_some(machine),
        });
        match ground.try_out(&change) {
            Ok(tried) => {
                let saves = tried.before.value.setup - tried.after.value.setup;
                if saves > 0 {
                    found.push(Combination {
                        setup_key: pair.key.to_owned(),
                        first: pair.first.operation,
                        second: pair.second.operation,
                        machine,
                        saves,
                        change,
                        tried,
                    });
                }
            }
            // It has begun, or cannot go on that machine.
            Err(TryError::Cannot(_)) => {}
            Err(error @ TryError::Model(_)) => return Err(error),
        }
    }
    found.sort_by_key(|t| {
        let promises = t.tried.effect.promises.iter();
        (
            promises.filter(|p| p.is_late() && !p.was_late()).count(),
            -t.saves,
        )
    });
    Ok(found)
}

/// Operations of a machine kind with the same key that do not follow each other already, each in one pair as the one
/// that moves.
fn pairs<'a>(floor: &'a Floor, current: &'a Timetable) -> Vec<Pair<'a>> {
    let mut groups: BTreeMap<(&str, &str), Vec<(&Slot, Minute)>> = BTreeMap::new();
    // What comes directly behind what on a machine.
    let mut follows: BTreeMap<Uuid, Uuid> = BTreeMap::new();
    let mut last: BTreeMap<Uuid, Uuid> = BTreeMap::new();
    for slot in &current.slots {
        let (Some(machine), Some((_, operation))) = (slot.machine, floor.operation(slot.operation))
        else {
            continue;
        };
        if let Some(before) = last.insert(machine, slot.operation) {
            follows.insert(before, slot.operation);
        }
        let movable = slot.state == SlotState::Planned && operation.pin.is_none();
        if movable && !operation.setup_key.is_empty() && operation.setup > 0 {
            groups
                .entry((&operation.machine_kind, &operation.setup_key))
                .or_default()
                .push((slot, operation.setup));
        }
    }
    let mut pairs: Vec<Pair> = Vec::new();
    for ((_, key), slots) in &groups {
        for (i, &(second, setup)) in slots.iter().enumerate() {
            let ready = ready(floor, current, second);
            let behind = slots.iter().take(i).rev();
            let between = |first: &Slot| follows.get(&first.operation) != Some(&second.operation);
            for &(first, _) in behind.take_while(|(first, _)| between(first)) {
                let minutes =
                    |from: DateTime<Utc>, until: DateTime<Utc>| (until - from).num_minutes();
                let forward = ready <= first.ends;
                // Working minutes are fewer than minutes of the clock, so this errs on the careful side.
                let back = first
                    .slack_minutes
                    .is_none_or(|slack| slack >= minutes(first.ends, second.ends));
                if forward || back {
                    pairs.push(Pair {
                        key,
                        first,
                        second,
                        forward,
                        saves: setup - (setup as f64 * SAME_KEY_REMAINS).ceil() as Minute,
                    });
                    break;
                }
            }
        }
    }
    pairs.sort_by_key(|p| (-p.saves, p.second.starts - p.first.ends));
    pairs
}

/// When an operation could begin at the earliest: when those before it are done.
fn ready(floor: &Floor, current: &Timetable, slot: &Slot) -> DateTime<Utc> {
    let Some((job, operation)) = floor.operation(slot.operation) else {
        return slot.starts;
    };
    let before = job.operations.iter();
    before
        .filter(|o| operation.after.contains(&o.number))
        .filter_map(|o| current.slot(o.id).map(|s| s.ends))
        .max()
        .unwrap_or(floor.now)
}
