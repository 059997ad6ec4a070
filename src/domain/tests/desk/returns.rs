//! A return to service, and what else ends a ground.

use airmuster_domain::desk::Signer;
use airmuster_domain::ground::{FITTED, Kind};
use airmuster_domain::record::{Accepted, Asset, Clearing, Desk, Part, Return, Slot, Work};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;

use super::{Whole, day, done, entered, facts, hear, name, part, raise, s, upkept};

/// Unit 1 comes back after work on something that no breath hangs on.
fn returned() -> Whole<Return> {
    let mut facts = facts();
    facts.open = vec![raise(Kind::Finding)];
    facts.check = Some(done(Purpose::Proving));
    let body = Return {
        asset: Asset::unit("1"),
        clears: vec![s("finding/1")],
        proving: name(),
        worked_on: vec![Part::Other],
        bench_test: None,
        remedy: s("strap exchanged"),
        reproduced: String::new(),
        second_signer: None,
    };
    Whole::of(body, facts, Desk::Return)
}

#[test]
fn a_return_lists_what_is_open_and_says_what_was_done() {
    returned().refused(&[
        ("nothing listed", "name what this is about", |r, _| r.clears.clear()),
        ("not open", "not open any more", |_, f| f.open.clear()),
        ("one of two not open", "not open any more", |r, _| r.clears.push(s("finding/2"))),
        ("open, but the crew’s to put right", "not open any more", |_, f| f.open[0].kind = Kind::PutRight),
        ("nothing said", "write down what was done", |r, _| r.remedy = s(" ")),
    ]);
    returned().taken(&[("taken out on a member’s word", |r, f| {
        f.open = vec![raise(Kind::TakenOut)];
        r.clears = vec![s("taken-out/1")];
    })]);
}

#[test]
fn a_return_is_signed_by_a_technician_qualified_for_this_kind_of_unit() {
    // 29 CFR 1910.134(h)(4): repairs by persons trained for them.
    let words = "signed by a technician qualified";
    returned()
        .forbidden(&[
            ("for another kind", words, |_, f| f.family = Some(s("g"))),
            ("no technician", words, |_, f| f.by.as_mut().unwrap().roles = [Role::Officer].into()),
            ("at the console", words, |_, f| f.by = None),
        ])
        .taken(&[
            ("a technician alone", |_, f| f.by.as_mut().unwrap().roles = [Role::Technician].into()),
            ("what has no kind", |_, f| f.family = None),
        ]);
}

#[test]
fn a_proof_of_the_repair_alone_returns_what_it_shows_and_nothing_else() {
    let narrow = || {
        let mut whole = returned();
        whole.facts.open[0].step = Some(s("strap"));
        let check = whole.facts.check.as_mut().unwrap();
        (check.clean, check.proved) = (false, vec!["strap".into()]);
        whole
    };
    narrow()
        .refused(&[
            ("another step", "needs the whole proving check", |_, f| f.open[0].step = Some(s("seal"))),
            ("no step at all", "needs the whole proving check", |_, f| f.open[0].step = None),
            ("nothing proved", "must be complete", |_, f| f.check.as_mut().unwrap().proved.clear()),
            ("after work on a gauge", "proved by the whole proving check", |r, _| {
                r.worked_on = vec![Part::Other, Part::Gauge];
                r.bench_test = Some(s("sheet 4"));
            }),
        ])
        .taken(&[("everything asked", |_, f| {
            let check = f.check.as_mut().unwrap();
            (check.clean, check.good, check.proved) = (true, vec!["strap".into()], Vec::new());
        })]);
}

#[test]
fn work_on_what_a_breath_hangs_on_is_proved_on_the_bench() {
    // 29 CFR 1910.134(h)(4)(iii): valves, regulators and alarms by the maker or those trained by them.
    let words = "needs a bench test";
    returned()
        .refused(&[
            ("regulator", words, |r, _| r.worked_on = vec![Part::Regulator]),
            ("reducer", words, |r, _| r.worked_on = vec![Part::Reducer]),
            ("valve", words, |r, _| r.worked_on = vec![Part::Valve]),
            ("gauge", words, |r, _| r.worked_on = vec![Part::Gauge]),
            ("alarm", words, |r, _| r.worked_on = vec![Part::Alarm]),
            ("beside something else", words, |r, _| r.worked_on = vec![Part::Other, Part::Gauge]),
            ("an empty result", words, |r, _| {
                r.worked_on = vec![Part::Gauge];
                r.bench_test = Some(s(" "));
            }),
        ])
        .taken(&[("with the result", |r, _| {
            r.worked_on = vec![Part::Gauge];
            r.bench_test = Some(s("sheet 4"));
        })]);
}

#[test]
fn no_fault_found_needs_the_conditions_and_a_second_member() {
    let mut whole = returned();
    whole.body.worked_on.clear();
    whole.body.reproduced = s("cold, at full pressure");
    whole.facts.second = Some(Signer { id: s("ana"), roles: [Role::Crew].into(), ..Signer::default() });
    Whole::of(whole.body, whole.facts, whole.desk).refused(&[
        ("not reproduced", "needs the conditions reproduced", |r, _| r.reproduced = s(" ")),
        ("nobody else", "needs a second signer", |_, f| f.second = None),
        ("the same member", "needs a second signer", |_, f| f.second.as_mut().unwrap().id = s("tom")),
        ("one without a role", "needs a second signer", |_, f| f.second.as_mut().unwrap().roles.clear()),
    ]);
}

#[test]
fn a_return_hangs_on_a_whole_good_proving_check_of_the_same_thing() {
    let check = "must be complete, with nothing out of service";
    returned()
        .refused(&[
            ("none", "needs a proving check of this unit", |_, f| f.check = None),
            ("for another purpose", check, |_, f| f.check = Some(done(Purpose::ShiftStart))),
            ("not clean", check, |_, f| f.check.as_mut().unwrap().clean = false),
            ("of another unit", "made on something else", |_, f| {
                f.check.as_mut().unwrap().unit = Asset::unit("2");
            }),
            ("with another facepiece", "made on something else", |r, f| {
                r.asset = Asset::facepiece("1");
                f.check.as_mut().unwrap().with = [Asset::facepiece("2")].into();
            }),
        ])
        .taken(&[("the facepiece that was checked with a unit", |r, f| {
            r.asset = Asset::facepiece("1");
            f.check.as_mut().unwrap().with = [Asset::facepiece("1")].into();
        })]);
}

#[test]
fn nothing_that_came_in_after_the_proving_check_is_cleared_by_it() {
    returned()
        .refused(&[("listed, and later", "prove it again: it failed", |_, f| {
            f.later = [s("finding/1")].into();
        })])
        .taken(&[("later, and not listed", |_, f| {
            f.open.push(raise(Kind::TakenOut));
            f.later = [s("taken-out/1")].into();
        })]);
}

#[test]
fn a_step_that_failed_is_answered_well_in_the_proving_check() {
    returned()
        .refused(&[("no good answer there", "no good answer at the step that failed: it failed", |_, f| {
            f.open[0].step = Some(s("gauges"));
            f.check.as_mut().unwrap().good = ["strap".into()].into();
        })])
        .taken(&[
            ("a good answer there", |_, f| {
                f.open[0].step = Some(s("gauges"));
                f.check.as_mut().unwrap().good = ["gauges".into()].into();
            }),
            ("what failed and is not listed", |_, f| {
                let mut other = raise(Kind::TakenOut);
                other.step = Some(s("gauges"));
                f.open.push(other);
            }),
        ]);
}

#[test]
fn a_return_after_work_on_a_part_names_a_part_that_is_proved_on_the_bench() {
    let mut whole = returned();
    let mut fitted = raise(Kind::TakenOut);
    fitted.entered = s(FITTED);
    whole.facts.open = vec![fitted];
    whole.body.clears = vec![s("taken-out/1")];
    whole.body.worked_on = vec![Part::Regulator];
    whole.body.bench_test = Some(s("sheet 4"));
    Whole::of(whole.body, whole.facts, whole.desk)
        .refused(&[("something else ticked", "it failed: tick what was worked on", |r, _| {
            r.worked_on = vec![Part::Other];
        })])
        .taken(&[
            ("beside something else", |r, _| r.worked_on = vec![Part::Other, Part::Regulator]),
            ("taken out for another reason", |r, f| {
                r.worked_on = vec![Part::Other];
                f.open[0].entered.clear();
            }),
        ]);
}

#[test]
fn what_is_cleaned_is_what_was_dirty_and_what_is_released_is_what_was_held() {
    let body = |key: &str| Clearing { asset: Asset::unit("1"), clears: vec![s(key)], why: s("done") };
    let mut state = facts();
    state.open = vec![raise(Kind::Soiled), raise(Kind::Contaminated), raise(Kind::Finding)];
    Whole::of(body("soiled/1"), state.clone(), Desk::Cleaned)
        .taken(&[("contaminated", |c, _| c.clears = vec![s("contaminated/1")])])
        .refused(&[
            ("a finding", "not open any more", |c, _| c.clears = vec![s("finding/1")]),
            ("a finding beside it", "not open any more", |c, _| c.clears.push(s("finding/1"))),
            ("nothing", "name what this is about", |c, _| c.clears.clear()),
        ]);
    state.open = vec![raise(Kind::Held), raise(Kind::Finding)];
    Whole::of(body("held/1"), state, Desk::Release).refused(&[
        ("a finding", "not open any more", |c, _| c.clears = vec![s("finding/1")]),
        ("another hold", "not open any more", |c, _| c.clears = vec![s("held/2")]),
    ]);
}

// -------------------------------------------------------------------------------- acceptance

#[test]
fn a_new_unit_is_accepted_with_its_parts_its_flow_test_and_a_good_acceptance_check() {
    let mut state = facts();
    state.check = Some(done(Purpose::Acceptance));
    let check = "needs a complete good acceptance check";
    Whole::of(Accepted { unit: s("1"), check: name() }, state, Desk::Accepted)
        .refused(&[
            ("no check", check, |_, f| f.check = None),
            ("for another purpose", check, |_, f| f.check = Some(done(Purpose::Proving))),
            ("not clean", check, |_, f| f.check.as_mut().unwrap().clean = false),
            ("of an unknown kind", "enter a profile that the rule table knows first", |_, f| f.slots = None),
            ("a part that nobody entered", "enter serial and edition of its regulator first", |_, f| {
                f.slots.as_mut().unwrap().push(Slot::Regulator);
            }),
            ("a part without a serial", "serial and edition of its reducer", |_, f| {
                hear(&mut f.upkeep, &Desk::Fitting(entered(Slot::Reducer, "")));
            }),
            ("a part without an edition", "serial and edition of its reducer", |_, f| {
                let mut bare = entered(Slot::Reducer, "RD-1");
                bare.part.as_mut().unwrap().edition.clear();
                hear(&mut f.upkeep, &Desk::Fitting(bare));
            }),
            ("a flow test that has lapsed", "enter its flow test with the certificate first", |_, f| {
                f.today = day("2027-01-06");
            }),
            ("a flow test that failed", "enter its flow test with the certificate first", |_, f| {
                let mut failed = upkept(Asset::unit("1"), Work::FlowTest);
                failed.passed = false;
                hear(&mut f.upkeep, &Desk::Upkeep(failed));
            }),
            ("all of it", "serial and edition of its reducer, its flow test with the certificate", |a, _| {
                a.unit = s("2");
            }),
        ])
        .taken(&[
            ("on the last day of its flow test", |_, f| f.today = day("2027-01-05")),
            ("of a kind without such parts", |_, f| f.slots = Some(Vec::new())),
            ("with another part in its place", |_, f| {
                let mut other = entered(Slot::Reducer, "RD-1");
                other.part = Some(part("RD-2"));
                hear(&mut f.upkeep, &Desk::Fitting(other));
            }),
        ]);
}
