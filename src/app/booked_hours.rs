//! The hours that bookings make, and the clocks somebody must be asked about because they ran past the end of a shift.

use crate::db::bookings::{self, Booking};
use crate::db::{DbError, ShopTx, calendars, review};
use crate::planning::Calendar;
use crate::shopfloor::{self, Entry, Forgotten, Hours};
use chrono::{DateTime, Days, Utc};
use std::collections::{HashMap, HashSet};
use uuid::Uuid;

/// A question about a clock that ran past the end of a shift.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// The clock.
    pub forgotten: Forgotten,
    /// The entry that started it.
    pub start: Booking,
}

/// The longest a clock is expected to run without any entry: how far back entries of other jobs are read that may share
/// time with a job's own.
const LONGEST_CLOCK: Days = Days::new(7);

/// The questions to ask about these entries: clocks that ran past the end of somebody's shift.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn questions(
    tx: &mut ShopTx,
    live: &[Booking],
    now: DateTime<Utc>,
) -> Result<Vec<Question>, DbError> {
    let entries: Vec<Entry> = live.iter().map(|b| b.entry).collect();
    let asked = asked(tx, &entries, now).await?;
    Ok(asked
        .into_iter()
        .filter_map(|forgotten| {
            let start = live.iter().find(|b| b.entry.id == forgotten.clock.start)?;
            Some(Question {
                forgotten,
                start: start.clone(),
            })
        })
        .collect())
}

/// The entries that started clocks which must be asked about.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn forgotten(
    tx: &mut ShopTx,
    entries: &[Entry],
    now: DateTime<Utc>,
) -> Result<HashSet<Uuid>, DbError> {
    let asked = asked(tx, entries, now).await?;
    Ok(asked.into_iter().map(|f| f.clock.start).collect())
}

async fn asked(
    tx: &mut ShopTx,
    entries: &[Entry],
    now: DateTime<Utc>,
) -> Result<Vec<Forgotten>, DbError> {
    let clocks = shopfloor::clocks(entries);
    let running = || clocks.iter().filter(|c| c.until.is_none());
    let Some(first) = running().map(|c| c.from).min() else {
        return Ok(Vec::new());
    };
    let working_time = calendars::read(tx).await?;
    // From the day before, so that a shift under way is seen whole, to the next shift after a long holiday.
    let from = first.checked_sub_days(Days::new(1)).unwrap_or(first);
    let until = now.checked_add_days(Days::new(30)).unwrap_or(now);
    let calendars: HashMap<Uuid, Calendar> = running()
        .map(|c| {
            let owner = calendars::Owner::Person(c.person);
            (c.person, working_time.calendar(owner, from, until))
        })
        .collect();
    Ok(shopfloor::forgotten(&clocks, entries, now, |person, at| {
        shopfloor::shift_end(calendars.get(&person)?.intervals(), at)
    }))
}

/// The hours of each operation of a job from its `own` entries, with its share of what was done together with other
/// jobs. Clocks that run are counted until now, those that must be asked about not at all.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_job(
    tx: &mut ShopTx,
    own: &[Booking],
    now: DateTime<Utc>,
) -> Result<HashMap<Uuid, Hours>, DbError> {
    let times = || own.iter().map(|b| b.entry.at);
    let (Some(first), Some(last)) = (times().min(), times().max()) else {
        return Ok(HashMap::new());
    };
    let running = shopfloor::clocks(&own.iter().map(|b| b.entry).collect::<Vec<_>>())
        .iter()
        .any(|c| c.until.is_none());
    let from = first.checked_sub_days(LONGEST_CLOCK).unwrap_or(first);
    let until = if running { now } else { last };
    // A week of a busy shop: entries alone, without the names that people read.
    let entries = review::entries(tx, from, until).await?;
    let asked = forgotten(tx, &entries, now).await?;
    let mut clocks = shopfloor::clocks(&entries);
    clocks.retain(|c| !asked.contains(&c.start));
    for clock in &mut clocks {
        clock.until = clock.until.or(Some(now));
    }
    let operations: HashSet<Uuid> = own.iter().map(|b| b.entry.operation).collect();
    let mine = || clocks.iter().filter(|c| operations.contains(&c.operation));
    let begin = mine().map(|c| c.from).min().unwrap_or(now);
    let end = mine().filter_map(|c| c.until).max().unwrap_or(now);
    // Minutes are shared only with what ran at the same time.
    clocks.retain(|c| c.from < end && c.until.is_some_and(|until| until > begin));
    let operations: HashSet<Uuid> = clocks.iter().map(|c| c.operation).collect();
    let operations: Vec<Uuid> = operations.into_iter().collect();
    let standards = bookings::setup_standards(tx, &operations).await?;
    Ok(shopfloor::hours(&clocks, &standards))
}
