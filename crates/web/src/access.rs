//! Who may do what: one table of methods and addresses. What is not in the table needs an admin.

use axum::http::Method;
use service::Scope;

/// What a request needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Need {
    /// Nothing: health, the way in, and the words of the problems.
    Nothing,
    /// A token of at least this scope.
    Scope(Scope),
}

const OPEN: Need = Need::Nothing;
const READ: Need = Need::Scope(Scope::Read);
const EDIT: Need = Need::Scope(Scope::Edit);
const ADMIN: Need = Need::Scope(Scope::Admin);

/// Method, address as the router knows it, and what it needs. HEAD goes as GET.
pub(crate) const TABLE: &[(&str, &str, Need)] = &[
    ("GET", "/healthz", OPEN),
    ("GET", "/readyz", OPEN),
    ("GET", "/", OPEN), // says how to get in, and nothing else, to those who may not read
    ("POST", "/login", OPEN),
    ("POST", "/logout", OPEN),
    ("GET", "/assets/{name}", OPEN),
    ("GET", "/problems", OPEN),
    ("GET", "/problems/{name}", OPEN),
    ("GET", "/openapi.json", READ),
    ("GET", "/docs", READ),
    ("GET", "/docs/", READ),
    ("GET", "/docs/{*rest}", READ),
    ("GET", "/v1/fixtures", READ),
    ("POST", "/v1/fixtures", ADMIN),
    ("GET", "/v1/fixtures/{id}", READ),
    ("PATCH", "/v1/fixtures/{id}", EDIT),
    ("DELETE", "/v1/fixtures/{id}", ADMIN),
    ("GET", "/v1/fixtures/{id}/desired", READ),
    ("PUT", "/v1/fixtures/{id}/desired", EDIT),
    ("PATCH", "/v1/fixtures/{id}/desired", EDIT),
    ("GET", "/v1/fixtures/{id}/reported", READ),
    ("GET", "/v1/fixtures/{id}/delta", READ),
    ("GET", "/v1/fixtures/{id}/showing", READ),
    ("GET", "/v1/fixtures/{id}/agenda", READ),
    ("GET", "/v1/sun", READ),
    ("PUT", "/v1/fixtures/{id}/override", EDIT),
    ("DELETE", "/v1/fixtures/{id}/override", EDIT),
    ("GET", "/v1/fixtures/{id}/history", READ),
    ("POST", "/v1/fixtures/{id}/undo", EDIT),
    ("POST", "/v1/fixtures/{id}/enrol", ADMIN),
    ("GET", "/v1/history", READ),
    // a backup holds the hashes of all secrets
    ("GET", "/v1/backups", ADMIN),
    ("POST", "/v1/backups", ADMIN),
    ("GET", "/v1/backups/{name}", ADMIN),
    ("GET", "/v1/tokens", ADMIN),
    ("POST", "/v1/tokens", ADMIN),
    ("DELETE", "/v1/tokens/{id}", ADMIN),
    ("GET", "/v1/kinds", READ),
    ("GET", "/v1/kinds/{name}", READ),
    ("POST", "/v1/demo/power", EDIT),
];

/// What is needed to ask for an address that there is not.
pub(crate) const UNKNOWN: Need = READ;

/// What the methods of one address need.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Needs(Vec<(&'static str, Need)>);

impl Needs {
    /// Those of an address, in the form in which the router knows it.
    pub(crate) fn of(address: &str) -> Self {
        let rows = TABLE.iter().filter(|(_, of, _)| *of == address);
        Self(rows.map(|(method, _, need)| (*method, *need)).collect())
    }

    /// What a method needs. One that the address does not have is refused for that reason, but only to those who may
    /// look at the address. What is not in the table at all needs an admin.
    pub(crate) fn of_method(&self, method: &Method) -> Need {
        let method = if *method == Method::HEAD { "GET" } else { method.as_str() };
        self.0.iter().find(|(of, _)| *of == method).or(self.0.first()).map_or(ADMIN, |(_, need)| *need)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_in_the_table_needs_an_admin() {
        assert_eq!(Needs::of("/v1/secret-door").of_method(&Method::GET), ADMIN);
        assert_eq!(Needs::of("/v1/backups").of_method(&Method::HEAD), ADMIN);
        assert_eq!(Needs::of("/v1/fixtures").of_method(&Method::HEAD), READ);
        assert_eq!(Needs::of("/v1/fixtures").of_method(&Method::POST), ADMIN);
        // a method that the address does not have
        assert_eq!(Needs::of("/v1/fixtures").of_method(&Method::TRACE), READ);
        assert_eq!(Needs::of("/v1/fixtures/{id}/undo").of_method(&Method::GET), EDIT);
    }

    #[test]
    fn no_row_of_the_table_stands_twice() {
        for (index, (method, path, _)) in TABLE.iter().enumerate() {
            let first = TABLE.iter().position(|(m, p, _)| m == method && p == path);
            assert_eq!(first, Some(index), "{method} {path}");
        }
    }

    #[test]
    fn every_operation_of_the_openapi_document_has_a_row() {
        for demo in [false, true] {
            let document = serde_json::to_value(crate::openapi(demo)).unwrap();
            let paths = document["paths"].as_object().unwrap();
            assert!(paths.len() >= 20);
            for (path, item) in paths {
                for method in item.as_object().unwrap().keys() {
                    let method = method.to_uppercase();
                    assert!(
                        TABLE.iter().any(|(m, p, _)| *m == method && p == path),
                        "{method} {path} has no row in the table of who may do what"
                    );
                }
            }
        }
    }
}
