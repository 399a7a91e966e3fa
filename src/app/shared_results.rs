//! One computation at a time for one key: whoever asks while it is under way waits for its result.

use chrono::{DateTime, TimeDelta, Utc};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::OnceCell;
use uuid::Uuid;

/// Results of long computations, one or a few for each shop, kept for a while and for a few shops.
#[derive(Debug)]
pub(super) struct SharedResults<K, V> {
    kept: Mutex<Vec<Entry<K, V>>>,
    /// Shops whose results are kept at once.
    shops: usize,
    /// Results that are kept of each.
    of_each: usize,
    /// How long a result is used again.
    kept_for: TimeDelta,
}

#[derive(Debug)]
struct Entry<K, V> {
    shop_id: Uuid,
    key: K,
    at: DateTime<Utc>,
    result: Arc<OnceCell<V>>,
}

impl<K: PartialEq, V: Clone> SharedResults<K, V> {
    /// Keeps one result of each shop.
    pub(super) fn new(shops: usize, kept_for: TimeDelta) -> Self {
        Self::with_several(shops, 1, kept_for)
    }

    /// Keeps up to so many results of each shop.
    pub(super) fn with_several(shops: usize, of_each: usize, kept_for: TimeDelta) -> Self {
        Self {
            kept: Mutex::default(),
            shops,
            of_each,
            kept_for,
        }
    }

    /// The result for this key of a shop: the one that is kept, the one under way, or else a new one. A computation that
    /// fails, or whose caller gives up waiting, leaves the turn to the next caller.
    ///
    /// # Errors
    /// Those of the computation.
    pub(super) async fn get<E, F: Future<Output = Result<V, E>>>(
        &self,
        shop_id: Uuid,
        key: K,
        at: DateTime<Utc>,
        compute: impl FnOnce() -> F,
    ) -> Result<V, E> {
        let cell = self.cell(shop_id, key, at);
        cell.get_or_try_init(compute).await.cloned()
    }

    fn cell(&self, shop_id: Uuid, key: K, at: DateTime<Utc>) -> Arc<OnceCell<V>> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let fresh = |entry: &Entry<K, V>| (at - entry.at).abs() < self.kept_for;
        let same = |entry: &&Entry<K, V>| entry.shop_id == shop_id && entry.key == key;
        if let Some(entry) = kept.iter().filter(|entry| fresh(entry)).find(same) {
            return entry.result.clone();
        }
        kept.retain(|entry| entry.shop_id != shop_id || (fresh(entry) && entry.key != key));
        let of_shop =
            |kept: &[Entry<K, V>], shop| kept.iter().filter(|e| e.shop_id == shop).count();
        if of_shop(&kept, shop_id) >= self.of_each {
            let mine = kept.iter().filter(|entry| entry.shop_id == shop_id);
            if let Some(oldest) = mine.map(|entry| entry.at).min() {
                kept.retain(|entry| entry.shop_id != shop_id || entry.at != oldest);
            }
        }
        let mut shops: Vec<Uuid> = kept.iter().map(|entry| entry.shop_id).collect();
        shops.sort_unstable();
        shops.dedup();
        if !shops.contains(&shop_id) && shops.len() >= self.shops {
            let newest = |shop: &Uuid| {
                let its = kept.iter().filter(|entry| entry.shop_id == *shop);
                its.map(|entry| entry.at).max()
            };
            if let Some(oldest) = shops.iter().copied().min_by_key(newest) {
                kept.retain(|entry| entry.shop_id != oldest);
            }
        }
        let result = Arc::new(OnceCell::new());
        kept.push(Entry {
            shop_id,
            key,
            at,
            result: result.clone(),
        });
        result
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures_util::future::join_all;
    use std::sync::atomic::{AtomicU32, Ordering};
    use std::time::Duration;

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::<Utc>::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    /// Asks for a key and says what was given; a computation counts itself and takes a while.
    async fn ask(
        results: &SharedResults<u32, u32>,
        count: &AtomicU32,
        shop: u128,
        (key, minute): (u32, i64),
    ) -> u32 {
        let compute = || async {
            let n = count.fetch_add(1, Ordering::Relaxed);
            tokio::time::sleep(Duration::from_millis(20)).await;
            Ok::<_, ()>(n)
        };
        let asked = results.get(Uuid::from_u128(shop), key, at(minute), compute);
        asked.await.unwrap()
    }

    #[tokio::test]
    async fn ten_callers_at_once_wait_for_one_computation() {
        let (results, count) = (
            SharedResults::new(2, TimeDelta::minutes(5)),
            AtomicU32::new(0),
        );
        let ten = join_all((0..10).map(|_| ask(&results, &count, 1, (7, 0)))).await;
        assert_eq!(ten, [0; 10]);
        assert_eq!(ask(&results, &count, 1, (7, 4)).await, 0, "it is kept");
        assert_eq!(
            ask(&results, &count, 1, (7, 5)).await,
            1,
            "but not for ever"
        );
        assert_eq!(ask(&results, &count, 1, (8, 5)).await, 2, "another key");
        assert_eq!(ask(&results, &count, 2, (8, 6)).await, 3, "another shop");
        assert_eq!(ask(&results, &count, 3, (8, 7)).await, 4);
        assert_eq!(ask(&results, &count, 2, (8, 7)).await, 3);
        assert_eq!(
            ask(&results, &count, 1, (8, 7)).await,
            5,
            "the oldest shop went"
        );
    }

    #[tokio::test]
    async fn several_of_one_shop_stand_beside_each_other() {
        let (results, count) = (
            SharedResults::with_several(2, 2, TimeDelta::minutes(5)),
            AtomicU32::new(0),
        );
        assert_eq!(ask(&results, &count, 1, (7, 0)).await, 0);
        assert_eq!(ask(&results, &count, 1, (8, 1)).await, 1);
        assert_eq!(ask(&results, &count, 1, (7, 2)).await, 0, "both are kept");
        assert_eq!(ask(&results, &count, 1, (9, 3)).await, 2);
        assert_eq!(ask(&results, &count, 1, (8, 3)).await, 1);
        assert_eq!(ask(&results, &count, 1, (7, 3)).await, 3, "the oldest went");
        assert_eq!(ask(&results, &count, 2, (7, 4)).await, 4, "another shop");
        assert_eq!(ask(&results, &count, 1, (7, 4)).await, 3);
        assert_eq!(ask(&results, &count, 1, (7, 9)).await, 5, "not for ever");
    }

    #[tokio::test]
    async fn a_failure_is_not_kept_and_the_next_caller_computes_anew() {
        let results = SharedResults::new(2, TimeDelta::minutes(5));
        let failed = results.get(Uuid::nil(), 1, at(0), || async { Err::<u32, _>("no") });
        assert_eq!(failed.await, Err("no"));
        let again = results.get(Uuid::nil(), 1, at(0), || async { Ok::<_, &str>(3) });
        assert_eq!(again.await, Ok(3));
    }
}
