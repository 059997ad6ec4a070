//! The watch list: a unit whose gauges move apart stands on it before it fails a check.

use airmuster_domain::judge::Raw;
use airmuster_domain::rules::Purpose;

use super::district::{MINUTE, district};

#[tokio::test]
async fn gauges_that_move_apart_are_on_the_watch_list_with_a_date_and_their_numbers() {
    let d = district().await;
    for day in 0..25 {
        let text = |n: i64| Raw::Text(format!("{n} psi").into());
        let values = [("cylinder", text(4480)), ("remote", text(4480 - 10 * day))];
        d.check("130", "ana", Purpose::ShiftStart, &[("gauge-agreement", &values)]).await;
        d.check("117", "ana", Purpose::ShiftStart, &[]).await;
        d.pass(24 * 60 * MINUTE);
    }
    let mut tom = d.signed_in("tom").await;
    let page = tom.get("/watch").await.ok();
    let text = page.text();
    assert!(text.contains("Unit 130") && !text.contains("Unit 117"), "{text}");
    assert!(text.contains("limit 450 psi either way"), "{text}");
    assert!(text.contains("−300.0 psi in 30 days"), "{text}");
    assert!(text.contains("Going on like this it reaches −450 psi about"), "{text}");
    assert!(page.html.contains("<svg class=\"trend\""), "a chart");
    let own = tom.get("/units/130").await.ok();
    assert!(own.text().contains("Low-air alarm starts"), "{}", own.text());
    assert!(!d.tablet().await.get("/units/130").await.ok().html.contains("<svg class=\"trend\""));
}
