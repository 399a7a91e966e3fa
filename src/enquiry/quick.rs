//! Quick work: somebody rings with a crankshaft to grind or a block to hone. No casting has to be found and no variant
//! named: the work is picked from the standard times, and the answer has one option, priced and dated as all others are.

use super::answer::{Answer, Figures, OptionAnswer, OptionKind, Outcome, Terms};
use super::bargain::Percentiles;
use super::pricing;
use super::range::{PriceRange, ReadyRange, chance_of, day_share_percent, percent_of};
use super::say;
use super::simulation::{self, Simulation};
use crate::estimating::cutting_data::CuttingData;
use crate::estimating::{
    CostBuildUp, CostError, CostSampler, Costing, Element, MadePart, OrderOfWork, Policy, Rates,
    Recalibration, Route, WorkList, WorkListError,
};
use crate::planning::{ReadyDates, local_instant};
use crate::units::MoneyError;
use crate::units::text::uncapitalised;
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;

/// The key of the one option.
pub const OPTION: &str = "work";

/// What a caller wants done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quick {
    /// The work.
    pub list: WorkList,
    /// The last day that suits, if there is one.
    pub wanted_by: Option<NaiveDate>,
    /// The day on which the customer brings the part; `None` when it is here.
    pub arrives_on: Option<NaiveDate>,
}

/// What the shop knows when it answers, but for the dates.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuickKnowledge {
    /// Standard times.
    pub elements: Vec<Element>,
    /// Parts that are made here, with what is free of each.
    pub made: Vec<MadePart>,
    /// Cutting data.
    pub cutting: CuttingData,
    /// The shop's order of work.
    pub order: OrderOfWork,
    /// Hourly rates.
    pub rates: Rates,
    /// Pricing policy.
    pub policy: Policy,
    /// How sure days have proved to be.
    pub days: Recalibration,
    /// The shop's time zone, in which days are said.
    pub zone: Tz,
}

/// Why quick work has no price.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuickError {
    /// The list makes no route.
    #[error(transparent)]
    List(#[from] WorkListError),
    /// The route has no cost.
    #[error(transparent)]
    Cost(#[from] CostError),
}

impl From<MoneyError> for QuickError {
    fn from(error: MoneyError) -> Self {
        Self::Cost(error.into())
    }
}

impl Quick {
    /// The price, the day and the sentence, over so many futures of the work and the plan.
    ///
    /// # Errors
    /// [`QuickError`].
    pub fn answer(
        &self,
        knowledge: &QuickKnowledge,
        dates: &dyn ReadyDates,
        simulation: Simulation,
    ) -> Result<Answer, QuickError> {
        let QuickKnowledge {
            elements, policy, ..
        } = knowledge;
        let rules = (&knowledge.cutting, &knowledge.order);
        let route = self.list.route_with(&knowledge.made, elements, rules)?;
        let figures = self.figures(&route, knowledge, dates, simulation)?;
        let summary = self.list.summary(elements);
        let part = self.list.part.trim();
        let option = OptionAnswer {
            key: OPTION.to_owned(),
            kind: OptionKind::Work,
            title: summary.clone(),
            casting: None,
            risks: risks(&figures),
            outcome: Outcome::Possible(Box::new(figures)),
            sentence: String::new(),
        };
        let mut answer = Answer {
            wanted: if part.is_empty() {
                "Work on the customer’s part".to_owned()
            } else {
                part.to_owned()
            },
            wanted_by: self.wanted_by,
            at: simulation.now,
            confidence_percent: policy.confidence_percent,
            day_share_percent: day_share_percent(knowledge.days, policy),
            futures: simulation.futures,
            options: vec![option],
            comparison: None,
            recommended: Some(OPTION.to_owned()),
            in_time: None,
            plan: None,
            sentence: String::new(),
        };
        let today = simulation.now.with_timezone(&knowledge.zone).date_naive();
        answer.sentence = self.sentence(&answer, &summary, today);
        for option in &mut answer.options {
            option.sentence.clone_from(&answer.sentence);
        }
        Ok(answer)
    }

    fn figures(
        &self,
        route: &Route,
        knowledge: &QuickKnowledge,
        dates: &dyn ReadyDates,
        simulation: Simulation,
    ) -> Result<Figures, QuickError> {
        let QuickKnowledge { rates, policy, .. } = knowledge;
        let currency = rates.people_default.currency();
        let costing = Costing {
            route,
            rates,
            policy,
            donor: None,
        };
        let costs = CostSampler::new(&costing)?;
        let times = route.sampler().map_err(CostError::from)?;
        let futures = simulation.futures.max(1) as usize;
        let operations = route.operations.len();
        // The plan's own futures, as for every option.
        let route_operations = route.operations.iter();
        let able: Vec<Vec<u64>> = route_operations.map(|o| dates.able(&o.skill)).collect();
        let minutes = simulation.together(dates).sample(&times, &able);
        let direct: Vec<i64> = minutes
            .chunks(operations.max(1))
            .map(|mine| costs.direct(mine, 0))
            .collect();
        let prices = policy.prices(&direct, currency)?;
        let confidence = policy.confidence_percent;
        let price = PriceRange::of(&prices, policy, currency).ok_or(WorkListError::Empty)?;
        // Work begins when the part is here, from the first hour of that day on.
        let start = self
            .arrives_on
            .map(|day| local_instant(knowledge.zone, day.and_time(NaiveTime::MIN)))
            .map_or(simulation.now, |arrives| arrives.max(simulation.now));
        let starts = vec![start; futures];
        let ready = dates.ready(&simulation::candidate(route), &starts, &minutes);
        let never = ready.iter().filter(|time| time.is_none()).count();
        let day = |time: DateTime<Utc>| time.with_timezone(&knowledge.zone).date_naive();
        let build_up = CostBuildUp::of_futures(&costing, Vec::new(), &direct)?;
        let percentiles = ReadyRange::percentiles(&ready, knowledge.days);
        let range = ReadyRange::of(&percentiles, confidence);
        Ok(Figures {
            price,
            terms: Terms::Fixed,
            compared: build_up.net,
            build_up,
            ready_day: range.at_confidence.map(day),
            ready: range,
            percentiles: Percentiles {
                full_cost: pricing::full_costs(direct, policy, currency)?,
                ready: percentiles.into_iter().map(|time| time.map(day)).collect(),
            },
            in_time_percent: self.wanted_by.map(|by| {
                chance_of(
                    knowledge.days,
                    simulation::ready_by(&ready, by, knowledge.zone),
                    futures,
                )
            }),
            never_percent: percent_of(never, futures),
            lacks: dates.missing(&simulation::candidate(route)),
            machines: simulation::machine_times(route, &minutes, confidence),
            route: route.clone(),
            conversion: None,
            related: None,
        })
    }

    /// What to say: what is done, the price, the day, and how likely the wanted day is where it is not kept.
    fn sentence(&self, answer: &Answer, summary: &str, today: NaiveDate) -> String {
        let Some(figures) = answer.option(OPTION).and_then(OptionAnswer::figures) else {
            return String::new();
        };
        let part = self.list.part.trim();
        let what = if part.is_empty() {
            summary.to_owned()
        } else {
            format!("{part}, {}", uncapitalised(summary))
        };
        let condition = self.arrives_on.map_or_else(String::new, |day| {
            format!(" if we have it on {}", day.format("%A %-d %B"))
        });
        let mut said = format!(
            "{what}: about {} plus tax, {}.",
            say::spoken(figures.build_up.net),
            say::when_if(answer, figures, today, &condition)
        );
        if let (Some(percent), Some(by)) = (figures.in_time_percent, answer.wanted_by)
            && percent < answer.confidence_percent
        {
            let how = say::times(percent);
            let only = if percent >= 6 { "only " } else { "" };
            said.push_str(&format!(
                " We would make {} {only}{how}.",
                by.format("%A %-d %B")
            ));
        }
        said
    }
}

/// What could go wrong.
fn risks(figures: &Figures) -> Vec<String> {
    let mut risks = Vec::new();
    if figures.route.operations.iter().any(|o| o.can_fail) {
        risks.push(
            "If the part fails the inspection, the job ends there and the inspection is charged."
                .to_owned(),
        );
    }
    if figures.ready.at_confidence.is_none() {
        risks.push("The plan gives no day for this work: look at machines and people.".to_owned());
    }
    risks
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::{cutting_data, starting};
    use crate::planning::Candidate;
    use crate::units::{Currency, Money};
    use chrono::{Days, TimeDelta};
    use proptest::prelude::*;
    use rust_decimal::Decimal;
    use std::collections::BTreeMap;
    use uuid::Uuid;

    /// A shop that works round the clock and has nothing else to do.
    struct Idle;

    impl ReadyDates for Idle {
        fn ready(
            &self,
            _: &Candidate,
            release: &[DateTime<Utc>],
            minutes: &[f64],
        ) -> Vec<Option<DateTime<Utc>>> {
            let n = minutes.len() / release.len();
            release
                .iter()
                .zip(minutes.chunks(n))
                .map(|(at, work)| {
                    at.checked_add_signed(TimeDelta::minutes(work.iter().sum::<f64>() as i64))
                })
                .collect()
        }

        fn missing(&self, _: &Candidate) -> Vec<String> {
            Vec::new()
        }
    }

    fn knowledge() -> QuickKnowledge {
        let currency = Currency::from_code("GBP").unwrap();
        let money = |amount: i64| Money::new(amount.into(), currency);
        let elements = starting::elements(currency, Uuid::nil).unwrap();
        let machine: BTreeMap<String, Money> = elements
            .iter()
            .map(|e| (e.machine_kind.clone(), money(30)))
            .collect();
        QuickKnowledge {
            elements,
            made: Vec::new(),
            cutting: cutting_data::starting_points().remove(0),
            order: OrderOfWork::default(),
            rates: Rates {
                machine,
                people: BTreeMap::new(),
                people_default: money(40),
            },
            policy: Policy {
                overhead_percent: Decimal::TEN,
                margin_percent: Decimal::from(20),
                tax_percent: Decimal::from(20),
                confidence_percent: 80,
                costs: crate::estimating::Recalibration::none(),
            },
            days: Recalibration::none(),
            zone: Tz::Europe__London,
        }
    }

    fn simulation() -> Simulation {
        Simulation {
            now: "2026-12-01T09:00:00Z".parse().unwrap(),
            futures: 400,
            seed: 7,
        }
    }

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 12, d).unwrap()
    }

    fn grind(count: u32, wanted_by: Option<u32>, arrives_on: Option<u32>) -> Quick {
        Quick {
            list: WorkList {
                part: "Ousel twin crankshaft".to_owned(),
                lines: vec![("CRANK-GRIND".to_owned(), count)],
                cylinders: None,
                mains: Some(3),
            },
            wanted_by: wanted_by.map(day),
            arrives_on: arrives_on.map(day),
        }
    }

    fn answer(quick: &Quick) -> Answer {
        quick.answer(&knowledge(), &Idle, simulation()).unwrap()
    }

    fn figures(answer: &Answer) -> &Figures {
        answer.option(OPTION).unwrap().figures().unwrap()
    }

    #[test]
    fn the_sentence_says_what_for_how_much_and_when() {
        let said = answer(&grind(1, Some(20), None));
        let price = say::spoken(figures(&said).build_up.net);
        assert_eq!(
            said.sentence,
            format!(
                "Ousel twin crankshaft, grind crankshaft journal × 3: about {price} plus tax, ready by Tuesday 1 December. We keep a day like that 4 times out of 5."
            )
        );
        let late = answer(&grind(1, Some(8), Some(9)));
        assert!(
            late.sentence
                .contains(" if we have it on Wednesday 9 December. We keep")
                && late
                    .sentence
                    .ends_with("We would make Tuesday 8 December hardly ever."),
            "{}",
            late.sentence
        );
        assert_eq!(figures(&late).in_time_percent, Some(0));
    }

    #[test]
    fn work_begins_when_the_part_is_here() {
        let here = answer(&grind(1, None, None));
        let late = answer(&grind(1, None, Some(8)));
        let past = answer(&grind(1, None, Some(1)));
        let ready = |answer: &Answer| figures(answer).ready.at_confidence.unwrap();
        assert_eq!(ready(&past), ready(&here));
        let later = day(8).checked_sub_days(Days::new(0)).unwrap();
        assert_eq!(
            ready(&late).with_timezone(&Tz::Europe__London).date_naive(),
            later
        );
        assert_eq!(figures(&late).build_up, figures(&here).build_up);
    }

    #[test]
    fn the_price_is_the_sum_of_its_lines_and_covers_the_shops_confidence() {
        let answer = answer(&grind(2, None, None));
        let figures = figures(&answer);
        let currency = figures.build_up.net.currency();
        let lines = figures.build_up.lines.iter().map(|line| line.amount);
        assert_eq!(Money::sum(currency, lines).unwrap(), figures.build_up.net);
        assert!(figures.build_up.net.amount() >= figures.price.likely.amount());
        assert!(figures.price.low.amount() <= figures.price.high.amount());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn more_work_is_never_cheaper_or_sooner(count in 1_u32..6) {
            let less = answer(&grind(count, None, None));
            let more = answer(&grind(count + 1, None, None));
            let (less, more) = (figures(&less), figures(&more));
            prop_assert!(less.build_up.net.amount() < more.build_up.net.amount());
            prop_assert!(less.ready.at_confidence <= more.ready.at_confidence);
        }
    }
}
