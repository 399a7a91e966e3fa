//! What stands between the network and a screen: sessions, the gate, devices, request bodies, errors, assets, the log.

pub mod assets;
pub mod body;
pub mod brake;
pub mod budget;
pub mod device;
pub mod error;
pub mod feed_address;
pub mod gate;
pub mod health;
pub(in crate::web) mod log;
pub mod metrics;
pub(in crate::web) mod prepare;
pub mod proxies;
pub mod session;
pub mod site;
mod trace_parent;
pub mod upload;
