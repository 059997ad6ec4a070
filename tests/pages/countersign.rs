//! An officer's countersignature, where a department asks for one.

use airmuster::service::Origin;
use airmuster::service::verify::{Depth, verify};
use airmuster_domain::record::{Register, Signed, Stamp, encode};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{DAY, District, MINUTE, PIN, district};

/// A district that asks for it, by the administrator's own button.
async fn asked_for() -> District {
    let d = district().await;
    let mut admin = d.signed_in("ada").await;
    let page = admin.get("/countersign").await.ok();
    assert!(page.text().contains("asks for no officer’s countersignature"), "{}", page.text());
    let done = admin.post("/countersign/setting", &[("required", "yes")]).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/countersign"));
    d
}

async fn verified(d: &District) {
    let report = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

#[tokio::test]
async fn a_good_check_counts_once_an_officer_has_countersigned_it_and_what_it_found_at_once() {
    let d = asked_for().await;
    let good = d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    let bad = d.gauges_apart("130").await;
    assert_eq!(d.state("117").await, State::CheckDue);
    assert_eq!(d.state("130").await, State::OutOfService, "nobody has to countersign a fault");

    let mut crew = d.signed_in("ana").await;
    let verdict = crew.get(&format!("/records/{good}/verdict")).await.ok();
    assert!(verdict.text().contains("once an officer has countersigned it"), "{}", verdict.text());
    assert!(!verdict.text().contains("Check it again"), "{}", verdict.text());
    let unit = crew.get("/units/117").await.ok().text();
    assert!(unit.contains("waits for an officer’s countersignature"), "{unit}");
    let board = crew.get("/stations/mill").await.ok().text();
    assert!(board.contains("2 checks wait for an officer’s countersignature"), "{board}");

    let mut officer = d.signed_in("olga").await;
    let list = officer.get("/countersign").await.ok();
    assert!(list.text().contains("Shift-start check") && list.text().contains("signed by Ana Wick"));
    let seq = good.to_string();
    let again = officer.post("/countersign", &[("check", &seq), ("pin", "000000")]).await;
    assert_eq!(again.status, 422);
    assert!(again.said_at("pin").contains("do not go together"), "{}", again.html);
    assert_eq!(officer.post("/countersign", &[("pin", PIN)]).await.status, 422, "nothing is ticked");
    assert_eq!(d.state("117").await, State::CheckDue);
    d.pass(MINUTE);
    let done = officer.post("/countersign", &[("check", &seq), ("pin", PIN)]).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/countersign"));
    assert_eq!(d.state("117").await, State::InService);
    let record = officer.get(&format!("/records/{good}")).await.ok();
    assert!(record.text().contains("How it was countersigned"), "{}", record.text());

    // A check with a fault is countersigned like another, and the fault stays.
    let seq = bad.to_string();
    assert_eq!(officer.post("/countersign", &[("check", &seq), ("pin", PIN)]).await.status, 303);
    assert_eq!(d.state("130").await, State::OutOfService);
    assert!(officer.get("/countersign").await.ok().text().contains("Nothing waits"));
    verified(&d).await;
}

#[tokio::test]
async fn what_the_crew_put_right_stays_to_be_put_right_until_it_is_countersigned() {
    let d = asked_for().await;
    let low = [("at", airmuster_domain::judge::Raw::Text("3200 psi".into()))];
    d.check("117", "ana", Purpose::ShiftStart, &[("cylinder-pressure", &low)]).await;
    assert_eq!(d.state("117").await, State::PutRight);
    d.pass(MINUTE);
    let good = d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("117").await, State::PutRight);
    let mut officer = d.signed_in("olga").await;
    officer.post("/countersign", &[("check", &good.to_string()), ("pin", PIN)]).await;
    assert_eq!(d.state("117").await, State::InService);
    verified(&d).await;
}

#[tokio::test]
async fn nobody_countersigns_what_they_made_or_wrote_down_themselves_and_only_officers_do() {
    let d = asked_for().await;
    let own = d.check("117", "olga", Purpose::ShiftStart, &[]).await;
    let check = d.answered("121", Purpose::ShiftStart, &[]).await;
    let stamp = Stamp {
        id: check.run,
        tablet: "tablet-4".to_owned(),
        at: d.clock.now(),
        by: Some("ana".to_owned()),
        written_by: Some("olga".to_owned()),
        ..Stamp::default()
    };
    let proven = Origin::Tablet { proven: Some("ana".to_owned()) };
    let written = d.submit(encode("check", &stamp, &check), proven).await.seq;
    let mut officer = d.signed_in("olga").await;
    let list = officer.get("/countersign").await.ok();
    assert_eq!(list.text().matches("Another officer countersigns it").count(), 2, "{}", list.text());
    assert_eq!(list.values("check"), Vec::<String>::new(), "there is nothing to tick");
    for seq in [own, written] {
        let refused = officer.post("/countersign", &[("check", &seq.to_string()), ("pin", PIN)]).await;
        assert_eq!(refused.status, 422);
        assert!(refused.text().contains("ask another officer"), "{}", refused.text());
    }
    for member in ["ana", "tom"] {
        let mut other = d.signed_in(member).await;
        let status = other.post("/countersign", &[("check", &own.to_string()), ("pin", PIN)]).await.status;
        assert_eq!(status, 403, "{member}");
    }
    assert_eq!(d.state("117").await, State::CheckDue);
    assert_eq!(d.state("121").await, State::CheckDue);
    let mut admin = d.signed_in("ada").await;
    let both = [("check", own.to_string()), ("check", written.to_string()), ("pin", PIN.to_owned())];
    let both: Vec<(&str, &str)> = both.iter().map(|(k, v)| (*k, v.as_str())).collect();
    assert_eq!(admin.post("/countersign", &both).await.status, 303);
    assert_eq!(d.state("117").await, State::InService);
    assert_eq!(d.state("121").await, State::InService);
}

#[tokio::test]
async fn a_countersignature_proves_no_signature_and_a_signature_is_no_countersignature() {
    let d = asked_for().await;
    let check = d.answered("117", Purpose::ShiftStart, &[]).await;
    let seq = d.submit_unproven(&check, "ana").await;
    let mut officer = d.signed_in("olga").await;
    officer.post("/countersign", &[("check", &seq.to_string()), ("pin", PIN)]).await;
    assert_eq!(d.state("117").await, State::CheckDue, "nobody has shown that it was ana");
    let mut crew = d.signed_in("ana").await;
    assert_eq!(crew.post(&format!("/records/{seq}/prove"), &[("pin", PIN)]).await.status, 303);
    assert_eq!(d.state("117").await, State::InService);
    verified(&d).await;
}

#[tokio::test]
async fn a_technicians_proving_check_does_not_wait_and_what_came_before_the_setting_neither() {
    let d = district().await;
    d.check("121", "ana", Purpose::ShiftStart, &[]).await;
    d.register(Register::Countersigning { required: true }).await;
    assert_eq!(d.state("121").await, State::InService, "it counted before");
    d.check("117", "tom", Purpose::Proving, &[]).await;
    assert_eq!(d.state("117").await, State::InService);

    // Turned off again: what waits still waits, what comes next does not.
    let waits = d.check("130", "ana", Purpose::ShiftStart, &[]).await;
    let mut admin = d.signed_in("ada").await;
    admin.post("/countersign/setting", &[("required", "no")]).await;
    assert_eq!(d.state("130").await, State::CheckDue);
    d.check("142", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("142").await, State::InService);
    let mut officer = d.signed_in("olga").await;
    officer.post("/countersign", &[("check", &waits.to_string()), ("pin", PIN)]).await;
    assert_eq!(d.state("130").await, State::InService);
    verified(&d).await;
}

#[tokio::test]
async fn the_setting_goes_along_in_an_export_and_a_form_says_what_a_signature_will_come_to() {
    let d = asked_for().await;
    let entries = d.store.entries().await.unwrap();
    assert!(entries.contains(&Register::Countersigning { required: true }), "{entries:?}");
    let form = d.signed_in("ana").await.get("/units/117/check").await.ok();
    assert!(form.html.contains("\"countersigned\":true"));
    let proving = d.signed_in("tom").await.get("/units/117/check?purpose=proving").await.ok();
    assert!(proving.html.contains("\"countersigned\":false"));
    let other = district().await.signed_in("ana").await.get("/units/117/check").await.ok();
    assert!(other.html.contains("\"countersigned\":false"));
}

#[tokio::test]
async fn a_countersignature_of_a_check_that_waits_for_none_is_refused() {
    let d = district().await;
    let seq = d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    d.pass(DAY);
    let name = d.store.record(seq).await.unwrap().unwrap().record.name;
    let stamp = Stamp {
        id: d.clock.id(),
        tablet: "desk".to_owned(),
        at: d.clock.now(),
        by: Some("olga".to_owned()),
        ..Stamp::default()
    };
    let told = d.refused(encode("countersigned", &stamp, &Signed { of: name })).await;
    assert!(told.contains("waits for no countersignature"), "{told}");
    let told = d.refused(encode("uncountersigned", &stamp, &Signed { of: name })).await;
    assert!(told.contains("written by the server itself"), "{told}");
}

#[tokio::test]
async fn a_check_that_waits_was_made_in_time_and_opens_no_seat_before_it_is_countersigned() {
    let d = asked_for().await;
    let seq = d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    d.pass(2 * 60 * MINUTE);
    let mut officer = d.signed_in("olga").await;
    let period = "/past?unit=117&from=2026-11-26&to=2026-11-26";
    let page = officer.get(period).await.ok().text();
    assert!(page.contains("1 checks done. Of 1 owed, 1 were made in time, 0 late, 0 missed."), "{page}");
    assert!(page.contains("One of those done waits for an officer’s countersignature"), "{page}");
    let ana = officer.get("/past?member=ana&from=2026-11-26&to=2026-11-26").await.ok().text();
    assert!(ana.contains("1 were made in time"), "{ana}");
    d.pass(MINUTE);
    officer.post("/countersign", &[("check", &seq.to_string()), ("pin", PIN)]).await;
    let page = officer.get(period).await.ok().text();
    assert!(page.contains("1 were made in time") && !page.contains("countersignature"), "{page}");
    // The seat was open until then: at 07:30 and 08:30, and no more at 09:30.
    d.pass(2 * 60 * MINUTE);
    let rig = officer.get("/past?rig=engine-2&from=2026-11-26&to=2026-11-26").await.ok().text();
    let open =
        |hour: &str| rig.lines().skip_while(|l| !l.starts_with(hour)).nth(1).unwrap_or_default().to_owned();
    assert_eq!((open("07:00").as_str(), open("09:00").as_str()), ("100.0 %", "66.6 %"), "{rig}");
    // One whose signer has not proven the PIN was not made, as far as anybody knows.
    let check = d.answered("121", Purpose::ShiftStart, &[]).await;
    d.submit_unproven(&check, "ben").await;
    let other = officer.get("/past?unit=121&from=2026-11-26&to=2026-11-26").await.ok().text();
    assert!(other.contains("0 checks done"), "{other}");
}
