//! Upkeep against the law and the agencies' words on it.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

mod heard;

use airmuster_domain::Millis;
use airmuster_domain::desk::{Facts, Signer, may};
use airmuster_domain::ground::Kind;
use airmuster_domain::record::{
    AirSample, Asset, Cadence, CylinderRead, Desk, Digest, Fill, Lapse, Loan, LoanEnded, Marks, Month,
    Period, Place, RecordRef, Register, Return, Spec, TakenOut, Upkept, Work,
};
use airmuster_domain::role::Role;
use airmuster_domain::standing::State;
use airmuster_domain::upkeep::{Of, Upkeep, decimal, grade_d};
use chrono::NaiveDate;

/// 2026-01-05 00:00 UTC, by `date -u -d 2026-01-05 +%s`.
const JANUARY_5: i64 = 1_767_571_200_000;
const DAY: i64 = 86_400_000;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn month(text: &str) -> Month {
    text.parse().unwrap()
}

fn marks(spec: Spec, made: &str, requalified: Option<&str>) -> Marks {
    Marks {
        volume_ml: 6_800,
        spec,
        made: month(made),
        requalified: requalified.map(month),
        life_until: None,
        serial: String::new(),
    }
}

fn cylinder(number: &str, m: Marks) -> Upkeep {
    let mut u = Upkeep::default();
    add(&mut u, number, m);
    u
}

fn add(u: &mut Upkeep, number: &str, marks: Marks) {
    let (number, rated) = (number.to_owned(), "4500 psi".parse().unwrap());
    u.hear(&Desk::Register(Register::Cylinder { number: number.clone(), rated }), 0);
    u.hear(&Desk::Register(Register::CylinderMarks { number, marks }), 0);
}

fn unit(u: &mut Upkeep, number: &str) {
    let (number, profile) = (number.to_owned(), "us-4500-third".to_owned());
    let (cadence, serials) = (Cadence::EachShift, std::collections::BTreeMap::new());
    u.hear(&Desk::Register(Register::Unit { number, profile, cadence, in_use: true, serials }), 0);
}

fn done(asset: &str, work: Work, on: &str) -> Upkept {
    let reference = "sheet 1".to_owned();
    let (asset, on) = (asset.parse().unwrap(), day(on));
    Upkept { asset, work, on, passed: true, reference, until: None, note: String::new() }
}

fn source(u: &mut Upkeep, id: &str) {
    let (id, name, station) = (id.to_owned(), format!("Compressor {id}"), "mill".to_owned());
    u.hear(&Desk::Register(Register::Source { id, name, station }), 0);
}

fn fill(cylinder: &str, source: &str) -> Fill {
    let pressure = "4500 psi".parse().unwrap();
    Fill { cylinder: cylinder.to_owned(), source: source.to_owned(), pressure, celsius: Some(21) }
}

fn sample(source: &str, on: &str) -> AirSample {
    AirSample {
        source: source.to_owned(),
        on: day(on),
        oxygen: 2090,
        oil: 10,
        monoxide: 12,
        dioxide: 410,
        odour: false,
        reference: "Report 7".to_owned(),
    }
}

fn kinds(u: &Upkeep, asset: &Asset, today: &str) -> Vec<Kind> {
    u.grounds(asset, day(today)).into_iter().map(|r| r.kind).collect()
}

fn facts(upkeep: &Upkeep, today: &str, role: Role) -> Facts {
    let roles = [role].into();
    let by = Some(Signer { id: "tom".to_owned(), roles, ..Signer::default() });
    Facts { by, today: day(today), upkeep: upkeep.clone(), ..Facts::default() }
}

fn refused(desk: &Desk, facts: &Facts) -> String {
    may(desk, facts).unwrap_err().say
}

// ------------------------------------------------------------------------------ when it is due

#[test]
fn steel_and_aluminium_are_requalified_within_five_years_and_by_the_months_end() {
    // 49 CFR 180.209(a), Table 1: 3A, 3AA and 3AL in 5 years; 180.207(a)(2): any time during or
    // before the month.
    for spec in [Spec::Dot3a, Spec::Dot3aa, Spec::Dot3al] {
        let u = cylinder("1", marks(spec, "2010-02", Some("2021-02")));
        assert_eq!(u.due(&Asset::cylinder("1"), Work::Requalification), Some(day("2026-02-28")));
        assert_eq!(u.due(&Asset::cylinder("1"), Work::EndOfLife), None, "metal has no fixed end");
    }
    let leap = cylinder("1", marks(Spec::Dot3aa, "2019-02", None));
    assert_eq!(leap.due(&Asset::cylinder("1"), Work::Requalification), Some(day("2024-02-29")));
}

#[test]
fn twelve_years_are_the_most_that_a_department_can_set_for_steel() {
    // Table 1 of 49 CFR 180.209 names 5, 10 and 12 years for 3A and 3AA; 10 and 12 under conditions that
    // the department answers for.
    let mut u = cylinder("1", marks(Spec::Dot3aa, "2020-06", None));
    for (months, due) in [(120, "2030-06-30"), (144, "2032-06-30"), (300, "2032-06-30")] {
        let only = Spec::Dot3aa.id().to_owned();
        let p = Period { work: Work::Requalification, only, months, lapse: Lapse::Said };
        u.hear(&Desk::Register(Register::Period(p)), 0);
        assert_eq!(u.due(&Asset::cylinder("1"), Work::Requalification), Some(day(due)));
    }
}

#[test]
fn composites_go_by_their_permit_and_live_fifteen_years() {
    // Permits: carbon 5 years, glass, aramid and hoop wraps 3; RSPA notice 94-1 (1994): 15 years.
    for (spec, due) in [
        (Spec::PermitCarbon, "2028-05-31"),
        (Spec::PermitGlass, "2026-05-31"),
        (Spec::PermitHoop, "2026-05-31"),
    ] {
        let mut u = cylinder("1", marks(spec, "2018-05", Some("2023-05")));
        assert_eq!(u.due(&Asset::cylinder("1"), Work::Requalification), Some(day(due)));
        assert_eq!(u.due(&Asset::cylinder("1"), Work::EndOfLife), Some(day("2033-05-31")));
        // No department lengthens a permit; it may be stricter.
        for (months, due) in [(144, due), (12, "2024-05-31")] {
            let only = spec.id().to_owned();
            let p = Period { work: Work::Requalification, only, months, lapse: Lapse::Said };
            u.hear(&Desk::Register(Register::Period(p)), 0);
            assert_eq!(u.due(&Asset::cylinder("1"), Work::Requalification), Some(day(due)));
        }
    }
}

#[test]
fn a_flow_test_is_due_a_year_later_on_its_day_and_a_leap_days_on_the_28th() {
    let mut u = Upkeep::default();
    unit(&mut u, "117");
    let of = Asset::unit("117");
    assert_eq!(u.due(&of, Work::FlowTest), None);
    assert!(u.unknown().contains(&(Of::Asset(of.clone()), Work::FlowTest)));
    u.hear(&Desk::Upkeep(done("unit:117", Work::FlowTest, "2024-02-29")), 0);
    assert_eq!(u.due(&of, Work::FlowTest), Some(day("2025-02-28")));
    // An earlier sheet that is entered later takes nothing back.
    u.hear(&Desk::Upkeep(done("unit:117", Work::FlowTest, "2023-05-01")), 0);
    assert_eq!(u.due(&of, Work::FlowTest), Some(day("2025-02-28")));
    assert_eq!(kinds(&u, &of, "2025-02-28"), []);
    assert_eq!(kinds(&u, &of, "2025-03-01"), [Kind::Lapsed]);
}

#[test]
fn the_forecast_names_each_time_that_something_falls_due_and_stops_at_the_end_of_life() {
    let mut u = cylinder("1", marks(Spec::PermitCarbon, "2014-03", Some("2024-03")));
    unit(&mut u, "117");
    u.hear(&Desk::Upkeep(done("unit:117", Work::FlowTest, "2025-06-10")), 0);
    source(&mut u, "c");
    u.hear(&Desk::AirSample(sample("c", "2025-11-30")), 0);
    let told: Vec<String> = u
        .forecast(day("2026-01-05"), day("2029-01-05"))
        .into_iter()
        .filter(|d| d.work != Work::AirSample)
        .map(|d| format!("{} {}", d.by, d.work.id()))
        .collect();
    assert_eq!(
        told,
        ["2026-06-10 flow_test", "2027-06-10 flow_test", "2028-06-10 flow_test"],
        "requalification in 2029-03 and the end of life in 2029-03 are later"
    );
    let later: Vec<String> = u
        .forecast(day("2026-01-05"), day("2040-01-05"))
        .into_iter()
        .filter(|d| d.on == Of::Asset(Asset::cylinder("1")))
        .map(|d| format!("{} {}", d.by, d.work.id()))
        .collect();
    assert_eq!(later, ["2029-03-31 requalification", "2029-03-31 end_of_life"]);
    // Once in three months: WAC 296-305-04001(6).
    let air = u.forecast(day("2026-01-05"), day("2029-01-05"));
    assert_eq!(air.iter().filter(|d| d.work == Work::AirSample).count(), 12);
    assert_eq!(u.sample_due("c"), Some(day("2026-02-28")));
}

#[test]
fn what_is_late_stands_at_its_own_day_and_the_next_counts_from_today() {
    let mut u = Upkeep::default();
    unit(&mut u, "117");
    u.hear(&Desk::Upkeep(done("unit:117", Work::FlowTest, "2024-06-10")), 0);
    let told: Vec<NaiveDate> =
        u.forecast(day("2026-01-05"), day("2027-12-31")).into_iter().map(|d| d.by).collect();
    assert_eq!(told, [day("2025-06-10"), day("2027-01-05")]);
}

// ------------------------------------------------------------------------------ what follows

#[test]
fn a_cylinder_filled_before_it_was_due_is_used_until_it_is_empty_and_not_refilled() {
    // 49 CFR 180.205(c) and 180.207(a)(2); PHMSA interpretation 09-0148.
    let mut u = cylinder("1", marks(Spec::PermitCarbon, "2016-03", Some("2021-01")));
    source(&mut u, "c");
    let of = Asset::cylinder("1");
    let filling = Desk::Fill(fill("1", "c"));
    assert_eq!(may(&filling, &facts(&u, "2026-01-31", Role::Crew)), Ok(()), "on its last day");
    assert_eq!(kinds(&u, &of, "2026-02-01"), [Kind::NotToBeFilled]);
    assert_eq!(Kind::NotToBeFilled.terms().state, State::InService, "it may be used");
    let say = refused(&filling, &facts(&u, "2026-02-01", Role::Crew));
    assert_eq!(say, "1 was due for requalification by 31 Jan 2026");
    u.hear(&Desk::Upkeep(done("cylinder:1", Work::Requalification, "2026-02-10")), 0);
    assert_eq!(kinds(&u, &of, "2026-02-11"), []);
    assert_eq!(u.due(&of, Work::Requalification), Some(day("2031-02-28")));
    assert_eq!(may(&filling, &facts(&u, "2026-02-11", Role::Crew)), Ok(()));
}

#[test]
fn past_its_life_it_is_out_at_once_not_requalified_and_not_refilled() {
    // 49 CFR 180.207(a)(3); extension to at most 30 years by DOT-SP 16320.
    let mut u = cylinder("1", marks(Spec::PermitCarbon, "2011-01", Some("2024-01")));
    source(&mut u, "c");
    let of = Asset::cylinder("1");
    assert_eq!(kinds(&u, &of, "2026-01-31"), []);
    assert_eq!(kinds(&u, &of, "2026-02-01"), [Kind::PastLife]);
    assert_eq!(Kind::PastLife.terms().state, State::OutOfService);
    let f = facts(&u, "2026-02-01", Role::Technician);
    assert!(refused(&Desk::Fill(fill("1", "c")), &f).contains("past its life, which ended on 31 Jan 2026"));
    let again = done("cylinder:1", Work::Requalification, "2026-02-01");
    assert!(refused(&Desk::Upkeep(again), &f).contains("it is not requalified"));
    let mut longer = done("cylinder:1", Work::LifeExtension, "2026-02-01");
    longer.until = Some(month("2041-02"));
    assert!(refused(&Desk::Upkeep(longer.clone()), &f).contains("at most thirty years"));
    longer.until = Some(month("2031-01"));
    assert_eq!(may(&Desk::Upkeep(longer.clone()), &f), Ok(()));
    u.hear(&Desk::Upkeep(longer), 0);
    assert_eq!(kinds(&u, &of, "2026-02-01"), []);
    // A unit that has such a cylinder in it is not in service either.
    let mut fitted = cylinder("2", marks(Spec::PermitGlass, "2010-01", Some("2025-01")));
    unit(&mut fitted, "117");
    let place = Place::With { unit: "117".to_owned() };
    fitted.hear(&Desk::Register(Register::Holder { asset: Asset::cylinder("2"), place }), 0);
    assert_eq!(kinds(&fitted, &Asset::unit("117"), "2026-01-05"), [Kind::FittedOut]);
    let place = Place::Bench;
    fitted.hear(&Desk::Register(Register::Holder { asset: Asset::cylinder("2"), place }), 0);
    assert_eq!(kinds(&fitted, &Asset::unit("117"), "2026-01-05"), []);
}

#[test]
fn a_condemned_cylinder_is_never_filled_and_falls_due_for_nothing() {
    // 49 CFR 180.203: condemned is a terminal state.
    let mut u = cylinder("1", marks(Spec::Dot3aa, "2020-01", None));
    source(&mut u, "c");
    let why = TakenOut { asset: Asset::cylinder("1"), why: "neck cracked".to_owned() };
    let f = facts(&u, "2026-01-05", Role::Crew);
    assert!(may(&Desk::Condemned(why.clone()), &f).unwrap_err().forbidden);
    assert_eq!(may(&Desk::Condemned(why.clone()), &facts(&u, "2026-01-05", Role::Technician)), Ok(()));
    u.hear(&Desk::Condemned(why), 0);
    let f = facts(&u, "2026-01-05", Role::Crew);
    assert_eq!(
        refused(&Desk::Fill(fill("1", "c")), &f),
        "1 is condemned or retired; it is never filled again"
    );
    assert_eq!(u.forecast(day("2026-01-05"), day("2040-01-01")), []);
}

#[test]
fn a_cylinder_whose_marks_nobody_has_entered_is_not_filled() {
    let mut u = Upkeep::default();
    source(&mut u, "c");
    let (number, rated) = ("1".to_owned(), "300 bar".parse().unwrap());
    u.hear(&Desk::Register(Register::Cylinder { number, rated }), 0);
    let say = refused(&Desk::Fill(fill("1", "c")), &facts(&u, "2026-01-05", Role::Crew));
    assert!(say.contains("enter what is stamped on 1 first"), "{say}");
}

#[test]
fn a_fill_far_above_the_rating_is_not_taken_for_one() {
    let mut u = cylinder("1", marks(Spec::PermitCarbon, "2024-01", None));
    source(&mut u, "c");
    let mut f = Fill { celsius: None, ..fill("1", "c") };
    for (pressure, taken) in [("5625 psi", true), ("5626 psi", false)] {
        f.pressure = pressure.parse().unwrap();
        let outcome = may(&Desk::Fill(f.clone()), &facts(&u, "2026-01-05", Role::Crew));
        assert_eq!(outcome.is_ok(), taken, "{pressure}");
    }
}

#[test]
fn a_reading_that_no_gauge_of_this_cylinder_gives_is_not_taken() {
    let u = cylinder("1", marks(Spec::PermitCarbon, "2024-01", None));
    let read = |cylinder: &str, pressure: &str| {
        let (cylinder, pressure) = (cylinder.to_owned(), pressure.parse().unwrap());
        Desk::CylinderRead(CylinderRead { cylinder, pressure })
    };
    let f = facts(&u, "2026-01-05", Role::Crew);
    // Half as much again as 4,500 psi is 6,750: a warm cylinder reads above its rating, but not that far.
    assert_eq!(may(&read("1", "6750 psi"), &f), Ok(()));
    assert!(refused(&read("1", "6751 psi"), &f).contains("look at the gauge again"));
    assert!(refused(&read("2", "4480 psi"), &f).contains("no cylinder 2"));
    let nobody = Facts { by: None, ..f };
    assert!(may(&read("1", "4480 psi"), &nobody).is_err(), "a reading is signed");
}

#[test]
fn how_often_is_said_by_an_officer_and_what_identifies_by_an_administrator() {
    use airmuster_domain::record::{Asked, Spot};
    let u = Upkeep::default();
    let at = Spot::Rig { rig: "engine-2".to_owned() };
    let often = Desk::Register(Register::Cadence { at, cadence: Some(Cadence::Weekly) });
    let asked = |hours| Desk::Register(Register::Identification { asked: Asked::Shown, hours });
    for (role, says, asks) in [
        (Role::Crew, false, false),
        (Role::Technician, false, false),
        (Role::Officer, true, false),
        (Role::Administrator, true, true),
    ] {
        let f = facts(&u, "2026-01-05", role);
        assert_eq!((may(&often, &f).is_ok(), may(&asked(25), &f).is_ok()), (says, asks), "{role:?}");
    }
    let f = facts(&u, "2026-01-05", Role::Administrator);
    assert!(refused(&asked(0), &f).contains("1 to 168") && refused(&asked(169), &f).contains("1 to 168"));
}

#[test]
fn the_department_decides_what_a_lapsed_flow_test_means_and_a_failed_one_is_out() {
    let mut u = Upkeep::default();
    unit(&mut u, "117");
    let of = Asset::unit("117");
    u.hear(&Desk::Upkeep(done("unit:117", Work::FlowTest, "2024-01-05")), 0);
    u.hear(&Desk::Upkeep(done("unit:117", Work::Battery, "2024-01-05")), 0);
    assert_eq!(kinds(&u, &of, "2026-01-05"), [Kind::Lapsed, Kind::Overdue]);
    for (only, lapse) in [("", Lapse::Said), ("us-4500-third", Lapse::OutOfService)] {
        let p = Period { work: Work::FlowTest, only: only.to_owned(), months: 12, lapse };
        u.hear(&Desk::Register(Register::Period(p)), 0);
        let first = kinds(&u, &of, "2026-01-05")[0];
        assert_eq!(first == Kind::Lapsed, lapse == Lapse::OutOfService, "the closest word holds");
    }
    let failed = Upkept { passed: false, ..done("unit:117", Work::FlowTest, "2026-01-04") };
    u.hear(&Desk::Upkeep(failed), 0);
    assert_eq!(u.grounds(&of, day("2026-01-05"))[0].say, "flow test failed on 4 Jan 2026");
    // A sheet from before the failure does not mend it.
    u.hear(&Desk::Upkeep(done("unit:117", Work::FlowTest, "2026-01-03")), 0);
    assert_eq!(kinds(&u, &of, "2026-01-05")[0], Kind::Lapsed);
    u.hear(&Desk::Upkeep(done("unit:117", Work::FlowTest, "2026-01-05")), 0);
    assert!(!kinds(&u, &of, "2026-01-05").contains(&Kind::Lapsed));
}

// ------------------------------------------------------------------------------ air

#[test]
fn five_figures_make_grade_d_and_each_bound_belongs_to_it() {
    // 29 CFR 1910.134(i)(1)(ii)(A) to (E): 19.5 to 23.5 % by volume, 5 mg/m3, 10 ppm, 1,000 ppm, no
    // noticeable odour.
    let good = sample("c", "2026-01-05");
    for oxygen in [1950, 2350] {
        let bound = AirSample { oxygen, oil: 500, monoxide: 100, dioxide: 1000, ..good.clone() };
        assert_eq!(grade_d(&bound), Vec::<String>::new());
    }
    let bad = [
        AirSample { oxygen: 1949, ..good.clone() },
        AirSample { oxygen: 2351, ..good.clone() },
        AirSample { oil: 501, ..good.clone() },
        AirSample { monoxide: 101, ..good.clone() },
        AirSample { dioxide: 1001, ..good.clone() },
        AirSample { odour: true, ..good },
    ];
    for s in bad {
        assert_eq!(grade_d(&s).len(), 1, "{s:?}");
    }
    assert_eq!(
        grade_d(&AirSample { monoxide: 101, ..sample("c", "2026-01-05") })[0],
        "carbon monoxide 10.1 ppm, at most 10"
    );
    assert_eq!(
        (decimal(2095, 2), decimal(500, 2), decimal(1005, 2)),
        ("20.95".into(), "5".into(), "10.05".into())
    );
}

#[test]
fn a_failed_sample_holds_what_was_filled_since_the_last_good_one_and_nothing_else() {
    let mut u = Upkeep::default();
    source(&mut u, "a");
    source(&mut u, "b");
    for n in ["before", "since", "other", "same-day"] {
        add(&mut u, n, marks(Spec::PermitCarbon, "2024-01", None));
    }
    u.hear(&Desk::Fill(fill("before", "a")), JANUARY_5 - 10 * DAY);
    u.hear(&Desk::Fill(fill("same-day", "a")), JANUARY_5 + DAY / 2);
    u.hear(&Desk::AirSample(sample("a", "2026-01-05")), JANUARY_5 + 9 * DAY);
    u.hear(&Desk::Fill(fill("since", "a")), JANUARY_5 + 10 * DAY);
    u.hear(&Desk::Fill(fill("other", "b")), JANUARY_5 + 10 * DAY);
    let bad = AirSample { monoxide: 140, ..sample("a", "2026-02-01") };
    assert_eq!(may(&Desk::AirSample(bad.clone()), &facts(&u, "2026-02-03", Role::Officer)), Ok(()));
    u.hear(&Desk::AirSample(bad), JANUARY_5 + 29 * DAY);
    let held = |u: &Upkeep, n: &str| kinds(u, &Asset::cylinder(n), "2026-02-03") == [Kind::BadAir];
    assert!(held(&u, "since"));
    assert!(held(&u, "same-day"), "nobody knows that it was filled before the sample was taken");
    assert!(!held(&u, "before") && !held(&u, "other"));
    assert_eq!(Kind::BadAir.terms().state, State::OutOfService);
    // Nothing is filled from there; from elsewhere it may be.
    let f = facts(&u, "2026-02-03", Role::Crew);
    assert!(refused(&Desk::Fill(fill("before", "a")), &f).contains("carbon monoxide 14 ppm"));
    assert_eq!(may(&Desk::Fill(fill("before", "b")), &f), Ok(()));
    // More air on top does not make it good; emptying and flushing does.
    u.hear(&Desk::Fill(fill("since", "b")), JANUARY_5 + 30 * DAY);
    assert!(held(&u, "since"));
    u.hear(&Desk::Upkeep(done("cylinder:since", Work::AirReplaced, "2026-02-03")), JANUARY_5 + 30 * DAY);
    assert!(!held(&u, "since"));
    // A good sample opens the source again; what is held stays held.
    u.hear(&Desk::AirSample(sample("a", "2026-02-04")), JANUARY_5 + 31 * DAY);
    assert_eq!(may(&Desk::Fill(fill("before", "a")), &facts(&u, "2026-02-05", Role::Crew)), Ok(()));
    assert!(held(&u, "same-day"));
}

// ------------------------------------------------------------------------------ fitting

#[test]
fn a_cylinder_of_another_rating_is_not_fitted_nor_one_that_is_out_nor_a_second_one() {
    // 29 CFR 1910.134(h)(4)(ii) and 42 CFR 84: only what the approval names; its rating is part of it.
    let mut u = cylinder("1", marks(Spec::PermitCarbon, "2024-01", None));
    let place = Place::With { unit: "117".to_owned() };
    let fit = Desk::Register(Register::Holder { asset: Asset::cylinder("1"), place });
    let mut f = facts(&u, "2026-01-05", Role::Officer);
    f.rated = Some("5500 psi".parse().unwrap());
    assert_eq!(
        refused(&fit, &f),
        "cylinder 1 is rated 4,500 psi and unit 117 takes 5,500 psi: fit one rated 5,500 psi"
    );
    f.rated = Some("4500 psi".parse().unwrap());
    assert_eq!(may(&fit, &f), Ok(()));
    f.in_the_way = Some(Asset::cylinder("9"));
    assert_eq!(refused(&fit, &f), "cylinder 9 is there; take that out first");
    u.hear(
        &Desk::Register(Register::CylinderMarks {
            number: "1".into(),
            marks: marks(Spec::PermitCarbon, "2009-01", None),
        }),
        0,
    );
    let f = facts(&u, "2026-01-05", Role::Officer);
    assert!(refused(&fit, &f).contains("its life ended on 31 Jan 2024"));
}

#[test]
fn a_month_is_read_as_stamped_and_anything_else_is_not() {
    assert_eq!(month("2021-03").last_day(), day("2021-03-31"));
    assert_eq!(month("2020-11").plus(15).to_string(), "2022-02");
    for bad in ["2021-13", "2021-3", "21-03", "2021/03", "2021-03-01", "", "+021-03"] {
        assert!(bad.parse::<Month>().is_err(), "{bad}");
    }
}

#[test]
fn a_lapsed_qualification_signs_no_return() {
    // 29 CFR 1910.134(h)(4): repairs by persons trained for them.
    let mut u = Upkeep::default();
    let [member, family, reference] = ["tom", "f", "Course 1"].map(str::to_owned);
    let until = day("2026-01-05");
    u.hear(&Desk::Register(Register::Qualification { member, family, until, reference }), 0);
    assert_eq!(u.unqualified("tom", "f", day("2026-01-05")), None, "on its last day");
    assert_eq!(u.unqualified("tom", "f", day("2026-01-06")), Some(until));
    assert_eq!(u.unqualified("tom", "g", day("2026-01-06")), None);
    let name = RecordRef { id: uuid::Uuid::from_u128(1), digest: Digest([1; 32]) };
    let ret = Desk::Return(Return {
        asset: Asset::unit("1"),
        clears: Vec::new(),
        proving: name,
        worked_on: Vec::new(),
        bench_test: None,
        remedy: String::new(),
        second_signer: None,
        reproduced: String::new(),
    });
    for (today, forbidden) in [("2026-01-05", false), ("2026-01-06", true)] {
        let mut f = facts(&u, today, Role::Technician);
        f.family = Some("f".to_owned());
        f.by.as_mut().unwrap().qualified.insert("f".to_owned());
        assert_eq!(may(&ret, &f).unwrap_err().forbidden, forbidden, "{today}");
    }
}

// ------------------------------------------------------------------------------ loans

fn ours(u: &mut Upkeep, number: &str) {
    let (number, profile) = (number.to_owned(), "a".to_owned());
    let (cadence, serials) = (Cadence::EachShift, std::collections::BTreeMap::new());
    u.hear(&Desk::Register(Register::Unit { number, profile, cadence, in_use: true, serials }), 0);
}

fn lent(unit: &str) -> Desk {
    let [unit, to, reference] = [unit, "Harrow Creek", "sheet 4"].map(str::to_owned);
    Desk::Loan(Loan::Lent { unit, to, reference, due_back: day("2026-02-01") })
}

fn borrowed(unit: &str, theirs: &str) -> Desk {
    let [unit, profile, from, theirs, reference, station] =
        [unit, "a", "Harrow Creek", theirs, "sheet 5", "mill"].map(str::to_owned);
    let due_back = day("2026-02-01");
    Desk::Loan(Loan::Borrowed { unit, profile, from, theirs, reference, due_back, station })
}

fn back(unit: &str, station: Option<&str>) -> Desk {
    let (unit, station) = (unit.to_owned(), station.map(str::to_owned));
    Desk::LoanEnded(LoanEnded { unit, station, note: String::new() })
}

#[test]
fn a_unit_is_lent_once_and_only_while_it_may_ride() {
    let mut u = Upkeep::default();
    ours(&mut u, "117");
    let on = |u: &Upkeep| facts(u, "2026-01-05", Role::Officer);
    assert_eq!(may(&lent("117"), &on(&u)), Ok(()));
    assert!(may(&lent("117"), &facts(&u, "2026-01-05", Role::Crew)).unwrap_err().forbidden);
    assert!(refused(&lent("9"), &on(&u)).contains("no unit 9 is in the register"));
    assert!(refused(&lent("117"), &facts(&u, "2026-02-02", Role::Officer)).contains("due back"));
    let mut lapsed = u.clone();
    lapsed.hear(&Desk::Upkeep(done("unit:117", Work::FlowTest, "2024-01-05")), 0);
    assert!(refused(&lent("117"), &on(&lapsed)).contains("out of service (flow test was due by 5 Jan 2025)"));
    u.hear(&lent("117"), JANUARY_5);
    assert!(refused(&lent("117"), &on(&u)).contains("lent already"));
    let put = |place| Desk::Register(Register::Holder { asset: Asset::unit("117"), place });
    assert!(refused(&put(Place::Bench), &on(&u)).contains("lent to Harrow Creek"));
    assert!(refused(&back("117", None), &on(&u)).contains("choose the station"));
    assert_eq!(may(&back("117", Some("mill")), &on(&u)), Ok(()));
    u.hear(&back("117", Some("mill")), JANUARY_5 + DAY);
    assert_eq!(may(&put(Place::Bench), &on(&u)), Ok(()));
    assert!(refused(&put(Place::Away), &on(&u)).contains("by a loan"));
    assert!(refused(&back("117", Some("mill")), &on(&u)).contains("no loan any more"));
}

#[test]
fn what_comes_back_from_a_loan_asks_for_a_check_of_then_its_gear_too() {
    let mut u = Upkeep::default();
    ours(&mut u, "117");
    ours(&mut u, "121");
    let with = |unit: &str| {
        let place = Place::With { unit: unit.to_owned() };
        Desk::Register(Register::Holder { asset: Asset::facepiece("f"), place })
    };
    u.hear(&with("117"), 0);
    let asked = |u: &Upkeep, unit: &str| -> Vec<Millis> {
        let all = u.grounds(&Asset::unit(unit), day("2026-01-06"));
        all.into_iter().filter(|r| r.kind == Kind::BeenAway).map(|r| r.at).collect()
    };
    assert!(asked(&u, "117").is_empty());
    u.hear(&lent("117"), JANUARY_5);
    assert_eq!(asked(&u, "117"), [Millis::MAX], "no check made here says anything of it while it is away");
    u.hear(&back("117", Some("mill")), JANUARY_5 + DAY);
    assert_eq!(asked(&u, "117"), [JANUARY_5 + DAY; 2], "of itself, and of the facepiece that was with it");
    u.hear(&with("121"), JANUARY_5 + 2 * DAY);
    assert_eq!(asked(&u, "121"), [JANUARY_5 + 2 * DAY]);
}

#[test]
fn a_borrowed_unit_has_a_number_of_its_own_here_and_is_not_lent_on() {
    let mut u = Upkeep::default();
    ours(&mut u, "117");
    let on = |u: &Upkeep| {
        let mut f = facts(u, "2026-01-05", Role::Officer);
        f.slots = Some(Vec::new());
        f
    };
    assert_eq!(may(&borrowed("L-9", "HC-9"), &on(&u)), Ok(()));
    assert!(refused(&borrowed("117", "HC-9"), &on(&u)).contains("there is a unit 117 here already"));
    assert!(refused(&borrowed("L-9", " "), &on(&u)).contains("the number that its owner has on it"));
    assert!(refused(&borrowed("L 9", "HC-9"), &on(&u)).contains("letters, digits"));
    let mut odd = on(&u);
    odd.slots = None;
    assert!(refused(&borrowed("L-9", "HC-9"), &odd).contains("choose its kind"));
    u.hear(&borrowed("L-9", "HC-9"), JANUARY_5);
    assert_eq!(kinds(&u, &Asset::unit("L-9"), "2026-01-06"), [Kind::BeenAway]);
    assert!(refused(&borrowed("L-9", "HC-9"), &on(&u)).contains("already"));
    assert!(refused(&lent("L-9"), &on(&u)).contains("belongs to Harrow Creek"));
    assert!(refused(&back("L-9", Some("mill")), &on(&u)).contains("goes back to Harrow Creek"));
    u.hear(&back("L-9", None), JANUARY_5 + DAY);
    let put = Register::Holder { asset: Asset::unit("L-9"), place: Place::Bench };
    assert!(refused(&Desk::Register(put), &on(&u)).contains("given back to Harrow Creek"));
    assert_eq!(may(&borrowed("L-9", "HC-9"), &on(&u)), Ok(()), "it comes again under its number");
}
