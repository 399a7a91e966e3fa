//! The engine's answer to [`ReadyDates`]: a candidate goes into the gaps of the running plan.
//!
//! In each future the running plan turns out its own way, and the candidate's operations take, one after another, the
//! earliest time at which a machine of the kind and a person with the skill are both there and neither is spoken for.
//! Nothing planned is moved, so no promise is broken, whenever the candidate can start.

use crate::estimating::variation::{World, Worlds};
use chrono::{DateTime, Utc};
use rand::Rng;

use crate::planning::engine::{
    futures::Dispatch,
    model::{
        Minute, Model, ModelError,
        build::Shop,
        calendar::{NEVER, WorkingTime},
        plan::Plan,
    },
};
use crate::planning::{
    Candidate, ReadyDates,
    calendar::{ceil_minute, floor_minute, from_minute},
    ready::has_skill,
};

/// Stretches of time that are taken, sorted and disjoint.
type Busy = Vec<(Minute, Minute)>;

/// What a running plan leaves free of machines and people, in each of many futures.
#[derive(Debug, Clone)]
pub struct PlannedDates {
    origin: Minute,
    kinds: Vec<String>,
    skills: Vec<Vec<String>>,
    /// Hours of machines.
    machines: Vec<WorkingTime>,
    /// Common hours of machine `m` and person `p` at `m * people + p`.
    joint: Vec<WorkingTime>,
    /// By future: what machines and then people are taken for, or not there.
    futures: Vec<Vec<Busy>>,
    worlds: Worlds,
}

impl PlannedDates {
    /// Takes a plan with the kind of each machine and the skills of each person, and draws `count` futures of it, after
    /// which they repeat.
    ///
    /// # Errors
    /// When the model cannot be planned, or the plan, the kinds or the skills are not of the model's size.
    pub fn new(
        model: &Model,
        plan: &Plan,
        origin: DateTime<Utc>,
        kinds: Vec<String>,
        skills: Vec<Vec<String>>,
        count: usize,
        rng: &mut impl Rng,
    ) -> Result<Self, ModelError> {
        let shop = Shop::build(model)?;
        if plan.assignments.len() != shop.ops.len()
            || kinds.len() != model.machines.len()
            || skills.len() != model.people.len()
        {
            return Err(ModelError::Unreadable(
                "plan, kinds and skills must be those of the model".into(),
            ));
        }
        let mut dispatch = Dispatch::new(model, &shop, plan, rng.next_u64());
        let futures = (0..count.max(1) as u64)
            .map(|k| {
                dispatch.play(k);
                dispatch.busy()
            })
            .collect();
        let joint = model
            .machines
            .iter()
            .flat_map(|m| model.people.iter().map(|p| m.calendar.and(&p.calendar)))
            .collect();
        Ok(Self {
            origin: floor_minute(origin),
            kinds,
            skills,
            machines: model.machines.iter().map(|m| m.calendar.clone()).collect(),
            joint,
            futures,
            worlds: *dispatch.worlds(),
        })
    }

    /// The earliest end of a stay (minutes with a person, then by itself) from a time on, at one of these machines and with one
    /// of these people.
    fn earliest(
        &self,
        (machines, people): &(Vec<usize>, Vec<usize>),
        taken: &mut [Taken],
        from: Minute,
        stay: [Minute; 2],
    ) -> Option<Minute> {
        let (at_machines, at_people) = taken.split_at_mut_checked(self.machines.len())?;
        let mut first = NEVER;
        for &m in machines {
            for &p in people {
                let calendars = [&self.joint[m * self.skills.len() + p], &self.machines[m]];
                let both = [at_machines.get_mut(m)?, at_people.get_mut(p)?];
                first = gap(calendars, both, from, stay, first).unwrap_or(first);
            }
        }
        (first < NEVER).then_some(first)
    }

    fn people_for(&self, skill: &str) -> Vec<usize> {
        (0..self.skills.len())
            .filter(|&p| has_skill(&self.skills[p], skill))
            .collect()
    }
}

/// What a machine or a person is taken for, with where the last look at it came to. A candidate's operations mostly come one
/// after another, so the next look is near, and a search by halves would jump through memory for each.
struct Taken<'a> {
    busy: &'a [(Minute, Minute)],
    /// All stretches before it were over at the last look, and that one was not.
    at: usize,
}

impl Taken<'_> {
    /// The end of the first stretch that a stay from `start` to `end` meets.
    fn clash(&mut self, start: Minute, end: Minute) -> Option<Minute> {
        let over = |at: usize| self.busy.get(at).is_some_and(|b| b.1 <= start);
        let mut at = self.at;
        while at > 0 && !over(at - 1) {
            at -= 1;
        }
        while over(at) {
            at += 1;
        }
        self.at = at;
        self.busy.get(at).filter(|b| b.0 < end).map(|b| b.1)
    }
}

/// End of the earliest stay on a machine that meets nothing taken: `attended` minutes with a person, then `rest` by
/// itself. It may stand still while closed. `None` when it ends no earlier than `known`: it only gets later from there.
fn gap(
    [joint, machine]: [&WorkingTime; 2],
    [taken, attending]: [&mut Taken; 2],
    from: Minute,
    [attended, rest]: [Minute; 2],
    known: Minute,
) -> Option<Minute> {
    let mut from = from;
    loop {
        let (start, attended_until) = match attended {
            0 => machine.pausing(from, 0),
            _ => joint.pausing(from, attended),
        };
        let end = match rest {
            0 => attended_until,
            _ => machine.pausing(attended_until, rest).1,
        };
        if end >= known {
            return None;
        }
        let clash = taken.clash(start, end);
        match clash.or_else(|| attending.clash(start, attended_until)) {
            Some(until) => from = until,
            None => return Some(end),
        }
    }
}

impl ReadyDates for PlannedDates {
    fn ready(
        &self,
        candidate: &Candidate,
        release: &[DateTime<Utc>],
        minutes: &[f64],
    ) -> Vec<Option<DateTime<Utc>>> {
        let n = candidate.operations.len();
        let Some(order) = candidate.order() else {
            return vec![None; release.len()];
        };
        // Machines and people of each operation, looked up once.
        let able: Vec<(Vec<usize>, Vec<usize>)> = candidate
            .operations
            .iter()
            .map(|op| {
                let machines = (0..self.machines.len())
                    .filter(|&m| self.kinds[m] == op.machine_kind)
                    .collect();
                (machines, self.people_for(&op.skill))
            })
            .collect();
        let mut ends = vec![0; n];
        release
            .iter()
            .enumerate()
            .map(|(k, &released)| {
                // What the plan was made after cannot be used any more.
                let released = (ceil_minute(released) - self.origin).max(0);
                let future = self.futures.get(k % self.futures.len())?;
                let world = self.world(k);
                let taken = future.iter().map(|busy| Taken { busy, at: 0 });
                let mut taken: Vec<Taken> = taken.collect();
                let mut ready = released;
                for &i in &order {
                    let op = candidate.operations.get(i)?;
                    let from = op
                        .after
                        .iter()
                        .filter_map(|&b| ends.get(b))
                        .fold(released, |a, &b| a.max(b));
                    let end = match op.outside_days {
                        Some(days) => {
                            let away =
                                f64::from(days) * 1440.0 * world.outside(u64::from(op.number));
                            from + away.round() as Minute
                        }
                        None => {
                            let work = minutes.get(k * n + i)?.max(0.0).ceil() as Minute;
                            let share = op.attended_share.clamp(0.0, 1.0);
                            let attended = ((work as f64 * share).ceil() as Minute).min(work);
                            let stay = [attended, work - attended];
                            self.earliest(able.get(i)?, &mut taken, from, stay)?
                        }
                    };
                    *ends.get_mut(i)? = end;
                    ready = ready.max(end);
                }
                from_minute(ready + self.origin)
            })
            .collect()
    }

    fn world(&self, k: usize) -> World {
        let like = k % self.futures.len();
        self.worlds.world_like(k as u64, like as u64)
    }

    fn able(&self, skill: &str) -> Vec<u64> {
        self.people_for(skill).iter().map(|&p| p as u64).collect()
    }

    fn missing(&self, candidate: &Candidate) -> Vec<String> {
        let inside = candidate
            .operations
            .iter()
            .filter(|op| op.outside_days.is_none());
        let mut missing: Vec<String> = inside
            .flat_map(|op| {
                let no_machine =
                    (!self.kinds.contains(&op.machine_kind)).then(|| op.machine_kind.clone());
                let nobody = !op.skill.is_empty() && self.people_for(&op.skill).is_empty();
                let nobody = nobody.then(|| format!("one for {}", op.skill));
                [no_machine, nobody]
            })
            .flatten()
            .collect();
        missing.sort_unstable();
        missing.dedup();
        missing
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planning::CandidateOperation;
    use crate::planning::engine::{formats::classical::job_shop, model::Person, solve::first_plan};
    use rand::SeedableRng;

    fn operation(kind: &str, skill: &str, after: &[usize]) -> CandidateOperation {
        CandidateOperation {
            number: 10,
            machine_kind: kind.into(),
            skill: skill.into(),
            setup_key: String::new(),
            after: after.to_vec(),
            attended_share: 1.0,
            outside_days: None,
        }
    }

    /// A mill taken from 0 to 100 and from 160 to 220 (its job is on the hone between): an hour fits in the gap, more
    /// does not, and work sent out takes its days.
    #[test]
    fn the_candidate_goes_into_the_gaps() {
        let mut model = job_shop(&[vec![vec![(0, 100)], vec![(1, 60)], vec![(0, 60)]]]);
        model.people.push(Person {
            name: "Wyn".into(),
            calendar: WorkingTime::always(),
        });
        let plan = first_plan(&model).unwrap();
        let origin: DateTime<Utc> = "2026-11-23T00:00:00Z".parse().unwrap();
        let kinds = vec!["mill".to_owned(), "hone".to_owned()];
        let mut rng = rand_pcg::Pcg64::seed_from_u64(1);
        let skills = vec![vec!["milling".to_owned()]];
        let dates = PlannedDates::new(&model, &plan, origin, kinds, skills, 8, &mut rng).unwrap();
        let at = |m: i64| Some(origin + chrono::Duration::minutes(m));
        let one = Candidate {
            operations: vec![operation("mill", "milling", &[])],
        };
        assert_eq!(
            dates.ready(&one, &[origin; 2], &[60.0, 61.0]),
            [at(160), at(281)]
        );
        let mut two = Candidate {
            operations: vec![
                operation("mill", "milling", &[]),
                operation("mill", "milling", &[0]),
            ],
        };
        assert_eq!(dates.ready(&two, &[origin], &[30.0, 30.0]), [at(160)]);
        two.operations[1].outside_days = Some(1);
        assert_eq!(
            dates.ready(&two, &[origin], &[30.0, 30.0]),
            [at(130 + 1440)]
        );
        // Two hours of which one is attended: the mill stays taken while it runs on alone, so the gap is too short.
        let mut half = operation("mill", "milling", &[]);
        half.attended_share = 0.5;
        let unattended = Candidate {
            operations: vec![half],
        };
        assert_eq!(dates.ready(&unattended, &[origin], &[120.0]), [at(340)]);
        let other = Candidate {
            operations: vec![operation("lathe", "turning", &[])],
        };
        assert_eq!(dates.missing(&other), ["lathe", "one for turning"]);
        assert_eq!(dates.ready(&other, &[origin], &[1.0]), [None]);
    }
}
