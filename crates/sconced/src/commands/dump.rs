//! `dump`: the whole database as SQL text.

use std::io::{BufWriter, Write};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use serde_json::json;
use store::DATABASE;

use super::at_once;
use super::progress::Progress;
use crate::arguments::{Common, Dump};
use crate::client::data_folder;
use crate::daemon::has_house;
use crate::error::Failure;
use crate::output::Output;

/// `sconced dump`.
pub(super) fn dump(arguments: &Dump, common: &Common, out: Output) -> Result<(), Failure> {
    let data = data_folder(common)?;
    if !has_house(&data) {
        return Err(Failure::Database(format!(
            "there is no database in {}; name the data folder with --data",
            data.display()
        )));
    }
    let database = data.join(DATABASE);
    let Some(path) = &arguments.output else {
        let written = write(&database, &mut BufWriter::new(std::io::stdout().lock()));
        return written.map(|_| ());
    };
    let part = beside(path);
    let written = into_new_file(&database, &part).and_then(|rows| {
        std::fs::rename(&part, path).map_err(Failure::file("naming", path))?;
        Ok(rows)
    });
    if written.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    let rows = written?;
    if out.json {
        return out.value(&json!({"file": path.display().to_string(), "rows": rows}));
    }
    out.line(&format!("{} holds {rows} rows. It has hashes of secrets in it: keep it to yourself.", path.display()))
}

/// The name under which a file is written before it is whole.
pub(super) fn beside(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".part");
    name.into()
}

fn into_new_file(database: &Path, path: &Path) -> Result<u64, Failure> {
    let mut options = std::fs::OpenOptions::new();
    let file = options.write(true).create(true).truncate(true).mode(0o600).open(path);
    let mut file = BufWriter::new(file.map_err(Failure::file("writing", path))?);
    let rows = write(database, &mut file)?;
    file.get_ref().sync_all().map_err(Failure::file("writing", path))?;
    Ok(rows)
}

fn write(database: &Path, out: &mut dyn Write) -> Result<u64, Failure> {
    let progress = Progress::start("dumping");
    let mut told = |rows: u64| progress.say(format!("dumping: {rows} rows"));
    at_once(async { Ok(store::dump(database, out, &mut told).await?) })
}
