//! What upkeep knows once it has heard the desk's records, one after the other.

use airmuster_domain::desk::{Facts, may};
use airmuster_domain::ground::Kind;
use airmuster_domain::record::{
    Accepted, AirSample, Asset, AssetKind, Component, CylinderRead, Desk, Fitting, Lapse, Leaving, Left,
    Move, Moved, Notice, NoticeDone, NoticeEnded, Period, Place, Reach, Register, Slot, Spec, TakenOut,
    Upkept, Work,
};
use airmuster_domain::role::Role;
use airmuster_domain::upkeep::{Due, Filled, Of, ReadAt, Upkeep};

use super::{
    DAY, JANUARY_5, add, back, borrowed, cylinder, day, done, facts, fill, kinds, lent, marks, month, ours,
    refused, sample, source, unit,
};

fn register(u: &mut Upkeep, entry: Register, at: i64) {
    u.hear(&Desk::Register(entry), at);
}

fn put(u: &mut Upkeep, asset: &Asset, place: Place, at: i64) {
    register(u, Register::Holder { asset: asset.clone(), place }, at);
}

fn with(unit: &str) -> Place {
    Place::With { unit: unit.to_owned() }
}

/// From when on checks are asked for because something was away.
fn asked(u: &Upkeep, number: &str) -> Vec<i64> {
    let all = u.grounds(&Asset::unit(number), day("2026-01-05"));
    all.into_iter().filter(|r| r.kind == Kind::BeenAway).map(|r| r.at).collect()
}

// ------------------------------------------------------------------------------- away and back

#[test]
fn a_unit_that_was_at_a_repairer_is_checked_since_it_came_back_however_it_is_moved_then() {
    let mut u = Upkeep::default();
    let of = Asset::unit("117");
    unit(&mut u, "117");
    put(&mut u, &of, Place::Bench, 1);
    assert!(asked(&u, "117").is_empty(), "it never was away");
    put(&mut u, &of, Place::Repairer, 2);
    assert_eq!(asked(&u, "117"), [2]);
    put(&mut u, &of, Place::Bench, 3);
    assert_eq!(asked(&u, "117"), [3]);
    put(&mut u, &of, Place::Spare { station: "mill".to_owned() }, 4);
    assert_eq!(asked(&u, "117"), [3]);
    let moves = vec![Move { asset: of.clone(), from: None, to: Place::Repairer }];
    u.hear(&Desk::Moved(Moved { moves, why: String::new() }), 5);
    assert_eq!(asked(&u, "117"), [5], "moved with others, too");
}

#[test]
fn a_facepiece_that_was_at_a_repairer_is_checked_on_the_unit_that_it_comes_to_and_on_the_next() {
    let mut u = Upkeep::default();
    let of = Asset::facepiece("f");
    unit(&mut u, "117");
    unit(&mut u, "121");
    put(&mut u, &of, with("117"), 1);
    put(&mut u, &of, Place::Repairer, 2);
    put(&mut u, &of, Place::Bench, 3);
    assert!(asked(&u, "117").is_empty(), "it is on no unit");
    put(&mut u, &of, with("117"), 4);
    assert_eq!(asked(&u, "117"), [4]);
    put(&mut u, &of, with("117"), 5);
    assert_eq!(asked(&u, "117"), [4], "it was there already");
    put(&mut u, &of, with("121"), 6);
    assert!(asked(&u, "117").is_empty());
    assert_eq!(asked(&u, "121"), [6]);
}

#[test]
fn thirty_one_days_after_it_came_back_it_has_been_checked_and_asks_no_more() {
    // The longest time between two checks of a unit: 29 CFR 1910.134(h)(3)(i)(B), at least monthly.
    for (later, asks) in [(31 * DAY - 1, true), (31 * DAY, false), (31 * DAY + 1, false)] {
        let mut u = Upkeep::default();
        let of = Asset::facepiece("f");
        unit(&mut u, "117");
        unit(&mut u, "121");
        put(&mut u, &of, Place::Repairer, 0);
        put(&mut u, &of, with("117"), DAY);
        put(&mut u, &of, with("121"), DAY + later);
        assert_eq!(!asked(&u, "121").is_empty(), asks, "{later} ms later");
    }
}

#[test]
fn what_was_with_a_lent_unit_was_away_and_what_was_with_others_was_not() {
    let mut u = Upkeep::default();
    ours(&mut u, "117");
    ours(&mut u, "121");
    put(&mut u, &Asset::facepiece("f"), with("117"), 0);
    put(&mut u, &Asset::facepiece("g"), with("121"), 0);
    u.hear(&lent("117"), JANUARY_5);
    u.hear(&back("117", Some("mill")), JANUARY_5 + DAY);
    assert_eq!(asked(&u, "117").len(), 2, "the unit and its facepiece");
    assert!(asked(&u, "121").is_empty());
}

#[test]
fn where_a_unit_was_is_said_in_words() {
    let mut u = Upkeep::default();
    for n in ["lent", "repaired"] {
        ours(&mut u, n);
    }
    u.hear(&lent("lent"), 0);
    u.hear(&borrowed("borrowed", "HC-9"), 0);
    put(&mut u, &Asset::unit("repaired"), Place::Repairer, 0);
    let say = |n: &str| u.grounds(&Asset::unit(n), day("2026-01-05")).remove(0).say;
    assert_eq!(
        say("lent"),
        "it is lent to Harrow Creek until 1 Feb 2026: it counts nowhere, and is checked before it rides again"
    );
    assert_eq!(say("borrowed"), "it is on loan from Harrow Creek: check it before it rides");
    assert_eq!(say("repaired"), "it was at an outside repairer or on loan: check it before it rides");
}

// --------------------------------------------------------------------------------------- parts

fn fitting(serial: Option<&str>, was_there: bool) -> Desk {
    let part = serial.map(|s| Component { serial: s.to_owned(), ..Component::default() });
    let (unit, slot, out, why) = ("117".to_owned(), Slot::Reducer, None, String::new());
    Desk::Fitting(Fitting { unit, slot, out, part, was_there, why })
}

#[test]
fn a_part_is_known_since_it_was_fitted_and_a_label_entered_later_changes_nothing_of_that() {
    let mut u = Upkeep::default();
    let since = |u: &Upkeep| {
        u.things[&Asset::unit("117")].parts.get(&Slot::Reducer).map(|f| (f.part.serial.clone(), f.at))
    };
    u.hear(&fitting(Some("RD-1"), false), 1);
    assert_eq!(since(&u), Some(("RD-1".to_owned(), 1)));
    u.hear(&fitting(Some("RD-1"), true), 2);
    assert_eq!(since(&u), Some(("RD-1".to_owned(), 1)), "it was there");
    u.hear(&fitting(Some("RD-2"), true), 3);
    assert_eq!(since(&u), Some(("RD-2".to_owned(), 3)), "another one was there");
    u.hear(&fitting(Some("RD-2"), false), 4);
    assert_eq!(since(&u), Some(("RD-2".to_owned(), 4)), "it was fitted again");
    u.hear(&fitting(None, false), 5);
    assert_eq!(since(&u), None);
}

#[test]
fn serials_that_come_with_a_unit_fill_the_places_of_which_nothing_is_known() {
    let mut u = Upkeep::default();
    u.hear(&fitting(Some("RD-2"), false), 1);
    let serials = [("reducer", "RD-1"), ("alarm module", "AL-1"), ("regulator", " "), ("hose", "H-1")];
    let serials = serials.map(|(part, serial)| (part.to_owned(), serial.to_owned())).into();
    let (number, profile) = ("117".to_owned(), "a".to_owned());
    let cadence = airmuster_domain::record::Cadence::Weekly;
    register(&mut u, Register::Unit { number, profile, cadence, in_use: true, serials }, 2);
    let thing = &u.things[&Asset::unit("117")];
    assert_eq!(thing.profile.as_deref(), Some("a"));
    let known: Vec<(Slot, &str, i64)> =
        thing.parts.iter().map(|(slot, f)| (*slot, f.part.serial.as_str(), f.at)).collect();
    assert_eq!(known, [(Slot::Reducer, "RD-2", 1), (Slot::Alarm, "AL-1", 2)]);
}

// -------------------------------------------------------------------------------- the register

#[test]
fn what_the_register_says_of_a_thing_is_known_of_it_until_it_says_otherwise() {
    let mut u = Upkeep::default();
    let s = str::to_owned;
    let of = Asset::facepiece("f");
    register(&mut u, Register::Facepiece { number: s("f"), size: s("M") }, 0);
    let (make, model, style) = (s("Invented"), s("One"), s("full"));
    register(&mut u, Register::FacepieceModel { number: s("f"), make, model, style }, 0);
    let thing = &u.things[&of];
    assert_eq!(
        [&thing.size, &thing.make, &thing.model, &thing.style],
        ["M", "Invented", "One", "full"].map(str::to_owned).each_ref()
    );
    add(&mut u, "1", marks(Spec::Dot3aa, "2024-01", None));
    let thing = &u.things[&Asset::cylinder("1")];
    assert_eq!(thing.rated.map(airmuster_domain::quantity::Pressure::words), Some(s("4,500 psi")));
    assert_eq!(thing.marks, Some(marks(Spec::Dot3aa, "2024-01", None)));

    let pressure = "4400 psi".parse().unwrap();
    u.hear(&Desk::CylinderRead(CylinderRead { cylinder: s("1"), pressure }), 7);
    assert_eq!(u.things[&Asset::cylinder("1")].read, Some(ReadAt { at: 7, pressure }));

    source(&mut u, "c");
    u.hear(&Desk::AirSample(sample("c", "2026-01-05")), 0);
    register(&mut u, Register::Source { id: s("c"), name: s("Cascade"), station: s("ford") }, 0);
    let known = &u.sources["c"];
    assert_eq!((known.name.as_str(), known.station.as_str()), ("Cascade", "ford"));
    assert_eq!(known.good, Some(day("2026-01-05")), "what it is called takes no sample away");

    let approve = |u: &mut Upkeep, slot, name: &str| {
        register(u, Register::Approval { profile: s("a"), slot, names: vec![s(name)] }, 0);
    };
    approve(&mut u, Slot::Reducer, "First");
    approve(&mut u, Slot::Regulator, "Second");
    approve(&mut u, Slot::Reducer, "Third");
    assert_eq!(u.approvals["a"][&Slot::Reducer], ["Third"]);
    assert_eq!(u.approvals["a"][&Slot::Regulator], ["Second"]);
}

#[test]
fn a_period_takes_the_place_of_the_one_for_the_same_work_and_things_alone() {
    let mut u = Upkeep::default();
    let set = |u: &mut Upkeep, work, only: &str, months| {
        let only = only.to_owned();
        register(u, Register::Period(Period { work, only, months, lapse: Lapse::Said }), 0);
    };
    // Without a word of the department: once a year, air once in three months (WAC 296-305-04001(6)).
    assert_eq!([Work::FlowTest, Work::Battery, Work::AirSample].map(|w| u.months(w, "a")), [12, 12, 3]);
    set(&mut u, Work::FlowTest, "", 6);
    set(&mut u, Work::FlowTest, "a", 4);
    set(&mut u, Work::Battery, "", 24);
    assert_eq!((u.months(Work::FlowTest, "a"), u.months(Work::FlowTest, "b")), (4, 6));
    assert_eq!(u.months(Work::Battery, "a"), 24);
    set(&mut u, Work::FlowTest, "", 8);
    assert_eq!((u.months(Work::FlowTest, "a"), u.months(Work::FlowTest, "b")), (4, 8));
    assert_eq!(u.months(Work::Battery, "a"), 24);
    assert_eq!(u.periods.len(), 3);
}

#[test]
fn who_has_left_is_qualified_for_nothing_and_the_others_are_still() {
    let mut u = Upkeep::default();
    for (member, family, until) in
        [("tom", "f", "2026-03-01"), ("tom", "g", "2026-03-02"), ("tia", "f", "2026-03-01")]
    {
        let [member, family, reference] = [member, family, "Course 1"].map(str::to_owned);
        register(&mut u, Register::Qualification { member, family, until: day(until), reference }, 0);
    }
    let due = |u: &Upkeep| -> Vec<Due> { u.forecast(day("2026-01-05"), day("2026-03-01")) };
    let of = |member: &str, family: &str| {
        let on = Of::Member(member.to_owned(), family.to_owned());
        Due { by: day("2026-03-01"), work: Work::Qualification, on }
    };
    assert_eq!(due(&u), [of("tia", "f"), of("tom", "f")], "until the first of March, and no day later");
    let (member, how, why) = ("tom".to_owned(), Leaving::Separated, String::new());
    u.hear(&Desk::Left(Left { member, how, shift: 0, why }), 0);
    assert_eq!(due(&u), [of("tia", "f")]);
}

// ---------------------------------------------------------------------------- what falls due

#[test]
fn what_nothing_is_known_to_count_from_is_to_be_entered() {
    let mut u = Upkeep::default();
    let s = str::to_owned;
    let (unit_of, bare, whole, face) =
        (Asset::unit("117"), Asset::cylinder("1"), Asset::cylinder("2"), Asset::facepiece("f"));
    unit(&mut u, "117");
    let rated = "4500 psi".parse().unwrap();
    register(&mut u, Register::Cylinder { number: s("1"), rated }, 0);
    add(&mut u, "2", marks(Spec::Dot3aa, "2024-01", None));
    register(&mut u, Register::Facepiece { number: s("f"), size: s("M") }, 0);
    source(&mut u, "c");
    // A cylinder that was read and is not in the register; one that is gone.
    u.hear(&Desk::CylinderRead(CylinderRead { cylinder: s("3"), pressure: rated }), 0);
    register(&mut u, Register::Cylinder { number: s("4"), rated }, 0);
    u.hear(&Desk::Retired(TakenOut { asset: Asset::cylinder("4"), why: s("dented") }), 0);
    let air = (Of::Source(s("c")), Work::AirSample);
    assert_eq!(
        u.unknown(),
        [
            (Of::Asset(unit_of.clone()), Work::FlowTest),
            (Of::Asset(unit_of.clone()), Work::Battery),
            (Of::Asset(face.clone()), Work::FacepieceService),
            (Of::Asset(bare), Work::Requalification),
            air,
        ]
    );
    assert_eq!(u.due(&whole, Work::Requalification), Some(day("2029-01-31")));
    for (asset, work) in
        [(&unit_of, Work::FlowTest), (&unit_of, Work::Battery), (&face, Work::FacepieceService)]
    {
        u.hear(&Desk::Upkeep(done(&asset.to_string(), work, "2026-01-05")), 0);
    }
    u.hear(&Desk::AirSample(sample("c", "2026-01-05")), 0);
    let left: Vec<Of> = u.unknown().into_iter().map(|(of, _)| of).collect();
    assert_eq!(left, [Of::Asset(Asset::cylinder("1"))]);
}

#[test]
fn no_requalification_falls_due_on_the_day_on_which_the_life_ends() {
    // Carbon: every five years of fifteen (its permit; RSPA notice 94-1 of 1994), so that the third
    // one would fall on the end.
    let u = cylinder("1", marks(Spec::PermitCarbon, "2014-03", None));
    let told: Vec<(String, Work)> = u
        .forecast(day("2019-01-05"), day("2040-01-05"))
        .into_iter()
        .map(|d| (d.by.to_string(), d.work))
        .collect();
    assert_eq!(
        told,
        [
            ("2019-03-31".to_owned(), Work::Requalification),
            ("2024-03-31".to_owned(), Work::Requalification),
            ("2029-03-31".to_owned(), Work::EndOfLife),
        ]
    );
    // The last day that was asked for belongs to it.
    assert_eq!(u.forecast(day("2019-01-05"), day("2019-03-31")).len(), 1);
    assert_eq!(u.forecast(day("2019-01-05"), day("2019-03-30")), []);
}

#[test]
fn the_life_that_a_permit_gives_goes_before_the_usual_one() {
    let mut own = marks(Spec::PermitCarbon, "2014-03", None);
    assert_eq!(
        cylinder("1", own.clone()).due(&Asset::cylinder("1"), Work::EndOfLife),
        Some(day("2029-03-31"))
    );
    own.life_until = Some(month("2044-03"));
    let mut u = cylinder("1", own);
    let of = Asset::cylinder("1");
    assert_eq!(u.due(&of, Work::EndOfLife), Some(day("2044-03-31")));
    // A sheet that says no month takes nothing away.
    u.hear(&Desk::Upkeep(done("cylinder:1", Work::LifeExtension, "2026-01-05")), 0);
    assert_eq!(u.due(&of, Work::EndOfLife), Some(day("2044-03-31")));
    assert_eq!(u.due(&of, Work::FlowTest), None, "that is done to units");
    assert_eq!(u.due(&Asset::unit("1"), Work::EndOfLife), None);
}

// ------------------------------------------------------------------------------------------ air

#[test]
fn the_first_fill_since_a_good_sample_is_when_bad_air_can_have_begun() {
    let mut u = cylinder("1", marks(Spec::PermitCarbon, "2024-01", None));
    source(&mut u, "c");
    u.hear(&Desk::AirSample(sample("c", "2026-01-04")), JANUARY_5);
    for at in [JANUARY_5 + DAY, JANUARY_5 + 2 * DAY] {
        u.hear(&Desk::Fill(fill("1", "c")), at);
    }
    let of = Asset::cylinder("1");
    let (source, pressure) = ("c".to_owned(), "4500 psi".parse().unwrap());
    assert_eq!(u.things[&of].filled, Some(Filled { at: JANUARY_5 + 2 * DAY, source, pressure }));
    u.hear(&Desk::AirSample(AirSample { odour: true, ..sample("c", "2026-01-10") }), JANUARY_5 + 9 * DAY);
    assert_eq!(u.things[&of].bad_air.as_ref().map(|b| b.since), Some(JANUARY_5 + DAY));
    let ground = u.grounds(&of, day("2026-01-10")).remove(0);
    assert_eq!(
        (ground.say.as_str(), ground.basis.as_str()),
        (
            "filled from Compressor c, whose sample of 10 Jan 2026 failed: a noticeable odour",
            "29 CFR 1910.134(i)(1)(ii)"
        )
    );
    // A sheet of an earlier sample that is entered later does not become the last one.
    u.hear(&Desk::AirSample(sample("c", "2026-01-02")), JANUARY_5 + 9 * DAY);
    let known = &u.sources["c"];
    assert_eq!((known.sampled, known.good), (Some(day("2026-01-10")), Some(day("2026-01-04"))));
}

#[test]
fn a_cylinder_that_failed_or_is_stopped_by_a_notice_is_not_filled() {
    // 49 CFR 180.205(c): only what is within its requalification is filled.
    let mut u = cylinder("1", marks(Spec::Dot3aa, "2024-01", None));
    source(&mut u, "c");
    let filling = Desk::Fill(fill("1", "c"));
    let on = |u: &Upkeep, today: &str| -> Facts { facts(u, today, Role::Crew) };
    let failed = Upkept { passed: false, ..done("cylinder:1", Work::Requalification, "2026-01-04") };
    let mut bad = u.clone();
    bad.hear(&Desk::Upkeep(failed), 0);
    assert_eq!(refused(&filling, &on(&bad, "2026-01-05")), "1 failed its requalification on 4 Jan 2026");
    assert_eq!(kinds(&bad, &Asset::cylinder("1"), "2026-01-05"), [Kind::Lapsed]);
    // To be inspected by a day it may be used, and so filled, until then.
    u.hear(&Desk::Notice(about_steel("n-1", Some("2026-01-05"))), 0);
    assert_eq!(may(&filling, &on(&u, "2026-01-05")), Ok(()));
    assert!(refused(&filling, &on(&u, "2026-01-06")).contains("1: notice n-1, Necks that crack"));
    let mut stopped = u.clone();
    stopped.hear(&Desk::Notice(about_steel("n-2", None)), 0);
    assert!(refused(&filling, &on(&stopped, "2026-01-05")).contains("do not use it"));
}

// -------------------------------------------------------------------------------------- notices

fn about_steel(number: &str, by: Option<&str>) -> Notice {
    let [number, title, source, what] =
        [number, "Necks that crack", "letter 7", "look at the neck"].map(str::to_owned);
    let reach = Reach {
        kind: AssetKind::Cylinder,
        only: "dot-3aa".to_owned(),
        slot: None,
        name: String::new(),
        from: String::new(),
        to: String::new(),
        made_from: None,
        made_to: None,
    };
    Notice { number, title, source, what, by: by.map(day), reach }
}

#[test]
fn a_notice_stops_at_once_or_from_the_day_after_the_one_by_which_to_inspect() {
    let of = Asset::cylinder("1");
    let says = |by: Option<&str>, today: &str| {
        let mut u = cylinder("1", marks(Spec::Dot3aa, "2024-01", None));
        u.hear(&Desk::Notice(about_steel("n-1", by)), 0);
        let ground = u.grounds(&of, day(today)).remove(0);
        assert_eq!((ground.basis.as_str(), ground.key.as_str()), ("letter 7", "now/notice/n-1/cylinder:1"));
        (ground.kind, ground.say)
    };
    let stop = |say: &str| (Kind::StopUsing, format!("notice n-1, Necks that crack: {say}"));
    assert_eq!(says(None, "2026-01-05"), stop("do not use it"));
    let inspect = (Kind::InspectBy, "notice n-1, Necks that crack: inspect it by 5 Jan 2026".to_owned());
    assert_eq!(says(Some("2026-01-05"), "2026-01-04"), inspect);
    assert_eq!(says(Some("2026-01-05"), "2026-01-05"), inspect);
    assert_eq!(says(Some("2026-01-05"), "2026-01-06"), stop("was to be inspected by 5 Jan 2026"));
}

#[test]
fn a_notice_names_everything_that_it_reaches_and_what_was_done_to_it() {
    let mut u = Upkeep::default();
    let s = str::to_owned;
    for (n, serial) in [("1", "AB-7"), ("2", "")] {
        add(
            &mut u,
            n,
            airmuster_domain::record::Marks { serial: s(serial), ..marks(Spec::Dot3aa, "2024-01", None) },
        );
    }
    add(&mut u, "3", marks(Spec::Dot3al, "2024-01", None));
    u.hear(&Desk::Notice(about_steel("n-1", None)), 0);
    let dealt = NoticeDone { notice: s("n-1"), asset: Asset::cylinder("2"), what: s("looked at") };
    u.hear(&Desk::NoticeDone(dealt), 0);
    assert_eq!(
        u.reached("n-1"),
        [
            (Asset::cylinder("1"), s("serial AB-7"), None),
            (Asset::cylinder("2"), String::new(), Some(s("looked at"))),
        ]
    );
    assert_eq!(u.reached("n-9"), []);
    assert_eq!(kinds(&u, &Asset::cylinder("1"), "2026-01-05"), [Kind::StopUsing]);
    assert_eq!(kinds(&u, &Asset::cylinder("2"), "2026-01-05"), []);
    u.hear(&Desk::NoticeEnded(NoticeEnded { notice: s("n-1"), why: s("letter 8") }), 0);
    assert_eq!(kinds(&u, &Asset::cylinder("1"), "2026-01-05"), []);
}

#[test]
fn a_notice_from_one_serial_on_or_up_to_one_reaches_no_other_of_that_row() {
    let mut u = Upkeep::default();
    for (n, serial) in [("1", "AB-5"), ("2", "AB-7"), ("3", "")] {
        let marks = marks(Spec::Dot3aa, "2024-01", None);
        add(&mut u, n, airmuster_domain::record::Marks { serial: serial.to_owned(), ..marks });
    }
    let reached = |from: &str, to: &str| -> Vec<String> {
        let mut u = u.clone();
        let mut notice = about_steel("n-1", None);
        (notice.reach.from, notice.reach.to) = (from.to_owned(), to.to_owned());
        u.hear(&Desk::Notice(notice), 0);
        u.reached("n-1").into_iter().map(|(asset, ..)| asset.number).collect()
    };
    // Number 3, of which no serial is known, is looked at each time.
    assert_eq!(reached("AB-6", ""), ["2", "3"]);
    assert_eq!(reached("", "AB-6"), ["1", "3"]);
    assert_eq!(reached("AB-5", "AB-7"), ["1", "2", "3"]);
    assert_eq!(reached("AB-6", "AB-6"), ["3"]);
}

#[test]
fn a_unit_is_out_of_service_for_what_is_on_it_only_where_that_is_out() {
    let mut u = Upkeep::default();
    unit(&mut u, "117");
    // Steel past its requalification is used until it is empty: 49 CFR 180.205(c).
    add(&mut u, "1", marks(Spec::Dot3aa, "2010-01", None));
    put(&mut u, &Asset::cylinder("1"), with("117"), 0);
    assert_eq!(kinds(&u, &Asset::cylinder("1"), "2026-01-05"), [Kind::NotToBeFilled]);
    assert_eq!(kinds(&u, &Asset::unit("117"), "2026-01-05"), []);
    u.hear(&Desk::Notice(about_steel("n-1", None)), 0);
    let ground = u.grounds(&Asset::unit("117"), day("2026-01-05")).remove(0);
    assert_eq!(ground.kind, Kind::FittedOut);
    assert_eq!(ground.say, "its cylinder 1: notice n-1, Necks that crack: do not use it; fit another one");
}

// ------------------------------------------------------------------------- what a record is about

#[test]
fn a_record_that_upkeep_hears_names_the_things_of_which_it_speaks() {
    let mut u = cylinder("1", marks(Spec::Dot3aa, "2024-01", None));
    source(&mut u, "c");
    for n in ["1", "2"] {
        u.hear(&Desk::Fill(fill(n, "c")), JANUARY_5);
    }
    let s = str::to_owned;
    let (of, gas, face) = (Asset::unit("117"), Asset::cylinder("1"), Asset::facepiece("f"));
    let out = || TakenOut { asset: gas.clone(), why: s("dented") };
    let name = airmuster_domain::record::RecordRef {
        id: uuid::Uuid::from_u128(1),
        digest: airmuster_domain::record::Digest([1; 32]),
    };
    let pressure = "4500 psi".parse().unwrap();
    let go = |asset: &Asset| Move { asset: asset.clone(), from: None, to: Place::Bench };
    let model = Register::FacepieceModel { number: s("f"), make: s("x"), model: s("x"), style: s("x") };
    let unit = Register::Unit {
        number: s("117"),
        profile: s("a"),
        cadence: airmuster_domain::record::Cadence::Weekly,
        in_use: true,
        serials: [].into(),
    };
    let left = Left { member: s("tom"), how: Leaving::Separated, shift: 0, why: s("moves") };
    let dealt = NoticeDone { notice: s("n-1"), asset: gas.clone(), what: s("looked at") };
    let speaks: Vec<(Desk, Vec<&Asset>)> = vec![
        (Desk::Register(unit), vec![&of]),
        (Desk::Register(Register::Cylinder { number: s("1"), rated: pressure }), vec![&gas]),
        (
            Desk::Register(Register::CylinderMarks {
                number: s("1"),
                marks: marks(Spec::Dot3aa, "2024-01", None),
            }),
            vec![&gas],
        ),
        (Desk::Register(Register::Facepiece { number: s("f"), size: s("M") }), vec![&face]),
        (Desk::Register(model), vec![&face]),
        (Desk::Register(Register::Holder { asset: face.clone(), place: Place::Bench }), vec![&face]),
        (Desk::Upkeep(done("cylinder:1", Work::Requalification, "2026-01-05")), vec![&gas]),
        (Desk::Fill(fill("1", "c")), vec![&gas]),
        (Desk::CylinderRead(CylinderRead { cylinder: s("1"), pressure }), vec![&gas]),
        (Desk::Retired(out()), vec![&gas]),
        (Desk::Condemned(out()), vec![&gas]),
        (Desk::Moved(Moved { moves: vec![go(&of), go(&face)], why: s("") }), vec![&of, &face]),
        (lent("117"), vec![&of]),
        (back("117", None), vec![&of]),
        (fitting(None, false), vec![&of]),
        (Desk::Accepted(Accepted { unit: s("117"), check: name }), vec![&of]),
        (Desk::NoticeDone(dealt), vec![&gas]),
        // Of no thing, and heard all the same.
        (Desk::Register(Register::Source { id: s("c"), name: s("x"), station: s("mill") }), vec![]),
        (Desk::Notice(about_steel("n-1", None)), vec![]),
        (Desk::NoticeEnded(NoticeEnded { notice: s("n-1"), why: s("x") }), vec![]),
        (Desk::Left(left), vec![]),
    ];
    for (desk, things) in speaks {
        let expected: Vec<Asset> = things.into_iter().cloned().collect();
        assert_eq!(u.about(&desk), Some(expected), "{desk:?}");
    }
    let both = vec![Asset::cylinder("1"), Asset::cylinder("2")];
    assert_eq!(u.about(&Desk::AirSample(sample("c", "2026-01-05"))), Some(both));
    assert_eq!(u.about(&Desk::AirSample(sample("other", "2026-01-05"))), Some(vec![]));
    // Of these it hears nothing.
    let station = Register::Station { id: s("mill"), name: s("Mill"), order: 1 };
    assert_eq!(u.about(&Desk::Register(station)), None);
    let worked = airmuster_domain::record::TicketApart { ticket: 1 };
    assert_eq!(u.about(&Desk::TicketApart(worked)), None);
}
