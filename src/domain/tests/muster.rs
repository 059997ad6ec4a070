//! Readiness, teams, the swap plan, and what may be done about them at the desk.
//!
//! Figures: 29 CFR 1910.134(f)(2) (a fit test counts a year), (h)(3)(iii) (recharge at 90 %, so the
//! reading must be above), (g)(3) and (g)(4) (two in together, two outside); paragraph numbers and
//! figures as in the project's table of sources, the worked examples are our own. The swap plan is
//! held against `scipy.optimize.linear_sum_assignment`: `data/swap.json`, made by the script
//! beside it.
//!
//! Mutants that this turns red: `<` for `<=` at the recharge level, a fit test that counts one day
//! longer or shorter, a missing clearance taken for a good one, teams counted as halves of the crew,
//! an assignment that fills the nearest seat before the most important one.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use std::collections::{BTreeMap, BTreeSet};
use std::slice::from_ref;

use airmuster_domain::desk::{Facts, Signer, may};
use airmuster_domain::quantity::Amount;
use airmuster_domain::readiness::{
    Apparatus, FacepieceKind, FitTest, Identification, Known, Lack, Rider, Seated, SpareCylinder, Wearer,
    fit_until, last_read, seat, teams,
};
use airmuster_domain::record::{Asset, Crew, Desk, Move, Moved, Place, Reviewed, RigAccepted};
use airmuster_domain::role::Role;
use airmuster_domain::shift::{Rotation, ShiftClock};
use airmuster_domain::standing::State;
use airmuster_domain::swap::{OpenSeat, Spare, Why, assign, plan};
use chrono::{DateTime, NaiveDate};
use proptest::prelude::*;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn at(text: &str) -> i64 {
    DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis()
}

fn amount(text: &str) -> Amount {
    text.parse::<airmuster_domain::quantity::Pressure>().unwrap().amount()
}

fn kind(size: &str) -> FacepieceKind {
    let (make, model, style) = ("Invented".to_owned(), "One".to_owned(), "full".to_owned());
    FacepieceKind { make, model, style, size: size.to_owned() }
}

fn unit() -> Apparatus {
    Apparatus {
        state: State::InService,
        until: Some(at("2026-11-27T08:30:00Z")),
        cylinder: true,
        read: Some("4480 psi".parse().unwrap()),
        above: Some(amount("4050 psi")),
        facepiece: Some(kind("medium")),
        identification: None,
    }
}

fn rider(until: &str) -> Rider {
    let fits = vec![FitTest { kind: kind("medium"), until: day(until) }];
    Rider { member: "m-1".to_owned(), cleared: Some(true), fits }
}

fn lacks(unit: Option<&Apparatus>, rider: Option<&Rider>) -> Vec<Lack> {
    let on = rider.map_or(Seated::NotEntered, Seated::By);
    seat(unit, on, &ShiftClock::default(), at("2026-11-26T09:00:00Z"), day("2026-11-26")).lacks
}

// ------------------------------------------------------------------------------------------ seats

#[test]
fn a_seat_is_ready_with_and_without_people() {
    assert_eq!(lacks(Some(&unit()), None), []);
    assert_eq!(lacks(Some(&unit()), Some(&rider("2027-01-01"))), []);
    assert_eq!(lacks(None, Some(&rider("2027-01-01"))), [Lack::Empty]);
}

#[test]
fn a_cylinder_must_be_above_the_recharge_level_and_not_at_it() {
    // 90 % of 4,500 psi is 4,050.
    for (read, low) in [("4049 psi", true), ("4050 psi", true), ("4051 psi", false)] {
        let unit = Apparatus { read: Some(read.parse().unwrap()), ..unit() };
        assert_eq!(matches!(lacks(Some(&unit), None)[..], [Lack::Low { .. }]), low, "{read}");
    }
    assert_eq!(lacks(Some(&Apparatus { read: None, ..unit() }), None), [Lack::NotRead]);
    assert_eq!(lacks(Some(&Apparatus { read: None, above: None, ..unit() }), None), []);
    assert_eq!(lacks(Some(&Apparatus { cylinder: false, ..unit() }), None), [Lack::NoCylinder]);
}

#[test]
fn what_a_cylinder_makes_up_for_is_known_apart_from_what_asks_for_another_unit() {
    let low = Apparatus { read: Some("4050 psi".parse().unwrap()), ..unit() };
    let cylinder = [low, Apparatus { read: None, ..unit() }, Apparatus { cylinder: false, ..unit() }];
    for lacks in cylinder.map(|unit| lacks(Some(&unit), None)) {
        assert!(lacks.iter().all(Lack::is_of_the_cylinder), "{lacks:?}");
    }
    assert!(Lack::ReadTooLongAgo { at: 0 }.is_of_the_cylinder());
    for other in [Lack::Empty, Lack::Standing(State::OutOfService), Lack::NoFacepiece, Lack::Nobody] {
        assert!(!other.is_of_the_cylinder(), "{other:?}");
    }
}

#[test]
fn nothing_but_in_service_is_ready() {
    use State::{CheckDue, Held, OutOfService, PutRight, Retired};
    for state in [CheckDue, PutRight, OutOfService, Held, Retired] {
        let r = lacks(Some(&Apparatus { state, ..unit() }), Some(&rider("2027-01-01")));
        assert_eq!(r, [Lack::Standing(state)]);
    }
}

#[test]
fn whom_the_alarm_knows_blocks_a_seat_only_where_the_department_says_so() {
    let now = at("2026-11-26T09:00:00Z");
    let known =
        |member: &str, until: i64| Some(Known { member: member.to_owned(), at: now - 3_600_000, until });
    let asked =
        |needed, known| Apparatus { identification: Some(Identification { needed, known }), ..unit() };
    let rider = rider("2027-01-01");
    for (known, knows) in [
        (known("m-1", now + 1), true),
        (known("m-1", now), false), // forgotten at that moment
        (known("m-2", now + 1), false),
        (None, false),
    ] {
        assert_eq!(Identification { needed: true, known: known.clone() }.knows("m-1", now), knows);
        assert_eq!(lacks(Some(&asked(false, known.clone())), Some(&rider)), [], "shown only");
        let expected = if knows { vec![] } else { vec![Lack::NotIdentified] };
        assert_eq!(lacks(Some(&asked(true, known)), Some(&rider)), expected);
    }
    // Where nobody is assigned, nobody has to be known.
    assert_eq!(lacks(Some(&asked(true, None)), None), []);
}

#[test]
fn the_last_answer_to_the_step_says_whom_the_alarm_knows() {
    use airmuster_domain::judge::{Answer, Raw, Values};
    use airmuster_domain::readings::identifies;
    use airmuster_domain::rules;
    let table = rules::parse(rules::DEFAULT).unwrap();
    let answer = |step: &str, attempt, good| Answer {
        step: step.into(),
        attempt,
        item: None,
        values: Values::from_iter([("good".into(), Raw::Flag(good))]),
        note: None,
    };
    let step = "wearer-identified";
    assert!(identifies(&table, &[answer(step, 1, true)]));
    assert!(!identifies(&table, &[answer(step, 1, true), answer(step, 2, false)]));
    assert!(identifies(&table, &[answer(step, 2, true), answer(step, 1, false)]), "by attempt, not by place");
    assert!(!identifies(&table, &[answer("stowed", 1, true)]) && !identifies(&table, &[]));
}

#[test]
fn a_spare_cylinder_is_ready_while_it_was_read_above_the_level_lately_enough() {
    use airmuster_domain::readiness::spare;
    use airmuster_domain::record::Cadence;
    let clock = ShiftClock::default();
    let now = at("2026-11-26T09:00:00Z");
    let cylinder = |read: Option<(i64, &str)>, cadence| SpareCylinder {
        state: State::InService,
        read: read.map(|(at, p)| (at, p.parse().unwrap())),
        above: Some(amount("4050 psi")),
        cadence,
    };
    let lacks = |c: &SpareCylinder| spare(c, &clock, now).lacks;
    let (read, full) = (at("2026-11-25T07:10:00Z"), "4480 psi");
    assert_eq!(lacks(&cylinder(None, Cadence::Weekly)), [Lack::NotRead]);
    // Yesterday's reading counts until 08:30 where it is read at each shift, and a week elsewhere.
    let each_shift = cylinder(Some((read, full)), Cadence::EachShift);
    assert_eq!(lacks(&each_shift), [Lack::ReadTooLongAgo { at: read }]);
    assert_eq!(
        spare(&each_shift, &clock, at("2026-11-26T08:00:00Z")).due_by,
        Some(at("2026-11-26T08:30:00Z"))
    );
    assert_eq!(lacks(&cylinder(Some((read, full)), Cadence::Weekly)), []);
    assert_eq!(lacks(&cylinder(Some((0, full)), Cadence::AfterUse)), []);
    assert_eq!(lacks(&cylinder(Some((0, full)), Cadence::Monthly)), [Lack::ReadTooLongAgo { at: 0 }]);
    // 29 CFR 1910.134(h)(3)(iii): recharged when it falls to 90 %, which for 4,500 psi is 4,050.
    assert!(matches!(lacks(&cylinder(Some((read, "4050 psi")), Cadence::Weekly))[..], [Lack::Low { .. }]));
    assert_eq!(lacks(&cylinder(Some((read, "4051 psi")), Cadence::Weekly)), []);
    let out = SpareCylinder { state: State::OutOfService, ..cylinder(Some((read, full)), Cadence::Weekly) };
    assert_eq!(lacks(&out), [Lack::Standing(State::OutOfService)]);
    // What was used since it was read is not known any more, and a fill makes it known again.
    let p = |text: &str| Some(text.parse().unwrap());
    assert_eq!(last_read(&[(5, None), (1, p(full))]), None);
    assert_eq!(last_read(&[(5, None), (9, p(full)), (1, p("2000 psi"))]), Some((9, full.parse().unwrap())));
    assert_eq!(last_read(&[(5, p(full)), (5, None)]), None, "used and read at once");
    assert_eq!(last_read(&[]), None);
}

#[test]
fn a_fit_test_counts_until_its_day_a_year_later() {
    assert_eq!(fit_until(day("2025-11-26")), day("2026-11-26"));
    assert_eq!(fit_until(day("2024-02-29")), day("2025-02-28"));
    assert_eq!(lacks(Some(&unit()), Some(&rider("2026-11-26"))), []);
    let until = day("2026-11-25");
    assert_eq!(lacks(Some(&unit()), Some(&rider("2026-11-25"))), [Lack::FitTestPast { until }]);
}

#[test]
fn a_fit_test_is_for_one_make_model_style_and_size() {
    let worn = kind("medium");
    for tested in [
        FacepieceKind { make: "Other".to_owned(), ..kind("medium") },
        FacepieceKind { model: "Two".to_owned(), ..kind("medium") },
        FacepieceKind { style: "half".to_owned(), ..kind("medium") },
        kind("large"),
    ] {
        assert!(!tested.covers(&worn), "{tested:?}");
    }
    assert!(kind("medium").covers(&worn) && kind("Medium ").covers(&worn));
    // What the register does not say cannot be compared, and is not taken for the same.
    for unknown in [
        FacepieceKind { make: String::new(), ..kind("medium") },
        FacepieceKind { model: " ".to_owned(), ..kind("medium") },
        FacepieceKind { style: String::new(), ..kind("medium") },
        kind(""),
    ] {
        assert!(!unknown.known() && !unknown.covers(&unknown), "{unknown:?}");
        let unit = Apparatus { facepiece: Some(unknown), ..unit() };
        assert_eq!(lacks(Some(&unit), Some(&rider("2027-01-01"))), [Lack::FacepieceNotKnown]);
        assert_eq!(lacks(Some(&unit), None), [], "no roster is kept");
    }
    let large = Apparatus { facepiece: Some(kind("large")), ..unit() };
    assert_eq!(lacks(Some(&large), Some(&rider("2027-01-01"))), [Lack::NoFitTest]);
    let none = Apparatus { facepiece: None, ..unit() };
    assert_eq!(lacks(Some(&none), Some(&rider("2027-01-01"))), [Lack::NoFacepiece]);
}

#[test]
fn a_seat_that_a_roster_leaves_empty_is_not_ready() {
    let now = at("2026-11-26T09:00:00Z");
    let r = seat(Some(&unit()), Seated::Nobody, &ShiftClock::default(), now, day("2026-11-26"));
    assert_eq!(r.lacks, [Lack::Nobody]);
    assert!(!r.ready() && r.unit_ready(), "the unit itself is ready for somebody");
    let none = seat(None, Seated::Nobody, &ShiftClock::default(), now, day("2026-11-26"));
    assert_eq!(none.lacks, [Lack::Empty]);
}

#[test]
fn what_is_not_known_of_a_member_is_not_taken_for_good() {
    let unknown = Rider { cleared: None, ..rider("2027-01-01") };
    assert_eq!(lacks(Some(&unit()), Some(&unknown)), [Lack::ClearanceUnknown]);
    let not = Rider { cleared: Some(false), fits: vec![], ..unknown };
    let r = seat(Some(&unit()), Seated::By(&not), &ShiftClock::default(), 0, day("2026-11-26"));
    assert_eq!(r.lacks, [Lack::NotCleared, Lack::NoFitTest]);
    assert!(!r.ready() && r.unit_ready(), "the unit itself is ready for somebody else");
}

#[test]
fn ready_on_the_last_check_is_told_apart_from_ready_and_from_open() {
    let clock = ShiftClock::default();
    let today = day("2026-11-26");
    // Checked yesterday at 06:58, so it counts until today 08:30; at 07:04 a new shift has begun.
    let old = Apparatus { until: Some(at("2026-11-26T08:30:00Z")), ..unit() };
    let r = seat(Some(&old), Seated::NotEntered, &clock, at("2026-11-26T07:04:00Z"), today);
    assert!(r.ready());
    assert_eq!(r.due_by, old.until);
    // Checked in this shift.
    let r = seat(Some(&unit()), Seated::NotEntered, &clock, at("2026-11-26T07:04:00Z"), today);
    assert_eq!((r.ready(), r.due_by), (true, None));
    // Open: nothing is due "by" any time any more.
    let open = Apparatus { state: State::CheckDue, ..old };
    let r = seat(Some(&open), Seated::NotEntered, &clock, at("2026-11-26T08:31:00Z"), today);
    assert_eq!((r.ready(), r.due_by), (false, None));
}

// ------------------------------------------------------------------------------------------ teams

fn wearers(rigs: &[(&str, &str, usize)]) -> Vec<Wearer> {
    let one = |(rig, profile, count): &(&str, &str, usize)| {
        let (rig, profile) = ((*rig).to_owned(), (*profile).to_owned());
        (1..=*count)
            .map(move |n| Wearer {
                member: format!("{rig}-{n}"),
                unit: format!("u{n}"),
                profile: profile.clone(),
                rig: rig.clone(),
            })
            .collect::<Vec<_>>()
    };
    rigs.iter().flat_map(one).collect()
}

#[test]
fn two_in_and_two_out_worked_examples() {
    // Members ready, teams, how many more make another one.
    for (ready, inside, lacking) in
        [(0, 0, 4), (1, 0, 3), (2, 0, 2), (3, 0, 1), (4, 1, 2), (5, 1, 1), (6, 2, 2), (7, 2, 1), (8, 3, 2)]
    {
        let t = teams(&wearers(&[("e1", "a", ready)]));
        assert_eq!((t.inside.len(), t.lacking), (inside, lacking), "{ready}");
        assert_eq!(t.inside.len() * 2 + t.outside.len(), ready);
    }
}

#[test]
fn the_rear_seats_of_a_rig_go_in_and_officer_and_driver_stay() {
    let t = teams(&wearers(&[("e1", "a", 4)]));
    assert_eq!(t.inside[0].clone().map(|w| w.member), ["e1-4", "e1-3"]);
    let out: Vec<String> = t.outside.into_iter().map(|w| w.member).collect();
    assert_eq!(out, ["e1-1", "e1-2"]);
    // Two rigs: each sends its own rear seats before anybody's driver goes in.
    let t = teams(&wearers(&[("e1", "a", 4), ("e2", "b", 4)]));
    let rigs: Vec<String> = t.inside.iter().map(|p| p[0].member.clone()).collect();
    assert_eq!(rigs, ["e1-4", "e2-4", "e1-2"]);
}

#[test]
fn those_with_one_kind_of_unit_go_together() {
    let mut ready = wearers(&[("e1", "a", 5)]);
    ready[3].profile = "b".to_owned();
    ready[1].profile = "b".to_owned();
    let t = teams(&ready);
    let first = t.inside[0].clone().map(|w| w.profile);
    assert_eq!(first[0], first[1]);
}

proptest! {
    #[test]
    fn nobody_is_counted_twice_and_two_always_stay_outside(counts in prop::collection::vec(0usize..6, 0..5)) {
        let named: Vec<(String, usize)> = counts.iter().enumerate().map(|(n, c)| (format!("r{n}"), *c)).collect();
        let rigs: Vec<(&str, &str, usize)> = named.iter().map(|(n, c)| (n.as_str(), "a", *c)).collect();
        let ready = wearers(&rigs);
        let t = teams(&ready);
        let all: BTreeSet<&String> =
            t.inside.iter().flatten().chain(&t.outside).map(|w| &w.member).collect();
        prop_assert_eq!(all.len(), ready.len());
        prop_assert_eq!(t.inside.len(), ready.len().saturating_sub(2) / 2);
        prop_assert!(t.inside.is_empty() || t.outside.len() >= 2);
    }
}

// ---------------------------------------------------------------------------------------- the swap

#[derive(serde::Deserialize)]
struct Stored {
    source: String,
    instances: Vec<Instance>,
}

#[derive(serde::Deserialize)]
struct Instance {
    costs: Vec<Vec<Option<i64>>>,
    seats: Vec<usize>,
    cost: i64,
}

#[test]
fn the_plan_is_as_good_as_scipys() {
    let stored: Stored = serde_json::from_str(include_str!("data/swap.json")).unwrap();
    assert!(stored.source.contains("linear_sum_assignment") && stored.instances.len() >= 50);
    let (mut short, mut several) = (0, 0);
    for (n, i) in stored.instances.iter().enumerate() {
        let taken = assign(&i.costs);
        let filled: Vec<usize> = (0..taken.len()).filter(|r| taken[*r].is_some()).collect();
        assert_eq!(filled, i.seats, "instance {n}");
        let columns: BTreeSet<usize> = taken.iter().flatten().copied().collect();
        assert_eq!(columns.len(), filled.len(), "instance {n}: a spare went to two seats");
        let cost: i64 = filled.iter().map(|r| i.costs[*r][taken[*r].unwrap()].unwrap()).sum();
        assert_eq!(cost, i.cost, "instance {n}");
        short += usize::from(filled.len() < taken.len());
        several += usize::from(filled.len() > 2);
    }
    assert!(short > 10 && several > 10, "the instances are too plain: {short} short, {several} with several");
}

#[test]
fn the_better_seats_are_filled_however_much_dearer_that_is() {
    // The first and the third cost nothing; the first and the second are filled for the dearest of all.
    let costs = [vec![Some(0), Some(100)], vec![Some(100), None], vec![None, Some(0)]];
    assert_eq!(assign(&costs), [Some(1), Some(0), None]);
}

fn open(seat: &str, station: &str, profile: &str) -> OpenSeat {
    let text = str::to_owned;
    OpenSeat { seat: text(seat), station: text(station), profile: text(profile), rider: None }
}

fn spare(unit: &str, station: &str, profile: &str) -> Spare {
    let text = str::to_owned;
    Spare { unit: text(unit), station: text(station), profile: text(profile), ..Spare::default() }
}

#[test]
fn the_most_important_seat_is_filled_even_where_that_takes_a_drive() {
    let drive = |_: &str, _: &str| Some(20);
    let today = day("2026-11-26");
    let seats = [open("officer", "one", "a"), open("4", "two", "a")];
    let p = plan(&seats, &[spare("9", "two", "a")], drive, today);
    assert_eq!((p.moves, p.left), (vec![(0, 0)], vec![(1, Why::AllTaken)]));
    // With two, each goes where it is near.
    let p = plan(&seats, &[spare("9", "two", "a"), spare("8", "one", "a")], drive, today);
    assert_eq!(p.moves, [(0, 1), (1, 0)]);
}

#[test]
fn only_what_goes_together_is_moved_and_the_plan_says_why_not() {
    let today = day("2026-11-26");
    let near = |_: &str, _: &str| None;
    let p = plan(&[open("officer", "one", "a")], &[spare("9", "one", "b")], near, today);
    assert_eq!(p.left, [(0, Why::NoneOfThisKind)]);
    let seat = OpenSeat { rider: Some(rider("2027-01-01")), ..open("officer", "one", "a") };
    let large = Spare { facepiece: Some(kind("large")), ..spare("9", "one", "a") };
    assert_eq!(plan(from_ref(&seat), from_ref(&large), near, today).left, [(0, Why::NoFacepieceFits)]);
    let medium = Spare { facepiece: Some(kind("medium")), ..spare("8", "far", "a") };
    assert_eq!(plan(from_ref(&seat), &[large, medium.clone()], near, today).moves, [(0, 1)]);
    let past = OpenSeat { rider: Some(rider("2026-11-25")), ..seat };
    assert_eq!(plan(&[past], &[medium], near, today).left, [(0, Why::NoFacepieceFits)]);
    assert_eq!(plan(&[], &[], near, today).moves, []);
}

#[test]
fn a_reserve_rig_is_stripped_only_where_that_saves_a_drive() {
    let today = day("2026-11-26");
    let drive = |_: &str, _: &str| Some(5);
    let seats = [open("officer", "one", "a")];
    let reserve = Spare { on_reserve: true, ..spare("7", "one", "a") };
    assert_eq!(plan(&seats, &[reserve.clone(), spare("8", "one", "a")], drive, today).moves, [(0, 1)]);
    assert_eq!(plan(&seats, &[reserve, spare("8", "two", "a")], drive, today).moves, [(0, 0)]);
}

// ------------------------------------------------------------------------------------- the rotation

#[test]
fn platoons_take_turns_over_days_of_23_and_25_hours() {
    // America/New_York goes back on 2026-11-01 and forward on 2026-03-08 (tz database, rule US).
    let clock = ShiftClock::read("America/New_York", "07:00", 24, 90, 90).unwrap();
    let turns = ["A", "B", "C"].map(str::to_owned).to_vec();
    let rotation = Rotation { turns, first: at("2026-03-06T12:00:00-05:00"), ..Rotation::default() };
    for (moment, platoon) in [
        ("2026-03-06T07:00:00-05:00", "A"),
        ("2026-03-07T06:59:00-05:00", "A"),
        ("2026-03-07T07:00:00-05:00", "B"),
        ("2026-03-08T06:59:00-04:00", "B"),
        ("2026-03-08T07:00:00-04:00", "C"),
        ("2026-03-09T07:00:00-04:00", "A"),
        // 238 days later: 238 = 79 × 3 + 1.
        ("2026-10-30T12:00:00-04:00", "B"),
        ("2026-11-01T06:59:00-05:00", "C"),
        ("2026-11-01T07:00:00-05:00", "A"),
        ("2026-03-05T12:00:00-05:00", "C"),
    ] {
        assert_eq!(rotation.platoon(&clock, at(moment)), Some(platoon), "{moment}");
    }
    assert_eq!(Rotation::default().platoon(&clock, at("2026-03-06T12:00:00Z")), None);
    // A platoon of two turns in a row: which of them runs is said by its place.
    let pairs = ["A", "A", "B", "B"].map(str::to_owned).to_vec();
    let second = Rotation::now(pairs, 3, &clock, at("2026-03-06T12:00:00-05:00"));
    let turns = ["2026-03-06T12:00:00-05:00", "2026-03-07T12:00:00-05:00", "2026-03-08T12:00:00-04:00"];
    let turns = turns.map(|t| (second.turn(&clock, at(t)), second.platoon(&clock, at(t))));
    assert_eq!(turns, [(Some(3), Some("B")), (Some(0), Some("A")), (Some(1), Some("A"))]);
    let halves = ShiftClock::read("Europe/London", "08:00", 12, 60, 60).unwrap();
    assert_eq!(halves.shifts_between(at("2026-10-24T09:00:00+01:00"), at("2026-10-26T07:00:00Z")), 3);
}

// -------------------------------------------------------------------------------------- at the desk

fn officer() -> Signer {
    Signer { id: "olga".to_owned(), roles: [Role::Officer].into(), qualified: BTreeSet::new() }
}

fn seated(seat: &str) -> Place {
    Place::Seat { seat: seat.to_owned() }
}

fn moved(asset: &str, from: Place, to: Place) -> Move {
    Move { asset: Asset::unit(asset), from: Some(from), to }
}

#[test]
fn moves_happen_together_or_not_at_all() {
    let spare = Place::Spare { station: "one".to_owned() };
    let places = BTreeMap::from([(Asset::unit("130"), seated("3")), (Asset::unit("142"), spare.clone())]);
    let facts = Facts { by: Some(officer()), places, ..Facts::default() };
    let ask = |moves: Vec<Move>, facts: &Facts| {
        may(&Desk::Moved(Moved { moves, why: "130 leaks".to_owned() }), facts).map_err(|r| r.say)
    };
    let swap = vec![moved("130", seated("3"), spare.clone()), moved("142", spare.clone(), seated("3"))];
    assert_eq!(ask(swap.clone(), &facts), Ok(()));
    // In half it would put two units on one seat.
    assert!(ask(swap[1..].to_vec(), &facts).unwrap_err().contains("not empty any more"));
    // Two tablets send the same spare to two seats: the second one finds it elsewhere.
    let mut later = facts.clone();
    later.places.insert(Asset::unit("142"), seated("4"));
    assert!(ask(swap.clone(), &later).unwrap_err().contains("not where it was"));
    let twice = vec![moved("142", spare.clone(), seated("5")), moved("142", spare.clone(), seated("6"))];
    assert!(ask(twice, &facts).unwrap_err().contains("two places"));
    let held = Facts { stuck: [Asset::unit("130")].into(), ..facts.clone() };
    assert!(ask(swap, &held).unwrap_err().contains("held or retired"));
    assert!(ask(vec![], &facts).is_err());
}

#[test]
fn a_member_sits_on_one_seat_of_one_rig() {
    let crew = |pairs: &[(&str, &str)]| {
        let seats = pairs.iter().map(|(s, m)| ((*s).to_owned(), (*m).to_owned())).collect();
        Desk::Crew(Crew { rig: "e1".to_owned(), shift: 0, seats })
    };
    let facts = Facts {
        by: Some(officer()),
        seats: ["1", "2"].map(str::to_owned).into(),
        elsewhere: BTreeMap::from([("ben".to_owned(), "Ladder 1".to_owned())]),
        ..Facts::default()
    };
    assert_eq!(may(&crew(&[("1", "ana"), ("2", "cleo")]), &facts), Ok(()));
    assert_eq!(may(&crew(&[]), &facts), Ok(()));
    assert!(may(&crew(&[("1", "ana"), ("2", "ana")]), &facts).unwrap_err().say.contains("two seats"));
    assert!(may(&crew(&[("1", "ben")]), &facts).unwrap_err().say.contains("Ladder 1"));
    assert!(may(&crew(&[("9", "ana")]), &facts).unwrap_err().say.contains("not a seat"));
    let crew_member = Signer { roles: [Role::Crew].into(), ..officer() };
    let facts = Facts { by: Some(crew_member), ..facts };
    assert!(may(&crew(&[]), &facts).unwrap_err().forbidden);
}

#[test]
fn what_changed_since_a_rig_was_accepted_is_named() {
    let place = |seat: &str, unit: &str, ready: bool, member: Option<&str>, word: Option<&str>| Reviewed {
        seat: seat.to_owned(),
        asset: Some(Asset::unit(unit)),
        member: member.map(str::to_owned),
        ready,
        word: word.map(str::to_owned),
    };
    let accepted = RigAccepted {
        rig: "e1".to_owned(),
        shift: 0,
        places: vec![
            place("1", "101", true, Some("ana"), None),
            place("2", "102", false, None, Some("spare asked for")),
        ],
    };
    let mut now = vec![place("1", "101", true, Some("ana"), None), place("2", "102", false, None, None)];
    assert!(accepted.changed(&now).is_empty(), "the officer's own word is not a change");
    now[1].ready = true;
    assert_eq!(accepted.changed(&now), ["2"]);
    now[0].member = Some("ben".to_owned());
    now.push(place("3", "103", true, None, None));
    assert_eq!(accepted.changed(&now), ["1", "2", "3"]);
}
