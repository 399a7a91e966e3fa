//! The machines and people that can do an operation.

use super::{Builder, IssueReason};
use crate::planning::engine::model::calendar::NEVER;
use crate::planning::engine::model::{Minute, Mode};
use crate::planning::floor::operation::FloorOperation;
use crate::planning::floor::snapshot::{FloorJob, FloorPerson, SAME_KEY_REMAINS};
use crate::planning::ready::has_skill;

impl Builder<'_> {
    /// The machines and people that can do an operation, after its pin. Without machines when nobody can, which is
    /// told.
    pub(super) fn eligible(
        &mut self,
        job: &FloorJob,
        operation: &FloorOperation,
    ) -> (Vec<Mode>, Vec<usize>) {
        let mut modes = self.modes(operation);
        if modes.is_empty() {
            let reason = IssueReason::NoMachine(operation.machine_kind.clone());
            self.report(job, Some(operation.id), reason);
            return (modes, Vec::new());
        }
        let attends = !operation.skill.is_empty() && operation.setup + operation.attended > 0;
        let able = |person: &FloorPerson| attends && has_skill(&person.skills, &operation.skill);
        let mut people: Vec<usize> = (0..self.floor.people.len())
            .filter(|&p| self.floor.people.get(p).is_some_and(able))
            .collect();
        if attends && people.is_empty() {
            let reason = IssueReason::NobodyFor(operation.skill.clone());
            self.report(job, Some(operation.id), reason);
            return (Vec::new(), people);
        }
        self.keep_pinned(job, operation, attends, (&mut modes, &mut people));
        if attends {
            let meets = |mode: &Mode, p: usize| {
                mode.machine
                    .and_then(|m| self.time(m, Some(p)))
                    .is_some_and(|time| time.pausing(0, 1).1 < NEVER)
            };
            modes.retain(|mode| people.iter().any(|&p| meets(mode, p)));
            people.retain(|&p| modes.iter().any(|mode| meets(mode, p)));
            if modes.is_empty() {
                self.report(job, Some(operation.id), IssueReason::NeverTogether);
            }
        }
        (modes, people)
    }

    /// A mode for each machine of the kind.
    fn modes(&self, operation: &FloorOperation) -> Vec<Mode> {
        let same_key = (operation.setup as f64 * SAME_KEY_REMAINS).ceil() as Minute;
        let machines = self.floor.machines.iter().enumerate();
        machines
            .filter(|(_, machine)| machine.kind == operation.machine_kind)
            .map(|(m, _)| Mode {
                machine: Some(m),
                setup: operation.setup,
                setup_same_key: same_key.min(operation.setup),
                run: operation.run,
                attended: operation.attended,
            })
            .collect()
    }

    /// Leaves the machine and the person that an operation is pinned to, where they can do it.
    fn keep_pinned(
        &mut self,
        job: &FloorJob,
        operation: &FloorOperation,
        attends: bool,
        (modes, people): (&mut Vec<Mode>, &mut Vec<usize>),
    ) {
        let Some(pin) = operation.pin else { return };
        let machine = pin.machine.map(|id| {
            let on = |mode: &&Mode| self.machine_of(mode) == Some(id);
            modes.iter().find(on).copied()
        });
        let person = pin.person.filter(|_| attends).map(|id| {
            let is = |p: &&usize| self.person_id(**p) == Some(id);
            people.iter().find(is).copied()
        });
        if machine == Some(None) || person == Some(None) {
            self.report(job, Some(operation.id), IssueReason::PinGone);
        }
        if let Some(Some(mode)) = machine {
            *modes = vec![mode];
        }
        if let Some(Some(person)) = person {
            *people = vec![person];
        }
    }
}
