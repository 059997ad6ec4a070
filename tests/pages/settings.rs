//! The department's settings: what holds, since when and by whom, and changing it.

use airmuster::service::verify::{Depth, verify};
use airmuster_domain::judge::Raw;
use airmuster_domain::record::{Asked, Register};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{DAY, MINUTE, district};

const DEPARTMENT: [(&str, &str); 6] = [
    ("name", "Small Valley District"),
    ("zone", "America/Denver"),
    ("shift_start", "08:00"),
    ("shift_hours", "12"),
    ("early_minutes", "60"),
    ("grace_minutes", "45"),
];

#[tokio::test]
async fn settings_say_what_holds_since_when_and_by_whom_and_a_change_is_a_record() {
    let d = district().await;
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    let mut admin = d.signed_in("ada").await;
    let page = admin.get("/settings").await.ok().text();
    assert!(page.contains("Small Valley District since 07:04, at the machine itself"), "{page}");
    assert!(page.contains("Nobody rotates as it is shipped"), "{page}");
    d.pass(MINUTE);
    let before = d.records().await;
    let done = admin.post("/settings/department", &DEPARTMENT).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/settings?done=yes"));
    let page = admin.get(&done.to).await.ok().text();
    // What stayed says who set it before, what changed who did now.
    assert!(page.contains("Small Valley District since") && page.contains("at the machine itself"), "{page}");
    assert!(page.contains("America/Denver since 00:05, Ada Lindqvist"), "{page}");
    assert!(page.contains("12 since 00:05, Ada Lindqvist"), "{page}");
    assert_eq!(d.records().await, before + 1);
    // The same once more is no record.
    assert_eq!(admin.post("/settings/department", &DEPARTMENT).await.to, "/settings?done=same");
    assert_eq!(d.records().await, before + 1);
    // It is midnight there: the check at 07:04 UTC counts for the shift from 20:00 before, until 08:45.
    let unit = admin.get("/units/117").await.ok().text();
    assert!(unit.contains("due by 08:45"), "{unit}");
    let record = admin.get(&format!("/records/{}", before + 1)).await.ok().text();
    assert!(record.contains("a shift of 12 hours from 08:00"), "{record}");
    // An officer reads it and changes nothing.
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/settings").await.ok();
    assert!(
        page.text().contains("America/Denver")
            && !page.html.contains("<form method=\"post\" action=\"/settings/d")
    );
}

#[tokio::test]
async fn what_cannot_be_is_told_at_its_field_and_changes_nothing() {
    let d = district().await;
    let before = d.records().await;
    let mut admin = d.signed_in("ada").await;
    for (field, value, say) in [
        ("name", " ", "Give the name"),
        ("zone", "Denver", "is not a time zone"),
        ("shift_start", "8", "is not a time of day"),
        ("shift_hours", "7", "does not divide a day"),
        ("shift_hours", "long", "Write a whole number"),
        ("grace_minutes", "700", "must be shorter than a shift"),
    ] {
        let fields = DEPARTMENT.map(|(f, v)| (f, if f == field { value } else { v }));
        let again = admin.post("/settings/department", &fields).await;
        assert_eq!(again.status, 422, "{field} {value}");
        assert!(again.said_at(field).contains(say), "{field}: {}", again.text());
        assert_eq!(again.value("zone"), fields[1].1, "what was entered stays");
    }
    let again = admin.post("/settings/platoons", &[("turns", "A, B"), ("on_duty", "C")]).await;
    assert!(again.said_at("on_duty").contains("Name the one"), "{}", again.text());
    let again = admin.post("/settings/identification", &[("asked", "shown"), ("hours", "0")]).await;
    assert!(again.said_at("hours").contains("1 to 168"), "{}", again.text());
    let again = admin.post("/settings/drives", &[("from", "mill"), ("to", "mill"), ("minutes", "5")]).await;
    assert!(again.said_at("to").contains("another station"), "{}", again.text());
    assert_eq!(d.records().await, before);
}

#[tokio::test]
async fn platoons_take_turns_from_the_one_that_is_on_duty_now() {
    let d = district().await;
    let mut admin = d.signed_in("ada").await;
    let turns = [("turns", "A, B , C"), ("on_duty", "b")];
    assert_eq!(admin.post("/settings/platoons", &turns).await.to, "/settings?done=yes");
    let mut officer = d.signed_in("olga").await;
    assert!(officer.get("/rigs").await.ok().text().contains("B platoon is on duty"));
    assert_eq!(admin.post("/settings/platoons", &turns).await.to, "/settings?done=same");
    d.pass(DAY);
    let mut officer = d.signed_in("olga").await;
    assert!(officer.get("/rigs").await.ok().text().contains("C platoon is on duty"));
    // A platoon of two turns in a row: which of them runs is said by its place in the list.
    let mut admin = d.signed_in("ada").await;
    let pairs =
        |on_duty: &'static str| [("turns", "A, A, B, B, C, C"), ("on_duty", on_duty), ("apart", "engine-2")];
    let which = admin.post("/settings/platoons", &pairs("B")).await;
    assert!(which.said_at("on_duty").contains("It has several turns"), "{}", which.text());
    assert_eq!(admin.post("/settings/platoons", &pairs("4")).await.to, "/settings?done=yes");
    assert_eq!(admin.post("/settings/platoons", &pairs("4")).await.to, "/settings?done=same");
    let page = admin.get("/settings").await.ok();
    assert!(page.text().contains("B, turn 4 of 6") && page.value("on_duty") == "4", "{}", page.text());
    assert!(page.text().contains("Take no turns\nEngine 2"), "{}", page.text());
    assert_eq!(admin.post("/settings/platoons", &pairs("7")).await.status, 422);
    d.pass(DAY);
    let mut officer = d.signed_in("olga").await;
    assert!(
        officer.get("/rigs").await.ok().text().contains("C platoon is on duty"),
        "the second turn was the last"
    );
    // Drives between stations are entered here, too.
    d.register(Register::Station { id: "tarn".to_owned(), name: "Tarn".to_owned(), order: 2 }).await;
    let mut admin = d.signed_in("ada").await;
    let drive = [("from", "tarn"), ("to", "mill"), ("minutes", "18")];
    assert_eq!(admin.post("/settings/drives", &drive).await.to, "/settings?done=yes");
    let page = admin.get("/settings").await.ok().text();
    assert!(
        page.contains("Millrace to Tarn") && page.contains("18 min since 07:04, Ada Lindqvist"),
        "{page}"
    );
    assert_eq!(admin.post("/settings/drives", &drive).await.to, "/settings?done=same");
}

#[tokio::test]
async fn wearer_identification_is_shown_for_the_member_on_the_seat_and_blocks_where_it_is_needed() {
    let d = district().await;
    d.checked().await;
    d.check("117", "olga", Purpose::ShiftStart, &[]).await;
    let not = [("good", Raw::Flag(false))];
    d.pass(MINUTE);
    d.check("130", "ben", Purpose::ShiftStart, &[("wearer-identified", &not)]).await;
    let mut officer = d.signed_in("olga").await;
    for (member, size) in [("olga", "medium"), ("ana", "medium"), ("ben", "medium")] {
        let test = [
            ("tested", "2026-03-01"),
            ("make", "Invented"),
            ("model", "One"),
            ("style", "full"),
            ("size", size),
        ];
        assert_eq!(officer.post(&format!("/fitness/{member}/fit"), &test).await.status, 303);
        let word = [("since", "2026-01-15"), ("cleared", "yes")];
        assert_eq!(officer.post(&format!("/fitness/{member}/clearance"), &word).await.status, 303);
    }
    let crew = [("officer", "olga"), ("driver", "ben"), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &crew).await.status, 303);
    let roster = officer.get("/rigs/engine-2").await.ok().text();
    assert!(!roster.contains("alarm"), "not asked: {roster}");

    let mut admin = d.signed_in("ada").await;
    let shown = [("asked", "shown"), ("hours", "10")];
    assert_eq!(admin.post("/settings/identification", &shown).await.to, "/settings?done=yes");
    assert_eq!(d.store.identification().await.unwrap().asked, Asked::Shown);
    let roster = officer.get("/rigs/engine-2").await.ok().text();
    assert!(roster.contains("Olga Fenn is known to the alarm since 07:04, until 17:04."), "{roster}");
    assert!(roster.contains("The alarm knows Ana Wick since 07:04, not Ben Orr"), "{roster}");
    assert!(roster.contains("2 of 3 seats ready"), "it blocks nothing: {roster}");

    let needed = [("asked", "needed"), ("hours", "10")];
    assert_eq!(admin.post("/settings/identification", &needed).await.to, "/settings?done=yes");
    let roster = officer.get("/rigs/engine-2").await.ok().text();
    assert!(roster.contains("1 of 3 seats ready"), "{roster}");
    // By a check in which the driver identified himself.
    d.pass(MINUTE);
    d.check("121", "ben", Purpose::ShiftStart, &[]).await;
    let roster = officer.get("/rigs/engine-2").await.ok().text();
    assert!(roster.contains("2 of 3 seats ready"), "{roster}");
    // After ten hours the alarm has forgotten; what the unit itself is worth stays as it was.
    d.pass(10 * 60 * MINUTE);
    let mut officer = d.signed_in("olga").await;
    let roster = officer.get("/rigs/engine-2").await.ok().text();
    assert!(roster.contains("Olga Fenn was known to the alarm until 17:04: identify again."), "{roster}");
    assert_eq!(d.state("117").await, State::InService);
    let report = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}
