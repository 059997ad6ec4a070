//! What the tests of the domain share: a small rule table, records made in a line, and the oracle.
#![allow(dead_code, reason = "each test file uses its own part of this")]
#![allow(clippy::unwrap_used, reason = "a test that cannot begin says so")]

pub mod oracle;
pub mod pool;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use airmuster_domain::Millis;
use airmuster_domain::judge::{Answer, Raw};
use airmuster_domain::record::{
    Asset, Cadence, Check, Clearing, Digest, Outcome, Record, RecordRef, Register, Return, Stamp, TakenOut,
    decode, encode,
};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::Tables;
use proptest::prelude::ProptestConfig;
use proptest::test_runner::FileFailurePersistence;
use serde::Serialize;
use uuid::Uuid;

/// One step of each kind of consequence and subject. `a` and `b` differ only in their rated
/// pressure, so that 4,100 psi is good for one and low for the other.
pub const TABLE: &str = r#"
format = 1
name = "small"
edition = "1"
[alarms.quarter]
title = "quarter"
at_least = "7/30 of rated"
out_above = "35 % of rated"
basis = "invented"
[profiles.a]
title = "a"
rated = "4500 psi"
division = "100 psi"
alarm = "quarter"
family = "f"
[profiles.b]
title = "b"
rated = "5500 psi"
division = "100 psi"
alarm = "quarter"
family = "f"
[[groups]]
id = "all"
title = "All"
[[steps]]
id = "gauges"
group = "all"
kind = "pair"
title = "Gauges agree"
do = "Read both."
consequence = "out_of_service"
basis = "invented"
largest = ["10 % of rated", "450 psi"]
[[steps]]
id = "pressure"
group = "all"
kind = "reading"
title = "Cylinder full"
do = "Read it."
subject = "cylinder"
consequence = "put_right"
basis = "invented"
above = "90 % of rated"
[[steps]]
id = "strap"
group = "all"
kind = "confirm"
title = "Straps"
do = "Pull."
consequence = "put_right"
basis = "invented"
[[steps]]
id = "seal"
group = "all"
kind = "confirm"
title = "Facepiece seals"
do = "Put it on."
subject = "facepiece"
consequence = "out_of_service"
basis = "invented"
[[steps]]
id = "bench"
group = "all"
kind = "confirm"
title = "Bench test"
do = "Test."
consequence = "out_of_service"
basis = "invented"
checks = ["proving"]
"#;

/// The hash of the small table.
pub static RULES: LazyLock<Digest> = LazyLock::new(|| Digest::of(TABLE.as_bytes()));

/// Noon on a working day in June 2026, UTC.
pub const NOON: Millis = 1_781_006_400_000;
pub const MINUTE: Millis = 60_000;
pub const HOUR: Millis = 60 * MINUTE;
pub const DAY: Millis = 24 * HOUR;

/// Tables that know the small one.
pub fn tables() -> Tables {
    let mut tables = Tables::new();
    tables.add(TABLE).unwrap();
    tables
}

/// This many random cases, or as many as the environment says in `PROPTEST_CASES`. What fails is
/// kept in `proptest-regressions` and tried first from then on.
pub fn config(kept_in: &'static str, cases: u32) -> ProptestConfig {
    let asked = std::env::var("PROPTEST_CASES").ok().and_then(|s| s.parse().ok());
    ProptestConfig {
        cases: asked.unwrap_or(cases),
        max_global_rejects: u32::MAX,
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct(kept_in))),
        ..ProptestConfig::default()
    }
}

pub fn uuid(n: u128) -> Uuid {
    Uuid::from_u128(n)
}

/// A record of any kind, as it comes out of its bytes.
pub fn record(kind: &str, n: u128, at: Millis, by: Option<&str>, body: &impl Serialize) -> Record {
    let stamp =
        Stamp { id: uuid(n), tablet: "t1".to_owned(), at, by: by.map(ToOwned::to_owned), ..Stamp::default() };
    decode(&encode(kind, &stamp, body)).unwrap()
}

/// An answer from its fields.
pub fn answer(step: &str, attempt: u8, item: Option<&str>, values: &[(&str, Raw)]) -> Answer {
    Answer {
        step: step.into(),
        attempt,
        item: item.map(ToOwned::to_owned),
        values: values.iter().map(|(k, v)| ((*k).into(), v.clone())).collect(),
        note: None,
    }
}

pub fn text(t: &str) -> Raw {
    Raw::Text(t.into())
}

/// Good or not good.
pub fn word(step: &str, good: bool) -> Answer {
    answer(step, 1, None, &[("good", Raw::Flag(good))])
}

/// The gauges of the small table.
pub fn gauges(cylinder: &str, remote: &str) -> Answer {
    answer("gauges", 1, None, &[("cylinder", text(cylinder)), ("remote", text(remote))])
}

/// The cylinder's pressure in the small table.
pub fn pressure(at: &str) -> Answer {
    answer("pressure", 1, None, &[("at", text(at))])
}

/// The answer as a later attempt.
pub fn again(answer: Answer, attempt: u8) -> Answer {
    Answer { attempt, ..answer }
}

/// The answer as given for a thing with this number.
pub fn on(answer: Answer, item: &str) -> Answer {
    Answer { item: Some(item.to_owned()), ..answer }
}

/// A check of the small table, good throughout until told otherwise.
#[derive(Clone)]
pub struct Making {
    pub n: u128,
    pub at: Millis,
    pub by: Option<String>,
    pub check: Check,
}

pub fn check(n: u128, unit: &str) -> Making {
    let mut made = Making {
        n,
        at: NOON,
        by: Some("ana".to_owned()),
        check: Check {
            unit: unit.to_owned(),
            profile: "a".to_owned(),
            rules: *RULES,
            engine: 1,
            purpose: Purpose::ShiftStart,
            outcome: Outcome::Complete,
            run: uuid(n),
            facepiece: None,
            cylinder: None,
            bay: None,
            started: NOON - 10 * MINUTE,
            seen: Vec::new(),
            answers: Vec::new(),
        },
    };
    made.check.answers =
        vec![gauges("4400 psi", "4400 psi"), pressure("4400 psi"), word("strap", true), word("seal", true)];
    made
}

/// A proving check: all of it, and the bench test.
pub fn proving(n: u128, unit: &str) -> Making {
    let mut made = check(n, unit);
    made.check.purpose = Purpose::Proving;
    made.by = Some("tom".to_owned());
    made.check.answers.push(word("bench", true));
    made
}

impl Making {
    /// Puts these answers in the place of those at the same steps.
    pub fn say(mut self, answers: &[Answer]) -> Self {
        self.check.answers.retain(|old| answers.iter().all(|new| new.step != old.step));
        self.check.answers.extend_from_slice(answers);
        self
    }
    /// Leaves only these answers.
    pub fn only(mut self, answers: &[Answer]) -> Self {
        self.check.answers = answers.to_vec();
        self
    }
    pub fn seen<S: AsRef<str>>(mut self, keys: &[S]) -> Self {
        self.check.seen = keys.iter().map(|k| k.as_ref().to_owned()).collect();
        self
    }
    pub fn at(mut self, at: Millis) -> Self {
        self.at = at;
        self
    }
    pub fn purpose(mut self, purpose: Purpose) -> Self {
        self.check.purpose = purpose;
        self
    }
    pub fn unsigned(mut self) -> Self {
        self.by = None;
        self
    }
    pub fn outcome(mut self, outcome: Outcome, run: u128) -> Self {
        self.check.outcome = outcome;
        self.check.run = uuid(run);
        if outcome != Outcome::Complete {
            self.by = None;
        }
        self
    }
    pub fn profile(mut self, profile: &str) -> Self {
        profile.clone_into(&mut self.check.profile);
        self
    }
    pub fn rules(mut self, rules: Digest) -> Self {
        self.check.rules = rules;
        self
    }
    pub fn kit(mut self, facepiece: Option<&str>, cylinder: Option<&str>) -> Self {
        self.check.facepiece = facepiece.map(ToOwned::to_owned);
        self.check.cylinder = cylinder.map(ToOwned::to_owned);
        self
    }
    pub fn record(&self) -> Record {
        record("check", self.n, self.at, self.by.as_deref(), &self.check)
    }
}

pub fn register_unit(n: u128, unit: &str, profile: &str, in_use: bool) -> Record {
    let body = Register::Unit {
        number: unit.to_owned(),
        profile: profile.to_owned(),
        cadence: Cadence::Weekly,
        in_use,
        serials: BTreeMap::new(),
    };
    record("register", n, NOON - DAY, Some("ada"), &body)
}

pub fn about(kind: &str, n: u128, asset: Asset, why: &str) -> Record {
    record(kind, n, NOON, Some("ana"), &TakenOut { asset, why: why.to_owned() })
}

pub fn returned<S: AsRef<str>>(n: u128, asset: Asset, clears: &[S], proving: RecordRef) -> Record {
    let body = Return {
        asset,
        clears: clears.iter().map(|k| k.as_ref().to_owned()).collect(),
        proving,
        worked_on: vec![airmuster_domain::record::Part::Gauge],
        bench_test: Some("B-1".to_owned()),
        remedy: "gauge exchanged".to_owned(),
        reproduced: String::new(),
        second_signer: None,
    };
    record("return", n, NOON, Some("tom"), &body)
}

pub fn clearing<S: AsRef<str>>(kind: &str, n: u128, asset: Asset, clears: &[S]) -> Record {
    let body = Clearing {
        asset,
        clears: clears.iter().map(|k| k.as_ref().to_owned()).collect(),
        why: "done".to_owned(),
    };
    record(kind, n, NOON, Some("ada"), &body)
}
