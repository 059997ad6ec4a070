//! The record of a period, the inspector's pack, and the questions that checks raise.

use std::collections::BTreeMap;
use std::io::{Cursor, Read as _};

use airmuster_domain::record::{Asset, Place, Register, Slot};
use airmuster_domain::rules::Purpose;
use zip::ZipArchive;

use super::district::{DAY, MINUTE, district};

fn unpacked(bytes: &[u8]) -> BTreeMap<String, String> {
    let mut zip = ZipArchive::new(Cursor::new(bytes.to_vec())).unwrap();
    (0..zip.len())
        .map(|n| {
            let mut file = zip.by_index(n).unwrap();
            let mut text = String::new();
            file.read_to_string(&mut text).unwrap();
            (file.name().unwrap().into_owned(), text)
        })
        .collect()
}

#[tokio::test]
async fn a_period_says_what_was_in_time_late_and_missed_and_how_long_a_failure_took() {
    let d = district().await;
    d.checked().await;
    d.pass(DAY + 90 * MINUTE);
    // Three checks at 08:34, four minutes after they were due; one seat is not checked at all.
    for unit in ["117", "121", "142"] {
        d.check(unit, "ben", Purpose::ShiftStart, &[]).await;
    }
    d.gauges_apart("117").await;
    d.pass(DAY);
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/past?from=2026-11-26&to=2026-11-27").await.ok();
    let text = page.text();
    let lead = "8 checks done. Of 8 owed, 4 were made in time, 3 late, 1 missed.";
    assert!(text.contains(lead), "{text}");
    assert!(text.contains("Nothing was returned in this time. 1 not returned yet."), "{text}");
    assert!(page.html.contains("<svg class=\"trend\"") && text.contains("Seats open, by the hour"), "{text}");
    // One unit, and one member.
    let unit = officer.get("/past?unit=130&from=2026-11-26&to=2026-11-27").await.ok().text();
    assert!(unit.contains("Of 2 owed, 1 were made in time, 0 late, 1 missed."), "{unit}");
    let ben = officer.get("/past?member=ben&from=2026-11-26&to=2026-11-27").await.ok().text();
    assert!(ben.contains("3 checks done. Of 3 owed, 0 were made in time, 3 late, 0 missed."), "{ben}");
    // What cannot be read is the usual period, and no period is longer than a year.
    assert!(officer.get("/past?from=soon&to=later&unit=%3Cb%3E").await.ok().text().contains("0 checks done"));
    assert!(officer.get("/past?from=1900-01-01").await.ok().html.contains("value=\"2025-11-28\""));
}

#[tokio::test]
async fn the_inspectors_pack_has_the_five_fields_of_each_inspection_and_nothing_medical() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    let mut officer = d.signed_in("olga").await;
    let test = [
        ("tested", "2026-03-01"),
        ("make", "Invented"),
        ("model", "One"),
        ("style", "full"),
        ("size", "medium"),
    ];
    assert_eq!(officer.post("/fitness/ana/fit", &test).await.status, 303);
    let word = [("since", "2026-01-15"), ("cleared", "no")];
    assert_eq!(officer.post("/fitness/ana/clearance", &word).await.status, 303);
    let files = unpacked(&officer.get_bytes("/past/pack?from=2026-11-26&to=2026-11-26").await);
    let names: Vec<&str> = files.keys().map(String::as_str).collect();
    let expected = [
        "air.csv",
        "cylinders.csv",
        "fit-tests.csv",
        "inspections.csv",
        "read-me.txt",
        "technicians.csv",
        "tests.csv",
    ];
    assert_eq!(names, expected);
    let inspections = &files["inspections.csv"];
    let good = inspections.lines().find(|l| l.contains(",117,")).unwrap();
    assert!(
        good.starts_with("2026-11-26,07:04,Ana Wick,117,regulator RG-117,shift start,none,none,"),
        "{good}"
    );
    let bad = inspections.lines().find(|l| l.contains("490 psi")).unwrap();
    assert!(bad.contains(",130,regulator RG-130,") && bad.contains("open; cleared by a return"), "{bad}");
    assert!(files["fit-tests.csv"].contains("Ana Wick,2026-03-01,2027-03-01,Invented,One,full,medium"));
    assert!(files["cylinders.csv"].contains("C-117"));
    let head = d.store.head().await.unwrap();
    assert!(files["read-me.txt"].contains(&head.hash.to_string()));
    for (name, text) in &files {
        assert!(!text.contains("2026-01-15"), "{name} says when somebody was cleared");
    }
}

#[tokio::test]
async fn a_rigs_record_and_the_pack_keep_what_has_left_it_and_what_is_retired_since() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    // 117 leaves the rig, and is retired; 142 takes its seat, and is checked again there.
    let to_bench = Register::Holder { asset: Asset::unit("117"), place: Place::Bench };
    d.register(to_bench).await;
    let in_seat =
        Register::Holder { asset: Asset::unit("142"), place: Place::Seat { seat: "officer".to_owned() } };
    d.register(in_seat).await;
    d.pass(MINUTE);
    d.check("142", "ben", Purpose::ShiftStart, &[]).await;
    d.retire("117").await;
    d.pass(2 * DAY);
    let mut olga = d.signed_in("olga").await;
    let ask = "rig=engine-2&from=2026-11-26&to=2026-11-26";
    let text = olga.get(&format!("/past?{ask}")).await.ok().text();
    // Four checks: 142's as a spare is not the rig's. What is owed is asked at 08:30, of what is there then.
    assert!(text.contains("4 checks done. Of 3 owed, 3 were made in time, 0 late, 0 missed."), "{text}");
    let rows = inspected(&unpacked(&olga.get_bytes(&format!("/past/pack?{ask}")).await));
    assert_eq!(rows, ["07:04 117", "07:04 121", "07:04 130", "07:06 142"]);
    // Without a rig: all five, and nothing is owed of the retired one.
    let ask = "from=2026-11-26&to=2026-11-26";
    let rows = inspected(&unpacked(&olga.get_bytes(&format!("/past/pack?{ask}")).await));
    assert_eq!(rows, ["07:04 117", "07:04 121", "07:04 130", "07:04 142", "07:06 142"]);
    let after = olga.get("/past?from=2026-11-27&to=2026-11-27").await.ok().html;
    assert!(!after.contains(">117<") && after.contains(">121<"), "{after}");
}

/// Time and unit of each inspection in a pack.
fn inspected(files: &BTreeMap<String, String>) -> Vec<String> {
    let rows = files["inspections.csv"].lines().skip(1).map(|line| {
        let columns: Vec<&str> = line.split(',').collect();
        format!("{} {}", columns[1], columns[3])
    });
    rows.collect()
}

#[tokio::test]
async fn the_pack_names_the_technicians_the_serials_of_the_day_and_every_test_of_the_period() {
    let d = district().await;
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    d.pass(DAY);
    d.fit("117", Slot::Regulator, "RG-117", "RG-9").await;
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    d.flow_tested("117").await;
    let officer = d.signed_in("olga").await;
    let files = unpacked(&officer.get_bytes("/past/pack?from=2026-11-26&to=2026-11-27").await);
    let (days, technicians) = (&files["inspections.csv"], &files["technicians.csv"]);
    let of_day = |day: &str| days.lines().find(|l| l.starts_with(day)).unwrap();
    assert!(of_day("2026-11-26").contains("regulator RG-117,"), "{days}");
    assert!(of_day("2026-11-27").contains("regulator RG-9,"), "{days}");
    assert_eq!(technicians.lines().nth(1), Some("Tom Varga,us-open-circuit-third,not said"), "{technicians}");
    assert_eq!(files["tests.csv"].lines().count(), 2);
    let before = unpacked(&officer.get_bytes("/past/pack?from=2026-11-26&to=2026-11-26").await);
    assert_eq!(before["tests.csv"].lines().count(), 1, "the test was made a day later");
}

#[tokio::test]
async fn questions_are_asked_with_their_numbers_and_accuse_nobody() {
    let d = district().await;
    d.checked().await;
    let mut officer = d.signed_in("olga").await;
    // The district's checks are signed in the moment in which they were begun.
    let page = officer.get("/questions").await.ok().text();
    assert!(
        page.contains("Ana Wick: 4 of 4 checks took less time than their steps. The shortest was 0 s"),
        "{page}"
    );
    assert!(page.contains("Was the form filled in after the work was done?"), "{page}");
    // "See these checks" leads to each of them.
    let asked = officer.get("/questions").await.ok().html;
    assert!(asked.contains("href=\"/past?member=ana&#38;from=2026-10-29#checks\""), "{asked}");
    let each = officer.get("/past?member=ana&from=2026-10-29").await.ok();
    let line = "07:04, unit 117 Ana Wick, took 0 s; its steps take";
    let said = each.text();
    assert!(
        said.contains("Each check") && said.contains(line) && said.contains("Less than its steps"),
        "{said}"
    );
    assert!(each.html.contains("class=\"tile\" href=\"/records/"), "{}", each.html);
    let on = [("officer", "olga"), ("driver", "ben"), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &on).await.status, 303);
    let page = officer.get("/questions").await.ok().text();
    assert!(
        page.contains("Ana Wick: 4 checks in shifts in which no crew of that house names them"),
        "{page}"
    );
    // Who was on the crew and was relieved has ridden as well.
    let on = [("officer", "olga"), ("driver", "ana"), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &on).await.status, 303);
    d.pass(60 * MINUTE);
    let relief = [("officer", "olga"), ("driver", "ben"), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &relief).await.status, 303);
    let page = officer.get("/questions").await.ok().text();
    assert!(!page.contains("in which no crew of that house"), "{page}");
}
