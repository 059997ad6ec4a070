//! The program is killed while it writes, again and again, on the same database.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::Stdio;
use std::sync::Mutex;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

use airmuster::service::intake::{DESK, Origin};
use airmuster::service::verify::{Depth, verify};
use airmuster::store::Store;
use airmuster_domain::record::{Asset, Condition, Digest, Outcome, Used};
use rand::rngs::StdRng;
use rand::{Rng as _, SeedableRng as _};
use uuid::Uuid;

use super::common::{
    HOUR, NOON, about, bytes, check, empty, fed, from_env, gauges, house, on_disk, path, pressure, program,
    say,
};

/// What was handed over and what came back, over all lives of the program.
#[derive(Default)]
struct History {
    sent: BTreeMap<Uuid, Vec<u8>>,
    acknowledged: HashMap<Uuid, (Digest, i64)>,
}

impl History {
    /// What a tablet would send again: it has heard nothing of it.
    fn unknown(&self) -> Vec<Vec<u8>> {
        let unknown = self.sent.iter().filter(|(id, _)| !self.acknowledged.contains_key(id));
        unknown.map(|(_, b)| b.clone()).collect()
    }

    fn acknowledge(&mut self, receipt: &str) {
        let r: serde_json::Value = serde_json::from_str(receipt).unwrap();
        let id = r["id"].as_str().unwrap().parse().unwrap();
        let place = (r["digest"].as_str().unwrap().parse().unwrap(), r["seq"].as_i64().unwrap());
        let before = self.acknowledged.insert(id, place);
        assert!(before.is_none_or(|b| b == place), "{id} has two places: {before:?} and {place:?}");
    }
}

/// Something that a tablet might hand over next. A fifth raises, and so makes the server write a
/// record of its own beside it.
fn something(rng: &mut StdRng) -> (Uuid, Vec<u8>) {
    let id = Uuid::from_u128(rng.random());
    let unit = rng.random_range(1..=5).to_string();
    let at = NOON + rng.random_range(-HOUR..HOUR);
    let by = Some("ana");
    let made = match rng.random_range(0..10) {
        0 => bytes("taken_out", id, at, by, &about(Asset::unit(&unit))),
        1 => bytes("check", id, at, by, &say(check(&unit, id), gauges("4400 psi", "3900 psi"))),
        2 => {
            let mut part = say(check(&unit, id), gauges("4400 psi", "3900 psi"));
            part.outcome = Outcome::BrokenOff;
            bytes("check", id, at, None, &part)
        }
        3 => bytes("check", id, at, by, &say(check(&unit, id), pressure("4000 psi"))),
        4 => {
            let used =
                Used { unit, what: "drill".to_owned(), condition: Condition::Soiled, ..Used::default() };
            bytes("used", id, at, by, &used)
        }
        5 => bytes("note", id, at, by, &about(Asset::unit(&unit))),
        _ => bytes("check", id, at, by, &check(&unit, id)),
    };
    (id, made)
}

/// Feeds the program until `when` says so, then kills it. Whether it had begun to acknowledge.
fn live_and_die(dir: &Path, history: &mut History, rng: &mut StdRng) -> bool {
    let after_receipts = if rng.random_ratio(1, 5) { 0 } else { rng.random_range(1..60) };
    let patience = Duration::from_micros(rng.random_range(0..90_000));
    let mut child = program()
        .args(["submit", "--data", dir.to_str().unwrap(), "-"])
        .stdin(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let stdout = BufReader::new(child.stdout.take().unwrap());
    let (heard, receipts) = mpsc::channel();
    let again = history.unknown();
    let mut fresh = StdRng::seed_from_u64(rng.random());
    let sent = Mutex::new(Vec::new());
    let mut got = 0;
    std::thread::scope(|s| {
        s.spawn(|| {
            for old in again {
                if writeln!(stdin, "{}", String::from_utf8(old).unwrap()).is_err() {
                    return;
                }
            }
            loop {
                let (id, new) = something(&mut fresh);
                let line = String::from_utf8(new.clone()).unwrap();
                sent.lock().unwrap().push((id, new));
                if writeln!(stdin, "{line}").is_err() {
                    return;
                }
            }
        });
        s.spawn(move || {
            let mut stdout = stdout;
            let mut line = String::new();
            // A line that was cut off in the middle was not heard.
            while stdout.read_line(&mut line).is_ok() && line.ends_with('\n') {
                if heard.send(std::mem::take(&mut line)).is_err() {
                    return;
                }
            }
        });
        let mut until = (after_receipts == 0).then(|| Instant::now() + patience);
        loop {
            let left = until.map_or(Duration::from_mins(1), |u| u.saturating_duration_since(Instant::now()));
            match receipts.recv_timeout(left) {
                Ok(receipt) => {
                    history.acknowledge(&receipt);
                    got += 1;
                    if got == after_receipts {
                        until = Some(Instant::now() + patience / 30);
                    }
                }
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => panic!("it ended by itself: {:?}", child.wait()),
            }
        }
        child.kill().unwrap();
        child.wait().unwrap();
        for receipt in &receipts {
            history.acknowledge(&receipt);
            got += 1;
        }
    });
    history.sent.extend(sent.into_inner().unwrap());
    got > 0
}

/// Lost, doubled, altered and unexpected must all be empty, and the chain must hold.
async fn nothing_is_wrong(dir: &Path, history: &History) {
    let store = Store::open(dir, Uuid::from_u128(9)).await.unwrap();
    let report = verify(&store, NOON, None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
    let mut seen = HashSet::new();
    for row in store.rows_after(0, i64::MAX).await.unwrap() {
        let row = row.read().unwrap();
        let id: Uuid = row.id.parse().unwrap();
        assert!(seen.insert(id), "{id} is there twice");
        match history.sent.get(&id) {
            Some(bytes) => assert!(*bytes == row.bytes, "{id} was altered"),
            None => assert!(row.tablet == DESK || row.kind == "register", "{id} was never sent: {row:?}"),
        }
        if let Some((digest, seq)) = history.acknowledged.get(&id) {
            assert_eq!((digest.0.as_slice(), *seq), (row.digest, row.seq), "{id} moved");
        }
    }
    let lost: Vec<_> = history.acknowledged.keys().filter(|id| !seen.contains(*id)).collect();
    assert!(lost.is_empty(), "acknowledged and not there: {lost:?}");
    store.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kill_at_any_moment_loses_nothing_that_was_acknowledged() {
    let lives = from_env("AIRMUSTER_KILLS", 30);
    let seed = from_env("AIRMUSTER_SEED", 20_260_609);
    println!("seed {seed}");
    let mut rng = StdRng::seed_from_u64(seed);
    let dir = on_disk();
    // The department of the other tests, so that what is killed also keeps grounds and tickets.
    let department = house().await;
    let made = empty(tempfile::tempdir_in(dir.path()).unwrap()).await;
    for row in department.store.rows_after(0, 1000).await.unwrap() {
        let row = row.read().unwrap();
        let origin = if row.kind == "rules" { Origin::Desk } else { Origin::Console };
        made.hand_in(row.bytes.to_vec(), origin).await.unwrap();
    }
    made.store.close().await;
    let dir = made.dir.path();
    let mut history = History::default();
    for row in department.store.rows_after(0, 1000).await.unwrap() {
        let row = row.read().unwrap();
        history.sent.insert(row.id.parse().unwrap(), row.bytes.to_vec());
    }
    let mut killed_at_work = 0;
    for _ in 0..lives {
        killed_at_work += u64::from(live_and_die(dir, &mut history, &mut rng));
        nothing_is_wrong(dir, &history).await;
    }
    assert!(killed_at_work * 2 > lives, "only {killed_at_work} of {lives} were killed while writing");
    // What is still unknown is sent once more, and then everything is there.
    let rest = history.unknown().iter().flat_map(|b| [b.as_slice(), b"\n"].concat()).collect::<Vec<u8>>();
    let out = fed(program().args(["submit", "--data", dir.to_str().unwrap(), "-"]), &rest).ok();
    out.lines().for_each(|l| history.acknowledge(l));
    assert!(history.unknown().is_empty());
    nothing_is_wrong(dir, &history).await;
    println!("{} records over {lives} lives, {killed_at_work} of them killed at work", history.sent.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kill_while_the_database_is_made_leaves_one_that_can_be_used() {
    let mut rng = StdRng::seed_from_u64(from_env("AIRMUSTER_SEED", 7));
    for _ in 0..8 {
        let dir = on_disk();
        let mut child =
            program().args(["submit", "--data", path(&dir), "-"]).stdin(Stdio::piped()).spawn().unwrap();
        std::thread::sleep(Duration::from_micros(rng.random_range(2_000..70_000)));
        child.kill().unwrap();
        child.wait().unwrap();
        let (id, record) = something(&mut rng);
        let mut history = History::default();
        let out = fed(program().args(["submit", "--data", path(&dir), "-"]), &record).ok();
        history.sent.insert(id, record);
        out.lines().for_each(|l| history.acknowledge(l));
        assert!(history.unknown().is_empty());
        nothing_is_wrong(dir.path(), &history).await;
    }
}
