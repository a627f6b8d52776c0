//! `backup`: through the running daemon, or straight from the data folder when none runs.

use std::path::Path;

use serde_json::{Value, json};
use service::Clock;

use super::progress::Progress;
use super::{at_once, daemon};
use crate::arguments::Common;
use crate::client::{configured, data_folder};
use crate::daemon::has_house;
use crate::error::Failure;
use crate::output::{Output, shown};
use crate::whereabouts::Whereabouts;

/// `sconced backup`.
pub(super) fn backup(common: &Common, out: Output) -> Result<(), Failure> {
    let data = data_folder(common)?;
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

/// Makes a backup of a folder that no daemon serves. Its database stays of the version that it is.
fn direct(data: &Path) -> Result<Value, Failure> {
    let options = configured(Some(data.to_owned())).read()?.backups.options(data);
    at_once(async {
        let made = store::back_up_file(data, &options, Clock::System.now()).await?;
        let path = options.folder.join(&made.name);
        Ok(
            json!({"name": made.name, "path": path.display().to_string(), "at": made.at.to_string(), "bytes": made.bytes}),
        )
    })
}
