//! Answers to enquiries, and quotes. A customer wants a block that is hard to find. The shop can repair the one they have,
//! convert a more common casting, take one off the shelf or look for one to buy; each option has a price, a ready day and
//! risks. All are simulated over the same number of futures and compared, so that the shop can say which option, what
//! price, which day and how sure it is. One option, frozen on the day, is a quote.

mod advice;
pub mod answer;
mod options;
mod procurement;
mod proportion;
pub mod quick;
pub mod quote;
pub mod range;
pub mod say;
pub mod simulation;
pub mod wish;

pub use answer::{
    Answer, AnswerError, Comparison, Figures, MachineTime, OptionAnswer, OptionKind, Outcome,
    PlanState, answer,
};
pub use quick::{Quick, QuickError, QuickKnowledge};
pub use range::{PriceRange, ReadyRange};
pub use simulation::Simulation;
pub use wish::{Knowledge, OwnBlock, ShelfCasting, Supply, Wish, Work};

#[cfg(test)]
mod sparse;
#[cfg(test)]
mod tests;
