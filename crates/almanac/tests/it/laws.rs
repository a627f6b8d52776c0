//! The laws that hold for every scene and instant: agenda, deadline and showing agree with each other, and with a
//! plain reading of the rules.

use almanac::{
    Dates, Days, Entry, Override, Place, Plan, Running, Scene, Shift, Start, SunEvent, Timetable, Until, agenda,
    dark_hours, next_change, next_deadline, override_end, showing,
};
use jiff::civil::{Time, date};
use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;

use crate::naive;

const HOUR: SignedDuration = SignedDuration::from_hours(1);
const NANOSECOND: SignedDuration = SignedDuration::from_nanos(1);

/// A scene that owns its parts, and a time around which to ask about it.
#[derive(Debug, Clone)]
struct Owned {
    plan: Plan,
    place: Option<Place>,
    edited_at: Timestamp,
    running: Vec<Running>,
    around: Timestamp,
}

impl Owned {
    fn scene(&self) -> Scene<'_> {
        Scene { plan: &self.plan, place: self.place.as_ref(), edited_at: self.edited_at, running: &self.running }
    }
}

/// Places with polar days and nights, with all sorts of clock changes, and with zones far from their longitude.
fn place() -> impl Strategy<Value = Place> {
    let known = prop::sample::select(vec![
        (52.37, 4.9, "Europe/Amsterdam"),
        (69.65, 18.96, "Europe/Oslo"),
        (78.22, 15.65, "Arctic/Longyearbyen"),
        (-77.85, 166.67, "Antarctica/McMurdo"),
        (-13.83, -171.76, "Pacific/Apia"),
        (-31.55, 159.08, "Australia/Lord_Howe"),
        (47.56, -52.71, "America/St_Johns"),
        (-23.55, -46.63, "America/Sao_Paulo"),
        (30.04, 31.24, "Africa/Cairo"),
        (66.0, 170.0, "America/New_York"),
        (90.0, 0.0, "UTC"),
        (65.7, -170.0, "Pacific/Kiritimati"),
    ]);
    let any = (-90.0..=90.0, -180.0..=180.0, prop::sample::select(vec!["UTC", "Asia/Kathmandu", "America/Havana"]));
    prop_oneof![4 => known, 1 => any]
        .prop_map(|(latitude, longitude, zone)| Place::new(latitude, longitude, zone).unwrap())
}

/// Instants near changes of clocks, near polar days and nights, near leap days, and any in fifty years.
fn around() -> impl Strategy<Value = Timestamp> {
    let eventful = prop::sample::select(vec![
        "2011-12-30T10:00:00Z",
        "2010-11-07T02:31:00Z",
        "2018-11-04T03:00:00Z",
        "2024-10-31T21:00:00Z",
        "2026-03-29T01:00:00Z",
        "2026-10-25T01:00:00Z",
        "2026-04-18T22:00:00Z",
        "2026-08-24T22:00:00Z",
        "2026-05-18T22:00:00Z",
        "2028-02-29T12:00:00Z",
        "2026-12-31T23:00:00Z",
        "2025-04-04T15:00:00Z",
    ]);
    prop_oneof![
        2 => (eventful, -72_i64..72).prop_map(|(text, hours)| text.parse::<Timestamp>().unwrap() + HOUR * hours as i32),
        1 => (1_000_000_000_i64..2_600_000_000).prop_map(|second| Timestamp::from_second(second).unwrap()),
    ]
}

/// Wall times that often are the same, and often lie in gaps and folds.
fn wall() -> impl Strategy<Value = Time> {
    prop_oneof![
        2 => prop::sample::select(vec![(0, 0), (0, 30), (2, 30), (1, 30), (23, 30), (23, 59), (16, 30), (22, 45)]),
        1 => (0_i8..24, 0_i8..60),
    ]
    .prop_map(|(hour, minute)| Time::new(hour, minute, 0, 0).unwrap())
}

fn dates() -> impl Strategy<Value = Dates> {
    let day = || (0_i32..366).prop_map(|day| date(2000, 1, 1).checked_add(jiff::Span::new().days(day)).unwrap().into());
    prop_oneof![
        3 => (day(), day()).prop_map(|(from, to)| Dates { from, to }),
        1 => Just(Dates { from: "02-29".parse().unwrap(), to: "02-29".parse().unwrap() }),
        1 => Just(Dates { from: "12-01".parse().unwrap(), to: "01-06".parse().unwrap() }),
    ]
}

fn look() -> impl Strategy<Value = String> {
    prop::sample::select(vec!["evening", "late", "greet", "dark"]).prop_map(str::to_owned)
}

fn entry() -> impl Strategy<Value = Entry> {
    let start =
        prop_oneof![wall().prop_map(Start::Wall), prop::sample::select(SunEvent::ALL.to_vec()).prop_map(Start::Sun),];
    let shift = prop_oneof![
        2 => Just(Shift::NONE),
        1 => (-720_i32..=720).prop_map(|minutes| {
            format!("{}PT{}M", if minutes < 0 { "-" } else { "" }, minutes.abs()).parse().unwrap()
        }),
    ];
    let days = prop::sample::subsequence(vec!["mon", "tue", "wed", "thu", "fri", "sat", "sun"], 1..7)
        .prop_map(|names| Days::from_names(names).unwrap());
    let rare = |strategy| prop::option::weighted(0.2, strategy);
    (
        start,
        shift,
        look(),
        prop::option::weighted(0.3, days),
        prop::option::weighted(0.3, dates()),
        rare(wall()),
        rare(wall()),
    )
        .prop_map(|(start, shift, look, days, dates, one, other)| {
            let (not_before, not_after) = match (one, other) {
                (Some(one), Some(other)) => (Some(one.min(other)), Some(one.max(other))),
                clamps => clamps,
            };
            Entry { start, shift, look, days, dates, not_before, not_after }
        })
}

fn scene() -> impl Strategy<Value = Owned> {
    let until = prop_oneof![
        3 => (-50_i32..50).prop_map(Some),
        1 => Just(None),
    ];
    let held = prop::option::weighted(0.3, (look(), until, any::<bool>()));
    let running = prop::collection::vec((look(), -40_i32..40, prop::option::of(-2_i32..20)), 0..4);
    let running = prop_oneof![1 => Just(Vec::new()), 1 => running];
    let timetable = prop::collection::vec(entry(), 0..7);
    let parts = (prop::bool::weighted(0.95), prop::option::of(look()), held, timetable, prop::bool::weighted(0.4));
    (parts, prop::option::weighted(0.95, place()), around(), -200_i32..100, running).prop_map(
        |((lit, default, held, entries, keeps_floor), place, around, edited, running)| {
            let half_hours = |count: i32| around + HOUR / 2 * count;
            let owners_override = held.map(|(look, until, next)| Override {
                look: look.into(),
                until: match until {
                    Some(count) => Until::At(half_hours(count)),
                    None if next => Until::NextChange,
                    None => Until::Released,
                },
            });
            let running = running
                .into_iter()
                .enumerate()
                .map(|(index, (look, since, long))| Running {
                    link: format!("link-{index}"),
                    look,
                    since: half_hours(since),
                    until: long.map(|long| half_hours(since + long)),
                })
                .collect();
            let timetable = Timetable::new(entries).unwrap();
            let default = default.map(Into::into);
            let plan = Plan { lit, default, owners_override, timetable, keeps_floor };
            Owned { plan, place, edited_at: half_hours(edited), running, around }
        },
    )
}

/// A time within some days, in whole or half seconds or on the half hour, as beginnings and ends often are.
fn offset() -> impl Strategy<Value = SignedDuration> {
    prop_oneof![
        (-150_i32..150).prop_map(|count| HOUR / 2 * count),
        (-500_000_000_i64..500_000_000).prop_map(SignedDuration::from_millis),
    ]
}

/// 2,000 unless the environment says otherwise, as proptest's own default reads it.
fn cases() -> ProptestConfig {
    match std::env::var_os("PROPTEST_CASES") {
        Some(_) => ProptestConfig::default(),
        None => ProptestConfig::with_cases(2000),
    }
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn the_change_that_covers_an_instant_is_what_shows_then(
        owned in scene(), from in offset(), long in 0_i64..100, ask in 0.0..1.0_f64
    ) {
        let scene = owned.scene();
        let from = owned.around + from;
        let to = from + SignedDuration::from_hours(long);
        let changes = agenda(&scene, from, to);
        prop_assert!(!changes.is_empty());
        prop_assert!(changes[0].at <= from);
        for pair in changes.windows(2) {
            prop_assert!(pair[0].at < pair[1].at && pair[1].at > from && pair[1].at < to);
            prop_assert_eq!(pair[0].until, Some(pair[1].at));
            prop_assert!(
                pair[0].look != pair[1].look || pair[0].because != pair[1].because || pair[0].floored != pair[1].floored
            );
        }
        prop_assert!(changes.last().unwrap().until.is_none_or(|end| end >= to));
        // At each change, just before it, a second before it, and somewhere.
        let mut instants = vec![from, from + SignedDuration::from_secs_f64(ask * from.duration_until(to).as_secs_f64())];
        for change in &changes {
            if let Some(end) = change.until {
                instants.extend([end - NANOSECOND, end - SignedDuration::from_secs(1), end]);
            }
        }
        for now in instants {
            if now < from || (now >= to && now != from) {
                continue;
            }
            let covering = changes.iter().rev().find(|change| change.at <= now).unwrap();
            let shown = showing(&scene, now);
            prop_assert_eq!(&covering.look, &shown.look, "look at {}", now);
            prop_assert_eq!((covering.because, covering.floored), (shown.because, shown.floored), "at {}", now);
            prop_assert_eq!(covering.until, shown.until, "until, at {}", now);
            if from >= owned.edited_at {
                prop_assert_eq!(Some(covering.at), shown.since, "since, at {}", now);
            }
            prop_assert_eq!(shown.since.is_some(), now >= owned.edited_at);
        }
    }

    #[test]
    fn what_shows_is_what_a_plain_reading_of_the_rules_says(owned in scene(), ask in offset()) {
        let scene = owned.scene();
        let now = owned.around + ask;
        let shown = showing(&scene, now);
        let (look, because, floored) = naive::shown(&scene, now);
        prop_assert_eq!((&shown.look, shown.because), (&look, because));
        if let Some(floored) = floored {
            prop_assert_eq!(shown.floored, floored);
        }
        if let Some(entry) = shown.entry {
            prop_assert_eq!(naive::held(&scene, now).map(|(_, index)| index), Some(entry));
        }
        if let Some(link) = &shown.link {
            prop_assert!(owned.running.iter().any(|running| &running.link == link && running.look == look));
        }
    }

    #[test]
    fn since_and_until_enclose_the_instant_and_nothing_changes_between(
        owned in scene(), ask in offset(), between in 0.0..1.0_f64
    ) {
        let scene = owned.scene();
        let now = owned.around + ask;
        let shown = showing(&scene, now);
        prop_assert!(shown.since.is_none_or(|since| since <= now && since >= owned.edited_at));
        prop_assert!(shown.until.is_none_or(|until| until > now));
        let same = |other: &almanac::Showing| {
            (&other.look, other.because, other.floored) == (&shown.look, shown.because, shown.floored)
        };
        let first = shown.since.unwrap_or(now);
        let last = shown.until.unwrap_or(now + HOUR * 24 * 30) - NANOSECOND;
        let some = first + SignedDuration::from_secs_f64(first.duration_until(last).as_secs_f64() * between);
        for instant in [first, some, last] {
            let other = showing(&scene, instant);
            prop_assert!(same(&other), "at {instant}: {other:?} and at {now}: {shown:?}");
            if instant >= first && instant >= owned.edited_at {
                prop_assert_eq!(other.until, shown.until);
                prop_assert!(shown.since.is_none() || other.since == shown.since);
            }
        }
        if let Some(end) = shown.until {
            prop_assert!(!same(&showing(&scene, end)));
        }
        if let Some(since) = shown.since.filter(|since| *since > owned.edited_at) {
            prop_assert!(!same(&showing(&scene, since - NANOSECOND)));
        }
    }

    #[test]
    fn nothing_changes_before_the_deadline(owned in scene(), ask in offset(), later in 0_i64..400) {
        let scene = owned.scene();
        let now = owned.around + ask;
        let (shown, deadline) = (showing(&scene, now), next_deadline(&scene, now));
        prop_assert_eq!(next_change(&scene, now), shown.until);
        let end = override_end(&scene).filter(|end| *end > now);
        prop_assert_eq!(deadline, [shown.until, end].into_iter().flatten().min());
        let later = now + HOUR / 4 * later as i32;
        if deadline.is_none_or(|deadline| later < deadline) {
            let then = showing(&scene, later);
            prop_assert_eq!((then.look, then.because, then.floored), (shown.look, shown.because, shown.floored));
        }
    }

    #[test]
    fn what_is_not_lit_is_always_dark(owned in scene(), ask in offset()) {
        let owned = Owned { plan: Plan { lit: false, ..owned.plan.clone() }, ..owned };
        let shown = showing(&owned.scene(), owned.around + ask);
        prop_assert_eq!((shown.look.as_str(), shown.floored, shown.until), ("dark", false, None));
    }

    #[test]
    fn dark_hours_are_when_the_floor_is_kept(
        place in place(), around in around(), long in 0_i64..200, asks in prop::collection::vec(0.0..1.0_f64, 8)
    ) {
        let to = around + SignedDuration::from_hours(long);
        let hours = dark_hours(&place, around, to);
        for pair in hours.windows(2) {
            prop_assert!(pair[0].1 < pair[1].0);
        }
        prop_assert!(hours.iter().all(|(begin, end)| around <= *begin && begin < end && *end <= to));
        let plan = Plan { keeps_floor: true, default: Some("evening".into()), ..Plan::default() };
        let scene = Scene { plan: &plan, place: Some(&place), edited_at: around, running: &[] };
        for ask in asks {
            let now = around + SignedDuration::from_secs_f64(SignedDuration::from_hours(long).as_secs_f64() * ask);
            let dark = hours.iter().any(|(begin, end)| *begin <= now && now < *end);
            prop_assert!(now >= to || dark == showing(&scene, now).floored, "{now}");
        }
    }
}
