//! How much of an item there is, and how much is to be ordered.

use rust_decimal::Decimal;

/// The quantities of an item, in its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Level {
    /// On hand.
    pub on_hand: Decimal,
    /// What open jobs still need of it.
    pub wanted: Decimal,
    /// On order and not received.
    pub on_order: Decimal,
    /// Below this it is to be ordered; `None`: bought when a job asks.
    pub minimum: Option<Decimal>,
}

impl Level {
    /// How much it falls short of its minimum, with what jobs still need taken off and what is on order added. `None`
    /// when it has no minimum or does not fall short.
    #[must_use]
    pub fn short_by(&self) -> Option<Decimal> {
        let free = self
            .on_hand
            .checked_add(self.on_order)?
            .checked_sub(self.wanted)?;
        let short = self.minimum?.checked_sub(free)?;
        (short > Decimal::ZERO).then_some(short)
    }

    /// How much is missing for the open jobs, with what is on order. `None` when there is enough for them.
    #[must_use]
    pub fn missing(&self) -> Option<Decimal> {
        let there = self.on_hand.checked_add(self.on_order)?;
        let missing = self.wanted.checked_sub(there)?;
        (missing > Decimal::ZERO).then_some(missing)
    }

    /// Whether what is on hand is below the minimum, whatever is on order.
    #[must_use]
    pub fn is_low(&self) -> bool {
        self.minimum.is_some_and(|minimum| self.on_hand < minimum)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(on_hand: i64, wanted: i64, on_order: i64, minimum: Option<i64>) -> Level {
        Level {
            on_hand: on_hand.into(),
            wanted: wanted.into(),
            on_order: on_order.into(),
            minimum: minimum.map(Decimal::from),
        }
    }

    #[test]
    fn what_is_to_be_ordered_is_free_stock_against_the_minimum() {
        assert_eq!(level(10, 0, 0, None).short_by(), None);
        assert_eq!(level(10, 0, 0, Some(10)).short_by(), None);
        assert_eq!(level(10, 4, 0, Some(10)).short_by(), Some(4.into()));
        assert_eq!(level(10, 4, 4, Some(10)).short_by(), None);
        assert_eq!(level(2, 9, 1, Some(5)).short_by(), Some(11.into()));
        assert_eq!(
            level(45, 28, 0, Some(20)).missing(),
            None,
            "enough for the jobs"
        );
        assert_eq!(level(2, 9, 1, Some(5)).missing(), Some(6.into()));
        assert!(level(4, 0, 100, Some(5)).is_low() && !level(5, 0, 0, Some(5)).is_low());
    }
}
