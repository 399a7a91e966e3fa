//! A quote: one option of an answer, frozen on the day it is given. Its lines make its net, net and tax make what the
//! customer pays, and it is good until a day. One decision may still be made about it: accepted, declined, or expired.

use super::answer::{Answer, OptionKind, Terms as OptionTerms};
use super::bargain::Bargained;
use super::related::RelatedDonor;
use crate::estimating::{CostLine, Route};
use crate::units::{Code, Money, MoneyError};
use chrono::{DateTime, Days, NaiveDate, Utc};
use serde_json::Value;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// Days for which a quote's slot in the plan is reserved unless somebody says otherwise: common practice, no source.
const SLOT_DAYS: Days = Days::new(5);

/// What became of a quote.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum QuoteState {
    /// Given, and waiting for the customer.
    Sent,
    /// Accepted: there is a job.
    Won,
    /// Declined.
    Lost,
    /// Expired before the customer decided.
    Lapsed,
}

/// A quote to be given.
#[derive(Debug, Clone)]
pub struct NewQuote {
    /// The enquiry it answers.
    pub enquiry_id: Uuid,
    /// The code of the kind of option; see [`OptionKind`].
    pub option_kind: String,
    /// What is offered, in a line.
    pub title: String,
    /// The donor it counts on, when that is on the shelf.
    pub casting_id: Option<Uuid>,
    /// The last day it is good.
    pub valid_until: NaiveDate,
    /// The day promised, if one is.
    pub promised_on: Option<NaiveDate>,
    /// Before tax.
    pub net: Money,
    /// Tax.
    pub tax: Money,
    /// What the customer pays: `net` and `tax`.
    pub gross: Money,
    /// What `net` is made of.
    pub lines: Vec<CostLine>,
    /// The whole answer as it was, as JSON.
    pub answer: Value,
    /// What the job will be when the quote is won.
    pub route: Route,
    /// On which terms.
    pub offered_on: OfferTerms,
    /// The form it is given with: the same form sent twice makes one quote.
    pub request_key: Option<Uuid>,
}

/// On which terms a quote was given, and what was said of it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OfferTerms {
    /// The terms; `None` for a fixed price.
    pub terms: Option<OptionTerms>,
    /// What was said on the phone.
    pub said: String,
    /// Why its price or work is not that of the answer.
    pub reason: String,
    /// What the customer must hear because of that, one sentence each.
    pub conditions: Vec<String>,
    /// The quote beside which it stands on one paper, as another option.
    pub alternative_to: Option<Uuid>,
    /// The donor's pattern and what stays different for good, when it is not of the wanted pattern.
    pub related: Option<RelatedDonor>,
}

/// When and on which terms an option is quoted.
#[derive(Debug, Clone, Copy)]
pub struct Terms {
    /// Today by the shop's calendar.
    pub today: NaiveDate,
    /// Days for which the shop's quotes are good.
    pub valid_days: u32,
    /// The form the quote is given with.
    pub request_key: Option<Uuid>,
}

impl NewQuote {
    /// The quote for one option of an answer; `None` when the answer has no such option or it cannot be done. `snapshot`
    /// is the whole answer as JSON, kept with the quote.
    #[must_use]
    pub fn of_option(
        answer: &Answer,
        option: &str,
        enquiry_id: Uuid,
        terms: Terms,
        snapshot: Value,
    ) -> Option<Self> {
        let option = answer.option(option)?;
        let figures = option.figures()?;
        let valid_days = Days::new(u64::from(terms.valid_days));
        Some(Self {
            enquiry_id,
            option_kind: option.kind.code().to_owned(),
            // A job is known by what it makes; the option alone says only from what.
            title: format!("{}: {}", answer.wanted, option.title),
            casting_id: option.casting.as_ref().map(|casting| casting.id),
            valid_until: terms
                .today
                .checked_add_days(valid_days)
                .unwrap_or(terms.today),
            // A search promises nothing.
            promised_on: match figures.terms {
                OptionTerms::Search(_) => None,
                OptionTerms::Fixed | OptionTerms::IfSound { .. } => figures.ready_day,
            },
            net: figures.build_up.net,
            tax: figures.build_up.tax,
            gross: figures.build_up.gross,
            lines: figures.build_up.lines.clone(),
            answer: snapshot,
            route: figures.route.clone(),
            offered_on: OfferTerms {
                terms: Some(figures.terms.clone()).filter(|terms| *terms != OptionTerms::Fixed),
                said: option.sentence.clone(),
                related: figures.related.clone(),
                ..OfferTerms::default()
            },
            request_key: terms.request_key,
        })
    }

    /// The same quote after a bargain.
    #[must_use]
    pub fn bargained(mut self, bargained: Bargained, reason: &str) -> Self {
        self.net = bargained.net;
        self.tax = bargained.tax;
        self.gross = bargained.gross;
        self.lines = bargained.lines;
        self.route = bargained.route;
        self.promised_on = bargained.promised_on;
        self.offered_on.conditions = bargained.conditions;
        reason.trim().clone_into(&mut self.offered_on.reason);
        self
    }

    /// The quote, when its lines add up to its net, and net and tax to its gross: it is a paper the shop is held to.
    ///
    /// # Errors
    /// [`Unbalanced`] with the figures that disagree.
    pub fn checked(self) -> Result<CheckedQuote, Unbalanced> {
        let amounts = self.lines.iter().map(|line| line.amount);
        let lines = Money::sum(self.net.currency(), amounts)?;
        if lines != self.net {
            let net = self.net;
            return Err(Unbalanced::Lines { lines, net });
        }
        let sum = self.net.plus(self.tax)?;
        if sum != self.gross {
            let gross = self.gross;
            return Err(Unbalanced::Gross { sum, gross });
        }
        Ok(CheckedQuote(self))
    }
}

/// A quote to be given whose sums agree.
#[derive(Debug, Clone)]
pub struct CheckedQuote(NewQuote);

impl CheckedQuote {
    /// The quote.
    #[must_use]
    pub fn quote(&self) -> &NewQuote {
        &self.0
    }
}

/// Sums of a quote that do not agree with each other.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unbalanced {
    /// The lines do not make the net.
    #[error("the lines make {lines}, the net is {net}")]
    Lines {
        /// Sum of the lines.
        lines: Money,
        /// The net.
        net: Money,
    },
    /// Net and tax do not make the gross.
    #[error("net and tax make {sum}, the gross is {gross}")]
    Gross {
        /// Net and tax.
        sum: Money,
        /// The gross.
        gross: Money,
    },
    /// Amounts that cannot be added.
    #[error(transparent)]
    Money(#[from] MoneyError),
}

/// A quote as it was given, and what became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quote {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// The enquiry it answers.
    pub enquiry_id: Uuid,
    /// The code of the kind of option; see [`OptionKind`].
    pub option_kind: String,
    /// What is offered.
    pub title: String,
    /// The donor it counts on, when that is on the shelf.
    pub casting_id: Option<Uuid>,
    /// The last day it is good.
    pub valid_until: NaiveDate,
    /// The day promised, if one was.
    pub promised_on: Option<NaiveDate>,
    /// On which terms, and what was said.
    pub offered_on: OfferTerms,
    /// Before tax.
    pub net: Money,
    /// Tax.
    pub tax: Money,
    /// What the customer pays.
    pub gross: Money,
    /// When it was given.
    pub created_at: DateTime<Utc>,
    /// By whom.
    pub created_by: Option<Uuid>,
    /// What became of it.
    pub state: QuoteState,
    /// When that was decided.
    pub decided_at: Option<DateTime<Utc>>,
    /// Why it was lost.
    pub lost_why: Option<String>,
    /// Counts edits.
    pub version: i32,
}

/// Why something cannot be done with a quote.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum QuoteRefusal {
    /// It was decided already.
    Decided(QuoteState),
    /// It was good until this day, which is past.
    Expired(NaiveDate),
    /// Its slot cannot be reserved beyond the last day it is good.
    SlotBeyond(NaiveDate),
    /// Its slot cannot be reserved until a day that is past.
    SlotInThePast,
}

impl Quote {
    /// Whether it may still be decided: accepted, declined, or its slot reserved.
    ///
    /// # Errors
    /// [`QuoteRefusal::Decided`].
    pub fn check_undecided(&self) -> Result<(), QuoteRefusal> {
        match self.state {
            QuoteState::Sent => Ok(()),
            state => Err(QuoteRefusal::Decided(state)),
        }
    }

    /// Whether it may be won today: it is undecided and still good.
    ///
    /// # Errors
    /// [`QuoteRefusal::Decided`], [`QuoteRefusal::Expired`].
    pub fn check_may_be_won(&self, today: NaiveDate) -> Result<(), QuoteRefusal> {
        self.check_undecided()?;
        if self.valid_until < today {
            return Err(QuoteRefusal::Expired(self.valid_until));
        }
        Ok(())
    }

    /// Whether its slot in the plan may be reserved until the end of a day.
    ///
    /// # Errors
    /// [`QuoteRefusal`].
    pub fn check_slot(&self, until: NaiveDate, today: NaiveDate) -> Result<(), QuoteRefusal> {
        self.check_undecided()?;
        if until < today {
            return Err(QuoteRefusal::SlotInThePast);
        }
        if until > self.valid_until {
            return Err(QuoteRefusal::SlotBeyond(self.valid_until));
        }
        Ok(())
    }

    /// Where the casting of its job comes from: from the shelf when the quote counts on one there, else as its kind of
    /// option has it; `None` when the kind says nothing of a casting.
    #[must_use]
    pub fn donor(&self) -> Option<DonorSource> {
        if let Some(id) = self.casting_id {
            return Some(DonorSource::Shelf(id));
        }
        match OptionKind::from_code(&self.option_kind)? {
            OptionKind::Inspect | OptionKind::Repair | OptionKind::ConvertOwn => {
                Some(DonorSource::Brought)
            }
            OptionKind::ConvertBought
            | OptionKind::ConvertOffered
            | OptionKind::Offered
            | OptionKind::Hunt => Some(DonorSource::Bought),
            OptionKind::ConvertShelf | OptionKind::Shelf | OptionKind::Work => None,
        }
    }
}

/// Where the casting of a job comes from, as its quote has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DonorSource {
    /// From the shelf.
    Shelf(Uuid),
    /// The customer brings it.
    Brought,
    /// It has to be found and bought.
    Bought,
}

/// Until when a quote's slot in the plan is reserved when it is given today and nothing else is said.
#[must_use]
pub fn slot_until(today: NaiveDate) -> NaiveDate {
    today.checked_add_days(SLOT_DAYS).unwrap_or(today)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Currency;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, d).unwrap()
    }

    fn gbp(amount: i64) -> Money {
        Money::new(amount.into(), Currency::from_code("GBP").unwrap())
    }

    fn quote(state: QuoteState, kind: &str, casting_id: Option<Uuid>) -> Quote {
        Quote {
            id: Uuid::nil(),
            number: 7,
            enquiry_id: Uuid::nil(),
            option_kind: kind.to_owned(),
            title: "Convert farm block to marine".to_owned(),
            casting_id,
            valid_until: day(20),
            promised_on: None,
            offered_on: OfferTerms::default(),
            net: gbp(300),
            tax: gbp(60),
            gross: gbp(360),
            created_at: DateTime::<Utc>::UNIX_EPOCH,
            created_by: None,
            state,
            decided_at: None,
            lost_why: None,
            version: 1,
        }
    }

    #[test]
    fn a_quote_is_won_once_and_while_it_is_good() {
        let open = quote(QuoteState::Sent, "hunt", None);
        assert_eq!(open.check_may_be_won(day(20)), Ok(()));
        let late = open.check_may_be_won(day(21));
        assert_eq!(late, Err(QuoteRefusal::Expired(day(20))));
        for state in [QuoteState::Won, QuoteState::Lost, QuoteState::Lapsed] {
            let decided = quote(state, "hunt", None);
            let refused = Err(QuoteRefusal::Decided(state));
            assert_eq!(decided.check_may_be_won(day(1)), refused);
            assert_eq!(decided.check_slot(day(2), day(1)), refused);
        }
    }

    #[test]
    fn a_slot_is_reserved_no_longer_than_its_quote_is_good() {
        let open = quote(QuoteState::Sent, "hunt", None);
        assert_eq!(open.check_slot(day(20), day(20)), Ok(()));
        let beyond = open.check_slot(day(21), day(1));
        assert_eq!(beyond, Err(QuoteRefusal::SlotBeyond(day(20))));
        let past = open.check_slot(day(4), day(5));
        assert_eq!(past, Err(QuoteRefusal::SlotInThePast));
        assert_eq!(slot_until(day(1)), day(6));
    }

    #[test]
    fn the_casting_of_a_job_comes_from_where_its_quote_has_it() {
        let id = Uuid::from_u128(5);
        let of = |kind, casting| quote(QuoteState::Sent, kind, casting).donor();
        assert_eq!(of("convert_shelf", Some(id)), Some(DonorSource::Shelf(id)));
        assert_eq!(of("repair", None), Some(DonorSource::Brought));
        assert_eq!(of("convert_own", None), Some(DonorSource::Brought));
        assert_eq!(of("convert_bought", None), Some(DonorSource::Bought));
        assert_eq!(of("hunt", None), Some(DonorSource::Bought));
        assert_eq!(of("shelf", None), None);
        assert_eq!(of("a kind nobody knows", None), None);
    }

    #[test]
    fn sums_that_disagree_are_refused_with_both_figures() {
        let new = |lines: i64, gross: i64| NewQuote {
            enquiry_id: Uuid::nil(),
            option_kind: "hunt".to_owned(),
            title: String::new(),
            casting_id: None,
            valid_until: day(20),
            promised_on: None,
            net: gbp(300),
            tax: gbp(60),
            gross: gbp(gross),
            lines: vec![CostLine::leaf("Labour", "", gbp(lines))],
            answer: Value::Null,
            route: Route { operations: vec![] },
            offered_on: OfferTerms::default(),
            request_key: None,
        };
        assert!(new(300, 360).checked().is_ok());
        let (lines, net) = (gbp(299), gbp(300));
        assert_eq!(
            new(299, 360).checked().unwrap_err(),
            Unbalanced::Lines { lines, net }
        );
        let (sum, gross) = (gbp(360), gbp(361));
        assert_eq!(
            new(300, 361).checked().unwrap_err(),
            Unbalanced::Gross { sum, gross }
        );
    }
}
