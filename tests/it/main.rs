//! Integration tests against a real PostgreSQL. Each test has a database of its own.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::too_many_lines,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, and so do its helpers"
)]

mod access;
mod bargain;
mod bench;
mod bench_store;
mod browser;
mod calendars;
mod castings;
mod cli;
mod cluster;
mod customers;
mod dates;
mod demo;
mod enquiry;
mod enquiry_api;
mod estimating;
mod feeds;
mod goods_in;
mod job_list;
mod jobs_by_hand;
mod layers;
mod learning;
mod limits;
mod market;
mod migrations;
mod needs;
mod paper;
mod planner;
mod quick;
mod review;
mod routes;
mod scans;
mod search;
mod second_factor;
mod set_up;
mod shelf;
mod stays_up;
mod support;
mod tenancy;
mod today;
mod tour;
mod web;
mod week;
mod work;
