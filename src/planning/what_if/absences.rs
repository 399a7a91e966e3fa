//! Absences that hold a job up: who is away, or what is down, and how much sooner the job would be ready without it.
//!
//! Each is tried and not estimated: the plan is timed again on the floor without the stop, in the same order and the same
//! hands. A long absence has sent work to other hands, which that would leave there, so for a day or more the plan is also
//! searched, with and without it.

use super::effect::{Baseline, Settings, working};
use crate::planning::changes::{Back, PlanChange};
use crate::planning::engine::model::{Minute, ModelError};
use crate::planning::floor::{Floor, Resource, Timetable};
use crate::planning::words::{hours, machine_name, person_name, stretch};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// What an absence must put a job off by to be named, in working minutes of the shop. Common practice, no source.
const NAMED: Minute = 30;
/// From how many working minutes of the shop on the work is dealt anew without the absence. Common practice, no source.
const DEALT_ANEW: Minute = 480;
/// Moves of that search.
const MOVES: u64 = 600;

/// An absence, or a machine that is down, that puts a job off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Absence {
    /// The job.
    pub job: Uuid,
    /// Who or what.
    pub whose: Resource,
    /// From.
    pub from: DateTime<Utc>,
    /// Until.
    pub until: DateTime<Utc>,
    /// Working minutes of the shop that the job would be ready sooner without it.
    pub puts_off: Minute,
}

impl Absence {
    /// In words: "Wyn is away on Tue 1 Dec: without that it would be ready 3 h sooner".
    #[must_use]
    pub fn words(&self, floor: &Floor) -> String {
        let who = match self.whose {
            Resource::Machine(id) => format!("{} is down", machine_name(floor, id)),
            Resource::Person(id) => format!("{} is away", person_name(floor, id)),
        };
        let when = stretch(self.from, self.until, floor.zone);
        let sooner = hours(self.puts_off);
        format!("{who} {when}: without that it would be ready {sooner} sooner")
    }
}

/// The absences that put jobs off, those that put a job off most first. At most `tried` stops are tried, people's before
/// machines' and long ones first: each takes a plan of its own.
///
/// # Errors
/// When the floor cannot be planned.
pub fn absences(
    floor: &Floor,
    current: &Timetable,
    jobs: &[Uuid],
    tried: usize,
) -> Result<Vec<Absence>, ModelError> {
    let ready = jobs.iter().filter_map(|job| current.job(*job));
    let Some(last) = ready.map(|dates| dates.ready_at).max() else {
        return Ok(Vec::new());
    };
    let stops: Vec<_> = stops(floor, last).into_iter().take(tried).collect();
    let lost = |from: DateTime<Utc>, until: DateTime<Utc>| {
        working(floor, from.max(floor.now), until.min(last))
    };
    let Some(longest) = stops
        .iter()
        .map(|&(_, from, until)| lost(from, until))
        .max()
    else {
        return Ok(Vec::new());
    };
    let same_hands = Trial::new(floor, current, 0)?;
    let dealt_anew = (longest >= DEALT_ANEW)
        .then(|| Trial::new(floor, current, MOVES))
        .transpose()?;
    let mut found = Vec::new();
    for (whose, from, until) in stops {
        let back = PlanChange::from(Back {
            whose,
            from,
            until,
            why: String::new(),
        });
        let lost = lost(from, until);
        let by_order = same_hands.sooner(&back, jobs);
        let anew = dealt_anew.as_ref().filter(|_| lost >= DEALT_ANEW);
        let anew = anew.map_or_else(Vec::new, |trial| trial.sooner(&back, jobs));
        for (at, &job) in jobs.iter().enumerate() {
            let of = |sooner: &[Minute]| sooner.get(at).copied().unwrap_or(0);
            // What a search finds beyond the hours that were lost is not owed to the absence.
            let puts_off = of(&by_order).max(of(&anew).min(lost));
            if puts_off >= NAMED {
                found.push(Absence {
                    job,
                    whose,
                    from,
                    until,
                    puts_off,
                });
            }
        }
    }
    found.sort_by_key(|absence| -absence.puts_off);
    Ok(found)
}

/// What plans without an absence are held against.
struct Trial<'a> {
    baseline: Baseline<'a>,
    /// The plan as it is after the same search, where there is one: what that alone brings forward is owed to no absence.
    searched: Option<Timetable>,
}

impl<'a> Trial<'a> {
    fn new(floor: &'a Floor, current: &Timetable, moves: u64) -> Result<Self, ModelError> {
        // No chances: what is named is what the hours alone do. What went to other hands for the absence costs nothing to
        // give back.
        let settings = Settings {
            moves,
            futures: 0,
            price_of_a_move: 0,
            ..Settings::default()
        };
        let baseline = Baseline::new(floor, current, settings)?;
        let searched = (moves > 0)
            .then(|| baseline.try_floor("", floor.clone()))
            .transpose()?
            .map(|searched| searched.after);
        Ok(Self { baseline, searched })
    }

    /// Working minutes of the shop by which each of the jobs would be ready sooner; empty where the absence cannot be taken
    /// back.
    fn sooner(&self, back: &PlanChange, jobs: &[Uuid]) -> Vec<Minute> {
        let Ok(without) = self.baseline.try_out(back) else {
            return Vec::new();
        };
        let sooner = |job: &Uuid| {
            let as_planned = self.baseline.before().job(*job)?.ready_at;
            let is = match &self.searched {
                Some(searched) => searched.job(*job)?.ready_at.min(as_planned),
                None => as_planned,
            };
            let would = without.after.job(*job)?.ready_at;
            Some(working(&without.floor, would, is))
        };
        jobs.iter().map(|job| sooner(job).unwrap_or(0)).collect()
    }
}

/// The stops of machines and people between now and an instant, people's first, the longest first.
fn stops(floor: &Floor, last: DateTime<Utc>) -> Vec<(Resource, DateTime<Utc>, DateTime<Utc>)> {
    let people = floor
        .people
        .iter()
        .map(|p| (Resource::Person(p.id), &p.hours));
    let machines = floor
        .machines
        .iter()
        .map(|m| (Resource::Machine(m.id), &m.hours));
    let mut stops: Vec<(Resource, DateTime<Utc>, DateTime<Utc>)> = people
        .chain(machines)
        .flat_map(|(whose, hours)| hours.stops.iter().map(move |&(a, b)| (whose, a, b)))
        .filter(|(_, from, until)| *from < last && *until > floor.now)
        .collect();
    stops.sort_by_key(|(whose, from, until)| {
        let machine = matches!(whose, Resource::Machine(_));
        let within = (*until).min(last) - (*from).max(floor.now);
        (machine, std::cmp::Reverse(within))
    });
    stops
}

#[cfg(test)]
mod tests {
    use super::super::tests::{at, current_plan, id, three};
    use super::*;
    use crate::planning::floor::{Progress, StandIn};

    const WYN: Uuid = Uuid::from_u128(9101);
    const INES: Uuid = Uuid::from_u128(9102);

    /// The one miller is away on Tuesday: what is not done on Monday is ready a working day of eight hours later.
    #[test]
    fn an_absence_is_named_with_what_it_costs() {
        let mut floor = three();
        floor.people[0].hours.stops = vec![(at("24T00:00"), at("25T00:00"))];
        let plan = current_plan(&floor);
        let jobs = [id(1), id(2), id(3)];
        let found = absences(&floor, &plan, &jobs, 4).unwrap();
        let late = plan
            .jobs
            .iter()
            .filter(|dates| dates.ready_at > at("23T16:00"));
        assert_eq!(found.len(), late.count());
        assert!(!found.is_empty());
        for absence in &found {
            assert_eq!(
                (absence.whose, absence.puts_off),
                (Resource::Person(WYN), 480)
            );
        }
        assert_eq!(
            found[0].words(&floor),
            "Wyn is away on Tue 24 Nov: without that it would be ready 8 h sooner"
        );
        // Somebody whom nothing waits for is not named.
        let mut floor = three();
        floor.people[1].hours.stops = vec![(at("24T00:00"), at("25T00:00"))];
        let found = absences(&floor, &current_plan(&floor), &jobs, 4).unwrap();
        assert_eq!(found, vec![]);
    }

    /// Two millers with a mill each, six jobs of four hours that all are wanted at once, and one miller away for two days: the
    /// other has done the work by then, and would be left with it if only the order were timed again. Worked by hand: the
    /// jobs are ready after 4, 8, 12, 16, 20 and 20 hours, and without the absence after 4, 4, 8, 8, 12 and 12.
    #[test]
    fn work_that_went_to_other_hands_is_dealt_anew() {
        let mut floor = three();
        floor.people[1].skills.push("milling".into());
        floor.people[1].hours.stops = vec![(at("23T00:00"), at("25T00:00"))];
        floor.machines[1].kind = "mill".into();
        let one = floor.jobs[1].clone();
        floor.jobs = (1..=6)
            .map(|n| {
                let mut job = one.clone();
                (job.id, job.number) = (id(n), n as i64);
                job.due = Some(at("23T12:00"));
                let operation = &mut job.operations[0];
                (operation.id, operation.setup) = (id(n * 100 + 10), 0);
                operation.setup_key = String::new();
                job
            })
            .collect();
        let jobs: Vec<Uuid> = floor.jobs.iter().map(|job| job.id).collect();
        let found = absences(&floor, &current_plan(&floor), &jobs, 4).unwrap();
        let sooner: Minute = found.iter().map(|absence| absence.puts_off).sum();
        assert!(sooner >= 28 * 60, "{sooner} min: {found:?}");
        assert!(found.iter().all(|absence| absence.puts_off <= 16 * 60));
    }

    /// Begun work goes on with somebody else when whoever began it is away for the day, and waits for two hours.
    #[test]
    fn begun_work_is_gone_on_with_while_somebody_is_away() {
        let begun = |stop: (&str, &str)| {
            let mut floor = three();
            floor.people[1].skills.push("milling".into());
            floor.people[0].hours.stops = vec![(at(stop.0), at(stop.1))];
            floor.operation_mut(id(110)).unwrap().progress = Progress::Started {
                since: Some(at("23T07:00")),
                machine: Some(id(9001)),
                person: Some(WYN),
            };
            let model = floor.model();
            let slot = current_plan(&floor).slot(id(110)).unwrap().clone();
            (model.stand_ins, slot.person)
        };
        let stand_in = StandIn {
            operation: id(110),
            for_whom: WYN,
            by: INES,
        };
        let all_day = begun(("23T00:00", "24T00:00"));
        assert_eq!(all_day, (vec![stand_in], Some(INES)));
        let two_hours = begun(("23T08:00", "23T10:00"));
        assert_eq!(two_hours, (vec![], Some(WYN)));
    }
}
