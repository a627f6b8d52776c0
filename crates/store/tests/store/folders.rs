//! One store a folder.

use std::os::unix::fs::PermissionsExt;

use store::{DATABASE, FolderLock, StoreError};

use crate::rig::{Rig, create, merge, open, request, run_sql, second};

#[tokio::test(flavor = "multi_thread")]
async fn two_stores_never_share_a_folder() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let Err(StoreError::InUse { holder, folder }) = open(rig.folder.path()).await else { panic!("opened twice") };
    assert_eq!(holder, format!("process {}", std::process::id()));
    assert_eq!(folder, rig.folder.path());
    assert!(matches!(FolderLock::take(rig.folder.path()), Err(StoreError::InUse { .. })));
    rig.store.stop().await;
    assert!(open(rig.folder.path()).await.is_ok());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_store_that_is_dropped_holds_its_folder_until_its_last_commit() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let mut waiting = Vec::new();
    for n in 0..2000 {
        let edit = merge("hall", serde_json::json!({"n": n}));
        waiting.push(rig.store.submit(request(edit, second(0))).await.unwrap());
    }
    drop(rig.store);
    // whenever the folder can be had, everything that was queued is committed
    let opened = async {
        loop {
            match open(rig.folder.path()).await {
                Ok(store) => return store,
                Err(StoreError::InUse { .. }) => tokio::time::sleep(std::time::Duration::from_millis(2)).await,
                Err(error) => panic!("{error}"),
            }
        }
    };
    let store = tokio::time::timeout(std::time::Duration::from_secs(60), opened).await.unwrap();
    assert_eq!(store.house().get("hall").unwrap().desired.revision.get(), 2000);
    for answer in waiting {
        assert!(answer.await.unwrap().is_ok());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_folder_is_made_and_its_files_are_the_owners_alone() {
    let folder = tempfile::tempdir().unwrap();
    let deep = folder.path().join("new/house");
    let store = open(&deep).await.unwrap();
    assert_eq!((store.folder(), store.path()), (deep.as_path(), deep.join(DATABASE).as_path()));
    let mode = |path: &std::path::Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&deep), 0o700);
    assert_eq!(mode(store.path()), 0o600);
    for suffix in ["-wal", "-shm"] {
        let beside = deep.join(format!("{DATABASE}{suffix}"));
        assert_eq!(mode(&beside), 0o600, "{suffix}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_of_a_newer_version_is_refused_untouched() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    rig.store.stop().await;
    let newer = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time)
                 VALUES (9999, 'of tomorrow', 1, x'00', 1)";
    run_sql(rig.store.path(), newer).await;
    let before = std::fs::read(rig.store.path()).unwrap();
    let error = open(rig.folder.path()).await.unwrap_err();
    assert!(matches!(error, StoreError::Newer { found: 9999, known: 1 }), "{error}");
    assert_eq!(std::fs::read(rig.store.path()).unwrap(), before);
    assert!(matches!(store::read_version(rig.store.path()).await, Err(StoreError::Newer { .. })));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_that_is_not_ours_is_refused_untouched() {
    for (name, make) in [("another program's", true), ("no database at all", false)] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(DATABASE);
        if make {
            let options = sqlx::sqlite::SqliteConnectOptions::new().filename(&path).create_if_missing(true);
            let mut connection = sqlx::ConnectOptions::connect(&options).await.unwrap();
            sqlx::query("CREATE TABLE cats (name TEXT)").execute(&mut connection).await.unwrap();
            sqlx::Connection::close(connection).await.unwrap();
        } else {
            std::fs::write(&path, "Dear diary, ".repeat(1000)).unwrap();
        }
        let before = std::fs::read(&path).unwrap();
        let error = open(folder.path()).await.unwrap_err();
        assert!(matches!(error, StoreError::NotOurs { .. }), "{name}: {error}");
        assert_eq!(std::fs::read(&path).unwrap(), before, "{name}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_file_becomes_a_house() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join(DATABASE), b"").unwrap();
    let store = open(folder.path()).await.unwrap();
    assert_eq!(store.house().count(), 0);
    store.stop().await;
    assert_eq!(store::read_version(&folder.path().join(DATABASE)).await.unwrap(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn fixtures_are_listed_in_order_and_from_any_id_on() {
    let rig = Rig::new().await;
    for name in ["c", "a", "b", "d"] {
        rig.tell(create(name)).await;
    }
    let names =
        |list: Vec<std::sync::Arc<kernel::Fixture>>| -> Vec<String> { list.iter().map(|f| f.id.to_string()).collect() };
    let house = rig.store.house();
    assert_eq!(names(house.all()), ["a", "b", "c", "d"]);
    assert_eq!(names(house.after(None, 2, |_| true)), ["a", "b"]);
    assert_eq!(names(house.after(Some("b"), 9, |_| true)), ["c", "d"]);
    assert_eq!(names(house.after(Some("aa"), 9, |fixture| fixture.id.as_str() != "c")), ["b", "d"]);
    assert_eq!(house.count(), 4);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_house_that_is_up_to_date_is_opened_without_a_write() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    rig.store.stop().await;
    // nobody else can write meanwhile, as upon a full disk
    let mut other = crate::rig::connection(rig.store.path()).await;
    let held = sqlx::Connection::begin_with(&mut other, "BEGIN IMMEDIATE").await.unwrap();
    let store = open(rig.folder.path()).await.unwrap();
    assert_eq!(store.house().count(), 1);
    held.rollback().await.unwrap();
    let edit = request(merge("hall", serde_json::json!({"n": 1})), second(0));
    assert_eq!(store.execute(edit).await.unwrap().answer.revision.get(), 1);
}
