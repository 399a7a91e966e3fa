//! `/api/v1/plan/changes`: the week by hand. What would come of a change is asked first; it is made on the plan that was
//! seen, and the newest can be undone.

use super::body::Body;
use super::versions;
use crate::app::change_plan::{self, Applied, Preview, Proposal, Tried};
use crate::db::people::Role;
use crate::db::plan_changes::{self, AppliedChange};
use crate::planning::changes::{CannotChange, PlanChange};
use crate::planning::what_if::{Effect, PromiseMove};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, FormErrors, Reply, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Changes that are listed.
const LISTED: u16 = 50;

/// `/api/v1/plan/changes` and what is under it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/plan/preview").post(preview))
        .service(web::resource("/api/v1/plan/changes").get(list).post(apply))
        .service(web::resource("/api/v1/plan/changes/{id}").delete(undo));
}

#[derive(OpenApi)]
#[openapi(paths(preview, list, apply, undo))]
pub(super) struct Doc;

/// What comes of a change.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct WhatComes {
    /// All of it in one sentence.
    sentence: String,
    /// Jobs that are ready at another time: those that become late first, then those that lose most.
    promises: Vec<PromiseMoved>,
    /// Operations that are put elsewhere, or begin at another time by a good deal.
    moved: Vec<Uuid>,
}

/// A job that is ready at another time.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PromiseMoved {
    job: Uuid,
    /// The moment promised, or the day the shop works to.
    due: Option<DateTime<Utc>>,
    /// Ready in the plan as it is.
    before: Option<DateTime<Utc>>,
    /// Ready with the change.
    after: Option<DateTime<Utc>>,
    /// The chance that its day holds in the plan as it is, from 0 to 1.
    chance_before: Option<f64>,
    /// The same with the change.
    chance_after: Option<f64>,
}

impl From<&PromiseMove> for PromiseMoved {
    fn from(one: &PromiseMove) -> Self {
        Self {
            job: one.job,
            due: one.due,
            before: one.before,
            after: one.after,
            chance_before: one.chance.0,
            chance_after: one.chance.1,
        }
    }
}

/// A change of the plan by somebody.
#[derive(Debug, Serialize, ToSchema)]
struct ChangeShown {
    id: Uuid,
    /// What was done.
    words: String,
    /// What was said to come of it.
    sentence: String,
    taken_at: DateTime<Utc>,
    /// By whom; none for the program itself.
    by: Option<String>,
    /// Whether it undid another.
    is_undo: bool,
    /// Whether it was undone itself.
    undone: bool,
}

impl From<AppliedChange> for ChangeShown {
    fn from(change: AppliedChange) -> Self {
        Self {
            id: change.id,
            words: change.words,
            sentence: change.sentence,
            taken_at: change.taken_at,
            by: change.by,
            is_undo: change.is_undo,
            undone: change.undone,
        }
    }
}

/// What was done to the plan, in words.
#[derive(Debug, Serialize, ToSchema)]
struct ChangeMade {
    words: String,
}

/// A change as it is kept: its kind under `change` with what it says beside it, for example
/// `{"change": "place", "operation": "…", "machine": "…", "person": null, "starts": "2027-01-11T08:00:00Z"}`.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
struct AskedChange {
    /// `place`, `unpin`, `order`, `no_order`, `rank`, `hand_over`, `hold`, `release`, `away`, `back`, `overtime`,
    /// `no_overtime`, `train` or `untrain`; `second_machine` can only be previewed.
    change: String,
    #[serde(flatten)]
    says: BTreeMap<String, Value>,
}

impl AskedChange {
    fn read(&self) -> Result<PlanChange, FormErrors> {
        let mut errors = FormErrors::default();
        let text = serde_json::to_string(self).unwrap_or_default();
        errors
            .parsed("change", &text, PlanChange::parse)
            .ok_or(errors)
    }
}

impl WhatComes {
    pub(super) fn of(effect: &Effect) -> Self {
        Self {
            sentence: effect.sentence.clone(),
            promises: effect.promises.iter().map(PromiseMoved::from).collect(),
            moved: effect.moved.clone(),
        }
    }
}

fn what_comes(preview: &Preview) -> Reply {
    let shown = WhatComes::of(&preview.what.effect);
    versions::tagged(preview.plan.age.seen(), shown)
}

fn cannot(why: CannotChange) -> WebError {
    WebError::Invalid(vec![(why.field.to_owned(), why.why)])
}

/// What would come of a change. Nothing is kept.
#[utoipa::path(post, path = "/api/v1/plan/preview", operation_id = "preview_plan_change", tag = "Plan",
    request_body = AskedChange,
    responses((status = 200, description = "What would come of it; the version of the plan in ETag", body = WhatComes)))]
async fn preview(who: SignedIn, site: web::Data<Site>, asked: Body<AskedChange>) -> Answer {
    who.require(Role::Office)?;
    let change = asked.read()?;
    let plan = site.plans.now(&who.actor(), Utc::now()).await?;
    match change_plan::preview(&who.actor(), plan, change).await? {
        Tried::Works(preview) => Ok(what_comes(&preview)),
        Tried::Cannot(no) => Err(cannot(no.why)),
    }
}

/// The latest changes, undone ones and undoings too.
#[utoipa::path(get, path = "/api/v1/plan/changes", operation_id = "list_plan_changes", tag = "Plan",
    responses((status = 200, description = "The changes, the latest first", body = Vec<ChangeShown>)))]
async fn list(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let recent = plan_changes::recent(&mut who.begin().await?, LISTED).await?;
    let shown: Vec<ChangeShown> = recent.into_iter().map(ChangeShown::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

async fn made(who: &SignedIn, req: &HttpRequest, proposal: Proposal) -> Answer {
    let seen = versions::seen(req)?;
    match change_plan::apply(&who.actor(), proposal, seen, Utc::now()).await? {
        Applied::Done(words) => Ok(HttpResponse::Ok().json(ChangeMade { words }).into()),
        Applied::Overtaken(_) => Err(WebError::VersionPassed),
        Applied::Cannot(_, why, _) => Err(cannot(why)),
    }
}

/// Makes a change on the plan that was seen.
#[utoipa::path(post, path = "/api/v1/plan/changes", operation_id = "change_plan", tag = "Plan",
    params(("If-Match" = String, Header)),
    request_body = AskedChange,
    responses((status = 200, description = "It is made", body = ChangeMade),
              (status = 412, description = "The plan has changed meanwhile")))]
async fn apply(req: HttpRequest, who: SignedIn, asked: Body<AskedChange>) -> Answer {
    who.require(Role::Office)?;
    let change = asked.read()?;
    made(&who, &req, Proposal::Change(change)).await
}

/// Undoes the newest change.
#[utoipa::path(delete, path = "/api/v1/plan/changes/{id}", operation_id = "undo_plan_change", tag = "Plan",
    params(("id" = Uuid, Path, description = "The change"),
           ("If-Match" = String, Header)),
    responses((status = 200, description = "It is undone", body = ChangeMade),
              (status = 412, description = "The plan has changed meanwhile")))]
async fn undo(req: HttpRequest, who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    made(&who, &req, Proposal::Undo(*id)).await
}
