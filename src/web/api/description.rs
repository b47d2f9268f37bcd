//! The description of the interface: OpenAPI 3.1, made of the routes.

use crate::web::refusing::{PROBLEM, Problem};
use utoipa::openapi::path::Operation;
use utoipa::openapi::{
    ContentBuilder, InfoBuilder, OpenApi, OpenApiBuilder, RefOr, Required, ResponseBuilder, Schema,
};
use utoipa::{PartialSchema, ToSchema};

/// Why any request may be refused.
const ALWAYS: [(&str, &str); 8] = [
    ("400", "The question makes no sense as it is put."),
    ("401", "The password is missing or wrong."),
    (
        "403",
        "It was asked by a page of somebody else, or nobody is signed in any more.",
    ),
    ("404", "Nothing has this name."),
    ("421", "Nothing is answered under this name of a host."),
    ("429", "It was asked too often in a short time."),
    ("500", "The program cannot, through no fault of who asks."),
    ("503", "Too much is being worked out; later it is not."),
];
/// Why what changes something may be refused besides.
const WHEN_SENT: [(&str, &str); 3] = [
    ("409", "What was to be changed has changed meanwhile."),
    ("413", "What was sent is too long."),
    ("415", "What was sent is not called JSON."),
];

/// What stands above the routes.
pub fn head() -> OpenApi {
    let about = "What the pages of `rigtide watch` show and can do. Money is an integer of the \
                 currency's minor unit, instants are RFC 3339, scores are points with the brief's \
                 reference at 100. Keys are only ever added; take no offence at ones you do not know.";
    let info = InfoBuilder::new()
        .title("rigtide")
        .description(Some(about))
        .version("1")
        .build();
    OpenApiBuilder::new().info(info).build()
}

/// Adds how each route refuses, which is the same for all.
pub fn finish(described: &mut OpenApi) {
    let components = described.components.get_or_insert_default();
    let problem = (Problem::name().into_owned(), Problem::schema());
    components.schemas.insert(problem.0, problem.1);
    for item in described.paths.paths.values_mut() {
        for operation in [&mut item.get, &mut item.post].into_iter().flatten() {
            refuse(operation);
        }
    }
}

fn refuse(operation: &mut Operation) {
    let is_sent = operation.request_body.is_some();
    if let Some(RefOr::T(body)) = &mut operation.request_body {
        body.required = Some(Required::True);
    }
    let more = is_sent.then_some(WHEN_SENT).into_iter().flatten();
    for (status, why) in ALWAYS.into_iter().chain(more) {
        let schema = RefOr::<Schema>::Ref(utoipa::openapi::Ref::from_schema_name(Problem::name()));
        let content = ContentBuilder::new().schema(Some(schema)).build();
        let response = ResponseBuilder::new()
            .description(why)
            .content(PROBLEM, content)
            .build();
        let responses = &mut operation.responses.responses;
        responses.insert(status.to_owned(), RefOr::T(response));
    }
}
