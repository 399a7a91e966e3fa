//! The castings that live jobs are about, where they have come.

use super::draw::{self, Kind, LiveJob};
use super::fill::DemoError;
use super::seed::Seed;
use crate::db::ShopTx;
use crate::db::past::{self, PastCasting};
use crate::stock::ShelfState;
use crate::units::Money;
use chrono::{DateTime, TimeDelta, Utc};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use uuid::Uuid;

/// For how long they have been in the shop, the first and the last that came.
const FIRST_AGO: TimeDelta = TimeDelta::days(11);
const LAST_AGO: TimeDelta = TimeDelta::days(1);

/// Writes the casting of the live job at this place among `count`, and gives its key: the customer's own, or one that was
/// bought to be converted. `None` where the scenario has no such casting.
pub(super) async fn write(
    tx: &mut ShopTx,
    (seed, kinds): (&Seed, &[Kind]),
    (job, place, count): (&LiveJob, usize, usize),
    now: DateTime<Utc>,
) -> Result<Option<Uuid>, DemoError> {
    let mut rng = Pcg64::seed_from_u64(seed.past.seed ^ (0xB10C + place as u64));
    let Some(kind) = kinds.get(job.kind) else {
        return Ok(None);
    };
    let apart = (FIRST_AGO - LAST_AGO) / i32::try_from(count.max(1)).unwrap_or(i32::MAX);
    let came = now - FIRST_AGO + apart * i32::try_from(place).unwrap_or(i32::MAX);
    let money = |amount| Money::new(amount, seed.shop.shop.currency);
    let casting = match (&kind.conversion, kind.variant_id) {
        (Some(donor), _) => {
            let bought = seed.past.donor.iter();
            let Some(bought) = bought.clone().find(|d| d.variant == donor.donor_name) else {
                return Ok(None);
            };
            PastCasting {
                at: came,
                variant_id: donor.variant_id,
                owner: None,
                cost: money(Decimal::from_f64(bought.price).unwrap_or_default()),
                condition: "Bare block, as bought",
                inspection: None,
                state: ShelfState::OnShelf,
                job_id: None,
                came_from: draw::pick(&bought.place, &mut rng).map_or("", String::as_str),
            }
        }
        (None, Some(variant_id)) => PastCasting {
            at: came,
            variant_id,
            owner: Some(&job.customer),
            cost: money(Decimal::ZERO),
            condition: "The customer’s own",
            inspection: None,
            state: ShelfState::OnShelf,
            job_id: None,
            came_from: &job.customer,
        },
        (None, None) => return Ok(None),
    };
    let (id, _) = past::casting(tx, &casting).await?;
    Ok(Some(id))
}
