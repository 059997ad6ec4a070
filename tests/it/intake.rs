//! The one way in: what it takes, what it refuses, and that nothing is doubled or lost on the way.

use airmuster::service::intake::{IntakeError, Origin};
use airmuster::service::{Intake, Status};
use airmuster_domain::record::{Asset, RecordRef, RulesInForce, Signed, decode};
use airmuster_domain::standing::State;

use super::common::{
    DAY, LATER, MINUTE, about, account, attacker, bytes, check, gauges, house, name, proving, refused,
    return_of, say, settlement, sql, word,
};

#[tokio::test(flavor = "multi_thread")]
async fn sixty_four_at_once_of_one_record_are_stored_once_with_equal_receipts() {
    let h = house().await;
    for round in 0..50 {
        let before = h.store.head().await.unwrap().seq;
        let id = h.id();
        let record = bytes("check", id, h.now(), Some("ana"), &check("1", id));
        let handing_in: Vec<_> = (0..64)
            .map(|_| {
                let (intake, record) = (h.intake.clone(), record.clone());
                tokio::spawn(async move { intake.submit(record, Origin::Console).await.unwrap() })
            })
            .collect();
        let mut receipts = Vec::new();
        for one in handing_in {
            receipts.push(one.await.unwrap());
        }
        let place = |r: &airmuster::service::Receipt| (r.id, r.digest, r.seq, r.received, r.epoch.clone());
        assert!(receipts.iter().all(|r| place(r) == place(&receipts[0])), "round {round}: {receipts:?}");
        assert_eq!(receipts.iter().filter(|r| r.status == Status::Stored).count(), 1);
        assert_eq!(receipts[0].digest, name(&record).digest);
        assert_eq!(h.store.head().await.unwrap().seq, before + 1);
        assert_eq!(h.store.variants(id).await.unwrap().len(), 1);
    }
    h.verified().await;
}

#[tokio::test]
async fn a_record_of_another_day_has_its_first_receipt_for_ever() {
    let h = house().await;
    let id = h.id();
    let record = bytes("check", id, h.now(), Some("ana"), &check("1", id));
    let first = h.hand_in(record.clone(), Origin::Console).await.unwrap();
    h.pass(400 * DAY);
    h.field("note", "ben", &about(Asset::unit("1"))).await;
    let again = h.hand_in(record, Origin::Tablet { proven: None }).await.unwrap();
    assert_eq!(again.status, Status::AlreadyStored);
    assert_eq!((again.seq, again.received, again.digest), (first.seq, first.received, first.digest));
    assert!(h.logbook().await.iter().all(|r| r.envelope.kind != "doubt"), "and no doubt is added late");
}

#[tokio::test]
async fn two_versions_of_one_record_are_both_kept_and_neither_releases_until_settled() {
    let h = house().await;
    let id = h.id();
    let one = bytes("check", id, h.now(), Some("ana"), &check("1", id));
    let good = h.hand_in(one.clone(), Origin::Console).await.unwrap();
    assert_eq!(h.state("1").await, State::InService);
    let apart = say(check("1", id), gauges("4400 psi", "3900 psi"));
    let other = bytes("check", id, h.now() + 1, Some("ana"), &apart);
    let bad = h.hand_in(other.clone(), Origin::Console).await.unwrap();
    assert_ne!(good.digest, bad.digest);
    let kept = h.store.variants(id).await.unwrap();
    assert_eq!(kept.len(), 2);

    let standing = h.standing(&Asset::unit("1")).await;
    assert_eq!(standing.state, State::OutOfService);
    assert!(standing.last_check.is_none(), "neither counts");
    assert_eq!(h.open(&Asset::unit("1"), "contested").await.len(), 1);
    assert_eq!(h.open(&Asset::unit("1"), "finding").await.len(), 1, "each raises");

    let only_one = settlement(id, &[good.digest], Some(good.digest));
    assert!(refused(h.desk("settlement", "olga", &only_one).await).contains("every version"));
    let all = settlement(id, &[good.digest, bad.digest], Some(good.digest));
    h.desk("settlement", "olga", &all).await.unwrap();
    let standing = h.standing(&Asset::unit("1")).await;
    assert_eq!(standing.last_check.unwrap().name.digest, good.digest, "the accepted one counts");
    assert!(h.open(&Asset::unit("1"), "contested").await.is_empty());
    assert_eq!(standing.state, State::OutOfService, "what the other found stays found");

    let third = bytes("check", id, h.now() + 2, Some("ana"), &check("1", id));
    h.hand_in(third, Origin::Console).await.unwrap();
    assert_eq!(h.open(&Asset::unit("1"), "contested").await.len(), 1, "a third was not named");
    assert!(h.standing(&Asset::unit("1")).await.last_check.is_none());
    h.verified().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_sent_twice_with_other_answers_is_told_that_it_was_handed_in_before() {
    let h = house().await;
    let id = h.id();
    let one = bytes("check", id, h.now(), Some("ana"), &check("1", id));
    let other = bytes("check", id, h.now(), Some("ana"), &say(check("1", id), word("strap", false)));
    let origin = || Origin::Tablet { proven: Some("ana".to_owned()) };
    let first = h.intake.submit_once(one.clone(), origin()).await.unwrap();
    assert_eq!(h.intake.submit_once(one, origin()).await.unwrap().seq, first.seq, "the same is no other");
    match h.intake.submit_once(other, origin()).await {
        Err(IntakeError::Before(before)) => assert_eq!(before.digest, first.digest),
        outcome => panic!("{outcome:?}"),
    }
    assert_eq!(h.store.variants(id).await.unwrap().len(), 1);

    // And at once: whichever comes first is kept.
    let id = h.id();
    let at_once: Vec<_> = (0..16)
        .map(|n| {
            let intake = h.intake.clone();
            let record = bytes("check", id, h.now() + n, Some("ana"), &check("1", id));
            tokio::spawn(async move { intake.submit_once(record, Origin::Console).await.is_ok() })
        })
        .collect();
    let mut taken = 0;
    for one in at_once {
        taken += usize::from(one.await.unwrap());
    }
    assert_eq!((taken, h.store.variants(id).await.unwrap().len()), (1, 1));
}

#[tokio::test]
async fn what_is_not_a_record_is_refused_and_leaves_nothing() {
    let h = house().await;
    let before = h.store.head().await.unwrap();
    let id = "00000000-0000-0000-0000-0000000000aa";
    let full =
        format!(r#"{{"v":1,"kind":"note","id":"{id}","tablet":"t1","at":1,"client":"c","body":{{}}}}"#);
    assert!(decode(full.as_bytes()).is_ok(), "what is broken below is a record before");
    for (what, not_a_record) in [
        ("empty", Vec::new()),
        ("a word", b"hello".to_vec()),
        ("not text", vec![0xff, 0xfe, 0x00]),
        ("a list", b"[]".to_vec()),
        ("half of one", full.as_bytes()[..40].to_vec()),
        ("two", format!("{full}{full}").into_bytes()),
        ("a field twice", full.replace(r#""v":1"#, r#""v":1,"v":1"#).into_bytes()),
        ("without an id", full.replace(r#""id":"#, r#""it":"#).into_bytes()),
        ("with an id of zeros", full.replace("aa", "00").into_bytes()),
        ("with a kind of nothing", full.replace("note", "").into_bytes()),
        ("with a long tablet", full.replace("t1", &"t".repeat(41)).into_bytes()),
        ("with a time in words", full.replace(r#""at":1"#, r#""at":"noon""#).into_bytes()),
        ("with a body of text", full.replace("{}", "\"\"").into_bytes()),
        ("too large", full.replace("{}", &format!(r#"{{"a":"{}"}}"#, "x".repeat(70_000))).into_bytes()),
        ("nested without end", full.replace("{}", &format!("{{\"a\":{}}}", "[".repeat(9_000))).into_bytes()),
    ] {
        match h.hand_in(not_a_record, Origin::Tablet { proven: None }).await {
            Err(IntakeError::NotARecord(_)) => {}
            other => panic!("{what}: {other:?}"),
        }
    }
    assert_eq!(h.store.head().await.unwrap(), before);
}

#[tokio::test]
async fn a_field_record_that_cannot_be_judged_is_stored_and_shown() {
    let h = house().await;
    let id = h.id();
    let mut elsewhere = check("1", id);
    elsewhere.rules = airmuster_domain::record::Digest([7; 32]);
    let mut odd = check("2", h.id());
    odd.profile = "bogus".to_owned();
    let later = String::from_utf8(bytes("check", h.id(), h.now(), Some("ana"), &check("3", id))).unwrap();
    let strange = bytes("blessed", h.id(), h.now(), None, &serde_json::json!({ "unit": "4" }));
    let nothing = bytes("blessed", h.id(), h.now(), None, &serde_json::json!({ "moon": "full" }));
    for (what, record, about) in [
        ("an unknown table", bytes("check", id, h.now(), Some("ana"), &elsewhere), Some("1")),
        ("an unknown profile", bytes("check", odd.run, h.now(), Some("ana"), &odd), Some("2")),
        ("a later version", later.replace(r#""v":1"#, r#""v":2"#).into_bytes(), Some("3")),
        ("an unknown kind", strange, Some("4")),
        ("an unknown kind about nothing", nothing, None),
    ] {
        let proven = decode(&record).unwrap().envelope.by;
        let receipt = h.hand_in(record.clone(), Origin::Tablet { proven }).await.unwrap();
        assert_eq!(receipt.status, Status::NeedsAttention, "{what}");
        let rows = h.store.rows_after(receipt.seq - 1, 1).await.unwrap();
        assert_eq!(rows[0].read().unwrap().bytes, record, "{what}");
        let shown = h.store.needing_attention().await.unwrap();
        assert!(shown.iter().any(|(seq, _, why)| *seq == receipt.seq && !why.is_empty()), "{what}");
        if let Some(unit) = about {
            assert_eq!(h.state(unit).await, State::OutOfService, "{what}");
            assert_eq!(h.open(&Asset::unit(unit), "doubted").await.len(), 1, "{what}");
        }
    }
    h.verified().await;
}

#[tokio::test]
async fn a_hundred_at_once_with_some_refused_each_get_their_own_answer() {
    let h = house().await;
    let handing_in: Vec<_> = (0..100_i64)
        .map(|n| {
            let intake: Intake = h.intake.clone();
            let record = match n % 10 {
                // Refused once the writer has begun: nobody may do this.
                3 => bytes("retired", h.id(), h.now(), Some("ana"), &about(Asset::unit("1"))),
                7 => bytes("return", h.id(), h.now(), Some("tom"), &return_of("1", vec![], name(&proof()))),
                _ => bytes("note", h.id(), h.now() + n, Some("ana"), &about(Asset::unit("1"))),
            };
            tokio::spawn(async move { (n, record.clone(), intake.submit(record, Origin::Desk).await) })
        })
        .collect();
    for one in handing_in {
        let (n, record, outcome) = one.await.unwrap();
        match (n % 10, outcome) {
            (3 | 7, Err(IntakeError::Refused(_))) => {}
            (3 | 7, other) => panic!("{n}: {other:?}"),
            (_, outcome) => {
                let receipt = outcome.unwrap();
                let rows = h.store.rows_after(receipt.seq - 1, 1).await.unwrap();
                assert_eq!(rows[0].read().unwrap().bytes, record);
            }
        }
    }
    h.verified().await;
}

fn proof() -> Vec<u8> {
    let id = uuid::Uuid::from_u128(77);
    bytes("check", id, 1, Some("tom"), &proving("1", id))
}

#[tokio::test]
async fn a_record_that_cannot_be_stored_keeps_none_beside_it_from_being_stored() {
    let h = house().await;
    h.check("ana", say(check("1", h.id()), word("strap", false))).await;
    let mut seen = check("1", h.id());
    seen.seen = h.open(&Asset::unit("1"), "put-right").await;
    let mut db = attacker(h.dir.path()).await;
    sql(&mut db, "update ground set detail = '{' where asset = 'unit:1'").await;
    let poison = bytes("check", seen.run, h.now(), Some("ana"), &seen);
    let handing_in: Vec<_> = (0..60)
        .map(|n| {
            let intake = h.intake.clone();
            let id = h.id();
            let well = bytes("check", id, h.now(), Some("ana"), &check("2", id));
            let record = if n % 20 == 10 { poison.clone() } else { well };
            tokio::spawn(async move { (n, intake.submit(record, Origin::Console).await) })
        })
        .collect();
    for one in handing_in {
        match one.await.unwrap() {
            (n, Err(IntakeError::Store(e))) if n % 20 == 10 => {
                assert!(e.to_string().contains("run “airmuster verify”"), "{e}");
            }
            (n, outcome) => assert!(outcome.is_ok() && n % 20 != 10, "{n}: {outcome:?}"),
        }
    }
}

#[tokio::test]
async fn a_rule_table_that_was_not_stored_judges_nothing() {
    let h = house().await;
    let mut waiting = check("1", h.id());
    waiting.rules = airmuster_domain::record::Digest::of(LATER.as_bytes());
    let waits = h.check("ana", waiting.clone()).await;
    let mut db = attacker(h.dir.path()).await;
    sql(&mut db, "drop trigger logbook_no_update").await;
    let spoil = |bytes: &str| format!("update logbook set bytes = {bytes} where id = '{}'", waits.id);
    sql(&mut db, "create temp table safe as select id, bytes from logbook").await;
    sql(&mut db, &spoil("x'00'")).await;
    let later = RulesInForce { text: LATER.to_owned(), again: Vec::new(), grace_hours: None };
    h.desk("rules", "ada", &later).await.unwrap_err();
    sql(&mut db, &spoil("(select bytes from safe where safe.id = logbook.id)")).await;
    waiting.unit = "2".to_owned();
    waiting.run = h.id();
    let record = bytes("check", waiting.run, h.now(), Some("ana"), &waiting);
    let receipt = h.hand_in(record, Origin::Console).await.unwrap();
    assert_eq!(receipt.status, Status::NeedsAttention);
    h.verified().await;
    h.desk("rules", "ada", &later).await.unwrap();
    h.verified().await;
    let kept = account(&h.logbook().await);
    assert_eq!(h.standing(&Asset::unit("2")).await.state, kept.standing(&Asset::unit("2"), h.now()).state);
    assert_eq!(h.state("2").await, State::InService, "once it is there, it judges what waited");
    assert!(h.store.needing_attention().await.unwrap().is_empty());
}

#[tokio::test]
async fn a_signature_that_was_not_proven_does_not_count_until_its_signer_or_an_officer_has_spoken() {
    let h = house().await;
    for (proven, by_officer) in [(None, true), (Some("ben".to_owned()), true), (None, false)] {
        let id = h.id();
        let record = bytes("check", id, h.now(), Some("ana"), &check("1", id));
        let receipt = h.hand_in(record, Origin::Tablet { proven }).await.unwrap();
        let name = RecordRef { id, digest: receipt.digest };
        assert_ne!(h.state("1").await, State::InService);
        assert!(h.standing(&Asset::unit("1")).await.last_check.is_none());
        let settled = settlement(id, &[receipt.digest], Some(receipt.digest));
        assert!(refused(h.desk("settlement", "ana", &settled).await).contains("officer"));
        if by_officer {
            h.desk("settlement", "olga", &settled).await.unwrap();
        } else {
            let other = refused(h.desk("signature", "ben", &Signed { of: name }).await);
            assert!(other.contains("by the member who signed"), "{other}");
            h.desk("signature", "ana", &Signed { of: name }).await.unwrap();
        }
        assert_eq!(h.state("1").await, State::InService);
        h.pass(MINUTE);
        let rejected = settlement(id, &[receipt.digest], None);
        h.desk("settlement", "olga", &rejected).await.unwrap();
        assert_eq!(h.state("1").await, State::CheckDue, "settled against it, it does not count");
    }
    h.verified().await;
}

#[tokio::test]
async fn a_check_dated_later_than_it_was_received_is_doubted_and_never_begins_to_count_by_waiting() {
    let h = house().await;
    for (ahead, state) in [(2 * MINUTE, State::InService), (2 * MINUTE + 1, State::OutOfService)] {
        let id = h.id();
        let record = bytes("check", id, h.now() + ahead, Some("ana"), &check("1", id));
        h.hand_in(record, Origin::Tablet { proven: Some("ana".to_owned()) }).await.unwrap();
        assert_eq!(h.state("1").await, state, "{ahead} ms ahead");
    }
    h.pass(5 * MINUTE);
    assert_eq!(h.state("1").await, State::OutOfService);
    h.verified().await;
}
