//! The sun of a date.

use serde_json::json;

use crate::house::House;

/// A house with `hall` in Tromsø.
async fn in_the_north() -> House {
    let house = House::open().await;
    let record = r#"{"id":"hall","place":{"latitude":69.65,"longitude":18.96,"zone":"europe/oslo"}}"#;
    house.post("/v1/fixtures", record).await.expect(201);
    house
}

/// Source: sun-times.csv, the mean of skyfield, ephem, astropy and pvlib, to be held to 20 seconds.
#[tokio::test]
async fn the_sun_of_a_date_is_told_in_utc_with_the_place() {
    let house = in_the_north().await;
    let sun = house.get("/v1/sun?fixture=hall&date=2024-02-29").await.expect(200).json();
    assert_eq!(sun["date"], "2024-02-29");
    assert_eq!(sun["place"], json!({"latitude": 69.65, "longitude": 18.96, "zone": "Europe/Oslo"}));
    for (event, reference) in [
        ("dawn", "2024-02-29T05:11:33Z"),
        ("sunrise", "2024-02-29T06:12:35Z"),
        ("sunset", "2024-02-29T15:42:16Z"),
        ("dusk", "2024-02-29T16:43:33Z"),
    ] {
        let seconds = |text: &str| text.parse::<jiff::Timestamp>().unwrap().as_second();
        let off = seconds(sun[event]["at"].as_str().unwrap()) - seconds(reference);
        assert!(off.abs() <= 20, "{event} is off by {off} s");
        assert_eq!(sun[event]["sun"], "crosses");
    }
}

/// Source: sun-day-states.csv for both dates.
#[tokio::test]
async fn polar_night_and_polar_day_are_told_apart() {
    let house = in_the_north().await;
    let of = async |date: &str| house.get(&format!("/v1/sun?fixture=hall&date={date}")).await.expect(200).json();
    let winter = of("2024-12-21").await;
    assert_eq!(winter["sunset"], json!({"at": null, "sun": "always-below"}));
    assert_eq!(winter["dusk"]["sun"], "crosses");
    let summer = of("2024-06-20").await;
    for event in ["dawn", "sunrise", "sunset", "dusk"] {
        assert_eq!(summer[event], json!({"at": null, "sun": "always-above"}), "{event}");
    }
}

#[tokio::test]
async fn a_sunset_that_moves_past_midnight_is_not_taken_for_the_polar_day() {
    let house = in_the_north().await;
    let mut seen = Vec::new();
    for day in 10..=31 {
        let sun = house.get(&format!("/v1/sun?fixture=hall&date=2026-05-{day}")).await.expect(200).json();
        seen.push((
            sun["sunrise"]["sun"].as_str().unwrap().to_owned(),
            sun["sunset"]["sun"].as_str().unwrap().to_owned(),
        ));
    }
    // both, then the sunrise alone, then neither
    let first = |rise: &str, set: &str| seen.iter().position(|(r, s)| r == rise && s == set);
    let (alone, neither) = (first("crosses", "not-this-date"), first("always-above", "always-above"));
    assert!(first("crosses", "crosses") == Some(0) && alone.is_some() && alone < neither, "{seen:?}");
}

#[tokio::test]
async fn without_a_date_it_is_that_of_the_places_clock() {
    let house = House::open().await;
    // the clock of the test says 20:00 UTC on the 25th
    for (id, zone, date) in [("east", "Pacific/Kiritimati", "2026-11-26"), ("west", "America/New_York", "2026-11-25")] {
        let record = json!({"id": id, "place": {"latitude": 10, "longitude": 0, "zone": zone}});
        house.post("/v1/fixtures", &record.to_string()).await.expect(201);
        assert_eq!(house.get(&format!("/v1/sun?fixture={id}")).await.expect(200).json()["date"], date);
    }
}

#[tokio::test]
async fn without_a_fixture_or_a_place_of_its_own_it_is_the_sites() {
    let house = House::at(service::Place::new(-33.87, 151.21, "Australia/Sydney").unwrap()).await;
    house.post("/v1/fixtures", r#"{"id":"hall"}"#).await.expect(201);
    let site = house.get("/v1/sun?date=2026-06-21").await.expect(200).text();
    assert!(site.contains("\"zone\":\"Australia/Sydney\""), "{site}");
    assert_eq!(house.get("/v1/sun?date=2026-06-21&fixture=hall").await.expect(200).text(), site);
    let own = r#"{"place":{"latitude":69.65,"longitude":18.96,"zone":"Europe/Oslo"}}"#;
    house.patch("/v1/fixtures/hall", own).await.expect(200);
    let north = house.get("/v1/sun?date=2026-06-21&fixture=hall").await.expect(200).json();
    assert_eq!((&north["place"]["zone"], &north["sunset"]["sun"]), (&json!("Europe/Oslo"), &json!("always-above")));
}

#[tokio::test]
async fn without_a_place_the_settings_are_named() {
    let house = House::with_hall().await;
    for (path, own) in [("/v1/sun", "name a fixture"), ("/v1/sun?fixture=hall&date=2026-11-25", "give the fixture")] {
        let problem = house.get(path).await.problem(422, "no-place");
        let advice = problem["advice"].as_str().unwrap();
        for word in ["site.latitude", "site.longitude", "site.zone", own] {
            assert!(advice.contains(word), "{word} is not in {advice}");
        }
    }
}

#[tokio::test]
async fn what_is_no_date_or_no_fixture_is_refused() {
    let house = in_the_north().await;
    for date in ["2026-02-29", "2026-13-01", "20261125", "+2026-11-25", "2026-11-25T00:00:00Z", "26-11-25", "", "today"]
    {
        let problem = house.get(&format!("/v1/sun?fixture=hall&date={date}")).await.problem(400, "query");
        assert!(problem["detail"].as_str().unwrap().contains("\"date\""), "{problem}");
    }
    house.get("/v1/sun?fixture=ghost").await.problem(404, "unknown-fixture");
    house.get("/v1/sun?fixture=Hall").await.problem(400, "query");
    house.get("/v1/sun?fixture=hall&day=2026-11-25").await.problem(400, "query");
    for extreme in ["0000-01-01", "9999-12-31"] {
        house.get(&format!("/v1/sun?fixture=hall&date={extreme}")).await.expect(200);
    }
}
