//! Where things are put: one by one, and several at once.

use airmuster_domain::ground::Kind;
use airmuster_domain::record::{
    AirSample, Asset, Crew, Desk, Fill, LoanEnded, Move, Moved, Place, Register, Spec, Work,
};

use super::{DAY, Whole, day, facts, hear, lent, marks, notice, raise, s, upkept};

fn seat(seat: &str) -> Place {
    Place::Seat { seat: s(seat) }
}

fn spare() -> Place {
    Place::Spare { station: s("mill") }
}

fn with_unit() -> Place {
    Place::With { unit: s("1") }
}

#[derive(Clone)]
struct Put {
    asset: Asset,
    place: Place,
}

fn put(asset: Asset, place: Place) -> Whole<Put> {
    let desk = |p: Put| Desk::Register(Register::Holder { asset: p.asset, place: p.place });
    Whole::of(Put { asset, place }, facts(), desk)
}

#[test]
fn what_is_held_or_retired_goes_to_the_bench_and_nowhere_where_it_would_ride() {
    let (gone, held) = ("never comes back", "held for an inquiry");
    put(Asset::facepiece("1"), Place::Bench)
        .refused(&[
            ("retired, on a seat", gone, |p, f| {
                (p.place, f.open) = (seat("1"), vec![raise(Kind::Retired)]);
            }),
            ("retired, as a spare", gone, |p, f| (p.place, f.open) = (spare(), vec![raise(Kind::Retired)])),
            ("retired, on a unit", gone, |p, f| {
                (p.place, f.open) = (with_unit(), vec![raise(Kind::Retired)]);
            }),
            ("held, on a seat", held, |p, f| (p.place, f.open) = (seat("1"), vec![raise(Kind::Held)])),
            ("held, as a spare", held, |p, f| (p.place, f.open) = (spare(), vec![raise(Kind::Held)])),
            ("held, on a unit", held, |p, f| (p.place, f.open) = (with_unit(), vec![raise(Kind::Held)])),
        ])
        .taken(&[
            ("retired, to the bench", |_, f| f.open = vec![raise(Kind::Retired)]),
            ("held, to the bench", |_, f| f.open = vec![raise(Kind::Held)]),
            ("held, to a repairer", |p, f| {
                (p.place, f.open) = (Place::Repairer, vec![raise(Kind::Held)]);
            }),
            ("failed, on a seat", |p, f| (p.place, f.open) = (seat("1"), vec![raise(Kind::Finding)])),
        ]);
}

#[test]
fn a_place_takes_one_thing_except_that_a_departments_tables_come_in_as_they_are() {
    let there = "cylinder 9 is there; take that out first";
    put(Asset::cylinder("1"), with_unit())
        .refused(&[
            ("something is there", there, |_, f| f.in_the_way = Some(Asset::cylinder("9"))),
            ("on a seat, at the console", "unit 9 is there", |p, f| {
                (p.place, f.by, f.in_the_way) = (seat("1"), None, Some(Asset::unit("9")));
            }),
        ])
        .taken(&[("on a unit, at the console", |_, f| {
            (f.by, f.in_the_way) = (None, Some(Asset::cylinder("9")));
        })]);
}

#[test]
fn only_what_fits_and_may_be_used_is_put_on_a_unit() {
    // 29 CFR 1910.134(h)(4)(ii): only parts made for the respirator. 49 CFR 180.205(c) lets a cylinder
    // past its requalification be used until it is empty.
    put(Asset::cylinder("1"), with_unit())
        .refused(&[
            ("a unit on a unit", "a unit is not fitted to another one", |p, _| p.asset = Asset::unit("2")),
            ("another rating", "is rated 4,500 psi and unit 1 takes 5,500 psi", |_, f| {
                f.rated = Some("5500 psi".parse().unwrap());
            }),
            ("past its life", "cylinder 1: its life ended on 31 Jan 2039; fit another one", |_, f| {
                f.today = day("2039-02-01");
            }),
            ("air in doubt", "cylinder 1: filled from Compressor", |_, f| {
                let (cylinder, source, pressure) = (s("1"), s("air"), "4500 psi".parse().unwrap());
                let fill = Fill { cylinder, source, pressure, celsius: None };
                hear(&mut f.upkeep, &Desk::Fill(fill));
                hear(&mut f.upkeep, &Desk::AirSample(bad_air()));
            }),
            ("failed", "cylinder 1: requalification failed", |_, f| {
                let mut failed = upkept(Asset::cylinder("1"), Work::Requalification);
                failed.passed = false;
                hear(&mut f.upkeep, &Desk::Upkeep(failed));
            }),
            ("stopped by a notice", "cylinder 1: notice n-2", |_, f| {
                hear(&mut f.upkeep, &Desk::Notice(about_cylinders(None)));
            }),
        ])
        .taken(&[
            ("its own rating", |_, f| f.rated = Some("4500 psi".parse().unwrap())),
            ("a facepiece, which has none", |p, f| {
                (p.asset, f.rated) = (Asset::facepiece("1"), Some("5500 psi".parse().unwrap()));
            }),
            ("past its life, to the bench", |p, f| (p.place, f.today) = (Place::Bench, day("2039-02-01"))),
            ("on the last day of its life", |_, f| f.today = day("2039-01-31")),
            ("past its requalification", |_, f| {
                let marks = marks(Spec::Dot3aa, "2010-01");
                hear(&mut f.upkeep, &Desk::Register(Register::CylinderMarks { number: s("1"), marks }));
            }),
            ("to be inspected by a day", |_, f| {
                hear(&mut f.upkeep, &Desk::Notice(about_cylinders(Some("2026-01-05"))));
            }),
        ]);
}

fn bad_air() -> AirSample {
    AirSample {
        source: s("air"),
        on: day("2026-01-05"),
        oxygen: 2090,
        oil: 10,
        monoxide: 140,
        dioxide: 410,
        odour: false,
        reference: s("Report 7"),
    }
}

fn about_cylinders(by: Option<&str>) -> airmuster_domain::record::Notice {
    let mut n = notice("n-2");
    n.reach.kind = airmuster_domain::record::AssetKind::Cylinder;
    n.reach.slot = None;
    n.reach.only = s("permit-carbon");
    n.by = by.map(day);
    n
}

#[test]
fn only_a_loan_takes_a_unit_to_another_department_and_only_its_end_brings_it_back() {
    put(Asset::unit("1"), spare())
        .refused(&[
            ("away", "by a loan, which says to whom", |p, _| p.place = Place::Away),
            ("lent", "unit 1 is lent to Harrow Creek; write down first that it is back", |_, f| {
                hear(&mut f.upkeep, &Desk::Loan(lent("1")));
            }),
            ("given back", "unit L-9 was given back to Harrow Creek; borrow it again", |p, f| {
                p.asset = Asset::unit("L-9");
                let end = LoanEnded { unit: s("L-9"), station: None, note: String::new() };
                hear(&mut f.upkeep, &Desk::LoanEnded(end));
            }),
        ])
        .taken(&[
            ("borrowed, and here", |p, _| p.asset = Asset::unit("L-9")),
            ("back from a repairer", |_, f| {
                let away = Register::Holder { asset: Asset::unit("1"), place: Place::Repairer };
                f.upkeep.hear(&Desk::Register(away), DAY);
            }),
            ("back from a loan", |_, f| {
                let end = LoanEnded { unit: s("1"), station: Some(s("mill")), note: String::new() };
                hear(&mut f.upkeep, &Desk::Loan(lent("1")));
                hear(&mut f.upkeep, &Desk::LoanEnded(end));
            }),
        ]);
}

// ------------------------------------------------------------------------------ several at once

fn go(asset: &str, from: Option<Place>, to: Place) -> Move {
    Move { asset: Asset::unit(asset), from, to }
}

#[test]
fn moves_fit_together_and_begin_where_everything_is() {
    let mut state = facts();
    state.places = [(Asset::unit("1"), seat("1")), (Asset::unit("2"), spare())].into();
    let moves = vec![go("1", Some(seat("1")), spare()), go("2", Some(spare()), seat("1"))];
    let body = Moved { moves, why: s("1 leaks") };
    Whole::of(body, state, Desk::Moved)
        .refused(&[
            ("nothing", "name what is moved", |m, _| m.moves.clear()),
            ("one elsewhere by now", "unit 2 is not where it was", |_, f| {
                f.places.insert(Asset::unit("2"), seat("2"));
            }),
            ("one that was nowhere", "unit 2 is not where it was", |m, _| m.moves[1].from = None),
            ("to two places", "one thing cannot go to two places", |m, _| {
                m.moves = vec![go("2", Some(spare()), seat("2")), go("2", Some(spare()), seat("3"))];
            }),
            ("onto another", "one of these is not empty any more", |m, _| drop(m.moves.remove(0))),
            ("held, to a spare’s place", "unit 1 is held or retired: it goes to the bench", |_, f| {
                f.stuck = [Asset::unit("1")].into();
            }),
            ("onto a unit", "unit 1 is fitted to a unit by itself", |m, _| m.moves[0].to = with_unit()),
            ("away", "by a loan, which says to whom", |m, _| m.moves[0].to = Place::Away),
        ])
        .taken(&[
            ("held, to the bench", |m, f| {
                f.stuck = [Asset::unit("1")].into();
                m.moves[0].to = Place::Bench;
            }),
            ("something else is held", |_, f| f.stuck = [Asset::unit("3")].into()),
            ("two to one station", |m, _| m.moves[1].to = spare()),
            ("what was nowhere", |m, f| {
                f.places.remove(&Asset::unit("2"));
                m.moves[1].from = None;
            }),
        ]);
}

#[test]
fn a_crew_sits_on_the_rigs_own_seats_each_member_once() {
    let mut state = facts();
    state.seats = [s("1"), s("2")].into();
    state.elsewhere = [(s("ben"), s("Ladder 1"))].into();
    let seats = [(s("1"), s("ana")), (s("2"), s("cleo"))].into();
    Whole::of(Crew { rig: s("e1"), shift: 0, seats }, state, Desk::Crew)
        .refused(&[
            ("another rig’s seat", "“9” is not a seat of this rig", |c, _| {
                c.seats.insert(s("9"), s("dan"));
            }),
            ("one on two seats", "one member cannot sit on two seats", |c, _| {
                c.seats.insert(s("2"), s("ana"));
            }),
            ("on another rig", "rides Ladder 1 in this shift", |c, _| {
                c.seats.insert(s("2"), s("ben"));
            }),
        ])
        .taken(&[("nobody", |c, _| c.seats.clear())]);
}
