//! What the sightings of one variant say, all three models together, with how little is known in words.

use super::{Fate, Good, Price, PriceOpinion, Sighting, Unusable, Wait, Watch};
use crate::units::{Currency, Money};
use chrono::NaiveDate;
use rust_decimal::prelude::ToPrimitive;

/// How far out a price may be that is only borrowed from something else: a fifth to five times.
const BORROWED_FACTOR: f64 = 5.0;

/// What stands behind an outlook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evidence {
    /// Sightings up to today.
    pub sightings: u32,
    /// Acceptable ones within the watch: what the wait rests on.
    pub acceptable: u32,
    /// Acceptable ones with an asked price in the shop's currency: what the price rests on.
    pub priced: u32,
    /// Bought ones whose worth is known: what the chance of a good one rests on.
    pub bought: u32,
    /// Days of watch.
    pub days: u32,
    /// How much all that is, in words for the screen.
    pub note: String,
}

/// The three models of one variant and the evidence behind them.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// How long until the next worth having.
    pub wait: Wait,
    /// What it costs; `None` when no price was seen, the watch gives none and there was none to borrow.
    pub price: Option<Price>,
    /// Whether it is good.
    pub good: Good,
    /// What stands behind it.
    pub evidence: Evidence,
    currency: Currency,
}

impl Outlook {
    /// Reads the sightings of the watch's variant up to `today`, both days included.
    ///
    /// The wait counts acceptable sightings since the watch began only: those from before were remembered because
    /// they were there, and would make the part look commoner than it is. Price takes all acceptable ones with a price
    /// in `currency`, since those are the ones the shop would pay; the unacceptable are often so for their price.
    ///
    /// Without any price opinion in the watch the opinion is centred on the prices seen, or else on `borrowed`
    /// (what another way to the same block costs), and then very wide.
    ///
    /// # Errors
    /// [`Unusable`] when a figure of the watch cannot be used, with what is wrong.
    pub fn new(
        watch: &Watch,
        sightings: &[Sighting],
        today: NaiveDate,
        currency: Currency,
        borrowed: Option<Money>,
    ) -> Result<Self, Unusable> {
        let seen: Vec<&Sighting> = sightings
            .iter()
            .filter(|s| s.variant_id == watch.variant_id && s.seen_on <= today)
            .collect();
        let count = |test: &dyn Fn(&Sighting) -> bool| -> u32 {
            seen.iter()
                .filter(|s| test(s))
                .count()
                .try_into()
                .unwrap_or(u32::MAX)
        };
        let days = u32::try_from((today - watch.since).num_days().saturating_add(1)).unwrap_or(0);
        let acceptable = count(&|s| s.acceptable && s.seen_on >= watch.since);
        let good = count(&|s| s.fate == Fate::BoughtGood);
        let scrap = count(&|s| s.fate == Fate::BoughtScrap);
        let in_currency = |money: Money| (money.currency() == currency).then_some(money);
        let asked: Vec<i64> = seen
            .iter()
            .filter(|s| s.acceptable)
            .filter_map(|s| s.asked.and_then(in_currency)?.to_minor().ok())
            .filter(|&minor| minor > 0)
            .collect();
        let evidence = Evidence {
            sightings: count(&|_| true),
            acceptable,
            priced: asked.len().try_into().unwrap_or(u32::MAX),
            bought: good.saturating_add(scrap),
            days,
            note: note(acceptable, days),
        };
        let price = opinion(watch, &asked, currency, borrowed)?
            .map(|opinion| Price::new(opinion, &asked))
            .transpose()?;
        Ok(Self {
            wait: Wait::new(
                f64::from(watch.likely_wait_days),
                acceptable,
                f64::from(days),
            )?,
            price,
            good: Good::new(watch.good_percent, good, scrap)?,
            evidence,
            currency,
        })
    }

    /// The currency the prices are in.
    #[must_use]
    pub fn currency(&self) -> Currency {
        self.currency
    }

    /// The price not exceeded with chance `p`, if anything is known of prices.
    #[must_use]
    pub fn price_at(&self, p: f64) -> Option<Money> {
        let minor = self.price?.quantile(p).round().to_i64()?;
        Some(Money::from_minor(minor, self.currency))
    }
}

/// Where the opinion on price comes from: the watch, the middle of what was seen, or something borrowed.
fn opinion(
    watch: &Watch,
    asked: &[i64],
    currency: Currency,
    borrowed: Option<Money>,
) -> Result<Option<PriceOpinion>, Unusable> {
    let minor = |money: Money| {
        (money.currency() == currency)
            .then(|| money.to_minor().ok())
            .flatten()
            .and_then(|minor| minor.to_f64())
    };
    let stated = watch.price_factor.to_f64().unwrap_or(f64::NAN);
    if let Some(likely) = watch.likely_price {
        let likely_minor = minor(likely).ok_or_else(|| {
            Unusable::of(format!(
                "the likely price is not an amount of {}",
                currency.code()
            ))
        })?;
        return Ok(Some(PriceOpinion {
            likely_minor,
            factor: stated,
        }));
    }
    if asked.is_empty() {
        return Ok(borrowed
            .and_then(minor)
            .filter(|&m| m > 0.0)
            .map(|m| PriceOpinion {
                likely_minor: m,
                factor: BORROWED_FACTOR,
            }));
    }
    let logs = asked.iter().map(|&price| (price as f64).ln()).sum::<f64>();
    Ok(Some(PriceOpinion {
        likely_minor: (logs / asked.len() as f64).exp(),
        factor: stated,
    }))
}

/// How much the shop's own sightings are, in words.
fn note(acceptable: u32, days: u32) -> String {
    let watched = match days {
        0 => {
            return "No watch is kept, so nobody can say how rare it is. What stands here is opinion: it is very wide."
                .to_owned();
        }
        1 => "Watched for a day".to_owned(),
        d if d < 60 => format!("Watched for {d} days"),
        d if d < 730 => format!("Watched for {} months", d / 30),
        d => format!("Watched for {} years", d / 365),
    };
    let counted = match acceptable {
        0 => {
            "none worth having was seen. What stands here is opinion and little else: it is very wide."
        }
        1 => "one worth having was seen. One says very little: the answer is very wide.",
        2..=4 => "a handful worth having were seen. The answer is wide.",
        5..=14 => "enough worth having were seen to say roughly how long the next takes.",
        _ => "many worth having were seen: chance itself is now most of what is uncertain.",
    };
    format!("{watched}; {counted}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn gbp(amount: i64) -> Money {
        Money::new(amount.into(), Currency::from_code("GBP").unwrap())
    }

    fn seen(on: &str, asked: Option<Money>) -> Sighting {
        Sighting {
            asked,
            ..Sighting::new(Uuid::nil(), Uuid::nil(), day(on))
        }
    }

    fn outlook(watch: &Watch, sightings: &[Sighting], borrowed: Option<Money>) -> Outlook {
        let currency = gbp(0).currency();
        Outlook::new(watch, sightings, day("2026-06-30"), currency, borrowed).unwrap()
    }

    #[test]
    fn counts_only_what_bears_on_each_question() {
        let watch = Watch::new(Uuid::nil(), day("2026-01-01"), gbp(0).currency());
        let euros = Money::new(900.into(), Currency::from_code("EUR").unwrap());
        let mut dear = seen("2026-03-01", Some(gbp(9000)));
        dear.acceptable = false;
        let mut other = seen("2026-03-02", Some(gbp(5)));
        other.variant_id = Uuid::max();
        let mut scrap = seen("2025-06-01", Some(gbp(700)));
        scrap.fate = Fate::BoughtScrap;
        let sightings = [
            seen("2026-02-01", Some(gbp(1000))),
            seen("2026-04-01", Some(euros)),
            seen("2026-05-01", None),
            seen("2026-07-01", Some(gbp(1000))), // tomorrow
            dear,
            other,
            scrap, // before the watch
        ];
        let evidence = outlook(&watch, &sightings, None).evidence;
        assert_eq!(evidence.days, 181);
        assert_eq!(
            (
                evidence.sightings,
                evidence.acceptable,
                evidence.priced,
                evidence.bought
            ),
            (5, 3, 2, 1)
        );
    }

    #[test]
    fn with_nothing_known_it_says_so() {
        let watch = Watch::new(Uuid::nil(), day("2026-06-30"), gbp(0).currency());
        let empty = outlook(&watch, &[], None);
        assert_eq!(empty.price, None);
        assert!(empty.evidence.note.contains("very wide"));
        let borrowed = outlook(&watch, &[], Some(gbp(1000)));
        assert_eq!(
            borrowed.price_at(0.9).unwrap().rounded(),
            gbp(5000).rounded()
        );
        let early = Watch::new(Uuid::nil(), day("2026-07-30"), gbp(0).currency());
        assert_eq!(outlook(&early, &[], None).evidence.days, 0);
    }

    #[test]
    fn an_opinion_in_another_currency_is_refused() {
        let mut watch = Watch::new(Uuid::nil(), day("2026-01-01"), gbp(0).currency());
        watch.likely_price = Some(Money::new(900.into(), Currency::from_code("EUR").unwrap()));
        let tried = Outlook::new(&watch, &[], day("2026-06-30"), gbp(0).currency(), None);
        assert!(tried.unwrap_err().0.contains("GBP"));
    }
}
