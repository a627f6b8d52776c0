//! Kinds of the owner's, from the folder `kinds` of the data folder.

use std::path::Path;

use serde_json::json;
use service::{Clock, Rejection, ServiceError};
use store::StoreError;

use crate::rig::{Rig, id, open, owner, second};

fn write(folder: &Path, name: &str, text: &[u8]) {
    std::fs::create_dir_all(folder.join("kinds")).unwrap();
    std::fs::write(folder.join("kinds").join(name), text).unwrap();
}

const KETTLE: &[u8] = br#"{"type":"object","properties":{"glow":{"type":"integer","maximum":9}}}"#;

#[tokio::test(flavor = "multi_thread")]
async fn kinds_are_read_from_their_folder_and_kept_to() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "kettle-lamp.json", KETTLE);
    write(folder.path(), "notes.txt", b"not a kind");
    write(folder.path(), "old.json.bak", b"{");
    let clock = Clock::manual(second(0));
    let service = open(folder.path(), &clock, None).await.unwrap();
    let names: Vec<_> = service.kinds().names().map(ToString::to_string).collect();
    assert_eq!(names, ["free", "kettle-lamp", "strip"]);
    service.create(id("kettle"), json!({"kind": "kettle-lamp"}), owner()).await.unwrap();
    let edit = |glow: i64| service::Edit::Merge(json!({"glow": glow}));
    let refused = service.edit(id("kettle"), service::Paper::Desired, edit(12), owner()).await.unwrap_err();
    let ServiceError::Rejected(Rejection::Invalid(findings)) = refused else { panic!("{refused:?}") };
    assert_eq!(findings[0].pointer.to_string(), "/glow");
    service.edit(id("kettle"), service::Paper::Desired, edit(3), owner()).await.unwrap();
    let switched = service.put_override(id("kettle"), Some(json!({"look": "dark"})), owner()).await.unwrap_err();
    assert!(matches!(switched, ServiceError::Rejected(Rejection::NoLooks { .. })));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kind_that_cannot_be_used_is_told_with_its_file() {
    for (name, text) in [
        ("broken.json", &b"{"[..]),
        ("wheel.json", br#"{"type":"wheel"}"#),
        ("strip.json", b"{}"),
        ("Bad Name.json", b"{}"),
        ("reaching.json", br#"{"$ref":"http://127.0.0.1:1/other.json"}"#),
        ("file.json", br#"{"$ref":"file:///etc/hostname"}"#),
    ] {
        let folder = tempfile::tempdir().unwrap();
        write(folder.path(), name, text);
        let error = open(folder.path(), &Clock::manual(second(0)), None).await.unwrap_err();
        assert!(matches!(error, ServiceError::Kind { .. }), "{name}: {error:?}");
        assert!(error.to_string().contains(name), "{error}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fixture_whose_kind_is_gone_is_told_at_start() {
    let folder = tempfile::tempdir().unwrap();
    let clock = Clock::manual(second(0));
    write(folder.path(), "kettle-lamp.json", KETTLE);
    let service = open(folder.path(), &clock, None).await.unwrap();
    service.create(id("kettle"), json!({"kind": "kettle-lamp"}), owner()).await.unwrap();
    service.stop().await;
    std::fs::remove_file(folder.path().join("kinds/kettle-lamp.json")).unwrap();
    let error = open(folder.path(), &clock, None).await.unwrap_err().to_string();
    assert!(error.contains("kettle-lamp.json") && error.contains("put"), "{error}");
    // and its folder can be had again at once
    write(folder.path(), "kettle-lamp.json", KETTLE);
    let again = async {
        loop {
            match open(folder.path(), &clock, None).await {
                Ok(service) => return service,
                Err(ServiceError::Store(StoreError::InUse { .. })) => tokio::task::yield_now().await,
                Err(error) => panic!("{error}"),
            }
        }
    };
    let service = tokio::time::timeout(std::time::Duration::from_secs(60), again).await.unwrap();
    assert!(service.house().get("kettle").is_some());
    let _ = Rig::new().await;
}
