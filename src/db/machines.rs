//! Machines with their rate worksheets, and the people's rates: what an hour costs.

use super::rows::{Touched, broken, changed};
use super::{DbError, ShopTx, settings};
use crate::estimating::{LabourRate, Machine, MachineRate, Rates, RatesError};
use crate::units::Money;
use uuid::Uuid;

/// All machines, by kind then name.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn machines(tx: &mut ShopTx) -> Result<Vec<Machine>, DbError> {
    read(tx, None).await
}

/// One machine.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn machine(tx: &mut ShopTx, id: Uuid) -> Result<Machine, DbError> {
    let found = read(tx, Some(id)).await?.into_iter().next();
    found.ok_or(DbError::NotFound("the machine"))
}

async fn read(tx: &mut ShopTx, only: Option<Uuid>) -> Result<Vec<Machine>, DbError> {
    let currency = settings::currency(tx).await?;
    let money = |amount| Money::new(amount, currency);
    let rows = sqlx::query!(
        "select id, kind, name, active, capital, residual, life_years, interest_percent, power_kw, power_price,
                maintenance_a_year, space_m2, space_price, insurance_a_year, hours_a_year, agreed_rate, version
         from machine where shop_id = $1 and ($2::uuid is null or id = $2) order by lower(kind), lower(name)",
        tx.shop_id(),
        only
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| Machine {
            id: row.id,
            kind: row.kind,
            name: row.name,
            active: row.active,
            worksheet: MachineRate {
                capital: money(row.capital),
                residual: money(row.residual),
                life_years: row.life_years,
                interest_percent: row.interest_percent,
                power_kw: row.power_kw,
                power_price: money(row.power_price),
                maintenance_a_year: money(row.maintenance_a_year),
                space_m2: row.space_m2,
                space_price: money(row.space_price),
                insurance_a_year: money(row.insurance_a_year),
                hours_a_year: row.hours_a_year,
            },
            agreed_rate: row.agreed_rate.map(money),
            version: row.version,
        })
        .collect())
}

/// Adds a machine; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when the name is taken, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, machine: &Machine) -> Result<(), DbError> {
    let sheet = &machine.worksheet;
    sqlx::query!(
        "insert into machine (shop_id, id, kind, name, active, capital, residual, life_years, interest_percent, power_kw,
                              power_price, maintenance_a_year, space_m2, space_price, insurance_a_year, hours_a_year,
                              agreed_rate)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)",
        tx.shop_id(),
        machine.id,
        machine.kind,
        machine.name,
        machine.active,
        sheet.capital.amount(),
        sheet.residual.amount(),
        sheet.life_years,
        sheet.interest_percent,
        sheet.power_kw,
        sheet.power_price.amount(),
        sheet.maintenance_a_year.amount(),
        sheet.space_m2,
        sheet.space_price.amount(),
        sheet.insurance_a_year.amount(),
        sheet.hours_a_year,
        machine.agreed_rate.map(|rate| rate.amount()),
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes a machine; `machine.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, machine: &Machine) -> Result<(), DbError> {
    let sheet = &machine.worksheet;
    let done = sqlx::query!(
        "update machine set kind = $3, name = $4, active = $5, capital = $6, residual = $7, life_years = $8,
                interest_percent = $9, power_kw = $10, power_price = $11, maintenance_a_year = $12, space_m2 = $13,
                space_price = $14, insurance_a_year = $15, hours_a_year = $16, agreed_rate = $17, version = version + 1
         where shop_id = $1 and id = $2 and version = $18",
        tx.shop_id(),
        machine.id,
        machine.kind,
        machine.name,
        machine.active,
        sheet.capital.amount(),
        sheet.residual.amount(),
        sheet.life_years,
        sheet.interest_percent,
        sheet.power_kw,
        sheet.power_price.amount(),
        sheet.maintenance_a_year.amount(),
        sheet.space_m2,
        sheet.space_price.amount(),
        sheet.insurance_a_year.amount(),
        sheet.hours_a_year,
        machine.agreed_rate.map(|rate| rate.amount()),
        machine.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "the machine", self::machine(tx, machine.id)).await
}

/// The people's rates: the common one first, then by skill.
///
/// # Errors
/// [`DbError::Database`].
pub async fn labour_rates(tx: &mut ShopTx) -> Result<Vec<LabourRate>, DbError> {
    let currency = settings::currency(tx).await?;
    let rows = sqlx::query!(
        "select id, skill, hourly, version from labour_rate where shop_id = $1 order by lower(skill) nulls first",
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| LabourRate {
            id: row.id,
            skill: row.skill,
            hourly: Money::new(row.hourly, currency),
            version: row.version,
        })
        .collect())
}

/// Adds a rate; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when the skill has one, [`DbError::Database`].
pub async fn insert_labour_rate(tx: &mut ShopTx, rate: &LabourRate) -> Result<(), DbError> {
    sqlx::query!(
        "insert into labour_rate (shop_id, id, skill, hourly) values ($1, $2, $3, $4)",
        tx.shop_id(),
        rate.id,
        rate.skill,
        rate.hourly.amount(),
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes a rate; `rate.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], also for one deleted meanwhile; [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update_labour_rate(tx: &mut ShopTx, rate: &LabourRate) -> Result<(), DbError> {
    sqlx::query!(
        "update labour_rate set skill = $3, hourly = $4, version = version + 1
         where shop_id = $1 and id = $2 and version = $5",
        tx.shop_id(),
        rate.id,
        rate.skill,
        rate.hourly.amount(),
        rate.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?
    .or_stale("the rate")
}

/// Deletes a rate; its skill is then charged at the common one.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn delete_labour_rate(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from labour_rate where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the rate")
}

/// The rates in force with these machines, or why there are none: that is for the owner to mend and no fault of the store.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn rates(
    tx: &mut ShopTx,
    machines: &[Machine],
) -> Result<Result<Rates, RatesError>, DbError> {
    let labour = labour_rates(tx).await?;
    Ok(Rates::in_force(machines, &labour))
}
