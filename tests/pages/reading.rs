//! Reading changes nothing: every page asked for, by everybody, leaves what is kept as it is. And
//! what is somebody's own is kept by no browser.

use airmuster::service::verify::{Depth, verify};
use airmuster::web::routes;
use airmuster_domain::record::Digest;
use airmuster_domain::rules::{self, Purpose};
use airmuster_domain::standing::State;
use axum::http::Method;

use super::district::district;
use super::rights::path;

#[tokio::test]
async fn asking_for_every_page_leaves_the_logbook_and_all_that_is_computed_from_it_unchanged() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    let check = d.answered("121", Purpose::ShiftStart, &[]).await;
    d.submit_unproven(&check, "ben").await;
    let before = d.store.head().await.unwrap();
    let mut asked = 0;
    for member in ["", "ana", "olga", "tom", "ada"] {
        let mut browser = if member.is_empty() { d.nobody() } else { d.signed_in(member).await };
        for route in routes().into_iter().filter(|r| r.method == Method::GET) {
            browser.get(&path(route.path)).await;
            asked += 1;
        }
    }
    assert!(asked > 100, "only {asked} were asked for");
    assert_eq!(d.store.head().await.unwrap(), before);
    // And all that is kept beside it is what it would be if it were made anew.
    let report = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

#[tokio::test]
async fn a_check_is_judged_by_the_table_that_it_was_made_with_and_what_todays_would_say_stands_beside_it() {
    let d = district().await;
    let before = d.check("121", "ana", Purpose::ShiftStart, &[]).await;
    let stricter = rules::DEFAULT.replace("above = \"90 % of rated\"", "above = \"99.9 % of rated\"");
    assert_ne!(stricter, rules::DEFAULT);
    d.rules(&stricter).await;
    // Written on a tablet that had not heard of the new table.
    let seq = d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("117").await, State::InService);
    assert_eq!(d.state("121").await, State::InService, "and what was judged before is not judged again");
    let mut officer = d.signed_in("olga").await;
    for seq in [before, seq] {
        let said = officer.get(&format!("/records/{seq}")).await.ok().text();
        assert!(said.contains("By the rule table in force today"), "{said}");
        assert!(said.contains("Something would have to be put right. It changes nothing here."), "{said}");
    }
    let form = officer.get("/units/117/check").await.ok();
    assert!(
        !form.html.contains(&Digest::of(rules::DEFAULT.as_bytes()).to_string()),
        "new forms are of the new one"
    );
    let report = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(report.problems.is_empty(), "{report}");
}

#[tokio::test]
async fn a_browser_is_told_to_keep_no_page_and_no_answer() {
    let d = district().await;
    d.gauges_apart("130").await;
    for member in ["", "olga", "tom", "ada"] {
        let mut browser = if member.is_empty() { d.nobody() } else { d.signed_in(member).await };
        for route in routes().into_iter().filter(|r| r.method == Method::GET) {
            // What is the same for everybody is asked for again each time.
            let file = route.path.starts_with("/static/") || route.path == "/sw.js";
            let kept = browser.get(&path(route.path)).await.kept;
            assert_eq!(kept, if file { "no-cache" } else { "no-store" }, "{} as {member:?}", route.path);
        }
    }
}
