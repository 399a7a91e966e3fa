//! What an enquiry's form chooses from and its answer rests on, read once for both.

use super::{Actor, AppError};
use crate::castings::RemedyRule;
use crate::db::castings::{self, VariantName};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, remedy_rules, standards};
use crate::estimating::{Element, Inclusion};
use std::collections::BTreeSet;

/// The shop's variants, conversion rules and standard times.
#[derive(Debug, Clone)]
pub struct Catalogue {
    /// Every variant, by name.
    pub variants: Vec<VariantName>,
    /// What is done about which differences.
    pub rules: Vec<RemedyRule>,
    /// Standard times of all elements of work.
    pub elements: Vec<Element>,
}

impl Catalogue {
    /// Reads it.
    ///
    /// # Errors
    /// [`DbError`].
    pub async fn read(tx: &mut ShopTx) -> Result<Self, DbError> {
        Ok(Self {
            variants: castings::variant_names(tx).await?,
            rules: remedy_rules::list(tx).await?,
            elements: standards::list(tx).await?,
        })
    }

    /// Work a customer can ask for by name: elements that are neither part of every job nor of a conversion rule.
    #[must_use]
    pub fn extra_work(&self) -> Vec<&Element> {
        let of_rules: BTreeSet<&String> =
            self.rules.iter().flat_map(|rule| &rule.elements).collect();
        self.elements
            .iter()
            .filter(|e| e.standing == Inclusion::Asked && !of_rules.contains(&e.code))
            .collect()
    }
}

/// The catalogue of the actor's shop, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn catalogue(actor: &Actor) -> Result<Catalogue, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    Ok(Catalogue::read(&mut tx).await?)
}
