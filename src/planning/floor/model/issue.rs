//! What could not be planned as wished, and why.

use uuid::Uuid;

/// Something that could not be planned as wished.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SchedulingIssue {
    /// The job, or held slot.
    pub job: Uuid,
    /// The operation, when it is about one.
    pub operation: Option<Uuid>,
    /// IssueReason.
    pub reason: IssueReason,
}

/// IssueReason something could not be planned as wished.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum IssueReason {
    /// The job is held, for this reason.
    Held(String),
    /// The job waits for something nobody has a date for.
    NoDate(String),
    /// The shop has no machine of this kind in use.
    NoMachine(String),
    /// Nobody who works here has this skill.
    NobodyFor(String),
    /// Its machine and whoever could attend it are never there together.
    NeverTogether,
    /// It waits, through others, for itself.
    Circle,
    /// It is pinned to a machine that is not in use or not of its kind, or to a person who cannot do it.
    PinGone,
    /// It was put behind work that, by now, waits for it.
    OrderGone,
    /// It is pinned to a time at which its machine or person already does something else.
    PinTaken,
}

impl IssueReason {
    /// Whether the job is left out of the plan for it. Otherwise it is planned, but a pin or an order is not kept.
    #[must_use]
    pub fn leaves_out(&self) -> bool {
        !matches!(self, Self::PinGone | Self::PinTaken | Self::OrderGone)
    }
}

impl std::fmt::Display for IssueReason {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Held(reason) => write!(f, "on hold: {reason}"),
            Self::NoDate(what) => write!(f, "waits for “{what}”, which has no date"),
            Self::NoMachine(kind) => write!(f, "no {kind} in use"),
            Self::NobodyFor(skill) => write!(f, "nobody has the skill “{skill}”"),
            Self::NeverTogether => {
                f.write_str("the machine and anyone who can run it are never on shift together")
            }
            Self::Circle => f.write_str("its operations wait for each other"),
            Self::PinGone => f.write_str("the machine or person it is pinned to cannot do it"),
            Self::OrderGone => f.write_str("it was put after work that waits for it"),
            Self::PinTaken => f.write_str("the time it is pinned to is taken"),
        }
    }
}
