//! The answer to the phone. A caller wants a block that can hardly be found. The shop can repair what the caller has,
//! convert a commoner casting, take one off the shelf or go hunting; each has a price, a day and a risk. All of them
//! are played through the same number of futures and laid side by side, so that the shop can say which way, what
//! price, which day, how sure.

mod advice;
pub mod answer;
mod options;
mod proportion;
pub mod quote;
pub mod range;
pub mod say;
pub mod wish;

pub use answer::{
    Answer, AnswerError, Comparison, Figures, MachineTime, OptionAnswer, OptionKind, Outcome,
    PlanState, Simulation, answer,
};
pub use range::{PriceRange, ReadyRange};
pub use wish::{Knowledge, OwnBlock, ShelfCasting, Supply, Wish, Work};

#[cfg(test)]
mod sparse;
#[cfg(test)]
mod tests;
