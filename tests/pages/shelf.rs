//! Pages that are shown again as they were rendered.

use airmuster_domain::judge::Raw;
use airmuster_domain::rules::Purpose;

use super::district::{MINUTE, district};

const SHELVED: [&str; 4] = ["/stations/mill", "/units/117", "/rigs", "/bench"];

#[tokio::test]
async fn a_page_is_shown_again_to_nobody_but_whom_it_was_rendered_for() {
    let d = district().await;
    let (mut olga, mut ada) = (d.signed_in("olga").await, d.signed_in("ada").await);
    for path in SHELVED {
        for _ in 0..2 {
            let (hers, others) = (olga.get(path).await.ok().html, ada.get(path).await.ok().html);
            assert!(hers.contains("Olga Fenn") && !hers.contains("Ada Lindqvist"), "{path}");
            assert!(others.contains("Ada Lindqvist") && !others.contains("Olga Fenn"), "{path}");
        }
    }
    let mut ana = d.signed_in("ana").await;
    assert_eq!(ana.get("/rigs").await.status, 403, "what officers were shown is still theirs alone");
    olga.post("/sign-out", &[]).await;
    assert_eq!(olga.get("/rigs").await.status, 303);
}

/// The value of a hidden field, and what the script finds.
fn hidden<'a>(page: &'a str, name: &str) -> &'a str {
    let from = format!("name=\"{name}\" value=\"");
    page.split_once(&from).and_then(|(_, rest)| rest.split_once('"')).expect("a hidden field").0
}

#[tokio::test]
async fn a_form_from_the_shelf_is_a_form_of_its_own_and_otherwise_the_same() {
    let d = district().await;
    let mut olga = d.signed_in("olga").await;
    let first = olga.get("/units/117/check").await.ok().html;
    let tablet = olga.get("/units/117/check").await.ok().html;
    d.pass(1_000);
    let again = olga.get("/units/117/check").await.ok().html;
    let own = ["id", "started"].map(|name| [hidden(&tablet, name), hidden(&again, name)]);
    for [before, after] in own {
        assert!(before != after && !again.contains(before), "{after}");
        assert_eq!(tablet.matches(before).count(), again.matches(after).count());
    }
    let [[id, new_id], [started, new_started]] = own;
    assert!(
        tablet.replace(id, new_id).replace(started, new_started) == again,
        "made anew, or changed elsewhere"
    );
    assert!(hidden(&first, "id") != id && hidden(&first, "id") != new_id);
    let mut ada = d.signed_in("ada").await;
    let hers = ada.get("/units/117/check").await.ok().html;
    assert!(hidden(&hers, "id") != new_id && !hers.contains("Olga Fenn"));
    let wrong = [("harness-condition", &[("good", Raw::Flag(false))][..])];
    d.check("117", "ana", Purpose::ShiftStart, &wrong).await;
    assert!(
        olga.get("/units/117/check").await.ok().text().contains("Harness condition"),
        "what is open on it"
    );
}

#[tokio::test]
async fn a_shelved_page_changes_with_what_is_written_and_with_the_minute_and_with_nothing_else() {
    let d = district().await;
    let mut olga = d.signed_in("olga").await;
    // From now on the browser knows its station, which the pages name.
    olga.get("/stations/mill").await.ok();
    // Each page says to the millisecond when it was made.
    let mut pages = Vec::new();
    for path in SHELVED {
        pages.push(olga.get(path).await.ok().html);
    }
    let other = olga.get("/stations").await.ok().html;
    d.pass(1_000);
    for (path, before) in SHELVED.into_iter().zip(&pages) {
        assert!(olga.get(path).await.ok().html == *before, "{path} was made anew");
    }
    assert!(olga.get("/stations").await.ok().html != other, "one that is not shelved is made anew");
    d.pass(MINUTE);
    assert!(olga.get("/bench").await.ok().html.contains("07:05"), "the minute has gone by");
    let wrong = [("harness-condition", &[("good", Raw::Flag(false))][..])];
    d.check("117", "ana", Purpose::ShiftStart, &wrong).await;
    for path in SHELVED {
        let page = olga.get(path).await.ok().text();
        // The bench says which step it was, the others what it has come to.
        assert!(page.contains("ut of service") || page.contains("Harness condition"), "{path}: {page}");
    }
}
