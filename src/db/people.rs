//! The people of a shop: who may sign in, as what, and what they can do.

use super::rows::{broken, changed};
use super::{DbError, Needed, ShopTx};
use crate::units::Code;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What a person may do here. Each role may do all that the ones before it may.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[strum(serialize_all = "snake_case")]
pub enum Role {
    /// Works at the bench: sees the work and books it.
    Machinist,
    /// Answers the phone: enquiries, quotes, castings, sightings.
    Office,
    /// Runs the shop: people, rates, settings.
    Owner,
}

/// A person as everyone may see them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Key.
    pub id: Uuid,
    /// Name as spoken.
    pub name: String,
    /// Name typed at sign-in; upper and lower case are the same.
    pub sign_in: String,
    /// What they may do.
    pub role: Role,
    /// Skills in the shop's words, as operations ask for them.
    pub skills: Vec<String>,
    /// Whether they may sign in and be given work.
    pub active: bool,
    /// Counts edits.
    pub version: i32,
}

/// A person to be added.
#[derive(Debug, Clone)]
pub struct NewPerson {
    /// Name as spoken.
    pub name: String,
    /// Name typed at sign-in.
    pub sign_in: String,
    /// What they may do.
    pub role: Role,
    /// Skills in the shop's words.
    pub skills: Vec<String>,
    /// From `app::password::hash`.
    pub password_hash: String,
}

/// What sign-in compares a typed password with.
#[derive(Debug)]
pub struct Credentials {
    /// Whose.
    pub person_id: Uuid,
    /// In PHC string form.
    pub password_hash: String,
}

struct Row {
    id: Uuid,
    name: String,
    sign_in: String,
    role: String,
    skills: Vec<String>,
    active: bool,
    version: i32,
}

impl TryFrom<Row> for Person {
    type Error = DbError;
    fn try_from(row: Row) -> Result<Self, DbError> {
        Ok(Self {
            id: row.id,
            name: row.name,
            sign_in: row.sign_in,
            role: role(&row.role)?,
            skills: row.skills,
            active: row.active,
            version: row.version,
        })
    }
}

pub(super) fn role(code: &str) -> Result<Role, DbError> {
    Role::from_code(code).ok_or_else(|| DbError::Corrupt {
        what: "role",
        why: format!("“{code}” is none of ours"),
    })
}

/// Everyone, those who still work here first, then by name.
///
/// # Errors
/// [`DbError::Database`], [`DbError::Corrupt`].
pub async fn list(tx: &mut ShopTx) -> Result<Vec<Person>, DbError> {
    let shop_id = tx.shop_id();
    sqlx::query_as!(
        Row,
        "select id, name, sign_in, role, skills, active, version from person
         where shop_id = $1 order by active desc, name, id",
        shop_id
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Person::try_from)
    .collect()
}

/// One person.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`], [`DbError::Corrupt`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<Person, DbError> {
    let shop_id = tx.shop_id();
    sqlx::query_as!(
        Row,
        "select id, name, sign_in, role, skills, active, version from person
         where shop_id = $1 and id = $2",
        shop_id,
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this person"))?
    .try_into()
}

/// Adds a person and returns the new key.
///
/// # Errors
/// [`DbError::Duplicate`] on `sign_in`, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, person: &NewPerson) -> Result<Uuid, DbError> {
    let shop_id = tx.shop_id();
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into person (shop_id, id, name, sign_in, role, password_hash, skills)
         values ($1, $2, $3, $4, $5, $6, $7)",
        shop_id,
        id,
        person.name,
        person.sign_in,
        person.role.code(),
        person.password_hash,
        &person.skills,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(id)
}

/// Changes everything about a person but the password. Ends all they can come in with when they are no longer active.
///
/// # Errors
/// [`DbError::Stale`] when `person.version` is not the stored one, [`DbError::InUse`] when it would leave the
/// shop without an active owner, [`DbError::Duplicate`] on `sign_in`, [`DbError::NotFound`],
/// [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, person: &Person) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    // The owners are locked first, so that two edits at once cannot each take the other's last owner away.
    let owners = sqlx::query_scalar!(
        "select id from person where shop_id = $1 and role = 'owner' and active order by id for update",
        shop_id
    )
    .fetch_all(tx.conn())
    .await?;
    let still_owner = person.role == Role::Owner && person.active;
    if owners == [person.id] && !still_owner {
        return Err(Needed::OnlyOwner.into());
    }
    let done = sqlx::query!(
        "update person set name = $3, sign_in = $4, role = $5, skills = $6, active = $7, version = version + 1
         where shop_id = $1 and id = $2 and version = $8",
        shop_id,
        person.id,
        person.name,
        person.sign_in,
        person.role.code(),
        &person.skills,
        person.active,
        person.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "this person", get(tx, person.id)).await?;
    if !person.active {
        super::access::end_for_good(tx, person.id).await?;
    }
    Ok(())
}

/// Sets a password and ends all that the person can come in with, but for the session whose token hash is given.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn set_password(
    tx: &mut ShopTx,
    id: Uuid,
    password_hash: &str,
    keep_session: Option<&[u8]>,
) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    let changed = sqlx::query!(
        "update person set password_hash = $3 where shop_id = $1 and id = $2",
        shop_id,
        id,
        password_hash
    )
    .execute(tx.conn())
    .await?
    .rows_affected();
    if changed == 0 {
        return Err(DbError::NotFound("this person"));
    }
    super::access::end(tx, id, keep_session).await
}

/// What to compare a typed password with; `None` when nobody active signs in by that name.
///
/// # Errors
/// [`DbError::Database`].
pub async fn credentials(tx: &mut ShopTx, sign_in: &str) -> Result<Option<Credentials>, DbError> {
    let shop_id = tx.shop_id();
    Ok(sqlx::query_as!(
        Credentials,
        "select id as person_id, password_hash from person
         where shop_id = $1 and lower(sign_in) = lower($2) and active",
        shop_id,
        sign_in
    )
    .fetch_optional(tx.conn())
    .await?)
}
