//! Moving a unit from its page.

use airmuster_domain::record::{Asset, Place, Register};

use super::district::{PIN, district};

#[tokio::test]
async fn a_unit_is_moved_where_there_is_room() {
    let d = district().await;
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/units/130").await.ok();
    assert!(!page.html.contains("value=\"seat/"), "no seat is empty");
    assert!(!page.html.contains("Engine 2, seat 3</option>"), "it is there already");
    let moved = officer.post("/units/130/move", &[("to", "bench")]).await;
    assert_eq!((moved.status, moved.to.as_str()), (303, "/units/130"));
    let page = officer.get("/units/130").await.ok();
    assert!(page.part("What happened", "–").contains("Moved\nOn the bench. Olga Fenn"), "{}", page.text());
    // Its seat is empty now: the spare goes there.
    let spare = officer.get("/units/142").await.ok();
    assert!(
        spare.html.contains(r#"<option value="seat/seat-3">Engine 2, seat 3</option>"#),
        "{}",
        spare.html
    );
    assert!(!spare.html.contains("spare/mill"), "it is a spare there already");
    assert_eq!(officer.post("/units/142/move", &[("to", "seat/seat-3")]).await.status, 303);
    assert!(officer.get("/units/142").await.ok().text().contains("Engine 2, seat 3"));
    for (to, words) in [("repairer", "at an outside repairer"), ("spare/mill", "spare at Millrace")] {
        assert_eq!(officer.post("/units/130/move", &[("to", to)]).await.status, 303);
        assert!(d.tablet().await.get("/units/130").await.ok().text().contains(words));
    }
}

#[tokio::test]
async fn a_seat_that_is_not_empty_any_more_takes_no_second_unit() {
    let d = district().await;
    let mut officer = d.signed_in("olga").await;
    officer.post("/units/130/move", &[("to", "bench")]).await;
    assert!(officer.get("/units/142").await.ok().html.contains("seat/seat-3"));
    let place = Place::Seat { seat: "seat-3".to_owned() };
    d.register(Register::Holder { asset: Asset::unit("130"), place }).await;
    let before = d.records().await;
    let late = officer.post("/units/142/move", &[("to", "seat/seat-3")]).await;
    assert_eq!((late.status, d.records().await), (409, before));
    assert!(
        late.text().contains("Engine 2, seat 3 is not empty any more. Nothing was moved."),
        "{}",
        late.text()
    );
    let there = officer.post("/units/142/move", &[("to", "spare/mill")]).await;
    assert_eq!((there.status, d.records().await), (409, before));
}

#[tokio::test]
async fn a_place_that_is_not_named_or_not_known_is_asked_for_again() {
    let d = district().await;
    let mut t = d.signed_in("tom").await;
    let before = d.records().await;
    for to in ["", "seat/engine-9", "spare/nowhere", "with/117", "bench/x"] {
        let page = t.post("/units/130/move", &[("to", to)]).await;
        assert_eq!((page.status, page.said_at("to").as_str()), (422, "Choose where it goes."), "{to}");
    }
    assert_eq!(t.post("/units/999/move", &[("to", "bench")]).await.status, 404);
    assert_eq!(d.records().await, before);
}

#[tokio::test]
async fn a_held_or_retired_unit_stays_where_it_is() {
    let d = district().await;
    d.say("hold", "130", "olga", "Injury at the mill fire").await;
    let mut t = d.signed_in("tom").await;
    t.post("/units/142/retire", &[("why", "Worn"), ("member", "tom"), ("pin", PIN)]).await;
    let before = d.records().await;
    for (unit, words) in [("130", "held for an inquiry"), ("142", "Unit 142 is retired.")] {
        assert!(!t.get(&format!("/units/{unit}")).await.ok().html.contains("/move\""));
        let page = t.post(&format!("/units/{unit}/move"), &[("to", "bench")]).await;
        assert_eq!(page.status, 409);
        assert!(page.text().contains(words), "{}", page.text());
    }
    assert_eq!(d.records().await, before);
}

#[tokio::test]
async fn the_form_is_there_for_those_only_whom_it_lets_move() {
    let d = district().await;
    for (member, may) in [("tom", true), ("olga", true), ("ada", true), ("ana", false)] {
        let page = d.signed_in(member).await.get("/units/130").await.ok();
        assert_eq!(page.html.contains("/units/130/move"), may, "{member}");
    }
    assert!(!d.tablet().await.get("/units/130").await.ok().html.contains("/units/130/move"));
}
