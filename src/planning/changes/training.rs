//! A person who learns a skill; and who is not asked for it any more. What people can do is for the owner to say.

use super::parts::plain_skill;
use super::{CannotChange, DecidedBy, Kind, PlanChange, RowChange, cannot};
use crate::planning::floor::Floor;
use crate::planning::words::person_name;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Somebody learns a skill.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Train {
    /// Who.
    pub person: Uuid,
    /// The skill, in the words in which operations ask for it.
    pub skill: String,
}

/// Somebody is not asked for a skill any more.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Untrain {
    /// Who.
    pub person: Uuid,
    /// The skill.
    pub skill: String,
}

fn skills_mut(floor: &mut Floor, person: Uuid) -> Result<&mut Vec<String>, CannotChange> {
    match floor.people.iter_mut().find(|p| p.id == person) {
        Some(person) => Ok(&mut person.skills),
        None => cannot("person", "This person no longer works here"),
    }
}

impl Kind for Train {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        plain_skill(&self.skill)?;
        let skills = skills_mut(floor, self.person)?;
        if skills.contains(&self.skill) {
            return cannot("skill", "They have this skill already");
        }
        skills.push(self.skill.clone());
        Ok(())
    }

    fn inverse(&self, _floor: &Floor) -> Option<PlanChange> {
        let Self { person, skill } = self.clone();
        Some(Untrain { person, skill }.into())
    }

    fn words(&self, floor: &Floor) -> String {
        format!("{} learns {}", person_name(floor, self.person), self.skill)
    }

    fn rows(&self) -> Vec<RowChange> {
        vec![RowChange::AddSkill {
            person: self.person,
            skill: self.skill.clone(),
        }]
    }

    fn decided_by(&self) -> DecidedBy {
        DecidedBy::Owner
    }
}

impl Kind for Untrain {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let skills = skills_mut(floor, self.person)?;
        match skills.iter().rposition(|has| *has == self.skill) {
            Some(at) => {
                skills.remove(at);
                Ok(())
            }
            None => cannot("skill", "They do not have this skill"),
        }
    }

    fn inverse(&self, _floor: &Floor) -> Option<PlanChange> {
        let Self { person, skill } = self.clone();
        Some(Train { person, skill }.into())
    }

    fn words(&self, floor: &Floor) -> String {
        format!(
            "{} is no longer asked for {}",
            person_name(floor, self.person),
            self.skill
        )
    }

    fn rows(&self) -> Vec<RowChange> {
        vec![RowChange::RemoveSkill {
            person: self.person,
            skill: self.skill.clone(),
        }]
    }

    fn decided_by(&self) -> DecidedBy {
        DecidedBy::Owner
    }
}
