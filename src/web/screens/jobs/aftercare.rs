//! After a job is out: its fitting sheet, and calls for help and complaints with cause, cost and who paid.

use super::print;
use crate::app::aftercare::fitting;
use crate::app::job_overview::JobOverview;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, aftercare as db, jobs as stored, standards};
use crate::documents::fitting_sheet;
use crate::estimating::Element;
use crate::jobs::{Aftercare, CallKind, Cause, PaidBy};
use crate::units::{Code, Money};
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::show::day;
use crate::web::ui::{Answer, Choice, Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/jobs/{id}/fitting-sheet/{paper}", web::get().to(sheet));
    record::routes::<Aftercare>(cfg);
}

fn kind_words(kind: CallKind) -> &'static str {
    match kind {
        CallKind::Help => "Call for help",
        CallKind::Complaint => "Complaint",
    }
}

fn cause_words(cause: Cause) -> &'static str {
    match cause {
        Cause::NotKnown => "not known yet",
        Cause::OurWork => "our work",
        Cause::BoughtPart => "a bought part",
        Cause::Fitting => "how it was fitted",
        Cause::Use => "how it was used",
        Cause::Elsewhere => "another part of the engine",
    }
}

fn paid_words(paid: PaidBy) -> &'static str {
    match paid {
        PaidBy::Nobody => "nobody: no cost",
        PaidBy::Shop => "the shop",
        PaidBy::Customer => "the customer",
        PaidBy::Supplier => "the supplier",
    }
}

pub(in crate::web) async fn sheet(who: SignedIn, at: web::Path<(Uuid, String)>) -> Answer {
    let (id, paper) = at.into_inner();
    let paper = print::paper(&paper)?;
    let (job, texts) = fitting(&who.actor(), id, who.shop.name.clone()).await?;
    let texts: Vec<_> = texts.iter().collect();
    let pdf = fitting_sheet(&job, &texts, paper)
        .map_err(|error| WebError::Unprocessable(format!("No sheet can be printed: {error}.")))?;
    Ok(print::pdf(&format!("fitting-sheet-{}", job.number), pdf))
}

/// What goes out with a job and what came back, on its page.
pub(super) fn section(who: &SignedIn, all: &JobOverview) -> Markup {
    let here = format!("/jobs/{}", all.job.id);
    let office = who.may(Role::Office);
    html! {
        section.card aria-labelledby="aftercare" {
            h2 #aftercare { "Fitting and aftercare" }
            p { "The fitting sheet goes out with the job, or with a kit: what to nip up, what must not enter, what to look at after the first run." }
            @if office {
                @if all.aftercare.is_empty() { p.muted { "No calls or complaints." } } @else {
                    ul.plain { @for call in &all.aftercare { (line(who, call)) } }
                }
            }
            div.actions {
                a.button.quiet type="application/pdf" href={ (here) "/fitting-sheet/a4" } { "Fitting sheet, A4" }
                a.button.quiet type="application/pdf" href={ (here) "/fitting-sheet/a5" } { "A5" span.visually-hidden { " fitting sheet" } }
                @if office { a.button.quiet href={ (here) "/aftercare/new" } { "Note a call or complaint" } }
            }
        }
    }
}

fn line(who: &SignedIn, call: &Aftercare) -> Markup {
    html! {
        li {
            a href={ "/jobs/" (call.job_id) "/aftercare/" (call.id) } { (kind_words(call.kind)) ", " (day(call.came_on, who.today())) }
            " " @if call.settled_on.is_none() { span.tag { "open" } } @else { span.tag { "settled" } }
            br; (call.said)
            br; span.muted {
                "Cause: " (cause_words(call.cause))
                @if !call.cost.amount().is_zero() { ". Cost " (call.cost) ", paid by " (paid_words(call.paid_by)) }
                @if !call.done.is_empty() { ". " (call.done) }
            }
        }
    }
}

impl Record for Aftercare {
    type Around = (i64, Vec<Element>);
    const NAV: Section = Section::Jobs;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const TABLE: &'static str = "aftercare";
    const ADDED_TO_LIST: bool = false;
    const PATHS: Paths = Paths {
        new: "/jobs/{parent}/aftercare/new",
        add: "/jobs/{parent}/aftercare",
        edit: "/jobs/{parent}/aftercare/{id}",
        delete: "",
        copy: "",
    };
    const API: Api = Api::of(
        "aftercare_call",
        "/api/v1/jobs/{parent}/aftercare",
        "/api/v1/jobs/{parent}/aftercare/{id}",
    );

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(db::get(tx, at.parent, at.id).await?)
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Vec<Self>, WebError> {
        Ok(db::of_job(tx, at.parent).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        at: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        let number = stored::get(tx, at.parent).await?.number;
        let done: Vec<String> = stored::operations(tx, at.parent)
            .await?
            .into_iter()
            .flat_map(|operation| operation.planned.steps)
            .map(|step| step.code)
            .collect();
        let mut elements = standards::list(tx).await?;
        elements.retain(|element| done.contains(&element.code));
        Ok((number, elements))
    }

    fn blank(_: &Self::Around, who: &SignedIn, at: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            job_id: at.parent,
            kind: CallKind::Help,
            came_on: who.today(),
            said: String::new(),
            code: String::new(),
            cause: Cause::NotKnown,
            done: String::new(),
            paid_by: PaidBy::Nobody,
            cost: Money::zero(who.shop.currency),
            settled_on: None,
            version: 1,
        }
    }

    fn fields((_, elements): &Self::Around, who: &SignedIn, _: bool) -> Fields<Self> {
        let kinds = CallKind::ALL
            .iter()
            .map(|k| Choice::new(k.code(), kind_words(*k)));
        let causes = Cause::ALL
            .iter()
            .map(|c| Choice::new(c.code(), cause_words(*c)));
        let payers = PaidBy::ALL
            .iter()
            .map(|p| Choice::new(p.code(), paid_words(*p)));
        let work = elements.iter().map(|e| Choice::new(&e.code, &e.name));
        let mut f = Fields::<Self>::new(who);
        f.code::<CallKind, _>(
            Field::radios("kind", "What it is", "", kinds.collect()),
            at!(kind),
        );
        f.date("came_on", "Day of the call", at!(came_on));
        let said = Field::textarea("said", "What the customer says", "", 3);
        f.value(said, at!(said), String::clone, |errors, name, raw| {
            errors.required_text(name, raw, 1000)
        })
        .focus();
        f.value(
            Field::select("code", "Which work it is about", "", work.collect()).optional(),
            at!(code),
            String::clone,
            |errors, name, raw| errors.text(name, raw, 60),
        )
        .hint("Of the work on this job");
        f.code::<Cause, _>(
            Field::select("cause", "Cause", "", causes.collect()),
            at!(cause),
        );
        f.area("done", "What was done", 3, 1000, at!(done));
        f.money("cost", "Cost of putting it right", at!(cost))
            .hint("Time and parts, whoever paid; 0 for none");
        f.code::<PaidBy, _>(
            Field::select("paid_by", "Paid by", "", payers.collect()),
            at!(paid_by),
        );
        f.date("settled_on", "Settled on", at!(settled_on))
            .hint("Leave empty while it is open");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    fn check(&mut self, _: &Self::Around, _: &SignedIn, errors: &mut FormErrors) {
        if errors.is_empty() {
            for fault in self.faults() {
                errors.add(fault.field(), fault);
            }
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::insert(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::update(tx, self).await
    }

    fn words(&self, (number, _): &Self::Around, new: bool) -> Words {
        let title = match new {
            true => "Note a call or complaint",
            false => kind_words(self.kind),
        };
        let to = format!("/jobs/{}", self.job_id);
        Words {
            title: title.to_owned(),
            save: "Save",
            ..Words::of(new, "", "This call", &to).back(&format!("Job {number}"))
        }
    }

    fn done(&self, _: Done, _: &Sheet<Self>) -> (String, String) {
        (
            format!("/jobs/{}#aftercare", self.job_id),
            "Saved.".to_owned(),
        )
    }
}
