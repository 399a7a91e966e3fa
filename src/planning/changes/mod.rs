//! Changes people make to the plan, or to what it rests on: one file for each kind.
//!
//! A file says everything about its kind: what it does to a [`Floor`] and what undoes it, the rows that keep it, how it
//! is described, what is refused and why, what the screen offers for it and how the entered form is read. All of that is
//! [`Kind`]; nothing outside the file of a kind asks which kind a [`PlanChange`] is. To add a kind, write its file and
//! name it below, once as a module and once in the list.
//!
//! Descriptions, labels and refusals are plain text in the file of the kind: a template elsewhere would make a second
//! file of every kind. A change is kept as JSON, tagged by its name in snake case; a name in use is never changed.

mod absence;
mod form;
mod hand_over;
mod hold;
mod in_the_way;
mod order;
mod overtime;
mod parts;
mod place;
#[cfg(test)]
mod probe;
mod rank;
mod second_machine;
#[cfg(test)]
mod tests;
mod training;

pub use form::{About, Complaint, Entered, EntryError, FormField, Input, Offer, Subject};
pub use overtime::at_work;

use super::calendar::in_reach;
use super::engine::model::plan::Plan;
use super::floor::{Floor, FloorModel, Pin, Resource, Timetable};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What a kind of change says about itself.
pub trait Kind: std::fmt::Debug {
    /// Makes the change. After an error the floor may be half changed: [`PlanChange::apply`] works on a copy.
    ///
    /// # Errors
    /// [`CannotChange`] when it is about something that is not there, has begun, is done, or cannot be done so.
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange>;

    /// The change that gives `floor` back once this one has been made to it; `None` when there is nothing to give back.
    fn inverse(&self, floor: &Floor) -> Option<PlanChange>;

    /// What is done, as a clause without a capital: "the borer is down on Thu 3 Dec (service)".
    fn words(&self, floor: &Floor) -> String;

    /// The same as the beginning of a sentence that says what comes of it.
    fn condition(&self, floor: &Floor) -> String {
        format!("If {}", self.words(floor))
    }

    /// What is written to keep it, in this order.
    fn rows(&self) -> Vec<RowChange>;

    /// The times it names.
    fn times(&self) -> Vec<DateTime<Utc>> {
        Vec::new()
    }

    /// Who may apply it.
    fn decided_by(&self) -> DecidedBy {
        DecidedBy::Office
    }

    /// Why it can be previewed and not applied, if that is so.
    fn preview_only(&self) -> Option<&'static str> {
        None
    }

    /// The plan from before with the order this change asks for, of which only the sequence of the starts counts. `None`
    /// when the change says nothing about the order.
    fn reordered(&self, _floor: &Floor, _before: &Timetable) -> Option<Timetable> {
        None
    }

    /// Whether everything else stays where it is that can: for changes that put something elsewhere or take it away, and not
    /// for those that are to bring work forward.
    fn leaves_the_rest(&self) -> bool {
        false
    }

    /// Whether `model`, that of the changed floor, has room for it; asked before a plan is made.
    ///
    /// # Errors
    /// [`CannotChange`] when it has not.
    fn fits(&self, _floor: &Floor, _model: &FloorModel) -> Result<(), CannotChange> {
        Ok(())
    }

    /// Whether a plan made of the changed floor does what was asked.
    ///
    /// # Errors
    /// [`CannotChange`] when it does not.
    fn keeps(&self, _floor: &Floor, _model: &FloorModel, _plan: &Plan) -> Result<(), CannotChange> {
        Ok(())
    }

    /// What to try in place of this change when it [does not fit](Kind::fits) the changed floor, or its plan does not
    /// [keep](Kind::keeps) it: the same a little earlier or later, for example. `before` is the plan without it.
    fn instead(
        &self,
        _floor: &Floor,
        _model: &FloorModel,
        _plan: &Plan,
        _before: &Timetable,
    ) -> Vec<PlanChange> {
        Vec::new()
    }

    /// What is offered about an operation, a machine or a person.
    fn offers(_subject: &Subject) -> Vec<Offer>
    where
        Self: Sized,
    {
        Vec::new()
    }

    /// The codes of the offers that [`Kind::read`] reads.
    fn forms() -> &'static [&'static str]
    where
        Self: Sized,
    {
        &[]
    }

    /// Reads the form of one of its offers. `None` when a field does not read, which is noted, or when what the form is
    /// about is not there.
    fn read(_form: &str, _entered: &mut Entered) -> Option<PlanChange>
    where
        Self: Sized,
    {
        None
    }
}

/// The list of kinds: makes [`PlanChange`] and hands every question to the kind it is about.
macro_rules! kinds {
    ($( $(#[$meta:meta])* $module:ident :: $name:ident ),* $(,)?) => {
        $( $(#[$meta])* pub use $module::$name; )*

        /// A change to the plan, or to what it rests on.
        #[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(tag = "change", rename_all = "snake_case")]
        pub enum PlanChange {
            $(
                $(#[$meta])*
                #[doc = concat!("See [`", stringify!($name), "`].")]
                $name($name),
            )*
        }

        $(
            $(#[$meta])*
            impl From<$name> for PlanChange {
                fn from(change: $name) -> Self {
                    Self::$name(change)
                }
            }
        )*

        impl PlanChange {
            /// The names of all kinds.
            #[cfg(test)]
            const NAMES: &[&str] = &[$( $(#[$meta])* stringify!($name) ),*];

            fn kind(&self) -> &dyn Kind {
                match self {
                    $( $(#[$meta])* Self::$name(change) => change, )*
                }
            }

            /// What can be done about an operation, a machine or a person, in the order of the list of kinds.
            #[must_use]
            pub fn offers(subject: &Subject) -> Vec<Offer> {
                let mut offers = Vec::new();
                $( $(#[$meta])* offers.extend(<$name as Kind>::offers(subject)); )*
                offers
            }

            /// Reads the form of an offer. `None` when there is no such form, when a field does not read, which is
            /// noted in `entered`, or when what it is about is not there.
            pub fn read(form: &str, entered: &mut Entered) -> Option<Self> {
                $(
                    $(#[$meta])*
                    if <$name as Kind>::forms().contains(&form) {
                        return <$name as Kind>::read(form, entered);
                    }
                )*
                None
            }
        }
    };
}

kinds! {
    place::Place,
    order::Order,
    order::NoOrder,
    place::Unpin,
    rank::Rank,
    hand_over::HandOver,
    hold::Hold,
    hold::Release,
    absence::Away,
    absence::Back,
    overtime::Overtime,
    overtime::NoOvertime,
    training::Train,
    training::Untrain,
    second_machine::SecondMachine,
    #[cfg(test)]
    probe::Probe,
}

impl PlanChange {
    /// A change from the text it is kept as, JSON.
    ///
    /// # Errors
    /// What is wrong with it, in words: it is no change, or a time in it is none that a shop plans for.
    pub fn parse(text: &str) -> Result<Self, &'static str> {
        let change: Self =
            serde_json::from_str(text).map_err(|_| "This is not a change to the plan")?;
        if change.kind().times().iter().all(|at| in_reach(*at)) {
            Ok(change)
        } else {
            Err("Enter times in the years 1970 to 2199")
        }
    }

    /// The floor with the change made.
    ///
    /// # Errors
    /// [`CannotChange`] when it is about something that is not there, has begun, is done, or cannot be done so.
    pub fn apply(&self, floor: &Floor) -> Result<Floor, CannotChange> {
        let mut changed = floor.clone();
        self.kind().apply(&mut changed)?;
        Ok(changed)
    }

    /// The change that gives the floor back as it is now, once this one has been made; `None` when there is nothing to
    /// give back.
    #[must_use]
    pub fn inverse(&self, floor: &Floor) -> Option<Self> {
        self.kind().inverse(floor)
    }

    /// As [`Kind::words`].
    #[must_use]
    pub fn words(&self, floor: &Floor) -> String {
        self.kind().words(floor)
    }

    /// As [`Kind::condition`].
    #[must_use]
    pub fn condition(&self, floor: &Floor) -> String {
        self.kind().condition(floor)
    }

    /// As [`Kind::times`].
    #[must_use]
    pub fn times(&self) -> Vec<DateTime<Utc>> {
        self.kind().times()
    }

    /// As [`Kind::rows`].
    #[must_use]
    pub fn rows(&self) -> Vec<RowChange> {
        self.kind().rows()
    }

    /// As [`Kind::decided_by`].
    #[must_use]
    pub fn decided_by(&self) -> DecidedBy {
        self.kind().decided_by()
    }

    /// As [`Kind::preview_only`].
    #[must_use]
    pub fn preview_only(&self) -> Option<&'static str> {
        self.kind().preview_only()
    }

    /// As [`Kind::reordered`].
    #[must_use]
    pub fn reordered(&self, floor: &Floor, before: &Timetable) -> Option<Timetable> {
        self.kind().reordered(floor, before)
    }

    /// As [`Kind::leaves_the_rest`].
    #[must_use]
    pub fn leaves_the_rest(&self) -> bool {
        self.kind().leaves_the_rest()
    }

    /// As [`Kind::fits`].
    ///
    /// # Errors
    /// [`CannotChange`].
    pub fn fits(&self, floor: &Floor, model: &FloorModel) -> Result<(), CannotChange> {
        self.kind().fits(floor, model)
    }

    /// As [`Kind::instead`].
    #[must_use]
    pub fn instead(
        &self,
        floor: &Floor,
        model: &FloorModel,
        plan: &Plan,
        before: &Timetable,
    ) -> Vec<PlanChange> {
        self.kind().instead(floor, model, plan, before)
    }

    /// As [`Kind::keeps`].
    ///
    /// # Errors
    /// [`CannotChange`].
    pub fn keeps(
        &self,
        floor: &Floor,
        model: &FloorModel,
        plan: &Plan,
    ) -> Result<(), CannotChange> {
        self.kind().keeps(floor, model, plan)
    }
}

/// A row that keeps part of a change. The database carries these out without knowing the change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RowChange {
    /// Pins an operation, in place of the pin it has.
    SetPin {
        /// The operation.
        operation: Uuid,
        /// Where, by whom, when.
        pin: Pin,
    },
    /// Takes the pin of an operation out.
    ClearPin {
        /// The operation.
        operation: Uuid,
    },
    /// Hands begun work over to somebody; to whoever is at it by the bookings when nobody is named.
    SetPerson {
        /// The operation.
        operation: Uuid,
        /// Who goes on with it.
        person: Option<Uuid>,
    },
    /// Puts one operation behind another.
    SetOrder {
        /// Goes first.
        first: Uuid,
        /// Goes behind it.
        second: Uuid,
    },
    /// Leaves the order of two operations to the plan.
    ClearOrder {
        /// Went first.
        first: Uuid,
        /// Went behind it.
        second: Uuid,
    },
    /// Puts a job at a place before all others, the lowest first.
    SetRank {
        /// The job.
        job: Uuid,
        /// Its place.
        place: i64,
    },
    /// Lets a job take its turn.
    ClearRank {
        /// The job.
        job: Uuid,
    },
    /// Holds a job.
    SetHold {
        /// The job.
        job: Uuid,
        /// Why.
        reason: String,
    },
    /// Releases a job.
    ClearHold {
        /// The job.
        job: Uuid,
    },
    /// Stops a machine, or notes that a person is away.
    AddStop {
        /// Who or what.
        whose: Resource,
        /// From.
        from: DateTime<Utc>,
        /// Until.
        until: DateTime<Utc>,
        /// Why.
        why: String,
    },
    /// Takes such a stop out.
    RemoveStop {
        /// Who or what.
        whose: Resource,
        /// From.
        from: DateTime<Utc>,
        /// Until.
        until: DateTime<Utc>,
    },
    /// Adds overtime.
    AddOvertime {
        /// Who or what.
        whose: Resource,
        /// From.
        from: DateTime<Utc>,
        /// Until.
        until: DateTime<Utc>,
        /// Why.
        why: String,
    },
    /// Takes overtime out.
    RemoveOvertime {
        /// Who or what.
        whose: Resource,
        /// From.
        from: DateTime<Utc>,
        /// Until.
        until: DateTime<Utc>,
    },
    /// Adds a skill.
    AddSkill {
        /// The person.
        person: Uuid,
        /// The skill.
        skill: String,
    },
    /// Takes a skill out; the one written last where it is there twice.
    RemoveSkill {
        /// The person.
        person: Uuid,
        /// The skill.
        skill: String,
    },
}

/// Resource decision a change is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecidedBy {
    /// Whoever runs the day.
    Office,
    /// The owner of the shop.
    Owner,
}

/// On which side of another operation one goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Before it, and with it what it waits for.
    Before,
    /// Directly behind it.
    Behind,
}

impl Side {
    /// Which of the two goes first, and which behind it.
    #[must_use]
    pub fn ordered(self, operation: Uuid, other: Uuid) -> (Uuid, Uuid) {
        match self {
            Self::Before => (operation, other),
            Self::Behind => (other, operation),
        }
    }
}

/// Why a change cannot be made: what to say, and beside which field.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{why}")]
pub struct CannotChange {
    /// The field of the kind's form it is about, by its name; or what it is about where no form asks for that:
    /// `operation`, `job`, `machine`, `whose`, `skill`.
    pub field: &'static str,
    /// In words.
    pub why: String,
}

fn cannot<T>(field: &'static str, why: impl Into<String>) -> Result<T, CannotChange> {
    Err(CannotChange {
        field,
        why: why.into(),
    })
}
