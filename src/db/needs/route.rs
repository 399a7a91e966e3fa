//! What the route of a job needs: materials in one go, and the donor that takes the place of a scrapped one.

use super::super::read::corrupt;
use super::super::{DbError, ShopTx};
use rust_decimal::Decimal;
use uuid::Uuid;

/// A material that an operation of a job needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MaterialLine {
    /// Number of the operation.
    pub operation: u32,
    /// The material.
    pub name: String,
    /// How much.
    pub quantity: Decimal,
    /// The batch of the job that makes it.
    pub batch_id: Option<Uuid>,
}

/// Adds materials to the needs of a job, each before the operation that uses it. A material that is kept in stock under
/// the same name draws on stock.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn add_materials(
    tx: &mut ShopTx,
    job_id: Uuid,
    lines: &[MaterialLine],
) -> Result<(), DbError> {
    let ids: Vec<Uuid> = lines.iter().map(|_| Uuid::now_v7()).collect();
    let numbers = lines
        .iter()
        .map(|line| i32::try_from(line.operation))
        .collect::<Result<Vec<i32>, _>>()
        .map_err(|why| corrupt("operation number", why))?;
    let names: Vec<String> = lines.iter().map(|line| line.name.clone()).collect();
    let quantities: Vec<Decimal> = lines.iter().map(|line| line.quantity).collect();
    let batches: Vec<Option<Uuid>> = lines.iter().map(|line| line.batch_id).collect();
    sqlx::query!(
        "insert into need (shop_id, id, job_id, operation_id, kind, what, quantity, unit, item_id, batch_id)
         select $1, line.id, $2, o.id, 'material', line.name, line.quantity, coalesce(i.unit, 'each'), i.id, b.id
         from unnest($3::uuid[], $4::int[], $5::text[], $6::numeric[], $7::uuid[])
              as line (id, number, name, quantity, batch_id)
         join job_operation o on o.shop_id = $1 and o.job_id = $2 and o.number = line.number
         left join made_batch b on b.shop_id = $1 and b.id = line.batch_id
         left join stock_item i on i.shop_id = $1 and i.id = coalesce(b.item_id,
              (select s.id from stock_item s where s.shop_id = $1 and lower(s.name) = lower(line.name) and s.active))",
        tx.shop_id(),
        job_id,
        &ids,
        &numbers,
        &names,
        &quantities,
        &batches as &[Option<Uuid>],
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Adds tools that come back to the needs of a job, each before the operation that takes it, by the operation's number. A
/// set in the tool store whose name begins with what is needed stands behind it.
///
/// # Errors
/// [`DbError::Corrupt`] for an operation number out of range, [`DbError::Database`].
pub async fn add_tools(
    tx: &mut ShopTx,
    job_id: Uuid,
    tools: &[(u32, String)],
) -> Result<(), DbError> {
    let ids: Vec<Uuid> = tools.iter().map(|_| Uuid::now_v7()).collect();
    let numbers = tools
        .iter()
        .map(|(number, _)| i32::try_from(*number))
        .collect::<Result<Vec<i32>, _>>()
        .map_err(|why| corrupt("operation number", why))?;
    let names: Vec<String> = tools.iter().map(|(_, name)| name.clone()).collect();
    sqlx::query!(
        "insert into need (shop_id, id, job_id, operation_id, kind, what, quantity, unit, tool_id)
         select $1, line.id, $2, o.id, 'tool', line.name, 1, 'each',
                (select t.id from tool t
                 where t.shop_id = $1 and t.active and starts_with(lower(t.name), lower(line.name)) order by t.name limit 1)
         from unnest($3::uuid[], $4::int[], $5::text[]) as line (id, number, name)
         join job_operation o on o.shop_id = $1 and o.job_id = $2 and o.number = line.number",
        tx.shop_id(),
        job_id,
        &ids,
        &numbers,
        &names,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Puts another casting, or none yet, behind the need of a job for its casting.
///
/// # Errors
/// [`DbError::Database`].
pub async fn replace_donor(
    tx: &mut ShopTx,
    job_id: Uuid,
    donor: Option<Uuid>,
) -> Result<(), DbError> {
    sqlx::query!(
        "update need set casting_id = $3, state = 'wanted', expected_on = null, version = version + 1
         where shop_id = $1 and job_id = $2 and kind = 'donor'",
        tx.shop_id(),
        job_id,
        donor,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Takes out the material and tools that only an operation needs that is not done any more, where nothing has been ordered,
/// taken or lent for it.
///
/// # Errors
/// [`DbError::Database`].
pub async fn drop_of_operation(
    tx: &mut ShopTx,
    job_id: Uuid,
    operation_id: Uuid,
) -> Result<(), DbError> {
    sqlx::query!(
        "delete from need n where n.shop_id = $1 and n.job_id = $2 and n.operation_id = $3 and n.state = 'wanted'
           and n.kind in ('material', 'tool')
           and not exists (select from stock_movement m where m.shop_id = n.shop_id and m.need_id = n.id)",
        tx.shop_id(),
        job_id,
        operation_id,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
