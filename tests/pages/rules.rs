//! A rule table from draft to in force.

use airmuster::service::ruling::{self, come_into_force};
use airmuster::service::verify::{Depth, verify};
use airmuster_domain::record::Digest;
use airmuster_domain::rules::{self, Purpose};
use airmuster_domain::standing::State;

use super::browser::Page;
use super::district::{DAY, District, MINUTE, PROFILE, district};

/// Gauges may be 5 psi apart and no more: those of the district are 10 apart.
fn strict() -> String {
    let text = rules::DEFAULT.replace("edition = \"2\"", "edition = \"strict\"");
    let changed = text.replace("largest = [\"10 % of rated\", \"450 psi\"]", "largest = [\"5 psi\"]");
    assert_ne!(text, changed, "the shipped table was worded anew");
    changed
}

async fn upload(d: &District, text: &str) -> Page {
    let mut ada = d.signed_in("ada").await;
    ada.post_files("/rules", &[("file", Some("rules.toml"), text)]).await
}

#[tokio::test]
async fn a_table_with_a_fault_is_not_kept_and_the_line_is_told() {
    let d = district().await;
    let page = upload(&d, &rules::DEFAULT.replace("kind = \"pair\"", "kind = \"pear\"")).await;
    assert_eq!(page.status, 422);
    assert!(page.text().contains("line ") && page.text().contains("pear"), "{}", page.text());
    assert_eq!(upload(&d, "").await.status, 422);
    assert!(d.store.rule_drafts().await.unwrap().is_empty());
}

#[tokio::test]
async fn a_draft_is_seen_as_a_form_compared_and_tried_on_last_months_checks() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    let before = d.records().await;
    let to = upload(&d, &strict()).await.to;
    assert_eq!(to, format!("/rules/{}", Digest::of(strict().as_bytes())));
    let mut ada = d.signed_in("ada").await;
    let page = ada.get(&to).await.ok();
    let text = page.text();
    assert!(text.contains("Table: edition") && text.contains("strict"), "{text}");
    assert!(text.contains("Gauge agreement: limit"), "{text}");
    assert!(text.contains("at most 10 % of rated and 450 psi apart"), "{text}");
    assert!(text.contains("at most 5 psi apart"), "{text}");
    assert!(
        text.contains(
            "4 checks of the last 31 days were judged by it. 4 units would have been out of service:"
        ),
        "{text}"
    );
    assert!(text.contains("Unit 117") && text.contains("10 psi apart"), "{text}");
    assert!(page.html.contains("4 units become check due as of now"), "{}", page.html);
    assert!(text.contains("As a form") && text.contains("Otherwise out of service"), "{text}");
    let other = ada.get(&format!("{to}?profile={PROFILE}&purpose=proving")).await.ok();
    assert!(other.html.contains("<option value=\"proving\" selected>"));
    assert_eq!(d.records().await, before, "looking changes nothing");
    assert_eq!(d.state("117").await, State::InService);
    // Thrown away, it is gone.
    assert_eq!(ada.post(&format!("{to}/drop"), &[]).await.to, "/rules");
    assert_eq!(ada.get(&to).await.status, 404);
}

#[tokio::test]
async fn put_in_force_now_last_checks_stay_unless_they_are_to_be_looked_at_again() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    let to = upload(&d, &strict()).await.to;
    let mut ada = d.signed_in("ada").await;
    let before = d.records().await;
    let refused = ada.post(&format!("{to}/start"), &[("again", "no"), ("hours", "soon")]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.text().contains("Give whole hours") && refused.html.contains("value=\"soon\""));
    assert_eq!(ada.post(&format!("{to}/start"), &[("again", "no"), ("hours", "36")]).await.to, to);
    assert_eq!(d.records().await, before + 1);
    assert!(ada.get(&to).await.ok().text().contains("In force since 07:05"));
    assert_eq!(d.state("117").await, State::InService);
    // A form is made with it from now on.
    assert!(ada.get("/units/117/check").await.ok().html.contains(&to.replace("/rules/", "")));
}

#[tokio::test]
async fn looked_at_again_a_unit_is_check_due_until_a_check_passes_the_new_table() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    let to = upload(&d, &strict()).await.to;
    let mut ada = d.signed_in("ada").await;
    ada.post(&format!("{to}/start"), &[("again", "yes")]).await;
    assert_eq!(d.state("117").await, State::CheckDue);
    let page = ada.get("/units/117").await.ok().text();
    assert!(page.contains("The rule table changed and the last check does not pass it"), "{page}");
    d.pass(MINUTE);
    // One that was made with the old table and knew of it is a good check still; one knows of it now.
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("117").await, State::InService);
    assert_eq!(d.state("121").await, State::CheckDue);
    let report = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

#[tokio::test]
async fn at_a_stated_time_it_comes_into_force_by_itself() {
    let d = district().await;
    let to = upload(&d, &strict()).await.to;
    let mut ada = d.signed_in("ada").await;
    for (day, time) in [("2026-11-25", "07:00"), ("2026-11-27", ""), ("soon", "07:00")] {
        let page = ada.post(&format!("{to}/start"), &[("day", day), ("time", time)]).await;
        assert_eq!(page.status, 422, "{day} {time}");
        assert!(!page.said_at("day").is_empty());
    }
    let before = d.records().await;
    ada.post(&format!("{to}/start"), &[("day", "2026-11-27"), ("time", "07:00"), ("again", "yes")]).await;
    let page = ada.get("/rules").await.ok().text();
    assert!(
        page.contains("It comes into force tomorrow 07:00. Last checks are looked at again then."),
        "{page}"
    );
    come_into_force(&d.store, d.intake(), &d.clock).await.unwrap();
    assert_eq!(d.records().await, before);
    d.pass(DAY);
    come_into_force(&d.store, d.intake(), &d.clock).await.unwrap();
    assert_eq!(d.records().await, before + 1);
    assert_eq!(d.store.rules_in_force().await.unwrap(), Some(Digest::of(strict().as_bytes())));
    assert!(d.store.rule_drafts().await.unwrap().is_empty());
}

#[tokio::test]
async fn whoever_said_when_must_still_be_administrator_then() {
    let d = district().await;
    let to = upload(&d, &strict()).await.to;
    let mut ada = d.signed_in("ada").await;
    ada.post(&format!("{to}/start"), &[("day", "2026-11-27"), ("time", "07:00")]).await;
    let roles = vec!["crew".to_owned()];
    let entry = airmuster_domain::record::Register::Member { id: "ada".to_owned(), roles, qualified: vec![] };
    d.register(entry).await;
    d.pass(DAY);
    come_into_force(&d.store, d.intake(), &d.clock).await.unwrap();
    assert_eq!(d.store.rules_in_force().await.unwrap(), None);
    let draft = &d.store.rule_drafts().await.unwrap()[0];
    assert!(draft.refused.as_ref().unwrap().contains("administrator"), "{draft:?}");
}

#[tokio::test]
async fn a_table_without_a_profile_in_use_is_warned_of() {
    let d = district().await;
    d.checked().await;
    let text = rules::DEFAULT.replace(PROFILE, "us-4500-other");
    let to = upload(&d, &text).await.to;
    let page = d.signed_in("ada").await.get(&to).await.ok().text();
    assert!(page.contains(&format!("units of profile “{PROFILE}”")), "{page}");
    let table = rules::parse(&text).unwrap();
    let trial = ruling::try_on(&d.store, d.clock.now(), &table).await.unwrap();
    assert_eq!((trial.checks, trial.unknown), (0, 4));
}

#[tokio::test]
async fn a_check_by_a_table_whose_time_is_over_says_why_it_does_not_count() {
    let d = district().await;
    let before = d.answered("117", Purpose::ShiftStart, &[]).await;
    let to = upload(&d, &strict()).await.to;
    let mut ada = d.signed_in("ada").await;
    assert_eq!(ada.post(&format!("{to}/start"), &[("again", "no"), ("hours", "0")]).await.to, to);
    d.pass(MINUTE);
    let seq = d.submit_check(&before, "ana").await;
    assert_eq!(d.state("117").await, State::CheckDue);
    let mut ana = d.signed_in("ana").await;
    let verdict = ana.get(&format!("/records/{seq}/verdict")).await.ok().text();
    assert!(verdict.contains("its time is over") && verdict.contains("Check it again"), "{verdict}");
    let record = ana.get(&format!("/records/{seq}")).await.ok().text();
    assert!(record.contains("Why it does not count"), "{record}");
    let word = ana.get(&format!("/records/{}", seq + 1)).await.ok().text();
    assert!(word.contains("made with a rule table whose time was over"), "{word}");
}
