//! What a tablet writes down.

use std::sync::LazyLock;

use airmuster::clock::Clock;
use airmuster_domain::judge::{Answer, Raw};
use airmuster_domain::record::{Asset, Check, Condition, Digest, Outcome, Stamp, TakenOut, Used, encode};
use airmuster_domain::rules::Purpose;
use rand::Rng as _;
use rand::rngs::StdRng;
use serde_json::json;
use uuid::Uuid;

/// The rule table that the checks are made with.
pub const RULES: &str = include_str!("../data/small.toml");
static DIGEST: LazyLock<Digest> = LazyLock::new(|| Digest::of(RULES.as_bytes()));

/// The units of the department.
pub const UNITS: [&str; 5] = ["1", "2", "3", "4", "5"];

/// Something to be written down next, stamped with the tablet's place in its own order.
pub fn something(rng: &mut StdRng, mut stamp: Stamp) -> Vec<u8> {
    let unit = UNITS[rng.random_range(0..UNITS.len())];
    let asset = Asset::unit(unit);
    let why = "said by a member".to_owned();
    // Tablets' clocks are off, some of them far ahead.
    stamp.at = Clock::System.now() + rng.random_range(-3_600_000..=600_000);
    stamp.by = rng.random_bool(0.5).then(|| "ana".to_owned());
    match rng.random_range(0..14) {
        0 => encode("taken_out", &stamp, &TakenOut { asset, why }),
        1 => encode("hold", &stamp, &TakenOut { asset, why }),
        2 => encode("note", &stamp, &TakenOut { asset, why: "ä ☂ \u{1f692} \"\\\n".to_owned() }),
        3 => {
            let condition =
                [Condition::Clean, Condition::Soiled, Condition::Contaminated][rng.random_range(0..3)];
            encode(
                "used",
                &stamp,
                &Used { unit: unit.to_owned(), what: "drill".to_owned(), condition, ..Used::default() },
            )
        }
        4 => encode("blessed", &stamp, &json!({ "unit": unit, "with": "water" })),
        5 => encode("check", &stamp, &json!({ "unit": unit, "answers": "all good" })),
        6 => {
            stamp.by = None;
            let mut part = check(unit, Uuid::from_u128(rng.random()), "3900 psi");
            part.outcome = Outcome::BrokenOff;
            encode("check", &stamp, &part)
        }
        7 => {
            let mut part = check(unit, Uuid::from_u128(rng.random()), "4400 psi");
            part.outcome = Outcome::Stopped;
            part.answers.truncate(1);
            encode("check", &stamp, &part)
        }
        8 => encode("check", &stamp, &check(unit, stamp.id, "3900 psi")),
        9 => {
            let mut by_another = check(unit, stamp.id, "4400 psi");
            by_another.rules = Digest([7; 32]);
            encode("check", &stamp, &by_another)
        }
        // Hand-written JSON: whatever its spaces and its order, it must come out as it went in.
        10 => {
            let sent = encode("note", &stamp, &TakenOut { asset, why });
            let text = String::from_utf8(sent).unwrap();
            text.replace(r#""kind":"#, "\"kind\" :\t").replace(r#","tablet""#, "\n, \"tablet\"").into_bytes()
        }
        _ => encode("check", &stamp, &check(unit, stamp.id, "4400 psi")),
    }
}

/// The same id again, with other bytes.
pub fn another_account(rng: &mut StdRng, mut stamp: Stamp, id: Uuid) -> Vec<u8> {
    stamp.id = id;
    stamp.at = Clock::System.now();
    let unit = UNITS[rng.random_range(0..UNITS.len())];
    encode("check", &stamp, &check(unit, id, "4300 psi"))
}

/// What is no record, or none that a tablet may hand in.
pub fn poison(rng: &mut StdRng, stamp: &Stamp) -> Vec<u8> {
    let retired = TakenOut { asset: Asset::unit("1"), why: "in the field".to_owned() };
    match rng.random_range(0..4) {
        0 => encode("retired", stamp, &retired),
        1 => json!({ "v": 1, "id": stamp.id }).to_string().into_bytes(),
        2 => encode("", stamp, &retired),
        _ => encode("note", stamp, &json!({ "why": "x".repeat(70_000) })),
    }
}

/// A check by the small table: good with a remote gauge that says 4,400 psi, out of service at 3,900.
pub fn check(unit: &str, run: Uuid, remote: &str) -> Check {
    let answer = |step: &str, values: &[(&str, Raw)]| Answer {
        step: step.into(),
        attempt: 1,
        item: None,
        values: values.iter().map(|(k, v)| ((*k).into(), v.clone())).collect(),
        note: None,
    };
    let text = |t: &str| Raw::Text(t.into());
    Check {
        unit: unit.to_owned(),
        profile: "a".to_owned(),
        rules: *DIGEST,
        engine: airmuster_domain::ENGINE,
        purpose: Purpose::ShiftStart,
        outcome: Outcome::Complete,
        run,
        facepiece: None,
        cylinder: None,
        bay: None,
        started: 1_781_006_400_000,
        seen: Vec::new(),
        answers: vec![
            answer("gauges", &[("cylinder", text("4400 psi")), ("remote", text(remote))]),
            answer("pressure", &[("at", text("4400 psi"))]),
            answer("strap", &[("good", Raw::Flag(true))]),
            answer("seal", &[("good", Raw::Flag(true))]),
        ],
    }
}
