//! `…/showing` and `…/agenda`: what a fixture should show, why, and what comes next.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::header::{CONTENT_DISPOSITION, VARY};
use axum::http::{HeaderValue, Response};
use axum::response::IntoResponse;
use jiff::{SignedDuration, Timestamp};
use serde_json::Value;
use service::{Agenda, Fixture, Rejection, ServiceError};

use crate::answer::typed;
use crate::app::App;
use crate::calendar::{Calendar, ICALENDAR};
use crate::headers::Headers;
use crate::negotiate::{AGENDA, AgendaForm, form};
use crate::openapi::{AgendaProblems, LookProblems};
use crate::path::Id;
use crate::problem_type::ProblemType;
use crate::query::{Query, bad};
use crate::refusal::Refusal;
use crate::time;

/// How much of the agenda is shown when nobody says how much.
const USUAL: SignedDuration = SignedDuration::from_hours(48);

/// Shows what shows
///
/// What the fixture should show at an instant by its desired document of now: which look, why, since when and until
/// when, whether its floor is kept, and the look in the device's integers, as the `showing` message carries it.
#[utoipa::path(
    get, path = "/v1/fixtures/{id}/showing", tag = "light", operation_id = "get_showing",
    params(api::FixturePath, ("at" = Option<String>, Query, description = "The instant (RFC 3339); now when left out.", example = "2026-11-25T20:00:00Z")),
    responses((status = 200, description = "What shows", body = api::Showing), LookProblems)
)]
pub(crate) async fn get(State(app): State<App>, Id(id): Id, mut query: Query) -> Result<Json<api::Showing>, Refusal> {
    let at = query.time("at")?.unwrap_or_else(|| app.service.now());
    query.finish(&["at"])?;
    let fixture = app.fixture(&id)?;
    let shown = app.service.shown(&fixture, at)?;
    let (showing, compiled) = (shown.shown.showing, shown.shown.compiled);
    let mut motif = String::new();
    compiled.motif.write(&mut motif);
    let motif: Vec<Value> = serde_json::from_str(&motif)
        .map_err(|error| Refusal::new(ProblemType::DEFECT, format!("the motif could not be written: {error}")))?;
    Ok(Json(api::Showing {
        rev: shown.revision,
        at: time::write(at),
        because: because(showing.because.as_str()),
        look: showing.look,
        since: showing.since.map(time::write),
        until: showing.until.map(time::write),
        floored: showing.floored,
        entry: showing.entry.and_then(|entry| entry.try_into().ok()),
        link: showing.link,
        floor: compiled.floor,
        channels: compiled.channels,
        span: compiled.span,
        motif,
        fade_ms: shown.shown.fade_ms,
    }))
}

/// Shows what comes
///
/// The changes of what the fixture shows from one instant to another, at most 400 days, without a gap. The first one
/// covers the beginning. As iCalendar (RFC 5545) each is an event that ends when the next one begins, for people who
/// want the coming year in their own calendar; what is shorter than a second is left out there.
#[utoipa::path(
    get, path = "/v1/fixtures/{id}/agenda", tag = "light", operation_id = "get_agenda",
    params(
        api::FixturePath,
        ("from" = Option<String>, Query, description = "The beginning (RFC 3339); now when left out.", example = "2026-11-25T20:00:00Z"),
        ("to" = Option<String>, Query, description = "The end (RFC 3339), not included; 48 hours after the beginning when left out.", example = "2026-11-27T20:00:00Z"),
    ),
    responses(
        (status = 200, description = "The changes", content(
            (api::Agenda = "application/json"),
            (String = "text/calendar", example = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\n"),
        ), headers(("Content-Disposition" = String, description = "The name of the calendar's file"))),
        AgendaProblems,
    )
)]
pub(crate) async fn agenda(
    State(app): State<App>,
    Id(id): Id,
    mut query: Query,
    Headers(headers): Headers,
) -> Result<Response<Body>, Refusal> {
    let form = form(&headers, AGENDA)?;
    let from = query.time("from")?.unwrap_or_else(|| app.service.now());
    let to = query.time("to")?;
    query.finish(&["from", "to"])?;
    let fixture = app.fixture(&id)?;
    let too_long = "name a `to` that is after `from` and at most 400 days later";
    let to = match to {
        Some(to) => to,
        None => from.checked_add(USUAL).map_err(|_| bad("from", "is at the end of time", too_long))?,
    };
    // a year of many entries takes longer than those who ask for other things should wait
    let made = tokio::task::spawn_blocking(move || {
        let agenda = app.service.agenda(&fixture, from, to).map_err(|error| match error {
            // the span is said by the query, not by a body
            ServiceError::Rejected(ref rejection @ Rejection::Invalid(_)) => {
                bad("to", &format!("cannot be this: {rejection}"), too_long)
            }
            other => other.into(),
        })?;
        Ok::<_, Refusal>(match form {
            AgendaForm::Json => Json(listed(agenda)).into_response(),
            AgendaForm::Calendar => calendar(&app, &fixture, &agenda, to),
        })
    });
    let mut response = made
        .await
        .map_err(|error| Refusal::new(ProblemType::DEFECT, format!("the agenda was not finished: {error}")))??;
    response.headers_mut().insert(VARY, HeaderValue::from_static("Accept"));
    Ok(response)
}

fn listed(agenda: Agenda) -> api::Agenda {
    let change = |change: service::AgendaChange| api::AgendaChange {
        at: time::write(change.at),
        look: change.look,
        because: because(change.because),
        until: change.until.map(time::write),
        floored: change.floored,
    };
    api::Agenda { rev: agenda.revision, changes: agenda.changes.into_iter().map(change).collect() }
}

fn calendar(app: &App, fixture: &Fixture, agenda: &Agenda, to: Timestamp) -> Response<Body> {
    let calendar = Calendar {
        id: fixture.id.as_str(),
        title: &fixture.record.title,
        created: fixture.created,
        version: app.options.version,
        now: app.service.now(),
    };
    let mut response = typed(ICALENDAR, calendar.write(&agenda.changes, to));
    if let Ok(name) = HeaderValue::from_str(&format!("inline; filename=\"{}.ics\"", fixture.id)) {
        response.headers_mut().insert(CONTENT_DISPOSITION, name);
    }
    response
}

fn because(word: &str) -> api::Because {
    match word {
        "unlit" => api::Because::Unlit,
        "override" => api::Because::Override,
        "link" => api::Because::Link,
        "timetable" => api::Because::Timetable,
        "default" => api::Because::Default,
        _ => api::Because::Dark,
    }
}
