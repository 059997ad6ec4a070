//! A running server whose disk fills up, or whose file is damaged: it says so, what was acknowledged
//! stays, and it goes on by itself once there is room.

use std::fs::{self, OpenOptions};
use std::io::{Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};
use std::process::Command;

use airmuster::clock::Clock;
use airmuster::service::pin::{Cost, Pins};
use airmuster::store::{FILE, Store};
use airmuster_domain::record::Asset;
use uuid::Uuid;

use super::common::{NOON, about, attacker, bytes, folder, house, leave, on_disk, page_size, run};
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

/// A small disk with a file system that turns read-only when it is told of a fault, as one does whose
/// cable is loose; it is taken off again at the end.
struct Failing {
    dir: tempfile::TempDir,
    image: PathBuf,
}

/// Runs a tool of the system; whether it is there and succeeded.
fn tool(name: &str, args: &[&str]) -> bool {
    Command::new(name).args(args).output().is_ok_and(|ran| ran.status.success())
}

impl Failing {
    fn new() -> Option<Self> {
        let dir = on_disk();
        let image = dir.path().join("disk");
        fs::File::create(&image).and_then(|f| f.set_len(24 << 20)).ok()?;
        fs::create_dir(dir.path().join("here")).ok()?;
        let disk = Self { dir, image };
        (tool("mkfs.ext4", &["-q", "-F", disk.image.to_str()?]) && disk.mount()).then_some(disk)
    }

    fn path(&self) -> PathBuf {
        self.dir.path().join("here")
    }

    fn mount(&self) -> bool {
        let (image, here) = (self.image.to_str().unwrap(), self.path());
        tool("mount", &["-o", "loop,errors=remount-ro", image, here.to_str().unwrap()])
    }

    /// From now on nothing can be written to it. Whether the system lets a test do that.
    fn fail(&self) -> bool {
        let listed = Command::new("losetup").args(["-n", "-O", "NAME", "-j"]).arg(&self.image).output();
        let listed = listed.map(|l| String::from_utf8_lossy(&l.stdout).into_owned()).unwrap_or_default();
        let Some(device) = listed.trim().strip_prefix("/dev/") else { return false };
        fs::write(format!("/sys/fs/ext4/{device}/trigger_fs_error"), "1").is_ok()
            && fs::write(self.path().join("probe"), "x").is_err()
    }

    /// What whoever looks after the box does about it.
    fn repair(&self) -> bool {
        tool("umount", &[self.path().to_str().unwrap()])
            // Its exit code says that it put something right.
            && !tool("e2fsck", &["-p", self.image.to_str().unwrap()])
            && self.mount()
    }
}

impl Drop for Failing {
    fn drop(&mut self) {
        tool("umount", &[self.path().to_str().unwrap()]);
    }
}

#[tokio::test]
async fn a_disk_that_turns_read_only_under_a_running_server_is_told_and_once_repaired_has_all_that_was_acknowledged()
 {
    let Some(disk) = Failing::new() else {
        println!("SKIPPED: no file system can be made and mounted here, so none turned read-only");
        return;
    };
    let dir = disk.path();
    moved_to(&dir).await;
    // What was only copied is nothing that anybody has acknowledged.
    assert!(tool("sync", &[]));
    let server = Served::start(&["--data", dir.to_str().unwrap()]);
    let cookie = signed_in(&server);
    assert!(note(&server, &cookie, 0).contains("\"status\":\"stored\""));
    if !disk.fail() {
        println!("SKIPPED: this system lets no test make a disk fail");
        return drop(server.stop());
    }

    for n in 1..4 {
        let refused = note(&server, &cookie, n);
        assert!(refused.starts_with("HTTP/1.1 50"), "{refused}");
        assert!(refused.contains("read-only") || refused.contains("takes nothing new"), "{refused}");
        assert!(refused.contains("ablets keep what they have"), "{refused}");
    }
    assert!(server.get("/readyz", "").starts_with("HTTP/1.1 503"), "a monitor sees it");
    assert!(server.get("/healthz", "").ends_with("ok"), "it can be read all the time");
    let page = server.get("/units/1", &format!("Cookie: {cookie}\r\n"));
    assert!(page.starts_with("HTTP/1.1 200"), "{page}");
    let log = server.stop();
    assert!(log.contains("read-only") && !log.contains("panicked"), "{log}");
    let data = dir.to_str().unwrap();
    run(&["serve", "--data", data, "--listen", "127.0.0.1:0"], b"").failed(1, "mounted read-only");

    assert!(disk.repair());
    let server = Served::start(&["--data", data]);
    assert!(note(&server, &signed_in(&server), 9).contains("\"status\":\"stored\""));
    server.stop();
    let store = Store::open(&dir, Uuid::from_u128(3)).await.unwrap();
    for n in [0, 9] {
        assert_eq!(store.variants(Uuid::from_u128(0xd15c_0000 + n)).await.unwrap().len(), 1, "note {n}");
    }
    store.close().await;
    run(&["verify", "--data", data], b"").ok();
}

#[tokio::test]
async fn a_file_that_cannot_be_written_for_a_while_is_told_and_without_a_restart_it_goes_on() {
    let dir = on_disk();
    moved_to(dir.path()).await;
    let server = Served::start(&["--data", dir.path().to_str().unwrap()]);
    let cookie = signed_in(&server);
    let files = [FILE.to_owned(), format!("{FILE}-wal")].map(|f| dir.path().join(f));
    let fixed = |how: &str| files.iter().all(|f| tool("chattr", &[how, f.to_str().unwrap()]));
    if !fixed("+i") {
        println!("SKIPPED: no file can be made immutable here");
        return drop(server.stop());
    }
    for n in 0..3 {
        let refused = note(&server, &cookie, n);
        assert!(refused.starts_with("HTTP/1.1 50"), "{refused}");
    }
    assert!(server.get("/readyz", "").starts_with("HTTP/1.1 503"), "a monitor sees it");
    assert!(fixed("-i"));
    // The first try may still find the connection that was opened meanwhile.
    let again = (10..13).map(|n| note(&server, &cookie, n)).find(|a| a.contains("\"status\":\"stored\""));
    assert!(again.is_some(), "it takes records again");
    assert!(server.get("/readyz", "").ends_with("ready"));
    server.stop();
    run(&["verify", "--data", dir.path().to_str().unwrap()], b"").ok();
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
    let size = page_size(&std::fs::read(dir.path().join(FILE)).unwrap());
    let mut file = OpenOptions::new().write(true).open(dir.path().join(FILE)).unwrap();
    file.seek(SeekFrom::Start((usize::try_from(page - 1).unwrap() * size) as u64)).unwrap();
    file.write_all(&vec![0xa5; size]).unwrap();
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
