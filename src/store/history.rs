//! What happened to a row: who changed it, when, and what, field by field.

use super::{ShopTx, StoreError};
use chrono::{DateTime, Utc};
use serde_json::{Map, Value};
use uuid::Uuid;

/// One change of one row.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom; `None` for the program itself.
    pub person: Option<String>,
    /// `insert`, `update` or `delete`.
    pub action: String,
    /// What differs, by column name. The version, which differs always, is left out.
    pub fields: Vec<FieldChange>,
}

/// One field before and after; null where there was no row.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldChange {
    /// The column.
    pub field: String,
    /// What it was.
    pub before: Value,
    /// What it became.
    pub after: Value,
}

/// The history of a row of a table, newest first.
///
/// # Errors
/// [`StoreError::Database`].
pub async fn of_row(tx: &mut ShopTx, table: &str, id: Uuid) -> Result<Vec<Change>, StoreError> {
    let rows = sqlx::query!(
        r#"select h.at, p.name as "person?", h.action, h.before, h.after
           from history h left join person p on p.shop_id = h.shop_id and p.id = h.person_id
           where h.shop_id = $1 and h.table_name = $2 and h.row_id = $3
           order by h.id desc"#,
        tx.shop_id(),
        table,
        id,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| Change {
            at: row.at,
            person: row.person,
            action: row.action,
            fields: differences(row.before.as_ref(), row.after.as_ref()),
        })
        .collect())
}

fn differences(before: Option<&Value>, after: Option<&Value>) -> Vec<FieldChange> {
    let none = Map::new();
    let before = before.and_then(Value::as_object).unwrap_or(&none);
    let after = after.and_then(Value::as_object).unwrap_or(&none);
    let only_before = before.keys().filter(|key| !after.contains_key(*key));
    after
        .keys()
        .chain(only_before)
        .filter(|key| *key != "version" && *key != "shop_id")
        .filter_map(|key| {
            let was = before.get(key).cloned().unwrap_or_default();
            let is = after.get(key).cloned().unwrap_or_default();
            (was != is).then(|| FieldChange {
                field: key.clone(),
                before: was,
                after: is,
            })
        })
        .collect()
}
