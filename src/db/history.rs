//! What happened to a row: who changed it, when, and what, field by field.

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

/// The history of a row of a table, newest first.
///
/// # Errors
/// [`DbError::Database`].
pub async fn of_row(tx: &mut ShopTx, table: &str, id: Uuid) -> Result<Vec<Change>, DbError> {
    let rows = sqlx::query!(
        r#"select h.id, h.at, p.name as "person?", h.action, field.key as "field?", field.before as "before?",
                  field.after as "after?"
           from history h
           left join person p on p.shop_id = h.shop_id and p.id = h.person_id
           left join lateral (
               select key, b.value as before, a.value as after
               from jsonb_each_text(coalesce(h.before, '{}')) b full join jsonb_each_text(coalesce(h.after, '{}')) a
                    using (key)
               where b.value is distinct from a.value and key not in ('shop_id', 'version')
           ) field on true
           where h.shop_id = $1 and h.table_name = $2 and h.row_id = $3
           order by h.id desc, field.key"#,
        tx.shop_id(),
        table,
        id,
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
