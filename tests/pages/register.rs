//! Keeping the register: one form for every kind of entry, and members who leave.

use airmuster::service::verify::{Depth, verify};
use airmuster_domain::standing::State;

use super::district::{PIN, PROFILE, district};

#[tokio::test]
async fn every_table_is_listed_and_every_entry_opens_its_form() {
    let d = district().await;
    let mut ada = d.signed_in("ada").await;
    let index = ada.get("/register").await.ok().text();
    for title in ["Stations", "Rigs", "Seats", "Units", "Cylinders", "Facepieces", "Members"] {
        assert!(index.contains(title), "{index}");
    }
    for (table, id, said) in [
        ("stations", "mill", "Millrace"),
        ("rigs", "engine-2", "Engine 2"),
        ("seats", "driver", "Driver"),
        ("units", "117", "Unit 117"),
        ("cylinders", "C-117", "Cylinder C-117"),
        ("facepieces", "F-117", "Facepiece F-117"),
        ("members", "olga", "Olga Fenn"),
    ] {
        let list = ada.get(&format!("/register/{table}")).await.ok();
        assert!(list.html.contains(&format!("href=\"/register/{table}/{id}\"")), "{}", list.html);
        assert!(ada.get(&format!("/register/{table}/+")).await.ok().html.contains("Write it down"));
        let form = ada.get(&format!("/register/{table}/{id}")).await.ok();
        assert!(form.text().contains(said), "{}", form.text());
        assert!(form.text().contains("Changes"), "{}", form.text());
        assert_eq!(ada.get(&format!("/register/{table}/nobody")).await.status, 404);
    }
    assert_eq!(ada.get("/register/hats").await.status, 404);
    assert_eq!(ada.get("/register/checks/1").await.status, 404);
    let found = ada.get("/register/units?q=14").await.ok().text();
    assert!(found.contains("142") && !found.contains("117"), "{found}");
}

#[tokio::test]
async fn a_form_makes_one_record_for_one_change_and_none_for_the_same_again() {
    let d = district().await;
    let mut ada = d.signed_in("ada").await;
    let before = d.records().await;
    let rig = [("id", "ladder-1"), ("name", "Ladder 1"), ("station", "mill"), ("order", "2")];
    let page = ada.post("/register/rigs/+", &rig).await;
    assert_eq!(page.to, "/register/rigs/ladder-1?done=yes", "{}", page.text());
    assert_eq!(d.records().await, before + 1);
    assert!(ada.get(&page.to).await.ok().text().contains("Written down."));

    let same = ada.post("/register/rigs/ladder-1", &rig[1..]).await;
    assert_eq!(same.to, "/register/rigs/ladder-1?done=same");
    assert_eq!(d.records().await, before + 1);
    let page = ada
        .post("/register/rigs/ladder-1", &[("name", "Ladder 7"), ("station", "mill"), ("order", "2")])
        .await;
    assert_eq!(page.to, "/register/rigs/ladder-1?done=yes");
    let page = ada.get("/register/rigs/ladder-1").await.ok();
    let changes = page.part("Changes", "nothing");
    assert!(changes.contains("Ada Lindqvist") && changes.contains("Name: Ladder 7"), "{changes}");
    assert!(changes.contains("Ladder 1"), "what was before can be read: {changes}");

    let again = ada.post("/register/rigs/+", &rig).await;
    assert_eq!(again.status, 422);
    assert!(again.said_at("id").contains("“ladder-1” is there already"), "{}", again.html);
    let wrong =
        ada.post("/register/rigs/ladder-1", &[("name", ""), ("station", "moon"), ("order", "-1")]).await;
    assert_eq!(wrong.status, 422);
    assert_eq!(wrong.said_at("name"), "This is empty; fill it in.");
    assert!(ada.post("/register/rigs/nobody", &rig[1..]).await.status == 404);
    assert_eq!(d.records().await, before + 2);
}

#[tokio::test]
async fn a_new_unit_is_placed_at_once_accepted_first_and_keeps_its_serials() {
    let d = district().await;
    let mut ada = d.signed_in("ada").await;
    let new = [
        ("number", "150"),
        ("profile", PROFILE),
        ("cadence", "weekly"),
        ("in-use", "no"),
        ("place", "spare at/mill"),
        ("serial-regulator", "RG-9"),
        ("serial-gauge", ""),
    ];
    let page = ada.post("/register/units/+", &new).await;
    assert_eq!(page.to, "/register/units/150?done=yes", "{}", page.text());
    assert_eq!(d.state("150").await, State::OutOfService);
    let page = ada.get("/register/units/150").await.ok();
    assert!(page.text().contains("Spare at Millrace"), "{}", page.text());
    assert_eq!(page.value("serial-regulator"), "RG-9");

    // A changed cadence asks nothing again, and leaves it where it is.
    let change = [("profile", PROFILE), ("cadence", "monthly"), ("serial-regulator", "RG-10")];
    ada.post("/register/units/117", &change).await;
    let unit = d.store.unit("117").await.unwrap().unwrap();
    assert_eq!(unit.serials["regulator"], "RG-10");
    assert!(unit.place.is_some());
    assert_eq!(d.state("117").await, State::CheckDue);
    // A seat that is taken is not offered, and not taken either.
    let taken = [
        ("number", "151"),
        ("profile", PROFILE),
        ("cadence", "weekly"),
        ("in-use", "no"),
        ("place", "seat/driver"),
    ];
    let page = ada.post("/register/units/+", &taken).await;
    assert_eq!(page.status, 422);
    assert!(page.said_at("place").contains("“driver” as well"), "{}", page.html);
}

#[tokio::test]
async fn a_member_is_entered_gets_a_pin_and_can_sign_in_with_it() {
    let d = district().await;
    let mut ada = d.signed_in("ada").await;
    let page = ada
        .post(
            "/register/members/+",
            &[("id", "zoe"), ("name", "Zoe Hart"), ("roles", "crew"), ("roles", "officer")],
        )
        .await;
    assert_eq!(page.to, "/register/members/zoe?done=yes", "{}", page.text());
    let page = ada.post("/members/zoe/pin", &[("pin", "123456"), ("again", "123456")]).await;
    assert_eq!(page.status, 422);
    assert!(page.said_at("pin").contains("first that anybody would try"));
    let page = ada.post("/members/zoe/pin", &[("pin", "603917"), ("again", "603918")]).await;
    assert!(page.said_at("again").contains("not the same"), "{}", page.html);
    let before = d.records().await;
    let page = ada.post("/members/zoe/pin", &[("pin", "603917"), ("again", "603917")]).await;
    assert_eq!(page.to, "/register/members/zoe?done=pin");
    assert_eq!(d.records().await, before + 1, "that it was set is a record; the PIN is not");
    let mut zoe = d.nobody();
    zoe.post("/sign-in", &[("member", "zoe"), ("pin", "603917")]).await;
    assert_eq!(zoe.get("/rigs").await.status, 200, "an officer");
    let page = ada.get("/register/members/zoe").await.ok();
    assert!(page.text().contains("new PIN"), "{}", page.text());
    assert!(!page.html.contains("603917"));
}

#[tokio::test]
async fn who_leaves_loses_seats_and_qualifications_and_what_was_signed_stays() {
    let d = district().await;
    d.checked().await;
    let mut ada = d.signed_in("ada").await;
    let mut olga = d.signed_in("olga").await;
    olga.post("/rigs/engine-2/crew", &[("officer", "olga"), ("driver", "tom"), ("seat-3", "")]).await;
    let shift = d.store.department().await.unwrap().clock.current_start(d.clock.now());
    assert_eq!(d.store.seats_of("tom", shift).await.unwrap(), ["driver"]);
    let page = ada.get("/register/members/tom").await.ok().text();
    assert!(page.contains("The seat Engine 2, driver in this shift"), "{page}");
    assert!(page.contains("The qualification for us-open-circuit-third"), "{page}");

    assert_eq!(ada.post("/members/tom/leave", &[("how", ""), ("why", "")]).await.status, 422);
    let page =
        ada.post("/members/tom/leave", &[("how", "transferred"), ("why", "to the training ground")]).await;
    assert_eq!(page.to, "/register/members/tom?done=left", "{}", page.text());
    assert!(d.store.seats_of("tom", shift).await.unwrap().is_empty());
    let tom = d.store.signer("tom").await.unwrap().unwrap();
    assert!(tom.qualified.is_empty() && !tom.roles.is_empty(), "a transfer keeps the roles");

    let page = ada.post("/members/tom/leave", &[("how", "separated"), ("why", "retired")]).await;
    assert_eq!(page.to, "/register/members/tom?done=left");
    assert!(d.store.signer("tom").await.unwrap().unwrap().roles.is_empty());
    let mut gone = d.nobody();
    gone.post("/sign-in", &[("member", "tom"), ("pin", PIN)]).await;
    assert_ne!(gone.get("/bench").await.status, 200);
    let page = ada.get("/register/members/tom").await.ok().text();
    assert!(page.contains("Transferred. to the training ground"), "{page}");
    assert!(page.contains("Separated. retired"), "{page}");
    // Records of the past still name their signer, and everything can be made anew.
    let report = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

#[tokio::test]
async fn what_is_personal_is_erased_once_nothing_is_assigned_any_more() {
    let d = district().await;
    let mut ada = d.signed_in("ada").await;
    let early = ada.post("/members/ben/erase", &[("erase", "ben")]).await;
    assert_eq!(early.status, 409);
    ada.post("/members/ben/leave", &[("how", "separated"), ("why", "moved away")]).await;
    let page = ada.post("/members/ben/erase", &[("erase", "tom")]).await;
    assert_eq!(page.status, 422);
    assert!(d.store.names().await.unwrap().contains_key("ben"));
    let page = ada.post("/members/ben/erase", &[("erase", "ben")]).await;
    assert_eq!(page.to, "/register/members/ben?done=erased", "{}", page.text());
    assert!(!d.store.names().await.unwrap().contains_key("ben"));
    assert!(d.store.signer("ben").await.unwrap().is_some(), "the id stays");
}

#[tokio::test]
async fn the_last_administrator_stays_one() {
    let d = district().await;
    let mut ada = d.signed_in("ada").await;
    let page = ada.post("/register/members/ada", &[("name", "Ada Lindqvist"), ("roles", "crew")]).await;
    assert_eq!(page.status, 422);
    assert!(page.said_at("roles").contains("Somebody stays administrator"), "{}", page.html);
    let page = ada.post("/members/ada/leave", &[("how", "on_leave"), ("why", "a year away")]).await;
    assert!(page.said_at("how").contains("Somebody stays administrator"), "{}", page.html);
    assert!(!d.store.signer("ada").await.unwrap().unwrap().roles.is_empty());
}
