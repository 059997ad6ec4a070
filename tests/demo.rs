//! The demo district: what its boards, bench and readings show, and that all of it came in through
//! intake. Everything in it is invented.
#![expect(clippy::unwrap_used, reason = "what fails here fails the test")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use airmuster::clock::Clock;
use airmuster::demo::{DemoError, fill, fill_days};
use airmuster::service::pin::{Cost, Pins};
use airmuster::service::verify::{Depth, verify};
use airmuster::service::{Intake, Origin, Status};
use airmuster::store::{Store, UnitRow};
use airmuster_domain::Millis;
use airmuster_domain::quantity::PressureUnit;
use airmuster_domain::record::{Place, Register, Stage, Stamp, encode};
use airmuster_domain::standing::{Standing, State};

/// 2026-11-25 10:20 in Denver, by `date -d '2026-11-25 10:20 MST' +%s`.
const MID_MORNING: Millis = 1_795_627_200_000;
/// 2025-03-03 10:00 in Denver, by `date -u -d '2025-03-03 17:00' +%s`.
const LONG_AGO: Millis = 1_741_021_200_000;
const HOUR: Millis = 3_600_000;

async fn open(dir: &Path, clock: &Clock) -> Store {
    Store::open(dir, clock.id()).await.unwrap()
}

async fn standings(store: &Store, now: Millis) -> BTreeMap<String, Standing> {
    let clock = store.department().await.unwrap().clock;
    let all = store.unit_standings(&clock, now).await.unwrap();
    all.into_iter().map(|(a, s)| (a.number, s)).collect()
}

fn having(all: &BTreeMap<String, Standing>, state: State) -> Vec<&str> {
    all.iter().filter(|(_, s)| s.state == state).map(|(n, _)| n.as_str()).collect()
}

/// Nothing counts as in service without a good check that speaks for it, or out of it without a ground.
/// What is only to be done by a day stands there too, and takes nothing out.
fn assert_grounded(all: &BTreeMap<String, Standing>) {
    for (number, s) in all {
        let takes_out = s.grounds.iter().any(|g| g.state != State::InService);
        assert_eq!(s.state != State::InService, takes_out, "unit {number}");
        assert!(s.state != State::InService || s.last_check.is_some(), "unit {number}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_district_is_whole_and_its_story_is_told() {
    let dir = tempfile::tempdir().unwrap();
    let clock = Clock::at(MID_MORNING);
    let store = open(dir.path(), &clock).await;
    let district = fill(&store, &clock).await.unwrap();
    assert!(district.handed_in > 15_000, "{} records", district.handed_in);

    let report = verify(&store, MID_MORNING, None, Depth::Tables).await.unwrap();
    assert_eq!(report.problems, Vec::<String>::new());
    assert_eq!(store.needing_attention().await.unwrap(), Vec::new());

    boards(&store).await;
    bench(&store).await;
    readings(&store).await;
    people(&store, &clock, &district.welcome("127.0.0.1:8460".parse().unwrap())).await;
}

async fn boards(store: &Store) {
    let all = standings(store, MID_MORNING).await;
    assert_eq!(having(&all, State::Retired), ["211"]);
    assert_eq!(having(&all, State::Held), ["112"]);
    assert_eq!(having(&all, State::OutOfService), ["104", "110", "117", "203", "206", "302"]);
    assert_eq!(having(&all, State::PutRight), ["108", "303"]);
    assert_eq!(having(&all, State::CheckDue), ["205", "305", "306", "307", "309"]);
    assert_eq!(all.len(), 39);
    assert_grounded(&all);

    // Everything arrived when it was written, but for the one record that the story has come late.
    let late = store.late_pulls().await.unwrap();
    assert_eq!(late.iter().map(|l| l.asset.number.as_str()).collect::<Vec<_>>(), ["206"]);

    let seats = store.seats(None).await.unwrap();
    let rigs: BTreeSet<&str> = seats.iter().map(|s| s.rig.as_str()).collect();
    assert_eq!((store.stations().await.unwrap().len(), rigs.len()), (3, 8));
    // The reserve rig stands empty, and every other place has something in it.
    assert!(seats.iter().all(|s| s.asset.is_some() != (s.rig == "reserve-5")), "{seats:?}");
    let kits = |kind: &str| {
        seats.iter().filter(|s| s.kit && s.asset.as_deref().is_some_and(|a| a.starts_with(kind))).count()
    };
    assert_eq!((kits("unit:"), kits("cylinder:")), (2, 14));
    for unit in store.units().await.unwrap() {
        let with = store.with(&unit.number).await.unwrap();
        assert!(with.facepiece.is_some() && with.cylinder.is_some(), "unit {} is not whole", unit.number);
        assert!(unit.place.is_some() && !unit.serials.is_empty(), "unit {}", unit.number);
    }
}

async fn bench(store: &Store) {
    let open = store.open_tickets().await.unwrap();
    let found: BTreeMap<String, Stage> = open.iter().map(|t| (t.asset.to_string(), t.stage)).collect();
    let told = [
        ("facepiece:F-306", Stage::Reported),
        ("unit:104", Stage::ReadyToProve),
        ("unit:110", Stage::WaitingForParts),
        ("unit:203", Stage::OnTheBench),
        ("unit:206", Stage::Reported),
        ("unit:302", Stage::Reported),
    ];
    assert_eq!(found, told.map(|(a, s)| (a.to_owned(), s)).into());
    for t in open {
        assert!(t.opened_at <= t.stage_at && t.stage_at < MID_MORNING, "{t:?}");
        assert!(t.opened_at > MID_MORNING - 10 * 24 * HOUR, "{t:?}");
    }
    let closed = store.tickets_of(&"unit:109".parse().unwrap()).await.unwrap();
    assert_eq!(closed.iter().map(|t| t.stage).collect::<Vec<_>>(), [Stage::Returned]);
    assert!(store.ticket_entries(closed[0].ticket).await.unwrap().len() >= 5);
}

/// The middle of the last (or first) thirty readings, so that one misread gauge says nothing.
fn middle(mut readings: Vec<i64>) -> i64 {
    readings.sort_unstable();
    readings[readings.len() / 2]
}

async fn readings(store: &Store) {
    let psi = |p: airmuster_domain::quantity::Pressure| p.amount().thousandths_of(PressureUnit::Psi) / 1000;
    let (mut drifting, mut weak) = (Vec::new(), Vec::new());
    for UnitRow { number, .. } in store.units().await.unwrap() {
        let mut checks = store.checks_of(&number, 10_000).await.unwrap();
        checks.retain(|c| c.gauges.is_some() && c.trip.is_some());
        if checks.len() < 60 {
            continue;
        }
        let apart = |c: &airmuster::store::CheckRow| c.gauges.map_or(0, |(a, b)| psi(b) - psi(a));
        let trip = |c: &airmuster::store::CheckRow| c.trip.map_or(0, psi);
        let (new, old) = (&checks[..30], &checks[checks.len() - 30..]);
        if (middle(new.iter().map(apart).collect()) - middle(old.iter().map(apart).collect())).abs() > 150 {
            drifting.push(number.clone());
        }
        if (middle(new.iter().map(trip).collect()) - middle(old.iter().map(trip).collect())).abs() > 50 {
            weak.push(number);
        }
    }
    assert_eq!(drifting, ["107", "203", "305"]);
    assert_eq!(weak, ["302"]);
    let last = store.checks_of("203", 1).await.unwrap();
    assert_eq!(last[0].verdict.as_deref(), Some("out_of_service"));
    assert!(last[0].gauges.is_some_and(|(a, b)| psi(a) - psi(b) == 490));
}

async fn people(store: &Store, clock: &Clock, welcome: &str) {
    let people = store.people().await.unwrap();
    assert_eq!(people.len(), 30);
    let names: BTreeSet<&str> = people.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names.len(), 30);
    let pins = Pins::new(store.clone(), clock.clone(), Cost::Least);
    let pin = welcome.split("PIN ").nth(1).and_then(|t| t.split(':').next()).unwrap();
    for (role, family) in [("crew", 0), ("officer", 0), ("technician", 2), ("administrator", 0)] {
        let line = welcome.lines().find(|l| l.contains(&format!("  {role}"))).or_else(|| {
            welcome.lines().find(|l| l.split_whitespace().any(|w| w.trim_end_matches(':') == role))
        });
        let id = line.unwrap().split_whitespace().next().unwrap();
        pins.check(id, pin).await.unwrap();
        let signer = store.signer(id).await.unwrap().unwrap();
        assert!(signer.roles.iter().any(|r| r.id() == role), "{id} is no {role}");
        assert_eq!(signer.qualified.len(), family, "{id}");
    }
    let junior = store.signer("m-202").await.unwrap().unwrap();
    assert!(!junior.qualified.contains("us-open-circuit-quarter"));
}

#[tokio::test(flavor = "multi_thread")]
async fn at_any_hour_the_story_stands_and_nothing_lies_in_the_future() {
    // Before a shift, just begun, within grace, past it, at night; and over a change of the clocks.
    for hours in [-5, -3, -2, -1, 13, -24 * 18] {
        let now = MID_MORNING + hours * HOUR;
        let clock = Clock::at(now);
        let dir = tempfile::tempdir().unwrap();
        let store = open(dir.path(), &clock).await;
        fill_days(&store, &clock, 21).await.unwrap();
        assert_eq!(verify(&store, now, None, Depth::Tables).await.unwrap().problems, Vec::<String>::new());
        let all = standings(&store, now).await;
        assert_grounded(&all);
        assert_eq!(having(&all, State::Held), ["112"], "{hours} h");
        assert_eq!(having(&all, State::OutOfService), ["104", "110", "117", "203", "206", "302"]);
        assert_eq!(having(&all, State::PutRight), ["108", "303"], "{hours} h");
        assert!(all["205"].state == State::CheckDue && all["309"].state == State::CheckDue, "{hours} h");
        assert!(having(&all, State::InService).len() >= 20, "{hours} h: too many checks due");
        for row in store.rows_after(0, 100_000).await.unwrap() {
            let row = row.read().unwrap();
            assert!(row.event_at < now && row.received_at < now, "record {} lies ahead", row.seq);
            assert!(row.received_at >= row.event_at, "record {} arrived before it was written", row.seq);
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn filling_again_changes_nothing_and_the_same_moment_gives_the_same_district() {
    let clock = Clock::at(MID_MORNING);
    let mut digests = Vec::new();
    for _ in 0..2 {
        let dir = tempfile::tempdir().unwrap();
        let store = open(dir.path(), &clock).await;
        fill_days(&store, &clock, 12).await.unwrap();
        let head = store.head().await.unwrap();
        assert_eq!(fill(&store, &clock).await.unwrap().handed_in, 0);
        assert_eq!(store.head().await.unwrap(), head);
        let rows = store.rows_after(0, 100_000).await.unwrap();
        // Tickets are opened by the server, with ids of its own.
        let made = rows.iter().map(|row| row.read().unwrap()).filter(|r| r.kind != "ticket_opened");
        digests.push(made.map(|r| r.digest.to_vec()).collect::<Vec<_>>());
    }
    assert!(digests[0] == digests[1] && digests[0].len() > 500);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_folder_with_other_data_or_a_broken_off_demo_is_left_alone() {
    let clock = Clock::at(MID_MORNING);
    for (name, unfinished) in [("Brindle Basin Fire District", true), ("Somebody Else's", false)] {
        let dir = tempfile::tempdir().unwrap();
        let store = open(dir.path(), &clock).await;
        let (intake, writer) = Intake::start(store.clone(), clock.clone());
        let stamp = Stamp { id: clock.id(), tablet: "desk".to_owned(), at: MID_MORNING, ..Stamp::default() };
        let body = Register::Department {
            name: name.to_owned(),
            zone: "America/Denver".to_owned(),
            shift_start: "07:00".to_owned(),
            shift_hours: 24,
            early_minutes: 90,
            grace_minutes: 90,
        };
        intake.submit(encode("register", &stamp, &body), Origin::Console).await.unwrap();
        drop(intake);
        writer.await.unwrap();
        match fill(&store, &clock).await {
            Err(DemoError::Unfinished) => assert!(unfinished),
            Err(DemoError::Others) => assert!(!unfinished),
            other => panic!("{other:?}"),
        }
        assert_eq!(store.head().await.unwrap().seq, 1);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_sample_department_comes_in_line_by_line_as_its_readme_says() {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/records");
    let clock = Clock::at(LONG_AGO);
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path(), &clock).await;
    let (intake, writer) = Intake::start(store.clone(), clock.clone());
    let mut seen = BTreeMap::new();
    for file in ["department.ndjson", "good-check.ndjson", "failing-check.ndjson", "another-facepiece.ndjson"]
    {
        let text = std::fs::read_to_string(samples.join(file)).unwrap();
        for line in text.lines() {
            let receipt = intake.submit(line.as_bytes().to_vec(), Origin::Console).await.unwrap();
            assert_eq!(receipt.status, Status::Stored, "{file}: {:?}", receipt.attention);
        }
        let states = standings(&store, LONG_AGO).await;
        seen.insert(file, ["1", "2"].map(|n| states[n].state));
    }
    drop(intake);
    writer.await.unwrap();
    assert_eq!(seen["department.ndjson"], [State::CheckDue, State::CheckDue]);
    assert_eq!(seen["good-check.ndjson"], [State::InService, State::CheckDue]);
    assert_eq!(seen["failing-check.ndjson"], [State::InService, State::OutOfService]);
    assert_eq!(seen["another-facepiece.ndjson"], [State::InService, State::OutOfService]);
    let open = store.open_tickets().await.unwrap();
    let tickets: Vec<String> = open.iter().map(|t| t.asset.to_string()).collect();
    assert_eq!(tickets, ["unit:2", "facepiece:F-1"]);
    let spare = Place::Spare { station: "north".to_owned() };
    assert_eq!(store.unit("2").await.unwrap().unwrap().place, Some(spare));
    assert_eq!(verify(&store, LONG_AGO, None, Depth::Tables).await.unwrap().problems, Vec::<String>::new());
}

#[test]
fn the_sample_answers_are_judged_as_their_first_lines_say() {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/answers");
    let mut judged = 0;
    for entry in std::fs::read_dir(samples).unwrap() {
        let path = entry.unwrap().path();
        let text = std::fs::read_to_string(&path).unwrap();
        let says = text.lines().find_map(|l| l.strip_prefix("# Verdict: ")).unwrap();
        let verdict = says.split(['.', ',']).next().unwrap();
        let command = text.lines().find_map(|l| l.strip_prefix("#     airmuster ")).unwrap();
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_airmuster"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(command.split_whitespace())
            .output()
            .unwrap();
        let said: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(said["verdict"], verdict, "{}", path.display());
        assert_eq!(said["missing"], serde_json::json!([]), "{}", path.display());
        judged += 1;
    }
    assert_eq!(judged, 3);
}
