//! Customers that came in from a table, and taking them out again.

use super::customers::{self, Customer};
use super::{DbError, ShopTx};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// An import that can be undone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Import {
    /// Key.
    pub id: Uuid,
    /// When.
    pub at: DateTime<Utc>,
    /// How many customers came.
    pub count: i64,
}

/// Enters customers, all of them or none, and notes that they came together.
///
/// # Errors
/// [`DbError::Duplicate`] when another customer goes by one of the names, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, all: &[Customer]) -> Result<(), DbError> {
    for customer in all {
        customers::insert(tx, customer).await?;
    }
    let ids: Vec<Uuid> = all.iter().map(|customer| customer.id).collect();
    sqlx::query!(
        "insert into customer_import (shop_id, id, person_id, customers) values ($1, $2, $3, $4)",
        tx.shop_id(),
        Uuid::now_v7(),
        tx.person_id(),
        &ids,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The import made last, unless it is undone.
///
/// # Errors
/// [`DbError::Database`].
pub async fn newest(tx: &mut ShopTx) -> Result<Option<Import>, DbError> {
    Ok(sqlx::query_as!(
        Import,
        r#"select id, at, cardinality(customers)::bigint as "count!" from (
               select id, at, customers, undone_at from customer_import where shop_id = $1 order by at desc, id desc limit 1
           ) as last where undone_at is null"#,
        tx.shop_id(),
    )
    .fetch_optional(tx.conn())
    .await?)
}

/// Takes out the customers of an import that nothing has to do with and nobody has changed since. Returns how many are out and
/// how many stay.
///
/// # Errors
/// [`DbError::NotFound`] when it is undone already, [`DbError::Database`].
pub async fn undo(tx: &mut ShopTx, id: Uuid) -> Result<(i64, i64), DbError> {
    let ids = sqlx::query_scalar!(
        "update customer_import set undone_at = now() where shop_id = $1 and id = $2 and undone_at is null returning customers",
        tx.shop_id(),
        id,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this import"))?;
    let out = sqlx::query!(
        "delete from customer c where c.shop_id = $1 and c.id = any ($2) and c.version = 1
         and not exists (select from enquiry e where e.shop_id = $1 and e.customer_id = c.id)
         and not exists (select from job j where j.shop_id = $1 and j.customer_id = c.id)
         and not exists (select from casting k where k.shop_id = $1 and k.customer_id = c.id)
         and not exists (select from customer_merge m where m.shop_id = $1 and c.id in (m.kept_id, m.gone_id))",
        tx.shop_id(),
        &ids,
    )
    .execute(tx.conn())
    .await?
    .rows_affected();
    let out = i64::try_from(out).unwrap_or(i64::MAX);
    let all = i64::try_from(ids.len()).unwrap_or(i64::MAX);
    Ok((out, all - out))
}

/// Which of these names, as they are compared, a customer goes by already.
///
/// # Errors
/// [`DbError::Database`].
pub async fn taken(tx: &mut ShopTx, names: &[String]) -> Result<Vec<bool>, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select from customer_name n where n.shop_id = $1 and n.key = name_key(said.name)) as "taken!"
           from unnest($2::text[]) with ordinality as said (name, place) order by said.place"#,
        tx.shop_id(),
        names,
    )
    .fetch_all(tx.conn())
    .await?)
}
