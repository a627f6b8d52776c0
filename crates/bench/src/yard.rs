//! The temporary folder of a run, and the houses in it: each made once, used by every figure that needs its size.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use crate::arguments::Common;
use crate::daemon::Daemon;
use crate::error::BenchError;
use crate::history::{self, Template};
use crate::plan::{HouseSize, Plan};

/// What all figures share.
#[derive(Debug)]
pub(crate) struct Yard {
    /// How much is measured.
    pub(crate) plan: Plan,
    /// The daemon's binary.
    pub(crate) sconced: PathBuf,
    folder: TempDir,
    template: Template,
    houses: HashMap<HouseSize, PathBuf>,
    made: usize,
}

impl Yard {
    /// Makes the temporary folder and looks for the daemon.
    pub(crate) async fn new(common: &Common, plan: Plan) -> Result<Self, BenchError> {
        let sconced = match &common.sconced {
            Some(path) => path.clone(),
            None => std::env::current_exe().map_err(BenchError::io("finding this program"))?.with_file_name("sconced"),
        };
        if !sconced.is_file() {
            return Err(BenchError::NoDaemon(sconced));
        }
        let mut builder = tempfile::Builder::new();
        builder.prefix("sconced-bench-");
        let folder = match &common.folder {
            Some(parent) => builder.tempdir_in(parent),
            None => builder.tempdir(),
        };
        let folder = folder.map_err(BenchError::io("making a temporary folder"))?;
        let template = history::template(&folder.path().join("template")).await?;
        Ok(Self { plan, sconced, folder, template, houses: HashMap::new(), made: 0 })
    }

    /// The temporary folder.
    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// The data folder of a house of that size. Every figure works on the same; what one edits, the next finds edited.
    pub(crate) fn house(&mut self, size: HouseSize) -> Result<PathBuf, BenchError> {
        if let Some(folder) = self.houses.get(&size) {
            return Ok(folder.clone());
        }
        let folder = self.another()?;
        history::make(&self.template, size, &folder)?;
        self.houses.insert(size, folder.clone());
        Ok(folder)
    }

    /// A house that is this one alone, for plain SQLite to write into.
    pub(crate) fn own_house(&mut self, size: HouseSize) -> Result<PathBuf, BenchError> {
        let folder = self.another()?;
        history::make(&self.template, size, &folder)?;
        Ok(folder)
    }

    /// A new empty folder.
    pub(crate) fn another(&mut self) -> Result<PathBuf, BenchError> {
        self.made += 1;
        let folder = self.folder.path().join(format!("house-{}", self.made));
        std::fs::create_dir(&folder).map_err(BenchError::io("making a folder"))?;
        Ok(folder)
    }

    /// When the history of made houses begins (Unix milliseconds), and over how many milliseconds it is spread.
    pub(crate) fn history_span(&self) -> (i64, u64) {
        (self.template.first(), history::SPAN.unsigned_abs())
    }

    /// A daemon on a house of that size that has come to rest.
    pub(crate) async fn daemon(&mut self, size: HouseSize) -> Result<Daemon, BenchError> {
        let house = self.house(size)?;
        Daemon::settled(&self.sconced, &house).await
    }
}
