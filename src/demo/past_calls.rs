//! The calls of the past year: what was quoted, on which day it was promised, and what became of it.

use super::draw::{self, Kind};
use super::past_truth::PastFile;
use super::seed::{Seed, SeedError};
use crate::enquiry::answer::{
    Answer, Figures, OptionAnswer, OptionKind, Outcome, SearchTerms, Terms,
};
use crate::enquiry::bargain::Percentiles;
use crate::enquiry::quote::{CheckedQuote, NewQuote, OfferTerms};
use crate::enquiry::range::{PriceRange, ReadyRange};
use crate::enquiry::{SearchLimits, say};
use crate::estimating::futures::rank;
use crate::estimating::variation::Worlds;
use crate::estimating::{CostBuildUp, CostSampler, Costing, Donor, Policy, Rates, Variation};
use crate::units::{Code, Currency, Money, plain};
use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use uuid::Uuid;

/// What became of a quote.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Fate {
    Won,
    Lost(String),
    Lapsed,
}

/// A call with its quote.
#[derive(Debug, Clone)]
pub(super) struct Call {
    /// Index of the kind of work.
    pub(super) kind: usize,
    pub(super) customer: String,
    pub(super) at: DateTime<Utc>,
    pub(super) net: Money,
    /// What was worked out, before the haggling.
    pub(super) usual: Money,
    pub(super) confidence: u32,
    /// The percentiles of the day it is ready.
    pub(super) ready: Vec<NaiveDate>,
    pub(super) promised_on: NaiveDate,
    /// What was said of finding one instead; of conversions only.
    pub(super) hunt: Option<Hunt>,
    pub(super) fate: Fate,
    pub(super) decided: DateTime<Utc>,
}

/// What was said of finding one: percentiles of its price, minor units, and of its day.
#[derive(Debug, Clone)]
pub(super) struct Hunt {
    price: Vec<i64>,
    ready: Vec<NaiveDate>,
}

/// What one kind of work is quoted at, at one set of rates and one confidence.
#[derive(Debug, Clone)]
pub(super) struct Offer {
    pub(super) build_up: CostBuildUp,
    price: PriceRange,
    full_cost: Vec<i64>,
}

/// What prices are made with.
#[derive(Debug)]
pub(super) struct Pricing<'a> {
    pub(super) truth: &'a PastFile,
    pub(super) kinds: &'a [Kind],
    pub(super) currency: Currency,
    pub(super) zone: Tz,
}

fn fault(why: impl std::fmt::Display) -> SeedError {
    SeedError {
        file: "past.toml",
        why: why.to_string(),
    }
}

/// `share` of the way through what is sorted.
fn percentiles<T: Copy>(sorted: &[T]) -> Vec<T> {
    (0..=100)
        .filter_map(|percent| sorted.get(rank(percent, sorted.len())).copied())
        .collect()
}

impl Pricing<'_> {
    /// What a kind of work is quoted at.
    pub(super) fn offer(
        &self,
        kind: &Kind,
        donor: Option<Money>,
        rates: &Rates,
        policy: &Policy,
    ) -> Result<Offer, SeedError> {
        let costing = Costing {
            route: &kind.route,
            rates,
            policy,
            donor: donor.map(|price| Donor {
                price,
                failures: Decimal::new(22, 2),
                another: None,
            }),
        };
        let sampler = CostSampler::new(&costing).map_err(fault)?;
        let times = kind.route.sampler().map_err(fault)?;
        let worlds = Worlds::new(self.truth.seed, Variation::default().shares());
        let mut minutes = vec![0.0; kind.route.operations.len()];
        let mut direct: Vec<i64> = (0..u64::from(self.truth.quotes.futures))
            .map(|k| {
                times.sample_in(&worlds.world(k), 1, &[], &mut minutes);
                sampler.direct(&minutes, 0)
            })
            .collect();
        let build_up = CostBuildUp::of_futures(&costing, Vec::new(), &direct).map_err(fault)?;
        direct.sort_unstable();
        let priced = |minor: &i64| -> Result<i64, SeedError> {
            let price = policy.price(Money::from_minor(*minor, self.currency));
            price.map_err(fault)?.rounded().to_minor().map_err(fault)
        };
        let prices = direct.iter().map(priced).collect::<Result<Vec<_>, _>>()?;
        let full = |minor: &i64| -> Result<i64, SeedError> {
            let cost = Money::from_minor(*minor, self.currency);
            let over = cost.percent(policy.overhead_percent).map_err(fault)?;
            let full = cost.plus(over).map_err(fault)?;
            full.rounded().to_minor().map_err(fault)
        };
        Ok(Offer {
            price: PriceRange::of(&prices, policy, self.currency)
                .ok_or_else(|| fault("no futures"))?,
            full_cost: percentiles(&direct)
                .iter()
                .map(full)
                .collect::<Result<_, _>>()?,
            build_up,
        })
    }

    /// A call on a day, when so many standard minutes of work are before it.
    pub(super) fn call(
        &self,
        (seed, on): (&Seed, NaiveDate),
        offer: &Offer,
        kind: usize,
        (waiting, confidence): (f64, u32),
        rng: &mut Pcg64,
    ) -> Result<Call, SeedError> {
        let truth = &self.truth.quotes;
        let names = &seed.jobs.customers.names;
        let customer = names.get(rng.random_range(0..names.len().max(1)));
        let normal = |rng: &mut Pcg64| -> f64 { StandardNormal.sample(rng) };
        let usual = offer.build_up.net;
        let over = (truth.haggle_cv * normal(rng)).exp();
        // Asked in round fives, as one does on the phone.
        let fives = Decimal::from_f64(plain(usual.amount()) * over / 5.0).unwrap_or_default();
        let net = Money::new(fives.round() * Decimal::from(5), self.currency);
        let route = self.kinds.get(kind).map(|kind| &kind.route);
        let own = route.map_or(0.0, |route| {
            let minutes = |o: &crate::estimating::Operation| {
                plain(o.setup.0 + o.run.0 * o.attended_share)
                    + o.outside.map_or(0.0, |(_, days)| f64::from(days) * 300.0)
            };
            route.operations.iter().map(minutes).sum::<f64>() / 400.0
        });
        // Three people, one of them in the mornings only, and not every minute is booked.
        let queue = waiting / 900.0;
        let mut days: Vec<f64> = (0..truth.futures)
            .map(|_| {
                let queue = queue * truth.queue_share * (truth.queue_cv * normal(rng)).exp();
                let own = own * truth.own_days * (truth.own_cv * normal(rng)).exp();
                truth.days_more + queue + own
            })
            .collect();
        days.sort_by(f64::total_cmp);
        let ready: Vec<NaiveDate> = percentiles(&days)
            .into_iter()
            .map(|days| self.working_days_on(seed, on, days))
            .collect();
        let converts = self.kinds.get(kind).is_some_and(|k| k.conversion.is_some());
        let hunt = converts.then(|| self.hunt((seed, on), usual));
        let promised_on = ready.get(confidence as usize).copied().unwrap_or(on);
        let time = NaiveTime::from_hms_opt(9 + rng.random_range(0..7), rng.random_range(0..60), 0);
        let at = self.at(on, time.unwrap_or_default());
        let after = rng.random_range(1..=truth.decide_days);
        let decided_on = on.checked_add_days(Days::new(after)).unwrap_or(on);
        let decided = self.at(
            decided_on,
            NaiveTime::from_hms_opt(10, 5, 0).unwrap_or_default(),
        );
        let ratio = plain(net.amount()) / plain(usual.amount()).max(1.0);
        let wins = 1.0 / (1.0 + (-(truth.level - truth.price * ratio.ln())).exp());
        let fate = if rng.random_bool(wins.clamp(0.0, 1.0)) {
            Fate::Won
        } else if rng.random_bool(truth.lapse) {
            Fate::Lapsed
        } else {
            Fate::Lost(self.why(ratio > 1.0, rng))
        };
        let decided = match fate {
            Fate::Lapsed => self.at(
                on.checked_add_days(Days::new(31)).unwrap_or(on),
                NaiveTime::default(),
            ),
            _ => decided,
        };
        Ok(Call {
            kind,
            customer: customer.cloned().unwrap_or_default(),
            at,
            net,
            usual,
            confidence,
            ready,
            promised_on,
            hunt,
            fate,
            decided,
        })
    }

    /// What was said of finding one, when a conversion was worked out at `usual`.
    fn hunt(&self, (seed, on): (&Seed, NaiveDate), usual: Money) -> Hunt {
        let truth = &self.truth.quotes;
        // By the day, so that nothing else of the year depends on it.
        let day = u64::from(on.num_days_from_ce().unsigned_abs());
        let mut rng = Pcg64::seed_from_u64(self.truth.seed ^ day);
        let middle = plain(usual.amount()) * truth.hunt_price;
        let mut drawn = |middle: f64, cv: f64| -> Vec<f64> {
            let mut all: Vec<f64> = (0..truth.futures)
                .map(|_| {
                    let normal: f64 = StandardNormal.sample(&mut rng);
                    middle * (cv * normal).exp()
                })
                .collect();
            all.sort_by(f64::total_cmp);
            percentiles(&all)
        };
        let price = drawn(middle, truth.hunt_price_cv);
        let days = drawn(truth.hunt_days, truth.hunt_days_cv);
        let minor = |price: f64| {
            let price = Decimal::from_f64(price).unwrap_or_default();
            Money::new(price, self.currency).rounded().to_minor().ok()
        };
        let day = |days: f64| draw::working_day(seed, on, days.ceil().to_u32().unwrap_or(0));
        Hunt {
            price: price.into_iter().filter_map(minor).collect(),
            ready: days.into_iter().map(day).collect(),
        }
    }

    fn why(&self, dear: bool, rng: &mut Pcg64) -> String {
        let reasons = self.truth.quotes.lost.iter();
        let reasons: Vec<_> = reasons.filter(|reason| dear || !reason.dear).collect();
        let all: u32 = reasons.iter().map(|reason| reason.weight).sum();
        let mut drawn = rng.random_range(0..all.max(1));
        let found = reasons.iter().find(|reason| {
            let found = drawn < reason.weight;
            drawn = drawn.saturating_sub(reason.weight);
            found
        });
        found.map_or_else(String::new, |reason| reason.why.clone())
    }

    fn working_days_on(&self, seed: &Seed, from: NaiveDate, days: f64) -> NaiveDate {
        // Five working days are seven of the calendar.
        let days = (days * 1.4).ceil().to_u32().unwrap_or(0);
        draw::working_day(seed, from, days)
    }

    fn at(&self, day: NaiveDate, time: NaiveTime) -> DateTime<Utc> {
        self.zone
            .from_local_datetime(&day.and_time(time))
            .earliest()
            .map_or_else(DateTime::default, |at| at.with_timezone(&Utc))
    }

    /// What was quoted in a call, after the haggling.
    fn agreed(
        &self,
        call: &Call,
        offer: &Offer,
        policy: &Policy,
    ) -> Result<CostBuildUp, SeedError> {
        let mut build_up = offer.build_up.clone();
        let more = call.net.minus(call.usual).map_err(fault)?;
        if let Some(margin) = build_up.lines.iter_mut().find(|l| l.label == "Margin") {
            margin.amount = margin.amount.plus(more).map_err(fault)?;
            margin.how = "what is left of the price agreed on the phone".to_owned();
        }
        build_up.net = call.net;
        let tax = call.net.percent(policy.tax_percent).map_err(fault)?;
        build_up.tax = tax.rounded();
        build_up.gross = build_up.net.plus(build_up.tax).map_err(fault)?;
        Ok(build_up)
    }

    /// Finding one, as it stood beside the conversion.
    fn found(&self, hunt: &Hunt, confidence: u32, kind: &Kind) -> OptionAnswer {
        let moment = |at: usize| {
            let day = hunt.ready.get(at)?;
            Some(self.at(*day, NaiveTime::from_hms_opt(16, 0, 0)?))
        };
        let price = |at: usize| {
            let minor = hunt.price.get(at).copied().unwrap_or_default();
            Money::from_minor(minor, self.currency)
        };
        let sure = confidence as usize;
        let (low, likely, high) = (price(10), price(50), price(90));
        let figures = Figures {
            compared: likely,
            price: PriceRange {
                low,
                likely,
                high,
                at_confidence: price(sure),
            },
            build_up: CostBuildUp {
                lines: Vec::new(),
                net: likely,
                tax: Money::zero(self.currency),
                gross: likely,
            },
            terms: Terms::Search(SearchTerms {
                fee: Money::zero(self.currency),
                handling_percent: Decimal::ZERO,
                work: Money::zero(self.currency),
                limits: SearchLimits::default(),
                found_percent: 99,
            }),
            ready: ReadyRange {
                earliest: moment(0),
                early: moment(10),
                likely: moment(50),
                late: moment(90),
                at_confidence: moment(sure),
            },
            ready_day: hunt.ready.get(sure).copied(),
            in_time_percent: None,
            never_percent: 0,
            percentiles: Percentiles {
                full_cost: Vec::new(),
                ready: hunt.ready.iter().copied().map(Some).collect(),
            },
            lacks: Vec::new(),
            machines: Vec::new(),
            route: kind.route.clone(),
            conversion: None,
            related: None,
        };
        OptionAnswer {
            key: OptionKind::Hunt.code().to_owned(),
            kind: OptionKind::Hunt,
            title: format!("Find {}", say::a(&kind.wanted)),
            casting: None,
            risks: Vec::new(),
            outcome: Outcome::Possible(Box::new(figures)),
            sentence: String::new(),
        }
    }

    /// The option of an answer that was taken.
    fn option(
        &self,
        call: &Call,
        (kind, offer): (&Kind, &Offer),
        build_up: CostBuildUp,
        said: &str,
    ) -> OptionAnswer {
        let moment = |at: usize| {
            let day = call.ready.get(at)?;
            Some(self.at(*day, NaiveTime::from_hms_opt(16, 0, 0)?))
        };
        let figures = Figures {
            price: offer.price.clone(),
            build_up,
            terms: Terms::Fixed,
            compared: call.net,
            ready: ReadyRange {
                earliest: moment(0),
                early: moment(10),
                likely: moment(50),
                late: moment(90),
                at_confidence: moment(call.confidence as usize),
            },
            ready_day: Some(call.promised_on),
            in_time_percent: None,
            never_percent: 0,
            percentiles: Percentiles {
                full_cost: offer.full_cost.clone(),
                ready: call.ready.iter().copied().map(Some).collect(),
            },
            lacks: Vec::new(),
            machines: Vec::new(),
            route: kind.route.clone(),
            conversion: None,
            related: None,
        };
        let (kind, title) = match &kind.conversion {
            Some(conversion) => (
                OptionKind::ConvertBought,
                format!("Buy a {} and convert it", conversion.donor_name),
            ),
            None => (
                OptionKind::Repair,
                "Repair the customer’s own block".to_owned(),
            ),
        };
        OptionAnswer {
            key: kind.code().replace('_', "-"),
            kind,
            title,
            casting: None,
            risks: Vec::new(),
            outcome: Outcome::Possible(Box::new(figures)),
            sentence: said.to_owned(),
        }
    }

    /// The quote of a call with the answer that it was given from.
    pub(super) fn quote(
        &self,
        call: &Call,
        offer: &Offer,
        enquiry_id: Uuid,
        policy: &Policy,
        valid_days: u64,
    ) -> Result<CheckedQuote, SeedError> {
        let kind = self
            .kinds
            .get(call.kind)
            .ok_or_else(|| fault("no such kind"))?;
        let build_up = self.agreed(call, offer, policy)?;
        let said = format!("{} before tax, ready by {}.", call.net, call.promised_on);
        let option = self.option(call, (kind, offer), build_up.clone(), &said);
        let option_kind = option.kind.code().to_owned();
        let hunt = call.hunt.as_ref();
        let hunt = hunt.map(|hunt| self.found(hunt, call.confidence, kind));
        let answer = Answer {
            wanted: kind.wanted.clone(),
            wanted_by: None,
            at: call.at,
            confidence_percent: call.confidence,
            day_share_percent: None,
            futures: self.truth.quotes.futures,
            recommended: Some(option.key.clone()),
            options: std::iter::once(option).chain(hunt).collect(),
            comparison: None,
            in_time: None,
            plan: None,
            sentence: said.clone(),
        };
        let on = call.at.with_timezone(&self.zone).date_naive();
        let new = NewQuote {
            enquiry_id,
            option_kind,
            title: kind.title.clone(),
            casting_id: None,
            valid_until: on.checked_add_days(Days::new(valid_days)).unwrap_or(on),
            promised_on: Some(call.promised_on),
            net: build_up.net,
            tax: build_up.tax,
            gross: build_up.gross,
            lines: build_up.lines,
            answer: serde_json::to_value(answer).map_err(fault)?,
            route: kind.route.clone(),
            offered_on: OfferTerms {
                said,
                reason: "Agreed on the phone".to_owned(),
                ..OfferTerms::default()
            },
            request_key: None,
        };
        new.checked().map_err(fault)
    }
}
