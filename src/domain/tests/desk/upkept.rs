//! Upkeep that was done, fills, readings and air samples.

use airmuster_domain::ground::Kind;
use airmuster_domain::record::{AirSample, Asset, CylinderRead, Desk, Fill, Register, Spec, TakenOut, Work};

use super::{Whole, day, facts, hear, marks, month, raise, s, upkept};

#[test]
fn upkeep_is_entered_for_a_day_that_has_been() {
    let still = "this day is still to come";
    Whole::of(upkept(Asset::unit("1"), Work::Battery), facts(), Desk::Upkeep)
        .refused(&[
            ("tomorrow", still, |u, _| u.on = day("2026-01-06")),
            ("before the years are counted", "look at the year", |u, _| u.on = day("1969-12-31")),
        ])
        .taken(&[
            ("yesterday", |u, _| u.on = day("2026-01-04")),
            ("the first day that is counted", |u, _| u.on = day("1970-01-01")),
        ]);
}

#[test]
fn upkeep_is_done_to_what_it_is_for_and_with_the_paper_that_it_asks_for() {
    let (paper, register) = ("name the certificate or sheet", "is in the register");
    Whole::of(upkept(Asset::unit("1"), Work::FlowTest), facts(), Desk::Upkeep)
        .refused(&[
            ("no unit", register, |u, _| u.asset = Asset::unit("9")),
            ("no cylinder", "no cylinder 9 is in the register", |u, _| u.asset = Asset::cylinder("9")),
            ("gone", "never comes back", |_, f| f.open = vec![raise(Kind::Retired)]),
            ("to a facepiece", "flow test is not done to a facepiece", |u, _| {
                u.asset = Asset::facepiece("1");
            }),
            ("what falls due and is not done", "end of life is not done to a cylinder", |u, _| {
                *u = upkept(Asset::cylinder("1"), Work::EndOfLife);
            }),
            ("what is done to a source", "air sample is not done to a unit", |u, _| u.work = Work::AirSample),
            ("a flow test without a sheet", paper, |u, _| u.reference = s(" ")),
            ("a requalification without one", paper, |u, _| {
                *u = upkept(Asset::cylinder("1"), Work::Requalification);
                u.reference = s(" ");
            }),
            ("a life extension without one", paper, |u, _| {
                *u = upkept(Asset::cylinder("1"), Work::LifeExtension);
                (u.until, u.reference) = (Some(month("2040-01")), s(" "));
            }),
        ])
        .taken(&[
            ("batteries without one", |u, _| (u.work, u.reference) = (Work::Battery, String::new())),
            ("a facepiece’s cleaning", |u, _| *u = upkept(Asset::facepiece("1"), Work::Cleaned)),
            ("a facepiece’s service", |u, _| *u = upkept(Asset::facepiece("1"), Work::FacepieceService)),
            ("a failed one", |u, _| u.passed = false),
        ]);
    // 29 CFR 1910.134(h)(4): by persons trained for it.
    Whole::of(upkept(Asset::unit("1"), Work::FlowTest), facts(), Desk::Upkeep)
        .forbidden(&[("a flow test by one qualified for others", "a flow test is signed by", |_, f| {
            f.family = Some(s("g"));
        })])
        .taken(&[("batteries by one qualified for others", |u, f| {
            (u.work, f.family) = (Work::Battery, Some(s("g")));
        })]);
}

#[test]
fn a_cylinder_is_requalified_within_its_life_by_its_marks() {
    // 49 CFR 180.207(a)(3): what is past its life is not requalified. Made in January 2024, carbon
    // lives fifteen years (RSPA notice 94-1 of 1994).
    let stamped = "enter what is stamped on 2 first";
    Whole::of(upkept(Asset::cylinder("1"), Work::Requalification), facts(), Desk::Upkeep)
        .refused(&[
            ("past its life", "1 is past its life: it is not requalified", |_, f| {
                f.today = day("2039-02-01");
            }),
            ("without marks", stamped, |u, f| {
                bare(f);
                u.asset = Asset::cylinder("2");
            }),
            ("an extension without marks", stamped, |u, f| {
                bare(f);
                (u.asset, u.work) = (Asset::cylinder("2"), Work::LifeExtension);
            }),
        ])
        .taken(&[("on the last day of its life", |_, f| f.today = day("2039-01-31"))]);
}

fn bare(f: &mut airmuster_domain::desk::Facts) {
    let entry = Register::Cylinder { number: s("2"), rated: "4500 psi".parse().unwrap() };
    hear(&mut f.upkeep, &Desk::Register(entry));
}

#[test]
fn the_life_of_carbon_alone_is_extended_and_ends_thirty_years_after_it_was_made() {
    // DOT-SP 16320: beyond the fifteen years, at most to thirty.
    let mut body = upkept(Asset::cylinder("1"), Work::LifeExtension);
    body.until = Some(month("2044-01"));
    let most = "at most thirty years after it was made";
    Whole::of(body, facts(), Desk::Upkeep)
        .refused(&[
            ("steel", "a life is extended for a carbon cylinder", |_, f| restamp(f, Spec::Dot3aa)),
            ("glass", "a life is extended for a carbon cylinder", |_, f| restamp(f, Spec::PermitGlass)),
            ("no end", most, |u, _| u.until = None),
            ("beyond thirty years", most, |u, _| u.until = Some(month("2054-02"))),
            ("no longer than it lives anyway", most, |u, _| u.until = Some(month("2039-01"))),
        ])
        .taken(&[
            ("to thirty years", |u, _| u.until = Some(month("2054-01"))),
            ("by a month", |u, _| u.until = Some(month("2039-02"))),
            ("when its life is over", |_, f| f.today = day("2039-02-01")),
        ]);
}

fn restamp(f: &mut airmuster_domain::desk::Facts, spec: Spec) {
    let marks = marks(spec, "2024-01");
    hear(&mut f.upkeep, &Desk::Register(Register::CylinderMarks { number: s("1"), marks }));
}

// ---------------------------------------------------------------------------------- air

fn fill() -> Fill {
    let (cylinder, source, pressure) = (s("1"), s("air"), "4500 psi".parse().unwrap());
    Fill { cylinder, source, pressure, celsius: None }
}

fn sample() -> AirSample {
    AirSample {
        source: s("air"),
        on: day("2026-01-05"),
        oxygen: 2090,
        oil: 10,
        monoxide: 12,
        dioxide: 410,
        odour: false,
        reference: s("Report 7"),
    }
}

#[test]
fn a_cylinder_is_filled_from_a_good_source_while_nothing_is_against_it() {
    let temperature = "look at the temperature again: it is in °C";
    Whole::of(fill(), facts(), Desk::Fill)
        .refused(&[
            ("no source", "choose the source of the air", |b, _| b.source = s("none")),
            ("no cylinder", "no cylinder 9 is in the register", |b, _| b.cylinder = s("9")),
            ("failed", "1 is out of service: it failed", |_, f| f.open = vec![raise(Kind::Finding)]),
            ("pulled", "1 is out of service: it failed", |_, f| f.open = vec![raise(Kind::TakenOut)]),
            ("two reasons", "choose the source of the air; 1 is out of service", |b, f| {
                b.source = s("none");
                f.open = vec![raise(Kind::Finding)];
            }),
            ("colder than anywhere", temperature, |b, _| b.celsius = Some(-61)),
            ("too hot to touch", temperature, |b, _| b.celsius = Some(81)),
        ])
        .taken(&[
            ("to be put right", |_, f| f.open = vec![raise(Kind::PutRight)]),
            ("the coldest", |b, _| {
                b.celsius = Some(-60);
                b.pressure = "2500 psi".parse().unwrap();
            }),
            ("the hottest", |b, _| b.celsius = Some(80)),
        ]);
}

#[test]
fn a_fill_is_held_against_the_rating_by_what_it_comes_to_when_it_is_warm() {
    let filled = |pressure: &str, celsius| {
        let f = Fill { pressure: pressure.parse().unwrap(), celsius, ..fill() };
        airmuster_domain::desk::may(&Desk::Fill(f), &facts()).map_err(|r| r.say)
    };
    // CoolProp's air (Lemmon et al. 2000), data/air_reference.csv, has 0.14 % of ours in density: a cylinder at
    // 4,500 psi and −20 °C comes to about 5,820 psi at 21 °C, and to more than 5,625 psi at 55 °C.
    let refused = filled("4500 psi", Some(-20)).unwrap_err();
    assert!(refused.starts_with("4,500 psi at −20 °C comes to 5,8"), "{refused}");
    assert!(refused.ends_with("bring it down by the maker's instructions to 3,512 psi"), "{refused}");
    for (pressure, celsius) in
        [("3512 psi", Some(-20)), ("4500 psi", Some(21)), ("5000 psi", Some(45)), ("5625 psi", None)]
    {
        assert_eq!(filled(pressure, celsius), Ok(()), "{pressure} at {celsius:?}");
    }
    // 25 % too much at 21 °C is 25 % too much.
    for (pressure, celsius) in [("5600 psi", Some(21)), ("5626 psi", None), ("20000 psi", Some(21))] {
        assert!(filled(pressure, celsius).is_err(), "{pressure} at {celsius:?}");
    }
}

#[test]
fn air_that_was_in_doubt_is_replaced_and_no_other() {
    let mut state = facts();
    hear(&mut state.upkeep, &Desk::Fill(fill()));
    hear(&mut state.upkeep, &Desk::AirSample(AirSample { monoxide: 140, ..sample() }));
    Whole::of(upkept(Asset::cylinder("1"), Work::AirReplaced), state, Desk::Upkeep).refused(&[(
        "replaced before",
        "the air in 1 is not in doubt",
        |u, f| hear(&mut f.upkeep, &Desk::Upkeep(u.clone())),
    )]);
}

#[test]
fn what_was_taken_away_is_not_read() {
    let body = CylinderRead { cylinder: s("1"), pressure: "4400 psi".parse().unwrap() };
    Whole::of(body, facts(), Desk::CylinderRead).refused(&[
        ("condemned", "1 was retired or condemned: take it away", |_, f| {
            let gone = TakenOut { asset: Asset::cylinder("1"), why: s("neck cracked") };
            hear(&mut f.upkeep, &Desk::Condemned(gone));
        }),
        ("no cylinder", "no cylinder 9 is in the register", |r, _| r.cylinder = s("9")),
    ]);
}

#[test]
fn a_sample_is_one_of_a_known_source_the_latest_and_with_figures_that_can_be() {
    // The most that a figure can be: all of it oxygen (100 %), all of it a gas (a million ppm); of oil,
    // 10 g/m³, common practice with no published source.
    let much = "more than there can be; look at the report again";
    Whole::of(sample(), facts(), Desk::AirSample)
        .refused(&[
            ("no source", "choose the source of the air", |b, _| b.source = s("none")),
            ("tomorrow", "this day is still to come", |b, _| b.on = day("2026-01-06")),
            ("before the last one", "a later sample of this source", |b, f| {
                hear(&mut f.upkeep, &Desk::AirSample(sample()));
                b.on = day("2026-01-04");
            }),
            ("no report", "name the laboratory", |b, _| b.reference = s(" ")),
            ("oxygen", much, |b, _| b.oxygen = 10_001),
            ("oil", much, |b, _| b.oil = 1_000_001),
            ("carbon monoxide", much, |b, _| b.monoxide = 10_000_001),
            ("carbon dioxide", much, |b, _| b.dioxide = 1_000_001),
        ])
        .taken(&[
            ("on the day of the last one", |_, f| hear(&mut f.upkeep, &Desk::AirSample(sample()))),
            ("after the last one", |_, f| {
                hear(&mut f.upkeep, &Desk::AirSample(AirSample { on: day("2026-01-01"), ..sample() }));
            }),
            ("a bad one, at its most", |b, _| {
                (b.oxygen, b.oil, b.monoxide, b.dioxide) = (10_000, 1_000_000, 10_000_000, 1_000_000);
            }),
        ]);
}
