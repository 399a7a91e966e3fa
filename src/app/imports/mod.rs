//! Takes in a table that was pasted or saved by a spreadsheet: looked at first, then all of it or nothing, and taken out
//! again while nothing rests on it. One file for each kind of table.

mod castings;
mod customers;
mod past_work;
mod sightings;
mod stock;

use super::{Actor, AppError, once};
use crate::db::api_requests::Keyed;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, imports};
use crate::units::table;
use crate::units::{Code, DateOrder};
use std::collections::HashMap;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// The most rows of one import.
pub const MOST: usize = 2000;

/// What a table is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "kebab-case")]
pub enum Kind {
    /// Customers.
    Customers,
    /// Castings on the shelf.
    Castings,
    /// Items of stock, with what is on hand.
    Stock,
    /// Castings seen for sale.
    Sightings,
    /// Work done in the past, with the hours it took.
    PastWork,
}

/// A column that a kind of table may have.
#[derive(Debug, PartialEq, Eq)]
pub struct Column {
    /// Its code.
    pub code: &'static str,
    /// A heading with one of these words in it most likely means this column; the first column that fits is taken.
    headings: &'static [&'static str],
    /// The longest text it takes, in characters.
    pub longest: usize,
}

impl Column {
    const fn new(code: &'static str, headings: &'static [&'static str], longest: usize) -> Self {
        Self {
            code,
            headings,
            longest,
        }
    }
}

/// What is wrong with a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// A column that must not be empty is: its code.
    Missing(&'static str),
    /// It is on record already.
    Known,
    /// An earlier row says the same: its number, counted from the heading as 1.
    Twice(usize),
    /// A text is too long for its column: its code, and the limit in characters.
    TooLong(&'static str, usize),
    /// The shop has nothing of that name: the column's code, and what was said.
    Unknown(&'static str, String),
    /// It does not read: the column's code, and why in words.
    Unread(&'static str, String),
}

/// A table that was looked at.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Looked {
    /// Its headings.
    pub headings: Vec<String>,
    /// The code of what each column holds; `None` for what is not taken.
    pub columns: Vec<Option<&'static str>>,
    /// Its rows that read, with the number of each, the heading being 1: what each column that is taken says.
    pub rows: Vec<(usize, Vec<(&'static str, String)>)>,
    /// What is wrong, by the number of the row.
    pub faults: Vec<(usize, Fault)>,
    /// Whether there are more rows than are taken at once.
    pub too_many: bool,
}

impl Looked {
    /// Whether it can be taken in as it is.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty() && !self.too_many && !self.rows.is_empty()
    }
}

/// A table as it was sent.
#[derive(Debug, Clone, Copy)]
pub struct Sent<'a> {
    /// The table.
    pub text: &'a str,
    /// What its columns hold, by their codes; where it says nothing, the headings are guessed at.
    pub columns: &'a [String],
    /// How it writes dates.
    pub dates: DateOrder,
}

/// One kind of table.
trait Sheet {
    const KIND: Kind;
    const COLUMNS: &'static [Column];
    /// What a row becomes.
    type Row;
    /// What must be known of the shop to read one.
    type Around;

    async fn around(tx: &mut ShopTx) -> Result<Self::Around, DbError>;

    fn read(cells: &Cells<'_>, around: &Self::Around) -> Result<Self::Row, Fault>;

    /// What no two rows may have in common.
    fn key(row: &Self::Row) -> Option<String>;

    /// Which rows are on record already.
    async fn known(tx: &mut ShopTx, rows: &[Self::Row]) -> Result<Vec<bool>, DbError>;

    /// Enters the rows and gives their keys.
    async fn insert(tx: &mut ShopTx, rows: Vec<Self::Row>) -> Result<Vec<Uuid>, DbError>;
}

/// The cells of a row by the codes of their columns.
struct Cells<'a> {
    of: HashMap<&'static str, Vec<&'a str>>,
    dates: DateOrder,
}

impl Cells<'_> {
    /// What a column says, several of its kind with `between` between them; empty when it says nothing.
    fn joined(&self, code: &str, between: &str) -> String {
        let cells = self.of.get(code).map_or(&[][..], Vec::as_slice);
        let tidy = |cell: &&str| cell.split_whitespace().collect::<Vec<_>>().join(" ");
        cells.iter().map(tidy).collect::<Vec<_>>().join(between)
    }

    fn get(&self, code: &str) -> String {
        self.joined(code, " ")
    }

    fn must(&self, code: &'static str) -> Result<String, Fault> {
        Some(self.get(code))
            .filter(|text| !text.is_empty())
            .ok_or(Fault::Missing(code))
    }

    /// What a column says, read; `None` when it says nothing.
    fn read<T, E: std::fmt::Display>(
        &self,
        code: &'static str,
        read: impl FnOnce(&str) -> Result<T, E>,
    ) -> Result<Option<T>, Fault> {
        match self.get(code) {
            text if text.is_empty() => Ok(None),
            text => {
                let unread = |why: E| Fault::Unread(code, why.to_string());
                read(&text).map(Some).map_err(unread)
            }
        }
    }

    fn date(&self, code: &'static str) -> Result<Option<chrono::NaiveDate>, Fault> {
        self.read(code, |text| self.dates.read(text))
    }

    /// One of a few words, each with the texts that mean it.
    fn word<T: Copy>(&self, code: &'static str, words: &[(&str, T)]) -> Result<Option<T>, Fault> {
        let said = self.get(code).to_lowercase();
        if said.is_empty() {
            return Ok(None);
        }
        let known = words.iter().find(|(word, _)| *word == said);
        known
            .map(|(_, meant)| Some(*meant))
            .ok_or(Fault::Unknown(code, said))
    }
}

/// Whether it is so: `yes`, `no`.
const YES_NO: [(&str, bool); 8] = [
    ("yes", true),
    ("y", true),
    ("true", true),
    ("1", true),
    ("no", false),
    ("n", false),
    ("false", false),
    ("0", false),
];

/// The columns that a kind of table may have.
#[must_use]
pub fn columns(kind: Kind) -> &'static [Column] {
    match kind {
        Kind::Customers => customers::Customers::COLUMNS,
        Kind::Castings => castings::Castings::COLUMNS,
        Kind::Stock => stock::Stock::COLUMNS,
        Kind::Sightings => sightings::Sightings::COLUMNS,
        Kind::PastWork => past_work::PastWork::COLUMNS,
    }
}

/// Looks at a table, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn look(actor: &Actor, kind: Kind, sent: Sent<'_>) -> Result<Looked, AppError> {
    Ok(carry(actor, kind, sent, Asked::Look).await?.0)
}

/// Takes a table in, for the office, once under a key: all of it, when nothing is wrong with it, or none. What is wrong comes
/// back; else the key of the import, by which it is undone.
///
/// # Errors
/// As [`look`]; [`AppError::KeyUsed`]; [`DbError::Duplicate`] when somebody else has entered the same meanwhile.
pub async fn take(
    actor: &Actor,
    kind: Kind,
    sent: Sent<'_>,
    keyed: Option<&Keyed>,
) -> Result<(Looked, Option<Uuid>), AppError> {
    carry(actor, kind, sent, Asked::Take(keyed)).await
}

/// What is to be done with a table.
#[derive(Clone, Copy)]
enum Asked<'a> {
    Look,
    Take(Option<&'a Keyed>),
}

type Carried = Result<(Looked, Option<Uuid>), AppError>;

async fn carry(actor: &Actor, kind: Kind, sent: Sent<'_>, asked: Asked<'_>) -> Carried {
    match kind {
        Kind::Customers => of::<customers::Customers>(actor, sent, asked).await,
        Kind::Castings => of::<castings::Castings>(actor, sent, asked).await,
        Kind::Stock => of::<stock::Stock>(actor, sent, asked).await,
        Kind::Sightings => of::<sightings::Sightings>(actor, sent, asked).await,
        Kind::PastWork => of::<past_work::PastWork>(actor, sent, asked).await,
    }
}

async fn of<S: Sheet>(actor: &Actor, sent: Sent<'_>, asked: Asked<'_>) -> Carried {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let around = S::around(&mut tx).await?;
    let (mut looked, rows) = read::<S>(sent, &around);
    let import = Uuid::now_v7();
    if let Asked::Take(keyed) = asked
        && let Some(before) = once::claim(&mut tx, import, keyed).await?
    {
        return Ok((looked, Some(before)));
    }
    let known = S::known(&mut tx, &rows).await?;
    let known = looked.rows.iter().zip(known).filter(|(_, known)| *known);
    let known: Vec<_> = known.map(|((row, _), _)| (*row, Fault::Known)).collect();
    looked.faults.extend(known);
    looked.faults.sort_by_key(|(row, _)| *row);
    match asked {
        Asked::Take(_) if looked.is_sound() => {
            let keys = S::insert(&mut tx, rows).await?;
            imports::insert(&mut tx, import, S::KIND.code(), &keys).await?;
            tx.commit().await?;
            Ok((looked, Some(import)))
        }
        Asked::Take(_) | Asked::Look => Ok((looked, None)),
    }
}

/// Takes an import out again, for the office, except what was used or changed since. Returns how many are out and how many
/// stay.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`DbError::NotFound`].
pub async fn undo(actor: &Actor, kind: Kind, id: Uuid) -> Result<(i64, i64), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            let (keys, at) = imports::mark_undone(tx, kind.code(), id).await?;
            let out = match kind {
                Kind::Customers => imports::remove_customers(tx, &keys).await?,
                Kind::Castings => imports::remove_castings(tx, &keys).await?,
                Kind::Stock => stock::remove(tx, &keys, at).await?,
                Kind::Sightings => imports::remove_sightings(tx, &keys).await?,
                Kind::PastWork => imports::remove_past_work(tx, &keys).await?,
            };
            let all = i64::try_from(keys.len()).unwrap_or(i64::MAX);
            Ok((out, all - out))
        })
        .await
}

/// The column that a heading most likely means.
fn guess(columns: &'static [Column], heading: &str) -> Option<&'static str> {
    let heading = heading.to_lowercase();
    let means = |column: &&Column| column.headings.iter().any(|word| heading.contains(word));
    columns.iter().find(means).map(|column| column.code)
}

/// Reads a table; the rows that read come in the order of those in [`Looked::rows`].
fn read<S: Sheet>(sent: Sent<'_>, around: &S::Around) -> (Looked, Vec<S::Row>) {
    let mut lines = table::rows(sent.text).into_iter();
    let headings = lines.next().unwrap_or_default();
    let columns: Vec<Option<&'static str>> = headings
        .iter()
        .enumerate()
        .map(|(at, heading)| match sent.columns.get(at) {
            Some(code) => S::COLUMNS.iter().find(|c| c.code == code).map(|c| c.code),
            None => guess(S::COLUMNS, heading),
        })
        .collect();
    let mut looked = Looked {
        headings,
        columns,
        ..Looked::default()
    };
    let mut rows = Vec::new();
    let mut seen: HashMap<String, usize> = HashMap::new();
    for (number, line) in (2..).zip(lines) {
        if looked.rows.len() + looked.faults.len() >= MOST {
            looked.too_many = true;
            break;
        }
        let mut cells = Cells {
            of: HashMap::new(),
            dates: sent.dates,
        };
        for (code, cell) in looked.columns.iter().zip(&line) {
            if let Some(code) = code.filter(|_| !cell.is_empty()) {
                cells.of.entry(code).or_default().push(cell);
            }
        }
        let too_long = S::COLUMNS
            .iter()
            .find(|c| cells.get(c.code).chars().count() > c.longest);
        let row = match too_long {
            Some(column) => Err(Fault::TooLong(column.code, column.longest)),
            None => S::read(&cells, around),
        };
        let row = match row {
            Ok(row) => row,
            Err(fault) => {
                looked.faults.push((number, fault));
                continue;
            }
        };
        if let Some(key) = S::key(&row) {
            match seen.get(&key) {
                Some(first) => looked.faults.push((number, Fault::Twice(*first))),
                None => drop(seen.insert(key, number)),
            }
        }
        let told = S::COLUMNS
            .iter()
            .filter(|c| looked.columns.contains(&Some(c.code)));
        let told = told.map(|c| (c.code, cells.get(c.code))).collect();
        looked.rows.push((number, told));
        rows.push(row);
    }
    (looked, rows)
}

#[cfg(test)]
mod tests;
