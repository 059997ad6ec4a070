//! How often what stands where is checked, set by an officer or administrator.

use airmuster::service::Origin;
use airmuster::service::exchange::{Dates, Plan, write};
use airmuster::service::verify::{Depth, verify};
use airmuster_domain::record::{Asset, Cadence, Condition, Place, Register};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{DAY, District, PROFILE, district};

async fn verified(d: &District) {
    let report = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

/// By the page, as an officer.
async fn set(d: &District, at: &str, cadence: &str) {
    let mut officer = d.signed_in("olga").await;
    let done = officer.post("/cadences", &[("at", at), ("cadence", cadence)]).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/cadences"), "{at}");
}

#[tokio::test]
async fn what_is_set_for_a_rig_or_a_place_on_it_holds_for_what_stands_there() {
    let d = district().await;
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    d.check("121", "ana", Purpose::ShiftStart, &[]).await;
    set(&d, "rig/engine-2", "weekly").await;
    set(&d, "seat/driver", "each_shift").await;
    d.pass(2 * DAY);
    assert_eq!(d.state("117").await, State::InService, "a week's check, as set for the rig");
    assert_eq!(d.state("121").await, State::CheckDue, "the driver's place goes before the rig");
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/cadences").await.ok().text();
    assert!(page.contains("Everything on it Weekly set here"), "{page}");
    assert!(page.contains("Driver Each shift set here"), "{page}");
    assert!(page.contains("Officer Weekly as the rig"), "{page}");
    let unit = officer.get("/units/117").await.ok().text();
    assert!(unit.contains("Weekly, as set for Engine 2"), "{unit}");
    let without = officer.get("/uninspected?days=7").await.ok().text();
    assert!(without.contains("Engine 2, seat 3 · Weekly, as set for Engine 2"), "{without}");
    // Moved away, it is checked by what it brings along.
    d.register(Register::Holder {
        asset: Asset::unit("117"),
        place: Place::Spare { station: "mill".to_owned() },
    })
    .await;
    assert_eq!(d.state("117").await, State::CheckDue);
    set(&d, "spares/mill", "monthly").await;
    assert_eq!(d.state("117").await, State::InService);
    verified(&d).await;
    // Nothing is said of the place any more: the rig's holds for the driver's unit.
    set(&d, "seat/driver", "").await;
    assert_eq!(d.state("121").await, State::InService);
    verified(&d).await;
}

#[tokio::test]
async fn less_than_the_law_asks_for_is_said_where_it_is_chosen_and_where_it_holds() {
    let d = district().await;
    d.check("142", "ana", Purpose::Periodic, &[]).await;
    let mut officer = d.signed_in("olga").await;
    let list = officer.get("/cadences").await.ok().text();
    assert!(!list.contains("1910.134"), "nothing is less than asked for: {list}");
    let form = officer.get("/cadences?at=spares/mill").await.ok().text();
    assert!(form.contains("at least monthly"), "{form}");
    set(&d, "spares/mill", "after_use").await;
    let list = officer.get("/cadences").await.ok().text();
    assert!(list.contains("Spares at Millrace: after use only") && list.contains("1910.134"), "{list}");
    d.pass(400 * DAY);
    assert_eq!(d.state("142").await, State::InService, "no day ends it");
    let mut officer = d.signed_in("olga").await;
    let unit = officer.get("/units/142").await.ok().text();
    assert!(unit.contains("It counts until it is used"), "{unit}");
    let uninspected = officer.get("/uninspected").await.ok().text();
    assert!(uninspected.contains("After use, as set for spares at Millrace"), "{uninspected}");
    d.used("142", "ana", "Drill yard", Condition::Clean).await;
    assert_eq!(d.state("142").await, State::CheckDue);
    verified(&d).await;
}

#[tokio::test]
async fn the_record_of_a_period_asks_by_what_held_then() {
    let d = district().await;
    // Ten days unchecked at each shift, then weekly: what was missed before stays missed.
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    d.pass(10 * DAY);
    set(&d, "rig/engine-2", "weekly").await;
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    d.pass(5 * DAY);
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/past?unit=117&from=2026-11-26&to=2026-12-11").await.ok();
    let lead = "2 checks done. Of 11 owed, 2 were made in time, 0 late, 9 missed.";
    assert!(page.text().contains(lead), "{}", page.text());
}

#[tokio::test]
async fn it_can_be_taken_in_from_a_table_and_given_out_again() {
    let d = district().await;
    let plan = async |checked: &str| {
        let rigs = format!("id,name,station,checked\nengine-2,Engine 2,mill,{checked}\n");
        let files = [("rigs.csv".to_owned(), rigs.into_bytes())];
        Plan::of(&d.store, d.clock.now(), Dates::Unsaid, &files).await.unwrap()
    };
    let wrong = plan("sometimes").await;
    assert!(wrong.problems()[0].to_string().contains("each shift, weekly, monthly or after use"));
    let good = plan("weekly").await;
    assert!(good.problems().is_empty());
    good.take_in(d.intake(), &d.clock, Some("ada"), &Origin::Desk).await.unwrap();
    let entries = d.store.entries().await.unwrap();
    let rigs = write::register(&entries, None).into_iter().find(|(name, _)| name == "rigs.csv").unwrap().1;
    assert!(String::from_utf8(rigs).unwrap().contains("engine-2,Engine 2,mill,1,weekly"));
    assert!(plan("weekly").await.is_empty());
    // An empty cell says nothing about it.
    assert!(plan("").await.is_empty());
    let mut admin = d.signed_in("ada").await;
    let page = admin.get("/register/rigs/engine-2").await.ok();
    let said = page.part("Kept elsewhere", "How often it is checked");
    assert!(said.contains("It is checked") && said.contains("Weekly"), "{said}");
    assert!(page.html.contains("/cadences?at=rig/engine-2"), "{}", page.html);
    let unit = Register::Unit {
        number: "150".to_owned(),
        profile: PROFILE.to_owned(),
        cadence: Cadence::AfterUse,
        in_use: true,
        serials: std::collections::BTreeMap::new(),
    };
    d.register(unit).await;
    let list = admin.get("/cadences").await.ok().text();
    assert!(list.contains("Unit 150: after use only"), "{list}");
}
