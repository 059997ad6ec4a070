//! What somebody sends who means no good: a written list of inputs against every route that takes
//! one. Never a failure of ours, nothing stored that is not a record, nothing shown as markup.

use std::collections::BTreeSet;

use airmuster::service::verify::{Depth, verify};
use airmuster::web::{Who, routes};
use airmuster_domain::record::Register;
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;
use axum::body::{Body, to_bytes};
use axum::http::{Method, Request, header};
use serde_json::{Value, json};

use super::browser::Browser;
use super::district::{DAY, District, PIN, district};
use super::rights::path;

/// Marks what must never be on a page as it stands here.
const MARK: &str = "<b id=hostile>";

/// Texts that have broken programs before, from memory of what is commonly tried.
const TEXTS: [&str; 34] = [
    "<b id=hostile>x</b>",
    "<b id=hostile><script>alert(1)</script>",
    "\"><b id=hostile>",
    "'><b id=hostile>",
    "</textarea><b id=hostile>",
    "</script><b id=hostile>",
    "<img src=x onerror=alert(1)><b id=hostile>",
    "javascript:alert(1)",
    "{{ 7 * 7 }} {% include \"x\" %} ${7*7} #{7*7}",
    "' or '1'='1",
    "'; drop table logbook; --",
    "\" union select pin_hash from person --",
    "1); delete from logbook; --",
    "%' escape '!",
    "../../../../etc/passwd",
    "..\\..\\..\\windows\\win.ini",
    "/etc/passwd\0.png",
    "file:///etc/passwd",
    "%00",
    "\0",
    "a\0b",
    "line\r\nSet-Cookie: x=y",
    "\u{202e}\u{2066}backwards",
    "\u{feff}\u{200b}\u{fffd}",
    "𝕏🚒é\u{301}\u{301}\u{301}\u{301}",
    "99999999999999999999999999999999",
    "-1",
    "1e400",
    "NaN",
    "0x41",
    "true",
    "null",
    "",
    "   ",
];

/// Names of everything that some form of the program asks for.
const FIELDS: [&str; 141] = [
    "apart",
    "shift",
    "asked",
    "early_minutes",
    "grace_minutes",
    "hours",
    "minutes",
    "on_duty",
    "other",
    "shift_hours",
    "shift_start",
    "theirs",
    "c.117",
    "c.121",
    "c.130",
    "from",
    "occasion",
    "s.117",
    "s.121",
    "s.130",
    "u.117",
    "u.121",
    "u.130",
    "w.117",
    "w.121",
    "w.130",
    "member",
    "pin",
    "why",
    "text",
    "parts",
    "readings",
    "id",
    "to",
    "what",
    "right",
    "step",
    "after",
    "variant",
    "accepted",
    "clears",
    "remedy",
    "certificate",
    "unit",
    "stage",
    "was",
    "note",
    "next",
    "gloves",
    "spare",
    "instead",
    "purpose",
    "rules",
    "started",
    "seen",
    "continues",
    "do",
    "held",
    "ground",
    "part",
    "proving",
    "second",
    "second_pin",
    "written_by",
    "number",
    "act",
    "battery",
    "bay",
    "bay_scale",
    "celsius",
    "check",
    "cleared",
    "code",
    "cylinder",
    "dates",
    "driver",
    "duty",
    "erase",
    "failed",
    "file",
    "files",
    "gap",
    "life_until",
    "made",
    "make",
    "model",
    "more",
    "move",
    "name",
    "of",
    "officer",
    "on",
    "photo",
    "place",
    "pressure",
    "q",
    "reference",
    "required",
    "requalified",
    "rig",
    "seat-3",
    "serial",
    "since",
    "size",
    "source",
    "spec",
    "station",
    "style",
    "tested",
    "turns",
    "until",
    "volume",
    "with",
    "work",
    "digits",
    "zone",
    "department",
    "facepiece",
    "a.gauge-agreement.1.cylinder",
    "a.harness-condition.1.good",
    "by",
    "due_back",
    "edition",
    "kind",
    "lapse",
    "loaner",
    "made_from",
    "made_to",
    "months",
    "names",
    "numbers",
    "only",
    "order",
    "own",
    "practice",
    "profile",
    "repairer",
    "slot",
    "thing",
    "title",
    "warranty",
];

/// Whoever may call a route.
async fn visitor(d: &District, who: Who) -> Browser {
    let Who::Roles(roles) = who else { return d.signed_in("ben").await };
    match roles.first() {
        Some(Role::Technician) => d.signed_in("tom").await,
        Some(Role::Officer) => d.signed_in("olga").await,
        Some(Role::Administrator) => d.signed_in("ada").await,
        _ => d.signed_in("ana").await,
    }
}

/// Sends bytes as they are.
pub async fn send(
    browser: &Browser,
    method: &Method,
    path: &str,
    headers: &[(&str, &str)],
    body: Vec<u8>,
) -> (u16, String) {
    let mut request = Request::builder().method(method).uri(path).header(header::COOKIE, browser.cookies());
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    let response = browser.send(request.body(Body::from(body)).unwrap()).await;
    let status = response.status().as_u16();
    let body = to_bytes(response.into_body(), usize::MAX).await.unwrap();
    (status, String::from_utf8_lossy(&body).into_owned())
}

const FORM: (&str, &str) = ("content-type", "application/x-www-form-urlencoded");
const JSON: (&str, &str) = ("content-type", "application/json");
const PARTS: (&str, &str) = ("content-type", "multipart/form-data; boundary=xx");

fn coded(text: &str) -> String {
    text.bytes().fold(String::new(), |mut out, b| {
        use std::fmt::Write;
        write!(out, "%{b:02X}").unwrap();
        out
    })
}

/// A form whose every field says the same.
fn filled(text: &str) -> Vec<u8> {
    let value = coded(text);
    FIELDS.iter().map(|name| format!("{name}={value}")).collect::<Vec<_>>().join("&").into_bytes()
}

/// Bodies that are not what they say they are.
fn bodies() -> Vec<(&'static str, (&'static str, &'static str), Vec<u8>)> {
    let part = |name: &str, content: &[u8]| {
        let mut out = format!("--xx\r\nContent-Disposition: form-data; name=\"{name}\"; filename=\"../../x.png\"\r\nContent-Type: image/png\r\n\r\n").into_bytes();
        out.extend(content);
        out.extend(b"\r\n--xx--\r\n");
        out
    };
    let deep = |open: &str, close: &str, n: usize| [open.repeat(n), close.repeat(n)].concat().into_bytes();
    vec![
        ("nothing", FORM, Vec::new()),
        ("nothing, as JSON", JSON, Vec::new()),
        ("nothing, in parts", PARTS, Vec::new()),
        ("bad UTF-8", FORM, b"why=\xff\xfe\xed\xa0\x80&member=%FF%FE".to_vec()),
        ("bad UTF-8 as JSON", JSON, b"{\"v\":1,\"kind\":\"\xff\xfe\"}".to_vec()),
        ("half an escape", FORM, b"why=%&member=%4&pin=%zz".to_vec()),
        ("too many fields", FORM, "why=x&".repeat(50_000).into_bytes()),
        ("far too large", FORM, [b"why=".to_vec(), vec![b'a'; 9 * 1024 * 1024]].concat()),
        ("far too large as JSON", JSON, vec![b'['; 9 * 1024 * 1024]),
        ("deep JSON", JSON, deep("[", "]", 100_000)),
        ("deep objects", JSON, deep("{\"a\":", "}", 50_000)),
        ("a number too large", JSON, b"[1e999999, 184467440737095516160000000000]".to_vec()),
        ("JSON as a form", FORM, b"{\"v\":1}".to_vec()),
        ("a form as JSON", JSON, b"why=x&member=olga".to_vec()),
        ("no kind at all", ("content-type", ""), b"why=x".to_vec()),
        (
            "another kind",
            ("content-type", "text/xml"),
            b"<!DOCTYPE x [<!ENTITY a SYSTEM \"file:///etc/passwd\">]><x>&a;</x>".to_vec(),
        ),
        ("a bad boundary", ("content-type", "multipart/form-data"), b"--xx".to_vec()),
        (
            "parts cut short",
            PARTS,
            b"--xx\r\nContent-Disposition: form-data; name=\"file\"\r\n\r\nhalf".to_vec(),
        ),
        ("parts without names", PARTS, b"--xx\r\n\r\nx\r\n--xx--\r\n".to_vec()),
        ("a part with bad UTF-8", PARTS, part("file", b"\xff\xfe\0\x01")),
        ("a part that is no outbox", PARTS, part("file", b"{\"airmuster_outbox\":1,\"records\":[{}]}")),
        (
            "an outbox of rubbish",
            PARTS,
            part("file", br#"{"airmuster_outbox":1,"records":["x","","{}","[]"]}"#),
        ),
        (
            "parts with bad headers",
            PARTS,
            b"--xx\r\nContent-Disposition: \xff; name=\0\r\n: :\r\n\r\nx\r\n--xx--".to_vec(),
        ),
    ]
}

/// Kinds of records that came in since.
async fn since(d: &District, seq: i64) -> BTreeSet<String> {
    let rows = d.store.rows_after(seq, i64::MAX).await.unwrap();
    rows.iter().map(|r| r.read().unwrap().kind.to_owned()).collect()
}

/// Every page is there, and shows none of the markup that was sent.
async fn pages_are_well(d: &District) {
    let last = d.records().await;
    let mut paths: Vec<(String, Who)> = (1..=last).map(|n| (format!("/records/{n}"), Who::Anyone)).collect();
    paths.extend(routes().into_iter().filter(|r| r.method == Method::GET).map(|r| (path(r.path), r.who)));
    paths.extend(["117", "121", "142"].map(|u| (format!("/units/{u}"), Who::Anyone)));
    let mut officer = d.signed_in("olga").await;
    let mut technician = d.signed_in("tom").await;
    for (path, who) in paths {
        let browser = match who {
            Who::Roles(roles) if roles.first() == Some(&Role::Technician) => &mut technician,
            _ => &mut officer,
        };
        let page = browser.get(&path).await;
        assert!(page.status < 500, "{path}: {}", page.status);
        // What programs read is not shown as a page, and says so in its headers.
        let shown =
            page.headers.get("content-type").is_none_or(|kind| kind.as_bytes().starts_with(b"text/html"));
        assert!(!shown || !page.html.contains(MARK), "{path} shows markup that somebody sent");
    }
    let report = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

#[tokio::test]
async fn no_input_breaks_a_route_or_is_stored_without_being_a_record() {
    let d = district().await;
    d.pass(DAY);
    d.checked().await;
    d.gauges_apart("130").await;
    let before = d.records().await;
    let mut tried = 0;
    let bodies = bodies();
    let takes_input: Vec<_> = routes().into_iter().filter(|r| r.method != Method::GET).collect();
    assert!(takes_input.len() >= 18, "{}", takes_input.len());
    for route in &takes_input {
        let address = path(route.path);
        let browser = visitor(&d, route.who).await;
        for text in TEXTS {
            let (status, html) = send(&browser, &route.method, &address, &[FORM], filled(text)).await;
            assert!(status < 500, "{address} with {text:?}: {status} {html}");
            assert!(!html.contains(MARK), "{address} shows {text:?} as it came");
            tried += 1;
        }
        for (what, kind, body) in &bodies {
            let (status, html) = send(&browser, &route.method, &address, &[*kind], body.clone()).await;
            assert!(status < 500, "{address} with {what}: {status} {html}");
            // Those that take any body, or none, have nothing to refuse.
            tried += 1;
        }
    }
    // A session is signature enough for a technician to write down work, whatever its words, and for
    // an officer to say that nobody is on a rig, which is what an empty form says. What an administrator
    // calls a station is the administrator's own affair, too.
    let stored = since(&d, before).await;
    assert!(stored.iter().all(|kind| ["worked", "crew", "register"].contains(&kind.as_str())), "{stored:?}");
    assert!(tried >= 500, "only {tried} inputs were tried");
    pages_are_well(&d).await;
}

#[tokio::test]
async fn no_address_or_header_breaks_a_route() {
    let d = district().await;
    d.checked().await;
    let before = d.records().await;
    let mut tried = 0;
    for route in routes() {
        let named = route.path.contains('{');
        let browser = visitor(&d, route.who).await;
        for text in TEXTS.iter().filter(|t| named && !t.is_empty()) {
            let filled = |part: &str| if part.starts_with('{') { coded(text) } else { part.to_owned() };
            let parts = route.path.split('/').map(filled);
            let address = parts.collect::<Vec<_>>().join("/");
            let (status, html) = send(&browser, &route.method, &address, &[FORM], Vec::new()).await;
            assert!(status < 500, "{} with {text:?}: {status} {html}", route.path);
            assert!(!html.contains(MARK) && !html.contains("root:x:0"), "{} with {text:?}", route.path);
            tried += 1;
        }
        for text in TEXTS {
            let address =
                format!("{}?{}", path(route.path), FIELDS.map(|f| format!("{f}={}", coded(text))).join("&"));
            let (status, html) = send(&browser, &route.method, &address, &[FORM], Vec::new()).await;
            assert!(status < 500, "{address}: {status} {html}");
            assert!(!html.contains(MARK), "{address}");
            tried += 1;
        }
    }
    let long = "x".repeat(7000);
    let headers: [(&str, &str); 14] = [
        ("cookie", "airmuster_session=' or 1=1 --"),
        (
            "cookie",
            "airmuster_station=<b id=hostile>; airmuster_tablet=../../x; airmuster_gloves=<b id=hostile>",
        ),
        ("cookie", "=;;;=;a"),
        ("cookie", &long),
        ("referer", "https://elsewhere.example/<b id=hostile>"),
        ("accept-encoding", "gzip, gzip, br, *;q=0, x;q=abc"),
        ("accept-language", &long),
        ("if-none-match", "\"<b id=hostile>\", W/\"x\""),
        ("range", "bytes=0-0,-1,99999999999999999999-"),
        ("host", "elsewhere.example"),
        ("x-forwarded-for", "127.0.0.1"),
        ("x-http-method-override", "DELETE"),
        ("content-length", "7"),
        ("expect", "100-continue"),
    ];
    for route in routes() {
        let browser = visitor(&d, route.who).await;
        for (name, value) in headers {
            let address = path(route.path);
            let (status, html) =
                send(&browser, &route.method, &address, &[(name, value), FORM], b"next=x&".to_vec()).await;
            assert!(status < 500, "{address} with {name}: {value:?}: {status}");
            assert!(!html.contains(MARK), "{address} with {name}: {value:?}");
            tried += 1;
        }
    }
    assert_eq!(d.records().await, before, "nothing of this is a record");
    assert!(tried >= 500, "only {tried} inputs were tried");
}

/// Names of all fields of all forms on a page.
fn asked_on(html: &str) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for tag in ["<input", "<select", "<textarea", "<button"] {
        for element in html.split(tag).skip(1) {
            let element = element.split('>').next().unwrap_or_default();
            names.extend(
                element.split(" name=\"").nth(1).and_then(|n| n.split('"').next()).map(str::to_owned),
            );
        }
    }
    names
}

#[tokio::test]
async fn every_field_of_every_form_is_sent_hostile_words() {
    let d = district().await;
    d.pass(DAY);
    d.checked().await;
    d.gauges_apart("130").await;
    d.say("hold", "121", "ana", "the alarm was silent").await;
    d.arrives().await;
    d.register(Register::Countersigning { required: true }).await;
    d.submit_unproven(&d.answered("142", Purpose::ShiftStart, &[]).await, "ben").await;
    d.numbered("142", 3, None).await;
    let mut missing = BTreeSet::new();
    let more =
        ["/units/121", "/units/121/clear", "/units/150/clear", "/assets/unit:121/seal", "/rigs/engine-2"];
    let mut paths: Vec<String> =
        routes().iter().filter(|r| r.method == Method::GET).map(|r| path(r.path)).collect();
    paths.extend(more.map(str::to_owned));
    for member in ["ben", "olga", "tom", "ada"] {
        let mut browser = d.signed_in(member).await;
        for path in paths.iter().filter(|p| !p.starts_with("/wall/events")) {
            let page = browser.get(path).await;
            // The answers of a check have one field each; two of them stand for all.
            let asked = asked_on(&page.html).into_iter().filter(|name| !name.starts_with("a."));
            missing.extend(
                asked.filter(|name| !FIELDS.contains(&name.as_str())).map(|name| (name, path.clone())),
            );
        }
    }
    assert!(missing.is_empty(), "add to FIELDS: {missing:?}");
}

/// Values that belong nowhere.
fn wrong() -> Vec<Value> {
    vec![
        Value::Null,
        json!(true),
        json!(-1),
        json!(u64::MAX),
        json!(i64::MIN),
        json!(1.5e308),
        json!(""),
        json!("\0"),
        json!(MARK),
        json!("'; drop table logbook; --"),
        json!("x".repeat(5000)),
        json!([]),
        json!([[[[]]]]),
        json!({}),
        json!({"a": {"b": [null]}}),
    ]
}

#[tokio::test]
async fn no_record_breaks_the_intake_and_what_cannot_be_read_never_speaks_for_a_unit() {
    let d = district().await;
    d.pass(DAY);
    let good = d.answered("117", Purpose::ShiftStart, &[]).await;
    let base = |n: usize| {
        json!({
            "v": 1, "kind": "check", "id": format!("00000000-0000-4000-8000-{n:012}"), "tablet": "tablet-9",
            "incarnation": "00000000-0000-4000-9000-000000000001", "number": n + 1,
            "before": "0".repeat(64), "at": d.clock.now(), "offset": 0, "client": "x", "by": "ana",
            "written_by": "ben", "body": good,
        })
    };
    let ben = d.signed_in("ben").await;
    let mut records: Vec<Value> = Vec::new();
    let envelope = base(0).as_object().unwrap().keys().cloned().collect::<Vec<_>>();
    let body = base(0)["body"].as_object().unwrap().keys().cloned().collect::<Vec<_>>();
    for value in wrong() {
        for key in &envelope {
            let mut r = base(records.len());
            r[key] = value.clone();
            records.push(r);
        }
        for key in &body {
            let mut r = base(records.len());
            r["body"][key] = value.clone();
            records.push(r);
        }
        for key in ["step", "try", "item", "values", "note"] {
            let mut r = base(records.len());
            r["body"]["answers"][0][key] = value.clone();
            records.push(r);
        }
        for kind in [
            "taken_out",
            "hold",
            "used",
            "note",
            "photo",
            "return",
            "rules",
            "register",
            "correction",
            "later",
        ] {
            let mut r = base(records.len());
            r["kind"] = json!(kind);
            r["body"] = json!({"asset": "unit:130", "why": value, "unit": "130", "what": value, "condition": "clean"});
            records.push(r);
        }
    }
    let before = d.records().await;
    for record in &records {
        let text = record.to_string();
        let (status, html) =
            send(&ben, &Method::POST, "/api/v1/records", &[JSON], text.clone().into_bytes()).await;
        assert!(status < 500, "{text}: {status} {html}");
    }
    assert!(records.len() >= 500, "{}", records.len());
    // No desk record came in by a tablet but what the server writes beside a field record itself.
    let own = ["unproven", "doubt", "ticket_opened"];
    let field = |kind: &str| !["return", "rules", "register", "correction"].contains(&kind);
    let kinds = since(&d, before).await;
    assert!(kinds.iter().all(|k| own.contains(&k.as_str()) || field(k)), "{kinds:?}");
    assert_ne!(
        d.state("117").await,
        airmuster_domain::standing::State::InService,
        "nobody has proven a signature"
    );
    assert_ne!(d.state("130").await, airmuster_domain::standing::State::InService);
    pages_are_well(&d).await;
}

#[tokio::test]
async fn words_that_look_like_markup_or_sql_are_kept_and_shown_as_words() {
    let d = district().await;
    d.pass(DAY);
    d.checked().await;
    d.gauges_apart("130").await;
    let mut technician = d.signed_in("tom").await;
    let mut crew = d.signed_in("ben").await;
    let before = d.records().await;
    for text in TEXTS.iter().filter(|t| !t.trim_matches(['\0', ' ']).is_empty()) {
        let work = [("text", *text), ("parts", *text), ("readings", *text)];
        assert_eq!(technician.post("/tickets/1/work", &work).await.status, 303, "{text:?}");
        d.say("note", "117", "ana", text).await;
    }
    let form = crew.get("/units/121/out").await.ok();
    let id = form.value("id");
    let out = [("id", id.as_str()), ("why", TEXTS[1]), ("member", "ana"), ("pin", PIN)];
    assert_eq!(crew.post("/units/121/out", &out).await.status, 303);
    assert!(d.records().await > before + 50);
    let ticket = technician.get("/tickets/1").await.ok().html;
    assert!(ticket.contains("&#60;b id=hostile&#62;"), "the words are there, as words");
    assert!(ticket.contains("drop table logbook"), "{ticket}");
    pages_are_well(&d).await;
}
