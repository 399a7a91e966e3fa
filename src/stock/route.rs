//! What the route of a new job needs.

use crate::estimating::{Material, Route};
use rust_decimal::Decimal;

/// The materials of a route, each with the number of the operation it must be here for; one of no quantity is none.
pub fn materials(route: &Route) -> impl Iterator<Item = (u32, &Material)> {
    route.operations.iter().flat_map(|operation| {
        operation
            .materials
            .iter()
            .filter(|m| m.quantity > Decimal::ZERO)
            .map(|m| (operation.number, m))
    })
}
