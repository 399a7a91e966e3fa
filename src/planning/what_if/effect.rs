//! What comes of a change, worked out.

use super::sentence::sentence;
use super::{PRICE_OF_A_MOVE, SMALL_SHIFT};
use crate::planning::calendar::Calendar;
use crate::planning::changes::{CannotChange, PlanChange};
use crate::planning::engine::futures::{Futures, futures};
use crate::planning::engine::model::plan::Plan;
use crate::planning::engine::model::{Minute, Model, ModelError};
use crate::planning::engine::repair::repair;
use crate::planning::engine::solve;
use crate::planning::floor::{Floor, FloorModel, SchedulingIssue, Slot, Timetable};
use chrono::{DateTime, TimeDelta, Utc};
use rand::SeedableRng;
use std::collections::HashMap;
use uuid::Uuid;

/// Times that are tried for a place that was refused.
const NEAREST_TRIED: usize = 12;

/// How hard to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// Moves of the search that mends the plan; none leaves the order as it is.
    pub moves: u64,
    /// What the search pays for an operation put elsewhere, in weighted minutes of lateness.
    pub price_of_a_move: Minute,
    /// Futures drawn of the plans, for the chances; none leaves them out.
    pub futures: usize,
    /// Whether a change by hand [leaves the rest](PlanChange::leaves_the_rest) where it is.
    pub in_place: bool,
    /// Same seed, same answer.
    pub seed: u64,
}

impl Settings {
    /// For a change that somebody makes by hand: what they are shown is what is kept.
    #[must_use]
    pub fn by_hand() -> Self {
        Self {
            in_place: true,
            ..Self::default()
        }
    }

    /// How a plan is mended that is to stay.
    fn kept(self, plan: &Timetable) -> From<'_> {
        if self.in_place {
            From::InPlace(plan)
        } else {
            From::Places(plan)
        }
    }
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            moves: 1_500,
            price_of_a_move: PRICE_OF_A_MOVE,
            futures: 200,
            in_place: false,
            seed: 1,
        }
    }
}

/// A plan beside the one it would replace.
#[derive(Debug, Clone)]
pub struct WhatIf {
    /// The floor with the change made.
    pub floor: Floor,
    /// Its model.
    pub model: FloorModel,
    /// The mended plan.
    pub plan: Plan,
    /// The current plan as it can be carried out now.
    pub before: Timetable,
    /// The mended plan in times of day.
    pub after: Timetable,
    /// What comes of it.
    pub effect: Effect,
}

/// A promise that moves, or a day the shop works to.
#[derive(Debug, Clone, PartialEq)]
pub struct PromiseMove {
    /// The job.
    pub job: Uuid,
    /// The moment promised.
    pub due: Option<DateTime<Utc>>,
    /// Ready in the current plan; `None` when it was not planned.
    pub before: Option<DateTime<Utc>>,
    /// Ready in the mended plan; `None` when it is not planned any more.
    pub after: Option<DateTime<Utc>>,
    /// Working minutes of the shop it is ready later; negative when sooner.
    pub later: Minute,
    /// Chance of the promise before and after, from 0 to 1.
    pub chance: (Option<f64>, Option<f64>),
}

impl PromiseMove {
    /// Late in the current plan.
    #[must_use]
    pub fn was_late(&self) -> bool {
        self.before.zip(self.due).is_some_and(|(at, due)| at > due)
    }

    /// Late in the mended plan.
    #[must_use]
    pub fn is_late(&self) -> bool {
        self.after.zip(self.due).is_some_and(|(at, due)| at > due)
    }
}

/// What comes of a change.
#[derive(Debug, Clone, PartialEq)]
pub struct Effect {
    /// Jobs that are ready at another time: those that become late first, then those that lose most.
    pub promises: Vec<PromiseMove>,
    /// Operations on another machine or with another person, or that begin at another time by [`SMALL_SHIFT`] or more.
    pub moved: Vec<Uuid>,
    /// The others that do not begin when they did.
    pub shifted: Vec<Uuid>,
    /// What can no longer be planned as wished.
    pub new_issues: Vec<SchedulingIssue>,
    /// All of it in one sentence.
    pub sentence: String,
}

/// The current plan, before any change: worked out once, however much is tried on it.
#[derive(Debug)]
pub struct Baseline<'a> {
    floor: &'a Floor,
    model: FloorModel,
    before: Timetable,
    settings: Settings,
}

impl<'a> Baseline<'a> {
    /// The current plan as it can be carried out now.
    ///
    /// # Errors
    /// When the floor cannot be planned.
    pub fn new(
        floor: &'a Floor,
        current: &Timetable,
        settings: Settings,
    ) -> Result<Self, ModelError> {
        let model = floor.model();
        let plan = carried(floor, &model, settings.kept(current))?;
        let drawn = drawn(&model, &plan, settings)?;
        Ok(Self {
            before: model.timetable(floor, &plan, drawn.as_ref()),
            floor,
            model,
            settings,
        })
    }

    /// The current plan as it can be carried out now.
    pub(super) fn before(&self) -> &Timetable {
        &self.before
    }

    /// Makes a change to the floor and mends the current plan for it.
    ///
    /// # Errors
    /// [`TryError::Cannot`] when the change cannot be made, or a pin not kept; [`TryError::Model`] when there is no
    /// plan.
    pub fn try_out(&self, change: &PlanChange) -> Result<WhatIf, TryError> {
        let ordered = change.reordered(self.floor, &self.before);
        let from = match &ordered {
            Some(ordered) => From::Order(ordered),
            None => self.around(change),
        };
        self.tried(from, change, self.settings.moves)
    }

    /// How the current plan is mended around a change.
    fn around(&self, change: &PlanChange) -> From<'_> {
        if change.leaves_the_rest() {
            self.settings.kept(&self.before)
        } else {
            From::Places(&self.before)
        }
    }

    /// The change nearest to one that was refused that can be made instead, where its kind knows one: the same operation
    /// at the nearest time its machine and person are free and what comes before it is done. At most
    /// `NEAREST_TRIED` times are tried.
    #[must_use]
    pub fn nearest(&self, refused: &PlanChange) -> Option<PlanChange> {
        let wanted = refused.times().first().copied()?;
        let far = |change: &PlanChange| {
            let at = change.times().first().copied();
            at.map_or(TimeDelta::MAX, |at| (at - wanted).abs())
        };
        let mut seen = vec![refused.clone()];
        let mut open = self.attempt(refused).err()?;
        for _ in 0..NEAREST_TRIED {
            open.retain(|change| !seen.contains(change));
            open.sort_by_key(|change| std::cmp::Reverse(far(change)));
            let next = open.pop()?;
            match self.attempt(&next) {
                Ok(()) => return Some(next),
                Err(more) => open.extend(more),
            }
            seen.push(next);
        }
        None
    }

    /// Makes a change without a search for what is best then.
    ///
    /// # Errors
    /// When it cannot be made, what its kind would try instead.
    fn attempt(&self, change: &PlanChange) -> Result<(), Vec<PlanChange>> {
        let changed = change.apply(self.floor).map_err(|_| Vec::new())?;
        let model = changed.model();
        let plan = carried(&changed, &model, self.around(change)).map_err(|_| Vec::new())?;
        let possible =
            change.fits(&changed, &model).is_ok() && change.keeps(&changed, &model, &plan).is_ok();
        if possible {
            Ok(())
        } else {
            Err(change.instead(&changed, &model, &plan, &self.before))
        }
    }

    /// Takes a change back: the floor is given back by `change`, and the plan is the one from before it, `earlier`,
    /// carried over to the floor without a search.
    ///
    /// # Errors
    /// As [`Self::try_out`].
    pub fn try_back(&self, earlier: &Timetable, change: &PlanChange) -> Result<WhatIf, TryError> {
        self.tried(self.settings.kept(earlier), change, 0)
    }

    /// Mends the current plan for a floor that has become another one; `condition` is how the sentence that says what comes
    /// of it begins.
    ///
    /// # Errors
    /// When there is no plan.
    pub fn try_floor(&self, condition: &str, changed: Floor) -> Result<WhatIf, ModelError> {
        let model = changed.model();
        let plan = mended(&changed, &model, From::Places(&self.before), self.settings)?;
        self.beside(condition, changed, model, plan)
    }

    fn tried(&self, from: From, change: &PlanChange, moves: u64) -> Result<WhatIf, TryError> {
        let changed = change.apply(self.floor)?;
        let model = changed.model();
        change.fits(&changed, &model)?;
        let settings = Settings {
            moves,
            ..self.settings
        };
        let plan = mended(&changed, &model, from, settings)?;
        change.keeps(&changed, &model, &plan)?;
        Ok(self.beside(&change.condition(self.floor), changed, model, plan)?)
    }

    /// A plan of a changed floor beside the current one.
    fn beside(
        &self,
        condition: &str,
        changed: Floor,
        model: FloorModel,
        plan: Plan,
    ) -> Result<WhatIf, ModelError> {
        let drawn = drawn(&model, &plan, self.settings)?;
        let after = model.timetable(&changed, &plan, drawn.as_ref());
        let effect = effect(
            condition,
            (self.floor, &self.model.issues, &self.before),
            (&changed, &model.issues, &after),
        );
        Ok(WhatIf {
            floor: changed,
            model,
            plan,
            before: self.before.clone(),
            after,
            effect,
        })
    }
}

/// The same futures of every plan, so that chances differ by what was changed and by nothing else.
fn drawn(
    model: &FloorModel,
    plan: &Plan,
    settings: Settings,
) -> Result<Option<Futures>, ModelError> {
    (settings.futures > 0)
        .then(|| {
            let mut rng = rand_pcg::Pcg64::seed_from_u64(settings.seed);
            futures(&model.model, plan, settings.futures, &mut rng)
        })
        .transpose()
}

/// What a plan is mended from.
#[derive(Clone, Copy)]
enum From<'a> {
    /// A plan whose places are kept where that can be.
    Places(&'a Timetable),
    /// A plan of which everything stays where it is that can.
    InPlace(&'a Timetable),
    /// A plan of which only the order says anything.
    Order(&'a Timetable),
}

/// A plan carried over to a floor that has changed, without a search.
fn carried(floor: &Floor, model: &FloorModel, from: From) -> Result<Plan, ModelError> {
    match from {
        From::Places(current) => model.carry_over(floor, current),
        From::InPlace(current) => model.carry_over_in_place(floor, current),
        From::Order(ordered) => model.in_order_of(floor, ordered),
    }
}

/// A plan mended for a floor that has changed: carried over, then searched near it. Where everything stays that can, the
/// search moves only what saves promises at the price.
fn mended(
    floor: &Floor,
    model: &FloorModel,
    from: From,
    settings: Settings,
) -> Result<Plan, ModelError> {
    match from {
        _ if settings.moves == 0 => carried(floor, model, from),
        From::InPlace(current) => {
            let held = model.in_place(floor, current)?;
            let plan = searched(&held.model, &held.plan, settings)?;
            Ok(held.without_holds(plan))
        }
        From::Places(_) | From::Order(_) => {
            searched(&model.model, &carried(floor, model, from)?, settings)
        }
    }
}

fn searched(model: &Model, carried: &Plan, settings: Settings) -> Result<Plan, ModelError> {
    let search = solve::SolveOptions {
        seed: settings.seed,
        iterations: Some(settings.moves),
        rounds: 9,
    };
    let mended = repair(
        model,
        carried,
        settings.price_of_a_move,
        &search,
        &mut |_| false,
    )?;
    Ok(mended.plan)
}

/// Why a change was not tried.
#[derive(Debug, thiserror::Error)]
pub enum TryError {
    /// It cannot be made.
    #[error(transparent)]
    Cannot(#[from] CannotChange),
    /// There is no plan of what would be.
    #[error(transparent)]
    Model(#[from] ModelError),
}

/// A floor with what cannot be planned on it and its plan.
type Planned<'a> = (&'a Floor, &'a [SchedulingIssue], &'a Timetable);

fn effect(condition: &str, old: Planned, new: Planned) -> Effect {
    let (_, old_issues, before) = old;
    let (floor, issues, after) = new;
    let promises = promises(floor, before, after);
    let old_slots: HashMap<Uuid, &Slot> = before.slots.iter().map(|s| (s.operation, s)).collect();
    let far = |slot: &Slot| {
        old_slots.get(&slot.operation).is_none_or(|old| {
            (old.machine, old.person) != (slot.machine, slot.person)
                || working(floor, old.starts, slot.starts).abs() >= SMALL_SHIFT
        })
    };
    let elsewhere = after.slots.iter().filter(|slot| {
        old_slots.get(&slot.operation).is_none_or(|old| {
            (old.machine, old.person, old.starts) != (slot.machine, slot.person, slot.starts)
        })
    });
    let (moved, shifted): (Vec<&Slot>, Vec<&Slot>) = elsewhere.partition(|slot| far(slot));
    let keys = |slots: Vec<&Slot>| slots.iter().map(|slot| slot.operation).collect();
    let (moved, shifted): (Vec<Uuid>, Vec<Uuid>) = (keys(moved), keys(shifted));
    let new_issues: Vec<SchedulingIssue> = issues
        .iter()
        .filter(|issue| !old_issues.contains(issue))
        .cloned()
        .collect();
    let sentence = sentence(
        condition,
        floor,
        &promises,
        (moved.len(), shifted.len()),
        &new_issues,
    );
    Effect {
        promises,
        moved,
        shifted,
        new_issues,
        sentence,
    }
}

pub(super) fn promises(floor: &Floor, before: &Timetable, after: &Timetable) -> Vec<PromiseMove> {
    let mut promises: Vec<PromiseMove> = floor
        .jobs
        .iter()
        .filter_map(|job| {
            let (old, new) = (before.job(job.id), after.job(job.id));
            let (was, is) = (old.map(|d| d.ready_at), new.map(|d| d.ready_at));
            (was != is).then(|| PromiseMove {
                job: job.id,
                due: job.due,
                before: was,
                after: is,
                later: was.zip(is).map_or(0, |(was, is)| working(floor, was, is)),
                chance: (old.and_then(|d| d.chance), new.and_then(|d| d.chance)),
            })
        })
        .collect();
    promises.sort_by_key(|p| {
        let newly_late = p.is_late() && !p.was_late();
        (!newly_late, p.after.is_some(), -p.later.abs())
    });
    promises
}

/// Working minutes of the shop from one instant to another; negative when the other is earlier.
pub(super) fn working(floor: &Floor, from: DateTime<Utc>, until: DateTime<Utc>) -> Minute {
    let calendar = Calendar::build(&floor.hours, from.min(until), from.max(until));
    calendar.working_between(from, until) - calendar.working_between(until, from)
}
