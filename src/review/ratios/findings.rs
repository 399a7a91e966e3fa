//! What the draws say, as figures for people.

use super::Part;
use super::design::{Design, JOB, Kind, VARIED};
use super::draws::{Draw, Draws};
use std::collections::BTreeMap;
use uuid::Uuid;

/// A figure with the interval in which it lies with a probability of 90 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Not exceeded with 5 %.
    pub low: f64,
    /// The figure: the middle of the draws.
    pub likely: f64,
    /// Not exceeded with 95 %.
    pub high: f64,
}

/// What one operation says of an element, when who did it, its job and its month are allowed for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// The operation.
    pub operation: Uuid,
    /// Actual over standard.
    pub ratio: f64,
    /// The element's part of the operation's time, 0 to 1.
    pub part: f64,
    /// Whether it lies so far out that it hardly counts: a clock that was forgotten, or a story of its own.
    pub odd: bool,
}

/// What is known of an element, or of elements that cannot be told apart because they are always done together.
#[derive(Debug, Clone, PartialEq)]
pub struct ElementRatio {
    /// The element's code; more than one where they cannot be told apart.
    pub codes: Vec<String>,
    /// Setup or run.
    pub part: Part,
    /// Actual over standard in the mean.
    pub ratio: Interval,
    /// How many finished operations bear on it.
    pub operations: usize,
    /// How many people did it.
    pub people: usize,
    /// How much of the figure is its own evidence and how much the mean of all elements: 1 is all its own, 0 all the mean.
    pub information: f64,
    /// Operations of which it is at least a quarter.
    pub points: Vec<Point>,
}

/// How much things vary, as coefficients of variation (0.1 is ten per cent); none where there are fewer than three to
/// compare.
#[derive(Debug, Clone, PartialEq)]
pub struct Shares {
    /// The whole shop from month to month.
    pub shop: Option<Interval>,
    /// People.
    pub person: Option<Interval>,
    /// Runs of kinds of work, about their common mean.
    pub element: Option<Interval>,
    /// Setups, about theirs.
    pub setup: Option<Interval>,
    /// Jobs or castings.
    pub job: Option<Interval>,
    /// What is left: ordinary operations by themselves.
    pub scatter: Interval,
    /// How many months, people, kinds of work, setups and jobs these rest on.
    pub counts: [usize; 5],
}

/// All that the evidence says.
#[derive(Debug, Clone, PartialEq)]
pub struct Findings {
    /// Ratios, by part, then by code.
    pub elements: Vec<ElementRatio>,
    /// Shares of variation.
    pub shares: Shares,
    /// What all work together takes over its standard.
    pub level: Interval,
    /// Booked parts that were used.
    pub rows: usize,
    /// Those among them that lie so far out that they hardly count.
    pub odd: usize,
}

/// A row of a lower mean precision hardly counts.
const ODD: f64 = 0.25;
/// An operation speaks for an element that is at least this part of it.
const SPEAKS: f64 = 0.25;

/// The figure at `share` of the sorted draws, between neighbours by proportion (Hyndman and Fan 1996, definition 7).
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let at = share * (sorted.len().saturating_sub(1)) as f64;
    let below = at.floor() as usize;
    let low = sorted.get(below).copied().unwrap_or(f64::NAN);
    let high = sorted.get(below + 1).copied().unwrap_or(low);
    low + (high - low) * (at - at.floor())
}

fn interval(mut draws: Vec<f64>) -> Interval {
    draws.sort_by(f64::total_cmp);
    Interval {
        low: quantile(&draws, 0.05),
        likely: quantile(&draws, 0.5),
        high: quantile(&draws, 0.95),
    }
}

/// ln Σ weight · exp(value), the weights made to sum to one; nought without weights.
fn log_mean(weights: &BTreeMap<usize, f64>, values: &[f64]) -> f64 {
    let whole: f64 = weights.values().sum();
    if whole <= 0.0 {
        return 0.0;
    }
    let sum: f64 = weights
        .iter()
        .map(|(c, w)| w / whole * values[*c].exp())
        .sum();
    sum.ln()
}

/// Who did what: for each group, minutes of standard by column of the person; for all, by column of the month.
struct Weights {
    people: Vec<BTreeMap<usize, f64>>,
    periods: BTreeMap<usize, f64>,
    standard: Vec<f64>,
    operations: Vec<usize>,
}

impl Weights {
    fn new(design: &Design) -> Self {
        let mut weights = Self {
            people: vec![BTreeMap::new(); design.groups.len()],
            periods: BTreeMap::new(),
            standard: vec![0.0; design.groups.len()],
            operations: vec![0; design.groups.len()],
        };
        for row in &design.rows {
            for (group, minutes) in &row.elements {
                weights.operations[*group] += 1;
                weights.standard[*group] += minutes;
                *weights.periods.entry(row.period).or_default() += minutes;
                for (person, share) in &row.people {
                    *weights.people[*group].entry(*person).or_default() += minutes * share;
                }
            }
        }
        weights
    }

    /// Logarithms of the ratios in one draw.
    fn log_ratios(&self, design: &Design, draw: &Draw) -> Vec<f64> {
        let all = log_mean(&self.periods, &draw.values)
            + f64::midpoint(draw.variances.job(), draw.variances.scatter);
        let by_group = design
            .log_ratios(&draw.values)
            .into_iter()
            .zip(&self.people);
        by_group
            .map(|(log, people)| log + log_mean(people, &draw.values) + all)
            .collect()
    }
}

pub(super) fn findings(design: &Design, draws: &Draws) -> Findings {
    let weights = Weights::new(design);
    let ratios: Vec<Vec<f64>> = draws
        .draws
        .iter()
        .map(|draw| weights.log_ratios(design, draw))
        .collect();
    let whole: f64 = weights.standard.iter().sum();
    let level = ratios.iter().map(|logs| {
        let taken = logs.iter().zip(&weights.standard);
        taken
            .map(|(log, standard)| log.exp() * standard)
            .sum::<f64>()
            / whole
    });
    let level = interval(level.collect());
    let points = points(design, draws, &ratios);
    let elements = design.groups.iter().zip(points).enumerate();
    let mut elements: Vec<ElementRatio> = elements
        .map(|(at, (group, points))| {
            let logs: Vec<f64> = ratios.iter().map(|logs| logs[at]).collect();
            ElementRatio {
                codes: group.codes.clone(),
                part: group.part,
                information: information(draws, group.part, &logs),
                ratio: interval(logs.into_iter().map(f64::exp).collect()),
                operations: weights.operations[at],
                people: weights.people[at].len(),
                points,
            }
        })
        .collect();
    elements.sort_by(|a, b| (&a.codes, a.part).cmp(&(&b.codes, b.part)));
    Findings {
        elements,
        shares: shares(design, draws),
        level,
        rows: design.rows.len(),
        odd: draws.weights.iter().filter(|w| **w < ODD).count(),
    }
}

/// One less the variance that is left of an element's logarithm over the variance of elements among themselves: the weight of
/// its own evidence against the common mean.
fn information(draws: &Draws, part: Part, logs: &[f64]) -> f64 {
    let before = match part {
        Part::Run => 0,
        Part::Setup => 1,
    };
    let n = logs.len() as f64;
    let mean = logs.iter().sum::<f64>() / n;
    let left = logs.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / n;
    let among = draws
        .draws
        .iter()
        .map(|d| d.variances.of[before])
        .sum::<f64>()
        / n;
    (1.0 - left / among).clamp(0.0, 1.0)
}

fn points(design: &Design, draws: &Draws, ratios: &[Vec<f64>]) -> Vec<Vec<Point>> {
    let n = draws.draws.len() as f64;
    let mean = |of: &dyn Fn(&Draw) -> f64| draws.draws.iter().map(of).sum::<f64>() / n;
    let values: Vec<f64> = (0..design.kinds.len())
        .map(|column| mean(&|draw| draw.values[column]))
        .collect();
    let shown: Vec<f64> = (0..design.groups.len())
        .map(|g| ratios.iter().map(|logs| logs[g]).sum::<f64>() / n)
        .collect();
    let log_ratios = design.log_ratios(&values);
    let mut points = vec![Vec::new(); design.groups.len()];
    for (row, weight) in design.rows.iter().zip(&draws.weights) {
        let (log, parts) = design.elements(row, &log_ratios);
        let person: f64 = row.people.iter().map(|(c, share)| share * values[*c]).sum();
        let left = row.log - log - person - values[row.period] - draws.jobs[row.job];
        for ((group, _), part) in row.elements.iter().zip(parts) {
            if part >= SPEAKS {
                points[*group].push(Point {
                    operation: row.operation,
                    ratio: (shown[*group] + left).exp(),
                    part,
                    odd: *weight < ODD,
                });
            }
        }
    }
    points
}

fn shares(design: &Design, draws: &Draws) -> Shares {
    let cv = |of: &dyn Fn(&Draw) -> f64| {
        interval(draws.draws.iter().map(|d| of(d).exp_m1().sqrt()).collect())
    };
    let count = |kind: Kind| design.kinds.iter().filter(|k| **k == kind).count();
    let of = |kind: Kind| {
        let at = VARIED.iter().position(|k| *k == kind)?;
        (count(kind) >= 3).then(|| cv(&|d| d.variances.of[at]))
    };
    Shares {
        shop: of(Kind::Period),
        person: of(Kind::Person),
        element: of(Kind::Run),
        setup: of(Kind::Setup),
        job: (design.jobs >= 3).then(|| cv(&|d| d.variances.of[JOB])),
        scatter: cv(&|d| d.variances.scatter),
        counts: [
            count(Kind::Period),
            count(Kind::Person),
            count(Kind::Run),
            count(Kind::Setup),
            design.jobs,
        ],
    }
}
