//! Spare cylinders in a rig's rack: lines of their own, with the last pressure and when.

use airmuster::service::Origin;
use airmuster::service::verify::{Depth, verify};
use airmuster_domain::record::{Asset, Condition, Place, Register, Stamp, Used, encode};

use super::district::{DAY, District, MINUTE, PIN, district};

/// Two spare cylinders in the rack of Engine 2.
async fn racked() -> District {
    let d = district().await;
    for (n, number) in ["C-301", "C-302"].into_iter().enumerate() {
        let id = format!("rack-{}", n + 1);
        let (rig, name) = ("engine-2".to_owned(), format!("Spare cylinder {}", n + 1));
        let order = u16::try_from(n).unwrap();
        d.register(Register::Seat { id: id.clone(), rig, name, kit: true, order }).await;
        let rated = "4500 psi".parse().unwrap();
        d.register(Register::Cylinder { number: number.to_owned(), rated }).await;
        let asset = Asset::cylinder(number);
        d.register(Register::Holder { asset, place: Place::Seat { seat: id } }).await;
    }
    d
}

async fn read(d: &District, pressures: &[(&str, &str)]) -> super::browser::Page {
    let mut fields: Vec<(&str, &str)> = pressures.to_vec();
    fields.extend([("member", "ana"), ("pin", PIN)]);
    d.tablet().await.post("/rigs/engine-2/spares", &fields).await
}

#[tokio::test]
async fn each_spare_cylinder_has_a_line_with_its_last_pressure_and_when() {
    let d = racked().await;
    let mut officer = d.signed_in("olga").await;
    let roster = officer.get("/rigs/engine-2").await.ok().text();
    assert!(roster.contains("Nobody has read its cylinder yet"), "{roster}");
    let done = read(&d, &[("p.C-301", "4480"), ("p.C-302", "3900")]).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/stations/mill"), "{}", done.text());
    d.pass(MINUTE);
    let board = officer.get("/stations/mill").await.ok().text();
    assert!(board.contains("4,480 psi") && board.contains("read 07:04"), "{board}");
    assert!(board.contains("It must be above 4,050 psi"), "{board}");
    assert!(board.contains("1 kit not"), "one of the two is ready: {board}");
    let roster = officer.get("/rigs/engine-2").await.ok().text();
    assert!(
        roster.contains("4,480 psi, read 07:04") && roster.contains("Change it or recharge it"),
        "{roster}"
    );
    let sheet = officer.get("/rigs/engine-2/sheet").await.ok().text();
    assert!(sheet.contains("4,480 psi, read 07:04"), "{sheet}");
    let history = officer.get("/assets/cylinder:C-301").await.ok().text();
    assert!(history.contains("Read where it lies ready"), "{history}");

    // A month without anything said; each shift where that is set for the rig.
    d.pass(DAY + 2 * 60 * MINUTE);
    let mut officer = d.signed_in("olga").await;
    let board = officer.get("/stations/mill").await.ok().text();
    assert!(board.contains("1 kit not"), "{board}");
    let each = [("at", "rig/engine-2"), ("cadence", "each_shift")];
    assert_eq!(officer.post("/cadences", &each).await.status, 303);
    let roster = officer.get("/rigs/engine-2").await.ok().text();
    assert!(roster.contains("Last read yesterday 07:04; it is to be read each shift."), "{roster}");
    let report = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

#[tokio::test]
async fn what_was_used_since_is_not_known_and_what_was_filled_is() {
    let d = racked().await;
    assert_eq!(read(&d, &[("p.C-301", "4480 psi")]).await.status, 303);
    d.pass(MINUTE);
    let used = Used {
        unit: "117".to_owned(),
        what: "Drill yard".to_owned(),
        condition: Condition::Clean,
        cylinders: vec!["C-301".to_owned()],
        ..Used::default()
    };
    let stamp = Stamp {
        id: d.clock.id(),
        tablet: "tablet-4".to_owned(),
        at: d.clock.now(),
        client: "test".to_owned(),
        by: Some("ana".to_owned()),
        ..Stamp::default()
    };
    let origin = Origin::Tablet { proven: Some("ana".to_owned()) };
    d.submit(encode("used", &stamp, &used), origin).await;
    let mut officer = d.signed_in("olga").await;
    let board = officer.get("/stations/mill").await.ok().text();
    assert!(!board.contains("4,480 psi") && board.contains("2 kits not"), "{board}");
    d.pass(MINUTE);
    assert_eq!(read(&d, &[("p.C-301", "4470")]).await.status, 303);
    let board = officer.get("/stations/mill").await.ok().text();
    assert!(board.contains("4,470 psi"), "{board}");
}

#[tokio::test]
async fn a_reading_that_cannot_be_is_told_and_nothing_is_written() {
    let d = racked().await;
    d.tablet().await;
    let before = d.records().await;
    let again = read(&d, &[("p.C-301", "4480"), ("p.C-302", "full")]).await;
    assert_eq!(again.status, 422);
    assert!(again.said_at("p.C-302").contains("as its gauge shows it"), "{}", again.text());
    let again = read(&d, &[("p.C-301", "9000")]).await;
    assert!(again.said_at("p.C-301").contains("look at the gauge again"), "{}", again.text());
    let again = read(&d, &[]).await;
    assert!(again.said_at("p.C-301").contains("at least one"), "{}", again.text());
    let fields = [("p.C-301", "4480"), ("member", "ana"), ("pin", "000000")];
    let again = d.tablet().await.post("/rigs/engine-2/spares", &fields).await;
    assert!(again.said_at("pin").contains("do not go together"), "{}", again.text());
    assert_eq!(d.records().await, before);
    assert_eq!(d.tablet().await.get("/rigs/engine-9/spares").await.status, 404);
}
