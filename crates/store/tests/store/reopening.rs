//! A house that is closed and opened again is the same house.

use kernel::Message;
use serde_json::json;
use store::{Scope, StoreError};

use crate::checker;
use crate::rig::{Rig, create, delete, enrol, hear, merge, open, record, report, run_sql, second, told};

fn house(rig: &Rig) -> Vec<String> {
    rig.store.house().all().iter().map(|fixture| told(fixture)).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_house_comes_back() {
    let rig = Rig::new().await;
    for name in ["hall", "jetty"] {
        rig.tell(create(name)).await;
    }
    rig.tell_at(
        record("hall", json!({"title": "Reeds «in» the \"hall\"", "groups": ["indoors"], "notes": "a\n'b'"})),
        second(1),
    )
    .await;
    rig.tell_at(merge("hall", json!({"lit": true, "ünï": "'; DROP TABLE fixture; --"})), second(2)).await;
    rig.tell_at(
        hear(
            "hall",
            Message::boot(br#"{"reason":"brownout","have":0,"firmware":"2.1","boots":4,"rssi":-61}"#).unwrap(),
        ),
        second(3),
    )
    .await;
    rig.tell_at(report("hall", 1, json!({"lit": true, "rssi": -60})), second(4)).await;
    rig.tell_at(report("hall", 1, json!({"rssi": -62})), second(5)).await;
    rig.tell_at(hear("hall", Message::Event { event: "motion".into(), n: 12 }), second(6)).await;
    rig.tell_at(hear("jetty", Message::alive(b"{\"alive\":false}").unwrap()), second(7)).await;
    rig.tell_at(enrol(&rig.store, "hall", b"secret", None), second(8)).await;
    let (token, text) =
        (rig.store.add_token("page".into(), Scope::Edit, "token-text", second(9)).await.unwrap(), "token-text");
    let due = (rig.store.outbox().len(), rig.store.outbox().take(9));
    let (key, before) = (*rig.store.key(), house(&rig));
    let rig = rig.reopened().await;
    assert_eq!(house(&rig), before);
    assert_eq!(rig.store.key(), &key, "hashes stay good");
    assert_eq!(rig.store.tokens(), std::slice::from_ref(&token));
    assert_eq!(rig.store.token(text), Some(token));
    assert_eq!(rig.store.token("another"), None);
    assert_eq!((rig.store.outbox().len(), rig.store.outbox().take(9)), due, "what was not acknowledged is due again");
    checker::check(rig.store.path()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn tokens_are_kept_under_their_names_and_taken_away_by_number() {
    let rig = Rig::new().await;
    let one = rig.store.add_token("page".into(), Scope::Read, "text-1", second(0)).await.unwrap();
    let twice = rig.store.add_token("page".into(), Scope::Admin, "text-2", second(0)).await;
    assert!(matches!(twice, Err(StoreError::TokenExists(name)) if name == "page"));
    let other = rig.store.add_token("shell".into(), Scope::Admin, "text-3", second(0)).await.unwrap();
    rig.store.remove_token(one.id).await.unwrap();
    assert!(matches!(rig.store.remove_token(one.id).await, Err(StoreError::NotThere(_))));
    assert_eq!((rig.store.token("text-1"), rig.store.token("text-2")), (None, None));
    let rig = rig.reopened().await;
    assert_eq!(rig.store.tokens(), [other]);
    assert!(Scope::Read < Scope::Edit && Scope::Edit < Scope::Admin, "each includes those before it");
}

#[tokio::test(flavor = "multi_thread")]
async fn no_secret_and_no_token_is_in_the_file() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    rig.tell(enrol(&rig.store, "hall", b"correct-horse-battery", None)).await;
    rig.store.add_token("page".into(), Scope::Read, "staple-token-text", second(0)).await.unwrap();
    rig.store.stop().await;
    for file in std::fs::read_dir(rig.folder.path()).unwrap() {
        let bytes = std::fs::read(file.unwrap().path()).unwrap();
        for secret in ["correct-horse-battery", "staple-token-text"] {
            assert!(!bytes.windows(secret.len()).any(|window| window == secret.as_bytes()));
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_row_that_does_not_decode_names_table_column_and_key() {
    for (sql, table, column, key) in [
        ("UPDATE document SET body = 'nonsense' WHERE slot = 9", "document", "body", "9"),
        ("UPDATE document SET body = '[]' WHERE slot = 9", "document", "body", "9"),
        ("UPDATE document SET body = '{\"kind\":7}' WHERE slot = 8", "document", "body", "8"),
        ("UPDATE document SET revision = -1 WHERE slot = 9", "document", "revision", "9"),
        ("UPDATE document SET at = 9223372036854775807 WHERE slot = 9", "document", "at", "9"),
        ("DELETE FROM document WHERE slot = 8", "document", "slot", "8"),
        ("UPDATE fixture SET id = 'Hall!'", "fixture", "id", "1"),
        ("UPDATE fixture SET secret = x'00'", "fixture", "secret", "1"),
        ("UPDATE fixture SET created = -9223372036854775808", "fixture", "created", "1"),
        ("UPDATE life SET boot = '{}'", "life", "boot", "1"),
        ("UPDATE life SET applied = -4", "life", "applied", "1"),
        ("UPDATE life SET heard = 9223372036854775807", "life", "heard", "1"),
        ("UPDATE token SET scope = 'owner'", "token", "scope", "1"),
        ("UPDATE token SET hash = x'0102'", "token", "hash", "1"),
        ("UPDATE setting SET value = 'short'", "setting", "value", "hash-key"),
    ] {
        let rig = Rig::new().await;
        rig.tell(create("hall")).await;
        rig.tell(merge("hall", json!({"a": 1}))).await;
        rig.tell(hear("hall", Message::boot(b"{}").unwrap())).await;
        rig.store.add_token("page".into(), Scope::Read, "text", second(0)).await.unwrap();
        rig.store.stop().await;
        run_sql(rig.store.path(), sql).await;
        let error = open(rig.folder.path()).await.expect_err(sql);
        let text = error.to_string();
        let StoreError::Row { table: in_table, column: in_column, key: of_key, .. } = error else {
            panic!("{sql}: {error:?}")
        };
        assert_eq!((in_table, in_column, of_key.as_str()), (table, column, key), "{sql}");
        assert!(text.contains("restore"), "it says what to do: {text}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_row_of_history_that_does_not_decode_is_told_when_it_is_read() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    rig.tell(merge("hall", json!({"a": 1}))).await;
    run_sql(rig.store.path(), "UPDATE history SET inverse = '{' WHERE id = 2").await;
    let fixture = rig.get("hall");
    for error in [
        rig.store.history(&store::Filter::default(), store::Direction::OldestFirst, None, 9).await.unwrap_err(),
        rig.store.at_revision(&fixture, kernel::Paper::Desired, 0).await.unwrap_err(),
    ] {
        let StoreError::Row { table: "history", column: "inverse", key, .. } = error else { panic!("{error:?}") };
        assert_eq!(key, "2");
    }
    assert_eq!(rig.desired("hall"), json!({"a": 1}), "the house goes on");
}

#[tokio::test(flavor = "multi_thread")]
async fn after_stop_nothing_is_taken_and_nothing_is_lost() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let mut waiting = Vec::new();
    for n in 0..50 {
        waiting.push(rig.store.submit(crate::rig::request(merge("hall", json!({"n": n})), second(0))).await.unwrap());
    }
    rig.store.stop().await;
    for answer in waiting {
        assert!(answer.await.unwrap().is_ok(), "what was queued before the stop is committed");
    }
    assert!(!rig.store.is_usable());
    let refused = rig.store.execute(crate::rig::request(delete("hall"), second(0))).await;
    assert!(matches!(refused, Err(store::ExecuteError::Store(StoreError::Stopped))));
    assert!(matches!(rig.store.remove_token(1).await, Err(StoreError::Stopped)));
    rig.store.stop().await;
    let rig = rig.reopened().await;
    assert_eq!(rig.get("hall").desired.revision.get(), 50);
}
