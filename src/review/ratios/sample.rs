//! An invented shop whose true ratios are known: what the intervals are tried on.

use super::{Evidence, Part};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use std::collections::BTreeMap;
use uuid::Uuid;

/// How a shop is drawn. Deviations are those of the logarithms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shop {
    /// Jobs finished in the year.
    pub jobs: usize,
    /// People.
    pub people: usize,
    /// Kinds of operations; each has a few elements of its own and shares one with the next kind.
    pub kinds: usize,
    /// Mean logarithm of the elements' ratios.
    pub level: f64,
    /// Of elements about it.
    pub element: f64,
    /// Of people.
    pub person: f64,
    /// Of jobs.
    pub job: f64,
    /// Of months.
    pub month: f64,
    /// Of operations by themselves.
    pub scatter: f64,
    /// Share of bookings that ran on, for three to twenty times as long.
    pub forgotten: f64,
}

impl Default for Shop {
    /// A shop of four people who finish 150 jobs a year, with standards that are a fifth off: common practice, no source.
    fn default() -> Self {
        Self {
            jobs: 150,
            people: 4,
            kinds: 8,
            level: 0.05,
            element: 0.18,
            person: 0.08,
            job: 0.12,
            month: 0.05,
            scatter: 0.2,
            forgotten: 0.015,
        }
    }
}

/// What is true of a drawn shop.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    ratios: BTreeMap<(Part, String), f64>,
}

impl Truth {
    /// The true ratio of an element, as [`super::ElementRatio`] means it: in the mean, with the people who did it and over
    /// the months there were; none when the year had nothing of it.
    #[must_use]
    pub fn ratio(&self, part: Part, code: &str) -> Option<f64> {
        self.ratios.get(&(part, code.to_owned())).copied()
    }
}

/// Drawn effects.
struct Effects {
    elements: BTreeMap<(Part, String), f64>,
    people: Vec<f64>,
    months: [f64; 12],
}

/// The elements of a kind of operation, with standard minutes each and most pieces.
fn elements(kind: usize, kinds: usize) -> [(String, f64, u32); 3] {
    let own = |n: usize| format!("K{kind}-{n}");
    let next = (kind + 1) % kinds;
    [
        (own(1), 4.0 + kind as f64, 24),
        (own(2), 12.0 + 3.0 * kind as f64, 6),
        (format!("K{next}-1"), 4.0 + next as f64, 12),
    ]
}

impl Shop {
    fn normal(rng: &mut Pcg64, deviation: f64) -> f64 {
        let z: f64 = StandardNormal.sample(rng);
        z * deviation
    }

    fn effects(&self, rng: &mut Pcg64) -> Effects {
        let mut of = BTreeMap::new();
        for kind in 0..self.kinds {
            for n in 1..=2 {
                for part in [Part::Setup, Part::Run] {
                    if part == Part::Run || n == 1 {
                        let log = self.level + Self::normal(rng, self.element);
                        of.insert((part, format!("K{kind}-{n}")), log);
                    }
                }
            }
        }
        Effects {
            elements: of,
            people: (0..self.people)
                .map(|_| Self::normal(rng, self.person))
                .collect(),
            months: std::array::from_fn(|_| Self::normal(rng, self.month)),
        }
    }

    /// A year's finished operations and what is true of them.
    #[must_use]
    pub fn year(&self, seed: u64) -> (Vec<Evidence>, Truth) {
        let mut rng = Pcg64::seed_from_u64(seed);
        let effects = self.effects(&mut rng);
        let mut evidence: Vec<Evidence> = Vec::new();
        for job in 0..self.jobs {
            let month = job * 12 / self.jobs.max(1);
            let of_job = Self::normal(&mut rng, self.job);
            for number in 0..rng.random_range(2..=6_u128) {
                let kind = rng.random_range(0..self.kinds);
                // Each kind has somebody who mostly does it.
                let person = if rng.random_bool(0.7) {
                    kind % self.people
                } else {
                    rng.random_range(0..self.people)
                };
                let common = of_job + effects.people[person] + effects.months[month];
                let mut run: Vec<(String, f64)> = Vec::new();
                for (at, (code, each, most)) in elements(kind, self.kinds).into_iter().enumerate() {
                    if at == 0 || rng.random_bool(0.5) {
                        run.push((code, each * f64::from(rng.random_range(1..=most))));
                    }
                }
                let setup = vec![(format!("K{kind}-1"), 20.0 + 5.0 * kind as f64)];
                for (part, expected) in [(Part::Setup, setup), (Part::Run, run)] {
                    let true_minutes: f64 = expected
                        .iter()
                        .map(|(code, m)| m * effects.elements[&(part, code.clone())].exp())
                        .sum();
                    let mut log = true_minutes.ln() + common + Self::normal(&mut rng, self.scatter);
                    if rng.random_bool(self.forgotten) {
                        log += rng.random_range(3.0..20.0_f64).ln();
                    }
                    evidence.push(Evidence {
                        operation: Uuid::from_u128((job as u128) << 16 | number),
                        job: Uuid::from_u128(job as u128),
                        part,
                        minutes: log.exp().round().max(1.0),
                        expected,
                        people: vec![(Uuid::from_u128(person as u128), 1.0)],
                        period: i32::try_from(month).unwrap_or_default(),
                    });
                }
            }
        }
        let truth = self.truth(&effects, &evidence);
        (evidence, truth)
    }

    fn truth(&self, effects: &Effects, evidence: &[Evidence]) -> Truth {
        let mut months = [0.0; 12];
        let mut people: BTreeMap<(Part, String), Vec<f64>> = BTreeMap::new();
        for e in evidence {
            let person = e.people[0].0.as_u128() as usize;
            for (code, minutes) in &e.expected {
                months[e.period.unsigned_abs() as usize] += minutes;
                people
                    .entry((e.part, code.clone()))
                    .or_insert_with(|| vec![0.0; self.people])[person] += minutes;
            }
        }
        let mean = |weights: &[f64], logs: &[f64]| {
            let whole: f64 = weights.iter().sum();
            let sum: f64 = weights.iter().zip(logs).map(|(w, l)| w * l.exp()).sum();
            (sum / whole).ln()
        };
        let all = mean(&months, &effects.months) + (self.job.powi(2) + self.scatter.powi(2)) / 2.0;
        Truth {
            ratios: people
                .into_iter()
                .map(|(key, weights)| {
                    let log = effects.elements[&key] + mean(&weights, &effects.people) + all;
                    (key, log.exp())
                })
                .collect(),
        }
    }
}
