//! `/v1/sun`: when the sun rises and sets at the site or at a fixture's place.

use almanac::{Place, SunDay, SunEvent, sun_event};
use axum::Json;
use axum::extract::State;
use jiff::civil::Date;
use service::FixtureId;

use crate::app::App;
use crate::openapi::SunProblems;
use crate::problem_type::ProblemType;
use crate::query::Query;
use crate::refusal::Refusal;
use crate::time;

/// Shows the sun of a date
///
/// Dawn, sunrise, sunset and dusk of a date at the site, or at a fixture's place. Timetables reckon by the same times.
#[utoipa::path(
    get, path = "/v1/sun", tag = "light", operation_id = "get_sun",
    params(
        ("date" = Option<String>, Query, description = "The date by the place's clock; that of now when left out.", example = "2026-11-25"),
        ("fixture" = Option<String>, Query, description = "The fixture whose place is meant; the site's when left out, or when the fixture has none of its own.", example = "hall"),
    ),
    responses((status = 200, description = "The sun of that date", body = api::SunDay), SunProblems)
)]
pub(crate) async fn day(State(app): State<App>, mut query: Query) -> Result<Json<api::SunDay>, Refusal> {
    let date = query.take("date", "write a date as YYYY-MM-DD, such as 2026-11-25", read_date)?;
    let id = query.take("fixture", "write the id of a fixture, such as hall", |id| id.parse::<FixtureId>().ok())?;
    query.finish(&["date", "fixture"])?;
    let fixture = id.as_ref().map(|id| app.fixture(id)).transpose()?;
    let own = fixture.as_ref().and_then(|fixture| fixture.record.place.as_deref());
    let place = own.or(app.service.site()).ok_or_else(|| no_place(id.as_ref()))?;
    let date = date.unwrap_or_else(|| place.zone().to_datetime(app.service.now()).date());
    let of = |event| time(sun_event(place, date, event));
    Ok(Json(api::SunDay {
        date: date.to_string(),
        place: shown(place),
        dawn: of(SunEvent::Dawn),
        sunrise: of(SunEvent::Sunrise),
        sunset: of(SunEvent::Sunset),
        dusk: of(SunEvent::Dusk),
    }))
}

/// A date of RFC 3339 (`full-date` in section 5.6) and no looser form.
fn read_date(text: &str) -> Option<Date> {
    let shape = text.len() == "2026-11-25".len()
        && text
            .bytes()
            .enumerate()
            .all(|(at, byte)| if at == 4 || at == 7 { byte == b'-' } else { byte.is_ascii_digit() });
    shape.then(|| text.parse().ok()).flatten()
}

fn no_place(fixture: Option<&FixtureId>) -> Refusal {
    let (whose, own) = match fixture {
        Some(id) => (format!("neither {id} nor the site has a place"), ", or give the fixture a place of its own"),
        None => ("the site has no place".to_owned(), ", or name a fixture that has a place of its own"),
    };
    Refusal::new(ProblemType::NO_PLACE, whose)
        .advice(format!("set site.latitude, site.longitude and site.zone in the configuration{own}"))
}

fn time(day: SunDay) -> api::SunTime {
    let (at, sun) = match day {
        SunDay::At(instant) => (Some(time::write(instant)), api::SunHeight::Crosses),
        SunDay::AlwaysAbove => (None, api::SunHeight::AlwaysAbove),
        SunDay::AlwaysBelow => (None, api::SunHeight::AlwaysBelow),
        SunDay::NotThisDate => (None, api::SunHeight::NotThisDate),
    };
    api::SunTime { at, sun }
}

fn shown(place: &Place) -> api::Place {
    api::Place { latitude: place.latitude(), longitude: place.longitude(), zone: place.zone_name().to_owned() }
}
