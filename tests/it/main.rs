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
mod accessibility;
mod aftercare;
mod api;
mod api_files;
mod api_floor;
mod api_looks;
mod api_records;
mod api_stock;
mod api_work;
mod backup;
mod bargain;
mod bench;
mod bench_store;
mod browser;
mod calendars;
mod castings;
mod cli;
mod cluster;
mod clusters;
mod customers;
mod dates;
mod demo;
mod enquiry;
mod enquiry_api;
mod estimating;
mod feeds;
mod first_quote;
mod goods_in;
mod hours_by_hand;
mod imports;
mod job_list;
mod jobs_by_hand;
mod layers;
mod learning;
mod limits;
mod lists;
mod made;
mod market;
mod measured;
mod metrics;
mod migrations;
mod needs;
mod paper;
mod planner;
mod pressed_twice;
mod quick;
mod related;
mod review;
mod route_by_hand;
mod routes;
mod scans;
mod search;
mod second_factor;
mod set_up;
mod sharding;
mod shelf;
mod stays_up;
mod support;
mod tenancy;
mod threats;
mod today;
mod tour;
mod typed_text;
mod upgrades;
mod web;
mod week;
mod week_by_hand;
mod work;
