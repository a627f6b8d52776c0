//! Checks of the crate from outside: what is read and refused, the sun, the solved timetable, and the laws of
//! showing and agenda.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod floors;
mod laws;
mod links;
mod naive;
mod pieces;
mod showings;
mod starts;
mod sun;
mod timetables;
mod zones;

use almanac::{Entry, Place, Plan, Running, Scene, Timetable};
use jiff::Timestamp;

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn amsterdam() -> Place {
    Place::new(52.37, 4.9, "Europe/Amsterdam").unwrap()
}

fn entry(start: &str, look: &str) -> Entry {
    Entry::new(start.parse().unwrap(), look)
}

fn plan_of(entries: Vec<Entry>) -> Plan {
    Plan { timetable: Timetable::new(entries).unwrap(), ..Plan::default() }
}

fn scene<'a>(plan: &'a Plan, place: Option<&'a Place>, edited_at: &str, running: &'a [Running]) -> Scene<'a> {
    Scene { plan, place, edited_at: at(edited_at), running }
}

/// The rows of a table of check values, without its two heading lines, cut at the commas.
fn rows(name: &str) -> Vec<Vec<String>> {
    let path = format!("{}/../../tests/check-values/{name}", env!("CARGO_MANIFEST_DIR"));
    let table = std::fs::read_to_string(path).unwrap();
    table.lines().skip(2).map(|line| line.split(',').map(str::to_owned).collect()).collect()
}
