//! The lines of an external broker's password file, as they are kept beside the fixtures' secrets.

use kernel::FixtureId;
use sqlx::Row;

use crate::error::StoreError;
use crate::store::Store;

impl Store {
    /// The line of every enrolled fixture that has one, by id. A fixture that was enrolled without such a broker has
    /// none.
    ///
    /// # Errors
    /// [`StoreError::Row`] for a row that does not decode, and what SQLite says.
    pub async fn broker_lines(&self) -> Result<Vec<(FixtureId, String)>, StoreError> {
        let sql = "SELECT key, id, broker_line FROM fixture \
                   WHERE deleted IS NULL AND secret IS NOT NULL AND broker_line IS NOT NULL ORDER BY id";
        let rows = sqlx::query(sql).fetch_all(self.readers()).await.map_err(StoreError::sql("reading broker lines"))?;
        let bad = |column, key: i64, detail: String| StoreError::Row {
            table: "fixture",
            column,
            key: key.to_string(),
            detail,
        };
        rows.iter()
            .map(|row| {
                let key: i64 = row.try_get("key").map_err(|error| bad("key", 0, error.to_string()))?;
                let id: String = row.try_get("id").map_err(|error| bad("id", key, error.to_string()))?;
                let id = id.parse().map_err(|error: kernel::NameError| bad("id", key, error.to_string()))?;
                let line = row.try_get("broker_line").map_err(|error| bad("broker_line", key, error.to_string()))?;
                Ok((id, line))
            })
            .collect()
    }
}
