//! Items of stock from a table, with what is on hand.

use super::{Cells, Column, Fault, Kind, Sheet};
use crate::db::stock::{self, ItemDetails};
use crate::db::{DbError, ShopTx, imports};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use uuid::Uuid;

pub(super) struct Stock;

pub(super) struct Row {
    details: ItemDetails,
    on_hand: Decimal,
}

/// Why what is on hand changed, in the words of the item's list.
const OPENING: &str = "From the spreadsheet";

/// The most of an item.
const MOST: Decimal = Decimal::from_parts(1_000_000, 0, 0, false, 0);

fn quantity(cells: &Cells<'_>, code: &'static str) -> Result<Option<Decimal>, Fault> {
    cells.read(code, |text| {
        let plain = text.chars().all(|c| c.is_ascii_digit() || c == '.');
        let number = Decimal::from_str_exact(text).ok().filter(|_| plain);
        number
            .filter(|n| *n <= MOST && n.normalize().scale() <= 6)
            .ok_or_else(|| format!("“{text}” is not a quantity"))
    })
}

/// What the list of an item says when its import is undone.
const UNDONE: &str = "Import undone";

/// Takes out those of the items that nothing has happened to since; returns how many.
pub(super) async fn remove(
    tx: &mut ShopTx,
    keys: &[Uuid],
    since: DateTime<Utc>,
) -> Result<i64, DbError> {
    let untouched = imports::untouched_stock(tx, keys, since).await?;
    for (id, on_hand) in &untouched {
        if !on_hand.is_zero() {
            stock::count(tx, *id, *on_hand, Decimal::ZERO, UNDONE).await?;
        }
        imports::drop_stock(tx, *id).await?;
    }
    Ok(i64::try_from(untouched.len()).unwrap_or(i64::MAX))
}

impl Sheet for Stock {
    const KIND: Kind = Kind::Stock;
    const COLUMNS: &'static [Column] = &[
        Column::new("minimum", &["minimum", "min", "reorder", "order below"], 40),
        Column::new(
            "on_hand",
            &["on hand", "quantity", "qty", "stock", "count"],
            40,
        ),
        Column::new("unit", &["unit", "uom"], 20),
        Column::new(
            "kept_at",
            &["kept", "bin", "location", "shelf", "where"],
            80,
        ),
        Column::new("supplier", &["supplier", "from", "vendor"], 120),
        Column::new(
            "name",
            &["name", "item", "description", "part", "what"],
            120,
        ),
    ];
    type Row = Row;
    type Around = ();

    async fn around(_: &mut ShopTx) -> Result<(), DbError> {
        Ok(())
    }

    fn read(cells: &Cells<'_>, (): &()) -> Result<Row, Fault> {
        let unit = cells.get("unit");
        let minimum = quantity(cells, "minimum")?;
        Ok(Row {
            details: ItemDetails {
                name: cells.must("name")?,
                unit: if unit.is_empty() {
                    "each".to_owned()
                } else {
                    unit
                },
                kept_at: cells.get("kept_at"),
                supplier: cells.get("supplier"),
                minimum: minimum.filter(|minimum| !minimum.is_zero()),
                active: true,
            },
            on_hand: quantity(cells, "on_hand")?.unwrap_or_default(),
        })
    }

    fn key(row: &Row) -> Option<String> {
        Some(row.details.name.to_lowercase())
    }

    async fn known(tx: &mut ShopTx, rows: &[Row]) -> Result<Vec<bool>, DbError> {
        let names: Vec<String> = rows.iter().map(|row| row.details.name.clone()).collect();
        imports::known_stock(tx, &names).await
    }

    async fn insert(tx: &mut ShopTx, rows: Vec<Row>) -> Result<Vec<Uuid>, DbError> {
        let mut keys = Vec::new();
        for row in rows {
            // An item that was given up before is kept again.
            let before = imports::dropped_stock(tx, &row.details.name).await?;
            let (id, on_hand) = match before {
                Some((id, version, on_hand)) => {
                    stock::update(tx, id, version, &row.details).await?;
                    (id, on_hand)
                }
                None => (stock::insert(tx, &row.details).await?, Decimal::ZERO),
            };
            stock::count(tx, id, on_hand, row.on_hand, OPENING).await?;
            keys.push(id);
        }
        Ok(keys)
    }
}
