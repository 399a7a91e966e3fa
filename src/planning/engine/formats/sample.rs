//! Invented shops by size and seed, for tests, benchmarks and trying things out. No figure here is a real shop's.

use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

use crate::planning::engine::{
    model::{
        Goal, Job, Link, Machine, Minute, Mode, Model, Operation, Person, calendar::WorkingTime,
    },
    random::below,
};

/// What an invented shop is like.
#[derive(Debug, Clone, Copy)]
pub struct Sample {
    /// Machines.
    pub machines: usize,
    /// People; none means that nothing is attended.
    pub people: usize,
    /// Jobs.
    pub jobs: usize,
    /// Fewest and most operations of a job.
    pub operations: (u32, u32),
    /// Shortest and longest run, in quarter hours.
    pub quarters: (u32, u32),
    /// Of 100 operations, how many have a second machine.
    pub second_machine: u32,
    /// Of 100 operations, how many may pause at a shift's end.
    pub may_pause: u32,
    /// Of 100 operations, how many are sent out.
    pub outside: u32,
    /// Of 100 links, how many have a longest lag as well as a shortest.
    pub lags: u32,
    /// Setup keys to each machine.
    pub keys: u32,
    /// Working days of the calendars.
    pub days: u32,
    /// A promise is the job's own work content (TWK; Baker 1984, from memory) and some days more, spread evenly over so
    /// many percent of the time that the fullest machine needs: what a shop that looks at its order book would promise.
    /// At 90, most promises of a shop can be kept and a few cannot.
    pub promise_percent: u32,
}

impl Sample {
    /// A week and more of a small shop: 8 machines, 4 people, 60 jobs of 7 operations.
    #[must_use]
    pub const fn week() -> Self {
        Self {
            machines: 8,
            people: 4,
            jobs: 60,
            operations: (7, 7),
            quarters: (1, 8),
            second_machine: 30,
            may_pause: 60,
            outside: 4,
            lags: 0,
            keys: 4,
            days: 400,
            promise_percent: 90,
        }
    }

    /// A large one by published statistics of an industrial shop: 51 machines, 828 jobs, about 6,057 operations, 1 to
    /// 20 operations a job, uneven load.
    #[must_use]
    pub const fn industrial() -> Self {
        Self {
            machines: 51,
            people: 40,
            jobs: 828,
            operations: (1, 20),
            quarters: (1, 12),
            second_machine: 25,
            may_pause: 70,
            outside: 3,
            lags: 0,
            keys: 6,
            days: 1200,
            promise_percent: 90,
        }
    }

    /// One small enough for a constraint solver to prove its best plan: 3 machines, 2 people, a handful of jobs of 2 to
    /// 4 operations.
    #[must_use]
    pub const fn small(jobs: usize) -> Self {
        Self {
            machines: 3,
            people: 2,
            jobs,
            operations: (2, 4),
            quarters: (8, 24),
            second_machine: 40,
            may_pause: 50,
            outside: 5,
            lags: 0,
            keys: 2,
            days: 20,
            promise_percent: 10,
        }
    }

    /// Makes the shop. With exactly `total` operations when it is given, by lengthening and shortening jobs.
    #[must_use]
    pub fn make(&self, seed: u64, total: Option<usize>) -> Model {
        let rng = &mut Pcg64::seed_from_u64(seed);
        let mut model = Model::empty(Goal::Promises);
        let weekdays = |from: Minute, to: Minute, days: u32| {
            let days = (0..Minute::from(days) * 7 / 5).filter(|d| d % 7 < 5);
            WorkingTime::from_windows(days.map(|d| (d * 1440 + from, d * 1440 + to)).collect())
        };
        for m in 0..self.machines {
            // One machine in four may run through the night once it is set.
            let calendar = match m % 4 {
                3 => WorkingTime::always(),
                _ => weekdays(420, 1080, self.days),
            };
            model.machines.push(Machine {
                name: format!("Machine {}", m + 1),
                calendar,
                on_table: None,
            });
        }
        for p in 0..self.people {
            let start = 450 + 30 * (p as Minute % 3);
            model.people.push(Person {
                name: format!("Person {}", p + 1),
                calendar: weekdays(start, start + 510, self.days),
            });
        }
        let mut lengths: Vec<u32> = (0..self.jobs)
            .map(|_| self.operations.0 + below(rng, self.operations.1 - self.operations.0 + 1))
            .collect();
        if let Some(total) = total {
            let mut sum: usize = lengths.iter().map(|&l| l as usize).sum();
            while sum != total {
                let j = below(rng, self.jobs as u32) as usize;
                if sum < total
                    && (lengths[j] < self.operations.1 || self.operations.0 == self.operations.1)
                {
                    lengths[j] += 1;
                    sum += 1;
                } else if sum > total && lengths[j] > 1 {
                    lengths[j] -= 1;
                    sum -= 1;
                }
            }
        }
        let mut load = vec![0; self.machines.max(1)];
        for (j, &length) in lengths.iter().enumerate() {
            model.jobs.push(Job {
                name: format!("Job {}", j + 1),
                release: if below(rng, 4) == 0 {
                    Minute::from(below(rng, 5)) * 1440
                } else {
                    0
                },
                due: None,
                weight: [1, 1, 1, 2, 2, 4][below(rng, 6) as usize],
            });
            for k in 0..length {
                self.operation(&mut model, j, k, &mut load, rng);
            }
        }
        self.promise(&mut model, &load, rng);
        model
    }

    /// Promises, spread over a share of the time that the fullest machine needs for its work.
    fn promise(&self, model: &mut Model, load: &[Minute], rng: &mut impl Rng) {
        let fullest = load.iter().copied().max().unwrap_or(0);
        // Calendar time for the fullest machine's work at eight and a half hours a day, five days a week.
        let span = fullest * 1440 * 7 / (510 * 5) * Minute::from(self.promise_percent) / 100;
        // A job's own time: outside work by the calendar, the rest at eight and a half hours a day.
        let mut own = vec![(0, 0); model.jobs.len()];
        for op in &model.operations {
            let mode = &op.modes[0];
            let (inside, outside) = &mut own[op.job];
            if mode.machine.is_some() {
                *inside += mode.setup + mode.run;
            } else {
                *outside += mode.run;
            }
        }
        for (job, (inside, outside)) in model.jobs.iter_mut().zip(own) {
            let day = Minute::from(below(rng, u32::try_from(span / 1440 + 1).unwrap_or(1)));
            let days = day + (outside / 1440) + inside * 7 / (510 * 5);
            job.due = Some(job.release / 1440 * 1440 + days * 1440 + 960);
        }
    }

    fn operation(
        &self,
        model: &mut Model,
        j: usize,
        k: u32,
        load: &mut [Minute],
        rng: &mut impl Rng,
    ) {
        let op = model.operations.len();
        if k > 0 {
            let (min_lag, max_lag) = match below(rng, 100) {
                x if x < self.lags => (30, Some(2880 + 1440 * Minute::from(below(rng, 3)))),
                x if x < 2 * self.lags => (60, None),
                _ => (0, None),
            };
            model.links.push(Link {
                before: op - 1,
                after: op,
                min_lag,
                max_lag,
            });
        }
        let mut o = Operation {
            job: j,
            name: format!("{}", 10 * (k + 1)),
            modes: Vec::new(),
            people: Vec::new(),
            setup_key: None,
            may_pause: below(rng, 100) < self.may_pause,
            fixed: None,
            spread: 0.2,
        };
        if k > 0 && below(rng, 100) < self.outside {
            let run = 1440 * Minute::from(2 + below(rng, 4));
            o.modes.push(Mode {
                machine: None,
                setup: 0,
                setup_same_key: 0,
                run,
                attended: 0,
            });
            model.operations.push(o);
            return;
        }
        // Uneven load: the lower of two draws, so that the first machines are wanted most.
        let m = below(rng, self.machines as u32).min(below(rng, self.machines as u32)) as usize;
        let run =
            15 * Minute::from(self.quarters.0 + below(rng, self.quarters.1 - self.quarters.0 + 1));
        let setup = 10 * Minute::from(below(rng, 5));
        let attended = if self.people == 0 {
            0
        } else {
            run * [25, 50, 100][below(rng, 3) as usize] / 100
        };
        let mode = Mode {
            machine: Some(m),
            setup,
            setup_same_key: setup / 4,
            run,
            attended,
        };
        o.modes.push(mode);
        load[m] += setup + run;
        if self.machines > 1 && below(rng, 100) < self.second_machine {
            let other = (m + 1) % self.machines;
            let slower = run + 15 * Minute::from(below(rng, 2));
            o.modes.push(Mode {
                machine: Some(other),
                run: slower,
                attended: attended.min(slower),
                ..mode
            });
        }
        o.setup_key = (self.keys > 0).then(|| m as u32 * self.keys + below(rng, self.keys));
        // Each machine's skill is known to every other person, and to one more.
        o.people = (0..self.people)
            .filter(|p| p % 2 == m % 2 || p % self.machines.max(1) == m)
            .collect();
        model.operations.push(o);
    }
}
