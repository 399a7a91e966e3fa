//! How far an enquiry has come.

use strum::{EnumString, IntoStaticStr, VariantArray};

/// How far an enquiry has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum EnquiryState {
    /// Not quoted and not closed.
    Open,
    /// At least one quote was given.
    Quoted,
    /// A quote was accepted.
    Won,
    /// Closed without a sale.
    Closed,
}

impl EnquiryState {
    /// What closing an enquiry, or opening it again, makes of it; `None` for one with quotes, which are accepted or
    /// declined instead.
    #[must_use]
    pub fn set_closed(self, closed: bool) -> Option<Self> {
        match (self, closed) {
            (Self::Quoted | Self::Won, _) => None,
            (_, true) => Some(Self::Closed),
            (_, false) => Some(Self::Open),
        }
    }
}
