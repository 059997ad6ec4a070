//! Nothing that comes in makes the core panic: bytes, JSON, answers, times, desk records that name
//! what is not there. (Overflow panics in this profile, so arithmetic is tried with it.)
//!
//! Mutants that this turns red: an `unwrap` on anything that was handed in, unchecked arithmetic on
//! a time or a quantity, a calendar that ends.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;

use crate::common::pool::{ASSETS, POOL};
use crate::common::{NOON, TABLE, config, record, tables, uuid};
use airmuster_domain::ground::effects;
use airmuster_domain::judge::{Answer, Raw, Values, judge, judge_readable};
use airmuster_domain::quantity::{Pressure, PressureUnit};
use airmuster_domain::record::{
    Asset, Body, Cadence, Check, Digest, Field, Outcome, Record, Register, Stamp, decode, encode,
};
use airmuster_domain::rules::{DEFAULT, Form, Purpose, parse, resolve};
use airmuster_domain::standing::{Account, State, Tables};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use serde_json::{Value, json};
use smol_str::SmolStr;

fn cases(n: u32) -> TestRunner {
    TestRunner::new(config("proptest-regressions/totality.txt", n))
}

/// Whatever a record is, all that follows from it can be asked at any moment.
fn take_through(tables: &mut Tables, record: &Record, desk: &[&Record], now: i64) {
    let fields: &[&Record] = if matches!(record.body, Body::Field(_)) { &[record] } else { &[] };
    let mut desk = desk.to_vec();
    if matches!(record.body, Body::Desk(_)) {
        desk.push(record);
    }
    effects(record, tables);
    let account = Account::with(tables, fields.iter().copied(), &desk);
    let assets: Vec<Asset> = account.assets().cloned().collect();
    for asset in assets.iter().chain(ASSETS.iter()) {
        let standing = account.standing(asset, now);
        assert!(!standing.grounds.is_empty() || standing.state == State::InService);
    }
}

fn any_time() -> impl Strategy<Value = i64> {
    prop_oneof![
        any::<i64>(),
        Just(i64::MIN),
        Just(i64::MAX),
        (-1_000_000_i64..1_000_000).prop_map(|d| NOON + d),
        // The ends of the library's calendar, and a day's worth around them.
        (-100_000_000_i64..100_000_000).prop_map(|d| 8_210_266_876_799_999_i64.saturating_add(d)),
        (-100_000_000_i64..100_000_000).prop_map(|d| -8_334_601_228_800_000_i64 + d),
    ]
}

#[test]
fn no_bytes_make_decoding_panic() {
    let near = prop::sample::select(POOL.fields.iter().chain(&POOL.desk).collect::<Vec<_>>()).prop_map(|r| {
        // Close to a record: its envelope with a few bytes put in anywhere.
        let mut near = serde_json::to_value(&r.envelope).unwrap();
        near["body"] = json!({"asset": "unit:1", "unit": "1", "why": "x"});
        serde_json::to_vec(&near).unwrap()
    });
    let spoiled = (near, prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..4)).prop_map(
        |(mut bytes, changes)| {
            for (at, byte) in changes {
                let at = at.index(bytes.len());
                bytes[at] = byte;
            }
            bytes
        },
    );
    let bytes = prop_oneof![prop::collection::vec(any::<u8>(), 0..200), spoiled];
    let tables = RefCell::new(tables());
    cases(20_000)
        .run(&bytes, |bytes| {
            if let Ok(record) = decode(&bytes) {
                take_through(&mut tables.borrow_mut(), &record, &[], NOON);
            }
            Ok(())
        })
        .unwrap();
}

/// JSON of any shape, mostly with names that mean something.
fn any_json() -> impl Strategy<Value = Value> {
    let names = [
        "unit",
        "asset",
        "profile",
        "rules",
        "engine",
        "purpose",
        "outcome",
        "run",
        "answers",
        "seen",
        "step",
        "try",
        "values",
        "good",
        "at",
        "why",
        "id",
        "variants",
        "accepted",
        "of",
        "clears",
        "proving",
        "what",
        "number",
        "text",
        "ticket",
        "stage",
        "digest",
        "item",
        "condition",
        "in_use",
        "cadence",
        "zone",
    ];
    let words = [
        "unit:1",
        "1",
        "check",
        "complete",
        "stopped",
        "shift-start",
        "a",
        "-1 psi",
        "4400 psi",
        "1e9 psi",
        "00000000-0000-0000-0000-000000000001",
        "weekly",
        "unit",
        "department",
        "soiled",
        "",
        "𝟘",
    ];
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<u64>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        any::<String>().prop_map(Value::from),
        prop::sample::select(words.to_vec()).prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 40, 6, move |inner| {
        let key =
            prop_oneof![4 => prop::sample::select(names.to_vec()).prop_map(ToOwned::to_owned), 1 => ".{0,6}"];
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(Value::from),
            prop::collection::btree_map(key, inner, 0..8)
                .prop_map(|m| Value::Object(m.into_iter().collect())),
        ]
    })
}

/// A change somewhere in a text: a line cut out, doubled, exchanged with another, or something put
/// in its middle.
fn changed(text: &str) -> impl Strategy<Value = String> + use<> {
    let lines: Vec<String> = text.lines().map(ToOwned::to_owned).collect();
    let count = lines.len();
    let words = [
        "\"",
        "[",
        "]]",
        "=",
        "1",
        "-1",
        "1e9",
        "9999999999999999999",
        "psi",
        "of rated",
        "%",
        "\0",
        "[steps]",
        "𝟘",
    ];
    let put = prop_oneof![prop::sample::select(words.to_vec()).prop_map(ToOwned::to_owned), any::<String>(),];
    let change = (0..count, 0..count, 0..4_u8, any::<prop::sample::Index>(), put);
    prop::collection::vec(change, 1..4).prop_map(move |changes| {
        let mut lines = lines.clone();
        for (a, b, how, at, put) in changes {
            let (a, b) = (a % lines.len().max(1), b % lines.len().max(1));
            match how {
                _ if lines.is_empty() => {}
                0 => drop(lines.remove(a)),
                1 => lines.insert(a, lines[b].clone()),
                2 => lines.swap(a, b),
                _ => {
                    let line: Vec<char> = lines[a].chars().collect();
                    let (left, right) = line.split_at(at.index(line.len() + 1));
                    let new = left.iter().chain(&put.chars().collect::<Vec<_>>()).chain(right).collect();
                    lines[a] = new;
                }
            }
        }
        lines.join("\n")
    })
}

#[test]
fn no_text_makes_the_rule_table_parser_panic_and_what_it_takes_can_be_used() {
    let (taken, refused) = (Cell::new(0), Cell::new(0));
    cases(3_000)
        .run(&prop_oneof![4 => changed(TABLE), 1 => changed(DEFAULT), 1 => any::<String>()], |text| {
            match parse(&text) {
                Ok(table) => {
                    taken.set(taken.get() + 1);
                    prop_assert_eq!(&parse(&text).unwrap(), &table, "the same text is the same table");
                    for profile in table.profiles.keys() {
                        for purpose in Purpose::ALL {
                            let _ = resolve(&table, profile, purpose);
                        }
                    }
                }
                Err(problems) => {
                    refused.set(refused.get() + 1);
                    let lines = text.lines().count().max(1);
                    prop_assert!(!problems.0.is_empty());
                    prop_assert!(problems.0.iter().all(|p| (1..=lines + 1).contains(&p.line)), "{problems}");
                }
            }
            Ok(())
        })
        .unwrap();
    assert!(taken.get() > 50 && refused.get() > 50, "{} taken, {} refused", taken.get(), refused.get());
}

/// Of every field record, its body as JSON.
fn body_of(field: &Field) -> Option<Value> {
    Some(match field {
        Field::Check(b) => json!(b),
        Field::TakenOut(b) | Field::Hold(b) | Field::Note(b) => json!(b),
        Field::Photo(b) => json!(b),
        Field::RigAccepted(b) => json!(b),
        Field::Used(b) => json!(b),
        Field::Unknown { .. } => return None,
    })
}

/// Numbers with a fraction made such that binary holds them: reading decimals of seventeen digits
/// may be off in the last, which no gauge shows.
fn exact(value: Value) -> Value {
    match value {
        Value::Number(n) if n.as_i64().is_none() => {
            json!((n.as_f64().unwrap_or_default() % 1e6).round() / 8.0)
        }
        Value::Array(all) => all.into_iter().map(exact).collect(),
        Value::Object(map) => map.into_iter().map(|(k, v)| (k, exact(v))).collect(),
        other => other,
    }
}

/// Puts something else in some place of a body.
fn spoiled(body: &Value, place: &[prop::sample::Index], new: Value) -> Value {
    let Some((first, rest)) = place.split_first() else { return new };
    let mut out = body.clone();
    match &mut out {
        Value::Object(map) if !map.is_empty() => {
            let key = map.keys().nth(first.index(map.len())).unwrap().clone();
            let inner = spoiled(&map[&key], rest, new);
            map.insert(key, inner);
        }
        Value::Array(all) if !all.is_empty() => {
            let at = first.index(all.len());
            all[at] = spoiled(&all[at].clone(), rest, new);
        }
        _ => return new,
    }
    out
}

#[test]
fn whatever_is_taken_in_says_the_same_when_it_is_written_and_read_again() {
    let (known, unknown) = (Cell::new(0), Cell::new(0));
    let fields: Vec<(&str, Value)> = POOL
        .fields
        .iter()
        .filter_map(|r| match &r.body {
            Body::Field(f) => body_of(f).map(|b| (r.envelope.kind.as_str(), b)),
            Body::Desk(_) => None,
        })
        .collect();
    let place = prop::collection::vec(any::<prop::sample::Index>(), 1..4);
    cases(20_000)
        .run(
            &(prop::sample::select(fields), place, any_json(), any::<bool>()),
            |((kind, body), place, new, spoil)| {
                let body = if spoil { spoiled(&body, &place, exact(new)) } else { body };
                let stamp = Stamp { id: uuid(1), tablet: "t".to_owned(), at: NOON, ..Stamp::default() };
                let Ok(record) = decode(&encode(kind, &stamp, &body)) else { return Ok(()) };
                let Body::Field(field) = &record.body else { panic!("{kind} is a field record") };
                let Some(again) = body_of(field) else {
                    unknown.set(unknown.get() + 1);
                    return Ok(());
                };
                known.set(known.get() + 1);
                let second = decode(&encode(kind, &stamp, &again)).unwrap();
                prop_assert_eq!(&second.body, &record.body);
                Ok(())
            },
        )
        .unwrap();
    assert!(known.get() > 1000 && unknown.get() > 1000, "{} known, {} unknown", known.get(), unknown.get());
}

#[test]
fn no_body_of_any_kind_makes_anything_panic() {
    let kinds = [
        "check",
        "taken_out",
        "hold",
        "used",
        "note",
        "photo",
        "register",
        "rules",
        "return",
        "release",
        "cleaned",
        "settlement",
        "correction",
        "doubt",
        "accepted",
        "retired",
        "ticket_opened",
        "ticket_stage",
        "worked",
        "later",
    ];
    let tables = RefCell::new(tables());
    cases(20_000)
        .run(
            &(prop::sample::select(kinds.to_vec()), any_json(), any_time(), any_time()),
            |(kind, body, at, now)| {
                let stamp = Stamp { id: uuid(1), tablet: "t".to_owned(), at, ..Stamp::default() };
                if let Ok(record) = decode(&encode(kind, &stamp, &body)) {
                    let registered: Vec<&Record> = POOL.registered.iter().collect();
                    take_through(&mut tables.borrow_mut(), &record, &registered, now);
                }
                Ok(())
            },
        )
        .unwrap();
}

fn any_raw() -> impl Strategy<Value = Raw> {
    let texts = [
        "0 psi",
        "999999.999 psi",
        "999999.999 MPa",
        "1000000 psi",
        "0.001 kPa",
        "-0 bar",
        "600 s",
        "600.001 s",
        "255",
        "-1",
        "yes",
        "no",
        "",
        " ",
        ".",
        "1.",
        ".5 bar",
        "1,000 psi",
        "NaN psi",
        "９ psi",
        "٣ bar",
        "4050 psi",
        "50 bar",
        "10 s",
    ];
    prop_oneof![
        any::<bool>().prop_map(Raw::Flag),
        any::<i64>().prop_map(Raw::Whole),
        any::<f64>().prop_map(Raw::Decimal),
        any::<String>().prop_map(|t| Raw::Text(t.into())),
        prop::sample::select(texts.to_vec()).prop_map(|t| Raw::Text(t.into())),
        (0..=9_999_999_999_u64, prop::sample::select(vec!["psi", "bar", "kPa", "MPa", "s", ""]))
            .prop_map(|(n, unit)| Raw::Text(format!("{}.{:03} {unit}", n / 1000, n % 1000).into())),
    ]
}

fn forms() -> Vec<Form> {
    let table = parse(DEFAULT).unwrap();
    let purposes = [Purpose::ShiftStart, Purpose::AfterUse, Purpose::Periodic, Purpose::Proving];
    let names: Vec<&String> = table.profiles.keys().collect();
    names.iter().flat_map(|n| purposes.map(|p| resolve(&table, n, p).unwrap())).collect()
}

/// Answers to the steps of a form, mostly in fields that the step has.
fn any_answers(steps: Vec<String>) -> impl Strategy<Value = Vec<Answer>> {
    let fields =
        ["good", "at", "cylinder", "remote", "start", "end", "seconds", "held", "count", "first", "full"];
    let values = prop::collection::btree_map(
        prop::sample::select(fields.to_vec()).prop_map(SmolStr::from),
        any_raw(),
        0..4,
    );
    let step = prop_oneof![9 => prop::sample::select(steps), 1 => any::<String>()];
    let item = prop::option::of(prop::sample::select(vec!["1", "2"]).prop_map(ToOwned::to_owned));
    let attempt = prop_oneof![4 => 1..4_u8, 1 => any::<u8>()];
    let one = (step, attempt, item, values).prop_map(|(step, attempt, item, values)| Answer {
        step: step.into(),
        attempt,
        item,
        values: values.into_iter().collect(),
        note: None,
    });
    prop::collection::vec(one, 0..12)
}

#[test]
fn no_answers_make_the_judge_panic_and_what_it_cannot_read_is_never_good() {
    let forms = forms();
    let steps: Vec<String> = forms[0].steps.iter().map(|s| s.step.id.clone()).collect();
    cases(30_000)
        .run(&(0..forms.len(), any_answers(steps)), |(form, answers)| {
            let form = &forms[form];
            let (judged, problems) = judge_readable(form, &answers);
            match judge(form, &answers) {
                Ok(same) => prop_assert_eq!((same, problems), (judged, vec![])),
                Err(same) => {
                    prop_assert_eq!(&same, &problems);
                    prop_assert!(!problems.is_empty());
                    // A step with nothing but unreadable answers stays missing.
                    for p in &problems {
                        let others = answers.iter().filter(|a| a.step == p.step && a.attempt != p.attempt);
                        let twice = answers.iter().filter(|a| a.step == p.step && a.attempt == p.attempt);
                        if others.count() == 0 && twice.count() == 1 {
                            prop_assert!(!judged.is_good(&p.step), "{}", p);
                        }
                    }
                }
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn no_check_at_no_time_makes_a_standing_panic() {
    let table = Tables::new().default_digest();
    let steps: Vec<String> = forms()[0].steps.iter().map(|s| s.step.id.clone()).collect();
    let purposes = prop::sample::select(Purpose::ALL.to_vec());
    let outcomes = prop::sample::select(vec![Outcome::Complete, Outcome::BrokenOff, Outcome::Stopped]);
    let zones = prop::sample::select(vec!["UTC", "Pacific/Kiritimati", "Pacific/Pago_Pago", "Nowhere"]);
    let shape = (purposes, outcomes, any::<bool>(), zones);
    let tables = RefCell::new(tables());
    cases(20_000)
        .run(
            &(any_answers(steps), shape, any_time(), any_time()),
            |(answers, (purpose, outcome, known, zone), at, now)| {
                let check = Check {
                    unit: "1".to_owned(),
                    profile: "us-4500-third".to_owned(),
                    rules: if known { table } else { Digest([7; 32]) },
                    engine: u32::MAX,
                    purpose,
                    outcome,
                    run: uuid(1),
                    facepiece: Some("1".to_owned()),
                    cylinder: None,
                    bay: None,
                    started: at,
                    seen: vec![String::new()],
                    answers,
                };
                let made = record("check", 1, at, Some("ana"), &check);
                let department = Register::Department {
                    name: String::new(),
                    zone: zone.to_owned(),
                    shift_start: "23:59".to_owned(),
                    shift_hours: 12,
                    early_minutes: 359,
                    grace_minutes: 360,
                };
                let department = record("register", 2, 0, None, &department);
                let unit = Register::Unit {
                    number: "1".to_owned(),
                    profile: "us-4500-third".to_owned(),
                    cadence: Cadence::EachShift,
                    in_use: true,
                    serials: BTreeMap::new(),
                };
                let unit = record("register", 3, 0, None, &unit);
                take_through(&mut tables.borrow_mut(), &made, &[&department, &unit], now);
                Ok(())
            },
        )
        .unwrap();
}

/// The largest pressures that can be written, in every unit, against every limit.
#[test]
fn quantities_at_their_bounds_are_judged() {
    let form = resolve(&parse(DEFAULT).unwrap(), "us-5500-third", Purpose::ShiftStart).unwrap();
    for unit in [PressureUnit::Psi, PressureUnit::Bar, PressureUnit::Kpa, PressureUnit::Mpa] {
        for text in ["0", "0.001", "999999.999"] {
            let p: Pressure = format!("{text} {}", unit.symbol()).parse().unwrap();
            let values = Values::from_iter([("at".into(), Raw::Text(p.to_string().into()))]);
            let answer = Answer { step: "low-air-alarm".into(), attempt: 1, item: None, values, note: None };
            let (j, problems) = judge_readable(&form, &[answer]);
            assert_eq!(j.findings.len() + problems.len(), 1, "{p}: far outside, or absurd");
        }
    }
}
