//! A check that was made is recorded once, however often it arrives. One that fails puts its job on hold until somebody
//! decides.

use super::{Actor, AppError, Refusal, once};
use crate::db::api_requests::Keyed;
use crate::db::checks::{self, NewResult};
use crate::db::people::{self, Role};
use crate::db::{ShopTx, jobs};
use crate::quality::{self, CheckRefusal};
use uuid::Uuid;

/// What became of a check that arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Checked {
    /// Whether it passed.
    pub passed: bool,
    /// Whether it had arrived before.
    pub again: bool,
}

/// Records a check and, when it fails, opens a hold, unless the same check of the operation holds the job already; once under
/// a key. Returns the key of the result with what became of it.
///
/// # Errors
/// [`AppError::KeyUsed`];
/// [`Refusal::Check`] when the operation has no such check, a measurement was given for what is gauged or the other way
/// round, or the key was used for something else; [`AppError::Db`], as [`crate::db::DbError::NotFound`] when there is no
/// such operation.
pub async fn record(
    actor: &Actor,
    new: &NewResult,
    keyed: Option<&Keyed>,
) -> Result<(Uuid, Checked), AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            let before = once::claim(tx, new.id, keyed).await?;
            let id = before.unwrap_or(new.id);
            let checked = record_within(tx, &NewResult { id, ..new.clone() }).await?;
            Ok((id, checked))
        })
        .await
}

/// Records a check that was made and not entered at the bench, for the office: who made it is `new.person_id`.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`crate::db::DbError::NotFound`] when there is no such person; as [`record`].
pub async fn record_missed(actor: &Actor, new: &NewResult) -> Result<Checked, AppError> {
    actor
        .transact(Role::Office, async |tx| {
            people::get(tx, new.person_id).await?;
            record_within(tx, new).await
        })
        .await
}

/// Records a check within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`record`].
pub async fn record_within(tx: &mut ShopTx, new: &NewResult) -> Result<Checked, AppError> {
    // The job stays locked, so that two checks of one operation come one after the other.
    let (job, operation) = jobs::operation(tx, new.operation_id).await?;
    if let Some(earlier) = checks::earlier(tx, new.id).await? {
        let same_found = earlier.found == new.found;
        let same_place = i64::from(earlier.place) == i64::from(new.place);
        if earlier.operation_id != new.operation_id || !same_place || !same_found {
            return Err(Refusal::from(CheckRefusal::KeyUsed).into());
        }
        return Ok(Checked {
            passed: earlier.passed,
            again: true,
        });
    }
    let check = usize::try_from(new.place)
        .ok()
        .and_then(|place| operation.planned.checks.get(place))
        .ok_or(Refusal::Check(CheckRefusal::NoSuchCheck))?;
    let judged = quality::judge(check, &new.found).map_err(Refusal::Check)?;
    checks::insert(tx, new, check, &judged).await?;
    if let Some(failure) = &judged.failure
        && !checks::holds_job(tx, new.operation_id, new.place).await?
    {
        let why = quality::hold_reason(operation.planned.number, check, failure);
        checks::open_hold(tx, new, job.id, &why).await?;
    }
    Ok(Checked {
        passed: judged.passed(),
        again: false,
    })
}
