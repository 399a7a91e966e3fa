//! One call: what the customer says on the left, saved as it is typed; the options beside it, computed anew each time.

use super::form::CallForm;
use super::{answer as answer_view, list};
use crate::app::AppError;
use crate::app::answer_enquiry::{AnsweredEnquiry, Unanswerable, answer_enquiry, answer_with};
use crate::app::catalogue::{Catalogue, catalogue};
use crate::app::close_enquiry::close_enquiry;
use crate::app::give_quote::{QuoteRequest, give_quote};
use crate::app::save_enquiry::{open_enquiry, save_enquiry};
use crate::db::DbError;
use crate::db::enquiries::{Enquiry, EnquiryDetails};
use crate::enquiry::quote::{Quote, slot_until};
use crate::enquiry::{Answer as EnquiryAnswer, EnquiryState, OptionAnswer};
use crate::estimating::{Basis, Element};
use crate::web::shell::site::Site;
use crate::web::ui::forms::{Choice, Live};
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field, show, words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// A new call: an enquiry with its number, nothing said yet.
pub(super) async fn open(who: SignedIn, _form: CheckedForm<CallForm>) -> Answer {
    let enquiry = open_enquiry(&who.actor(), &EnquiryDetails::default()).await?;
    Ok(Reply::see_other(format!("/enquiries/{}", enquiry.id)))
}

pub(super) async fn show(who: SignedIn, site: web::Data<Site>, id: web::Path<Uuid>) -> Answer {
    let answered = answer_enquiry(&who.actor(), &site.simulator, *id, Utc::now()).await?;
    let view = View::of(&who, &answered);
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
    if let Some(details) = form.read(&catalogue, &mut errors) {
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
    let view = View::of(&who, &answered);
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
    /// When the answer on the screen was computed, so that the quote is the one that was read out.
    at: String,
    /// Ticked to reserve its slot in the plan for some days.
    hold: String,
}

pub(super) async fn quote(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<QuoteForm>,
) -> Answer {
    let request = QuoteRequest {
        enquiry_id: *id,
        option: form.option.clone(),
        read_out_at: form.at.parse().ok(),
        reserve_until: (form.hold == "yes").then(|| slot_until(who.today())),
    };
    let quote = give_quote(&who.actor(), &site.simulator, &request, Utc::now()).await?;
    Ok(Reply::see_other(format!("/quotes/{}", quote.id))
        .flash(format!("Quote {} saved.", quote.number)))
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
    answer: &'a Result<EnquiryAnswer, Unanswerable>,
}

impl<'a> View<'a> {
    fn of(who: &'a SignedIn, answered: &'a AnsweredEnquiry) -> Self {
        Self {
            who,
            enquiry: &answered.enquiry,
            extra_work: answered.catalogue.extra_work(),
            catalogue: &answered.catalogue,
            quotes: &answered.quotes,
            answer: &answered.answer,
        }
    }

    fn page(&self, form: &CallForm, errors: &FormErrors, notice: &Markup) -> Page {
        let enquiry = self.enquiry;
        let title = format!("Enquiry {}", enquiry.number);
        let body = html! {
            div.bar {
                h1 { (title) " " span.tag { (list::state_words(enquiry.state)) } }
                (self.close_form())
            }
            (notice)
            div.call {
                section.card.asks aria-labelledby="asks-title" {
                    h2 #asks-title { "What the customer wants" }
                    div #problems { (errors.summary()) }
                    form #call.grid method="post" action={ "/enquiries/" (enquiry.id) } novalidate
                        data-live="version problems answer" {
                        (csrf_field(self.who))
                        input #version type="hidden" name="version" value=(form.version);
                        (self.fields(form, errors))
                        div.actions {
                            button type="submit" data-key="w" data-key-label="Update price" { "Update price" }
                            p.live-status role="status" {}
                        }
                    }
                    (self.given())
                }
                section #answer aria-label="Options" {
                    @match self.answer {
                        Ok(answer) => (answer_view::view(self.who, answer, &|option| self.quote_form(answer, option))),
                        Err(why) => { div.card { h2 { "No price yet" } p { (words::unanswerable(why)) } } }
                    }
                }
            }
        };
        Page::new(self.who, title)
            .nav(Section::Enquiries)
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
            (Field::text("caller", "Customer", &form.caller).optional().autofocus(untouched).errors(errors))
            (Field::telephone("contact", "Phone or email", &form.contact).optional().errors(errors))
            (Field::select("wanted", "Casting wanted", &form.wanted, variants()).wide().optional().errors(errors))
            (Field::date("wanted_by", "Needed by", &form.wanted_by).optional().errors(errors))
            (Field::select("brings", "Customer’s own block", &form.brings, variants()).optional().errors(errors))
            (Field::text("brings_note", "Condition", &form.brings_note).wide().optional()
                .hint("Marks, cracks, welds, how it was stored").errors(errors))
            @if !self.extra_work.is_empty() {
                (self.work("repairs", "Repairs to the customer’s own block, when it is the kind wanted", &form.repairs))
                (self.work("also", "Extra work", &form.also))
            }
            (Field::textarea("note", "Notes", &form.note, 3).wide().optional().errors(errors))
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

    fn close_form(&self) -> Markup {
        let closed = self.enquiry.state == EnquiryState::Closed;
        html! {
            @if self.enquiry.state != EnquiryState::Quoted {
                form method="post" action={ "/enquiries/" (self.enquiry.id) "/close" } {
                    (csrf_field(self.who))
                    input type="hidden" name="version" value=(self.enquiry.version);
                    input type="hidden" name="closed" value=(if closed { "no" } else { "yes" });
                    button.quiet type="submit" { @if closed { "Reopen" } @else { "No sale" } }
                }
            }
        }
    }

    /// Quotes already given.
    fn given(&self) -> Markup {
        html! {
            @if !self.quotes.is_empty() {
                h3 { "Quotes given" }
                ul.plain {
                    @for quote in self.quotes {
                        li {
                            a href={ "/quotes/" (quote.id) } { "Quote " (quote.number) } ": " (quote.title) ", " (quote.net)
                            " before tax, " (words::quote_state(quote.state))
                        }
                    }
                }
            }
        }
    }

    fn quote_form(&self, answer: &EnquiryAnswer, option: &OptionAnswer) -> Markup {
        html! {
            form method="post" action={ "/enquiries/" (self.enquiry.id) "/quotes" } {
                (csrf_field(self.who))
                input type="hidden" name="option" value=(option.key);
                input type="hidden" name="at" value=(answer.at.to_rfc3339());
                (Field::checkbox("hold", &format!("Reserve the slot until {}", show::day(slot_until(self.who.today()), self.who.today())), false)
                    .value("yes").id(&format!("hold-{}", option.key.replace(':', "-"))))
                button type="submit" { "Quote this option" span.visually-hidden { ": " (option.title) } }
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
            Changed::if_differs("Condition", &stored.brings_note, &typed.brings_note),
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
