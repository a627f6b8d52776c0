//! The section `backups`.

use std::path::{Path, PathBuf};

use jiff::SignedDuration;

use super::section::{Fault, Section, section, section_face};

section! {
    /// Copies of the database, made while the daemon serves. Each is checked after it is made.
    Backups {
        /// The folder for them; better on another disk.
        /// Default: backups within the data folder. Environment: SCONCED_BACKUPS__FOLDER.
        folder: Option<PathBuf> = None, for example "\"/mnt/other-disk/sconced\"";
        /// Hours between them, 0 to 8760; 0 for none but those asked for.
        /// Default: 24. Environment: SCONCED_BACKUPS__EVERY_HOURS.
        every_hours: u32 = 24;
        /// How many are kept, 1 to 10000; the oldest go first.
        /// Default: 14. Environment: SCONCED_BACKUPS__KEEP.
        keep: u32 = 14;
    }
}

impl Section for Backups {
    section_face!("backups");

    fn check(&self) -> Result<(), Fault> {
        if self.every_hours > 8760 {
            return Err(Fault::bounds("backups.every_hours", self.every_hours, 0, "8760 hours"));
        }
        if !(1..=10_000).contains(&self.keep) {
            return Err(Fault::bounds("backups.keep", self.keep, 1, 10_000));
        }
        Ok(())
    }
}

impl Backups {
    /// Where and how many, for this data folder.
    #[must_use]
    pub fn options(&self, data: &Path) -> service::BackupOptions {
        service::BackupOptions {
            folder: self.folder.clone().unwrap_or_else(|| data.join("backups")),
            keep: usize::try_from(self.keep).unwrap_or(usize::MAX),
        }
    }

    /// How old the newest may become.
    #[must_use]
    pub fn every(&self) -> Option<SignedDuration> {
        (self.every_hours > 0).then(|| SignedDuration::from_hours(self.every_hours.into()))
    }
}
