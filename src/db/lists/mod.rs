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
pub(super) fn capped() -> i64 {
    COUNTED + 1
}

/// How many rows a list has of which so many were counted, when a part of it has so many keys. A list that is too long to be
/// counted has at least as many as were reached, and one more when there may be one.
pub(super) fn in_all(counted: i64, part: Part, found: usize) -> i64 {
    if counted <= COUNTED {
        return counted;
    }
    let found = i64::try_from(found).unwrap_or(0);
    let reached = part.skip.saturating_add(found);
    counted.max(reached.saturating_add(i64::from(found == part.rows)))
}

/// Rows in the order of these keys.
fn in_order<T>(keys: &[Uuid], rows: Vec<T>, key: impl Fn(&T) -> Uuid) -> Vec<T> {
    let mut rows: HashMap<Uuid, T> = rows.into_iter().map(|row| (key(&row), row)).collect();
    keys.iter().filter_map(|key| rows.remove(key)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whoever goes on from page to page of a list that is too long to be counted comes to its end.
    #[test]
    fn a_long_list_goes_on_as_long_as_there_are_rows() {
        let part = |skip| Part {
            descending: true,
            skip,
            rows: 50,
        };
        assert_eq!(in_all(170, part(150), 20), 170);
        assert_eq!(in_all(COUNTED, part(9_950), 50), COUNTED);
        assert_eq!(in_all(capped(), part(0), 50), capped());
        assert_eq!(in_all(capped(), part(20_000), 50), 20_051);
        assert_eq!(in_all(capped(), part(20_050), 12), 20_062);
    }
}
