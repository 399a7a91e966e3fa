//! Integration tests against a real PostgreSQL. Each test has a database of its own.

mod browser;
mod calendars;
mod castings;
mod cli;
mod cluster;
mod demo;
mod estimating;
mod market;
mod rooms;
mod support;
mod tenancy;
mod web;
mod work;
