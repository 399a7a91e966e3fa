//! Whose hours there can be: the shop's, a machine's, a person's.

use crate::db::calendars::Owner;
use crate::db::{DbError, ShopTx, machines, people};
use crate::web::ui::forms::Choice;
use uuid::Uuid;

/// The shop first, then the machines in use, then the people who work here.
#[derive(Debug, Clone)]
pub(super) struct Owners(Vec<(Owner, String)>);

impl Owners {
    pub(super) async fn read(tx: &mut ShopTx) -> Result<Self, DbError> {
        let mut owners = vec![(Owner::Shop, "The shop".to_owned())];
        let machines = machines::machines(tx).await?;
        owners.extend(
            machines
                .into_iter()
                .filter(|machine| machine.active)
                .map(|machine| (Owner::Machine(machine.id), machine.name)),
        );
        let people = people::list(tx).await?;
        owners.extend(
            people
                .into_iter()
                .filter(|person| person.active)
                .map(|person| (Owner::Person(person.id), person.name)),
        );
        Ok(Self(owners))
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = (Owner, &str)> {
        self.0.iter().map(|(owner, name)| (*owner, name.as_str()))
    }

    pub(super) fn name(&self, owner: Owner) -> &str {
        self.iter()
            .find(|(one, _)| *one == owner)
            .map_or("no longer here", |(_, name)| name)
    }

    pub(super) fn choices(&self) -> Vec<Choice> {
        self.iter()
            .map(|(owner, name)| Choice::new(code(owner), name))
            .collect()
    }

    /// The owner of a code, if it is one of these.
    pub(super) fn find(&self, text: &str) -> Option<Owner> {
        let owner = match text.split_once(':') {
            None => (text == "shop").then_some(Owner::Shop)?,
            Some(("machine", id)) => Owner::Machine(id.parse::<Uuid>().ok()?),
            Some(("person", id)) => Owner::Person(id.parse::<Uuid>().ok()?),
            Some(_) => return None,
        };
        self.iter().any(|(one, _)| one == owner).then_some(owner)
    }
}

/// What a form sends for an owner.
pub(super) fn code(owner: Owner) -> String {
    match owner {
        Owner::Shop => "shop".to_owned(),
        Owner::Machine(id) => format!("machine:{id}"),
        Owner::Person(id) => format!("person:{id}"),
    }
}
