//! What programs read, with which tokens, and lists as files.

use airmuster::web::{Who, routes};
use axum::body::{Body, to_bytes};
use axum::http::{Request, header};
use serde_json::Value;

use super::district::{District, MINUTE, district};

/// What a program is answered: the status, and the JSON.
async fn ask(d: &District, path: &str, token: &str) -> (u16, Value) {
    let mut request = Request::get(path);
    if !token.is_empty() {
        request = request.header(header::AUTHORIZATION, format!("Bearer {token}"));
    }
    let answer = d.nobody().send(request.body(Body::empty()).unwrap()).await;
    let status = answer.status().as_u16();
    let body = to_bytes(answer.into_body(), usize::MAX).await.unwrap();
    (status, serde_json::from_slice(&body).unwrap_or(Value::Null))
}

/// A token as the page shows it.
async fn token(d: &District, name: &str) -> String {
    let page = d.signed_in("ada").await.post("/tokens", &[("name", name)]).await.ok();
    let at = page.html.find("airmuster_").expect("it is shown");
    page.html[at..].split('<').next().unwrap().to_owned()
}

#[tokio::test]
async fn a_token_is_shown_once_reads_until_it_is_taken_back_and_changes_nothing() {
    let d = district().await;
    d.checked().await;
    let token = token(&d, "readiness board").await;
    assert!(token.len() > 50);
    let mut ada = d.signed_in("ada").await;
    let list = ada.get("/tokens").await.ok();
    assert!(!list.html.contains(&token) && list.text().contains("Never used"), "{}", list.text());

    assert_eq!(ask(&d, "/api/v1/units", "").await.0, 401);
    assert_eq!(ask(&d, "/api/v1/units", "airmuster_nothing").await.0, 401);
    let (status, units) = ask(&d, "/api/v1/units", &token).await;
    assert_eq!(status, 200);
    assert_eq!(units[0]["number"], "117");
    assert_eq!(units[0]["standing"], "in_service");
    assert_eq!(units[0]["checked_at"], "2026-11-26T07:04:00.000Z");
    assert!(ada.get("/tokens").await.ok().text().contains("Last used 07:04"));

    // It opens no page, and no way in.
    for (path, method) in
        [("/stations", "GET"), ("/bench", "GET"), ("/register", "GET"), ("/api/v1/records", "POST")]
    {
        let request = Request::builder().method(method).uri(path);
        let request = request.header(header::AUTHORIZATION, format!("Bearer {token}"));
        let request =
            request.header(header::CONTENT_TYPE, "application/json").body(Body::from("{}")).unwrap();
        let status = d.nobody().send(request).await.status().as_u16();
        assert!(matches!(status, 303 | 401), "{path}: {status}");
    }
    assert_eq!(ada.post("/tokens/1/revoke", &[]).await.to, "/tokens");
    assert_eq!(ask(&d, "/api/v1/units", &token).await.0, 401);
    assert_eq!(ada.post("/tokens/1/revoke", &[]).await.status, 404);
    assert!(ada.get("/tokens").await.ok().text().contains("Taken back 07:04"));
    assert_eq!(ada.post("/tokens", &[("name", " ")]).await.status, 422);
}

#[tokio::test]
async fn what_is_read_is_what_the_boards_say() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    let token = token(&d, "t").await;
    let (_, unit) = ask(&d, "/api/v1/units/130", &token).await;
    assert_eq!(unit["standing"], "out_of_service");
    assert!(unit["grounds"][0].as_str().unwrap().contains("490 psi apart"), "{unit}");
    assert_eq!((&unit["seat"], &unit["station"]), (&"seat-3".into(), &"mill".into()));
    let (_, seats) = ask(&d, "/api/v1/seats", &token).await;
    let ready: Vec<bool> = seats.as_array().unwrap().iter().map(|s| s["ready"] == true).collect();
    assert_eq!(ready, [true, true, false], "{seats}");
    let (_, tickets) = ask(&d, "/api/v1/tickets", &token).await;
    assert_eq!((&tickets[0]["asset"], &tickets[0]["stage"]), (&"unit:130".into(), &"reported".into()));
    assert_eq!(ask(&d, "/api/v1/stations", &token).await.1[0]["name"], "Millrace");
    assert_eq!(ask(&d, "/api/v1/rigs", &token).await.1[0]["duty"], "in_use");
    assert_eq!(ask(&d, "/api/v1/units/999", &token).await.0, 404);

    let (_, first) = ask(&d, "/api/v1/checks?limit=3", &token).await;
    assert_eq!(first["checks"].as_array().unwrap().len(), 3);
    let next = first["next"].as_i64().unwrap();
    let (_, rest) = ask(&d, &format!("/api/v1/checks?after={next}"), &token).await;
    assert_eq!(rest["checks"].as_array().unwrap().len(), 2);
    assert_eq!(rest["next"], Value::Null);
    assert_eq!(rest["checks"][1]["verdict"], "out_of_service");
    for wrong in ["limit=0", "limit=1001", "limit=many", "after=-1"] {
        let (status, said) = ask(&d, &format!("/api/v1/checks?{wrong}"), &token).await;
        assert_eq!(status, 400, "{wrong}");
        assert!(said["say"].is_string(), "{wrong}: {said}");
    }
}

#[tokio::test]
async fn the_description_is_openapi_3_1_and_has_every_way_to_read_and_no_other() {
    let d = district().await;
    let (status, api) = ask(&d, "/api/v1/openapi.json", "").await;
    assert_eq!(status, 200, "whoever writes a program reads it first");
    assert!(api["openapi"].as_str().unwrap().starts_with("3.1"), "{api}");
    let mut described: Vec<String> = api["paths"].as_object().unwrap().keys().cloned().collect();
    described.sort();
    let mut there: Vec<String> =
        routes().iter().filter(|r| matches!(r.who, Who::Reader(_))).map(|r| r.path.to_owned()).collect();
    there.sort();
    assert_eq!(described, there);
    for (path, ways) in api["paths"].as_object().unwrap() {
        assert_eq!(ways.as_object().unwrap().keys().collect::<Vec<_>>(), ["get"], "{path}");
        assert!(ways["get"]["responses"]["401"].is_object(), "{path}");
    }
    assert_eq!(api["components"]["securitySchemes"]["token"]["scheme"], "bearer");
}

#[tokio::test]
async fn lists_come_as_csv_and_json_and_names_go_to_the_administrator_alone() {
    let d = district().await;
    d.checked().await;
    let mut olga = d.signed_in("olga").await;
    for name in [
        "stations",
        "rigs",
        "seats",
        "units",
        "cylinders",
        "facepieces",
        "members",
        "checks",
        "tickets",
        "standings",
        "upkeep",
    ] {
        let csv = olga.get(&format!("/lists/{name}.csv")).await.ok();
        assert!(csv.headers["content-type"].to_str().unwrap().starts_with("text/csv"), "{name}");
        let mut lines = csv.html.split("\r\n");
        let columns = lines.next().unwrap().split(',').count();
        assert!(columns >= 3 && csv.html.ends_with("\r\n"), "{name}: {}", csv.html);
        let json = olga.get(&format!("/lists/{name}.json")).await.ok();
        let rows: Value = serde_json::from_str(&json.html).unwrap();
        assert_eq!(rows.as_array().unwrap().len(), lines.filter(|l| !l.is_empty()).count(), "{name}");
    }
    let standings = olga.get("/lists/standings.csv").await.ok().html;
    assert!(standings.contains("117,us-4500-third,\"Engine 2, officer\",In service,"), "{standings}");
    assert!(!olga.get("/lists/members.csv").await.ok().html.contains("Ana Wick"));
    assert!(d.signed_in("ada").await.get("/lists/members.csv").await.ok().html.contains("Ana Wick"));
    for gone in ["/lists/hats.csv", "/lists/units.xls", "/lists/units"] {
        assert_eq!(olga.get(gone).await.status, 404, "{gone}");
    }
}
