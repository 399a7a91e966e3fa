//! What a customer is asked for an option, on the terms that suit where its casting comes from.
//!
//! A casting of the shop's own comes at a fixed price, and the shop bears what fails. A block that the customer brings, or a
//! particular one that is on offer, comes at a price if it proves sound. One that has yet to be found is searched for at a
//! fee or none; it is charged at cost with handling, bad ones included, and the work it needs then at the quoted price
//! (common practice, no source).

use super::answer::{SearchTerms, Terms};
use super::procurement::Procurement;
use super::range::{PriceRange, percent_of};
use super::simulation::{Draws, Dropped, Work};
use super::ways::Way;
use super::wish::{Knowledge, Wish};
use crate::estimating::cost::{CostError, Costing, Donor};
use crate::estimating::futures::{CostSampler, percentile, rank, rank_of_share};
use crate::estimating::{CostBuildUp, CostLine, Policy};
use crate::sourcing::hunt::{GIVE_UP_AFTER, Limits, Spent};
use crate::units::{Currency, Money, MoneyError, plain};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

/// What decides how much an offered casting is worth to a customer; money in minor units.
pub(super) struct OfferTerms {
    pub(super) chance_good: f64,
    pub(super) carriage: f64,
    pub(super) inspection: f64,
    pub(super) rest_of_work: f64,
    /// One and the share that the shop adds for handling.
    pub(super) with_handling: f64,
}

/// The price that is asked, and on which terms.
pub(super) struct Priced {
    pub(super) build_up: CostBuildUp,
    pub(super) terms: Terms,
    pub(super) compared: Money,
}

/// All that prices of one option are made from.
pub(super) struct Pricing<'a> {
    costing: Costing<'a>,
    way: &'a Way,
    wish: &'a Wish,
    knowledge: &'a Knowledge,
    /// The quoted price of the work on one sound casting.
    work: CostBuildUp,
    /// What the inspection of one casting is charged at.
    inspection: Money,
}

impl<'a> Pricing<'a> {
    pub(super) fn new(
        costing: Costing<'a>,
        way: &'a Way,
        costs: &CostSampler,
        work: &Work,
        wish: &'a Wish,
        knowledge: &'a Knowledge,
    ) -> Result<Self, CostError> {
        let expected: Vec<f64> = way
            .route
            .operations
            .iter()
            .map(|operation| plain(operation.expected().0))
            .collect();
        let donor = way.donor.map_or(Ok(0), |donor| donor.price.to_minor())?;
        let failing = costs
            .direct(&expected, 1)
            .saturating_sub(costs.direct(&expected, 0))
            .saturating_sub(donor);
        let cost = Money::from_minor(failing, knowledge.currency);
        Ok(Self {
            work: CostBuildUp::of_futures(&costing, Vec::new(), &work.direct)?,
            inspection: knowledge.policy.price(cost)?.rounded(),
            costing,
            way,
            wish,
            knowledge,
        })
    }

    fn currency(&self) -> Currency {
        self.knowledge.currency
    }

    fn handling(&self, cost: Money) -> Result<Money, MoneyError> {
        Ok(cost
            .percent(self.knowledge.selling.handling_percent)?
            .rounded())
    }

    /// The procurement within what the customer set.
    ///
    /// # Errors
    /// [`Dropped`] when nothing can come of it.
    pub(super) fn within_limits(
        &self,
        procurement: &Procurement,
        now: DateTime<Utc>,
    ) -> Result<Procurement, Dropped> {
        let Procurement::Hunt(hunt) = procurement else {
            return Ok(procurement.clone());
        };
        let set = &self.wish.search;
        let budget_minor = match set.most {
            Some(most) => {
                let left = most
                    .minus(self.work.net)?
                    .minus(self.knowledge.selling.search_fee)?;
                if left.amount() <= Decimal::ZERO {
                    return Err(Dropped::NoRoom(self.work.net));
                }
                let share =
                    Decimal::ONE + self.knowledge.selling.handling_percent / Decimal::ONE_HUNDRED;
                Some(left.over(share)?.to_minor()?)
            }
            None => None,
        };
        let today = now.with_timezone(&self.knowledge.zone).date_naive();
        let days = match set.ends_on {
            Some(ends_on) if ends_on < today => return Err(Dropped::SearchOver),
            // The day itself counts.
            Some(ends_on) => Some(((ends_on - today).num_days() + 1) as f64),
            None => None,
        };
        Ok(Procurement::Hunt(
            hunt.clone().within(Limits { budget_minor, days }),
        ))
    }

    /// The price in each future, minor units.
    pub(super) fn prices(&self, draws: &Draws) -> Result<Vec<i64>, MoneyError> {
        let priced = |costs: &[i64]| self.knowledge.policy.prices(costs, self.currency());
        match &self.way.procurement {
            Procurement::Brought | Procurement::Shelf { .. } => priced(&draws.direct),
            Procurement::Offered { .. } => {
                let casting = self.offered()?;
                let casting = casting.plus(self.handling(casting)?)?.to_minor()?;
                let mut prices = priced(&draws.work)?;
                for price in &mut prices {
                    *price = price.saturating_add(casting);
                }
                Ok(prices)
            }
            Procurement::Hunt(_) => {
                let fixed = self.work.net.plus(self.knowledge.selling.search_fee)?;
                draws
                    .spent
                    .iter()
                    .zip(&draws.failed)
                    .map(|(spent, failed)| {
                        let castings = spent.map_or(0, |spent| spent.castings_minor());
                        let castings = Money::from_minor(castings, self.currency());
                        let inspections = self.inspection.times(Decimal::from(*failed))?;
                        fixed
                            .plus(castings)?
                            .plus(self.handling(castings)?)?
                            .plus(inspections)?
                            .to_minor()
                    })
                    .collect()
            }
        }
    }

    /// What the shop's own work and castings cost it: [`full_costs`]. What a customer is charged at cost is no risk of the
    /// shop's.
    pub(super) fn full_costs(&self, draws: &Draws) -> Result<Vec<i64>, MoneyError> {
        let costs = match &self.way.procurement {
            Procurement::Shelf { .. } => draws.direct.clone(),
            _ => draws.work.clone(),
        };
        full_costs(costs, &self.knowledge.policy, self.currency())
    }

    /// What the casting on offer costs, carriage included.
    fn offered(&self) -> Result<Money, MoneyError> {
        match &self.way.offer {
            Some(offer) => offer.asked.plus(offer.carriage),
            None => Ok(Money::zero(self.currency())),
        }
    }

    /// The price that is asked.
    pub(super) fn priced(
        &self,
        draws: &Draws,
        range: &PriceRange,
        found_percent: u32,
    ) -> Result<Priced, CostError> {
        match &self.way.procurement {
            // An inspection is done whatever it finds.
            Procurement::Brought if self.way.good.is_none() => Ok(Priced {
                build_up: self.work.clone(),
                terms: Terms::Fixed,
                compared: self.work.net,
            }),
            Procurement::Brought => self.if_sound(self.work.clone(), self.inspection),
            Procurement::Offered { .. } => {
                let casting = self.offered()?;
                let lost = casting
                    .plus(self.handling(casting)?)?
                    .plus(self.inspection)?;
                self.if_sound(self.with_offered_casting()?, lost)
            }
            Procurement::Shelf { free, good, then } => {
                let chance = good.chance_of_failures((*free).min(GIVE_UP_AFTER));
                let donor = match self.way.donor {
                    Some(donor) => Some(Donor {
                        another: another(draws, donor.price, chance)?,
                        ..donor
                    }),
                    None => None,
                };
                let costing = Costing {
                    donor,
                    ..self.costing
                };
                let sufficient = draws.delivered(&draws.work);
                let build_up = CostBuildUp::of_futures(&costing, Vec::new(), &sufficient)?;
                Ok(Priced {
                    compared: build_up.net,
                    terms: match then {
                        Some(_) => Terms::Fixed,
                        None => Terms::IfSound {
                            lost: Money::zero(self.currency()),
                            sound_percent: in_percent(1.0 - chance),
                        },
                    },
                    build_up,
                })
            }
            Procurement::Hunt(_) => Ok(Priced {
                build_up: self.search(draws)?,
                terms: Terms::Search(SearchTerms {
                    fee: self.knowledge.selling.search_fee,
                    handling_percent: self.knowledge.selling.handling_percent,
                    work: self.work.net,
                    limits: self.wish.search,
                    found_percent,
                }),
                compared: range.at_confidence,
            }),
        }
    }

    /// At a price if the casting proves sound; to be compared, each sound one bears what those that fail cost.
    fn if_sound(&self, build_up: CostBuildUp, lost: Money) -> Result<Priced, CostError> {
        let failures = self
            .way
            .good
            .map_or(0.0, |good| good.expected_failures(GIVE_UP_AFTER));
        let failures = Decimal::from_f64(failures).unwrap_or_default().round_dp(3);
        let sound = self.way.good.map_or(1.0, |good| good.chance());
        Ok(Priced {
            compared: build_up.net.plus(lost.times(failures)?)?.rounded(),
            terms: Terms::IfSound {
                lost,
                sound_percent: in_percent(sound),
            },
            build_up,
        })
    }

    fn with_offered_casting(&self) -> Result<CostBuildUp, MoneyError> {
        let mut lines = Vec::new();
        if let Some(offer) = &self.way.offer {
            let castings = vec![
                CostLine::leaf("Casting on offer", "asked price", offer.asked),
                CostLine::leaf("Carriage", "", offer.carriage),
            ];
            lines.push(CostLine::sum(
                "Casting, at cost",
                "",
                castings,
                self.currency(),
            )?);
            lines.push(self.handling_line(offer.asked.plus(offer.carriage)?)?);
        }
        self.and_the_work(lines)
    }

    /// A search as it turns out in the middle of the futures in which one is found.
    fn search(&self, draws: &Draws) -> Result<CostBuildUp, MoneyError> {
        let found = middle_fifth(draws);
        let typical = |part: &dyn Fn(&(Spent, u32)) -> i64| {
            let n = i64::try_from(found.len()).unwrap_or(i64::MAX);
            let sum = found.iter().map(part).fold(0_i64, i64::saturating_add);
            Money::from_minor(sum.checked_div(n).unwrap_or(0), self.currency())
        };
        const HOW: &str = "middle fifth of the outcomes in which one is found, by cost";
        let castings = vec![
            CostLine::leaf("The good one", HOW, typical(&|(s, _)| s.good_minor)),
            CostLine::leaf("Those that prove bad", HOW, typical(&|(s, _)| s.bad_minor)),
            CostLine::leaf("Carriage", HOW, typical(&|(s, _)| s.carriage_minor)),
        ];
        let castings = CostLine::sum("Castings, at cost", "", castings, self.currency())?;
        let inspection = self.inspection.to_minor()?;
        let inspections = typical(&|(_, failed)| inspection.saturating_mul(i64::from(*failed)));
        let mut lines = Vec::new();
        let fee = self.knowledge.selling.search_fee;
        if !fee.amount().is_zero() {
            lines.push(CostLine::leaf("Search fee", "", fee));
        }
        let handling = self.handling_line(castings.amount)?;
        lines.extend([castings, handling]);
        lines.push(CostLine::leaf(
            "Inspecting those that prove bad",
            format!("{} each, {HOW}", self.inspection),
            inspections,
        ));
        self.and_the_work(lines)
    }

    fn handling_line(&self, cost: Money) -> Result<CostLine, MoneyError> {
        let percent = self.knowledge.selling.handling_percent.normalize();
        Ok(CostLine::leaf(
            "Handling",
            format!("{percent} % of the cost of castings"),
            self.handling(cost)?,
        ))
    }

    /// The lines with the work at its quoted price, summed up and taxed.
    fn and_the_work(&self, mut lines: Vec<CostLine>) -> Result<CostBuildUp, MoneyError> {
        let work = self.work.lines.clone();
        lines.push(CostLine::sum(
            "Work, at the quoted price",
            "",
            work,
            self.currency(),
        )?);
        let net = Money::sum(self.currency(), lines.iter().map(|line| line.amount))?;
        let tax = net.percent(self.knowledge.policy.tax_percent)?.rounded();
        Ok(CostBuildUp {
            lines,
            net,
            tax,
            gross: net.plus(tax)?,
        })
    }

    /// Of a hunt; nothing else is offered for sale.
    pub(super) fn offer_terms(&self) -> Option<OfferTerms> {
        let Procurement::Hunt(hunt) = &self.way.procurement else {
            return None;
        };
        let inspection = self.inspection.to_minor().ok()? as f64;
        Some(OfferTerms {
            chance_good: hunt.outlook().good.chance(),
            carriage: hunt.carriage_minor() as f64,
            inspection,
            rest_of_work: self.work.net.to_minor().ok()? as f64 - inspection,
            with_handling: 1.0 + plain(self.knowledge.selling.handling_percent) / 100.0,
        })
    }
}

/// Direct costs of futures, minor units, with overhead: what is 0, 1 … 100 per cent sure to be enough.
pub(super) fn full_costs(
    mut costs: Vec<i64>,
    policy: &Policy,
    currency: Currency,
) -> Result<Vec<i64>, MoneyError> {
    costs.sort_unstable();
    (0..=100_u32)
        .filter_map(|percent| {
            let share = policy.costs.share_of_futures(f64::from(percent) / 100.0);
            costs.get(rank_of_share(share, costs.len()))
        })
        .map(|minor| {
            let cost = Money::from_minor(*minor, currency);
            cost.plus(cost.percent(policy.overhead_percent)?)?
                .rounded()
                .to_minor()
        })
        .collect()
}

/// A chance in whole per cent.
fn in_percent(chance: f64) -> u32 {
    percent_of((chance * 1000.0).round() as usize, 1000)
}

/// The futures in which one is found that are in the middle fifth by what the castings cost: what was spent, and how many
/// failed. Their parts add up to about the median of the whole. A mean over all futures would be at the mercy of the few in
/// which one dear casting after another proves bad: a log-Student price has none.
fn middle_fifth(draws: &Draws) -> Vec<(Spent, u32)> {
    const FROM: u32 = 40;
    const TO: u32 = 60;
    let mut found: Vec<(Spent, u32)> = draws
        .spent
        .iter()
        .zip(&draws.failed)
        .zip(draws.released())
        .filter(|(_, released)| *released)
        .filter_map(|((spent, failed), _)| Some(((*spent)?, *failed)))
        .collect();
    found.sort_by_key(|(spent, failed)| (spent.castings_minor(), *failed));
    let (first, last) = (rank(FROM, found.len()), rank(TO, found.len()));
    found.get(first..=last).unwrap_or_default().to_vec()
}

/// What another casting costs beyond the donor when none is left on the shelf: the middle of the futures in which one is
/// found, times how likely it comes to that.
fn another(draws: &Draws, donor: Money, chance: f64) -> Result<Option<Money>, MoneyError> {
    let spent: Vec<i64> = draws
        .spent
        .iter()
        .zip(draws.released())
        .filter(|(_, released)| *released)
        .filter_map(|(spent, _)| spent.map(|spent| spent.total_minor()))
        .collect();
    let Some(middle) = percentile(&spent, 50) else {
        return Ok(None);
    };
    let dearer = middle.saturating_sub(donor.to_minor()?).max(0);
    let chance = Decimal::from_f64(chance).unwrap_or_default().round_dp(4);
    let another = Money::from_minor(dearer, donor.currency()).times(chance)?;
    Ok(Some(another.rounded()))
}
