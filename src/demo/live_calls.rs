//! The calls of the last weeks: those that the live jobs come from, and those that came to nothing meanwhile.

use super::draw::{LiveJob, working_day};
use super::fill::DemoError;
use super::past::{Setting, fault};
use super::past_calls::{Call, Fate, Offer};
use crate::db::ShopTx;
use chrono::{Days, NaiveDate};
use rand::RngExt;
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use std::collections::HashMap;
use uuid::Uuid;

/// Days before today of the first such call and of the last.
const FIRST_AGO: u64 = 16;
const LAST_AGO: u64 = 4;
/// Calls for one kind of work of which one is won at last.
const TRIES: u32 = 12;
/// Standard minutes of work that were waiting when these calls came: about two weeks for three people.
const WAITING: f64 = 9_000.0;

impl Setting<'_> {
    /// Writes them, and gives the quote of each live job, in their order; those that nobody was given a day for came
    /// without one.
    pub(super) async fn write_live_calls(
        &self,
        tx: &mut ShopTx,
        live: &[LiveJob],
    ) -> Result<Vec<Option<Uuid>>, DemoError> {
        let mut offers: HashMap<usize, Offer> = HashMap::new();
        let mut quotes = Vec::with_capacity(live.len());
        let span = FIRST_AGO - LAST_AGO;
        for (place, job) in (0_u64..).zip(live) {
            let Some(promised_on) = job.promised_on else {
                quotes.push(None);
                continue;
            };
            // The jobs that have come furthest were called for first.
            let later = span * place / u64::try_from(live.len()).unwrap_or(1).max(1);
            let on = self.worked_on(FIRST_AGO - later);
            let offer = match offers.get(&job.kind) {
                Some(offer) => offer.clone(),
                None => {
                    let kind = self.kinds.get(job.kind);
                    let kind = kind.ok_or_else(|| fault("no such kind"))?;
                    let (price, rates) = (self.donor_price(kind), self.rates(on)?);
                    let policy = self.policy(on);
                    let offer = self.pricing.offer(kind, price, &rates, &policy)?;
                    offers.insert(job.kind, offer.clone());
                    offer
                }
            };
            let mut rng = Pcg64::seed_from_u64(self.truth.seed ^ (0x11FE + place));
            let won = self.won(tx, (on, promised_on), (job, &offer), &mut rng);
            let won = won.await?;
            quotes.push(Some(self.write_call(tx, &won, &offer).await?));
        }
        Ok(quotes)
    }

    /// The call that a job comes from. Those for the same work that were not won before it are written.
    async fn won(
        &self,
        tx: &mut ShopTx,
        (on, promised_on): (NaiveDate, NaiveDate),
        (job, offer): (&LiveJob, &Offer),
        rng: &mut Pcg64,
    ) -> Result<Call, DemoError> {
        let confidence = self.policy(on).confidence_percent;
        let state = (WAITING * rng.random_range(0.8..1.2), confidence);
        let call = |rng: &mut Pcg64| {
            self.pricing
                .call((self.seed, on), offer, job.kind, state, rng)
        };
        let mut last = call(rng)?;
        for _ in 0..TRIES {
            if last.fate == Fate::Won {
                break;
            }
            self.write_call(tx, &last, offer).await?;
            last = call(rng)?;
        }
        let said = last.ready.get(confidence as usize).copied();
        let moved = said.map_or(0, |said| (promised_on - said).num_days());
        let moved_day = |day: &NaiveDate| {
            let day = *day + chrono::TimeDelta::days(moved);
            working_day(self.seed, day.max(on), 0)
        };
        Ok(Call {
            customer: job.customer.clone(),
            ready: last.ready.iter().map(moved_day).collect(),
            promised_on,
            fate: Fate::Won,
            decided: last.decided.min(self.morning()),
            ..last
        })
    }

    /// The last working day so many days ago or before.
    fn worked_on(&self, days_ago: u64) -> NaiveDate {
        let asked = self.ago(days_ago);
        let mut days = (0..30).filter_map(|back| asked.checked_sub_days(Days::new(back)));
        let found = days.find(|day| working_day(self.seed, *day, 0) == *day);
        found.unwrap_or(asked)
    }
}
