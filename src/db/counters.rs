//! Human numbers: each shop counts its own papers from 1.

use super::{DbError, ShopTx};

/// What is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counter {
    /// Castings on the shelf.
    Casting,
    /// Enquiries.
    Enquiry,
    /// Quotes.
    Quote,
    /// Jobs.
    Job,
}

impl Counter {
    fn name(self) -> &'static str {
        match self {
            Self::Casting => "casting",
            Self::Enquiry => "enquiry",
            Self::Quote => "quote",
            Self::Job => "job",
        }
    }
}

/// The next number. Others who want one wait until this transaction ends, and get this very number if it rolls back;
/// so numbers neither repeat nor leave gaps.
///
/// # Errors
/// [`DbError::Database`].
pub async fn next(tx: &mut ShopTx, counter: Counter) -> Result<i64, DbError> {
    Ok(sqlx::query_scalar!(
        r#"insert into counter (shop_id, name, next_number) values ($1, $2, 2)
           on conflict (shop_id, name) do update set next_number = counter.next_number + 1
           returning next_number - 1 as "number!""#,
        tx.shop_id(),
        counter.name(),
    )
    .fetch_one(tx.conn())
    .await?)
}
