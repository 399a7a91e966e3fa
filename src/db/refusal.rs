//! Why the rows, as they are, do not allow what was asked: codes with their figures, which the screens put into words.

use crate::jobs::JobState;

/// Why the rows, as they are, do not allow what was asked. The text is for the log.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// The job is closed.
    #[error("job {number} is closed: {state:?}")]
    JobClosed {
        /// The job's number.
        number: i64,
        /// How it was closed.
        state: JobState,
    },
    /// The operation was begun, or its job is closed, so that it cannot be moved.
    #[error("the operation was begun or its job is closed")]
    Begun,
    /// The operation has not begun, so that nobody can take it over.
    #[error("the operation has not begun")]
    NotBegun,
    /// Time or checks were booked on the operation, so that it stays in the route.
    #[error("something was booked on the operation")]
    OperationWasBooked,
    /// A pin names no machine, no person and no time.
    #[error("a pin says a machine, a person or a time")]
    EmptyPin,
    /// Another change to the plan was made after this one, or this one was undone.
    #[error("the change is not the newest")]
    NotNewestChange,
    /// The casting is a customer's, and the job somebody else's.
    #[error("casting {casting} is not of the customer of job {job}")]
    CastingOfAnother {
        /// The number on the casting's tag.
        casting: i64,
        /// Whose it is; empty when no name is known.
        owner: String,
        /// The job's number.
        job: i64,
        /// Whom the job is for; empty when no name is known.
        customer: String,
    },
    /// A job has the casting that is not its customer's, or would not be any more.
    #[error("a customer's casting goes into that customer's jobs only")]
    CustomersCasting,
    /// The casting is set aside, used or gone.
    #[error("casting {casting} is not free")]
    CastingNotFree {
        /// The number on its tag.
        casting: i64,
    },
    /// There is less on hand than is to be taken.
    #[error("there is not so much on hand")]
    NotOnHand,
    /// Stock was booked for the need, so that it cannot be removed.
    #[error("stock was booked for the need")]
    StockWasBooked,
    /// The tool is out.
    #[error("the tool is out with job {with:?}")]
    ToolIsOut {
        /// The number of the job that has it; `None` for one that took it at the same moment.
        with: Option<i64>,
    },
    /// The tool is not out with this job.
    #[error("the tool is not out with this job")]
    ToolNotWithJob,
    /// The short name of a shop is too short, too long or has other characters.
    #[error("a short name is 2 to 40 small letters, digits and hyphens")]
    ShortName,
    /// There is a shop already, so that no first one is set up.
    #[error("there is a shop already")]
    ShopStands,
}

/// What still needs a row that was to be deleted or changed. The text is for the log.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Needed {
    /// Rows of another table name it.
    #[error("rows of {table} name it")]
    By {
        /// The table.
        table: String,
    },
    /// Conversion rules ask for the element.
    #[error("conversion rules ask for element {code}")]
    ByRules {
        /// The element's code.
        code: String,
        /// The rules' names.
        rules: Vec<String>,
    },
    /// The person is the only owner who can sign in.
    #[error("the only owner who can sign in")]
    OnlyOwner,
}

/// What must be unique and would not be. The text is for the log and the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unique {
    /// The place of a crack repair.
    #[error("another crack repair is for this place")]
    CrackPlace,
    /// A name that a customer goes by.
    #[error("another customer goes by this name")]
    CustomerName,
    /// A device's name.
    #[error("another device has this name")]
    DeviceName,
    /// An element's code.
    #[error("another element has this code")]
    ElementCode,
    /// The element of a fitting text.
    #[error("another text is for this element")]
    FittingCode,
    /// A holiday's day.
    #[error("this day is a holiday already")]
    HolidayDay,
    /// The skill of a labour rate.
    #[error("this skill has a rate already")]
    LabourRateSkill,
    /// A machine's name.
    #[error("another machine has this name")]
    MachineName,
    /// A pattern's name.
    #[error("another pattern has this name")]
    PatternName,
    /// A pattern and the one its castings are made into.
    #[error("the two patterns are related already")]
    RelatedPattern,
    /// A person's sign-in name.
    #[error("somebody else signs in with this name")]
    SignIn,
    /// A conversion rule's name.
    #[error("another rule has this name")]
    RuleName,
    /// When a shift starts.
    #[error("another shift starts at this time")]
    ShiftStart,
    /// A stock item's name.
    #[error("another item has this name")]
    ItemName,
    /// A tool's name.
    #[error("another tool has this name")]
    ToolName,
    /// A variant's name.
    #[error("another variant has this name")]
    VariantName,
    /// A work material's name.
    #[error("another material has this name")]
    MaterialName,
    /// A work template's name.
    #[error("another template has this name")]
    TemplateName,
    /// A shop's short name.
    #[error("another shop has this short name")]
    ShopShortName,
}
