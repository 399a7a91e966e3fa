//! Short keys of operations: a page of the week names hundreds of them, some four times over.
//!
//! The last eight digits of an operation's key are random (RFC 9562, section 5.7), so they tell the operations of a floor
//! apart; where two have the same, both go by their whole keys.

use super::sheet::Stretch;
use crate::planning::floor::Floor;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Digits of a short key.
const DIGITS: usize = 8;

/// The operations of a floor by their short keys.
#[derive(Debug, Default)]
pub(super) struct Keys(BTreeMap<String, Option<Uuid>>);

impl Keys {
    /// Of all operations of a floor.
    pub fn of(floor: &Floor) -> Self {
        Self::of_all(
            floor
                .jobs
                .iter()
                .flat_map(|job| &job.operations)
                .map(|o| o.id),
        )
    }

    fn of_all(operations: impl Iterator<Item = Uuid>) -> Self {
        let mut keys = BTreeMap::new();
        for id in operations {
            let one = keys.entry(short(id));
            one.and_modify(|found| *found = None).or_insert(Some(id));
        }
        Self(keys)
    }

    /// The key an operation goes by in an address.
    pub fn key(&self, operation: Uuid) -> String {
        let short = short(operation);
        match self.0.get(&short) {
            Some(Some(_)) => short,
            _ => operation.to_string(),
        }
    }

    /// The address of the week with an operation looked at; days that begin today need no saying.
    pub fn href(&self, floor: &Floor, stretch: Stretch, operation: Uuid) -> String {
        let key = self.key(operation);
        let today = floor.now.with_timezone(&floor.zone).date_naive();
        match (stretch.from == today, stretch.days) {
            (true, 7) => format!("/week?op={key}#operation"),
            (true, days) => format!("/week?days={days}&op={key}#operation"),
            (false, _) => format!("/week?{}&op={key}#operation", stretch.query()),
        }
    }

    /// The operation that goes by a short key.
    pub fn find(&self, key: &str) -> Option<Uuid> {
        self.0.get(key).copied().flatten()
    }
}

fn short(id: Uuid) -> String {
    let digits = id.simple().to_string();
    digits
        .get(digits.len() - DIGITS..)
        .unwrap_or(&digits)
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn operations_with_the_same_last_digits_go_by_their_whole_keys() {
        let id = |text: &str| text.parse::<Uuid>().unwrap();
        let [one, other, alone] = [
            id("01890a5d-ac96-774b-bcce-b302099a8057"),
            id("01890a5d-ac96-774b-bcce-ffff099a8057"),
            id("01890a5d-ac96-774b-bcce-b302099a8058"),
        ];
        let keys = Keys::of_all([one, other, alone].into_iter());
        assert_eq!(keys.key(alone), "099a8058");
        assert_eq!(keys.find("099a8058"), Some(alone));
        assert_eq!(keys.key(one), one.to_string());
        assert_eq!(keys.find("099a8057"), None);
    }
}
