//! What would have an option of an answer ready by the wanted day: tried on the plan, with what it costs and which promises it
//! would move.

use super::current_plan::current_plan;
use super::kept_answer::SaidAnswer;
use super::week::compute;
use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::{machines, settings};
use crate::enquiry::{OptionAnswer, Terms};
use crate::planning::floor::{Floor, FloorJob};
use crate::planning::what_if::{Settings, Sooner, sooner};
use crate::units::{Minutes, Money};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use uuid::Uuid;

/// What would make a day.
#[derive(Debug)]
pub struct DayMakers {
    /// The option.
    pub option: OptionAnswer,
    /// The wanted day.
    pub wanted_by: NaiveDate,
    /// The end of work on it.
    pub by: DateTime<Utc>,
    /// The floor with the job on it.
    pub floor: Floor,
    /// The ways, the best first.
    pub ways: Vec<PricedWay>,
}

/// A way to make a day, with its money.
#[derive(Debug)]
pub struct PricedWay {
    /// The way.
    pub way: Sooner,
    /// What its overtime costs the shop, before overhead and margin.
    pub cost: Money,
    /// The option's price before tax with its overtime in it, at the shop's usual overhead and margin.
    pub price: Money,
}

/// Tries on the plan what would have an option ready by the day that was wanted; for the office. `ids` are the enquiry's and
/// the answer's.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::OptionGone`] when it cannot be done, no day is wanted, or its casting has yet to be
/// found; [`AppError::Db`], [`AppError::Failed`].
pub async fn make_the_day(
    actor: &Actor,
    ids: (Uuid, Uuid),
    key: &str,
    now: DateTime<Utc>,
) -> Result<DayMakers, AppError> {
    const WHAT: &str = "trying to make the day";
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let said = SaidAnswer::read(&mut tx, ids).await?;
    let settings = settings::get(&mut tx).await?;
    let machines = machines::machines(&mut tx).await?;
    let rates = machines::rates(&mut tx, &machines).await?;
    drop(tx);
    let hour = rates
        .map_err(|why| Refusal::Unanswerable(super::question::Unanswerable::Rates(why)))?
        .people_default;
    let gone = || Refusal::option_gone(key);
    let option = said.option(key)?.clone();
    let figures = option.figures().ok_or_else(gone)?;
    let wanted_by = said.answer.wanted_by.ok_or_else(gone)?;
    if matches!(figures.terms, Terms::Search(_)) {
        return Err(gone().into());
    }
    let (route, net) = (figures.route.clone(), figures.build_up.net);
    let title = option.title.clone();

    let plan = current_plan(actor, now).await?;
    let (floor, by, ways) = compute(WHAT, move || {
        let mut floor = plan.floor;
        let hours = floor.hours.clone();
        let job = FloorJob::wished(said.kept.id, title, &route, (&hours, wanted_by));
        floor.jobs.push(job);
        let by = Floor::end_of(&hours, wanted_by);
        let ways = sooner(
            &floor,
            &plan.timetable,
            said.kept.id,
            by,
            Settings::default(),
        );
        (floor, by, ways)
    })
    .await?;
    let ways = ways.map_err(|why| AppError::failed(WHAT, why))?;
    let priced = |way: Sooner| {
        let time = Minutes(Decimal::from(way.overtime));
        let usual = hour.for_time(time)?;
        let cost = usual.plus(usual.percent(settings.selling.overtime_percent)?)?;
        let price = net.plus(settings.policy.price(cost)?.rounded())?;
        let cost = cost.rounded();
        Ok(PricedWay { way, cost, price })
    };
    let ways = ways
        .into_iter()
        .map(priced)
        .collect::<Result<_, crate::units::MoneyError>>()
        .map_err(|why| AppError::failed("the cost of overtime", why))?;
    Ok(DayMakers {
        option,
        wanted_by,
        by,
        floor,
        ways,
    })
}
