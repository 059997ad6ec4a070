//! Records: from bytes and back, their names, and the chain they stand in, held against the
//! `sha256sum` of the system.
//!
//! Mutants that this turns red: a hash over anything but the bytes as handed in, a part of the link
//! left out or in another order, an unknown kind refused, an envelope that takes anything.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::process::{Command, Stdio};

use crate::common::{check, config, on, proving, uuid, word};
use airmuster_domain::judge::{Answer, Raw, Values};
use airmuster_domain::record::{
    Accepted, Acknowledged, Asked, Asset, AssetKind, Body, CHAIN_START, Cadence, Clearing, Component,
    Condition, Correction, Crew, CylinderRead, Desk, Digest, Doubt, Duty, Field, Fitting, GapDealt, LARGEST,
    Leaving, Left, Loan, LoanEnded, LookAgain, Misfit, Move, Moved, NotARecord, Notice, NoticeDone,
    NoticeEnded, Part, PersonChanged, Personal, PinStop, Place, Reach, Record, RecordRef, Register, Return,
    Reviewed, RigAccepted, RigStatus, RulesInForce, Sent, Settlement, Signed, Slot, Spot, Stage, Stamp,
    TakenOut, TicketApart, TicketJoined, TicketOpened, TicketSplit, TicketStage, Used, VERSION, Worked,
    decode, encode, link,
};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use serde::Serialize;
use serde_json::{Value, json};
use smol_str::SmolStr;

/// What the system's own program says the hash of these bytes is.
fn sha256sum(bytes: &[u8]) -> String {
    let mut run =
        Command::new("sha256sum").stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("sha256sum");
    run.stdin.take().unwrap().write_all(bytes).unwrap();
    let out = run.wait_with_output().unwrap();
    assert!(out.status.success());
    String::from_utf8(out.stdout).unwrap().split_whitespace().next().unwrap().to_owned()
}

fn stamp(n: u128) -> Stamp {
    Stamp {
        id: uuid(n),
        tablet: "engine-2".to_owned(),
        incarnation: Some(uuid(77)),
        number: Some(18),
        before: Some(Digest::of(b"the one before")),
        at: 1_781_006_400_123,
        client: "test".to_owned(),
        by: Some("ana".to_owned()),
        written_by: Some("olga".to_owned()),
    }
}

fn envelope(change: impl FnOnce(&mut serde_json::Map<String, Value>)) -> Vec<u8> {
    let bytes = encode("note", &stamp(1), &json!({"asset": "unit:1", "why": "new label"}));
    let mut value: Value = serde_json::from_slice(&bytes).unwrap();
    change(value.as_object_mut().unwrap());
    serde_json::to_vec(&value).unwrap()
}

/// The temperature came later: records of before must mean what they meant, byte for byte.
#[test]
fn a_check_says_how_warm_the_bay_was_only_where_that_was_entered() {
    let of = |bytes: &[u8]| match decode(bytes).unwrap().body {
        Body::Field(Field::Check(c)) => c,
        other => panic!("{other:?}"),
    };
    let without = check(1, "1").check;
    let before = encode("check", &stamp(1), &without);
    assert!(!String::from_utf8(before.clone()).unwrap().contains("bay"));
    assert_eq!(of(&before), without);
    let with = airmuster_domain::record::Check { bay: Some("-4 F".parse().unwrap()), ..without };
    let now = encode("check", &stamp(1), &with);
    assert!(String::from_utf8(now.clone()).unwrap().contains(r#""bay":"-4 F""#));
    assert_eq!(of(&now), with);
}

// ------------------------------------------------------------------ hashes

/// FIPS 180-4 by way of the system's `sha256sum`.
#[test]
fn a_record_is_named_by_the_sha256_of_the_bytes_as_they_were_handed_in() {
    let bytes = encode("check", &stamp(1), &check(1, "117").check);
    let record = decode(&bytes).unwrap();
    assert_eq!(record.name.digest.to_string(), sha256sum(&bytes));
    assert_eq!(record.name.id, uuid(1));
    // A space more is another record, though it says the same.
    let spaced = [b" ".as_slice(), &bytes].concat();
    let other = decode(&spaced).unwrap();
    assert_eq!((other.body, other.name.id), (record.body, record.name.id));
    assert_eq!(other.name.digest.to_string(), sha256sum(&spaced));
    assert_ne!(other.name.digest, record.name.digest);
    assert_eq!(Digest::of(b"").to_string(), sha256sum(b""));
}

/// previous ‖ seq ‖ received ‖ length of tablet ‖ tablet ‖ length of bytes ‖ bytes, numbers as 8
/// bytes, most significant first. Written down here by hand, hashed by `sha256sum`.
#[test]
fn a_link_of_the_chain_is_the_sha256_of_what_is_documented() {
    let bytes = encode("note", &stamp(1), &json!({"asset": "unit:1", "why": "é"}));
    let mut by_hand = vec![0_u8; 32];
    by_hand.extend([0, 0, 0, 0, 0, 0, 0, 1]); // seq 1
    by_hand.extend([0, 0, 1, 0x9e, 0xac, 0x49, 0x64, 0]); // 1,781,006,400,512 ms
    by_hand.extend([0, 0, 0, 0, 0, 0, 0, 8]);
    by_hand.extend(b"engine-2");
    by_hand.extend(u64::try_from(bytes.len()).unwrap().to_be_bytes());
    by_hand.extend(&bytes);
    let first = link(&CHAIN_START, 1, 0x019e_ac49_6400, "engine-2", &bytes);
    assert_eq!(first.to_string(), sha256sum(&by_hand));
    // The next link stands on it, and a moment before 1970 is written in two's complement.
    let mut by_hand = first.0.to_vec();
    by_hand.extend([0, 0, 0, 0, 0, 0, 1, 2]); // seq 258
    by_hand.extend([0xff; 8]); // -1 ms
    by_hand.extend([0, 0, 0, 0, 0, 0, 0, 4]);
    by_hand.extend(b"desk");
    by_hand.extend([0; 8]);
    assert_eq!(link(&first, 258, -1, "desk", b"").to_string(), sha256sum(&by_hand));
}

#[test]
fn every_part_of_a_link_counts_and_none_can_run_into_the_next() {
    let base = || link(&CHAIN_START, 1, 2, "t1", b"bytes");
    let others = [
        link(&Digest::of(b"x"), 1, 2, "t1", b"bytes"),
        link(&CHAIN_START, 2, 2, "t1", b"bytes"),
        link(&CHAIN_START, 1, 3, "t1", b"bytes"),
        link(&CHAIN_START, 1, 2, "t2", b"bytes"),
        link(&CHAIN_START, 1, 2, "t1", b"byteS"),
        link(&CHAIN_START, 1, 2, "t1b", b"ytes"),
    ];
    assert_eq!(base(), base());
    assert!(others.iter().all(|o| *o != base()));
}

#[test]
fn a_hash_is_written_as_64_lower_case_digits_and_read_in_no_other_way() {
    let text = Digest::of(b"x").to_string();
    assert_eq!(text.parse::<Digest>().unwrap(), Digest::of(b"x"));
    for wrong in
        [text.to_uppercase(), text[1..].to_owned(), format!("{text}0"), "é".repeat(32), String::new()]
    {
        assert!(wrong.parse::<Digest>().is_err(), "{wrong}");
    }
}

// ------------------------------------------------------------------ there and back

fn back(kind: &str, body: &impl Serialize) -> Record {
    let record = decode(&encode(kind, &stamp(1), body)).unwrap();
    let e = &record.envelope;
    assert_eq!(
        (e.v, e.kind.as_str(), e.tablet.as_str(), e.client.as_str()),
        (VERSION, kind, "engine-2", "test")
    );
    assert_eq!((e.incarnation, e.number, e.before), (stamp(1).incarnation, Some(18), stamp(1).before));
    assert_eq!((e.at, e.offset, e.time()), (1_781_006_400_123, None, 1_781_006_400_123));
    assert_eq!((e.by.as_deref(), e.written_by.as_deref()), (Some("ana"), Some("olga")));
    record
}

#[test]
fn what_is_written_in_the_field_comes_back_as_it_was() {
    let mut full = proving(1, "117").say(&[on(word("seal", true), "f-1")]).kit(Some("f-1"), Some("c.2"));
    full.check.seen = vec!["put-right/x".to_owned()];
    full.check.answers[0].note = Some("“tight”".to_owned());
    full.check.answers[0].values.insert("count".into(), Raw::Whole(-3));
    full.check.answers[0].values.insert("x".into(), Raw::Decimal(0.1));
    assert_eq!(back("check", &full.check).body, Body::Field(Field::Check(full.check)));
    let word = TakenOut { asset: Asset::cylinder("9_A"), why: "dented".to_owned() };
    assert_eq!(back("taken_out", &word).body, Body::Field(Field::TakenOut(word.clone())));
    assert_eq!(back("hold", &word).body, Body::Field(Field::Hold(word.clone())));
    assert_eq!(back("note", &word).body, Body::Field(Field::Note(word)));
    for condition in [Condition::Clean, Condition::Soiled, Condition::Contaminated] {
        let after_use = condition == Condition::Soiled;
        let used = Used {
            unit: "117".to_owned(),
            what: "a burn".to_owned(),
            condition,
            after_use,
            ..Used::default()
        };
        assert_eq!(back("used", &used).body, Body::Field(Field::Used(used)));
    }
    let places = vec![Reviewed {
        seat: "e2-1".to_owned(),
        asset: Some(Asset::unit("117")),
        member: None,
        ready: false,
        word: Some("w".to_owned()),
    }];
    let accepted = RigAccepted { rig: "e2".to_owned(), shift: 7, places };
    assert_eq!(back("rig_accepted", &accepted).body, Body::Field(Field::RigAccepted(accepted)));
}

#[test]
#[expect(clippy::too_many_lines, reason = "a line or two for each kind of record")]
fn what_is_made_at_the_desk_comes_back_as_it_was() {
    let of = RecordRef { id: uuid(5), digest: Digest::of(b"5") };
    let asset = Asset::unit("117");
    let clearing = Clearing { asset: asset.clone(), clears: vec!["held/1".to_owned()], why: "w".to_owned() };
    let registers = [
        Register::Department {
            name: "Invented".to_owned(),
            zone: "America/Denver".to_owned(),
            shift_start: "07:00".to_owned(),
            shift_hours: 24,
            early_minutes: 90,
            grace_minutes: 60,
        },
        Register::Station { id: "north".to_owned(), name: "North".to_owned(), order: 1 },
        Register::Rig { id: "e2".to_owned(), name: "E 2".to_owned(), station: "north".to_owned(), order: 1 },
        Register::Seat {
            id: "e2-1".to_owned(),
            rig: "e2".to_owned(),
            name: "1".to_owned(),
            kit: true,
            order: 1,
        },
        Register::Unit {
            number: "117".to_owned(),
            profile: "us-4500-third".to_owned(),
            cadence: Cadence::EachShift,
            in_use: true,
            serials: BTreeMap::from([("gauge".to_owned(), "S1".to_owned())]),
        },
        Register::Facepiece { number: "f1".to_owned(), size: "M".to_owned() },
        Register::Cylinder { number: "c1".to_owned(), rated: "300 bar".parse().unwrap() },
        Register::Member { id: "m1".to_owned(), roles: vec!["crew".to_owned()], qualified: vec![] },
        Register::Cadence { at: Spot::Rig { rig: "e2".to_owned() }, cadence: Some(Cadence::AfterUse) },
        Register::Cadence { at: Spot::Seat { seat: "e2-1".to_owned() }, cadence: Some(Cadence::Monthly) },
        Register::Cadence { at: Spot::Spares { station: "north".to_owned() }, cadence: None },
        Register::Identification { asked: Asked::Needed, hours: 25 },
        Register::Rotation { turns: vec!["A".to_owned()], first: 5, apart: BTreeSet::new() },
        Register::Rotation { turns: vec!["A".to_owned()], first: 5, apart: ["chief-1".to_owned()].into() },
        Register::Drive { from: "north".to_owned(), to: "south".to_owned(), minutes: 9 },
        Register::Holder { asset: asset.clone(), place: Place::Seat { seat: "e2-1".to_owned() } },
        Register::Holder { asset: asset.clone(), place: Place::Spare { station: "north".to_owned() } },
        Register::Holder { asset: Asset::facepiece("f1"), place: Place::With { unit: "117".to_owned() } },
        Register::Holder { asset: asset.clone(), place: Place::Bench },
        Register::Holder { asset: asset.clone(), place: Place::Repairer },
        Register::Holder { asset: asset.clone(), place: Place::Away },
    ];
    let word = TakenOut { asset: asset.clone(), why: "worn".to_owned() };
    let ret = Return {
        asset: asset.clone(),
        clears: vec!["finding/1".to_owned()],
        proving: of,
        worked_on: Part::ALL.to_vec(),
        bench_test: Some("B".to_owned()),
        remedy: "r".to_owned(),
        reproduced: "cold".to_owned(),
        second_signer: Some("olga".to_owned()),
    };
    let settled = Settlement { id: uuid(5), variants: vec![of.digest], accepted: None, why: "w".to_owned() };
    let right_unit = Some(("118".to_owned(), "us-4500-third".to_owned()));
    let misread = vec!["gauges".to_owned()];
    let corrected = Correction { of, replaces: vec![of], misread, right_unit, why: "w".to_owned() };
    let mut all: Vec<(&str, Value, Desk)> = vec![
        ("return", json!(ret), Desk::Return(ret)),
        ("release", json!(clearing), Desk::Release(clearing.clone())),
        ("cleaned", json!(clearing), Desk::Cleaned(clearing)),
        ("settlement", json!(settled), Desk::Settlement(settled)),
        ("correction", json!(corrected), Desk::Correction(corrected)),
        ("retired", json!(word), Desk::Retired(word)),
    ];
    let crew = Crew {
        rig: "e2".to_owned(),
        shift: 7,
        seats: BTreeMap::from([("e2-1".to_owned(), "m1".to_owned())]),
    };
    let signed = Signed { of };
    all.push(("uncountersigned", json!(signed), Desk::Uncountersigned(signed.clone())));
    all.push(("outdated", json!(signed), Desk::Outdated(signed.clone())));
    all.push(("countersigned", json!(signed), Desk::Countersigned(signed)));
    for what in [
        Misfit::Missing { from: 3, to: 5 },
        Misfit::Twice { number: 3 },
        Misfit::Breaks { number: 3 },
        Misfit::BeganAnew { last: 9 },
    ] {
        let (tablet, incarnation, why) = ("tablet-4".to_owned(), Some(uuid(8)), "w".to_owned());
        let dealt = GapDealt { tablet, incarnation, what, why };
        all.push(("gap_dealt", json!(dealt), Desk::GapDealt(dealt)));
    }
    let read_there = CylinderRead { cylinder: "c1".to_owned(), pressure: "4480 psi".parse().unwrap() };
    all.push(("cylinder_read", json!(read_there), Desk::CylinderRead(read_there)));
    all.push(("crew", json!(crew), Desk::Crew(crew)));
    let from = Some(Place::Spare { station: "north".to_owned() });
    let one = Move { asset: asset.clone(), from, to: Place::Seat { seat: "e2-1".to_owned() } };
    let moved = Moved { moves: vec![one], why: "w".to_owned() };
    all.push(("moved", json!(moved), Desk::Moved(moved)));
    for duty in Duty::ALL {
        let (rig, station) = ("e2".to_owned(), "north".to_owned());
        let status = RigStatus { rig, station, duty, why: "w".to_owned() };
        all.push(("rig_status", json!(status), Desk::RigStatus(status)));
    }
    let (unit, reference) = ("117".to_owned(), "p".to_owned());
    let due_back = "2026-07-01".parse().unwrap();
    let [to, from, profile, theirs, station] = ["d", "d", "a", "9", "north"].map(str::to_owned);
    for l in [
        Loan::Lent { unit: unit.clone(), to, reference: reference.clone(), due_back },
        Loan::Borrowed { unit: unit.clone(), profile, from, theirs, reference, due_back, station },
    ] {
        all.push(("loan", json!(l), Desk::Loan(l)));
    }
    let ended = LoanEnded { unit, station: Some("north".to_owned()), note: "w".to_owned() };
    all.push(("loan_ended", json!(ended), Desk::LoanEnded(ended)));
    let read = Acknowledged { of };
    all.push(("acknowledged", json!(read), Desk::Acknowledged(read)));
    for what in [Personal::FitTest, Personal::Clearance, Personal::Name, Personal::Pin, Personal::Erased] {
        let changed = PersonChanged { member: "m1".to_owned(), what };
        all.push(("person_changed", json!(changed), Desk::PersonChanged(changed)));
    }
    for how in Leaving::ALL {
        let left = Left { member: "m1".to_owned(), how, shift: 7, why: "w".to_owned() };
        all.push(("left", json!(left), Desk::Left(left)));
    }
    for register in registers {
        all.push(("register", json!(register), Desk::Register(register)));
    }
    for stage in Stage::ALL {
        let sent = Some(Sent {
            repairer: "r".to_owned(),
            reference: "1".to_owned(),
            due_back: "2026-07-01".parse().unwrap(),
            loaner: "9".to_owned(),
        });
        let t = TicketStage { ticket: 4, stage, note: "n".to_owned(), sent };
        all.push(("ticket_stage", json!(t), Desk::TicketStage(t)));
    }
    for slot in Slot::ALL {
        let part = Component {
            name: "p".to_owned(),
            serial: "s".to_owned(),
            edition: "e".to_owned(),
            made: Some("2024-03".parse().unwrap()),
            warranty: Some("2029-03-31".parse().unwrap()),
        };
        let (unit, out) = ("117".to_owned(), Some("old".to_owned()));
        let f = Fitting { unit, slot, out, part: Some(part), was_there: false, why: "w".to_owned() };
        all.push(("fitting", json!(f), Desk::Fitting(f)));
    }
    let reach = Reach {
        kind: AssetKind::Unit,
        only: "a".to_owned(),
        slot: Some(Slot::Display),
        name: "n".to_owned(),
        from: "1".to_owned(),
        to: "9".to_owned(),
        made_from: Some("2024-03".parse().unwrap()),
        made_to: None,
    };
    let [number, title, source, what] = ["n-1", "t", "s", "w"].map(str::to_owned);
    let by = Some("2026-07-01".parse().unwrap());
    let n = Notice { number, title, source, what, by, reach };
    all.push(("notice", json!(n), Desk::Notice(n)));
    let d = NoticeDone { notice: "n-1".to_owned(), asset: Asset::unit("117"), what: "w".to_owned() };
    all.push(("notice_done", json!(d), Desk::NoticeDone(d)));
    let e = NoticeEnded { notice: "n-1".to_owned(), why: "w".to_owned() };
    all.push(("notice_ended", json!(e), Desk::NoticeEnded(e)));
    let t = TicketJoined { ticket: 4, under: 3, why: "w".to_owned() };
    all.push(("ticket_joined", json!(t), Desk::TicketJoined(t)));
    let t = TicketApart { ticket: 4 };
    all.push(("ticket_apart", json!(t), Desk::TicketApart(t)));
    let t = TicketSplit { ticket: 4, grounds: vec!["finding/1".to_owned()], into: 5, why: "w".to_owned() };
    all.push(("ticket_split", json!(t), Desk::TicketSplit(t)));
    let again = vec![LookAgain { unit: "1".to_owned(), check: of, why: "w".to_owned() }];
    let rules = RulesInForce { text: "format = 1".to_owned(), again, grace_hours: Some(24) };
    all.push(("rules", json!(rules), Desk::Rules(rules)));
    let doubt = Doubt { of, why: "w".to_owned() };
    all.push(("doubt", json!(doubt), Desk::Doubt(doubt)));
    for stop in [PinStop::of_member("m1"), PinStop::of_tablet("tablet-4")] {
        all.push(("pin_stopped", json!(stop), Desk::PinStopped(stop.clone())));
        all.push(("pin_allowed", json!(stop), Desk::PinAllowed(stop)));
    }
    let accepted = Accepted { unit: "117".to_owned(), check: of };
    all.push(("accepted", json!(accepted), Desk::Accepted(accepted)));
    let opened = TicketOpened { ticket: 4, asset, because: of };
    all.push(("ticket_opened", json!(opened), Desk::TicketOpened(opened)));
    let worked = Worked { ticket: 4, text: "t".to_owned(), parts: "p".to_owned(), readings: "r".to_owned() };
    all.push(("worked", json!(worked), Desk::Worked(worked)));
    for (kind, body, desk) in all {
        assert_eq!(back(kind, &body).body, Body::Desk(desk), "{kind}");
    }
}

fn any_answer() -> impl Strategy<Value = Answer> {
    let raw = prop_oneof![
        any::<bool>().prop_map(Raw::Flag),
        any::<i64>().prop_map(Raw::Whole),
        // Halves: what a reader makes of more digits is nobody's reading, which always is a text.
        any::<i32>().prop_map(|n| Raw::Decimal(f64::from(n) + 0.5)),
        any::<String>().prop_map(|t| Raw::Text(t.into())),
    ];
    let item = prop::option::of("[A-Za-z0-9._-]{1,32}");
    (
        any::<String>(),
        any::<u8>(),
        item,
        prop::collection::btree_map(".{0,8}".prop_map(SmolStr::from), raw, 0..4),
        any::<Option<String>>(),
    )
        .prop_map(|(step, attempt, item, values, note)| Answer {
            step: step.into(),
            attempt,
            item,
            values: values.into_iter().collect(),
            note,
        })
}

#[test]
fn any_check_comes_back_as_it_was() {
    let seen = prop::collection::vec(any::<String>(), 0..3);
    let cases = (prop::collection::vec(any_answer(), 0..5), seen, any::<i64>(), "[A-Za-z0-9._-]{1,32}");
    TestRunner::new(config("proptest-regressions/record.txt", 5_000))
        .run(&cases, |(answers, seen, at, unit)| {
            let mut made = check(1, &unit).only(&answers).at(at);
            made.check.seen = seen;
            let record = made.record();
            prop_assert_eq!(record.envelope.time(), at);
            prop_assert_eq!(record.body, Body::Field(Field::Check(made.check)));
            Ok(())
        })
        .unwrap();
}

#[test]
fn an_answer_without_values_has_empty_braces_and_a_list_of_values_is_none() {
    let note = Answer { note: Some("dusty".to_owned()), ..word("gauges", true) };
    let bare = Answer { values: Values::new(), ..note.clone() };
    assert_eq!(json!(bare), json!({ "step": "gauges", "values": {}, "note": "dusty" }));
    for wrong in [json!([]), json!([["good", true]]), json!(null)] {
        let text = json!({ "step": "gauges", "values": wrong }).to_string();
        assert!(serde_json::from_str::<Answer>(&text).is_err(), "{text}");
    }
    let twice = r#"{"step":"gauges","values":{"good":true,"good":false}}"#;
    let read: Answer = serde_json::from_str(twice).unwrap();
    assert_eq!(read.values.get("good"), Some(&Raw::Flag(false)), "the last one, as ever");
}

#[test]
fn a_check_that_begins_with_its_kind_reads_as_one_that_does_not() {
    const USUAL: &[u8] = br#"{"v":1,"kind":"check","#;
    const OTHER: &[u8] = br#"{"kind":"check","v":1,"#;
    let damage = prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..3);
    let splices = prop::sample::select(vec![
        ("", ""),
        (r#""body":{"#, r#""body":[{"#),
        (r#""body":{"#, r#""more":1,"body":{"#),
        (r#""body":{"#, r#""body":{"more":1,"#),
        (r#""body":{"#, r#""body":{},"body":{"#),
        (r#""answers":["#, r#""answers":[["gauges"],"#),
        (r#""unit":""#, r#""unit":" "#),
        (r#""values":{"#, r#""values":{"good":true,"good":false,"#),
        (r#""tablet":""#, r#""tablet":"\u0007"#),
        (r#","id""#, r#","number":0,"id""#),
    ]);
    let cases = (prop::collection::vec(any_answer(), 1..4), damage, splices);
    TestRunner::new(config("proptest-regressions/record.txt", 5_000))
        .run(&cases, |(answers, damage, (from, to))| {
            let made = check(1, "117").only(&answers);
            let stamp = Stamp { id: uuid(1), tablet: "t1".to_owned(), ..Stamp::default() };
            let made = encode("check", &stamp, &made.check);
            prop_assert!(made.starts_with(USUAL));
            let mut usual = String::from_utf8(made).unwrap().replacen(from, to, 1).into_bytes();
            for (at, byte) in damage {
                let at = USUAL.len() + at.index(usual.len() - USUAL.len());
                usual[at] = byte;
            }
            let other = [OTHER, &usual[USUAL.len()..]].concat();
            match (decode(&usual), decode(&other)) {
                (Ok(one), Ok(other)) => {
                    prop_assert_eq!(one.name.digest, Digest::of(&usual));
                    prop_assert_eq!((one.envelope, one.body), (other.envelope, other.body));
                }
                (Err(one), Err(other)) => prop_assert_eq!(one, other),
                (one, other) => prop_assert!(false, "{one:?} and {other:?}"),
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn the_time_of_a_record_is_the_tablets_clock_and_what_was_known_to_be_wrong_with_it() {
    let time = |at: i64, offset: Option<i64>| {
        let bytes = envelope(|e| {
            e.insert("at".to_owned(), json!(at));
            e.insert("offset".to_owned(), json!(offset));
        });
        decode(&bytes).unwrap().envelope.time()
    };
    assert_eq!(time(1000, None), 1000);
    assert_eq!(time(1000, Some(-400)), 600);
    assert_eq!(time(i64::MAX, Some(1)), i64::MAX);
    assert_eq!(time(i64::MIN, Some(-1)), i64::MIN);
}

// ------------------------------------------------------------------ what this program does not know

fn unknown(bytes: &[u8]) -> (Option<Asset>, String) {
    match decode(bytes).unwrap().body {
        Body::Field(Field::Unknown { asset, why }) => (asset, why),
        other => panic!("{other:?}"),
    }
}

#[test]
fn kinds_and_versions_that_are_not_known_are_kept_with_what_they_are_about() {
    let one = Some(Asset::unit("1"));
    let (asset, why) = unknown(&envelope(|e| drop(e.insert("kind".to_owned(), json!("sung_to")))));
    assert_eq!(asset, one);
    assert!(why.contains("sung_to"), "{why}");
    let (asset, why) = unknown(&envelope(|e| drop(e.insert("v".to_owned(), json!(VERSION + 1)))));
    assert_eq!(asset, one);
    assert!(why.contains("version 2"), "{why}");
    // A later version may carry more beside the body. It is kept too.
    let more = |v: u32| {
        envelope(|e| {
            e.insert("v".to_owned(), json!(v));
            e.insert("weather".to_owned(), json!({"rain": true}));
        })
    };
    assert_eq!(unknown(&more(VERSION + 1)).0, one);
    assert!(unknown(&more(VERSION)).1.contains("weather"));
    // A unit by its number alone; a number that no thing can have; nothing at all.
    let body = |body: Value| {
        unknown(&envelope(|e| {
            e.insert("kind".to_owned(), json!("sung_to"));
            e.insert("body".to_owned(), body);
        }))
        .0
    };
    assert_eq!(body(json!({"unit": "117"})), Some(Asset::unit("117")));
    assert_eq!(body(json!({"unit": "1 7"})), None);
    assert_eq!(body(json!({"unit": 117})), None);
    assert_eq!(body(json!({})), None);
}

#[test]
fn a_body_that_cannot_be_read_is_kept_all_the_same() {
    let note = |body: Value| unknown(&envelope(|e| drop(e.insert("body".to_owned(), body))));
    assert_eq!(note(json!({"asset": "unit:1"})).0, Some(Asset::unit("1")), "no reason given");
    assert_eq!(note(json!({"asset": "unit:1", "why": "x", "more": 1})).0, Some(Asset::unit("1")));
    let named = |change: fn(&mut Value)| {
        let mut body = json!(check(1, "117").check);
        change(&mut body);
        unknown(&encode("check", &stamp(1), &body))
    };
    assert_eq!(named(|b| b["outcome"] = json!("sung")).0, Some(Asset::unit("117")));
    assert_eq!(named(|b| b["answers"][0]["values"] = json!({"good": [1]})).0, Some(Asset::unit("117")));
    let (asset, why) = named(|b| b["facepiece"] = json!("f 1"));
    assert_eq!(asset, Some(Asset::unit("117")));
    assert!(why.contains("number"), "{why}");
    assert_eq!(named(|b| b["answers"][0]["item"] = json!("")).0, Some(Asset::unit("117")));
}

#[test]
fn only_what_is_not_a_record_at_all_is_refused_with_the_reason() {
    let refused = |bytes: &[u8]| decode(bytes).unwrap_err();
    assert_eq!(refused(&vec![b' '; LARGEST + 1]), NotARecord::TooLarge(LARGEST + 1));
    for text in ["", "x", "[]", "null", "{}", "\"{}\"", "{\"v\":1}"] {
        assert!(matches!(refused(text.as_bytes()), NotARecord::Unreadable(_)), "{text}");
    }
    let field = |name: &'static str, value: Value| match refused(&envelope(|e| {
        drop(e.insert(name.to_owned(), value));
    })) {
        NotARecord::Envelope { field, .. } => field,
        other => panic!("{name}: {other}"),
    };
    assert_eq!(field("kind", json!("")), "kind");
    assert_eq!(field("kind", json!("k".repeat(41))), "kind");
    assert_eq!(field("kind", json!("a\nb")), "kind");
    assert_eq!(field("tablet", json!("")), "tablet");
    assert_eq!(field("tablet", json!("t".repeat(41))), "tablet");
    assert_eq!(field("id", json!("00000000-0000-0000-0000-000000000000")), "id");
    assert_eq!(field("by", json!("")), "signer");
    assert_eq!(field("written_by", json!("w".repeat(41))), "signer");
    assert_eq!(field("client", json!("c".repeat(81))), "client");
    assert_eq!(field("number", json!(0)), "number");
    assert_eq!(field("body", json!("text")), "body");
    assert_eq!(field("body", json!(null)), "body");
    for (name, value) in [("at", json!("noon")), ("id", json!("x")), ("number", json!(-1)), ("v", json!(1.5))]
    {
        let bytes = envelope(|e| drop(e.insert(name.to_owned(), value)));
        assert!(matches!(refused(&bytes), NotARecord::Unreadable(_)), "{name}");
    }
    // The same field twice is no record: one reader takes the first, another the last.
    let twice = String::from_utf8(envelope(|_| ())).unwrap().replacen('{', "{\"by\":\"eva\",", 1);
    assert!(matches!(refused(twice.as_bytes()), NotARecord::Unreadable(_)));
}

/// The desk's records are made here; what this desk would not have made is none of them.
#[test]
fn a_desk_record_that_this_desk_would_not_make_is_refused() {
    let release = json!({"asset": "unit:1", "clears": ["held/1"], "why": "x"});
    let with = |name: &str, value: Value| {
        let mut whole: Value = serde_json::from_slice(&encode("release", &stamp(1), &release)).unwrap();
        whole[name] = value;
        decode(&serde_json::to_vec(&whole).unwrap())
    };
    assert!(with("v", json!(VERSION)).is_ok());
    assert!(with("v", json!(VERSION + 1)).is_err());
    assert!(with("weather", json!(1)).is_err());
    assert!(with("body", json!({"asset": "unit:1"})).is_err());
}

#[test]
fn an_asset_is_a_kind_and_a_number_and_nothing_else() {
    for text in ["unit:117", "facepiece:F-1", "cylinder:a.b_c"] {
        assert_eq!(text.parse::<Asset>().unwrap().to_string(), text);
    }
    let long = format!("unit:{}", "9".repeat(33));
    for wrong in ["117", "unit:", "unit:1 1", "unit:é", "Unit:1", "hose:1", "unit:1:2", long.as_str()] {
        assert!(wrong.parse::<Asset>().is_err(), "{wrong}");
    }
}
