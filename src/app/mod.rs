//! Use cases, one file each: who acts, what is asked, one transaction, permission, caches, background work. What is
//! computed is the domain's, what is stored is [`crate::db`]'s, and sentences are the screens'.

pub mod answer_enquiry;
pub mod password;
pub mod planner;
