//! Actual against estimate over a period: the hours that were booked, what they should have been, and what both cost.

use super::question::Unanswerable;
use super::{Actor, AppError, Refusal, booked_hours};
use crate::db::people::{self, Role};
use crate::db::review::{self as rows, Facts};
use crate::db::{DbError, ShopTx, calendars, machines, settings, standards};
use crate::estimating::{Allowed, Operation, Progress, RatesOverTime, Spent};
use crate::jobs::OperationState;
use crate::planning::calendar::whole_day;
use crate::review::variance::{Grouping, Label, Review, Row, Unit, review};
use crate::shopfloor::{self, Phase, Piece};
use crate::units::{Currency, Minutes, Money};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;
use uuid::Uuid;

/// Days, both included, by the shop's calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Period {
    /// The first.
    pub from: NaiveDate,
    /// The last.
    pub until: NaiveDate,
}

impl Period {
    /// Whether a day is in it.
    #[must_use]
    pub fn has(&self, day: NaiveDate) -> bool {
        (self.from..=self.until).contains(&day)
    }
}

/// Somebody's working hours in a period, and what was booked of them. Minutes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Presence {
    /// Who.
    pub person: String,
    /// By their shifts, less holidays and days off, with overtime.
    pub working: i64,
    /// Booked on jobs.
    pub booked: i64,
}

/// What the review of a period shows.
#[derive(Debug, Clone)]
pub struct Reviewed {
    /// The groups and their sum.
    pub review: Review,
    /// What was booked, setup and run of each operation.
    pub units: Vec<Unit>,
    /// Working hours and booked hours of those who work at the bench, all together.
    pub presence: Presence,
    /// The same of each; for the owner only.
    pub people: Vec<Presence>,
    /// The shop's money.
    pub currency: Currency,
    /// Whether anything was ever booked.
    pub anything: bool,
}

/// The review of a period by a grouping, for the office; by person, for the owner.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Unanswerable`] while the shop has no rates; [`AppError::Db`].
pub async fn review_period(
    actor: &Actor,
    period: Period,
    by: Grouping,
    now: DateTime<Utc>,
) -> Result<Reviewed, AppError> {
    actor.require(match by {
        Grouping::Person => Role::Owner,
        _ => Role::Office,
    })?;
    let mut tx = actor.begin().await?;
    let settings = settings::get(&mut tx).await?;
    let anything = rows::anything_booked(&mut tx).await?;
    let read = Read::of(&mut tx, period, settings.time_zone, now).await?;
    let mut people = presence(&mut tx, period, settings.time_zone, &read, now).await?;
    let rates = rows::rates(&mut tx).await?;
    drop(tx);
    let units = if read.pieces.is_empty() {
        Vec::new()
    } else {
        read.units(&rates.map_err(|why| Refusal::Unanswerable(Unanswerable::Rates(why)))?)
    };
    let presence = Presence {
        person: String::new(),
        working: people.iter().map(|p| p.working).sum(),
        booked: people.iter().map(|p| p.booked).sum(),
    };
    if !actor.may(Role::Owner) {
        people.clear();
    }
    Ok(Reviewed {
        review: review(&units, by),
        units,
        presence,
        people,
        currency: settings.currency,
        anything,
    })
}

/// What is read for a period.
pub(super) struct Read {
    period: Period,
    zone: Tz,
    /// Minutes by day, of every operation touched in the period.
    pieces: Vec<(NaiveDate, Piece)>,
    pub(super) facts: Vec<Facts>,
    people: HashMap<Uuid, Arc<Label>>,
    machines: HashMap<Uuid, Arc<Label>>,
    /// The names of elements by their codes.
    elements: HashMap<String, String>,
}

impl Read {
    pub(super) async fn of(
        tx: &mut ShopTx,
        period: Period,
        zone: Tz,
        now: DateTime<Utc>,
    ) -> Result<Self, DbError> {
        let edge = |day| whole_day(zone, day);
        let from = edge(period.from).map_or(now, |(from, _)| from);
        let until = edge(period.until).map_or(now, |(_, until)| until).min(now);
        // A clock may have been started some days before.
        let before = from.checked_sub_days(Days::new(7)).unwrap_or(from);
        let entries = rows::entries(tx, before, until).await?;
        let asked = booked_hours::forgotten(tx, &entries, now).await?;
        let mut clocks = shopfloor::clocks(&entries);
        clocks.retain(|clock| !asked.contains(&clock.start));
        for clock in &mut clocks {
            clock.until = clock.until.or(Some(now));
        }
        let mut operations: Vec<Uuid> = clocks.iter().map(|clock| clock.operation).collect();
        operations.sort_unstable();
        operations.dedup();
        let facts = rows::facts(tx, &operations).await?;
        let standards = facts.iter().map(|f| (f.id, f.planned.setup.0)).collect();
        let pieces = shopfloor::by_day(&clocks, zone)
            .iter()
            .flat_map(|(day, clocks)| {
                let pieces = shopfloor::pieces(clocks, &standards);
                pieces.into_iter().map(|piece| (*day, piece))
            })
            .collect();
        let label = |id: Uuid, name: String| {
            let key = id.to_string();
            (id, Arc::new(Label { key, name }))
        };
        let people = people::list(tx).await?.into_iter();
        let machines = machines::machines(tx).await?.into_iter();
        let elements = standards::list(tx).await?.into_iter();
        Ok(Self {
            elements: elements.map(|e| (e.code, e.name)).collect(),
            period,
            zone,
            pieces,
            facts,
            people: people.map(|p| label(p.id, p.name)).collect(),
            machines: machines.map(|m| label(m.id, m.name)).collect(),
        })
    }

    /// What was booked, by operation.
    fn by_operation(&self) -> HashMap<Uuid, Vec<(NaiveDate, Piece)>> {
        let mut of: HashMap<Uuid, Vec<(NaiveDate, Piece)>> = HashMap::new();
        for (day, piece) in &self.pieces {
            of.entry(piece.operation).or_default().push((*day, *piece));
        }
        of
    }

    /// What each job's hours cost at the rates in force then, with materials and outside work as they were planned: all of
    /// it, and as much as was not done again because a casting was scrap.
    pub(super) fn job_costs(&self, rates: &RatesOverTime) -> HashMap<Uuid, (Decimal, Decimal)> {
        let of = self.by_operation();
        let mut costs: HashMap<Uuid, (Decimal, Decimal)> = HashMap::new();
        for facts in &self.facts {
            let Some(pieces) = of.get(&facts.id) else {
                continue;
            };
            let units = self.units_of(facts, pieces, rates);
            let figures = units.iter().flat_map(Unit::figures);
            let planned = &facts.planned;
            let materials = planned
                .materials
                .iter()
                .map(|m| m.price.amount() * m.quantity);
            let outside = planned.outside.iter().map(|(price, _)| price.amount());
            let cost: Decimal = figures
                .map(|f| f.cost)
                .chain(materials)
                .chain(outside)
                .sum();
            let (all, once) = costs.entry(facts.job_id).or_default();
            *all += cost;
            if !facts.again {
                *once += cost;
            }
        }
        costs
    }

    /// Setup and run of each operation that has time in the period.
    pub(super) fn units(&self, rates: &RatesOverTime) -> Vec<Unit> {
        let mut of = self.by_operation();
        of.retain(|_, pieces| pieces.iter().any(|(day, _)| self.period.has(*day)));
        let facts = self.facts.iter();
        facts
            .filter_map(|facts| Some((facts, of.get(&facts.id)?)))
            .flat_map(|(facts, pieces)| self.units_of(facts, pieces, rates))
            .collect()
    }

    fn units_of(
        &self,
        facts: &Facts,
        pieces: &[(NaiveDate, Piece)],
        rates: &RatesOverTime,
    ) -> Vec<Unit> {
        let planned = &facts.planned;
        let progress = match facts.state {
            OperationState::Queued | OperationState::Started => Progress::UnderWay,
            OperationState::Done => Progress::Done,
        };
        let spent = spent(pieces);
        let mut allowed = planned.allowed(progress, spent);
        if spent.machine <= Minutes::ZERO {
            // Nobody noted the machine, so nothing is known of its time.
            allowed.setup.machine = Minutes::ZERO;
            allowed.run.machine = Minutes::ZERO;
        }
        let setup: Vec<Row> = self.rows(planned, pieces, true, rates);
        let run: Vec<Row> = self.rows(planned, pieces, false, rates);
        let labels = Labels::of(facts);
        let standard = rates.at(facts.quoted_at).map(|then| &then.rates);
        let labour = standard.map(|rates| rates.person(&planned.skill));
        let machine = standard.and_then(|rates| rates.machine.get(&planned.machine_kind));
        let unit = |setup: bool, rows: Vec<Row>, allowed: &Allowed| {
            let time = if setup { allowed.setup } else { allowed.run };
            Unit {
                operation: Arc::clone(&labels.operation),
                kind: Arc::clone(&labels.kind),
                pattern: Arc::clone(&labels.pattern),
                customer: Arc::clone(&labels.customer),
                job: Arc::clone(&labels.job),
                number: planned.number,
                elements: self.elements_of(planned, setup),
                people_allowed: time.people.0,
                machine_allowed: time.machine.0,
                labour_standard: labour.map_or(Decimal::ZERO, |rate| rate.amount()),
                machine_standard: machine.map_or(Decimal::ZERO, |rate| rate.amount()),
                rows,
            }
        };
        // A setup that was allowed and not booked, because it was shared, stands where the run was done; and the other way.
        let (setup, run) = match (setup.is_empty(), run.is_empty()) {
            (true, false) => (empty(&run), run),
            (false, true) => {
                let run = empty(&setup);
                (setup, run)
            }
            _ => (setup, run),
        };
        vec![unit(true, setup, &allowed), unit(false, run, &allowed)]
    }

    /// The elements of a run with their shares of its estimate; of a setup, the setup at this kind of machine.
    fn elements_of(&self, planned: &Operation, setup: bool) -> Vec<(Arc<Label>, Decimal)> {
        let label = |key: &str, name: &str| {
            Arc::new(Label {
                key: key.to_owned(),
                name: name.to_owned(),
            })
        };
        let whole: Decimal = planned.steps.iter().map(|step| step.run().0).sum();
        if setup {
            let kind = &planned.machine_kind;
            let name = format!("Setup, {kind}");
            return vec![(label(&format!("setup {kind}"), &name), Decimal::ONE)];
        }
        if whole <= Decimal::ZERO {
            return vec![(label(&planned.title, &planned.title), Decimal::ONE)];
        }
        let mut shares: BTreeMap<&str, (&str, Decimal)> = BTreeMap::new();
        for step in &planned.steps {
            // An element that is gone since is known by what its step was called.
            let name = self.elements.get(&step.code).unwrap_or(&step.name);
            let share = shares.entry(&step.code).or_insert((name, Decimal::ZERO));
            share.1 += step.run().0 / whole;
        }
        let shares = shares.into_iter();
        shares
            .map(|(code, (name, share))| (label(code, name), share))
            .collect()
    }

    /// Setup or run of an operation by person, machine and day.
    fn rows(
        &self,
        planned: &Operation,
        pieces: &[(NaiveDate, Piece)],
        setup: bool,
        rates: &RatesOverTime,
    ) -> Vec<Row> {
        let mut minutes: BTreeMap<(NaiveDate, Uuid, Option<Uuid>), (i64, i64)> = BTreeMap::new();
        for (day, piece) in pieces {
            if (piece.phase == Phase::Setup) != setup {
                continue;
            }
            let key = (*day, piece.person, piece.machine);
            let (people, machine) = minutes.entry(key).or_default();
            match piece.of_machine {
                true => *machine += piece.minutes,
                false => *people += piece.minutes,
            }
        }
        let none = || {
            Arc::new(Label {
                key: String::new(),
                name: String::new(),
            })
        };
        minutes
            .into_iter()
            .map(|((day, person, machine), (people, machine_minutes))| {
                let noon = whole_day(self.zone, day).map(|(from, _)| from + TimeDelta::hours(12));
                let then = noon.and_then(|at| rates.at(at));
                let of_kind = then.and_then(|then| then.rates.machine.get(&planned.machine_kind));
                let of_machine = machine.and_then(|id| then?.machines.get(&id)).or(of_kind);
                let labour = then.map(|then| then.rates.person(&planned.skill));
                let amount = |money: Option<&Money>| money.map_or(Decimal::ZERO, |m| m.amount());
                Row {
                    person: self.people.get(&person).cloned().unwrap_or_else(none),
                    machine: machine
                        .and_then(|id| self.machines.get(&id).cloned())
                        .unwrap_or_else(none),
                    day,
                    people,
                    machine_minutes,
                    labour_rate: amount(labour.as_ref()),
                    machine_rate: amount(of_machine),
                    counts: self.period.has(day),
                }
            })
            .collect()
    }
}

/// All that was booked on an operation.
fn spent(pieces: &[(NaiveDate, Piece)]) -> Spent {
    let mut spent = Spent::default();
    for (_, piece) in pieces {
        let minutes = Minutes(piece.minutes.into());
        let to = match (piece.of_machine, piece.phase) {
            (false, Phase::Setup) => &mut spent.setup,
            (false, _) => &mut spent.attended,
            (true, Phase::Alone) => {
                spent.alone = spent.alone + minutes;
                &mut spent.machine
            }
            (true, _) => &mut spent.machine,
        };
        *to = *to + minutes;
    }
    spent
}

/// The last row with nothing booked, to bear what was allowed.
fn empty(rows: &[Row]) -> Vec<Row> {
    let last = rows.last().map(|row| Row {
        people: 0,
        machine_minutes: 0,
        ..row.clone()
    });
    last.into_iter().collect()
}

/// What the units of an operation are known by.
struct Labels {
    operation: Arc<Label>,
    kind: Arc<Label>,
    pattern: Arc<Label>,
    customer: Arc<Label>,
    job: Arc<Label>,
}

impl Labels {
    fn of(facts: &Facts) -> Self {
        let label = |key: String, name: String| Arc::new(Label { key, name });
        let same = |text: &str| label(text.to_owned(), text.to_owned());
        // Work done again, and rework, is a kind of its own name.
        let title = &facts.planned.title;
        Self {
            operation: same(title),
            kind: same(facts.kind.as_deref().unwrap_or_default()),
            pattern: match &facts.pattern {
                Some((id, name)) => label(id.to_string(), name.clone()),
                None => same(""),
            },
            customer: same(facts.customer.trim()),
            job: label(
                facts.job_id.to_string(),
                format!("{}: {}", facts.job_number, facts.job_title),
            ),
        }
    }
}

/// Working hours and booked hours of everyone who works at the bench, by name. Working hours are those of the shifts, so
/// they are what somebody should have been there: nobody clocks on at the door.
async fn presence(
    tx: &mut ShopTx,
    period: Period,
    zone: Tz,
    read: &Read,
    now: DateTime<Utc>,
) -> Result<Vec<Presence>, DbError> {
    let mut booked: HashMap<Uuid, i64> = HashMap::new();
    for (day, piece) in &read.pieces {
        if period.has(*day) && !piece.of_machine {
            *booked.entry(piece.person).or_default() += piece.minutes;
        }
    }
    let (Some((from, _)), Some((_, until))) =
        (whole_day(zone, period.from), whole_day(zone, period.until))
    else {
        return Ok(Vec::new());
    };
    let time = calendars::read(tx).await?;
    let until = until.min(now).max(from);
    let people = people::list(tx).await?;
    Ok(people
        .into_iter()
        .filter(|person| {
            booked.contains_key(&person.id) || person.active && !person.skills.is_empty()
        })
        .map(|person| {
            let owner = calendars::Owner::Person(person.id);
            Presence {
                working: time.calendar(owner, from, until).total(),
                booked: booked.get(&person.id).copied().unwrap_or(0),
                person: person.name,
            }
        })
        .collect())
}
