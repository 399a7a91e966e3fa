//! What is known of one casting besides its tag: where it came from, whose it is, its marks, what was measured,
//! photographs.

use super::read::{corrupt, word};
use super::{DbError, Refusal, ShopTx};
use crate::castings::Place;
use crate::castings::identify::{Found, Mark};
use crate::units::{Code, Length};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use std::path::PathBuf;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// Where a casting came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Source {
    /// Bought after it was seen for sale.
    Sighting,
    /// Bought otherwise.
    Bought,
    /// Brought by the customer whose it is.
    Customer,
}

/// Where a casting came from and whose it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// Where from.
    pub source: Source,
    /// The sighting it was bought after, with its day and place when read.
    pub sighting: Option<(Uuid, NaiveDate, String)>,
    /// From whom, or how it came, in words.
    pub came_from: String,
    /// The customer's name, when it is a customer's.
    pub owner: String,
}

/// Where a casting came from and whose it is.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn origin(tx: &mut ShopTx, casting_id: Uuid) -> Result<Origin, DbError> {
    let row = sqlx::query!(
        r#"select c.source, c.came_from, c.owner, s.id as "sighting_id?", s.seen_on as "seen_on?", s.place as "place?"
           from casting c left join sighting s on s.shop_id = c.shop_id and s.id = c.sighting_id
           where c.shop_id = $1 and c.id = $2"#,
        tx.shop_id(),
        casting_id,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this casting"))?;
    let sighting = match (row.sighting_id, row.seen_on, row.place) {
        (Some(id), Some(on), Some(place)) => Some((id, on, place)),
        _ => None,
    };
    Ok(Origin {
        source: word("source of a casting", &row.source)?,
        sighting,
        came_from: row.came_from,
        owner: row.owner,
    })
}

/// Writes down where a casting came from and whose it is, in one edit with its other details, which count the version.
///
/// # Errors
/// [`DbError::Refused`] when a job has it that is not its new owner's, [`DbError::NotFound`],
/// [`DbError::Database`].
pub async fn set_origin(tx: &mut ShopTx, casting_id: Uuid, origin: &Origin) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update casting set source = $3, sighting_id = $4, came_from = $5, owner = $6
         where shop_id = $1 and id = $2",
        tx.shop_id(),
        casting_id,
        origin.source.code(),
        origin.sighting.as_ref().map(|(id, ..)| *id),
        origin.came_from,
        origin.owner,
    )
    .execute(tx.conn())
    .await
    .map_err(another_customers)?;
    if done.rows_affected() == 0 {
        return Err(DbError::NotFound("this casting"));
    }
    Ok(())
}

/// What the database says of a customer's casting in another's job, in words.
pub(super) fn another_customers(error: sqlx::Error) -> DbError {
    match error.as_database_error().and_then(|db| db.constraint()) {
        Some("customers_casting_for_their_job") => DbError::Refused(Refusal::CustomersCasting),
        Some("casting_shop_id_sighting_id_fkey") => DbError::NotFound("this sighting"),
        _ => error.into(),
    }
}

/// A mark, as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptMark {
    /// Key.
    pub id: Uuid,
    /// The mark.
    pub mark: Mark,
}

/// The marks of a casting in the order they were noted.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn marks(tx: &mut ShopTx, casting_id: Uuid) -> Result<Vec<KeptMark>, DbError> {
    sqlx::query!(
        "select id, kind, place, text from casting_mark where shop_id = $1 and casting_id = $2 order by id",
        tx.shop_id(),
        casting_id,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(KeptMark {
            id: row.id,
            mark: Mark {
                kind: word("kind of mark", &row.kind)?,
                place: row.place,
                text: row.text,
            },
        })
    })
    .collect()
}

/// Notes a mark.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn add_mark(tx: &mut ShopTx, casting_id: Uuid, mark: &Mark) -> Result<(), DbError> {
    sqlx::query!(
        "insert into casting_mark (shop_id, id, casting_id, kind, place, text, noted_by)
         values ($1, $2, $3, $4, $5, $6, $7)",
        tx.shop_id(),
        Uuid::now_v7(),
        casting_id,
        mark.kind.code(),
        mark.place,
        mark.text,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await
    .map_err(of_casting)?;
    Ok(())
}

/// Takes a mark out that was misread; its history stays.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn remove_mark(tx: &mut ShopTx, casting_id: Uuid, id: Uuid) -> Result<(), DbError> {
    let done = sqlx::query!(
        "delete from casting_mark where shop_id = $1 and casting_id = $2 and id = $3",
        tx.shop_id(),
        casting_id,
        id,
    )
    .execute(tx.conn())
    .await?;
    if done.rows_affected() == 0 {
        return Err(DbError::NotFound("this mark"));
    }
    Ok(())
}

/// Something measured or looked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measurement {
    /// What, in words.
    pub what: String,
    /// The place of the register, when it is one.
    pub place: Option<Place>,
    /// What was found.
    pub found: Found,
    /// With what.
    pub instrument: String,
}

/// A measurement, with when and by whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptMeasurement {
    /// Key.
    pub id: Uuid,
    /// What was found.
    pub measurement: Measurement,
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub person: Option<String>,
}

/// What was measured on a casting, newest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn measurements(
    tx: &mut ShopTx,
    casting_id: Uuid,
) -> Result<Vec<KeptMeasurement>, DbError> {
    sqlx::query!(
        r#"select m.id, m.what, m.face, m.label, m.found, m.value_mm, m.instrument, m.at, p.name as "person?"
           from casting_measurement m
           left join person p on p.shop_id = m.shop_id and p.id = m.person_id
           where m.shop_id = $1 and m.casting_id = $2 order by m.id desc"#,
        tx.shop_id(),
        casting_id,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        let found = match (row.found.as_str(), row.value_mm) {
            ("absent", None) => Found::Absent,
            ("there", None) => Found::There,
            ("measured", Some(mm)) => Found::Measured(Length::from_mm(mm)),
            (other, _) => return Err(corrupt("measurement", other)),
        };
        let place = match (row.face, row.label) {
            (Some(face), Some(label)) => {
                Some(Place::new(word("face", &face)?, label))
            }
            _ => None,
        };
        Ok(KeptMeasurement {
            id: row.id,
            measurement: Measurement {
                what: row.what,
                place,
                found,
                instrument: row.instrument,
            },
            at: row.at,
            person: row.person,
        })
    })
    .collect()
}

/// Appends a measurement on behalf of the transaction's person.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn add_measurement(
    tx: &mut ShopTx,
    casting_id: Uuid,
    measurement: &Measurement,
) -> Result<(), DbError> {
    let (found, value): (&str, Option<Decimal>) = match measurement.found {
        Found::Absent => ("absent", None),
        Found::There => ("there", None),
        Found::Measured(length) => ("measured", Some(length.mm())),
    };
    sqlx::query!(
        "insert into casting_measurement (shop_id, id, casting_id, what, face, label, found, value_mm, instrument, person_id)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        tx.shop_id(),
        Uuid::now_v7(),
        casting_id,
        measurement.what,
        measurement.place.as_ref().map(|place| place.face.code()),
        measurement.place.as_ref().map(|place| place.label.as_str()),
        found,
        value,
        measurement.instrument,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await
    .map_err(of_casting)?;
    Ok(())
}

/// Where the bodies of photographs are kept.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum PhotoPlace {
    /// In the database, and so in its backups.
    #[default]
    Database,
    /// In a folder, one for each shop in it.
    Folder(PathBuf),
}

/// A photograph as it is kept: JPEG, written by the program itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewPhoto {
    /// What it shows.
    pub caption: String,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// The picture.
    pub body: Vec<u8>,
    /// A small one.
    pub thumbnail: Vec<u8>,
}

/// A photograph without its bodies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Photo {
    /// Key.
    pub id: Uuid,
    /// What it shows.
    pub caption: String,
    /// When it was added.
    pub added_at: DateTime<Utc>,
    /// By whom.
    pub person: Option<String>,
}

/// Most photographs of one casting.
pub const MOST_PHOTOS: i64 = 24;

/// The photographs of a casting, oldest first.
///
/// # Errors
/// [`DbError::Database`].
pub async fn photos(tx: &mut ShopTx, casting_id: Uuid) -> Result<Vec<Photo>, DbError> {
    Ok(sqlx::query_as!(
        Photo,
        r#"select f.id, f.caption, f.added_at, p.name as "person?"
           from casting_photo f
           left join person p on p.shop_id = f.shop_id and p.id = f.added_by
           where f.shop_id = $1 and f.casting_id = $2 order by f.id"#,
        tx.shop_id(),
        casting_id,
    )
    .fetch_all(tx.conn())
    .await?)
}

/// How many photographs a casting has. The casting stays locked until the transaction ends, so that the count holds.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn count_photos(tx: &mut ShopTx, casting_id: Uuid) -> Result<i64, DbError> {
    sqlx::query_scalar!(
        r#"select (select count(*) from casting_photo f where f.shop_id = c.shop_id and f.casting_id = c.id) as "count!"
           from casting c where c.shop_id = $1 and c.id = $2 for update"#,
        tx.shop_id(),
        casting_id,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this casting"))
}

/// Adds a photograph under a key, with its bodies when they are kept in the database.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn add_photo(
    tx: &mut ShopTx,
    id: Uuid,
    casting_id: Uuid,
    photo: &NewPhoto,
    in_database: bool,
) -> Result<(), DbError> {
    let body = in_database.then_some(&photo.body);
    let thumbnail = in_database.then_some(&photo.thumbnail);
    sqlx::query!(
        "insert into casting_photo (shop_id, id, casting_id, caption, width, height, body, thumbnail, added_by)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        tx.shop_id(),
        id,
        casting_id,
        photo.caption,
        super::read::stored_count("width", photo.width)?,
        super::read::stored_count("height", photo.height)?,
        body,
        thumbnail,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await
    .map_err(of_casting)?;
    Ok(())
}

/// The body of a photograph, or its small one; `None` when it is kept as a file.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn photo_body(
    tx: &mut ShopTx,
    casting_id: Uuid,
    id: Uuid,
    small: bool,
) -> Result<Option<Vec<u8>>, DbError> {
    sqlx::query_scalar!(
        "select case when $4 then thumbnail else body end as body from casting_photo
         where shop_id = $1 and casting_id = $2 and id = $3",
        tx.shop_id(),
        casting_id,
        id,
        small,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this photograph"))
}

/// Removes a photograph; returns whether its bodies were in the database.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn remove_photo(tx: &mut ShopTx, casting_id: Uuid, id: Uuid) -> Result<bool, DbError> {
    sqlx::query_scalar!(
        r#"delete from casting_photo where shop_id = $1 and casting_id = $2 and id = $3
           returning body is not null as "in_database!""#,
        tx.shop_id(),
        casting_id,
        id,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this photograph"))
}

fn of_casting(error: sqlx::Error) -> DbError {
    match error.as_database_error() {
        Some(db) if db.is_foreign_key_violation() => DbError::NotFound("this casting"),
        _ => error.into(),
    }
}

/// Who a job is for; empty when nobody said.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn customer_of_job(tx: &mut ShopTx, job_id: Uuid) -> Result<String, DbError> {
    sqlx::query_scalar!(
        "select customer from job where shop_id = $1 and id = $2",
        tx.shop_id(),
        job_id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this job"))
}

/// Says who a job is for.
///
/// # Errors
/// [`DbError::Refused`] while it has a casting of another customer, [`DbError::NotFound`],
/// [`DbError::Database`].
pub async fn set_customer_of_job(
    tx: &mut ShopTx,
    job_id: Uuid,
    customer: &str,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update job set customer = $3, version = version + 1 where shop_id = $1 and id = $2 and customer <> $3",
        tx.shop_id(),
        job_id,
        customer,
    )
    .execute(tx.conn())
    .await
    .map_err(another_customers)?;
    if done.rows_affected() == 0 {
        customer_of_job(tx, job_id).await?;
    }
    Ok(())
}
