//! A process that has what the daemon stands on (broker, HTTP server, pool of connections) and nothing of its own.

use std::net::Ipv4Addr;
use std::path::Path;
use std::time::Duration;

use axum::Router;
use axum::routing::get;
use sqlx::Connection as _;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use tokio::net::TcpListener;

use super::{broker, tell, until_closed};
use crate::error::BenchError;

/// Connections that read, as the daemon has them; one more writes.
const READERS: u32 = 4;

pub(super) async fn run(data: &Path) -> Result<(), BenchError> {
    let sql = |error: sqlx::Error| BenchError::unexpected("opening the database", error.to_string());
    let broker = broker().await?;
    let doing = || BenchError::io("serving HTTP");
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.map_err(doing())?;
    let http = listener.local_addr().map_err(doing())?;
    let router = Router::new().route("/", get(async || "idle"));
    tokio::spawn(async move { axum::serve(listener, router).await });
    let options = SqliteConnectOptions::new()
        .filename(data.join(store::DATABASE))
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .busy_timeout(Duration::from_secs(10))
        .pragma("cache_size", "-16000")
        .pragma("temp_store", "memory");
    let mut writer = SqliteConnection::connect_with(&options).await.map_err(sql)?;
    let pool = SqlitePoolOptions::new()
        .max_connections(READERS)
        .connect_with(options.pragma("query_only", "on"))
        .await
        .map_err(sql)?;
    sqlx::query("SELECT count(*) FROM setting").execute(&mut writer).await.map_err(sql)?;
    sqlx::query("SELECT count(*) FROM setting").execute(&pool).await.map_err(sql)?;
    tell(&format!("ready http={http} mqtt={}", broker.local_addr()))?;
    until_closed(|_| String::new()).await?;
    pool.close().await;
    writer.close().await.map_err(sql)?;
    broker.stop().await;
    Ok(())
}
