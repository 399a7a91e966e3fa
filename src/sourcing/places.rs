//! Which places are worth looking at: what was seen there, what of it was usable, and what of that proved good.

use super::{Fate, Sighting};
use std::collections::BTreeMap;

/// What came of one place.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PlaceYield {
    /// The place, as it was written first.
    pub place: String,
    /// Seen there.
    pub seen: usize,
    /// Of those, usable at the price.
    pub usable: usize,
    /// Of those, bought and good.
    pub good: usize,
    /// Bought, and scrap.
    pub scrap: usize,
}

/// What came of each place, the one with the most good ones first, then the most usable ones. Places are told apart by their
/// words, whatever their capitals.
#[must_use]
pub fn places(sightings: &[Sighting]) -> Vec<PlaceYield> {
    let mut by_name: BTreeMap<String, PlaceYield> = BTreeMap::new();
    for s in sightings {
        let name = s.place.trim();
        let one = by_name
            .entry(name.to_lowercase())
            .or_insert_with(|| PlaceYield {
                place: name.to_owned(),
                ..PlaceYield::default()
            });
        one.seen += 1;
        one.usable += usize::from(s.acceptable);
        one.good += usize::from(s.fate == Fate::BoughtGood);
        one.scrap += usize::from(s.fate == Fate::BoughtScrap);
    }
    let mut places: Vec<PlaceYield> = by_name.into_values().collect();
    places.sort_by_key(|p| std::cmp::Reverse((p.good, p.usable, p.seen)));
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;
    use uuid::Uuid;

    #[test]
    fn places_are_ranked_by_what_came_of_them() {
        let seen = |place: &str, acceptable, fate| Sighting {
            place: place.to_owned(),
            acceptable,
            fate,
            ..Sighting::new(Uuid::nil(), Uuid::nil(), NaiveDate::default())
        };
        let places = places(&[
            seen("Harbour breakers", true, Fate::BoughtScrap),
            seen("harbour breakers ", false, Fate::PassedOver),
            seen("Farm sale", true, Fate::BoughtGood),
        ]);
        let said: Vec<_> = places
            .iter()
            .map(|p| (p.place.as_str(), p.seen, p.usable, p.good, p.scrap))
            .collect();
        assert_eq!(
            said,
            [("Farm sale", 1, 1, 1, 0), ("Harbour breakers", 2, 1, 0, 1)]
        );
    }
}
