//! The page for people, the way in and out, the pages of the problems.

use axum::body::Body;
use axum::http::Request;
use service::{Message, Scope};

use crate::house::{Answer, House, JSON};

const FORM: &str = "application/x-www-form-urlencoded";

async fn from_afar(house: &House, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
    let mut request = Request::builder().method(method).uri(path).header("host", "lights.example:8470");
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    house.send_from("192.0.2.7:5", request.body(Body::from(body.to_owned())).unwrap()).await
}

#[tokio::test]
async fn the_page_says_how_each_fixture_stands_and_how_to_begin() {
    let house = House::with_hall().await;
    house.hear("hall", Message::boot(br#"{"reason":"brownout","have":0}"#).unwrap()).await;
    house.put("/v1/fixtures/hall/override", r#"{"look":"late","until":"2026-11-25T22:00:00Z"}"#).await.expect(200);
    let answer = house.get("/").await;
    assert_eq!(answer.expect(200).header("content-type"), "text/html; charset=utf-8");
    let page = answer.text();
    for words in [
        "Reeds in the hall",
        "<b>behind</b>",
        "shows <b>late</b>",
        "until 22:00:00 UTC",
        "rev 2",
        "the supply sagged",
        "1 fixture: 1 behind",
        "curl -X PATCH http://127.0.0.1:8470/v1/fixtures/hall/desired",
        "no link to the broker",
        "9.8.7",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    // the policy of the page lets no inline script or style run, so there must be none
    assert!(!page.contains("style=") && !page.contains("<style") && !page.contains(" onclick"));
    for script in page.split("<script").skip(1) {
        assert!(script.starts_with(" type=\"module\" src=\"/assets/"), "{script}");
    }
    for part in ["style.css", "live.js", "mark.svg"] {
        assert!(page.contains(&format!("/assets/{part}")));
        house.get(&format!("/assets/{part}")).await.expect(200);
    }
    house.get("/assets/ghost.js").await.problem(404, "not-there");
}

#[tokio::test]
async fn an_empty_house_says_how_to_make_the_first_fixture() {
    let house = House::open().await;
    let page = house.get("/").await.text();
    assert!(page.contains("no fixtures yet"));
    assert!(page.contains("curl -X POST http://127.0.0.1:8470/v1/fixtures"));
}

#[tokio::test]
async fn whoever_may_not_read_is_told_how_to_get_in_and_nothing_else() {
    let house = House::with_hall().await;
    let page = from_afar(&house, "GET", "/", &[], "").await.expect(200).text();
    assert!(page.contains("action=\"/login\""));
    for word in ["hall", "Reeds", "9.8.7", "fixture", "curl"] {
        assert!(!page.contains(word), "{word}");
    }
}

#[tokio::test]
async fn logging_in_sets_a_cookie_that_opens_the_page_and_logging_out_takes_it_away() {
    let house = House::with_hall().await;
    let token = house.token("kitchen tablet", Scope::Edit).await;
    let origin = ("origin", "http://lights.example:8470");
    let form = [("content-type", FORM), origin];
    let entered = from_afar(&house, "POST", "/login", &form, &format!("token={token}")).await;
    assert_eq!(entered.expect(303).header("location"), "/");
    let cookie = entered.header("set-cookie");
    for word in ["HttpOnly", "SameSite=Strict", "Path=/"] {
        assert!(cookie.contains(word), "{cookie}");
    }
    let pair = cookie.split(';').next().unwrap();
    let page = from_afar(&house, "GET", "/", &[("cookie", pair)], "").await.text();
    assert!(page.contains("Reeds in the hall") && page.contains("Log out") && page.contains("$TOKEN"));
    assert!(!page.contains(&token));
    from_afar(&house, "GET", "/v1/fixtures", &[("cookie", pair)], "").await.expect(200);
    let left = from_afar(&house, "POST", "/logout", &[("cookie", pair), origin], "").await;
    assert!(left.expect(303).header("set-cookie").contains("Max-Age=0"));
}

#[tokio::test]
async fn a_wrong_token_gets_the_form_again_and_no_cookie() {
    let house = House::with_hall().await;
    for body in ["token=wrong", "token=", "", "token=%ff%00", "other=1"] {
        let answer = from_afar(&house, "POST", "/login", &[("content-type", FORM)], body).await;
        assert_eq!(answer.expect(401).header("set-cookie"), "");
        assert!(answer.text().contains("not a token of this daemon"));
    }
    from_afar(&house, "POST", "/login", &[("content-type", JSON)], "{}").await.problem(415, "media-type");
    let foreign = [("content-type", FORM), ("origin", "http://evil.example")];
    from_afar(&house, "POST", "/login", &foreign, "token=x").await.problem(403, "foreign-page");
    // a cookie that opens nothing shows the form, and is no failed log-in
    let stale = from_afar(&house, "GET", "/", &[("cookie", "sconced_token=gone")], "").await;
    assert!(stale.expect(200).text().contains("action=\"/login\""));
}

#[tokio::test]
async fn every_problem_has_its_page() {
    let house = House::open().await;
    let list = house.get("/problems").await.expect(200).text();
    let mut seen = 0;
    for link in list.split("href=\"/problems/").skip(1) {
        let slug = link.split('"').next().unwrap();
        let page = house.get(&format!("/problems/{slug}")).await.expect(200).text();
        assert!(page.contains(slug) && page.contains("<h1>") && !page.contains('`'));
        seen += 1;
    }
    assert!(seen > 30);
    house.get("/problems/bored").await.problem(404, "not-there");
}
