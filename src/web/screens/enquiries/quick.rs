//! Quick quote: a customer, work picked from the standard times, and the day it is needed by. Saved as it is typed; the
//! price, the ready day and the sentence to say stand beside it.

use super::{call, cost_lines, list, route_table};
use crate::app::quick_enquiry::{
    QuickCall, QuickEnquiry, QuickQuoteRequest, ReadOut, give_quick_quote, open_quick,
    quick_enquiry, save_quick, work_to_pick,
};
use crate::app::{AppError, Refusal};
use crate::db::DbError;
use crate::db::people::Role;
use crate::db::quick_work::{self, QuickWork};
use crate::enquiry::EnquiryState;
use crate::enquiry::quote::slot_until;
use crate::enquiry::{Answer as EnquiryAnswer, Figures, OptionAnswer, quick};
use crate::estimating::Element;
use crate::units::Money;
use crate::web::shell::site::Site;
use crate::web::ui::forms::Live;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::work_lines::{self, TIMED_BY, TypedLines, columns};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    show, words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{DateTime, NaiveDate, Utc};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// A call as it is typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct QuickForm {
    caller: String,
    contact: String,
    part: String,
    work: Vec<String>,
    count: Vec<String>,
    cylinders: String,
    mains: String,
    wanted_by: String,
    arrives_on: String,
    note: String,
    version: String,
}

impl QuickForm {
    fn of(call: &QuickEnquiry) -> Self {
        let details = &call.enquiry.details;
        let list = &call.work.list;
        let day = |day: Option<NaiveDate>| day.map(|day| day.to_string()).unwrap_or_default();
        let number = |n: Option<u32>| n.map(|n| n.to_string()).unwrap_or_default();
        let (work, count) = columns(list);
        Self {
            caller: details.caller.clone(),
            contact: details.contact.clone(),
            part: list.part.clone(),
            work,
            count,
            cylinders: number(list.cylinders),
            mains: number(list.mains),
            wanted_by: day(details.wanted_by),
            arrives_on: day(call.work.arrives_on),
            note: details.note.clone(),
            version: call.enquiry.version.to_string(),
        }
    }

    /// Whether anything is said beyond customer, work and day.
    fn says_more(&self) -> bool {
        let more = [&self.part, &self.arrives_on, &self.contact, &self.note];
        more.into_iter().any(|field| !field.is_empty())
    }

    fn lines(&self) -> TypedLines<'_> {
        TypedLines {
            part: &self.part,
            work: &self.work,
            count: &self.count,
            cylinders: &self.cylinders,
            mains: &self.mains,
        }
    }

    fn read(&self, elements: &[Element], errors: &mut FormErrors) -> Option<QuickCall> {
        let caller = errors.text("caller", &self.caller, 120);
        let contact = errors.text("contact", &self.contact, 120);
        let list = self.lines().read(elements, errors);
        let wanted_by = errors.optional(&self.wanted_by, |errors| {
            errors.date("wanted_by", &self.wanted_by)
        });
        let arrives_on = errors.optional(&self.arrives_on, |errors| {
            errors.date("arrives_on", &self.arrives_on)
        });
        let note = errors.text("note", &self.note, 4000);
        Some(QuickCall {
            caller: caller?,
            contact: contact?,
            wanted_by: wanted_by?,
            note: note?,
            work: QuickWork {
                list: list?,
                arrives_on: arrives_on?,
            },
        })
    }
}

/// The list of calls, for whoever opens the address by hand: a new one is opened by its button.
pub(super) async fn to_list(_who: SignedIn) -> Answer {
    Ok(Reply::see_other("/enquiries"))
}

/// A new call for quick work.
pub(super) async fn open(who: SignedIn, _form: CheckedForm<QuickForm>) -> Answer {
    let id = open_quick(&who.actor()).await?;
    Ok(Reply::see_other(format!("/enquiries/{id}/quick")))
}

/// One call: that of quick work has a page of its own.
pub(super) async fn show_call(who: SignedIn, site: web::Data<Site>, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let is_quick = quick_work::get(&mut tx, *id).await?.is_some();
    drop(tx);
    if is_quick {
        return Ok(Reply::see_other(format!("/enquiries/{id}/quick")));
    }
    call::show(who, site, id).await
}

pub(super) async fn show(who: SignedIn, site: web::Data<Site>, id: web::Path<Uuid>) -> Answer {
    let call = quick_enquiry(&who.actor(), &site.simulator, *id, Utc::now()).await?;
    let form = QuickForm::of(&call);
    Ok(page(&who, &call, &form, &FormErrors::default(), &html! {}).into())
}

pub(super) async fn save(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<QuickForm>,
    live: Live,
) -> Answer {
    let actor = who.actor();
    let elements = work_to_pick(&actor).await?;
    let mut errors = FormErrors::default();
    let version = form.version.parse().unwrap_or(0);
    let mut stale = false;
    if let Some(call) = form.read(&elements, &mut errors) {
        match save_quick(&actor, *id, version, &call).await {
            Ok(()) if live.0 => {}
            Ok(()) => {
                return Ok(
                    Reply::see_other(format!("/enquiries/{id}/quick#answer")).flash("Saved.")
                );
            }
            Err(AppError::Db(DbError::Stale(_))) => stale = true,
            Err(error) => return Err(error.into()),
        }
    }
    let call = quick_enquiry(&actor, &site.simulator, *id, Utc::now()).await?;
    if stale {
        let notice = stale_notice("this enquiry", &changed(&call, &form));
        let over = QuickForm {
            version: call.enquiry.version.to_string(),
            ..form.into_inner()
        };
        let page = page(&who, &call, &over, &errors, &notice);
        return Ok(page.status(StatusCode::CONFLICT).into());
    }
    if !errors.is_empty() {
        return Ok(page(&who, &call, &form, &errors, &html! {})
            .invalid()
            .into());
    }
    let form = QuickForm::of(&call);
    Ok(page(&who, &call, &form, &errors, &html! {}).into())
}

/// Both values of whatever differs, when someone else saved this call meanwhile.
fn changed(call: &QuickEnquiry, typed: &QuickForm) -> Vec<Changed> {
    let stored = QuickForm::of(call);
    let work = |form: &QuickForm| {
        let rows = form.work.iter().zip(&form.count);
        rows.filter(|(code, _)| !code.is_empty())
            .map(|(code, count)| format!("{code} × {}", if count.is_empty() { "1" } else { count }))
            .collect::<Vec<_>>()
            .join(", ")
    };
    [
        Changed::if_differs("Customer", &stored.caller, &typed.caller),
        Changed::if_differs("Phone or email", &stored.contact, &typed.contact),
        Changed::if_differs("Part", &stored.part, &typed.part),
        Changed::if_differs("Work", &work(&stored), &work(typed)),
        Changed::if_differs("Cylinders", &stored.cylinders, &typed.cylinders),
        Changed::if_differs("Main bearings", &stored.mains, &typed.mains),
        Changed::if_differs("Needed by", &stored.wanted_by, &typed.wanted_by),
        Changed::if_differs("Part comes in on", &stored.arrives_on, &typed.arrives_on),
        Changed::if_differs("Notes", &stored.note, &typed.note),
    ]
    .into_iter()
    .flatten()
    .collect()
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct QuoteForm {
    /// The price that stood on the screen.
    net: String,
    /// The day beside it; empty when none could be named.
    ready_on: String,
    /// When they were worked out.
    at: String,
    /// Ticked to reserve its slot in the plan for some days.
    hold: String,
}

/// Quotes what stands on the screen; when it comes to something else by now, that is shown instead.
pub(super) async fn quote(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<QuoteForm>,
) -> Answer {
    let unread = || WebError::BadRequest("Load the page again and quote from it.".to_owned());
    let net = Money::parse(&form.net, who.shop.currency).map_err(|_| unread())?;
    let ready_on = match form.ready_on.as_str() {
        "" => None,
        day => Some(day.parse().map_err(|_| unread())?),
    };
    let now = Utc::now();
    let request = QuickQuoteRequest {
        id: *id,
        read_out: ReadOut { net, ready_on },
        read_out_at: form.at.parse().ok(),
        reserve_until: (form.hold == "yes").then(|| slot_until(today(&who))),
    };
    let actor = who.actor();
    match give_quick_quote(&actor, &site.simulator, request, now).await {
        Ok(quote) => Ok(Reply::see_other(format!("/quotes/{}", quote.id))
            .flash(format!("Quote {} saved.", quote.number))),
        Err(AppError::Refused(why @ Refusal::FiguresMoved(_))) => {
            let call = quick_enquiry(&actor, &site.simulator, *id, now).await?;
            let notice = html! {
                div.notice.warn role="alert" { p { span.sign aria-hidden="true" { "!" } " " (words::refusal(&why, who.today())) } }
            };
            let form = QuickForm::of(&call);
            let page = page(&who, &call, &form, &FormErrors::default(), &notice);
            Ok(page.status(StatusCode::CONFLICT).into())
        }
        Err(error) => Err(error.into()),
    }
}

fn today(who: &SignedIn) -> NaiveDate {
    day_of(who, Utc::now())
}

fn day_of(who: &SignedIn, at: DateTime<Utc>) -> NaiveDate {
    at.with_timezone(&who.shop.time_zone).date_naive()
}

fn page(
    who: &SignedIn,
    call: &QuickEnquiry,
    form: &QuickForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let enquiry = &call.enquiry;
    let title = format!("Enquiry {}", enquiry.number);
    let body = html! {
        div.bar {
            h1 { (title) " " span.tag { (list::state_words(enquiry.state)) } }
            (close_form(who, call))
        }
        (notice)
        div.call.quick {
            section.card.asks aria-labelledby="asks-title" {
                h2 #asks-title { "Quick quote" }
                div #problems { (errors.summary()) }
                form #call.grid method="post" action={ "/enquiries/" (enquiry.id) "/quick" } novalidate
                    data-live={ "version problems " (TIMED_BY) " answer" } {
                    (csrf_field(who))
                    input #version type="hidden" name="version" value=(form.version);
                    (fields(call, form, errors))
                    div.actions {
                        button type="submit" data-key="w" data-key-label="Update price" { "Update price" }
                        (work_lines::more())
                        p.live-status role="status" {}
                    }
                }
                (given(call))
            }
            section #answer aria-label="Price" {
                @match &call.answer {
                    Ok(answer) => (answered(who, call, answer)),
                    Err(why) => { div.card { h2 { "No price yet" } p { (words::no_quick_price(why)) } } }
                }
            }
        }
    };
    Page::new(who, title).nav(Section::Enquiries).body(body)
}

fn fields(call: &QuickEnquiry, form: &QuickForm, errors: &FormErrors) -> Markup {
    let untouched = call.enquiry.version == 1 && form.caller.is_empty();
    html! {
        (Field::text("caller", "Customer", &form.caller).optional().autofocus(untouched).errors(errors))
        (form.lines().fields(&call.elements, errors))
        (Field::date("wanted_by", "Needed by", &form.wanted_by).optional().errors(errors))
        details.field.wide #more-said open[form.says_more() || !errors.is_empty()] {
            summary { "Part, phone and notes" }
            (Field::text("part", "Part", &form.part).optional()
                .hint("For example: crankshaft, four-cylinder diesel").errors(errors))
            (Field::date("arrives_on", "Part comes in on", &form.arrives_on).optional()
                .hint("Leave blank if it is here").errors(errors))
            (Field::telephone("contact", "Phone or email", &form.contact).optional().errors(errors))
            (Field::textarea("note", "Notes", &form.note, 2).optional().errors(errors))
        }
    }
}

fn close_form(who: &SignedIn, call: &QuickEnquiry) -> Markup {
    let closed = call.enquiry.state == EnquiryState::Closed;
    html! {
        @if call.enquiry.state != EnquiryState::Quoted {
            form method="post" action={ "/enquiries/" (call.enquiry.id) "/close" } {
                (csrf_field(who))
                input type="hidden" name="version" value=(call.enquiry.version);
                input type="hidden" name="closed" value=(if closed { "no" } else { "yes" });
                button.quiet type="submit" { @if closed { "Reopen" } @else { "No sale" } }
            }
        }
    }
}

/// Quotes already given.
fn given(call: &QuickEnquiry) -> Markup {
    html! {
        @if !call.quotes.is_empty() {
            h3 { "Quotes given" }
            ul.plain {
                @for quote in &call.quotes {
                    li {
                        a href={ "/quotes/" (quote.id) } { "Quote " (quote.number) } ": " (quote.title) ", " (quote.net)
                        " before tax, " (words::quote_state(quote.state))
                    }
                }
            }
        }
    }
}

fn answered(who: &SignedIn, call: &QuickEnquiry, answer: &EnquiryAnswer) -> Markup {
    html! {
        div.card.say {
            h2 { "Tell the customer" }
            p.sentence { (answer.sentence) }
            p.muted { (words::dates_from(answer.plan)) }
        }
        @if let Some((option, figures)) = answer.option(quick::OPTION).and_then(|o| Some((o, o.figures()?))) {
            article.card.option aria-label=(option.title) {
                h3 { (option.title) }
                (headline(who, answer, figures))
                (detail(option, figures))
                (quote_form(who, call, answer, figures))
            }
        }
    }
}

fn headline(who: &SignedIn, answer: &EnquiryAnswer, figures: &Figures) -> Markup {
    let day = |time: Option<DateTime<Utc>>| match time {
        Some(time) => html! { (show::day(day_of(who, time), who.today())) },
        None => html! { "no date" },
    };
    let sure = answer.confidence_percent;
    html! {
        dl.figures {
            div.main { dt { "Quote, before tax" } dd { (figures.build_up.net) } }
            div { dt { "With tax" } dd { (figures.build_up.gross) } }
            div.main { dt { "Ready by (" (sure) " % sure)" } dd { (day(figures.ready.at_confidence)) } }
            div { dt { "Likely ready" } dd { (day(figures.ready.likely)) } }
            @if let Some(percent) = figures.in_time_percent {
                div { dt { "On time for " @if let Some(by) = answer.wanted_by { (show::day(by, who.today())) } } dd { (percent) " %" } }
            }
        }
    }
}

fn detail(option: &OptionAnswer, figures: &Figures) -> Markup {
    html! {
        @if !option.risks.is_empty() {
            h4 { "Risks" }
            ul.risks { @for risk in &option.risks { li { (risk) } } }
        }
        details #price {
            summary { "Price breakdown" }
            (cost_lines(&figures.build_up.lines))
            dl.totals {
                div { dt { "Before tax" } dd { (figures.build_up.net) } }
                div { dt { "Tax" } dd { (figures.build_up.tax) } }
                div { dt { "Total" } dd { (figures.build_up.gross) } }
            }
        }
        details #route {
            summary { "Operations (" (figures.route.operations.len()) ")" }
            (route_table(&figures.route))
        }
    }
}

fn quote_form(
    who: &SignedIn,
    call: &QuickEnquiry,
    answer: &EnquiryAnswer,
    figures: &Figures,
) -> Markup {
    let ready_on = figures
        .ready
        .at_confidence
        .map(|time| day_of(who, time).to_string())
        .unwrap_or_default();
    html! {
        form method="post" action={ "/enquiries/" (call.enquiry.id) "/quick/quote" } {
            (csrf_field(who))
            input type="hidden" name="net" value=(figures.build_up.net.amount());
            input type="hidden" name="ready_on" value=(ready_on);
            input type="hidden" name="at" value=(answer.at.to_rfc3339());
            (Field::checkbox("hold", &format!("Reserve the slot until {}", show::day(slot_until(today(who)), today(who))), false))
            button type="submit" { "Quote this" }
        }
    }
}
