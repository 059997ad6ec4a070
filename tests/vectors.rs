//! The judge's vectors: what it says about some hundreds of checks, kept in `vectors/judge.json`
//! so that the tablet's script can be held against the same words and numbers. The figures come
//! from the rule tables; that the *judge* is right is proved elsewhere.
//!
//! `UPDATE_VECTORS=1 cargo test --test vectors` writes the files anew; look at what changed.

#[path = "vectors/cases.rs"]
mod cases;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;

use airmuster_domain::bay::Bay;
use airmuster_domain::judge::{Answer, Judgement, Problem, Verdict, judge, judge_readable};
use airmuster_domain::quantity::{Fraction, Pressure, Temperature};
use airmuster_domain::record::{Body, Field, Outcome, decode};
use airmuster_domain::rules::{DEFAULT, Form, Limits, Purpose, Table, parse, resolve};
use cases::{Case, Depth, Random};
use serde::Serialize;

const CORNERS: &str = include_str!("vectors/corners.toml");

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/vectors")
}

/// A form's limits and a good answer to each of its steps.
#[derive(Serialize)]
struct FormLine<'a> {
    form: &'a str,
    limits: Limits<'a>,
    good: Vec<Answer>,
}

#[derive(Serialize)]
struct Vector<'a> {
    form: &'a str,
    profile: &'a str,
    purpose: Purpose,
    /// Every step that `answers` leaves out has its good answer from the form, after them.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    rest: bool,
    answers: &'a [Answer],
    expect: Expect,
}

#[derive(Serialize)]
struct Expect {
    #[serde(flatten)]
    judgement: Judgement,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    problems: Vec<Problem>,
}

/// What the tablet's script is held against.
struct Made {
    forms: String,
    checks: String,
    count: usize,
    verdicts: BTreeSet<Verdict>,
}

fn forms() -> Vec<(String, Form, Depth)> {
    let table = |text: &str| -> Table { parse(text).expect("the table can be read") };
    let (shipped, corners) = (table(DEFAULT), table(CORNERS));
    let mut out = Vec::new();
    let mut add = |name: &str, table: &Table, profile: &str, purpose: Purpose, depth: Depth| {
        let form = resolve(table, profile, purpose).expect("the table has the profile");
        out.push((format!("{name} {profile} {purpose}"), form, depth));
    };
    for profile in shipped.profiles.keys() {
        let depth = if profile == "en-300-bar" { Depth::Everything } else { Depth::Limits };
        add("shipped", &shipped, profile, Purpose::ShiftStart, depth);
    }
    add("shipped", &shipped, "us-4500-third", Purpose::Proving, Depth::Limits);
    add("shipped", &shipped, "us-4500-quarter", Purpose::AfterUse, Depth::Limits);
    add("corners", &corners, "megapascal", Purpose::ShiftStart, Depth::Tries);
    add("corners", &corners, "kilopascal", Purpose::ShiftStart, Depth::Limits);
    out
}

fn generate() -> Made {
    let mut out = Made { forms: String::new(), checks: String::new(), count: 0, verdicts: BTreeSet::new() };
    let mut random = Random(2_463_534_242);
    for (name, form, depth) in forms() {
        let good: Vec<Answer> = form.steps.iter().map(|s| cases::good(&form, s)).collect();
        for Case { rest, answers } in cases::cases(&form, depth, &mut random) {
            let given: BTreeSet<&str> = answers.iter().map(|a| a.step.as_str()).collect();
            let mut all = answers.clone();
            if rest {
                all.extend(good.iter().filter(|a| !given.contains(a.step.as_str())).cloned());
            }
            let (judgement, problems) = judge_readable(&form, &all);
            assert_eq!(judge(&form, &all).is_ok(), problems.is_empty(), "{name}: {answers:?}");
            out.verdicts.insert(judgement.verdict);
            out.count += 1;
            let (profile, purpose) = (form.profile_name.as_str(), form.purpose);
            let expect = Expect { judgement, problems };
            line(&mut out.checks, &Vector { form: &name, profile, purpose, rest, answers: &answers, expect });
        }
        line(&mut out.forms, &FormLine { form: &name, limits: Limits::of(&form), good });
    }
    out
}

/// One value to a line, so that a change shows as the lines that it touches.
fn line(file: &mut String, value: &impl Serialize) {
    let comma = if file.is_empty() { "[\n" } else { ",\n" };
    let json = serde_json::to_string(value).expect("it can be written");
    write!(file, "{comma}{json}").expect("a text takes text");
}

/// The file and what belongs in it, written first where that was asked for.
fn kept_and_made() -> &'static [(String, String, &'static str); 2] {
    static FILES: LazyLock<[(String, String, &'static str); 2]> = LazyLock::new(|| {
        let made = generate();
        assert!(made.count >= 400, "only {} vectors", made.count);
        assert_eq!(made.verdicts.len(), 4, "every verdict is there");
        [(made.forms, "forms.json"), (made.checks, "judge.json")].map(|(lines, name)| {
            let (path, made) = (folder().join(name), lines + "\n]\n");
            if std::env::var_os("UPDATE_VECTORS").is_some() {
                std::fs::write(&path, &made).expect("the folder can be written");
            }
            (std::fs::read_to_string(&path).unwrap_or_default(), made, name)
        })
    });
    &FILES
}

#[test]
fn the_kept_vectors_are_what_the_judge_says_now() {
    for (kept, made, name) in kept_and_made() {
        for (n, (kept, made)) in kept.lines().zip(made.lines()).enumerate() {
            assert_eq!(kept, made, "{name} line {}; UPDATE_VECTORS=1 writes it anew", n + 1);
        }
        assert_eq!(kept, made, "{name} has another number of lines; UPDATE_VECTORS=1 writes it anew");
    }
}

/// The script that shows the verdict on the tablet says the same, word for word, and the vectors
/// notice when one of its limits is moved by the least that can be read.
#[test]
fn the_tablets_script_says_what_the_judge_says() {
    kept_and_made();
    let said = node(&["run.mjs"]);
    assert!(said.contains("vectors agree"), "{said}");
}

/// What is said beside a pressure in a cold or hot bay, for `tests/script/bay.test.mjs`.
#[test]
fn the_kept_words_about_cold_and_heat_are_what_the_server_says_now() {
    #[derive(Serialize)]
    struct Line {
        table: Bay,
        grains: BTreeMap<&'static str, String>,
        cases: Vec<BayCase>,
    }
    #[derive(Serialize)]
    struct BayCase {
        at: Temperature,
        reading: Option<String>,
        expect: String,
    }
    let table = parse(DEFAULT).expect("the table can be read");
    let mut made = String::new();
    for profile in table.profiles.keys() {
        let form = resolve(&table, profile, Purpose::ShiftStart).expect("the table has the profile");
        let bay = Bay::of(&form).expect("it asks for the cylinder's pressure");
        let rated = form.profile.rated;
        let mut cases = Vec::new();
        for at in [
            "-60 C", "-40 C", "-20 C", "-4 F", "0 C", "2.5 C", "50 F", "21 C", "70 F", "35 C", "110.5 F",
            "90 C",
        ] {
            let at: Temperature = at.parse().expect("a temperature");
            cases.push(BayCase { at, reading: None, expect: bay.says(at, None) });
            for percent in [50, 68, 70, 72, 77, 78, 80, 88, 90, 91, 95, 100, 102, 104, 108, 112, 122, 130] {
                let share = Fraction::new(percent, 100).expect("a share");
                let reading =
                    format!("{} {}", rated.amount().share(share).number(rated.unit()), rated.unit().symbol());
                let reading = reading.replace(',', "");
                let read: Pressure = reading.parse().expect("a pressure");
                cases.push(BayCase { at, expect: bay.says(at, Some(read.amount())), reading: Some(reading) });
            }
        }
        let read: Pressure = "250.5 bar".parse().expect("a pressure");
        let at: Temperature = "-20 C".parse().expect("a temperature");
        let (expect, reading) = (bay.says(at, Some(read.amount())), Some(read.to_string()));
        cases.push(BayCase { at, reading, expect });
        line(&mut made, &Line { table: bay, grains: Limits::of(&form).grains, cases });
    }
    made.push_str("\n]\n");
    let path = folder().join("bay.json");
    if std::env::var_os("UPDATE_VECTORS").is_some() {
        std::fs::write(&path, &made).expect("the folder can be written");
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(kept == made, "UPDATE_VECTORS=1 writes bay.json anew; look at what changed");
}

/// Runs a script of this folder.
fn node(args: &[&str]) -> String {
    let out = Command::new("node")
        .current_dir(folder())
        .args(args)
        .output()
        .expect("Node.js runs the tablet's script; tests/run.sh installs it");
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.success(), "{said}{}", String::from_utf8_lossy(&out.stderr));
    said
}

#[test]
fn the_record_of_a_check_broken_off_on_the_tablet_is_read_as_that_check() {
    kept_and_made();
    let table = parse(DEFAULT).expect("the table can be read");
    let text = node(&["broken_off.mjs", &table.digest]);
    let record = decode(text.as_bytes()).expect("it is a record");
    let Body::Field(Field::Check(check)) = record.body else { panic!("not a check: {text}") };
    assert_eq!(check.outcome, Outcome::BrokenOff);
    assert_eq!(check.rules.to_string(), table.digest);
    assert_eq!((check.facepiece.as_deref(), check.cylinder), (Some("F-204"), None));
    let form = resolve(&table, &check.profile, check.purpose).expect("the table has the profile");
    let (judgement, problems) = judge_readable(&form, &check.answers);
    assert_eq!(problems, []);
    assert_eq!(judgement.verdict, Verdict::OutOfService);
    let found: Vec<_> = judgement.findings.iter().map(|f| (f.step.as_str(), f.item.as_deref())).collect();
    let failed =
        [("cylinder-identity", None), ("facepiece-vacuum", Some("F-204")), ("gauge-agreement", None)];
    assert_eq!(found, failed);
}
