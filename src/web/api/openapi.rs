//! `/api/v1/openapi.json`: the interface as OpenAPI 3.1, made from the attributes beside the handlers.

use super::{idempotency, paging, versions};
use crate::web::ui::SignedIn;
use actix_web::{HttpResponse, web};
use serde::Serialize;
use utoipa::openapi::path::{Operation, Parameter, PathItem};
use utoipa::openapi::security::{ApiKey, ApiKeyValue, Http, HttpAuthScheme, SecurityScheme};
use utoipa::openapi::{
    Content, Ref, RefOr, Required, Response, ResponseBuilder, Schema, SecurityRequirement,
};
use utoipa::{Modify, OpenApi, ToSchema};

/// `/api/v1/openapi.json`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/openapi.json").get(show));
}

/// What goes wrong, as a problem document (RFC 9457). It is described here and written by the error page.
#[derive(Debug, Serialize, ToSchema)]
struct Problem {
    /// In a few words.
    title: String,
    /// The HTTP status.
    status: u16,
    /// In a sentence, with what to do.
    detail: String,
    /// What is wrong with each field.
    errors: Option<Vec<FieldProblem>>,
    /// The number of the request in the log.
    instance: Option<String>,
}

/// What is wrong with a field.
#[derive(Debug, Serialize, ToSchema)]
struct FieldProblem {
    /// Its name, as it was sent.
    field: String,
    /// What to enter.
    detail: String,
}

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Borewright",
        description = "Job costing, quoting and scheduling for an engine-machining shop. Money and lengths are text, so that \
                       no digit is lost on the way; lengths are in mm unless a field says otherwise. Programs come in with \
                       a token that the owner makes under Shop, API tokens."
    ),
    components(schemas(Problem, FieldProblem)),
    paths(show)
)]
struct Document;

/// What holds for every operation, of whichever module.
struct Everywhere;

impl Modify for Everywhere {
    fn modify(&self, document: &mut utoipa::openapi::OpenApi) {
        let bearer = Http::new(HttpAuthScheme::Bearer);
        let cookie = ApiKey::Cookie(ApiKeyValue::new("__Host-borewright"));
        let components = document.components.get_or_insert_default();
        components.add_security_scheme("token", SecurityScheme::Http(bearer));
        components.add_security_scheme("session", SecurityScheme::ApiKey(cookie));
        let none: [&str; 0] = [];
        document.security = Some(vec![
            SecurityRequirement::new("token", none),
            SecurityRequirement::new("session", none),
        ]);
        for item in document.paths.paths.values_mut() {
            for operation in operations(item) {
                describe_refusals(operation);
                for parameter in operation.parameters.iter_mut().flatten() {
                    if let RefOr::T(parameter) = parameter {
                        describe_shared(parameter);
                    }
                }
            }
        }
    }
}

/// Says how every operation refuses, and how one does that changes what it must have seen.
fn describe_refusals(operation: &mut Operation) {
    let changes_what_was_seen = operation.parameters.iter().flatten().any(|parameter| {
        matches!(parameter, RefOr::T(parameter)
            if parameter.name == "If-Match" && parameter.required == Required::True)
    });
    let responses = &mut operation.responses.responses;
    let problem = Ref::from_schema_name("Problem");
    let content = Content::new(Some(problem));
    let wrong = ResponseBuilder::new()
        .description("What went wrong")
        .content("application/problem+json", content)
        .build();
    responses.insert("default".to_owned(), RefOr::T(wrong));
    if changes_what_was_seen {
        let passed = Response::new("Somebody else changed it meanwhile");
        let missing = Response::new("If-Match is missing");
        for (status, refusal) in [("412", passed), ("428", missing)] {
            let entry = responses.entry(status.to_owned());
            entry.or_insert(RefOr::T(refusal));
        }
    }
}

/// Says what a parameter is that several operations take.
fn describe_shared(parameter: &mut Parameter) {
    let (description, of_text, of_number) = match parameter.name.as_str() {
        "Idempotency-Key" => (
            "A key of your own; sent again, nothing is made twice",
            Some((idempotency::PATTERN, Some(idempotency::LONGEST))),
            None,
        ),
        "If-Match" => (
            "The ETag of the version you saw",
            Some((versions::PATTERN, None)),
            None,
        ),
        "limit" => ("100 when left out", None, Some(paging::LIMITS)),
        "offset" => ("Rows to skip", None, Some(paging::OFFSETS)),
        _ => return,
    };
    parameter.description = Some(description.to_owned());
    let Some(RefOr::T(Schema::Object(schema))) = &mut parameter.schema else {
        return;
    };
    if let Some((pattern, longest)) = of_text {
        schema.pattern = Some(pattern.to_owned());
        schema.min_length = longest.map(|_| 1);
        schema.max_length = longest;
    }
    if let Some(bounds) = of_number {
        schema.minimum = Some((*bounds.start()).into());
        schema.maximum = Some((*bounds.end()).into());
    }
}

/// What each module describes.
fn parts() -> Vec<utoipa::openapi::OpenApi> {
    vec![
        super::attention::Doc::openapi(),
        super::batches::Doc::openapi(),
        super::bookings::Doc::openapi(),
        super::casting_records::Doc::openapi(),
        super::castings::Doc::openapi(),
        super::customers::Doc::openapi(),
        super::enquiries::Doc::openapi(),
        super::enquiry_list::Doc::openapi(),
        super::history::Doc::openapi(),
        super::holds::Doc::openapi(),
        super::hours::Doc::openapi(),
        super::imports::Doc::openapi(),
        super::job_figures::Doc::openapi(),
        super::job_steps::Doc::openapi(),
        super::jobs::Doc::openapi(),
        super::learning::Doc::openapi(),
        super::learning_takes::Doc::openapi(),
        super::market::Doc::openapi(),
        super::measured::Doc::openapi(),
        super::needs::Doc::openapi(),
        super::orders_of_work::Doc::openapi(),
        super::papers::Doc::openapi(),
        super::photos::Doc::openapi(),
        super::plan::Doc::openapi(),
        super::plan_changes::Doc::openapi(),
        super::plan_help::Doc::openapi(),
        super::quotes::Doc::openapi(),
        super::records::describe(),
        super::review::Doc::openapi(),
        super::review_month::Doc::openapi(),
        super::routes_by_hand::Doc::openapi(),
        super::search::Doc::openapi(),
        super::shelf::Doc::openapi(),
        super::sightings::Doc::openapi(),
        super::stock::Doc::openapi(),
        super::stock_moves::Doc::openapi(),
    ]
}

/// The document of all modules.
fn document() -> utoipa::openapi::OpenApi {
    let mut document = Document::openapi();
    for part in parts() {
        document.merge(part);
    }
    Everywhere.modify(&mut document);
    document
}

fn operations(item: &mut PathItem) -> impl Iterator<Item = &mut Operation> {
    [
        &mut item.get,
        &mut item.post,
        &mut item.put,
        &mut item.patch,
        &mut item.delete,
    ]
    .into_iter()
    .flatten()
}

/// This document.
#[utoipa::path(get, path = "/api/v1/openapi.json", operation_id = "describe", tag = "About",
    responses((status = 200, description = "OpenAPI 3.1", body = serde_json::Value)))]
async fn show(_: SignedIn) -> HttpResponse {
    HttpResponse::Ok().json(document())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    /// What is merged keeps the first of a name, so a second one would be described as something else.
    #[test]
    fn no_two_modules_describe_something_else_under_one_name() {
        let mut known = BTreeMap::new();
        for part in parts() {
            for (name, schema) in part.components.into_iter().flat_map(|all| all.schemas) {
                let text = serde_json::to_string(&schema).unwrap();
                let before = known.insert(name.clone(), text.clone());
                assert!(before.is_none_or(|before| before == text), "{name}");
            }
        }
        assert!(known.len() > 60, "{}", known.len());
    }
}
