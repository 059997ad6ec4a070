//! The disk is full, cannot be written, is held by another program, or holds something else: each
//! is told in a sentence that a person can act on, and what was acknowledged stays.

use std::fs;
use std::io::Write as _;
use std::os::unix::fs::{PermissionsExt as _, chown};
use std::os::unix::process::CommandExt as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use airmuster::store::{FILE, Store, StoreError};
use airmuster_domain::record::Asset;
use tempfile::TempDir;
use uuid::Uuid;

use super::common::{
    NOON, Ran, about, attacker, bytes, fed, folder, house, not_opened, on_disk, page_size, path, program,
    run, sql,
};

fn note(n: u128) -> Vec<u8> {
    let mut note = bytes("note", Uuid::from_u128(n), NOON, Some("ana"), &about(Asset::unit("1")));
    note.push(b'\n');
    note
}

/// Hands in one note, and gives its receipt's number.
fn acknowledged(dir: &TempDir, n: u128) {
    run(&["submit", "--data", path(dir), "-"], &note(n)).ok();
}

/// Everything up to this note is there.
async fn still_there(dir: &Path, count: i64) {
    let store = Store::open(dir, Uuid::from_u128(2)).await.unwrap();
    assert_eq!(store.head().await.unwrap().seq, count);
    store.close().await;
    run(&["verify", "--data", dir.to_str().unwrap()], b"").ok();
}

fn is_root() -> bool {
    let out = Command::new("id").arg("-u").output().unwrap();
    out.stdout == b"0\n"
}

/// Runs the program as someone for whom permissions count; root passes over them.
fn as_anyone(dir: &TempDir, args: &[&str], input: &[u8]) -> Ran {
    let copy = dir.path().join("airmuster");
    if !is_root() {
        return fed(program().args(args), input);
    }
    if !copy.exists() {
        fs::copy(env!("CARGO_BIN_EXE_airmuster"), &copy).unwrap();
        fs::set_permissions(&copy, fs::Permissions::from_mode(0o755)).unwrap();
    }
    let mut command = Command::new(copy);
    command.args(args).current_dir("/").env_clear().uid(65_534).gid(65_534);
    fed(command.stdout(Stdio::piped()).stderr(Stdio::piped()), input)
}

#[tokio::test]
async fn a_folder_or_file_without_permission_to_write_is_told() {
    let dir = on_disk();
    fs::set_permissions(dir.path(), fs::Permissions::from_mode(0o755)).unwrap();
    let data = dir.path().join("data");
    fs::create_dir(&data).unwrap();
    let place = data.to_str().unwrap().to_owned();
    let mode = |path: &Path, mode: u32| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    if is_root() {
        chown(&data, Some(65_534), Some(65_534)).unwrap();
    }
    let submit = |n| as_anyone(&dir, &["submit", "--data", &place, "-"], &note(n));
    submit(1).ok();
    let file = data.join(FILE);

    mode(&file, 0o444);
    submit(2).failed(1, "cannot be written to; check the permissions of its folder");
    mode(&file, 0o644);
    mode(&data, 0o555);
    let ran = submit(3);
    assert_eq!(ran.code, Some(1), "{ran:?}");
    let told =
        ["cannot be written to", "cannot be opened; check that the folder exists, that this user may write"];
    assert!(told.iter().any(|t| ran.err.contains(t)), "{ran:?}");
    mode(&data, 0o755);
    mode(&file, 0o000);
    submit(4).failed(1, "cannot be opened; check that the folder exists, that this user may write there");
    // What SQLite keeps beside the file has the permissions that the file had.
    for entry in fs::read_dir(&data).unwrap() {
        mode(&entry.unwrap().path(), 0o644);
    }
    submit(5).ok();
    let within = data.join("no").join("such");
    mode(&data, 0o555);
    let ran = as_anyone(&dir, &["submit", "--data", within.to_str().unwrap(), "-"], &note(1));
    ran.failed(1, "cannot be opened; check that the folder exists");
    mode(&data, 0o755);
    still_there(&data, 2).await;
}

/// Mounts something in memory on a folder, where that is permitted; it is taken off again at the end.
pub(super) struct Mounted(TempDir);

impl Mounted {
    pub(super) fn new(options: &str) -> Option<Self> {
        let dir = on_disk();
        let mount = ["-t", "tmpfs", "-o", options, "tmpfs", path(&dir)];
        let ran = Command::new("mount").args(mount).output();
        ran.is_ok_and(|r| r.status.success()).then_some(Self(dir))
    }

    pub(super) fn path(&self) -> &Path {
        self.0.path()
    }

    fn options(&self, options: &str) {
        let ran = Command::new("mount").args(["-o", options, path(&self.0)]).status().unwrap();
        assert!(ran.success());
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0.path()).status();
    }
}

#[tokio::test]
async fn a_full_disk_is_told_and_what_was_acknowledged_stays() {
    let Some(disk) = Mounted::new("size=6m") else {
        println!("SKIPPED: no small disk can be mounted here, so none was filled");
        return;
    };
    let dir = disk.0.path();
    let many: Vec<u8> = (1..2_000).flat_map(note).collect();
    let ran = run(&["submit", "--data", path(&disk.0), "-"], &many);
    ran.failed(1, "the disk is full; make room, then try again: what was acknowledged is safe");
    let count = ran.out.lines().count();
    assert!(count > 20, "{count} were taken before it was full");
    run(&["submit", "--data", path(&disk.0), "-"], &note(5_000)).failed(1, "the disk is full");

    disk.options("remount,size=24m");
    let count = i64::try_from(count).unwrap();
    let store = Store::open(dir, Uuid::from_u128(2)).await.unwrap();
    let rows = store.rows_after(0, 10_000).await.unwrap();
    store.close().await;
    assert!(i64::try_from(rows.len()).unwrap() >= count, "{} of {count}", rows.len());
    for receipt in ran.out.lines() {
        let r: serde_json::Value = serde_json::from_str(receipt).unwrap();
        let row = rows
            .iter()
            .map(|row| row.read().unwrap())
            .find(|row| r["seq"] == row.seq)
            .expect("what was acknowledged");
        assert_eq!(r["id"], row.id);
    }
    run(&["verify", "--data", path(&disk.0)], b"").ok();
    run(&["submit", "--data", path(&disk.0), "-"], &note(5_000)).ok();
}

#[tokio::test]
async fn a_disk_mounted_read_only_is_told() {
    let Some(disk) = Mounted::new("size=8m") else {
        println!("SKIPPED: nothing can be mounted here, so nothing was mounted read-only");
        return;
    };
    acknowledged(&disk.0, 1);
    disk.options("remount,ro");
    for command in [&["submit", "-"][..], &["head"], &["serve", "--listen", "127.0.0.1:0"]] {
        let ran = run(&[&command[..1], &["--data", path(&disk.0)], &command[1..]].concat(), &note(2));
        ran.failed(1, "whether the disk is mounted read-only");
    }
    disk.options("remount,rw");
    still_there(disk.0.path(), 1).await;
}

#[tokio::test]
async fn a_database_that_another_program_holds_is_told_after_some_patience() {
    let dir = folder();
    acknowledged(&dir, 1);
    let mut holder = attacker(dir.path()).await;
    sql(&mut holder, "begin exclusive").await;
    let since = Instant::now();
    run(&["submit", "--data", path(&dir), "-"], &note(2))
        .failed(1, "busy: another program is writing to it; try again in a moment");
    assert!(since.elapsed().as_secs() >= 5, "a short wait is not worth an error");
    sql(&mut holder, "rollback").await;
    drop(holder);
    acknowledged(&dir, 2);
    still_there(dir.path(), 2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_short_hold_by_another_program_is_waited_for() {
    let dir = folder();
    acknowledged(&dir, 1);
    let mut holder = attacker(dir.path()).await;
    sql(&mut holder, "begin exclusive").await;
    let place = path(&dir).to_owned();
    let waiting = tokio::task::spawn_blocking(move || run(&["submit", "--data", &place, "-"], &note(2)));
    tokio::time::sleep(std::time::Duration::from_millis(600)).await;
    assert!(!waiting.is_finished());
    sql(&mut holder, "rollback").await;
    waiting.await.unwrap().ok();
    drop(holder);
    still_there(dir.path(), 2).await;
}

#[tokio::test]
async fn a_file_that_is_something_else_is_told_and_left_alone() {
    for junk in [vec![b'x'; 9_000], b"PK\x03\x04 not a database".to_vec(), vec![0; 8_192]] {
        let dir = folder();
        let file = dir.path().join(FILE);
        fs::write(&file, &junk).unwrap();
        for command in ["verify", "standing", "head"] {
            run(&[command, "--data", path(&dir)], b"").failed(1, "damaged or not a database");
        }
        assert!(matches!(not_opened(dir.path()).await, StoreError::Damaged(_)));
        assert!(fs::read(&file).unwrap() == junk, "it is kept as it is");
    }
    let dir = folder();
    fs::create_dir(dir.path().join(FILE)).unwrap();
    run(&["submit", "--data", path(&dir), "-"], &note(1)).failed(1, "cannot be opened");
    let file = folder();
    let beside = file.path().join("file");
    fs::write(&beside, "x").unwrap();
    run(&["submit", "--data", beside.to_str().unwrap(), "-"], &note(1)).failed(1, "cannot be opened");
}

#[tokio::test]
async fn a_damaged_file_is_told_and_never_passes_for_proved() {
    let h = house().await;
    for n in 0..400 {
        h.hand_in(note(10_000 + n), airmuster::service::Origin::Console).await.unwrap();
    }
    h.store.close().await;
    let whole = fs::read(h.dir.path().join(FILE)).unwrap();
    let page = page_size(&whole);
    assert!(whole.len() > 40 * page);
    // Every page but the first, in turn, written over as a failing disk does it.
    for at in (1..whole.len() / page).step_by(5) {
        let dir = folder();
        let file = dir.path().join(FILE);
        fs::write(&file, &whole).unwrap();
        let mut damaged = fs::OpenOptions::new().write(true).open(&file).unwrap();
        std::io::Seek::seek(&mut damaged, std::io::SeekFrom::Start((at * page) as u64)).unwrap();
        damaged.write_all(&vec![0xa5; page]).unwrap();
        drop(damaged);
        let ran = run(&["verify", "--data", path(&dir)], b"");
        assert_eq!(ran.code, Some(1), "page {at}: {ran:?}");
        assert!(!ran.err.contains("panicked") && ran.err.starts_with("airmuster: "), "page {at}: {ran:?}");
    }
    // Cut off in the middle.
    let dir = folder();
    fs::write(dir.path().join(FILE), &whole[..whole.len() / 2]).unwrap();
    let ran = run(&["verify", "--data", path(&dir)], b"");
    ran.failed(1, "damaged or not a database");
}
