//! A box that runs for years: nightly backups, keys kept apart, settings that are told, figures,
//! and a log in which nobody's PIN stands.

use std::io::{BufRead as _, BufReader, ErrorKind, Read as _, Write as _};
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use airmuster::clock::Clock;
use airmuster::service::backup::restore;
use airmuster::service::nightly::Nightly;
use airmuster::store::{FILE, Holding, Store};
use airmuster_domain::record::{Asset, Register};

use super::common::{DAY, HOUR, about, fed, folder, house, path, program, run};

static MIGRATOR: sqlx::migrate::Migrator = sqlx::migrate!("./migrations");

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[tokio::test]
async fn a_backup_is_made_each_day_copied_and_old_ones_are_put_away() {
    let h = house().await;
    let (local, other) = (folder(), folder());
    let nightly =
        Nightly { folder: local.path().join("made-by-itself"), copy: Some(other.path().to_owned()), keep: 2 };
    // Noon on 9 June; the department has no settings, so its clock is UTC.
    let first = nightly.run(&h.store, &h.clock).await.unwrap().unwrap();
    assert_eq!(first.file_name().unwrap(), "airmuster-2026-06-09.db");
    assert_eq!(nightly.run(&h.store, &h.clock).await.unwrap(), None, "once a day");
    assert_eq!(h.store.head().await.unwrap().backed_up, h.store.head().await.unwrap().seq);
    std::fs::write(other.path().join("holiday.jpg"), "not ours").unwrap();
    for _ in 0..4 {
        h.pass(DAY);
        h.field("note", "ana", &about(Asset::unit("1"))).await;
        nightly.run(&h.store, &h.clock).await.unwrap().unwrap();
    }
    let kept = ["airmuster-2026-06-09.db", "airmuster-2026-06-12.db", "airmuster-2026-06-13.db"];
    assert_eq!(names(&nightly.folder), kept);
    assert_eq!(names(other.path()), [&kept[..], &["holiday.jpg"]].concat());
    let restored = restore(&other.path().join(kept[2]), folder().path(), &h.clock).await.unwrap();
    assert_eq!(restored.hash, h.store.head().await.unwrap().hash);

    // The other disk is away for a night: told, and caught up with once it is back.
    h.pass(DAY);
    let away = Nightly { copy: Some(other.path().join("gone")), ..nightly.clone() };
    let told = away.run(&h.store, &h.clock).await.unwrap_err().to_string();
    assert!(told.contains("gone"), "{told}");
    assert!(nightly.folder.join("airmuster-2026-06-14.db").exists());
    assert_eq!(nightly.run(&h.store, &h.clock).await.unwrap(), None);
    assert!(other.path().join("airmuster-2026-06-14.db").exists());
    h.pass(14 * HOUR);
    assert_eq!(nightly.run(&h.store, &h.clock).await.unwrap(), None, "not before three in the morning");
}

#[test]
fn keys_go_out_encrypted_and_come_back_only_with_the_passphrase_and_into_an_empty_place() {
    let (dir, other) = (folder(), folder());
    let keys = |args: &[&str], passphrase: &str| fed(program().arg("keys").args(args), passphrase.as_bytes());
    let file = dir.path().join("station.keys");
    let out = file.to_str().unwrap();
    keys(&["backup", "--data", path(&dir), out], "four words or so\n").failed(2, "there are no keys in");
    for (folder, name, content) in [("tls", "authority.key", "SECRET-ONE"), ("keys", "seal", "SECRET-TWO")] {
        std::fs::create_dir_all(dir.path().join(folder)).unwrap();
        std::fs::write(dir.path().join(folder).join(name), content).unwrap();
    }
    keys(&["backup", "--data", path(&dir), out], "short\n").failed(2, "at least 12 letters");
    let told = keys(&["backup", "--data", path(&dir), out], "four words or so\n").ok();
    assert!(told.contains("keys/seal, tls/authority.key"), "{told}");
    keys(&["backup", "--data", path(&dir), out], "four words or so\n").failed(2, "is there already");
    let text = std::fs::read_to_string(&file).unwrap();
    assert!(!text.contains("SECRET") && !text.contains("5345435245"), "neither plain nor in hexadecimal");
    assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);

    let back = |file: &str, words: &str| keys(&["restore", "--data", path(&other), file], words);
    back(out, "four words or not\n").failed(2, "this passphrase does not open it");
    let spoiled = dir.path().join("spoiled");
    std::fs::write(&spoiled, text.replace("\"passes\": 3", "\"passes\": 4")).unwrap();
    back(spoiled.to_str().unwrap(), "four words or so\n")
        .failed(2, "does not open it, or the file was changed");
    std::fs::write(&spoiled, "{}").unwrap();
    back(spoiled.to_str().unwrap(), "four words or so\n").failed(2, "not a file of keys");
    assert!(names(other.path()).is_empty());
    back(out, "four words or so\n").ok();
    assert_eq!(std::fs::read_to_string(other.path().join("keys/seal")).unwrap(), "SECRET-TWO");
    back(out, "four words or so\n").failed(2, "is there already");
}

#[test]
fn settings_are_told_with_where_they_come_from_and_what_is_wrong_with_them() {
    let dir = folder();
    let check = |env: &[(&str, &str)]| {
        let mut command = program();
        fed(command.args(["config", "check", "--data", path(&dir)]).envs(env.iter().copied()), b"")
    };
    let told = check(&[]).ok();
    assert!(told.contains("listen = 127.0.0.1:8460    (default)"), "{told}");
    let file = dir.path().join("airmuster.toml");
    std::fs::write(&file, "listen = \"127.0.0.2:0\"\nlog = \"warn\"\nbackups_keep = 7\n").unwrap();
    let told = check(&[("AIRMUSTER_LISTEN", "127.0.0.3:0")]).ok();
    assert!(told.contains("listen = 127.0.0.3:0    (AIRMUSTER_LISTEN)"), "{told}");
    assert!(told.contains("log = warn") && told.contains("airmuster.toml)"), "{told}");
    check(&[("AIRMUSTER_LISTEN", "here")]).failed(2, "a setting cannot be used");
    for (text, words) in [
        ("log = \"===\"\n", "is not a log filter"),
        ("backups_copy = \"/nowhere\"\n", "backups_copy goes with backups"),
        ("backups = \"b\"\nbackups_copy = \"/nowhere\"\n", "/nowhere is not there; is its disk mounted?"),
        ("metrics_listen = \"0.0.0.0:9000\"\n", "can be reached from elsewhere"),
        ("host = \"a.example\"\n", "go with HTTPS only"),
        ("tls_cert = \"/nowhere.pem\"\n", "tls_cert and tls_key go together"),
        ("mail_to = \"a@b.example\"\n", "go with mail_server"),
        ("mail_server = \"smtp://mail\"\n", "mail_from: say from whom"),
        (
            "mail_server = \"smtp://mail\"\nmail_from = \"a@b.example\"\nmail_to = \"c@d.example\"\n",
            "mail_server: without TLS",
        ),
        ("mail_server = \"smtps://m\"\nmail_from = \"a@b.example\"\nmail_to = \"x\"\n", "mail_to: “x”"),
        (
            "mail_server = \"smtps://m\"\nmail_from = \"a@b.example\"\nmail_to = \"c@d.example\"\nmail_about = \"all\"\n",
            "mail_about: “all”",
        ),
        ("liston = 1\n", "liston"),
    ] {
        std::fs::write(&file, text).unwrap();
        check(&[]).failed(2, words);
    }
    run(&["serve", "--data", path(&dir), "--config", "/dev/null", "--metrics-listen", "0.0.0.0:0"], b"")
        .failed(2, "--metrics-listen takes a loopback address");
    run(&["serve", "--data", path(&dir), "--config", "/dev/null", "--backups-copy", "/tmp"], b"")
        .failed(2, "--backups-copy goes with --backups");
}

/// What is answered to a request, headers and all.
pub(super) fn ask(address: &str, request: &str) -> String {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer
}

fn get(address: &str, path: &str, more: &str) -> String {
    ask(address, &format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n{more}\r\n"))
}

/// A server as a child, which is asked to stop at the end.
pub(super) struct Served {
    child: Child,
    pub(super) address: String,
}

impl Served {
    pub(super) fn start(args: &[&str]) -> Self {
        Self::start_with(args, &[])
    }

    /// With this in its environment.
    pub(super) fn start_with(args: &[&str], env: &[(&str, &str)]) -> Self {
        let mut command = program();
        command.arg("serve").args(args).args(["--listen", "127.0.0.1:0"]).envs(env.iter().copied());
        let mut child = command.spawn().unwrap();
        let mut said = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut said).unwrap();
        let address = said.trim().rsplit("http://").next().unwrap().to_owned();
        Self { child, address }
    }

    pub(super) fn get(&self, path: &str, more: &str) -> String {
        get(&self.address, path, more)
    }

    /// Asks it to stop, as a service manager does, and gives its log.
    pub(super) fn stop(self) -> String {
        Command::new("kill").arg(self.child.id().to_string()).stdout(Stdio::null()).status().unwrap();
        let out = self.child.wait_with_output().unwrap();
        assert!(out.status.success(), "it stops of its own accord: {out:?}");
        String::from_utf8(out.stderr).unwrap()
    }
}

#[tokio::test]
async fn no_pin_and_no_token_stands_in_the_log_however_much_is_logged() {
    let h = house().await;
    let pins = airmuster::service::pin::Pins::new(
        h.store.clone(),
        Clock::System,
        airmuster::service::pin::Cost::Least,
    );
    let mut write = h.store.begin().await.unwrap();
    write
        .set_person("ada", "Ada Ruiz", Some((&pins.hash("8402719365").await.unwrap(), h.now())))
        .await
        .unwrap();
    write.commit().await.unwrap();
    h.store.close().await;
    let server = Served::start(&["--data", path(&h.dir), "--log", "trace", "--log-format", "json"]);
    let body = "member=ada&pin=8402719365&next=%2F";
    let answer = ask(
        &server.address,
        &format!(
            "POST /sign-in HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Length: {}\r\n\
         Content-Type: application/x-www-form-urlencoded\r\n\r\n{body}",
            server.address,
            body.len()
        ),
    );
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    let token = answer.split("airmuster_session=").nth(1).unwrap().split(';').next().unwrap().to_owned();
    assert!(token.len() >= 32);
    let page = server.get("/register/import", &format!("Cookie: airmuster_session={token}\r\n"));
    assert!(page.starts_with("HTTP/1.1 200"), "signed in: {page}");
    assert!(server.get("/healthz", "").ends_with("ok"));
    assert!(server.get("/readyz", "").ends_with("ready"));
    let log = server.stop();
    assert!(log.lines().count() > 20, "it logged: {log}");
    for secret in ["8402719365", &token] {
        let line = log.lines().find(|l| l.contains(secret));
        assert_eq!(line, None, "a secret stands in the log");
    }
    for line in log.lines() {
        assert!(
            serde_json::from_str::<serde_json::Value>(line).is_ok_and(|v| v["level"].is_string()),
            "{line}"
        );
    }
}

/// Sends a beginning and then a byte now and then, until the server has had enough of it: what it
/// answered, and how long that took.
fn trickle(address: &str, beginning: &str, more: &[u8]) -> (String, Duration) {
    let begun = Instant::now();
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
    stream.write_all(beginning.as_bytes()).unwrap();
    let mut answer = Vec::new();
    for byte in more.iter().cycle() {
        assert!(begun.elapsed() < Duration::from_mins(1), "it waits for ever: {beginning}");
        let closed = stream.write_all(&[*byte]).is_err();
        let mut piece = [0; 4096];
        match stream.read(&mut piece) {
            Ok(0) => break,
            Ok(n) => answer.extend(&piece[..n]),
            Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {}
            Err(_) => break,
        }
        if closed {
            break;
        }
    }
    (String::from_utf8_lossy(&answer).into_owned(), begun.elapsed())
}

#[tokio::test]
async fn whoever_sends_headers_or_a_body_byte_by_byte_is_cut_off_and_keeps_nobody_waiting() {
    let h = house().await;
    h.store.close().await;
    let server = Served::start(&["--data", path(&h.dir)]);
    let address = server.address.clone();
    let slow = |beginning: String, more: &'static [u8]| {
        let address = address.clone();
        std::thread::spawn(move || trickle(&address, &beginning, more))
    };
    // Many at once, so that they would fill a server that waits for each.
    let heads: Vec<_> =
        (0..40).map(|n| slow(format!("GET /healthz HTTP/1.1\r\nHost: x\r\nx-{n}: "), b"a")).collect();
    let form = "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 100000";
    let body = slow(format!("POST /sign-in HTTP/1.1\r\nHost: {address}\r\n{form}\r\n\r\nmember="), b"a");
    let begun = Instant::now();
    assert!(server.get("/healthz", "").ends_with("ok"));
    assert!(begun.elapsed() < Duration::from_secs(5), "others are answered meanwhile");
    for head in heads {
        let (answer, took) = head.join().unwrap();
        assert!(!answer.contains("200 OK"), "{answer}");
        assert!((Duration::from_secs(10)..Duration::from_secs(30)).contains(&took), "{took:?}");
    }
    let (answer, took) = body.join().unwrap();
    assert!(answer.starts_with("HTTP/1.1 503"), "{answer}");
    assert!((Duration::from_secs(15)..Duration::from_secs(45)).contains(&took), "{took:?}");
    // One that says nothing at all, or lies idle after an answer, is not kept either.
    let mut idle = TcpStream::connect(&address).unwrap();
    idle.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    idle.write_all(format!("GET /healthz HTTP/1.1\r\nHost: {address}\r\n\r\n").as_bytes()).unwrap();
    let mut said = String::new();
    idle.read_to_string(&mut said).expect("it is closed");
    assert!(said.starts_with("HTTP/1.1 200"), "{said}");
    server.stop();
}

#[tokio::test]
async fn figures_are_told_on_an_address_of_their_own_and_backups_are_made_while_it_serves() {
    let h = house().await;
    let station = Register::Station { id: "mill".to_owned(), name: "Mill".to_owned(), order: 1 };
    let (id, name, station_id) = ("t-1".to_owned(), "Bay".to_owned(), "mill".to_owned());
    let tablet = Register::Tablet { id, name, station: station_id, key: None };
    for entry in [station, tablet] {
        h.desk("register", "ada", &entry).await.unwrap();
    }
    let now = Clock::System.now();
    let holding = Holding { count: 3, oldest_at: Some(now - 3_600_000), last: None };
    let mut write = h.store.begin().await.unwrap();
    write.admit_tablet("t-1", &[7; 32], now).await.unwrap();
    write.hear_tablet("t-1", Some(&holding), now).await.unwrap();
    write.commit().await.unwrap();
    h.store.close().await;
    let backups = folder();
    // Any free port: this one was free a moment ago.
    let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let figures = free.to_string();
    let args = ["--data", path(&h.dir), "--metrics-listen", &figures, "--backups", path(&backups)];
    let server = Served::start(&args);
    assert!(server.get("/metrics", "").starts_with("HTTP/1.1 404"), "not where tablets are");
    let text = get(&figures, "/metrics", "");
    for line in [
        "airmuster_records 15",
        "airmuster_tablet_unsent_records{tablet=\"t-1\",name=\"Bay\"} 3",
        "airmuster_tablet_unsent_age_seconds{tablet=\"t-1\",name=\"Bay\"} 36",
        "airmuster_units{standing=\"Check due\"} 4",
        "airmuster_tickets_open 0",
        "# EOF",
    ] {
        assert!(text.contains(line), "{line}: {text}");
    }
    let log = server.stop();
    let made = names(backups.path());
    // Before three in the morning none is due; the machine that runs this says what time it is.
    assert!(made.len() == 1 || !log.contains("backup made"), "{made:?} {log}");
}

#[tokio::test]
async fn a_database_of_an_earlier_program_is_kept_as_it_was_before_it_is_changed() {
    let dir = folder();
    let newest = MIGRATOR.iter().map(|m| m.version).max().unwrap();
    let db = super::common::at_migration(dir.path(), 2).await;
    super::common::leave(db).await;
    Store::open(dir.path(), uuid::Uuid::from_u128(5)).await.unwrap().close().await;
    let kept = names(dir.path()).into_iter().find(|n| n.starts_with("before-migration-"));
    if newest == 2 {
        assert_eq!(kept, None, "there was nothing to change");
        return;
    }
    let kept = kept.expect("a copy");
    assert!(!kept.contains(".part"));
    let before = folder();
    std::fs::copy(dir.path().join(&kept), before.path().join(FILE)).unwrap();
    let mut db = super::common::attacker(before.path()).await;
    let last: i64 =
        sqlx::query_scalar("select max(version) from _sqlx_migrations").fetch_one(&mut db).await.unwrap();
    assert_eq!(last, 2);
}
