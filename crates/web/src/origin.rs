//! Where a request comes from: the machine itself or not, the daemon's own page or another site's.

use std::net::IpAddr;

use axum::http::header::{FORWARDED, HOST, HeaderName, ORIGIN, VIA};
use axum::http::{HeaderMap, Method, Uri};

use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

const FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// The host that the caller addressed, with its port: `127.0.0.1:8470`.
pub(crate) fn host<'a>(headers: &'a HeaderMap, uri: &'a Uri) -> Option<&'a str> {
    headers
        .get(HOST)
        .and_then(|value| value.to_str().ok())
        .or_else(|| uri.authority().map(|authority| authority.as_str()))
        .filter(|host| !host.is_empty())
}

/// The name in a host with or without port; IPv6 addresses without their brackets.
pub(crate) fn name_of(host: &str) -> &str {
    if let Some(rest) = host.strip_prefix('[') {
        return rest.split_once(']').map_or("", |(name, _)| name);
    }
    host.rsplit_once(':').map_or(host, |(name, _)| name)
}

/// Whether a request comes from the machine itself and is meant for it. The name that the caller addressed must be
/// that of the loopback: a page whose own name was pointed at 127.0.0.1 still sends its own name. What says that it
/// came through a proxy comes from elsewhere, whatever its address says; a proxy that says nothing of itself and passes
/// a loopback name on cannot be told from the machine itself.
pub(crate) fn is_loopback(peer: IpAddr, headers: &HeaderMap, uri: &Uri) -> bool {
    let name = host(headers, uri).map_or("", name_of);
    let named = name.eq_ignore_ascii_case("localhost")
        || name.parse::<IpAddr>().is_ok_and(|address| address.to_canonical().is_loopback());
    peer.to_canonical().is_loopback() && named && !headers.keys().any(is_of_proxy)
}

/// Whether a header is one that proxies add: RFC 7239 (Forwarded), RFC 9110, section 7.6.3 (Via), and by common
/// practice X-Forwarded-For, X-Forwarded-Host and their kin, and X-Real-IP.
fn is_of_proxy(name: &HeaderName) -> bool {
    *name == FORWARDED || *name == VIA || *name == "x-real-ip" || name.as_str().starts_with("x-forwarded-")
}

/// Refuses requests that change something and that a browser made for another site's page.
pub(crate) fn check(method: &Method, headers: &HeaderMap, uri: &Uri) -> Result<(), Refusal> {
    if method.is_safe() {
        return Ok(());
    }
    let foreign = |what: String| Err(Refusal::new(ProblemType::FOREIGN, what));
    if let Some(origin) = headers.get(ORIGIN) {
        let origin = origin.to_str().unwrap_or_default();
        let of = origin.split_once("://").map_or("", |(_, host)| host);
        if of.is_empty() || !host(headers, uri).is_some_and(|host| host.eq_ignore_ascii_case(of)) {
            return foreign(format!("the Origin {origin:?} is not this daemon's own"));
        }
    }
    if headers.get(FETCH_SITE).is_some_and(|site| site == "cross-site") {
        return foreign("the browser says that another site's page made the request".into());
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(HeaderName, &str)]) -> HeaderMap {
        pairs.iter().map(|(name, value)| (name.clone(), value.parse().unwrap())).collect()
    }

    #[test]
    fn only_a_loopback_name_from_a_loopback_address_is_the_machine_itself() {
        let uri = Uri::from_static("/");
        let (here, there): (IpAddr, IpAddr) = ("127.0.0.1".parse().unwrap(), "192.0.2.9".parse().unwrap());
        for host in ["127.0.0.1", "127.0.0.1:8470", "localhost:1", "LOCALHOST", "[::1]:8470", "[::1]"] {
            assert!(is_loopback(here, &headers(&[(HOST, host)]), &uri), "{host}");
            assert!(!is_loopback(there, &headers(&[(HOST, host)]), &uri), "{host}");
        }
        for host in
            ["lights.example", "lights.example:8470", "127.0.0.1.lights.example", "[::2]", "192.0.2.9", "[", ":1"]
        {
            assert!(!is_loopback(here, &headers(&[(HOST, host)]), &uri), "{host}");
        }
        assert!(!is_loopback(here, &headers(&[]), &uri));
        for name in [
            "forwarded",
            "x-forwarded-for",
            "x-forwarded-host",
            "x-forwarded-proto",
            "x-real-ip",
            "via",
            "X-Forwarded-By",
        ] {
            let name: HeaderName = name.parse().unwrap();
            assert!(!is_loopback(here, &headers(&[(HOST, "localhost"), (name.clone(), "x")]), &uri), "{name}");
        }
        assert!(is_loopback(here, &headers(&[(HOST, "localhost"), (FETCH_SITE, "none")]), &uri));
    }

    #[test]
    fn another_sites_page_may_not_change_anything() {
        let uri = Uri::from_static("/");
        let check = |method: Method, pairs: &[(HeaderName, &str)]| check(&method, &headers(pairs), &uri).is_ok();
        assert!(check(Method::POST, &[(HOST, "a:1")]));
        assert!(check(Method::POST, &[(HOST, "a:1"), (ORIGIN, "http://a:1"), (FETCH_SITE, "same-origin")]));
        for origin in ["http://b", "http://a:2", "http://a", "null", "", "http://a:1.b"] {
            assert!(!check(Method::POST, &[(HOST, "a:1"), (ORIGIN, origin)]), "{origin}");
            assert!(check(Method::GET, &[(HOST, "a:1"), (ORIGIN, origin)]), "{origin}");
        }
        assert!(!check(Method::DELETE, &[(HOST, "a:1"), (FETCH_SITE, "cross-site")]));
    }
}
