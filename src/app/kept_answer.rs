//! An answer as it was read out, for the use cases that go on from it: a quote, a bargain, what would make the day.

use super::{AppError, Refusal};
use crate::db::answers::{self, KeptAnswer};
use crate::db::{DbError, ShopTx};
use crate::enquiry::{Answer, OptionAnswer};
use uuid::Uuid;

/// An answer that was read out.
#[derive(Debug)]
pub(super) struct SaidAnswer {
    /// As it is kept.
    pub(super) kept: KeptAnswer,
    /// What it says.
    pub(super) answer: Answer,
}

impl SaidAnswer {
    /// Reads an answer to an enquiry.
    ///
    /// # Errors
    /// [`DbError::NotFound`] also when it answers another enquiry; [`AppError::Db`], [`AppError::Failed`].
    pub(super) async fn read(
        tx: &mut ShopTx,
        (enquiry_id, answer_id): (Uuid, Uuid),
    ) -> Result<Self, AppError> {
        let kept = answers::get(tx, answer_id).await?;
        if kept.enquiry_id != enquiry_id {
            return Err(DbError::NotFound("this answer").into());
        }
        let answer = serde_json::from_value(kept.answer.clone())
            .map_err(|why| AppError::failed("reading the answer", why))?;
        Ok(Self { kept, answer })
    }

    /// One of its options.
    ///
    /// # Errors
    /// [`Refusal::OptionGone`].
    pub(super) fn option(&self, key: &str) -> Result<&OptionAnswer, Refusal> {
        self.answer
            .option(key)
            .ok_or_else(|| Refusal::option_gone(key))
    }
}
