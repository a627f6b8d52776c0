//! `past`: what was changed, when and by whom.

use serde_json::{Value, json};

use super::{daemon, time_text};
use crate::arguments::{Common, Past};
use crate::client::Client;
use crate::error::Failure;
use crate::output::{Output, shortened, shown, shown_time};

/// The most that one page of the daemon holds.
const PAGE: usize = 1000;

/// `sconced past`.
pub(super) fn past(arguments: &Past, common: &Common, out: Output) -> Result<(), Failure> {
    let limit = usize::try_from(arguments.limit).unwrap_or(usize::MAX);
    let mut query = vec![("limit", limit.min(PAGE).to_string())];
    for (name, time) in [("since", &arguments.since), ("until", &arguments.until)] {
        if let Some(time) = time {
            query.push((name, time_text(time)?));
        }
    }
    query.extend(arguments.path.clone().map(|path| ("path", path)));
    query.extend(arguments.by.clone().map(|by| ("by", by)));
    if arguments.oldest_first {
        query.push(("order", "oldest".to_owned()));
    }
    let path = match &arguments.id {
        Some(id) => format!("/v1/fixtures/{id}/history"),
        None => "/v1/history".to_owned(),
    };
    let changes = all_pages(&daemon(common)?, &path, &query, "changes", limit)?;
    if out.json {
        return out.value(&json!({ "changes": changes }));
    }
    if changes.is_empty() {
        return out.line("Nothing was changed.");
    }
    let row = |change: &Value| {
        vec![
            shown_time(change.get("at")),
            shown(change.get("fixture")),
            shown(change.get("document")),
            shown(change.get("rev")),
            shown(change.get("by")),
            shown(change.get("via")),
            shortened(&shown(change.get("patch")), 80),
        ]
    };
    out.table(&["AT", "FIXTURE", "DOCUMENT", "REV", "BY", "VIA", "PATCH"], changes.iter().map(row).collect())
}

/// The members of all pages together, at most so many.
pub(super) fn all_pages(
    client: &Client,
    path: &str,
    query: &[(&str, String)],
    member: &str,
    most: usize,
) -> Result<Vec<Value>, Failure> {
    let mut all = Vec::new();
    let mut cursor: Option<String> = None;
    loop {
        let mut query = query.to_vec();
        query.extend(cursor.take().map(|cursor| ("cursor", cursor)));
        let mut page = client.get(path, &query)?.json()?;
        match page.get_mut(member).map(Value::take) {
            Some(Value::Array(members)) => all.extend(members),
            _ => {
                let why = format!("it has no list named {member}");
                return Err(Failure::Answer { url: path.to_owned(), why });
            }
        }
        cursor = page.get("next").and_then(Value::as_str).map(ToOwned::to_owned);
        if cursor.is_none() || all.len() >= most {
            all.truncate(most);
            return Ok(all);
        }
    }
}
