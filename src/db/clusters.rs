//! The clusters that shops lie in: the directory of the first one says in which (`docs/cluster.md`, "Shops in several
//! clusters"). With one cluster nothing is looked up.

use super::DbError;
use sqlx::PgPool;
use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, PoisonError, RwLock};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// How long what the directory said is taken for true. A shop that has moved is not written where it was, whatever is
/// remembered: its old cluster refuses ([`super::ShopTx::begin`]).
const REMEMBERED: Duration = Duration::from_secs(1);
/// Most shops that are remembered; then all are forgotten and looked up again.
const MOST: usize = 10_000;

/// Connections to every cluster.
#[derive(Debug, Clone)]
pub struct Clusters {
    first: PgPool,
    others: Arc<BTreeMap<String, PgPool>>,
    remembered: Arc<RwLock<HashMap<Uuid, (String, Instant)>>>,
}

impl Clusters {
    /// The first cluster, which has the directory, and the others by name.
    #[must_use]
    pub fn new(first: PgPool, others: BTreeMap<String, PgPool>) -> Self {
        Self {
            first,
            others: Arc::new(others),
            remembered: Arc::default(),
        }
    }

    /// Connections to the cluster that a shop lies in; the first one for a shop that nobody knows. While the directory
    /// cannot be reached, what it said last holds.
    ///
    /// # Errors
    /// [`DbError::Database`]; [`DbError::Corrupt`] when the directory names a cluster that this process was not told of.
    pub async fn of_shop(&self, shop_id: Uuid) -> Result<PgPool, DbError> {
        if self.others.is_empty() {
            return Ok(self.first.clone());
        }
        let now = Instant::now();
        let before = self
            .remembered
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .get(&shop_id)
            .cloned();
        if let Some((cluster, until)) = &before
            && *until > now
        {
            return self.named(cluster);
        }
        let cluster = match (self.look_up(shop_id).await, before) {
            (Ok(found), _) => found,
            (Err(error), Some((cluster, _))) if error.is_passing() => return self.named(&cluster),
            (Err(error), _) => return Err(error),
        };
        let Some(cluster) = cluster else {
            return Ok(self.first.clone());
        };
        let mut remembered = self
            .remembered
            .write()
            .unwrap_or_else(PoisonError::into_inner);
        if remembered.len() >= MOST {
            remembered.clear();
        }
        remembered.insert(shop_id, (cluster.clone(), now + REMEMBERED));
        drop(remembered);
        self.named(&cluster)
    }

    async fn look_up(&self, shop_id: Uuid) -> Result<Option<String>, DbError> {
        let mut tx = self.first.begin().await?;
        let cluster = sqlx::query_scalar!(
            "select cluster from shop_directory where shop_id = $1",
            shop_id
        )
        .fetch_optional(&mut *tx)
        .await?;
        tx.commit().await?;
        Ok(cluster)
    }

    fn named(&self, cluster: &str) -> Result<PgPool, DbError> {
        if cluster.is_empty() {
            return Ok(self.first.clone());
        }
        self.others
            .get(cluster)
            .cloned()
            .ok_or_else(|| DbError::Corrupt {
                what: "cluster of a shop",
                why: format!("this process was not told of the cluster “{cluster}”"),
            })
    }
}
