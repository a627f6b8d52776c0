//! `/problems`: a page for each type of problem, where its `type` leads.

use askama::Template;
use axum::body::Body;
use axum::http::{Response, StatusCode};

use super::html;
use crate::path::Name;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage {
    problem: &'static ProblemType,
    /// Its words in pieces; every other piece, from the second on, stood between backquotes and is code.
    pieces: Vec<(bool, &'static str)>,
}

#[derive(Template)]
#[template(path = "problems.html")]
struct ProblemsPage {
    problems: &'static [ProblemType],
}

/// All problems.
pub(crate) async fn list() -> Response<Body> {
    html(StatusCode::OK, &ProblemsPage { problems: ProblemType::ALL })
}

/// One problem.
pub(crate) async fn get(Name(name): Name) -> Result<Response<Body>, Refusal> {
    match ProblemType::find(&name) {
        Some(problem) => {
            let pieces = problem.text.split('`').enumerate().map(|(index, piece)| (index % 2 == 1, piece)).collect();
            Ok(html(StatusCode::OK, &ProblemPage { problem, pieces }))
        }
        None => Err(Refusal::new(ProblemType::NOT_THERE, "there is no problem of that name; /problems lists them")),
    }
}
