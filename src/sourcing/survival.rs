//! How long it really took until one turned up, with the wait that is still running counted for what it is.
//!
//! A part seen after 40, 95 and 60 days, and looked for another 200 days since in vain, is not a part that takes 65 days. The
//! wait that is still running says that it takes at least so long, and the estimate takes it as that: of the waits that had
//! lasted so far, so many ended here.

use super::{Sighting, Watch};
use crate::estimating::variation::normal_quantile;
use chrono::NaiveDate;

/// A wait for the next one worth having.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Waited {
    /// Days it has lasted.
    pub days: f64,
    /// Whether it ended with one; else it is still running.
    pub ended: bool,
}

/// The estimate from one end of a wait to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// From this many days on.
    pub days: f64,
    /// Waits that had lasted so long just before.
    pub running: usize,
    /// Share that lasts longer.
    pub longer: f64,
    /// Lower end of its 90 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// The waits between one sighting worth having and the next since the watch began, and the one that runs until today.
#[must_use]
pub fn waits(watch: &Watch, sightings: &[Sighting], today: NaiveDate) -> Vec<Waited> {
    let mut seen: Vec<NaiveDate> = sightings
        .iter()
        .filter(|s| s.acceptable && (watch.since..=today).contains(&s.seen_on))
        .map(|s| s.seen_on)
        .collect();
    seen.sort_unstable();
    let mut from = watch.since;
    let mut waits = Vec::with_capacity(seen.len() + 1);
    for day in seen {
        let days = (day - from).num_days() as f64;
        waits.push(Waited { days, ended: true });
        from = day;
    }
    if today > from {
        let days = (today - from).num_days() as f64;
        waits.push(Waited { days, ended: false });
    }
    waits
}

/// The share of waits that last longer than so many days: the product-limit estimate (Kaplan and Meier 1958, "Nonparametric
/// estimation from incomplete observations", equation 1b), with the variance of Greenwood (1926, "The natural duration of
/// cancer", appendix 1) Σ d/(n(n − d)), and its 90 % interval on the scale ln(−ln S), where it cannot leave 0 to 1 (Kalbfleisch
/// and Prentice 1980, "The statistical analysis of failure time data", section 1.3; all from memory). A wait that stops
/// running on the day on which another ends had lasted so long just before. One step for each day on which a wait ended.
#[must_use]
pub fn kaplan_meier(waits: &[Waited]) -> Vec<Step> {
    let mut sorted: Vec<Waited> = waits
        .iter()
        .copied()
        .filter(|w| w.days.is_finite())
        .collect();
    sorted.sort_by(|a, b| a.days.total_cmp(&b.days));
    let z = normal_quantile(0.95);
    let (mut longer, mut variance) = (1.0, 0.0);
    let mut steps = Vec::new();
    let mut gone = 0;
    for same in sorted.chunk_by(|a, b| a.days.total_cmp(&b.days).is_eq()) {
        let running = sorted.len() - gone;
        let ended = same.iter().filter(|w| w.ended).count();
        gone += same.len();
        let (Some(first), true) = (same.first(), ended > 0) else {
            continue;
        };
        let (n, d) = (running as f64, ended as f64);
        longer *= 1.0 - d / n;
        variance += d / (n * (n - d));
        let (low, high) = if ended == running {
            (0.0, 0.0)
        } else {
            let log = f64::ln(longer);
            let half = z * f64::sqrt(variance) / log.abs();
            (f64::exp(log * half.exp()), f64::exp(log * (-half).exp()))
        };
        steps.push(Step {
            days: first.days,
            running,
            longer,
            low,
            high,
        });
    }
    steps
}

/// The days within which half of the waits ended; none while more than half last longer than any that ended.
#[must_use]
pub fn median(steps: &[Step]) -> Option<f64> {
    steps.iter().find(|s| s.longer <= 0.5).map(|s| s.days)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Currency;
    use uuid::Uuid;

    #[derive(serde::Deserialize)]
    struct Reference {
        waits: Data,
    }

    #[derive(serde::Deserialize)]
    struct Data {
        rows: Vec<(f64, bool)>,
        steps: Vec<(f64, f64, f64, f64)>,
        median: f64,
    }

    /// The data set `waltons` of lifelines and what its KaplanMeierFitter makes of it; the script beside it names the versions.
    #[test]
    fn the_estimate_and_its_interval_are_those_of_lifelines() {
        let file = include_str!("../../tests/reference/learned.json");
        let Reference { waits: data } = serde_json::from_str(file).unwrap();
        let waits: Vec<Waited> = data
            .rows
            .iter()
            .map(|(days, ended)| Waited {
                days: *days,
                ended: *ended,
            })
            .collect();
        let steps = kaplan_meier(&waits);
        assert_eq!(median(&steps), Some(data.median));
        for step in &steps {
            let theirs = data
                .steps
                .iter()
                .find(|t| (t.0 - step.days).abs() < 1e-9)
                .unwrap();
            for (ours, theirs) in [
                (step.longer, theirs.1),
                (step.low, theirs.2),
                (step.high, theirs.3),
            ] {
                assert!((ours - theirs).abs() < 1e-9, "{step:?}: {theirs}");
            }
        }
        // Theirs has a row for each time, ours for each at which something ended.
        let changes = data.steps.windows(2).filter(|w| w[1].1 < w[0].1).count();
        assert_eq!(steps.len(), changes);
    }

    /// The wait that is running makes waits longer, and never shorter.
    #[test]
    fn a_wait_that_is_running_counts_as_far_as_it_has_come() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let pounds = Currency::from_code("GBP").unwrap();
        let watch = Watch::new(Uuid::nil(), day("2026-01-01"), pounds);
        let seen: Vec<Sighting> = ["2025-11-11", "2026-02-10", "2026-05-16", "2026-07-15"]
            .into_iter()
            .map(|on| Sighting::new(Uuid::nil(), Uuid::nil(), day(on)))
            .collect();
        let waits = waits(&watch, &seen, day("2027-01-31"));
        let said: Vec<_> = waits.iter().map(|w| (w.days as i64, w.ended)).collect();
        assert_eq!(said, [(40, true), (95, true), (60, true), (200, false)]);
        let ended: Vec<Waited> = waits.iter().copied().filter(|w| w.ended).collect();
        assert_eq!(median(&kaplan_meier(&ended)), Some(60.0));
        assert_eq!(median(&kaplan_meier(&waits)), Some(60.0));
        let last = kaplan_meier(&waits).pop().unwrap();
        assert_eq!(last.running, 2);
        assert!((last.longer - 0.25).abs() < 1e-12, "a quarter last longer");
        assert_eq!(kaplan_meier(&[]), []);
    }
}
