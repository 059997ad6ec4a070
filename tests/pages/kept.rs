//! A rig's roster as tablets keep it, and its acceptance from there.

use airmuster::service::Origin;
use airmuster::service::tablets::Bearer;
use airmuster_domain::record::{Reviewed, RigAccepted, Stamp, encode};
use serde_json::Value;

use super::browser::Page;
use super::district::{District, MINUTE, PIN, district, fit_test};

fn about(page: &Page) -> Value {
    let json = page.html.split("id=\"about\">").nth(1).and_then(|rest| rest.split("</script>").next());
    serde_json::from_str(json.unwrap()).unwrap()
}

#[tokio::test]
async fn a_reviewed_rig_says_to_officers_only_who_was_not_ready_and_why() {
    let d = district().await;
    d.checked().await;
    crew(&d).await;
    let page = d.tablet().await.get("/rigs/engine-2/roster").await.ok();
    let mut places: Vec<Reviewed> = serde_json::from_value(about(&page)["places"].clone()).unwrap();
    for place in &mut places {
        if place.member.as_deref() == Some("ana") {
            (place.ready, place.word) = (false, Some("waits for the doctor".to_owned()));
        }
    }
    let stamp = Stamp { id: d.clock.id(), tablet: "t".to_owned(), at: d.clock.now(), ..Stamp::default() };
    let stamp = Stamp { client: "test".to_owned(), by: Some("olga".to_owned()), ..stamp };
    let shift = about(&page)["starts"][0].as_i64().unwrap();
    let body = RigAccepted { rig: "engine-2".to_owned(), shift, places };
    let origin = Origin::Tablet { proven: Some("olga".to_owned()) };
    let seq = d.submit(encode("rig_accepted", &stamp, &body), origin).await.seq;
    let address = format!("/records/{seq}");
    let told = d.signed_in("olga").await.get(&address).await.ok().text();
    assert!(told.contains("Unit 121, Ana Wick, not ready: waits for the doctor"), "{told}");
    for mut other in [d.tablet().await, d.signed_in("ben").await] {
        let told = other.get(&address).await.ok().text();
        assert!(told.contains("Unit 121, Ana Wick"), "{told}");
        assert!(!told.contains("ready") && !told.contains("doctor"), "{told}");
    }
}

/// Olga and Ana are tested with a medium facepiece; Olga is cleared, Ana is not.
async fn crew(d: &District) {
    let mut o = d.signed_in("olga").await;
    let test = fit_test("2026-03-01");
    for (member, cleared) in [("olga", "yes"), ("ana", "no")] {
        assert_eq!(o.post(&format!("/fitness/{member}/fit"), &test).await.status, 303);
        let word = [("since", "2026-01-15"), ("cleared", cleared)];
        assert_eq!(o.post(&format!("/fitness/{member}/clearance"), &word).await.status, 303);
    }
    let on = [("officer", "olga"), ("driver", "ana"), ("seat-3", "ben")];
    assert_eq!(o.post("/rigs/engine-2/crew", &on).await.status, 303);
}

#[tokio::test]
async fn a_tablets_roster_says_until_when_fit_tests_count_and_nothing_medical() {
    let d = district().await;
    d.checked().await;
    crew(&d).await;
    let full = d.signed_in("olga").await.get("/rigs/engine-2").await.ok().text();
    assert!(full.contains("Ana Wick: not medically cleared."), "{full}");
    let page = d.tablet().await.get("/rigs/engine-2/roster").await.ok();
    let text = page.text();
    assert!(text.contains("Ana Wick") && text.contains("Fit until 1 Mar 2027"), "{text}");
    assert!(text.contains("Ben Orr: no fit test with facepiece F-130"), "{text}");
    for medical in ["not medically cleared", "no medical clearance", "not cleared", "15 Jan 2026"] {
        assert!(!page.html.contains(medical), "{medical}: {text}");
    }
    // Cleared or not, what is said of a seat is the same.
    for seat in ["officer", "driver"] {
        let row = page.html.split(&format!("data-seat=\"{seat}\"")).nth(1).unwrap();
        let row = row.split("</li>").next().unwrap();
        assert!(row.contains("Fit until 1 Mar 2027") && !row.contains("data-rest"), "{row}");
        assert!(
            row.contains("<div class=\"reason\"><p class=\"soft\">"),
            "no reason stands before the fit test: {row}"
        );
    }
    let places = about(&page)["places"].clone();
    let ready: Vec<&Value> = places.as_array().unwrap().iter().map(|p| &p["ready"]).collect();
    assert_eq!(ready, [&Value::Bool(true), &Value::Bool(true), &Value::Bool(false)]);
    let starts = about(&page)["starts"].clone();
    assert_eq!(starts[1].as_i64().unwrap() - starts[0].as_i64().unwrap(), super::district::DAY);
    assert!(!page.html.contains(">Tom"), "a technician accepts no rig");
}

#[tokio::test]
async fn an_acceptance_from_a_tablet_counts_once_its_signature_is_proven() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    let page = d.tablet().await.get("/rigs/engine-2/roster").await.ok();
    let places: Vec<Reviewed> = serde_json::from_value(about(&page)["places"].clone()).unwrap();
    let shift = about(&page)["starts"][0].as_i64().unwrap();
    let stamp = Stamp {
        id: d.clock.id(),
        tablet: "tablet-4".to_owned(),
        at: d.clock.now(),
        client: "test".to_owned(),
        by: Some("olga".to_owned()),
        ..Stamp::default()
    };
    let body = RigAccepted { rig: "engine-2".to_owned(), shift, places };
    let bytes = encode("rig_accepted", &stamp, &body);
    let origin = Origin::HandedIn { bearer: Bearer::Member("ana".to_owned()), signature: None };
    let seq = d.submit(bytes, origin).await.seq;
    let mut o = d.signed_in("olga").await;
    let before = o.get("/rigs/engine-2").await.ok().text();
    assert!(!before.contains("Reviewed by"), "anybody can write a name: {before}");
    // It waits where checks wait for their signer's PIN, too.
    let board = o.get("/stations/mill").await.ok().text();
    assert!(board.contains("One signature waits"), "{board}");
    let list = o.get("/unproven").await.ok();
    assert!(list.text().contains("Acceptance") && list.text().contains("Engine 2"), "{}", list.text());
    let prove = format!("/records/{seq}/prove");
    assert_eq!(o.post(&prove, &[("pin", "135791")]).await.status, 422);
    assert_eq!(o.post(&prove, &[("pin", PIN)]).await.status, 303);
    assert!(o.get("/unproven").await.ok().text().contains("that was handed in is signed"));
    let after = o.get("/rigs/engine-2").await.ok().text();
    assert!(
        after.contains("Reviewed by Olga Fenn") && after.contains("Nothing has changed since."),
        "{after}"
    );
    let kept = d.tablet().await.get("/rigs/engine-2/roster").await.ok().text();
    assert!(kept.contains("Reviewed by Olga Fenn") && !kept.contains("Changed since"), "{kept}");
    d.say("taken_out", "117", "ben", "strap").await;
    let kept = d.tablet().await.get("/rigs/engine-2/roster").await.ok().text();
    assert!(kept.contains("Changed since acceptance: Officer."), "{kept}");
}

#[tokio::test]
async fn a_change_of_clearances_alone_is_said_to_the_officer_and_to_no_tablet() {
    let d = district().await;
    d.checked().await;
    crew(&d).await;
    let mut o = d.signed_in("olga").await;
    let form = o.get("/rigs/engine-2/accept").await.ok();
    let (id, seen) = (form.value("id"), form.value("seen"));
    let fields = [
        ("id", id.as_str()),
        ("seen", seen.as_str()),
        ("driver", "asked the chief"),
        ("seat-3", "asked for a test"),
        ("member", "olga"),
        ("pin", PIN),
    ];
    assert_eq!(o.post("/rigs/engine-2/accept", &fields).await.status, 303);
    let word = [("since", "2026-11-26"), ("cleared", "yes")];
    assert_eq!(o.post("/fitness/ana/clearance", &word).await.status, 303);
    let full = o.get("/rigs/engine-2").await.ok().text();
    assert!(full.contains("Changed since acceptance: Driver."), "{full}");
    let kept = d.tablet().await.get("/rigs/engine-2/roster").await.ok().text();
    assert!(kept.contains("Reviewed by Olga Fenn") && !kept.contains("Changed since"), "{kept}");
}

#[tokio::test]
async fn a_tablet_keeps_roster_and_after_use_of_the_rigs_of_its_station() {
    let d = district().await;
    let list = d.tablet().await.get("/offline/list?station=mill").await.ok();
    let list: Value = serde_json::from_str(&list.html).unwrap();
    let pages: Vec<&str> = list["pages"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(pages.contains(&"/rigs/engine-2/roster") && pages.contains(&"/rigs/engine-2/used"), "{pages:?}");
    assert!(!pages.contains(&"/rigs/engine-2"), "the officer’s own page is not kept");
}
