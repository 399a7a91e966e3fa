//! A pattern and its variants entered as one table.

use super::{Actor, AppError};
use crate::castings::entry::{self, Column, Draft};
use crate::castings::{Fault, Metal, Pattern, Variant};
use crate::db::castings;
use crate::db::people::Role;
use crate::units::{LengthUnit, table};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A table as it was sent, with what it does not say.
#[derive(Debug, Clone)]
pub struct Sent<'a> {
    /// The pattern's name.
    pub name: &'a str,
    /// Cylinders.
    pub cylinders: u32,
    /// Main bearings.
    pub mains: u32,
    /// What it is cast in.
    pub metal: Metal,
    /// The table.
    pub table: &'a str,
    /// What its columns hold; where it says nothing, the headings are guessed at.
    pub columns: &'a [Column],
    /// The variants under which a gearbox hangs.
    pub gearbox_under: &'a BTreeSet<String>,
    /// The unit of bare figures.
    pub unit: LengthUnit,
}

/// What a table makes.
#[derive(Debug, Clone)]
pub struct Entered {
    /// The table as read.
    pub draft: Draft,
    /// The pattern.
    pub pattern: Pattern,
    /// Its variants.
    pub variants: Vec<Variant>,
    /// What is wrong with the pattern or a variant as a whole.
    pub faults: Vec<Fault>,
}

impl Entered {
    /// Whether it can be added as it is.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.draft.is_sound() && self.faults.is_empty()
    }
}

/// Reads a table.
#[must_use]
pub fn look(sent: &Sent<'_>) -> Entered {
    let draft = entry::draft(table::rows(sent.table), sent.columns, sent.unit);
    let pattern = Pattern {
        id: Uuid::now_v7(),
        name: sent.name.to_owned(),
        cylinders: sent.cylinders,
        mains: sent.mains,
        outlines: draft.outlines.clone(),
        bosses: draft.bosses.clone(),
        marks: String::new(),
        metal: sent.metal,
        weight_kg: None,
        sizes: crate::castings::measured::Sizes::default(),
        version: 1,
    };
    let variants: Vec<Variant> = draft
        .variants
        .iter()
        .map(|(name, features)| Variant {
            id: Uuid::now_v7(),
            pattern_id: pattern.id,
            name: name.clone(),
            gearbox_under: sent.gearbox_under.contains(name),
            features: features.clone(),
            note: String::new(),
            version: 1,
        })
        .collect();
    // What is wrong with a place is said by its row already.
    let of_variants = variants.iter().flat_map(|variant| variant.faults(&pattern));
    let mut faults = pattern.faults();
    faults.extend(
        of_variants.filter(|fault| !matches!(fault, Fault::At { .. } | Fault::LabelTaken(_))),
    );
    faults.retain(|fault| !matches!(fault, Fault::At { .. } | Fault::LabelTaken(_)));
    Entered {
        draft,
        pattern,
        variants,
        faults,
    }
}

/// Adds what a table makes, for the office: the pattern with all its variants, when nothing is wrong with them, or nothing.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`crate::db::DbError::Duplicate`] when a name is taken.
pub async fn take(actor: &Actor, sent: &Sent<'_>) -> Result<Entered, AppError> {
    let entered = look(sent);
    if entered.is_sound() {
        actor
            .transact(Role::Office, async |tx| {
                castings::insert_pattern(tx, &entered.pattern).await?;
                for variant in &entered.variants {
                    castings::insert_variant(tx, variant).await?;
                }
                Ok(())
            })
            .await?;
    }
    Ok(entered)
}
