//! What comes of a change, worked out and said.

use super::{CannotChange, Change, PRICE_OF_A_MOVE, Side, cannot, hours, job_words, moment};
use crate::planning::calendar::Calendar;
use crate::planning::engine::futures::{Futures, futures};
use crate::planning::engine::model::plan::Plan;
use crate::planning::engine::model::{Minute, ModelError};
use crate::planning::engine::repair::repair;
use crate::planning::engine::solve;
use crate::planning::floor::{Floor, FloorModel, IssueReason, SchedulingIssue, Timetable};
use chrono::{DateTime, Utc};
use rand::SeedableRng;
use std::collections::HashMap;
use uuid::Uuid;

/// How hard to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// Moves of the search that mends the plan; none leaves the order as it is.
    pub moves: u64,
    /// Futures drawn of the plans, for the chances; none leaves them out.
    pub futures: usize,
    /// Same seed, same answer.
    pub seed: u64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            moves: 1_500,
            futures: 200,
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
    /// The standing plan as it can be carried out now.
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
    /// Ready in the standing plan; `None` when it was not planned.
    pub before: Option<DateTime<Utc>>,
    /// Ready in the mended plan; `None` when it is not planned any more.
    pub after: Option<DateTime<Utc>>,
    /// Working minutes of the shop it is ready later; negative when sooner.
    pub later: Minute,
    /// Chance of the promise before and after, from 0 to 1.
    pub chance: (Option<f64>, Option<f64>),
}

impl PromiseMove {
    /// Late in the standing plan.
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
    /// Operations on another machine, with another person or at another time.
    pub moved: Vec<Uuid>,
    /// What can no longer be planned as wished.
    pub new_issues: Vec<SchedulingIssue>,
    /// All of it in one sentence.
    pub sentence: String,
}

/// The plan as it stands, before any change: worked out once, however much is tried on it.
#[derive(Debug)]
pub struct Ground<'a> {
    floor: &'a Floor,
    model: FloorModel,
    before: Timetable,
    settings: Settings,
}

impl<'a> Ground<'a> {
    /// The standing plan as it can be carried out now.
    ///
    /// # Errors
    /// When the floor cannot be planned.
    pub fn new(
        floor: &'a Floor,
        standing: &Timetable,
        settings: Settings,
    ) -> Result<Self, ModelError> {
        let model = floor.model();
        let plan = model.carry_over(floor, standing)?;
        let drawn = drawn(&model, &plan, settings)?;
        Ok(Self {
            before: model.timetable(floor, &plan, drawn.as_ref()),
            floor,
            model,
            settings,
        })
    }

    /// Makes a change to the floor and mends the standing plan for it.
    ///
    /// # Errors
    /// [`TryError::Cannot`] when the change cannot be made, or a pin not kept; [`TryError::Model`] when there is no
    /// plan.
    pub fn try_out(&self, change: &Change) -> Result<WhatIf, TryError> {
        match reordered(self.floor, &self.before, change) {
            Some(ordered) => self.tried(From::Order(&ordered), change, self.settings.moves),
            None => self.tried(From::Places(&self.before), change, self.settings.moves),
        }
    }

    /// Takes a change back: the floor is given back by `change`, and the plan is the one that stood at `earlier`,
    /// carried over to the floor without a search.
    ///
    /// # Errors
    /// As [`Self::try_out`].
    pub fn try_back(&self, earlier: &Timetable, change: &Change) -> Result<WhatIf, TryError> {
        self.tried(From::Places(earlier), change, 0)
    }

    fn tried(&self, from: From, change: &Change, moves: u64) -> Result<WhatIf, TryError> {
        let changed = change.apply(self.floor)?;
        let model = changed.model();
        if let Change::Place { operation, .. } = change {
            refused(&model, *operation)?;
        }
        let settings = Settings {
            moves,
            ..self.settings
        };
        let plan = mended(&changed, &model, from, settings)?;
        if let Change::Place {
            operation,
            starts: Some(starts),
            ..
        } = change
        {
            too_soon(&changed, &model, &plan, *operation, *starts)?;
        }
        let drawn = drawn(&model, &plan, settings)?;
        let after = model.timetable(&changed, &plan, drawn.as_ref());
        let effect = effect(
            change,
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
    /// A plan of which only the order says anything.
    Order(&'a Timetable),
}

/// A standing plan mended for a floor that has changed: carried over, then searched near it.
fn mended(
    floor: &Floor,
    model: &FloorModel,
    from: From,
    settings: Settings,
) -> Result<Plan, ModelError> {
    let carried = match from {
        From::Places(standing) => model.carry_over(floor, standing)?,
        From::Order(ordered) => model.in_order_of(floor, ordered)?,
    };
    if settings.moves == 0 {
        return Ok(carried);
    }
    let search = solve::SolveOptions {
        seed: settings.seed,
        iterations: Some(settings.moves),
        rounds: 9,
    };
    let mended = repair(
        &model.model,
        &carried,
        PRICE_OF_A_MOVE,
        &search,
        &mut |_| false,
    )?;
    Ok(mended.plan)
}

/// The standing plan with an operation brought to another's side: what comes first is read off the starts.
fn reordered(floor: &Floor, standing: &Timetable, change: &Change) -> Option<Timetable> {
    let Change::Order {
        operation,
        other,
        side,
        ..
    } = change
    else {
        return None;
    };
    let by = standing.slot(*other)?.clone();
    let (job, _) = floor.operation(*operation)?;
    let mut ordered = standing.clone();
    let minute = chrono::Duration::minutes(1);
    match side {
        Side::Behind => {
            let slot = ordered
                .slots
                .iter_mut()
                .find(|s| s.operation == *operation)?;
            slot.starts = by.starts + minute;
            slot.machine = by.machine;
        }
        Side::Before => {
            // What it waits for in its job goes with it.
            let mut goes = vec![*operation];
            while let Some(id) = goes.pop() {
                let number = |id| job.operations.iter().find(|o| o.id == id);
                let Some(moving) = number(id) else { continue };
                if let Some(slot) = ordered.slots.iter_mut().find(|s| s.operation == id) {
                    slot.starts = slot.starts.min(by.starts - minute);
                }
                let before = job.operations.iter();
                goes.extend(
                    before
                        .filter(|o| moving.after.contains(&o.number))
                        .map(|o| o.id),
                );
            }
        }
    }
    Some(ordered)
}

/// IssueReason a change was not tried.
#[derive(Debug, thiserror::Error)]
pub enum TryError {
    /// It cannot be made.
    #[error(transparent)]
    Cannot(#[from] CannotChange),
    /// There is no plan of what would be.
    #[error(transparent)]
    Model(#[from] ModelError),
}

/// A pin that the floor's started and pinned work leaves no room for.
fn refused(model: &FloorModel, operation: Uuid) -> Result<(), CannotChange> {
    let issue = model
        .issues
        .iter()
        .find(|issue| issue.operation == Some(operation) && !issue.reason.leaves_out());
    match issue.map(|issue| &issue.reason) {
        Some(why @ IssueReason::PinTaken) => cannot(
            "starts",
            format!("Other work is pinned or begun there: {why}"),
        ),
        Some(why) => cannot("machine", format!("It cannot go there: {why}")),
        None => Ok(()),
    }
}

/// A pin before the operations that must be done first.
fn too_soon(
    floor: &Floor,
    model: &FloorModel,
    plan: &Plan,
    operation: Uuid,
    starts: DateTime<Utc>,
) -> Result<(), CannotChange> {
    let Some((job, placed)) = floor.operation(operation) else {
        return Ok(());
    };
    for before in &job.operations {
        if !placed.after.contains(&before.number) {
            continue;
        }
        let ends = model
            .operation(before.id)
            .and_then(|i| plan.assignments.get(i))
            .and_then(|assigned| model.instant(assigned.end));
        if let Some(ends) = ends.filter(|ends| *ends > starts) {
            return cannot(
                "starts",
                format!(
                    "{} {}, which comes before it, is done on {}",
                    before.number,
                    before.what,
                    moment(ends, floor.zone)
                ),
            );
        }
    }
    Ok(())
}

type Stand<'a> = (&'a Floor, &'a [SchedulingIssue], &'a Timetable);

fn effect(change: &Change, old: Stand, new: Stand) -> Effect {
    let (old_floor, old_issues, before) = old;
    let (floor, issues, after) = new;
    let promises = promises(floor, before, after);
    let old_slots: HashMap<Uuid, _> = before.slots.iter().map(|s| (s.operation, s)).collect();
    let moved = after
        .slots
        .iter()
        .filter(|slot| {
            old_slots.get(&slot.operation).is_none_or(|old| {
                (old.machine, old.person, old.starts) != (slot.machine, slot.person, slot.starts)
            })
        })
        .map(|slot| slot.operation)
        .collect::<Vec<_>>();
    let new_issues: Vec<SchedulingIssue> = issues
        .iter()
        .filter(|issue| !old_issues.contains(issue))
        .cloned()
        .collect();
    let sentence = sentence(
        &change.words(old_floor),
        floor,
        &promises,
        moved.len(),
        &new_issues,
    );
    Effect {
        promises,
        moved,
        new_issues,
        sentence,
    }
}

fn promises(floor: &Floor, before: &Timetable, after: &Timetable) -> Vec<PromiseMove> {
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
fn working(floor: &Floor, from: DateTime<Utc>, until: DateTime<Utc>) -> Minute {
    let calendar = Calendar::build(&floor.hours, from.min(until), from.max(until));
    calendar.working_between(from, until) - calendar.working_between(until, from)
}

/// Jobs that become late named one by one in the sentence.
const NAMED: usize = 3;

/// The change, then the jobs that become late, those that are late no longer, the others, and how much is moved.
fn sentence(
    change: &str,
    floor: &Floor,
    promises: &[PromiseMove],
    moved: usize,
    issues: &[SchedulingIssue],
) -> String {
    let mut says: Vec<String> = Vec::new();
    let late: Vec<&PromiseMove> = promises
        .iter()
        .filter(|p| p.is_late() && !p.was_late())
        .collect();
    let saved: Vec<&PromiseMove> = promises
        .iter()
        .filter(|p| p.was_late() && !p.is_late() && p.after.is_some())
        .collect();
    for (i, p) in late.iter().take(NAMED).enumerate() {
        let becomes = if i == 0 { "becomes late" } else { "too," };
        says.push(format!(
            "{} {becomes} by {}",
            job_words(floor, p.job),
            lateness(floor, p)
        ));
    }
    if late.len() > NAMED {
        says.push(format!("and {} more", late.len() - NAMED));
    }
    match saved.split_first() {
        None => {}
        Some((only, [])) => says.push(format!("{} is late no longer", job_words(floor, only.job))),
        Some((first, rest)) => says.push(format!(
            "{} and {} more are late no longer",
            job_words(floor, first.job),
            rest.len()
        )),
    }
    // Those that come later or sooner and are as late, or as much in time, as they were.
    let mut others = |which: &str, pick: &dyn Fn(&PromiseMove) -> bool, and: [&str; 2]| {
        let those: Vec<&PromiseMove> = promises
            .iter()
            .filter(|p| p.before.is_some() && p.after.is_some() && p.is_late() == p.was_late())
            .filter(|p| pick(p))
            .collect();
        let most = those.iter().map(|p| p.later.abs()).max().map(hours);
        match (those.as_slice(), most) {
            ([only], Some(by)) => says.push(format!(
                "{} comes {which} by {by}{}",
                job_words(floor, only.job),
                and[0]
            )),
            ([_, ..], Some(by)) => says.push(format!(
                "{} jobs come {which} by up to {by}{}",
                those.len(),
                and[1]
            )),
            _ => {}
        }
    };
    let still = [", late already", ", all late already"];
    let kept = [" and keeps its promise", " and keep their promises"];
    others("later", &|p| p.later > 0 && p.is_late(), still);
    others("later", &|p| p.later > 0 && !p.is_late(), kept);
    others("sooner", &|p| p.later < 0, ["", ""]);
    let gone = promises
        .iter()
        .filter(|p| p.before.is_some() && p.after.is_none());
    let come = promises
        .iter()
        .filter(|p| p.before.is_none() && p.after.is_some());
    for p in gone {
        says.push(format!(
            "{} is not planned any more",
            job_words(floor, p.job)
        ));
    }
    for p in come {
        if let Some(after) = p.after {
            says.push(format!(
                "{} is ready on {}{}",
                job_words(floor, p.job),
                moment(after, floor.zone),
                if p.is_late() { ", which is late" } else { "" }
            ));
        }
    }
    for issue in issues.iter().filter(|issue| !issue.reason.leaves_out()) {
        says.push(format!(
            "for {} {}",
            job_words(floor, issue.job),
            issue.reason
        ));
    }
    if says.is_empty() {
        says.push("no promise moves".to_owned());
    }
    let tail = match moved {
        0 => "nothing else is moved".to_owned(),
        1 => "1 operation moves".to_owned(),
        n => format!("{n} operations move"),
    };
    let mut text = format!("If {change}: {}; {tail}.", says.join(", "));
    if let Some(rest) = text.strip_prefix("If overtime") {
        text = format!("With overtime{rest}");
    } else if let Some(rest) = text.strip_prefix("If no overtime") {
        text = format!("With no overtime{rest}");
    }
    text
}

fn lateness(floor: &Floor, p: &PromiseMove) -> String {
    match p.after.zip(p.due) {
        Some((at, due)) => hours(working(floor, due, at)),
        None => String::new(),
    }
}
