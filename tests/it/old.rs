//! What an earlier program has written is opened, migrated, read and judged as before, for ever.
//!
//! `tests/data/first.sql` holds a database as the program left it when it had the migrations up to
//! [`FIRST`], with a record of every kind; `first.json` what stood then. A change that makes this
//! fail would make it fail at every department too. Before the first release, and only then, both
//! may be written anew: `cargo test --test it write_first -- --ignored`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use airmuster::service::Origin;
use airmuster::service::verify::{Depth, verify};
use airmuster::store::{FILE, Store};
use airmuster_domain::record::{
    Accepted, Asset, Condition, Digest, Outcome, Place, RecordRef, Register, RulesInForce, Signed, Stage,
    TicketStage, Used, Worked,
};
use airmuster_domain::rules::Purpose;
use serde::{Deserialize, Serialize};
use sqlx::migrate::Migrator;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions as _, Row as _};
use uuid::Uuid;

use super::common::{
    House, LATER, MINUTE, NOON, about, account, attacker, bytes, check, clearing, correction, folder, gauges,
    house, leave, logbook, pressure, proving, return_of, say, settlement, sql, word,
};

static MIGRATOR: Migrator = sqlx::migrate!("./migrations");

/// The last migration that the sample knows.
const FIRST: i64 = 2;
/// When the standings of the sample were written down.
const THEN: i64 = NOON + 30 * MINUTE;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Stood {
    state: String,
    grounds: Vec<String>,
}

async fn standings(store: &Store) -> BTreeMap<String, Stood> {
    let clock = store.department().await.unwrap().clock;
    let mut out = BTreeMap::new();
    for asset in store.assets().await.unwrap() {
        let s = store.standing(&asset, &clock, THEN).await.unwrap();
        let mut grounds: Vec<String> = s.grounds.iter().map(|g| g.raise.key.clone()).collect();
        grounds.sort();
        out.insert(asset.to_string(), Stood { state: s.state.words().to_owned(), grounds });
    }
    out
}

#[tokio::test]
async fn a_database_of_the_first_program_opens_verifies_and_stands_as_it_did() {
    let dir = folder();
    let db = SqliteConnectOptions::new().filename(dir.path().join(FILE)).create_if_missing(true);
    let mut db = db.foreign_keys(false).connect().await.unwrap();
    MIGRATOR.run_direct(Some(FIRST), &mut db, false).await.unwrap();
    let first = std::fs::read_to_string(data("first.sql")).unwrap();
    sql(&mut db, &first).await;
    leave(db).await;

    let store = Store::open(dir.path(), Uuid::from_u128(9)).await.unwrap();
    let report = verify(&store, THEN, None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
    assert!(report.records > 40);
    let stood: BTreeMap<String, Stood> =
        serde_json::from_str(&std::fs::read_to_string(data("first.json")).unwrap()).unwrap();
    assert_eq!(standings(&store).await, stood);
    let anew = account(&logbook(&store).await);
    for (asset, stood) in stood {
        assert_eq!(anew.standing(&asset.parse().unwrap(), THEN).state.words(), stood.state, "{asset}");
    }
    assert_eq!(store.names().await.unwrap()["ana"], "A. Sample");
}

/// A record of every kind, and every kind of ground open on something.
async fn everything(h: &House) {
    let s = str::to_owned;
    let unit = |n: &str| Asset::unit(n);
    for n in 5..=14 {
        h.register_unit(&n.to_string(), "a", n != 13).await;
    }
    for entry in [
        Register::Department {
            name: s("Sample district"),
            zone: s("America/Denver"),
            shift_start: s("07:00"),
            shift_hours: 24,
            early_minutes: 60,
            grace_minutes: 90,
        },
        Register::Station { id: s("one"), name: s("Station one"), order: 1 },
        Register::Rig { id: s("e1"), name: s("Engine 1"), station: s("one"), order: 1 },
        Register::Seat { id: s("e1-officer"), rig: s("e1"), name: s("Officer"), kit: false, order: 1 },
        Register::Holder { asset: unit("1"), place: Place::Seat { seat: s("e1-officer") } },
        Register::Holder { asset: unit("2"), place: Place::Spare { station: s("one") } },
        Register::Holder { asset: Asset::cylinder("C1"), place: Place::With { unit: s("1") } },
    ] {
        h.desk("register", "ada", &entry).await.unwrap();
    }
    h.check("ana", check("1", h.id())).await;
    h.check("ana", say(check("2", h.id()), gauges("300 bar", "3800 psi"))).await;
    h.check("ana", say(check("3", h.id()), pressure("3900 psi"))).await;
    let mut seal = word("seal", false);
    seal.item = Some(s("F1"));
    h.check("ana", say(check("4", h.id()), seal)).await;
    for outcome in [Outcome::BrokenOff, Outcome::Stopped] {
        let mut part = say(check("5", h.id()), gauges("4400 psi", "3900 psi"));
        part.outcome = outcome;
        h.hand_in(bytes("check", h.id(), h.now(), None, &part), Origin::Console).await.unwrap();
    }
    h.field("taken_out", "ben", &about(unit("6"))).await;
    h.field("hold", "ben", &about(unit("7"))).await;
    h.field("note", "ben", &about(unit("1"))).await;
    for (n, condition) in
        ["8", "9", "10"].into_iter().zip([Condition::Clean, Condition::Soiled, Condition::Contaminated])
    {
        h.field("used", "ana", &Used { unit: s(n), what: s("a drill"), condition, ..Used::default() }).await;
    }
    h.field("of-a-later-program", "ana", &serde_json::json!({ "unit": "11" })).await;
    let id = h.id();
    for at in [h.now(), h.now() + 1] {
        h.hand_in(bytes("check", id, at, Some("ana"), &check("12", id)), Origin::Console).await.unwrap();
    }
    h.desk("retired", "ada", &about(unit("14"))).await.unwrap();
    told(h).await;
}

/// And what the desk says about it.
async fn told(h: &House) {
    let s = str::to_owned;
    let unit = |n: &str| Asset::unit(n);
    // Each kind of thing that the desk says, on units of its own.
    for n in 21..=26 {
        h.register_unit(&n.to_string(), "a", n != 24).await;
    }
    h.check("ana", say(check("21", h.id()), gauges("4400 psi", "3900 psi"))).await;
    let ticket = h.store.tickets_of(&unit("21")).await.unwrap()[0].ticket;
    let stage = TicketStage { ticket, stage: Stage::OnTheBench, note: s("looked"), sent: None };
    h.desk("ticket_stage", "tom", &stage).await.unwrap();
    let work = Worked { ticket, text: s("gauge exchanged"), parts: s("one gauge"), readings: String::new() };
    h.desk("worked", "tom", &work).await.unwrap();
    let proof = h.check("tom", proving("21", h.id())).await;
    let found = h.open(&unit("21"), "finding").await;
    h.desk("return", "tom", &return_of("21", found, proof)).await.unwrap();
    h.field("hold", "ben", &about(unit("22"))).await;
    let held = h.open(&unit("22"), "held").await;
    h.desk("release", "ada", &clearing(unit("22"), held)).await.unwrap();
    let soiled = Used { unit: s("22"), what: s("a fire"), condition: Condition::Soiled, ..Used::default() };
    h.field("used", "ana", &soiled).await;
    let dirty = h.open(&unit("22"), "soiled").await;
    h.desk("cleaned", "tom", &clearing(unit("22"), dirty)).await.unwrap();
    let wrong = h.check("ana", check("23", h.id())).await;
    h.desk("correction", "olga", &correction(wrong, Some(("25", "a")))).await.unwrap();
    let mut acceptance = check("24", h.id());
    acceptance.purpose = Purpose::Acceptance;
    h.labelled("24", "a").await;
    let accepted = h.check("tom", acceptance).await;
    h.desk("accepted", "tom", &Accepted { unit: s("24"), check: accepted }).await.unwrap();
    for proven_later in [true, false] {
        let id = h.id();
        let made = bytes("check", id, h.now(), Some("ana"), &check("26", id));
        let digest = Digest::of(&made);
        h.hand_in(made, Origin::Tablet { proven: None }).await.unwrap();
        if proven_later {
            h.desk("signature", "ana", &Signed { of: RecordRef { id, digest } }).await.unwrap();
        } else {
            h.desk("settlement", "olga", &settlement(id, &[digest], None)).await.unwrap();
        }
    }
    let ahead = h.id();
    let dated = bytes("check", ahead, h.now() + 60 * MINUTE, Some("ana"), &check("5", ahead));
    h.hand_in(dated, Origin::Tablet { proven: Some(s("ana")) }).await.unwrap();
    h.desk("rules", "ada", &RulesInForce { text: LATER.to_owned(), again: Vec::new() }).await.unwrap();
    let mut write = h.store.begin().await.unwrap();
    write.set_person("ana", "A. Sample", None).await.unwrap();
    write.commit().await.unwrap();
}

#[tokio::test]
#[ignore = "writes the sample anew, which only before the first release may be done"]
async fn write_first() {
    let h = house().await;
    everything(&h).await;
    h.verified().await;
    let stood = standings(&h.store).await;
    h.store.close().await;
    let mut db = attacker(h.dir.path()).await;
    let tables: Vec<String> = sqlx::query_scalar(
        "select name from sqlite_schema where type = 'table' and name not like 'sqlite_%' and name not like '_sqlx_%'",
    )
    .fetch_all(&mut db)
    .await
    .unwrap();
    let mut out = String::from(
        "-- A database as the program left it with its first migrations. See tests/it/old.rs.\n",
    );
    for table in tables {
        let columns: Vec<String> = sqlx::query_scalar("select name from pragma_table_info($1)")
            .bind(&table)
            .fetch_all(&mut db)
            .await
            .unwrap();
        let quoted: Vec<String> = columns.iter().map(|c| format!("quote(\"{c}\")")).collect();
        let rows = format!("select {} from {table}", quoted.join(" || ', ' || "));
        for row in sqlx::query(sqlx::AssertSqlSafe(rows)).fetch_all(&mut db).await.unwrap() {
            let values: String = row.get(0);
            writeln!(out, "insert into {table} ({}) values ({values});", columns.join(", ")).unwrap();
        }
    }
    std::fs::write(data("first.sql"), out).unwrap();
    std::fs::write(data("first.json"), serde_json::to_string_pretty(&stood).unwrap() + "\n").unwrap();
}
