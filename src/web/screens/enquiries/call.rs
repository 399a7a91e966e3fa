//! One call: what the customer says on the left, saved as it is typed; the options beside it, computed anew each time.

use super::choices::{conditions, purposes, word_of};
use super::form::CallForm;
use super::{actions, answer as answer_view, list, opinion};
use crate::app::answer_enquiry::{AnsweredEnquiry, ReadOut, answer_enquiry, answer_with};
use crate::app::catalogue::{Catalogue, catalogue};
use crate::app::close_enquiry::close_enquiry;
use crate::app::give_quote::{QuoteRequest, give_quote};
use crate::app::question::Unanswerable;
use crate::app::save_enquiry::{open_enquiry, save_enquiry};
use crate::app::{AppError, Refusal};
use crate::db::DbError;
use crate::db::enquiries::{Enquiry, EnquiryDetails};
use crate::enquiry::doubt::Doubt;
use crate::enquiry::quote::{Quote, slot_until};
use crate::estimating::{Basis, Element};
use crate::web::screens::customers::Known;
use crate::web::shell::site::Site;
use crate::web::ui::forms::{Choice, Live};
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// A new call: an enquiry with its number, nothing said yet.
pub(super) async fn open(who: SignedIn, form: CheckedForm<CallForm>) -> Answer {
    let id = open_enquiry(&who.actor(), &EnquiryDetails::default(), form.keyed()).await?;
    Ok(Reply::see_other(format!("/enquiries/{id}")))
}

pub(super) async fn show(who: SignedIn, site: web::Data<Site>, id: web::Path<Uuid>) -> Answer {
    let answered = answer_enquiry(&who.actor(), &site.simulator, *id, Utc::now()).await?;
    let view = View::of(&who, &answered, Known::read(&who, *id).await?);
    let form = CallForm::of(&answered.enquiry);
    Ok(view.page(&form, &FormErrors::default(), &html! {}).into())
}

pub(super) async fn save(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<CallForm>,
    live: Live,
) -> Answer {
    let actor = who.actor();
    let catalogue = catalogue(&actor).await?;
    let mut errors = FormErrors::default();
    let version = form.version.parse().unwrap_or(0);
    let mut stale = false;
    if let Some(details) = form.read(&catalogue, who.shop.currency, &mut errors) {
        match save_enquiry(&actor, *id, version, &details).await {
            Ok(()) if live.0 => {}
            Ok(()) => {
                return Ok(Reply::see_other(format!("/enquiries/{id}#answer")).flash("Saved."));
            }
            Err(AppError::Db(DbError::Stale(_))) => stale = true,
            Err(error) => return Err(error.into()),
        }
    }
    let answered = answer_with(&actor, &site.simulator, catalogue, *id, Utc::now()).await?;
    let view = View::of(&who, &answered, Known::read(&who, *id).await?);
    if stale {
        let notice = view.stale(&form);
        let over = CallForm {
            version: answered.enquiry.version.to_string(),
            ..form.into_inner()
        };
        return Ok(view
            .page(&over, &errors, &notice)
            .status(StatusCode::CONFLICT)
            .into());
    }
    if !errors.is_empty() {
        return Ok(view.page(&form, &errors, &html! {}).invalid().into());
    }
    let form = CallForm::of(&answered.enquiry);
    Ok(view.page(&form, &errors, &html! {}).into())
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct QuoteForm {
    option: String,
    /// The answer on the screen, so that the quote is the one that was read out.
    answer: String,
    /// Ticked to reserve its slot in the plan for some days.
    hold: String,
    /// One for each form that is drawn: sent twice, it makes one quote.
    form: String,
    /// "yes" once somebody has looked at what speaks against it.
    confirmed: String,
    /// All of it, to be sent once more.
    #[serde(skip)]
    fields: Vec<(&'static str, String)>,
}

pub(super) async fn quote(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<QuoteForm>,
) -> Answer {
    let missing = |_| WebError::NotFound("this answer");
    let request = QuoteRequest {
        enquiry_id: *id,
        answer_id: form.answer.parse().map_err(missing)?,
        option: form.option.clone(),
        reserve_until: (form.hold == "yes").then(|| slot_until(who.today())),
        request_key: form.form.parse().ok(),
        bargain: None,
        alternative_to: None,
        confirmed: form.confirmed == "yes",
    };
    match give_quote(&who.actor(), &site.simulator, &request, Utc::now()).await {
        Ok(quote) => Ok(Reply::see_other(format!("/quotes/{}", quote.id))
            .flash(format!("Quote {} saved.", quote.number))),
        Err(AppError::Refused(Refusal::Doubts(doubts))) => {
            let typed = QuoteForm::of(vec![
                ("option", form.option.clone()),
                ("answer", form.answer.clone()),
                ("form", form.form.clone()),
                ("hold", form.hold.clone()),
            ]);
            let action = format!("/enquiries/{id}/quotes");
            Ok(doubtful(&who, &action, *id, &typed, &doubts)
                .status(StatusCode::CONFLICT)
                .into())
        }
        Err(error) => Err(error.into()),
    }
}

impl QuoteForm {
    /// Fields by name, to be sent once more.
    pub(super) fn of(fields: Vec<(&'static str, String)>) -> Self {
        Self {
            fields,
            ..Self::default()
        }
    }
}

/// What speaks against quoting an answer as it was said, and the choice. `action` is where the form goes once more.
pub(super) fn doubtful(
    who: &SignedIn,
    action: &str,
    id: Uuid,
    form: &QuoteForm,
    doubts: &[Doubt],
) -> Page {
    const TITLE: &str = "Before you quote this";
    let body = html! {
        h1 { (TITLE) }
        section.card {
            ul { @for doubt in doubts { li { (words::doubt(doubt, who.today())) } } }
            p { "The quote can still be given as it was said to the customer, or you can go back and look at the answer as it is now." }
            div.actions {
                a.button href={ "/enquiries/" (id) "#answer" } { "Look at the answer now" }
                form method="post" action=(action) {
                    (csrf_field(who))
                    @for (name, value) in &form.fields { input type="hidden" name=(name) value=(value); }
                    input type="hidden" name="confirmed" value="yes";
                    button.quiet type="submit" { "Quote it as it was said" }
                }
            }
        }
    };
    Page::new(who, TITLE).nav(Section::Enquiries).body(body)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct CloseForm {
    version: String,
    closed: String,
}

/// Closes the call with no sale, or reopens it.
pub(super) async fn close(
    who: SignedIn,
    id: web::Path<Uuid>,
    form: CheckedForm<CloseForm>,
) -> Answer {
    let closed = form.closed == "yes";
    let version = form.version.parse().unwrap_or(0);
    close_enquiry(&who.actor(), *id, version, closed).await?;
    let done = if closed {
        "Closed with no sale. It stays on record."
    } else {
        "Reopened."
    };
    Ok(Reply::see_other(if closed {
        "/enquiries".to_owned()
    } else {
        format!("/enquiries/{id}")
    })
    .flash(done))
}

/// All a page of one call is drawn from.
struct View<'a> {
    who: &'a SignedIn,
    enquiry: &'a Enquiry,
    catalogue: &'a Catalogue,
    extra_work: Vec<&'a Element>,
    quotes: &'a [Quote],
    answer: &'a Result<ReadOut, Unanswerable>,
    known: Known,
}

impl<'a> View<'a> {
    fn of(who: &'a SignedIn, answered: &'a AnsweredEnquiry, known: Known) -> Self {
        Self {
            who,
            enquiry: &answered.enquiry,
            extra_work: answered.catalogue.extra_work(),
            catalogue: &answered.catalogue,
            quotes: &answered.quotes,
            answer: &answered.answer,
            known,
        }
    }

    fn page(&self, form: &CallForm, errors: &FormErrors, notice: &Markup) -> Page {
        let enquiry = self.enquiry;
        let title = format!("Enquiry {}", enquiry.number);
        let body = html! {
            div.bar {
                h1 { (title) " " span.tag { (list::state_words(enquiry.state)) } }
                (actions::close_form(self.who, enquiry))
            }
            (notice)
            div.call {
                section.card.asks aria-labelledby="asks-title" {
                    h2 #asks-title { "What the customer wants" }
                    div #problems { (errors.summary()) }
                    form #call.grid method="post" action={ "/enquiries/" (enquiry.id) } novalidate
                        data-live={ "version problems " (Known::ID) " answer" } {
                        (csrf_field(self.who))
                        input #version type="hidden" name="version" value=(form.version);
                        (self.fields(form, errors))
                        div.actions {
                            button type="submit" data-key="w" data-key-label="Update price" { "Update price" }
                            p.live-status role="status" {}
                        }
                    }
                    (self.known.section(self.who, enquiry))
                    (actions::quotes_given(self.quotes))
                }
                section #answer aria-label="Options" {
                    @match self.answer {
                        Ok(read_out) => (answer_view::view(self.who, &read_out.answer, &answer_view::Acts {
                            quote: &|option| actions::quote_form(self.who, enquiry.id, read_out, option),
                            opinion: &|variant| opinion::form(self.who, enquiry.id, variant),
                        })),
                        Err(why) => { div.card { h2 { "No price yet" } p { (words::unanswerable(why)) } } }
                    }
                }
            }
        };
        Page::new(self.who, title)
            .nav(Section::Enquiries)
            .script("lookup.js")
            .body(body)
    }

    fn fields(&self, form: &CallForm, errors: &FormErrors) -> Markup {
        let variants = || {
            self.catalogue
                .variants
                .iter()
                .map(|v| Choice::new(v.id, &v.name))
                .collect::<Vec<_>>()
        };
        let untouched = self.enquiry.version == 1 && form.caller.is_empty();
        html! {
            (Field::text("caller", "Customer", &form.caller).customers("contact").optional().autofocus(untouched).errors(errors))
            (Field::telephone("contact", "Phone or email", &form.contact).optional().errors(errors))
            (Field::select("wanted", "Casting wanted", &form.wanted, variants()).wide().optional().errors(errors))
            (Field::date("wanted_by", "Needed by", &form.wanted_by).optional().errors(errors))
            (Field::select("brings", "Customer’s own block", &form.brings, variants()).optional().errors(errors))
            (Field::select("condition", "Condition of the customer’s own block", &form.condition, conditions()).errors(errors))
            // On a phone this is put away, so that the answer is not far below.
            fieldset.part.wide.tail {
                legend { h2 { "More about the call" } }
                (Field::text("brings_note", "More on its condition", &form.brings_note).wide().optional()
                    .hint("Marks, where exactly it is cracked or welded, how it was stored").errors(errors))
                (Field::select("purpose", "What it is for", &form.purpose, purposes()).errors(errors))
                @if !self.extra_work.is_empty() {
                    (self.work("repairs", "Repairs to the customer’s own block, when it is the kind wanted", &form.repairs))
                    (self.work("also", "Extra work", &form.also))
                }
                details.field.wide open[!form.search_most.is_empty() || !form.search_ends_on.is_empty()] {
                    summary { "Limits of a search" }
                    div.grid {
                        (Field::money("search_most", "Most the customer would pay, before tax", &form.search_most, self.who.shop.currency)
                            .optional().hint("In all, with the work").errors(errors))
                        (Field::date("search_ends_on", "The search ends on", &form.search_ends_on).optional().errors(errors))
                    }
                }
                (Field::textarea("note", "Notes", &form.note, 3).wide().optional().errors(errors))
            }
        }
    }

    /// Work that can be ticked; folded while none is.
    fn work(&self, name: &str, label: &str, ticked: &[String]) -> Markup {
        html! {
            details.field.wide open[!ticked.is_empty()] {
                summary { (label) @if !ticked.is_empty() { " (" (ticked.len()) ")" } }
                div.ticks {
                    @for element in &self.extra_work {
                        @let id = format!("{name}-{}", element.code);
                        (Field::checkbox(name, &work_words(element), ticked.contains(&element.code)).value(&element.code).id(&id))
                    }
                }
            }
        }
    }

    /// Both values of whatever differs, when someone else saved this call meanwhile.
    fn stale(&self, typed: &CallForm) -> Markup {
        let stored = CallForm::of(self.enquiry);
        let name = |key: &str| {
            let found = self
                .catalogue
                .variants
                .iter()
                .find(|v| v.id.to_string() == key);
            found.map_or_else(|| "none".to_owned(), |v| v.name.clone())
        };
        let changed: Vec<Changed> = [
            Changed::if_differs("Customer", &stored.caller, &typed.caller),
            Changed::if_differs("Phone or email", &stored.contact, &typed.contact),
            Changed::if_differs(
                "Casting wanted",
                &name(&stored.wanted),
                &name(&typed.wanted),
            ),
            Changed::if_differs("Needed by", &stored.wanted_by, &typed.wanted_by),
            Changed::if_differs(
                "Customer’s own block",
                &name(&stored.brings),
                &name(&typed.brings),
            ),
            Changed::if_differs(
                "Condition of the customer’s own block",
                &word_of(conditions(), &stored.condition),
                &word_of(conditions(), &typed.condition),
            ),
            Changed::if_differs(
                "More on its condition",
                &stored.brings_note,
                &typed.brings_note,
            ),
            Changed::if_differs(
                "What it is for",
                &word_of(purposes(), &stored.purpose),
                &word_of(purposes(), &typed.purpose),
            ),
            Changed::if_differs(
                "Most the customer would pay, before tax",
                &stored.search_most,
                &typed.search_most,
            ),
            Changed::if_differs(
                "The search ends on",
                &stored.search_ends_on,
                &typed.search_ends_on,
            ),
            Changed::if_differs(
                "Repairs to the customer’s own block",
                &stored.repairs.join(", "),
                &typed.repairs.join(", "),
            ),
            Changed::if_differs(
                "Extra work",
                &stored.also.join(", "),
                &typed.also.join(", "),
            ),
            Changed::if_differs("Notes", &stored.note, &typed.note),
        ]
        .into_iter()
        .flatten()
        .collect();
        stale_notice("this enquiry", &changed)
    }
}

/// An element as a tick box says it.
fn work_words(element: &Element) -> String {
    match element.basis {
        Basis::Once | Basis::PerFeature => element.name.clone(),
        Basis::PerMain => format!("{} (all main bearings)", element.name),
        Basis::PerCylinder => format!("{} (all cylinders)", element.name),
    }
}
