//! A department whose gauges read in bar is never shown psi, and one whose gauges read in psi no bar.

use airmuster::web::{Who, routes};
use airmuster_domain::judge::Raw;
use airmuster_domain::record::{Condition, Register};
use airmuster_domain::role::Role;
use airmuster_domain::rules::{self, Purpose};
use axum::http::Method;

use super::district::{BAR, DAY, District, district, district_with};
use super::rights::path;

/// A month of checks, and of everything that is read in numbers: gauges apart, an alarm too low, a
/// cylinder that is not full, a fill, a thing sealed for an inquiry.
async fn lived_in(d: &District, apart: [&str; 2], low: &str, trip: &str, filled: &str) {
    let text = |t: &str| Raw::Text(t.into());
    for _ in 0..31 {
        d.pass(DAY);
        d.checked().await;
    }
    d.pass(DAY);
    let gauges = [("cylinder", text(apart[0])), ("remote", text(apart[1]))];
    d.check("117", "ana", Purpose::ShiftStart, &[("gauge-agreement", &gauges)]).await;
    d.check("121", "ana", Purpose::ShiftStart, &[("cylinder-pressure", &[("at", text(low))])]).await;
    d.check("130", "ana", Purpose::ShiftStart, &[("low-air-alarm", &[("at", text(trip))])]).await;
    d.used("142", "ana", "a drill", Condition::Clean).await;
    let (id, name, station) = ("bank".to_owned(), "Cascade".to_owned(), "mill".to_owned());
    d.register(Register::Source { id, name, station }).await;
    let marks = serde_json::from_value(serde_json::json!({
        "volume_ml": 6800, "spec": "permit-carbon", "made": "2021-03", "requalified": "2026-03", "serial": "S-1"
    }));
    d.register(Register::CylinderMarks { number: "C-142".to_owned(), marks: marks.unwrap() }).await;
    let mut technician = d.signed_in("tom").await;
    let fields = [("cylinder", "C-142"), ("source", "bank"), ("pressure", filled), ("celsius", "20")];
    let page = technician.post("/fills", &fields).await;
    assert_eq!(page.status, 303, "{}", page.text());
    let mut officer = d.signed_in("olga").await;
    let seal = [
        ("id", "00000000-0000-0000-0000-00000000beef"),
        ("why", "it stopped in use"),
        ("pressure", filled),
        ("turns", "4.5"),
        ("place", "the locker"),
        ("member", "olga"),
        ("pin", super::district::PIN),
    ];
    let page = officer.post("/assets/unit:142/seal", &seal).await;
    assert_eq!(page.status, 303, "{}", page.text());
}

/// What is shown at every address to whoever may look, without what names every kind of unit there is.
async fn everything_shown(d: &District) -> Vec<(String, String)> {
    let table = rules::parse(rules::DEFAULT).unwrap();
    let titles: Vec<String> = table.profiles.values().map(|p| p.title.clone()).collect();
    let mut paths: Vec<(String, bool)> = routes()
        .into_iter()
        .filter(|r| r.method == Method::GET)
        .map(|r| {
            let technician = matches!(r.who, Who::Roles(roles) if roles.first() == Some(&Role::Technician));
            (path(r.path).replace("/forms/anything", &format!("/forms/{}", d.profile())), technician)
        })
        .collect();
    for unit in ["117", "121", "130", "142"] {
        for page in ["", "/check", "/tag", "/out", "/used", "/parts"] {
            paths.push((format!("/units/{unit}{page}"), false));
        }
        paths.push((format!("/assets/cylinder:C-{unit}"), false));
    }
    let last = d.records().await;
    paths.extend((last - 12..=last).map(|n| (format!("/records/{n}"), false)));
    paths.extend((1..=4).map(|n| (format!("/tickets/{n}"), true)));
    for list in ["units", "cylinders", "checks", "tickets", "standings", "dues"] {
        paths.extend(["csv", "json"].map(|kind| (format!("/lists/{list}.{kind}"), true)));
    }
    let (mut officer, mut technician) = (d.signed_in("ada").await, d.signed_in("tom").await);
    let mut out = Vec::new();
    for (path, for_technician) in paths {
        // Scripts and the like are the same for everybody.
        if ["/static/", "/sw.js", "/wall/events", "/past/pack", "/api/v1/openapi"]
            .iter()
            .any(|p| path.starts_with(p))
        {
            continue;
        }
        let browser = if for_technician { &mut technician } else { &mut officer };
        let page = browser.get(&path).await;
        let mut text = page.html;
        for title in &titles {
            text = text.replace(title.as_str(), "");
        }
        out.push((path, text));
    }
    out
}

/// Lines in which a unit stands as a word by itself, but for the choice of units at a number and for what
/// says how either is written.
fn lines_with<'a>(text: &'a str, unit: &str) -> Vec<&'a str> {
    let stands = |line: &str| {
        let line = line
            .replace("<option>psi</option>", "")
            .replace("<option>bar</option>", "")
            .replace("<option selected>bar</option>", "")
            .replace("<option selected>psi</option>", "")
            .replace("psi or bar", "")
            .replace("4500 psi or 300 bar", "");
        // A bar is also something that is drawn: as a unit it stands after a number, or by itself.
        let word = |at: usize| {
            let (before, after) = (&line[..at], &line[at + unit.len()..]);
            let ends = |c: char| c.is_ascii_alphabetic();
            !before.ends_with(ends)
                && !after.starts_with(ends)
                && (unit != "bar"
                    || before.trim_end().ends_with(|c: char| c.is_ascii_digit())
                    || (before.ends_with('>') && after.starts_with('<')))
        };
        line.match_indices(unit).any(|(at, _)| word(at))
    };
    // What the script reckons with is not shown.
    let shown = text.lines().filter(|line| !line.starts_with("<script type=\"application/json\""));
    shown.filter(|line| stands(line)).collect()
}

#[tokio::test]
async fn a_department_that_reads_in_bar_is_shown_no_psi_and_the_other_way_round() {
    let bar = district_with(BAR).await;
    lived_in(&bar, ["298 bar", "260 bar"], "220 bar", "30 bar", "150 bar").await;
    let psi = district().await;
    lived_in(&psi, ["4480 psi", "3990 psi"], "3300 psi", "900 psi", "2300 psi").await;
    for (d, other, own) in [(&bar, "psi", "bar"), (&psi, "bar", "psi")] {
        let shown = everything_shown(d).await;
        let wrong: Vec<String> = shown
            .iter()
            .flat_map(|(path, text)| lines_with(text, other).into_iter().map(move |l| format!("{path}: {l}")))
            .collect();
        assert!(wrong.is_empty(), "{} lines:\n{}", wrong.len(), wrong.join("\n"));
        let with_own = shown.iter().filter(|(_, text)| !lines_with(text, own).is_empty()).count();
        assert!(with_own >= 15, "only {with_own} pages show a pressure at all");
    }
}
