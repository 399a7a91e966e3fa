//! What the shop's bookings teach: how far standard times are off, how much things vary, and what a changed standard would
//! have done to past quotes. Nothing changes by itself: the owner decides about each proposal.

use super::learn_shape::{self, Shaped};
use super::shared_results::SharedResults;
use super::{Actor, AppError, Refusal};
use crate::db::evidence::{self, Fingerprint, Finished, Mishaps};
use crate::db::past_work::{self, PastWork};
use crate::db::people::Role;
use crate::db::settings::{self, Settings};
use crate::db::{DbError, ShopTx, machines, quotes, standards};
use crate::enquiry::quote::{Quote, QuoteState};
use crate::estimating::cost::Costing;
use crate::estimating::{CostBuildUp, Element, Policy, Rates, Route};
use crate::jobs;
use crate::jobs::evidence::{Booked, FinishedOperation};
use crate::review::proposals::{self, Decided, Decision, Proposal};
use crate::review::ratios::{self, Findings, Part};
use crate::shopfloor;
use crate::units::{Money, plain};
use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use rand::SeedableRng;
use rand_pcg::Pcg64;
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::sync::Arc;
use uuid::Uuid;

/// How far back bookings are learned from: three years. Older work was done by other people on other machines.
pub const DAYS_BACK: u64 = 1_096;

/// How many past quotes a changed standard is tried on.
pub const QUOTES_TRIED: u16 = 20;

/// The same bookings teach the same thing however often they are asked.
const SEED: u64 = 20;

/// Results are kept until something is booked or changed, and for a day at most.
const KEPT_FOR: TimeDelta = TimeDelta::days(1);
const SHOPS_KEPT: usize = 4;

/// What the bookings of shops teach, kept until they change. Clones share it.
#[derive(Debug, Clone)]
pub struct Lessons(Arc<SharedResults<Fingerprint, Arc<Lesson>>>);

impl Default for Lessons {
    fn default() -> Self {
        Self(Arc::new(SharedResults::new(SHOPS_KEPT, KEPT_FOR)))
    }
}

/// An operation that evidence came from, as people name it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// The operation's number.
    pub number: u32,
    /// Its title.
    pub title: String,
}

/// What the bookings of a shop teach.
#[derive(Debug, Clone)]
pub struct Lesson {
    /// Ratios and shares of variation; none while too little is booked.
    pub findings: Option<Findings>,
    /// What they say of each standard.
    pub proposals: Vec<Proposal>,
    /// The standards they were compared with.
    pub elements: Vec<Element>,
    /// How much of their runs somebody stands by.
    pub attended: Vec<Shaped>,
    /// How much their operations differ by themselves.
    pub scatter: Vec<Shaped>,
    /// The settings they were compared with.
    pub settings: Settings,
    /// The operations that evidence came from.
    pub sources: HashMap<Uuid, Source>,
    /// How many finished operations there were.
    pub finished: usize,
    /// Those left out because their setup was not booked apart.
    pub without_setup: usize,
    /// Rows of work done before the shop booked its hours here.
    pub past: i64,
    /// Work done again, and castings that failed.
    pub mishaps: Mishaps,
    /// On which days each person booked something, by the shop's calendar.
    pub days_booked: BTreeMap<Uuid, BTreeSet<NaiveDate>>,
    /// When the oldest booking was made that was read.
    pub since: DateTime<Utc>,
}

impl Lesson {
    /// The first day of what was learned from, by the shop's calendar: that of the oldest booking, or the limit.
    #[must_use]
    pub fn since_first(&self) -> NaiveDate {
        self.since
            .with_timezone(&self.settings.time_zone)
            .date_naive()
    }

    /// Whether a level other than 100 % is counted in.
    #[must_use]
    pub fn level_counts(&self) -> bool {
        self.settings.variation.level_percent != Decimal::ONE_HUNDRED
    }

    /// The proposal about a part of an element.
    #[must_use]
    pub fn proposal(&self, element: Uuid, part: Part) -> Option<&Proposal> {
        self.proposals.iter().find(|p| {
            p.changes
                .iter()
                .any(|c| (c.element, c.part) == (element, part))
        })
    }
}

/// All that a lesson is made from.
struct Read {
    finished: Vec<Finished>,
    entries: Vec<shopfloor::Entry>,
    elements: Vec<Element>,
    settings: Settings,
    mishaps: Mishaps,
    past: Vec<PastWork>,
    since: DateTime<Utc>,
}

impl Read {
    async fn read(tx: &mut ShopTx, now: DateTime<Utc>) -> Result<Self, DbError> {
        let since = now.checked_sub_days(Days::new(DAYS_BACK)).unwrap_or(now);
        Ok(Self {
            finished: evidence::finished(tx, since).await?,
            entries: evidence::entries(tx, since).await?,
            elements: standards::list(tx).await?,
            settings: settings::get(tx).await?,
            mishaps: evidence::mishaps(tx, since).await?,
            past: past_work::since(tx, since.date_naive()).await?,
            since,
        })
    }

    fn learn(self) -> Lesson {
        let finished: Vec<FinishedOperation> = self
            .finished
            .iter()
            .map(|f| FinishedOperation {
                id: f.id,
                job: f.job_id,
                planned: &f.planned,
            })
            .collect();
        let clocks = shopfloor::clocks(&self.entries);
        let level = plain(self.settings.variation.level_percent) / 100.0;
        let zone = self.settings.time_zone;
        let Booked {
            mut evidence,
            without_setup,
            runs,
        } = jobs::evidence::evidence(&finished, &clocks, &self.elements, level, |at| {
            month(at, zone)
        });
        evidence.extend(self.past.iter().filter_map(|past| {
            let element = self.elements.iter().find(|e| e.id == past.element_id)?;
            let minutes = plain(past.minutes.0);
            let (id, job) = (past.id, past.job_id);
            let period = month_of(past.done_on);
            jobs::evidence::past((id, job), element, past.count, minutes, level, period)
        }));
        let findings = ratios::infer(&evidence, SEED);
        let mut days_booked: BTreeMap<Uuid, BTreeSet<NaiveDate>> = BTreeMap::new();
        for entry in self.entries.iter().filter(|e| !e.kind.corrects()) {
            let day = entry.at.with_timezone(&zone).date_naive();
            days_booked.entry(entry.person).or_default().insert(day);
        }
        let bearing: HashSet<Uuid> = evidence.iter().map(|e| e.operation).collect();
        let sources = self.finished.iter().filter(|f| bearing.contains(&f.id));
        let attended = learn_shape::attended(&runs, &self.elements);
        Lesson {
            attended,
            scatter: findings
                .as_ref()
                .map_or(Vec::new(), |f| learn_shape::own_scatter(f, &self.elements)),
            proposals: findings
                .as_ref()
                .map_or(Vec::new(), |f| proposals::proposals(f, &self.elements)),
            findings,
            sources: sources
                .map(|f| {
                    let source = Source {
                        job_id: f.job_id,
                        job_number: f.job_number,
                        number: f.planned.number,
                        title: f.planned.title.clone(),
                    };
                    (f.id, source)
                })
                .collect(),
            finished: self.finished.len(),
            elements: self.elements,
            settings: self.settings,
            without_setup,
            past: i64::try_from(self.past.len()).unwrap_or(i64::MAX),
            mishaps: self.mishaps,
            days_booked,
            since: self
                .entries
                .iter()
                .map(|e| e.at)
                .chain(
                    self.past
                        .iter()
                        .map(|past| past.done_on.and_time(NaiveTime::MIN).and_utc()),
                )
                .min()
                .unwrap_or(self.since),
        }
    }
}

fn month(at: DateTime<Utc>, zone: Tz) -> i32 {
    month_of(at.with_timezone(&zone).date_naive())
}

fn month_of(day: NaiveDate) -> i32 {
    day.year() * 12 + i32::try_from(day.month0()).unwrap_or(0)
}

/// What the bookings of the actor's shop teach, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn lesson(
    actor: &Actor,
    lessons: &Lessons,
    now: DateTime<Utc>,
) -> Result<Arc<Lesson>, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let fingerprint = evidence::fingerprint(&mut tx).await?;
    drop(tx);
    let learn = || async {
        let mut tx = actor.begin().await?;
        let read = Read::read(&mut tx, now).await?;
        drop(tx);
        let learned = tokio::task::spawn_blocking(move || read.learn()).await;
        learned
            .map(Arc::new)
            .map_err(|why| AppError::failed("learning from bookings", why))
    };
    lessons
        .0
        .get(actor.shop_id(), fingerprint, now, learn)
        .await
}

/// What was decided about proposals, newest first, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn decisions(actor: &Actor) -> Result<Vec<Decided>, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    Ok(evidence::decisions(&mut tx, 200).await?)
}

/// What a changed standard would have made of a past quote.
#[derive(Debug, Clone, PartialEq)]
pub struct Effect {
    /// The quote.
    pub quote: Quote,
    /// The price of its work before tax at today's rates and the standards as they are.
    pub before: Money,
    /// And at the proposed ones.
    pub after: Money,
}

/// What changed standards would have done to the latest quotes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Effects {
    /// The quotes whose price changes, newest first.
    pub changed: Vec<Effect>,
    /// How many quotes were tried.
    pub tried: usize,
    /// Those among them that cannot be priced at today's rates.
    pub without_price: usize,
}

/// What the proposed standards would have done to the last [`QUOTES_TRIED`] quotes, for the office: the work of each, at
/// today's rates, with the standards of today and with the proposed ones. Castings and searches cost the same either way.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn effects(
    actor: &Actor,
    lesson: &Lesson,
    proposal: &Proposal,
) -> Result<Effects, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let all = [
        QuoteState::Sent,
        QuoteState::Won,
        QuoteState::Lost,
        QuoteState::Lapsed,
    ];
    let latest = quotes::list(&mut tx, &all, None, None, QUOTES_TRIED).await?;
    let mut routes = Vec::with_capacity(latest.len());
    for quote in latest {
        let route = quotes::basis(&mut tx, quote.id).await?.route;
        routes.push((quote, route));
    }
    let machines = machines::machines(&mut tx).await?;
    let rates = machines::rates(&mut tx, &machines).await?.ok();
    drop(tx);
    let tried = routes.len();
    let Some(rates) = rates else {
        return Ok(Effects {
            changed: Vec::new(),
            tried,
            without_price: tried,
        });
    };
    let before = lesson.elements.clone();
    let after = proposal.applied(&lesson.elements, None);
    let policy = lesson.settings.policy.clone();
    let compared =
        tokio::task::spawn_blocking(move || compare(routes, [&before, &after], &rates, &policy));
    compared
        .await
        .map_err(|why| AppError::failed("pricing past quotes", why))
}

fn compare(
    routes: Vec<(Quote, Route)>,
    [before, after]: [&[Element]; 2],
    rates: &Rates,
    policy: &Policy,
) -> Effects {
    let mut effects = Effects {
        tried: routes.len(),
        ..Effects::default()
    };
    for (quote, route) in routes {
        let [as_is, changed] = [before, after].map(|elements| route.restated(elements));
        if as_is == changed {
            continue;
        }
        let price = |route: &Route| {
            let costing = Costing {
                route,
                rates,
                policy,
                donor: None,
            };
            // The same futures for both, so that the difference is of the standards.
            CostBuildUp::of(&costing, &mut Pcg64::seed_from_u64(SEED)).map(|built| built.net)
        };
        match (price(&as_is), price(&changed)) {
            (Ok(before), Ok(after)) => effects.changed.push(Effect {
                quote,
                before,
                after,
            }),
            _ => effects.without_price += 1,
        }
    }
    effects
}

/// What the owner decides about a proposal that was on the screen.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// The element.
    pub element: Uuid,
    /// Setup or run.
    pub part: Part,
    /// The element's version that was on the screen.
    pub version: i32,
    /// The standard that was proposed there.
    pub proposed: Decimal,
    /// Accepted, changed or refused.
    pub decision: Decision,
    /// The owner's own standard, where it is changed.
    pub figure: Option<Decimal>,
    /// Why; needed where it is refused.
    pub reason: String,
}

/// Carries out what the owner decides about a proposal. Standards that change get a new version; quotes and jobs keep the
/// times they were given with.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::NoProposal`]; [`Refusal::Standard`] for a figure that is out of bounds;
/// [`AppError::Db`], as [`DbError::Stale`] when the standard or what is proposed is not what was on the screen.
pub async fn decide(
    actor: &Actor,
    lessons: &Lessons,
    choice: &Choice,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    actor.require(Role::Owner)?;
    let by = actor.person()?;
    let lesson = lesson(actor, lessons, now).await?;
    let proposal = lesson
        .proposal(choice.element, choice.part)
        .filter(|p| p.verdict == proposals::Verdict::Change)
        .ok_or(Refusal::NoProposal)?;
    let same = proposal.changes.iter().any(|c| {
        c.element == choice.element && (c.version, c.after) == (choice.version, choice.proposed)
    });
    if !same {
        return Err(DbError::Stale("this proposal").into());
    }
    actor
        .transact(Role::Owner, async |tx| {
            for change in &proposal.changes {
                let after = match choice.decision {
                    Decision::Accepted => change.after,
                    Decision::Changed => choice.figure.unwrap_or(change.after),
                    Decision::Refused => change.before,
                };
                if choice.decision != Decision::Refused {
                    set(tx, change, after).await?;
                }
                let decided = Decided {
                    id: Uuid::now_v7(),
                    element: change.element,
                    code: change.code.clone(),
                    name: change.name.clone(),
                    part: change.part,
                    decision: choice.decision,
                    reason: choice.reason.clone(),
                    measure: change.measure,
                    before: change.before,
                    proposed: change.after,
                    after,
                    ratio: proposal.found.ratio,
                    operations: proposal.found.operations,
                    at: now,
                    by: String::new(),
                };
                evidence::decide(tx, &decided, by).await?;
            }
            Ok(())
        })
        .await
}

async fn set(tx: &mut ShopTx, change: &proposals::Change, figure: Decimal) -> Result<(), AppError> {
    let mut element = standards::get(tx, change.element).await?;
    if element.version != change.version {
        return Err(DbError::Stale("this standard").into());
    }
    proposals::set_standard(&mut element, change.part, change.measure, figure);
    if let Some((_, why)) = element.faults().into_iter().next() {
        return Err(Refusal::Standard(why).into());
    }
    Ok(standards::update(tx, &element).await?)
}
