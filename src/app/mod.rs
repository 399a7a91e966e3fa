//! Use cases, one file each. A use case takes the [`Actor`] and what is asked of it, checks that the actor may, opens its
//! own transactions and ends them before anything long is computed; what it returns are records, figures and codes.
//! Its part within a transaction may be public too (`…_within`), for a use case made of several, the demo shop and tests.
//! What is computed is the domain's, what is stored is [`crate::db`]'s, and sentences are the screens'.

pub mod actor;
pub mod answer_enquiry;
pub mod bench_overview;
pub mod book_time;
pub mod booked_hours;
pub mod catalogue;
pub mod change_job;
pub mod change_plan;
pub mod close_enquiry;
pub mod close_job;
pub mod credentials;
pub mod current_plan;
pub mod decide_hold;
pub mod describe_casting;
pub mod drawn_plans;
pub mod due_day;
pub mod enter_job;
pub mod error;
pub mod give_quote;
pub mod job_overview;
mod kept_answer;
pub mod lapse;
pub mod learn;
pub mod learn_spread;
pub mod lend_tool;
pub mod lose_quote;
pub mod make_the_day;
pub mod meet_need;
pub mod merge_customers;
pub mod month;
pub mod move_casting;
pub mod move_stock;
pub mod name_customers;
pub mod password;
pub mod planner;
pub mod promises;
pub mod put_photo;
pub mod question;
pub mod quick_enquiry;
pub mod read_feed;
pub mod record_check;
pub mod register_device;
pub mod reopen_job;
pub mod reserve_slot;
pub mod review;
pub mod review_quotes;
pub mod save_enquiry;
pub mod say_price;
pub mod search;
pub mod set_up_shop;
pub mod settle;
pub mod shared_plans;
mod shared_results;
pub mod sign_in;
pub mod sign_on;
pub mod take_in_casting;
pub mod today;
pub mod token;
pub mod week;
pub mod win_quote;

pub use actor::Actor;
pub use error::{AppError, Refusal};
