//! Writing the scenario into the store, all of it or nothing.

use super::bench::{self, Begun};
use super::draw::{self, LiveJob};
use super::live_castings;
use super::measured;
use super::past;
use super::photo;
use super::seed::{Seed, SeedError, ShelfSeed};
use super::stock;
use crate::app::aftercare;
use crate::app::everyday_work;
use crate::app::password::{self, PasswordError};
use crate::castings::identify::{Found, Mark, MarkKind};
use crate::db::calendars::{self, Holiday, Owner, ShiftRow, Stop};
use crate::db::casting_records::{self, Measurement};
use crate::db::jobs::{self, NewJob, OperationState};
use crate::db::past::{self as past_rows, PastCasting};
use crate::db::people::{self, NewPerson, Role};
use crate::db::shops::{self, NewShop};
use crate::db::{
    DbError, ShopTx, castings, crack_repairs, customer_links, cutting, devices, machines,
    related_patterns, remedy_rules, sightings, standards,
};
use crate::estimating::cutting_data;
use crate::planning::calendar::Shift;
use crate::sourcing::Watch;
use crate::stock::ShelfState;
use crate::units::{Code, Length, Money};
use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, TimeZone, Utc};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use rust_decimal::Decimal;
use sqlx::PgPool;
use std::collections::HashMap;
use uuid::Uuid;

/// Why the demo could not be made.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The seed data.
    #[error(transparent)]
    Seed(#[from] SeedError),
    /// The store.
    #[error(transparent)]
    Store(#[from] DbError),
    /// A use case.
    #[error(transparent)]
    App(#[from] crate::app::AppError),
    /// Hashing the demo password.
    #[error(transparent)]
    Password(#[from] PasswordError),
    /// The work was stopped half way.
    #[error("hashing the demo password was stopped: {0}")]
    Stopped(#[from] tokio::task::JoinError),
}

/// Who can sign in to the demo, and as what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignIn {
    /// Name as spoken.
    pub name: String,
    /// What to type.
    pub sign_in: String,
    /// The number for the bench, published like the password; who has none does not sign on there.
    pub pin: Option<String>,
    /// Their role.
    pub role: Role,
}

/// The demo, made just now or found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Demo {
    /// The shop's name.
    pub shop: String,
    /// What to type for the shop at sign-in.
    pub short_name: String,
    /// Whether it was made just now; a demo that was there already is left as it is.
    pub made: bool,
    /// Its people.
    pub sign_ins: Vec<SignIn>,
    /// The password they all have, published on purpose.
    pub password: String,
}

/// The fixed seeds of what is drawn.
const JOBS_SEED: u64 = 490;
const SIGHTINGS_SEED: u64 = 91;
const BENCH_SEED: u64 = 17;
/// Jobs whose work so far was booked at the bench; the others came as far before there was one.
const BOOKED_JOBS: usize = 8;

/// Makes the demo shop, unless there is one already. Days in it count from today, the shop's calendar day of `now`.
///
/// # Errors
/// [`DemoError`]; nothing is left behind then.
pub async fn run(pool: &PgPool, now: DateTime<Utc>) -> Result<Demo, DemoError> {
    let seed = Seed::read()?;
    let today = now.with_timezone(&seed.shop.shop.time_zone).date_naive();
    let sign_ins = seed
        .shop
        .person
        .iter()
        .map(|person| {
            Ok(SignIn {
                name: person.name.clone(),
                sign_in: person.sign_in.clone(),
                pin: person.pin.clone(),
                role: role(&person.role)?,
            })
        })
        .collect::<Result<Vec<_>, SeedError>>()?;
    let found = shops::find(pool, &seed.shop.shop.short_name).await?;
    if found.is_none() {
        make(pool, &seed, today, now).await?;
    }
    Ok(Demo {
        shop: seed.shop.shop.name,
        short_name: seed.shop.shop.short_name,
        made: found.is_none(),
        sign_ins,
        password: seed.shop.sign_in.password,
    })
}

fn role(code: &str) -> Result<Role, SeedError> {
    Role::from_code(code).ok_or_else(|| SeedError {
        file: "shop.toml",
        why: format!("“{code}” is not a role"),
    })
}

async fn make(
    pool: &PgPool,
    seed: &Seed,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Result<(), DemoError> {
    let shop = &seed.shop.shop;
    let mut tx = shops::found(
        pool,
        &NewShop {
            name: shop.name.clone(),
            short_name: shop.short_name.clone(),
            currency: shop.currency,
            time_zone: shop.time_zone,
            length_unit: shop.length_unit.clone(),
            overhead_percent: shop.overhead_percent,
            margin_percent: shop.margin_percent,
            tax_percent: shop.tax_percent,
            tax_name: shop.tax_name.clone(),
            confidence_percent: shop.confidence_percent,
            quote_valid_days: shop.quote_valid_days,
        },
    )
    .await?;
    let people = write_people(&mut tx, seed, now).await?;
    for machine in &seed.machines {
        machines::insert(&mut tx, machine).await?;
    }
    write_calendars(&mut tx, seed, &people, today).await?;
    for rate in &seed.labour {
        machines::insert_labour_rate(&mut tx, rate).await?;
    }
    for element in &seed.elements {
        standards::insert(&mut tx, element).await?;
    }
    everyday_work::take_what_fits(&mut tx).await?;
    aftercare::take_usual_within(&mut tx).await?;
    cutting::start(&mut tx, &cutting_data::starting_points()).await?;
    for pattern in &seed.patterns {
        castings::insert_pattern(&mut tx, pattern).await?;
    }
    for variant in &seed.variants {
        castings::insert_variant(&mut tx, variant).await?;
    }
    for related in &seed.related {
        related_patterns::insert(&mut tx, related).await?;
    }
    for rule in &seed.rules {
        remedy_rules::insert(&mut tx, rule).await?;
    }
    for repair in &seed.crack_repairs {
        crack_repairs::insert(&mut tx, repair).await?;
    }
    // Written first, so that its papers have the lower numbers.
    let live = draw::live_jobs(seed, today, &mut Pcg64::seed_from_u64(JOBS_SEED))?;
    let quotes = past::write(&mut tx, seed, &people, today, &live).await?;
    // What is a customer's own goes by its owner from the first.
    customer_links::adopt_all(&mut tx).await?;
    write_market(&mut tx, seed, today).await?;
    measured::write(&mut tx, seed, now).await?;
    let live = live.iter().zip(quotes);
    write_jobs(&mut tx, (seed, &people), live, today, now).await?;
    customer_links::adopt_all(&mut tx).await?;
    tx.commit().await?;
    Ok(())
}

/// Writes the people and gives back their keys by name.
async fn write_people(
    tx: &mut ShopTx,
    seed: &Seed,
    now: DateTime<Utc>,
) -> Result<HashMap<String, Uuid>, DemoError> {
    let mut keys = HashMap::new();
    let password = seed.shop.sign_in.password.clone();
    // One hash for all: the password is published anyway, and hashing is slow by design.
    let password_hash = tokio::task::spawn_blocking(move || password::hash(&password)).await??;
    for person in &seed.shop.person {
        let id = people::insert(
            tx,
            &NewPerson {
                name: person.name.clone(),
                sign_in: person.sign_in.clone(),
                role: role(&person.role)?,
                skills: person.skills.clone(),
                password_hash: password_hash.clone(),
            },
        )
        .await?;
        if let Some(pin) = person.pin.clone() {
            let hash = tokio::task::spawn_blocking(move || password::hash(&pin)).await??;
            devices::set_pin(tx, id, &hash, now).await?;
        }
        keys.insert(person.name.clone(), id);
    }
    Ok(keys)
}

async fn write_calendars(
    tx: &mut ShopTx,
    seed: &Seed,
    people: &HashMap<String, Uuid>,
    today: NaiveDate,
) -> Result<(), DemoError> {
    let fault = |why: String| SeedError {
        file: "calendars.toml",
        why,
    };
    let owner = |machine: &Option<String>, person: &Option<String>| match (machine, person) {
        (None, None) => Ok(Owner::Shop),
        (Some(name), None) => seed
            .machines
            .iter()
            .find(|machine| machine.name == *name)
            .map(|machine| Owner::Machine(machine.id))
            .ok_or_else(|| fault(format!("there is no machine “{name}”"))),
        (None, Some(name)) => people
            .get(name)
            .map(|id| Owner::Person(*id))
            .ok_or_else(|| fault(format!("there is no “{name}”"))),
        (Some(machine), Some(person)) => Err(fault(format!("{machine} and {person} at once"))),
    };
    for hours in &seed.calendars.shift {
        let owner = owner(&hours.machine, &hours.person)?;
        for weekday in &hours.days {
            for [start, end] in &hours.hours {
                let shift = Shift {
                    weekday: *weekday,
                    start: *start,
                    end: *end,
                };
                let row = ShiftRow {
                    id: Uuid::now_v7(),
                    owner,
                    shift,
                    version: 1,
                };
                calendars::insert_shift(tx, &row).await?;
            }
        }
    }
    for holiday in &seed.calendars.holiday {
        for year in [today.year() - 1, today.year(), today.year() + 1] {
            let on = NaiveDate::from_ymd_opt(year, holiday.month, holiday.day)
                .ok_or_else(|| fault(format!("“{}” is on no day", holiday.name)))?;
            let holiday = Holiday {
                id: Uuid::now_v7(),
                on,
                name: holiday.name.clone(),
                version: 1,
            };
            calendars::insert_holiday(tx, &holiday).await?;
        }
    }
    let zone = seed.shop.shop.time_zone;
    for stop in &seed.calendars.stop {
        let at = |time: NaiveTime| {
            today
                .checked_add_days(Days::new(u64::from(stop.in_days)))
                .and_then(|day| zone.from_local_datetime(&day.and_time(time)).earliest())
                .map(|at| at.with_timezone(&Utc))
                .ok_or_else(|| fault(format!("“{}” is at no time", stop.why)))
        };
        let [start, end] = stop.hours;
        let stop = Stop {
            id: Uuid::now_v7(),
            owner: owner(&stop.machine, &stop.person)?,
            starts_at: at(start)?,
            ends_at: at(end)?,
            why: stop.why.clone(),
            version: 1,
        };
        calendars::insert_stop(tx, &stop).await?;
    }
    Ok(())
}

async fn write_market(tx: &mut ShopTx, seed: &Seed, today: NaiveDate) -> Result<(), DemoError> {
    let file = "market.toml";
    let money = |amount: Decimal| Money::new(amount, seed.shop.shop.currency);
    for watch in &seed.market.watch {
        let watch = Watch {
            variant_id: seed.variant(file, &watch.variant)?.id,
            since: today
                .checked_sub_days(Days::new(365 * u64::from(watch.years)))
                .unwrap_or(today),
            likely_wait_days: watch.likely_wait_days,
            likely_price: Some(money(watch.likely_price)),
            price_factor: watch.price_factor,
            good_percent: watch.good_percent,
            search_hours_a_week: watch.search_hours_a_week,
            carriage: money(watch.carriage),
            carriage_days: watch.carriage_days,
            offer_days: watch.offer_days,
            version: 1,
        };
        sightings::keep_watch(tx, &watch, None).await?;
    }
    for sighting in draw::sightings(seed, today, &mut Pcg64::seed_from_u64(SIGHTINGS_SEED))? {
        sightings::insert(tx, &sighting).await?;
    }
    // The last came yesterday, those before it a fortnight apart.
    let later = (0..seed.market.shelf.len() as u64).rev();
    for (later, on_shelf) in later.zip(&seed.market.shelf) {
        let came = today.checked_sub_days(Days::new(1 + 14 * later));
        let casting = PastCasting {
            at: came.unwrap_or(today).and_time(NaiveTime::MIN).and_utc(),
            variant_id: seed.variant(file, &on_shelf.variant)?.id,
            owner: on_shelf.owner.as_deref(),
            cost: money(on_shelf.cost),
            condition: &on_shelf.condition,
            inspection: None,
            state: ShelfState::OnShelf,
            job_id: None,
            came_from: &on_shelf.came_from,
        };
        let (id, _) = past_rows::casting(tx, &casting).await?;
        write_records(tx, on_shelf, id).await?;
    }
    Ok(())
}

/// The marks of a casting, and what was measured.
async fn write_records(
    tx: &mut ShopTx,
    on_shelf: &ShelfSeed,
    casting_id: Uuid,
) -> Result<(), DemoError> {
    let file = "market.toml";
    let fault = |why: String| SeedError { file, why };
    for [kind, place, text] in &on_shelf.marks {
        let mark = Mark {
            kind: MarkKind::from_code(kind)
                .ok_or_else(|| fault(format!("“{kind}” is no kind of mark")))?,
            place: place.clone(),
            text: text.clone(),
        };
        casting_records::add_mark(tx, casting_id, &mark).await?;
    }
    for [what, value, instrument] in &on_shelf.measured {
        let value: Length = value
            .parse()
            .map_err(|error| fault(format!("{what}: {error}")))?;
        let measurement = Measurement {
            what: what.clone(),
            place: None,
            found: Found::Measured(value),
            instrument: instrument.clone(),
        };
        casting_records::add_measurement(tx, casting_id, &measurement).await?;
    }
    for seed in &on_shelf.photo {
        let picture = photo::photo(seed.view, seed.cylinders, &seed.caption)?;
        casting_records::add_photo(tx, Uuid::now_v7(), casting_id, &picture, true).await?;
    }
    Ok(())
}

async fn write_jobs(
    tx: &mut ShopTx,
    (seed, people): (&Seed, &HashMap<String, Uuid>),
    live: impl ExactSizeIterator<Item = (&LiveJob, Option<Uuid>)>,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Result<(), DemoError> {
    let mut kept = stock::write(tx, seed, today).await?;
    let mut booked = Vec::new();
    let kinds = draw::kinds(seed)?;
    let count = live.len();
    for (place, (job, quote_id)) in live.enumerate() {
        let new = NewJob {
            quote_id,
            title: job.title.clone(),
            due_on: job.due_on,
            promised_on: job.promised_on,
        };
        let (id, _) = jobs::create(tx, &new, &job.route).await?;
        casting_records::set_customer_of_job(tx, id, &job.customer).await?;
        let operations = jobs::operations(tx, id).await?;
        if job.begun && booked.len() < BOOKED_JOBS {
            booked.push(Begun {
                operations,
                done: job.done,
                under_way: true,
            });
        } else {
            let so_far = operations.iter().take(job.done + usize::from(job.begun));
            for (place, operation) in so_far.enumerate() {
                let state = if place < job.done {
                    OperationState::Done
                } else {
                    OperationState::Started
                };
                jobs::set_operation_state(tx, operation.id, operation.version, state).await?;
            }
        }
        let casting = async |tx: &mut ShopTx| {
            live_castings::write(tx, (seed, &kinds), (job, place, count), now).await
        };
        stock::write_needs(tx, seed, &mut kept, today, id, (job, casting)).await?;
    }
    let mut rng = Pcg64::seed_from_u64(BENCH_SEED);
    bench::write(tx, seed, people, &booked, now, &mut rng).await
}
