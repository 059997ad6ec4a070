//! What every answer carries, whom changes are taken from, and how large they may be.

use airmuster::web::routes;
use axum::body::Body;
use axum::http::{Method, Request, header};

use super::browser::Browser;
use super::district::{District, district};
use super::rights::path;

/// A request for a route, with these headers beside.
fn request(
    method: &Method,
    route: &str,
    cookies: &str,
    headers: &[(&str, &str)],
    body: Vec<u8>,
) -> Request<Body> {
    let mut request = Request::builder()
        .method(method)
        .uri(path(route))
        .header(header::COOKIE, cookies)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    request.body(Body::from(body)).unwrap()
}

/// Nobody, a tablet, and those who between them may call everything.
async fn visitors(d: &District) -> Vec<Browser> {
    let mut out = vec![d.nobody(), d.tablet().await];
    for member in ["olga", "tom", "ada"] {
        out.push(d.signed_in(member).await);
    }
    out
}

#[tokio::test]
async fn every_answer_says_what_a_browser_may_do_with_it() {
    let d = district().await;
    d.gauges_apart("130").await;
    let mut answers = 0;
    for browser in visitors(&d).await {
        for route in routes() {
            // Signed out, the rest would be asked by nobody.
            if route.path == "/sign-out" {
                continue;
            }
            let at = format!("{} {}", route.method, route.path);
            let cookies = browser.cookies();
            let answer = browser.send(request(&route.method, route.path, &cookies, &[], Vec::new())).await;
            let of = |name: &str| answer.headers().get(name).map_or("", |v| v.to_str().unwrap());
            let policy = of("content-security-policy");
            for part in [
                "default-src 'none'",
                "script-src 'self'",
                "style-src 'self'",
                "frame-ancestors 'none'",
                "base-uri 'none'",
                "form-action 'self'",
            ] {
                assert!(policy.contains(part), "{at}: {policy}");
            }
            assert!(!policy.contains("unsafe"), "{at}: {policy}");
            assert_eq!(of("x-content-type-options"), "nosniff", "{at}");
            assert_eq!(of("referrer-policy"), "same-origin", "{at}");
            assert_eq!(
                of("strict-transport-security"),
                "",
                "{at}: only over TLS with the department's certificate"
            );
            let kept = route.path.starts_with("/static/") || route.path == "/sw.js";
            assert_eq!(of("cache-control"), if kept { "no-cache" } else { "no-store" }, "{at}");
            for cookie in answer.headers().get_all("set-cookie") {
                let cookie = cookie.to_str().unwrap();
                assert!(
                    cookie.contains("HttpOnly") && cookie.contains("SameSite=") && cookie.contains("Path=/"),
                    "{at}: {cookie}"
                );
                assert!(!cookie.contains("Domain"), "{at}: {cookie}");
            }
            answers += 1;
        }
    }
    assert!(answers > 250, "only {answers} answers were looked at");
}

#[tokio::test]
async fn no_answer_ever_clears_what_a_tablet_has_not_handed_in() {
    let d = district().await;
    for browser in visitors(&d).await {
        for route in routes() {
            let cookies = browser.cookies();
            let answer = browser.send(request(&route.method, route.path, &cookies, &[], Vec::new())).await;
            let cleared = answer.headers().get("clear-site-data").map_or("", |v| v.to_str().unwrap());
            assert!(["", "\"cache\""].contains(&cleared), "{}: {cleared}", route.path);
        }
    }
    let mut own = d.signed_in("olga").await;
    let out = own.post("/sign-out", &[]).await;
    assert_eq!(out.headers["clear-site-data"], "\"cache\"", "on a device of one's own");
    assert_eq!(own.get("/rigs").await.to, "/sign-in?next=/rigs");
    let mut shared = d.tablet().await;
    shared.post("/sign-in", &[("member", "olga"), ("pin", super::district::PIN)]).await;
    let out = shared.post("/sign-out", &[]).await;
    assert!(!out.headers.contains_key("clear-site-data"), "a tablet keeps its pages");
    assert_eq!(shared.get("/stations").await.status, 200, "and stays enrolled");
}

#[tokio::test]
async fn no_change_is_taken_from_another_site() {
    let d = district().await;
    let administrator = d.signed_in("ada").await;
    let cookies = administrator.cookies();
    let before = d.records().await;
    let elsewhere: [&[(&str, &str)]; 4] = [
        &[("sec-fetch-site", "cross-site")],
        &[("sec-fetch-site", "same-site")],
        &[("origin", "https://elsewhere.example"), ("host", "here.example")],
        &[("origin", "null"), ("host", "here.example")],
    ];
    let mut tried = 0;
    for route in routes().into_iter().filter(|r| r.method != Method::GET) {
        for headers in elsewhere {
            let answer =
                administrator.send(request(&route.method, route.path, &cookies, headers, Vec::new())).await;
            assert_eq!(answer.status(), 403, "{} {} with {headers:?}", route.method, route.path);
            tried += 1;
        }
    }
    assert!(tried > 60, "only {tried}");
    assert_eq!(d.records().await, before);
    assert_eq!(d.signed_in("ada").await.get("/rigs").await.status, 200);
}

#[tokio::test]
async fn nothing_larger_than_a_batch_of_records_is_read() {
    let d = district().await;
    let before = d.records().await;
    let mut refused = 0;
    for member in ["olga", "tom", "ada"] {
        let browser = d.signed_in(member).await;
        for route in routes().into_iter().filter(|r| r.method != Method::GET) {
            // Neither of them reads a body.
            if ["/sign-out", "/units/{unit}/move"].contains(&route.path) {
                continue;
            }
            let body = b"a=".iter().copied().chain(std::iter::repeat_n(b'x', 6 * 1024 * 1024)).collect();
            let cookies = browser.cookies();
            let json = [("content-type", "application/json")];
            let headers: &[(&str, &str)] = if route.path.starts_with("/api/") { &json } else { &[] };
            let answer = browser.send(request(&route.method, route.path, &cookies, headers, body)).await;
            let status = answer.status().as_u16();
            assert!((400..500).contains(&status), "{} as {member}: {status}", route.path);
            refused += u32::from(status == 413);
        }
    }
    assert!(refused > 20, "only {refused} were refused for their size");
    assert_eq!(d.records().await, before);
}
