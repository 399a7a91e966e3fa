//! Integration tests against a real PostgreSQL. Each test has a database of its own.

mod cluster;
mod market;
mod rooms;
mod support;
mod tenancy;
mod work;
