//! `past.toml`: the truth that the past year is drawn from.

use super::seed::SeedError;
use chrono::NaiveTime;
use rust_decimal::Decimal;
use serde::Deserialize;
use std::collections::BTreeMap;

/// `past.toml`.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PastFile {
    /// How many days ago the year began.
    pub(super) days: u64,
    /// How many days ago it ended.
    pub(super) ends_days_ago: u64,
    pub(super) calls_a_week: f64,
    pub(super) seed: u64,
    pub(super) time: Times,
    pub(super) events: Events,
    pub(super) quotes: Quotes,
    pub(super) donor: Vec<DonorSeed>,
    pub(super) sighting: Vec<SeenSeed>,
    pub(super) raised: Vec<RaisedSeed>,
    pub(super) energy: EnergySeed,
}

/// Ratios of actual to standard time.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Times {
    pub(super) setup: f64,
    pub(super) element_other: f64,
    pub(super) month_cv: f64,
    pub(super) job_cv: f64,
    pub(super) scatter_cv: f64,
    pub(super) mishap: f64,
    pub(super) person: BTreeMap<String, f64>,
    pub(super) element: BTreeMap<String, f64>,
    pub(super) attended: BTreeMap<String, f64>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Events {
    pub(super) absence: f64,
    pub(super) rework: f64,
    pub(super) rework_share: Decimal,
    pub(super) donor_fails: f64,
    pub(super) edda_until: NaiveTime,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Quotes {
    pub(super) early_confidence: u32,
    pub(super) early_days: i64,
    pub(super) futures: u32,
    pub(super) haggle_cv: f64,
    pub(super) level: f64,
    pub(super) price: f64,
    pub(super) lapse: f64,
    pub(super) decide_days: u64,
    pub(super) queue_share: f64,
    pub(super) queue_cv: f64,
    pub(super) own_days: f64,
    pub(super) own_cv: f64,
    pub(super) days_more: f64,
    pub(super) hunt_price: f64,
    pub(super) hunt_price_cv: f64,
    pub(super) hunt_days: f64,
    pub(super) hunt_days_cv: f64,
    pub(super) lost: Vec<LostSeed>,
}

/// Why a quote is lost, and how often against the others.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LostSeed {
    pub(super) why: String,
    pub(super) weight: u32,
    /// Only of quotes above the usual price.
    #[serde(default)]
    pub(super) dear: bool,
}

/// Donors that are bought.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DonorSeed {
    pub(super) variant: String,
    pub(super) price: f64,
    pub(super) price_cv: f64,
    pub(super) place: Vec<String>,
}

/// Scarce castings that were seen.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SeenSeed {
    pub(super) variant: String,
    pub(super) count: u32,
    pub(super) middle_price: f64,
    pub(super) price_cv: f64,
    pub(super) bought_good: u32,
    pub(super) bought_scrap: u32,
}

/// A labour rate before it was raised.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RaisedSeed {
    pub(super) days_ago: u64,
    pub(super) skill: String,
    pub(super) hourly: Decimal,
}

/// The price of power before it was raised, for every machine.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct EnergySeed {
    pub(super) days_ago: u64,
    pub(super) power_price: Decimal,
}

impl PastFile {
    /// The same, when it speaks of people and variants that there are.
    pub(super) fn checked(&self, people: &[&str], variants: &[&str]) -> Result<(), SeedError> {
        let fault = |why: String| SeedError {
            file: "past.toml",
            why,
        };
        for name in self.time.person.keys() {
            if !people.contains(&name.as_str()) {
                return Err(fault(format!("there is no “{name}”")));
            }
        }
        let named = self.donor.iter().map(|donor| &donor.variant);
        for name in named.chain(self.sighting.iter().map(|seen| &seen.variant)) {
            if !variants.contains(&name.as_str()) {
                return Err(fault(format!("there is no variant “{name}”")));
            }
        }
        Ok(())
    }
}
