//! A pool of records, encoded once, from which random histories are drawn: one or two of
//! everything that can be written about two units, two facepieces and two cylinders.

use std::sync::LazyLock;

use airmuster_domain::ground::effects;
use airmuster_domain::record::{
    Accepted, AirSample, Asset, AssetKind, Component, Condition, Correction, Desk, Digest, Doubt, Field,
    Fill, Fitting, GapDealt, Leaving, Left, Loan, LoanEnded, Marks, Misfit, Move, Moved, Notice, NoticeDone,
    NoticeEnded, Outcome, Photo, Place, Reach, Record, Register, Reviewed, RigAccepted, Settlement, Signed,
    Slot, Spec, TicketApart, TicketJoined, TicketSplit, Upkept, Used, Work,
};
use airmuster_domain::record::{Body, decode};

use super::*;

/// All that can happen in these tests.
pub struct Pool {
    /// Field records.
    pub fields: Vec<Record>,
    /// Desk records.
    pub desk: Vec<Record>,
    /// Desk records of which follows what hangs on the date: upkeep, notices, loans. The oracle does not
    /// know them.
    pub dated: Vec<Record>,
    /// Registers units, facepieces and cylinders: the desk's usual beginning.
    pub registered: Vec<Record>,
    /// A good check of unit 1, today at noon.
    pub good: Record,
}

/// Moments at which standings are asked for: before everything, at noon, when what was dated ahead
/// has come, when checks have run out, and the ends of time.
pub const NOWS: [Millis; 6] = [i64::MIN, NOON - 2 * DAY, NOON, NOON + HOUR, NOON + 30 * DAY, i64::MAX];

/// Everything that a standing can be asked of here.
pub static ASSETS: LazyLock<Vec<Asset>> = LazyLock::new(|| {
    let kinds = [Asset::unit as fn(&str) -> Asset, Asset::facepiece, Asset::cylinder];
    kinds.into_iter().flat_map(|make| [make("1"), make("2")]).collect()
});

pub static POOL: LazyLock<Pool> = LazyLock::new(pool);

fn keys(records: &[Record], of: &Asset) -> Vec<String> {
    let mut tables = tables();
    records
        .iter()
        .flat_map(|r| effects(r, &mut tables).raises)
        .filter(|r| r.asset == *of)
        .map(|r| r.key)
        .collect()
}

fn low() -> Answer {
    pressure("3900 psi")
}

fn apart() -> Answer {
    gauges("4400 psi", "3900 psi")
}

/// Records that raise, knowing nothing of each other.
fn raising() -> Vec<Record> {
    let used = |n, condition, after_use| {
        let (unit, what) = ("1".to_owned(), "a burn".to_owned());
        let body = Used { unit, what, condition, after_use, ..Used::default() };
        record("used", n, NOON, Some("ana"), &body)
    };
    let strap = |good, attempt| again(word("strap", good), attempt);
    let seal = |good, attempt, item| on(again(word("seal", good), attempt), item);
    vec![
        check(1, "1").record(),
        check(2, "1").at(NOON + 30 * MINUTE).record(),
        check(3, "1").at(NOON - 20 * DAY).kit(Some("1"), Some("1")).record(),
        check(4, "2").kit(Some("2"), None).record(),
        check(5, "1").profile("b").say(&[pressure("5000 psi")]).record(),
        check(6, "1").unsigned().record(),
        // Gauges apart: at once, broken off, unsigned; then the complete check of the same run.
        check(7, "1").only(&[apart()]).outcome(Outcome::BrokenOff, 8).record(),
        check(8, "1").say(&[apart()]).record(),
        check(9, "1").say(&[again(apart(), 1), again(gauges("4400 psi", "4400 psi"), 2)]).record(),
        check(10, "2").say(&[apart()]).record(),
        // To be put right: left so, put right, put right by another cylinder, not to be put right.
        check(11, "1").say(&[low()]).record(),
        check(12, "1").say(&[low(), again(pressure("4400 psi"), 2)]).record(),
        check(13, "1").say(&[on(low(), "1"), on(again(pressure("4400 psi"), 2), "2")]).record(),
        check(14, "1").say(&[on(low(), "1"), on(again(low(), 2), "1")]).record(),
        check(15, "1").say(&[strap(false, 1), strap(false, 2)]).record(),
        check(16, "1").say(&[strap(false, 1)]).unsigned().record(),
        // A facepiece that lets go: alone, with another that holds, with the same tried again.
        check(17, "1").say(&[seal(false, 1, "1")]).kit(Some("1"), None).record(),
        check(18, "1").say(&[seal(false, 1, "1"), seal(true, 2, "2")]).kit(Some("2"), None).record(),
        check(19, "1").say(&[seal(false, 1, "1"), seal(true, 2, "1")]).record(),
        check(20, "1").say(&[word("seal", false)]).kit(Some("1"), None).record(),
        // The bell; an answer missing; an answer that cannot be read.
        check(21, "1").only(&[low()]).outcome(Outcome::Stopped, 22).record(),
        check(22, "1").record(),
        check(23, "1").only(&[word("strap", true)]).record(),
        check(24, "1").say(&[pressure("4400")]).record(),
        check(25, "1").rules(Digest::of(b"nobody knows this table")).record(),
        check(26, "1").profile("z").say(&[apart()]).record(),
        // A member's word.
        about("taken_out", 30, Asset::unit("1"), "it hisses"),
        about("taken_out", 31, Asset::facepiece("1"), "scratched"),
        about("hold", 32, Asset::unit("1"), "accident"),
        about("hold", 33, Asset::cylinder("1"), "accident"),
        about("note", 34, Asset::unit("1"), "new label"),
        photo(40, "1"),
        photo(40, "2"),
        reviewed(41),
        used(35, Condition::Clean, false),
        used(36, Condition::Soiled, true),
        used(37, Condition::Contaminated, false),
        used(42, Condition::Clean, true),
        // What this program cannot read.
        about("sung_to", 38, Asset::unit("1"), "a kind from later"),
        later(39),
        // The same ids with other bytes.
        check(1, "1").say(&[apart()]).record(),
        check(1, "2").record(),
        check(17, "1").record(),
        about("taken_out", 30, Asset::unit("2"), "it hisses"),
    ]
}

/// A rig accepted with unit 1 on it.
fn reviewed(n: u128) -> Record {
    let seat = Reviewed {
        seat: "e2-1".to_owned(),
        asset: Some(Asset::unit("1")),
        member: Some("ana".to_owned()),
        ready: true,
        word: None,
    };
    let body = RigAccepted { rig: "e2".to_owned(), shift: NOON, places: vec![seat] };
    record("rig_accepted", n, NOON, Some("olga"), &body)
}

fn photo(n: u128, unit: &str) -> Record {
    let body = Photo {
        asset: Asset::unit(unit),
        photo: Digest::of(b"a picture"),
        run: Some(uuid(7)),
        step: Some("gauges".to_owned()),
        what: "the gauge".to_owned(),
    };
    record("photo", n, NOON, None, &body)
}

/// A check of a later version.
fn later(n: u128) -> Record {
    let Body::Field(Field::Check(c)) = check(n, "1").record().body else { unreachable!() };
    let bytes = encode(
        "check",
        &Stamp {
            id: uuid(n),
            tablet: "t1".to_owned(),
            at: NOON,
            by: Some("ana".to_owned()),
            ..Stamp::default()
        },
        &c,
    );
    decode(&String::from_utf8(bytes).unwrap().replacen("\"v\":1", "\"v\":2", 1).into_bytes()).unwrap()
}

/// Field records by people who were shown what there was.
fn knowing(raised: &[Record]) -> Vec<Record> {
    let all = keys(raised, &Asset::unit("1"));
    let put_right: Vec<&String> =
        all.iter().filter(|k| k.starts_with("put-right") || k.starts_with("another")).collect();
    let seal = |item| on(word("seal", true), item);
    vec![
        check(50, "1").seen(&all).record(),
        check(51, "1").seen(&all).unsigned().record(),
        check(52, "1").seen(&put_right).at(NOON + 30 * MINUTE).record(),
        check(53, "1").seen(&all).say(&[seal("2")]).record(),
        check(54, "1").seen(&all).say(&[seal("1")]).record(),
        check(55, "1").seen(&all).kit(Some("2"), None).record(),
        check(56, "1").seen(&all).only(&[pressure("4400 psi"), word("strap", true)]).record(),
        check(57, "2").seen(&all).record(),
        check(58, "1").seen(&all).say(&[low()]).record(),
        check(59, "1").seen(&all).purpose(Purpose::AfterUse).record(),
        check(64, "1").seen(&all).purpose(Purpose::Periodic).record(),
        check(65, "1").purpose(Purpose::AfterUse).record(),
        proving(66, "1").seen(&all).record(),
        // The same id as the first of these, and knowing less.
        check(50, "1").record(),
    ]
}

/// Checks by people who were shown what the desk's corrections ask for.
fn done_again(desk: &[Record]) -> Vec<Record> {
    let mut asked = Vec::new();
    for r in desk {
        if let Body::Desk(Desk::Correction(c)) = &r.body {
            asked.push(format!("check-again/{}", r.name.digest));
            asked.extend(c.misread.iter().map(|step| format!("misread/{}/{step}", r.name.digest)));
        }
    }
    let by = |who: &str, made: Making| Making { by: Some(who.to_owned()), ..made.seen(&asked) }.record();
    vec![
        by("ana", check(60, "1")),
        by("ben", check(61, "1").at(NOON + 1)),
        by("ben", check(62, "1").say(&[word("strap", false)])),
        by("ben", check(63, "2")),
    ]
}

fn proofs() -> Vec<Record> {
    let seal = |good, attempt, item| on(again(word("seal", good), attempt), item);
    vec![
        proving(70, "1").kit(Some("1"), Some("1")).record(),
        proving(71, "1").say(&[word("bench", false)]).record(),
        proving(72, "2").kit(Some("1"), None).record(),
        proving(73, "1").at(NOON + 30 * MINUTE).record(),
        proving(74, "1").say(&[seal(false, 1, "1"), seal(true, 2, "2")]).kit(Some("1"), None).record(),
        proving(75, "1").outcome(Outcome::Stopped, 76).record(),
        proving(70, "1").kit(Some("1"), Some("1")).at(NOON + 1).record(),
    ]
}

fn at_the_desk(raised: &[Record], known: &[Record], proofs: &[Record]) -> Vec<Record> {
    let (one, face) = (Asset::unit("1"), Asset::facepiece("1"));
    let everything: Vec<Record> = raised.iter().chain(known).chain(proofs).cloned().collect();
    let all = keys(&everything, &one);
    let half: Vec<&String> = all.iter().step_by(2).collect();
    let settle = |n, id: u128, variants: &[&Record], accepted: Option<&Record>| {
        let body = Settlement {
            id: uuid(id),
            variants: variants.iter().map(|r| r.name.digest).collect(),
            accepted: accepted.map(|r| r.name.digest),
            why: "asked both".to_owned(),
        };
        record("settlement", n, NOON, Some("olga"), &body)
    };
    let doubt =
        |n, of: &Record| record("doubt", n, NOON, None, &Doubt { of: of.name, why: "next year".to_owned() });
    let signed = |kind, n, of: &Record| record(kind, n, NOON, Some("cora"), &Signed { of: of.name });
    let correct = |n, of: &Record, right: Option<(&str, &str)>, misread: &[&str]| {
        let body = Correction {
            of: of.name,
            replaces: Vec::new(),
            misread: misread.iter().map(|s| (*s).to_owned()).collect(),
            right_unit: right.map(|(u, p)| (u.to_owned(), p.to_owned())),
            why: "wrong".to_owned(),
        };
        record("correction", n, NOON, Some("olga"), &body)
    };
    let find = |n: u128| everything.iter().filter(|r| r.name.id == uuid(n)).collect::<Vec<_>>();
    let ones = find(1);
    let mut desk = vec![
        register_unit(100, "1", "a", false),
        register_unit(101, "1", "b", true),
        returned(110, one.clone(), &all, proofs[0].name),
        returned(111, one.clone(), &half, proofs[0].name),
        returned(112, one.clone(), &all, proofs[1].name),
        returned(113, one.clone(), &all, proofs[2].name),
        returned(114, one.clone(), &all, proofs[3].name),
        returned(115, one.clone(), &all, proofs[5].name),
        returned(116, one.clone(), &all, raised[0].name),
        returned(117, face.clone(), &keys(&everything, &face), proofs[0].name),
        returned(118, face.clone(), &keys(&everything, &face), proofs[4].name),
        returned(119, Asset::unit("2"), &keys(&everything, &Asset::unit("2")), proofs[2].name),
        clearing("release", 120, one.clone(), &all),
        clearing("release", 121, Asset::cylinder("1"), &all),
        clearing("cleaned", 122, one.clone(), &all),
        settle(130, 1, &ones, Some(ones[0])),
        settle(131, 1, &ones, Some(ones[1])),
        settle(132, 1, &ones, None),
        settle(133, 1, &ones[..2], Some(ones[0])),
        settle(134, 17, &find(17), Some(find(17)[1])),
        settle(135, 24, &find(24), Some(find(24)[0])),
        settle(136, 25, &find(25), None),
        settle(137, 39, &find(39), Some(find(39)[0])),
        settle(138, 70, &find(70), Some(find(70)[0])),
        doubt(140, &raised[0]),
        doubt(141, &proofs[0]),
        doubt(142, find(50)[0]),
        signed("unproven", 143, &proofs[0]),
        signed("signature", 144, &proofs[0]),
        signed("unproven", 145, &raised[0]),
        signed("unproven", 146, find(70)[0]),
        signed("uncountersigned", 147, &proofs[0]),
        signed("countersigned", 148, &proofs[0]),
        signed("uncountersigned", 149, find(70)[0]),
        signed("outdated", 181, &proofs[0]),
        signed("outdated", 182, find(70)[0]),
        correct(150, &raised[0], None, &["strap", "pressure"]),
        correct(151, find(10)[0], Some(("1", "a")), &[]),
        correct(152, find(10)[0], Some(("1", "z")), &["gauges"]),
        correct(153, &proofs[0], None, &[]),
        correct(154, find(5)[0], Some(("2", "a")), &[]),
        correct(155, find(8)[0], None, &["gauges"]),
        fitted_to(161, Asset::facepiece("1"), "1", NOON),
        fitted_to(162, Asset::facepiece("1"), "2", NOON - 2 * DAY),
        fitted_to(163, Asset::cylinder("1"), "1", NOON),
        fitted_to(164, Asset::facepiece("2"), "1", NOON + 1),
        record("accepted", 160, NOON, Some("tom"), &Accepted { unit: "1".to_owned(), check: proofs[0].name }),
        about("retired", 170, one.clone(), "worn out"),
        about("retired", 171, face, "worn out"),
        about("condemned", 176, Asset::cylinder("1"), "dented"),
        signed("unproven", 174, find(41)[0]),
        doubt(175, find(41)[0]),
        signed("uncountersigned", 172, &raised[0]),
        signed("countersigned", 173, &raised[0]),
    ];
    desk.extend(of_the_bench(one));
    // The same return, dated ahead.
    let Body::Desk(Desk::Return(r)) = &desk[2].body else { unreachable!() };
    desk.push(record("return", 180, NOON + 30 * MINUTE, Some("tom"), r));
    desk
}

fn fitted_to(n: u128, asset: Asset, unit: &str, at: Millis) -> Record {
    let place = Place::With { unit: unit.to_owned() };
    record("register", n, at, Some("tom"), &Register::Holder { asset, place })
}

/// What is written down about parts, tickets, tablets and members.
fn of_the_bench(one: Asset) -> Vec<Record> {
    let fitted = |n, was_there: bool| {
        let part =
            Component { serial: "RG-2".to_owned(), edition: "2018".to_owned(), ..Component::default() };
        let (unit, out) = ("1".to_owned(), (!was_there).then(|| "RG-1".to_owned()));
        let body =
            Fitting { unit, slot: Slot::Regulator, out, part: Some(part), was_there, why: String::new() };
        record("fitting", n, NOON, Some("tom"), &body)
    };
    let changed = fitted(190, false);
    let key = keys(std::slice::from_ref(&changed), &one);
    let desk = |kind, n, body: &dyn erased::Body| body.record(kind, n);
    vec![
        changed,
        fitted(191, true),
        returned(192, one, &key, proving(70, "1").kit(Some("1"), Some("1")).record().name),
        desk("ticket_joined", 193, &TicketJoined { ticket: 1, under: 2, why: String::new() }),
        desk("ticket_apart", 194, &TicketApart { ticket: 1 }),
        desk("ticket_split", 195, &TicketSplit { ticket: 1, grounds: key, into: 3, why: String::new() }),
        desk(
            "gap_dealt",
            196,
            &GapDealt {
                tablet: "t1".to_owned(),
                incarnation: None,
                what: Misfit::Missing { from: 3, to: 4 },
                why: "asked".to_owned(),
            },
        ),
        desk(
            "left",
            197,
            &Left { member: "ana".to_owned(), how: Leaving::Separated, shift: NOON, why: String::new() },
        ),
    ]
}

/// Unit 1 is lent and comes back, unit 2 is another department's and goes back to it.
fn loans() -> Vec<Record> {
    let desk = |kind, n, body: &dyn erased::Body| body.record(kind, n);
    let [due, to, paper] = ["2026-06-20".to_owned(), "Harrow Creek".to_owned(), "sheet 4".to_owned()];
    let lent = |unit: &str| Loan::Lent {
        unit: unit.to_owned(),
        to: to.clone(),
        reference: paper.clone(),
        due_back: due.parse().unwrap(),
    };
    let borrowed = Loan::Borrowed {
        unit: "2".to_owned(),
        profile: "b".to_owned(),
        from: to.clone(),
        theirs: "HC-9".to_owned(),
        reference: paper.clone(),
        due_back: due.parse().unwrap(),
        station: "north".to_owned(),
    };
    let back = |unit: &str, station: Option<&str>| LoanEnded {
        unit: unit.to_owned(),
        station: station.map(str::to_owned),
        note: String::new(),
    };
    vec![
        desk("loan", 310, &lent("1")),
        desk("loan", 311, &borrowed),
        desk("loan_ended", 312, &back("1", Some("north"))),
        desk("loan_ended", 313, &back("2", None)),
    ]
}

/// What grounds hang on that are computed whenever they are asked for.
fn dated() -> Vec<Record> {
    let notice = |n, number: &str, slot: bool, by: Option<&str>| {
        let [number, title, source, what] = [number, "t", "s", "w"].map(str::to_owned);
        let reach = Reach {
            kind: AssetKind::Unit,
            only: if slot { String::new() } else { "a".to_owned() },
            slot: slot.then_some(Slot::Regulator),
            name: String::new(),
            from: if slot { "RG-1".to_owned() } else { String::new() },
            to: if slot { "RG-9".to_owned() } else { String::new() },
            made_from: None,
            made_to: None,
        };
        let by = by.map(|d| d.parse().unwrap());
        record("notice", n, NOON, Some("tom"), &Notice { number, title, source, what, by, reach })
    };
    let done = |n, number: &str, asset: Asset| {
        let body = NoticeDone { notice: number.to_owned(), asset, what: "looked at".to_owned() };
        record("notice_done", n, NOON, Some("tom"), &body)
    };
    let desk = |kind, n, body: &dyn erased::Body| body.record(kind, n);
    let put = |asset: Asset, place: Place| Register::Holder { asset, place };
    let tested = |asset: Asset, work, on: &str, passed| Upkept {
        asset,
        work,
        on: on.parse().unwrap(),
        passed,
        reference: "sheet".to_owned(),
        until: None,
        note: String::new(),
    };
    let sample = |monoxide| AirSample {
        source: "c".to_owned(),
        on: "2026-06-09".parse().unwrap(),
        oxygen: 2090,
        oil: 10,
        monoxide,
        dioxide: 410,
        odour: false,
        reference: "r".to_owned(),
    };
    let marks = Marks {
        volume_ml: 6_800,
        spec: Spec::PermitCarbon,
        made: "2011-06".parse().unwrap(),
        requalified: None,
        life_until: None,
        serial: String::new(),
    };
    let pressure = "4500 psi".parse().unwrap();
    let moved = Moved {
        moves: vec![Move { asset: Asset::unit("1"), from: Some(Place::Repairer), to: Place::Bench }],
        why: "back".to_owned(),
    };
    vec![
        notice(300, "n-1", true, None),
        notice(301, "n-2", false, Some("2026-06-10")),
        done(302, "n-1", Asset::unit("1")),
        done(303, "n-2", Asset::unit("1")),
        desk("notice_ended", 304, &NoticeEnded { notice: "n-1".to_owned(), why: "w".to_owned() }),
        desk("register", 320, &put(Asset::unit("1"), Place::Repairer)),
        desk("moved", 321, &moved),
        desk("register", 325, &put(Asset::facepiece("1"), Place::Repairer)),
        desk("register", 326, &Register::CylinderMarks { number: "1".to_owned(), marks }),
        desk("upkeep", 330, &tested(Asset::unit("1"), Work::FlowTest, "2025-06-20", true)),
        desk("upkeep", 331, &tested(Asset::unit("1"), Work::FlowTest, "2026-06-01", false)),
        desk(
            "fill",
            340,
            &Fill { cylinder: "1".to_owned(), source: "c".to_owned(), pressure, celsius: None },
        ),
        desk("air_sample", 341, &sample(140)),
        desk("air_sample", 342, &sample(12)),
        desk("upkeep", 343, &tested(Asset::cylinder("1"), Work::AirReplaced, "2026-06-09", true)),
    ]
}

/// Records of many kinds in one list.
mod erased {
    use super::{NOON, Record, Serialize, record};

    pub trait Body {
        fn record(&self, kind: &str, n: u128) -> Record;
    }

    impl<T: Serialize> Body for T {
        fn record(&self, kind: &str, n: u128) -> Record {
            record(kind, n, NOON, Some("tom"), self)
        }
    }
}

fn pool() -> Pool {
    let item = |n, facepiece: bool, number: &str| {
        let number = number.to_owned();
        let body = if facepiece {
            Register::Facepiece { number, size: "M".to_owned() }
        } else {
            Register::Cylinder { number, rated: "4500 psi".parse().unwrap() }
        };
        record("register", n, NOON - DAY, Some("ada"), &body)
    };
    let registered = vec![
        register_unit(200, "1", "a", true),
        register_unit(201, "2", "a", true),
        item(202, true, "1"),
        item(203, true, "2"),
        item(204, false, "1"),
        item(205, false, "2"),
    ];
    let (mut fields, proofs) = (raising(), proofs());
    let known = knowing(&fields);
    let desk = at_the_desk(&fields, &known, &proofs);
    let good = fields[0].clone();
    fields.extend(done_again(&desk));
    fields.extend(known);
    fields.extend(proofs);
    let dated = dated().into_iter().chain(loans()).collect();
    Pool { fields, desk, dated, registered, good }
}
