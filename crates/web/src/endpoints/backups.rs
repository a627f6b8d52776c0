//! `/v1/backups`: whole, checked copies of the database.

use std::sync::Arc;

use axum::Json;
use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_LENGTH, LOCATION};
use axum::http::{HeaderValue, Response, StatusCode};
use axum::response::IntoResponse;
use futures_util::stream;
use service::Backup;
use tokio::fs::File;
use tokio::io::AsyncReadExt;

use crate::answer::typed;
use crate::app::{App, to_the_end};
use crate::body;
use crate::headers::Headers;
use crate::once;
use crate::openapi::{PostProblems, ReadOneProblems, ReadProblems};
use crate::path::Name;
use crate::problem_type::ProblemType;
use crate::query::Query;
use crate::refusal::Refusal;
use crate::time;

/// How much of a backup is read at a time.
const PORTION: usize = 64 * 1024;

/// Lists backups
///
/// The newest first.
#[utoipa::path(
    get, path = "/v1/backups", tag = "backups", operation_id = "list_backups",
    responses((status = 200, description = "The backups that there are", body = api::Backups), ReadProblems)
)]
pub(crate) async fn list(State(app): State<App>, query: Query) -> Result<Json<api::Backups>, Refusal> {
    query.finish(&[])?;
    let backups = app.service.list_backups()?.into_iter().map(view).collect();
    Ok(Json(api::Backups { backups }))
}

/// Makes a backup
///
/// While serving. It is opened and checked before it counts; older ones go as the settings say.
#[utoipa::path(
    post, path = "/v1/backups", tag = "backups", operation_id = "create_backup",
    responses(
        (status = 201, description = "It is made and checked", body = api::Backup,
            headers(("Location" = String, description = "Where it can be downloaded"))),
        PostProblems,
    )
)]
pub(crate) async fn create(
    State(app): State<App>,
    query: Query,
    Headers(headers): Headers,
    body: Body,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    once::refuse(&headers)?;
    body::optional_json(&headers, body).await?.object(&[])?;
    let service = Arc::clone(&app.service);
    // a caller who leaves must not leave half a file behind
    let made = to_the_end(async move { service.back_up().await }).await?;
    let mut response = (StatusCode::CREATED, Json(view(made.clone()))).into_response();
    if let Ok(location) = HeaderValue::from_str(&format!("/v1/backups/{}", made.name)) {
        response.headers_mut().insert(LOCATION, location);
    }
    Ok(response)
}

/// Downloads a backup
///
/// The file, as `sconced restore` takes it. It holds the hashes of all secrets: keep it as carefully as the house.
#[utoipa::path(
    get, path = "/v1/backups/{name}", tag = "backups", operation_id = "get_backup",
    params(("name" = String, Path, description = "The file name, as the list has it.", example = "sconced-20261125T220000123Z.sqlite")),
    responses(
        (status = 200, description = "The file", content_type = "application/vnd.sqlite3", body = Vec<u8>,
            headers(("Content-Disposition" = String, description = "Its file name"))),
        ReadOneProblems,
    )
)]
pub(crate) async fn download(
    State(app): State<App>,
    Name(name): Name,
    query: Query,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    // only a name that is listed is ever made a path
    let listed = app.service.list_backups()?.into_iter().find(|backup| backup.name == name);
    let gone = || {
        Refusal::new(ProblemType::NOT_THERE, "there is no backup of that name; GET /v1/backups lists those there are")
    };
    let backup = listed.ok_or_else(gone)?;
    let file = File::open(app.service.backup_folder().join(&backup.name)).await.map_err(|_| gone())?;
    let length = file.metadata().await.map_err(|_| gone())?.len();
    let portions = stream::try_unfold(file, |mut file| async move {
        let mut portion = vec![0; PORTION];
        let read = file.read(&mut portion).await?;
        portion.truncate(read);
        Ok::<_, std::io::Error>((read > 0).then(|| (Bytes::from(portion), file)))
    });
    let mut response = typed("application/vnd.sqlite3", Body::from_stream(portions));
    let headers = response.headers_mut();
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(CONTENT_LENGTH, HeaderValue::from(length));
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{}\"", backup.name)) {
        headers.insert(CONTENT_DISPOSITION, value);
    }
    Ok(response)
}

fn view(backup: Backup) -> api::Backup {
    api::Backup { name: backup.name, at: time::write(backup.at), bytes: backup.bytes }
}
