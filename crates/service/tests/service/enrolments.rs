//! Secrets of controllers and tokens of people.

use std::future::Future;
use std::pin::Pin;
use std::sync::{Arc, Mutex};

use serde_json::json;
use service::{BrokerFiles, Rejection, ServiceError};
use store::{Scope, StoreError};

use crate::rig::{Rig, at_revisions, id, once, owner};

/// A broker's side that remembers what it was told.
#[derive(Debug, Default)]
struct Told {
    settled: Mutex<Vec<(String, Option<String>)>>,
    fails: Mutex<bool>,
}

impl BrokerFiles for Told {
    fn line(&self, id: &str, secret: &str) -> Result<Option<String>, String> {
        Ok(Some(format!("{id}:{}", blake3::hash(secret.as_bytes()).to_hex())))
    }

    fn settled<'a>(
        &'a self,
        id: &'a str,
        line: Option<&'a str>,
    ) -> Pin<Box<dyn Future<Output = Result<(), String>> + Send + 'a>> {
        Box::pin(async move {
            if *self.fails.lock().unwrap() {
                return Err("the disk says no".into());
            }
            self.settled.lock().unwrap().push((id.to_owned(), line.map(str::to_owned)));
            Ok(())
        })
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_new_secret_ends_the_old_one() {
    let rig = Rig::new().await;
    rig.create("hall", "strip").await;
    assert!(!rig.service.admits("hall", b""), "who is not enrolled has no secret, not an empty one");
    let first = rig.service.enrol(id("hall"), owner()).await.unwrap();
    assert!(rig.service.admits("hall", first.secret.as_bytes()));
    let second = rig.service.enrol(id("hall"), owner()).await.unwrap();
    assert_ne!(first.secret, second.secret);
    assert!(!rig.service.admits("hall", first.secret.as_bytes()));
    assert!(rig.service.admits("hall", second.secret.as_bytes()));
    assert!(!rig.service.admits("jetty", second.secret.as_bytes()));
    let rig = rig.reopened().await;
    assert!(rig.service.admits("hall", second.secret.as_bytes()), "also after a start");
    rig.service.delete(id("hall"), owner()).await.unwrap();
    assert!(!rig.service.admits("hall", second.secret.as_bytes()));
    rig.create("hall", "strip").await;
    assert!(!rig.service.admits("hall", second.secret.as_bytes()), "another fixture of that id is another fixture");
}

#[tokio::test(flavor = "multi_thread")]
async fn secrets_have_256_bits_and_are_easy_to_copy() {
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..100 {
        let secret = service::random_secret().unwrap();
        // RFC 4648, section 5: 32 bytes without padding are 43 characters of this alphabet
        assert_eq!(secret.len(), 43);
        assert!(secret.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_'));
        assert!(seen.insert(secret));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_enrolment_asks_for_its_fixture_and_its_condition() {
    let rig = Rig::new().await;
    let unknown = rig.service.enrol(id("hall"), owner()).await.unwrap_err();
    assert!(matches!(unknown, ServiceError::Rejected(Rejection::UnknownFixture(_))));
    rig.create("hall", "strip").await;
    let stale = rig.service.enrol(id("hall"), at_revisions(&[2])).await.unwrap_err();
    assert!(matches!(stale, ServiceError::Rejected(Rejection::Stale { .. })));
    let first = rig.service.enrol(id("hall"), once("k")).await.unwrap();
    let again = rig.service.enrol(id("hall"), once("k")).await.unwrap_err();
    assert!(matches!(again, ServiceError::Rejected(Rejection::SecretShown)));
    assert!(rig.service.admits("hall", first.secret.as_bytes()), "the repeated request changed nothing");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_broker_is_told_of_what_is_durable_and_of_nothing_else() {
    let told = Arc::new(Told::default());
    let rig = Rig::with(Some(Arc::clone(&told) as Arc<dyn BrokerFiles>)).await;
    rig.create("hall", "strip").await;
    let enrolment = rig.service.enrol(id("hall"), once("k")).await.unwrap();
    let line = format!("hall:{}", blake3::hash(enrolment.secret.as_bytes()).to_hex());
    assert!(rig.service.enrol(id("hall"), once("k")).await.is_err());
    assert_eq!(*told.settled.lock().unwrap(), [("hall".to_owned(), Some(line))]);
    rig.service.delete(id("hall"), once("d")).await.unwrap();
    assert_eq!(told.settled.lock().unwrap().last(), Some(&("hall".to_owned(), None)));
    // the same delete asked again must not end the fixture that has the id now
    rig.create("hall", "strip").await;
    rig.service.enrol(id("hall"), owner()).await.unwrap();
    assert!(rig.service.delete(id("hall"), once("d")).await.unwrap().replayed);
    assert_eq!(told.settled.lock().unwrap().len(), 3);
    assert!(rig.service.house().get("hall").is_some());
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_broker_is_told_last_is_what_is_kept() {
    let told = Arc::new(Told::default());
    let rig = Rig::with(Some(Arc::clone(&told) as Arc<dyn BrokerFiles>)).await;
    rig.create("hall", "strip").await;
    let tasks: Vec<_> = (0..20)
        .map(|_| {
            let service = Arc::clone(&rig.service);
            tokio::spawn(async move { service.enrol(id("hall"), owner()).await.unwrap().secret })
        })
        .collect();
    let mut good = Vec::new();
    for task in tasks {
        let secret = task.await.unwrap();
        if rig.service.admits("hall", secret.as_bytes()) {
            good.push(secret);
        }
    }
    let kept = rig.get("hall").secret.clone().unwrap();
    let last = told.settled.lock().unwrap().last().unwrap().1.clone().unwrap();
    let secret = good.iter().find(|secret| service::Service::admits(&rig.service, "hall", secret.as_bytes())).unwrap();
    assert_eq!(last, format!("hall:{}", blake3::hash(secret.as_bytes()).to_hex()));
    assert!(rig.get("hall").secret.clone().unwrap() == kept);
}

#[tokio::test(flavor = "multi_thread")]
async fn files_that_cannot_be_written_are_told_and_the_enrolment_stands() {
    let told = Arc::new(Told::default());
    let rig = Rig::with(Some(Arc::clone(&told) as Arc<dyn BrokerFiles>)).await;
    rig.create("hall", "strip").await;
    *told.fails.lock().unwrap() = true;
    let error = rig.service.enrol(id("hall"), owner()).await.unwrap_err();
    assert!(matches!(&error, ServiceError::BrokerFiles(text) if text == "the disk says no"), "{error}");
    assert!(error.to_string().contains("enrol again"), "{error}");
    assert!(rig.get("hall").secret.is_some());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_token_is_made_once_and_told_once() {
    let rig = Rig::new().await;
    let text = rig.service.first_token().unwrap();
    assert_eq!(rig.service.first_token(), None);
    let token = rig.service.authenticate(&text).unwrap();
    assert_eq!((token.name.as_str(), token.scope), ("admin", Scope::Admin));
    assert_eq!(rig.service.authenticate("another"), None);
    let rig = rig.reopened().await;
    assert_eq!(rig.service.first_token(), None, "a house with a token gets no other");
    assert!(rig.service.authenticate(&text).is_some());
}

#[tokio::test(flavor = "multi_thread")]
async fn tokens_come_and_go() {
    let rig = Rig::new().await;
    let (token, text) = rig.service.add_token("page".into(), Scope::Edit).await.unwrap();
    assert_eq!(rig.service.authenticate(&text), Some(token.clone()));
    let twice = rig.service.add_token("page".into(), Scope::Read).await.unwrap_err();
    assert!(matches!(twice, ServiceError::Store(StoreError::TokenExists(_))));
    rig.service.remove_token(token.id).await.unwrap();
    assert_eq!(rig.service.authenticate(&text), None);
    assert!(rig.service.remove_token(token.id).await.is_err());
    rig.service.create(id("hall"), json!({}), owner()).await.unwrap();
}
