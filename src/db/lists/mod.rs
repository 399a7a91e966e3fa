//! Long lists, filtered, sorted and by pages: one file for each. A list gives its rows and how many there are in all.

mod market;
mod patterns;
mod quotes;
mod shelf;
mod stock;

pub use market::{MarketSort, MarketView, SightingSort, SightingView, market, sightings};
pub use patterns::{PatternSort, patterns};
pub use quotes::{ListedQuote, QuoteSort, QuoteView, quotes};
pub use shelf::{ShelfSort, ShelfView, shelf};
pub use stock::{ItemSort, ItemView, ToolSort, ToolView, items, tools};

use std::collections::HashMap;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// Part of a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// The last first.
    pub descending: bool,
    /// Rows left out before it.
    pub skip: i64,
    /// At most so many rows.
    pub rows: i64,
}

/// The view of a list that has only one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum OnlyView {
    /// All of it.
    #[default]
    All,
}

/// Longer lists are not counted: counting reads every row.
pub const COUNTED: i64 = 10_000;

/// So many rows are counted, to tell a list of [`COUNTED`] from a longer one.
fn capped() -> i64 {
    COUNTED + 1
}

/// Rows in the order of these keys.
fn in_order<T>(keys: &[Uuid], rows: Vec<T>, key: impl Fn(&T) -> Uuid) -> Vec<T> {
    let mut rows: HashMap<Uuid, T> = rows.into_iter().map(|row| (key(&row), row)).collect();
    keys.iter().filter_map(|key| rows.remove(key)).collect()
}
