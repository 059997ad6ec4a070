//! What the way in answers over HTTP, record by record, and whose requests it takes.

use std::time::Duration;

use airmuster_domain::record::{Asset, Digest, Stamp, TakenOut, encode};
use rand::SeedableRng as _;
use rand::rngs::StdRng;
use serde_json::json;
use uuid::Uuid;

use super::line::Line;
use super::site::Site;
use super::written::{check, poison};

const PATIENCE: Duration = Duration::from_secs(30);

fn stamp(n: u128) -> Stamp {
    Stamp { id: Uuid::from_u128(n), tablet: "t1".to_owned(), ..Stamp::default() }
}

fn note(n: u128) -> Vec<u8> {
    encode("note", &stamp(n), &TakenOut { asset: Asset::unit("2"), why: format!("note {n}") })
}

async fn stored(site: &Site) -> Vec<Vec<u8>> {
    site.logbook().await.0.into_iter().filter(|r| r.tablet == "t1").map(|r| r.bytes).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn among_a_hundred_what_cannot_be_taken_keeps_nothing_else_out() {
    let site = Site::new().await;
    let server = site.start().await;
    let mut line = Line::new(site.address(), PATIENCE);
    let mut rng = StdRng::seed_from_u64(20);
    let sent: Vec<_> = (1..=100)
        .map(|n| match n {
            37 | 41 | 100 => poison(&mut rng, &stamp(n)),
            50 => encode("blessed", &stamp(n), &json!({ "moon": "full" })),
            51 => encode("check", &stamp(n), &json!({ "unit": "1", "answers": 7 })),
            _ => note(n),
        })
        .collect();
    let body = [b"[", sent.join(&b",\n "[..]).as_slice(), b"]"].concat();
    for status in ["stored", "already_stored"] {
        let reply = line.post(&body).await.unwrap();
        assert_eq!(reply.status, 200);
        let answers = reply.json.as_array().unwrap();
        assert_eq!(answers.len(), 100);
        for (n, (sent, answer)) in (1..).zip(sent.iter().zip(answers)) {
            if [37, 41, 100].contains(&n) {
                assert_eq!(answer["status"], "refused", "{n}: {answer}");
                assert!(!answer["say"].as_str().unwrap().is_empty());
                continue;
            }
            let needs_attention = status == "stored" && [50, 51].contains(&n);
            let expected = if needs_attention { "needs_attention" } else { status };
            assert_eq!(answer["status"], expected, "{n}: {answer}");
            assert_eq!(answer["id"], Uuid::from_u128(n).to_string());
            assert_eq!(answer["digest"], Digest::of(sent).to_string());
        }
    }
    server.stop().await;
    let kept: Vec<_> = (1..).zip(sent).filter(|(n, _)| ![37, 41, 100].contains(n)).map(|(_, s)| s).collect();
    assert!(stored(&site).await == kept, "all others, in order, byte for byte");
    site.verified().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_database_cannot_store_keeps_nothing_beside_it_out() {
    let site = Site::new().await;
    let server = site.start().await;
    let mut line = Line::new(site.address(), PATIENCE);
    let fault = |n| encode("check", &stamp(n), &check("1", Uuid::from_u128(n), "3900 psi"));
    assert_eq!(line.post(&fault(1)).await.unwrap().status, 200);
    site.sql("update ground set detail = '{' where asset = 'unit:1'").await;
    let body = [b"[", [note(2), fault(3), note(4)].join(&b","[..]).as_slice(), b"]"].concat();
    let reply = line.post(&body).await.unwrap();
    let statuses: Vec<_> = reply.json.as_array().unwrap().iter().map(|a| a["status"].clone()).collect();
    assert_eq!((reply.status, statuses), (200, vec![json!("stored"), json!("failed"), json!("stored")]));
    assert_eq!(line.post(&fault(3)).await.unwrap().status, 500);
    server.stop().await;
    assert!(stored(&site).await == [fault(1), note(2), note(4)]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_is_taken_as_json_from_this_very_origin_and_in_no_other_way() {
    let site = Site::new().await;
    let server = site.start().await;
    let mut line = Line::new(site.address(), PATIENCE);
    let own = format!("Origin: http://{}\r\n", site.address());
    let json = "Content-Type: application/json\r\n";
    for (status, headers) in [
        (403, format!("{json}Sec-Fetch-Site: cross-site\r\n")),
        (403, format!("{json}Sec-Fetch-Site: same-site\r\n")),
        (403, format!("{json}Sec-Fetch-Site: cross-site\r\n{own}")),
        (403, format!("{json}Origin: http://127.0.0.1:1\r\n")),
        (403, format!("{json}Origin: null\r\n")),
        (415, "Sec-Fetch-Site: same-origin\r\n".to_owned()),
        (415, "Content-Type: text/plain\r\nSec-Fetch-Site: same-origin\r\n".to_owned()),
        (
            415,
            "Content-Type: application/x-www-form-urlencoded\r\nSec-Fetch-Site: same-origin\r\n".to_owned(),
        ),
        (415, "Content-Type: text/plain; x=application/json\r\nSec-Fetch-Site: same-origin\r\n".to_owned()),
    ] {
        let reply = line.post_with(&headers, &note(1)).await.unwrap();
        assert_eq!(reply.status, status, "{headers}");
        assert!(reply.json["say"].is_string(), "{headers}: {:?}", reply.json);
        assert!(reply.json["digest"].is_null());
    }
    let taken = [
        format!("{json}Sec-Fetch-Site: same-origin\r\n"),
        format!("{json}{own}"),
        format!("{json}{own}Sec-Fetch-Site: same-origin\r\n"),
        "Content-Type: Application/JSON; charset=utf-8\r\nSec-Fetch-Site: same-origin\r\n".to_owned(),
    ];
    for (n, headers) in (2..).zip(&taken) {
        let reply = line.post_with(headers, &note(n)).await.unwrap();
        assert_eq!((reply.status, &reply.json["status"]), (200, &json!("stored")), "{headers}");
    }
    server.stop().await;
    assert!(stored(&site).await == (2..=5).map(note).collect::<Vec<_>>(), "nothing of what was turned away");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_waited_over_a_restart_and_the_end_of_a_session_is_taken() {
    let site = Site::new().await;
    let server = site.start().await;
    let mut line = Line::new(site.address(), PATIENCE);
    assert_eq!(line.post(&note(1)).await.unwrap().status, 200);
    assert!(server.kill().await);
    assert!(line.post(&note(2)).await.is_err());
    let server = site.start().await;
    // The member's session that the page was opened in is not known any more; the tablet's own is.
    let headers = "Content-Type: application/json\r\nSec-Fetch-Site: same-origin\r\n\
                   Cookie: airmuster_session=of-before; airmuster_tablet=t1\r\n";
    let reply = line.post_with(headers, &note(2)).await.unwrap();
    assert_eq!((reply.status, &reply.json["status"]), (200, &json!("stored")));
    server.stop().await;
    assert!(stored(&site).await == [note(1), note(2)]);
    site.verified().await;
}
