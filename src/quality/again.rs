//! Work that is done again on another casting, because the first is scrap.

use crate::estimating::Operation;

/// Operations renumbered to be done again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Again {
    /// The operations, with new numbers, each after the others as before.
    pub operations: Vec<Operation>,
    /// The numbers they had, in the same order.
    pub numbers: Vec<u32>,
    shift: u32,
}

/// Finished operations to be done again: a hundred, or as many hundreds as it takes, is added to their numbers, so that
/// 20 becomes 120. `largest` is the largest number the job has.
#[must_use]
pub fn again(done: &[&Operation], largest: u32) -> Again {
    let shift = (largest / 100).saturating_add(1).saturating_mul(100);
    let numbers: Vec<u32> = done.iter().map(|o| o.number).collect();
    let mut again = Again {
        operations: Vec::new(),
        numbers,
        shift,
    };
    again.operations = done
        .iter()
        .map(|o| Operation {
            number: o.number.saturating_add(shift),
            title: format!("Again: {}", o.title),
            after: o
                .after
                .iter()
                .map(|n| again.renumbered(*n).unwrap_or(*n))
                .collect(),
            ..(*o).clone()
        })
        .collect();
    again
}

impl Again {
    fn renumbered(&self, number: u32) -> Option<u32> {
        self.numbers
            .contains(&number)
            .then(|| number.saturating_add(self.shift))
    }

    /// What an operation waits for that waited for these: it waits for them the second time too.
    #[must_use]
    pub fn after(&self, before: &[u32]) -> Vec<u32> {
        let again = before.iter().filter_map(|n| self.renumbered(*n));
        before.iter().copied().chain(again).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shopfloor::tests::operation;

    #[test]
    fn what_is_done_again_keeps_its_order_and_what_waited_waits_again() {
        let operations = [
            operation(10, &[]),
            operation(20, &[10]),
            operation(30, &[10, 20]),
        ];
        // The crack test and the rough work were done; the third was not.
        let done: Vec<&Operation> = operations.iter().take(2).collect();
        let again = again(&done, 30);
        let told: Vec<(u32, Vec<u32>)> = again
            .operations
            .iter()
            .map(|o| (o.number, o.after.clone()))
            .collect();
        assert_eq!(told, [(110, vec![]), (120, vec![110])]);
        assert_eq!(again.after(&[10, 20]), [10, 20, 110, 120]);
        // A second time goes to the next hundred.
        let second = super::again(&[&again.operations[1]], 130);
        assert_eq!(second.operations[0].number, 320);
        assert_eq!(second.operations[0].after, [110]);
    }
}
