//! One call: what the caller says on the left, saved as it is said; the answer beside it, recomputed as they talk.

use super::{answer as answer_view, list};
use crate::enquiry::{Answer as EnquiryAnswer, OptionAnswer};
use crate::estimating::{Basis, Element, Standing};
use crate::store::answering::{self, Unanswerable};
use crate::store::enquiries::{self, Enquiry, EnquiryDetails, EnquiryState};
use crate::store::people::Role;
use crate::store::quotes::{self, NewQuote, Quote, QuoteState};
use crate::store::{StoreError, castings, remedy_rules, settings, standards};
use crate::web::error::{Changed, stale_notice};
use crate::web::forms::{Choice, Live};
use crate::web::startup::Site;
use crate::web::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{DateTime, Days, TimeDelta, Utc};
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::BTreeSet;
use uuid::Uuid;

/// A call as it is typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct CallForm {
    caller: String,
    contact: String,
    wanted: String,
    wanted_by: String,
    brings: String,
    brings_note: String,
    repairs: Vec<String>,
    also: Vec<String>,
    note: String,
    version: String,
}

impl CallForm {
    fn of(enquiry: &Enquiry) -> Self {
        let details = &enquiry.details;
        let key = |id: Option<Uuid>| id.map(|id| id.to_string()).unwrap_or_default();
        Self {
            caller: details.caller.clone(),
            contact: details.contact.clone(),
            wanted: key(details.wanted_variant_id),
            wanted_by: details
                .wanted_by
                .map(|day| day.to_string())
                .unwrap_or_default(),
            brings: key(details.brings_variant_id),
            brings_note: details.brings_note.clone(),
            repairs: details.repairs.clone(),
            also: details.also.clone(),
            note: details.note.clone(),
            version: enquiry.version.to_string(),
        }
    }

    fn read(&self, lists: &Lists, errors: &mut FormErrors) -> Option<EnquiryDetails> {
        let caller = errors.text("caller", &self.caller, 120);
        let contact = errors.text("contact", &self.contact, 120);
        let variant = |errors: &mut FormErrors, field: &str, raw: &str| {
            let read = errors.optional(raw, |errors| errors.row(field, raw))?;
            if read.is_some_and(|id| !lists.variants.iter().any(|v| v.id == id)) {
                errors.add(field, "This variant is not in the register any more");
                return None;
            }
            Some(read)
        };
        let wanted = variant(errors, "wanted", &self.wanted);
        let wanted_by = errors.optional(&self.wanted_by, |errors| {
            errors.date("wanted_by", &self.wanted_by)
        });
        let brings = variant(errors, "brings", &self.brings);
        let brings_note = errors.text("brings_note", &self.brings_note, 2000);
        let note = errors.text("note", &self.note, 4000);
        let mut known = |field: &str, codes: &[String]| {
            let strange = codes
                .iter()
                .find(|code| !lists.work.iter().any(|e| e.code == **code));
            if let Some(code) = strange {
                errors.add(
                    field,
                    format!("“{code}” is not among the shop's standard times any more"),
                );
            }
            strange.is_none().then(|| codes.to_vec())
        };
        let repairs = known("repairs", &self.repairs);
        let also = known("also", &self.also);
        Some(EnquiryDetails {
            caller: caller?,
            contact: contact?,
            wanted_variant_id: wanted?,
            wanted_by: wanted_by?,
            brings_variant_id: brings?,
            brings_note: brings_note?,
            repairs: repairs?,
            also: also?,
            note: note?,
        })
    }
}

/// What the form chooses from.
struct Lists {
    variants: Vec<castings::VariantName>,
    /// Work that can be asked for by name: neither standing nor belonging to a remedy.
    work: Vec<Element>,
}

async fn lists(tx: &mut crate::store::ShopTx) -> Result<Lists, StoreError> {
    let variants = castings::variant_names(tx).await?;
    let of_remedies: BTreeSet<String> = remedy_rules::list(tx)
        .await?
        .into_iter()
        .flat_map(|rule| rule.elements)
        .collect();
    let mut work = standards::list(tx).await?;
    work.retain(|e| e.standing == Standing::Asked && !of_remedies.contains(&e.code));
    Ok(Lists { variants, work })
}

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
    let lists = lists(&mut tx).await?;
    let quotes = quotes::list(&mut tx, QuoteState::ALL, Some(*id), None, 20).await?;
    let answer = answer_to(tx, &site, &enquiry, Utc::now()).await?;
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
    let lists = lists(&mut tx).await?;
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
            Err(StoreError::Stale(_)) => stale = true,
            Err(error) => return Err(error.into()),
        }
    }
    let enquiry = enquiries::get(&mut tx, *id).await?;
    let quotes = quotes::list(&mut tx, QuoteState::ALL, Some(*id), None, 20).await?;
    if !stale && errors.is_empty() {
        tx.commit().await?;
        tx = who.begin().await?;
    }
    let answer = answer_to(tx, &site, &enquiry, Utc::now()).await?;
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
}

/// How long an answer on a screen may be turned into a quote as it stands.
const ANSWER_KEEPS: TimeDelta = TimeDelta::hours(12);

pub(super) async fn quote(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<QuoteForm>,
) -> Answer {
    who.require(Role::Office)?;
    let now = Utc::now();
    let at = form
        .at
        .parse::<DateTime<Utc>>()
        .ok()
        .filter(|at| *at <= now && now - *at <= ANSWER_KEEPS)
        .unwrap_or(now);
    let mut tx = who.begin().await?;
    let enquiry = enquiries::get(&mut tx, *id).await?;
    let settings = settings::get(&mut tx).await?;
    let answer = match answer_to(tx, &site, &enquiry, at).await? {
        Ok(answer) => answer,
        Err(why) => return Err(WebError::Unprocessable(why.to_string())),
    };
    let Some((option, figures)) = answer
        .option(&form.option)
        .and_then(|option| Some((option, option.figures()?)))
    else {
        return Err(WebError::Unprocessable(
            "This option cannot be quoted any more: something it rests on has changed. Go back and look at the answer again."
                .to_owned(),
        ));
    };
    let today = now.with_timezone(&who.shop.time_zone).date_naive();
    let valid_until = today
        .checked_add_days(Days::new(u64::from(settings.quote_valid_days)))
        .unwrap_or(today);
    let snapshot = serde_json::to_value(&answer).map_err(|e| WebError::Internal(e.to_string()))?;
    let new = NewQuote {
        enquiry_id: *id,
        option_kind: option.kind.code().to_owned(),
        title: option.title.clone(),
        casting_id: option.casting.as_ref().map(|casting| casting.id),
        valid_until,
        promised_on: figures
            .ready
            .at_confidence
            .map(|t| t.with_timezone(&who.shop.time_zone).date_naive()),
        net: figures.build_up.net,
        tax: figures.build_up.tax,
        gross: figures.build_up.gross,
        lines: figures.build_up.lines.clone(),
        answer: snapshot,
        route: figures.route.clone(),
    };
    let mut tx = who.begin().await?;
    let (quote_id, number) = quotes::create(&mut tx, &new).await?;
    tx.commit().await?;
    Ok(Reply::see_other(format!("/quotes/{quote_id}"))
        .flash(format!("Quote {number} is saved as it stands.")))
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

type Answered = Result<EnquiryAnswer, Unanswerable>;

/// Loads what the shop knows and works the answer out away from the web workers.
async fn answer_to(
    mut tx: crate::store::ShopTx,
    site: &Site,
    enquiry: &Enquiry,
    at: DateTime<Utc>,
) -> Result<Answered, WebError> {
    let question = match answering::load(&mut tx, &enquiry.details, at).await? {
        Ok(question) => question,
        Err(why) => return Ok(Err(why)),
    };
    drop(tx);
    let seed = u64::try_from(enquiry.number).unwrap_or(0);
    let futures = u32::try_from(site.futures).unwrap_or(u32::MAX);
    let worked = web::block(move || question.answer(at, futures, seed))
        .await
        .map_err(|error| WebError::Internal(error.to_string()))?;
    Ok(worked.map_err(|error| Unanswerable::Missing(error.to_string())))
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
                            " before tax, " (crate::web::quotes::state_words(quote.state))
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
