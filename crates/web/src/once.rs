//! Idempotency-Key: a POST that is carried out once, however often it is sent.

use axum::http::header::HeaderName;
use axum::http::{HeaderMap, HeaderValue, Method, Uri};
use service::Once;

use crate::caller::{Account, Caller};
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

const KEY: HeaderName = HeaderName::from_static("idempotency-key");
const REPLAYED: HeaderName = HeaderName::from_static("idempotency-replayed");

fn key(headers: &HeaderMap) -> Result<Option<&str>, Refusal> {
    let mut lines = headers.get_all(KEY).iter();
    let Some(value) = lines.next() else { return Ok(None) };
    value
        .to_str()
        .ok()
        .filter(|text| (1..=255).contains(&text.len()) && text.bytes().all(|byte| matches!(byte, 0x20..=0x7e)))
        .filter(|_| lines.next().is_none())
        .map(Some)
        .ok_or_else(|| {
            Refusal::new(
                ProblemType::BAD_HEADER,
                "the Idempotency-Key is not one text of 1 to 255 printable ASCII characters",
            )
            .advice("choose a new random key for every new request, such as a UUID")
        })
}

/// The key of a request, with the fingerprint of what it asks.
pub(crate) fn once(
    headers: &HeaderMap,
    caller: &Caller,
    method: &Method,
    uri: &Uri,
    body: &[u8],
) -> Result<Option<Once>, Refusal> {
    let Some(key) = key(headers)? else { return Ok(None) };
    let mut hash = blake3::Hasher::new();
    // neither a method nor a path can hold a line feed, so that the parts cannot run into each other
    hash.update(method.as_str().as_bytes()).update(b"\n").update(uri.path().as_bytes()).update(b"\n").update(body);
    Ok(Some(Once { key: of_caller(&caller.account, key), fingerprint: hash.finalize().into() }))
}

/// A key as it is kept: each caller's own. Both parts come with their lengths, so that no name of one caller with a key
/// is that of another with another.
fn of_caller(account: &Account, key: &str) -> String {
    let mut hash = blake3::Hasher::new();
    for part in [account.name().as_bytes(), key.as_bytes()] {
        hash.update(&u64::try_from(part.len()).unwrap_or(u64::MAX).to_be_bytes()).update(part);
    }
    hash.finalize().to_hex().to_string()
}

/// Refuses a key where a request cannot be remembered.
pub(crate) fn refuse(headers: &HeaderMap) -> Result<(), Refusal> {
    match key(headers)? {
        None => Ok(()),
        Some(_) => Err(Refusal::new(ProblemType::BAD_HEADER, "an Idempotency-Key is not supported here")
            .advice("leave it out; list what there is before you repeat the request")),
    }
}

/// Says that an answer is that of an earlier request.
pub(crate) fn mark(headers: &mut HeaderMap, replayed: bool) {
    if replayed {
        headers.insert(REPLAYED, HeaderValue::from_static("true"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_callers_share_a_key_and_no_two_keys_of_one_are_the_same() {
        let accounts = [
            Account::Loopback,
            Account::Token { id: 0, created: 0 },
            Account::Token { id: 1, created: 0 },
            Account::Token { id: 1, created: 1 },
            Account::Token { id: 11, created: 1 },
        ];
        let mut seen = std::collections::HashSet::new();
        for account in &accounts {
            for key in ["", "k", "1:k", "1:1:k", "loopback", ":k"] {
                assert!(seen.insert(of_caller(account, key)), "{account:?} {key:?}");
                assert_eq!(of_caller(account, key), of_caller(account, key));
            }
        }
    }
}
