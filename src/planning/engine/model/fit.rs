//! Where work fits into the working hours of a machine and a person.

use super::{Minute, build::Shop, calendar::NEVER};

/// Start, end of the attended part and end of a stay of `attended` and then `alone` minutes on a machine.
#[inline]
pub(crate) fn earliest_fit(
    shop: &Shop,
    machine: u32,
    person: u32,
    may_pause: bool,
    from: Minute,
    attended: Minute,
    alone: Minute,
) -> (Minute, Minute, Minute) {
    let hours = shop.hours(machine);
    if attended == 0 {
        let start = if may_pause {
            from
        } else {
            hours.unbroken(from, alone)
        };
        let (start, end) = hours.pausing(start, alone);
        return (start, start, end);
    }
    let joint = shop.joint(machine, person);
    if may_pause {
        let (start, until) = joint.pausing(from, attended);
        let end = if alone == 0 {
            until
        } else {
            hours.pausing(until, alone).1
        };
        return (start, until, end);
    }
    let mut start = from;
    loop {
        let both = joint.unbroken(start, attended);
        let whole = hours.unbroken(both, attended + alone);
        if whole >= NEVER {
            return (NEVER, NEVER, NEVER);
        }
        if whole == both {
            return (whole, whole + attended, whole + attended + alone);
        }
        start = whole;
    }
}
