//! How a need stands, from what stands behind it.

use super::Arrival;
use crate::db::castings_on_shelf::ShelfState;
use chrono::NaiveDate;
use uuid::Uuid;

/// How a need stands on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Met.
    Here,
    /// Expected on a day that is not past.
    Expected(NaiveDate),
    /// It should have come on that day, and has not.
    Overdue(NaiveDate),
    /// Nobody knows when.
    Unknown,
}

impl Standing {
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
    /// Where it stands.
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
    /// What is on order covers it on this day.
    OnOrder(NaiveDate),
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

impl Source {
    /// How a need with this behind it stands on a day.
    #[must_use]
    pub fn standing(&self, today: NaiveDate) -> Standing {
        match self {
            Self::Itself {
                arrival,
                expected_on,
            } => match arrival {
                Arrival::Here => Standing::Here,
                Arrival::Ordered => Standing::expected(*expected_on, today),
                Arrival::Wanted => Standing::Unknown,
            },
            Self::Casting(casting) if casting.ours => Standing::Here,
            Self::Casting(_) => Standing::Unknown,
            Self::Stock { cover, .. } => match cover {
                Cover::Taken | Cover::OnHand => Standing::Here,
                Cover::OnOrder(day) => Standing::expected(Some(*day), today),
                Cover::Short => Standing::Unknown,
            },
            Self::Tool { loan, .. } => match loan {
                Some(loan) if !loan.ours => Standing::expected(loan.back_on, today),
                _ => Standing::Here,
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
            (itself(Arrival::Here, None), Standing::Here),
            (
                itself(Arrival::Ordered, Some(day(9))),
                Standing::Expected(day(9)),
            ),
            (
                itself(Arrival::Ordered, Some(day(8))),
                Standing::Overdue(day(8)),
            ),
            (itself(Arrival::Ordered, None), Standing::Unknown),
            (itself(Arrival::Wanted, None), Standing::Unknown),
        ] {
            assert_eq!(source.standing(day(9)), standing, "{source:?}");
            let hole = matches!(standing, Standing::Overdue(_) | Standing::Unknown);
            assert_eq!(standing.is_hole(), hole);
        }
    }

    #[test]
    fn a_casting_counts_only_while_the_job_has_it() {
        let casting = |ours, state| {
            Source::Casting(Reserved {
                id: Uuid::nil(),
                number: 4,
                ours,
                state,
            })
        };
        let stands = |ours, state| casting(ours, state).standing(day(1));
        assert_eq!(stands(true, ShelfState::Reserved), Standing::Here);
        assert_eq!(stands(false, ShelfState::Reserved), Standing::Unknown);
        assert_eq!(stands(false, ShelfState::Scrapped), Standing::Unknown);
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
        assert_eq!(tool(true, due).standing(day(13)), Standing::Here);
        assert_eq!(
            tool(false, due).standing(day(1)),
            Standing::Expected(day(12))
        );
        assert_eq!(
            tool(false, due).standing(day(13)),
            Standing::Overdue(day(12))
        );
        assert_eq!(tool(false, None).standing(day(13)), Standing::Unknown);
    }
}
