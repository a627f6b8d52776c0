//! `backup`: through the running daemon, or straight from the data folder when none runs.

use std::path::Path;
use std::sync::Arc;

use serde_json::{Value, json};
use service::Clock;
use store::{Store, StoreOptions};

use super::progress::Progress;
use super::{at_once, daemon};
use crate::arguments::Common;
use crate::client::data_folder;
use crate::config::{Flags, Settings, Sources};
use crate::daemon::has_house;
use crate::error::Failure;
use crate::output::{Output, shown};
use crate::whereabouts::Whereabouts;

/// `sconced backup`.
pub(super) fn backup(common: &Common, out: Output) -> Result<(), Failure> {
    let data = data_folder(common);
    let progress = Progress::start("backing up");
    let runs = common.url.is_some() || Whereabouts::of_data(&data).is_some() || !has_house(&data);
    let made = if runs {
        daemon(common)?.post("/v1/backups", &json!({})).and_then(|answer| answer.json())
    } else {
        direct(&data)
    };
    let made = match made {
        // the file of a daemon that was killed is still there, or there never was one: the lock of the folder tells
        Err(Failure::NoDaemon(_)) if common.url.is_none() && has_house(&data) => direct(&data),
        other => other,
    };
    drop(progress);
    let made = made?;
    if out.json {
        return out.value(&made);
    }
    let which = made.get("path").or(made.get("name"));
    out.line(&format!("{} is made and checked: {} bytes.", shown(which), shown(made.get("bytes"))))
}

/// Makes a backup of a folder that no daemon serves.
fn direct(data: &Path) -> Result<Value, Failure> {
    let flags = Flags {
        config: std::env::var_os("SCONCED_CONFIG").filter(|path| !path.is_empty()).map(Into::into),
        data: Some(data.to_owned()),
        ..Flags::default()
    };
    let Settings { backups, .. } = Sources::new(flags, std::env::vars_os()).read()?;
    let options = backups.options(data);
    at_once(async {
        let now = Clock::System.now();
        let kinds = Arc::default();
        let store = Store::open(StoreOptions { folder: data.to_owned(), kinds, readers: 1, now }).await?;
        let made = store.back_up(&options, now).await;
        store.stop().await;
        let made = made?;
        let path = options.folder.join(&made.name);
        Ok(
            json!({"name": made.name, "path": path.display().to_string(), "at": made.at.to_string(), "bytes": made.bytes}),
        )
    })
}
