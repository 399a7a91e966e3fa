//! The demo's past year: calls, quotes won and lost, jobs worked through minute by minute, and what the shop bought. All of
//! it is drawn from `past.toml` with a fixed seed and written with the times at which it happened.

use super::draw::{self, Kind, LiveJob};
use super::fill::DemoError;
use super::past_calls::{Call, Fate, Offer, Pricing};
use super::past_floor::{FloorJob, Hand, Minute, Workshop, minute};
use super::past_truth::{DonorSeed, PastFile};
use super::seed::{Seed, SeedError};
use crate::db::ShopTx;
use crate::db::calendars::{self, Owner, WorkingTime};
use crate::estimating::{LabourRate, Policy, Rates};
use crate::units::Money;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use rand::RngExt;
use rand_distr::{Distribution, Poisson};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// What the year is drawn with.
pub(super) struct Setting<'a> {
    pub(super) seed: &'a Seed,
    pub(super) truth: &'a PastFile,
    pub(super) kinds: &'a [Kind],
    pub(super) pricing: Pricing<'a>,
    pub(super) hands: Vec<Hand>,
    pub(super) machines: BTreeMap<String, Uuid>,
    pub(super) working_time: WorkingTime,
    pub(super) today: NaiveDate,
    pub(super) owner: Uuid,
    pub(super) office: Option<Uuid>,
    pub(super) policy: Policy,
}

/// The year as it went.
pub(super) struct Year<'a> {
    pub(super) calls: Vec<(Call, Offer)>,
    pub(super) shop: Workshop<'a>,
    pub(super) absences: Vec<(Uuid, NaiveDate)>,
}

pub(super) fn fault(why: impl std::fmt::Display) -> SeedError {
    SeedError {
        file: "past.toml",
        why: why.to_string(),
    }
}

/// Draws the year and the calls that the live jobs come from, and writes them. Gives the quotes of the live jobs, in their
/// order; `None` for those that nobody was given a day for.
pub(super) async fn write(
    tx: &mut ShopTx,
    seed: &Seed,
    people: &HashMap<String, Uuid>,
    today: NaiveDate,
    live: &[LiveJob],
) -> Result<Vec<Option<Uuid>>, DemoError> {
    let truth = &seed.past;
    let names: Vec<&str> = seed.shop.person.iter().map(|p| p.name.as_str()).collect();
    let variants: Vec<&str> = seed.variants.iter().map(|v| v.name.as_str()).collect();
    truth.checked(&names, &variants)?;
    let kinds = draw::kinds(seed)?;
    let named = |role: &str| {
        let person = seed.shop.person.iter().find(|p| p.role == role);
        person.and_then(|p| people.get(&p.name)).copied()
    };
    let shop = &seed.shop.shop;
    let setting = Setting {
        seed,
        truth,
        kinds: &kinds,
        pricing: Pricing {
            truth,
            kinds: &kinds,
            currency: shop.currency,
            zone: shop.time_zone,
        },
        hands: seed
            .shop
            .person
            .iter()
            .filter(|person| !person.skills.is_empty())
            .filter_map(|person| {
                Some(Hand {
                    id: *people.get(&person.name)?,
                    skills: person.skills.clone(),
                    ratio: truth.time.person.get(&person.name).copied().unwrap_or(1.0),
                })
            })
            .collect(),
        machines: seed
            .machines
            .iter()
            .map(|machine| (machine.kind.clone(), machine.id))
            .collect(),
        working_time: calendars::read(tx).await?,
        today,
        owner: named("owner").ok_or_else(|| fault("there is no owner"))?,
        office: named("office"),
        policy: Policy {
            overhead_percent: shop.overhead_percent,
            margin_percent: shop.margin_percent,
            tax_percent: shop.tax_percent,
            confidence_percent: u32::from(shop.confidence_percent),
            costs: crate::estimating::Recalibration::none(),
        },
    };
    // What is not done when the year ends was never accepted: the work since then is that of the live jobs.
    let mut dropped = BTreeSet::new();
    let mut year = setting.year(&dropped)?;
    for _ in 0..6 {
        let jobs = year.shop.jobs.iter();
        let unfinished: Vec<usize> = jobs
            .filter(|job| job.finished.is_none())
            .map(|job| job.call)
            .collect();
        if unfinished.is_empty() {
            break;
        }
        dropped.extend(unfinished);
        year = setting.year(&dropped)?;
    }
    setting.write(tx, &year).await?;
    setting.write_market(tx).await?;
    setting.write_rates(tx).await?;
    setting.write_live_calls(tx, live).await
}

impl<'a> Setting<'a> {
    /// The beginning of today.
    pub(super) fn morning(&self) -> DateTime<Utc> {
        self.today.and_time(NaiveTime::MIN).and_utc()
    }

    pub(super) fn ago(&self, days: u64) -> NaiveDate {
        let day = self.today.checked_sub_days(Days::new(days));
        day.unwrap_or(self.today)
    }

    /// The rates of a day, before what was raised later.
    pub(super) fn rates(&self, on: NaiveDate) -> Result<Rates, SeedError> {
        let mut labour: Vec<LabourRate> = self.seed.labour.clone();
        for raised in &self.truth.raised {
            if on < self.ago(raised.days_ago) {
                let skill = Some(raised.skill.clone());
                for rate in labour.iter_mut().filter(|rate| rate.skill == skill) {
                    rate.hourly = Money::new(raised.hourly, self.pricing.currency);
                }
            }
        }
        let mut machines = self.seed.machines.clone();
        if on < self.ago(self.truth.energy.days_ago) {
            for machine in &mut machines {
                let price = self.truth.energy.power_price;
                machine.worksheet.power_price = Money::new(price, self.pricing.currency);
            }
        }
        Rates::in_force(&machines, &labour).map_err(fault)
    }

    pub(super) fn policy(&self, on: NaiveDate) -> Policy {
        let gone = (on - self.ago(self.truth.days)).num_days();
        let early = gone < self.truth.quotes.early_days;
        Policy {
            confidence_percent: if early {
                self.truth.quotes.early_confidence
            } else {
                self.policy.confidence_percent
            },
            ..self.policy.clone()
        }
    }

    pub(super) fn donor(&self, kind: &Kind) -> Option<&'a DonorSeed> {
        let donor = &kind.conversion.as_ref()?.donor_name;
        self.truth.donor.iter().find(|seed| seed.variant == *donor)
    }

    pub(super) fn donor_price(&self, kind: &Kind) -> Option<Money> {
        let price = Decimal::from_f64(self.donor(kind)?.price)?;
        Some(Money::new(price.round_dp(2), self.pricing.currency))
    }

    /// The year without the jobs of some calls.
    fn year(&self, dropped: &BTreeSet<usize>) -> Result<Year<'a>, SeedError> {
        let mut year = Year {
            calls: Vec::new(),
            shop: Workshop::new(self.truth, self.hands.clone(), self.machines.clone()),
            absences: Vec::new(),
        };
        let mut offers: HashMap<(usize, NaiveDate), Offer> = HashMap::new();
        let until = self.ago(self.truth.ends_days_ago);
        let poisson = Poisson::new(self.truth.calls_a_week / 5.0).map_err(fault)?;
        for on in self
            .ago(self.truth.days)
            .iter_days()
            .take_while(|d| *d < until)
        {
            let day = on
                .signed_duration_since(self.ago(self.truth.days))
                .num_days();
            let mut rng = Pcg64::seed_from_u64(self.truth.seed.wrapping_add(day.unsigned_abs()));
            if draw::working_day(self.seed, on, 0) == on {
                let count: f64 = poisson.sample(&mut rng);
                for _ in 0..count.to_u32().unwrap_or(0) {
                    let call = self.call(&year, on, &mut offers, &mut rng)?;
                    year.calls.push(call);
                }
            }
            self.accept(&mut year, on, dropped);
            let stretches = self.stretches(on, &mut year.absences, &mut rng);
            year.shop.day(&stretches);
        }
        for (at, (call, _)) in year.calls.iter_mut().enumerate() {
            let open = year.shop.jobs.iter().all(|job| job.call != at);
            if call.fate == Fate::Won && open {
                call.fate = Fate::Lost("Could not wait so long".to_owned());
            }
        }
        Ok(year)
    }

    fn call(
        &self,
        year: &Year,
        on: NaiveDate,
        offers: &mut HashMap<(usize, NaiveDate), Offer>,
        rng: &mut Pcg64,
    ) -> Result<(Call, Offer), SeedError> {
        let all: u32 = self.kinds.iter().map(|kind| kind.weight).sum();
        let mut drawn = rng.random_range(0..all.max(1));
        let at = self.kinds.iter().position(|kind| {
            let found = drawn < kind.weight;
            drawn = drawn.saturating_sub(kind.weight);
            found
        });
        let at = at.unwrap_or(0);
        let kind = self.kinds.get(at).ok_or_else(|| fault("no kind of job"))?;
        let policy = self.policy(on);
        // Rates and confidence change on a few days only.
        let raised = self.truth.raised.iter().map(|raised| raised.days_ago);
        let changes = raised
            .chain([self.truth.energy.days_ago])
            .map(|days| self.ago(days))
            .chain([
                self.ago(self.truth.days) + chrono::TimeDelta::days(self.truth.quotes.early_days)
            ]);
        let since = changes.filter(|day| *day <= on).max();
        let since = since.unwrap_or(self.ago(self.truth.days));
        let offer = match offers.get(&(at, since)) {
            Some(offer) => offer.clone(),
            None => {
                let rates = self.rates(on)?;
                let offer = self
                    .pricing
                    .offer(kind, self.donor_price(kind), &rates, &policy)?;
                offers.insert((at, since), offer.clone());
                offer
            }
        };
        let state = (year.shop.waiting(), policy.confidence_percent);
        let call = self.pricing.call((self.seed, on), &offer, at, state, rng)?;
        Ok((call, offer))
    }

    /// Puts into the workshop what was accepted on a day.
    fn accept(&self, year: &mut Year, on: NaiveDate, dropped: &BTreeSet<usize>) {
        for (at, (call, _)) in year.calls.iter().enumerate() {
            let decided = call.decided.with_timezone(&self.pricing.zone).date_naive();
            if call.fate != Fate::Won || decided != on || dropped.contains(&at) {
                continue;
            }
            let Some(kind) = self.kinds.get(call.kind) else {
                continue;
            };
            let mut available = minute(call.decided);
            if kind.conversion.is_some() {
                // The donor is fetched first.
                available += 2 * 24 * 60;
            }
            let has_donor = kind.conversion.is_some();
            let job = FloorJob::new(
                at,
                call.promised_on,
                available,
                &kind.route,
                has_donor,
                self.truth,
            );
            year.shop.jobs.push(job);
        }
    }

    /// When everybody is there on a day, as minutes.
    fn stretches(
        &self,
        on: NaiveDate,
        absences: &mut Vec<(Uuid, NaiveDate)>,
        rng: &mut Pcg64,
    ) -> Vec<Vec<(Minute, Minute)>> {
        let zone = self.pricing.zone;
        let day = crate::planning::calendar::whole_day(zone, on);
        let mut all = Vec::new();
        for hand in &self.hands {
            let absent = rng.random_bool(self.truth.events.absence);
            let Some((from, until)) = day else {
                all.push(Vec::new());
                continue;
            };
            let calendar = self
                .working_time
                .calendar(Owner::Person(hand.id), from, until);
            let mut mine: Vec<(DateTime<Utc>, DateTime<Utc>)> = calendar.intervals().collect();
            if hand.id == self.owner {
                let until = self.truth.events.edda_until;
                mine.retain(|(from, _)| from.with_timezone(&zone).time() < until);
            }
            if absent && !mine.is_empty() {
                absences.push((hand.id, on));
                mine.clear();
            }
            let minutes = mine.into_iter().map(|(a, b)| (minute(a), minute(b)));
            all.push(minutes.collect());
        }
        all
    }
}
