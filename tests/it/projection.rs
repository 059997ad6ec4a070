//! What is kept beside the logbook equals what is computed from it anew, whatever happens in
//! whatever order: random histories, handed in late, twice and in several versions.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Mutex;

use airmuster::service::intake::{IntakeError, Origin};
use airmuster::service::verify::{Depth, verify};
use airmuster::store::{FILE, Store};
use airmuster_domain::Millis;
use airmuster_domain::ground::Kind;
use airmuster_domain::judge::Answer;
use airmuster_domain::record::{
    Accepted, Asset, Body, Cadence, Check, Condition, Correction, Desk, Digest, Loan, LoanEnded, Outcome,
    Part, Place, Record, RecordRef, Register, RulesInForce, Signed, Slot, Stage, TicketStage, Used, Worked,
    decode, heads,
};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::{Account, Standing};
use proptest::collection::vec;
use proptest::prelude::any;
use proptest::test_runner::{Config, FileFailurePersistence, TestCaseError, TestRunner};
use rand::rngs::StdRng;
use rand::seq::IndexedRandom as _;
use rand::{Rng as _, SeedableRng as _};
use serde::Serialize;
use tempfile::TempDir;
use uuid::Uuid;

use super::common::{
    DAY, HOUR, House, LATER, MINUTE, about, account, again, bytes, check, clearing, correction, entered,
    folder, gauges, house, logbook, pressure, proving, return_of, say, settlement, tested, word,
};

/// A history as it is being made.
struct Play {
    h: House,
    rng: StdRng,
    /// Written in the field and not yet handed in.
    waiting: Vec<(Vec<u8>, Origin)>,
    /// Handed in from the field.
    sent: Vec<(RecordRef, Vec<u8>)>,
    /// Ids of checks that were begun, or will be.
    runs: Vec<Uuid>,
    /// How often each thing was taken, to show that a run was not empty.
    taken: BTreeMap<&'static str, u32>,
}

impl Play {
    fn chance(&mut self, percent: u32) -> bool {
        self.rng.random_range(0..100) < percent
    }

    fn one<T: Clone>(&mut self, of: &[T]) -> T {
        of.choose(&mut self.rng).unwrap().clone()
    }

    fn unit(&mut self) -> String {
        self.one(&["1", "1", "1", "2", "2", "new", "strange"]).to_owned()
    }

    fn asset(&mut self) -> Asset {
        match self.rng.random_range(0..10) {
            0 => Asset::facepiece("F1"),
            1 => Asset::facepiece("F2"),
            2 => Asset::cylinder("C1"),
            _ => Asset::unit(&self.unit()),
        }
    }

    fn count(&mut self, what: &'static str) {
        *self.taken.entry(what).or_default() += 1;
    }

    /// Some of these, none or all.
    fn some(&mut self, of: Vec<String>) -> Vec<String> {
        match self.rng.random_range(0..4) {
            0 => Vec::new(),
            1 => of.into_iter().filter(|_| self.rng.random()).collect(),
            _ => of,
        }
    }

    async fn open(&self, asset: &Asset) -> Vec<(Kind, String)> {
        let standing = self.h.standing(asset).await;
        standing.grounds.into_iter().map(|g| (g.raise.kind, g.raise.key)).collect()
    }

    /// Written in the field; a third of it arrives later.
    async fn field(&mut self, kind: &'static str, id: Uuid, by: Option<&str>, body: &impl Serialize) {
        let at = self.h.now() + self.one(&[0, 0, 0, -MINUTE, -HOUR, -2 * DAY, 90_000, 10 * MINUTE]);
        let made = bytes(kind, id, at, by, body);
        let proven = if self.chance(90) { by.map(str::to_owned) } else { Some("ben".to_owned()) };
        let origin = if self.chance(10) { Origin::Console } else { Origin::Tablet { proven } };
        if self.chance(33) {
            self.waiting.push((made, origin));
        } else {
            self.deliver(made, origin).await;
        }
        self.count(kind);
    }

    async fn deliver(&mut self, made: Vec<u8>, origin: Origin) -> RecordRef {
        let receipt = self.h.hand_in(made.clone(), origin).await.unwrap();
        let name = RecordRef { id: receipt.id, digest: receipt.digest };
        self.sent.push((name, made));
        name
    }

    /// Made at the desk, or refused there; nothing else may come of it.
    async fn desk(&mut self, kind: &'static str, by: &str, body: &impl Serialize) {
        match self.h.desk(kind, by, body).await {
            Ok(_) => self.count(kind),
            Err(IntakeError::Refused(_)) => {}
            Err(e) => panic!("{kind}: {e}"),
        }
    }

    fn answers(&mut self) -> Vec<Answer> {
        let mut out = Vec::new();
        for step in ["gauges", "pressure", "strap", "seal", "bench"] {
            let (good, bad, odd) = match step {
                "gauges" => (
                    gauges("4400 psi", "4300 psi"),
                    gauges("4400 psi", "3900 psi"),
                    gauges("much", "4400 psi"),
                ),
                "pressure" => (pressure("4400 psi"), pressure("3700 psi"), pressure("full")),
                _ => (word(step, true), word(step, false), super::common::answer(step, &[])),
            };
            let item = |a: Answer, n: &str| Answer { item: Some(n.to_owned()), ..a };
            match self.rng.random_range(0..30) {
                0 => {}
                1 | 2 => out.push(bad),
                3 => out.extend([bad, again(good, 2)]),
                4 => out.extend([bad.clone(), again(bad, 2)]),
                5 if step == "seal" => out.extend([item(bad, "F1"), again(item(good, "F2"), 2)]),
                5 if step == "pressure" => out.extend([item(bad, "C1"), again(item(good, "C2"), 2)]),
                6 | 7 if step == "seal" => out.push(item(bad, "F1")),
                8 => out.push(odd),
                9 if step == "seal" => out.push(item(good, "F2")),
                _ => out.push(good),
            }
        }
        out
    }

    async fn a_check(&mut self) {
        let begun = self.runs.clone();
        let id = if !begun.is_empty() && self.chance(30) { self.one(&begun) } else { self.h.id() };
        let unit = self.unit();
        let open = self.open(&Asset::unit(&unit)).await.into_iter().map(|(_, k)| k).collect();
        let mut c = check(&unit, id);
        c.seen = self.some(open);
        if self.chance(30) {
            c.answers = self.answers();
        }
        c.purpose = self.one(&[
            Purpose::ShiftStart,
            Purpose::ShiftStart,
            Purpose::ShiftStart,
            Purpose::Proving,
            Purpose::Acceptance,
        ]);
        if c.purpose == Purpose::Proving && self.chance(80) {
            c = say(c, word("bench", true));
        }
        if self.chance(20) {
            c.profile = self.one(&["b", "bogus"]).to_owned();
        }
        if self.chance(25) {
            c.rules =
                self.one(&[Digest::of(LATER.as_bytes()), Digest::of(LATER.as_bytes()), Digest([7; 32])]);
        }
        if self.chance(30) {
            c.facepiece = Some(self.one(&["F1", "F2"]).to_owned());
        }
        if self.chance(20) {
            c.cylinder = Some("C1".to_owned());
        }
        // A part of a run has an id of its own; the run is the id of the complete check.
        c.outcome = self.one(&[
            Outcome::Complete,
            Outcome::Complete,
            Outcome::Complete,
            Outcome::BrokenOff,
            Outcome::Stopped,
        ]);
        self.runs.push(id);
        let (own, by) = match c.outcome {
            Outcome::Complete => (id, self.one(&[Some("ana"), Some("ana"), Some("tom"), None])),
            _ => (self.h.id(), None),
        };
        if c.outcome == Outcome::BrokenOff {
            c = say(c, gauges("4400 psi", "3800 psi"));
        }
        // Two checks may be begun under one id only as two versions of one record.
        self.field("check", own, by, &c).await;
    }

    /// A profile, serials, editions and a flow test, as acceptance asks for.
    async fn made_ready_for_acceptance(&mut self, unit: &str) {
        let body = Register::Unit {
            number: unit.to_owned(),
            profile: self.one(&["a", "b"]).to_owned(),
            cadence: Cadence::EachShift,
            in_use: true,
            serials: BTreeMap::new(),
        };
        self.desk("register", "ada", &body).await;
        for slot in Slot::ALL {
            for profile in ["a", "b"] {
                let names = vec!["Brindle part".to_owned()];
                let body = Register::Approval { profile: profile.to_owned(), slot, names };
                self.desk("register", "ada", &body).await;
            }
            self.desk("fitting", "tom", &entered(unit, slot)).await;
        }
        self.desk("upkeep", "tom", &tested(unit)).await;
    }

    async fn another_version(&mut self) {
        let Some((_, old)) = self.sent.choose(&mut self.rng).cloned() else { return };
        let mut record: serde_json::Value = serde_json::from_slice(&old).unwrap();
        record["client"] = format!("test {}", self.rng.random::<u16>()).into();
        if self.chance(50) {
            record["at"] = (record["at"].as_i64().unwrap() - MINUTE).into();
        }
        if self.chance(30) && record["kind"] == "check" {
            record["body"]["unit"] = self.unit().into();
        }
        let made = serde_json::to_vec(&record).unwrap();
        let proven = record["by"].as_str().map(str::to_owned);
        if self.chance(40) {
            self.waiting.push((made, Origin::Tablet { proven }));
        } else {
            self.deliver(made, Origin::Tablet { proven }).await;
        }
        self.count("another version");
    }

    /// Something with open grounds of these kinds.
    async fn with_open(&mut self, kinds: &[Kind]) -> Option<(Asset, Vec<String>)> {
        let mut all = ["1", "2", "new", "strange"].map(Asset::unit).to_vec();
        all.extend(["F1", "F2"].map(Asset::facepiece));
        all.push(Asset::cylinder("C1"));
        while !all.is_empty() {
            let asset = all.swap_remove(self.rng.random_range(0..all.len()));
            let open = self.open(&asset).await;
            let keys: Vec<String> =
                open.into_iter().filter(|(k, _)| kinds.contains(k)).map(|(_, k)| k).collect();
            if !keys.is_empty() {
                return Some((asset, keys));
            }
        }
        None
    }

    async fn a_return(&mut self) {
        let Some((asset, open)) = self.with_open(&[Kind::Finding, Kind::TakenOut]).await else { return };
        let with = self.one(&["1", "2"]).to_owned();
        let unit = if asset == Asset::unit(&asset.number) { asset.number.clone() } else { with };
        let checks: Vec<RecordRef> = self.sent.iter().map(|(n, _)| *n).collect();
        let proof = if !checks.is_empty() && self.chance(20) {
            self.one(&checks)
        } else {
            let mut c: Check = proving(&unit, self.h.id());
            if asset == Asset::facepiece(&asset.number) {
                c.facepiece = Some(asset.number.clone());
            }
            if asset == Asset::cylinder(&asset.number) {
                c.cylinder = Some(asset.number.clone());
            }
            let ahead = self.one(&[0, 0, 100_000]);
            let made = bytes("check", c.run, self.h.now() + ahead, Some("tom"), &c);
            self.deliver(made, Origin::Tablet { proven: Some("tom".to_owned()) }).await
        };
        let mut body = return_of(&unit, self.some(open), proof);
        body.asset = asset;
        match self.rng.random_range(0..5) {
            0 => (body.worked_on, body.second_signer) = (vec![], Some("ana".to_owned())),
            1 => (body.worked_on, body.bench_test) = (vec![Part::Other], None),
            _ => {}
        }
        self.desk("return", "tom", &body).await;
    }

    async fn a_word(&mut self) {
        let Some((name, _)) = self.sent.choose(&mut self.rng).cloned() else { return };
        if self.chance(30) {
            let by = self.one(&["ana", "tom"]);
            self.desk("signature", by, &Signed { of: name }).await;
            return;
        }
        if self.chance(40) {
            let right = self.one(&[None, Some(("2", "a")), Some(("1", "b")), Some(("new", "bogus"))]);
            let mut body = correction(name, right);
            // Without the one before, where there is one, it is refused.
            if self.chance(70) {
                let all = self.h.logbook().await;
                let of = |r: &'_ Record| match &r.body {
                    Body::Desk(Desk::Correction(c)) if c.of == name => Some((r.name, c.clone())),
                    _ => None,
                };
                let before: Vec<(RecordRef, Correction)> = all.iter().filter_map(of).collect();
                body.replaces = heads(before.iter().map(|(n, c)| (*n, c))).into_iter().collect();
            }
            self.desk("correction", "olga", &body).await;
            return;
        }
        let mut unsettled: Vec<Uuid> = Vec::new();
        for asset in self.h.store.assets().await.unwrap() {
            let grounds = self.h.store.grounds(&asset).await.unwrap();
            let of_a_record = |k: Kind| matches!(k, Kind::Contested | Kind::Doubted);
            unsettled.extend(grounds.iter().filter(|(r, _)| of_a_record(r.kind)).map(|(r, _)| r.from.id));
        }
        let id = if unsettled.is_empty() { name.id } else { self.one(&unsettled) };
        let variants: Vec<Digest> =
            self.h.store.variants(id).await.unwrap().iter().map(|k| k.record.name.digest).collect();
        let accepted = if variants.is_empty() || self.chance(30) { None } else { Some(self.one(&variants)) };
        self.desk("settlement", "olga", &settlement(id, &variants, accepted)).await;
    }

    async fn something(&mut self, what: u8) {
        match what % 32 {
            0..=9 => self.a_check().await,
            10 => {
                let (kind, body) = (self.one(&["taken_out", "hold", "note"]), about(self.asset()));
                self.field(kind, self.h.id(), Some("ana"), &body).await;
            }
            11 => {
                let condition = self.one(&[Condition::Clean, Condition::Soiled, Condition::Contaminated]);
                let (unit, what, after_use) = (self.unit(), "a drill".to_owned(), self.one(&[true, false]));
                let body = Used { unit, what, condition, after_use, ..Used::default() };
                self.field("used", self.h.id(), Some("ana"), &body).await;
            }
            12 => {
                let body = serde_json::json!({ "unit": self.unit() });
                self.field("blessed", self.h.id(), Some("ana"), &body).await;
            }
            13 | 14 => self.another_version().await,
            15..=17 => self.a_return().await,
            18 | 19 => self.a_word().await,
            20 | 21 => {
                if let Some((asset, held)) = self.with_open(&[Kind::Held]).await {
                    let body = clearing(asset, self.some(held));
                    self.desk("release", "ada", &body).await;
                }
                if let Some((asset, dirty)) = self.with_open(&[Kind::Soiled, Kind::Contaminated]).await {
                    let body = clearing(asset, self.some(dirty));
                    self.desk("cleaned", "tom", &body).await;
                }
            }
            22 => {
                let unit = "new".to_owned();
                if self.chance(50) {
                    self.made_ready_for_acceptance(&unit).await;
                }
                let mut c = check(&unit, self.h.id());
                c.purpose = Purpose::Acceptance;
                let made = bytes("check", c.run, self.h.now(), Some("tom"), &c);
                let check = self.deliver(made, Origin::Tablet { proven: Some("tom".to_owned()) }).await;
                self.desk("accepted", "tom", &Accepted { unit, check }).await;
            }
            23 if self.chance(20) => {
                let asset = self.asset();
                self.desk("retired", "ada", &about(asset)).await;
            }
            23 => {}
            24 => {
                let body = RulesInForce { text: LATER.to_owned(), again: Vec::new(), grace_hours: None };
                self.desk("rules", "ada", &body).await;
            }
            25 => {
                let body = Register::Unit {
                    number: self.unit(),
                    profile: self.one(&["a", "b", "bogus"]).to_owned(),
                    cadence: self.one(&[Cadence::EachShift, Cadence::Weekly, Cadence::Monthly]),
                    in_use: self.chance(50),
                    serials: BTreeMap::new(),
                };
                self.desk("register", "ada", &body).await;
            }
            26 => {
                let body = Register::Department {
                    name: "District".to_owned(),
                    zone: self.one(&["UTC", "America/Denver"]).to_owned(),
                    shift_start: self.one(&["07:00", "18:30"]).to_owned(),
                    shift_hours: self.one(&[12, 24]),
                    early_minutes: 60,
                    grace_minutes: 90,
                };
                self.desk("register", "ada", &body).await;
            }
            27 => {
                let ticket = self.rng.random_range(1..4);
                let stage = self.one(&[Stage::OnTheBench, Stage::WaitingForParts]);
                let note = String::new();
                self.desk("ticket_stage", "tom", &TicketStage { ticket, stage, note, sent: None }).await;
                let body = Worked {
                    ticket,
                    text: "looked".to_owned(),
                    parts: String::new(),
                    readings: String::new(),
                };
                self.desk("worked", "tom", &body).await;
            }
            28 => {
                let time = self.one(&[MINUTE, 10 * MINUTE, HOUR, 9 * HOUR, DAY]);
                self.h.pass(time);
            }
            29 => {
                if let Some((_, old)) = self.sent.choose(&mut self.rng).cloned() {
                    self.h.hand_in(old, Origin::Tablet { proven: None }).await.unwrap();
                    self.count("handed in again");
                }
            }
            30 => self.something_goes_away().await,
            _ => self.something_arrives().await,
        }
    }

    /// Lent, borrowed, back, at a repairer, or put on another unit.
    async fn something_goes_away(&mut self) {
        let (unit, due_back) = (self.unit(), "2099-01-01".parse().unwrap());
        let [other, paper, station] = ["Harrow Creek", "sheet 4", "north"].map(str::to_owned);
        let body = Register::Station { id: station.clone(), name: station.clone(), order: 1 };
        self.desk("register", "ada", &body).await;
        match self.rng.random_range(0..6) {
            0 | 1 => {
                let body = Loan::Lent { unit: unit.clone(), to: other, reference: paper, due_back };
                self.desk("loan", "olga", &body).await;
                self.may_come_back(unit, Some(station)).await;
            }
            2 | 3 => {
                let (unit, profile, theirs) = ("L1".to_owned(), "a".to_owned(), "HC-9".to_owned());
                let (from, reference) = (other, paper);
                let body = Loan::Borrowed {
                    unit: unit.clone(),
                    profile,
                    from,
                    theirs,
                    reference,
                    due_back,
                    station,
                };
                self.desk("loan", "olga", &body).await;
                self.may_come_back(unit, None).await;
            }
            4 => {
                let place = self.one(&[Place::Bench, Place::Repairer]);
                let asset = self.asset();
                self.desk("register", "tom", &Register::Holder { asset, place }).await;
            }
            _ => {
                let asset = self.one(&[Asset::facepiece("F1"), Asset::cylinder("C1")]);
                self.desk("register", "tom", &Register::Holder { asset, place: Place::With { unit } }).await;
            }
        }
    }

    /// Half of what is on loan is back an hour later; all else stays away.
    async fn may_come_back(&mut self, unit: String, station: Option<String>) {
        if self.chance(50) {
            self.h.pass(HOUR);
            let body = LoanEnded { unit, station, note: String::new() };
            self.desk("loan_ended", "olga", &body).await;
        }
    }

    async fn something_arrives(&mut self) {
        if !self.waiting.is_empty() {
            let i = self.rng.random_range(0..self.waiting.len());
            let (made, origin) = self.waiting.swap_remove(i);
            self.deliver(made, origin).await;
            self.count("arrived late");
        }
    }
}

/// What two ways of coming to a standing must agree on.
fn essence(s: &Standing) -> impl PartialEq + std::fmt::Debug + use<> {
    let grounds: BTreeSet<(Kind, String)> =
        s.grounds.iter().map(|g| (g.raise.kind, g.raise.key.clone())).collect();
    (s.state, grounds, s.last_check.clone(), s.until)
}

/// The kept standings, grounds and records that need attention equal those of `fresh`.
async fn equals(store: &Store, fresh: &Account, now: Millis) -> Result<(), TestCaseError> {
    let clock = store.department().await.unwrap().clock;
    let assets: BTreeSet<Asset> =
        store.assets().await.unwrap().into_iter().chain(fresh.assets().cloned()).collect();
    for asset in &assets {
        for then in [now - 3 * DAY, now - 1, now, now + 3 * MINUTE, now + 13 * HOUR, now + 40 * DAY] {
            let kept = store.standing(asset, &clock, then).await.unwrap();
            let anew = fresh.standing(asset, then);
            let (kept, anew) = (essence(&kept), essence(&anew));
            proptest::prop_assert!(kept == anew, "{asset}\nkept {kept:#?}\nanew {anew:#?}");
        }
        // Also what is cleared, and from when on.
        let of_a_record = |k: Kind| matches!(k, Kind::Contested | Kind::Doubted);
        let kept: BTreeMap<String, Option<Millis>> = store
            .grounds(asset)
            .await
            .unwrap()
            .into_iter()
            .filter(|(r, at)| at.is_none() || !of_a_record(r.kind))
            .map(|(r, at)| (r.key, at))
            .collect();
        let anew: BTreeMap<String, Option<Millis>> =
            fresh.grounds(asset).map(|(r, at)| (r.key.clone(), at)).collect();
        proptest::prop_assert_eq!(kept, anew, "{}", asset);
    }
    for (asset, standing) in store.unit_standings(&clock, now).await.unwrap() {
        proptest::prop_assert_eq!(standing, store.standing(&asset, &clock, now).await.unwrap());
    }
    let mut kept = BTreeMap::new();
    for (seq, _, why) in store.needing_attention().await.unwrap() {
        kept.insert(store.record(seq).await.unwrap().unwrap().record.name, why);
    }
    proptest::prop_assert_eq!(&kept, &fresh.attention);
    Ok(())
}

/// A record and its bytes.
type Sent = (Record, Vec<u8>);

/// The same field records in another order around the same desk records. What a desk record speaks
/// of comes before it, as nothing can be named that is not there; all else may come at any time.
fn in_another_order(records: &[Sent], rng: &mut StdRng) -> Vec<Sent> {
    let desk: Vec<&Sent> = records.iter().filter(|(r, _)| matches!(r.body, Body::Desk(_))).collect();
    let named: Vec<String> = desk.iter().map(|(r, _)| format!("{:?}", r.body)).collect();
    let mut order: Vec<((usize, bool, u32), &Sent)> =
        (0..).zip(&desk).map(|(i, d)| ((i, true, 0), *d)).collect();
    for field in records.iter().filter(|(r, _)| matches!(r.body, Body::Field(_))) {
        let digest = field.0.name.digest.to_string();
        let latest = named.iter().position(|n| n.contains(&digest)).unwrap_or(desk.len());
        order.push(((rng.random_range(0..=latest), false, rng.random()), field));
    }
    order.sort_by_key(|(at, _)| *at);
    order.into_iter().map(|(_, r)| r.clone()).collect()
}

async fn replayed(records: &[Sent]) -> (TempDir, Store) {
    let dir = folder();
    let store = Store::open(dir.path(), Uuid::from_u128(3)).await.unwrap();
    let mut write = store.begin().await.unwrap();
    for (record, bytes) in records {
        let place = write.append(record, bytes, 1);
        write.project(record, place).await.unwrap();
    }
    write.commit().await.unwrap();
    (dir, store)
}

async fn history(
    template: &Path,
    seed: u64,
    acts: &[u8],
) -> Result<BTreeMap<&'static str, u32>, TestCaseError> {
    let dir = folder();
    std::fs::copy(template, dir.path().join(FILE)).unwrap();
    let h = super::common::empty(dir).await;
    h.skip_ids(10_000);
    let rng = StdRng::seed_from_u64(seed);
    let mut play = Play { h, rng, waiting: vec![], sent: vec![], runs: vec![], taken: BTreeMap::new() };
    for (i, act) in acts.iter().enumerate() {
        play.something(*act).await;
        if i % 9 == 8 {
            let report = verify(&play.h.store, play.h.now(), None, Depth::Tables).await.unwrap();
            proptest::prop_assert!(report.problems.is_empty(), "{}", report);
        }
    }
    while !play.waiting.is_empty() {
        play.something_arrives().await;
    }
    let records = logbook(&play.h.store).await;
    let fresh = account(&records);
    equals(&play.h.store, &fresh, play.h.now()).await?;
    let mut with_bytes = Vec::new();
    for row in play.h.store.rows_after(0, i64::MAX).await.unwrap() {
        let bytes = row.read().unwrap().bytes;
        with_bytes.push((decode(bytes).unwrap(), bytes.to_vec()));
    }
    let (_dir, other) = replayed(&in_another_order(&with_bytes, &mut play.rng)).await;
    equals(&other, &fresh, play.h.now()).await?;
    Ok(play.taken)
}

/// So many random histories, and how often each kind of thing happened in them.
fn histories(template: &Path, cases: u32) -> BTreeMap<&'static str, u32> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let taken: Mutex<BTreeMap<&'static str, u32>> = Mutex::default();
    let mut runner = TestRunner::new(Config {
        cases,
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct("tests/data/projection.seeds"))),
        max_shrink_iters: 300,
        ..Config::default()
    });
    let outcome = runner.run(&(any::<u64>(), vec(any::<u8>(), 5..45)), |(seed, acts)| {
        let done = runtime.block_on(history(template, seed, &acts))?;
        let mut taken = taken.lock().unwrap();
        for (what, n) in done {
            *taken.entry(what).or_default() += n;
        }
        Ok(())
    });
    outcome.unwrap_or_else(|e| panic!("{e}"));
    taken.into_inner().unwrap()
}

#[test]
fn what_is_kept_equals_what_is_computed_anew_in_any_order_of_arrival() {
    let cases = u32::try_from(super::common::from_env("AIRMUSTER_HISTORIES", 300)).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let (template, _dir) = runtime.block_on(async {
        let h = house().await;
        h.store.close().await;
        (h.dir.path().join(FILE), h.dir)
    });
    // The longest of all tests: two cores share it.
    let (one, other) = std::thread::scope(|s| {
        let other = s.spawn(|| histories(&template, cases / 2));
        (histories(&template, cases - cases / 2), other.join().unwrap())
    });
    let mut taken = one;
    for (what, n) in other {
        *taken.entry(what).or_default() += n;
    }
    println!("{cases} histories: {taken:?}");
    // What never happened was not tried.
    for what in [
        "check",
        "taken_out",
        "hold",
        "note",
        "used",
        "blessed",
        "another version",
        "return",
        "release",
        "cleaned",
        "loan",
        "loan_ended",
        "settlement",
        "correction",
        "signature",
        "fitting",
        "upkeep",
        "accepted",
        "retired",
        "rules",
        "register",
        "ticket_stage",
        "worked",
        "handed in again",
        "arrived late",
    ] {
        assert!(cases < 100 || taken.get(what).is_some_and(|n| *n > 0), "{what}: {taken:?}");
    }
}
