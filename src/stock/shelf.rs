//! Castings on the shelf: whose they are, where they are, and which moves are allowed.

use strum::{EnumString, IntoStaticStr, VariantArray};

/// Whose a casting is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Ownership {
    /// The shop's.
    Shop,
    /// A customer's, left with the shop.
    Customer,
}

/// What crack test and measuring found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Outcome {
    /// Fit to be machined.
    Good,
    /// Not.
    Failed,
}

/// Where a casting is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ShelfState {
    /// On the shelf, free to be used.
    OnShelf,
    /// Set aside for a job.
    Reserved,
    /// Used in a job.
    Used,
    /// Scrapped.
    Scrapped,
    /// Gone back to its owner.
    Returned,
}

/// Why a casting cannot be moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotMovable {
    /// Only its job sets it aside, uses it and frees it.
    #[error("a job has it, or would have to")]
    ByItsJobOnly,
    /// The shop's own has no owner to go back to.
    #[error("it is the shop's own")]
    ShopsOwn,
}

impl ShelfState {
    /// Whether somebody may move a casting by hand: off the shelf (scrapped, returned) or back to it.
    ///
    /// # Errors
    /// [`NotMovable`].
    pub fn may_move(self, to: Self, ownership: Ownership) -> Result<(), NotMovable> {
        if [self, to]
            .iter()
            .any(|s| matches!(s, Self::Reserved | Self::Used))
        {
            return Err(NotMovable::ByItsJobOnly);
        }
        if to == Self::Returned && ownership == Ownership::Shop {
            return Err(NotMovable::ShopsOwn);
        }
        Ok(())
    }

    /// Where a casting is after its inspection: one that failed is scrap, or goes back when it is a customer's.
    #[must_use]
    pub fn after_inspection(self, outcome: Outcome, ownership: Ownership) -> Self {
        match (outcome, ownership) {
            (Outcome::Good, _) => self,
            (Outcome::Failed, Ownership::Shop) => Self::Scrapped,
            (Outcome::Failed, Ownership::Customer) => Self::Returned,
        }
    }

    /// Whether it is in the shop: only then it can be inspected.
    #[must_use]
    pub fn is_in_shop(self) -> bool {
        matches!(self, Self::OnShelf | Self::Reserved)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Ownership::{Customer, Shop};
    use ShelfState::{OnShelf, Reserved, Returned, Scrapped, Used};

    #[test]
    fn only_a_job_moves_what_it_has_and_only_a_customers_goes_back() {
        assert_eq!(OnShelf.may_move(Scrapped, Shop), Ok(()));
        assert_eq!(Scrapped.may_move(OnShelf, Shop), Ok(()));
        assert_eq!(OnShelf.may_move(Returned, Customer), Ok(()));
        assert_eq!(OnShelf.may_move(Returned, Shop), Err(NotMovable::ShopsOwn));
        for (from, to) in [(Reserved, OnShelf), (Used, Scrapped), (OnShelf, Reserved)] {
            assert_eq!(from.may_move(to, Customer), Err(NotMovable::ByItsJobOnly));
        }
        assert_eq!(Reserved.after_inspection(Outcome::Good, Shop), Reserved);
        assert_eq!(Reserved.after_inspection(Outcome::Failed, Shop), Scrapped);
        assert_eq!(
            OnShelf.after_inspection(Outcome::Failed, Customer),
            Returned
        );
    }
}
