//! What durability hangs on, read back and watched from outside.

use std::collections::HashMap;
use std::process::Command;
use std::sync::atomic::{AtomicU32, Ordering};

use airmuster::store::{Pragma, Unread};
use airmuster_domain::record::Asset;

use super::common::{about, attacker, bytes, empty, folder, house, on_disk, path, sql};
use uuid::Uuid;

#[tokio::test]
async fn the_writing_connection_has_the_settings_that_durability_hangs_on() {
    let h = empty(folder()).await;
    for (pragma, value) in [
        (Pragma::JournalMode, "wal"),
        (Pragma::Synchronous, "2"),
        (Pragma::ForeignKeys, "1"),
        (Pragma::RecursiveTriggers, "1"),
    ] {
        assert_eq!(h.store.pragma(pragma).await.unwrap(), value, "{pragma:?}");
    }
}

/// What a watched system call did, in the order of time.
#[derive(Debug, PartialEq)]
enum Seen {
    LogWritten,
    LogSynced,
    Receipt,
}

/// Reads what strace wrote. A call counts as made when it begins, a sync when it has ended well.
fn watched(trace: &str) -> Vec<Seen> {
    let mut waiting: HashMap<&str, bool> = HashMap::new();
    let mut seen = Vec::new();
    for line in trace.lines() {
        let Some((thread, call)) = line.split_once(' ') else { continue };
        let call = call.trim_start();
        let on_log = call.split_once('>').is_some_and(|(fd, _)| fd.ends_with("airmuster.db-wal"));
        let is = |names: &[&str]| names.iter().any(|n| call.starts_with(&format!("{n}(")));
        if is(&["fsync", "fdatasync"]) && call.ends_with("<unfinished ...>") {
            waiting.insert(thread, on_log);
        } else if is(&["fsync", "fdatasync"]) && on_log && call.ends_with("= 0") {
            seen.push(Seen::LogSynced);
        } else if call.starts_with("<... f") && call.contains("sync resumed") {
            if waiting.remove(thread) == Some(true) && call.ends_with("= 0") {
                seen.push(Seen::LogSynced);
            }
        } else if is(&["write", "pwrite64"]) && on_log {
            seen.push(Seen::LogWritten);
        } else if call.starts_with("write(1<") && call.contains(r#""{\"id\":"#) {
            seen.push(Seen::Receipt);
        }
    }
    seen
}

#[test]
fn each_receipt_is_printed_after_the_log_with_its_record_was_synced() {
    const RECORDS: u128 = 20;
    let dir = on_disk();
    let trace = dir.path().join("trace");
    let lines: Vec<String> = (1..=RECORDS)
        .map(|n| bytes("note", Uuid::from_u128(n), 1_000, Some("ana"), &about(Asset::unit("1"))))
        .map(|b| String::from_utf8(b).unwrap())
        .collect();
    let records = dir.path().join("records");
    std::fs::write(&records, lines.join("\n")).unwrap();
    let ran = Command::new("strace")
        .args(["-f", "-y", "-s", "40", "-e", "trace=fsync,fdatasync,pwrite64,write", "-o"])
        .arg(&trace)
        .arg(env!("CARGO_BIN_EXE_airmuster"))
        .args(["submit", "--data", path(&dir)])
        .arg(&records)
        .output();
    let trace = std::fs::read_to_string(&trace).unwrap_or_default();
    let ran = match ran {
        Ok(ran) if !trace.is_empty() => ran,
        other => {
            println!("SKIPPED: strace cannot watch a program here, so syncs were not counted: {other:?}");
            return;
        }
    };
    assert!(ran.status.success(), "{ran:?}");
    let seen = watched(&trace);
    let receipts = seen.iter().filter(|s| **s == Seen::Receipt).count();
    assert_eq!(receipts, usize::try_from(RECORDS).unwrap());
    assert_eq!(unsynced_receipts(&seen), 0, "{seen:?}");
    // And it would have been seen.
    let never_synced: Vec<Seen> = seen.into_iter().filter(|s| *s != Seen::LogSynced).collect();
    assert_eq!(unsynced_receipts(&never_synced), receipts);
}

/// Receipts that were printed before a record was written and synced for them.
fn unsynced_receipts(seen: &[Seen]) -> usize {
    let (mut written, mut synced) = (false, false);
    let mut too_early = 0;
    for what in seen {
        match what {
            Seen::LogWritten => (written, synced) = (true, false),
            Seen::LogSynced => synced = true,
            Seen::Receipt => {
                too_early += usize::from(!(written && synced));
                (written, synced) = (false, false);
            }
        }
    }
    too_early
}

#[tokio::test]
async fn the_database_itself_refuses_to_change_or_remove_a_record() {
    let h = house().await;
    let before = h.store.rows_after(0, 1000).await.unwrap();
    let mut db = attacker(h.dir.path()).await;
    sql(&mut db, "pragma recursive_triggers = on").await;
    for change in [
        "update logbook set tablet = 'other' where seq = 2",
        "update logbook set bytes = x'00'",
        "delete from logbook where seq = 3",
        "delete from logbook",
        "insert or replace into logbook select * from logbook where seq = 1",
        "replace into logbook select * from logbook where seq = 1",
        "update or replace logbook set seq = 1 where seq = 2",
        "insert into logbook select * from logbook where seq = 1 on conflict do update set client = 'x'",
    ] {
        let outcome = sqlx::raw_sql(change).execute(&mut db).await;
        let said = outcome.expect_err(change).to_string();
        assert!(said.contains("only ever added to"), "{change}: {said}");
    }
    let after = h.store.rows_after(0, 1000).await.unwrap();
    let text = |rows: &[Unread]| rows.iter().map(|r| format!("{:?}", r.read().unwrap())).collect::<Vec<_>>();
    assert_eq!(text(&before), text(&after));
}

/// Puts one record into the logbook twice, past the way in; whether the database took both.
async fn takes_twice(schema: &str) -> bool {
    use sqlx::Connection as _;
    let mut db = sqlx::SqliteConnection::connect("sqlite::memory:").await.unwrap();
    sql(&mut db, schema).await;
    let row = |seq: u32| {
        format!(
            "insert into logbook (seq, id, digest, kind, version, tablet, event_at, received_at, client,
                                  previous, hash, bytes)
             values ({seq}, 'an id', zeroblob(32), 'note', 1, 't1', 0, 0, 'test',
                     zeroblob(32), zeroblob(32), zeroblob(2))"
        )
    };
    sql(&mut db, &row(1)).await;
    sqlx::raw_sql(sqlx::AssertSqlSafe(row(2))).execute(&mut db).await.is_ok()
}

#[tokio::test]
async fn the_database_itself_refuses_a_second_row_of_one_record() {
    let schema = include_str!("../../migrations/0001_logbook.sql");
    assert!(!takes_twice(schema).await);
    // And this test would see it if it did not.
    let without = schema.replace("unique (id, digest)", "check (seq > 0)");
    assert_ne!(schema, without);
    assert!(takes_twice(&without).await);
}

/// What was counted, kept by the store.
struct Counted(u32);

#[tokio::test]
async fn what_was_read_is_read_again_after_a_write_of_any_program_and_in_the_next_minute() {
    let h = house().await;
    let reads = AtomicU32::new(0);
    let read = async || {
        let one = async { Ok(Counted(reads.fetch_add(1, Ordering::Relaxed) + 1)) };
        h.store.kept(h.now(), one).await.unwrap().0
    };
    assert_eq!((read().await, read().await), (1, 1));
    h.pass(59_000);
    assert_eq!(read().await, 1, "within the minute");
    h.pass(1_000);
    assert_eq!(read().await, 2);
    h.field("taken_out", "ana", &about(Asset::unit("1"))).await;
    assert_eq!(read().await, 3);
    let other = airmuster::store::Store::open(h.dir.path(), Uuid::nil()).await.unwrap();
    let mut write = other.begin().await.unwrap();
    write.set_person("ana", "Ana", None).await.unwrap();
    write.commit().await.unwrap();
    // Which is seen after a moment; what this program writes is seen at once.
    let seen = async {
        while read().await == 3 {
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(std::time::Duration::from_secs(10), seen).await.unwrap();
    assert_eq!(read().await, 4, "written by another program");
    let write = h.store.begin().await.unwrap();
    write.commit_aside().await.unwrap();
    assert_eq!(read().await, 4, "a note beside");
    let write = h.store.begin().await.unwrap();
    write.abandon().await.unwrap();
    assert_eq!(read().await, 4, "nothing was written");
}

#[tokio::test]
async fn whoever_comes_while_something_is_read_waits_for_it_and_does_not_read_it_too() {
    let h = house().await;
    let reads = AtomicU32::new(0);
    let read = || async {
        let one = async {
            tokio::task::yield_now().await;
            Ok(Counted(reads.fetch_add(1, Ordering::Relaxed) + 1))
        };
        h.store.kept(h.now(), one).await.unwrap().0
    };
    assert_eq!(tokio::join!(read(), read(), read()), (1, 1, 1));
}
