//! Items of stock, and reusable tooling.

use super::{Part, in_order};
use crate::db::stock::{Item, these as these_items};
use crate::db::tools::{Tool, these as these_tools};
use crate::db::{DbError, ShopTx, like};
use crate::units::Code;
use chrono::NaiveDate;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// Which items are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ItemView {
    /// Those that are still kept.
    #[default]
    Kept,
    /// Of these, those to order: `stock::Level::short_by` says when.
    ToOrder,
    /// Those no longer kept too.
    All,
}

/// By what items are sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ItemSort {
    /// Name.
    #[default]
    Name,
    /// Where they lie.
    KeptAt,
    /// Who they are bought from.
    Supplier,
}

/// Items of stock.
///
/// # Errors
/// [`DbError::Database`].
pub async fn items(
    tx: &mut ShopTx,
    view: ItemView,
    words: &str,
    sort: ItemSort,
    part: Part,
) -> Result<(Vec<Item>, i64), DbError> {
    let found = sqlx::query!(
        r#"select i.id, count(*) over () as "all!"
           from stock_item i
           where i.shop_id = $1 and (i.active or $3 = 'all')
             and ($2::text is null or i.name ilike $2 or i.kept_at ilike $2 or i.supplier ilike $2)
             and ($3 <> 'to_order' or i.minimum > i.on_hand
                  - (select coalesce(sum(n.quantity), 0)
                     from need n
                     join job j on j.shop_id = n.shop_id and j.id = n.job_id
                     left join job_operation p on p.shop_id = n.shop_id and p.id = n.operation_id
                     left join made_batch b on b.shop_id = n.shop_id and b.id = n.batch_id
                     where n.shop_id = i.shop_id and n.item_id = i.id and n.state = 'wanted' and j.state = 'open'
                       and p.state is distinct from 'done' and b.being_made is not true)
                  + (select coalesce(sum(greatest(e.quantity - coalesce(
                                (select sum(m.quantity) from stock_movement m
                                 where m.shop_id = e.shop_id and m.order_id = e.id), 0), 0)), 0)
                     from stock_order e where e.shop_id = i.shop_id and e.item_id = i.id and not e.closed)
                  + (select coalesce(sum(greatest(b.pieces - coalesce(
                                (select sum(n.quantity) from need n
                                 where n.shop_id = b.shop_id and n.batch_id = b.id and n.state = 'wanted'), 0), 0)), 0)
                     from made_batch b
                     join job j on j.shop_id = b.shop_id and j.id = b.job_id
                     where b.shop_id = i.shop_id and b.item_id = i.id and b.being_made and j.state = 'open'))
           order by
             case when $4 = 'kept_at' and not $5 then nullif(lower(i.kept_at), '') end nulls last,
             case when $4 = 'kept_at' and $5 then nullif(lower(i.kept_at), '') end desc nulls last,
             case when $4 = 'supplier' and not $5 then nullif(lower(i.supplier), '') end nulls last,
             case when $4 = 'supplier' and $5 then nullif(lower(i.supplier), '') end desc nulls last,
             case when $4 = 'name' and $5 then lower(i.name) end desc,
             lower(i.name), i.id
           offset $6 limit $7"#,
        tx.shop_id(),
        like::as_typed(words),
        view.code(),
        sort.code(),
        part.descending,
        part.skip,
        part.rows,
    )
    .fetch_all(tx.conn())
    .await?;
    let all = found.first().map_or(0, |row| row.all);
    let keys: Vec<Uuid> = found.into_iter().map(|row| row.id).collect();
    let rows = these_items(tx, &keys).await?;
    Ok((in_order(&keys, rows, |row| row.id), all))
}

/// Which tooling is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ToolView {
    /// What is still in use.
    #[default]
    InUse,
    /// Of this, what is with a job.
    Out,
    /// Of this, what should be back: `db::tools::Out::is_overdue` says when.
    Overdue,
    /// What is no longer in use too.
    All,
}

/// By what tooling is sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ToolSort {
    /// Name.
    #[default]
    Name,
    /// Where it is kept.
    KeptAt,
}

/// Reusable tooling as it is on a day.
///
/// # Errors
/// [`DbError::Database`].
pub async fn tools(
    tx: &mut ShopTx,
    view: ToolView,
    words: &str,
    sort: ToolSort,
    today: NaiveDate,
    part: Part,
) -> Result<(Vec<Tool>, i64), DbError> {
    let found = sqlx::query!(
        r#"select t.id, count(*) over () as "all!"
           from tool t
           left join tool_loan l on l.shop_id = t.shop_id and l.tool_id = t.id and l.back_at is null
           left join job j on j.shop_id = l.shop_id and j.id = l.job_id
           where t.shop_id = $1 and (t.active or $3 = 'all')
             and ($2::text is null or t.name ilike $2 or t.kept_at ilike $2)
             and ($3 in ('in_use', 'all') or l.tool_id is not null)
             and ($3 <> 'overdue'
                  or coalesce(coalesce(l.expected_on, case when j.state = 'open' then j.due_on end) < $6, true))
           order by
             case when $4 = 'kept_at' and not $5 then nullif(lower(t.kept_at), '') end nulls last,
             case when $4 = 'kept_at' and $5 then nullif(lower(t.kept_at), '') end desc nulls last,
             case when $4 = 'name' and $5 then lower(t.name) end desc,
             lower(t.name), t.id
           offset $7 limit $8"#,
        tx.shop_id(),
        like::as_typed(words),
        view.code(),
        sort.code(),
        part.descending,
        today,
        part.skip,
        part.rows,
    )
    .fetch_all(tx.conn())
    .await?;
    let all = found.first().map_or(0, |row| row.all);
    let keys: Vec<Uuid> = found.into_iter().map(|row| row.id).collect();
    let rows = these_tools(tx, &keys).await?;
    Ok((in_order(&keys, rows, |row| row.id), all))
}
