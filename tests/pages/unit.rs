//! A unit's page, its record, its tag, and taking it out of service.

use airmuster_domain::judge::Raw;
use airmuster_domain::record::{Asset, Place, Register};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{MINUTE, PIN, district};

#[tokio::test]
async fn in_service_is_never_said_without_the_check_that_proves_it() {
    let d = district().await;
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    let page = d.tablet().await.get("/units/117").await.ok();
    insta::assert_snapshot!(page.part("Unit 117", "Readings"), @r"
    Unit 117
    In service
    Checked 07:04, due by tomorrow 08:30
    4,480 psi
    Everything asked was good in its last complete check.
    Ana Wick, 07:04 · the record
    It counts until tomorrow 08:30.
    Check again It was used Take out of service
    ");
}

#[tokio::test]
async fn a_finding_is_said_with_its_arithmetic_and_what_clears_it() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    let page = d.tablet().await.get("/units/130").await.ok();
    insta::assert_snapshot!(page.part("Unit 130", "Readings"), @r"
    Unit 130
    Out of service
    Last good check 07:04
    4,480 psi
    Gauge agreement: 490 psi apart; limit 450 psi, the stricter of 10 % of 4,500 and 450 psi.
    Limit from: common practice, no published source
    Ana Wick, 07:05 · the record
    Cleared by a return that lists it, with a proving check. Who can: a technician qualified for this profile.
    See the ticket Print the red tag It was used Take out of service
    ");
    insta::assert_snapshot!(page.part("What happened", "–"), @r"
    What happened
    07:05
    Ticket 1 opened
    07:05
    Shift-start check
    Out of service. Gauge agreement: 490 psi apart; limit 450 psi, the stricter of 10 % of 4,500 and 450 psi. Ana Wick
    07:04
    Shift-start check
    Everything asked is good. Ana Wick
    07:04
    Moved
    To Engine 2, seat 3.
    07:04
    Entered in the register
    ");
}

#[tokio::test]
async fn a_number_that_nothing_is_known_of_is_not_found_and_makes_no_record() {
    let d = district().await;
    let mut browser = d.tablet().await;
    let before = d.records().await;
    assert_eq!(browser.get("/units/999").await.status, 404);
    let id = uuid::Uuid::from_u128(77).to_string();
    let sent =
        browser.post("/units/999/out", &[("id", &id), ("why", "x"), ("member", "ana"), ("pin", PIN)]).await;
    assert_eq!((sent.status, d.records().await), (404, before));
}

#[tokio::test]
async fn a_form_that_is_not_complete_comes_back_with_everything_entered() {
    let d = district().await;
    d.checked().await;
    let mut browser = d.tablet().await;
    let before = d.records().await;
    let id = browser.get("/units/117/out").await.ok().value("id");
    let wrong =
        [("id", id.as_str()), ("why", "Bent <backframe>"), ("held", "yes"), ("member", "ben"), ("pin", "1")];
    let page = browser.post("/units/117/out", &wrong).await;
    assert_eq!(page.status, 422);
    assert!(page.html.contains("Bent &#60;backframe&#62;</textarea>"), "{}", page.html);
    assert!(page.html.contains(r#"name="held" value="yes" checked"#));
    assert!(page.html.contains(r#"<option value="ben" selected>"#));
    assert_eq!(page.value("id"), id);
    assert!(page.said_at("pin").starts_with("Name and PIN do not go together"), "{}", page.said_at("pin"));
    let empty = browser.post("/units/117/out", &[("id", &id)]).await;
    assert_eq!(
        (empty.said_at("why"), empty.said_at("member")),
        ("Say why, in a few words.".into(), "Choose your name.".into())
    );
    assert_eq!(d.records().await, before);
}

#[tokio::test]
async fn any_members_word_takes_a_unit_out_and_going_back_to_send_again_makes_nothing_new() {
    let d = district().await;
    d.checked().await;
    let mut browser = d.tablet().await;
    let id = browser.get("/units/117/out").await.ok().value("id");
    let word = [("id", id.as_str()), ("why", "Fell off the rig"), ("member", "ben"), ("pin", PIN)];
    let sent = browser.post("/units/117/out", &word).await;
    assert_eq!((sent.status, sent.to.as_str()), (303, "/units/117"));
    assert_eq!(d.state("117").await, State::OutOfService);
    let page = browser.get("/units/117").await.ok().text();
    assert!(page.contains("Taken out of service: Fell off the rig."), "{page}");
    assert!(page.contains("Ben Orr, 07:04"), "{page}");
    let before = d.records().await;
    d.pass(MINUTE);
    assert_eq!(browser.post("/units/117/out", &word).await.status, 303);
    assert_eq!(d.records().await, before);
}

#[tokio::test]
async fn a_word_sent_again_after_it_was_dealt_with_is_never_lost_in_silence() {
    let d = district().await;
    d.checked().await;
    let mut browser = d.signed_in("tom").await;
    let id = browser.get("/units/117/out").await.ok().value("id");
    let word = [("id", id.as_str()), ("why", "Strap slips"), ("member", "ben"), ("pin", PIN)];
    browser.post("/units/117/out", &word).await;
    d.pass(MINUTE);
    d.check("117", "tom", Purpose::Proving, &[]).await;
    let form = browser.get("/tickets/1").await.ok();
    let (ground, proving) = (form.value("ground"), form.value("proving"));
    let back = [
        ("ground", ground.as_str()),
        ("proving", proving.as_str()),
        ("worked_on", "other"),
        ("remedy", "Strap exchanged"),
        ("member", "tom"),
        ("pin", PIN),
    ];
    assert_eq!(browser.post("/tickets/1/return", &back).await.status, 303);
    assert_eq!(d.state("117").await, State::InService);
    d.pass(MINUTE);
    let again = browser.post("/units/117/out", &word).await;
    assert_eq!(again.status, 422);
    assert!(again.said_at("why").contains("dealt with since"), "{}", again.said_at("why"));
    let fresh = again.value("id");
    assert_ne!(fresh, id);
    let word = [("id", fresh.as_str()), ("why", "Strap slips"), ("member", "ben"), ("pin", PIN)];
    assert_eq!(browser.post("/units/117/out", &word).await.status, 303);
    assert_eq!(d.state("117").await, State::OutOfService);
}

#[tokio::test]
async fn held_for_an_inquiry_also_when_only_the_second_sending_says_so() {
    let d = district().await;
    d.checked().await;
    let mut browser = d.tablet().await;
    let id = browser.get("/units/121/out").await.ok().value("id");
    let word = [("id", id.as_str()), ("why", "Injury"), ("member", "ben"), ("pin", PIN)];
    browser.post("/units/121/out", &word).await;
    assert_eq!(d.state("121").await, State::OutOfService);
    let held = [&word[..], &[("held", "yes")]].concat();
    assert_eq!(browser.post("/units/121/out", &held).await.status, 303);
    assert_eq!(d.state("121").await, State::Held);
    let page = browser.get("/units/121").await.ok().text();
    assert!(!page.contains("Take out of service\n"), "{page}");
    assert!(page.contains("Who can: an administrator."), "{page}");
}

#[tokio::test]
async fn a_red_tag_names_its_record_and_there_is_none_for_a_unit_in_service() {
    let d = district().await;
    d.checked().await;
    assert_eq!(d.tablet().await.get("/units/130/tag").await.status, 409);
    let seq = d.gauges_apart("130").await;
    let tag = d.tablet().await.get("/units/130/tag").await.ok();
    let digest = d.store.record(seq).await.unwrap().unwrap().record.name.digest.to_string();
    assert!(tag.text().contains(&digest[..12]), "{}", tag.text());
    insta::assert_snapshot!(tag.text().replace(&digest[..12], "(digest)"), @r"
    Out of service
    Unit 130
    4,500 psi, low-air alarm at a third
    Engine 2, seat 3
    Because
    Gauge agreement: 490 psi apart; limit 450 psi, the stricter of 10 % of 4,500 and 450 psi.
    Taken out
    07:04
    By
    Ana Wick
    Ticket
    1
    Record
    (digest)
    Scan for this unit’s page: how it stands now, and why.
    Do not use. Do not remove this tag. Only a qualified technician returns this unit to service.
    Small Valley District
    ");
}

#[tokio::test]
async fn a_record_shows_all_that_was_entered_where_it_came_from_and_its_seals() {
    let d = district().await;
    let seq = d.gauges_apart("130").await;
    let page = d.tablet().await.get(&format!("/records/{seq}")).await.ok();
    let text = page.text();
    insta::assert_snapshot!(page.part("Findings", "Contents"), @r"
    Findings
    Gauge agreement
    490 psi apart; limit 450 psi, the stricter of 10 % of 4,500 and 450 psi.
    Limit from: common practice, no published source
    ");
    insta::assert_snapshot!(page.part("Open the valve", "Alarms"), @r"
    Open the valve
    Cylinder valve : done
    good (cylinder C-130) Turns freely by hand, stays open, no air at its stem.
    Alarm at opening : done
    good The alarm sounds its start-up signal, then stops.
    Status lights at opening : done
    good Each one comes on. None goes on showing a fault.
    Display at opening : done
    good It comes on and shows a full cylinder.
    Gauge agreement : out of service
    4,480 psi and 3,990 psi no more than 450 psi (10 % of 4,500) apart
    Leak at a connection : done
    good No hiss, no draught.
    Leak anywhere else : done
    good No hiss, and no air from the regulator by itself.
    ");
    let kept = d.store.record(seq).await.unwrap().unwrap();
    let link = d.store.link_of(seq).await.unwrap().unwrap();
    for said in [
        kept.record.name.id.to_string(),
        kept.record.name.digest.to_string(),
        link.hash.to_string(),
        link.previous.to_string(),
        "tablet 4".to_owned(),
        "2026-11-26 07:04:00 UTC".to_owned(),
        "Shipped table, edition 2".to_owned(),
    ] {
        assert!(text.contains(&said), "{said} is not in {text}");
    }
    assert_eq!(d.tablet().await.get("/records/99999").await.status, 404);
}

#[tokio::test]
async fn an_answer_that_cannot_be_read_is_shown_as_it_came_and_never_as_done() {
    let d = district().await;
    let blue = [("cylinder", Raw::Text("blue".into())), ("remote", Raw::Text("4480 psi".into()))];
    let seq = d.check("130", "ana", Purpose::ShiftStart, &[("gauge-agreement", &blue)]).await;
    let page = d.tablet().await.get(&format!("/records/{seq}")).await.ok();
    let row = page.part("Gauge agreement : ", "Leak at a connection");
    assert!(row.starts_with("Gauge agreement : to do\ncylinder blue, remote 4480 psi"), "{row}");
    let text = page.text();
    assert!(text.contains("Until it is settled, nothing good follows from it."), "{text}");
    assert!(text.contains("Not answered\nGauge agreement"), "{text}");
    assert!(page.html.contains(&format!("/records/{seq}/settle")));
    let crew = d.signed_in("ana").await.get(&format!("/records/{seq}")).await.ok();
    assert!(!crew.html.contains("/settle"), "a crew member is not sent where only an officer may go");
}

#[tokio::test]
async fn routine_is_folded_up_and_a_move_is_told() {
    let d = district().await;
    for _ in 0..6 {
        d.check("117", "ana", Purpose::ShiftStart, &[]).await;
        d.pass(24 * 60 * MINUTE);
    }
    d.register(Register::Holder { asset: Asset::unit("117"), place: Place::Bench }).await;
    let page = d.tablet().await.get("/units/117").await.ok();
    let text = page.part("What happened", "–");
    assert!(text.contains("Moved\nOn the bench."), "{text}");
    assert!(text.contains("6 good checks, 26 Nov to 1 Dec"), "{text}");
}

#[tokio::test]
async fn a_check_of_a_unit_that_is_held_is_kept_and_releases_nothing_and_no_step_is_shown() {
    let d = district().await;
    let mut crew = d.signed_in("ana").await;
    let says = "This unit is held for an inquiry: leave it exactly as it is.";
    assert!(!crew.get("/units/117/check").await.ok().text().contains(says));
    d.say("hold", "117", "ben", "the alarm was silent").await;
    let page = crew.get("/units/117/check").await.ok();
    assert!(page.text().contains(says) && !page.html.contains("<form class=\"check\""), "{}", page.text());
    assert!(page.text().contains("the alarm was silent"), "{}", page.text());
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("117").await, State::Held);
}

#[tokio::test]
async fn who_holds_a_unit_is_asked_how_it_was_found_and_what_is_on_it_is_held_with_it() {
    let d = district().await;
    d.checked().await;
    let mut crew = d.signed_in("ana").await;
    let id = crew.get("/units/117/out").await.ok().value("id");
    let fields = [
        ("id", id.as_str()),
        ("why", "Wearer short of air"),
        ("held", "yes"),
        ("member", "ana"),
        ("pin", PIN),
    ];
    let held = crew.post("/units/117/out", &fields).await;
    assert_eq!((held.status, held.to.as_str()), (303, "/assets/unit:117/seal"), "{}", held.text());
    let form = crew.get(&held.to).await.ok();
    assert!(form.text().contains("Turns to close the valve"), "{}", form.text());
    for asset in [Asset::unit("117"), Asset::facepiece("F-117"), Asset::cylinder("C-117")] {
        assert_eq!(d.state_of(&asset).await, State::Held, "{asset}");
    }
    // How it was found is written down; what is held already is not held twice.
    let found = [
        ("id", form.value("id")),
        ("pressure", "2300".to_owned()),
        ("turns", "4.5".to_owned()),
        ("place", "Mill Lane 4".to_owned()),
        ("with", "cylinder:C-117".to_owned()),
        ("member", "ana".to_owned()),
        ("pin", PIN.to_owned()),
    ];
    let before = d.records().await;
    let sealed = crew.post("/assets/unit:117/seal", &found.each_ref().map(|(n, v)| (*n, v.as_str()))).await;
    assert_eq!((sealed.status, d.records().await), (303, before + 1), "{}", sealed.text());
    // Released, it is still out until it is proved; what was packed with it is released by itself.
    let mut admin = d.signed_in("ada").await;
    let form = admin.get("/units/117/clear").await.ok();
    let packed = form.part("Packed with it and still held", "Sign");
    assert!(packed.contains("Cylinder C-117, Facepiece F-117"), "{}", form.text());
    let path = "/assets/cylinder:C-117/release";
    assert!(form.html.contains(&format!("href=\"{path}\"")));
    let own = admin.get(path).await.ok();
    let none = [("ground", own.value("ground")), ("member", "ada".to_owned()), ("pin", PIN.to_owned())];
    let none = admin.post(path, &none.each_ref().map(|(n, v)| (*n, v.as_str()))).await;
    assert_eq!((none.status, none.said_at("why").as_str()), (422, "Say who released it, and why."));
    let why = ("why", "Inquiry over".to_owned());
    let of_it = [("ground", own.value("ground")), why, ("member", "ada".to_owned()), ("pin", PIN.to_owned())];
    let of_it = of_it.each_ref().map(|(n, v)| (*n, v.as_str()));
    assert_eq!(admin.post(path, &of_it).await.status, 303);
    assert_eq!(d.state_of(&Asset::cylinder("C-117")).await, State::OutOfService, "it is proved first");
    assert_eq!(admin.get(path).await.status, 409);
    let release = [
        ("ground", form.value("ground")),
        ("why", "Inquiry over".to_owned()),
        ("member", "ada".to_owned()),
        ("pin", PIN.to_owned()),
    ];
    let release: Vec<(&str, &str)> = release.iter().map(|(n, v)| (*n, v.as_str())).collect();
    assert_eq!(admin.post("/units/117/clear", &release).await.status, 303);
    assert_eq!(d.state("117").await, State::OutOfService);
}
