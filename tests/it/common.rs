//! A small department in a temporary folder, records made in a line, and the program as a child.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::sync::LazyLock;
use std::sync::atomic::{AtomicU64, Ordering};

use airmuster::clock::Clock;
use airmuster::service::intake::{IntakeError, Origin, Receipt};
use airmuster::service::verify::{Depth, verify};
use airmuster::service::{Intake, Status};
use airmuster::store::{FILE, Store, StoreError};
use airmuster_domain::Millis;
use airmuster_domain::judge::{Answer, Raw};
use airmuster_domain::record::{
    Asset, Body, Cadence, Check, Clearing, Component, Correction, Digest, Fitting, Outcome, Part, Record,
    RecordRef, Register, Return, RulesInForce, Settlement, Slot, Stamp, TakenOut, Upkept, Work, decode,
    encode,
};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::{Account, Standing, State};
use serde::Serialize;
use tempfile::TempDir;
use uuid::Uuid;

/// The rule table of these tests.
pub const SMALL: &str = include_str!("../data/small.toml");
/// Another edition of it, which asks for less pressure.
pub const LATER: &str = include_str!("../data/small-later.toml");
pub static RULES: LazyLock<Digest> = LazyLock::new(|| Digest::of(SMALL.as_bytes()));

/// Noon on a working day in June 2026, UTC.
pub const NOON: Millis = 1_781_006_400_000;
pub const MINUTE: Millis = 60_000;
pub const HOUR: Millis = 60 * MINUTE;
pub const DAY: Millis = 24 * HOUR;

/// A temporary folder in memory where there is one: most tests are not about the disk.
pub fn folder() -> TempDir {
    let shm = Path::new("/dev/shm");
    if shm.is_dir() { tempfile::tempdir_in(shm).unwrap_or_else(|_| on_disk()) } else { on_disk() }
}

/// A temporary folder on a disk.
pub fn on_disk() -> TempDir {
    tempfile::tempdir().unwrap()
}

/// Bytes of a page, as a database file says at offset 16 (sqlite.org/fileformat.html, 1.3.2).
pub fn page_size(database: &[u8]) -> usize {
    usize::from(u16::from_be_bytes([database[16], database[17]]))
}

/// A number set in the environment, or this one.
pub fn from_env(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|s| s.parse().ok()).unwrap_or(default)
}

/// Bytes of a record.
pub fn bytes(kind: &str, id: Uuid, at: Millis, by: Option<&str>, body: &impl Serialize) -> Vec<u8> {
    let tablet = "t1".to_owned();
    let client = "test".to_owned();
    encode(kind, &Stamp { id, tablet, at, client, by: by.map(str::to_owned), ..Stamp::default() }, body)
}

pub fn name(bytes: &[u8]) -> RecordRef {
    decode(bytes).unwrap().name
}

pub fn text(t: &str) -> Raw {
    Raw::Text(t.into())
}

pub fn answer(step: &str, values: &[(&str, Raw)]) -> Answer {
    Answer {
        step: step.into(),
        attempt: 1,
        item: None,
        values: values.iter().map(|(k, v)| ((*k).into(), v.clone())).collect(),
        note: None,
    }
}

pub fn word(step: &str, good: bool) -> Answer {
    answer(step, &[("good", Raw::Flag(good))])
}

/// The answer as a later attempt.
pub fn again(answer: Answer, attempt: u8) -> Answer {
    Answer { attempt, ..answer }
}

pub fn gauges(cylinder: &str, remote: &str) -> Answer {
    answer("gauges", &[("cylinder", text(cylinder)), ("remote", text(remote))])
}

pub fn pressure(at: &str) -> Answer {
    answer("pressure", &[("at", text(at))])
}

/// A check by the small table, good throughout until told otherwise.
pub fn check(unit: &str, id: Uuid) -> Check {
    Check {
        unit: unit.to_owned(),
        profile: "a".to_owned(),
        rules: *RULES,
        engine: 1,
        purpose: Purpose::ShiftStart,
        outcome: Outcome::Complete,
        run: id,
        facepiece: None,
        cylinder: None,
        bay: None,
        started: NOON,
        seen: Vec::new(),
        answers: vec![
            gauges("4400 psi", "4400 psi"),
            pressure("4400 psi"),
            word("strap", true),
            word("seal", true),
        ],
    }
}

/// A proving check: all of it, and the bench test.
pub fn proving(unit: &str, id: Uuid) -> Check {
    let mut c = check(unit, id);
    c.purpose = Purpose::Proving;
    c.answers.push(word("bench", true));
    c
}

/// Puts an answer in the place of the one at the same step.
pub fn say(mut check: Check, answer: Answer) -> Check {
    check.answers.retain(|a| a.step != answer.step);
    check.answers.push(answer);
    check
}

/// A department: ada administers, olga is an officer, tom a technician for `a` and not for `b`,
/// tia a technician for nothing, ana and ben are crew.
pub struct House {
    pub dir: TempDir,
    pub store: Store,
    pub intake: Intake,
    pub clock: Clock,
    ids: AtomicU64,
}

/// An empty database with a way in, at noon.
pub async fn empty(dir: TempDir) -> House {
    let clock = Clock::at(NOON);
    let store = Store::open(dir.path(), Uuid::from_u128(1)).await.unwrap();
    let (intake, _) = Intake::start(store.clone(), clock.clone());
    House { dir, store, intake, clock, ids: AtomicU64::new(1) }
}

/// The department with units 1 to 4 in use, facepiece F1 and cylinder C1.
pub async fn house() -> House {
    let h = empty(folder()).await;
    for (id, roles, qualified) in [
        ("ada", &["administrator"][..], &[][..]),
        ("olga", &["officer"], &[]),
        ("tom", &["technician"], &["f"]),
        ("tia", &["technician"], &[]),
        ("ana", &["crew"], &[]),
        ("ben", &["crew"], &[]),
    ] {
        let owned = |s: &[&str]| s.iter().map(|s| (*s).to_owned()).collect();
        let body = Register::Member { id: id.to_owned(), roles: owned(roles), qualified: owned(qualified) };
        h.console("register", &body).await.unwrap();
    }
    h.desk("rules", "ada", &RulesInForce { text: SMALL.to_owned(), again: Vec::new(), grace_hours: None })
        .await
        .unwrap();
    for unit in ["1", "2", "3", "4"] {
        h.register_unit(unit, "a", true).await;
    }
    let f1 = Register::Facepiece { number: "F1".to_owned(), size: "medium".to_owned() };
    h.desk("register", "ada", &f1).await.unwrap();
    let c1 = Register::Cylinder { number: "C1".to_owned(), rated: "4500 psi".parse().unwrap() };
    h.desk("register", "ada", &c1).await.unwrap();
    h
}

impl House {
    pub fn now(&self) -> Millis {
        self.clock.now()
    }

    pub fn pass(&self, time: Millis) {
        self.clock.set(self.now() + time);
    }

    /// An id that no other record of this house has.
    pub fn id(&self) -> Uuid {
        Uuid::from_u128(0x1_0000 + u128::from(self.ids.fetch_add(1, Ordering::Relaxed)))
    }

    /// Leaves ids to a house that this one was copied from.
    pub fn skip_ids(&self, count: u64) {
        self.ids.fetch_add(count, Ordering::Relaxed);
    }

    pub async fn hand_in(&self, bytes: Vec<u8>, origin: Origin) -> Result<Receipt, IntakeError> {
        self.intake.submit(bytes, origin).await
    }

    pub async fn console(&self, kind: &str, body: &impl Serialize) -> Result<Receipt, IntakeError> {
        self.hand_in(bytes(kind, self.id(), self.now(), None, body), Origin::Console).await
    }

    /// A desk record with its signature proven.
    pub async fn desk(&self, kind: &str, by: &str, body: &impl Serialize) -> Result<Receipt, IntakeError> {
        self.hand_in(bytes(kind, self.id(), self.now(), Some(by), body), Origin::Desk).await
    }

    /// A field record from a tablet, its signature proven.
    pub async fn field(&self, kind: &str, by: &str, body: &impl Serialize) -> RecordRef {
        let bytes = bytes(kind, self.id(), self.now(), Some(by), body);
        let r = self.hand_in(bytes, Origin::Tablet { proven: Some(by.to_owned()) }).await.unwrap();
        RecordRef { id: r.id, digest: r.digest }
    }

    pub async fn check(&self, by: &str, check: Check) -> RecordRef {
        let id = check.run;
        let bytes = bytes("check", id, self.now(), Some(by), &check);
        let r = self.hand_in(bytes, Origin::Tablet { proven: Some(by.to_owned()) }).await.unwrap();
        assert_ne!(r.status, Status::AlreadyStored);
        RecordRef { id: r.id, digest: r.digest }
    }

    /// A proving check of a unit, without a fault.
    pub async fn prove(&self, unit: &str) -> RecordRef {
        self.check("tom", proving(unit, self.id())).await
    }

    pub async fn register_unit(&self, unit: &str, profile: &str, in_use: bool) {
        let body = Register::Unit {
            number: unit.to_owned(),
            profile: profile.to_owned(),
            cadence: Cadence::EachShift,
            in_use,
            serials: BTreeMap::new(),
        };
        self.desk("register", "ada", &body).await.unwrap();
    }

    /// Enters serials, editions and a flow test: what a new unit is accepted with.
    pub async fn labelled(&self, unit: &str, profile: &str) {
        for slot in Slot::ALL {
            let names = vec!["Brindle part".to_owned()];
            let approval = Register::Approval { profile: profile.to_owned(), slot, names };
            self.desk("register", "ada", &approval).await.unwrap();
            self.desk("fitting", "tom", &entered(unit, slot)).await.unwrap();
        }
        self.desk("upkeep", "tom", &tested(unit)).await.unwrap();
    }

    pub async fn standing(&self, asset: &Asset) -> Standing {
        let clock = self.store.department().await.unwrap().clock;
        self.store.standing(asset, &clock, self.now()).await.unwrap()
    }

    pub async fn state(&self, unit: &str) -> State {
        self.standing(&Asset::unit(unit)).await.state
    }

    /// Keys of the grounds open on an asset, of this kind.
    pub async fn open(&self, asset: &Asset, kind: &str) -> Vec<String> {
        let standing = self.standing(asset).await;
        let keys = standing.grounds.into_iter().map(|g| g.raise.key);
        keys.filter(|k| k.starts_with(&format!("{kind}/"))).collect()
    }

    /// Everything that was handed in, decoded, in order.
    pub async fn logbook(&self) -> Vec<Record> {
        logbook(&self.store).await
    }

    pub async fn verified(&self) {
        let report = verify(&self.store, self.now(), None, Depth::Tables).await.unwrap();
        assert!(report.problems.is_empty(), "{report}");
    }
}

pub async fn logbook(store: &Store) -> Vec<Record> {
    let rows = store.rows_after(i64::MIN, i64::MAX).await.unwrap();
    rows.iter().map(|r| decode(r.read().unwrap().bytes).unwrap()).collect()
}

/// All records weighed anew.
pub fn account(records: &[Record]) -> Account {
    let fields = records.iter().filter(|r| matches!(r.body, Body::Field(_)));
    let desk: Vec<&Record> = records.iter().filter(|r| matches!(r.body, Body::Desk(_))).collect();
    Account::of(fields, &desk)
}

/// A return of the gauge's finding, as it should be.
pub fn return_of(unit: &str, clears: Vec<String>, proving: RecordRef) -> Return {
    Return {
        asset: Asset::unit(unit),
        clears,
        proving,
        worked_on: vec![Part::Gauge],
        bench_test: Some("bench sheet 12".to_owned()),
        remedy: "gauge exchanged".to_owned(),
        reproduced: String::new(),
        second_signer: None,
    }
}

/// A part's label, as it was found on a unit.
pub fn entered(unit: &str, slot: Slot) -> Fitting {
    let part = Component {
        name: "Brindle part".to_owned(),
        serial: format!("{unit}-{}", slot.id()),
        edition: "2018".to_owned(),
        ..Component::default()
    };
    let unit = unit.to_owned();
    Fitting { unit, slot, out: None, part: Some(part), was_there: true, why: String::new() }
}

/// A flow test, passed on the day of [`NOON`].
pub fn tested(unit: &str) -> Upkept {
    Upkept {
        asset: Asset::unit(unit),
        work: Work::FlowTest,
        on: "2026-06-09".parse().unwrap(),
        passed: true,
        reference: "bench sheet 1".to_owned(),
        until: None,
        note: String::new(),
    }
}

pub fn clearing(asset: Asset, clears: Vec<String>) -> Clearing {
    Clearing { asset, clears, why: "done".to_owned() }
}

pub fn about(asset: Asset) -> TakenOut {
    TakenOut { asset, why: "in the member's words".to_owned() }
}

pub fn settlement(id: Uuid, variants: &[Digest], accepted: Option<Digest>) -> Settlement {
    Settlement { id, variants: variants.to_vec(), accepted, why: "asked both".to_owned() }
}

/// A correction of a check that nobody has corrected yet: the wrong unit, or the gauges misread.
pub fn correction(of: RecordRef, right_unit: Option<(&str, &str)>) -> Correction {
    let misread = if right_unit.is_none() { vec!["gauges".to_owned()] } else { Vec::new() };
    let right_unit = right_unit.map(|(u, p)| (u.to_owned(), p.to_owned()));
    Correction { of, replaces: Vec::new(), misread, right_unit, why: "wrong unit".to_owned() }
}

/// The words of a refusal.
pub fn refused(outcome: Result<Receipt, IntakeError>) -> String {
    match outcome.unwrap_err() {
        IntakeError::Refused(r) => r.say,
        other => panic!("not a refusal: {other}"),
    }
}

/// The words with which a database is not opened.
pub async fn not_opened(dir: &Path) -> StoreError {
    Store::open(dir, Uuid::from_u128(2)).await.unwrap_err()
}

/// The program, with nothing of ours in its environment.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_airmuster"));
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("AIRMUSTER_") {
            command.env_remove(name);
        }
    }
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// Runs the program with this on its standard input.
pub fn run(args: &[&str], input: &[u8]) -> Ran {
    fed(program().args(args), input)
}

/// As [`run`], for a command that is set up already.
pub fn fed(command: &mut Command, input: &[u8]) -> Ran {
    use std::io::Write as _;
    let mut child = command.stdin(Stdio::piped()).spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    std::thread::scope(|s| {
        // It may end without reading everything.
        s.spawn(move || drop(stdin.write_all(input)));
        Ran::from(child.wait_with_output().unwrap())
    })
}

/// What a run of the program came to.
#[derive(Debug)]
pub struct Ran {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl From<Output> for Ran {
    fn from(o: Output) -> Self {
        Self {
            code: o.status.code(),
            out: String::from_utf8(o.stdout).unwrap(),
            err: String::from_utf8(o.stderr).unwrap(),
        }
    }
}

impl Ran {
    pub fn ok(self) -> String {
        assert_eq!(self.code, Some(0), "{self:?}");
        self.out
    }

    /// Failed with this exit code and these words, and with nothing that only a programmer can read.
    pub fn failed(&self, code: i32, words: &str) {
        assert_eq!(self.code, Some(code), "{self:?}");
        assert!(self.err.contains(words), "{words:?} is not in {self:?}");
        assert!(!self.err.contains("panicked"), "{self:?}");
    }
}

pub fn path(dir: &TempDir) -> &str {
    dir.path().to_str().unwrap()
}

/// A connection of the test's own to a database file, as someone who holds the file has it.
pub async fn attacker(dir: &Path) -> sqlx::SqliteConnection {
    use sqlx::ConnectOptions as _;
    let db = sqlx::sqlite::SqliteConnectOptions::new().filename(dir.join(FILE)).foreign_keys(false);
    db.connect().await.unwrap()
}

/// A database of the program that knew the migrations up to this one, and nothing in it.
pub async fn at_migration(dir: &Path, last: i64) -> sqlx::SqliteConnection {
    use sqlx::ConnectOptions as _;
    static MIGRATOR: sqlx::migrate::Migrator = sqlx::migrate!("./migrations");
    let db = sqlx::sqlite::SqliteConnectOptions::new().filename(dir.join(FILE)).create_if_missing(true);
    let mut db = db.foreign_keys(false).connect().await.unwrap();
    MIGRATOR.run_direct(Some(last), &mut db, false).await.unwrap();
    db
}

/// Closes a connection, so that everything is in the one file.
pub async fn leave(db: sqlx::SqliteConnection) {
    use sqlx::Connection as _;
    db.close().await.unwrap();
}

pub async fn sql(db: &mut sqlx::SqliteConnection, sql: &str) {
    sqlx::raw_sql(sqlx::AssertSqlSafe(sql)).execute(db).await.unwrap_or_else(|e| panic!("{sql}: {e}"));
}
