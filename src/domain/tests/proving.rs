//! What a repair is proved with. That what failed, and what its repair can have touched, is proved before a unit
//! rides again, and everything after work on what a breath hangs on: common practice, no published source.
#![allow(clippy::unwrap_used, reason = "a test that cannot begin says so")]

use std::collections::BTreeSet;

use airmuster_domain::ground::{Done, Forms as _, Kind, effects};
use airmuster_domain::judge::Answer;
use airmuster_domain::proving::narrowed;
use airmuster_domain::record::{Asset, Body, Check, Digest, Field, Outcome, Part, Record, Return};
use airmuster_domain::rules::{Ask, DEFAULT, Form, Purpose, Subject, parse, resolve};
use airmuster_domain::standing::{Account, Tables};

use super::common::{HOUR, NOON, answer, record, text, uuid, word};

const PROFILE: &str = "us-4500-third";
/// The harness, what its repair can have touched, and the number of the unit.
const HARNESS: [&str; 8] = [
    "unit-identity",
    "cylinder-secure",
    "harness-condition",
    "hoses-condition",
    "straps-extended",
    "stowed",
    "repaired-parts",
    "repairer",
];

fn form(purpose: Purpose) -> Form {
    resolve(&parse(DEFAULT).unwrap(), PROFILE, purpose).unwrap()
}

fn ids(form: &Form) -> Vec<&str> {
    form.steps.iter().map(|s| s.step.id.as_str()).collect()
}

fn good(form: &Form, id: &str) -> Answer {
    match form.step(id).unwrap().ask {
        Ask::Reading { .. } => answer(id, 1, None, &[("at", text("4500 psi"))]),
        Ask::Pair { .. } => {
            answer(id, 1, None, &[("cylinder", text("4500 psi")), ("remote", text("4500 psi"))])
        }
        Ask::Trip(_) => answer(id, 1, None, &[("at", text("1500 psi"))]),
        _ => word(id, true),
    }
}

/// A check of unit 117 with these answers.
fn check(n: u128, purpose: Purpose, answers: Vec<Answer>) -> Record {
    let check = Check {
        unit: "117".to_owned(),
        profile: PROFILE.to_owned(),
        rules: Tables::new().default_digest(),
        engine: 1,
        purpose,
        outcome: Outcome::Complete,
        run: uuid(n),
        facepiece: None,
        cylinder: None,
        bay: None,
        started: NOON,
        seen: Vec::new(),
        answers,
    };
    record("check", n, NOON + i64::try_from(n).unwrap(), Some("tom"), &check)
}

fn proof(answers: Vec<Answer>) -> Record {
    check(2, Purpose::Proving, answers)
}

fn harness_good() -> Vec<Answer> {
    let form = form(Purpose::Proving);
    HARNESS.map(|id| good(&form, id)).into()
}

fn done(record: &Record) -> Done {
    effects(record, &mut Tables::new()).done.unwrap()
}

// ------------------------------------------------------------------------------------ what is asked

#[test]
fn a_repair_is_proved_by_what_failed_what_it_touches_and_the_number_of_the_unit() {
    let whole = form(Purpose::Proving);
    let narrow = narrowed(&whole, ["harness-condition"]).unwrap();
    assert_eq!(ids(&narrow), HARNESS);
    let groups: Vec<&str> = narrow.groups.iter().map(|g| g.id.as_str()).collect();
    assert_eq!(groups, ["identity", "cylinder", "harness", "ready", "papers"]);
    // What it leaves out it does not ask, so an answer there counts as one that was not asked for.
    assert_eq!(narrow.not_asked.len() + narrow.steps.len(), whole.not_asked.len() + whole.steps.len());
    assert!(narrow.not_asked.iter().any(|id| id == "gauge-agreement"));
    let two = narrowed(&whole, ["harness-condition", "unit-dates"]).unwrap();
    let two: BTreeSet<&str> = ids(&two).into_iter().collect();
    assert!(two.is_superset(&HARNESS.into()) && two.contains("unit-dates") && two.contains("flow-test"));
}

#[test]
fn everything_is_asked_where_one_of_the_steps_may_have_touched_anything() {
    let whole = form(Purpose::Proving);
    assert_eq!(narrowed(&whole, ["gauge-agreement"]), None);
    assert_eq!(narrowed(&whole, ["harness-condition", "gauge-agreement"]), None);
    assert_eq!(narrowed(&whole, ["harness-condition", "no-such-step"]), None);
    assert_eq!(narrowed(&whole, [""]), None);
    assert_eq!(narrowed(&whole, []), None);
    assert_eq!(narrowed(&form(Purpose::Periodic), ["harness-condition"]), None, "that proves nothing");
}

/// 29 CFR 1910.134(h)(4)(iii) names reducing and admission valves, regulators and alarms; the gauges, common
/// practice, no published source.
#[test]
fn nothing_that_works_under_pressure_is_proved_by_less_than_everything() {
    let whole = form(Purpose::Proving);
    let mut looked_at = 0;
    for step in &whole.steps {
        let group = step.step.group.as_str();
        if ["first", "facepiece", "shut-off", "connections", "pressurise", "alarms", "air", "bleed"]
            .contains(&group)
        {
            assert_eq!(narrowed(&whole, [step.step.id.as_str()]), None, "{}", step.step.id);
            looked_at += 1;
        }
    }
    assert!(looked_at > 30, "sections have other names now: {looked_at}");
}

#[test]
fn what_the_shipped_table_says_is_touched_is_asked_when_a_unit_is_proved() {
    let table = parse(DEFAULT).unwrap();
    for profile in table.profiles.keys() {
        let form = resolve(&table, profile, Purpose::Proving).unwrap();
        for step in &form.steps {
            for other in step.step.touches.iter().flatten() {
                assert!(form.step(other).is_some(), "{profile}: {} touches {other}", step.step.id);
            }
        }
    }
}

// ------------------------------------------------------------------------------------ what it proves

#[test]
fn what_was_asked_and_is_good_is_proved_and_counts_as_no_check() {
    let done = done(&proof(harness_good()));
    assert_eq!(done.proved, ["harness-condition", "repaired-parts", "repairer"]);
    assert!(!done.clean);
}

#[test]
fn a_repair_is_not_proved_while_something_that_it_touches_is_not_good() {
    let without = |id: &str| -> Vec<Answer> { harness_good().into_iter().filter(|a| a.step != id).collect() };
    for id in HARNESS {
        assert!(!done(&proof(without(id))).proved.contains(&"harness-condition".into()), "{id} is missing");
        let mut answers = without(id);
        answers.push(word(id, false));
        assert_eq!(done(&proof(answers)).proved, Vec::<&str>::new(), "{id} is not good");
    }
}

#[test]
fn what_was_put_right_on_the_spot_is_proved_and_what_cannot_be_read_proves_nothing() {
    let mut put_right: Vec<Answer> =
        harness_good().into_iter().filter(|a| a.step != "straps-extended").collect();
    put_right
        .extend([word("straps-extended", false), Answer { attempt: 2, ..word("straps-extended", true) }]);
    assert_eq!(done(&proof(put_right)).proved.len(), 3);
    let mut unreadable = harness_good();
    unreadable.push(answer("gauge-agreement", 1, None, &[("cylinder", text("much"))]));
    assert_eq!(done(&proof(unreadable)).proved, Vec::<&str>::new());
}

#[test]
fn only_a_proving_check_proves() {
    let form = form(Purpose::Periodic);
    let answers = ids(&form).into_iter().map(|id| good(&form, id)).collect();
    assert_eq!(done(&check(2, Purpose::Periodic, answers)).proved, Vec::<&str>::new());
}

// ------------------------------------------------------------------------------------ what it clears

fn returned(proof: &Record, clears: &str, worked_on: Part) -> Record {
    let body = Return {
        asset: Asset::unit("117"),
        clears: vec![clears.to_owned()],
        proving: proof.name,
        worked_on: vec![worked_on],
        bench_test: Some("B-7".to_owned()),
        remedy: "strap exchanged".to_owned(),
        reproduced: String::new(),
        second_signer: None,
    };
    record("return", 3, NOON + HOUR, Some("tom"), &body)
}

/// The kinds open against unit 117 after a good check that found one step not good, and a return.
fn open_after(failed: &str, proof: &Record, worked_on: Part) -> Vec<Kind> {
    let form = form(Purpose::ShiftStart);
    let answers = ids(&form)
        .into_iter()
        .map(|id| if id == failed { word(id, false) } else { good(&form, id) })
        .collect();
    let found = check(1, Purpose::ShiftStart, answers);
    let key = effects(&found, &mut Tables::new()).raises.swap_remove(0).key;
    let back = returned(proof, &key, worked_on);
    let account = Account::with(&mut Tables::new(), [&found, proof], &[&back]);
    let standing = account.standing(&Asset::unit("117"), NOON + HOUR);
    standing.grounds.iter().filter(|g| g.raise.kind == Kind::Finding).map(|g| g.raise.kind).collect()
}

#[test]
fn a_return_clears_what_a_proof_of_the_repair_alone_has_shown() {
    assert_eq!(open_after("harness-condition", &proof(harness_good()), Part::Other), []);
    // The hoses are good in it too; what their repair touched was not asked.
    assert_eq!(open_after("hoses-condition", &proof(harness_good()), Part::Other), [Kind::Finding]);
}

#[test]
fn after_work_on_what_a_breath_hangs_on_only_a_proof_of_everything_clears() {
    let form = form(Purpose::Proving);
    let everything = proof(ids(&form).into_iter().map(|id| good(&form, id)).collect());
    for part in Part::ALL {
        let narrow = open_after("harness-condition", &proof(harness_good()), part);
        assert_eq!(narrow.is_empty(), part == Part::Other, "{part:?}");
        assert_eq!(open_after("harness-condition", &everything, part), [], "{part:?}");
    }
}

/// Found with `sha256sum` on the table as it was shipped before it said what a repair touches.
#[test]
fn records_made_with_the_first_shipped_table_can_still_be_judged() {
    let first: Digest = "a87b78546cbdc2de47297167451cd3728b1473c34b0bdfb4e73e678592f91be6".parse().unwrap();
    let form = Tables::new().form(&first, PROFILE, Purpose::Proving).unwrap();
    assert_eq!(ids(&form), ids(&self::form(Purpose::Proving)));
    assert_eq!(narrowed(&form, ["harness-condition"]), None, "it does not say what a repair touches");
    assert_ne!(first, Tables::new().default_digest());
}

// ------------------------------------------------------------------------- what it was tried with

#[test]
fn a_check_proves_its_own_cylinder_and_facepiece_unless_another_was_tried() {
    let form = form(Purpose::Proving);
    let at = |subject: Subject, item: &str| {
        let step = form.steps.iter().find(|s| s.step.subject == subject).unwrap();
        Answer { item: Some(item.to_owned()), ..good(&form, &step.step.id) }
    };
    let tried_with = |answers: Vec<Answer>| {
        let mut proof = proof(answers);
        let Body::Field(Field::Check(check)) = &mut proof.body else { panic!("not a check") };
        (check.facepiece, check.cylinder) = (Some("F-1".to_owned()), Some("C-1".to_owned()));
        done(&proof).with.into_iter().collect::<Vec<_>>()
    };
    let (facepiece, cylinder) = (Asset::facepiece("F-1"), Asset::cylinder("C-1"));
    let both = [cylinder.clone(), facepiece.clone()];
    assert_eq!(BTreeSet::from_iter(tried_with(vec![])), both.clone().into());
    let own = vec![at(Subject::Facepiece, "F-1"), at(Subject::Cylinder, "C-1")];
    assert_eq!(BTreeSet::from_iter(tried_with(own)), both.into());
    assert_eq!(tried_with(vec![at(Subject::Cylinder, "C-2")]), [facepiece]);
    assert_eq!(tried_with(vec![at(Subject::Facepiece, "F-2")]), [cylinder]);
}
