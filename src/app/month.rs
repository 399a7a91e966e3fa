//! Month's end: what the machines sold, what the finished jobs brought, which promises were kept, and what to change.

use super::promises::{Promises, promises};
use super::review::{Period, Presence, review_period};
use super::{Actor, AppError};
use crate::db::people::Role;
use crate::db::{aftercare, calendars, machines, settings};
use crate::planning::calendar::whole_day;
use crate::review::changes::{Change, changes};
use crate::review::variance::{Figures, Grouping, review};
use crate::units::{Currency, Money, MoneyError};
use chrono::{DateTime, Utc};
use rust_decimal::{Decimal, dec};
use std::collections::BTreeMap;

/// The hours of a machine in a month, in minutes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MachineMonth {
    /// Its name.
    pub name: String,
    /// Its working hours so far.
    pub available: i64,
    /// Booked on jobs.
    pub booked: Decimal,
    /// Estimated for what was done: what customers pay for.
    pub sold: Decimal,
}

/// What finished jobs brought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Made {
    /// How many.
    pub jobs: u32,
    /// Their prices before tax.
    pub quoted: Money,
    /// What they cost, overhead included.
    pub cost: Money,
    /// Calls for help and complaints that came in the month, about jobs of any month.
    pub calls: i64,
    /// What the shop paid to put right what came back.
    pub aftercare: Money,
}

impl Made {
    /// What is left of the price, once what came back is put right.
    ///
    /// # Errors
    /// [`MoneyError`].
    pub fn left(&self) -> Result<Money, MoneyError> {
        self.quoted.minus(self.cost)?.minus(self.aftercare)
    }

    /// The same in per cent of the price; none of nothing.
    #[must_use]
    pub fn left_percent(&self) -> Option<Decimal> {
        let spent = self.cost.amount() + self.aftercare.amount();
        let share = (self.quoted.amount() - spent).checked_div(self.quoted.amount())?;
        Some((share * Decimal::ONE_HUNDRED).round())
    }

    fn add(&mut self, net: Money, cost: Money) -> Result<(), MoneyError> {
        self.jobs += 1;
        self.quoted = self.quoted.plus(net)?;
        self.cost = self.cost.plus(cost)?;
        Ok(())
    }

    fn add_aftercare(&mut self, borne: &aftercare::Borne) -> Result<(), MoneyError> {
        self.calls += borne.calls;
        self.aftercare = self.aftercare.plus(borne.cost)?;
        Ok(())
    }
}

/// A month on one page.
#[derive(Debug, Clone)]
pub struct Month {
    /// Its days.
    pub period: Period,
    /// Hours by machine.
    pub machines: Vec<MachineMonth>,
    /// Hours and money of all work in the month.
    pub total: Figures,
    /// Working hours and booked hours.
    pub presence: Presence,
    /// What the jobs that were finished in it brought, all together.
    pub made: Made,
    /// The same by the code of the kind of work, by name.
    pub by_kind: Vec<(String, Made)>,
    /// The margin the shop quotes with, in per cent of the price.
    pub planned_margin: Decimal,
    /// Promises whose outcome came in it.
    pub promises: Promises,
    /// What to change.
    pub changes: Vec<Change>,
    /// The shop's money.
    pub currency: Currency,
    /// Whether anything was ever booked.
    pub anything: bool,
}

/// Changes about less money than this are left out, in whole coins: common practice, no source.
const LEAST: Decimal = dec!(20);

/// A month, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`super::Refusal::Unanswerable`] while the shop has no rates; [`AppError::Db`],
/// [`AppError::Failed`] when amounts are beyond what can be counted.
pub async fn month(actor: &Actor, period: Period, now: DateTime<Utc>) -> Result<Month, AppError> {
    actor.require(Role::Office)?;
    let reviewed = review_period(actor, period, Grouping::Machine, now).await?;
    let promises = promises(actor, period, now).await?;
    let mut tx = actor.begin().await?;
    let settings = settings::get(&mut tx).await?;
    let time = calendars::read(&mut tx).await?;
    let machines = machines::machines(&mut tx).await?;
    let days = (period.from, period.until);
    let came_back = aftercare::borne(&mut tx, days, settings.currency).await?;
    drop(tx);
    let zone = settings.time_zone;
    let edge = |day| whole_day(zone, day);
    let from = edge(period.from).map_or(now, |(from, _)| from);
    let until = edge(period.until)
        .map_or(now, |(_, until)| until)
        .min(now)
        .max(from);
    let groups = &reviewed.review.groups;
    let machines = machines.into_iter().filter_map(|machine| {
        let key = machine.id.to_string();
        let group = groups.iter().find(|group| group.label.key == key);
        let figures = group.map(|group| group.figures).unwrap_or_default();
        let owner = calendars::Owner::Machine(machine.id);
        (machine.active || group.is_some()).then(|| MachineMonth {
            name: machine.name,
            available: time.calendar(owner, from, until).total(),
            booked: figures.machine,
            sold: figures.machine_allowed,
        })
    });
    let nothing = Money::zero(settings.currency);
    let none = Made {
        jobs: 0,
        quoted: nothing,
        cost: nothing,
        calls: 0,
        aftercare: nothing,
    };
    let mut made = none;
    let mut by_kind: BTreeMap<String, Made> = BTreeMap::new();
    let mut scrap = nothing;
    let failed = |why: MoneyError| AppError::failed("the sums of the month", why);
    for promise in &promises.promises {
        let Some(cost) = promise.cost else { continue };
        made.add(promise.net, cost).map_err(failed)?;
        let kind = by_kind.entry(promise.kind.clone()).or_insert(none);
        kind.add(promise.net, cost).map_err(failed)?;
        scrap = scrap.plus(promise.scrapped).map_err(failed)?;
    }
    for borne in &came_back {
        made.add_aftercare(borne).map_err(failed)?;
        let kind = by_kind.entry(borne.kind.clone()).or_insert(none);
        kind.add_aftercare(borne).map_err(failed)?;
    }
    let elements = review(&reviewed.units, Grouping::Element);
    let total = reviewed.review.total;
    Ok(Month {
        period,
        machines: machines.collect(),
        total,
        presence: reviewed.presence,
        made,
        by_kind: by_kind.into_iter().collect(),
        planned_margin: settings.policy.margin_percent,
        promises,
        changes: changes(&elements.groups, total.rate, scrap.amount(), LEAST),
        currency: settings.currency,
        anything: reviewed.anything,
    })
}
