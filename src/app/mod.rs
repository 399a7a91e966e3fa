//! Use cases, one file each. A use case takes the [`Actor`] and what is asked of it, checks that the actor may, opens its
//! own transactions and ends them before anything long is computed; what it returns are records, figures and codes.
//! What is computed is the domain's, what is stored is [`crate::db`]'s, and sentences are the screens'.

pub mod actor;
pub mod answer_enquiry;
pub mod catalogue;
pub mod change_plan;
pub mod close_enquiry;
pub mod current_plan;
pub mod drawn_plans;
pub mod error;
pub mod give_quote;
pub mod lapse;
pub mod lose_quote;
pub mod password;
pub mod planner;
pub mod reserve_slot;
pub mod save_enquiry;
mod shared_results;
pub mod week;
pub mod win_quote;

pub use actor::Actor;
pub use error::{AppError, Refusal};
