//! The customer bargains over one option: another price, work left out, parts of their own, another day; margin and the chance
//! of a loss stand beside it while it is typed.

use super::call::{QuoteForm, doubtful};
use crate::app::give_quote::{QuoteRequest, give_quote, try_bargain};
use crate::app::{AppError, Refusal};
use crate::db::people::Role;
use crate::db::quotes;
use crate::enquiry::OptionAnswer;
use crate::enquiry::bargain::{Bargain, BargainFault, Bargained, supplies};
use crate::enquiry::quote::{Quote, QuoteState, slot_until};
use crate::web::shell::site::Site;
use crate::web::ui::forms::Choice;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    show, words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// What is typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct BargainForm {
    pub(super) answer: String,
    pub(super) option: String,
    price: String,
    promised_on: String,
    reason: String,
    left_out: Vec<String>,
    supplied: Vec<String>,
    alternative_to: String,
    hold: String,
    form: String,
    confirmed: String,
}

impl BargainForm {
    fn read(&self, who: &SignedIn, errors: &mut FormErrors) -> Option<Bargain> {
        let price = errors.optional(&self.price, |errors| {
            errors.money("price", &self.price, who.shop.currency)
        });
        let promised_on = errors.optional(&self.promised_on, |errors| {
            errors.date("promised_on", &self.promised_on)
        });
        let reason = errors.text("reason", &self.reason, 500);
        Some(Bargain {
            price: price?,
            reason: reason?,
            // A number that does not read is none of the ticks on the page.
            left_out: self
                .left_out
                .iter()
                .filter_map(|n| n.parse().ok())
                .collect(),
            supplied: self.supplied.clone(),
            promised_on: promised_on?,
        })
    }

    fn answer_id(&self) -> Result<Uuid, WebError> {
        self.answer
            .parse()
            .map_err(|_| WebError::NotFound("this answer"))
    }
}

/// The page, as it is opened from an option.
pub(super) async fn page(
    who: SignedIn,
    id: web::Path<Uuid>,
    which: web::Query<BargainForm>,
) -> Answer {
    let form = BargainForm {
        form: Uuid::now_v7().to_string(),
        ..which.into_inner()
    };
    Ok(draw(&who, *id, &form, FormErrors::default()).await?.into())
}

/// What comes of what is typed so far; nothing is written.
pub(super) async fn look(
    who: SignedIn,
    id: web::Path<Uuid>,
    form: CheckedForm<BargainForm>,
) -> Answer {
    Ok(draw(&who, *id, &form, FormErrors::default()).await?.into())
}

/// Gives the quote.
pub(super) async fn give(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<BargainForm>,
) -> Answer {
    let mut errors = FormErrors::default();
    let Some(bargain) = form.read(&who, &mut errors).filter(|_| errors.is_empty()) else {
        return Ok(draw(&who, *id, &form, errors).await?.invalid().into());
    };
    let today = who.today();
    let request = QuoteRequest {
        enquiry_id: *id,
        answer_id: form.answer_id()?,
        option: form.option.clone(),
        reserve_until: (form.hold == "yes").then(|| slot_until(today)),
        request_key: form.form.parse().ok(),
        bargain: Some(bargain),
        alternative_to: form.alternative_to.parse().ok(),
        confirmed: form.confirmed == "yes",
    };
    match give_quote(&who.actor(), &site.simulator, &request, Utc::now()).await {
        Ok(quote) => Ok(Reply::see_other(format!("/quotes/{}", quote.id))
            .flash(format!("Quote {} saved.", quote.number))),
        Err(AppError::Refused(Refusal::Doubts(doubts))) => {
            let typed = fields(&form);
            Ok(doubtful(
                &who,
                &format!("/enquiries/{id}/bargain"),
                *id,
                &typed,
                &doubts,
            )
            .status(StatusCode::CONFLICT)
            .into())
        }
        Err(AppError::Refused(why @ (Refusal::Bargain(_) | Refusal::BelowFloor { .. }))) => {
            let field = match &why {
                Refusal::Bargain(BargainFault::NoReason) => "reason",
                Refusal::Bargain(BargainFault::Mandatory(_)) => "left_out",
                Refusal::Bargain(BargainFault::NotInPrice(_)) => "supplied",
                _ => "price",
            };
            errors.add(field, words::refusal(&why, who.today()));
            Ok(draw(&who, *id, &form, errors).await?.invalid().into())
        }
        Err(error) => Err(error.into()),
    }
}

/// All that was typed, to be sent once more.
fn fields(form: &BargainForm) -> QuoteForm {
    let one = |name: &'static str, value: &str| (name, value.to_owned());
    let mut all = vec![
        one("answer", &form.answer),
        one("option", &form.option),
        one("price", &form.price),
        one("promised_on", &form.promised_on),
        one("reason", &form.reason),
        one("alternative_to", &form.alternative_to),
        one("hold", &form.hold),
        one("form", &form.form),
    ];
    all.extend(form.left_out.iter().map(|n| one("left_out", n)));
    all.extend(form.supplied.iter().map(|label| one("supplied", label)));
    QuoteForm::of(all)
}

async fn draw(
    who: &SignedIn,
    id: Uuid,
    form: &BargainForm,
    mut errors: FormErrors,
) -> Result<Page, WebError> {
    who.require(Role::Office)?;
    let asked = form.read(who, &mut errors).unwrap_or_default();
    let asked_of = (id, form.answer_id()?);
    let (option, bargained) = try_bargain(&who.actor(), asked_of, &form.option, &asked).await?;
    let mut tx = who.begin().await?;
    let open = quotes::list(&mut tx, &[QuoteState::Sent], Some(id), None, 20).await?;
    drop(tx);
    let title = "Agree a price";
    let body = html! {
        h1 { (title) }
        p.lead { (option.title) }
        div #problems { (errors.summary()) }
        div.columns {
            section.card {
                form.grid method="post" action={ "/enquiries/" (id) "/bargain" } novalidate
                    data-live="problems outcome" data-live-url={ "/enquiries/" (id) "/bargain/look" } {
                    (csrf_field(who))
                    input type="hidden" name="answer" value=(form.answer);
                    input type="hidden" name="option" value=(form.option);
                    input type="hidden" name="form" value=(form.form);
                    (inputs(who, form, &option, &open, &errors))
                    div.actions {
                        button type="submit" { "Give this quote" }
                        p.live-status role="status" {}
                    }
                }
            }
            section.card #outcome aria-live="polite" { (outcome(who, &option, bargained.as_ref())) }
        }
        p { a href={ "/enquiries/" (id) "#answer" } { "Back to the enquiry" } }
    };
    Ok(Page::new(who, title).nav(Section::Enquiries).body(body))
}

fn inputs(
    who: &SignedIn,
    form: &BargainForm,
    option: &OptionAnswer,
    open: &[Quote],
    errors: &FormErrors,
) -> Markup {
    let figures = option.figures();
    let supplies = figures.map(supplies).unwrap_or_default();
    let optional: Vec<(u32, String, String)> = figures
        .map(|f| f.route.operations.as_slice())
        .unwrap_or_default()
        .iter()
        .filter_map(|o| Some((o.number, o.title.clone(), o.may_be_left_out()?)))
        .collect();
    let today = who.today();
    html! {
        (Field::money("price", "Price before tax", &form.price, who.shop.currency).optional()
            .hint("Leave empty for the price as it comes out").errors(errors))
        (Field::date("promised_on", "Promise for", &form.promised_on).optional()
            .hint("Leave empty for the day as it was said").errors(errors))
        (Field::text("reason", "Reason", &form.reason).wide().optional()
            .hint("Why it differs from the answer. Needed when anything does").errors(errors))
        @if !optional.is_empty() {
            fieldset.wide {
                legend { "Left out" }
                @if let Some(error) = errors.get("left_out") { p.error { (error) } }
                @for (number, title, said) in &optional {
                    (Field::checkbox("left_out", title, form.left_out.contains(&number.to_string()))
                        .value(&number.to_string()).id(&format!("left-out-{number}")).hint(said))
                }
            }
        }
        @if !supplies.is_empty() {
            fieldset.wide {
                legend { "The customer supplies" }
                @if let Some(error) = errors.get("supplied") { p.error { (error) } }
                @for (i, (label, amount)) in supplies.iter().enumerate() {
                    (Field::checkbox("supplied", &format!("{label} ({amount} at cost)"), form.supplied.contains(label))
                        .value(label).id(&format!("supplied-{i}")))
                }
            }
        }
        @if !open.is_empty() {
            @let choices = std::iter::once(Choice::new("", "a quote of its own"))
                .chain(open.iter().filter(|q| q.offered_on.alternative_to.is_none())
                    .map(|q| Choice::new(q.id, format!("another option on quote {}", q.number))))
                .collect();
            (Field::select("alternative_to", "Quoted as", &form.alternative_to, choices).wide().errors(errors))
        }
        (Field::checkbox("hold", &format!("Reserve the slot until {}", show::day(slot_until(today), today)), form.hold == "yes").value("yes"))
    }
}

fn outcome(
    who: &SignedIn,
    option: &OptionAnswer,
    bargained: Result<&Bargained, &BargainFault>,
) -> Markup {
    let quoted = option.figures().map(|f| f.build_up.net);
    html! {
        h2 { "What comes of it" }
        @match bargained {
            Err(fault) => p.notice { (words::bargain_fault(fault)) },
            Ok(b) => {
                dl.figures {
                    div.main { dt { "Price, before tax" } dd { (b.net) } }
                    div { dt { "With tax" } dd { (b.gross) } }
                    @if let Some(quoted) = quoted { div { dt { "As it was said" } dd { (quoted) } } }
                    div { dt { "Margin" } dd { (b.margin) " (" (b.margin_percent) " %)" } }
                    div { dt { "Chance of a loss" } dd { (b.loss_percent) " %" } }
                    div { dt { "Least price of the office" } dd { (b.floor) } }
                    @if let Some(day) = b.promised_on { div { dt { "Promise" } dd { (show::day(day, who.today())) } } }
                    @if let Some(percent) = b.promise_percent { div { dt { "It holds" } dd { (percent) " % of the time" } } }
                }
                @if b.below_floor() {
                    p.notice.warn {
                        @if who.may(Role::Owner) { "Below the least margin: only you, as the owner, can quote this." }
                        @else { "Below the least margin: only the owner can quote this." }
                    }
                }
                @if !b.conditions.is_empty() {
                    h3 { "The customer must hear" }
                    ul.risks { @for said in &b.conditions { li { (said) } } }
                }
            }
        }
    }
}
