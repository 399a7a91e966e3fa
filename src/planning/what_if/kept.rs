//! A change moves as little else as possible, and what was shown of it is what is kept.

use super::tests::{any_change, at, current_plan, id, three};
use super::{Baseline, PRICE_OF_A_MOVE, Settings};
use crate::planning::changes::{Place, PlanChange};
use crate::planning::engine::{repair::repair, solve::SolveOptions};
use crate::planning::floor::{Floor, Timetable};
use chrono::{DateTime, Utc};
use proptest::prelude::*;
use uuid::Uuid;

/// The same three jobs with promises that are far enough away to hold whatever is moved in the week.
fn with_room() -> Floor {
    let mut floor = three();
    for job in &mut floor.jobs {
        job.due = Some("2026-12-31T16:00:00Z".parse().unwrap());
    }
    floor
}

/// An operation with its machine, its person, and when it starts and ends.
type Placed = (
    Uuid,
    Option<Uuid>,
    Option<Uuid>,
    DateTime<Utc>,
    DateTime<Utc>,
);

/// Where a timetable has everything.
fn places(timetable: &Timetable) -> Vec<Placed> {
    let slots = timetable.slots.iter();
    let mut places: Vec<_> = slots
        .map(|s| (s.operation, s.machine, s.person, s.starts, s.ends))
        .collect();
    places.sort_unstable();
    places
}

fn late(timetable: &Timetable) -> usize {
    let slack = timetable.jobs.iter().filter_map(|job| job.slack_minutes);
    slack.filter(|slack| *slack < 0).count()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// What is shown before a change is applied is what the plan says once it is kept: carried over to the same floor
    /// every operation is where it was shown, and a search for better moves nothing while every promise holds.
    #[test]
    fn a_preview_is_the_plan_that_is_kept(change in any_change()) {
        let floor = with_room();
        let current_plan = current_plan(&floor);
        let baseline = Baseline::new(&floor, &current_plan, Settings::by_hand()).unwrap();
        let Ok(what) = baseline.try_out(&change) else { return Ok(()) };
        let model = what.floor.model();
        let kept = model.carry_over_in_place(&what.floor, &what.after).unwrap();
        prop_assert_eq!(places(&model.timetable(&what.floor, &kept, None)), places(&what.after));
        prop_assert_eq!(late(&what.after), 0);
        if change.leaves_the_rest() {
            return Ok(());
        }
        let search = SolveOptions { seed: 7, iterations: Some(3_000), rounds: 9 };
        let better = repair(&model.model, &kept, PRICE_OF_A_MOVE, &search, &mut |_| false).unwrap();
        prop_assert_eq!(places(&model.timetable(&what.floor, &better.plan, None)), places(&what.after));
    }

    /// An operation that is put elsewhere leaves everything where it is that ends before its old place and its new one.
    #[test]
    fn a_move_leaves_what_comes_before_it(job in 1_u128..=3, day in 0_u32..4, hour in 8_u32..16) {
        let floor = with_room();
        let current_plan = current_plan(&floor);
        let baseline = Baseline::new(&floor, &current_plan, Settings::by_hand()).unwrap();
        let operation = id(job * 100 + 10);
        let starts = at(&format!("{}T{hour:02}:00", 23 + day));
        let change = PlanChange::from(Place { operation, machine: Some(id(9001)), person: None, starts: Some(starts) });
        let Ok(what) = baseline.try_out(&change) else { return Ok(()) };
        let was = what.before.slot(operation).unwrap().starts.min(starts);
        let stays = what.before.slots.iter().filter(|slot| slot.operation != operation && slot.ends <= was);
        for slot in stays {
            let now = what.after.slot(slot.operation).unwrap();
            prop_assert_eq!((now.machine, now.person, now.starts), (slot.machine, slot.person, slot.starts));
        }
        let far = what.effect.moved.iter().chain(&what.effect.shifted);
        prop_assert!(far.copied().all(|id| what.before.slot(id) != what.after.slot(id)));
    }

    /// The last operation of a job that is put behind all other work leaves a gap, and nobody's work is brought forward into
    /// it: everything else stays exactly where it is.
    #[test]
    fn nothing_closes_up_behind_what_is_moved_away(job in 1_u128..=3, day in 1_u32..8, hour in 8_u32..15) {
        let floor = with_room();
        let current_plan = current_plan(&floor);
        let last = floor.jobs.iter().find(|j| j.id == id(job)).and_then(|j| j.operations.last()).unwrap().id;
        let starts: DateTime<Utc> = format!("2026-12-{day:02}T{hour:02}:00:00Z").parse().unwrap();
        prop_assume!(current_plan.slots.iter().all(|slot| slot.ends <= starts));
        let change = PlanChange::from(Place { operation: last, machine: Some(id(9001)), person: None, starts: Some(starts) });
        let baseline = Baseline::new(&floor, &current_plan, Settings::by_hand()).unwrap();
        let Ok(what) = baseline.try_out(&change) else { return Ok(()) };
        // On a day on which nobody works it waits for the next.
        prop_assume!(what.after.slot(last).unwrap().starts == starts);
        for was in what.before.slots.iter().filter(|slot| slot.operation != last) {
            let now = what.after.slot(was.operation).unwrap();
            // What followed on the same setup has to be set up by itself now.
            prop_assume!(now.setup_minutes == was.setup_minutes);
        }
        let others = |timetable: &Timetable| {
            let mut all = places(timetable);
            all.retain(|(operation, ..)| *operation != last);
            all
        };
        prop_assert_eq!(others(&what.after), others(&what.before));
        prop_assert_eq!(what.effect.moved.len() + what.effect.shifted.len(), 1);
    }
}
