//! Whether a need of a job is met, from what it draws on: a casting, stock, a tool, or what was last said of it.

use super::ShelfState;
use chrono::NaiveDate;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What kind of thing is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum NeedKind {
    /// A casting to be worked on.
    Donor,
    /// A part that goes into the work.
    Part,
    /// Material that is used up.
    Material,
    /// Tooling that comes back: temporary bolts, a mandrel.
    Tool,
}

/// What was last said of a need's own goods.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Arrival {
    /// Nothing is on order.
    Wanted,
    /// On order.
    Ordered,
    /// Come, or taken from stock.
    Here,
}

/// The status of a need on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Availability {
    /// Met.
    Here,
    /// Expected on a day that is not past.
    Expected(NaiveDate),
    /// It should have come on that day, and has not.
    Overdue(NaiveDate),
    /// Nobody knows when.
    Unknown,
}

impl Availability {
    /// Whether it leaves a hole in the plan: no day to plan on.
    #[must_use]
    pub fn is_hole(self) -> bool {
        matches!(self, Self::Overdue(_) | Self::Unknown)
    }

    fn expected(day: Option<NaiveDate>, today: NaiveDate) -> Self {
        match day {
            Some(day) if day < today => Self::Overdue(day),
            Some(day) => Self::Expected(day),
            None => Self::Unknown,
        }
    }
}

/// The casting behind a need.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reserved {
    /// Key.
    pub id: Uuid,
    /// Number on its tag.
    pub number: i64,
    /// Whether the job has it.
    pub ours: bool,
    /// Its state.
    pub state: ShelfState,
}

/// The job that has a tool out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Loan {
    /// Key.
    pub job_id: Uuid,
    /// Number.
    pub job_number: i64,
    /// When the tool can be expected back: the day somebody named, or that on which the job is due; `None` when the job
    /// is closed and nobody knows.
    pub back_on: Option<NaiveDate>,
    /// Whether it is the job that needs it.
    pub ours: bool,
}

/// How stock covers a need, once the jobs that are due before have had theirs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cover {
    /// Taken from stock for the job.
    Taken,
    /// What is on hand covers it.
    OnHand,
    /// What is on order covers it on this day, or is being made for the shelf.
    OnOrder(NaiveDate),
    /// Its own job makes it: the route holds back the operation that needs it, and the stock does not.
    Made,
    /// Nothing on hand or on order with a day covers it.
    Short,
}

/// What stands behind a need, and how.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// Nothing that is kept in the program.
    Itself {
        /// What was last said of it.
        arrival: Arrival,
        /// The day it is expected.
        expected_on: Option<NaiveDate>,
    },
    /// A casting of the shelf.
    Casting(Reserved),
    /// An item of stock.
    Stock {
        /// Key.
        id: Uuid,
        /// Name.
        name: String,
        /// How it is covered.
        cover: Cover,
    },
    /// Reusable tooling.
    Tool {
        /// Key.
        id: Uuid,
        /// Name.
        name: String,
        /// Who has it, if it is out.
        loan: Option<Loan>,
    },
}

/// Why a need is not changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NeedRefusal {
    /// Goods were taken from stock for it.
    #[error("it was taken from stock")]
    Taken,
    /// A casting, stock or a tool says whether it is here.
    #[error("what it draws on says whether it is here")]
    DrawsOnOther,
    /// It does not draw on stock.
    #[error("it is not kept in stock")]
    NotInStock,
    /// It was taken, or put back, already.
    #[error("it is so already")]
    Already,
    /// Its job makes it.
    #[error("it is made in its job")]
    Made,
    /// It does not draw on an item that is made here, or stock covers it.
    #[error("it is not to be made here")]
    NotToBeMade,
}

/// Goods moved between stock and a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Transfer {
    /// From stock to the job.
    ToJob,
    /// From the job back to stock.
    Back,
}

impl Transfer {
    /// What is said of the need afterwards.
    #[must_use]
    pub fn leads_to(self) -> Arrival {
        match self {
            Self::ToJob => Arrival::Here,
            Self::Back => Arrival::Wanted,
        }
    }

    /// Refuses to take twice, or to put back what was not taken.
    ///
    /// # Errors
    /// [`NeedRefusal::Already`].
    pub fn may_follow(self, now: Arrival) -> Result<(), NeedRefusal> {
        match (now, self) {
            (Arrival::Wanted, Self::ToJob) | (Arrival::Here, Self::Back) => Ok(()),
            _ => Err(NeedRefusal::Already),
        }
    }
}

impl Cover {
    /// How stock covers a need: goods that were taken cover it, or what its job makes (`made`), else what its turn gives ([`super::Supply::serve`]). One
    /// that has no turn, because its job is closed or its operation done, gets nothing.
    #[must_use]
    pub fn of(arrival: Arrival, made: bool, turn: Option<Self>) -> Self {
        match arrival {
            Arrival::Here => Self::Taken,
            Arrival::Wanted | Arrival::Ordered if made => Self::Made,
            Arrival::Wanted | Arrival::Ordered => turn.unwrap_or(Self::Short),
        }
    }
}

impl Reserved {
    /// The casting behind a need. The job has it while it is set aside for it or used in it, and no other job does.
    #[must_use]
    pub fn of(id: Uuid, number: i64, state: ShelfState, is_the_jobs: bool) -> Self {
        Self {
            id,
            number,
            ours: is_the_jobs && matches!(state, ShelfState::Reserved | ShelfState::Used),
            state,
        }
    }
}

impl Source {
    /// Refuses to change or remove a need whose goods were taken from stock, or are made in its job for the operation that
    /// needs them.
    ///
    /// # Errors
    /// [`NeedRefusal::Taken`], [`NeedRefusal::Made`].
    pub fn may_change(&self) -> Result<(), NeedRefusal> {
        match self {
            Self::Stock {
                cover: Cover::Taken,
                ..
            } => Err(NeedRefusal::Taken),
            Self::Stock {
                cover: Cover::Made, ..
            } => Err(NeedRefusal::Made),
            _ => Ok(()),
        }
    }

    /// Refuses to say of anything that draws on a casting, stock or a tool that it has come.
    ///
    /// # Errors
    /// [`NeedRefusal::DrawsOnOther`].
    pub fn may_arrive(&self) -> Result<(), NeedRefusal> {
        match self {
            Self::Itself { .. } => Ok(()),
            _ => Err(NeedRefusal::DrawsOnOther),
        }
    }

    /// The number of the casting that it gives the job.
    #[must_use]
    pub fn our_casting(&self) -> Option<i64> {
        match self {
            Self::Casting(casting) => casting.ours.then_some(casting.number),
            _ => None,
        }
    }

    /// The item of stock it draws on.
    ///
    /// # Errors
    /// [`NeedRefusal::NotInStock`].
    pub fn item(&self) -> Result<Uuid, NeedRefusal> {
        match self {
            Self::Stock { id, .. } => Ok(*id),
            _ => Err(NeedRefusal::NotInStock),
        }
    }

    /// The status of a need with this behind it on a day.
    #[must_use]
    pub fn availability(&self, today: NaiveDate) -> Availability {
        match self {
            Self::Itself {
                arrival,
                expected_on,
            } => match arrival {
                Arrival::Here => Availability::Here,
                Arrival::Ordered => Availability::expected(*expected_on, today),
                Arrival::Wanted => Availability::Unknown,
            },
            Self::Casting(casting) if casting.ours => Availability::Here,
            Self::Casting(_) => Availability::Unknown,
            Self::Stock { cover, .. } => match cover {
                Cover::Taken | Cover::OnHand | Cover::Made => Availability::Here,
                Cover::OnOrder(day) => Availability::expected(Some(*day), today),
                Cover::Short => Availability::Unknown,
            },
            Self::Tool { loan, .. } => match loan {
                Some(loan) if !loan.ours => Availability::expected(loan.back_on, today),
                _ => Availability::Here,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, d).unwrap()
    }

    #[test]
    fn a_missing_or_past_day_is_a_hole() {
        let itself = |arrival, expected_on| Source::Itself {
            arrival,
            expected_on,
        };
        for (source, standing) in [
            (itself(Arrival::Here, None), Availability::Here),
            (
                itself(Arrival::Ordered, Some(day(9))),
                Availability::Expected(day(9)),
            ),
            (
                itself(Arrival::Ordered, Some(day(8))),
                Availability::Overdue(day(8)),
            ),
            (itself(Arrival::Ordered, None), Availability::Unknown),
            (itself(Arrival::Wanted, None), Availability::Unknown),
        ] {
            assert_eq!(source.availability(day(9)), standing, "{source:?}");
            let hole = matches!(standing, Availability::Overdue(_) | Availability::Unknown);
            assert_eq!(standing.is_hole(), hole);
        }
    }

    #[test]
    fn goods_are_taken_once_and_put_back_once_and_held_fast_in_between() {
        assert_eq!(Transfer::ToJob.may_follow(Arrival::Wanted), Ok(()));
        assert_eq!(Transfer::Back.may_follow(Arrival::Here), Ok(()));
        for (now, transfer) in [
            (Arrival::Here, Transfer::ToJob),
            (Arrival::Ordered, Transfer::ToJob),
            (Arrival::Wanted, Transfer::Back),
        ] {
            assert_eq!(transfer.may_follow(now), Err(NeedRefusal::Already));
        }
        let stock = |arrival| Source::Stock {
            id: Uuid::nil(),
            name: "Dowel".to_owned(),
            cover: Cover::of(arrival, false, Some(Cover::OnOrder(day(3)))),
        };
        let taken = stock(Arrival::Here);
        assert_eq!(taken.may_change(), Err(NeedRefusal::Taken));
        assert_eq!(taken.may_arrive(), Err(NeedRefusal::DrawsOnOther));
        assert_eq!(taken.item(), Ok(Uuid::nil()));
        let ordered = stock(Arrival::Wanted);
        assert_eq!(ordered.availability(day(1)), Availability::Expected(day(3)));
        assert_eq!(ordered.may_change(), Ok(()));
    }

    #[test]
    fn what_its_job_makes_waits_for_the_route_and_not_for_stock() {
        let made = |arrival| Source::Stock {
            id: Uuid::nil(),
            name: "Dowel".to_owned(),
            cover: Cover::of(arrival, true, None),
        };
        let wanted = made(Arrival::Wanted);
        assert_eq!(wanted.availability(day(1)), Availability::Here);
        assert_eq!(wanted.may_change(), Err(NeedRefusal::Made));
        let here = made(Arrival::Here);
        assert_eq!(here.may_change(), Err(NeedRefusal::Taken));
    }

    #[test]
    fn a_casting_counts_only_while_the_job_has_it() {
        let casting = |ours, state| Source::Casting(Reserved::of(Uuid::nil(), 4, state, ours));
        let stands = |ours, state| casting(ours, state).availability(day(1));
        assert_eq!(stands(true, ShelfState::Reserved), Availability::Here);
        assert_eq!(stands(false, ShelfState::Reserved), Availability::Unknown);
        assert_eq!(stands(false, ShelfState::Scrapped), Availability::Unknown);
        assert_eq!(stands(true, ShelfState::Scrapped), Availability::Unknown);
    }

    #[test]
    fn a_tool_is_back_when_somebody_says_or_the_job_that_has_it_is_due() {
        let tool = |ours, back_on| Source::Tool {
            id: Uuid::nil(),
            name: "Mandrel".to_owned(),
            loan: Some(Loan {
                job_id: Uuid::nil(),
                job_number: 3,
                back_on,
                ours,
            }),
        };
        let due = Some(day(12));
        assert_eq!(tool(true, due).availability(day(13)), Availability::Here);
        assert_eq!(
            tool(false, due).availability(day(1)),
            Availability::Expected(day(12))
        );
        assert_eq!(
            tool(false, due).availability(day(13)),
            Availability::Overdue(day(12))
        );
        assert_eq!(
            tool(false, None).availability(day(13)),
            Availability::Unknown
        );
    }
}
