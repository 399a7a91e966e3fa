//! Castings seen for sale, from a table.

use super::castings::{amount, variant};
use super::{Cells, Column, Fault, Kind, Sheet, YES_NO};
use crate::db::castings::{self, VariantName};
use crate::db::{DbError, ShopTx, settings, sightings};
use crate::sourcing::{Fate, Sighting};
use crate::units::Currency;
use uuid::Uuid;

pub(super) struct Sightings;

/// The words for what became of one.
const FATES: [(&str, Fate); 10] = [
    ("open", Fate::Open),
    ("still for sale", Fate::Open),
    ("sold", Fate::SoldElsewhere),
    ("sold elsewhere", Fate::SoldElsewhere),
    ("sold to someone else", Fate::SoldElsewhere),
    ("passed over", Fate::PassedOver),
    ("bought", Fate::BoughtGood),
    ("bought, and good", Fate::BoughtGood),
    ("bought, and scrap", Fate::BoughtScrap),
    ("scrap", Fate::BoughtScrap),
];

impl Sheet for Sightings {
    const KIND: Kind = Kind::Sightings;
    const COLUMNS: &'static [Column] = &[
        Column::new("seen_on", &["seen on", "date", "day", "when"], 40),
        Column::new("asked", &["asked", "asking", "price", "cost"], 40),
        Column::new("acceptable", &["usable", "worth", "acceptable"], 10),
        Column::new("fate", &["became", "fate", "outcome", "status"], 40),
        Column::new("place", &["place", "where", "seller"], 200),
        Column::new("condition", &["condition", "note", "remark"], 1000),
        Column::new(
            "variant",
            &["variant", "casting", "block", "type", "what"],
            80,
        ),
    ];
    type Row = Sighting;
    type Around = (Vec<VariantName>, Currency);

    async fn around(tx: &mut ShopTx) -> Result<Self::Around, DbError> {
        let variants = castings::variant_names(tx).await?;
        Ok((variants, settings::get(tx).await?.currency))
    }

    fn read(cells: &Cells<'_>, (variants, currency): &Self::Around) -> Result<Sighting, Fault> {
        let variant_id = variant(cells, variants)?;
        let seen_on = cells.date("seen_on")?.ok_or(Fault::Missing("seen_on"))?;
        let fate = cells.word("fate", &FATES)?.unwrap_or(Fate::Open);
        Ok(Sighting {
            place: cells.get("place"),
            asked: amount(cells, "asked", *currency)?.filter(|asked| !asked.amount().is_zero()),
            condition: cells.joined("condition", ". "),
            acceptable: cells.word("acceptable", &YES_NO)?.unwrap_or(true),
            fate,
            ..Sighting::new(Uuid::now_v7(), variant_id, seen_on)
        })
    }

    fn key(_: &Sighting) -> Option<String> {
        None
    }

    async fn known(_: &mut ShopTx, rows: &[Sighting]) -> Result<Vec<bool>, DbError> {
        Ok(vec![false; rows.len()])
    }

    async fn insert(tx: &mut ShopTx, rows: Vec<Sighting>) -> Result<Vec<Uuid>, DbError> {
        for sighting in &rows {
            sightings::insert(tx, sighting).await?;
        }
        Ok(rows.iter().map(|sighting| sighting.id).collect())
    }
}
