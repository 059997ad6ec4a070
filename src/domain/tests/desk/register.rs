//! What the register takes: numbers, marks, settings.

use airmuster_domain::desk::{Enrolled, may};
use airmuster_domain::record::{Asked, Desk, Lapse, Marks, Period, Register, Slot, Spec, Work};

use super::{Whole, day, facts, marks, month, s};

fn entry(register: Register) -> Result<(), String> {
    may(&Desk::Register(register), &facts()).map_err(|r| r.say)
}

fn refused(register: Register) -> String {
    entry(register).unwrap_err()
}

#[test]
fn a_number_has_letters_digits_dots_and_hyphens_wherever_it_is_given() {
    let with = |number: &str| {
        let n = || s(number);
        let (size, rated) = (s("M"), "4500 psi".parse().unwrap());
        let marks = marks(Spec::Dot3aa, "2024-01");
        let model = Register::FacepieceModel { number: n(), make: s("x"), model: s("x"), style: s("x") };
        let qualification = Register::Qualification {
            member: n(),
            family: s("f"),
            until: day("2027-01-01"),
            reference: s("Course 1"),
        };
        let seat = Register::Seat { id: n(), rig: s("e1"), name: s("Officer"), kit: false, order: 1 };
        vec![
            super::unit(number),
            Register::Facepiece { number: n(), size },
            model,
            Register::Cylinder { number: n(), rated },
            Register::CylinderMarks { number: n(), marks },
            qualification,
            Register::Tablet { id: n(), name: s("Bay"), station: s("mill"), key: None },
            Register::Station { id: n(), name: s("Mill"), order: 1 },
            Register::Rig { id: n(), name: s("Engine"), station: s("mill"), order: 1 },
            seat,
            Register::Source { id: n(), name: s("Compressor"), station: s("mill") },
            Register::Member { id: n(), roles: vec![s("crew")], qualified: vec![] },
        ]
    };
    for good in ["A.1-7", &"7".repeat(32)] {
        for register in with(good) {
            assert_eq!(entry(register.clone()), Ok(()), "{register:?}");
        }
    }
    for bad in ["", "1 7", "1/7", &"7".repeat(33)] {
        for register in with(bad) {
            let told = refused(register.clone());
            assert!(told.contains("cannot be a number: letters, digits, dots and hyphens"), "{register:?}");
        }
    }
}

#[test]
fn a_cylinders_marks_are_those_of_a_cylinder() {
    // Fifteen years of life for carbon, thirty with an extension at most (RSPA notice 94-1 of 1994,
    // DOT-SP 16320); steel has no fixed end. The bounds of the volume are common practice, no
    // published source.
    let desk = |marks: Marks| Desk::Register(Register::CylinderMarks { number: s("1"), marks });
    let (volume, made) = ("water volume in litres: 0.5 to 20", "the month in which it was made");
    let requalified = "the last requalification is between";
    Whole::of(marks(Spec::PermitCarbon, "2020-05"), facts(), desk)
        .refused(&[
            ("too small", volume, |m, _| m.volume_ml = 499),
            ("too large", volume, |m, _| m.volume_ml = 20_001),
            ("made next month", made, |m, _| m.made = month("2026-02")),
            ("made before the years are counted", made, |m, _| m.made = month("1969-12")),
            ("requalified next month", requalified, |m, _| m.requalified = Some(month("2026-02"))),
            ("requalified before it was made", requalified, |m, _| m.requalified = Some(month("2020-04"))),
            ("its life over when it was made", "its life ends after it was made", |m, _| {
                m.life_until = Some(month("2020-05"));
            }),
            ("more than thirty years", "no life is extended beyond thirty years", |m, _| {
                m.life_until = Some(month("2050-06"));
            }),
        ])
        .taken(&[
            ("the smallest", |m, _| m.volume_ml = 500),
            ("the largest", |m, _| m.volume_ml = 20_000),
            ("made this month", |m, _| m.made = month("2026-01")),
            ("the oldest", |m, _| m.made = month("1970-01")),
            ("requalified this month", |m, _| m.requalified = Some(month("2026-01"))),
            ("requalified when it was made", |m, _| m.requalified = Some(month("2020-05"))),
            ("a month of life", |m, _| m.life_until = Some(month("2020-06"))),
            ("thirty years", |m, _| m.life_until = Some(month("2050-05"))),
            ("steel, as long as is said", |m, _| {
                (m.spec, m.life_until) = (Spec::Dot3aa, Some(month("2050-06")));
            }),
        ]);
}

#[derive(Clone)]
struct Tablet {
    id: String,
    name: String,
}

#[test]
fn a_tablet_has_an_id_of_its_own_and_a_name_that_a_list_can_show() {
    let desk = |t: Tablet| {
        Desk::Register(Register::Tablet { id: t.id, name: t.name, station: s("mill"), key: None })
    };
    let name = "a name of up to 60 characters";
    Whole::of(Tablet { id: s("t1"), name: s("Bay") }, facts(), desk)
        .refused(&[
            ("enrolled", "of this id is enrolled already", |_, f| f.tablet = Some(Enrolled::InUse)),
            ("given up", "of this id is enrolled already", |_, f| f.tablet = Some(Enrolled::Revoked)),
            ("the server’s own", "“desk” is the server's own name", |t, _| t.id = s("desk")),
            ("no name", name, |t, _| t.name = s(" ")),
            ("61 characters", name, |t, _| t.name = "ä".repeat(61)),
            ("two lines", name, |t, _| t.name = s("Bay\n2")),
        ])
        .taken(&[("60 characters", |t, _| t.name = "ä".repeat(60))]);
}

#[test]
fn settings_stay_within_what_they_can_mean() {
    let period = |months| {
        Register::Period(Period { work: Work::FlowTest, only: String::new(), months, lapse: Lapse::Said })
    };
    let hours = |hours| Register::Identification { asked: Asked::Shown, hours };
    for taken in [period(1), period(360), hours(1), hours(168)] {
        assert_eq!(entry(taken.clone()), Ok(()), "{taken:?}");
    }
    assert!(refused(period(0)).contains("the period in months: 1 to 360"));
    assert!(refused(period(361)).contains("the period in months: 1 to 360"));
    assert!(refused(hours(0)).contains("1 to 168") && refused(hours(169)).contains("1 to 168"));

    let department = |zone: &str| Register::Department {
        name: s("Brindle Basin"),
        zone: s(zone),
        shift_start: s("07:00"),
        shift_hours: 24,
        early_minutes: 60,
        grace_minutes: 60,
    };
    assert_eq!(entry(department("America/Denver")), Ok(()));
    assert!(refused(department("Middle/Earth")).contains("is not a time zone"));

    let member = |role: &str| Register::Member { id: s("ana"), roles: vec![s(role)], qualified: vec![] };
    for role in ["crew", "officer", "technician", "administrator"] {
        assert_eq!(entry(member(role)), Ok(()));
    }
    assert!(refused(member("chief")).contains("“chief” is not a role"));

    let rotation = |names: &[&str]| Register::Rotation {
        turns: names.iter().map(|n| s(n)).collect(),
        first: 0,
        apart: std::collections::BTreeSet::new(),
    };
    assert_eq!(entry(rotation(&["A", "B"])), Ok(()));
    assert_eq!(entry(rotation(&[])), Ok(()), "nobody rotates");
    assert_eq!(refused(rotation(&["A", " "])), "each platoon has a name");

    let drive = |to: &str| Register::Drive { from: s("mill"), to: s(to), minutes: 9 };
    assert_eq!(entry(drive("ford")), Ok(()));
    assert!(refused(drive("mill")).contains("from one station to another"));

    let approval = |names: &[&str]| Register::Approval {
        profile: s("a"),
        slot: Slot::Reducer,
        names: names.iter().map(|n| s(n)).collect(),
    };
    assert_eq!(entry(approval(&["Brindle part"])), Ok(()));
    assert_eq!(entry(approval(&[])), Ok(()), "it names none");
    assert_eq!(refused(approval(&["Brindle part", " "])), "each part has a name");
}
