//! What an earlier program has written is opened, migrated, read and judged as before, for ever.
//!
//! `tests/data/at-NNNN.sql` holds a database as the program left it when its last migration had that
//! number, with a record of every kind that there was; `at-NNNN.json` what stood then. A change that
//! makes this fail would make it fail at every department too, so a sample is never written over. One of
//! the newest program is added before each release: `cargo test --test it write_sample -- --ignored`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use airmuster::service::Origin;
use airmuster::service::verify::{Depth, verify};
use airmuster::store::{FILE, Store};
use airmuster_domain::record::{
    Accepted, AirSample, Asset, Condition, Digest, Fill, Outcome, Place, RecordRef, Register, RulesInForce,
    Signed, Stage, TicketStage, Used, Worked,
};
use airmuster_domain::rules::Purpose;
use serde::{Deserialize, Serialize};
use sqlx::Row as _;
use sqlx::migrate::Migrator;
use uuid::Uuid;

use super::common::{
    House, LATER, MINUTE, NOON, about, account, at_migration, attacker, bytes, check, clearing, correction,
    folder, gauges, house, leave, logbook, pressure, proving, return_of, say, settlement, sql, tested, word,
};

static MIGRATOR: Migrator = sqlx::migrate!("./migrations");

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

/// The samples, by the last migration that each knows.
fn samples() -> Vec<i64> {
    let names = std::fs::read_dir(data("")).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap());
    let number = |n: String| n.strip_prefix("at-")?.strip_suffix(".sql")?.parse().ok();
    let mut found: Vec<i64> = names.filter_map(number).collect();
    found.sort_unstable();
    found
}

fn newest() -> i64 {
    MIGRATOR.iter().map(|m| m.version).max().unwrap()
}

#[tokio::test]
async fn a_database_of_each_earlier_program_is_kept_opens_verifies_and_stands_as_it_did() {
    let samples = samples();
    assert!(samples.len() >= 2 && samples[0] == 2, "{samples:?}");
    for last in samples {
        let dir = folder();
        let mut db = at_migration(dir.path(), last).await;
        sql(&mut db, &std::fs::read_to_string(data(&format!("at-{last:04}.sql"))).unwrap()).await;
        leave(db).await;

        let store = Store::open(dir.path(), Uuid::from_u128(9)).await.unwrap();
        let report = verify(&store, THEN, None, Depth::Tables).await.unwrap();
        assert!(report.problems.is_empty(), "{last}: {report}");
        assert!(report.records > 40);
        let stood = std::fs::read_to_string(data(&format!("at-{last:04}.json"))).unwrap();
        let stood: BTreeMap<String, Stood> = serde_json::from_str(&stood).unwrap();
        assert_eq!(standings(&store).await, stood, "{last}");
        let anew = account(&logbook(&store).await);
        for (asset, stood) in stood {
            let state = anew.standing(&asset.parse().unwrap(), THEN).state;
            assert_eq!(state.words(), stood.state, "{last}: {asset}");
        }
        assert_eq!(store.names().await.unwrap()["ana"], "A. Sample");
        let records = store.head().await.unwrap().seq;
        store.close().await;

        // As it was before, under a name of its own, for the program that made it.
        let kept = std::fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().path());
        let kept = kept.filter(|p| p.to_str().unwrap().contains("before-migration-")).collect::<Vec<_>>();
        if last == newest() {
            assert_eq!(kept, Vec::<PathBuf>::new(), "nothing was changed");
            continue;
        }
        assert_eq!(kept.len(), 1, "{last}: {kept:?}");
        let old = folder();
        std::fs::copy(&kept[0], old.path().join(FILE)).unwrap();
        let mut db = attacker(old.path()).await;
        let of = |sql: &'static str| sqlx::query_scalar::<_, i64>(sql);
        assert_eq!(of("select max(version) from _sqlx_migrations").fetch_one(&mut db).await.unwrap(), last);
        assert_eq!(of("select count(*) from logbook").fetch_one(&mut db).await.unwrap(), records);
    }
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
    h.desk("rules", "ada", &RulesInForce { text: LATER.to_owned(), again: Vec::new(), grace_hours: None })
        .await
        .unwrap();
    let mut write = h.store.begin().await.unwrap();
    write.set_person("ana", "A. Sample", None).await.unwrap();
    write.commit().await.unwrap();
}

/// What later programs have besides.
async fn since(h: &House) {
    let s = str::to_owned;
    let day = |text: &str| text.parse::<chrono::NaiveDate>().unwrap();
    let register = [
        serde_json::json!({ "what": "countersigning", "required": false }),
        serde_json::json!({ "what": "facepiece_model", "number": "F1", "make": "Maker A", "model": "One", "style": "full" }),
        serde_json::json!({ "what": "cylinder_marks", "number": "C1", "marks": {
            "volume_ml": 6800, "spec": "permit-carbon", "made": "2019-03", "requalified": "2024-03", "serial": "S-1" } }),
        serde_json::json!({ "what": "source", "id": "bank", "name": "Cascade", "station": "one" }),
        serde_json::json!({ "what": "period", "work": "battery", "only": "", "months": 6, "lapse": "said" }),
        serde_json::json!({ "what": "qualification", "member": "tom", "family": "f", "until": "2028-03-31", "reference": "course 3" }),
        serde_json::json!({ "what": "tablet", "id": "bay", "name": "Bay", "station": "one" }),
        serde_json::json!({ "what": "rotation", "turns": ["A", "B", "C"], "first": NOON }),
        serde_json::json!({ "what": "cylinder", "number": "C2", "rated": "300 bar" }),
    ];
    for entry in register {
        h.desk("register", "ada", &entry).await.unwrap();
    }
    h.desk("upkeep", "tom", &tested("2")).await.unwrap();
    let sample = AirSample {
        source: s("bank"),
        on: day("2026-06-01"),
        oxygen: 2090,
        oil: 10,
        monoxide: 8,
        dioxide: 420,
        odour: false,
        reference: s("laboratory 7"),
    };
    h.desk("air_sample", "tom", &sample).await.unwrap();
    let pressure = "4500 psi".parse().unwrap();
    let fill = Fill { cylinder: s("C1"), source: s("bank"), pressure, celsius: Some(21) };
    h.desk("fill", "tom", &fill).await.unwrap();
    let notice = serde_json::json!({ "number": "N-1", "title": "Displays", "source": "a letter", "what": "look at each",
        "by": "2026-12-01", "reach": { "kind": "unit", "slot": "display", "from": "D-1", "to": "D-9" } });
    h.desk("notice", "tom", &notice).await.unwrap();
    let photo = serde_json::json!({ "asset": "unit:2", "photo": "0".repeat(64), "step": "strap" });
    h.field("photo", "ana", &photo).await;
}

#[tokio::test]
#[ignore = "writes a sample of the program as it is now, before a release"]
async fn write_sample() {
    let name = |ending: &str| data(&format!("at-{:04}.{ending}", newest()));
    assert!(!name("sql").exists(), "a sample is never written over");
    let h = house().await;
    everything(&h).await;
    since(&h).await;
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
    let mut out = format!(
        "-- A database as the program left it with its migrations up to {}. See tests/it/old.rs.\n",
        newest()
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
    std::fs::write(name("sql"), out).unwrap();
    std::fs::write(name("json"), serde_json::to_string_pretty(&stood).unwrap() + "\n").unwrap();
}
