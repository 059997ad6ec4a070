//! A running server whose disk fills up, or whose file is damaged: it says so, what was acknowledged
//! stays, and it goes on by itself once there is room.

use std::fs::{self, OpenOptions};
use std::io::{Seek as _, SeekFrom, Write as _};
use std::path::Path;

use airmuster::clock::Clock;
use airmuster::service::pin::{Cost, Pins};
use airmuster::store::{FILE, Store};
use airmuster_domain::record::Asset;
use uuid::Uuid;

use super::common::{NOON, about, attacker, bytes, folder, house, leave, run};
use super::disk::Mounted;
use super::running::{Served, ask};

const PIN: &str = "8402719365";

/// The database of a house in another folder; its administrator has a PIN.
async fn moved_to(dir: &Path) {
    let h = house().await;
    let pins = Pins::new(h.store.clone(), Clock::System, Cost::Least);
    let hash = pins.hash(PIN).await.unwrap();
    let mut write = h.store.begin().await.unwrap();
    write.set_person("ada", "Ada Ruiz", Some((&hash, h.now()))).await.unwrap();
    write.commit().await.unwrap();
    h.store.close().await;
    fs::copy(h.dir.path().join(FILE), dir.join(FILE)).unwrap();
}

/// Signs in, and gives the cookie.
fn signed_in(server: &Served) -> String {
    let body = format!("member=ada&pin={PIN}&next=%2F");
    let answer = post(server, "/sign-in", "application/x-www-form-urlencoded", "", &body);
    let token = answer.split("airmuster_session=").nth(1).unwrap_or_else(|| panic!("{answer}"));
    format!("airmuster_session={}", token.split(';').next().unwrap())
}

fn post(server: &Served, path: &str, kind: &str, cookie: &str, body: &str) -> String {
    ask(
        &server.address,
        &format!(
            "POST {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Length: {}\r\n\
             Content-Type: {kind}\r\nCookie: {cookie}\r\n\r\n{body}",
            server.address,
            body.len()
        ),
    )
}

/// Hands a note in as the signed-in member does, and gives the answer.
fn note(server: &Served, cookie: &str, n: u128) -> String {
    let note = about(Asset::unit("1"));
    let bytes = bytes("note", Uuid::from_u128(0xd15c_0000 + n), NOON, Some("ada"), &note);
    post(server, "/api/v1/records", "application/json", cookie, std::str::from_utf8(&bytes).unwrap())
}

#[tokio::test]
async fn a_disk_that_fills_up_under_a_running_server_is_told_and_it_goes_on_once_there_is_room() {
    let Some(disk) = Mounted::new("size=4m") else {
        println!("SKIPPED: no small disk can be mounted here, so none was filled under a server");
        return;
    };
    let dir = disk.path().to_owned();
    moved_to(&dir).await;
    let server = Served::start(&["--data", dir.to_str().unwrap()]);
    let cookie = signed_in(&server);
    assert!(note(&server, &cookie, 0).contains("\"status\":\"stored\""));
    // Something else takes all the room.
    let fill = dir.join("something-else");
    let mut hog = fs::File::create(&fill).unwrap();
    while hog.write_all(&[0; 4096]).is_ok() {}
    while hog.write_all(&[0; 64]).is_ok() {}

    let mut acknowledged = vec![0];
    let refused = (1..4_000).find_map(|n| {
        let answer = note(&server, &cookie, n);
        if answer.starts_with("HTTP/1.1 200") {
            acknowledged.push(n);
            return None;
        }
        Some(answer)
    });
    let refused = refused.expect("what is left in the log beside the file is used up");
    assert!(refused.starts_with("HTTP/1.1 503"), "{refused}");
    assert!(
        refused.contains("disk is full") && refused.contains("What was acknowledged is safe"),
        "{refused}"
    );
    assert!(server.get("/readyz", "").starts_with("HTTP/1.1 503"), "a monitor sees it too");
    assert!(server.get("/healthz", "").ends_with("ok"), "it can be read all the time");
    let board = server.get("/units/1", &format!("Cookie: {cookie}\r\n"));
    assert!(board.starts_with("HTTP/1.1 200"), "{board}");

    drop(hog);
    fs::remove_file(&fill).unwrap();
    let again = note(&server, &cookie, 5_000);
    assert!(again.contains("\"status\":\"stored\""), "without a restart: {again}");
    assert!(server.get("/readyz", "").ends_with("ready"));
    acknowledged.push(5_000);
    server.stop();
    let store = Store::open(&dir, Uuid::from_u128(3)).await.unwrap();
    for n in &acknowledged {
        let id = Uuid::from_u128(0xd15c_0000 + n);
        assert_eq!(store.variants(id).await.unwrap().len(), 1, "note {n} was acknowledged");
    }
    store.close().await;
    run(&["verify", "--data", dir.to_str().unwrap()], b"").ok();
}

#[tokio::test]
async fn a_damaged_page_is_told_to_whoever_meets_it_and_the_rest_goes_on() {
    let dir = folder();
    moved_to(dir.path()).await;
    let mut db = attacker(dir.path()).await;
    let page: i64 = sqlx::query_scalar("select rootpage from sqlite_master where name = 'ticket'")
        .fetch_one(&mut db)
        .await
        .unwrap();
    leave(db).await;
    let mut file = OpenOptions::new().write(true).open(dir.path().join(FILE)).unwrap();
    file.seek(SeekFrom::Start(u64::try_from(page - 1).unwrap() * 4096)).unwrap();
    file.write_all(&[0xa5; 4096]).unwrap();
    drop(file);

    let server = Served::start(&["--data", dir.path().to_str().unwrap()]);
    let cookie = format!("Cookie: {}\r\n", signed_in(&server));
    let bench = server.get("/bench", &cookie);
    assert!(bench.starts_with("HTTP/1.1 500"), "{bench}");
    assert!(bench.contains("The database is damaged") && bench.contains("paper form"), "{bench}");
    assert!(!bench.contains("malformed"), "internals are logged, not shown: {bench}");
    assert!(server.get("/units/1", &cookie).starts_with("HTTP/1.1 200"), "what can be read is shown");
    assert!(server.get("/healthz", "").ends_with("ok"));
    let log = server.stop();
    assert!(log.contains("damaged or not a database"), "{log}");
    run(&["verify", "--data", dir.path().to_str().unwrap()], b"").failed(1, "damaged");
}
