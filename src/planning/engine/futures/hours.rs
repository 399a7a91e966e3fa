//! Where work fits into the hours in which machine and person are there in one future.

use crate::planning::engine::model::{
    Minute,
    build::Shop,
    calendar::{NEVER, WorkingTime},
    fit::earliest_fit,
};

/// What a stay on a machine needs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Needs {
    pub may_pause: bool,
    /// Minutes with a person, first.
    pub attended: Minute,
    /// Minutes of the machine alone, then.
    pub alone: Minute,
}

/// Start, end of the attended part and end of the earliest stay, when machine and person are not there in the stretches of
/// `closed`, first the machine's and then the person's.
pub(super) fn earliest(
    shop: &Shop,
    [machine, person]: [u32; 2],
    [down, absent]: [&[(Minute, Minute)]; 2],
    from: Minute,
    needs: Needs,
) -> (Minute, Minute, Minute) {
    let Needs {
        may_pause,
        attended,
        alone,
    } = needs;
    let absent = if attended > 0 { absent } else { &[] };
    let over = |closed: &[(Minute, Minute)]| closed.last().is_none_or(|c| c.1 <= from);
    let plain = |from| earliest_fit(shop, machine, person, may_pause, from, attended, alone);
    let (start, until, end) = plain(from);
    if (over(down) && over(absent)) || end >= NEVER {
        return (start, until, end);
    }
    if !may_pause {
        let mut found = (start, until, end);
        loop {
            let (start, until, end) = found;
            let clash = meets(down, start, end).or_else(|| meets(absent, start, until));
            match clash {
                Some(c) if end < NEVER => found = plain(c.1),
                _ => return found,
            }
        }
    }
    let hours = shop.hours(machine);
    if attended == 0 {
        let (start, end) = through(hours, [down, &[]], from, alone);
        return (start, start, end);
    }
    let joint = shop.joint(machine, person);
    let (start, until) = through(joint, [down, absent], from, attended);
    match alone {
        0 => (start, until, until),
        _ if until >= NEVER => (start, until, until),
        _ => (start, until, through(hours, [down, &[]], until, alone).1),
    }
}

/// The first closed stretch that a stay meets.
fn meets(closed: &[(Minute, Minute)], start: Minute, end: Minute) -> Option<(Minute, Minute)> {
    let at = closed.partition_point(|c| c.1 <= start);
    closed.get(at).copied().filter(|c| c.0 < end.max(start + 1))
}

/// Start and end of work that stands still while closed, by its hours and otherwise.
pub(super) fn through(
    hours: &WorkingTime,
    closed: [&[(Minute, Minute)]; 2],
    from: Minute,
    work: Minute,
) -> (Minute, Minute) {
    let (mut from, mut left, mut began) = (from, work, None);
    loop {
        let (start, end) = hours.pausing(from, left);
        if end >= NEVER {
            return (began.unwrap_or(start), NEVER);
        }
        let [a, b] = closed.map(|closed| meets(closed, start, end));
        let first = match (a, b) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
        let Some((stops, goes_on)) = first else {
            return (began.unwrap_or(start), end);
        };
        if stops > start {
            began.get_or_insert(start);
            left -= hours.open_between(start, stops);
            if left <= 0 {
                return (began.unwrap_or(start), stops);
            }
        }
        from = goes_on;
    }
}
