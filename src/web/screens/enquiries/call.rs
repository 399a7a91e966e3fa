//! One call: what the caller says on the left, saved as it is said; the answer beside it, recomputed as they talk.

use super::form::{CallForm, Lists};
use super::work::{self, Answered, answer_to};
use super::{answer as answer_view, list};
use crate::app::answer_enquiry::Ways;
use crate::db::DbError;
use crate::db::enquiries::{self, Enquiry, EnquiryDetails, EnquiryState};
use crate::db::people::Role;
use crate::db::quotes::{self, Quote, QuoteState};
use crate::enquiry::{Answer as EnquiryAnswer, OptionAnswer};
use crate::estimating::{Basis, Element};
use crate::units::Code;
use crate::web::shell::site::Site;
use crate::web::ui::forms::{Choice, Live};
use crate::web::ui::show as words;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// A new call: an enquiry with its number, nothing said yet.
pub(super) async fn open(who: SignedIn, _form: CheckedForm<CallForm>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let (id, _) = enquiries::create(&mut tx, &EnquiryDetails::default()).await?;
    tx.commit().await?;
    Ok(Reply::see_other(format!("/enquiries/{id}")))
}

pub(super) async fn show(who: SignedIn, site: web::Data<Site>, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let enquiry = enquiries::get(&mut tx, *id).await?;
    let ways = Ways::load(&mut tx).await?;
    let lists = Lists::load(&mut tx, &ways).await?;
    let quotes = quotes::list(&mut tx, QuoteState::ALL, Some(*id), None, 20).await?;
    let answer = answer_to(tx, &site, ways, &enquiry, Utc::now()).await?;
    let form = CallForm::of(&enquiry);
    let view = View {
        who: &who,
        enquiry: &enquiry,
        lists: &lists,
        quotes: &quotes,
        answer: &answer,
    };
    Ok(view.page(&form, &FormErrors::default(), &html! {}).into())
}

pub(super) async fn save(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<CallForm>,
    live: Live,
) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let ways = Ways::load(&mut tx).await?;
    let lists = Lists::load(&mut tx, &ways).await?;
    let mut errors = FormErrors::default();
    let details = form.read(&lists, &mut errors);
    let version = form.version.parse().unwrap_or(0);
    let mut stale = false;
    if let Some(details) = details {
        match enquiries::save(&mut tx, *id, version, &details).await {
            Ok(_) if live.0 => {}
            Ok(_) => {
                tx.commit().await?;
                return Ok(Reply::see_other(format!("/enquiries/{id}#answer")).flash("Saved."));
            }
            Err(DbError::Stale(_)) => stale = true,
            Err(error) => return Err(error.into()),
        }
    }
    let enquiry = enquiries::get(&mut tx, *id).await?;
    let quotes = quotes::list(&mut tx, QuoteState::ALL, Some(*id), None, 20).await?;
    if !stale && errors.is_empty() {
        tx.commit().await?;
        tx = who.begin().await?;
    }
    let answer = answer_to(tx, &site, ways, &enquiry, Utc::now()).await?;
    let view = View {
        who: &who,
        enquiry: &enquiry,
        lists: &lists,
        quotes: &quotes,
        answer: &answer,
    };
    if stale {
        let notice = view.stale(&form);
        let over = CallForm {
            version: enquiry.version.to_string(),
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
    Ok(view
        .page(&CallForm::of(&enquiry), &errors, &html! {})
        .into())
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct QuoteForm {
    option: String,
    /// When the answer on the screen was computed, so that the quote is the one that was read out.
    at: String,
    /// Ticked to keep its place in the plan for some days.
    hold: String,
}

pub(super) async fn quote(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<QuoteForm>,
) -> Answer {
    who.require(Role::Office)?;
    let asked = work::QuoteAsked {
        option: &form.option,
        at: form.at.parse().ok(),
        hold_until: (form.hold == "yes").then(|| work::slot_until(&who)),
    };
    let quote = work::quote(&who, &site, *id, asked).await?;
    Ok(Reply::see_other(format!("/quotes/{}", quote.id))
        .flash(format!("Quote {} is saved as it stands.", quote.number)))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct CloseForm {
    version: String,
    closed: String,
}

/// The call came to nothing, or is taken up again.
pub(super) async fn close(
    who: SignedIn,
    id: web::Path<Uuid>,
    form: CheckedForm<CloseForm>,
) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let closed = form.closed == "yes";
    enquiries::set_closed(&mut tx, *id, form.version.parse().unwrap_or(0), closed).await?;
    tx.commit().await?;
    let told = if closed {
        "Put away. It stays on record."
    } else {
        "Open again."
    };
    Ok(Reply::see_other(if closed {
        "/enquiries".to_owned()
    } else {
        format!("/enquiries/{id}")
    })
    .flash(told))
}

/// All a page of one call is drawn from.
struct View<'a> {
    who: &'a SignedIn,
    enquiry: &'a Enquiry,
    lists: &'a Lists,
    quotes: &'a [Quote],
    answer: &'a Answered,
}

impl View<'_> {
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
                    h2 #asks-title { "What the caller wants" }
                    div #problems { (errors.summary()) }
                    form #call.grid method="post" action={ "/enquiries/" (enquiry.id) } novalidate
                        data-live="version problems answer" {
                        (csrf_field(self.who))
                        input #version type="hidden" name="version" value=(form.version);
                        (self.fields(form, errors))
                        div.actions {
                            button type="submit" data-key="w" data-key-label="Work it out" { "Save and work it out" }
                            p.live-status role="status" {}
                        }
                    }
                    (self.given())
                }
                section #answer aria-label="The answer" {
                    @match self.answer {
                        Ok(answer) => (answer_view::view(self.who, answer, &|option| self.quote_form(answer, option))),
                        Err(why) => { div.card { h2 { "No answer yet" } p { (why) } } }
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
            self.lists
                .variants
                .iter()
                .map(|v| Choice::new(v.id, &v.name))
                .collect::<Vec<_>>()
        };
        let untouched = self.enquiry.version == 1 && form.caller.is_empty();
        html! {
            (Field::text("caller", "Who is calling", &form.caller).optional().autofocus(untouched).errors(errors))
            (Field::telephone("contact", "How to reach them", &form.contact).optional().errors(errors))
            (Field::select("wanted", "Wants", &form.wanted, variants()).wide().optional().errors(errors))
            (Field::date("wanted_by", "By", &form.wanted_by).optional().errors(errors))
            (Field::select("brings", "Brings a block of their own", &form.brings, variants()).optional().errors(errors))
            (Field::text("brings_note", "What is known of it", &form.brings_note).wide().optional()
                .hint("Marks, cracks, welds, how long it stood outside").errors(errors))
            @if !self.lists.work.is_empty() {
                (self.work("repairs", "What their own block needs, if it is the wanted kind", &form.repairs))
                (self.work("also", "Also wanted, whichever way the block comes", &form.also))
            }
            (Field::textarea("note", "Anything else", &form.note, 3).wide().optional().errors(errors))
        }
    }

    /// Work that can be ticked, folded away while nothing is.
    fn work(&self, name: &str, label: &str, ticked: &[String]) -> Markup {
        html! {
            details.field.wide open[!ticked.is_empty()] {
                summary { (label) @if !ticked.is_empty() { " (" (ticked.len()) ")" } }
                div.ticks {
                    @for element in &self.lists.work {
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
                    button.quiet type="submit" { @if closed { "Take it up again" } @else { "Came to nothing" } }
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
                            " before tax, " (crate::web::screens::quotes::state_words(quote.state))
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
                (Field::checkbox("hold", &format!("Hold its place in the plan until {}", words::day(work::slot_until(self.who))), false)
                    .value("yes").id(&format!("hold-{}", option.key.replace(':', "-"))))
                button type="submit" { "Quote this" span.visually-hidden { ": " (option.title) } }
            }
        }
    }

    /// Both values of whatever differs, when someone else saved this call meanwhile.
    fn stale(&self, typed: &CallForm) -> Markup {
        let stored = CallForm::of(self.enquiry);
        let name = |key: &str| {
            let found = self.lists.variants.iter().find(|v| v.id.to_string() == key);
            found.map_or_else(|| "none".to_owned(), |v| v.name.clone())
        };
        let changed: Vec<Changed> = [
            Changed::if_differs("Who is calling", &stored.caller, &typed.caller),
            Changed::if_differs("How to reach them", &stored.contact, &typed.contact),
            Changed::if_differs("Wants", &name(&stored.wanted), &name(&typed.wanted)),
            Changed::if_differs("By", &stored.wanted_by, &typed.wanted_by),
            Changed::if_differs("Brings", &name(&stored.brings), &name(&typed.brings)),
            Changed::if_differs(
                "What is known of it",
                &stored.brings_note,
                &typed.brings_note,
            ),
            Changed::if_differs(
                "What their block needs",
                &stored.repairs.join(", "),
                &typed.repairs.join(", "),
            ),
            Changed::if_differs(
                "Also wanted",
                &stored.also.join(", "),
                &typed.also.join(", "),
            ),
            Changed::if_differs("Anything else", &stored.note, &typed.note),
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
