//! What an hour costs: the machine-hour rate worksheet and the people's rates.

use crate::units::Money;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The worksheet behind a machine-hour rate.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MachineRate {
    /// What the machine cost, installed.
    pub capital: Money,
    /// What it will fetch at the end.
    pub residual: Money,
    /// Years of life.
    pub life_years: Decimal,
    /// Interest on average capital employed, per cent a year.
    pub interest_percent: Decimal,
    /// Average power while running, kW.
    pub power_kw: Decimal,
    /// Price of a kWh.
    pub power_price: Money,
    /// Maintenance and tooling a year.
    pub maintenance_a_year: Money,
    /// Floor space, m².
    pub space_m2: Decimal,
    /// Rent, rates and heat of one m² a year.
    pub space_price: Money,
    /// Insurance a year.
    pub insurance_a_year: Money,
    /// Productive hours a year.
    pub hours_a_year: Decimal,
}

/// Hourly rates in force, as a job is costed with them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rates {
    /// By machine kind.
    pub machine: BTreeMap<String, Money>,
    /// By skill.
    pub people: BTreeMap<String, Money>,
    /// For a skill without a rate of its own.
    pub people_default: Money,
}
