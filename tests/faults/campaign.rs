//! Many tablets, one network, and a server that is killed at random moments.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use airmuster_domain::record::decode;
use faultproxy::{Fake, Mode, Proxy, Rule};
use rand::rngs::StdRng;
use rand::{Rng as _, SeedableRng as _};

use super::history::{Found, History, compare};
use super::line::Line;
use super::site::{Site, from_env};
use super::tablet::{Progress, Tablet, Trust};

/// A request's longest wait. Shorter than the longest delay, so that some are given up and arrive later.
const PATIENCE: Duration = Duration::from_millis(700);
const LONGEST_DELAY: Duration = Duration::from_millis(900);
/// Everything is in this long after the last kill, or never.
const AFTERWARDS: Duration = Duration::from_mins(3);

/// What goes wrong, of a hundred requests.
const FAULTS: [(Mode, u32); 15] = [
    (Mode::Pass, 38),
    (Mode::Refuse, 6),
    (Mode::Blackhole, 3),
    (Mode::CutBeforeReply, 10),
    (Mode::CutInsideReply, 10),
    (Mode::Delay, 6),
    (Mode::DeliverAgain, 10),
    (Mode::SlowUpload, 3),
    (Mode::Instead(Fake::LoginPage), 2),
    (Mode::Instead(Fake::EmptyObject), 2),
    (Mode::Instead(Fake::NoContent), 2),
    (Mode::Instead(Fake::Redirect), 2),
    (Mode::Instead(Fake::ServerError), 2),
    (Mode::Instead(Fake::WrongId), 2),
    (Mode::Instead(Fake::WrongHash), 2),
];

struct Plan {
    tablets: usize,
    records: u64,
    kills: u64,
    faults: Rule,
    seed: u64,
}

/// Kills the server at a random moment of its life: while it starts, or once it has taken in a few
/// more records. Whether it had taken in any.
async fn live_and_die(site: &Site, progress: &Progress, few: u64, rng: &mut StdRng) -> bool {
    let before = progress.received.load(Ordering::Relaxed);
    let goal = before + rng.random_range(1..=few);
    let mut server = site.spawn();
    if rng.random_ratio(1, 6) {
        tokio::time::sleep(Duration::from_millis(rng.random_range(0..150))).await;
    } else {
        server.listening().await.unwrap_or_else(|()| panic!("it does not start: {}", site.log()));
        let since = Instant::now();
        while progress.received.load(Ordering::Relaxed) < goal && since.elapsed() < Duration::from_secs(10) {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        tokio::time::sleep(Duration::from_micros(rng.random_range(0..15_000))).await;
    }
    let alive = server.kill().await;
    assert!(alive, "it had ended by itself: {}", site.log());
    progress.received.load(Ordering::Relaxed) > before
}

async fn run(plan: Plan) {
    let since = Instant::now();
    println!("seed {}: set AIRMUSTER_SEED to it to draw the same again", plan.seed);
    let mut rng = StdRng::seed_from_u64(plan.seed);
    let site = Site::new().await;
    let proxy = Proxy::start(site.address(), plan.seed).await.unwrap();
    proxy.set(plan.faults).await;
    let progress = Arc::new(Progress::default());
    let share = plan.records.div_ceil(plan.tablets as u64);
    let tablets: Vec<_> = (1..=plan.tablets)
        .map(|number| {
            let line = Line::new(proxy.address(), PATIENCE);
            tokio::spawn(Tablet::new(number, rng.random(), line, Trust::Receipt, &progress).run(share))
        })
        .collect();

    let few = (2 * plan.records / (plan.kills + 1)).max(2);
    let mut killed_at_work = 0;
    for _ in 0..plan.kills {
        killed_at_work += u64::from(live_and_die(&site, &progress, few, &mut rng).await);
    }
    progress.enough.store(true, Ordering::Relaxed);
    let server = site.start().await;
    let watch = tokio::spawn({
        let progress = Arc::clone(&progress);
        async move {
            tokio::time::sleep(AFTERWARDS).await;
            progress.give_up.store(true, Ordering::Relaxed);
        }
    });
    let mut histories = Vec::new();
    let mut repeats = 0;
    for tablet in tablets {
        let (history, repeated) = tablet.await.unwrap();
        repeats += repeated;
        histories.push(history);
    }
    watch.abort();
    server.stop().await;
    let counts = proxy.counts();
    drop(proxy);

    check(&site, &histories).await;
    let numbered: u64 = histories.iter().map(|h| h.numbers).sum();
    assert!(numbered >= plan.records, "only {numbered} records");
    assert!(unheard(&histories) > 0, "no answer was lost");
    assert!(killed_at_work * 2 >= plan.kills, "only {killed_at_work} of {} died at work", plan.kills);
    println!(
        "{numbered} records of {} tablets, {} kills ({killed_at_work} at work), {repeats} requests repeated \
         by the client's own connection, in {:.1} s",
        plan.tablets,
        plan.kills,
        since.elapsed().as_secs_f64()
    );
    println!("requests by what became of them: {}", counts.to_json()["requests"]);
    println!("{} records were there before their tablet heard of it", unheard(&histories));
    println!("the server heard {} requests and answered {}", counts.reached("POST", "/"), counts.replies);
}

/// Records that were stored without their tablet hearing of it: the answer was lost.
fn unheard(histories: &[History]) -> usize {
    let entries = histories.iter().flat_map(|h| &h.entries);
    entries.filter(|e| e.receipts.first().is_some_and(|r| r["status"] == "already_stored")).count()
}

/// Nothing is wrong, and nothing is left over.
async fn check(site: &Site, histories: &[History]) {
    let (rows, epoch) = site.logbook().await;
    let found = Found { rows, epoch, set_up: site.set_up.clone() };
    let wrongs = compare(histories, &found);
    assert!(wrongs.0.is_empty(), "{wrongs}\n{}", site.log());
    for entry in histories.iter().flat_map(|h| &h.entries) {
        let said = String::from_utf8_lossy(&entry.bytes[..entry.bytes.len().min(400)]);
        assert!(!entry.waiting, "still on the tablet: {said}\n{}", site.log());
        let a_tablets = decode(&entry.bytes).is_ok_and(|r| r.envelope.kind != "retired");
        assert_eq!(entry.refused, !a_tablets, "only what is no record of a tablet is refused: {said}");
    }
    site.verified().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn no_fault_of_the_network_and_no_kill_loses_doubles_or_changes_a_record() {
    run(Plan {
        tablets: 8,
        records: from_env("AIRMUSTER_FAULT_RECORDS", 200),
        kills: from_env("AIRMUSTER_FAULT_KILLS", 6),
        faults: Rule::drawn(&FAULTS).unwrap().slow(LONGEST_DELAY),
        seed: from_env("AIRMUSTER_SEED", 20_261_125),
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn whatever_was_acknowledged_under_load_is_there_after_a_kill() {
    run(Plan {
        tablets: 24,
        records: from_env("AIRMUSTER_FAULT_RECORDS", 200),
        kills: from_env("AIRMUSTER_FAULT_KILLS", 6).div_ceil(2),
        faults: Mode::Pass.into(),
        seed: from_env("AIRMUSTER_SEED", 4),
    })
    .await;
}
