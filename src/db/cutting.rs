//! Cutting data: work materials, and what each tool does in them.

use super::read::{count, stored_count, word};
use super::rows::{Touched, broken, changed};
use super::{DbError, ShopTx};
use crate::castings::Metal;
use crate::estimating::{CuttingData, ToolData};
use crate::units::{Code, Length};
use rust_decimal::Decimal;
use uuid::Uuid;

/// A work material.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorkMaterial {
    /// Key.
    pub id: Uuid,
    /// Its name, e.g. "grey cast iron".
    pub name: String,
    /// The top speed of the machine it is cut on, rev/min.
    pub top_speed: Decimal,
    /// Whether castings are of it unless told otherwise; one material of a shop is.
    pub usual: bool,
    /// The metal of castings that it is for; at most one material is for each.
    pub metal: Option<Metal>,
    /// Grows by one with every edit.
    pub version: i32,
}

/// A line of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CuttingLine {
    /// Key.
    pub id: Uuid,
    /// The material it is for.
    pub work_material_id: Uuid,
    /// What the tool does.
    pub data: ToolData,
    /// Grows by one with every edit.
    pub version: i32,
}

/// All materials, the usual one first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn materials(tx: &mut ShopTx) -> Result<Vec<WorkMaterial>, DbError> {
    let rows = sqlx::query!(
        "select id, name, top_speed, usual, metal, version from work_material where shop_id = $1
         order by usual desc, lower(name)",
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(WorkMaterial {
                id: row.id,
                name: row.name,
                top_speed: row.top_speed,
                usual: row.usual,
                metal: row.metal.map(|code| word("metal", &code)).transpose()?,
                version: row.version,
            })
        })
        .collect()
}

/// One material.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn material(tx: &mut ShopTx, id: Uuid) -> Result<WorkMaterial, DbError> {
    let found = materials(tx).await?.into_iter().find(|m| m.id == id);
    found.ok_or(DbError::NotFound("the work material"))
}

/// The cutting data of the usual material; without lines while the shop has none, so that a calculation says so.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn usual(tx: &mut ShopTx) -> Result<CuttingData, DbError> {
    let usual = materials(tx).await?.into_iter().find(|m| m.usual);
    data_of(tx, usual).await
}

/// The cutting data for castings of a metal: the material that is for it, or else the usual one.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn for_metal(tx: &mut ShopTx, metal: Metal) -> Result<CuttingData, DbError> {
    let materials = materials(tx).await?;
    let own = materials.iter().find(|m| m.metal == Some(metal));
    let found = own.or_else(|| materials.iter().find(|m| m.usual)).cloned();
    data_of(tx, found).await
}

async fn data_of(tx: &mut ShopTx, of: Option<WorkMaterial>) -> Result<CuttingData, DbError> {
    Ok(match of {
        Some(material) => CuttingData {
            tools: lines(tx, material.id)
                .await?
                .into_iter()
                .map(|line| line.data)
                .collect(),
            work: material.name,
            metal: material.metal,
            top_speed: material.top_speed,
        },
        None => CuttingData {
            work: "the usual material".to_owned(),
            metal: None,
            top_speed: Decimal::ONE,
            tools: Vec::new(),
        },
    })
}

/// Adds a material; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when the name is taken, [`DbError::Database`].
pub async fn insert_material(tx: &mut ShopTx, material: &WorkMaterial) -> Result<(), DbError> {
    stand_down(tx, material).await?;
    sqlx::query!(
        "insert into work_material (shop_id, id, name, top_speed, usual, metal) values ($1, $2, $3, $4, $5, $6)",
        tx.shop_id(),
        material.id,
        material.name,
        material.top_speed,
        material.usual,
        material.metal.map(|metal| metal.code()),
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes a material; `material.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update_material(tx: &mut ShopTx, material: &WorkMaterial) -> Result<(), DbError> {
    stand_down(tx, material).await?;
    let done = sqlx::query!(
        "update work_material set name = $3, top_speed = $4, usual = $5, metal = $7, version = version + 1
         where shop_id = $1 and id = $2 and version = $6",
        tx.shop_id(),
        material.id,
        material.name,
        material.top_speed,
        material.usual,
        material.version,
        material.metal.map(|metal| metal.code()),
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "the work material", self::material(tx, material.id)).await
}

/// Where this one becomes the usual one, the other ceases to be.
async fn stand_down(tx: &mut ShopTx, for_this: &WorkMaterial) -> Result<(), DbError> {
    if for_this.usual {
        sqlx::query!(
            "update work_material set usual = false, version = version + 1 where shop_id = $1 and usual and id <> $2",
            tx.shop_id(),
            for_this.id,
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// The lines of a material, by process, tool and size.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn lines(tx: &mut ShopTx, material: Uuid) -> Result<Vec<CuttingLine>, DbError> {
    let rows = sqlx::query!(
        "select id, work_material_id, process, tool, smallest_mm, largest_mm, speed, feed, teeth, approach_mm, overrun_mm,
                source, version
         from cutting_data where shop_id = $1 and work_material_id = $2
         order by process, lower(tool), smallest_mm nulls first, id",
        tx.shop_id(),
        material
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(CuttingLine {
                id: row.id,
                work_material_id: row.work_material_id,
                data: ToolData {
                    process: word("process", &row.process)?,
                    tool: row.tool,
                    smallest: row.smallest_mm.map(Length::from_mm),
                    largest: row.largest_mm.map(Length::from_mm),
                    speed: row.speed,
                    feed: row.feed,
                    teeth: count("number of teeth", row.teeth)?,
                    approach: Length::from_mm(row.approach_mm),
                    overrun: Length::from_mm(row.overrun_mm),
                    source: row.source,
                },
                version: row.version,
            })
        })
        .collect()
}

/// One line of a material.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn line(tx: &mut ShopTx, material: Uuid, id: Uuid) -> Result<CuttingLine, DbError> {
    let found = lines(tx, material).await?.into_iter().find(|l| l.id == id);
    found.ok_or(DbError::NotFound("the line of cutting data"))
}

/// Adds a line; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Corrupt`] for a count that cannot be kept, [`DbError::Database`].
pub async fn insert_line(tx: &mut ShopTx, line: &CuttingLine) -> Result<(), DbError> {
    let data = &line.data;
    sqlx::query!(
        "insert into cutting_data (shop_id, id, work_material_id, process, tool, smallest_mm, largest_mm, speed, feed,
                                   teeth, approach_mm, overrun_mm, source)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
        tx.shop_id(),
        line.id,
        line.work_material_id,
        data.process.code(),
        data.tool,
        data.smallest.map(|l| l.mm()),
        data.largest.map(|l| l.mm()),
        data.speed,
        data.feed,
        stored_count("number of teeth", data.teeth)?,
        data.approach.mm(),
        data.overrun.mm(),
        data.source,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Changes a line; `line.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], also for one deleted meanwhile; [`DbError::Database`].
pub async fn update_line(tx: &mut ShopTx, line: &CuttingLine) -> Result<(), DbError> {
    let data = &line.data;
    sqlx::query!(
        "update cutting_data set process = $4, tool = $5, smallest_mm = $6, largest_mm = $7, speed = $8, feed = $9,
                teeth = $10, approach_mm = $11, overrun_mm = $12, source = $13, version = version + 1
         where shop_id = $1 and work_material_id = $2 and id = $3 and version = $14",
        tx.shop_id(),
        line.work_material_id,
        line.id,
        data.process.code(),
        data.tool,
        data.smallest.map(|l| l.mm()),
        data.largest.map(|l| l.mm()),
        data.speed,
        data.feed,
        stored_count("number of teeth", data.teeth)?,
        data.approach.mm(),
        data.overrun.mm(),
        data.source,
        line.version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the line of cutting data")
}

/// Deletes a line.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn delete_line(
    tx: &mut ShopTx,
    material: Uuid,
    id: Uuid,
    version: i32,
) -> Result<(), DbError> {
    sqlx::query!(
        "delete from cutting_data where shop_id = $1 and work_material_id = $2 and id = $3 and version = $4",
        tx.shop_id(),
        material,
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the line of cutting data")
}

/// Puts whole tables in, the first of them as the usual one: how a shop starts.
///
/// # Errors
/// [`DbError::Duplicate`] when a material is there already, [`DbError::Database`].
pub async fn start(tx: &mut ShopTx, tables: &[CuttingData]) -> Result<(), DbError> {
    for (i, table) in tables.iter().enumerate() {
        let material = WorkMaterial {
            id: Uuid::now_v7(),
            name: table.work.clone(),
            top_speed: table.top_speed,
            usual: i == 0,
            metal: table.metal,
            version: 1,
        };
        insert_material(tx, &material).await?;
        for tool in &table.tools {
            insert_line(
                tx,
                &CuttingLine {
                    id: Uuid::now_v7(),
                    work_material_id: material.id,
                    data: tool.clone(),
                    version: 1,
                },
            )
            .await?;
        }
    }
    Ok(())
}
