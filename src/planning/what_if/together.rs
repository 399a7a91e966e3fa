//! Setups together: work that needs the same on the table, done one after the other.

use super::effect::{Settings, WhatIf, try_out};
use super::{Change, Side, TryError};
use crate::planning::engine::model::Minute;
use crate::planning::floor::{Floor, SAME_KEY_REMAINS, Slot, SlotState, Timetable};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Two operations that could share a setup.
#[derive(Debug, Clone)]
pub struct Together {
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
    pub change: Change,
    /// What comes of it.
    pub tried: WhatIf,
}

/// A pair as it is found, before it is tried.
struct Pair<'a> {
    key: &'a str,
    first: &'a Slot,
    second: &'a Slot,
    saves: Minute,
}

/// Pairs of planned operations with the same setup key and other work between, each tried: the second brought forward
/// behind the first, or where that cannot be the first put back behind the second. At most `most` pairs are tried,
/// those that promise to save most first; what saves nothing, or puts a promise nobody can keep, is left out.
///
/// # Errors
/// [`TryError::Model`] when there is no plan at all.
pub fn together(
    floor: &Floor,
    standing: &Timetable,
    most: usize,
    settings: Settings,
) -> Result<Vec<Together>, TryError> {
    let mut found = Vec::new();
    for pair in pairs(floor, standing).into_iter().take(most) {
        let Some(machine) = pair.first.machine else {
            continue;
        };
        let behind = |moving: &Slot, stays: &Slot| Change::Order {
            operation: moving.operation,
            other: stays.operation,
            side: Side::Behind,
            machine: stays.machine.filter(|_| stays.machine != moving.machine),
        };
        let ways = [
            (behind(pair.second, pair.first), machine),
            (
                behind(pair.first, pair.second),
                pair.second.machine.unwrap_or(machine),
            ),
        ];
        for (change, machine) in ways {
            match try_out(floor, standing, &change, settings) {
                Ok(tried) => {
                    let saves = tried.before.value.setup - tried.after.value.setup;
                    if saves > 0 {
                        found.push(Together {
                            setup_key: pair.key.to_owned(),
                            first: pair.first.operation,
                            second: pair.second.operation,
                            machine,
                            saves,
                            change,
                            tried,
                        });
                        break;
                    }
                }
                // It has begun, or cannot go on that machine.
                Err(TryError::Cannot(_)) => {}
                Err(error @ TryError::Model(_)) => return Err(error),
            }
        }
    }
    found.sort_by_key(|t| {
        let newly_late = t
            .tried
            .effect
            .promises
            .iter()
            .filter(|p| p.is_late() && !p.was_late())
            .count();
        (newly_late, -t.saves)
    });
    Ok(found)
}

/// Neighbours among the planned operations of a machine kind with the same key that do not follow each other already.
fn pairs<'a>(floor: &'a Floor, standing: &'a Timetable) -> Vec<Pair<'a>> {
    let mut groups: BTreeMap<(&str, &str), Vec<(&Slot, Minute)>> = BTreeMap::new();
    // What stands directly behind what on a machine.
    let mut on_machine: BTreeMap<Uuid, Vec<&Slot>> = BTreeMap::new();
    for slot in &standing.slots {
        let (Some(machine), Some((_, operation))) = (slot.machine, floor.operation(slot.operation))
        else {
            continue;
        };
        on_machine.entry(machine).or_default().push(slot);
        let movable = matches!(slot.state, SlotState::Planned);
        if movable && !operation.setup_key.is_empty() && operation.setup > 0 {
            groups
                .entry((&operation.machine_kind, &operation.setup_key))
                .or_default()
                .push((slot, operation.setup));
        }
    }
    let follows = |first: &Slot, second: &Slot| {
        on_machine.values().any(|slots| {
            slots
                .windows(2)
                .any(|w| matches!(w, [a, b] if a.operation == first.operation && b.operation == second.operation))
        })
    };
    let mut pairs: Vec<Pair> = groups
        .iter()
        .flat_map(|((_, key), slots)| {
            slots.windows(2).filter_map(|w| match w {
                [(first, _), (second, setup)] if !follows(first, second) => Some(Pair {
                    key,
                    first,
                    second,
                    saves: setup - (*setup as f64 * SAME_KEY_REMAINS).ceil() as Minute,
                }),
                _ => None,
            })
        })
        .collect();
    pairs.sort_by_key(|p| (-p.saves, p.second.starts));
    pairs
}
