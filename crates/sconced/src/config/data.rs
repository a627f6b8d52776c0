//! The section `data`.

use std::path::PathBuf;

use super::section::{Fault, Section, section, section_face};

section! {
    /// Where everything is kept.
    Data {
        /// The data folder: the database, and descriptions of your own kinds of fixtures in kinds/. It is made when it
        /// is not there, readable by its owner alone. A relative path is relative to the folder where sconced is
        /// started. Default: sconced-data. Environment: SCONCED_DATA__FOLDER. Flag: --data.
        folder: PathBuf = PathBuf::from("sconced-data");
    }
}

impl Section for Data {
    section_face!("data");

    fn check(&self) -> Result<(), Fault> {
        if self.folder.is_file() {
            return Err(Fault::new(
                "data.folder",
                format!("{} is a file", self.folder.display()),
                "write the path of a folder",
            ));
        }
        Ok(())
    }
}
