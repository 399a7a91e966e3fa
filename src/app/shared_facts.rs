//! What pages say of all the open work, kept for as long as nothing that plans rest on has changed.

use super::shared_results::SharedResults;
use crate::db::jobs::{self, MachineLoad};
use crate::db::needs::{self, Gate};
use crate::db::{DbError, ShopTx, floor};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use std::sync::Arc;

/// Shops whose open work is kept at once.
const SHOPS_KEPT: usize = 4;

/// How long it is used again at most.
const KEPT_FOR: TimeDelta = TimeDelta::minutes(15);

/// What is known of all open work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenWork {
    /// What holds its start.
    pub gates: Vec<Gate>,
    /// What waits for each kind of machine.
    pub load: Vec<MachineLoad>,
}

/// The open work of shops, by the version of the floor and the day: every table it is read from is one that plans rest on, so
/// a change of any counts the version up. Clones share it.
#[derive(Debug, Clone)]
pub struct SharedFacts(Arc<SharedResults<(i64, NaiveDate), Arc<OpenWork>>>);

impl Default for SharedFacts {
    fn default() -> Self {
        Self(Arc::new(SharedResults::new(SHOPS_KEPT, KEPT_FOR)))
    }
}

impl SharedFacts {
    /// The open work on a day of the shop's calendar. The version is read before the work is, so the work may be newer than its
    /// version, never older.
    ///
    /// # Errors
    /// [`DbError::Corrupt`], [`DbError::Database`].
    pub async fn open_work(
        &self,
        tx: &mut ShopTx,
        today: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<Arc<OpenWork>, DbError> {
        let version = floor::version(tx).await?;
        let shop_id = tx.shop_id();
        let read = move || async move {
            Ok::<_, DbError>(Arc::new(OpenWork {
                gates: needs::gates(tx, today).await?,
                load: jobs::machine_load(tx).await?,
            }))
        };
        self.0.get(shop_id, (version, today), now, read).await
    }
}
