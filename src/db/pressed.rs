//! What was pressed at a device lately, as long as it can be taken back.

use super::read::word;
use super::{DbError, ShopTx};
use crate::shopfloor::Kind;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// An entry that somebody pressed at a device lately.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Press {
    /// The entry.
    pub id: Uuid,
    /// What it says.
    pub kind: Kind,
    /// Its operation.
    pub operation_id: Uuid,
    /// Number and title of the operation, with the job's number before them.
    pub of: (i64, i32, String),
    /// When it happened, by this server's clock.
    pub at: DateTime<Utc>,
    /// The same by the clock of the device: entries of one press have the same.
    pub device_at: DateTime<Utc>,
    /// Whether something was booked on the operation after it.
    pub followed: bool,
}

/// What somebody pressed at a device since a moment and was not struck, in the order of arrival.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn since(
    tx: &mut ShopTx,
    device_id: Uuid,
    person_id: Uuid,
    since: DateTime<Utc>,
) -> Result<Vec<Press>, DbError> {
    let rows = sqlx::query!(
        r#"select b.id, b.kind, b.operation_id, b.at, b.device_at, j.number as job, o.number,
                  o.planned ->> 'title' as "title!",
                  exists (select from booking l
                          where l.shop_id = b.shop_id and l.operation_id = b.operation_id and l.sequence > b.sequence
                            and l.kind not in ('moved', 'struck', 'stands')) as "followed!"
           from booking b
           join job_operation o on o.shop_id = b.shop_id and o.id = b.operation_id
           join job j on j.shop_id = o.shop_id and j.id = o.job_id
           where b.shop_id = $1 and b.at >= $4 and b.device_id = $2 and b.person_id = $3 and b.corrects is null
             and not exists (select from booking c
                             where c.shop_id = b.shop_id and c.corrects = b.id and c.kind = 'struck')
           order by b.sequence"#,
        tx.shop_id(),
        device_id,
        person_id,
        since,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Press {
                id: row.id,
                kind: word("kind of booking", &row.kind)?,
                operation_id: row.operation_id,
                of: (row.job, row.number, row.title),
                at: row.at,
                device_at: row.device_at,
                followed: row.followed,
            })
        })
        .collect()
}
