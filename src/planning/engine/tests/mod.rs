//! Tests of the whole engine: random shops, published instances, proved shops and theorems.

mod extremes;
mod longest_lags;
mod objective;
mod property;
mod published;
mod reference;
mod theorems;
