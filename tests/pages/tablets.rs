//! Enrolling a tablet, what it may then do, what its key says of a record, and giving it up.

use airmuster::service::pin::Cost;
use airmuster::web::demo_router;
use airmuster_domain::record::{Asset, Digest, Outcome, Stamp, TabletKey, TakenOut, encode, signed_text};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;
use axum::body::{Body, to_bytes};
use axum::http::Request;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ring::rand::SystemRandom;
use ring::signature::{ECDSA_P256_SHA256_FIXED_SIGNING, EcdsaKeyPair, KeyPair as _};
use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

use super::browser::{Browser, Page};
use super::district::{DAY, District, MINUTE, district};

/// A tablet with a key of its own, as the page's script makes one.
struct Keyed {
    browser: Browser,
    id: String,
    key: EcdsaKeyPair,
    incarnation: Uuid,
    number: u64,
}

fn new_key() -> EcdsaKeyPair {
    let random = SystemRandom::new();
    let pkcs8 = EcdsaKeyPair::generate_pkcs8(&ECDSA_P256_SHA256_FIXED_SIGNING, &random).unwrap();
    EcdsaKeyPair::from_pkcs8(&ECDSA_P256_SHA256_FIXED_SIGNING, pkcs8.as_ref(), &random).unwrap()
}

fn hex(bytes: &[u8]) -> String {
    TabletKey(bytes.try_into().unwrap()).to_string()
}

fn sign(key: &EcdsaKeyPair, text: &str) -> String {
    URL_SAFE_NO_PAD.encode(key.sign(&SystemRandom::new(), text.as_bytes()).unwrap())
}

/// What the form sends for a code, with the proof that the key is the tablet's own.
async fn send_code(browser: &mut Browser, code: &str, key: &EcdsaKeyPair) -> Page {
    let digits = code.replace(' ', "");
    let proof = sign(key, &format!("airmuster enrolment 1\n{digits}"));
    let public = hex(key.public_key().as_ref());
    browser.post("/enrol", &[("code", code), ("key", &public), ("proof", &proof)]).await
}

async fn keyed(d: &District, name: &str) -> Keyed {
    let (code, key, mut browser) = (d.code(name).await, new_key(), d.nobody());
    let page = send_code(&mut browser, &code, &key).await.ok();
    assert!(page.text().contains("It has a key of its own"), "{}", page.text());
    let id = d.store.tablets().await.unwrap().into_iter().find(|t| t.name == name).unwrap().id;
    Keyed { browser, id, key, incarnation: Uuid::from_u128(5), number: 0 }
}

impl Keyed {
    /// The next record of this tablet, and what its key says of it.
    fn write(&mut self, d: &District, kind: &str, id: Uuid, body: &impl Serialize) -> (Vec<u8>, String) {
        self.number += 1;
        let stamp = Stamp {
            id,
            tablet: self.id.clone(),
            incarnation: Some(self.incarnation),
            number: Some(self.number),
            at: d.clock.now(),
            client: "test".to_owned(),
            by: Some("ana".to_owned()),
            ..Stamp::default()
        };
        let bytes = encode(kind, &stamp, body);
        let signature = sign(&self.key, &signed_text(&self.id, &Digest::of(&bytes)));
        (bytes, signature)
    }

    fn note(&mut self, d: &District, why: &str) -> (Vec<u8>, String) {
        let body = TakenOut { asset: Asset::unit("117"), why: why.to_owned() };
        self.write(d, "note", d.clock.id(), &body)
    }
}

fn answer(page: &Page) -> Value {
    serde_json::from_str(&page.html).unwrap_or_else(|e| panic!("{e}: {}", page.html))
}

const SIGNATURE: &str = "airmuster-signature";

#[tokio::test]
async fn a_code_enrols_one_tablet_within_a_quarter_of_an_hour() {
    let d = district().await;
    let code = d.code("Bay").await;
    assert_eq!(code.replace(' ', "").len(), 8, "{code}");
    let mut tablet = d.nobody();
    assert_eq!(tablet.get("/stations").await.to, "/sign-in?next=/stations");
    let page = tablet.post("/enrol", &[("code", &code)]).await.ok();
    assert!(page.text().contains("This tablet is Bay") && page.text().contains("no key of its own"));
    let set = page.headers.get_all("set-cookie").iter().map(|c| c.to_str().unwrap().to_owned());
    let token = set.into_iter().find(|c| c.starts_with("airmuster_enrolled=")).unwrap();
    assert!(token.contains("HttpOnly") && token.contains("SameSite=Strict"), "{token}");
    assert_eq!(tablet.get("/").await.to, "/stations/mill");
    let again = d.nobody().post("/enrol", &[("code", &code)]).await;
    assert_eq!(again.status, 422, "a code works once");
    assert!(again.said_at("code").starts_with("This code is not open."));

    let code = d.code("Office").await;
    d.pass(15 * MINUTE);
    assert_eq!(d.nobody().post("/enrol", &[("code", &code)]).await.status, 422, "it has ended");
    // The fact is in the logbook, with who did it.
    let rows = d.store.rows_after(0, 1000).await.unwrap();
    let last = rows.iter().map(|row| row.read().unwrap()).rfind(|r| r.kind == "register").unwrap();
    let record: Value = serde_json::from_slice(last.bytes).unwrap();
    assert_eq!((&record["by"], &record["body"]["name"]), (&"olga".into(), &"Bay".into()));
}

#[tokio::test]
async fn guessing_codes_ends_those_that_are_open() {
    let d = district().await;
    let code = d.code("Bay").await;
    for n in 0..10 {
        let guess = format!("0000 000{n}");
        assert_eq!(d.nobody().post("/enrol", &[("code", &guess)]).await.status, 422);
    }
    assert_eq!(d.nobody().post("/enrol", &[("code", &code)]).await.status, 422);
    // A new one is not held down by the old guesses.
    d.enrol("Bay").await;
}

#[tokio::test]
async fn codes_and_tokens_are_kept_hashed() {
    let d = district().await;
    let code = d.code("Bay").await;
    let token = d.enrol("Office").await.cookie("airmuster_enrolled");
    let file = std::fs::read(d.store.path()).unwrap();
    let log = std::fs::read(d.store.path().with_extension("db-wal")).unwrap_or_default();
    for secret in [code.replace(' ', ""), code, token] {
        for bytes in [&file, &log] {
            assert!(!bytes.windows(secret.len()).any(|w| w == secret.as_bytes()), "{secret}");
        }
    }
}

#[tokio::test]
async fn a_key_that_is_not_the_tablets_own_is_not_taken_and_the_code_stays_open() {
    let d = district().await;
    let (code, key, other) = (d.code("Bay").await, new_key(), new_key());
    let public = hex(key.public_key().as_ref());
    let proof = sign(&other, &format!("airmuster enrolment 1\n{}", code.replace(' ', "")));
    let page = d.nobody().post("/enrol", &[("code", &code), ("key", &public), ("proof", &proof)]).await;
    assert_eq!(page.status, 422);
    // A point that is on no curve, too.
    let nowhere = format!("04{}", "11".repeat(64));
    let page = d.nobody().post("/enrol", &[("code", &code), ("key", &nowhere), ("proof", &proof)]).await;
    assert_eq!(page.status, 422);
    assert_eq!(send_code(&mut d.nobody(), &code, &key).await.status, 200);
}

#[tokio::test]
async fn a_signed_record_is_taken_and_its_page_says_that_the_signature_holds() {
    let d = district().await;
    let mut tablet = keyed(&d, "Bay").await;
    let (bytes, signature) = tablet.note(&d, "strap replaced");
    let page = tablet.browser.hand_in(bytes.clone(), &[(SIGNATURE, &signature)]).await;
    assert_eq!((page.status, &answer(&page)["status"]), (200, &"stored".into()), "{}", page.html);
    let seq = answer(&page)["seq"].as_i64().unwrap();
    let text = tablet.browser.get(&format!("/records/{seq}")).await.ok().text();
    assert!(text.contains("Tablet’s signature\nholds: the key of Bay"), "{text}");
    let again = tablet.browser.hand_in(bytes, &[(SIGNATURE, &signature)]).await;
    assert_eq!(answer(&again)["status"], "already_stored");
}

#[tokio::test]
async fn without_the_tablets_signature_a_record_raises_and_never_releases() {
    let d = district().await;
    d.pass(DAY);
    assert_eq!(d.state("117").await, State::CheckDue);
    let mut tablet = keyed(&d, "Bay").await;
    let mut other = keyed(&d, "Office").await;
    for how in ["none", "of another tablet", "of another record", "not one"] {
        let check = d.answered("117", Purpose::ShiftStart, &[]).await;
        assert_eq!(check.outcome, Outcome::Complete);
        let (bytes, _) = tablet.write(&d, "check", check.run, &check);
        let wrong = match how {
            "of another tablet" => sign(&other.key, &signed_text(&tablet.id, &Digest::of(&bytes))),
            "of another record" => tablet.note(&d, "x").1,
            "not one" => "A".repeat(86),
            _ => String::new(),
        };
        let headers = [(SIGNATURE, wrong.as_str())];
        let sent = tablet.browser.hand_in(bytes, if how == "none" { &[] } else { &headers }).await;
        let said = answer(&sent);
        assert_eq!((sent.status, &said["status"]), (200, &"needs_attention".into()), "{how}: {said}");
        assert!(said["attention"].as_str().unwrap().contains("not signed by the tablet"), "{how}: {said}");
        let text = tablet.browser.get("/units/117").await.ok().text();
        assert!(text.contains("not signed by the tablet that it names"), "{how}: {text}");
        assert_ne!(d.state("117").await, State::InService, "{how}");
    }
    // A member who is signed in may carry it, and it is in doubt all the same.
    let (bytes, _) = other.note(&d, "forged");
    let sent = d.signed_in("ana").await.hand_in(bytes, &[]).await;
    assert_eq!(answer(&sent)["status"], "needs_attention");
}

#[tokio::test]
async fn a_record_of_a_tablet_that_nobody_enrolled_comes_with_a_member_or_not_at_all() {
    let d = district().await;
    let stamp = |n: u128| Stamp {
        id: Uuid::from_u128(n),
        tablet: "tablet-before".to_owned(),
        at: d.clock.now(),
        ..Stamp::default()
    };
    let note = |n| encode("note", &stamp(n), &TakenOut { asset: Asset::unit("117"), why: format!("{n}") });
    let before = d.records().await;
    assert_eq!(d.nobody().hand_in(note(1), &[]).await.status, 401);
    let forged = "A".repeat(86);
    let sent = d.nobody().hand_in(note(1), &[(SIGNATURE, &forged)]).await;
    assert_eq!((sent.status, &answer(&sent)["status"]), (403, &"refused".into()));
    assert_eq!(d.records().await, before, "nothing was stored");
    let mut tablet = d.tablet().await;
    let sent = tablet.hand_in(note(1), &[]).await;
    assert_eq!(sent.status, 403);
    assert!(answer(&sent)["say"].as_str().unwrap().contains("before this tablet was enrolled"));
    let sent = d.signed_in("ben").await.hand_in(note(1), &[]).await;
    assert_eq!((sent.status, &answer(&sent)["status"]), (200, &"stored".into()));
}

#[tokio::test]
async fn a_tablet_that_was_given_up_is_out_at_once_and_believed_up_to_its_last_trusted_number() {
    let d = district().await;
    let mut tablet = keyed(&d, "Bay").await;
    let (first, first_signature) = tablet.note(&d, "first");
    let holds = format!("2 7200000 3 {}", tablet.incarnation);
    let headers = [(SIGNATURE, first_signature.as_str()), ("airmuster-holds", &holds)];
    assert_eq!(tablet.browser.hand_in(first, &headers).await.status, 200);
    let (second, third) = (tablet.note(&d, "second"), tablet.note(&d, "third"));
    let late = tablet.note(&d, "after it was gone");

    let mut officer = d.signed_in("olga").await;
    let list = officer.get("/tablets").await.ok().text();
    assert!(list.contains("Holds 2 records, the oldest for 2 hours"), "{list}");
    let address = format!("/tablets/{}", tablet.id);
    let page = officer.get(&address).await.ok();
    assert_eq!(page.value("number"), "1");
    let text = page.text();
    assert!(
        text.contains("Number 1 is the last that has arrived.") && text.contains("up to number 3"),
        "{text}"
    );
    let incarnation = page.value("incarnation");
    let fields = [("number", "3"), ("incarnation", incarnation.as_str()), ("why", "")];
    assert_eq!(officer.post(&format!("{address}/revoke"), &fields).await.status, 422, "a reason is needed");
    let fields = [("number", "3"), ("incarnation", incarnation.as_str()), ("why", "Lost at the hydrant")];
    assert_eq!(officer.post(&format!("{address}/revoke"), &fields).await.to, "/tablets");
    assert_eq!(officer.post(&format!("{address}/revoke"), &fields).await.status, 409, "once");

    assert_eq!(tablet.browser.get("/stations").await.to, "/sign-in?next=/stations");
    for (bytes, signature) in [&third, &second] {
        let sent = tablet.browser.hand_in(bytes.clone(), &[(SIGNATURE, signature)]).await;
        assert_eq!((sent.status, &answer(&sent)["status"]), (200, &"stored".into()), "{}", sent.html);
    }
    let sent = tablet.browser.hand_in(second.0.clone(), &[]).await;
    assert_eq!(sent.status, 401, "nobody asks for it without the key");
    let sent = tablet.browser.hand_in(late.0, &[(SIGNATURE, &late.1)]).await;
    assert_eq!(answer(&sent)["status"], "needs_attention", "{}", sent.html);
    // Another one under a number that has arrived.
    tablet.number = 1;
    let (bytes, signature) = tablet.note(&d, "second, told otherwise");
    let sent = tablet.browser.hand_in(bytes, &[(SIGNATURE, &signature)]).await;
    assert_eq!(answer(&sent)["status"], "needs_attention", "{}", sent.html);
    // The fact stands in the logbook.
    let rows = d.store.rows_after(0, 1000).await.unwrap();
    let revoked = rows.iter().map(|row| row.read().unwrap()).find(|r| r.kind == "tablet_revoked").unwrap();
    let fact: Value = serde_json::from_slice(revoked.bytes).unwrap();
    assert_eq!((&fact["by"], &fact["body"]["trusted"]["number"]), (&"olga".into(), &3.into()));
}

#[tokio::test]
async fn a_tablets_file_carries_signatures_and_without_them_its_records_are_in_doubt() {
    use airmuster::service::{Status, outbox};
    let d = district().await;
    let mut tablet = keyed(&d, "Bay").await;
    let (signed, signature) = tablet.note(&d, "signed");
    let (bare, _) = tablet.note(&d, "stolen and changed");
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    let file = serde_json::json!({
        "airmuster_outbox": 1, "records": [text(&signed), text(&bare)], "signatures": [signature, null],
    });
    let mut became = Vec::new();
    for record in outbox::read(&file.to_string()).unwrap() {
        let origin = record.origin();
        became.push(d.submit(record.text.into_bytes(), origin).await.status);
    }
    assert_eq!(became, [Status::Stored, Status::NeedsAttention]);
}

#[tokio::test]
async fn an_officer_signed_in_on_a_tablet_is_signed_out_after_a_quarter_of_an_hour_without_use() {
    let d = district().await;
    let sign_in = [("member", "olga"), ("pin", super::district::PIN), ("next", "/rigs")];
    let mut shared = d.tablet().await;
    assert_eq!(shared.post("/sign-in", &sign_in).await.to, "/rigs");
    let mut own = d.signed_in("olga").await;
    d.pass(14 * MINUTE);
    assert_eq!(shared.get("/rigs").await.status, 200, "used in time");
    d.pass(15 * MINUTE);
    assert_eq!(shared.get("/rigs").await.to, "/sign-in?next=/rigs");
    assert_eq!(shared.get("/stations").await.status, 200, "the tablet stays enrolled");
    assert_eq!(own.get("/rigs").await.status, 200, "on a device of the officer's own it lasts longer");
    d.pass(12 * 60 * MINUTE);
    assert_eq!(own.get("/rigs").await.to, "/sign-in?next=/rigs");
}

#[tokio::test]
async fn who_belongs_to_the_department_is_not_told_to_whoever_reaches_the_server() {
    let d = district().await;
    for path in ["/sign-in", "/enrol", "/unsent", "/stations/mill"] {
        let page = d.nobody().get(path).await;
        assert!(!page.html.contains("Ana Wick") && !page.html.contains("Millrace"), "{path}");
    }
    let said = |page: Page| (page.status, page.said_at("pin"));
    let wrong = said(d.nobody().post("/sign-in", &[("member", "ana"), ("pin", "000000")]).await);
    let unknown = said(d.nobody().post("/sign-in", &[("member", "nobody"), ("pin", "000000")]).await);
    assert_eq!(wrong, unknown);
    assert!(d.tablet().await.get("/sign-in").await.ok().html.contains("Ana Wick"), "a tablet lists them");
}

#[tokio::test]
async fn a_page_to_be_kept_is_nobodys_own_and_shows_nobody_more() {
    let d = district().await;
    for browser in [d.tablet().await, d.signed_in("olga").await] {
        for path in ["/stations", "/stations/mill", "/units/117", "/units/117/check", "/unsent", "/unproven"]
        {
            let page = ahead(&browser, path).await;
            assert_eq!(page.0, 200, "{path}");
            assert!(
                !page.1.contains("/sign-out") && !page.1.contains("href=\"/rigs\""),
                "{path}: {}",
                page.1
            );
            assert!(page.1.contains("href=\"/stations\""), "{path}: {}", page.1);
        }
        let (_, _, cookies) = ahead(&browser, "/stations/mill").await;
        assert_eq!(cookies, 0, "it says nothing about where the tablet is");
    }
    assert_eq!(ahead(&d.nobody(), "/stations").await.0, 303);
    assert!(!ahead(&d.nobody(), "/sign-in").await.1.contains("Ana Wick"));
}

/// Status, page and number of cookies set, asked for as the worker does.
async fn ahead(browser: &Browser, path: &str) -> (u16, String, usize) {
    let request = Request::get(path).header("cookie", browser.cookies()).header("airmuster-ahead", "yes");
    let answer = browser.send(request.body(Body::empty()).unwrap()).await;
    let (status, cookies) = (answer.status().as_u16(), answer.headers().get_all("set-cookie").iter().count());
    let body = to_bytes(answer.into_body(), usize::MAX).await.unwrap();
    (status, String::from_utf8_lossy(&body).into_owned(), cookies)
}

#[tokio::test]
async fn in_the_demo_whoever_comes_may_do_what_a_tablet_may_and_nothing_more() {
    let d = district().await;
    let (router, intake) = demo_router(d.store.clone(), d.clock.clone(), Cost::Least);
    let mut guest = Browser::new(router);
    assert_eq!(guest.get("/stations").await.status, 200);
    assert_eq!(guest.get("/rigs").await.to, "/sign-in?next=/rigs");
    let stamp = Stamp { id: Uuid::from_u128(9), tablet: "tablet-4".to_owned(), ..Stamp::default() };
    let bytes = encode("note", &stamp, &TakenOut { asset: Asset::unit("117"), why: "tried".to_owned() });
    assert_eq!(answer(&guest.hand_in(bytes, &[]).await)["status"], "stored");
    drop(intake);
}
