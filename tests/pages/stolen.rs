//! Forged and replayed records, and a tablet's file in the wrong hands: what is taken in proves
//! nothing that its signature does not prove.

use airmuster_domain::judge::Raw;
use airmuster_domain::record::{Asset, Check, Outcome, Register, Stamp, TakenOut, encode};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;
use axum::http::Method;
use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

use super::browser::Browser;
use super::district::{DAY, District, MINUTE, district};
use super::hostile::send;

const JSON: (&str, &str) = ("content-type", "application/json");

fn written(d: &District, kind: &str, id: Uuid, by: Option<&str>, body: &impl Serialize) -> String {
    let stamp = Stamp {
        id,
        tablet: "tablet-9".to_owned(),
        at: d.clock.now(),
        client: "test".to_owned(),
        by: by.map(str::to_owned),
        ..Stamp::default()
    };
    String::from_utf8_lossy(&encode(kind, &stamp, body)).into_owned()
}

async fn hand_in(browser: &Browser, record: &str) -> (u16, Value) {
    let bytes = record.as_bytes().to_vec();
    let (status, said) = send(browser, &Method::POST, "/api/v1/records", &[JSON], bytes).await;
    (status, serde_json::from_str(&said).unwrap_or_default())
}

async fn import(officer: &Browser, records: &[String]) -> String {
    let file = serde_json::json!({ "airmuster_outbox": 1, "records": records }).to_string();
    let body = format!(
        "--xx\r\nContent-Disposition: form-data; name=\"file\"; filename=\"tablet.json\"\r\n\r\n{file}\r\n--xx--\r\n"
    );
    let kind = ("content-type", "multipart/form-data; boundary=xx");
    let (status, html) = send(officer, &Method::POST, "/unsent/import", &[kind], body.into_bytes()).await;
    assert_eq!(status, 200, "{html}");
    html
}

async fn complete(d: &District, unit: &str, purpose: Purpose) -> Check {
    d.answered(unit, purpose, &[]).await
}

#[tokio::test]
async fn a_record_sent_again_and_again_by_anyone_is_there_once() {
    let d = district().await;
    let check = complete(&d, "117", Purpose::ShiftStart).await;
    let record = written(&d, "check", check.run, Some("ana"), &check);
    let ana = d.signed_in("ana").await;
    let (status, first) = hand_in(&ana, &record).await;
    assert_eq!((status, first["status"].as_str()), (200, Some("stored")), "{first}");
    assert_eq!(d.state("117").await, State::InService);
    let before = d.records().await;
    d.pass(MINUTE);
    let others = [d.signed_in("ben").await, d.signed_in("tom").await, d.signed_in("ada").await];
    for browser in others.iter().cycle().take(60) {
        let (status, again) = hand_in(browser, &record).await;
        assert_eq!((status, again["status"].as_str()), (200, Some("already_stored")), "{again}");
        assert_eq!(again["seq"], first["seq"]);
    }
    assert_eq!(d.records().await, before);
    // Long after, it still says nothing of today.
    d.pass(3 * DAY);
    let ana = d.signed_in("ana").await;
    assert_eq!(hand_in(&ana, &record).await.0, 200);
    assert_eq!(d.state("117").await, State::CheckDue);
}

#[tokio::test]
async fn a_signature_that_somebody_else_writes_proves_nothing() {
    let d = district().await;
    d.pass(DAY);
    d.checked().await;
    d.gauges_apart("130").await;
    d.pass(MINUTE);
    for (who, browser) in [("ben", d.signed_in("ben").await), ("ana", d.signed_in("ana").await)] {
        let proof = complete(&d, "130", Purpose::Proving).await;
        let (status, said) = hand_in(&browser, &written(&d, "check", proof.run, Some("tom"), &proof)).await;
        assert_eq!(status, 200, "{who}: a field record is stored whatever it says: {said}");
    }
    let mut technician = d.signed_in("tom").await;
    let ticket = technician.get("/tickets/1").await.ok();
    assert!(!ticket.html.contains("/tickets/1/return"), "no return rests on a forged proof");
    // Neither does a desk record come in by a tablet, whoever it says has signed.
    let before = d.records().await;
    let admin =
        Register::Member { id: "ana".to_owned(), roles: vec!["administrator".to_owned()], qualified: vec![] };
    for browser in [d.signed_in("ben").await, d.signed_in("ada").await] {
        for by in [None, Some("ada")] {
            let (status, said) = hand_in(&browser, &written(&d, "register", d.clock.id(), by, &admin)).await;
            assert_eq!((status, said["status"].as_str()), (422, Some("refused")), "{said}");
        }
    }
    assert_eq!(d.records().await, before);
    assert_eq!(d.state("130").await, State::OutOfService);
}

#[tokio::test]
async fn a_stolen_outbox_file_can_raise_and_release_nothing() {
    let d = district().await;
    d.pass(DAY);
    let bad = [("good", Raw::Flag(false))];
    let failed = d.answered("121", Purpose::ShiftStart, &[("harness-condition", &bad)]).await;
    d.submit_check(&failed, "ana").await;
    assert_eq!(d.state("121").await, State::OutOfService);
    d.pass(MINUTE);
    let before = d.open("121").await;

    // Whoever has the file writes a good check under the same id, and one of another unit.
    let good = Check {
        run: failed.run,
        seen: before.iter().cloned().collect(),
        ..complete(&d, "121", Purpose::ShiftStart).await
    };
    let fresh = complete(&d, "117", Purpose::ShiftStart).await;
    let part = Check { outcome: Outcome::Stopped, ..complete(&d, "142", Purpose::ShiftStart).await };
    let pulled = TakenOut { asset: Asset::unit("130"), why: "it hisses".to_owned() };
    let promoted =
        Register::Member { id: "ben".to_owned(), roles: vec!["administrator".to_owned()], qualified: vec![] };
    let file = [
        written(&d, "check", good.run, Some("ana"), &good),
        written(&d, "check", fresh.run, Some("ana"), &fresh),
        written(&d, "check", d.clock.id(), None, &part),
        written(&d, "taken_out", d.clock.id(), Some("ben"), &pulled),
        written(&d, "register", d.clock.id(), Some("ada"), &promoted),
        "{}".to_owned(),
    ];
    let officer = d.signed_in("olga").await;
    let said = import(&officer, &file).await;
    assert_eq!(said.matches("not taken in").count(), 2, "{said}");

    let after = d.open("121").await;
    assert!(before.is_subset(&after), "nothing is cleared: {before:?}, {after:?}");
    assert!(after.iter().any(|k| k.starts_with("contested/")), "two versions are two: {after:?}");
    assert_ne!(d.state("117").await, State::InService, "nobody has proven that ana signed");
    assert_eq!(d.state("130").await, State::OutOfService, "what raises, raises");
    let ben = d.store.signer("ben").await.unwrap().unwrap();
    assert_eq!(ben.roles, [Role::Crew].into());
    // Twice is once.
    let records = d.records().await;
    import(&officer, &file[..4]).await;
    assert_eq!(d.records().await, records);
}
