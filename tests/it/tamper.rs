//! Someone who holds the file changes it, as carefully as they can.

use std::io::Write as _;
use std::process::{Command, Stdio};

use airmuster::service::Origin;
use airmuster::service::verify::{Depth, Report, verify};
use airmuster::store::{Store, Unread};
use airmuster_domain::record::{Asset, CHAIN_START, Digest, Stamp, encode, link};
use sqlx::{Row as _, SqliteConnection};
use tempfile::TempDir;
use uuid::Uuid;

use super::common::{
    House, MINUTE, NOON, about, attacker, bytes, check, folder, gauges, house, path, run, say, sql,
};

/// The columns of the logbook, from the database itself, so that a new one is tried too.
async fn columns(db: &mut SqliteConnection) -> Vec<(String, String)> {
    sqlx::query_as("select name, type from pragma_table_info('logbook')").fetch_all(db).await.unwrap()
}

/// A department with a finding, a ticket and a check whose every column holds something.
async fn written() -> (House, i64) {
    let h = house().await;
    h.check("ana", check("1", h.id())).await;
    let id = h.id();
    let stamp = Stamp {
        id,
        tablet: "t4".to_owned(),
        incarnation: Some(Uuid::from_u128(44)),
        number: Some(18),
        at: NOON,
        client: "test".to_owned(),
        by: Some("ana".to_owned()),
        ..Stamp::default()
    };
    let full = encode("check", &stamp, &say(check("2", id), gauges("4400 psi", "3900 psi")));
    let place = h.hand_in(full, Origin::Tablet { proven: Some("ana".to_owned()) }).await.unwrap().seq;
    h.check("ben", check("3", h.id())).await;
    h.field("note", "ben", &about(Asset::unit("3"))).await;
    h.verified().await;
    (h, place)
}

/// A copy of a database, with the guards taken off.
async fn stolen(h: &House) -> (TempDir, SqliteConnection) {
    let dir = folder();
    let mut db = attacker(h.dir.path()).await;
    sql(&mut db, &format!("vacuum into '{}'", dir.path().join(airmuster::store::FILE).display())).await;
    let mut db = attacker(dir.path()).await;
    sql(&mut db, "drop trigger logbook_no_update; drop trigger logbook_no_delete").await;
    sql(&mut db, "pragma ignore_check_constraints = on").await;
    (dir, db)
}

async fn report(dir: &TempDir, head: Option<Digest>) -> Report {
    let store = Store::open(dir.path(), Uuid::from_u128(9)).await.unwrap();
    let report = verify(&store, NOON, head, Depth::Tables).await.unwrap();
    store.close().await;
    report
}

/// Says that the logbook is wrong, and that this is the first record at which it is.
async fn found_at(dir: &TempDir, seq: i64, what: &str) {
    let report = report(dir, None).await;
    let first = report.problems.first().unwrap_or_else(|| panic!("{what} was not found"));
    assert!(first.starts_with(&format!("record {seq}: ")), "{what}: {first}");
    // What leaves the tables aside finds it as well.
    let ran = run(&["verify", "--quick", "--data", path(dir)], b"");
    ran.failed(1, first);
}

#[tokio::test]
async fn a_link_is_the_sha256sum_of_what_is_documented() {
    let (h, _) = written().await;
    for row in h.store.rows_after(0, 1000).await.unwrap() {
        let row = row.read().unwrap();
        let mut documented = row.previous.to_vec();
        documented.extend(row.seq.to_be_bytes());
        documented.extend(row.received_at.to_be_bytes());
        documented.extend((row.tablet.len() as u64).to_be_bytes());
        documented.extend(row.tablet.as_bytes());
        documented.extend((row.bytes.len() as u64).to_be_bytes());
        documented.extend(row.bytes);
        assert_eq!(sha256sum(&documented), Digest(row.hash.try_into().unwrap()).to_string());
        assert_eq!(sha256sum(row.bytes), Digest(row.digest.try_into().unwrap()).to_string());
    }
}

/// By another program than ours: coreutils.
fn sha256sum(bytes: &[u8]) -> String {
    let mut child = Command::new("sha256sum").stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(bytes).unwrap();
    let out = String::from_utf8(child.wait_with_output().unwrap().stdout).unwrap();
    out.split_whitespace().next().unwrap().to_owned()
}

#[tokio::test]
async fn a_change_of_any_column_is_found_and_its_record_named() {
    let (h, place) = written().await;
    let (_copy, mut db) = stolen(&h).await;
    let columns = columns(&mut db).await;
    assert!(columns.len() >= 17, "{columns:?}");
    for (column, kind) in columns {
        if column == "seq" {
            continue; // removing and reordering, below
        }
        let (dir, mut db) = stolen(&h).await;
        let other = match (column.as_str(), kind.as_str()) {
            ("bytes", _) => "cast(replace(cast(bytes as text), '3900 psi', '4300 psi') as blob)".to_owned(),
            (_, "BLOB") => "randomblob(32)".to_owned(),
            (c, "INTEGER") => format!("{c} + 1"),
            (c, _) => format!("{c} || 'x'"),
        };
        sql(&mut db, &format!("update logbook set {column} = {other} where seq = {place}")).await;
        let changed: i64 = sqlx::query("select changes()").fetch_one(&mut db).await.unwrap().get(0);
        assert_eq!(changed, 1);
        drop(db);
        found_at(&dir, place, &column).await;
    }
}

#[tokio::test]
async fn an_emptied_column_is_found_and_its_record_named() {
    let (h, place) = written().await;
    for column in ["incarnation", "number", "rules", "engine", "profile"] {
        let (dir, mut db) = stolen(&h).await;
        sql(&mut db, &format!("update logbook set {column} = null where seq = {place}")).await;
        drop(db);
        found_at(&dir, place, column).await;
    }
}

#[tokio::test]
async fn a_removed_inserted_or_moved_record_is_found_and_the_first_named() {
    let (h, place) = written().await;
    let last = h.store.head().await.unwrap().seq;
    let insert = |seq: i64| {
        format!(
            "insert into logbook select {seq}, 'x', digest, kind, version, tablet, incarnation, number,
             event_at, received_at, rules, engine, profile, client, previous, hash, bytes
             from logbook where seq = {place}"
        )
    };
    for (what, change, at) in [
        ("removed", format!("delete from logbook where seq = {place}"), place + 1),
        ("the first removed", "delete from logbook where seq = 1".to_owned(), 2),
        ("moved to the end", format!("update logbook set seq = {last} + 1 where seq = {place}"), place + 1),
        ("put before the first", insert(0), 0),
        ("put far before the first", insert(-7), -7),
        ("put after the last", insert(last + 1), last + 1),
        ("put after a gap", insert(last + 5), last + 5),
        (
            "two exchanged",
            format!(
                "update logbook set seq = -1 where seq = {place};
                 update logbook set seq = {place} where seq = {place} + 1;
                 update logbook set seq = {place} + 1 where seq = -1"
            ),
            place,
        ),
        (
            "all after it moved up by one, it put in between",
            format!(
                "update logbook set seq = -seq where seq > {place};
                 update logbook set seq = 1 - seq where seq < 0;
                 {}",
                insert(place + 1)
            ),
            place + 1,
        ),
    ] {
        let (dir, mut db) = stolen(&h).await;
        sql(&mut db, &change).await;
        drop(db);
        found_at(&dir, at, what).await;
    }
}

#[tokio::test]
async fn a_head_that_does_not_fit_is_found() {
    let (h, _) = written().await;
    let last = h.store.head().await.unwrap().seq;
    for change in [
        "update logbook_head set seq = seq - 1".to_owned(),
        "update logbook_head set hash = randomblob(32)".to_owned(),
        "delete from logbook_head".to_owned(),
        format!("delete from logbook where seq = {last}"),
        "delete from logbook".to_owned(),
    ] {
        let (dir, mut db) = stolen(&h).await;
        sql(&mut db, &change).await;
        drop(db);
        let found = report(&dir, None).await.problems;
        assert!(found.first().is_some_and(|p| p.starts_with("the head says ")), "{change}: {found:?}");
    }
}

/// Changes a record and rewrites every link from it on, as someone who knows how the chain is made.
async fn forge(db: &mut SqliteConnection, rows: &[Unread], (changed, to): (i64, &[u8])) {
    let mut previous = CHAIN_START;
    for row in rows {
        let row = row.read().unwrap();
        let received = row.received_at;
        let seq = u64::try_from(row.seq).unwrap();
        let bytes = if row.seq == changed { to } else { row.bytes };
        let hash = link(&previous, seq, received, row.tablet, bytes);
        if row.seq >= changed {
            sqlx::query(
                "update logbook set bytes = $1, digest = $2, previous = $3, hash = $4 where seq = $5",
            )
            .bind(bytes)
            .bind(&Digest::of(bytes).0[..])
            .bind(&previous.0[..])
            .bind(&hash.0[..])
            .bind(row.seq)
            .execute(&mut *db)
            .await
            .unwrap();
        }
        previous = hash;
    }
    sqlx::query("update logbook_head set hash = $1").bind(&previous.0[..]).execute(db).await.unwrap();
}

#[tokio::test]
async fn a_tail_forged_with_its_chain_shows_only_against_a_head_that_was_written_down() {
    let (h, _) = written().await;
    let early = h.store.head().await.unwrap();
    h.pass(MINUTE);
    let note = bytes("note", h.id(), h.now(), Some("ana"), &about(Asset::unit("1")));
    let noted = h.hand_in(note, Origin::Console).await.unwrap().seq;
    h.field("note", "ben", &about(Asset::unit("2"))).await;
    let late = h.store.head().await.unwrap();
    for head in [early.hash, late.hash, CHAIN_START] {
        let proved = report_of(&h, Some(head)).await;
        assert!(proved.problems.is_empty(), "{proved}");
    }

    let (dir, mut db) = stolen(&h).await;
    let rows = h.store.rows_after(0, 1000).await.unwrap();
    let row = rows.iter().map(|row| row.read().unwrap()).find(|row| row.seq == noted).unwrap();
    let other = String::from_utf8(row.bytes.to_vec()).unwrap().replace("member's words", "other words");
    forge(&mut db, &rows, (noted, other.as_bytes())).await;
    drop(db);
    let blind = report(&dir, None).await;
    assert!(blind.problems.is_empty(), "nothing else can show it: {blind}");
    let before = report(&dir, Some(early.hash)).await;
    assert!(before.problems.is_empty(), "what came before is as it was: {before}");
    let shown = report(&dir, Some(late.hash)).await;
    assert_eq!(shown.problems, ["the head that was written down is not in this logbook"]);

    let head = |hash: Digest| run(&["verify", "--data", path(&dir), "--head", &hash.to_string()], b"");
    head(late.hash).failed(1, "the head that was written down is not in this logbook");
    assert!(head(early.hash).ok().contains("every link of the chain holds"));
}

async fn report_of(h: &House, head: Option<Digest>) -> Report {
    verify(&h.store, h.now(), head, Depth::Tables).await.unwrap()
}

/// Codes to enrol tablets with, what tablets' keys say of records, and seals, which are thrown away: beside the logbook.
const BESIDE: [&str; 3] = ["seal", "tablet_code", "tablet_signature"];

/// Every table is either computed, and compared, or named here as what it is.
#[tokio::test]
async fn every_table_that_follows_from_the_logbook_is_compared() {
    let (h, _) = written().await;
    let (_copy, mut db) = stolen(&h).await;
    let tables: Vec<String> = sqlx::query_scalar(
        "select distinct m.name from sqlite_master m, pragma_foreign_key_list(m.name) f
         where m.type = 'table' and f.\"table\" in ('logbook', 'rig', 'station', 'ticket')",
    )
    .fetch_all(&mut db)
    .await
    .unwrap();
    assert!(tables.len() > 8, "{tables:?}");
    for table in tables.into_iter().filter(|t| !BESIDE.contains(&t.as_str())) {
        assert!(airmuster::store::COMPUTED.contains(&table.as_str()), "{table} is not compared");
    }
}

#[tokio::test]
async fn what_was_computed_and_touched_is_found() {
    let (h, _) = written().await;
    for change in [
        "update ground set cleared_at = 0 where kind = 'finding'",
        "delete from ground where kind = 'finding'",
        "update check_row set counts = 0 where unit = '1'",
        "update check_row set clean = 1 where unit = '2'",
        "update check_row set at = at + 1 where unit = '3'",
        "update check_row set unit = '2' where unit = '3'",
        "delete from check_row where unit = '1'",
        "update asset set profile = 'b' where asset = 'unit:1'",
        "update asset set cadence = '\"monthly\"' where asset = 'unit:1'",
        "insert into department values (1, 'x', 'UTC', '19:00', 12, 60, 60)",
        // What no standing shows: who may do what, where things are, tickets, readings.
        "update member set roles = '[\"administrator\"]' where id = 'ana'",
        "update member set qualified = '[\"f\"]' where id = 'tia'",
        "delete from member where id = 'tom'",
        "insert into holder values ('unit:1', 'bench', '')",
        "update ticket set stage = 'returned'",
        "update ticket set opened_at = opened_at + 1",
        "delete from ticket_entry",
        "update check_row set pressure = '4500 psi' where unit = '1'",
        "update check_row set by = 'ben' where unit = '1'",
        "update ground set detail = replace(detail, '3900', '4300')",
        "delete from about where asset = 'unit:1'",
        "insert into station values ('x', 'X', 1)",
        "update rule_table set name = 'x'",
        "insert into claim select 'unit:1', key, seq, null from ground",
    ] {
        let (dir, mut db) = stolen(&h).await;
        sql(&mut db, change).await;
        drop(db);
        let found = report(&dir, None).await.problems;
        assert!(!found.is_empty(), "{change} was not found");
        run(&["verify", "--data", path(&dir)], b"").failed(1, "what is computed from it was altered");
    }
}
