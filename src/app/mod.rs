//! Use cases, one file each: who acts, what is asked, one transaction, permission, caches, background work. What is
//! computed is the domain's, what is stored is [`crate::db`]'s, and sentences are the screens'.

pub mod answer_enquiry;
pub mod book_time;
pub mod booked_hours;
pub mod close_job;
pub mod decide_hold;
pub mod job_overview;
pub mod meet_need;
pub mod move_casting;
pub mod password;
pub mod planner;
pub mod put_photo;
pub mod record_check;
pub mod settle;
pub mod take_in_casting;
