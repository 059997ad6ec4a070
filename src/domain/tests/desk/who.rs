//! Record by record: who may make it, whether the console may, whether a hold or a retirement is
//! against it, and which thing it is about.

use std::collections::BTreeSet;
use std::mem::discriminant;

use airmuster_domain::desk::{Enrolled, Facts, Other, Signer, Wrong, asset_of, may};
use airmuster_domain::ground::Kind;
use airmuster_domain::record::{
    Accepted, Acknowledged, AirSample, Asked, Asset, Cadence, Clearing, Correction, Crew, CylinderRead,
    DESK_KINDS, Desk, Doubt, Duty, Fill, GapDealt, HandOver, Leaving, Left, LoanEnded, Misfit, Move, Moved,
    NoticeDone, NoticeEnded, Part, PersonChanged, Personal, PinStop, Place, Register, Return, RigStatus,
    RulesInForce, Seal, Settlement, Signed, Slot, Spot, Stage, TabletRevoked, TakenOut, TicketApart,
    TicketJoined, TicketOpened, TicketSplit, TicketStage, Work, Worked,
};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;

use super::{anyone, borrowed, day, done, entered, facts, hear, lent, name, notice, raise, s, upkept};

use Role::{Administrator, Crew as CrewMember, Officer, Technician};

/// Everyone who works on what is worn.
const BENCH: &[Role] = &[Technician, Administrator];
const LEADS: &[Role] = &[Officer, Administrator];
const ALL_BUT_CREW: &[Role] = &[Officer, Technician, Administrator];

struct Row {
    desk: Desk,
    facts: Facts,
    by: &'static [Role],
    console: bool,
    /// A hold on the thing is against it.
    held: bool,
    /// That the thing is retired is against it.
    gone: bool,
    about: Option<Asset>,
}

/// A record that only these may make, signed, and that is about no thing of its own.
fn row(desk: Desk, by: &'static [Role]) -> Row {
    Row { desk, facts: facts(), by, console: false, held: false, gone: false, about: None }
}

impl Row {
    fn console(self) -> Self {
        Self { console: true, ..self }
    }
    fn held(self) -> Self {
        Self { held: true, ..self }
    }
    fn gone(self) -> Self {
        Self { gone: true, ..self }
    }
    fn about(self, asset: Asset) -> Self {
        Self { about: Some(asset), ..self }
    }
    /// What must be so besides.
    fn given(mut self, change: fn(&mut Facts)) -> Self {
        change(&mut self.facts);
        self
    }
}

fn table() -> Vec<Row> {
    let mut rows = repairs();
    rows.extend(tickets());
    rows.extend(parts_and_loans());
    rows.extend(places_and_people());
    rows.extend(register());
    rows.extend(logbook());
    rows
}

fn repairs() -> Vec<Row> {
    let unit = || Asset::unit("1");
    let cylinder = || Asset::cylinder("1");
    let clearing = |key: &str| Clearing { asset: unit(), clears: vec![s(key)], why: s("done") };
    let returned = Return {
        asset: unit(),
        clears: vec![s("finding/1")],
        proving: name(),
        worked_on: vec![Part::Other],
        bench_test: None,
        remedy: s("strap exchanged"),
        reproduced: String::new(),
        second_signer: None,
    };
    let out = |asset| TakenOut { asset, why: s("worn out") };
    let seal = Seal {
        asset: unit(),
        pressure: None,
        eighths: None,
        place: s("the safe"),
        packed_with: Vec::new(),
        battery_in: true,
    };
    let over = HandOver { asset: unit(), to: s("the marshal"), why: s("seal 12") };
    let pressure = || "4400 psi".parse().unwrap();
    let fill = Fill { cylinder: s("1"), source: s("air"), pressure: pressure(), celsius: None };
    let sample = AirSample {
        source: s("air"),
        on: day("2026-01-05"),
        oxygen: 2090,
        oil: 10,
        monoxide: 12,
        dioxide: 410,
        odour: false,
        reference: s("Report 7"),
    };
    let accepted = Accepted { unit: s("1"), check: name() };
    let is_held: fn(&mut Facts) = |f| f.open = vec![raise(Kind::Held)];
    vec![
        row(Desk::Return(returned), &[Technician]).about(unit()).held().gone().given(|f| {
            f.open = vec![raise(Kind::Finding)];
            f.check = Some(done(Purpose::Proving));
        }),
        row(Desk::Release(clearing("held/1")), &[Administrator]).about(unit()).given(is_held),
        row(Desk::Cleaned(clearing("soiled/1")), &[Technician, Officer])
            .about(unit())
            .held()
            .given(|f| f.open = vec![raise(Kind::Soiled)]),
        row(Desk::Accepted(accepted), BENCH)
            .about(unit())
            .held()
            .gone()
            .given(|f| f.check = Some(done(Purpose::Acceptance))),
        row(Desk::Retired(out(unit())), BENCH).about(unit()).held().gone(),
        row(Desk::Condemned(out(cylinder())), BENCH).about(cylinder()).held().gone(),
        row(Desk::Upkeep(upkept(unit(), Work::Battery)), BENCH).about(unit()).held().gone(),
        row(Desk::Upkeep(upkept(unit(), Work::FlowTest)), &[Technician]).about(unit()).held().gone(),
        row(Desk::Upkeep(upkept(Asset::facepiece("1"), Work::Cleaned)), &Role::ALL)
            .about(Asset::facepiece("1"))
            .held()
            .gone(),
        row(Desk::Fill(fill), &Role::ALL).about(cylinder()).held(),
        row(Desk::CylinderRead(CylinderRead { cylinder: s("1"), pressure: pressure() }), &Role::ALL),
        row(Desk::AirSample(sample), ALL_BUT_CREW),
        row(Desk::Sealed(seal), &Role::ALL).about(unit()).given(is_held),
        row(Desk::HandedOver(over), &Role::ALL).about(unit()).given(is_held),
    ]
}

fn tickets() -> Vec<Row> {
    let stage = TicketStage { ticket: 1, stage: Stage::OnTheBench, note: String::new(), sent: None };
    let joined = TicketJoined { ticket: 1, under: 2, why: String::new() };
    let split = TicketSplit { ticket: 1, grounds: vec![s("a")], into: 3, why: String::new() };
    let [text, parts, readings] = ["opened", "", ""].map(s);
    let worked = Worked { ticket: 1, text, parts, readings };
    let open: fn(&mut Facts) = |f| {
        f.stage = Some(Stage::Reported);
        f.other = Some(Other { stage: Some(Stage::Reported), under: None, held: false });
        f.on_ticket = ["a", "b"].map(s).into();
        f.next_ticket = 3;
    };
    vec![
        row(Desk::TicketStage(stage), &[Technician]).held().given(open),
        row(Desk::TicketJoined(joined), &[Technician]).held().given(open),
        row(Desk::TicketSplit(split), &[Technician]).held().given(open),
        row(Desk::Worked(worked), &[Technician]).held().given(open),
        row(Desk::TicketApart(TicketApart { ticket: 1 }), &[Technician]).held().given(open).given(|f| {
            f.under = Some(7);
        }),
    ]
}

fn parts_and_loans() -> Vec<Row> {
    let unit = || Asset::unit("1");
    let dealt = NoticeDone { notice: s("n-1"), asset: unit(), what: s("spring exchanged") };
    let ended = NoticeEnded { notice: s("n-1"), why: s("letter 8") };
    let back = LoanEnded { unit: s("L-9"), station: None, note: String::new() };
    vec![
        row(Desk::Fitting(entered(Slot::Regulator, "RG-1")), &[Technician]).about(unit()).held().gone(),
        row(Desk::Notice(notice("n-2")), BENCH),
        row(Desk::NoticeDone(dealt), &[Technician]).about(unit()).held().gone(),
        row(Desk::NoticeEnded(ended), &[Administrator]),
        row(Desk::Loan(lent("1")), ALL_BUT_CREW).about(unit()).held().gone().given(|f| {
            let done = NoticeDone { notice: s("n-1"), asset: Asset::unit("1"), what: s("done") };
            hear(&mut f.upkeep, &Desk::NoticeDone(done));
        }),
        row(Desk::Loan(borrowed("L-8")), ALL_BUT_CREW).about(Asset::unit("L-8")).held().gone(),
        row(Desk::LoanEnded(back), ALL_BUT_CREW).about(Asset::unit("L-9")),
    ]
}

fn places_and_people() -> Vec<Row> {
    let unit = || Asset::unit("1");
    let moves = vec![Move { asset: unit(), from: None, to: Place::Bench }];
    let status = RigStatus { rig: s("e1"), station: s("mill"), duty: Duty::Reserve, why: String::new() };
    let changed = PersonChanged { member: s("ana"), what: Personal::FitTest };
    let left = Left { member: s("ana"), how: Leaving::Separated, shift: 0, why: s("moves") };
    let nobody = Crew { rig: s("e1"), shift: 0, seats: [].into() };
    vec![
        row(Desk::Moved(Moved { moves, why: s("tidy") }), ALL_BUT_CREW).console(),
        row(Desk::Crew(nobody), LEADS).console(),
        row(Desk::RigStatus(status), LEADS).console(),
        row(Desk::PersonChanged(changed), LEADS).console(),
        row(Desk::Left(left), &[Administrator]).console(),
    ]
}

fn register() -> Vec<Row> {
    let at = Spot::Rig { rig: s("e1") };
    let tablet = Register::Tablet { id: s("t1"), name: s("Bay"), station: s("mill"), key: None };
    let holder = |place| Register::Holder { asset: Asset::unit("1"), place };
    let station = Register::Station { id: s("mill"), name: s("Mill"), order: 1 };
    vec![
        row(Desk::Register(holder(Place::Bench)), ALL_BUT_CREW).about(Asset::unit("1")).console(),
        row(Desk::Register(holder(Place::Seat { seat: s("1") })), ALL_BUT_CREW)
            .about(Asset::unit("1"))
            .console()
            .held()
            .gone(),
        row(Desk::Register(tablet), LEADS).console(),
        row(Desk::Register(Register::Cadence { at, cadence: Some(Cadence::Weekly) }), LEADS).console(),
        row(Desk::Register(station), &[Administrator]).console(),
        row(Desk::Register(super::unit("9")), &[Administrator]).console(),
        row(Desk::Register(Register::Countersigning { required: true }), &[Administrator]).console(),
        row(Desk::Register(Register::Identification { asked: Asked::Shown, hours: 25 }), &[Administrator])
            .console(),
    ]
}

fn logbook() -> Vec<Row> {
    let signed = || Signed { of: name() };
    let rules = RulesInForce { text: s(crate::common::TABLE), again: Vec::new(), grace_hours: None };
    let settled =
        Settlement { id: name().id, variants: vec![name().digest], accepted: None, why: s("asked") };
    let correction = Correction {
        of: name(),
        replaces: Vec::new(),
        misread: vec![s("gauges")],
        right_unit: None,
        why: s("the photograph"),
    };
    let what = Misfit::Twice { number: 3 };
    let gap = GapDealt { tablet: s("t1"), incarnation: None, what, why: s("copied") };
    let revoked = TabletRevoked { tablet: s("t1"), trusted: None, why: s("lost") };
    let stop = || PinStop::of_member("ana");
    let doubt = Doubt { of: name(), why: s("time") };
    let opened = TicketOpened { ticket: 1, asset: Asset::unit("1"), because: name() };
    vec![
        row(Desk::Rules(rules), &[Administrator]).console(),
        row(Desk::Settlement(settled), LEADS),
        row(Desk::Correction(correction), LEADS).given(|f| {
            let (unit, answered) = (s("1"), [s("gauges")].into());
            f.wrong = Some(Wrong { unit, answered, signed: true, ..Wrong::default() });
        }),
        row(Desk::Signature(signed()), &Role::ALL).given(|f| f.signer = Some(s("tom"))),
        row(Desk::Countersigned(signed()), LEADS).given(|f| {
            (f.waits, f.signer) = (true, Some(s("ana")));
        }),
        row(Desk::TabletRevoked(revoked), LEADS).given(|f| f.tablet = Some(Enrolled::InUse)),
        row(Desk::GapDealt(gap), LEADS).given(|f| f.shows = true),
        row(Desk::PinAllowed(stop()), LEADS),
        row(Desk::Acknowledged(Acknowledged { of: name() }), LEADS),
        // What the server writes, nobody else does.
        row(Desk::PinStopped(stop()), &[]),
        row(Desk::Doubt(doubt), &[]),
        row(Desk::Unproven(signed()), &[]),
        row(Desk::Uncountersigned(signed()), &[]),
        row(Desk::Outdated(signed()), &[]),
        row(Desk::TicketOpened(opened), &[]),
    ]
}

#[test]
fn the_table_has_every_kind_of_desk_record() {
    let mut told = Vec::new();
    for row in table() {
        let kind = discriminant(&row.desk);
        if !told.contains(&kind) {
            told.push(kind);
        }
    }
    assert_eq!(told.len(), DESK_KINDS.len());
}

#[test]
fn each_desk_record_is_made_by_those_named_here_and_by_nobody_else() {
    for Row { desk, mut facts, by, console, .. } in table() {
        for role in Role::ALL {
            facts.by = Some(Signer { roles: [role].into(), ..anyone() });
            let outcome = may(&desk, &facts);
            assert_eq!(outcome.is_ok(), by.contains(&role), "{} makes {desk:?}: {outcome:?}", role.id());
            if let Err(refusal) = outcome {
                // What nobody may make is no question of who asks.
                assert_ne!(refusal.forbidden, by.is_empty(), "{desk:?}: {refusal:?}");
            }
        }
        // Several roles give what each of them gives.
        facts.by =
            Some(Signer { roles: [CrewMember].into_iter().chain(by.iter().copied()).collect(), ..anyone() });
        assert_eq!(may(&desk, &facts).is_ok(), !by.is_empty(), "{desk:?}");
        facts.by = Some(Signer { roles: BTreeSet::new(), ..anyone() });
        // Whoever signed says so, in whatever role or none.
        let own = matches!(desk, Desk::Signature(_));
        assert_eq!(may(&desk, &facts).is_ok(), own, "one without a role makes {desk:?}");
        facts.by = None;
        assert_eq!(may(&desk, &facts).is_ok(), console, "unsigned, at the console: {desk:?}");
    }
}

#[test]
fn while_something_is_held_nothing_is_done_to_it_and_what_it_is_known_by_may_be_said() {
    for Row { desk, mut facts, held, .. } in table().into_iter().filter(|r| !r.by.is_empty()) {
        assert_eq!(may(&desk, &facts), Ok(()), "{desk:?}");
        facts.open.push(raise(Kind::Held));
        match may(&desk, &facts) {
            Ok(()) => assert!(!held, "{desk:?}"),
            Err(r) => assert!(held && r.say.contains("held for an inquiry"), "{desk:?}: {r:?}"),
        }
    }
}

/// What is packed with a held unit is evidence as it is, though nobody holds it by itself.
#[test]
fn what_is_on_a_held_unit_is_as_good_as_held() {
    for Row { desk, mut facts, held, .. } in table().into_iter().filter(|r| !r.by.is_empty()) {
        facts.held_with = Some(s("7"));
        match may(&desk, &facts) {
            Ok(()) => assert!(!held, "{desk:?}"),
            Err(r) => assert!(held && r.say.contains("held for an inquiry"), "{desk:?}: {r:?}"),
        }
    }
    let put = |place: Place| {
        let held_with = Some(s("7"));
        let put = Desk::Register(Register::Holder { asset: Asset::cylinder("1"), place });
        may(&put, &Facts { held_with, by: Some(anyone()), ..facts() })
    };
    assert_eq!(put(Place::Bench), Ok(()));
    assert_eq!(put(Place::With { unit: s("7") }), Ok(()));
    let say = put(Place::With { unit: s("8") }).unwrap_err().say;
    assert!(say.contains("on unit 7, which is held for an inquiry"), "{say}");
}

#[test]
fn what_is_retired_or_condemned_is_not_worked_on_lent_or_put_where_it_would_ride() {
    for Row { desk, mut facts, gone, .. } in table().into_iter().filter(|r| !r.by.is_empty()) {
        facts.open.push(raise(Kind::Retired));
        match may(&desk, &facts) {
            Ok(()) => assert!(!gone, "{desk:?}"),
            Err(r) => assert!(gone && r.say.contains("never comes back"), "{desk:?}: {r:?}"),
        }
    }
}

#[test]
fn the_thing_whose_grounds_decide_is_the_one_that_the_record_names() {
    for Row { desk, about, .. } in table() {
        assert_eq!(asset_of(&desk), about, "{desk:?}");
    }
}
