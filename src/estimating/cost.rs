//! From a route to a price, every figure opening down to its lines.

use crate::units::Money;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// The shop's pricing policy. Percentages are whole numbers of per cent: 12.5 means 12.5 %.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Policy {
    /// Overhead on cost.
    pub overhead_percent: Decimal,
    /// Margin on the selling price before tax.
    pub margin_percent: Decimal,
    /// Tax, the shop's own setting.
    pub tax_percent: Decimal,
    /// The chance, in per cent, with which the shop wants its quoted hours and costs to suffice.
    pub confidence_percent: u32,
}

/// A figure and what it is made of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CostLine {
    /// What it is.
    pub label: String,
    /// How it was reached, e.g. "3.25 h × 42.00".
    pub how: String,
    /// The figure.
    pub amount: Money,
    /// The lines it is the sum of; empty for a leaf.
    pub lines: Vec<CostLine>,
}

/// The build-up of one option's price.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CostBuildUp {
    /// Labour, machine, material, donor, outside, failed donors, contingency, overhead, margin: summing to `net`.
    pub lines: Vec<CostLine>,
    /// Before tax.
    pub net: Money,
    /// Tax.
    pub tax: Money,
    /// What the customer pays.
    pub gross: Money,
}
