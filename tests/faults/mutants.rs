//! Tests of the tests: clients that let go too early and logbooks that were tampered with are seen.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use faultproxy::{Fake, Mode, Proxy};

use super::history::{Found, History, Row, Wrong, Wrongs, compare};
use super::line::Line;
use super::site::{Server, Site};
use super::tablet::{Tablet, Trust};

/// Longer than any answer takes: nothing is to be unknown here but what was not answered.
const PATIENCE: Duration = Duration::from_secs(10);
const ENTRIES: usize = 8;

/// A site with a network before it, and how many tablets it has had.
struct Stage {
    site: Site,
    proxy: Proxy,
    tablets: usize,
}

impl Stage {
    async fn new() -> (Self, Server) {
        let site = Site::new().await;
        let server = site.start().await;
        let proxy = Proxy::start(site.address(), 1).await.unwrap();
        (Self { site, proxy, tablets: 0 }, server)
    }

    /// Tablets send what they have through a broken network, and then through one that works.
    async fn deliver(&mut self, trusts: &[Trust], broken: Mode) -> Vec<History> {
        self.proxy.set(broken).await;
        let patience = if broken == Mode::Blackhole { Duration::from_millis(50) } else { PATIENCE };
        let progress = Arc::default();
        let mut tablets = Vec::new();
        for trust in trusts {
            self.tablets += 1;
            let line = Line::new(self.proxy.address(), patience);
            let mut tablet = Tablet::new(self.tablets, self.tablets as u64, line, *trust, &progress);
            (0..ENTRIES).for_each(|_| tablet.write());
            tablets.push(tablet);
        }
        for (mode, times) in [(broken, ENTRIES), (Mode::Pass, 1000)] {
            self.proxy.set(mode).await;
            let trying = tablets.into_iter().map(|mut tablet| {
                tokio::spawn(async move {
                    tablet.keep_trying(times).await;
                    tablet
                })
            });
            let trying: Vec<_> = trying.collect();
            tablets = Vec::new();
            for tablet in trying {
                tablets.push(tablet.await.unwrap());
            }
        }
        tablets.into_iter().map(Tablet::into_history).collect()
    }

    async fn found(&self) -> Found {
        let (rows, epoch) = self.site.logbook().await;
        Found { rows, epoch, set_up: self.site.set_up.clone() }
    }
}

/// What is wrong with one tablet's history; what other tablets left in the logbook is not looked at.
fn wrongs(history: &History, found: &Found) -> Wrongs {
    let mut found = found.clone();
    found.rows.retain(|r| r.tablet == history.tablet);
    let heads = compare(std::slice::from_ref(history), &found);
    // A receipt's head is the link of whatever was stored beside it, and that was left out.
    Wrongs(heads.0.into_iter().filter(|(wrong, _)| *wrong != Wrong::Misstated).collect())
}

#[tokio::test(flavor = "multi_thread")]
async fn only_a_client_that_waits_for_id_and_hash_loses_nothing_to_any_answer() {
    let (mut stage, server) = Stage::new().await;
    let answers = Fake::ALL.into_iter().filter(|f| *f != Fake::FalseReceipt).map(Mode::Instead);
    let silences = [Mode::Refuse, Mode::Blackhole];
    let good = |m: Mode| !matches!(m, Mode::Instead(Fake::Redirect | Fake::ServerError));
    let trusts =
        [Trust::Receipt, Trust::AnyAnswer, Trust::GoodStatus, Trust::Id, Trust::Hash, Trust::Sending];
    let mut delivered = Vec::new();
    for broken in answers.chain(silences) {
        for (trust, history) in trusts.into_iter().zip(stage.deliver(&trusts, broken).await) {
            delivered.push((trust, broken, history));
        }
    }
    server.stop().await;
    let found = stage.found().await;
    for (trust, broken, history) in delivered {
        let silent = silences.contains(&broken);
        let loses = match trust {
            Trust::Receipt => false,
            Trust::AnyAnswer => !silent,
            Trust::GoodStatus => !silent && good(broken),
            Trust::Id => broken == Mode::Instead(Fake::WrongHash),
            Trust::Hash => broken == Mode::Instead(Fake::WrongId),
            Trust::Sending => true,
        };
        let wrongs = wrongs(&history, &found);
        assert_eq!(wrongs.kinds().contains(&Wrong::Lost), loses, "{trust:?} under {broken}: {wrongs}");
        assert!(loses || wrongs.0.is_empty(), "{trust:?} under {broken}: {wrongs}");
        assert!(history.entries.iter().all(|e| !e.waiting), "{trust:?} under {broken} is stuck");
    }
    stage.site.verified().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_acknowledges_what_it_does_not_store_is_seen() {
    let (mut stage, server) = Stage::new().await;
    let histories = stage.deliver(&[Trust::Receipt], Mode::Instead(Fake::FalseReceipt)).await;
    server.stop().await;
    let kinds = compare(&histories, &stage.found().await).kinds();
    assert!(kinds.contains(&Wrong::Lost) && kinds.contains(&Wrong::Misstated), "{kinds:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_logbook_that_was_tampered_with_is_seen() {
    use Wrong::{Altered, Doubled, Gap, Lost, Misstated, Unexpected};

    let (mut stage, server) = Stage::new().await;
    let histories = stage.deliver(&[Trust::Receipt], Mode::CutBeforeReply).await;
    server.stop().await;
    let found = stage.found().await;
    assert_eq!(compare(&histories, &found), Wrongs::default());
    // One that the server added nothing to, with another behind it that names it.
    let alone =
        |id: &str| found.rows.iter().filter(|r| String::from_utf8_lossy(&r.bytes).contains(id)).count() == 1;
    let numbered =
        |r: &Row| r.tablet == "t1" && r.number.is_some_and(|n| n.cast_unsigned() < histories[0].numbers);
    let at = found.rows.iter().position(|r| numbered(r) && alone(&r.id)).unwrap();
    let tampered = |with: &dyn Fn(&mut Vec<Row>)| {
        let mut found = found.clone();
        with(&mut found.rows);
        compare(&histories, &found).kinds()
    };
    let seen = |kinds: &[Wrong]| kinds.iter().copied().collect::<BTreeSet<_>>();
    let gone = |rows: &mut Vec<Row>| drop(rows.remove(at));
    assert_eq!(tampered(&gone), seen(&[Lost, Misstated, Gap]), "a record is gone");
    let twice = |rows: &mut Vec<Row>| {
        let again = rows[at].clone();
        rows.insert(at, again);
    };
    assert_eq!(tampered(&twice), seen(&[Doubled]), "a record is there twice");
    let changed = |rows: &mut Vec<Row>| rows[at].bytes.push(b' ');
    assert_eq!(tampered(&changed), seen(&[Altered, Lost, Misstated, Gap]), "a space more");
    let from_nowhere = |rows: &mut Vec<Row>| {
        let mut row = rows[at].clone();
        row.id = "0190a8c0-0000-7000-8000-00000000dead".to_owned();
        rows.push(row);
    };
    assert_eq!(tampered(&from_nowhere), seen(&[Unexpected]), "a record that nobody handed in");
    let moved = |rows: &mut Vec<Row>| rows[at].seq += 1;
    assert_eq!(tampered(&moved), seen(&[Misstated]), "another place than was acknowledged");
    let relinked = |rows: &mut Vec<Row>| rows.iter_mut().for_each(|r| r.hash[0] ^= 1);
    assert_eq!(tampered(&relinked), seen(&[Misstated]), "another chain than was acknowledged");
}
