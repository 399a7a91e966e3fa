//! What planning may not move: work that was begun, and work pinned to a time.

use super::{Builder, Draft, IssueReason, SchedulingIssue, StandIn};
use crate::estimating::variation::{Factor, Shares};
use crate::planning::calendar::ceil_minute;
use crate::planning::engine::model::calendar::NEVER;
use crate::planning::engine::model::{Fixed, Minute, Mode};
use crate::planning::floor::operation::{FloorOperation, Progress};
use crate::planning::floor::snapshot::{FloorJob, LEAST_LEFT};

/// Minutes by the clock by which an absence must put off the attended part of begun work before somebody else goes on with
/// it: a shorter one is waited for. Common practice, no source.
const AWAY_TOO_LONG: Minute = 240;

/// What is left in the mean of work planned to take `total`, given that it takes longer than `worked`; where its time does
/// not vary, at least a share of it.
fn mean_left(total: Minute, worked: Minute, varies: Factor) -> Minute {
    if varies.is_one() || total <= 0 {
        let least = ((total as f64 * LEAST_LEFT).ceil() as Minute).max(1);
        return (total - worked).max(least);
    }
    let whole = total as f64;
    let takes = whole * varies.mean_above(worked as f64 / whole);
    ((takes - worked as f64).ceil() as Minute).max(1)
}

/// What is left of a started operation: all of it, and the part that is attended.
fn left(operation: &FloorOperation, worked: Minute, shares: &Shares) -> (Minute, Minute) {
    let own = Factor::of_cv(operation.spread);
    let varies = [shares.person, shares.element, shares.job, own]
        .into_iter()
        .fold(shares.shop, Factor::times);
    let left = mean_left(operation.setup + operation.run, worked, varies);
    let attended = operation.setup + operation.attended;
    let attended = if operation.attended == operation.run {
        left
    } else {
        (attended - worked).clamp(0, left)
    };
    (left, attended)
}

/// What is left of work sent out `ago` (negative minutes).
fn outside_remainder(operation: &FloorOperation, ago: Minute, shares: &Shares) -> Fixed {
    Fixed {
        mode: 0,
        person: None,
        start: 0,
        attended_until: 0,
        end: mean_left(operation.work(), -ago, shares.outside),
    }
}

/// What a started operation still takes when it goes on now.
struct Remainder {
    machine: usize,
    person: Option<usize>,
    /// Who began it, when somebody else goes on with it because they are away.
    away: Option<usize>,
    /// The mode in which what is left of it is done, now or later.
    mode: Mode,
    /// Whether a person attends any of it.
    attended: bool,
    attended_until: Minute,
    end: Minute,
    worked: Minute,
}

impl<'a> Builder<'a> {
    /// Fixes what is being worked on now: the operation begun last on each machine and by each person; the others
    /// begun stand half done and keep their machine.
    pub(super) fn fix_started(&mut self, drafts: &mut [(&'a FloorJob, Vec<Draft<'a>>)]) {
        let mut started: Vec<(&'a FloorJob, &mut Draft<'a>)> = drafts
            .iter_mut()
            .flat_map(|(job, drafts)| drafts.iter_mut().map(|draft| (*job, draft)))
            .filter(|(_, draft)| matches!(draft.operation.progress, Progress::Started { .. }))
            .collect();
        let since = |draft: &Draft| match draft.operation.progress {
            Progress::Started { since, .. } => since,
            _ => None,
        };
        started.sort_by_key(|(job, draft)| {
            (
                std::cmp::Reverse(since(draft)),
                job.number,
                draft.operation.number,
            )
        });
        for (job, draft) in started {
            let ago = since(draft).map_or(0, |at| (ceil_minute(at) - self.origin).min(0));
            if draft.operation.outside_days.is_some() {
                draft.fixed = Some(outside_remainder(draft.operation, ago, &self.shares));
                draft.worked = Some(-ago);
                continue;
            }
            let Some(left) = self.remainder(draft, ago) else {
                continue;
            };
            if left.end >= NEVER {
                self.report(job, Some(draft.operation.id), IssueReason::NeverTogether);
                continue;
            }
            draft.modes = vec![left.mode];
            draft.worked = Some(left.worked);
            let attendant = left.person.filter(|_| left.attended);
            let person = attendant.map(|p| self.machines.len() + p);
            if self.is_free(left.machine) && person.is_none_or(|p| self.is_free(p)) {
                self.take(left.machine, (0, left.end));
                self.set_up
                    .push((left.machine, left.end, &draft.operation.setup_key));
                if let Some(p) = person {
                    self.take(p, (0, left.attended_until));
                }
                draft.fixed = Some(Fixed {
                    mode: 0,
                    person: left.person,
                    start: 0,
                    attended_until: left.attended_until,
                    end: left.end,
                });
                let away = left.away.and_then(|p| self.person_id(p));
                let by = left.person.and_then(|p| self.person_id(p));
                let stand_in = away.zip(by).map(|(for_whom, by)| StandIn {
                    operation: draft.operation.id,
                    for_whom,
                    by,
                });
                self.stand_ins.extend(stand_in);
            }
        }
    }

    /// What is left of an operation begun `ago` (negative minutes): on the machine and by the person that were booked,
    /// or whoever is free when nobody was. `None` when it has no such machine.
    fn remainder(&self, draft: &Draft, ago: Minute) -> Option<Remainder> {
        let operation = draft.operation;
        let Progress::Started {
            machine, person, ..
        } = operation.progress
        else {
            return None;
        };
        let mut modes = draft.modes.iter();
        let mode = match machine {
            Some(id) => modes.position(|m| self.machine_of(m) == Some(id)),
            None => modes.position(|m| m.machine.is_some_and(|m| self.is_free(m))),
        };
        let way = draft.modes.get(mode.unwrap_or(0)).copied()?;
        let on = way.machine?;
        let mut people = draft.people.iter().copied();
        let attendant = match person {
            Some(id) => people.find(|&p| self.person_id(p) == Some(id)),
            None => people.find(|p| self.is_free(self.machines.len() + p)),
        };
        let attendant = attendant.or(draft.people.first().copied());
        let worked = self.time(on, attendant)?.open_between(ago, 0);
        let (left, attended) = left(operation, worked, &self.shares);
        let goes_on = self.goes_on_with(draft, on, attendant, (left, attended));
        let (attended_until, end) = self.rest(on, goes_on, (left, attended))?;
        Some(Remainder {
            machine: on,
            person: goes_on,
            away: attendant.filter(|_| goes_on != attendant),
            mode: Mode {
                run: left,
                attended,
                ..way
            },
            attended: attended > 0,
            attended_until,
            end,
            worked,
        })
    }

    /// When the attended part of what is left and all of it end, gone on with now.
    fn rest(
        &self,
        machine: usize,
        person: Option<usize>,
        (left, attended): (Minute, Minute),
    ) -> Option<(Minute, Minute)> {
        let attended_until = match attended {
            0 => 0,
            minutes => self.time(machine, person)?.pausing(0, minutes).1,
        };
        let end = match (left - attended, self.machines.get(machine)) {
            (0, _) => attended_until,
            (rest, Some(machine)) => machine.pausing(attended_until, rest).1,
            (_, None) => NEVER,
        };
        Some((attended_until, end))
    }

    /// Who goes on with what is left: whoever is at it, unless they are away for so long that somebody free who can do it
    /// ends it sooner.
    fn goes_on_with(
        &self,
        draft: &Draft,
        machine: usize,
        at_it: Option<usize>,
        (left, attended): (Minute, Minute),
    ) -> Option<usize> {
        let attendant = at_it.filter(|_| attended > 0);
        let kept_away = attendant.and_then(|p| Some((p, self.without_stops(p)?)));
        let Some((person, there)) = kept_away else {
            return at_it;
        };
        let Some((until, _)) = self.rest(machine, at_it, (left, attended)) else {
            return at_it;
        };
        let joint = self.machines.get(machine).map(|hours| hours.and(&there));
        let would = joint.map_or(until, |joint| joint.pausing(0, attended).1);
        if until - would < AWAY_TOO_LONG {
            return at_it;
        }
        let others = draft.people.iter().copied();
        let others = others.filter(|&p| p != person && self.is_free(self.machines.len() + p));
        let soonest = others
            .filter_map(|p| Some((self.rest(machine, Some(p), (left, attended))?.0, p)))
            .min();
        match soonest {
            Some((ends, other)) if ends < until => Some(other),
            _ => at_it,
        }
    }

    /// Whether fixed work leaves a machine or person free altogether.
    fn is_free(&self, resource: usize) -> bool {
        self.taken.get(resource).is_some_and(Vec::is_empty)
    }

    fn take(&mut self, resource: usize, stay: (Minute, Minute)) {
        if stay.0 < stay.1
            && let Some(taken) = self.taken.get_mut(resource)
        {
            taken.push(stay);
        }
    }

    /// Gives pinned operations their time, where it is still to come and nobody else's; the first to be pinned first.
    pub(super) fn fix_pinned(&mut self, drafts: &mut [(&'a FloorJob, Vec<Draft<'a>>)]) {
        let mut not_kept: Vec<SchedulingIssue> = Vec::new();
        let mut pinned: Vec<(&FloorJob, &mut Draft, Minute)> = drafts
            .iter_mut()
            .flat_map(|(job, drafts)| drafts.iter_mut().map(|draft| (*job, draft)))
            .filter(|(_, draft)| {
                draft.fixed.is_none() && draft.operation.progress == Progress::Queued
            })
            .filter_map(|(job, draft)| {
                let start = ceil_minute(draft.operation.pin?.start?) - self.origin;
                (start >= 0).then_some((job, draft, start))
            })
            .collect();
        pinned.sort_by_key(|(job, draft, start)| (*start, job.number, draft.operation.number));
        for (job, draft, start) in pinned {
            let operation = draft.operation;
            if operation.outside_days.is_some() {
                draft.fixed = Some(Fixed {
                    mode: 0,
                    person: None,
                    start,
                    attended_until: start,
                    end: start + operation.work(),
                });
                continue;
            }
            let people: Vec<Option<usize>> = if draft.people.is_empty() {
                vec![None]
            } else {
                draft.people.iter().copied().map(Some).collect()
            };
            let ways = draft.modes.iter().enumerate();
            let best = ways
                .flat_map(|(k, mode)| people.iter().map(move |&person| (k, mode, person)))
                .filter_map(|(k, mode, person)| {
                    let on = mode.machine?;
                    let (start, attended_until, end) = self
                        .stay_on_its_setup(mode, person, start, operation)
                        .or_else(|| self.stay(mode, person, start, operation.may_pause))?;
                    let fits = end < NEVER
                        && self.open(on, (start, end))
                        && person.is_none_or(|p| {
                            self.open(self.machines.len() + p, (start, attended_until))
                        });
                    fits.then_some(Fixed {
                        mode: k,
                        person,
                        start,
                        attended_until,
                        end,
                    })
                })
                .min_by_key(|fixed| fixed.end);
            match best {
                Some(fixed) => {
                    let on = draft.modes.get(fixed.mode).and_then(|mode| mode.machine);
                    if let Some(on) = on {
                        self.take(on, (fixed.start, fixed.end));
                        self.set_up.push((on, fixed.end, &operation.setup_key));
                    }
                    if let Some(p) = fixed.person {
                        self.take(self.machines.len() + p, (fixed.start, fixed.attended_until));
                    }
                    draft.fixed = Some(fixed);
                }
                None => not_kept.push(SchedulingIssue {
                    job: job.id,
                    operation: Some(operation.id),
                    reason: IssueReason::PinTaken,
                }),
            }
        }
        self.issues.append(&mut not_kept);
    }

    /// As [`Self::stay`], where it finds its setup on the machine: right behind fixed work of the same key, with no minute
    /// between in which something else could be set up.
    fn stay_on_its_setup(
        &self,
        mode: &Mode,
        person: Option<usize>,
        start: Minute,
        operation: &FloorOperation,
    ) -> Option<(Minute, Minute, Minute)> {
        let on = mode.machine?;
        let follows = Mode {
            setup: mode.setup_same_key,
            ..*mode
        };
        let stay = self.stay(&follows, person, start, operation.may_pause)?;
        let machine = self.machines.get(on)?;
        let key = operation.setup_key.as_str();
        let mut before = self.set_up.iter().filter(|(m, _, k)| *m == on && *k == key);
        let found =
            before.any(|(_, end, _)| *end <= start && machine.open_between(*end, stay.0) == 0);
        (found && !key.is_empty()).then_some(stay)
    }

    /// Start, end of the attended part and end of an operation that begins as soon as it can from `start`, in one piece
    /// if it may not pause.
    fn stay(
        &self,
        mode: &Mode,
        person: Option<usize>,
        start: Minute,
        may_pause: bool,
    ) -> Option<(Minute, Minute, Minute)> {
        let machine = self.machines.get(mode.machine?)?;
        let time = self.time(mode.machine?, person)?;
        let (with, rest) = (mode.setup + mode.attended, mode.run - mode.attended);
        if may_pause {
            let (start, attended_until) = time.pausing(start, with);
            let end = match rest {
                0 => attended_until,
                rest => machine.pausing(attended_until, rest).1,
            };
            return Some((start, attended_until, end));
        }
        let mut start = start;
        while start < NEVER {
            let both = time.unbroken(start, with);
            let whole = machine.unbroken(both, with + rest);
            if whole == both {
                return Some((whole, whole + with, whole + with + rest));
            }
            start = whole;
        }
        None
    }

    /// Whether fixed work leaves a stay of a machine or person free.
    fn open(&self, resource: usize, stay: (Minute, Minute)) -> bool {
        self.taken
            .get(resource)
            .is_some_and(|taken| taken.iter().all(|t| t.1 <= stay.0 || stay.1 <= t.0))
    }
}
