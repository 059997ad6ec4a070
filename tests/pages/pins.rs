//! A PIN that is forgotten, and one that was tried too often: what the officer does about them.

use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{District, MINUTE, PIN, district};

/// A good check of unit 117 that nothing proves ana to have signed.
async fn unproven(d: &District) -> i64 {
    let check = d.answered("117", Purpose::ShiftStart, &[]).await;
    d.submit_unproven(&check, "ana").await
}

#[tokio::test]
async fn the_officer_attests_what_a_member_signed_who_has_forgotten_the_pin() {
    let d = district().await;
    let seq = unproven(&d).await;
    assert_eq!(d.state("117").await, State::CheckDue);
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/unproven").await.ok();
    assert!(page.text().contains("You attest that"), "{}", page.text());
    let to = format!("/records/{seq}/attest");
    let again = officer.post(&to, &[("pin", "000000")]).await;
    assert_eq!(again.status, 422);
    assert!(again.said_at(&format!("attest-{seq}")).contains("do not go together"), "{}", again.html);
    let done = officer.post(&to, &[("pin", PIN)]).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/unproven"));
    assert_eq!(d.state("117").await, State::InService);
    let said = officer.get(&format!("/records/{}", d.records().await)).await.ok().text();
    assert!(said.contains("the officer attests"), "{said}");
    assert_eq!(officer.post(&to, &[("pin", PIN)]).await.status, 404);
}

#[tokio::test]
async fn nobody_attests_a_signature_of_their_own_and_the_crew_is_not_asked() {
    let d = district().await;
    let check = d.answered("117", Purpose::ShiftStart, &[]).await;
    let seq = d.submit_unproven(&check, "olga").await;
    let mut officer = d.signed_in("olga").await;
    assert!(!officer.get("/unproven").await.ok().text().contains("You attest that"));
    let answer = officer.post(&format!("/records/{seq}/attest"), &[("pin", PIN)]).await;
    assert_eq!(answer.status, 422);
    assert_eq!(d.state("117").await, State::CheckDue);
    assert!(!d.tablet().await.get("/unproven").await.ok().text().contains("You attest that"));
}

#[tokio::test]
async fn what_is_doubted_for_another_reason_is_settled_and_not_waved_through() {
    let d = district().await;
    let mut check = d.answered("117", Purpose::ShiftStart, &[]).await;
    let seq = d.submit_unproven(&check, "ana").await;
    check.answers.pop();
    d.submit_unproven(&check, "ana").await;
    let answer = d.signed_in("olga").await.post(&format!("/records/{seq}/attest"), &[("pin", PIN)]).await;
    assert_eq!((answer.status, answer.to), (303, format!("/records/{seq}/settle")));
}

#[tokio::test]
async fn after_five_wrong_pins_the_page_says_how_long_to_wait_and_after_twenty_whom_to_ask() {
    let d = district().await;
    let mut crew = d.tablet().await;
    crew.get("/units/117/check").await.ok();
    let wrong = [("member", "ana"), ("pin", "000000")];
    for _ in 0..5 {
        assert!(crew.post("/sign-in", &wrong).await.said_at("pin").contains("do not go together"));
    }
    let said = crew.post("/sign-in", &[("member", "ana"), ("pin", PIN)]).await.said_at("pin");
    assert_eq!(said, "Several wrong PINs were given. Wait 10 seconds, then give the PIN again.");
    for _ in 5..20 {
        d.pass(16 * MINUTE);
        crew.post("/sign-in", &wrong).await;
    }
    let said = crew.post("/sign-in", &[("member", "ana"), ("pin", PIN)]).await.said_at("pin");
    assert!(said.contains("until an officer allows it again"), "{said}");

    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/pins").await.ok();
    assert_eq!(page.values("member"), ["ana"]);
    let text = page.text();
    assert!(text.contains("20 wrong"), "{text}");
    let before = d.records().await;
    assert_eq!(officer.post("/pins/allow", &[("member", "ben")]).await.status, 303);
    assert_eq!(d.records().await, before, "ben was never stopped");
    for (field, name) in [("member", page.values("member")), ("tablet", page.values("tablet"))] {
        for name in name {
            assert_eq!(officer.post("/pins/allow", &[(field, &name)]).await.status, 303);
        }
    }
    assert!(officer.get("/pins").await.ok().text().contains("No PIN is stopped."));
    let back = crew.post("/sign-in", &[("member", "ana"), ("pin", PIN)]).await;
    assert_eq!(back.status, 303, "{}", back.text());
}
