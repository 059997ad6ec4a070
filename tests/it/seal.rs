//! Sealed signatures: what proves them, what does not, and how often a PIN may be tried.

use std::time::Duration;

use airmuster::service::door::Door;
use airmuster::service::pin::{Cost, PinError, Pins};
use airmuster::service::seal::SealKey;
use airmuster::service::sealed::Sealed;
use airmuster::service::{Origin, Status};
use airmuster_domain::record::{Asset, Body, Desk, Digest, PinStop, RecordRef};
use airmuster_domain::standing::State;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hpke::aead::AesGcm128;
use hpke::kdf::HkdfSha256;
use hpke::kem::DhP256HkdfSha256;
use hpke::{Deserializable as _, Kem, OpModeS, Serializable as _, single_shot_seal};
use tokio::task::JoinHandle;

use super::common::{DAY, House, MINUTE, attacker, bytes, check, house, name, settlement, sql};

const PIN: &str = "73519264";

/// A department in which ana has a PIN, with a key of its own.
struct Sealing {
    house: House,
    secret: Vec<u8>,
    door: Door,
    worker: Option<(Sealed, JoinHandle<()>)>,
}

async fn sealing() -> Sealing {
    let house = house().await;
    let pins = Pins::new(house.store.clone(), house.clock.clone(), Cost::Least);
    let door = Door::new(house.store.clone(), house.clock.clone(), pins, house.intake.clone());
    let secret = SealKey::new(&house.clock).secret();
    let s = Sealing { house, secret, door, worker: None };
    s.set_pin("ana", PIN).await;
    s.set_pin("olga", "111111").await;
    s
}

impl Sealing {
    fn key(&self) -> SealKey {
        SealKey::from_secret(&self.secret).unwrap()
    }

    async fn set_pin(&self, member: &str, pin: &str) {
        let h = &self.house;
        let hash = Pins::new(h.store.clone(), h.clock.clone(), Cost::Least).hash(pin).await.unwrap();
        let mut write = h.store.begin().await.unwrap();
        write.set_person(member, member, Some((&hash, h.now()))).await.unwrap();
        write.commit().await.unwrap();
    }

    fn start(&mut self) {
        let h = &self.house;
        self.worker = Some(Sealed::start(
            h.store.clone(),
            h.clock.clone(),
            h.intake.clone(),
            self.door.clone(),
            self.key(),
        ));
    }

    /// As a tablet seals, by the library that opens.
    fn seal(&self, pin: &str, digest: &Digest, tablet: &str) -> Vec<u8> {
        let public = URL_SAFE_NO_PAD.decode(self.key().public()).unwrap();
        let to = <DhP256HkdfSha256 as Kem>::PublicKey::from_bytes(&public).unwrap();
        let mut plain = vec![0; 97];
        plain[..32].copy_from_slice(&digest.0);
        plain[32] = u8::try_from(pin.len()).unwrap();
        plain[33..33 + pin.len()].copy_from_slice(pin.as_bytes());
        let info = [b"airmuster signature 1\0", tablet.as_bytes()].concat();
        let (enc, ciphertext) = single_shot_seal::<AesGcm128, HkdfSha256, DhP256HkdfSha256>(
            &OpModeS::Base,
            &to,
            &info,
            &plain,
            &digest.0,
        )
        .unwrap();
        [&[1], &URL_SAFE_NO_PAD.decode(self.key().name()).unwrap()[..], &enc.to_bytes(), &ciphertext].concat()
    }

    /// A good check of a unit by ana on tablet t1, not yet handed in.
    fn check(&self, unit: &str) -> Vec<u8> {
        let id = self.house.id();
        bytes("check", id, self.house.now(), Some("ana"), &check(unit, id))
    }

    async fn hand_in(&self, record: Vec<u8>, seal: Vec<u8>) -> RecordRef {
        let origin = Origin::Tablet { proven: None };
        let receipt = self.house.intake.submit_sealed(record, Some(seal), origin).await.unwrap();
        assert_eq!(receipt.status, Status::Stored);
        if let Some((worker, _)) = &self.worker {
            worker.look();
        }
        RecordRef { id: receipt.id, digest: receipt.digest }
    }

    /// A check of a unit, signed with this PIN.
    async fn signed(&self, unit: &str, pin: &str) -> RecordRef {
        let record = self.check(unit);
        let seal = self.seal(pin, &name(&record).digest, "t1");
        self.hand_in(record, seal).await
    }

    /// Until no seal waits and the logbook knows.
    async fn done(&self) {
        for _ in 0..1000 {
            let store = &self.house.store;
            if store.waiting_seals().await.unwrap().is_empty()
                && store.untold_seals().await.unwrap().is_empty()
            {
                return;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        panic!("a seal still waits");
    }

    async fn unproven(&self) -> usize {
        self.house.store.unproven().await.unwrap().len()
    }

    async fn doubts(&self) -> Vec<String> {
        let records = self.house.logbook().await;
        let why = |r: airmuster_domain::record::Record| match r.body {
            Body::Desk(Desk::Doubt(d)) => Some(d.why),
            _ => None,
        };
        records.into_iter().filter_map(why).collect()
    }

    async fn stops(&self) -> Vec<PinStop> {
        let records = self.house.logbook().await;
        let stop = |r: airmuster_domain::record::Record| match r.body {
            Body::Desk(Desk::PinStopped(s)) => Some(s),
            _ => None,
        };
        records.into_iter().filter_map(stop).collect()
    }

    async fn try_pin(&self, member: &str, pin: &str) -> Result<(), PinError> {
        self.door.try_pin(member, pin, Some("t1")).await
    }
}

#[tokio::test]
async fn the_right_pin_proves_the_signature_and_nothing_of_the_seal_is_left() {
    let mut s = sealing().await;
    s.signed("1", PIN).await;
    // The receipt did not wait: it is in, and a good check does not count before it is proven.
    assert_eq!((s.unproven().await, s.house.state("1").await), (1, State::CheckDue));
    s.start();
    s.done().await;
    assert_eq!((s.unproven().await, s.house.state("1").await), (0, State::InService));
    let mut db = attacker(s.house.dir.path()).await;
    let left: Vec<(Option<Vec<u8>>, String)> =
        sqlx::query_as("select bytes, outcome from seal").fetch_all(&mut db).await.unwrap();
    assert_eq!(left, [(None, "proven".to_owned())]);
    s.house.verified().await;
}

#[tokio::test]
async fn a_wrong_pin_keeps_the_check_raises_and_waits_for_the_officer() {
    let mut s = sealing().await;
    s.start();
    let of = s.signed("1", "73519265").await;
    s.done().await;
    assert_eq!(s.house.state("1").await, State::OutOfService);
    assert_eq!(s.house.open(&Asset::unit("1"), "doubted").await.len(), 1);
    assert!(s.doubts().await[0].contains("the PIN given with it was not its signer’s"));
    assert_eq!(s.unproven().await, 1);
    let word = settlement(of.id, &[of.digest], Some(of.digest));
    s.house.desk("settlement", "olga", &word).await.unwrap();
    assert_eq!((s.unproven().await, s.house.state("1").await), (0, State::InService));
    s.house.verified().await;
}

#[tokio::test]
async fn a_seal_of_another_record_or_tablet_is_refused_and_told_and_the_record_kept() {
    let mut s = sealing().await;
    s.start();
    let (one, two) = (s.check("1"), s.check("2"));
    let moved = s.seal(PIN, &name(&one).digest, "t1");
    let elsewhere = s.seal(PIN, &name(&two).digest, "t2");
    let one = s.hand_in(one, elsewhere.clone()).await;
    s.hand_in(two, moved).await;
    let three = s.check("3");
    let other_tablet = s.seal(PIN, &name(&three).digest, "t2");
    s.hand_in(three, other_tablet).await;
    s.done().await;
    assert_eq!(s.doubts().await.len(), 3);
    assert!(s.doubts().await.iter().all(|d| d.contains("was not made for it")), "{:?}", s.doubts().await);
    assert_eq!(s.unproven().await, 3);
    assert!(s.house.store.variants(one.id).await.unwrap().len() == 1);
    assert!(s.try_pin("ana", PIN).await.is_ok(), "nobody's PIN was tried");
    s.house.verified().await;
}

#[tokio::test]
async fn one_record_has_one_try_however_often_it_comes() {
    let mut s = sealing().await;
    let record = s.check("1");
    let digest = name(&record).digest;
    let wrong = s.seal("999999", &digest, "t1");
    s.hand_in(record.clone(), wrong.clone()).await;
    for seal in [wrong, s.seal(PIN, &digest, "t1")] {
        let origin = Origin::Tablet { proven: None };
        let again = s.house.intake.submit_sealed(record.clone(), Some(seal), origin).await.unwrap();
        assert_eq!(again.status, Status::AlreadyStored);
    }
    s.start();
    s.done().await;
    assert_eq!(s.doubts().await.len(), 1);
    let tried = s.house.store.tried("ana", "t1", true).await.unwrap();
    assert_eq!(tried.member.count, 1);
}

#[tokio::test]
async fn the_pin_before_the_one_in_force_proves_for_thirty_days() {
    let mut s = sealing().await;
    s.start();
    s.set_pin("ana", "24681012").await;
    s.signed("1", "24681012").await;
    s.done().await;
    s.house.pass(30 * DAY - MINUTE);
    s.signed("2", PIN).await;
    s.done().await;
    assert_eq!(s.unproven().await, 0);
    s.house.pass(2 * MINUTE);
    s.signed("3", PIN).await;
    s.done().await;
    assert_eq!(s.unproven().await, 1);
    // On a page only the one in force counts, and the old one is not kept longer than it is of use.
    assert!(matches!(s.try_pin("ana", PIN).await, Err(PinError::Wrong)));
    let mut db = attacker(s.house.dir.path()).await;
    let kept: i64 = sqlx::query_scalar("select count(*) from person where previous_hash is not null")
        .fetch_one(&mut db)
        .await
        .unwrap();
    assert_eq!(kept, 0);
}

#[tokio::test]
async fn a_seal_for_a_key_that_is_gone_is_let_go_and_the_member_gives_the_pin_later() {
    let mut s = sealing().await;
    s.signed("1", PIN).await;
    s.secret = SealKey::new(&s.house.clock).secret();
    s.start();
    s.done().await;
    assert_eq!((s.unproven().await, s.doubts().await.len()), (1, 0));
    assert_eq!(s.house.state("1").await, State::CheckDue);
}

#[tokio::test]
async fn a_queue_of_old_typos_locks_nobody_out_and_stops_at_twenty_until_an_officer_acts() {
    let mut s = sealing().await;
    s.start();
    for _ in 0..20 {
        s.signed("1", "73519256").await;
    }
    s.done().await;
    assert_eq!(s.doubts().await.len(), 20);
    assert_eq!(s.stops().await, [PinStop::of_member("ana"), PinStop::of_tablet("t1")]);
    // On a page ana still signs, as often as before.
    assert!(s.try_pin("ana", "73519256").await.is_err());
    assert!(s.house.store.tried("ana", "t1", false).await.unwrap().member.count == 1);
    // But the twenty-first is not looked at, right or wrong.
    s.signed("2", PIN).await;
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert_eq!(s.house.store.waiting_seals().await.unwrap().len(), 1);
    for stop in s.stops().await {
        s.door.allow("olga", &stop).await.unwrap();
    }
    s.worker.as_ref().unwrap().0.look();
    s.done().await;
    assert_eq!(s.house.state("2").await, State::InService);
    assert!(s.door.allow("ana", &PinStop::of_member("ana")).await.is_err(), "the crew cannot");
    s.house.verified().await;
}

#[tokio::test]
async fn five_tries_are_free_then_one_waits_and_the_twentieth_wrong_one_is_the_last() {
    let s = sealing().await;
    for _ in 0..5 {
        assert!(matches!(s.try_pin("ana", "000000").await, Err(PinError::Wrong)));
    }
    for wrong in 5..20 {
        let Err(PinError::Wait(until)) = s.try_pin("ana", PIN).await else { panic!("{wrong}: no wait") };
        // Another door, as after a restart, knows of it too.
        let h = &s.house;
        let pins = Pins::new(h.store.clone(), h.clock.clone(), Cost::Least);
        let door = Door::new(h.store.clone(), h.clock.clone(), pins, h.intake.clone());
        assert!(matches!(door.try_pin("ana", PIN, Some("t1")).await, Err(PinError::Wait(_))));
        // On another tablet the member waits as well.
        assert!(matches!(door.try_pin("ana", PIN, Some("t2")).await, Err(PinError::Wait(_))));
        h.clock.set(until);
        assert!(matches!(s.try_pin("ana", "000000").await, Err(PinError::Wrong)), "{wrong}");
    }
    s.house.pass(365 * DAY);
    assert!(matches!(s.try_pin("ana", PIN).await, Err(PinError::Stopped)));
    assert!(matches!(s.try_pin("olga", "111111").await, Err(PinError::Stopped)), "nor anybody there");
    assert!(s.door.try_pin("olga", "111111", Some("t2")).await.is_ok());
    assert_eq!(s.stops().await.len(), 2);
    for stop in s.stops().await {
        s.door.allow("olga", &stop).await.unwrap();
    }
    assert!(s.try_pin("ana", PIN).await.is_ok());
}

#[tokio::test]
async fn the_right_pin_wipes_out_ones_own_typos_there_and_nobody_elses() {
    let s = sealing().await;
    for _ in 0..4 {
        assert!(s.try_pin("ana", "000000").await.is_err());
        assert!(s.door.try_pin("olga", "000000", Some("t9")).await.is_err());
    }
    assert!(s.try_pin("ana", PIN).await.is_ok());
    assert_eq!(s.house.store.tried("ana", "t1", false).await.unwrap().member.count, 0);
    assert_eq!(s.house.store.tried("olga", "t9", false).await.unwrap().member.count, 4);
}

#[tokio::test]
async fn many_tries_at_once_are_no_more_than_one_after_the_other() {
    let s = sealing().await;
    let tries: Vec<_> = (0..40)
        .map(|n| {
            let door = s.door.clone();
            tokio::spawn(async move { door.try_pin("ana", &format!("{n:06}"), None).await })
        })
        .collect();
    let mut looked_at = 0;
    for t in tries {
        looked_at += usize::from(matches!(t.await.unwrap(), Err(PinError::Wrong)));
    }
    assert!(looked_at <= 5, "{looked_at} were looked at");
}

#[tokio::test]
async fn somebody_unknown_is_answered_like_everybody_else_and_leaves_nothing_in_the_logbook() {
    let s = sealing().await;
    let before = s.house.store.head().await.unwrap().seq;
    for member in ["ana", "nobody"] {
        for _ in 0..5 {
            assert!(matches!(s.door.try_pin(member, "000000", None).await, Err(PinError::Wrong)));
        }
        assert!(matches!(s.door.try_pin(member, "000000", None).await, Err(PinError::Wait(_))));
    }
    for n in 5..20 {
        s.house.pass(16 * MINUTE);
        assert!(matches!(s.door.try_pin("nobody", "000000", None).await, Err(PinError::Wrong)), "{n}");
    }
    s.house.pass(16 * MINUTE);
    assert!(matches!(s.door.try_pin("nobody", "000000", None).await, Err(PinError::Stopped)));
    assert_eq!(s.house.store.head().await.unwrap().seq, before);
}

#[tokio::test]
async fn what_was_found_before_the_power_failed_is_told_after_it() {
    let mut s = sealing().await;
    let of = s.signed("1", "999999").await;
    let seq = s.house.store.seq_of(&of).await.unwrap().unwrap();
    let mut db = attacker(s.house.dir.path()).await;
    sql(&mut db, &format!("update seal set bytes = null, outcome = 'wrong' where seq = {seq}")).await;
    assert_eq!(s.doubts().await.len(), 0);
    s.start();
    s.done().await;
    assert_eq!(s.doubts().await.len(), 1);
}

#[tokio::test]
async fn the_worker_ends_when_nobody_needs_it_and_leaves_the_rest_for_the_next() {
    let mut s = sealing().await;
    s.start();
    let (worker, ended) = s.worker.take().unwrap();
    drop(worker);
    tokio::time::timeout(Duration::from_secs(5), ended).await.unwrap().unwrap();
    s.signed("1", PIN).await;
    assert_eq!(s.unproven().await, 1);
    s.start();
    s.done().await;
    assert_eq!(s.unproven().await, 0);
}
