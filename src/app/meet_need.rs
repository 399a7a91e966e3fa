//! What a job needs: written down, changed, met by goods that come, are taken from stock or go out of the tool store, and
//! put back.

use super::{Actor, AppError, Refusal, once};
use crate::db::api_requests::Keyed;
use crate::db::castings_on_shelf::{self, ShelfState};
use crate::db::needs::{self, Arrival, Behind, MaterialLine, Need, NeedDetails, NeedKind};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, jobs, stock, tools};
use crate::documents::notes;
use crate::enquiry::quote::DonorSource;
use crate::estimating::{Material, Route};
use crate::stock::{NeedRefusal, Transfer, materials};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use uuid::Uuid;

fn refused(need: &Need) -> impl FnOnce(NeedRefusal) -> Refusal {
    let what = need.details.what.clone();
    |why| Refusal::Need { what, why }
}

/// The need of a job as its editor saw it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seen {
    /// The job.
    pub job_id: Uuid,
    /// The need.
    pub id: Uuid,
    /// The version that was seen.
    pub version: i32,
}

/// Adds a need to an open job, for the office; once under a key. A casting behind it is set aside for the job, if it is not yet.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Stored`] when the job is closed or the casting is not free; [`AppError::Db`], as
/// [`DbError::NotFound`] when what it names is not there.
pub async fn add(
    actor: &Actor,
    job_id: Uuid,
    details: &NeedDetails,
    keyed: Option<&Keyed>,
) -> Result<Uuid, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    match add_within(&mut tx, job_id, details).await {
        Ok(id) => once::finish(tx, id, keyed).await,
        Err(why) => {
            drop(tx);
            once::or_before(actor, keyed, why).await
        }
    }
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`add`].
pub async fn add_within(
    tx: &mut ShopTx,
    job_id: Uuid,
    details: &NeedDetails,
) -> Result<Uuid, AppError> {
    jobs::open(tx, job_id).await?;
    if let Behind::Casting(casting_id) = details.behind {
        set_aside(tx, casting_id, job_id).await?;
    }
    Ok(needs::insert(tx, job_id, details).await?)
}

/// Changes a need of an open job, for the office. A casting that is not behind it any more is free again.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Need`] when goods were taken from stock for it; [`Refusal::Stored`] when the job
/// is closed or the casting is not free; [`AppError::Db`], as [`DbError::Stale`].
pub async fn change(actor: &Actor, seen: Seen, details: &NeedDetails) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            change_within(tx, seen, details).await
        })
        .await
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`change`].
pub async fn change_within(
    tx: &mut ShopTx,
    seen: Seen,
    details: &NeedDetails,
) -> Result<(), AppError> {
    jobs::open(tx, seen.job_id).await?;
    let now = needs::get(tx, seen.job_id, seen.id).await?;
    if now.version != seen.version {
        return Err(DbError::Stale("this need").into());
    }
    now.source.may_change().map_err(refused(&now))?;
    if now.details.behind != details.behind {
        if let Behind::Casting(old) = now.details.behind {
            castings_on_shelf::free(tx, old, seen.job_id).await?;
        }
        if let Behind::Casting(new) = details.behind {
            set_aside(tx, new, seen.job_id).await?;
        }
    }
    needs::update(tx, seen.job_id, seen.id, seen.version, details).await?;
    Ok(())
}

/// Removes a need of an open job, for the office. A casting behind it is free again.
///
/// # Errors
/// As [`change`]; [`Refusal::Stored`] when stock was ever booked for it.
pub async fn remove(actor: &Actor, seen: Seen) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| remove_within(tx, seen).await)
        .await
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`remove`].
pub async fn remove_within(tx: &mut ShopTx, seen: Seen) -> Result<(), AppError> {
    jobs::open(tx, seen.job_id).await?;
    let now = needs::get(tx, seen.job_id, seen.id).await?;
    now.source.may_change().map_err(refused(&now))?;
    if let Behind::Casting(casting_id) = now.details.behind {
        castings_on_shelf::free(tx, casting_id, seen.job_id).await?;
    }
    needs::remove(tx, seen.job_id, seen.id, seen.version).await?;
    Ok(())
}

/// Notes that the goods of a need are here; for one that draws on nothing else. Whoever opens the parcel may say so.
///
/// # Errors
/// [`Refusal::Need`] when it draws on a casting, stock or a tool; [`AppError::Db`], as [`DbError::Stale`].
pub async fn arrived(actor: &Actor, seen: Seen) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| arrived_within(tx, seen).await)
        .await
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`arrived`].
pub async fn arrived_within(tx: &mut ShopTx, seen: Seen) -> Result<(), AppError> {
    let now = needs::get(tx, seen.job_id, seen.id).await?;
    now.source.may_arrive().map_err(refused(&now))?;
    needs::set_state(tx, seen.id, seen.version, Arrival::Here).await?;
    Ok(())
}

/// Takes what a need of an open job asks for from stock, or its tool out of the store. Whoever fetches it may say so.
///
/// # Errors
/// [`Refusal::Need`] when it draws on neither or was taken already; [`Refusal::Stored`] when the job is closed, there is
/// not so much on hand or the tool is out; [`AppError::Db`], as [`DbError::Stale`].
pub async fn take(actor: &Actor, seen: Seen) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| take_within(tx, seen).await)
        .await
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`take`].
pub async fn take_within(tx: &mut ShopTx, seen: Seen) -> Result<(), AppError> {
    let now = needs::get(tx, seen.job_id, seen.id).await?;
    jobs::open(tx, seen.job_id).await?;
    match now.details.behind {
        Behind::Tool(tool_id) => Ok(tools::take_out(tx, tool_id, seen.job_id).await?),
        _ => move_stock(tx, seen, &now, Transfer::ToJob).await,
    }
}

/// Puts back what was taken for a need. Whoever brings it may say so.
///
/// # Errors
/// [`Refusal::Need`] when it draws on neither stock nor a tool or nothing was taken; [`Refusal::Stored`] when the tool is
/// not out with the job; [`AppError::Db`], as [`DbError::Stale`].
pub async fn put_back(actor: &Actor, seen: Seen) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| put_back_within(tx, seen).await)
        .await
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`put_back`].
pub async fn put_back_within(tx: &mut ShopTx, seen: Seen) -> Result<(), AppError> {
    let now = needs::get(tx, seen.job_id, seen.id).await?;
    match now.details.behind {
        Behind::Tool(tool_id) => Ok(tools::bring_back(tx, tool_id, seen.job_id).await?),
        _ => move_stock(tx, seen, &now, Transfer::Back).await,
    }
}

async fn move_stock(
    tx: &mut ShopTx,
    seen: Seen,
    now: &Need,
    transfer: Transfer,
) -> Result<(), AppError> {
    let item_id = now.source.item().map_err(refused(now))?;
    // The version is counted up first: of two who take at once, the second is told.
    needs::set_state(tx, seen.id, seen.version, transfer.leads_to()).await?;
    transfer
        .may_follow(now.details.arrival)
        .map_err(refused(now))?;
    stock::book_for_need(tx, item_id, seen.id, now.details.quantity, transfer).await?;
    Ok(())
}

/// Adds what a new job needs: its casting, when its quote had one, and the materials and tools of its route, each before
/// the operation that uses it, with the batches of parts that the route makes. A casting from the shelf is set aside for the job already.
///
/// # Errors
/// [`DbError::NotFound`] when the casting is gone, [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_route(
    tx: &mut ShopTx,
    job_id: Uuid,
    route: &Route,
    donor: Option<DonorSource>,
) -> Result<(), DbError> {
    if let Some(donor) = donor {
        let details = NeedDetails {
            operation_id: None,
            kind: NeedKind::Donor,
            what: notes::donor_need(donor).to_owned(),
            quantity: Decimal::ONE,
            unit: "each".to_owned(),
            behind: match donor {
                DonorSource::Shelf(id) => Behind::Casting(id),
                DonorSource::Brought | DonorSource::Bought => Behind::Itself,
            },
            arrival: Arrival::Wanted,
            expected_on: None,
        };
        needs::insert(tx, job_id, &details).await?;
    }
    of_operations(tx, job_id, route).await?;
    Ok(())
}

/// Adds what operations of a job need: their materials and tools. What they make for each other is written down as batches,
/// which are given by item and key; a material that is made in the job waits for its batch.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub(super) async fn of_operations(
    tx: &mut ShopTx,
    job_id: Uuid,
    route: &Route,
) -> Result<Vec<(Uuid, Uuid)>, DbError> {
    let batches = stock::start_batches(tx, job_id, &route.operations).await?;
    let batch_of = |material: &Material| {
        let makes = route.operations.iter().filter_map(|o| o.makes.as_ref());
        let item = makes
            .filter(|_| material.made)
            .find(|makes| makes.part == material.name)?;
        let found = batches.iter().find(|(of, _)| *of == item.item_id);
        found.map(|(_, batch)| *batch)
    };
    let lines: Vec<MaterialLine> = materials(route)
        .map(|(operation, material)| MaterialLine {
            operation,
            name: material.name.clone(),
            quantity: material.quantity,
            batch_id: batch_of(material),
        })
        .collect();
    needs::add_materials(tx, job_id, &lines).await?;
    let tools: Vec<(u32, String)> = (route.operations.iter())
        .flat_map(|o| o.tools.iter().map(|tool| (o.number, tool.clone())))
        .collect();
    needs::add_tools(tx, job_id, &tools).await?;
    Ok(batches)
}

/// Adds the part that the customer of a new job brings on a day.
///
/// # Errors
/// [`DbError::Database`].
pub async fn customers_part(
    tx: &mut ShopTx,
    job_id: Uuid,
    part: &str,
    day: NaiveDate,
) -> Result<(), DbError> {
    let details = NeedDetails {
        operation_id: None,
        kind: NeedKind::Part,
        what: notes::customers_part(part),
        quantity: Decimal::ONE,
        unit: "each".to_owned(),
        behind: Behind::Itself,
        arrival: Arrival::Ordered,
        expected_on: Some(day),
    };
    needs::insert(tx, job_id, &details).await?;
    Ok(())
}

/// Sets a casting aside for a job, unless it has it already.
async fn set_aside(tx: &mut ShopTx, casting_id: Uuid, job_id: Uuid) -> Result<(), DbError> {
    let casting = castings_on_shelf::get(tx, casting_id).await?;
    if casting.state == ShelfState::Reserved && casting.job_id == Some(job_id) {
        return Ok(());
    }
    castings_on_shelf::reserve(tx, casting_id, job_id).await
}
