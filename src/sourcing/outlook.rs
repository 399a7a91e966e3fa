//! What the sightings of one variant say, all three models together, with how little is known in words.

use super::{Fate, Good, Price, PriceOpinion, Sighting, Unusable, Wait, Watch};
use crate::units::{Currency, Money};
use chrono::NaiveDate;
use rust_decimal::prelude::ToPrimitive;

/// Castings of one variant that the shop has inspected and that are not among the sightings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Inspected {
    /// Found good.
    pub good: u32,
    /// Found bad.
    pub bad: u32,
}

/// What stands behind an outlook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evidence {
    /// Sightings up to today.
    pub sightings: u32,
    /// Acceptable ones within the watch: what the wait rests on.
    pub acceptable: u32,
    /// Acceptable ones with an asked price in the shop's currency: what the price rests on.
    pub priced: u32,
    /// Those whose worth is known, bought or inspected: what the chance of a good one rests on.
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
    /// What it costs; `None` when no price was seen and the watch gives none.
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
    /// Without any price opinion in the watch the opinion is centred on the prices seen; with neither there is no price.
    /// Whether one is good takes all whose worth is known: the bought ones among the sightings, and the other castings
    /// that the shop has `inspected`.
    ///
    /// # Errors
    /// [`Unusable`] when a figure of the watch cannot be used, with what is wrong.
    pub fn new(
        watch: &Watch,
        sightings: &[Sighting],
        today: NaiveDate,
        currency: Currency,
        inspected: Inspected,
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
        let good = count(&|s| s.fate == Fate::BoughtGood).saturating_add(inspected.good);
        let scrap = count(&|s| s.fate == Fate::BoughtScrap).saturating_add(inspected.bad);
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
        let price = opinion(watch, &asked, currency)?
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

/// Where the opinion on price comes from: the watch, or the middle of what was seen.
fn opinion(
    watch: &Watch,
    asked: &[i64],
    currency: Currency,
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
        return Ok(None);
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

    fn outlook(watch: &Watch, sightings: &[Sighting]) -> Outlook {
        let (currency, none) = (gbp(0).currency(), Inspected::default());
        Outlook::new(watch, sightings, day("2026-06-30"), currency, none).unwrap()
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
        let evidence = outlook(&watch, &sightings).evidence;
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
        let empty = outlook(&watch, &[]);
        assert_eq!(empty.price, None);
        assert!(empty.evidence.note.contains("very wide"));
        let early = Watch::new(Uuid::nil(), day("2026-07-30"), gbp(0).currency());
        assert_eq!(outlook(&early, &[]).evidence.days, 0);
    }

    /// The opinion is then centred on the geometric mean of what was asked, √(400 · 900) = 600.
    #[test]
    fn without_an_opinion_the_middle_of_the_prices_seen_is_taken() {
        let watch = Watch::new(Uuid::nil(), day("2026-01-01"), gbp(0).currency());
        let prices = [400, 900].map(|pounds| seen("2026-02-01", Some(gbp(pounds))));
        let middle = outlook(&watch, &prices).price_at(0.5).unwrap();
        assert_eq!(middle.rounded(), gbp(600));
    }

    #[test]
    fn the_note_says_how_long_was_watched_and_how_little_that_is() {
        for (acceptable, days, begins) in [
            (0, 0, "No watch is kept"),
            (0, 1, "Watched for a day; none"),
            (1, 59, "Watched for 59 days; one"),
            (2, 60, "Watched for 2 months; a handful"),
            (4, 729, "Watched for 24 months; a handful"),
            (5, 730, "Watched for 2 years; enough"),
            (14, 1095, "Watched for 3 years; enough"),
            (15, 1094, "Watched for 2 years; many"),
        ] {
            let note = note(acceptable, days);
            assert!(note.starts_with(begins), "{note}");
        }
    }

    #[test]
    fn what_was_inspected_counts_beside_what_was_bought() {
        let watch = Watch::new(Uuid::nil(), day("2026-01-01"), gbp(0).currency());
        let mut bought = seen("2026-02-01", Some(gbp(1000)));
        bought.fate = Fate::BoughtGood;
        let inspected = Inspected { good: 3, bad: 4 };
        let currency = gbp(0).currency();
        let both = Outlook::new(&watch, &[bought], day("2026-06-30"), currency, inspected).unwrap();
        assert_eq!(both.evidence.bought, 8);
        // The opinion is worth two: (0.75 × 2 + 1 + 3) of 10.
        assert!((both.good.chance() - 0.55).abs() < 1e-9);
    }

    #[test]
    fn an_opinion_in_another_currency_is_refused() {
        let mut watch = Watch::new(Uuid::nil(), day("2026-01-01"), gbp(0).currency());
        watch.likely_price = Some(Money::new(900.into(), Currency::from_code("EUR").unwrap()));
        let (currency, none) = (gbp(0).currency(), Inspected::default());
        let tried = Outlook::new(&watch, &[], day("2026-06-30"), currency, none);
        assert!(tried.unwrap_err().0.contains("GBP"));
    }
}
