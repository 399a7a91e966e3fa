//! Castings on the shelf from a table.

use super::{Cells, Column, Fault, Kind, Sheet};
use crate::db::casting_records::{self, Origin, Source};
use crate::db::castings::{self, VariantName};
use crate::db::castings_on_shelf::{self, CastingDetails, Outcome, Ownership, ShelfState};
use crate::db::{DbError, ShopTx, settings};
use crate::units::{Currency, Money};
use chrono::NaiveDate;
use uuid::Uuid;

pub(super) struct Castings;

pub(super) struct Row {
    details: CastingDetails,
    origin: Origin,
    inspection: Option<(Outcome, NaiveDate)>,
}

/// The words for what an inspection found.
const OUTCOMES: [(&str, Outcome); 8] = [
    ("good", Outcome::Good),
    ("ok", Outcome::Good),
    ("sound", Outcome::Good),
    ("passed", Outcome::Good),
    ("failed", Outcome::Failed),
    ("cracked", Outcome::Failed),
    ("scrap", Outcome::Failed),
    ("bad", Outcome::Failed),
];

/// The variant of a name, whatever its capitals.
pub(super) fn variant(cells: &Cells<'_>, variants: &[VariantName]) -> Result<Uuid, Fault> {
    let said = cells.must("variant")?;
    let same = |variant: &&VariantName| variant.name.to_lowercase() == said.to_lowercase();
    let found = variants.iter().find(same).map(|variant| variant.id);
    found.ok_or(Fault::Unknown("variant", said))
}

/// An amount of money, not below nothing.
pub(super) fn amount(
    cells: &Cells<'_>,
    code: &'static str,
    currency: Currency,
) -> Result<Option<Money>, Fault> {
    let money = cells.read(code, |text| Money::parse(text, currency))?;
    match money {
        Some(money) if money.amount().is_sign_negative() && !money.amount().is_zero() => {
            Err(Fault::Unread(code, "less than nothing".to_owned()))
        }
        money => Ok(money),
    }
}

impl Sheet for Castings {
    const KIND: Kind = Kind::Castings;
    const COLUMNS: &'static [Column] = &[
        Column::new("inspected_on", &["inspected on", "tested on", "date"], 40),
        Column::new("outcome", &["inspect", "test", "result", "outcome"], 40),
        Column::new("owner", &["owner", "customer", "whose"], 120),
        Column::new("cost", &["cost", "price", "paid", "value"], 40),
        Column::new("came_from", &["from", "supplier", "seller"], 200),
        Column::new("condition", &["condition", "note", "remark"], 1000),
        Column::new(
            "variant",
            &["variant", "casting", "block", "type", "what"],
            80,
        ),
    ];
    type Row = Row;
    type Around = (Vec<VariantName>, Currency);

    async fn around(tx: &mut ShopTx) -> Result<Self::Around, DbError> {
        let variants = castings::variant_names(tx).await?;
        Ok((variants, settings::get(tx).await?.currency))
    }

    fn read(cells: &Cells<'_>, (variants, currency): &Self::Around) -> Result<Row, Fault> {
        let variant_id = variant(cells, variants)?;
        let owner = cells.get("owner");
        let cost = amount(cells, "cost", *currency)?;
        let (ownership, cost) = match (owner.is_empty(), cost) {
            (true, Some(cost)) => (Ownership::Shop, cost),
            // At no cost it would be the cheapest donor there is: whoever means that says 0.
            (true, None) => return Err(Fault::Missing("cost")),
            (false, _) => (Ownership::Customer, Money::zero(*currency)),
        };
        let outcome = cells.word("outcome", &OUTCOMES)?;
        let on = cells.date("inspected_on")?;
        let inspection = match (outcome, on) {
            (Some(outcome), Some(on)) => Some((outcome, on)),
            (Some(_), None) => return Err(Fault::Missing("inspected_on")),
            (None, _) => None,
        };
        Ok(Row {
            details: CastingDetails {
                variant_id,
                ownership,
                cost,
                condition: cells.joined("condition", ". "),
            },
            origin: Origin {
                source: match ownership {
                    Ownership::Shop => Source::Bought,
                    Ownership::Customer => Source::Customer,
                },
                sighting: None,
                came_from: cells.get("came_from"),
                owner,
            },
            inspection,
        })
    }

    fn key(_: &Row) -> Option<String> {
        None
    }

    async fn known(_: &mut ShopTx, rows: &[Row]) -> Result<Vec<bool>, DbError> {
        Ok(vec![false; rows.len()])
    }

    async fn insert(tx: &mut ShopTx, rows: Vec<Row>) -> Result<Vec<Uuid>, DbError> {
        let mut keys = Vec::new();
        for row in rows {
            let (id, _) = castings_on_shelf::create(tx, &row.details).await?;
            casting_records::set_origin(tx, id, &row.origin).await?;
            if let Some((outcome, on)) = row.inspection {
                let state = match outcome {
                    Outcome::Good => ShelfState::OnShelf,
                    Outcome::Failed => ShelfState::Scrapped,
                };
                castings_on_shelf::set_inspection(tx, id, 1, (outcome, on), state).await?;
            }
            keys.push(id);
        }
        Ok(keys)
    }
}
