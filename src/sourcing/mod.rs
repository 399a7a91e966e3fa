//! Hunting a scarce casting. Anyone who has waited for a block to turn up knows three things matter: how long until
//! one is for sale that is worth having, what it will cost, and whether it is any good once it is on the bench. A shop
//! that writes down every one it sees can say something about all three; a shop that has seen two in a year can say
//! little, and the answer must then be wide and say so.
//!
//! Each of the three has the simplest model that learns from counts as small as these, with a stated opinion to start
//! from ([`Watch`]): [`Wait`], [`Price`], [`Good`]. [`Outlook`] holds them with the [`Evidence`] behind them, and
//! [`Hunt`] draws whole futures of hunting: failed purchases, carriage included.
//!
//! ```
//! use borewright::sourcing::{Fate, Hunt, Inspected, Outlook, Sighting, Watch};
//! use borewright::units::{Currency, Money};
//! use chrono::NaiveDate;
//! use rand::SeedableRng;
//! use rust_decimal::Decimal;
//! use uuid::Uuid;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let gbp = Currency::from_code("GBP")?;
//! let pounds = |n: i64| Money::new(Decimal::from(n), gbp);
//! let day = |m, d| NaiveDate::from_ymd_opt(2026, m, d).unwrap_or_default();
//!
//! // A year of watch; three worth having were seen, one was bought and proved sound.
//! let watch = Watch { likely_price: Some(pounds(900)), ..Watch::new(Uuid::nil(), day(1, 1), gbp) };
//! let seen = |on, asked, fate| Sighting {
//!     asked: Some(pounds(asked)),
//!     fate,
//!     ..Sighting::new(Uuid::nil(), Uuid::nil(), on)
//! };
//! let sightings = [
//!     seen(day(2, 10), 850, Fate::SoldElsewhere),
//!     seen(day(6, 3), 1100, Fate::BoughtGood),
//!     seen(day(11, 20), 950, Fate::SoldElsewhere),
//! ];
//! let outlook = Outlook::new(&watch, &sightings, day(12, 31), gbp, Inspected::default())?;
//!
//! // Three and the opinion's one, over 365 days and the opinion's 180: about as likely as not within 103 days …
//! assert_eq!(outlook.wait.quantile(0.5).round(), 103.0);
//! // … but it takes 270 days to be right eight times in ten.
//! assert_eq!(outlook.wait.quantile(0.8).round(), 270.0);
//!
//! let hunt = Hunt::new(&watch, outlook, &sightings, day(12, 31), pounds(40))?;
//! let mut rng = rand_pcg::Pcg64::seed_from_u64(7);
//! let future = hunt.sample(&mut rng);
//! assert!(future.bought >= future.failed);
//! # Ok(())
//! # }
//! ```

pub mod good;
pub mod hunt;
pub mod outlook;
pub mod places;
pub mod price;
pub mod sighting;
pub mod survival;
pub mod trend;
pub mod wait;
pub mod watch;

pub use good::Good;
pub use hunt::{Hunt, HuntFuture, Limits};
pub use outlook::{Evidence, Inspected, Outlook};
pub use price::{Price, PriceOpinion};
pub use sighting::{Fate, Sighting};
pub use wait::Wait;
pub use watch::{PriceRangeOpinion, WIDEST_FACTOR, Watch};

/// A figure that a model cannot be built from.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Unusable(pub String);

impl Unusable {
    fn of(what: impl std::fmt::Display) -> Self {
        Self(what.to_string())
    }
}
