//! Standard times: the elements of work.

use super::read::{corrupt, count, stored_count, word};
use super::rows::{Touched, broken};
use super::settings;
use super::{DbError, Needed, ShopTx};
use crate::castings::Metal;
use crate::estimating::Element;
use crate::units::{Code, Minutes, Money};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use uuid::Uuid;

/// All elements, in the trade's order of work, then by code.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(tx: &mut ShopTx) -> Result<Vec<Element>, DbError> {
    let mut elements = read(tx, None).await?;
    elements.sort_by_key(|e| e.stage);
    Ok(elements)
}

/// One element.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<Element, DbError> {
    let found = read(tx, Some(id)).await?.into_iter().next();
    found.ok_or(DbError::NotFound("the element"))
}

async fn read(tx: &mut ShopTx, only: Option<Uuid>) -> Result<Vec<Element>, DbError> {
    let currency = settings::currency(tx).await?;
    let rows = sqlx::query!(
        "select id, code, name, stage, machine_kind, skill, basis, standing, can_fail, apart, setup_minutes,
                revised_minutes, handling_minutes, calculated_percent, owner_minutes, attended_share, spread, recipe,
                outside_price, outside_days, checks, cautions, materials, left_out, followed_by, metals, tools, at_machine,
                version
         from element where shop_id = $1 and ($2::uuid is null or id = $2) order by code",
        tx.shop_id(),
        only
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Element {
                id: row.id,
                code: row.code,
                name: row.name,
                stage: word("stage", &row.stage)?,
                machine_kind: row.machine_kind,
                skill: row.skill,
                setup: Minutes(row.setup_minutes),
                revised: row.revised_minutes.map(Minutes),
                recipe: row.recipe.map(|r| document("recipe", r)).transpose()?,
                handling: Minutes(row.handling_minutes),
                calculated_percent: row.calculated_percent,
                owner_figure: Minutes(row.owner_minutes),
                attended_share: row.attended_share,
                spread: document("spread", row.spread)?,
                basis: word("basis", &row.basis)?,
                standing: word("standing", &row.standing)?,
                can_fail: row.can_fail,
                left_out: row.left_out,
                at_machine: row.at_machine,
                outside_price: row.outside_price.map(|price| Money::new(price, currency)),
                outside_days: row
                    .outside_days
                    .map(|days| count("number of days away", days))
                    .transpose()?,
                checks: document("list of checks", row.checks)?,
                cautions: document("list of cautions", row.cautions)?,
                followed_by: row.followed_by,
                metals: (row.metals.iter())
                    .map(|code| word("metal", code))
                    .collect::<Result<_, _>>()?,
                tools: row.tools,
                apart: row.apart,
                materials: document("list of materials", row.materials)?,
                version: row.version,
            })
        })
        .collect()
}

/// Adds an element; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when the code is taken, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, element: &Element) -> Result<(), DbError> {
    sqlx::query!(
        "insert into element (shop_id, id, code, name, stage, machine_kind, skill, basis, standing, can_fail, apart,
                              setup_minutes, revised_minutes, handling_minutes, owner_minutes, attended_share, spread,
                              recipe, outside_price, outside_days, checks, cautions, materials, left_out, calculated_percent,
                              followed_by, metals, tools, at_machine)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23,
                 $24, $25, $26, $27, $28, $29)",
        tx.shop_id(),
        element.id,
        element.code,
        element.name,
        element.stage.code(),
        element.machine_kind,
        element.skill,
        element.basis.code(),
        element.standing.code(),
        element.can_fail,
        element.apart,
        element.setup.0,
        element.revised.map(|m| m.0),
        element.handling.0,
        element.owner_figure.0,
        element.attended_share,
        as_document(&element.spread)?,
        element.recipe.as_ref().map(as_document).transpose()?,
        element.outside_price.map(|price| price.amount()),
        element
            .outside_days
            .map(|days| stored_count("number of days away", days))
            .transpose()?,
        as_document(&element.checks)?,
        as_document(&element.cautions)?,
        as_document(&element.materials)?,
        element.left_out,
        element.calculated_percent,
        &element.followed_by,
        &codes(&element.metals),
        &element.tools,
        element.at_machine,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes an element; `element.version` is the version the editor saw. A change of its code is carried into the
/// remedy rules that name it.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, element: &Element) -> Result<(), DbError> {
    let before = get(tx, element.id).await?;
    let done = sqlx::query!(
        "update element set code = $3, name = $4, stage = $5, machine_kind = $6, skill = $7, basis = $8, standing = $9,
                can_fail = $10, apart = $11, setup_minutes = $12, revised_minutes = $13, handling_minutes = $14,
                owner_minutes = $15, attended_share = $16, spread = $17, recipe = $18, outside_price = $19,
                outside_days = $20, checks = $21, cautions = $22, materials = $23, left_out = $25, calculated_percent = $26,
                followed_by = $27, metals = $28, tools = $29, at_machine = $30, version = version + 1
         where shop_id = $1 and id = $2 and version = $24",
        tx.shop_id(),
        element.id,
        element.code,
        element.name,
        element.stage.code(),
        element.machine_kind,
        element.skill,
        element.basis.code(),
        element.standing.code(),
        element.can_fail,
        element.apart,
        element.setup.0,
        element.revised.map(|m| m.0),
        element.handling.0,
        element.owner_figure.0,
        element.attended_share,
        as_document(&element.spread)?,
        element.recipe.as_ref().map(as_document).transpose()?,
        element.outside_price.map(|price| price.amount()),
        element
            .outside_days
            .map(|days| stored_count("number of days away", days))
            .transpose()?,
        as_document(&element.checks)?,
        as_document(&element.cautions)?,
        as_document(&element.materials)?,
        element.version,
        element.left_out,
        element.calculated_percent,
        &element.followed_by,
        &codes(&element.metals),
        &element.tools,
        element.at_machine,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    done.or_stale("the element")?;
    if before.code != element.code {
        sqlx::query!(
            "update remedy_rule set elements = array_replace(elements, $2, $3), version = version + 1
             where shop_id = $1 and $2 = any (elements)",
            tx.shop_id(),
            before.code,
            element.code,
        )
        .execute(tx.conn())
        .await?;
        sqlx::query!(
            "update element set followed_by = array_replace(followed_by, $2, $3), version = version + 1
             where shop_id = $1 and $2 = any (followed_by)",
            tx.shop_id(),
            before.code,
            element.code,
        )
        .execute(tx.conn())
        .await?;
        sqlx::query!(
            "update crack_repair set elements = array_replace(elements, $2, $3), version = version + 1
             where shop_id = $1 and $2 = any (elements)",
            tx.shop_id(),
            before.code,
            element.code,
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// Deletes an element that no remedy rule and no crack repair names.
///
/// # Errors
/// [`DbError::InUse`] with the rule that still needs it, [`DbError::Stale`], [`DbError::Database`].
pub async fn delete(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    let code = get(tx, id).await?.code;
    let rules = sqlx::query_scalar!(
        r#"select name as "name!" from remedy_rule where shop_id = $1 and $2 = any (elements)
           union all
           select 'crack: ' || replace(place, '_', ' ') from crack_repair where shop_id = $1 and $2 = any (elements)
           union all
           select 'after ' || code from element where shop_id = $1 and $2 = any (followed_by)
           order by 1"#,
        tx.shop_id(),
        code
    )
    .fetch_all(tx.conn())
    .await?;
    if !rules.is_empty() {
        return Err(Needed::ByRules { code, rules }.into());
    }
    sqlx::query!(
        "delete from element where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the standard time")
}

fn document<T: DeserializeOwned>(what: &'static str, stored: Value) -> Result<T, DbError> {
    serde_json::from_value(stored).map_err(|why| corrupt(what, why))
}

fn as_document(value: &impl Serialize) -> Result<Value, DbError> {
    serde_json::to_value(value).map_err(|why| corrupt("document", why))
}

fn codes(metals: &[Metal]) -> Vec<String> {
    metals.iter().map(|metal| metal.code().to_owned()).collect()
}
