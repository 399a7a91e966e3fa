//! How much things vary by the shop's own bookings, beside what its settings say.
//!
//! The settings of [`crate::estimating::Variation`] begin with common practice. Once enough is booked the same inference that
//! gives the standards gives the shares of people, months, jobs and kinds of work, and counting gives days off and work done
//! again.

use super::rates::{mean, share, time_between};
use super::ratios::{Findings, Interval};
use crate::estimating::Variation;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use strum::{EnumString, IntoStaticStr, VariantArray};

/// A figure of the settings that is learned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Figure {
    /// The whole shop from month to month.
    Shop,
    /// People.
    Person,
    /// Kinds of work.
    Element,
    /// Jobs.
    Job,
    /// Days off sick.
    Absence,
    /// Work done again.
    Rework,
    /// Working hours between breakdowns of a machine.
    Breakdown,
    /// Hours a repair takes.
    Repair,
}

/// In what a figure is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Per cent.
    Percent,
    /// Working hours.
    Hours,
}

/// Breakdowns that were seen: stops of machines that nobody had planned.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Breakdowns {
    /// Hours that machines were open for work.
    pub machine_hours: f64,
    /// Working hours of each stop.
    pub repairs: Vec<f64>,
}

/// How often something was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Seen {
    /// So many times.
    pub of: u64,
    /// Out of so many.
    pub all: u64,
}

/// One figure with what was learned of it, in its [`Unit`].
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    /// Which.
    pub figure: Figure,
    /// As it is set.
    pub present: Decimal,
    /// As it is proposed; none while too little is known.
    pub proposed: Option<Decimal>,
    /// Its 90 % interval.
    pub interval: Option<Interval>,
    /// How many months, people, kinds of work, jobs, days, operations or breakdowns it rests on.
    pub count: usize,
}

/// Fewer than so many months, people, kinds of work, jobs, days, operations and breakdowns propose nothing, in the order of
/// [`Figure`]: common practice, no source.
const LEAST: [usize; 8] = [6, 3, 8, 20, 100, 100, 5, 5];

impl Figure {
    fn least(self) -> usize {
        let at = Self::VARIANTS.iter().position(|f| *f == self);
        at.and_then(|at| LEAST.get(at))
            .copied()
            .unwrap_or(usize::MAX)
    }

    /// The figure in the settings.
    #[must_use]
    pub fn of(self, variation: &Variation) -> Decimal {
        match self {
            Self::Shop => variation.shop_percent,
            Self::Person => variation.person_percent,
            Self::Element => variation.element_percent,
            Self::Job => variation.job_percent,
            Self::Absence => variation.absence_percent,
            Self::Rework => variation.rework_percent,
            Self::Breakdown => variation.breakdown_hours,
            Self::Repair => variation.repair_hours,
        }
    }

    /// In what it is written.
    #[must_use]
    pub fn unit(self) -> Unit {
        match self {
            Self::Breakdown | Self::Repair => Unit::Hours,
            _ => Unit::Percent,
        }
    }

    /// As it is set: per cent and repairs to the half, hours between breakdowns to the ten.
    fn written(self, likely: f64) -> Option<Decimal> {
        match self {
            Self::Breakdown => Decimal::from_f64((likely / 10.0).round() * 10.0),
            Self::Repair => halves(likely / 100.0),
            _ => halves(likely),
        }
    }

    /// Sets it.
    pub fn set(self, variation: &mut Variation, to: Decimal) {
        let figure = match self {
            Self::Shop => &mut variation.shop_percent,
            Self::Person => &mut variation.person_percent,
            Self::Element => &mut variation.element_percent,
            Self::Job => &mut variation.job_percent,
            Self::Absence => &mut variation.absence_percent,
            Self::Rework => &mut variation.rework_percent,
            Self::Breakdown => &mut variation.breakdown_hours,
            Self::Repair => &mut variation.repair_hours,
        };
        *figure = to;
    }
}

/// Per cent to the half.
fn halves(share: f64) -> Option<Decimal> {
    let halves = Decimal::from_f64((share * 200.0).round())?;
    Some((halves / Decimal::TWO).normalize())
}

/// All figures in the order of the settings; `absence` counts working days, `rework` operations.
#[must_use]
pub fn learned(
    findings: Option<&Findings>,
    variation: &Variation,
    absence: Seen,
    rework: Seen,
    breakdowns: &Breakdowns,
) -> Vec<Learned> {
    let shares = findings.map(|f| &f.shares);
    let of_shares = |figure: Figure| {
        let Some(shares) = shares else {
            return (None, 0);
        };
        let [shop, person, element, _, job] = shares.counts;
        match figure {
            Figure::Shop => (shares.shop, shop),
            Figure::Person => (shares.person, person),
            Figure::Element => (shares.element, element),
            _ => (shares.job, job),
        }
    };
    let counted = |seen: Seen| {
        let count = usize::try_from(seen.all).unwrap_or(usize::MAX);
        (share(seen.of, seen.all), count)
    };
    let stops = breakdowns.repairs.len();
    Figure::VARIANTS
        .iter()
        .map(|&figure| {
            let (interval, count) = match figure {
                Figure::Absence => counted(absence),
                Figure::Rework => counted(rework),
                Figure::Breakdown => (time_between(stops as u64, breakdowns.machine_hours), stops),
                Figure::Repair => (mean(&breakdowns.repairs), stops),
                _ => of_shares(figure),
            };
            let enough = interval.filter(|_| count >= figure.least());
            Learned {
                figure,
                present: figure.of(variation).normalize(),
                proposed: enough.and_then(|i| figure.written(i.likely)),
                interval: interval.map(|i| {
                    let of = match figure.unit() {
                        Unit::Percent => 100.0,
                        Unit::Hours => 1.0,
                    };
                    Interval {
                        low: i.low * of,
                        likely: i.likely * of,
                        high: i.high * of,
                    }
                }),
                count,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::ratios::{infer, sample::Shop};
    use super::*;
    use rust_decimal::dec;

    /// A drawn shop's shares are found within their intervals, in the settings' measure; what is counted is counted; and what
    /// hardly anything is known of is not proposed.
    #[test]
    fn shares_are_learned_as_the_settings_write_them() {
        let shop = Shop {
            jobs: 250,
            people: 8,
            job: 0.15,
            ..Shop::default()
        };
        let (evidence, _) = shop.year(4);
        let findings = infer(&evidence, 1).unwrap();
        let variation = Variation::default();
        let absence = Seen { of: 9, all: 300 };
        let lines = learned(
            Some(&findings),
            &variation,
            absence,
            Seen { of: 1, all: 30 },
            &Breakdowns {
                machine_hours: 9_000.0,
                repairs: vec![2.0, 3.0, 4.0, 5.0, 6.0, 10.0],
            },
        );
        let cv = |deviation: f64| 100.0 * (deviation * deviation).exp_m1().sqrt();
        for (line, truth) in lines.iter().zip([cv(0.05), cv(0.08), cv(0.18), cv(0.15)]) {
            let interval = line.interval.unwrap();
            // Nine in ten would; these four do, and with room to spare they stay a test of the measure.
            assert!(
                (interval.low * 0.7..=interval.high * 1.4).contains(&truth),
                "{line:?} {truth}"
            );
            assert!(line.proposed.is_some() && line.present == line.figure.of(&variation));
        }
        assert_eq!(lines[4].proposed, Some(dec!(3)));
        assert_eq!((lines[5].proposed, lines[5].count), (None, 30));
        // Six in 9,000 hours; Garwood's limits of a count of six are 2.613 and 11.842.
        assert_eq!(lines[6].proposed, Some(dec!(1500)));
        let between = lines[6].interval.unwrap();
        assert!((between.low - 9_000.0 / 11.842).abs() < 0.1, "{between:?}");
        assert!((between.high - 9_000.0 / 2.613).abs() < 1.0, "{between:?}");
        // A mean of five hours; t of 0.95 at five degrees of freedom is 2.015, the error of the mean 1.155.
        assert_eq!(lines[7].proposed, Some(dec!(5)));
        let repair = lines[7].interval.unwrap();
        assert!(
            (repair.high - 5.0 - 2.015 * 1.1547).abs() < 0.01,
            "{repair:?}"
        );
        let mut set = variation.clone();
        for line in &lines {
            if let Some(percent) = line.proposed {
                line.figure.set(&mut set, percent);
            }
        }
        assert_eq!(set.faults(), []);
        assert_eq!(
            (set.absence_percent, set.rework_percent),
            (dec!(3), variation.rework_percent)
        );
        let nothing = learned(
            None,
            &variation,
            Seen::default(),
            Seen::default(),
            &Breakdowns::default(),
        );
        assert!(nothing.iter().all(|l| l.proposed.is_none()));
    }
}
