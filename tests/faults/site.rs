//! A server's folder and port, and the lives of the program on them.

use std::io::{BufRead as _, BufReader};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::Duration;

use airmuster::clock::Clock;
use airmuster::service::verify::{Depth, verify};
use airmuster::service::{Intake, Origin};
use airmuster::store::{FILE, Store};
use airmuster_domain::record::{Digest, RecordRef, Register, RulesInForce, Stamp, encode};
use faultproxy::wire::Reader;
use sqlx::ConnectOptions as _;
use sqlx::sqlite::SqliteConnectOptions;
use tempfile::TempDir;
use tokio::io::AsyncWriteExt as _;
use tokio::net::{TcpSocket, TcpStream};
use tokio::sync::oneshot;
use uuid::Uuid;

use super::history::Row;
use super::written::{RULES, UNITS};

/// A program that a test has left behind ends after this long.
const LONGEST_LIFE: &str = "900";

/// A number set in the environment, or this one.
pub fn from_env(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|s| s.parse().ok()).unwrap_or(default)
}

/// The program, with nothing of ours in its environment, ended after a while whatever happens here.
fn program(args: &[&str]) -> Command {
    let mut command = Command::new("timeout");
    command.args(["--signal=KILL", LONGEST_LIFE, env!("CARGO_BIN_EXE_airmuster")]).args(args);
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("AIRMUSTER_") {
            command.env_remove(name);
        }
    }
    command.stdin(Stdio::null());
    command
}

/// The tablets of the department.
fn tablets() -> impl Iterator<Item = String> {
    (1..=99).map(|n| format!("t{n}"))
}

/// What an enrolled tablet is known by.
pub fn token_of(tablet: &str) -> String {
    format!("the secret of {tablet}").replace(' ', "-")
}

/// A folder with a small department, and a port that nobody else gets.
pub struct Site {
    dir: TempDir,
    port: TcpSocket,
    /// What was entered before the first tablet spoke.
    pub set_up: Vec<RecordRef>,
}

impl Site {
    /// On a disk: what is killed here must have been written to one.
    pub async fn new() -> Self {
        let port = TcpSocket::new_v4().unwrap();
        port.set_reuseaddr(true).unwrap();
        port.bind((Ipv4Addr::LOCALHOST, 0).into()).unwrap();
        let mut site = Self { dir: tempfile::tempdir().unwrap(), port, set_up: Vec::new() };
        let clock = Clock::System;
        let store = Store::open(site.path(), clock.id()).await.unwrap();
        let (intake, writer) = Intake::start(store.clone(), clock.clone());
        let stamp =
            || Stamp { id: clock.id(), tablet: "desk".to_owned(), at: clock.now(), ..Stamp::default() };
        let mut entries = vec![encode(
            "rules",
            &stamp(),
            &RulesInForce { text: RULES.to_owned(), again: Vec::new(), grace_hours: None },
        )];
        for (id, role) in [("ana", "crew"), ("olga", "officer")] {
            let member =
                Register::Member { id: id.to_owned(), roles: vec![role.to_owned()], qualified: vec![] };
            entries.push(encode("register", &stamp(), &member));
        }
        for unit in UNITS {
            let unit = serde_json::json!({
                "what": "unit", "number": unit, "profile": "a", "cadence": "each_shift", "in_use": true,
            });
            entries.push(encode("register", &stamp(), &unit));
        }
        let station = Register::Station { id: "here".to_owned(), name: "Here".to_owned(), order: 1 };
        entries.push(encode("register", &stamp(), &station));
        for id in tablets() {
            let name = format!("Tablet {id}");
            let tablet = Register::Tablet { id, name, station: "here".to_owned(), key: None };
            entries.push(encode("register", &stamp(), &tablet));
        }
        for bytes in entries {
            let receipt = intake.submit(bytes, Origin::Console).await.unwrap();
            site.set_up.push(RecordRef { id: receipt.id, digest: receipt.digest });
        }
        drop(intake);
        writer.await.unwrap();
        let mut write = store.begin().await.unwrap();
        for id in tablets() {
            write.admit_tablet(&id, &Digest::of(token_of(&id).as_bytes()).0, clock.now()).await.unwrap();
        }
        write.commit().await.unwrap();
        store.close().await;
        site
    }

    fn path(&self) -> &Path {
        self.dir.path()
    }

    pub fn address(&self) -> SocketAddr {
        self.port.local_addr().unwrap()
    }

    /// Starts the program. It may not listen yet.
    pub fn spawn(&self) -> Server {
        let log = std::fs::File::options().append(true).create(true).open(self.path().join("log")).unwrap();
        let listen = self.address().to_string();
        let mut child = program(&[
            "serve",
            "--data",
            self.path().to_str().unwrap(),
            "--listen",
            &listen,
            "--log",
            "warn",
        ])
        .stdout(Stdio::piped())
        .stderr(log)
        .spawn()
        .unwrap();
        let mut said = BufReader::new(child.stdout.take().unwrap());
        let (heard, listens) = oneshot::channel();
        std::thread::spawn(move || {
            let mut line = String::new();
            if said.read_line(&mut line).is_ok_and(|n| n > 0) {
                let _ = heard.send(());
            }
        });
        Server { child, listens: Some(listens) }
    }

    /// Starts the program and waits until it answers.
    pub async fn start(&self) -> Server {
        let mut server = self.spawn();
        server.listening().await.unwrap_or_else(|()| panic!("it does not start: {}", self.log()));
        let mut line = Reader::new(TcpStream::connect(self.address()).await.unwrap());
        line.get_mut().write_all(b"GET /healthz HTTP/1.1\r\nHost: here\r\n\r\n").await.unwrap();
        assert_eq!(line.reply("GET").await.unwrap().head.status, 200, "{}", self.log());
        server
    }

    /// What the program wrote about trouble.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.path().join("log")).unwrap_or_default()
    }

    /// Does this to the database, as someone who holds the file can.
    pub async fn sql(&self, sql: &'static str) {
        let db = SqliteConnectOptions::new().filename(self.path().join(FILE));
        sqlx::raw_sql(sql).execute(&mut db.connect().await.unwrap()).await.unwrap();
    }

    /// Everything in the logbook, in order, and the epoch.
    pub async fn logbook(&self) -> (Vec<Row>, String) {
        let store = Store::open(self.path(), Uuid::from_u128(9)).await.unwrap();
        let rows = store.rows_after(i64::MIN, i64::MAX).await.unwrap();
        let rows = rows.iter().map(|row| row.read().unwrap().into()).collect();
        let epoch = store.head().await.unwrap().epoch;
        store.close().await;
        (rows, epoch)
    }

    /// The standing of everything equals a fresh recomputation, and every link of the chain holds.
    pub async fn verified(&self) {
        let ran = program(&["verify", "--data", self.path().to_str().unwrap()]).output().unwrap();
        let said = String::from_utf8_lossy(&ran.stdout);
        assert!(ran.status.success(), "{said}{}", String::from_utf8_lossy(&ran.stderr));
        // And once more at a later moment: what has run out by then has run out in both.
        let store = Store::open(self.path(), Uuid::from_u128(9)).await.unwrap();
        let later = Clock::System.now() + 40 * 24 * 60 * 60 * 1000;
        let report = verify(&store, later, None, Depth::Tables).await.unwrap();
        assert!(report.problems.is_empty(), "{report}");
        assert_eq!(report.assets, UNITS.len());
        assert!(said.contains(&format!("head {}", report.head)), "{said}");
        assert_ne!(report.head, Digest([0; 32]));
        store.close().await;
    }
}

/// One life of the program.
pub struct Server {
    child: Child,
    listens: Option<oneshot::Receiver<()>>,
}

impl Server {
    /// Waits until it listens; an error when it ended before.
    pub async fn listening(&mut self) -> Result<(), ()> {
        match self.listens.take() {
            None => Ok(()),
            Some(listens) => {
                tokio::time::timeout(Duration::from_mins(1), listens).await.map_err(drop)?.map_err(drop)
            }
        }
    }

    /// The program's own process id: the child of the one that limits its life.
    fn pid(&self) -> Option<u32> {
        let limiter = self.child.id();
        let children = std::fs::read_to_string(format!("/proc/{limiter}/task/{limiter}/children")).ok()?;
        children.trim().parse().ok()
    }

    fn send(&mut self, signal: &str) -> ExitStatus {
        // Until it has been waited for, the id belongs to no other process.
        while self.child.try_wait().unwrap().is_none() {
            if let Some(pid) = self.pid() {
                let _ = Command::new("sh")
                    .args(["-c", &format!("kill -{signal} {pid}")])
                    .stderr(Stdio::null())
                    .status();
                break;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        self.child.wait().unwrap()
    }

    /// SIGKILL. Whether it was still alive.
    pub async fn kill(mut self) -> bool {
        let alive = self.child.try_wait().unwrap().is_none();
        tokio::task::spawn_blocking(move || self.send("KILL")).await.unwrap();
        alive
    }

    /// Asks it to stop, and waits until it has.
    pub async fn stop(mut self) {
        let status = tokio::task::spawn_blocking(move || self.send("TERM")).await.unwrap();
        assert!(status.success(), "asked to stop, it ended with {status}");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if self.child.try_wait().is_ok_and(|s| s.is_none()) {
            self.send("KILL");
        }
    }
}
