//! What is said of the records in the description of the interface. The fields of a kind depend on the shop, so they are told
//! by the address of a new one.

use super::{RecordListed, RecordShown, RecordStart, adds, deletes, fresh};
use crate::web::screens;
use crate::web::ui::record::{Each, Record};
use utoipa::OpenApi;
use utoipa::openapi::path::{
    HttpMethod, Operation, OperationBuilder, Parameter, ParameterBuilder, ParameterIn,
};
use utoipa::openapi::request_body::{RequestBody, RequestBodyBuilder};
use utoipa::openapi::schema::{AdditionalProperties, KnownFormat, SchemaFormat, SchemaType, Type};
use utoipa::openapi::{Content, ObjectBuilder, Paths, Ref, Required, ResponseBuilder};

#[derive(OpenApi)]
#[openapi(components(schemas(RecordShown, RecordListed, RecordStart)))]
struct Doc;

/// The addresses of every kind.
pub(in crate::web::api) fn describe() -> utoipa::openapi::OpenApi {
    let mut document = Doc::openapi();
    screens::records(&mut Describe(&mut document.paths));
    document
}

struct Describe<'a>(&'a mut Paths);

impl Each for Describe<'_> {
    fn record<R: Record>(&mut self) {
        let api = R::API;
        let name = api.name.replace('_', " ");
        let many = api.all.rsplit('/').next().unwrap_or_default();
        let plural = many.replace('-', " ");
        let mut put = |path: &str, method, operation: Operation| {
            self.0.add_path_operation(path, vec![method], operation);
        };
        let id = |verb: &str| format!("{verb}_{}", api.name);
        let tag = R::NAV.label();
        if api.lists {
            let id = format!("list_{}", many.replace('-', "_"));
            let of = begin(tag, &id, format!("The {plural}."))
                .parameters(Some(keys(api.all)))
                .parameter(number("limit"))
                .parameter(number("offset"))
                .response(
                    "200",
                    answer("The records, and how many there are in all", "RecordListed"),
                );
            put(api.all, HttpMethod::Get, of.build());
        }
        if adds::<R>() {
            let what = format!("What a new {name} starts with, and what it takes.");
            let of = begin(tag, &id("begin"), what)
                .parameters(Some(keys(api.all)))
                .response(
                    "200",
                    answer("Its values, and a JSON Schema of them", "RecordStart"),
                );
            put(&fresh::<R>(), HttpMethod::Get, of.build());
            let said = "The record; its address in Location, its version in ETag";
            let of = begin(tag, &id("add"), format!("Adds the {name}."))
                .parameters(Some(keys(api.all)))
                .parameter(header(
                    "Idempotency-Key",
                    &[Type::String, Type::Null],
                    Required::False,
                ))
                .request_body(Some(values()))
                .response("201", answer(said, "RecordShown"));
            put(api.all, HttpMethod::Post, of.build());
        }
        let seen = || header("If-Match", &[Type::String], Required::True);
        let of = begin(tag, &id("read"), format!("Reads the {name}."))
            .parameters(Some(keys(api.one)))
            .response(
                "200",
                answer("The record; its version in ETag", "RecordShown"),
            );
        put(api.one, HttpMethod::Get, of.build());
        let of = begin(tag, &id("change"), format!("Changes the {name}."))
            .parameters(Some(keys(api.one)))
            .parameter(seen())
            .request_body(Some(values()))
            .response("200", answer("The record as it is now", "RecordShown"));
        put(api.one, HttpMethod::Patch, of.build());
        if deletes::<R>() {
            let of = begin(tag, &id("delete"), format!("Deletes the {name}."))
                .parameters(Some(keys(api.one)))
                .parameter(seen())
                .response("204", said("It is deleted"))
                .response("409", said("Something else needs it"));
            put(api.one, HttpMethod::Delete, of.build());
        }
    }
}

fn begin(tag: &str, id: &str, summary: String) -> OperationBuilder {
    OperationBuilder::new()
        .tag(tag)
        .operation_id(Some(id))
        .summary(Some(summary))
}

/// The parts of a path that are filled in.
fn keys(path: &str) -> Vec<Parameter> {
    let named = path
        .split('/')
        .filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'));
    let parameter = |name: &str| {
        let schema = ObjectBuilder::new().schema_type(Type::String);
        let (schema, words) = match name {
            "id" | "parent" => (
                schema.format(Some(SchemaFormat::KnownFormat(KnownFormat::Uuid))),
                "A key, as `address` has it",
            ),
            _ => (schema, "The value of this field"),
        };
        ParameterBuilder::new()
            .name(name)
            .parameter_in(ParameterIn::Path)
            .required(Required::True)
            .description(Some(words))
            .schema(Some(schema))
            .build()
    };
    named.map(parameter).collect()
}

/// A number that every list takes; what it is, is said with all that take it.
fn number(name: &str) -> Parameter {
    let schema = ObjectBuilder::new()
        .schema_type(Type::Integer)
        .format(Some(SchemaFormat::KnownFormat(KnownFormat::Int32)));
    ParameterBuilder::new()
        .name(name)
        .parameter_in(ParameterIn::Query)
        .required(Required::False)
        .schema(Some(schema))
        .build()
}

fn header(name: &str, types: &[Type], required: Required) -> Parameter {
    let kind = match types {
        [one] => SchemaType::new(one.clone()),
        several => SchemaType::from_iter(several.iter().cloned()),
    };
    let schema = ObjectBuilder::new().schema_type(kind);
    ParameterBuilder::new()
        .name(name)
        .parameter_in(ParameterIn::Header)
        .required(required)
        .schema(Some(schema))
        .build()
}

/// Values by field, as a merge patch.
fn values() -> RequestBody {
    let any = AdditionalProperties::FreeForm(true);
    let schema = ObjectBuilder::new()
        .schema_type(Type::Object)
        .additional_properties(Some(any))
        .description(Some(
            "Values by field; what is left out stays as it is, null empties (RFC 7396)",
        ));
    RequestBodyBuilder::new()
        .content("application/json", Content::new(Some(schema)))
        .required(Some(Required::True))
        .build()
}

fn said(words: &str) -> ResponseBuilder {
    ResponseBuilder::new().description(words)
}

fn answer(words: &str, schema: &str) -> ResponseBuilder {
    said(words).content(
        "application/json",
        Content::new(Some(Ref::from_schema_name(schema))),
    )
}
