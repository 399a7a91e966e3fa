//! One standard: the evidence, what a change would have done to past quotes, and the owner's decision.

use super::picture::evidence;
use super::standards::PATH;
use super::words::{dearer, names, part, range, standard, took};
use crate::app::learn::{self, Choice, Effects, Lesson};
use crate::app::{AppError, Refusal};
use crate::db::DbError;
use crate::db::people::Role;
use crate::enquiry::say::whole;
use crate::review::proposals::{Change, Decided, Decision, Measure, Proposal, Verdict, rounded};
use crate::review::ratios::Part;
use crate::units::{Code, plain};
use crate::web::shell::site::Site;
use crate::web::ui::show::{count, day};
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/review/standards/{element}/{part}")
            .route(web::get().to(show))
            .route(web::post().to(decide)),
    );
}

/// A decision as typed: `accepted`, `changed` to a figure of the owner's, or `refused` for a reason. `proposed` is the standard
/// that was proposed when it was taken.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct DecisionForm {
    #[schema(ignore)]
    pub(in crate::web) version: String,
    proposed: String,
    decision: String,
    figure: String,
    reason: String,
}

/// What is shown around a form, whatever came of it.
#[derive(Default)]
struct Around {
    errors: FormErrors,
    notice: Markup,
}

pub(in crate::web) fn of_path(element: &str, part: &str) -> Result<(Uuid, Part), WebError> {
    let element = element.parse().ok();
    let part = Part::from_code(part);
    element.zip(part).ok_or(WebError::NotFound("this standard"))
}

async fn show(who: SignedIn, site: web::Data<Site>, at: web::Path<(String, String)>) -> Answer {
    let page = page(
        &who,
        &site,
        &at,
        &DecisionForm::default(),
        &Around::default(),
    )
    .await?;
    Ok(page.into())
}

async fn page(
    who: &SignedIn,
    site: &Site,
    at: &(String, String),
    form: &DecisionForm,
    around: &Around,
) -> Result<Page, WebError> {
    let (element, of) = of_path(&at.0, &at.1)?;
    let actor = who.actor();
    let lesson = learn::lesson(&actor, &site.lessons, Utc::now()).await?;
    let Some(proposal) = lesson.proposal(element, of) else {
        return Err(WebError::NotFound("bookings of this standard"));
    };
    let decided = learn::decisions(&actor).await?;
    let effects = match proposal.verdict {
        Verdict::Change => Some(learn::effects(&actor, &lesson, proposal).await?),
        _ => None,
    };
    let title = format!("{}, {}", names(&proposal.changes), part(of));
    let body = html! {
        h1 { (title) }
        (around.errors.summary())
        (around.notice)
        (said(proposal))
        (averages(&lesson, proposal))
        section.card aria-labelledby="evidence-head" {
            h2 #evidence-head { "Evidence" }
            (evidence(proposal))
            (caption(proposal))
            (operations(&lesson, proposal))
        }
        @if let Some(effects) = &effects { (effect(effects)) }
        (decision(who, proposal, &decided, form, &around.errors))
        p { a href=(PATH) { "All standard times against bookings" } }
    };
    Ok(Page::new(who, title).nav(Section::Review).body(body))
}

fn said(proposal: &Proposal) -> Markup {
    let found = &proposal.found;
    html! {
        p.lead {
            "In " (count(found.operations as i64, "finished operation", "finished operations")) " it "
            strong { (took(found.ratio.likely)) } ". 9 in 10 sure: " (range(found.ratio)) "."
        }
        @if proposal.changes.len() > 1 {
            p.notice {
                "These are always done together, so nobody can tell from bookings which of them is off. "
                "They are changed together, by the same share."
            }
        }
        @match proposal.verdict {
            Verdict::Change => {
                @for c in &proposal.changes {
                    p { (c.name) ": the standard is " (standard(c.measure, c.before)) ", the bookings say " strong { (standard(c.measure, c.after)) } "." }
                }
            }
            Verdict::Right => { p { "The standard is right, or not far enough off to be sure." } }
            Verdict::TooLittle => { p { "Too little is booked to say. A figure from few operations is pulled towards the mean of all work." } }
        }
    }
}

/// What the standard comes to on average beside what it took: the spread of most times reaches further up than down, so a
/// standard is less than its average, and an owner who compares it with a stop-watch should know.
fn averages(lesson: &Lesson, proposal: &Proposal) -> Markup {
    let [change] = proposal.changes.as_slice() else {
        return html! {};
    };
    let element = lesson.elements.iter().find(|e| e.id == change.element);
    let mean = element.map_or(1.0, |e| e.spread.mean());
    if change.measure != Measure::Minutes || (mean - 1.0).abs() < 0.02 {
        return html! {};
    }
    let times = |factor: f64| {
        let figure = change.before * Decimal::from_f64(factor).unwrap_or(Decimal::ONE);
        standard(Measure::Minutes, rounded(Measure::Minutes, figure))
    };
    let level = plain(lesson.settings.variation.level_percent) / 100.0;
    html! {
        p.muted {
            "With its spread, a standard of " (standard(change.measure, change.before)) " is " (times(mean * level))
            " on average: that is what a quote expects. It took " (times(mean * level * proposal.found.ratio.likely)) " on average."
        }
    }
}

fn caption(proposal: &Proposal) -> Markup {
    let found = &proposal.found;
    html! {
        p.muted {
            "Each dot is a finished operation of which this is at least a quarter, with who did it, its job and its month allowed for. "
            @if found.points.iter().any(|p| p.odd) { "A cross lies so far out that it hardly counts. " }
            @if found.points.is_empty() { "There is none: it is only ever a small part of an operation. " }
            "Done by " (count(found.people as i64, "person", "people")) ". "
            (format!("{:.0}", found.information * 100.0)) " % of the figure is its own evidence, the rest the mean of all work."
        }
    }
}

fn operations(lesson: &Lesson, proposal: &Proposal) -> Markup {
    let mut points: Vec<_> = proposal
        .found
        .points
        .iter()
        .filter_map(|p| Some((p, lesson.sources.get(&p.operation)?)))
        .collect();
    points.sort_by_key(|(_, s)| (std::cmp::Reverse(s.job_number), s.number));
    html! {
        @if !points.is_empty() {
            details {
                summary { "The operations" }
                table.cells {
                    thead { tr { th scope="col" { "Job" } th scope="col" { "Operation" } th.number scope="col" { "Against standard" } th.number scope="col" { "Part of it" } } }
                    tbody { @for (p, s) in points.iter().take(200) {
                        tr {
                            th scope="row" { a href={ "/jobs/" (s.job_id) "#entries" } { "Job " (s.job_number) } }
                            td data-label="Operation" { (s.number) " " (s.title) }
                            td.number data-label="Against standard" { (format!("× {:.2}", p.ratio)) @if p.odd { " " span.tag { "hardly counts" } } }
                            td.number data-label="Part of it" { (format!("{:.0} %", p.part * 100.0)) }
                        }
                    } }
                }
                @if points.len() > 200 { p.muted { "The latest 200 of " (points.len()) "." } }
            }
        }
    }
}

fn effect(effects: &Effects) -> Markup {
    let sums = effects
        .changed
        .iter()
        .try_fold(None, |sums: Option<(_, _)>, e| match sums {
            None => Some(Some((e.before, e.after))),
            Some((before, after)) => Some(Some((
                e.before.plus(before).ok()?,
                e.after.plus(after).ok()?,
            ))),
        })
        .flatten();
    html! {
        section.card #effects {
            h2 { "What it would have done to past quotes" }
            @match sums {
                None if effects.tried == 0 => { p { "No quotes yet." } }
                None => { p { "None of the last " (count(effects.tried as i64, "quote", "quotes")) " has this work." } }
                Some((before, after)) => {
                    p {
                        "Of the last " (count(effects.tried as i64, "quote", "quotes")) ", it is in " (effects.changed.len())
                        ". Their work would have been priced " strong { (dearer(before, after)) } " in all, before tax."
                    }
                    table.cells {
                        thead { tr { th scope="col" { "Quote" } th.number scope="col" { "Work, as it is" } th.number scope="col" { "With the change" } th.number scope="col" { "Difference" } } }
                        tbody { @for e in &effects.changed {
                            tr {
                                th scope="row" { a href={ "/quotes/" (e.quote.id) } { "Quote " (e.quote.number) } " " (e.quote.title) }
                                td.number data-label="Work, as it is" { (whole(e.before)) }
                                td.number data-label="With the change" { (whole(e.after)) }
                                td.number data-label="Difference" { (dearer(e.before, e.after)) }
                            }
                        } }
                    }
                    p.muted { "Only the work, at today’s rates and standards. The quotes keep the prices they were given with." }
                }
            }
            @if effects.without_price > 0 { p.muted { (count(effects.without_price as i64, "quote cannot", "quotes cannot")) " be priced at today’s rates." } }
        }
    }
}

fn decision(
    who: &SignedIn,
    proposal: &Proposal,
    decided: &[Decided],
    form: &DecisionForm,
    errors: &FormErrors,
) -> Markup {
    let Some(change) = proposal
        .changes
        .first()
        .filter(|_| proposal.verdict == Verdict::Change)
    else {
        return html! {};
    };
    html! {
        section.card #decide {
            h2 { "Decide" }
            @if let Some(d) = proposal.refused(decided) {
                p.notice { (d.by) " kept the standard on " (day(d.at.with_timezone(&who.shop.time_zone).date_naive(), who.today())) ": " (d.reason) }
            }
            @if who.may(Role::Owner) {
                form.grid method="post" novalidate {
                    (csrf_field(who))
                    input type="hidden" name="version" value=(change.version);
                    input type="hidden" name="proposed" value=(change.after);
                    @if proposal.changes.len() == 1 { (own_figure(change, form, errors)) }
                    (Field::textarea("reason", "Reason", &form.reason, 2).optional()
                        .hint("Needed to keep the standard as it is; kept with the decision").wide().errors(errors))
                    div.actions {
                        button type="submit" name="decision" value="accepted" {
                            @if proposal.changes.len() == 1 { "Change to " (standard(change.measure, change.after)) } @else { "Change all" }
                        }
                        @if proposal.changes.len() == 1 { button.quiet type="submit" name="decision" value="changed" { "Change to your figure" } }
                        button.quiet type="submit" name="decision" value="refused" { "Keep the standard" }
                    }
                }
            } @else { p { "The owner decides about standard times." } }
        }
    }
}

fn own_figure(change: &Change, form: &DecisionForm, errors: &FormErrors) -> Markup {
    let field = match change.measure {
        Measure::Minutes => Field::minutes("figure", FIGURE, &form.figure),
        Measure::Percent => {
            Field::decimal("figure", FIGURE, &form.figure).unit("% of the calculated time")
        }
    };
    html! { (field.optional().hint("If you want neither the proposed time nor the one you have").errors(errors)) }
}

const FIGURE: &str = "Your own figure";

/// What the form says of a proposal.
pub(in crate::web) fn read(
    form: &DecisionForm,
    proposal: &Proposal,
    errors: &mut FormErrors,
) -> Option<Choice> {
    let change = proposal.changes.first()?;
    let decision = Decision::from_code(&form.decision);
    if decision.is_none() {
        errors.add("decision", "Choose what to do");
    }
    errors.label("figure", FIGURE);
    let figure = match decision {
        Some(Decision::Changed) => match change.measure {
            Measure::Minutes => errors.minutes("figure", &form.figure).map(|m| m.0),
            Measure::Percent => {
                let bounds = Decimal::TEN..=Decimal::ONE_THOUSAND;
                errors.percent("figure", &form.figure, bounds)
            }
        },
        _ => None,
    };
    errors.label("reason", "Reason");
    let reason = match decision {
        Some(Decision::Refused) => errors.required_text("reason", &form.reason, 500),
        _ => errors.text("reason", &form.reason, 500),
    };
    if !errors.is_empty() {
        return None;
    }
    Some(Choice {
        element: change.element,
        part: change.part,
        version: form.version.parse().unwrap_or_default(),
        proposed: form.proposed.parse().unwrap_or_default(),
        decision: decision?,
        figure,
        reason: reason?,
    })
}

async fn decide(
    who: SignedIn,
    site: web::Data<Site>,
    at: web::Path<(String, String)>,
    form: CheckedForm<DecisionForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let (element, of) = of_path(&at.0, &at.1)?;
    let (actor, now) = (who.actor(), Utc::now());
    let lesson = learn::lesson(&actor, &site.lessons, now).await?;
    let proposal = lesson
        .proposal(element, of)
        .ok_or(WebError::Refused(Refusal::NoProposal))?;
    let mut around = Around::default();
    let Some(choice) = read(&form, proposal, &mut around.errors) else {
        return Ok(page(&who, &site, &at, &form, &around)
            .await?
            .invalid()
            .into());
    };
    match learn::decide(&actor, &site.lessons, &choice, now).await {
        Ok(()) => {
            let told = match choice.decision {
                Decision::Refused => "The standard is kept as it is.",
                _ => {
                    "The standard is changed. New answers and quotes are worked out with it from now on."
                }
            };
            Ok(Reply::see_other(PATH).flash(told))
        }
        Err(AppError::Refused(Refusal::Standard(why))) => {
            around.errors.add("figure", why);
            Ok(page(&who, &site, &at, &form, &around)
                .await?
                .invalid()
                .into())
        }
        Err(AppError::Db(DbError::Stale(_))) => {
            around.notice = moved(proposal, &form);
            let page = page(&who, &site, &at, &form, &around).await?;
            Ok(page.status(StatusCode::CONFLICT).into())
        }
        Err(AppError::Refused(why)) => {
            Err(WebError::Unprocessable(words::refusal(&why, who.today())))
        }
        Err(error) => Err(error.into()),
    }
}

/// What was on the screen beside what is proposed now.
fn moved(proposal: &Proposal, form: &DecisionForm) -> Markup {
    let changed: Vec<Changed> = proposal
        .changes
        .first()
        .and_then(|c| {
            let now = standard(c.measure, c.after);
            let then = form.proposed.parse().map(|f| standard(c.measure, f));
            Changed::if_differs("Proposed", &now, &then.unwrap_or_default())
        })
        .into_iter()
        .collect();
    stale_notice("This standard", &changed)
}
