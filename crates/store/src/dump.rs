//! The whole database as text that the plain `sqlite3` shell can load.

use std::io::Write;
use std::path::Path;

use futures_util::TryStreamExt as _;
use sqlx::{AssertSqlSafe, Connection, Row as _, SqliteConnection};

use crate::error::StoreError;
use crate::schema::{self, APPLICATION};
use crate::unsettled::SETTLED;

/// Writes a database as SQL text. `told` hears how many rows are written so far, now and then.
///
/// # Errors
/// What SQLite and the output say.
pub async fn dump(path: &Path, out: &mut dyn Write, told: &mut dyn FnMut(u64)) -> Result<u64, StoreError> {
    schema::read_version(path).await?;
    let mut connection = schema::open_apart(path).await?;
    let written = write(&mut connection, out, told).await;
    let _ = connection.close().await;
    written
}

async fn write(
    connection: &mut SqliteConnection,
    out: &mut dyn Write,
    told: &mut dyn FnMut(u64),
) -> Result<u64, StoreError> {
    let reading = || StoreError::sql("dumping the database");
    let writing = |error| StoreError::io("writing", "the dump")(error);
    // one read transaction, so that the dump is of one moment
    let mut transaction = connection.begin().await.map_err(reading())?;
    let schema: Vec<(String, String, String)> = sqlx::query_as(
        "SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'
         ORDER BY type = 'index', rowid",
    )
    .fetch_all(&mut *transaction)
    .await
    .map_err(reading())?;
    writeln!(out, "PRAGMA foreign_keys = OFF;\nPRAGMA application_id = {APPLICATION};\nBEGIN;").map_err(writing)?;
    let settled: Option<(String,)> = sqlx::query_as("SELECT value FROM setting WHERE name = ?")
        .bind(SETTLED)
        .fetch_optional(&mut *transaction)
        .await
        .map_err(reading())?;
    if let Some(row) = settled.and_then(|(row,)| row.parse::<i64>().ok()) {
        // told for those who read it by other means; a restore brings the documents up to history by itself
        writeln!(
            out,
            "-- Documents and outbox are as of row {row} of history; the patches of later rows follow upon them."
        )
        .map_err(writing)?;
    }
    let mut rows = 0_u64;
    for (_, table, sql) in schema.iter().filter(|(kind, ..)| kind == "table") {
        writeln!(out, "{sql};").map_err(writing)?;
        let columns: Vec<(String,)> = sqlx::query_as("SELECT name FROM pragma_table_info(?)")
            .bind(table)
            .fetch_all(&mut *transaction)
            .await
            .map_err(reading())?;
        // the names are those of our own schema; quoting keeps even odd ones whole
        let quoted: Vec<String> = columns.iter().map(|(name,)| format!("\"{}\"", name.replace('"', "\"\""))).collect();
        let literals: Vec<String> = quoted.iter().map(|name| format!("quote({name})")).collect();
        let select = format!("SELECT {} AS line FROM \"{table}\"", literals.join(" || ',' || "));
        let mut lines = sqlx::query(AssertSqlSafe(select)).fetch(&mut *transaction);
        while let Some(row) = lines.try_next().await.map_err(reading())? {
            let line: String = row.try_get("line").map_err(reading())?;
            writeln!(out, "INSERT INTO \"{table}\" VALUES ({line});").map_err(writing)?;
            rows += 1;
            if rows.is_multiple_of(10_000) {
                told(rows);
            }
        }
    }
    for (_, _, sql) in schema.iter().filter(|(kind, ..)| kind == "index") {
        writeln!(out, "{sql};").map_err(writing)?;
    }
    writeln!(out, "COMMIT;").map_err(writing)?;
    out.flush().map_err(writing)?;
    Ok(rows)
}
