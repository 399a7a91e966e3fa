//! What happened to a row: who changed it, when, and what, field by field.

use super::lists::Part;
use super::{DbError, ShopTx};
use chrono::{DateTime, Utc};
use std::collections::HashMap;
use uuid::Uuid;

/// One change of one row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom; `None` for the program itself.
    pub person: Option<String>,
    /// `insert`, `update` or `delete`.
    pub action: String,
    /// What differs. The version, which differs always, is left out.
    pub fields: Vec<FieldChange>,
}

/// One field before and after, as PostgreSQL writes it: figures keep every digit. `None` where there was nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldChange {
    /// The column.
    pub field: String,
    /// What it was.
    pub before: Option<String>,
    /// What it became.
    pub after: Option<String>,
}

/// So many changes of a row stand on its own page; the page of its history has all of them.
pub const SHOWN: i64 = 20;

/// The newest changes of a row of a table, newest first: [`SHOWN`] of them.
///
/// # Errors
/// [`DbError::Database`].
pub async fn of_row(tx: &mut ShopTx, table: &str, id: Uuid) -> Result<Vec<Change>, DbError> {
    let newest = Part {
        descending: true,
        skip: 0,
        rows: SHOWN,
    };
    changes(tx, table, id, newest).await
}

/// Changes of a row of a table by their time, and how many there are in all.
///
/// # Errors
/// [`DbError::Database`].
pub async fn list(
    tx: &mut ShopTx,
    table: &str,
    id: Uuid,
    part: Part,
) -> Result<(Vec<Change>, i64), DbError> {
    let all = sqlx::query_scalar!(
        r#"select count(*) as "all!" from history where shop_id = $1 and table_name = $2 and row_id = $3"#,
        tx.shop_id(),
        table,
        id,
    )
    .fetch_one(tx.conn())
    .await?;
    Ok((changes(tx, table, id, part).await?, all))
}

async fn changes(
    tx: &mut ShopTx,
    table: &str,
    id: Uuid,
    part: Part,
) -> Result<Vec<Change>, DbError> {
    let rows = sqlx::query!(
        r#"select h.id as "id!", h.at as "at!", p.name as "person?", h.action as "action!", field.key as "field?",
                  field.before as "before?", field.after as "after?"
           from (select * from history
                 where shop_id = $1 and table_name = $2 and row_id = $3
                 order by case when $4 then id end desc, id offset $5 limit $6) h
           left join person p on p.shop_id = h.shop_id and p.id = h.person_id
           left join lateral (
               select key, b.value as before, a.value as after
               from jsonb_each_text(coalesce(h.before, '{}')) b full join jsonb_each_text(coalesce(h.after, '{}')) a
                    using (key)
               where b.value is distinct from a.value and key not in ('shop_id', 'version')
           ) field on true
           order by case when $4 then h.id end desc, h.id, field.key"#,
        tx.shop_id(),
        table,
        id,
        part.descending,
        part.skip,
        part.rows,
    )
    .fetch_all(tx.conn())
    .await?;
    let mut changes = Vec::new();
    for rows in rows.chunk_by(|a, b| a.id == b.id) {
        let Some(first) = rows.first() else { continue };
        changes.push(Change {
            at: first.at,
            person: first.person.clone(),
            action: first.action.clone(),
            fields: rows
                .iter()
                .filter_map(|row| {
                    Some(FieldChange {
                        field: row.field.clone()?,
                        before: row.before.clone(),
                        after: row.after.clone(),
                    })
                })
                .collect(),
        });
    }
    Ok(changes)
}

/// When each row of a table was entered.
///
/// # Errors
/// [`DbError::Database`].
pub async fn entered(
    tx: &mut ShopTx,
    table: &str,
) -> Result<HashMap<Uuid, DateTime<Utc>>, DbError> {
    let rows = sqlx::query!(
        r#"select row_id as "row_id!", min(at) as "at!" from history
           where shop_id = $1 and table_name = $2 and action = 'insert' and row_id is not null group by row_id"#,
        tx.shop_id(),
        table,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(|row| (row.row_id, row.at)).collect())
}
