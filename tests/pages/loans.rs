//! Lending one unit, borrowing one, and what comes back.

use airmuster_domain::record::{Asset, Place, Register};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{MINUTE, district};

const LENT: [(&str, &str); 3] =
    [("other", "Harrow Creek"), ("reference", "Loan sheet 4"), ("due_back", "2026-11-28")];

#[tokio::test]
async fn a_lent_unit_counts_nowhere_and_is_checked_when_it_is_back() {
    let d = district().await;
    d.checked().await;
    let mut o = d.signed_in("olga").await;
    let before = o.get("/rigs/engine-2").await.ok().text();
    assert!(o.get("/units/130").await.ok().html.contains("/units/130/lend"));
    let nothing = o.post("/units/130/lend", &[]).await;
    assert_eq!(nothing.status, 422);
    assert_eq!(nothing.said_at("other"), "Name the department.");
    assert_eq!(nothing.said_at("due_back"), "Give the day, such as 2027-03-31.");
    let past = o.post("/units/130/lend", &[LENT[0], LENT[1], ("due_back", "2020-01-01")]).await;
    assert_eq!(past.said_at("other"), "Give the day on which it is due back.");
    let lent = o.post("/units/130/lend", &LENT).await;
    assert_eq!((lent.status, lent.to.as_str()), (303, "/loans"));
    assert_eq!(d.store.place(&Asset::unit("130")).await.unwrap(), Some(Place::Away));
    let list = o.get("/loans").await.ok().text();
    assert!(list.contains("Lent to Harrow Creek") && list.contains("Due back 28 Nov 2026"), "{list}");
    let after = o.get("/rigs/engine-2").await.ok().text();
    assert!(before.contains("Unit 130") && !after.contains("Unit 130"), "{after}");
    assert!(after.contains("Nothing is in it."), "{after}");
    assert!(!o.get("/uninspected?days=7").await.ok().text().contains("Unit 130"));
    // Nothing but its return moves it.
    let page = o.get("/units/130").await.ok();
    assert!(page.text().contains("It is lent to Harrow Creek until 28 Nov 2026"), "{}", page.text());
    assert!(!page.html.contains("/units/130/move") && page.html.contains("See the loan"));
    assert!(page.text().contains("Cleared by its return and a complete good check after it."));
    assert!(!page.html.contains("/units/130/check"), "nobody here checks it now");
    let moved = o.post("/units/130/move", &[("to", "seat/seat-3")]).await;
    assert_eq!(moved.status, 409, "{}", moved.text());
    assert!(
        moved.text().contains("is lent to Harrow Creek; write down first that it is back"),
        "{}",
        moved.text()
    );
    let again = o.post("/units/130/lend", &LENT).await;
    assert!(again.said_at("other").contains("lent already"), "{}", again.text());
    // What somebody writes down meanwhile says nothing of how it comes back.
    d.pass(MINUTE);
    d.check("130", "ana", Purpose::ShiftStart, &[]).await;
    d.pass(4 * 24 * 60 * MINUTE);
    let mut o = d.signed_in("olga").await;
    assert!(o.get("/loans").await.ok().text().contains("Was due back 28 Nov 2026"));
    d.check("130", "ana", Purpose::ShiftStart, &[]).await;
    d.pass(MINUTE);
    let back = o.post("/units/130/back", &[("station", "mill"), ("note", "Used at a drill")]).await;
    assert_eq!((back.status, back.to.as_str()), (303, "/units/130"));
    assert_eq!(d.state("130").await, State::CheckDue);
    let page = o.get("/units/130").await.ok().text();
    assert!(page.contains("It was at an outside repairer or on loan: check it before it rides."), "{page}");
    assert!(page.contains("Back from a loan"), "{page}");
    // Its facepiece was away too, on whichever unit it is used next.
    let facepiece = Asset::facepiece("F-130");
    d.register(Register::Holder { asset: facepiece, place: Place::With { unit: "121".to_owned() } }).await;
    assert_eq!(d.state("121").await, State::CheckDue);
    d.pass(MINUTE);
    d.check("130", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("130").await, State::InService);
    assert!(o.get("/loans").await.ok().text().contains("Nothing of ours is with others."));
    let twice = o.post("/units/130/back", &[("station", "mill")]).await;
    assert_eq!(twice.status, 409);
    assert!(twice.text().contains("is on no loan any more"), "{}", twice.text());
}

#[tokio::test]
async fn what_must_not_ride_is_not_lent() {
    let d = district().await;
    d.checked().await;
    d.say("taken_out", "130", "ben", "Frame bent").await;
    let mut o = d.signed_in("olga").await;
    assert!(!o.get("/units/130").await.ok().html.contains("/units/130/lend"));
    let page = o.post("/units/130/lend", &LENT).await;
    assert_eq!(page.said_at("other"), "Unit 130 is out of service (Frame bent); it is not lent.");
    d.say("hold", "121", "ben", "Injury").await;
    assert!(o.post("/units/121/lend", &LENT).await.said_at("other").contains("held for an inquiry"));
}

#[tokio::test]
async fn a_borrowed_unit_rides_once_it_is_checked_and_goes_back() {
    let d = district().await;
    d.checked().await;
    let mut o = d.signed_in("olga").await;
    let profile = d.store.unit("130").await.unwrap().unwrap().profile;
    let asked = o.post("/loans", &[]).await;
    assert_eq!(asked.status, 422);
    assert_eq!(asked.said_at("theirs"), "Give the number that its owner has on it.");
    let form = |unit: &'static str| {
        [
            ("unit", unit),
            ("theirs", "HC-9"),
            ("other", "Harrow Creek"),
            ("reference", "Their sheet 12"),
            ("due_back", "2026-12-24"),
            ("station", "mill"),
        ]
    };
    let with =
        |unit: &'static str, profile: &'static str| [&form(unit)[..], &[("profile", profile)]].concat();
    let profile: &'static str = profile.leak();
    let taken = o.post("/loans", &with("130", profile)).await;
    assert_eq!(taken.said_at("unit"), "There is a unit 130 here already; give this one another number.");
    let odd = o.post("/loans", &with("L-9", "no-such")).await;
    assert_eq!(odd.said_at("unit"), "Choose its kind among those of the rule table.");
    assert_eq!(odd.value("theirs"), "HC-9", "what was entered is still there");
    let here = o.post("/loans", &with("L-9", profile)).await;
    assert_eq!((here.status, here.to.as_str()), (303, "/units/L-9"));
    let page = o.get("/units/L-9").await.ok().text();
    assert!(page.contains("It is on loan from Harrow Creek: check it before it rides."), "{page}");
    assert!(page.contains("From Harrow Creek, their number HC-9, Their sheet 12"), "{page}");
    assert_eq!(d.state("L-9").await, State::CheckDue);
    assert!(!o.get("/units/L-9").await.ok().html.contains("/units/L-9/lend"), "it is not ours to lend");
    d.pass(MINUTE);
    d.check("L-9", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("L-9").await, State::InService);
    assert!(o.get("/stations/mill").await.ok().text().contains("L-9"), "it is a spare here");
    let list = o.get("/loans").await.ok().text();
    assert!(list.contains("Here on loan") && list.contains("Their number HC-9"), "{list}");
    assert_eq!(o.post("/units/L-9/back", &[("station", "mill")]).await.status, 409, "it goes to its owner");
    assert_eq!(o.post("/units/L-9/back", &[("note", "Washed")]).await.to, "/loans");
    assert_eq!(d.store.place(&Asset::unit("L-9")).await.unwrap(), Some(Place::Away));
    assert!(!o.get("/stations/mill").await.ok().text().contains("L-9"));
    // The same unit is borrowed again under the same number.
    d.pass(MINUTE);
    assert_eq!(o.post("/loans", &with("L-9", profile)).await.status, 303);
    assert_eq!(d.state("L-9").await, State::CheckDue);
}
