//! What a fixture will show: `showing`, `agenda` and `year` by a timetable.
//!
//! All instants asked for are years ahead, so that it makes no difference when this runs.

use serde_json::Value;

use crate::program::{Daemon, World, exists};

const SITE: &str = "[site]\nlatitude = 52.37\nlongitude = 4.9\nzone = \"Europe/Amsterdam\"\n";
const DESIRED: &str = r#"{"looks":{"evening":{"kelvin":2400,"intensity":70},"late":{"kelvin":2000,"intensity":20}},
    "timetable":[{"start":"17:00","look":"evening"},{"start":"22:45","look":"late"}]}"#;

/// A world with a daemon in Amsterdam and one fixture, `hall`, that follows a timetable.
fn with_hall() -> (World, Daemon) {
    let world = World::new();
    world.write("sconced.toml", SITE);
    let daemon = world.serve(&["--config", "sconced.toml"]);
    world.ok(&["add", "hall", "--title", "Reeds, in the hall"]);
    world.ok(&["edit", "hall", DESIRED]);
    (world, daemon)
}

#[test]
fn showing_says_the_entry_in_words() {
    let (world, _daemon) = with_hall();
    // Amsterdam is an hour before UTC in winter
    let said = world.ok(&["showing", "hall", "--at", "2041-01-10T21:45:00Z"]);
    assert!(said.starts_with("hall should show late, by its timetable, entry 1.\n"), "{said}");
    assert!(said.contains("2041-01-11T16:00:00Z"), "{said}");
    let said = world.ok(&["showing", "hall", "--at", "2041-01-10T21:44:59Z"]);
    assert!(said.starts_with("hall should show evening, by its timetable, entry 0.\n"), "{said}");
}

#[test]
fn showing_says_the_floor_in_the_dark_hours() {
    let (world, _daemon) = with_hall();
    world.ok(&["edit", "hall", r#"{"floor":8}"#]);
    let floor = |at: &str| {
        let said = world.ok(&["showing", "hall", "--at", at]);
        said.lines().find(|line| line.starts_with("floor")).unwrap().to_owned()
    };
    let night = floor("2041-01-10T21:45:00Z");
    assert!(night.contains("kept: red ") && night.contains('%'), "{night}");
    assert!(floor("2041-01-10T12:00:00Z").ends_with('–'));
    let listed = world.ok(&["agenda", "hall", "--from", "2041-01-10T12:00:00Z", "--to", "2041-01-11T12:00:00Z"]);
    let kept: Vec<bool> = listed.lines().skip(1).map(|line| line.ends_with("kept")).collect();
    assert!(kept.contains(&true) && kept.contains(&false), "{listed}");
}

#[test]
fn the_agenda_is_a_table_of_changes_and_json_for_programs() {
    let (world, _daemon) = with_hall();
    let asked = ["agenda", "hall", "--from", "2041-01-10T12:00:00Z", "--to", "2041-01-11T12:00:00Z"];
    let listed = world.ok(&asked);
    let rows: Vec<Vec<&str>> = listed.lines().map(|line| line.split_whitespace().collect()).collect();
    assert_eq!(rows[0], ["FROM", "UNTIL", "LOOK", "WHY", "FLOOR"]);
    assert_eq!(rows[1][1..3], ["2041-01-10T16:00:00Z", "late"]);
    assert_eq!(rows[2][..3], ["2041-01-10T16:00:00Z", "2041-01-10T21:45:00Z", "evening"]);
    assert_eq!(rows[3][..3], ["2041-01-10T21:45:00Z", "2041-01-11T16:00:00Z", "late"]);
    assert_eq!((rows.len(), &rows[3][3..6]), (4, &["by", "its", "timetable"] as &[&str]));
    let changes = world.json(&asked)["changes"].as_array().unwrap().clone();
    assert_eq!(changes.len(), 3);
    assert_eq!(changes[2]["because"], "timetable");
    // without times: from now on
    assert!(world.ok(&["agenda", "hall"]).lines().count() > 3);
}

#[test]
fn the_coming_year_is_written_as_a_calendar() {
    let (world, _daemon) = with_hall();
    let asked = ["year", "hall", "--from", "2041-01-01T12:00:00Z"];
    let printed = world.ok(&asked);
    assert!(printed.starts_with("BEGIN:VCALENDAR\r\n") && printed.ends_with("\r\nEND:VCALENDAR\r\n"));
    assert!(printed.contains("\r\nX-WR-CALNAME:Reeds\\, in the hall\r\n"));
    let said = world.ok(&[&asked as &[&str], &["-o", "hall.ics"]].concat());
    // two a day, and the one that holds at the beginning
    assert_eq!(said, "hall.ics holds 731 changes of hall.\n");
    let written = std::fs::read_to_string(world.path("hall.ics")).unwrap();
    let without_stamp =
        |text: &str| text.lines().filter(|line| !line.starts_with("DTSTAMP")).collect::<Vec<_>>().join("\n");
    assert_eq!(without_stamp(&written), without_stamp(&printed));
    assert!(!exists(&world.path("hall.ics.part")));
    let told = world.json(&[&asked as &[&str], &["-o", "hall.ics"]].concat());
    assert_eq!((&told["file"], &told["changes"]), (&Value::from("hall.ics"), &Value::from(731)));
    assert_eq!(world.json(&asked)["changes"].as_array().unwrap().len(), 731);
}

#[test]
fn what_cannot_be_asked_of_an_agenda_is_refused() {
    let (world, _daemon) = with_hall();
    for (arguments, code, word) in [
        (
            &["agenda", "hall", "--from", "2041-01-10T12:00:00Z", "--to", "2041-01-10T12:00:00Z"] as &[&str],
            1,
            "400 days",
        ),
        (&["agenda", "hall", "--to", "+401d"], 1, "400 days"),
        (&["agenda", "hall", "--to", "soon"], 2, "RFC 3339"),
        (&["year", "hall", "--from", "yesterday"], 2, "RFC 3339"),
        (&["year", "hall", "--from", "9999-06-01T00:00:00Z"], 2, "end of time"),
        (&["year", "stairs"], 1, "stairs"),
        (&["year", "hall", "-o", "nowhere/hall.ics"], 1, "nowhere"),
    ] {
        let (found, said) = world.fails(arguments);
        assert!(found == code && said.contains(word), "{arguments:?}: {found} {said}");
    }
    // a folder cannot be replaced by a file, and nothing is left beside it
    std::fs::create_dir(world.path("folder")).unwrap();
    let (code, said) = world.fails(&["year", "hall", "-o", "folder"]);
    assert!(code == 1 && said.contains("folder") && !exists(&world.path("folder.part")), "{said}");
    // what there was stays when the new one cannot be made
    world.write("hall.ics", "old");
    world.fails(&["year", "stairs", "-o", "hall.ics"]);
    assert_eq!(std::fs::read_to_string(world.path("hall.ics")).unwrap(), "old");
}

#[test]
fn a_timetable_without_a_place_is_refused_with_the_settings_that_are_missing() {
    let world = World::new();
    let _daemon = world.serve(&[]);
    world.ok(&["add", "hall"]);
    let (code, said) = world.fails(&["edit", "hall", DESIRED]);
    assert_eq!(code, 1);
    for word in ["/timetable/0/start", "site.latitude", "site.longitude", "site.zone"] {
        assert!(said.contains(word), "{said}");
    }
    assert_eq!(world.json(&["past", "hall"])["changes"].as_array().unwrap().len(), 1, "only its making");
}
