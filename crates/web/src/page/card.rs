//! A fixture on the page: what it shows and why, how it stands, when it last started.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use service::{BootReason, Fixture, Service, Standing};

use super::tube::{self, Lit};

/// A fixture on the page.
#[derive(Debug)]
pub(crate) struct Card {
    pub(crate) id: String,
    pub(crate) title: String,
    pub(crate) groups: String,
    /// Its standing as a word, and as the name of its style.
    pub(crate) standing: String,
    pub(crate) style: &'static str,
    /// What the standing means for this fixture.
    pub(crate) meaning: String,
    /// The look that shows; empty for kinds without looks.
    pub(crate) look: String,
    /// Why, and until when.
    pub(crate) why: String,
    /// The lit pieces of its tube.
    pub(crate) lit: Vec<Lit>,
    pub(crate) rev: u64,
    pub(crate) applied: u64,
    pub(crate) boot: String,
}

/// The card of a fixture.
pub(crate) fn of(service: &Service, fixture: &Fixture, now: Timestamp) -> Card {
    let standing = Standing::of(fixture);
    let place = fixture.place(service.site());
    let zone = place.map_or(TimeZone::UTC, |place| place.zone().clone());
    let when = |time: Timestamp| moment(time, now, &zone);
    // kinds without looks have nothing to show
    let shown = service.shown(fixture, now).ok().map(|shown| shown.shown);
    let (look, why, lit) = match &shown {
        None => (String::new(), format!("a fixture of the kind {} has no looks", fixture.record.kind), Vec::new()),
        Some(shown) => {
            let until = shown.showing.until.map(|until| format!(", until {}", when(until))).unwrap_or_default();
            let floor = if shown.showing.floored { "; its floor is kept" } else { "" };
            let why = format!("{}{until}{floor}", because(shown.showing.because.as_str()));
            (shown.showing.look.clone(), why, tube::lit(&shown.compiled.channels, shown.compiled.span))
        }
    };
    let groups: Vec<&str> = fixture.record.groups.iter().map(service::GroupName::as_str).collect();
    Card {
        id: fixture.id.to_string(),
        title: fixture.record.title.clone(),
        groups: groups.join(", "),
        standing: standing.to_string(),
        style: standing.as_str(),
        meaning: meaning(fixture, standing, &when),
        look,
        why,
        lit,
        rev: fixture.desired.revision.get(),
        applied: fixture.life.applied.get(),
        boot: fixture.life.boot.as_ref().map_or_else(
            || "no boot heard yet".to_owned(),
            |boot| format!("{} ({})", when(boot.at), reason(boot.reason)),
        ),
    }
}

fn because(word: &str) -> &'static str {
    match word {
        "unlit" => "it is switched off",
        "override" => "the owner's override holds",
        "link" => "a link runs",
        "timetable" => "by its timetable",
        "default" => "its default",
        _ => "nothing else is asked of it",
    }
}

fn meaning(fixture: &Fixture, standing: Standing, when: &dyn Fn(Timestamp) -> String) -> String {
    match standing {
        Standing::InStep => "it has applied the newest revision".to_owned(),
        Standing::Behind => "it has not applied the newest revision yet".to_owned(),
        Standing::Silent => {
            let since = fixture.life.alive_at.map(|at| format!(" since {}", when(at))).unwrap_or_default();
            if fixture.record.switched {
                format!("its connection is gone{since}; it hangs behind a wall switch, so that may well be")
            } else {
                format!("its connection is gone{since}")
            }
        }
        Standing::NeverHeard if fixture.enrolled_at.is_some() => "enrolled, but nothing was heard of it yet".to_owned(),
        Standing::NeverHeard => "not enrolled yet".to_owned(),
    }
}

fn reason(reason: BootReason) -> &'static str {
    match reason {
        BootReason::PowerOn => "power came on",
        BootReason::Brownout => "the supply sagged",
        BootReason::Watchdog => "it hung",
        BootReason::Software => "it restarted itself",
    }
}

/// A time as people read it: without the date when it is today, with its zone where that is not the place's.
fn moment(time: Timestamp, now: Timestamp, zone: &TimeZone) -> String {
    let (then, today) = (time.to_zoned_datetime(zone.clone()), now.to_zoned_datetime(zone.clone()).date());
    let utc = if *zone == TimeZone::UTC { " UTC" } else { "" };
    if then.date() == today {
        format!("{}{utc}", then.strftime("%H:%M:%S"))
    } else if then.date().year() == today.year() {
        format!("{}{utc}", then.strftime("%-d %b %H:%M"))
    } else {
        format!("{}{utc}", then.strftime("%-d %b %Y %H:%M"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_written_as_short_as_they_can_be() {
        let now: Timestamp = "2026-11-25T20:00:00Z".parse().unwrap();
        let zone = TimeZone::get("Europe/Amsterdam").unwrap();
        let of = |text: &str, zone: &TimeZone| moment(text.parse().unwrap(), now, zone);
        assert_eq!(of("2026-11-25T21:45:00Z", &zone), "22:45:00");
        assert_eq!(of("2026-11-25T23:30:00Z", &zone), "26 Nov 00:30");
        assert_eq!(of("2026-11-25T21:45:00Z", &TimeZone::UTC), "21:45:00 UTC");
        assert_eq!(of("2025-01-02T03:04:05Z", &TimeZone::UTC), "2 Jan 2025 03:04 UTC");
    }
}
