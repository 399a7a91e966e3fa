//! What planning may not move: work that was begun, work that somebody pinned, and what comes from outside.

use super::{Dispatch, Stay};
use crate::planning::engine::futures::hours::through;
use crate::planning::engine::{
    model::{Minute, build::NONE},
    timing::Choice,
};

/// What planning may not move.
#[derive(Debug, Clone, Copy)]
pub(super) enum Given {
    /// Begun: where, by whom, attended minutes and others as planned.
    Started {
        machine: u32,
        person: u32,
        attended: Minute,
        alone: Minute,
        end: Minute,
    },
    /// Work sent out, or something that comes, from the origin on.
    Away(Minute),
}

impl Dispatch<'_> {
    /// Notes what planning may not move of an operation.
    pub(super) fn give(&mut self, i: u32) {
        let shop = self.shop;
        let Some(f) = shop.fixed[i as usize] else {
            return;
        };
        let machine = shop.modes(i)[f.mode].machine;
        let person = f.person.map_or(NONE, |p| p as u32);
        if machine as usize >= shop.machines() {
            if f.start <= 0 {
                self.given.push((i, Given::Away(f.end)));
                return;
            }
        } else if f.start <= 0 {
            let attended = match person {
                NONE => 0,
                p => shop.joint(machine, p).open_between(0, f.attended_until),
            };
            let alone = shop
                .hours(machine)
                .open_between(f.attended_until.max(0), f.end);
            self.given.push((
                i,
                Given::Started {
                    machine,
                    person,
                    attended,
                    alone,
                    end: f.end,
                },
            ));
            return;
        } else {
            self.kept[machine as usize].push((f.start, f.end, i));
            if person != NONE {
                self.kept[shop.machines() + person as usize].push((f.start, f.attended_until, i));
            }
        }
        self.pinned[i as usize] = true;
        self.turns[i as usize].0 = f.start;
        self.choice[i as usize] = Choice {
            mode: f.mode as u32,
            person,
        };
        self.order.push(i);
    }

    /// What becomes of started work: it takes what is left of it.
    pub(super) fn given_stay(&self, op: u32, given: Given) -> Stay {
        let known = self.draws.is_known(op);
        let left = self.draws.run[op as usize];
        match given {
            Given::Away(end) => Stay {
                machine: self.shop.machines() as u32,
                person: NONE,
                start: 0,
                attended_until: 0,
                end: match known {
                    // An arrival is a delivery: its minutes from now are what varies.
                    true => (end as f64 * left).round() as Minute,
                    false => left.round() as Minute,
                },
                minutes: left.round() as Minute,
            },
            Given::Started {
                machine,
                person,
                attended,
                alone,
                end,
            } => {
                let planned = (attended + alone).max(1) as f64;
                let scale = if known { 1.0 } else { left / planned };
                let minutes = |m: Minute| (m as f64 * scale).round() as Minute;
                let (attended, alone) = (minutes(attended), minutes(alone));
                let closed = self.closed(machine, person);
                let until = match attended {
                    0 => 0,
                    _ => through(self.shop.joint(machine, person), closed, 0, attended).1,
                };
                let hours = self.shop.hours(machine);
                let ends = match alone {
                    0 => until,
                    _ => through(hours, [closed[0], &[]], until, alone).1,
                };
                Stay {
                    machine,
                    person,
                    start: 0,
                    attended_until: until,
                    end: if known { ends.max(end) } else { ends },
                    minutes: attended + alone,
                }
            }
        }
    }
}
