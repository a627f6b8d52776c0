//! The section `retention`.

use jiff::SignedDuration;

use super::section::{Fault, Section, section, section_face};

section! {
    /// How much history is kept. What a fixture should show now is always kept.
    Retention {
        /// Days of history that are kept, 0 to 36500; 0 for all.
        /// Default: 1100. Environment: SCONCED_RETENTION__HISTORY_DAYS.
        history_days: u32 = 1100;
        /// Changes that are kept, 0 for all. A million of them take about 120 MB.
        /// Default: 5000000. Environment: SCONCED_RETENTION__HISTORY_ROWS.
        history_rows: u64 = 5_000_000;
    }
}

impl Section for Retention {
    section_face!("retention");

    fn check(&self) -> Result<(), Fault> {
        if self.history_days > 36_500 {
            return Err(Fault::bounds("retention.history_days", self.history_days, 0, "36500 days"));
        }
        Ok(())
    }
}

impl Retention {
    /// The same for the store.
    #[must_use]
    pub fn options(&self) -> service::Retention {
        let days = i64::from(self.history_days);
        service::Retention {
            age: (days > 0).then(|| SignedDuration::from_hours(24 * days)),
            rows: (self.history_rows > 0).then_some(self.history_rows),
        }
    }
}
