//! Names: what a record is written with is what the program reads, and no two things are called
//! the same on a screen.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use std::collections::BTreeSet;
use std::fmt::Debug;

use airmuster_domain::judge::{Raw, Verdict};
use airmuster_domain::practice::{self, Practice};
use airmuster_domain::quantity::{PressureUnit, TemperatureUnit};
use airmuster_domain::record::{
    Asked, Asset, AssetKind, Cadence, Component, Condition, Duty, Fitting, Lapse, Leaving, Occasion, Part,
    Slot, Spec, Stage, Work,
};
use airmuster_domain::role::Role;
use airmuster_domain::rules::{Consequence, Purpose, Subject};
use airmuster_domain::standing::{Standing, State};
use serde::Serialize;

/// Each is written in a record under its id.
fn written<T: Copy + Debug + Serialize>(all: &[T], id: fn(T) -> &'static str) {
    for one in all {
        assert_eq!(serde_json::to_value(one).unwrap(), id(*one), "{one:?}");
    }
}

/// Each has words of its own.
fn told_apart<T: Copy + Debug>(all: &[T], words: fn(T) -> &'static str) {
    let said: BTreeSet<&str> = all.iter().map(|one| words(*one)).collect();
    assert_eq!(said.len(), all.len(), "{all:?}: {said:?}");
    assert!(said.iter().all(|w| !w.trim().is_empty()), "{said:?}");
}

/// Each is found by its id, and nothing by another text.
fn found<T: Copy + Debug + PartialEq>(all: &[T], id: fn(T) -> &'static str, from: fn(&str) -> Option<T>) {
    for one in all {
        assert_eq!(from(id(*one)), Some(*one));
    }
    assert_eq!(from("nothing of the kind"), None, "{all:?}");
}

const WORKS: [Work; 10] = [
    Work::FlowTest,
    Work::Battery,
    Work::FacepieceService,
    Work::Requalification,
    Work::EndOfLife,
    Work::AirSample,
    Work::Qualification,
    Work::LifeExtension,
    Work::AirReplaced,
    Work::Cleaned,
];

const STATES: [State; 6] =
    [State::InService, State::CheckDue, State::PutRight, State::OutOfService, State::Held, State::Retired];

#[test]
fn what_a_record_is_written_with_is_what_the_program_calls_it() {
    written(&Part::ALL, Part::id);
    written(&Stage::ALL, Stage::id);
    written(&Condition::ALL, Condition::id);
    written(&Occasion::ALL, Occasion::id);
    written(&Duty::ALL, Duty::id);
    written(&Leaving::ALL, Leaving::id);
    written(&Slot::ALL, Slot::id);
    written(&Cadence::ALL, Cadence::id);
    written(&Asked::ALL, Asked::id);
    written(&Spec::ALL, Spec::id);
    written(&WORKS, Work::id);
    written(&Role::ALL, Role::id);
    written(&Purpose::ALL, Purpose::id);
    written(
        &[Verdict::InService, Verdict::PutRight, Verdict::Incomplete, Verdict::OutOfService],
        Verdict::id,
    );
    written(
        &[PressureUnit::Psi, PressureUnit::Bar, PressureUnit::Kpa, PressureUnit::Mpa],
        PressureUnit::symbol,
    );
    written(&[TemperatureUnit::C, TemperatureUnit::F], TemperatureUnit::symbol);
    written(&[AssetKind::Unit, AssetKind::Facepiece, AssetKind::Cylinder], AssetKind::words);
}

#[test]
fn what_is_written_is_found_again_and_nothing_else_is() {
    found(&Cadence::ALL, Cadence::id, Cadence::from_id);
    found(&Asked::ALL, Asked::id, Asked::from_id);
    found(&Spec::ALL, Spec::id, Spec::from_id);
    found(&Role::ALL, Role::id, Role::from_id);
    found(&Purpose::ALL, Purpose::id, Purpose::from_id);
    found(&Slot::ALL, Slot::id, Slot::named);
    found(&Slot::ALL, Slot::words, Slot::named);
    assert_eq!(Slot::named(" Remote-Gauge "), Some(Slot::RemoteGauge), "as people write it");
}

#[test]
fn no_two_things_are_called_the_same_on_a_screen() {
    told_apart(&Stage::ALL, Stage::words);
    told_apart(&Duty::ALL, Duty::words);
    told_apart(&Leaving::ALL, Leaving::words);
    told_apart(&Slot::ALL, Slot::words);
    told_apart(&Cadence::ALL, Cadence::words);
    told_apart(&Spec::ALL, Spec::words);
    told_apart(&WORKS, Work::words);
    told_apart(&STATES, State::words);
    told_apart(&Purpose::ALL, Purpose::title);
    told_apart(&[Consequence::Remark, Consequence::PutRight, Consequence::OutOfService], Consequence::words);
    told_apart(&[Subject::Unit, Subject::Facepiece, Subject::Cylinder, Subject::Accessory], Subject::words);
}

#[test]
fn a_facepiece_or_cylinder_in_service_is_only_said_to_have_nothing_against_it() {
    let stands =
        |asset, state| Standing { asset, state, grounds: Vec::new(), last_check: None, until: None }.words();
    assert_eq!(stands(Asset::unit("1"), State::InService), "In service");
    assert_eq!(stands(Asset::facepiece("1"), State::InService), "Nothing against it");
    assert_eq!(stands(Asset::cylinder("1"), State::InService), "Nothing against it");
    assert_eq!(stands(Asset::cylinder("1"), State::OutOfService), "Out of service");
}

#[test]
fn what_was_done_to_a_part_is_said_in_words() {
    let say = |out: Option<&str>, part: Option<&str>, was_there| {
        let part = part.map(|s| Component { serial: s.to_owned(), ..Component::default() });
        let (unit, slot, out, why) = ("1".to_owned(), Slot::Regulator, out.map(str::to_owned), String::new());
        Fitting { unit, slot, out, part, was_there, why }.words()
    };
    assert_eq!(say(None, Some("RG-2"), true), "regulator RG-2 entered in the register");
    assert_eq!(say(Some("RG-1"), Some("RG-2"), false), "regulator RG-2 fitted in the place of RG-1");
    assert_eq!(say(None, Some("RG-2"), false), "regulator RG-2 fitted");
    assert_eq!(say(Some("RG-1"), None, false), "regulator RG-1 removed");
}

#[test]
fn the_rule_behind_a_cylinders_period_is_named() {
    // 49 CFR 180.209(a), Table 1; ISO 18119 for metal, ISO 11623 for composites.
    for (spec, basis) in [
        (Spec::Dot3a, "49 CFR 180.209(a), Table 1"),
        (Spec::Dot3aa, "49 CFR 180.209(a), Table 1"),
        (Spec::Dot3al, "49 CFR 180.209(a), Table 1"),
        (Spec::PermitCarbon, "as the special permit says"),
        (Spec::PermitGlass, "as the special permit says"),
        (Spec::PermitHoop, "as the special permit says"),
        (Spec::EnMetal, "ISO 18119"),
        (Spec::EnComposite, "ISO 11623"),
    ] {
        assert!(spec.basis().contains(basis), "{spec:?}: {}", spec.basis());
    }
    // At most: Table 1 ends at twelve years; a permit's period is not lengthened; ten years for
    // national rules, common practice with no published source.
    assert_eq!(Spec::ALL.map(Spec::most_months), [144, 144, 144, 60, 36, 36, 120, 120]);
}

#[test]
fn which_rigs_ride_which_members_may_sign_and_which_jobs_wait_for_others() {
    let ride: Vec<Duty> = Duty::ALL.into_iter().filter(|d| d.rides()).collect();
    assert_eq!(ride, [Duty::InUse, Duty::OnLoan]);
    let sign: Vec<Leaving> = Leaving::ALL.into_iter().filter(|l| l.keeps_roles()).collect();
    assert_eq!(sign, [Leaving::Transferred]);
    let wait: Vec<Stage> = Stage::ALL.into_iter().filter(|s| s.stands_aside()).collect();
    assert_eq!(wait, [Stage::WaitingForParts, Stage::AtRepairer]);
    let over: Vec<Stage> = Stage::ALL.into_iter().filter(|s| s.is_closed()).collect();
    assert_eq!(over, [Stage::Returned, Stage::Retired]);
    let crews: Vec<Purpose> = Purpose::ALL.into_iter().filter(|p| p.is_the_crews()).collect();
    assert_eq!(crews, [Purpose::ShiftStart, Purpose::AfterUse, Purpose::Periodic]);
}

#[test]
fn a_set_of_periods_is_that_of_its_place() {
    let months = |id: &str, work: Work, only: &str| {
        let set = Practice::from_id(id).unwrap().periods(|_, _| Lapse::Said);
        set.iter().find(|p| p.work == work && p.only == only).map(|p| p.months)
    };
    // WAC 296-305-04001(6): air four times a year; Texas Government Code 419.041: twice.
    assert_eq!(months("us", Work::AirSample, ""), Some(3));
    assert_eq!(months("us-texas", Work::AirSample, ""), Some(6));
    // ISO 11623 guides to five years for composites; Finland takes three.
    assert_eq!(months("en", Work::Requalification, "en-composite"), Some(60));
    assert_eq!(months("en-finland", Work::Requalification, "en-composite"), Some(36));
    assert!(Practice::from_id("nowhere").is_none());
    for set in &practice::ALL {
        assert_eq!(months(set.id, Work::FlowTest, ""), Some(12), "{}", set.id);
        // What follows a lapse is the department's own word on it.
        let out = |work: Work, _: &str| if work == Work::Battery { Lapse::OutOfService } else { Lapse::Said };
        for p in set.periods(out) {
            assert_eq!(p.lapse == Lapse::OutOfService, p.work == Work::Battery, "{}: {p:?}", set.id);
        }
    }
}

#[test]
fn a_value_that_no_step_takes_is_told_in_words() {
    for text in ["[1]", "{}", "null"] {
        let told = serde_json::from_str::<Raw>(text).unwrap_err().to_string();
        assert!(told.contains("a yes or no, a number, or a text"), "{text}: {told}");
    }
}
