//! A job's course in money: what its work so far has cost against the estimate, and what it will cost when it is done.

pub mod forecast;
