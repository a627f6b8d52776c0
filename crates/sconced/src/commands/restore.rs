//! `restore`: a backup or a dump in the place of the database.

use serde_json::json;
use service::Clock;

use super::at_once;
use super::progress::Progress;
use crate::arguments::{Common, Restore};
use crate::client::data_folder;
use crate::error::Failure;
use crate::output::Output;

/// `sconced restore`.
pub(super) fn restore(arguments: &Restore, common: &Common, out: Output) -> Result<(), Failure> {
    let data = data_folder(common)?;
    if !arguments.file.is_file() {
        let path = arguments.file.display();
        return Err(Failure::Usage(format!("there is no file {path}; name a backup or a dump")));
    }
    let progress = Progress::start("checking and restoring");
    let restored = at_once(async { Ok(store::restore(&arguments.file, &data, Clock::System.now()).await?) });
    drop(progress);
    let restored = restored?;
    let aside = restored.aside.as_ref().map(|path| path.display().to_string());
    if out.json {
        let data = data.display().to_string();
        return out.value(&json!({
            "data": data, "fixtures": restored.fixtures, "changes": restored.changes, "aside": aside
        }));
    }
    let (fixtures, changes) = (restored.fixtures, restored.changes);
    out.line(&format!("{} holds {fixtures} fixtures and {changes} changes again.", data.display()))?;
    if let Some(aside) = aside {
        out.line(&format!("What was there before is kept in {aside}."))?;
    }
    out.line("At the next `sconced serve` everything is sent to the fixtures anew.")
}
