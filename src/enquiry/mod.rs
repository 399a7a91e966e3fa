//! Answers to enquiries, and quotes. A customer wants a block that is hard to find. The shop can repair the one they have,
//! convert a more common casting, take one off the shelf or look for one to buy; each option has a price, a ready day and
//! risks. All are simulated over the same number of futures and compared, so that the shop can say which option, what
//! price, which day and how sure it is. One option, frozen on the day, is a quote.

mod advice;
pub mod answer;
pub mod bargain;
pub mod customer;
mod donors;
pub mod doubt;
mod options;
mod own_block;
mod pricing;
mod procurement;
mod proportion;
pub mod quick;
pub mod quote;
pub mod range;
pub mod related;
pub mod say;
pub mod selling;
pub mod simulation;
mod state;
mod ways;
pub mod wish;

pub use answer::{
    Answer, AnswerError, Comparison, Figures, MachineTime, OptionAnswer, OptionKind, Outcome,
    PlanState, SearchTerms, Terms, answer,
};
pub use customer::{Condition, CrackPlace, CrackRepair, Purpose};
pub use quick::{Quick, QuickError, QuickKnowledge};
pub use range::{PriceRange, ReadyRange};
pub use related::{Lasting, RelatedDonor, RelatedPattern, RelatedSupply};
pub use selling::Selling;
pub use simulation::Simulation;
pub use state::EnquiryState;
pub use wish::{Knowledge, OwnBlock, SearchLimits, ShelfCasting, Supply, Wish, Work};

#[cfg(test)]
mod bargain_tests;
#[cfg(test)]
mod sparse;
#[cfg(test)]
mod spoken;
pub mod starting;
#[cfg(test)]
mod tests;
