//! Secrets of controllers and tokens of people.

use std::future::Future;
use std::pin::Pin;
use std::sync::{Arc, Mutex};

use serde_json::json;
use service::{Asked, BrokerFiles, Edit, Paper, Rejection, ServiceError, TakesEffect};
use store::{Scope, StoreError};
use tokio::sync::Semaphore;

use crate::rig::{Rig, at_revisions, id, once, owner, second};

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
    ) -> Pin<Box<dyn Future<Output = Result<TakesEffect, String>> + Send + 'a>> {
        Box::pin(async move {
            if *self.fails.lock().unwrap() {
                return Err("the disk says no".into());
            }
            self.settled.lock().unwrap().push((id.to_owned(), line.map(str::to_owned)));
            Ok(TakesEffect::WhenReadAgain)
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

/// A broker's side that is slow to forget a fixture.
#[derive(Debug)]
struct Slow {
    begun: Semaphore,
    goes_on: Semaphore,
}

impl BrokerFiles for Slow {
    fn line(&self, _: &str, _: &str) -> Result<Option<String>, String> {
        Ok(None)
    }

    fn settled<'a>(
        &'a self,
        _: &'a str,
        line: Option<&'a str>,
    ) -> Pin<Box<dyn Future<Output = Result<TakesEffect, String>> + Send + 'a>> {
        Box::pin(async move {
            if line.is_none() {
                self.begun.add_permits(1);
                self.goes_on.acquire().await.unwrap().forget();
            }
            Ok(TakesEffect::AtOnce)
        })
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_id_is_given_again_only_when_the_broker_has_forgotten_the_fixture_that_had_it() {
    let slow = Arc::new(Slow { begun: Semaphore::new(0), goes_on: Semaphore::new(0) });
    let rig = Rig::with(Some(Arc::clone(&slow) as Arc<dyn BrokerFiles>)).await;
    rig.create("hall", "strip").await;
    let service = Arc::clone(&rig.service);
    let deleting = tokio::spawn(async move { service.delete(id("hall"), owner()).await });
    slow.begun.acquire().await.unwrap().forget();
    assert!(rig.service.house().get("hall").is_none(), "it is gone, and the broker is being told");
    let service = Arc::clone(&rig.service);
    let making = tokio::spawn(async move { service.create(id("hall"), json!({}), owner()).await });
    // another id's turn is its own; and by the time that it is through, the first one could have been
    for n in 0..20 {
        rig.create(&format!("stairs-{n}"), "free").await;
    }
    assert!(rig.service.house().get("hall").is_none(), "made while the broker is still told to forget");
    slow.goes_on.add_permits(1);
    deleting.await.unwrap().unwrap();
    making.await.unwrap().unwrap();
    assert!(rig.service.house().get("hall").is_some());
}

#[tokio::test(flavor = "multi_thread")]
async fn of_many_enrolments_of_one_that_was_seen_one_is_granted() {
    let rig = Rig::new().await;
    rig.create("hall", "strip").await;
    let seen = Asked { enrolment_seen: Some(None), ..at_revisions(&[1]) };
    let tasks: Vec<_> = (0..20)
        .map(|_| {
            let (service, seen) = (Arc::clone(&rig.service), seen.clone());
            tokio::spawn(async move { service.enrol(id("hall"), seen).await })
        })
        .collect();
    let mut granted = Vec::new();
    for task in tasks {
        match task.await.unwrap() {
            Ok(enrolment) => granted.push(enrolment),
            Err(error) => assert!(matches!(error, ServiceError::EnrolledSince(_)), "{error:?}"),
        }
    }
    assert_eq!(granted.len(), 1);
    assert_eq!(granted[0].takes_effect, TakesEffect::ByHand, "there is no broker's side here");
    assert!(rig.service.admits("hall", granted[0].secret.as_bytes()));
    // whoever saw that one may go on from it
    let seen = Asked { enrolment_seen: Some(Some(second(0))), ..at_revisions(&[1]) };
    rig.clock.set(second(1));
    rig.service.enrol(id("hall"), seen).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_name_of_the_daemon_itself_is_no_fixtures() {
    let rig = Rig::new().await;
    let refused = rig.service.create(id("sconced"), json!({}), owner()).await.unwrap_err();
    assert!(matches!(refused, ServiceError::Reserved(_)), "{refused:?}");
    let refused = rig.service.enrol(id("sconced"), owner()).await.unwrap_err();
    assert!(matches!(refused, ServiceError::Reserved(_)), "{refused:?}");
    assert!(refused.to_string().contains("choose another id"), "{refused}");
    assert!(rig.service.house().get("sconced").is_none());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_lines_that_are_kept_are_those_of_the_secrets_that_hold() {
    let told = Arc::new(Told::default());
    let rig = Rig::with(Some(Arc::clone(&told) as Arc<dyn BrokerFiles>)).await;
    for name in ["hall", "stairs", "landing", "jetty"] {
        rig.create(name, "strip").await;
    }
    for name in ["stairs", "hall", "jetty", "hall"] {
        assert_eq!(rig.service.enrol(id(name), owner()).await.unwrap().takes_effect, TakesEffect::WhenReadAgain);
    }
    rig.service.edit(id("hall"), Paper::Fixture, Edit::Merge(json!({"notes": "n"})), owner()).await.unwrap();
    rig.service.delete(id("jetty"), owner()).await.unwrap();
    let settled = told.settled.lock().unwrap().clone();
    let newest = |name: &str| settled.iter().rfind(|(id, _)| id == name).and_then(|(_, line)| line.clone()).unwrap();
    let lines = rig.service.store().broker_lines().await.unwrap();
    assert_eq!(lines, [(id("hall"), newest("hall")), (id("stairs"), newest("stairs"))]);
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
