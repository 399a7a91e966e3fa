//! Takes customers in from a table that was pasted or saved by a spreadsheet: looked at first, then all of it or nothing, and
//! taken out again while nothing rests on it.

use super::{Actor, AppError};
use crate::db::customer_imports;
use crate::db::customers::{Contact, Customer};
use crate::db::people::Role;
use crate::units::table;
use std::collections::HashMap;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// The most rows of one import.
pub const MOST: usize = 2000;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Column {
    /// The customer's name.
    Name,
    /// Telephone.
    Phone,
    /// Email.
    Email,
    /// Address.
    Address,
    /// Terms of payment.
    Terms,
    /// Notes.
    Note,
    /// A person there.
    Contact,
    /// Nothing that is taken.
    Ignore,
}

impl Column {
    /// What a heading most likely means.
    #[must_use]
    pub fn guess(heading: &str) -> Self {
        let heading = heading.to_lowercase();
        let has = |words: &[&str]| words.iter().any(|word| heading.contains(word));
        if has(&["mail"]) {
            Self::Email
        } else if has(&["phone", "tel", "mobile"]) {
            Self::Phone
        } else if has(&["address", "street", "town", "postcode", "zip"]) {
            Self::Address
        } else if has(&["terms", "payment"]) {
            Self::Terms
        } else if has(&["note", "remark", "comment"]) {
            Self::Note
        } else if has(&["contact", "person"]) {
            Self::Contact
        } else if has(&["name", "customer", "company", "firm"]) {
            Self::Name
        } else {
            Self::Ignore
        }
    }

    /// The longest text it takes, in characters.
    #[must_use]
    pub fn longest(self) -> usize {
        match self {
            Self::Name | Self::Contact => 120,
            Self::Phone => 60,
            Self::Email | Self::Terms => 200,
            Self::Address => 500,
            Self::Note => 2000,
            Self::Ignore => usize::MAX,
        }
    }
}

/// What is wrong with a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// It names no customer.
    NoName,
    /// A customer goes by that name already.
    Known,
    /// An earlier row has that name: its number, counted from the heading as 1.
    Twice(usize),
    /// A text is too long for its column.
    TooLong(Column),
}

/// A table that was looked at.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Looked {
    /// Its headings.
    pub headings: Vec<String>,
    /// What each column holds.
    pub columns: Vec<Column>,
    /// What comes of its rows, with the number of each, the heading being 1.
    pub customers: Vec<(usize, Customer)>,
    /// What is wrong, by the number of the row.
    pub faults: Vec<(usize, Fault)>,
    /// Whether there are more rows than are taken at once.
    pub too_many: bool,
}

impl Looked {
    /// Whether it can be taken in as it is.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty() && !self.too_many && !self.customers.is_empty()
    }
}

/// Looks at a table, for the office. `columns` says what its columns hold; where it does not, the headings are guessed at.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn look(actor: &Actor, text: &str, columns: &[Column]) -> Result<Looked, AppError> {
    actor.require(Role::Office)?;
    let mut looked = read(text, columns);
    let names: Vec<String> = looked
        .customers
        .iter()
        .map(|(_, c)| c.name.clone())
        .collect();
    let mut tx = actor.begin().await?;
    let taken = customer_imports::taken(&mut tx, &names).await?;
    let known = looked
        .customers
        .iter()
        .zip(taken)
        .filter(|(_, taken)| *taken);
    let known: Vec<_> = known.map(|((row, _), _)| (*row, Fault::Known)).collect();
    looked.faults.extend(known);
    looked.faults.sort_by_key(|(row, _)| *row);
    Ok(looked)
}

/// Takes a table in, for the office: all of it, when nothing is wrong with it, or none. What is wrong comes back.
///
/// # Errors
/// As [`look`]; [`crate::db::DbError::Duplicate`] when somebody else has entered one of the names meanwhile.
pub async fn take(actor: &Actor, text: &str, columns: &[Column]) -> Result<Looked, AppError> {
    let looked = look(actor, text, columns).await?;
    if looked.is_sound() {
        let customers: Vec<Customer> = looked.customers.iter().map(|(_, c)| c.clone()).collect();
        actor
            .transact(Role::Office, async |tx| {
                Ok(customer_imports::insert(tx, &customers).await?)
            })
            .await?;
    }
    Ok(looked)
}

/// Takes an import out again, for the office, except what was used or changed since. Returns how many are out and how many
/// stay.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`crate::db::DbError::NotFound`].
pub async fn undo(actor: &Actor, id: Uuid) -> Result<(i64, i64), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            Ok(customer_imports::undo(tx, id).await?)
        })
        .await
}

fn read(text: &str, columns: &[Column]) -> Looked {
    let mut rows = table::rows(text).into_iter();
    let headings = rows.next().unwrap_or_default();
    let guessed = headings.iter().enumerate();
    let columns: Vec<Column> = guessed
        .map(|(at, heading)| columns.get(at).copied().unwrap_or(Column::guess(heading)))
        .collect();
    let mut looked = Looked {
        headings,
        columns,
        ..Looked::default()
    };
    let mut seen: HashMap<String, usize> = HashMap::new();
    for (row, cells) in (2..).zip(rows) {
        if looked.customers.len() == MOST {
            looked.too_many = true;
            break;
        }
        let mut customer = Customer {
            id: Uuid::now_v7(),
            version: 1,
            ..Customer::default()
        };
        for (column, cell) in looked.columns.iter().zip(&cells) {
            if cell.chars().count() > column.longest() {
                looked.faults.push((row, Fault::TooLong(*column)));
            }
            put(&mut customer, *column, cell);
        }
        let key = customer.name.to_lowercase();
        if key.trim_matches([' ', '.', ',', ';']).is_empty() {
            looked.faults.push((row, Fault::NoName));
            continue;
        }
        match seen.get(&key) {
            Some(first) => looked.faults.push((row, Fault::Twice(*first))),
            None => drop(seen.insert(key, row)),
        }
        looked.customers.push((row, customer));
    }
    looked
}

/// Puts a cell where its column belongs; several columns of one kind are joined.
fn put(customer: &mut Customer, column: Column, cell: &str) {
    if cell.is_empty() {
        return;
    }
    let (into, between) = match column {
        Column::Name => (&mut customer.name, " "),
        Column::Phone => (&mut customer.phone, ", "),
        Column::Email => (&mut customer.email, ", "),
        Column::Address => (&mut customer.address, "\n"),
        Column::Terms => (&mut customer.terms, ", "),
        Column::Note => (&mut customer.note, "\n"),
        Column::Contact => {
            customer.contacts.push(Contact {
                name: cell.to_owned(),
                ..Contact::default()
            });
            return;
        }
        Column::Ignore => return,
    };
    if !into.is_empty() {
        into.push_str(between);
    }
    into.push_str(&cell.split_whitespace().collect::<Vec<_>>().join(" "));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_are_guessed_and_faults_named_by_row() {
        let table = "Company\tTelephone\tE-mail\tTown\tBalance\nHale  Boats\t01304\ta@b.example\tDunmore\t5\n\nhale boats\t1\t\t\t\n\t2\t\t\t";
        let looked = read(table, &[]);
        let expected = [
            Column::Name,
            Column::Phone,
            Column::Email,
            Column::Address,
            Column::Ignore,
        ];
        assert_eq!(looked.columns, expected);
        assert_eq!(looked.customers[0].1.name, "Hale Boats");
        assert_eq!(looked.customers[0].1.address, "Dunmore");
        assert_eq!(looked.faults, [(3, Fault::Twice(2)), (4, Fault::NoName)]);
        let other = read(table, &[Column::Note, Column::Name]);
        assert_eq!(other.customers[0].1.name, "01304");
        assert_eq!(other.customers[0].1.note, "Hale Boats");
        let long = format!("Name\n{}", "x".repeat(121));
        assert_eq!(read(&long, &[]).faults, [(2, Fault::TooLong(Column::Name))]);
        assert!(!read("Name", &[]).is_sound());
    }
}
