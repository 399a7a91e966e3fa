//! One more machine like one there is: to see what it would bring. To have it takes buying one.

use super::{CannotChange, Kind, PlanChange, RowChange, cannot};
use crate::planning::floor::{Floor, FloorMachine};
use crate::planning::words::machine_name;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// One more machine of a kind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SecondMachine {
    /// The machine there is.
    pub like: Uuid,
}

impl Kind for SecondMachine {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let Some(machine) = floor.machine(self.like) else {
            return cannot("machine", "This machine is no longer in use");
        };
        // A key no machine has: it is in nobody's books.
        let second = FloorMachine {
            id: Uuid::from_u128(!self.like.as_u128()),
            name: format!("a second {}", machine.name),
            ..machine.clone()
        };
        if floor.machine(second.id).is_none() {
            floor.machines.push(second);
        }
        Ok(())
    }

    fn inverse(&self, _floor: &Floor) -> Option<PlanChange> {
        None
    }

    fn words(&self, floor: &Floor) -> String {
        format!("if there were a second {}", machine_name(floor, self.like))
    }

    fn condition(&self, floor: &Floor) -> String {
        format!("If there were a second {}", machine_name(floor, self.like))
    }

    fn rows(&self) -> Vec<RowChange> {
        Vec::new()
    }

    fn preview_only(&self) -> Option<&'static str> {
        Some("Preview only: once the machine is bought, add it under Shop, Machines.")
    }
}
