//! `/v1/history` and `…/history`: what changed, when, by whom; as JSON, NDJSON or CSV.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::header::VARY;
use axum::http::{HeaderValue, Response, Uri};
use axum::response::IntoResponse;
use service::{Change, Direction, Filter, Page, Paper, Way};

use crate::answer::{link_next, typed};
use crate::app::App;
use crate::headers::Headers;
use crate::negotiate::{CSV, Form, HISTORY, NDJSON, form};
use crate::openapi::{HistoryProblems, SiteHistoryProblems};
use crate::path::Id;
use crate::problem_type::ProblemType;
use crate::query::Query;
use crate::refusal::Refusal;
use crate::time;

const NAMES: [&str; 9] = ["since", "until", "path", "by", "via", "document", "order", "limit", "cursor"];

/// What is asked of history.
struct Wanted {
    filter: Filter,
    direction: Direction,
    limit: usize,
    cursor: Option<String>,
}

fn wanted(mut query: Query) -> Result<Wanted, Refusal> {
    let filter = Filter {
        since: query.time("since")?,
        until: query.time("until")?,
        path: query.pointer("path")?,
        by: query.text("by"),
        via: query
            .take("via", "write http, page, cli, mqtt, daemon or demo", Way::read)?
            .map(|way| way.as_str().to_owned()),
        paper: query.take("document", "write fixture, desired or reported", Paper::read)?,
    };
    let direction = query
        .take("order", "write newest or oldest", |text| match text {
            "newest" => Some(Direction::NewestFirst),
            "oldest" => Some(Direction::OldestFirst),
            _ => None,
        })?
        .unwrap_or_default();
    let limit = query.limit()?;
    let cursor = query.text("cursor");
    query.finish(&NAMES)?;
    Ok(Wanted { filter, direction, limit, cursor })
}

/// Looks back on a fixture
///
/// Every accepted change of its record, of what is desired and of what it reported, with the merge patch there and
/// back.
#[utoipa::path(
    get, path = "/v1/fixtures/{id}/history", tag = "history", operation_id = "fixture_history",
    params(api::FixturePath, api::HistoryQuery),
    responses(
        (status = 200, description = "A page of changes", content(
            (api::HistoryPage = "application/json"),
            (String = "application/x-ndjson", example = "{\"id\":1042,\"fixture\":\"hall\",\"document\":\"desired\",\"rev\":42}\n"),
            (String = "text/csv", example = "id,fixture,document,rev,at,by,via,cause,patch,inverse\n"),
        ), headers(("Link" = String, description = "The next page, `rel=\"next\"` (RFC 8288); not on the last one"))),
        HistoryProblems,
    )
)]
pub(crate) async fn of_fixture(
    State(app): State<App>,
    Id(id): Id,
    query: Query,
    Headers(headers): Headers,
    uri: Uri,
) -> Result<Response<Body>, Refusal> {
    let form = form(&headers, HISTORY)?;
    let wanted = wanted(query)?;
    let fixture = app.fixture(&id)?;
    let cursor = wanted.cursor.as_deref();
    let page =
        app.service.store().fixture_history(&fixture, &wanted.filter, wanted.direction, cursor, wanted.limit).await?;
    answer(page, form, &uri)
}

/// Looks back on the whole house
///
/// As the history of a fixture, over all fixtures, those that were taken away included.
#[utoipa::path(
    get, path = "/v1/history", tag = "history", operation_id = "site_history",
    params(api::HistoryQuery),
    responses(
        (status = 200, description = "A page of changes", content(
            (api::HistoryPage = "application/json"),
            (String = "application/x-ndjson", example = "{\"id\":1042,\"fixture\":\"hall\",\"document\":\"desired\",\"rev\":42}\n"),
            (String = "text/csv", example = "id,fixture,document,rev,at,by,via,cause,patch,inverse\n"),
        ), headers(("Link" = String, description = "The next page, `rel=\"next\"` (RFC 8288); not on the last one"))),
        SiteHistoryProblems,
    )
)]
pub(crate) async fn of_site(
    State(app): State<App>,
    query: Query,
    Headers(headers): Headers,
    uri: Uri,
) -> Result<Response<Body>, Refusal> {
    let form = form(&headers, HISTORY)?;
    let wanted = wanted(query)?;
    let page =
        app.service.store().history(&wanted.filter, wanted.direction, wanted.cursor.as_deref(), wanted.limit).await?;
    answer(page, form, &uri)
}

fn answer(page: Page, form: Form, uri: &Uri) -> Result<Response<Body>, Refusal> {
    let next = page.next;
    let changes: Vec<api::Change> = page.changes.into_iter().map(view).collect();
    let mut response = match form {
        Form::Json => Json(api::HistoryPage { changes, next: next.clone() }).into_response(),
        Form::Ndjson => typed(NDJSON, lines(&changes).map_err(|error| unwritable(&error))?),
        Form::Csv => typed(CSV, table(&changes).map_err(|error| unwritable(&error))?),
    };
    link_next(&mut response, uri, next.as_deref());
    response.headers_mut().insert(VARY, HeaderValue::from_static("Accept"));
    Ok(response)
}

fn unwritable(error: &dyn std::fmt::Display) -> Refusal {
    Refusal::new(ProblemType::DEFECT, format!("history could not be written out: {error}"))
}

fn view(change: Change) -> api::Change {
    api::Change {
        id: change.id,
        fixture: change.fixture.to_string(),
        document: match change.paper {
            Paper::Fixture => api::Paper::Fixture,
            Paper::Desired => api::Paper::Desired,
            Paper::Reported => api::Paper::Reported,
        },
        rev: change.revision,
        at: time::write(change.at),
        by: change.by,
        via: way(&change.via),
        cause: change.cause,
        patch: change.patch,
        inverse: change.inverse,
    }
}

fn way(word: &str) -> api::Way {
    match Way::read(word) {
        Some(Way::Page) => api::Way::Page,
        Some(Way::Cli) => api::Way::Cli,
        Some(Way::Mqtt) => api::Way::Mqtt,
        Some(Way::Demo) => api::Way::Demo,
        Some(Way::Http) => api::Way::Http,
        // a word of a future version, at most: the daemon wrote it
        Some(Way::Daemon) | None => api::Way::Daemon,
    }
}

fn lines(changes: &[api::Change]) -> serde_json::Result<Vec<u8>> {
    let mut out = Vec::new();
    for change in changes {
        serde_json::to_writer(&mut out, change)?;
        out.push(b'\n');
    }
    Ok(out)
}

fn table(changes: &[api::Change]) -> Result<Vec<u8>, Box<dyn std::error::Error>> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(["id", "fixture", "document", "rev", "at", "by", "via", "cause", "patch", "inverse"])?;
    for change in changes {
        let word = |value: serde_json::Value| value.as_str().unwrap_or_default().to_owned();
        writer.write_record([
            change.id.to_string(),
            change.fixture.clone(),
            word(serde_json::to_value(change.document)?),
            change.rev.to_string(),
            change.at.clone(),
            change.by.clone(),
            word(serde_json::to_value(change.via)?),
            change.cause.clone().unwrap_or_default(),
            document::write(&change.patch),
            document::write(&change.inverse),
        ])?;
    }
    Ok(writer.into_inner()?)
}
