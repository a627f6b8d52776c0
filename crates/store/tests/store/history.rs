//! Pages of history, held against a plain reading of the table.

use document::{Pointer, Value};
use jiff::Timestamp;
use kernel::{Actor, Command, Message, Paper, Way};
use proptest::prelude::*;
use serde_json::json;
use sqlx::Row as _;
use store::{Change, Direction, Filter, Page, Request, StoreError};

use crate::rig::{Rig, connection, create, hear, merge, record, report, request, second};

const NAMES: [&str; 3] = ["hall", "jetty", "stairs"];

/// Where a page is asked for.
#[derive(Debug, Clone, Copy)]
enum Of {
    House,
    Fixture(&'static str),
}

async fn page(
    rig: &Rig,
    of: Of,
    filter: &Filter,
    direction: Direction,
    cursor: Option<&str>,
    most: usize,
) -> Result<Page, StoreError> {
    match of {
        Of::House => rig.store.history(filter, direction, cursor, most).await,
        Of::Fixture(name) => rig.store.fixture_history(&rig.get(name), filter, direction, cursor, most).await,
    }
}

/// All pages, one after the other.
async fn pages(rig: &Rig, of: Of, filter: &Filter, direction: Direction, most: usize) -> Vec<Change> {
    let mut changes = Vec::new();
    let mut cursor: Option<String> = None;
    loop {
        let page = page(rig, of, filter, direction, cursor.as_deref(), most).await.unwrap();
        assert!(page.changes.len() <= most);
        changes.extend(page.changes);
        assert!(changes.len() < 10_000, "pages go on without end");
        match page.next {
            Some(next) => {
                assert_ne!(Some(&next), cursor.as_ref(), "a cursor leads on");
                cursor = Some(next);
            }
            None => return changes,
        }
    }
}

/// The rows that are wanted, read from the table in the plainest way. Whether a patch touches a place is left to the
/// crate whose own tests hold it.
async fn expected(rig: &Rig, of: Of, filter: &Filter, direction: Direction) -> Vec<i64> {
    let mut connection = connection(rig.store.path()).await;
    let rows =
        sqlx::query("SELECT h.*, f.id AS name FROM history h JOIN fixture f ON f.key = h.slot / 8 ORDER BY h.id")
            .fetch_all(&mut connection)
            .await
            .unwrap();
    let mut ids: Vec<i64> = rows
        .iter()
        .filter(|row| {
            let at = Timestamp::from_millisecond(row.get("at")).unwrap();
            let patch: Value = serde_json::from_str(row.get("patch")).unwrap();
            let paper = Paper::ALL[usize::try_from(row.get::<i64, _>("slot") % 8).unwrap()];
            (match of {
                Of::House => true,
                Of::Fixture(name) => row.get::<&str, _>("name") == name,
            }) && filter.since.is_none_or(|since| since <= at)
                && filter.until.is_none_or(|until| at < until)
                && filter.by.as_deref().is_none_or(|by| by == row.get::<&str, _>("by"))
                && filter.via.as_deref().is_none_or(|via| via == row.get::<&str, _>("via"))
                && filter.paper.is_none_or(|wanted| wanted == paper)
                && filter.path.as_ref().is_none_or(|path| document::touches(&patch, path))
        })
        .map(|row| row.get("id"))
        .collect();
    if direction == Direction::NewestFirst {
        ids.reverse();
    }
    ids
}

fn ids(changes: &[Change]) -> Vec<i64> {
    changes.iter().map(|change| change.id).collect()
}

/// One step of a random history: fixture, what, who, seconds since the step before (now and then back).
type Step = (usize, u8, u8, i64);

async fn lived(steps: &[Step]) -> Rig {
    let rig = Rig::new().await;
    let mut waiting = Vec::new();
    for name in NAMES {
        waiting.push(rig.store.submit(request(create(name), second(0))).await.unwrap());
    }
    let mut now = 0;
    for (n, (of, what, who, pause)) in steps.iter().enumerate() {
        now += pause;
        let name = NAMES[*of];
        let command: Command = match what {
            0..=3 => merge(name, json!({"n": n})),
            4 => merge(name, json!({"looks": {"late": {"n": n}}})),
            5 => merge(name, json!({"looks": null, "n": n})),
            6 => record(name, json!({"title": format!("reeds {n}")})),
            7 | 8 => report(name, 0, json!({"n": n, "rssi": n})),
            _ => hear(name, Message::Ask { have: 0 }),
        };
        let actor =
            [Actor::new("owner", Way::Http), Actor::new("guest", Way::Page), Actor::fixture("hall"), Actor::daemon()];
        let request =
            Request { command, actor: actor[usize::from(*who)].clone(), at: second(now), cause: None, once: None };
        waiting.push(rig.store.submit(request).await.unwrap());
    }
    for answer in waiting {
        answer.await.unwrap().unwrap();
    }
    rig
}

fn filters() -> impl Strategy<Value = Filter> {
    let time = prop::option::weighted(0.3, -1000_i64..400_000);
    let path = prop::option::weighted(
        0.3,
        prop::sample::select(vec!["", "/n", "/looks", "/looks/late", "/looks/late/n", "/title", "/missing"]),
    );
    let by =
        prop::option::weighted(0.3, prop::sample::select(vec!["owner", "guest", "fixture:hall", "sconced", "nobody"]));
    let via = prop::option::weighted(0.3, prop::sample::select(vec!["http", "page", "mqtt", "daemon", "cli"]));
    let paper = prop::option::weighted(0.3, prop::sample::select(Paper::ALL.to_vec()));
    (time.clone(), time, path, by, via, paper).prop_map(|(since, until, path, by, via, paper)| Filter {
        since: since.map(second),
        until: until.map(second),
        path: path.map(|text: &str| text.parse::<Pointer>().unwrap()),
        by: by.map(String::from),
        via: via.map(String::from),
        paper,
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn pages_of_any_size_add_up_to_what_the_table_holds(
        steps in prop::collection::vec((0_usize..3, 0_u8..10, 0_u8..4, prop_oneof![9 => 0_i64..4000, 1 => -20_000_i64..0]), 0..300),
        filters in prop::collection::vec(filters(), 4),
        most in prop::sample::select(vec![1_usize, 2, 3, 7, 64, 65, 128, 129, 1000]),
    ) {
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        runtime.block_on(async {
            let rig = lived(&steps).await;
            for filter in filters.iter().chain([&Filter::default()]) {
                for of in [Of::House, Of::Fixture("hall"), Of::Fixture("stairs")] {
                    for direction in [Direction::NewestFirst, Direction::OldestFirst] {
                        let wanted = expected(&rig, of, filter, direction).await;
                        let whole = page(&rig, of, filter, direction, None, 10_000).await.unwrap();
                        assert_eq!(ids(&whole.changes), wanted, "{of:?} {filter:?} {direction:?}");
                        assert_eq!(whole.next, None);
                        let parts = pages(&rig, of, filter, direction, most).await;
                        assert_eq!(parts, whole.changes, "{of:?} {filter:?} {direction:?} {most}");
                    }
                }
            }
            rig.store.stop().await;
        });
    }
}

fn plain_steps(count: usize) -> Vec<Step> {
    (0..count).map(|n| (n % 2, u8::try_from(n % 9).unwrap(), 0, 10)).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_change_is_told_whole() {
    let rig = lived(&[(0, 4, 1, 5)]).await;
    let newest = page(&rig, Of::Fixture("hall"), &Filter::default(), Direction::NewestFirst, None, 1).await.unwrap();
    let [change] = newest.changes.as_slice() else { panic!("{newest:?}") };
    assert_eq!((change.fixture.as_str(), change.paper, change.revision), ("hall", Paper::Desired, 1));
    assert_eq!((change.at, change.by.as_str(), change.via.as_str()), (second(5), "guest", "page"));
    assert_eq!((&change.patch, &change.inverse), (&json!({"looks": {"late": {"n": 0}}}), &json!({"looks": null})));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_cursor_that_was_not_given_out_is_refused() {
    let rig = lived(&plain_steps(60)).await;
    let filter = Filter::default();
    for direction in [Direction::NewestFirst, Direction::OldestFirst] {
        for garbage in [
            "",
            "c",
            "r",
            "n",
            "o",
            "n1",
            "r-1",
            "r+1",
            "r1.2",
            "r99999999999999999999",
            "x5",
            "n8-1.9-1",
            "o8-1.9-1.10-x",
            "o8-1.9-1.10--1",
            "n8-1.9-1.10-1.11-1",
            "ü",
        ] {
            for of in [Of::House, Of::Fixture("hall")] {
                let refused = page(&rig, of, &filter, direction, Some(garbage), 5).await;
                assert!(matches!(refused, Err(StoreError::Cursor)), "{of:?} {garbage}: {refused:?}");
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_cursor_leads_along_the_documents_it_was_given_for_and_no_others() {
    let rig = lived(&plain_steps(200)).await;
    let all = Filter::default();
    let desired = Filter { paper: Some(Paper::Desired), ..Filter::default() };
    let reported = Filter { paper: Some(Paper::Reported), ..Filter::default() };
    for direction in [Direction::NewestFirst, Direction::OldestFirst] {
        let given = |of, filter| {
            let rig = &rig;
            async move { page(rig, of, filter, direction, None, 5).await.unwrap().next.unwrap() }
        };
        let other = if direction == Direction::NewestFirst { Direction::OldestFirst } else { Direction::NewestFirst };
        let hall = given(Of::Fixture("hall"), &all).await;
        let of_desired = given(Of::Fixture("hall"), &desired).await;
        let house = given(Of::House, &all).await;
        for (of, filter, direction, cursor) in [
            (Of::Fixture("jetty"), &all, direction, &hall),
            (Of::Fixture("hall"), &all, other, &hall),
            (Of::Fixture("hall"), &desired, direction, &hall),
            (Of::Fixture("hall"), &reported, direction, &of_desired),
            (Of::Fixture("hall"), &all, direction, &house),
            (Of::House, &all, direction, &hall),
        ] {
            let refused = page(&rig, of, filter, direction, Some(cursor), 5).await;
            assert!(
                matches!(refused, Err(StoreError::Cursor)),
                "{of:?} {filter:?} {direction:?} {cursor}: {refused:?}"
            );
        }
        assert!(page(&rig, Of::Fixture("hall"), &all, direction, Some(&hall), 5).await.is_ok());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_row_of_a_stranger_in_a_cursor_is_refused() {
    let rig = lived(&plain_steps(60)).await;
    let key = rig.get("hall").key.0 * 8;
    let head = rig.get("jetty").desired.head.unwrap();
    let forged = format!("n{key}-{head}.{}-0.{}-0", key + 1, key + 2);
    let refused = page(&rig, Of::Fixture("hall"), &Filter::default(), Direction::NewestFirst, Some(&forged), 5).await;
    assert!(matches!(refused, Err(StoreError::Cursor)), "{refused:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_go_on_where_they_were_while_edits_are_made() {
    let rig = lived(&plain_steps(100)).await;
    let filter = Filter::default();
    let before = pages(&rig, Of::Fixture("hall"), &filter, Direction::NewestFirst, 1000).await;
    let first = page(&rig, Of::Fixture("hall"), &filter, Direction::NewestFirst, None, 10).await.unwrap();
    rig.tell_at(merge("hall", json!({"later": 1})), second(100_000)).await;
    let rest =
        page(&rig, Of::Fixture("hall"), &filter, Direction::NewestFirst, first.next.as_deref(), 1000).await.unwrap();
    assert_eq!([first.changes, rest.changes].concat(), before);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_history_of_a_house_tells_of_fixtures_that_are_gone() {
    let rig = lived(&plain_steps(10)).await;
    let key = rig.get("hall").key;
    rig.tell(crate::rig::delete("hall")).await;
    rig.tell(create("hall")).await;
    let changes = pages(&rig, Of::House, &Filter::default(), Direction::NewestFirst, 3).await;
    let gone = changes.iter().find(|change| change.patch.is_null()).unwrap();
    assert_eq!((gone.fixture.as_str(), gone.paper), ("hall", Paper::Fixture));
    assert_eq!(gone.inverse["title"].as_str().map(|title| title.starts_with("reeds")), Some(true));
    assert_ne!(rig.get("hall").key, key);
    let own = pages(&rig, Of::Fixture("hall"), &Filter::default(), Direction::NewestFirst, 3).await;
    assert_eq!(own.len(), 1, "a new fixture has its own past, not that of another of its id");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_house_has_an_empty_page() {
    let rig = Rig::new().await;
    for direction in [Direction::NewestFirst, Direction::OldestFirst] {
        for filter in
            [Filter::default(), Filter { since: Some(second(0)), until: Some(second(9)), ..Filter::default() }]
        {
            let page = rig.store.history(&filter, direction, None, 10).await.unwrap();
            assert_eq!(page, Page { changes: Vec::new(), next: None });
        }
    }
}
