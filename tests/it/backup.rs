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
