//! The page: what runs, how each fixture stands, how to begin. Without a token it says how to get in, and nothing else.

pub(crate) mod assets;
mod card;
pub(crate) mod login;
pub(crate) mod problems;
mod tube;

use askama::Template;
use axum::body::Body;
use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, REFERRER_POLICY};
use axum::http::{HeaderValue, Response, StatusCode, Uri};
use axum::response::IntoResponse;
use service::{Fixture, LinkState, Scope, Standing, Way};

use crate::app::App;
use crate::caller::{Caller, MaybeCaller};
use crate::headers::Headers;
use crate::origin;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;
use card::Card;

/// The page of the house.
#[derive(Template)]
#[template(path = "house.html")]
struct HousePage<'a> {
    version: &'a str,
    demo: bool,
    cards: Vec<Card>,
    /// How many stand how, in words.
    summary: String,
    database: bool,
    broker: bool,
    /// Where the daemon is reached, for the commands.
    address: String,
    /// The fixture that the commands speak of.
    example: String,
    /// Whether the commands need a token.
    token: bool,
    /// Whether the commands may make a fixture: there is none yet.
    empty: bool,
    power: bool,
    /// Whether the reader came by a cookie and can go again.
    leaving: bool,
}

/// Shows the house, or the way in.
pub(crate) async fn show(
    State(app): State<App>,
    MaybeCaller(caller): MaybeCaller,
    Headers(headers): Headers,
    uri: Uri,
) -> Response<Body> {
    match caller {
        Some(caller) => house(&app, &caller, origin::host(&headers, &uri)),
        None => login::page(StatusCode::OK, None),
    }
}

fn house(app: &App, caller: &Caller, host: Option<&str>) -> Response<Body> {
    let (service, options) = (&app.service, &app.options);
    let (now, health) = (service.now(), service.health());
    let fixtures = service.house().all();
    // the commands speak of a fixture on which their effect is seen
    let suits = |fixture: &&std::sync::Arc<Fixture>| fixture.outlook().has_looks() && !fixture.record.switched;
    let first = fixtures.iter().filter(suits).min_by_key(|fixture| Standing::of(fixture) != Standing::InStep);
    let page = HousePage {
        version: options.version,
        demo: options.demo,
        summary: summary(fixtures.iter().map(|fixture| Standing::of(fixture))),
        cards: fixtures.iter().map(|fixture| card::of(&app.service, fixture, now)).collect(),
        database: health.database,
        broker: health.broker == LinkState::Up,
        address: format!("http://{}", host.unwrap_or("127.0.0.1")),
        empty: fixtures.is_empty() && caller.scope == Scope::Admin,
        example: first.map_or_else(|| "hall".to_owned(), |fixture| fixture.id.to_string()),
        token: &*caller.by != "loopback",
        power: options.power_switch.is_some(),
        leaving: caller.via == Way::Page,
    };
    html(StatusCode::OK, &page)
}

/// `5 fixtures: 4 in step, 1 silent`.
fn summary(standings: impl Iterator<Item = Standing>) -> String {
    let standings: Vec<Standing> = standings.collect();
    let counts: Vec<String> = Standing::ALL
        .into_iter()
        .map(|standing| (standing, standings.iter().filter(|one| **one == standing).count()))
        .filter(|(_, count)| *count > 0)
        .map(|(standing, count)| format!("{count} {standing}"))
        .collect();
    match standings.len() {
        0 => "no fixtures yet".to_owned(),
        1 => format!("1 fixture: {}", counts.join(", ")),
        many => format!("{many} fixtures: {}", counts.join(", ")),
    }
}

/// A page. Its forms are sent to this daemon alone, and browsers name the origin of a form only under a policy that
/// lets them name it.
fn html(status: StatusCode, page: &impl Template) -> Response<Body> {
    match page.render() {
        Ok(text) => (
            status,
            [
                (CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8")),
                (CACHE_CONTROL, HeaderValue::from_static("no-store")),
                (REFERRER_POLICY, HeaderValue::from_static("same-origin")),
            ],
            text,
        )
            .into_response(),
        Err(error) => {
            Refusal::new(ProblemType::DEFECT, format!("the page could not be written: {error}")).into_response()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_summary_counts_how_many_stand_how() {
        use Standing::{Behind, InStep, Silent};
        assert_eq!(summary([].into_iter()), "no fixtures yet");
        assert_eq!(summary([Behind].into_iter()), "1 fixture: 1 behind");
        assert_eq!(summary([InStep, Silent, InStep].into_iter()), "3 fixtures: 2 in step, 1 silent");
    }
}
