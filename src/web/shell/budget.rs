//! Memory that requests share: who needs some waits for it, and a wait that grows long is refused, so that what the
//! service holds stays within a fixed budget whatever is sent to it.

use super::error::WebError;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::timeout;

const MEGABYTE: u64 = 1024 * 1024;
/// How long somebody waits for their share.
const PATIENCE: Duration = Duration::from_secs(20);

/// Memory to be shared. Clones share the same.
#[derive(Debug, Clone)]
pub(in crate::web) struct Budget {
    free: Arc<Semaphore>,
    megabytes: u32,
}

/// A share, given back when the last clone is dropped.
#[derive(Debug, Clone)]
pub struct Share(#[expect(dead_code, reason = "held, not read")] Arc<OwnedSemaphorePermit>);

impl Budget {
    /// So many megabytes.
    pub(in crate::web) fn new(megabytes: u32) -> Self {
        let free = usize::try_from(megabytes).unwrap_or(Semaphore::MAX_PERMITS);
        Self {
            free: Arc::new(Semaphore::new(free)),
            megabytes,
        }
    }

    /// A share of so many bytes, in whole megabytes, when it is free.
    ///
    /// # Errors
    /// [`WebError::TooLarge`] for more than there is in all, [`WebError::Busy`] when it took too long.
    pub(in crate::web) async fn share(&self, bytes: u64) -> Result<Share, WebError> {
        let megabytes = u32::try_from(bytes.div_ceil(MEGABYTE)).unwrap_or(u32::MAX);
        if megabytes > self.megabytes {
            return Err(WebError::TooLarge);
        }
        match timeout(PATIENCE, self.free.clone().acquire_many_owned(megabytes)).await {
            Ok(Ok(permit)) => Ok(Share(Arc::new(permit))),
            Ok(Err(_)) | Err(_) => Err(WebError::Busy),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[actix_web::test]
    async fn a_share_is_waited_for_and_more_than_all_is_refused() {
        let budget = Budget::new(10);
        assert!(matches!(
            budget.share(11 * MEGABYTE).await,
            Err(WebError::TooLarge)
        ));
        let most = budget.share(9 * MEGABYTE + 1).await.unwrap();
        let waits = budget.share(1);
        tokio::pin!(waits);
        assert!(
            timeout(Duration::from_millis(20), &mut waits)
                .await
                .is_err()
        );
        drop(most);
        assert!(waits.await.is_ok());
    }
}
