//! Correcting a check from its record's page.

use airmuster_domain::record::{Body, Desk};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{DAY, MINUTE, PIN, district};

fn signed<'a>(more: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let mut fields = vec![("why", "Asked Ana, and looked"), ("member", "olga"), ("pin", PIN)];
    fields.extend_from_slice(more);
    fields
}

#[tokio::test]
async fn a_check_of_the_wrong_unit_is_judged_for_the_right_one_and_leaves_the_first_due() {
    let d = district().await;
    d.pass(DAY);
    d.checked().await;
    d.pass(MINUTE);
    let seq = d.gauges_apart("130").await;
    let mut officer = d.signed_in("olga").await;
    let record = officer.get(&format!("/records/{seq}")).await.ok();
    let address = format!("/records/{seq}/correct");
    assert!(record.html.contains(&address), "{}", record.text());
    assert!(!d.signed_in("ana").await.get(&format!("/records/{seq}")).await.html.contains(&address));
    let form = officer.get(&address).await.ok();
    assert!(form.text().contains("of unit 130") && form.text().contains("signed by Ana Wick"));
    let nothing = officer.post(&address, &[("why", ""), ("member", "olga"), ("pin", PIN)]).await;
    assert_eq!(nothing.status, 422);
    assert!(nothing.said_at("what").contains("the unit, or a reading"), "{}", nothing.said_at("what"));
    assert!(nothing.said_at("why").contains("how you know"), "{}", nothing.said_at("why"));
    for wrong in ["130", "999", ""] {
        let again = officer.post(&address, &signed(&[("what", "unit"), ("right", wrong)])).await;
        assert_eq!(again.status, 422, "{wrong}");
        assert!(!again.said_at("right").is_empty(), "{wrong}");
    }
    let crew = [("what", "unit"), ("right", "117"), ("why", "x"), ("member", "ben"), ("pin", PIN)];
    let crew = officer.post(&address, &crew).await;
    assert!(crew.said_at("member").contains("officer or administrator"), "{}", crew.said_at("member"));
    let before = d.records().await;

    let done = officer.post(&address, &signed(&[("what", "unit"), ("right", "117")])).await;
    assert_eq!(done.status, 303);
    assert!(d.records().await > before);
    let told = officer.get(&done.to).await.ok().text();
    assert!(told.contains("117") && told.contains("Asked Ana, and looked"), "{told}");
    assert_eq!(d.state("117").await, State::OutOfService, "the gauges of 117 are apart");
    let open = d.open("130").await;
    assert!(open.iter().any(|k| k.starts_with("check-again/")), "{open:?}");
    assert!(open.iter().any(|k| k.starts_with("finding/")), "what was written down stays: {open:?}");
}

#[tokio::test]
async fn a_misread_step_is_read_again_by_another_member_and_a_second_correction_follows_the_first() {
    let d = district().await;
    d.pass(DAY);
    let seq = d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("117").await, State::InService);
    d.pass(MINUTE);
    let mut officer = d.signed_in("olga").await;
    let address = format!("/records/{seq}/correct");
    let page = officer.get(&address).await.ok();
    assert!(page.text().contains("4,480 psi and 4,470 psi"), "{}", page.text());
    let none = officer.post(&address, &signed(&[("what", "step")])).await;
    assert!(none.said_at("step").contains("Tick each step"), "{}", none.said_at("step"));
    let misread = [("what", "step"), ("step", "gauge-agreement")];
    let first = officer.post(&address, &signed(&misread)).await;
    assert_eq!(first.status, 303);
    let told = officer.get(&first.to).await.ok().text();
    assert!(told.contains("4,480 psi and 4,470 psi"), "the reading stays: {told}");
    assert_eq!(d.state("117").await, State::CheckDue);
    let unit = d.signed_in("ben").await.get("/units/117").await.ok().text();
    assert!(unit.contains("somebody else does this step again"), "{unit}");

    // Whoever had the form open before does not overlook the first correction.
    assert_eq!(officer.post(&address, &signed(&misread)).await.status, 409);
    let page = officer.get(&address).await.ok();
    let after = page.value("after");
    let second = [("what", "step"), ("step", "cylinder-pressure"), ("after", after.as_str())];
    let second = officer.post(&address, &signed(&second)).await;
    assert_eq!(second.status, 303, "{}", second.text());
    let seq: i64 = second.to.rsplit('/').next().unwrap().parse().unwrap();
    let kept = d.store.record(seq).await.unwrap().unwrap();
    let Body::Desk(Desk::Correction(c)) = kept.record.body else { panic!() };
    assert_eq!(c.replaces.iter().map(|r| r.digest.to_string()).collect::<Vec<_>>(), [after]);

    // Ana, who misread it, checks again: that is not enough. Ben does, and it is.
    d.pass(MINUTE);
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    let open = d.open("117").await;
    assert_eq!(open.iter().filter(|k| k.starts_with("misread/")).count(), 2, "{open:?}");
    d.pass(MINUTE);
    d.check("117", "ben", Purpose::ShiftStart, &[]).await;
    assert!(d.open("117").await.is_empty());
    assert_eq!(d.state("117").await, State::InService);
}

#[tokio::test]
async fn only_a_check_is_corrected_and_only_a_signed_one_was_misread() {
    let d = district().await;
    let word = d.say("taken_out", "121", "ben", "it hisses").await;
    let mut officer = d.signed_in("olga").await;
    assert_eq!(officer.get(&format!("/records/{word}/correct")).await.status, 409);
    assert_eq!(officer.get("/records/99999/correct").await.status, 404);
    let mut part = d.answered("121", Purpose::ShiftStart, &[]).await;
    part.outcome = airmuster_domain::record::Outcome::BrokenOff;
    let part = d.submit_part(&part).await;
    let page = officer.get(&format!("/records/{part}/correct")).await.ok();
    assert!(!page.html.contains("name=\"step\""), "{}", page.text());
}
