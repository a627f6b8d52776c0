//! Showing and agenda by the timetable, as JSON and as a calendar; what they refuse.

use serde_json::{Value, json};

use crate::house::{Answer, House};

const DESIRED: &str = "/v1/fixtures/hall/desired";
const AMSTERDAM: &str = r#"{"place":{"latitude":52.37,"longitude":4.9,"zone":"Europe/Amsterdam"}}"#;
const TIMETABLE: &str = r#"{"timetable":[{"start":"17:00","look":"evening"},{"start":"22:45","look":"late"}]}"#;

/// A house whose hall has a place and a timetable.
async fn with_timetable() -> House {
    let house = House::with_hall().await;
    house.patch("/v1/fixtures/hall", AMSTERDAM).await.expect(200);
    house.patch(DESIRED, TIMETABLE).await.expect(200);
    house
}

async fn agenda(house: &House, query: &str, accept: &str) -> Answer {
    house.send("GET", &format!("/v1/fixtures/hall/agenda{query}"), &[("accept", accept)], "").await
}

#[tokio::test]
async fn showing_names_the_entry_of_the_timetable() {
    let house = with_timetable().await;
    let at = async |time: &str| house.get(&format!("/v1/fixtures/hall/showing?at={time}")).await.expect(200).json();
    // Amsterdam is an hour before UTC in winter
    let late = at("2026-11-25T21:45:00Z").await;
    assert_eq!(
        (&late["look"], &late["because"], &late["entry"], &late["link"]),
        (&json!("late"), &json!("timetable"), &json!(1), &Value::Null)
    );
    assert_eq!((&late["since"], &late["until"]), (&json!("2026-11-25T21:45:00Z"), &json!("2026-11-26T16:00:00Z")));
    assert_eq!(at("2026-11-25T21:44:59Z").await["entry"], 0);
    house.put("/v1/fixtures/hall/override", r#"{"look":"late"}"#).await.expect(200);
    assert_eq!(at("2026-11-26T20:00:00Z").await["entry"], Value::Null);
}

#[tokio::test]
async fn a_floor_is_told_in_the_dark_hours_with_its_duty() {
    let house = with_timetable().await;
    let at = async |time: &str| house.get(&format!("/v1/fixtures/hall/showing?at={time}")).await.expect(200).json();
    let without = at("2026-11-25T20:00:00Z").await;
    assert_eq!((&without["floored"], &without["floor"]), (&json!(false), &Value::Null));
    house.patch(DESIRED, r#"{"floor":8}"#).await.expect(200);
    let dark = at("2026-11-25T20:00:00Z").await;
    assert_eq!(dark["floored"], true);
    let duty: Vec<u64> = dark["floor"].as_array().unwrap().iter().map(|duty| duty.as_u64().unwrap()).collect();
    // CIE 15: an intensity of 8 is a luminance of 8/903.3 of the whole; no channel of a 2400 K white has more
    assert!(duty.len() >= 3 && duty[0] >= duty[2] && duty[0] > 0 && duty[0] < 65535 / 20, "{duty:?}");
    let day = at("2026-11-25T12:00:00Z").await;
    assert_eq!((&day["floored"], &day["floor"]), (&json!(false), &Value::Null));
    let changes = agenda(&house, "?to=2026-11-26T20:00:00Z", "application/json").await.expect(200).json();
    let floored: Vec<&Value> = changes["changes"].as_array().unwrap().iter().map(|change| &change["floored"]).collect();
    assert!(floored.contains(&&json!(true)) && floored.contains(&&json!(false)), "{changes}");
}

#[tokio::test]
async fn the_agenda_is_a_calendar_where_that_is_accepted() {
    let house = with_timetable().await;
    let query = "?from=2026-11-25T20:00:00Z&to=2026-11-26T20:00:00Z";
    let json = agenda(&house, query, "application/json").await;
    assert_eq!((json.expect(200).header("content-type"), json.header("vary")), ("application/json", "Accept"));
    let changes = json.json()["changes"].as_array().unwrap().clone();
    // the first began with the edit, 20:00 UTC
    let rows = |name: &str| changes.iter().map(|change| change[name].as_str().unwrap_or("-")).collect::<Vec<_>>();
    assert_eq!(rows("at"), ["2026-11-25T20:00:00Z", "2026-11-25T21:45:00Z", "2026-11-26T16:00:00Z"]);
    assert_eq!(rows("look"), ["evening", "late", "evening"]);
    let calendar = agenda(&house, query, "text/calendar").await;
    assert_eq!(calendar.expect(200).header("content-type"), "text/calendar; charset=utf-8");
    assert_eq!(
        (calendar.header("vary"), calendar.header("content-disposition")),
        ("Accept", "inline; filename=\"hall.ics\"")
    );
    let text = calendar.text();
    let lines: Vec<&str> = text.split_terminator("\r\n").collect();
    assert_eq!((lines[0], lines[lines.len() - 1]), ("BEGIN:VCALENDAR", "END:VCALENDAR"));
    for line in ["PRODID:-//sconced//sconced 9.8.7//EN", "X-WR-CALNAME:Reeds in the hall", "DTSTART:20261125T214500Z"] {
        assert!(lines.contains(&line), "{line} is not in {text}");
    }
    assert_eq!(lines.iter().filter(|line| **line == "BEGIN:VEVENT").count(), changes.len());
    let head =
        house.send("HEAD", &format!("/v1/fixtures/hall/agenda{query}"), &[("accept", "text/calendar")], "").await;
    assert_eq!((head.expect(200).header("content-type"), head.bytes.len()), ("text/calendar; charset=utf-8", 0));
}

#[tokio::test]
async fn an_event_keeps_its_name_when_it_is_asked_for_again() {
    let house = with_timetable().await;
    let names = async || {
        let text = agenda(&house, "?from=2026-11-26T20:00:00Z&to=2026-11-28T20:00:00Z", "text/calendar").await.text();
        text.replace("\r\n ", "").lines().filter(|line| line.starts_with("UID:")).map(str::to_owned).collect::<Vec<_>>()
    };
    let first = names().await;
    assert_eq!(first.len(), 5);
    house.patch("/v1/fixtures/hall", r#"{"title":"Reeds"}"#).await.expect(200);
    assert_eq!(names().await, first);
}

#[tokio::test]
async fn a_form_that_there_is_not_is_refused_with_those_that_there_are() {
    let house = with_timetable().await;
    for accept in ["text/html", "text/csv", "application/json;q=0, text/calendar;q=0", "image/*"] {
        let problem = agenda(&house, "", accept).await.problem(406, "not-acceptable");
        assert_eq!(problem["advice"], "accept one of application/json, text/calendar", "{accept}");
    }
}

#[tokio::test]
async fn an_agenda_has_400_days_at_most() {
    let house = with_timetable().await;
    let query = |to: &str| format!("?from=2026-11-25T20:00:00Z&to={to}");
    for accept in ["application/json", "text/calendar"] {
        agenda(&house, &query("2027-12-30T20:00:00Z"), accept).await.expect(200);
        for to in ["2027-12-30T20:00:01Z", "2026-11-25T20:00:00Z", "2026-11-25T19:59:59Z"] {
            let problem = agenda(&house, &query(to), accept).await.problem(400, "query");
            assert!(problem["detail"].as_str().unwrap().contains("\"to\""), "{problem}");
            assert!(problem["advice"].as_str().unwrap().contains("at most 400 days"), "{problem}");
        }
    }
}

#[tokio::test]
async fn a_timetable_without_a_place_is_refused_with_the_settings_that_are_missing() {
    let house = House::with_hall().await;
    let (before, rows) = (house.get(DESIRED).await.text(), house.history_rows().await);
    for start in ["sunset", "22:45"] {
        let body = format!(r#"{{"timetable":[{{"start":"{start}","look":"late"}}]}}"#);
        for answer in [
            house.patch(DESIRED, &body).await,
            house.put(DESIRED, &body.replacen('{', r#"{"looks":{"late":{"kelvin":2000}},"#, 1)).await,
        ] {
            let problem = answer.problem(422, "invalid");
            assert_eq!(problem["pointer"], "/timetable/0/start", "{problem}");
            let advice = problem["advice"].as_str().unwrap();
            for word in ["site.latitude", "site.longitude", "site.zone", "place"] {
                assert!(advice.contains(word), "{word} is not in {advice}");
            }
        }
    }
    assert_eq!(house.get(DESIRED).await.text(), before);
    assert_eq!(house.history_rows().await, rows);
    house.patch("/v1/fixtures/hall", AMSTERDAM).await.expect(200);
    house.patch(DESIRED, TIMETABLE).await.expect(200);
    // nor may the place be taken away from under it
    let problem = house.patch("/v1/fixtures/hall", r#"{"place":null}"#).await.problem(422, "invalid");
    assert_eq!(problem["pointer"], "/place", "{problem}");
    house.get("/v1/fixtures/hall/showing").await.expect(200);
}

#[tokio::test]
async fn a_faulty_timetable_is_refused_at_its_place_and_changes_nothing() {
    let house = with_timetable().await;
    let (before, rows) = (house.get(DESIRED).await.text(), house.history_rows().await);
    let entry = |member: &str| format!(r#"{{"timetable":[{{"start":"17:00","look":"late"}},{{{member}}}]}}"#);
    for (members, pointer) in [
        (r#""start":"sunset","look":"ghost""#, "/timetable/1/look"),
        (r#""start":"24:00","look":"late""#, "/timetable/1/start"),
        (r#""start":"sunset","shift":"PT12H1S","look":"late""#, "/timetable/1/shift"),
        (r#""start":"sunset","shift":"-PT13H","look":"late""#, "/timetable/1/shift"),
        (r#""start":"06:00","days":["mon","someday"],"look":"late""#, "/timetable/1/days"),
        (r#""start":"06:00","dates":["13-01","01-06"],"look":"late""#, "/timetable/1/dates/0"),
    ] {
        let problem = house.patch(DESIRED, &entry(members)).await.problem(422, "invalid");
        assert_eq!(problem["pointer"], pointer, "{problem}");
        assert!(problem["advice"].as_str().is_some_and(|advice| advice.len() > 10), "{problem}");
    }
    let many = vec![json!({"start": "06:00", "look": "late"}); 65];
    let problem = house.patch(DESIRED, &json!({"timetable": many}).to_string()).await.problem(422, "invalid");
    assert_eq!(problem["pointer"], "/timetable/64", "{problem}");
    assert_eq!(house.get(DESIRED).await.text(), before);
    assert_eq!(house.history_rows().await, rows);
}
