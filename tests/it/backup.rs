//! A backup holds what was acknowledged, is believed only when it is proved, and a restored
//! database is a new history.

use airmuster::clock::Clock;
use airmuster::service::backup::{BackupError, back_up, restore};
use airmuster::service::{Intake, Origin};
use airmuster::store::Store;
use airmuster_domain::record::{Asset, Stamp, TakenOut, encode};

/// 2026-11-26 07:04 UTC.
const NOW: i64 = 1_795_676_640_000;

async fn with_a_record(dir: &std::path::Path, clock: &Clock) -> Store {
    let store = Store::open(dir, clock.id()).await.unwrap();
    let (intake, writer) = Intake::start(store.clone(), clock.clone());
    let stamp = Stamp { id: clock.id(), tablet: "t1".to_owned(), at: NOW, ..Stamp::default() };
    let body = TakenOut { asset: Asset::unit("117"), why: "buckle".to_owned() };
    intake.submit(encode("taken_out", &stamp, &body), Origin::Tablet { proven: None }).await.unwrap();
    drop(intake);
    writer.await.unwrap();
    store
}

#[tokio::test]
async fn a_backup_moves_the_watermark_and_restores_as_a_new_history_with_the_same_chain() {
    let (dir, clock) = (tempfile::tempdir().unwrap(), Clock::at(NOW));
    let store = with_a_record(dir.path(), &clock).await;
    let before = store.head().await.unwrap();
    assert_eq!(before.backed_up, 0);
    let file = dir.path().join("backup.db");
    back_up(&store, &clock, &file).await.unwrap();
    assert_eq!(store.head().await.unwrap().backed_up, before.seq);

    let other = dir.path().join("other");
    let restored = restore(&file, &other, &clock).await.unwrap();
    assert_eq!((restored.seq, restored.hash), (before.seq, before.hash));
    assert_ne!(restored.epoch, before.epoch);
    assert!(matches!(back_up(&store, &clock, &file).await, Err(BackupError::Exists(_))));
    assert!(matches!(restore(&file, &other, &clock).await, Err(BackupError::Exists(_))));
}

#[tokio::test]
async fn a_file_without_a_logbook_is_not_taken_for_a_backup() {
    let (dir, clock) = (tempfile::tempdir().unwrap(), Clock::at(NOW));
    let file = dir.path().join("empty.db");
    std::fs::write(&file, b"").unwrap();
    let other = dir.path().join("other");
    restore(&file, &other, &clock).await.unwrap_err();
    restore(&dir.path().join("missing.db"), &other, &clock).await.unwrap_err();
    assert!(!other.exists(), "nothing is left behind");
}

#[tokio::test]
async fn a_backup_with_a_changed_record_is_refused() {
    let (dir, clock) = (tempfile::tempdir().unwrap(), Clock::at(NOW));
    let store = with_a_record(dir.path(), &clock).await;
    let file = dir.path().join("backup.db");
    back_up(&store, &clock, &file).await.unwrap();
    let mut bytes = std::fs::read(&file).unwrap();
    let at = bytes.windows(6).position(|w| w == b"buckle").unwrap();
    bytes[at] = b'B';
    std::fs::write(&file, bytes).unwrap();
    let told = restore(&file, &dir.path().join("other"), &clock).await.unwrap_err().to_string();
    assert!(told.contains("record 1"), "{told}");
}

#[tokio::test]
async fn what_a_killed_backup_left_behind_is_no_backup_and_in_nobodys_way() {
    let (dir, clock) = (tempfile::tempdir().unwrap(), Clock::at(NOW));
    let store = with_a_record(dir.path(), &clock).await;
    let file = dir.path().join("backup.db");
    let part = dir.path().join("backup.db.part");
    std::fs::write(&part, b"SQLite format 3\0 and then the power went").unwrap();
    restore(&part, &dir.path().join("other"), &clock).await.unwrap_err();
    assert_eq!(store.head().await.unwrap().backed_up, 0);
    back_up(&store, &clock, &file).await.unwrap();
    assert!(!part.exists() && file.exists());
    restore(&file, &dir.path().join("third"), &clock).await.unwrap();
}

#[tokio::test]
async fn a_backup_killed_at_any_moment_leaves_a_whole_one_or_none() {
    let h = super::common::house().await;
    for n in 0..600 {
        let note = super::common::about(Asset::unit("1"));
        let bytes = super::common::bytes("note", uuid::Uuid::from_u128(90_000 + n), NOW, None, &note);
        h.hand_in(bytes, Origin::Tablet { proven: None }).await.unwrap();
    }
    let head = h.store.head().await.unwrap();
    let mut whole = 0;
    for n in 0..24_u64 {
        let file = h.dir.path().join(format!("{n}.db"));
        let args = ["backup", "--data", super::common::path(&h.dir), file.to_str().unwrap()];
        let mut child = super::common::program().args(args).spawn().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(n * 9));
        let _ = child.kill();
        child.wait().unwrap();
        if file.exists() {
            whole += 1;
            let other = h.dir.path().join(format!("from-{n}"));
            let restored = restore(&file, &other, &h.clock).await.unwrap();
            assert_eq!((restored.seq, restored.hash), (head.seq, head.hash));
        }
    }
    println!("{whole} of 24 were whole before they were killed");
    h.verified().await;
}
