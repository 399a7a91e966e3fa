//! Quick quote: a customer, work picked from the standard times, and the day it is needed by. Saved as it is typed; the
//! price, the ready day and the sentence to say stand beside it.

use super::{actions, answer as answer_view, call, list};
use crate::app::AppError;
use crate::app::answer_enquiry::{AnsweredEnquiry, answer_enquiry};
use crate::app::everyday_work::templates;
use crate::app::quick_enquiry::{QuickCall, open_quick, save_quick, work_to_pick};
use crate::db::DbError;
use crate::db::enquiries::Enquiry;
use crate::db::people::Role;
use crate::db::quick_work::{self, QuickWork};
use crate::estimating::{Element, WorkTemplate};
use crate::web::screens::customers::Known;
use crate::web::shell::site::Site;
use crate::web::ui::forms::Live;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::work_lines::{self, TIMED_BY, TypedLines, Typing, columns};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{NaiveDate, Utc};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// A call as it is typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct QuickForm {
    pub(in crate::web) caller: String,
    pub(in crate::web) contact: String,
    pub(in crate::web) part: String,
    pub(in crate::web) work: Vec<String>,
    pub(in crate::web) count: Vec<String>,
    pub(in crate::web) cylinders: String,
    pub(in crate::web) mains: String,
    pub(in crate::web) wanted_by: String,
    pub(in crate::web) arrives_on: String,
    pub(in crate::web) note: String,
    pub(in crate::web) version: String,
    /// Everyday work to add, and the button that adds it.
    pub(in crate::web) template: String,
    pub(in crate::web) add: String,
}

impl QuickForm {
    fn of(enquiry: &Enquiry, work: &QuickWork) -> Self {
        let details = &enquiry.details;
        let list = &work.list;
        let day = |day: Option<NaiveDate>| day.map(|day| day.to_string()).unwrap_or_default();
        let number = |n: Option<u32>| n.map(|n| n.to_string()).unwrap_or_default();
        let (codes, count) = columns(list);
        Self {
            caller: details.caller.clone(),
            contact: details.contact.clone(),
            part: list.part.clone(),
            work: codes,
            count,
            cylinders: number(list.cylinders),
            mains: number(list.mains),
            wanted_by: day(details.wanted_by),
            arrives_on: day(work.arrives_on),
            note: details.note.clone(),
            version: enquiry.version.to_string(),
            ..Self::default()
        }
    }

    /// Adds the everyday work that was chosen, and says so.
    fn add_template(&mut self, templates: &[WorkTemplate]) -> Option<String> {
        if self.add != "yes" {
            return None;
        }
        let typing = Typing {
            part: &mut self.part,
            work: &mut self.work,
            count: &mut self.count,
            cylinders: &mut self.cylinders,
            mains: &mut self.mains,
        };
        let chosen = typing.add(templates, &self.template)?;
        Some(
            format!("Added: {}. {}", chosen.name, chosen.ask)
                .trim()
                .to_owned(),
        )
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

    pub(in crate::web) fn read(
        &self,
        elements: &[Element],
        errors: &mut FormErrors,
    ) -> Option<QuickCall> {
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
pub(super) async fn open(who: SignedIn, form: CheckedForm<QuickForm>) -> Answer {
    let id = open_quick(&who.actor(), &QuickCall::default(), form.keyed()).await?;
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
    let view = View::read(&who, &site, *id).await?;
    let form = view.stored();
    Ok(view.page(&form, &FormErrors::default(), &html! {}).into())
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
    let mut form = form.into_inner();
    let added = form.add_template(&templates(&actor).await?);
    let mut errors = FormErrors::default();
    let version = form.version.parse().unwrap_or(0);
    let mut stale = false;
    if let Some(call) = form.read(&elements, &mut errors) {
        match save_quick(&actor, *id, version, &call).await {
            Ok(()) if live.0 => {}
            Ok(()) => {
                return Ok(match added {
                    Some(added) => Reply::see_other(format!("/enquiries/{id}/quick")).flash(added),
                    None => {
                        Reply::see_other(format!("/enquiries/{id}/quick#answer")).flash("Saved.")
                    }
                });
            }
            Err(AppError::Db(DbError::Stale(_))) => stale = true,
            Err(error) => return Err(error.into()),
        }
    }
    let view = View::read(&who, &site, *id).await?;
    if stale {
        let notice = stale_notice("this enquiry", &changed(&view.stored(), &form));
        let over = QuickForm {
            version: view.answered.enquiry.version.to_string(),
            ..form
        };
        let page = view.page(&over, &errors, &notice);
        return Ok(page.status(StatusCode::CONFLICT).into());
    }
    if !errors.is_empty() {
        return Ok(view.page(&form, &errors, &html! {}).invalid().into());
    }
    Ok(view.page(&view.stored(), &errors, &html! {}).into())
}

/// Both values of whatever differs, when someone else saved this call meanwhile.
fn changed(stored: &QuickForm, typed: &QuickForm) -> Vec<Changed> {
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
        Changed::if_differs("Work", &work(stored), &work(typed)),
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

/// All that the page of one call is drawn from.
struct View<'a> {
    who: &'a SignedIn,
    answered: AnsweredEnquiry,
    work: QuickWork,
    known: Known,
    templates: Vec<WorkTemplate>,
}

impl<'a> View<'a> {
    async fn read(who: &'a SignedIn, site: &Site, id: Uuid) -> Result<Self, WebError> {
        let mut answered = answer_enquiry(&who.actor(), &site.simulator, id, Utc::now()).await?;
        let missing = WebError::NotFound("quick work in this enquiry");
        let work = answered.work.take().ok_or(missing)?;
        Ok(Self {
            who,
            answered,
            work,
            known: Known::read(who, id).await?,
            templates: templates(&who.actor()).await?,
        })
    }

    fn stored(&self) -> QuickForm {
        QuickForm::of(&self.answered.enquiry, &self.work)
    }

    fn page(&self, form: &QuickForm, errors: &FormErrors, notice: &Markup) -> Page {
        let who = self.who;
        let enquiry = &self.answered.enquiry;
        let title = format!("Enquiry {}", enquiry.number);
        let body = html! {
            div.bar {
                h1 { (title) " " span.tag { (list::state_words(enquiry.state)) } }
                (actions::close_form(who, enquiry))
            }
            (notice)
            div.call.quick {
                section.card.asks aria-labelledby="asks-title" {
                    h2 #asks-title { "Quick quote" }
                    div #problems { (errors.summary()) }
                    form #call.grid method="post" action={ "/enquiries/" (enquiry.id) "/quick" } novalidate
                        data-live={ "version problems " (TIMED_BY) " " (Known::ID) " answer" } {
                        (csrf_field(who))
                        input #version type="hidden" name="version" value=(form.version);
                        (self.fields(form, errors))
                        div.actions {
                            button type="submit" data-key="w" data-key-label="Update price" { "Update price" }
                            (work_lines::more())
                            p.live-status role="status" {}
                        }
                        (work_lines::everyday(&self.templates))
                    }
                    (self.known.section(who, enquiry))
                    (actions::quotes_given(&self.answered.quotes))
                }
                section #answer aria-label="Price" {
                    @match &self.answered.answer {
                        Ok(read_out) => (answer_view::view(who, &read_out.answer, &answer_view::Acts {
                            quote: &|option| actions::quote_form(who, enquiry.id, read_out, option),
                            opinion: &|_| html! {},
                        })),
                        Err(why) => { div.card { h2 { "No price yet" } p { (words::unanswerable(why)) } } }
                    }
                }
            }
        };
        Page::new(who, title)
            .nav(Section::Enquiries)
            .script("lookup.js")
            .body(body)
    }

    fn fields(&self, form: &QuickForm, errors: &FormErrors) -> Markup {
        let untouched = self.answered.enquiry.version == 1 && form.caller.is_empty();
        html! {
            (Field::text("caller", "Customer", &form.caller).customers("contact").optional().autofocus(untouched).errors(errors))
            (form.lines().fields(&self.answered.catalogue.elements, errors))
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
}
