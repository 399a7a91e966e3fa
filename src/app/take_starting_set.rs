//! Fills a new shop with what it has none of yet: machines with worked rates, a labour rate, standard times, cutting data,
//! conversion rules, crack repairs and working hours. All of it is a starting point for the shop's own figures.

use super::{Actor, AppError, aftercare, everyday_work};
use crate::db::calendars::{self, Owner, ShiftRow};
use crate::db::people::Role;
use crate::db::{
    crack_repairs, cutting, machines, remedy_rules, settings, shops, standards, today,
    work_templates,
};
use crate::enquiry;
use crate::estimating::{cutting_data, starting};
use crate::planning::calendar::Shift;
use chrono::{NaiveTime, Weekday};
use uuid::Uuid;

/// How many of each were added; nought where the shop had its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Taken {
    /// Machines.
    pub machines: usize,
    /// Labour rates.
    pub labour_rates: usize,
    /// Standard times, with their cutting data.
    pub standard_times: usize,
    /// Everyday work under a name.
    pub templates: usize,
    /// Texts for fitting sheets.
    pub fitting_texts: usize,
    /// Conversion rules and crack repairs.
    pub rules: usize,
    /// Weekly shifts.
    pub shifts: usize,
}

/// The hours of a day: before and after half past twelve. Common practice, no source.
const HOURS: [(u32, u32, u32, u32); 2] = [(8, 0, 12, 0), (12, 30, 16, 30)];
const DAYS: [Weekday; 5] = [
    Weekday::Mon,
    Weekday::Tue,
    Weekday::Wed,
    Weekday::Thu,
    Weekday::Fri,
];

/// Adds what the shop has none of, for the owner; all of it or nothing.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`]; [`AppError::Failed`] when the set does not read.
pub async fn take_starting_set(actor: &Actor) -> Result<Taken, AppError> {
    actor.require(Role::Owner)?;
    let mut tx = actor.begin().await?;
    // Two owners who press the button at once take turns: the second finds what the first has added.
    shops::lock(&mut tx).await?;
    let has = today::set_up(&mut tx).await?;
    let currency = settings::get(&mut tx).await?.currency;
    let unread = |why| AppError::failed("reading the starting set", why);
    let (fleet, labour) = starting::machines(currency, Uuid::now_v7).map_err(unread)?;
    let elements = starting::elements(currency, Uuid::now_v7).map_err(unread)?;
    let mut taken = Taken::default();
    if !has.machine {
        for machine in &fleet {
            machines::insert(&mut tx, machine).await?;
            taken.machines += 1;
        }
    }
    if !has.labour_rate {
        machines::insert_labour_rate(&mut tx, &labour).await?;
        taken.labour_rates += 1;
    }
    if !has.standard_time {
        for element in &elements {
            standards::insert(&mut tx, element).await?;
            taken.standard_times += 1;
        }
        if cutting::materials(&mut tx).await?.is_empty() {
            cutting::start(&mut tx, &cutting_data::starting_points()).await?;
        }
    }
    if taken.standard_times > 0 && work_templates::list(&mut tx).await?.is_empty() {
        taken.templates = everyday_work::take_what_fits(&mut tx).await?;
    }
    if taken.standard_times > 0 {
        taken.fitting_texts = aftercare::take_usual_within(&mut tx).await?;
    }
    // Rules name elements by their codes: they go with the set's own standard times.
    if taken.standard_times > 0 && remedy_rules::list(&mut tx).await?.is_empty() {
        let (rules, repairs) = enquiry::starting::rules(Uuid::now_v7).map_err(unread)?;
        for rule in &rules {
            remedy_rules::insert(&mut tx, rule).await?;
            taken.rules += 1;
        }
        if crack_repairs::list(&mut tx).await?.is_empty() {
            for repair in &repairs {
                crack_repairs::insert(&mut tx, repair).await?;
                taken.rules += 1;
            }
        }
    }
    if !has.hours {
        for shift in week() {
            calendars::insert_shift(&mut tx, &shift).await?;
            taken.shifts += 1;
        }
    }
    tx.commit().await?;
    Ok(taken)
}

/// The weekly shifts of the shop.
fn week() -> impl Iterator<Item = ShiftRow> {
    let at = NaiveTime::from_hms_opt;
    DAYS.into_iter().flat_map(move |weekday| {
        HOURS
            .into_iter()
            .filter_map(move |(from, from_min, until, until_min)| {
                Some(ShiftRow {
                    id: Uuid::now_v7(),
                    owner: Owner::Shop,
                    shift: Shift {
                        weekday,
                        start: at(from, from_min, 0)?,
                        end: at(until, until_min, 0)?,
                    },
                    version: 1,
                })
            })
    })
}
