//! Whole futures of a hunt: search, buy, carry home, inspect, and search again when it was scrap.

use super::{Fate, Good, Outlook, Price, Sighting, Unusable, Wait, Watch};
use crate::units::Money;
use chrono::NaiveDate;
use rand::{Rng, RngExt};
use rand_distr::{Distribution, Exp1};
use rust_decimal::prelude::ToPrimitive;

/// No future is followed further than this, in days: five years.
pub const HORIZON_DAYS: f64 = 5.0 * 365.0;
/// Offers that are left in one future because they go beyond the budget; after so many none within it is expected.
const MOST_LEFT: u32 = 1_000;
/// A shop that bought this many bad ones stops buying. Common practice, no source.
pub const GIVE_UP_AFTER: u32 = 10;

/// How far the customer lets a hunt go.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// The most to spend on castings and their carriage, bad ones included, in minor units. What would go beyond it is
    /// left.
    pub budget_minor: Option<i64>,
    /// Days after which the search ends, at most [`HORIZON_DAYS`].
    pub days: Option<f64>,
}

/// One that is for sale today, as far as is known.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Offer {
    /// Asked price in minor units, if one was named.
    asked: Option<i64>,
    /// Chance that it is still there.
    still_there: f64,
}

/// A hunt for one good casting: what is known and what looking costs.
///
/// In one future the rate of arrival, the share of good ones and the level of prices are each drawn once and shared
/// by all its purchases, since they are unknown rather than different each time: a future in which the first took
/// long is one in which the second will too. Offers open today are tried first, newest first; an offer seen `d` days
/// ago is still there with chance exp(−d / days an offer stays open). One that asks more than [`Price::most`], or would go
/// beyond the [`Limits`], is left.
#[derive(Debug, Clone, PartialEq)]
pub struct Hunt {
    outlook: Outlook,
    wait: Wait,
    good: Good,
    price: Price,
    offers: Vec<Offer>,
    search_minor_a_day: f64,
    carriage_minor: i64,
    carriage_days: f64,
    /// Most to spend on castings and carriage, minor units.
    budget: i64,
    /// Days after which the search ends.
    ends_after: f64,
}

/// One future of a hunt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HuntFuture {
    /// Days until a good one is in the shop; `None` when none was found within the limits and [`HORIZON_DAYS`], or the
    /// shop gave up after [`GIVE_UP_AFTER`] bad ones.
    pub days: Option<f64>,
    /// What was spent by then, by what it went on.
    pub spent: Spent,
    /// Bought.
    pub bought: u32,
    /// Bought and found to be scrap.
    pub failed: u32,
}

/// What the money of one future of a hunt went on, in minor units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Spent {
    /// Price of the good one; nothing when none was found.
    pub good_minor: i64,
    /// Prices of those that proved bad.
    pub bad_minor: i64,
    /// Carriage of all.
    pub carriage_minor: i64,
    /// Hours of search.
    pub search_minor: i64,
}

impl Spent {
    /// All of it, in minor units.
    #[must_use]
    pub fn total_minor(&self) -> i64 {
        self.castings_minor().saturating_add(self.search_minor)
    }

    /// What castings and their carriage cost, in minor units.
    #[must_use]
    pub fn castings_minor(&self) -> i64 {
        self.good_minor
            .saturating_add(self.bad_minor)
            .saturating_add(self.carriage_minor)
    }
}

impl HuntFuture {
    /// All that was spent, in minor units.
    #[must_use]
    pub fn spent_minor(&self) -> i64 {
        self.spent.total_minor()
    }
}

impl Hunt {
    /// From a watch, its outlook, the sightings (for those still for sale) and what an hour of search costs. It has no
    /// limits but its own; see [`Hunt::within`].
    ///
    /// # Errors
    /// [`Unusable`] when nothing at all is known of prices, or amounts are of mixed currencies or out of range.
    pub fn new(
        watch: &Watch,
        outlook: Outlook,
        sightings: &[Sighting],
        today: NaiveDate,
        search_hour: Money,
    ) -> Result<Self, Unusable> {
        let currency = outlook.currency();
        let minor = |what: &str, money: Money| {
            (money.currency() == currency)
                .then(|| money.to_minor().ok())
                .flatten()
                .filter(|&minor| minor >= 0)
                .ok_or_else(|| {
                    Unusable::of(format!("{what} is not an amount of {}", currency.code()))
                })
        };
        let price = outlook.price.ok_or_else(|| {
            Unusable::of("no price was seen and no likely price is given: set one under Market")
        })?;
        let hours = watch
            .search_hours_a_week
            .to_f64()
            .filter(|hours| (0.0..=168.0).contains(hours))
            .ok_or_else(|| Unusable::of("search hours a week must be between 0 and 168"))?;
        let mut open: Vec<&Sighting> = sightings
            .iter()
            .filter(|s| s.variant_id == watch.variant_id && s.seen_on <= today)
            .filter(|s| s.acceptable && s.fate == Fate::Open)
            .collect();
        open.sort_by_key(|s| std::cmp::Reverse(s.seen_on));
        let stays = f64::from(watch.offer_days.max(1));
        let offers = open
            .iter()
            .map(|s| Offer {
                asked: s
                    .asked
                    .filter(|money| money.currency() == currency)
                    .and_then(|money| money.to_minor().ok()),
                still_there: (-((today - s.seen_on).num_days() as f64) / stays).exp(),
            })
            .filter(|offer| offer.asked.is_none_or(|asked| asked as f64 <= price.most()))
            .collect();
        Ok(Self {
            wait: outlook.wait,
            good: outlook.good,
            price,
            offers,
            search_minor_a_day: hours / 7.0 * minor("the rate of search", search_hour)? as f64,
            carriage_minor: minor("carriage", watch.carriage)?,
            carriage_days: f64::from(watch.carriage_days),
            budget: i64::MAX,
            ends_after: HORIZON_DAYS,
            outlook,
        })
    }

    /// The same hunt within limits.
    #[must_use]
    pub fn within(mut self, limits: Limits) -> Self {
        self.budget = limits.budget_minor.unwrap_or(i64::MAX);
        self.ends_after = limits
            .days
            .map_or(HORIZON_DAYS, |days| days.clamp(0.0, HORIZON_DAYS));
        self
    }

    /// What it rests on.
    #[must_use]
    pub fn outlook(&self) -> &Outlook {
        &self.outlook
    }

    /// Carriage of one, in minor units.
    #[must_use]
    pub fn carriage_minor(&self) -> i64 {
        self.carriage_minor
    }

    /// Draws one future.
    pub fn sample<R: Rng + ?Sized>(&self, rng: &mut R) -> HuntFuture {
        let rate = self.wait.sample_rate(rng);
        let good = self.good.sample(rng);
        let level = self.price.sample_level(rng);
        let mut offers = self.offers.iter();
        let (mut days, mut searched, mut bought, mut left) = (0.0_f64, 0.0_f64, 0_u32, 0_u32);
        let mut spent = Spent::default();
        let mut found = false;
        while bought < GIVE_UP_AFTER {
            let offer = offers.find(|offer| rng.random::<f64>() < offer.still_there);
            let asked = match offer {
                Some(offer) => offer.asked,
                None => {
                    let gap: f64 = Exp1.sample(rng);
                    let wait = (gap / rate).min(self.ends_after - days);
                    days += wait;
                    searched += wait;
                    None
                }
            };
            if days >= self.ends_after {
                break;
            }
            let price = asked.unwrap_or_else(|| level.sample(rng));
            let with_carriage = price.saturating_add(self.carriage_minor);
            let castings = spent.castings_minor().saturating_add(with_carriage);
            if castings > self.budget {
                left += 1;
                if left > MOST_LEFT {
                    break;
                }
                continue;
            }
            bought += 1;
            days += self.carriage_days;
            spent.carriage_minor = spent.carriage_minor.saturating_add(self.carriage_minor);
            found = rng.random::<f64>() < good;
            let paid = if found {
                &mut spent.good_minor
            } else {
                &mut spent.bad_minor
            };
            *paid = paid.saturating_add(price);
            if found || days >= self.ends_after {
                break;
            }
        }
        spent.search_minor = (searched * self.search_minor_a_day).round() as i64;
        HuntFuture {
            days: found.then_some(days),
            spent,
            bought,
            failed: bought - u32::from(found),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sourcing::Inspected;
    use crate::units::Currency;
    use rand::SeedableRng;
    use rust_decimal::Decimal;
    use uuid::Uuid;

    const N: u32 = 40_000;

    fn gbp(amount: i64) -> Money {
        Money::new(amount.into(), Currency::from_code("GBP").unwrap())
    }

    fn today() -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 12, 31).unwrap()
    }

    fn watch() -> Watch {
        Watch {
            likely_price: Some(gbp(900)),
            carriage: gbp(60),
            carriage_days: 0,
            ..Watch::new(
                Uuid::nil(),
                today() - chrono::Days::new(364),
                gbp(0).currency(),
            )
        }
    }

    fn seen(days_ago: u64, fate: Fate) -> Sighting {
        Sighting {
            fate,
            asked: Some(gbp(1000)),
            ..Sighting::new(
                Uuid::nil(),
                Uuid::nil(),
                today() - chrono::Days::new(days_ago),
            )
        }
    }

    fn hunt(watch: &Watch, sightings: &[Sighting]) -> Hunt {
        let (currency, none) = (gbp(0).currency(), Inspected::default());
        let outlook = Outlook::new(watch, sightings, today(), currency, none).unwrap();
        Hunt::new(watch, outlook, sightings, today(), gbp(40)).unwrap()
    }

    fn futures(hunt: &Hunt) -> Vec<HuntFuture> {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(3);
        (0..N).map(|_| hunt.sample(&mut rng)).collect()
    }

    /// With nearly every one good, the first found is the last bought, and its wait is Lomax.
    #[test]
    fn the_first_arrival_is_lomax() {
        let mut sightings = vec![seen(300, Fate::BoughtGood); 400];
        for sighting in &mut sightings {
            sighting.seen_on = today() - chrono::Days::new(1000); // before the watch: good ones, no arrivals
        }
        sightings.extend((1..=4).map(|i| seen(i * 60, Fate::SoldElsewhere)));
        let hunt = hunt(&watch(), &sightings);
        for days in [30.0, 120.0, 365.0] {
            let within = futures(&hunt)
                .iter()
                .filter(|f| f.days.is_some_and(|d| d <= days))
                .count();
            // Four standard errors are 0.01; that one bought in 800 may be scrap adds less than 0.002.
            let share = within as f64 / f64::from(N);
            assert!(
                (share - hunt.wait.chance_within(days)).abs() < 0.012,
                "{days}: {share}"
            );
        }
    }

    /// E[1/p] of the Beta against the number bought; common arrivals, so that the horizon does not cut any off.
    #[test]
    fn purchases_are_as_many_as_the_beta_says() {
        let mut sightings = vec![seen(100, Fate::BoughtGood); 6];
        sightings.extend(vec![seen(50, Fate::BoughtScrap); 2]);
        sightings.extend(vec![seen(10, Fate::SoldElsewhere); 500]);
        let hunt = hunt(&watch(), &sightings);
        let futures = futures(&hunt);
        let bought: u32 = futures.iter().map(|f| f.bought).sum();
        let mean = f64::from(bought) / f64::from(N);
        // Giving up after ten cuts a little off: 0.02 covers it and four standard errors.
        assert!(
            (mean - 1.0 - hunt.good.expected_failures(GIVE_UP_AFTER)).abs() < 0.02,
            "{mean}"
        );
        assert!(
            futures
                .iter()
                .all(|f| f.failed + u32::from(f.days.is_some()) == f.bought)
        );
    }

    #[test]
    fn every_purchase_costs_its_price_and_carriage_and_waiting_costs_hours() {
        let mut watch = watch();
        watch.search_hours_a_week = Decimal::from(7);
        watch.good_percent = 99;
        // One for sale since today at 1,000: it is certainly still there, so nothing is searched for it.
        let hunt = hunt(&watch, &[seen(0, Fate::Open)]);
        for f in futures(&hunt)
            .iter()
            .filter(|f| f.bought == 1 && f.failed == 0)
        {
            assert_eq!(f.spent_minor(), 106_000);
            assert_eq!(f.days, Some(0.0));
        }
        // An hour a day at 40 for the whole horizon, nothing bought.
        watch.since = today();
        let rare = super::tests::hunt(&watch, &[]);
        let empty = futures(&rare)
            .into_iter()
            .find(|f| f.bought == 0)
            .expect("with nothing seen some futures find none in five years");
        assert_eq!((empty.days, empty.spent_minor()), (None, 4000 * 1825));
    }

    /// Two are for sale today, at 1,000 and at 1,100; what is sold, not worth having, of another kind or not seen yet is not
    /// among them. Each is a week and 60 away, and nothing is searched for either.
    #[test]
    fn offers_are_tried_one_after_the_other_and_carried_home_each() {
        let mut watch = watch();
        watch.carriage_days = 7;
        watch.good_percent = 50;
        watch.search_hours_a_week = Decimal::from(7);
        let offer = |pounds, change: fn(&mut Sighting)| {
            let mut one = seen(0, Fate::Open);
            one.asked = Some(gbp(pounds));
            change(&mut one);
            one
        };
        let hunt = hunt(
            &watch,
            &[
                offer(900, |s| s.fate = Fate::SoldElsewhere),
                offer(950, |s| s.acceptable = false),
                offer(970, |s| s.variant_id = Uuid::max()),
                offer(980, |s| s.seen_on = today() + chrono::Days::new(1)),
                offer(1000, |_| {}),
                offer(1100, |_| {}),
            ],
        );
        let all = futures(&hunt);
        let with = |bought, failed| {
            all.iter()
                .filter(move |f| (f.bought, f.failed) == (bought, failed))
        };
        let spent = |good_minor, bad_minor, carriage_minor| Spent {
            good_minor,
            bad_minor,
            carriage_minor,
            search_minor: 0,
        };
        assert!(with(1, 0).count() > 0 && with(2, 1).count() > 0 && with(3, 2).count() > 0);
        for f in with(1, 0) {
            assert_eq!((f.days, f.spent), (Some(7.0), spent(100_000, 0, 6_000)));
        }
        for f in with(2, 1) {
            assert_eq!(
                (f.days, f.spent),
                (Some(14.0), spent(110_000, 100_000, 12_000))
            );
        }
        // The third has to be found: an hour of search a day at 40, besides the three weeks of carriage.
        for f in with(3, 2) {
            let searched = f.days.unwrap() - 21.0;
            assert!(searched > 0.0 && f.spent.carriage_minor == 18_000);
            assert!((f.spent.search_minor as f64 - 4_000.0 * searched).abs() < 0.51);
        }
        // After ten bad ones the shop has enough.
        assert!(all.iter().all(|f| f.bought <= GIVE_UP_AFTER));
        assert!(with(10, 10).all(|f| f.days.is_none() && f.spent.good_minor == 0));
    }

    /// A customer's limits are kept in every future; within them fewer find one.
    #[test]
    fn the_customers_limits_are_kept() {
        let free = hunt(&watch(), &[seen(30, Fate::SoldElsewhere)]);
        let limits = Limits {
            budget_minor: Some(90_000),
            days: Some(60.0),
        };
        let bound = free.clone().within(limits);
        let found = |hunt: &Hunt| futures(hunt).iter().filter(|f| f.days.is_some()).count();
        for f in futures(&bound) {
            assert!(f.spent.good_minor + f.spent.bad_minor + f.spent.carriage_minor <= 90_000);
            assert!(f.days.is_none_or(|days| days < 60.0));
        }
        assert!(found(&bound) > 0 && found(&bound) < found(&free) / 2);
    }

    #[test]
    fn an_old_offer_is_likely_gone() {
        let watch = watch();
        let old = hunt(&watch, &[seen(14, Fate::Open)]);
        let at_once = futures(&old).iter().filter(|f| f.days == Some(0.0)).count();
        let expected = (-1.0_f64).exp() * old.good.chance();
        assert!((at_once as f64 / f64::from(N) - expected).abs() < 0.012);
    }

    /// Shared rates make waits within one future alike: a long first wait foretells a long second.
    #[test]
    fn nothing_seen_is_wider_than_much_seen() {
        let spread = |hunt: &Hunt| {
            let mut spent: Vec<i64> = futures(hunt).iter().map(|f| f.spent_minor()).collect();
            spent.sort_unstable();
            spent[spent.len() * 9 / 10] as f64 / spent[spent.len() / 10] as f64
        };
        let mut fresh = watch();
        fresh.since = today();
        let many: Vec<Sighting> = (1..=12)
            .map(|i| seen(i * 30, Fate::SoldElsewhere))
            .collect();
        assert!(spread(&hunt(&fresh, &[])) > 1.5 * spread(&hunt(&watch(), &many)));
    }

    #[test]
    fn no_price_at_all_is_refused_in_words() {
        let mut watch = watch();
        watch.likely_price = None;
        let (currency, none) = (gbp(0).currency(), Inspected::default());
        let outlook = Outlook::new(&watch, &[], today(), currency, none).unwrap();
        let refused = Hunt::new(&watch, outlook, &[], today(), gbp(40)).unwrap_err();
        assert!(refused.0.contains("likely price"));
    }
}
