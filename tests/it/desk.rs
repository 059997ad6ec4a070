//! Who may do what at the desk, and that nothing else is taken.

use std::collections::BTreeSet;

use airmuster::service::intake::{IntakeError, Origin};
use airmuster_domain::desk::{Facts, Other, Signer, Wrong, may};
use airmuster_domain::ground::{Done, Kind, Raise};
use airmuster_domain::record::{
    Accepted, Asset, AssetKind, Body, Cadence, Desk, Digest, Doubt, GapDealt, Loan, LoanEnded, Misfit,
    Notice, NoticeDone, NoticeEnded, Part, PinStop, Place, Reach, RecordRef, Register, RulesInForce, Sent,
    Signed, Slot, Stage, TicketJoined, TicketOpened, TicketSplit, TicketStage, Worked,
};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;
use airmuster_domain::upkeep::Upkeep;
use chrono::NaiveDate;
use uuid::Uuid;

use super::common::{
    DAY, HOUR, House, LATER, MINUTE, NOON, SMALL, about, bytes, check, clearing, correction, entered, gauges,
    house, proving, refused, return_of, say, settlement, tested, word,
};

fn raise(kind: Kind) -> Raise {
    let from = RecordRef { id: Uuid::from_u128(5), digest: Digest([5; 32]) };
    Raise {
        asset: Asset::unit("1"),
        key: format!("{}/1", kind.id()),
        kind,
        from,
        run: None,
        step: None,
        item: None,
        at: 0,
        by: None,
        say: "it failed".to_owned(),
        entered: String::new(),
        limit: String::new(),
        basis: String::new(),
        on: None,
    }
}

/// Facts with which nothing but the signer can be wrong.
fn facts(purpose: Purpose) -> Facts {
    let name = RecordRef { id: Uuid::from_u128(6), digest: Digest([6; 32]) };
    Facts {
        by: None,
        second: None,
        open: [Kind::Finding, Kind::Soiled].map(raise).to_vec(),
        family: Some("f".to_owned()),
        check: Some(Done {
            name,
            unit: Asset::unit("1"),
            with: BTreeSet::new(),
            at: 0,
            by: Some("tom".to_owned()),
            purpose,
            profile: "a".to_owned(),
            clean: true,
            good: Vec::new(),
            proved: Vec::new(),
            items: std::collections::BTreeMap::new(),
            seen: BTreeSet::new(),
        }),
        variants: [name.digest].into(),
        signer: Some("one".to_owned()),
        wrong: Some(Wrong {
            unit: "1".to_owned(),
            answered: ["gauges".to_owned()].into(),
            signed: true,
            ..Wrong::default()
        }),
        stage: Some(Stage::OnTheBench),
        shows: true,
        other: Some(Other { stage: Some(Stage::Reported), under: None, held: false }),
        on_ticket: ["finding/1", "finding/2"].map(str::to_owned).into(),
        next_ticket: 3,
        slots: Some(vec![Slot::Reducer]),
        today: day(),
        upkeep: known(),
        ..Facts::default()
    }
}

fn small() -> RulesInForce {
    RulesInForce { text: SMALL.to_owned(), again: Vec::new(), grace_hours: None }
}

fn day() -> NaiveDate {
    "2026-06-09".parse().unwrap()
}

/// Unit 1 with its reducer and its flow test, what its approval names, and a notice about it.
fn known() -> Upkeep {
    let mut upkeep = Upkeep::default();
    let unit = Register::Unit {
        number: "1".to_owned(),
        profile: "a".to_owned(),
        cadence: Cadence::EachShift,
        in_use: true,
        serials: std::collections::BTreeMap::new(),
    };
    let approval =
        |slot| Register::Approval { profile: "a".to_owned(), slot, names: vec!["Brindle part".to_owned()] };
    for desk in [
        Desk::Register(unit),
        Desk::Register(approval(Slot::Reducer)),
        Desk::Register(approval(Slot::Regulator)),
        Desk::Fitting(entered("1", Slot::Reducer)),
        Desk::Upkeep(tested("1")),
        Desk::Notice(notice("n-1", None)),
        Desk::Loan(borrowed("L-9")),
    ] {
        upkeep.hear(&desk, NOON);
    }
    upkeep
}

/// Another department's unit, here until the end of the month.
fn borrowed(unit: &str) -> Loan {
    let [unit, profile, from, theirs, reference, station] =
        [unit, "a", "Harrow Creek", "HC-9", "sheet 5", "north"].map(str::to_owned);
    let due_back = "2026-06-30".parse().unwrap();
    Loan::Borrowed { unit, profile, from, theirs, reference, due_back, station }
}

/// A notice about the reducers of units, to be inspected by a day or not used at all.
fn notice(number: &str, by: Option<NaiveDate>) -> Notice {
    Notice {
        number: number.to_owned(),
        title: "Reducers that freeze".to_owned(),
        source: "letter 7".to_owned(),
        what: "exchange the spring".to_owned(),
        by,
        reach: Reach {
            kind: AssetKind::Unit,
            only: "a".to_owned(),
            slot: Some(Slot::Reducer),
            name: String::new(),
            from: String::new(),
            to: String::new(),
            made_from: None,
            made_to: None,
        },
    }
}

fn sent() -> Sent {
    Sent {
        repairer: "Basin Instruments".to_owned(),
        reference: "BI-7".to_owned(),
        due_back: "2026-07-01".parse().unwrap(),
        loaner: String::new(),
    }
}

#[test]
#[expect(clippy::too_many_lines, reason = "it is a table, and is read as one")]
fn each_desk_record_is_made_by_those_named_here_and_by_nobody_else() {
    use Role::{Administrator, Officer, Technician};
    let unit = Asset::unit("1");
    let name = RecordRef { id: Uuid::from_u128(6), digest: Digest([6; 32]) };
    let station = Register::Station { id: "one".to_owned(), name: "One".to_owned(), order: 1 };
    let move_it = Register::Holder { asset: unit.clone(), place: Place::Bench };
    let table: Vec<(&str, Desk, &[Role], bool)> = vec![
        ("a register entry", Desk::Register(station), &[Administrator], true),
        ("a move", Desk::Register(move_it), &[Officer, Technician, Administrator], true),
        ("a rule table", Desk::Rules(small()), &[Administrator], true),
        ("a return", Desk::Return(return_of("1", vec!["finding/1".to_owned()], name)), &[Technician], false),
        (
            "a release",
            Desk::Release(clearing(unit.clone(), vec!["held/1".to_owned()])),
            &[Administrator],
            false,
        ),
        (
            "a cleaning",
            Desk::Cleaned(clearing(unit.clone(), vec!["soiled/1".to_owned()])),
            &[Technician, Officer],
            false,
        ),
        (
            "a settlement",
            Desk::Settlement(settlement(name.id, &[name.digest], None)),
            &[Officer, Administrator],
            false,
        ),
        ("a correction", Desk::Correction(correction(name, None)), &[Officer, Administrator], false),
        (
            "an acceptance",
            Desk::Accepted(Accepted { unit: "1".to_owned(), check: name }),
            &[Technician, Administrator],
            false,
        ),
        ("a retirement", Desk::Retired(about(unit.clone())), &[Technician, Administrator], false),
        (
            "a stage",
            Desk::TicketStage(TicketStage {
                ticket: 1,
                stage: Stage::AtRepairer,
                note: String::new(),
                sent: Some(sent()),
            }),
            &[Technician],
            false,
        ),
        (
            "a joining",
            Desk::TicketJoined(TicketJoined { ticket: 1, under: 2, why: String::new() }),
            &[Technician],
            false,
        ),
        (
            "a splitting",
            Desk::TicketSplit(TicketSplit {
                ticket: 1,
                grounds: vec!["finding/1".to_owned()],
                into: 3,
                why: String::new(),
            }),
            &[Technician],
            false,
        ),
        ("a part", Desk::Fitting(entered("1", Slot::Regulator)), &[Technician], false),
        ("a loan", Desk::Loan(borrowed("L-8")), &[Officer, Technician, Administrator], false),
        (
            "the end of a loan",
            Desk::LoanEnded(LoanEnded { unit: "L-9".to_owned(), station: None, note: String::new() }),
            &[Officer, Technician, Administrator],
            false,
        ),
        ("a notice", Desk::Notice(notice("n-2", None)), &[Technician, Administrator], false),
        (
            "what a notice asks for",
            Desk::NoticeDone(NoticeDone {
                notice: "n-1".to_owned(),
                asset: unit.clone(),
                what: "looked at".to_owned(),
            }),
            &[Technician],
            false,
        ),
        (
            "the end of a notice",
            Desk::NoticeEnded(NoticeEnded { notice: "n-1".to_owned(), why: "a mistake".to_owned() }),
            &[Administrator],
            false,
        ),
        ("a flow test", Desk::Upkeep(tested("1")), &[Technician], false),
        (
            "work",
            Desk::Worked(Worked {
                ticket: 1,
                text: "opened".to_owned(),
                parts: String::new(),
                readings: String::new(),
            }),
            &[Technician],
            false,
        ),
        ("the proof of one's signature", Desk::Signature(Signed { of: name }), &Role::ALL, false),
        ("PINs allowed again", Desk::PinAllowed(PinStop::of_member("ana")), &[Officer, Administrator], false),
        ("PINs stopped", Desk::PinStopped(PinStop::of_member("ana")), &[], false),
        ("a lack of proof", Desk::Unproven(Signed { of: name }), &[], false),
        ("a wait for a countersignature", Desk::Uncountersigned(Signed { of: name }), &[], false),
        ("that a table’s time was over", Desk::Outdated(Signed { of: name }), &[], false),
        ("a countersignature", Desk::Countersigned(Signed { of: name }), &[Officer, Administrator], false),
        (
            "a gap dealt with",
            Desk::GapDealt(GapDealt {
                tablet: "tablet-4".to_owned(),
                incarnation: None,
                what: Misfit::Twice { number: 3 },
                why: "copied".to_owned(),
            }),
            &[Officer, Administrator],
            false,
        ),
        ("a doubt", Desk::Doubt(Doubt { of: name, why: "time".to_owned() }), &[], false),
        ("a ticket", Desk::TicketOpened(TicketOpened { ticket: 1, asset: unit, because: name }), &[], false),
    ];
    for (what, desk, allowed, console) in table {
        let purpose = if matches!(desk, Desk::Accepted(_)) { Purpose::Acceptance } else { Purpose::Proving };
        let mut facts = facts(purpose);
        if matches!(desk, Desk::Release(_)) {
            facts.open = vec![raise(Kind::Held)];
        }
        if matches!(desk, Desk::Countersigned(_)) {
            (facts.signer, facts.waits) = (Some("two".to_owned()), true);
        }
        assert_eq!(may(&desk, &facts).is_ok(), console, "{what}, unsigned at the console");
        for role in Role::ALL {
            facts.by = Some(Signer {
                id: "one".to_owned(),
                roles: [role].into(),
                qualified: ["f".to_owned()].into(),
            });
            let outcome = may(&desk, &facts);
            assert_eq!(outcome.is_ok(), allowed.contains(&role), "{what} by {}: {outcome:?}", role.id());
            if let Err(refusal) = outcome {
                // What nobody may do is no question of who asks.
                assert_ne!(refusal.forbidden, allowed.is_empty(), "{what}: {refusal:?}");
                assert!(!refusal.say.is_empty(), "{what}");
            }
        }
        facts.by = Some(Signer { id: "none".to_owned(), ..Signer::default() });
        assert!(may(&desk, &facts).is_err(), "{what} by a member without a role");
    }
}

#[tokio::test]
async fn a_proving_check_is_good_for_what_was_there_before_it_and_for_nothing_later() {
    let h = house().await;
    let first = failed(&h, "1").await;
    h.pass(MINUTE);
    let good = h.prove("1").await;
    h.pass(MINUTE);
    h.desk("return", "tom", &return_of("1", vec![first.clone()], good)).await.unwrap();
    assert_eq!(h.state("1").await, State::InService);
    h.pass(MINUTE);
    let second = failed(&h, "1").await;
    assert_ne!(second, first);
    h.pass(MINUTE);
    let told =
        h.desk("return", "tom", &return_of("1", vec![second.clone()], good)).await.unwrap_err().to_string();
    assert!(told.contains("came in after the proving check"), "{told}");
    assert_eq!(h.state("1").await, State::OutOfService);
    let again = h.prove("1").await;
    h.pass(MINUTE);
    h.desk("return", "tom", &return_of("1", vec![second], again)).await.unwrap();
    assert_eq!(h.state("1").await, State::InService);
}

/// A unit with its gauges apart. Gives the key of the finding.
async fn failed(h: &House, unit: &str) -> String {
    h.check("ana", say(check(unit, h.id()), gauges("4400 psi", "3900 psi"))).await;
    h.open(&Asset::unit(unit), "finding").await.pop().unwrap()
}

#[tokio::test]
async fn a_return_is_taken_only_with_everything_that_proves_it() {
    let h = house().await;
    let key = failed(&h, "1").await;
    let good = h.prove("1").await;
    let of_another = h.prove("2").await;
    let no_proving = h.check("tom", check("1", h.id())).await;
    let unclean = h.check("tom", say(proving("1", h.id()), word("strap", false))).await;
    let mut short = proving("1", h.id());
    short.answers.retain(|a| a.step != "gauges");
    let incomplete = h.check("tom", short).await;
    let unsigned = proving("1", h.id());
    let unsigned_bytes = bytes("check", unsigned.run, h.now(), None, &unsigned);
    let r = h.hand_in(unsigned_bytes, Origin::Tablet { proven: None }).await.unwrap();
    let unsigned = RecordRef { id: r.id, digest: r.digest };
    let doubted = proving("1", h.id());
    let doubted_bytes = bytes("check", doubted.run, h.now(), Some("tom"), &doubted);
    let r = h.hand_in(doubted_bytes, Origin::Tablet { proven: None }).await.unwrap();
    let doubted = RecordRef { id: r.id, digest: r.digest };
    let never_seen = RecordRef { id: good.id, digest: Digest([9; 32]) };

    let whole = || return_of("1", vec![key.clone()], good);
    let with = |proving| return_of("1", vec![key.clone()], proving);
    let listing = |keys: &[&str]| return_of("1", keys.iter().map(|k| (*k).to_owned()).collect(), good);
    let mut no_bench_test = whole();
    no_bench_test.bench_test = Some("  ".to_owned());
    let mut no_remedy = whole();
    no_remedy.remedy = String::new();
    let mut no_fault = whole();
    (no_fault.worked_on, no_fault.bench_test) = (vec![], None);
    let not_reproduced = no_fault.clone();
    no_fault.reproduced = "cold, moving, at full pressure".to_owned();
    let mut by_oneself = no_fault.clone();
    by_oneself.second_signer = Some("tom".to_owned());
    let mut by_a_stranger = no_fault.clone();
    by_a_stranger.second_signer = Some("zoe".to_owned());
    let proof = "the proving check must be complete";
    let no_proof = "a return needs a proving check of this unit";
    let elsewhere = "the proving check was made on something else";
    let not_open = "not open any more";
    for (what, by, body, words) in [
        ("by crew", "ana", whole(), "signed by a technician qualified"),
        ("by an officer", "olga", whole(), "signed by a technician qualified"),
        ("by a technician for nothing", "tia", whole(), "signed by a technician qualified"),
        ("by a stranger", "zoe", whole(), "the signer is not in the register"),
        ("without what was done", "tom", no_remedy, "write down what was done"),
        ("without a bench test", "tom", no_bench_test, "needs a bench test's result"),
        ("no fault found, nothing tried", "tom", not_reproduced, "needs the conditions reproduced"),
        ("no fault found, one signer", "tom", no_fault.clone(), "needs a second signer"),
        ("no fault found, twice oneself", "tom", by_oneself, "needs a second signer"),
        ("no fault found, with a stranger", "tom", by_a_stranger, "needs a second signer"),
        ("with a check that is not there", "tom", with(never_seen), no_proof),
        ("with an unsigned check", "tom", with(unsigned), no_proof),
        ("with a doubted check", "tom", with(doubted), no_proof),
        ("with a check for another purpose", "tom", with(no_proving), proof),
        ("with something left to put right", "tom", with(unclean), proof),
        ("with a step left out", "tom", with(incomplete), proof),
        ("with another unit's check", "tom", with(of_another), elsewhere),
        ("listing nothing", "tom", listing(&[]), "name what this is about"),
        ("listing what was never there", "tom", listing(&["finding/never"]), not_open),
        ("listing something else beside it", "tom", listing(&[&key, "finding/never"]), not_open),
    ] {
        let told = refused(h.desk("return", by, &body).await);
        assert!(told.contains(words), "{what}: {told}");
        assert!(h.open(&Asset::unit("1"), "finding").await.contains(&key), "{what}");
    }
    no_fault.second_signer = Some("ana".to_owned());
    // The doubted check raised too, and an officer looks at that.
    h.desk("settlement", "olga", &settlement(doubted.id, &[doubted.digest], None)).await.unwrap();
    h.desk("return", "tom", &no_fault).await.unwrap();
    assert!(h.open(&Asset::unit("1"), "finding").await.is_empty());
    let again = refused(h.desk("return", "tom", &whole()).await);
    assert!(again.contains(not_open), "a list that has expired: {again}");
    h.verified().await;
}

#[tokio::test]
async fn a_return_is_signed_by_someone_qualified_for_that_kind_of_unit() {
    let h = house().await;
    h.register_unit("9", "b", true).await;
    let mut bad = say(check("9", h.id()), gauges("5400 psi", "4900 psi"));
    bad.profile = "b".to_owned();
    h.check("ana", bad).await;
    let key = h.open(&Asset::unit("9"), "finding").await;
    let mut good = say(proving("9", h.id()), gauges("5400 psi", "5400 psi"));
    good.profile = "b".to_owned();
    let good = h.check("tom", say(good, super::common::pressure("5400 psi"))).await;
    let told = refused(h.desk("return", "tom", &return_of("9", key.clone(), good)).await);
    assert!(told.contains("qualified"), "{told}");
    // Of a unit that the register does not know nobody can say who is qualified.
    let key = failed(&h, "unknown").await;
    let good = h.prove("unknown").await;
    let told = refused(h.desk("return", "tom", &return_of("unknown", vec![key], good)).await);
    assert!(told.contains("qualified"), "{told}");
}

#[tokio::test]
async fn a_return_whose_proof_is_voided_later_leaves_the_finding_open_and_on_the_bench() {
    let h = house().await;
    let key = failed(&h, "1").await;
    let proof = h.prove("1").await;
    let first = h.store.open_tickets().await.unwrap().remove(0).ticket;
    h.desk("return", "tom", &return_of("1", vec![key.clone()], proof)).await.unwrap();
    assert_eq!(h.state("1").await, State::InService);
    assert!(h.store.open_tickets().await.unwrap().is_empty());
    h.desk("correction", "olga", &correction(proof, None)).await.unwrap();
    assert_eq!(h.state("1").await, State::OutOfService);
    assert_eq!(h.open(&Asset::unit("1"), "finding").await, [key]);
    let open = h.store.open_tickets().await.unwrap();
    assert_eq!(open.len(), 1, "it must be on somebody's bench");
    assert_ne!(open[0].ticket, first);
    h.verified().await;

    // The same where another version of the proof turns up.
    let key = failed(&h, "2").await;
    let id = h.id();
    let proof = h.check("tom", proving("2", id)).await;
    h.desk("return", "tom", &return_of("2", vec![key], proof)).await.unwrap();
    let other = bytes("check", id, h.now() + 1, Some("tom"), &proving("2", id));
    h.hand_in(other, Origin::Tablet { proven: Some("tom".to_owned()) }).await.unwrap();
    assert_eq!(h.state("2").await, State::OutOfService);
    assert!(h.store.open_tickets().await.unwrap().iter().any(|t| t.asset == Asset::unit("2")));
    h.verified().await;
}

#[tokio::test]
async fn nothing_is_written_at_the_desk_from_a_tablet_or_unsigned_or_for_later() {
    let h = house().await;
    let key = failed(&h, "1").await;
    let proof = h.prove("1").await;
    let body = return_of("1", vec![key], proof);
    let make = |by, at| bytes("return", h.id(), at, by, &body);
    for (what, record, origin, words, forbidden) in [
        (
            "from a tablet",
            make(Some("tom"), h.now()),
            Origin::Tablet { proven: Some("tom".to_owned()) },
            "not on a tablet",
            true,
        ),
        ("unsigned at the desk", make(None, h.now()), Origin::Desk, "needs a signature", true),
        ("unsigned at the console", make(None, h.now()), Origin::Console, "qualified", true),
        ("for later", make(Some("tom"), h.now() + DAY), Origin::Desk, "dated later than now", false),
    ] {
        match h.hand_in(record, origin).await {
            Err(IntakeError::Refused(r)) => {
                assert!(r.say.contains(words) && r.forbidden == forbidden, "{what}: {r:?}");
            }
            other => panic!("{what}: {other:?}"),
        }
    }
    assert_eq!(h.state("1").await, State::OutOfService);
    assert_eq!(h.store.open_tickets().await.unwrap().len(), 1);
}

#[tokio::test]
async fn while_something_is_held_nothing_may_be_done_to_it_until_an_administrator_releases_it() {
    let h = house().await;
    let unit = Asset::unit("1");
    let key = failed(&h, "1").await;
    let proof = h.prove("1").await;
    let ticket = h.store.open_tickets().await.unwrap()[0].ticket;
    h.field("hold", "ben", &about(unit.clone())).await;
    assert_eq!(h.state("1").await, State::Held);
    let held = "held for an inquiry";
    let text = "opened".to_owned();
    let work = Worked { ticket, text, parts: String::new(), readings: String::new() };
    let returning = return_of("1", vec![key], proof);
    assert!(refused(h.desk("return", "tom", &returning).await).contains(held));
    assert!(refused(h.desk("worked", "tom", &work).await).contains(held));
    assert!(refused(h.desk("retired", "ada", &about(unit.clone())).await).contains(held));
    h.check("ana", check("1", h.id())).await;
    assert_eq!(h.state("1").await, State::Held, "a good check changes nothing");

    let holds = h.open(&unit, "held").await;
    let release = clearing(unit.clone(), holds);
    for by in ["ben", "olga", "tom"] {
        assert!(refused(h.desk("release", by, &release).await).contains("administrator"), "{by}");
    }
    h.desk("release", "ada", &release).await.unwrap();
    assert_eq!(h.state("1").await, State::OutOfService, "what was found before the hold is found still");
    h.desk("worked", "tom", &work).await.unwrap();
    h.desk("return", "tom", &returning).await.unwrap();
    assert_eq!(h.state("1").await, State::InService);
    h.verified().await;
}

#[tokio::test]
async fn a_ticket_opens_by_itself_once_and_ends_with_the_return_of_everything() {
    let h = house().await;
    let unit = Asset::unit("1");
    let first = failed(&h, "1").await;
    h.field("taken_out", "ben", &about(unit.clone())).await;
    let pulled = h.open(&unit, "taken-out").await.remove(0);
    let tickets = h.store.tickets_of(&unit).await.unwrap();
    assert_eq!(tickets.len(), 1, "the second finding joins the same ticket");
    let ticket = tickets[0].ticket;
    let opened = h.logbook().await.into_iter().filter(|r| r.envelope.kind == "ticket_opened").count();
    assert_eq!(opened, 1);

    let stage = |stage| TicketStage { ticket, stage, note: String::new(), sent: None };
    h.desk("ticket_stage", "tom", &stage(Stage::OnTheBench)).await.unwrap();
    for ended in [Stage::Returned, Stage::Retired] {
        let told = refused(h.desk("ticket_stage", "tom", &stage(ended)).await);
        assert!(told.contains("ends with a return"), "{told}");
    }
    let proof = h.prove("1").await;
    h.desk("return", "tom", &return_of("1", vec![first], proof)).await.unwrap();
    assert_eq!(h.state("1").await, State::OutOfService);
    assert_eq!(
        h.store.ticket(ticket).await.unwrap().unwrap().stage,
        Stage::OnTheBench,
        "a part keeps it open"
    );
    h.desk("return", "tom", &return_of("1", vec![pulled], proof)).await.unwrap();
    assert_eq!(h.store.ticket(ticket).await.unwrap().unwrap().stage, Stage::Returned);
    assert_eq!(h.state("1").await, State::InService);
    let told = refused(h.desk("ticket_stage", "tom", &stage(Stage::OnTheBench)).await);
    assert!(told.contains("closed"), "{told}");
    let unknown = TicketStage { ticket: 99, stage: Stage::OnTheBench, note: String::new(), sent: None };
    assert!(refused(h.desk("ticket_stage", "tom", &unknown).await).contains("no such ticket"));

    failed(&h, "1").await;
    assert_eq!(h.store.tickets_of(&unit).await.unwrap().len(), 2, "what fails later is another job");
    // A facepiece that failed is a job of its own; its unit is not.
    let mut seal = word("seal", false);
    seal.item = Some("F1".to_owned());
    h.check("ana", say(check("2", h.id()), seal)).await;
    assert_eq!(h.store.tickets_of(&Asset::facepiece("F1")).await.unwrap().len(), 1);
    assert!(h.store.tickets_of(&Asset::unit("2")).await.unwrap().is_empty());
    h.verified().await;
}

#[tokio::test]
async fn what_is_retired_never_comes_back() {
    let h = house().await;
    let unit = Asset::unit("1");
    let key = failed(&h, "1").await;
    let proof = h.prove("1").await;
    h.desk("retired", "tom", &about(unit.clone())).await.unwrap();
    assert!(h.store.open_tickets().await.unwrap().is_empty(), "its job is over");
    let _ = h.desk("return", "tom", &return_of("1", vec![key], proof)).await;
    h.check("ana", check("1", h.id())).await;
    h.register_unit("1", "a", true).await;
    let grounds = h.open(&unit, "retired").await;
    for kind in ["release", "cleaned"] {
        let by = if kind == "release" { "ada" } else { "tom" };
        refused(h.desk(kind, by, &clearing(unit.clone(), grounds.clone())).await);
    }
    failed(&h, "1").await;
    assert!(h.store.open_tickets().await.unwrap().is_empty(), "nobody repairs it");
    for days in [0, 40, 4_000] {
        h.pass(days * DAY);
        assert_eq!(h.state("1").await, State::Retired);
    }
    h.verified().await;
}

#[tokio::test]
async fn a_new_unit_rides_only_after_acceptance_with_an_acceptance_check_of_its_own() {
    let h = house().await;
    h.register_unit("9", "a", false).await;
    h.labelled("9", "a").await;
    let accept = |check| Accepted { unit: "9".to_owned(), check };
    let needs = "acceptance needs a complete good acceptance check";
    let plain = h.check("tom", check("9", h.id())).await;
    assert!(refused(h.desk("accepted", "tom", &accept(plain)).await).contains(needs));
    let acceptance = |unit: &str| {
        let mut c = check(unit, h.id());
        c.purpose = Purpose::Acceptance;
        c
    };
    let of_another = h.check("tom", acceptance("1")).await;
    assert!(refused(h.desk("accepted", "tom", &accept(of_another)).await).contains(needs));
    let bad = h.check("tom", say(acceptance("9"), word("strap", false))).await;
    assert!(refused(h.desk("accepted", "tom", &accept(bad)).await).contains(needs));
    assert_eq!(h.state("9").await, State::OutOfService);
    let mut good = acceptance("9");
    good.seen = h.open(&Asset::unit("9"), "put-right").await;
    let good = h.check("tom", good).await;
    h.desk("accepted", "tom", &accept(good)).await.unwrap();
    assert_eq!(h.state("9").await, State::InService);
    h.register_unit("9", "a", false).await;
    assert_eq!(h.state("9").await, State::InService, "to register it anew asks nothing again");
    h.verified().await;
}

#[tokio::test]
async fn an_entry_that_leans_on_nothing_is_refused_in_words() {
    let h = house().await;
    let s = str::to_owned;
    let seat =
        |rig: &str| Register::Seat { id: s("s1"), rig: s(rig), name: s("Officer"), kit: false, order: 1 };
    let rig = |station: &str| Register::Rig { id: s("e1"), name: s("Engine"), station: s(station), order: 1 };
    let put = |place| Register::Holder { asset: Asset::unit("1"), place };
    let asset = Asset::facepiece("F1");
    let with_none = Register::Holder { asset, place: Place::With { unit: s("none") } };
    let member = Register::Member { id: s("x"), roles: vec![s("chief")], qualified: vec![] };
    let zone = Register::Department {
        name: s("x"),
        zone: s("Middle/Earth"),
        shift_start: s("07:00"),
        shift_hours: 24,
        early_minutes: 1,
        grace_minutes: 1,
    };
    let number = Register::Unit {
        number: s("1 7"),
        profile: s("a"),
        cadence: Cadence::Weekly,
        in_use: true,
        serials: std::collections::BTreeMap::new(),
    };
    for (entry, words) in [
        (rig("nowhere"), "no station “nowhere”"),
        (seat("nothing"), "no rig “nothing”"),
        (put(Place::Seat { seat: s("none") }), "no seat “none”"),
        (put(Place::Spare { station: s("none") }), "no station “none”"),
        (with_none, "no unit “none”"),
        (member, "“chief” is not a role"),
        (zone, "is not a time zone"),
        (number, "cannot be a number"),
    ] {
        let told = refused(h.desk("register", "ada", &entry).await);
        assert!(told.contains(words), "{told}");
    }
    let told = refused(
        h.desk(
            "rules",
            "ada",
            &RulesInForce { text: SMALL.replace("psi", "furlong"), again: Vec::new(), grace_hours: None },
        )
        .await,
    );
    assert!(told.contains("line "), "{told}");
    h.desk("register", "ada", &Register::Station { id: s("one"), name: s("One"), order: 1 }).await.unwrap();
    h.desk("register", "ada", &rig("one")).await.unwrap();
    h.desk("register", "ada", &seat("e1")).await.unwrap();
    h.desk("register", "ada", &put(Place::Seat { seat: s("s1") })).await.unwrap();
}

#[tokio::test]
async fn a_correction_never_makes_a_unit_better() {
    let h = house().await;
    let good = h.check("ana", check("1", h.id())).await;
    h.pass(MINUTE);
    let key = failed(&h, "2").await;
    assert_eq!(h.logbook().await.last().unwrap().envelope.kind, "ticket_opened");
    let bad = h.logbook().await.into_iter().rev().find(|r| r.envelope.kind == "check").unwrap().name;
    h.desk("correction", "olga", &correction(bad, Some(("3", "a")))).await.unwrap();
    assert_eq!(h.open(&Asset::unit("2"), "finding").await, [key], "what was written down stays");
    assert_eq!(h.state("3").await, State::OutOfService, "and is found on the right one too");
    let on_bench = h.store.open_tickets().await.unwrap();
    assert!(on_bench.iter().any(|t| t.asset == Asset::unit("3")));
    h.desk("correction", "olga", &correction(good, Some(("4", "a")))).await.unwrap();
    assert_eq!(h.state("1").await, State::CheckDue);
    assert_eq!(h.state("4").await, State::CheckDue, "a check moved here does not count as one");
    let missing = RecordRef { id: good.id, digest: Digest([3; 32]) };
    assert!(
        refused(h.desk("correction", "olga", &correction(missing, None)).await)
            .contains("not in the logbook")
    );
    h.verified().await;
}

/// Only the parts whose work is to be proved on the bench ask for it.
#[test]
fn only_other_work_needs_no_bench_test() {
    assert!(Part::ALL.into_iter().filter(|p| !p.needs_bench_test()).eq([Part::Other]));
}

#[tokio::test]
async fn a_check_by_a_replaced_rule_table_counts_for_the_hours_that_were_granted_and_what_it_finds_for_ever()
{
    let h = house().await;
    let later = RulesInForce { text: LATER.to_owned(), again: Vec::new(), grace_hours: Some(24) };
    h.desk("rules", "ada", &later).await.unwrap();
    // Tablets that had fetched the form before hand in what was made with it.
    h.pass(24 * HOUR);
    let in_time = h.check("ana", check("1", h.id())).await;
    h.pass(1);
    let good = h.check("ana", check("2", h.id())).await;
    let bad = h.check("ana", say(check("3", h.id()), gauges("4400 psi", "3900 psi"))).await;
    let mut newer = check("4", h.id());
    newer.rules = Digest::of(LATER.as_bytes());
    h.check("ana", newer).await;
    assert_eq!(h.state("1").await, State::InService);
    assert_eq!(h.state("2").await, State::CheckDue, "that it was good does not count");
    assert_eq!(h.state("3").await, State::OutOfService, "what it found does");
    assert_eq!(h.state("4").await, State::InService);
    let told: Vec<Body> =
        h.logbook().await.into_iter().filter(|r| r.envelope.kind == "outdated").map(|r| r.body).collect();
    let of = |name| Body::Desk(Desk::Outdated(Signed { of: name }));
    assert_eq!(told, [of(good), of(bad)]);
    // Handed in late, it counts by when it was made.
    let mut late = check("2", h.id());
    late.started = NOON;
    let made = bytes("check", late.run, in_time_of(&h, in_time).await, Some("ana"), &late);
    h.hand_in(made, Origin::Tablet { proven: Some("ana".to_owned()) }).await.unwrap();
    assert_eq!(h.state("2").await, State::InService);
    // In force again, its time begins anew; put in force without a word about it, it has no end.
    h.desk("rules", "ada", &RulesInForce { text: SMALL.to_owned(), again: Vec::new(), grace_hours: None })
        .await
        .unwrap();
    h.pass(30 * 24 * HOUR);
    let mut newer = check("1", h.id());
    newer.rules = Digest::of(LATER.as_bytes());
    h.check("ana", newer).await;
    h.check("ana", check("4", h.id())).await;
    assert_eq!((h.state("1").await, h.state("4").await), (State::InService, State::InService));
    h.verified().await;
}

/// When a check that is here was made.
async fn in_time_of(h: &House, name: RecordRef) -> i64 {
    let all = h.store.variants(name.id).await.unwrap();
    all[0].record.envelope.time()
}
