//! The command line, run as a person or a script runs it.

use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader};
use std::process::Stdio;
use std::time::Duration;

use airmuster_domain::record::{Asset, Digest};
use airmuster_domain::rules::DEFAULT;
use serde_json::Value;
use tempfile::TempDir;
use uuid::Uuid;

use super::common::{
    NOON, about, attacker, bytes, check, fed, folder, gauges, house, leave, path, program, run, say, sql,
};

/// Judges these answers, which must be readable.
fn judged(profile: &str, answers: &str) -> Value {
    serde_json::from_str(&run(&["judge", "--profile", profile, "-"], answers.as_bytes()).ok()).unwrap()
}

fn finding<'a>(verdict: &'a Value, step: &str) -> &'a Value {
    let found = verdict["findings"].as_array().unwrap().iter().find(|f| f["step"] == step);
    found.unwrap_or_else(|| panic!("no finding at {step} in {verdict}"))
}

#[test]
fn two_gauges_in_different_units_are_compared() {
    let at =
        |remote: &str| format!("[answers.gauge-agreement]\ncylinder = \"300 bar\"\nremote = \"{remote}\"\n");
    // 300 bar is 4,351.1 psi (NIST SP 811); 4,010 psi is 341.1 psi below and within 450 psi, 3,900 is not.
    let agree = judged("us-4500-third", &at("4010 psi"));
    assert_eq!(agree["verdict"], "incomplete");
    assert_eq!(agree["findings"].as_array().unwrap().len(), 0);
    let apart = judged("us-4500-third", &at("3900 psi"));
    assert_eq!(apart["verdict"], "out_of_service");
    assert_eq!(finding(&apart, "gauge-agreement")["consequence"], "out_of_service");
    assert!(finding(&apart, "gauge-agreement")["entered"].as_str().unwrap().contains("300 bar"));
}

#[test]
fn a_verdict_has_the_shape_that_scripts_read() {
    let answers = r#"
        [answers.gauge-agreement]
        cylinder = "300 bar"
        remote = "3900 psi"
        [answers.cylinder-pressure]
        at = "4050 psi"
        [answers.low-air-alarm]
        at = "1800 psi"
        [answers.facepiece-vacuum]
        held = "10 s"
        [answers.straps-extended]
        good = true
    "#;
    let verdict = judged("us-4500-third", answers);
    let keys = |v: &Value| v.as_object().unwrap().keys().cloned().collect::<BTreeSet<_>>();
    assert_eq!(keys(&verdict), ["findings", "missing", "verdict"].map(str::to_owned).into());
    for f in verdict["findings"].as_array().unwrap() {
        for field in ["step", "consequence", "entered", "limit", "working", "basis"] {
            assert!(f[field].as_str().is_some_and(|t| !t.is_empty()), "{field} of {f}");
        }
    }
    let consequence = |step| finding(&verdict, step)["consequence"].clone();
    assert_eq!(consequence("gauge-agreement"), "out_of_service");
    assert_eq!(consequence("cylinder-pressure"), "put_right", "exactly at 90 % is to be recharged");
    assert_eq!(consequence("low-air-alarm"), "remark");
    assert_eq!(verdict["verdict"], "out_of_service", "it decides although answers are missing");
    let missing: Vec<&str> =
        verdict["missing"].as_array().unwrap().iter().map(|m| m.as_str().unwrap()).collect();
    assert!(missing.contains(&"bypass") && !missing.contains(&"facepiece-vacuum"), "{missing:?}");
}

/// Every step that `rules show` shows, with an answer to it that is good for a 4,500 psi unit.
fn all_good(shown: &str) -> Vec<(String, String)> {
    let steps = shown.lines().filter_map(|l| l.strip_prefix("  ").filter(|l| !l.starts_with(' ')));
    let answer = |line: &str| {
        let (id, rest) = line.split_once(" [").unwrap();
        let kind = rest.split_once(',').unwrap().0;
        let values = match kind {
            "identity" | "confirm" | "stages" | "drop" => "good = true",
            "reading" => "at = \"4400 psi\"",
            "pair" => "cylinder = \"4400 psi\"\nremote = \"4300 psi\"",
            "hold" => "held = \"12 s\"",
            "trip" => "at = \"1600 psi\"",
            other => panic!("{id}: {other} has no good answer here"),
        };
        (id.to_owned(), format!("[answers.{id}]\n{values}\n"))
    };
    steps.map(answer).collect()
}

#[test]
fn all_steps_shown_are_asked_and_all_answered_well_is_in_service() {
    let shown = run(&["rules", "show", "--profile", "us-4500-third"], b"").ok();
    let answers = all_good(&shown);
    let nothing = judged("us-4500-third", "");
    assert_eq!(nothing["verdict"], "incomplete");
    let missing: Vec<&str> =
        nothing["missing"].as_array().unwrap().iter().map(|m| m.as_str().unwrap()).collect();
    assert_eq!(missing, answers.iter().map(|(id, _)| id.as_str()).collect::<Vec<_>>());
    let all: String = answers.iter().map(|(_, a)| a.as_str()).collect();
    let whole = judged("us-4500-third", &all);
    assert_eq!(whole, serde_json::json!({ "verdict": "in_service", "findings": [], "missing": [] }));
    for (left_out, _) in &answers {
        let rest: String = answers.iter().filter(|(id, _)| id != left_out).map(|(_, a)| a.as_str()).collect();
        if left_out.len() % 5 == 0 {
            let verdict = judged("us-4500-third", &rest);
            assert_eq!(
                (&verdict["verdict"], &verdict["missing"][0]),
                (&"incomplete".into(), &left_out.as_str().into())
            );
        }
    }
    let low = all.replace("at = \"4400 psi\"", "at = \"4000 psi\"");
    assert_eq!(judged("us-4500-third", &low)["verdict"], "put_right");
}

#[test]
fn input_that_is_bad_ends_with_2_and_says_where_and_why() {
    let at = |v: &str| format!("[answers.cylinder-pressure]\nat = {v}\n");
    let held = |v: &str| format!("[answers.facepiece-vacuum]\nheld = {v}\n");
    for (what, answers, words) in [
        ("negative", at("\"-5 psi\""), vec!["cylinder-pressure.at", "below zero"]),
        ("negative bar", at("\"-0.1 bar\""), vec!["cylinder-pressure.at", "below zero"]),
        ("not a number", at("\"x psi\""), vec!["cylinder-pressure.at", "is not a number"]),
        ("not a number at all", at("nan"), vec!["cylinder-pressure.at"]),
        ("infinite", at("inf"), vec!["cylinder-pressure.at"]),
        ("without a unit", at("4400"), vec!["cylinder-pressure.at", "has no unit"]),
        ("text without a unit", at("\"4400\""), vec!["cylinder-pressure.at", "has no unit"]),
        ("in words", at("\"full\""), vec!["cylinder-pressure.at", "is not a number"]),
        ("nothing", at("\"\""), vec!["cylinder-pressure.at", "nothing was entered"]),
        (
            "a unit not used here",
            at("\"4400 furlong\""),
            vec!["cylinder-pressure.at", "is not a unit used here"],
        ),
        ("seconds for a pressure", at("\"10 s\""), vec!["cylinder-pressure.at", "is not a unit used here"]),
        ("half as much again", at("\"6751 psi\""), vec!["cylinder-pressure.at", "look again"]),
        ("absurd", at("\"99999999999999999999 psi\""), vec!["cylinder-pressure.at", "look again"]),
        (
            "good without the reading",
            "[answers.cylinder-pressure]\ngood = true\n".to_owned(),
            vec!["wants the reading itself"],
        ),
        ("a pressure for seconds", held("\"10 psi\""), vec!["facepiece-vacuum.held"]),
        ("an hour", held("\"3600 s\""), vec!["facepiece-vacuum.held", "ten minutes"]),
        ("negative seconds", held("\"-1 s\""), vec!["facepiece-vacuum.held", "below zero"]),
        (
            "one gauge of two",
            "[answers.gauge-agreement]\ncylinder = \"4400 psi\"\n".to_owned(),
            vec!["gauge-agreement.remote", "two gauges"],
        ),
        (
            "neither yes nor no",
            "[answers.bypass]\ngood = \"maybe\"\n".to_owned(),
            vec!["bypass.good", "neither yes nor no"],
        ),
        (
            "a field that means nothing",
            "[answers.bypass]\nbetter = true\n".to_owned(),
            vec!["bypass.better", "means nothing here"],
        ),
        (
            "a step that is not there",
            "[answers.windscreen]\ngood = true\n".to_owned(),
            vec!["windscreen", "no such step"],
        ),
        ("a table that is not there", "[questions.bypass]\ngood = true\n".to_owned(), vec!["questions"]),
        (
            "broken TOML",
            "[answers.bypass\ngood = true\n".to_owned(),
            vec!["the answers cannot be read", "line 1"],
        ),
        ("a list", "answers = [1]\n".to_owned(), vec!["the answers cannot be read"]),
    ] {
        let ran = run(&["judge", "--profile", "us-4500-third", "-"], answers.as_bytes());
        for w in words {
            ran.failed(2, w);
        }
        assert!(ran.out.is_empty(), "{what}: {ran:?}");
    }
    let two = format!("{}{}", at("\"full\""), held("\"long\""));
    let ran = run(&["judge", "--profile", "us-4500-third", "-"], two.as_bytes());
    ran.failed(2, "cylinder-pressure.at");
    ran.failed(2, "facepiece-vacuum.held");
    run(&["judge", "--profile", "us-4500-third", "-"], b"\xff\xfe").failed(2, "cannot be read");
    run(&["judge", "--profile", "none", "-"], b"").failed(2, "none");
    run(&["judge", "--profile", "us-4500-third", "--purpose", "fun", "-"], b"")
        .failed(2, "“fun” is not a purpose");
    run(&["judge", "--profile", "us-4500-third", "/nowhere/at/all"], b"").failed(2, "cannot be read");
    run(&["judge", "--profile", "us-4500-third", "--rules", "/nowhere", "-"], b"")
        .failed(2, "/nowhere cannot be read");
    run(&["judge", "-"], b"").failed(2, "--profile");
    run(&["judge", "--profil", "x", "-"], b"").failed(2, "--profil");
    run(&["sing"], b"").failed(2, "sing");
}

#[test]
fn a_rule_table_is_read_from_a_file_and_its_problems_told_with_their_lines() {
    let dir = folder();
    let table = dir.path().join("table.toml");
    let broken = super::common::SMALL.replacen("\"90 % of rated\"", "\"90 furlong\"", 1);
    std::fs::write(&table, &broken).unwrap();
    let at = 1 + broken.lines().position(|l| l.contains("furlong")).unwrap();
    let file = table.to_str().unwrap();
    run(&["rules", "check", file], b"").failed(2, &format!("line {at}: "));
    run(&["rules", "show", "--rules", file], b"").failed(2, &format!("line {at}: "));
    let ran = run(&["judge", "--profile", "a", "--rules", file, "-"], b"");
    ran.failed(2, &format!("the rule table has problems:\nline {at}: "));
    run(&["rules", "check", "/nowhere"], b"").failed(2, "/nowhere cannot be read");

    std::fs::write(&table, super::common::SMALL).unwrap();
    let digest = Digest::of(super::common::SMALL.as_bytes()).to_string();
    let checked = run(&["rules", "check", file], b"").ok();
    assert!(checked.contains(&digest) && checked.contains("5 steps, 2 profiles"), "{checked}");
    let shipped = run(&["rules", "check", "-"], DEFAULT.as_bytes()).ok();
    assert!(shipped.contains(&Digest::of(DEFAULT.as_bytes()).to_string()), "{shipped}");

    let profiles = run(&["rules", "show"], b"").ok();
    for p in
        ["us-2216-quarter", "us-4500-quarter", "us-4500-third", "us-5500-third", "en-200-bar", "en-300-bar"]
    {
        assert!(profiles.contains(p), "{profiles}");
    }
    let shown = run(&["rules", "show", "--rules", file, "--profile", "b"], b"").ok();
    assert!(
        shown.contains("more than 4,950 psi (90 % of 5,500)") && !shown.contains("Bench test"),
        "{shown}"
    );
    let proving =
        run(&["rules", "show", "--rules", file, "--profile", "b", "--purpose", "proving"], b"").ok();
    assert!(proving.contains("bench [confirm"), "{proving}");
    run(&["rules", "show", "--profile", "none"], b"").failed(2, "none");
    run(&["rules", "show", "--profile", "en-300-bar", "--purpose", "fun"], b"").failed(2, "“fun”");
}

#[test]
fn a_reader_that_has_seen_enough_ends_the_program_quietly() {
    let mut child = program().args(["rules", "show", "--profile", "us-4500-third"]).spawn().unwrap();
    drop(child.stdout.take());
    let out = child.wait_with_output().unwrap();
    assert_eq!(String::from_utf8(out.stderr).unwrap(), "");
}

/// A folder with the department of these tests, closed.
async fn department() -> TempDir {
    let h = house().await;
    h.store.close().await;
    h.dir
}

fn line(made: Vec<u8>) -> String {
    String::from_utf8(made).unwrap() + "\n"
}

#[tokio::test]
async fn one_bad_line_keeps_the_others_and_ends_with_2() {
    let dir = department().await;
    let id = |n: u128| Uuid::from_u128(n);
    let good = bytes("check", id(7), NOON, Some("ana"), &check("1", id(7)));
    let bad =
        bytes("check", id(8), NOON, Some("ana"), &say(check("2", id(8)), gauges("4400 psi", "3900 psi")));
    let refused = bytes("retired", id(9), NOON, Some("ana"), &about(Asset::unit("3")));
    let strange = bytes("blessed", id(10), NOON, None, &serde_json::json!({ "unit": "4" }));
    let mut input = line(good.clone()).into_bytes();
    input.extend(b"not a record\n\n\xff\xfe\n");
    input.extend(line(refused).into_bytes());
    input.extend(line(bad.clone()).into_bytes());
    input.extend(line(strange.clone()).into_bytes());
    input.extend(good.clone()); // again, and without an end of line
    let ran = run(&["submit", "--data", path(&dir), "-"], &input);
    for words in
        ["line 2: this is not a record", "line 4: this is not a record", "line 5: ", "3 of them not taken in"]
    {
        ran.failed(2, words);
    }
    let receipts: Vec<Value> = ran.out.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    let status: Vec<&str> = receipts.iter().map(|r| r["status"].as_str().unwrap()).collect();
    assert_eq!(status, ["stored", "stored", "needs_attention", "already_stored"]);
    for (receipt, bytes) in receipts.iter().zip([&good, &bad, &strange, &good]) {
        assert_eq!(receipt["digest"], Digest::of(bytes).to_string());
    }
    assert_eq!(receipts[3]["seq"], receipts[0]["seq"]);
    assert_eq!(receipts[2]["attention"], "“blessed” is not a kind known to this program");

    let file = dir.path().join("records");
    std::fs::write(&file, line(good)).unwrap();
    let again = run(&["submit", "--data", path(&dir), file.to_str().unwrap()], b"").ok();
    assert!(again.contains("already_stored"), "{again}");
    run(&["submit", "--data", path(&dir), "/nowhere"], b"").failed(2, "/nowhere cannot be read");

    let verified = run(&["verify", "--data", path(&dir)], b"").ok();
    assert!(verified.contains("every link of the chain holds"), "{verified}");
    let head = run(&["head", "--data", path(&dir)], b"").ok();
    let [seq, hash, epoch] = head.split_whitespace().collect::<Vec<_>>()[..] else { panic!("{head}") };
    assert!(verified.starts_with(&format!("{seq} records, ")), "{verified}");
    assert!(verified.contains(&format!("head {hash}")), "{verified}");
    assert_eq!(epoch, Uuid::from_u128(1).to_string());
}

#[tokio::test]
async fn a_standing_is_printed_with_its_grounds_in_words_and_as_json() {
    let dir = department().await;
    let id = Uuid::from_u128(8);
    let bad = bytes("check", id, NOON, Some("ana"), &say(check("2", id), gauges("4400 psi", "3900 psi")));
    let strange = line(bytes("blessed", Uuid::from_u128(9), NOON, None, &serde_json::json!({ "unit": "3" })));
    let later = line(bad.clone()).replace("\"v\":1", "\"v\":2").replace("00000008", "0000000a");
    let later = later.replace("\"unit\":\"2\"", "\"unit\":\"4\"");
    run(&["submit", "--data", path(&dir), "-"], (line(bad) + &strange + &later).as_bytes()).ok();
    let standing = |args: &[&str]| run(&[&["standing", "--data", path(&dir)], args].concat(), b"");
    let text = standing(&["2"]).ok();
    for words in [
        "unit:2: Out of service",
        "Gauges agree",
        "entered cylinder 4400 psi, remote 3900 psi; right is 450 psi",
        "basis: invented",
        "raised 2026-06-09 12:00 by ana",
        "cleared only by a return",
        "finding/",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(standing(&["3"]).ok().contains("“blessed” is not a kind known to this program"));
    assert!(standing(&["4"]).ok().contains("version 2 of “check” is not known to this program"));
    let one: Value = serde_json::from_str(&standing(&["2", "--json"]).ok()).unwrap();
    assert_eq!((&one["asset"], &one["state"]), (&"unit:2".into(), &"out_of_service".into()));
    let ground = &one["grounds"][0];
    for field in ["key", "kind", "say", "entered", "limit", "basis", "cleared_by", "who", "by", "at"] {
        assert!(!ground[field].is_null(), "{field}: {ground}");
    }
    let all: Value = serde_json::from_str(&standing(&["--json"]).ok()).unwrap();
    let assets: Vec<&str> = all.as_array().unwrap().iter().map(|s| s["asset"].as_str().unwrap()).collect();
    assert_eq!(assets, ["cylinder:C1", "facepiece:F1", "unit:1", "unit:2", "unit:3", "unit:4"]);
    let unknown: Value = serde_json::from_str(&standing(&["77", "--json"]).ok()).unwrap();
    assert_eq!(unknown["state"], "out_of_service", "unknown is not in service");
    assert!(standing(&["77"]).ok().contains("no unit of this number is in the register"));
    standing(&["a b"]).failed(2, "unit:a b");
    standing(&["boat:7"]).failed(2, "boat:7");
}

#[test]
fn asking_a_folder_without_a_database_is_a_mistake_and_makes_none() {
    let dir = folder();
    for command in ["standing", "verify", "head"] {
        run(&[command, "--data", path(&dir)], b"").failed(2, "there is no database in");
    }
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
    run(&["verify"], b"").failed(2, "--data");
}

#[tokio::test]
async fn a_database_of_a_newer_program_is_not_touched() {
    let dir = department().await;
    let mut db = attacker(dir.path()).await;
    sql(
        &mut db,
        "insert into _sqlx_migrations (version, description, success, checksum, execution_time)
         values (9001, 'of the future', true, x'00', 1)",
    )
    .await;
    leave(db).await;
    let before = std::fs::read(dir.path().join(airmuster::store::FILE)).unwrap();
    for command in
        [&["verify"][..], &["standing"], &["head"], &["submit", "-"], &["serve", "--listen", "127.0.0.1:0"]]
    {
        let ran = run(&[&command[..1], &["--data", path(&dir)], &command[1..]].concat(), b"");
        ran.failed(1, "made by a newer version of the program (migration 9001); start that version");
    }
    assert!(before == std::fs::read(dir.path().join(airmuster::store::FILE)).unwrap());
    let mut db = attacker(dir.path()).await;
    sql(&mut db, "delete from _sqlx_migrations where version = 9001").await;
    sql(&mut db, "update _sqlx_migrations set checksum = x'00' where version = 1").await;
    drop(db);
    run(&["verify", "--data", path(&dir)], b"").failed(1, "a different build of the program (migration 1)");
}

/// Where a server says it is, started like this; it is ended again.
fn served_at(dir: &TempDir, args: &[&str], env: &[(&str, &str)]) -> String {
    let mut child = program()
        .args(["serve", "--data", path(dir)])
        .args(args)
        .envs(env.iter().copied())
        .stdin(Stdio::null())
        .spawn()
        .unwrap();
    let stdout = BufReader::new(child.stdout.take().unwrap());
    let (heard, first) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        for line in stdout.lines().map_while(Result::ok) {
            if heard.send(line).is_err() {
                return;
            }
        }
    });
    let mut said = String::new();
    while let Ok(line) = first.recv_timeout(Duration::from_secs(20)) {
        said.push_str(&line);
        if line.contains("127.0.0.") {
            break;
        }
    }
    child.kill().unwrap();
    let out = child.wait_with_output().unwrap();
    assert!(said.contains("127.0.0."), "{said} {}", String::from_utf8_lossy(&out.stderr));
    said
}

#[test]
fn a_flag_wins_over_the_environment_that_over_the_file_and_that_over_the_default() {
    let dir = folder();
    // Each from an address of its own on the loopback network, so that it is seen whose was taken.
    let file = "listen = \"127.0.0.2:0\"\n";
    let elsewhere = dir.path().join("other.toml");
    std::fs::write(&elsewhere, "listen = \"127.0.0.5:0\"\n").unwrap();
    std::fs::write(dir.path().join("airmuster.toml"), file).unwrap();
    let env = [("AIRMUSTER_LISTEN", "127.0.0.3:0")];
    let flag = ["--listen", "127.0.0.4:0"];
    assert!(served_at(&dir, &[], &[]).contains("127.0.0.2:"), "the file");
    assert!(served_at(&dir, &[], &env).contains("127.0.0.3:"), "the environment over the file");
    assert!(served_at(&dir, &flag, &env).contains("127.0.0.4:"), "the flag over both");
    let other = ["--config", elsewhere.to_str().unwrap()];
    assert!(served_at(&dir, &other, &[]).contains("127.0.0.5:"), "the file that is named");

    let serve = |args: &[&str], env: &[(&str, &str)]| {
        let mut command = program();
        command.args(["serve", "--data", path(&dir)]).args(args).envs(env.iter().copied());
        fed(&mut command, b"")
    };
    serve(&["--listen", "here"], &[]).failed(2, "here");
    serve(&[], &[("AIRMUSTER_LISTEN", "there")]).failed(2, "there");
    serve(&["--config", "/nowhere.toml"], &[]).failed(2, "/nowhere.toml cannot be read");
    serve(&["--log", "==="], &[]).failed(2, "is not a log filter");
    std::fs::write(dir.path().join("airmuster.toml"), "listen = \"127.0.0.2:0\"\nliston = 1\n").unwrap();
    serve(&[], &[]).failed(2, "liston");
}

#[test]
fn the_folder_can_be_named_in_the_environment() {
    let dir = folder();
    let mut command = program();
    let note = line(bytes("note", Uuid::from_u128(3), NOON, None, &about(Asset::unit("1"))));
    fed(command.args(["submit", "-"]).env("AIRMUSTER_DATA", path(&dir)), note.as_bytes()).ok();
    assert!(run(&["head", "--data", path(&dir)], b"").ok().starts_with("1 "));
}
