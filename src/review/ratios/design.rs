//! Evidence laid out for inference: what is inferred (columns) and what each booked part of an operation says of it (rows).

use super::{Evidence, Part};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Elements that only occur together, with standards whose proportion varies by no more than this (standard deviation of its
/// logarithm), cannot be told apart.
const TOGETHER: f64 = 0.25;

/// What a column is a deviation of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Kind {
    /// The mean of all elements' runs, or setups: no deviation, so nothing holds it back.
    Mean,
    /// An element's run from the mean.
    Run,
    /// An element's setup from the mean.
    Setup,
    /// A person.
    Person,
    /// A month of the whole shop.
    Period,
}

/// The kinds whose variance is inferred, in the order in which variances are kept; jobs come after them.
pub(super) const VARIED: [Kind; 4] = [Kind::Run, Kind::Setup, Kind::Person, Kind::Period];
/// Where the variance of jobs is kept.
pub(super) const JOB: usize = 4;
/// How many variances there are but for the scatter.
pub(super) const VARIANCES: usize = 5;

/// One part of one operation.
#[derive(Debug, Clone)]
pub(super) struct Row {
    /// Which operation.
    pub operation: Uuid,
    /// Logarithm of the minutes booked.
    pub log: f64,
    /// The elements in it: index of the group and standard minutes.
    pub elements: Vec<(usize, f64)>,
    /// Whose time it was: column and share.
    pub people: Vec<(usize, f64)>,
    /// Column of the month.
    pub period: usize,
    /// Index of the job.
    pub job: usize,
}

/// Elements that share a ratio, because they only occur together; mostly one.
#[derive(Debug, Clone)]
pub(super) struct Group {
    /// Their codes.
    pub codes: Vec<String>,
    /// Whether setup or run.
    pub part: Part,
    /// Column of the mean.
    pub mean: usize,
    /// Column of the deviation.
    pub column: usize,
}

/// Everything laid out. Rows are sorted by job, operation and part, so the order in which evidence came does not matter.
#[derive(Debug, Clone, Default)]
pub(super) struct Design {
    /// Kinds of the columns.
    pub kinds: Vec<Kind>,
    /// The groups of elements.
    pub groups: Vec<Group>,
    /// The rows.
    pub rows: Vec<Row>,
    /// How many jobs there are.
    pub jobs: usize,
}

fn sound(e: &Evidence) -> bool {
    let positive = |x: f64| x.is_finite() && x > 0.0;
    positive(e.minutes) && e.expected.iter().any(|(_, m)| positive(*m))
}

/// Standard minutes of each element, those of no minutes left out.
fn standards(e: &Evidence) -> BTreeMap<&str, f64> {
    let mut sums: BTreeMap<&str, f64> = BTreeMap::new();
    for (code, minutes) in e.expected.iter().filter(|(_, m)| m.is_finite() && *m > 0.0) {
        *sums.entry(code).or_default() += minutes;
    }
    sums
}

/// The rows that an element is in: index and logarithm of its standard minutes.
type Presence = Vec<(usize, f64)>;

/// Which codes share a ratio: those in exactly the same rows, in nearly the same proportion in all of them.
fn together(rows: &[(&Evidence, BTreeMap<&str, f64>)], part: Part) -> Vec<Vec<String>> {
    let mut of_code: BTreeMap<&str, Presence> = BTreeMap::new();
    for (i, (_, standards)) in rows.iter().enumerate().filter(|(_, (e, _))| e.part == part) {
        for (code, minutes) in standards {
            of_code.entry(code).or_default().push((i, minutes.ln()));
        }
    }
    let mut groups: Vec<(Vec<String>, Presence)> = Vec::new();
    for (code, at) in of_code {
        let same = groups
            .iter_mut()
            .find(|(_, other)| proportional(other, &at));
        match same {
            Some((codes, _)) => codes.push(code.to_owned()),
            None => groups.push((vec![code.to_owned()], at)),
        }
    }
    groups.into_iter().map(|(codes, _)| codes).collect()
}

fn proportional(a: &[(usize, f64)], b: &[(usize, f64)]) -> bool {
    if a.len() != b.len() || a.iter().zip(b).any(|((i, _), (j, _))| i != j) {
        return false;
    }
    let differences: Vec<f64> = a.iter().zip(b).map(|((_, x), (_, y))| x - y).collect();
    let n = differences.len() as f64;
    let mean = differences.iter().sum::<f64>() / n;
    let variance = differences.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / n;
    variance.sqrt() < TOGETHER
}

impl Design {
    pub(super) fn new(evidence: &[Evidence]) -> Self {
        let mut sorted: Vec<(&Evidence, BTreeMap<&str, f64>)> = evidence
            .iter()
            .filter(|e| sound(e))
            .map(|e| (e, standards(e)))
            .collect();
        sorted.sort_by_key(|(e, _)| (e.job, e.operation, e.part));
        let mut design = Self::default();
        let mut group_of: BTreeMap<(Part, String), usize> = BTreeMap::new();
        for (part, kind) in [(Part::Run, Kind::Run), (Part::Setup, Kind::Setup)] {
            let groups = together(&sorted, part);
            if groups.is_empty() {
                continue;
            }
            let mean = design.column(Kind::Mean);
            for codes in groups {
                for code in &codes {
                    group_of.insert((part, code.clone()), design.groups.len());
                }
                let column = design.column(kind);
                design.groups.push(Group {
                    codes,
                    part,
                    mean,
                    column,
                });
            }
        }
        let people: BTreeSet<Uuid> = sorted
            .iter()
            .flat_map(|(e, _)| e.people.iter().map(|(p, _)| *p))
            .collect();
        let people: BTreeMap<Uuid, usize> = people
            .into_iter()
            .map(|p| (p, design.column(Kind::Person)))
            .collect();
        let periods: BTreeSet<i32> = sorted.iter().map(|(e, _)| e.period).collect();
        let periods: BTreeMap<i32, usize> = periods
            .into_iter()
            .map(|p| (p, design.column(Kind::Period)))
            .collect();
        let mut job = None;
        for (e, standards) in &sorted {
            if job != Some(e.job) {
                design.jobs += 1;
                job = Some(e.job);
            }
            let mut elements: BTreeMap<usize, f64> = BTreeMap::new();
            for (code, minutes) in standards {
                if let Some(group) = group_of.get(&(e.part, (*code).to_owned())) {
                    *elements.entry(*group).or_default() += minutes;
                }
            }
            let mut shares: BTreeMap<usize, f64> = BTreeMap::new();
            for (person, share) in e.people.iter().filter(|(_, s)| s.is_finite() && *s > 0.0) {
                if let Some(column) = people.get(person) {
                    *shares.entry(*column).or_default() += share;
                }
            }
            let whole: f64 = shares.values().sum();
            design.rows.push(Row {
                operation: e.operation,
                log: e.minutes.ln(),
                elements: elements.into_iter().collect(),
                people: shares.into_iter().map(|(c, s)| (c, s / whole)).collect(),
                period: periods.get(&e.period).copied().unwrap_or_default(),
                job: design.jobs - 1,
            });
        }
        design
    }

    fn column(&mut self, kind: Kind) -> usize {
        self.kinds.push(kind);
        self.kinds.len() - 1
    }

    /// Where the elements' ratios stand for these values of the columns: logarithm for each group.
    pub(super) fn log_ratios(&self, values: &[f64]) -> Vec<f64> {
        self.groups
            .iter()
            .map(|g| values[g.mean] + values[g.column])
            .collect()
    }

    /// What a row's logarithm is expected to be by its elements alone: ln Σ standard · ratio; and each element's part of that
    /// sum.
    pub(super) fn elements(&self, row: &Row, log_ratios: &[f64]) -> (f64, Vec<f64>) {
        let minutes: Vec<f64> = row
            .elements
            .iter()
            .map(|(group, minutes)| minutes * log_ratios[*group].exp())
            .collect();
        let sum: f64 = minutes.iter().sum();
        (sum.ln(), minutes.into_iter().map(|m| m / sum).collect())
    }

    /// The rows as a linear system about these values: coefficients by column, and the figure that they make up with the job
    /// and the scatter. ln Σ sₑ·exp(θₑ) is replaced by its tangent, whose slopes are the elements' parts of the sum.
    pub(super) fn tangent(&self, values: &[f64]) -> Vec<(Vec<(usize, f64)>, f64)> {
        let ratios = self.log_ratios(values);
        self.rows
            .iter()
            .map(|row| {
                let (log, parts) = self.elements(row, &ratios);
                let mut coefficients = Vec::with_capacity(parts.len() + row.people.len() + 2);
                let mut figure = row.log - log;
                for ((group, _), part) in row.elements.iter().zip(&parts) {
                    coefficients.push((self.groups[*group].column, *part));
                    figure += part * ratios[*group];
                }
                if let Some((group, _)) = row.elements.first() {
                    coefficients.push((self.groups[*group].mean, 1.0));
                }
                coefficients.extend(&row.people);
                coefficients.push((row.period, 1.0));
                (coefficients, figure)
            })
            .collect()
    }
}
