//! A department's own data from tables: all of it or nothing, once however often it comes, and
//! nothing that a file can hold brings the program down.

use std::collections::BTreeMap;
use std::path::Path;

use airmuster::clock::Clock;
use airmuster::service::exchange::{ALL, Dates, Plan};
use airmuster::service::intake::Beside;
use airmuster::service::verify::{Depth, verify};
use airmuster::service::{Intake, Origin};
use airmuster::store::Store;
use airmuster_domain::record::{Asset, Cadence, Register};
use airmuster_domain::standing::State;
use rand::rngs::StdRng;
use rand::{Rng as _, SeedableRng as _};
use uuid::Uuid;

use super::common::{NOON, check, folder, gauges, house, path, run, say};

/// A small department in tables, as a spreadsheet somewhere in Europe saves them.
const TABLES: [(&str, &str); 8] = [
    ("stations.csv", "\u{feff}id;name\r\nmill;Millrace\r\nhill;Hilltop\r\n"),
    ("rigs.csv", "id;name;station\r\nengine-2;Engine 2;mill\r\nladder-1;Ladder 1;hill\r\n"),
    ("seats.csv", "id;rig;name;kit\r\ne2-officer;engine-2;Officer;\r\ne2-pack;engine-2;Rescue pack;x\r\n"),
    (
        "units.csv",
        "number;profile;cadence;in use;seat;spare at;away;serial regulator\r\n\
         117;us-4500-third;Each shift;yes;e2-officer;;;RG-1\r\n\
         142;us-4500-third;weekly;no;;mill;;\r\n150;en-300-bar;monthly;yes;;;Bench;\r\n",
    ),
    ("facepieces.csv", "number;size;make;model;style;with unit\r\nF-1;medium;Maker A;Model 1;full;117\r\n"),
    ("cylinders.csv", "number;rated;with unit\r\nC-1;4500 psi;117\r\nC-2;\"300 bar\";\r\n"),
    (
        "members.csv",
        "id;name;roles;qualified\r\nm-1;Ada Ruiz;administrator officer;\r\n\
         m-2;Tomas Özil;technician;us-open-circuit-third\r\n",
    ),
    (
        "checks.csv",
        "unit;date;time;by;result;remark\r\n117;03/04/2026;07:05;m-1;good;strap a little worn\r\n",
    ),
];

fn write_tables(dir: &Path) {
    for (name, text) in TABLES {
        std::fs::write(dir.join(name), text).unwrap();
    }
}

fn files() -> Vec<(String, Vec<u8>)> {
    TABLES.iter().map(|(n, t)| ((*n).to_owned(), t.as_bytes().to_vec())).collect()
}

async fn take_in(store: &Store, clock: &Clock, files: &[(String, Vec<u8>)]) -> Plan {
    let plan = Plan::of(store, clock.now(), Dates::DayFirst, files).await.unwrap();
    if plan.problems().is_empty() {
        let (intake, writer) = Intake::start(store.clone(), clock.clone());
        Plan::of(store, clock.now(), Dates::DayFirst, files)
            .await
            .unwrap()
            .take_in(&intake, clock, None, &Origin::Console)
            .await
            .unwrap();
        drop(intake);
        writer.await.unwrap();
    }
    plan
}

#[tokio::test]
async fn tables_are_taken_in_whole_and_a_second_time_changes_nothing() {
    let (dir, clock) = (folder(), Clock::at(NOON));
    let store = Store::open(dir.path(), Uuid::from_u128(1)).await.unwrap();
    let plan = take_in(&store, &clock, &files()).await;
    assert_eq!(plan.problems(), []);
    let head = store.head().await.unwrap();
    // Rows, what the facepiece is, and where five things are, less the name that is kept apart.
    assert_eq!(head.seq, 2 + 2 + 2 + 3 + 1 + 1 + 2 + 2 + 1 + 5);
    let unit = store.unit("117").await.unwrap().unwrap();
    assert_eq!(unit.cadence, Cadence::EachShift);
    assert_eq!(unit.serials, BTreeMap::from([("regulator".to_owned(), "RG-1".to_owned())]));
    assert_eq!(store.seats(None).await.unwrap()[0].asset.as_deref(), Some("unit:117"));
    assert_eq!(store.with("117").await.unwrap().cylinder.as_deref(), Some("C-1"));
    assert_eq!(store.names().await.unwrap()["m-2"], "Tomas Özil");
    let department = store.department().await.unwrap().clock;
    let standing = |n| Asset::unit(n);
    let state = store.standing(&standing("117"), &department, NOON).await.unwrap().state;
    assert_eq!(state, State::CheckDue, "a check on paper does not count as one here");
    let new = store.standing(&standing("142"), &department, NOON).await.unwrap();
    assert!(new.grounds.iter().any(|g| g.raise.key.starts_with("not-accepted/")), "{new:?}");

    clock.set(NOON + 60_000);
    let again = take_in(&store, &clock, &files()).await;
    assert!(again.is_empty(), "{again}");
    assert_eq!(store.head().await.unwrap().hash, head.hash);

    // A changed row is one entry; a unit that was in use is not asked to be accepted again.
    let mut changed = files();
    let units = String::from_utf8(changed[3].1.clone()).unwrap().replace("Each shift;yes", "weekly;no");
    changed[3].1 = units.into_bytes();
    take_in(&store, &clock, &changed).await;
    assert_eq!(store.head().await.unwrap().seq, head.seq + 1);
    let state = store.standing(&standing("117"), &department, NOON).await.unwrap().state;
    assert_eq!(state, State::CheckDue);
    let report = verify(&store, clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

#[tokio::test]
async fn one_problem_and_nothing_is_taken_in() {
    let (dir, clock) = (folder(), Clock::at(NOON));
    let store = Store::open(dir.path(), Uuid::from_u128(1)).await.unwrap();
    let mut files = files();
    files[6].1.extend_from_slice(b"m-3;Zo;captain;\r\n");
    let plan = take_in(&store, &clock, &files).await;
    let told: Vec<String> = plan.problems().iter().map(ToString::to_string).collect();
    let say = "“captain” is not a role; write crew, officer, technician or administrator";
    assert_eq!(told, [format!("members.csv, row 4, roles: {say}")]);
    assert_eq!(store.head().await.unwrap().seq, 0);
}

fn beside(names: &[(String, String)]) -> Beside {
    Beside { names: names.to_vec(), ..Beside::default() }
}

#[tokio::test]
async fn what_is_refused_half_way_takes_everything_before_it_back_names_too() {
    let (dir, clock) = (folder(), Clock::at(NOON));
    let store = Store::open(dir.path(), Uuid::from_u128(1)).await.unwrap();
    let (intake, writer) = Intake::start(store.clone(), clock.clone());
    let record = |entry: &Register| super::common::bytes("register", clock.id(), NOON, None, entry);
    let id = |s: &str| s.to_owned();
    let station = record(&Register::Station { id: id("mill"), name: id("Millrace"), order: 1 });
    let rig = record(&Register::Rig { id: id("e"), name: id("E"), station: id("nowhere"), order: 1 });
    let names = vec![(id("m-1"), id("Ada Ruiz"))];
    let together = vec![station.clone(), rig, station.clone()];
    let (nth, e) = intake.submit_all(together, beside(&names), &Origin::Console).await.unwrap_err();
    assert_eq!(nth, 1, "{e}");
    assert_eq!(store.head().await.unwrap().seq, 0);
    assert!(store.stations().await.unwrap().is_empty() && store.names().await.unwrap().is_empty());
    intake.submit_all(vec![station], beside(&names), &Origin::Console).await.unwrap();
    assert_eq!(store.stations().await.unwrap().len(), 1);
    assert_eq!(store.names().await.unwrap().len(), 1);
    drop(intake);
    writer.await.unwrap();
}

#[tokio::test]
async fn the_command_looks_first_takes_in_and_gives_templates_that_can_be_taken_in() {
    let (dir, tables, blank) = (folder(), folder(), folder());
    write_tables(tables.path());
    let import = |args: &[&str]| run(&[&["import", "--data", path(&dir)], args].concat(), b"");
    import(&[path(&tables)]).failed(2, "there is no database in");
    Store::open(dir.path(), Uuid::from_u128(1)).await.unwrap().close().await;
    import(&[path(&tables)])
        .failed(2, "checks.csv, row 2, date: say whether the day or the month comes first");
    import(&[path(&folder())]).failed(2, "there are no CSV files in");
    let dates = ["--dates", "day-month"];
    let looked = import(&[&[path(&tables), "--dry-run"], &dates[..]].concat()).ok();
    assert!(looked.starts_with("nothing is wrong; it would take in 20 entries"), "{looked}");
    assert!(run(&["head", "--data", path(&dir)], b"").ok().starts_with("0 "));
    let taken = import(&[&[path(&tables)], &dates[..]].concat()).ok();
    assert!(taken.starts_with("taken in: 20 entries of the register, 2 names, 1 past check;"), "{taken}");
    let again = import(&[&[path(&tables)], &dates[..]].concat()).ok();
    assert!(
        again.starts_with("taken in: 0 entries of the register, 0 names, 0 past checks; 16 rows are"),
        "{again}"
    );

    let told = run(&["import", "--templates", path(&blank)], b"").ok();
    assert!(told.contains("units.csv: A unit") && told.contains("profile: which kind"), "{told}");
    import(&[path(&blank)]).ok();
    run(&["import", "--templates", path(&blank)], b"").failed(2, "stations.csv cannot be written");
    run(&["verify", "--data", path(&dir)], b"").ok();
}

/// What a file can be spoiled with.
const JUNK: [&[u8]; 16] = [
    b"\"",
    b"\"\"\"",
    b"\n\r\n\r",
    b";;;;",
    b",,,,,,,,,",
    b"\0",
    b"\xff\xfe",
    b"\xf0\x9f\x98\x80",
    b"=cmd|' /C calc'!A0",
    b"\t@SUM(1)",
    b"../../etc/passwd",
    b"');drop table logbook;--",
    b"<script>alert(1)</script>",
    b"\xe2\x80\xae\xe2\x80\x8b",
    b"99999999999999999999999999",
    b"NaN psi",
];

#[tokio::test]
async fn no_file_brings_the_program_down_or_comes_in_by_half() {
    let (dir, clock) = (folder(), Clock::at(NOON));
    let store = Store::open(dir.path(), Uuid::from_u128(1)).await.unwrap();
    let mut rng = StdRng::seed_from_u64(8);
    let (mut refused, mut taken) = (0, 0);
    for _ in 0..400 {
        let mut files = if rng.random_bool(0.2) {
            ALL.iter().map(|t| (t.file(), t.blank().into_bytes())).collect()
        } else {
            files()
        };
        for _ in 0..rng.random_range(1..3) {
            let nth = rng.random_range(0..files.len());
            let bytes = &mut files[nth].1;
            let at = rng.random_range(0..=bytes.len());
            match rng.random_range(0..6) {
                0 => bytes.truncate(at),
                1 => drop(bytes.splice(at..at, JUNK[rng.random_range(0..JUNK.len())].iter().copied())),
                2 => bytes.iter_mut().skip(at).take(3).for_each(|b| *b = rng.random()),
                3 => drop(bytes.splice(at..at, vec![b'x'; rng.random_range(1..70_000)])),
                4 => drop(bytes.drain(..at)),
                _ => files[nth].0 = format!("{}{at}", files[nth].0),
            }
        }
        let before = store.head().await.unwrap();
        let plan = take_in(&store, &clock, &files).await;
        let after = store.head().await.unwrap();
        if plan.problems().is_empty() {
            taken += 1;
        } else {
            refused += 1;
            assert_eq!(before, after, "nothing of a file with a problem is there");
            for p in plan.problems() {
                assert!(!p.say.is_empty() && p.to_string().len() < 1_500, "{p}");
                assert!(!p.to_string().contains(char::is_control), "{p:?}");
            }
        }
    }
    assert!(refused > 100 && taken > 20, "{refused} refused, {taken} taken in");
    let report = verify(&store, clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

async fn standings_of(store: &Store, now: i64) -> String {
    let clock = store.department().await.unwrap().clock;
    let mut out = Vec::new();
    for asset in store.assets().await.unwrap() {
        out.push(store.standing(&asset, &clock, now).await.unwrap());
    }
    serde_json::to_string(&out).unwrap()
}

#[tokio::test]
async fn everything_goes_out_and_comes_back_with_the_same_head_and_the_same_standings() {
    let h = house().await;
    h.check("ana", check("1", h.id())).await;
    h.check("ana", say(check("2", h.id()), gauges("4400 psi", "3900 psi"))).await;
    h.field("note", "ben", &super::common::about(Asset::unit("3"))).await;
    let mut write = h.store.begin().await.unwrap();
    for member in ["ada", "olga", "tom", "tia", "ben"] {
        write.set_person(member, &format!("{member} Wick"), None).await.unwrap();
    }
    write.set_person("ana", "Ana =Wick", Some(("a PIN's hash", 0))).await.unwrap();
    let digest = airmuster_domain::record::Digest;
    let pictures: Vec<_> = (1..=2)
        .map(|n| {
            let bytes = format!("picture {n}").into_bytes();
            (digest([n; 32]), airmuster::store::Picture { width: 4, height: 3, bytes })
        })
        .collect();
    for (name, picture) in &pictures {
        write.keep_picture(name, picture, NOON).await.unwrap();
    }
    write.commit().await.unwrap();
    let zip = h.dir.path().join("all.zip");
    let args = ["export", "--data", path(&h.dir), zip.to_str().unwrap()];
    let told = run(&args, b"").ok();
    let head = h.store.head().await.unwrap();
    assert!(told.contains(&format!("head {}", head.hash)), "{told}");
    run(&args, b"").failed(1, "is there already");
    let left =
        std::fs::read_dir(h.dir.path()).unwrap().filter_map(|e| e.unwrap().file_name().into_string().ok());
    assert!(left.into_iter().all(|n| n.starts_with("airmuster.db") || n == "all.zip"));

    let other = folder();
    let back = run(&["import", "--data", path(&other), zip.to_str().unwrap()], b"").ok();
    assert!(back.contains(&format!("head {}", head.hash)) && !back.contains(&head.epoch), "{back}");
    let store = Store::open(other.path(), Uuid::from_u128(7)).await.unwrap();
    assert_eq!(standings_of(&store, NOON).await, standings_of(&h.store, NOON).await);
    assert_eq!(store.entries().await.unwrap(), h.store.entries().await.unwrap());
    for (name, picture) in &pictures {
        assert_eq!(store.picture(name).await.unwrap().as_ref(), Some(picture));
    }
    assert_eq!(store.tickets().await.unwrap(), h.store.tickets().await.unwrap());
    assert!(
        store.names().await.unwrap().is_empty(),
        "what people are called is only in an export that was asked for"
    );
    run(&["import", "--data", path(&other), zip.to_str().unwrap()], b"").failed(1, "is there already");

    // Every file is read without this program; names and PINs are in none.
    let mut archive = zip::ZipArchive::new(std::fs::File::open(&zip).unwrap()).unwrap();
    let names: Vec<String> = archive.file_names().map(|n| n.unwrap().into_owned()).collect();
    for file in ["README.txt", "logbook.jsonl", "register.json", "tables/units.csv", "lists/checks.csv"] {
        assert!(names.iter().any(|n| n == file), "{names:?}");
    }
    for name in names {
        let text = std::io::read_to_string(archive.by_name(&name).unwrap()).unwrap();
        assert!(!text.contains("Wick") && !text.contains("PIN's hash"), "{name}");
        if name == "lists/checks.csv" {
            assert!(text.contains(",2,2026-06-09,12:00,ana,shift-start,complete,out_of_service,"), "{text}");
        }
    }
    let with_people = h.dir.path().join("named.zip");
    run(&["export", "--data", path(&h.dir), with_people.to_str().unwrap(), "--with-names"], b"").ok();
    let third = folder();
    run(&["import", "--data", path(&third), with_people.to_str().unwrap()], b"").ok();
    let store = Store::open(third.path(), Uuid::from_u128(7)).await.unwrap();
    assert_eq!(store.names().await.unwrap()["ana"], "Ana =Wick");
    assert_eq!(store.pin_hash("ana").await.unwrap(), None);
    // Its tables can be taken in elsewhere, and change nothing here.
    let mut archive = zip::ZipArchive::new(std::fs::File::open(&with_people).unwrap()).unwrap();
    let tables: Vec<(String, Vec<u8>)> = ALL[..7]
        .iter()
        .map(|t| {
            let text =
                std::io::read_to_string(archive.by_name(&format!("tables/{}", t.file())).unwrap()).unwrap();
            (t.file(), text.into_bytes())
        })
        .collect();
    let plan = Plan::of(&store, NOON, Dates::Unsaid, &tables).await.unwrap();
    assert_eq!(plan.problems(), []);
    assert!(plan.is_empty(), "{plan}");
}

#[tokio::test]
async fn an_export_that_was_altered_or_cut_is_not_taken_back_and_leaves_nothing() {
    let h = house().await;
    let zip = h.dir.path().join("all.zip");
    run(&["export", "--data", path(&h.dir), zip.to_str().unwrap()], b"").ok();
    let whole = std::fs::read(&zip).unwrap();
    let bad = h.dir.path().join("bad.zip");
    let refused = |bytes: &[u8]| {
        std::fs::write(&bad, bytes).unwrap();
        let other = folder();
        let ran = run(&["import", "--data", path(&other), bad.to_str().unwrap()], b"");
        assert!(ran.code == Some(1) && !ran.err.contains("panicked"), "{ran:?}");
        assert_eq!(std::fs::read_dir(other.path()).unwrap().count(), 0, "{ran:?}");
        ran.err
    };
    for part in 1..8 {
        refused(&whole[..whole.len() * part / 8]);
    }
    // Written again with one letter of one record changed, so that the ZIP itself is sound.
    let mut archive = zip::ZipArchive::new(std::fs::File::open(&zip).unwrap()).unwrap();
    let mut altered = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let names: Vec<String> = archive.file_names().map(|n| n.unwrap().into_owned()).collect();
    for name in names {
        let mut text = std::io::read_to_string(archive.by_name(&name).unwrap()).unwrap();
        if name == "logbook.jsonl" {
            text = text.replacen("medium", "Medium", 1);
        }
        altered.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        std::io::Write::write_all(&mut altered, text.as_bytes()).unwrap();
    }
    let told = refused(&altered.finish().unwrap().into_inner());
    assert!(told.contains("its link of the chain does not fit"), "{told}");
}
