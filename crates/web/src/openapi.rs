//! The OpenAPI 3.1 description: what is common to all operations. Each operation's own words stand beside its handler.

use std::collections::BTreeMap;

use axum::http::Method;
use utoipa::openapi::security::{ApiKey, ApiKeyValue, Http, HttpAuthScheme, SecurityScheme};
use utoipa::openapi::{Content, OpenApi as Document, Ref, RefOr, Response, ResponseBuilder};
use utoipa::{IntoResponses, Modify, OpenApi};
use utoipa_axum::router::{OpenApiRouter, UtoipaMethodRouter};
use utoipa_axum::routes;

use crate::caller::COOKIE_NAME;
use crate::doors::{Door, Doors, Visit, door};
use crate::endpoints::{
    backups, demo, desired, enrolment, fixture, fixtures, health, history, kinds, overrides, reported, showing, sun,
    tokens, undo,
};
use crate::refusal::PROBLEM_JSON;

#[derive(OpenApi)]
#[openapi(
    info(
        title = "sconced",
        description = "Remembers, for every light fixture that you have built, what it should be showing; hands it back the moment the fixture's controller boots; and knows what it really shows.\n\nAn answered edit is durable. Errors are problem details (RFC 9457) with the place of the fault as a JSON Pointer; `type` is an address here that says more. Times are RFC 3339. Every GET can be asked as HEAD.\n\nLight that this daemon controls is decoration and comfort, never emergency lighting.",
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0"),
    ),
    tags(
        (name = "fixtures", description = "Fixtures: their records, how they stand, their enrolment"),
        (name = "documents", description = "What is desired, what is reported, and what lies between"),
        (name = "light", description = "What shows, why, and what comes"),
        (name = "history", description = "What changed, when, by whom"),
        (name = "kinds", description = "Kinds of fixtures"),
        (name = "backups", description = "Copies of the database"),
        (name = "tokens", description = "Who may do what"),
        (name = "health", description = "Whether the daemon is up"),
        (name = "demo", description = "What the demo alone has"),
    ),
    components(schemas(api::Problem, api::Fault, api::StripDocument)),
    security(("bearer" = []), ("cookie" = [])),
    modifiers(&Schemes),
)]
struct Base;

struct Schemes;

impl Modify for Schemes {
    fn modify(&self, document: &mut Document) {
        let components = document.components.get_or_insert_default();
        let mut bearer = Http::new(HttpAuthScheme::Bearer);
        bearer.description = Some(
            "A token with scope `read`, `edit` or `admin`. The first start of the daemon prints an admin token once."
                .to_owned(),
        );
        components.add_security_scheme("bearer", SecurityScheme::Http(bearer));
        let cookie = ApiKeyValue::with_description(COOKIE_NAME, "The page's cookie: the token that it logged in with.");
        components.add_security_scheme("cookie", SecurityScheme::ApiKey(ApiKey::Cookie(cookie)));
    }
}

/// Where operations are collected: their doors, and their description.
struct Collected {
    doors: Doors,
    description: OpenApiRouter<Visit>,
}

impl Collected {
    /// Takes in one operation, which its description names the address and the method of.
    fn take(mut self, operation: UtoipaMethodRouter<Visit>, open: impl Fn() -> Door) -> Self {
        for (address, item) in &operation.1.paths {
            let methods = [
                (&item.get, Method::GET),
                (&item.post, Method::POST),
                (&item.put, Method::PUT),
                (&item.patch, Method::PATCH),
                (&item.delete, Method::DELETE),
            ];
            for (_, method) in methods.into_iter().filter(|(described, _)| described.is_some()) {
                self.doors.put(method, address, open());
            }
        }
        Self { doors: self.doors, description: self.description.routes(operation) }
    }
}

macro_rules! collect {
    ($collected:expr; $($handler:path),+ $(,)?) => {
        $collected$(.take(routes!($handler), || door($handler)))+
    };
}

/// All operations: their doors, and the document that describes them.
pub(crate) fn described(power_switch: bool) -> (Doors, Document) {
    let none = Collected { doors: Doors::default(), description: OpenApiRouter::with_openapi(Base::openapi()) };
    let collected = collect!(
        none;
        fixtures::list,
        fixtures::create,
        fixture::get,
        fixture::edit,
        fixture::delete,
        enrolment::enrol,
        desired::get,
        desired::put,
        desired::patch,
        reported::get,
        reported::delta,
        undo::undo,
        showing::get,
        showing::agenda,
        sun::day,
        overrides::put,
        overrides::release,
        history::of_fixture,
        history::of_site,
        kinds::list,
        kinds::get,
        backups::list,
        backups::create,
        backups::download,
        tokens::list,
        tokens::create,
        tokens::delete,
        health::health,
        health::readiness,
    );
    let collected = if power_switch { collect!(collected; demo::cut) } else { collected };
    (collected.doors, collected.description.into_openapi())
}

/// The OpenAPI 3.1 description of everything that is served under `/v1`, and of health; with `demo` also of the demo's
/// power switch. The binary sets its own version.
#[must_use]
pub fn openapi(demo: bool) -> Document {
    described(demo).1
}

/// What the answers with an error have in common, by status.
const PROBLEMS: &[(&str, &str)] = &[
    ("400", "The body, the address, a query parameter, a header or a cursor is malformed"),
    ("401", "No token, or one that is not of this daemon"),
    ("403", "The token's scope is too small, or the request comes from another site's page"),
    ("404", "There is no such fixture, or nothing of that name, revision or time"),
    ("406", "The Accept header names no form of the answer"),
    ("408", "The request was not finished in time"),
    (
        "409",
        "It conflicts with what there is: a name that is taken or the daemon's own, a test that did not hold, nothing to undo, others' edits again and again, no looks, a secret that was shown",
    ),
    ("410", "The history of that time is no longer kept"),
    ("412", "The document has moved on: the entity tag is not the current one"),
    ("413", "The body has more than 65,536 bytes"),
    ("415", "The media type is not taken here; Accept or Accept-Patch names those that are"),
    ("422", "A bound or a rule is broken; nothing has changed"),
    ("500", "The daemon has a defect, or something stored is damaged"),
    ("502", "The change stands, but the external broker's files could not be written"),
    (
        "503",
        "The daemon is stopping, or the database or the link to the broker is down; Retry-After says when to try again",
    ),
    ("507", "The disk is full; nothing was written"),
];

fn problems(statuses: &[&str]) -> BTreeMap<String, RefOr<Response>> {
    PROBLEMS
        .iter()
        .filter(|(status, _)| statuses.contains(status))
        .map(|(status, description)| {
            let content = Content::new(Some(Ref::from_schema_name("Problem")));
            let response = ResponseBuilder::new().description(*description).content(PROBLEM_JSON, content).build();
            ((*status).to_owned(), RefOr::T(response))
        })
        .collect()
}

macro_rules! problem_sets {
    ($($(#[$doc:meta])* $name:ident = [$($status:literal),+];)+) => {
        $($(#[$doc])*
        pub(crate) struct $name;

        impl IntoResponses for $name {
            fn responses() -> BTreeMap<String, RefOr<Response>> {
                problems(&[$($status),+])
            }
        })+
    };
}

problem_sets! {
    /// Of reading a list.
    ReadProblems = ["400", "401", "403", "408", "500", "503"];
    /// Of reading or taking away one thing.
    ReadOneProblems = ["400", "401", "403", "404", "408", "500", "503"];
    /// Of reading a document, perhaps of the past.
    PastProblems = ["400", "401", "403", "404", "408", "410", "500", "503"];
    /// Of reading what shows.
    LookProblems = ["400", "401", "403", "404", "408", "409", "500", "503"];
    /// Of reading what comes.
    AgendaProblems = ["400", "401", "403", "404", "406", "408", "409", "500", "503"];
    /// Of reading the sun.
    SunProblems = ["400", "401", "403", "404", "408", "422", "500", "503"];
    /// Of reading a fixture's history.
    HistoryProblems = ["400", "401", "403", "404", "406", "408", "500", "503"];
    /// Of reading the history of the house.
    SiteHistoryProblems = ["400", "401", "403", "406", "408", "500", "503"];
    /// Of editing.
    EditProblems = ["400", "401", "403", "404", "408", "409", "412", "413", "415", "422", "500", "502", "503", "507"];
    /// Of undoing.
    UndoProblems = ["400", "401", "403", "404", "408", "409", "410", "412", "413", "415", "422", "500", "503", "507"];
    /// Of enrolling.
    EnrolProblems = ["400", "401", "403", "404", "408", "409", "412", "413", "415", "422", "500", "502", "503", "507"];
    /// Of making something that has a name.
    CreateProblems = ["400", "401", "403", "408", "409", "413", "415", "422", "500", "503", "507"];
    /// Of doing something.
    PostProblems = ["400", "401", "403", "408", "413", "415", "422", "500", "503", "507"];
    /// Of asking whether the daemon is ready.
    ReadyProblems = ["503"];
}

#[cfg(test)]
mod tests;
