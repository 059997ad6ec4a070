//! What a signature alone clears: cleaning, the end of a hold, acceptance into service.

use airmuster_domain::judge::Raw;
use airmuster_domain::record::Condition;
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::browser::Page;
use super::district::{MINUTE, PIN, district};

fn offered(page: &Page, verb: &str) -> bool {
    page.html.contains(&format!("/clear\">{verb}</a>"))
}

fn signed<'a>(ground: &'a str, why: &'a str, member: &'a str) -> [(&'a str, &'a str); 4] {
    [("ground", ground), ("why", why), ("member", member), ("pin", PIN)]
}

#[tokio::test]
async fn a_soiled_unit_is_written_down_as_clean_and_is_then_due_for_a_check() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.used("117", "ana", "kitchen fire", Condition::Soiled).await;
    let mut t = d.signed_in("tom").await;
    assert!(offered(&t.get("/units/117").await.ok(), "It is clean"));
    let form = t.get("/units/117/clear").await.ok();
    let says = form.text();
    assert!(says.contains("Soiled: kitchen fire.\nAna Wick, 07:05"), "{says}");
    assert!(says.contains("What stays open: Used: kitchen fire."), "{says}");
    assert!(!form.html.contains("\" checked"), "nothing is ticked in advance");
    let done = t.post("/units/117/clear", &signed(&form.value("ground"), "Brushed", "tom")).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/units/117"), "{}", done.text());
    assert_eq!(d.state("117").await, State::CheckDue);
    let page = t.get("/units/117").await.ok();
    assert!(page.part("What happened", "–").contains("Cleaned\nBrushed"), "{}", page.text());
    assert!(!offered(&page, "It is clean"));
}

#[tokio::test]
async fn an_incomplete_clearing_comes_back_with_everything_kept_and_makes_no_record() {
    let d = district().await;
    d.checked().await;
    d.used("117", "ana", "kitchen fire", Condition::Soiled).await;
    let mut t = d.signed_in("tom").await;
    let ground = t.get("/units/117/clear").await.ok().value("ground");
    let before = d.records().await;
    let empty = t.post("/units/117/clear", &[("member", ""), ("pin", "")]).await;
    assert_eq!(empty.status, 422);
    assert!(empty.said_at("ground").starts_with("Tick what it is about"), "{}", empty.text());
    assert_eq!(empty.said_at("why"), "Say how it was cleaned, in a few words.");
    assert_eq!(empty.said_at("member"), "Choose your name.");
    let wrong = [("ground", ground.as_str()), ("why", "Soap <mild>"), ("member", "olga"), ("pin", "1")];
    let wrong = t.post("/units/117/clear", &wrong).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.said_at("pin").starts_with("Name and PIN do not go together"), "{}", wrong.text());
    assert!(wrong.html.contains(&format!("value=\"{ground}\" checked")));
    assert!(wrong.html.contains("Soap &#60;mild&#62;</textarea>"));
    assert!(wrong.html.contains(r#"<option value="olga" selected>"#));
    // Who may not is told so at the name, which is kept.
    let admin = t.post("/units/117/clear", &signed(&ground, "Brushed", "ada")).await;
    assert_eq!(admin.status, 422);
    assert_eq!(admin.said_at("member"), "This needs the signature of: technician or officer.");
    assert!(admin.html.contains(r#"<option value="ada" selected>"#));
    // A ground that is not open.
    let other = t.post("/units/117/clear", &signed("soiled/other", "Brushed", "tom")).await;
    assert_eq!(other.status, 422);
    assert!(other.said_at("ground").contains("changed since you looked"), "{}", other.text());
    assert_eq!(d.records().await, before);
}

#[tokio::test]
async fn only_what_is_ticked_is_clean() {
    let d = district().await;
    d.checked().await;
    d.used("117", "ana", "kitchen fire", Condition::Soiled).await;
    d.pass(MINUTE);
    d.used("117", "ana", "solvent spill", Condition::Contaminated).await;
    let mut officer = d.signed_in("olga").await;
    let form = officer.get("/units/117/clear").await.ok();
    assert!(form.text().contains("Protective gloves on."), "{}", form.text());
    let grounds = form.values("ground");
    assert_eq!(grounds.len(), 2);
    let spill = grounds.iter().find(|g| g.starts_with("contaminated/")).unwrap();
    assert_eq!(officer.post("/units/117/clear", &signed(spill, "Washed", "olga")).await.status, 303);
    assert_eq!(d.state("117").await, State::PutRight);
    let form = officer.get("/units/117/clear").await.ok();
    assert_eq!(form.values("ground").len(), 1);
    assert!(!form.text().contains("Protective gloves"), "{}", form.text());
    // What was cleaned is not cleaned twice.
    let before = d.records().await;
    assert_eq!(officer.post("/units/117/clear", &signed(spill, "Washed", "olga")).await.status, 422);
    assert_eq!(d.records().await, before);
}

#[tokio::test]
async fn an_administrator_releases_a_held_unit_and_nothing_else_is_done_to_it_before() {
    let d = district().await;
    d.checked().await;
    d.used("117", "ana", "kitchen fire", Condition::Contaminated).await;
    d.say("hold", "117", "olga", "Injury at the mill fire").await;
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/units/117").await.ok();
    assert!(!page.html.contains("/units/117/clear"), "an officer is not sent to release it");
    let mut admin = d.signed_in("ada").await;
    assert!(offered(&admin.get("/units/117").await.ok(), "Release it"));
    assert!(
        offered(&d.tablet().await.get("/units/117").await.ok(), "Release it"),
        "who is not signed in may"
    );
    let form = admin.get("/units/117/clear").await.ok();
    let says = form.text();
    assert!(says.contains("Held for an inquiry: Injury at the mill fire."), "{says}");
    assert!(says.contains("Release it only when whoever inquires has said so"), "{says}");
    assert!(says.contains("What stays open: Contaminated: kitchen fire."), "{says}");
    let grounds = form.values("ground");
    assert_eq!(grounds.len(), 1);
    let dirty = d.open("117").await.into_iter().find(|g| g.starts_with("contaminated/")).unwrap();
    let before = d.records().await;
    assert_eq!(admin.post("/units/117/clear", &signed(&dirty, "Washed", "olga")).await.status, 422);
    let refused = admin.post("/units/117/clear", &signed(&grounds[0], "Inquiry over", "olga")).await;
    assert_eq!(refused.status, 422);
    assert_eq!(refused.said_at("member"), "This needs the signature of: administrator.");
    assert_eq!(d.records().await, before);
    let done = admin.post("/units/117/clear", &signed(&grounds[0], "Inquiry over", "ada")).await;
    assert_eq!(done.status, 303);
    assert_eq!(d.state("117").await, State::OutOfService);
    assert!(offered(&officer.get("/units/117").await.ok(), "It is clean"));
}

#[tokio::test]
async fn a_new_unit_goes_into_service_on_its_last_good_acceptance_check() {
    let d = district().await;
    d.arrives().await;
    let mut t = d.signed_in("tom").await;
    let page = t.get("/units/150").await.ok();
    assert!(page.text().contains("serial and edition of its regulator"), "{}", page.text());
    assert!(page.text().contains("Enter its parts") && !page.html.contains("/clear"));
    d.labels("150").await;
    let page = t.get("/units/150").await.ok();
    assert!(
        page.text().contains("Still to be entered: its flow test with the certificate."),
        "{}",
        page.text()
    );
    assert!(page.text().contains("Enter its flow test"));
    d.flow_tested("150").await;
    let page = t.get("/units/150").await.ok();
    assert!(page.text().contains("Start the acceptance check") && !page.html.contains("/clear"));
    assert_eq!(t.get("/units/150/clear").await.status, 409);
    // One that left something to put right, and a check for another purpose, are no acceptance.
    let low = [("cylinder-pressure", &[("at", Raw::Text("3800 psi".into()))][..])];
    d.check("150", "tom", Purpose::Acceptance, &low).await;
    d.pass(MINUTE);
    d.check("150", "tom", Purpose::ShiftStart, &[]).await;
    assert_eq!(t.get("/units/150/clear").await.status, 409);
    d.pass(MINUTE);
    d.check("150", "tom", Purpose::Acceptance, &[]).await;
    assert!(offered(&t.get("/units/150").await.ok(), "Take it into service"));
    assert!(!d.signed_in("olga").await.get("/units/150").await.ok().html.contains("/clear"));
    let form = t.get("/units/150/clear").await.ok();
    let says = form.text();
    assert!(says.contains("New: not yet accepted into service."), "{says}");
    assert!(says.contains("A life will hang on this unit."), "{says}");
    assert!(says.contains("the acceptance check of 07:06 by Tom Varga"), "{says}");
    let (ground, first) = (form.value("ground"), form.value("check"));
    // Another one was made in the meantime: the signature is for the one that was read.
    d.pass(MINUTE);
    d.check("150", "tom", Purpose::Acceptance, &[]).await;
    let fields = |check: &str| {
        [
            ("ground", ground.clone()),
            ("check", check.to_owned()),
            ("member", "ada".into()),
            ("pin", PIN.into()),
        ]
    };
    let sent = fields(&first);
    let stale = t.post("/units/150/clear", &sent.each_ref().map(|(n, v)| (*n, v.as_str()))).await;
    assert_eq!(stale.status, 422);
    assert!(stale.said_at("ground").starts_with("There is another acceptance check"), "{}", stale.text());
    assert_eq!(d.state("150").await, State::OutOfService);
    let sent = fields(&stale.value("check"));
    let done = t.post("/units/150/clear", &sent.each_ref().map(|(n, v)| (*n, v.as_str()))).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/units/150"), "{}", done.text());
    assert_eq!(d.state("150").await, State::InService);
    let before = d.records().await;
    let again = t.post("/units/150/clear", &sent.each_ref().map(|(n, v)| (*n, v.as_str()))).await;
    assert_eq!((again.status, d.records().await), (409, before));
}

#[tokio::test]
async fn who_is_not_signed_in_is_offered_it_and_signs_in_on_the_way_and_the_crew_is_not() {
    let d = district().await;
    d.checked().await;
    d.used("117", "ana", "kitchen fire", Condition::Soiled).await;
    assert!(offered(&d.tablet().await.get("/units/117").await.ok(), "It is clean"));
    assert_eq!(d.tablet().await.get("/units/117/clear").await.to, "/sign-in?next=/units/117/clear");
    assert!(!d.signed_in("ana").await.get("/units/117").await.ok().html.contains("/clear"));
}

#[tokio::test]
async fn a_unit_with_nothing_to_clear_says_so() {
    let d = district().await;
    d.checked().await;
    let mut t = d.signed_in("tom").await;
    let page = t.get("/units/117/clear").await;
    assert_eq!(page.status, 409);
    assert!(page.text().contains("Nothing is open on unit 117"), "{}", page.text());
    assert_eq!(t.get("/units/999/clear").await.status, 404);
}

#[tokio::test]
async fn a_verdict_leads_to_the_ticket_only_whom_it_lets_in() {
    let d = district().await;
    d.checked().await;
    let seq = d.gauges_apart("130").await;
    let address = format!("/records/{seq}/verdict");
    assert!(d.tablet().await.get(&address).await.ok().html.contains("/tickets/1"));
    assert!(d.signed_in("tom").await.get(&address).await.ok().html.contains("/tickets/1"));
    assert!(!d.signed_in("ana").await.get(&address).await.ok().html.contains("/tickets/1"));
}
