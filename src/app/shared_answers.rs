//! The last answers, for whoever asks the same in the same minute: a form that is posted while somebody types a name, two
//! people at one call, the quote that is given for what was read out.

use super::AppError;
use super::question::{Asked, Question, Unanswerable};
use super::shared_results::SharedResults;
use crate::enquiry::Answer;
use crate::planning::engine::promise::PlannedDates;
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::{Arc, Weak};
use uuid::Uuid;

/// Shops whose answers are kept at once.
const SHOPS_KEPT: usize = 4;

/// Answers that are kept of each: as many calls as are answered at once.
const OF_EACH: usize = 4;

/// An answer is good for the minute it is given in, and no longer.
const KEPT_FOR: TimeDelta = TimeDelta::minutes(1);

/// Everything that an answer is computed from. A simulation takes its moment to the minute, and its day.
#[derive(Debug)]
struct AnswerOf {
    asked: Arc<Asked>,
    /// Plans that are drawn anew are others, even where they come out the same.
    dates: Weak<PlannedDates>,
    futures: u32,
    /// Minutes since 1970, and whether it is the very beginning of the last: work begins with the next whole minute.
    minute: (i64, bool),
}

impl PartialEq for AnswerOf {
    fn eq(&self, other: &Self) -> bool {
        self.minute == other.minute
            && self.futures == other.futures
            && self.dates.ptr_eq(&other.dates)
            && self.asked == other.asked
    }
}

type Given = Arc<Result<Answer, Unanswerable>>;

/// The last answers of shops. Clones share them.
#[derive(Debug, Clone)]
pub(super) struct SharedAnswers(Arc<SharedResults<AnswerOf, Given>>);

impl Default for SharedAnswers {
    fn default() -> Self {
        Self(Arc::new(SharedResults::with_several(
            SHOPS_KEPT, OF_EACH, KEPT_FOR,
        )))
    }
}

fn minute(at: DateTime<Utc>) -> (i64, bool) {
    let whole = at.timestamp().div_euclid(60);
    let begins = at.timestamp() == whole * 60 && at.timestamp_subsec_nanos() == 0;
    (whole, begins)
}

impl SharedAnswers {
    /// The answer to a question: the one that is kept, the one under way, or else a new one, simulated on a thread of its own.
    ///
    /// # Errors
    /// [`AppError::Failed`]. What keeps it from being answered is not an error but an [`Unanswerable`].
    pub(super) async fn get(
        &self,
        shop_id: Uuid,
        question: Question,
        dates: Arc<PlannedDates>,
        futures: u32,
    ) -> Result<Result<Answer, Unanswerable>, AppError> {
        let at = question.at();
        let of = AnswerOf {
            asked: question.asked().clone(),
            dates: Arc::downgrade(&dates),
            futures,
            minute: minute(at),
        };
        let simulate = || async {
            let question = question.clone();
            let simulated = tokio::task::spawn_blocking(move || question.answer(&*dates, futures));
            let answer = simulated.await;
            let answer = answer.map_err(|why| AppError::failed("the answer", why))?;
            Ok::<Given, AppError>(Arc::new(answer))
        };
        let given = self.0.get(shop_id, of, at, simulate).await?;
        Ok((*given).clone().map(|answer| question.made_mine(answer)))
    }
}
