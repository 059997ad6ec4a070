//! After use: what was used at what, by whom, and how it came back.

use std::collections::BTreeMap;

use airmuster_domain::record::{Asset, Body, Cadence, Condition, Field, Place, Register, Used};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{District, MINUTE, PIN, district};

async fn uses(d: &District) -> Vec<Used> {
    let mut out = Vec::new();
    for seq in 1..=d.records().await {
        if let Body::Field(Field::Used(used)) = d.store.record(seq).await.unwrap().unwrap().record.body {
            out.push(used);
        }
    }
    out
}

#[tokio::test]
async fn one_form_writes_a_use_for_each_unit_and_asks_for_the_check_after_it() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    let mut officer = d.signed_in("olga").await;
    let on = [("officer", "olga"), ("driver", "ana"), ("seat-3", "ben")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &on).await.status, 303);
    let mut tablet = d.tablet().await;
    let form = tablet.get("/rigs/engine-2/used").await.ok();
    // Who sits there and what is fitted are proposed.
    assert_eq!(form.value("c.121"), "C-121");
    assert!(form.html.contains("value=\"ana\" selected"), "{}", form.html);
    let id = form.value("id");
    let fields = [
        ("id", id.as_str()),
        ("occasion", "incident"),
        ("what", "call 26-0412, Weir Cottages"),
        ("u.117", "yes"),
        ("s.117", "soiled"),
        ("w.117", "olga"),
        ("c.117", "C-117"),
        ("u.121", "yes"),
        ("s.121", "contaminated"),
        ("w.121", "ana"),
        ("c.121", "C-121, C-9"),
        ("s.130", ""),
        ("member", "ana"),
        ("pin", PIN),
    ];
    assert_eq!(tablet.post("/rigs/engine-2/used", &fields).await.status, 303);
    let uses_now = uses(&d).await;
    let said: Vec<_> = uses_now.iter().map(|u| (u.unit.as_str(), u.wearer.as_deref())).collect();
    assert_eq!(said, [("117", Some("olga")), ("121", Some("ana"))]);
    assert_eq!(uses_now[1].cylinders, ["C-121", "C-9"]);
    assert_eq!(d.state("117").await, State::PutRight, "soiled");
    assert_eq!(d.state("121").await, State::OutOfService, "contaminated");
    assert_eq!(d.state("130").await, State::InService, "not ticked");
    let page = tablet.get("/units/121").await.ok().text();
    assert!(
        page.contains("Bag it, keep it out of the cab, and clean it before anybody inspects it"),
        "{page}"
    );
    assert!(page.contains("worn by Ana Wick; cylinders C-121, C-9"), "{page}");
    // Sent again from a page gone back to, it is the same use.
    let again = tablet.post("/rigs/engine-2/used", &fields).await;
    assert_eq!(again.status, 303);
    assert_eq!(uses(&d).await.len(), 2);
    let written = tablet.get(&again.to).await.ok().text();
    assert!(written.contains("Written down: 117, 121"), "{written}");
}

#[tokio::test]
async fn a_form_sent_again_with_other_ticks_loses_no_use_and_says_what_was_not_changed() {
    let d = district().await;
    d.checked().await;
    let mut tablet = d.tablet().await;
    let id = tablet.get("/rigs/engine-2/used").await.ok().value("id");
    let fields = |id: &str, condition: &str, more: &[&str]| {
        let mut out = vec![
            ("id".to_owned(), id.to_owned()),
            ("occasion".to_owned(), "incident".to_owned()),
            ("what".to_owned(), "call 26-0412".to_owned()),
            ("s.117".to_owned(), condition.to_owned()),
            ("s.130".to_owned(), "clean".to_owned()),
            ("member".to_owned(), "ana".to_owned()),
            ("pin".to_owned(), PIN.to_owned()),
        ];
        out.extend(more.iter().map(|unit| (format!("u.{unit}"), "yes".to_owned())));
        out
    };
    let mut send = async |fields: Vec<(String, String)>| {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        tablet.post("/rigs/engine-2/used", &fields).await
    };
    let units = async || uses(&d).await.into_iter().map(|u| u.unit).collect::<Vec<_>>();
    assert_eq!(send(fields(&id, "clean", &["117"])).await.status, 303);
    // Back, and another one is ticked instead.
    assert_eq!(send(fields(&id, "clean", &["130"])).await.status, 303);
    assert_eq!(units().await, ["117", "130"]);
    // Back, and it came back otherwise: what is written stays, and that is said.
    let other = send(fields(&id, "contaminated", &["117", "130"])).await;
    assert_eq!(other.status, 422);
    assert!(other.said_at("s.117").contains("What you changed is not written down yet."), "{}", other.text());
    assert!(other.text().contains("Written down: 130."), "{}", other.text());
    assert!(!other.html.contains("name=\"u.130\" value=\"yes\" checked"), "{}", other.html);
    assert_eq!(units().await.len(), 2);
    let new = other.value("id");
    assert_eq!(send(fields(&new, "contaminated", &["117"])).await.status, 303);
    assert_eq!(uses(&d).await.last().unwrap().condition, Condition::Contaminated);
    assert_eq!(d.state("117").await, State::OutOfService);
}

#[tokio::test]
async fn a_clean_use_ends_with_the_check_after_it() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    let mut tablet = d.tablet().await;
    let form = tablet.get("/units/142/used").await.ok();
    let id = form.value("id");
    let fields = [
        ("id", id.as_str()),
        ("occasion", "training"),
        ("what", "stairs"),
        ("u.142", "yes"),
        ("s.142", "clean"),
        ("member", "ben"),
        ("pin", PIN),
    ];
    let sent = tablet.post("/units/142/used", &fields).await;
    assert_eq!(sent.status, 303);
    let written = tablet.get(&sent.to).await.ok();
    assert!(written.text().contains("Written down: 142"), "{}", written.text());
    assert!(written.html.contains("href=\"/units/142/check?purpose=after-use\""), "{}", written.html);
    assert!(!written.html.contains("<form class=\"used\""), "it is not asked for again");
    assert_eq!(d.state("142").await, State::CheckDue);
    // What its cylinder held before is said nowhere as if it held it now.
    let line = |html: &str| {
        html.split("<li class=\"line ").last().unwrap().split("</li>").next().unwrap().to_owned()
    };
    let spare = line(&tablet.get("/stations/mill").await.ok().html);
    assert!(spare.contains("Unit 142") && spare.contains("Used: stairs. Not read since."), "{spare}");
    assert!(!spare.contains("4,480"), "{spare}");
    d.pass(6 * MINUTE);
    assert!(!tablet.get(&sent.to).await.ok().text().contains("Written down: 142"), "an old address");
    // The check at the start of a shift asks less, and does not do.
    d.check("142", "ben", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("142").await, State::CheckDue);
    // That check has read the cylinder since.
    assert!(tablet.get("/units/142").await.ok().text().contains("4,480 psi"));
    d.pass(MINUTE);
    for page in ["/units/142", "/stations/mill"] {
        assert!(tablet.get(page).await.ok().text().contains("Start after-use check"), "{page}");
    }
    let form = tablet.get("/units/142/check").await.ok();
    assert_eq!(form.value("purpose"), "after-use");
    assert!(form.html.contains("a.wearer-report.1"), "the wearer is asked");
    d.check("142", "ben", Purpose::AfterUse, &[]).await;
    assert_eq!(d.state("142").await, State::InService);
}

#[tokio::test]
async fn a_check_that_was_stopped_before_a_use_is_not_gone_on_with() {
    let d = district().await;
    d.checked().await;
    let mut check = d.answered("142", Purpose::ShiftStart, &[]).await;
    check.outcome = airmuster_domain::record::Outcome::Stopped;
    d.submit_part(&check).await;
    let mut tablet = d.tablet().await;
    let board = tablet.get("/stations/mill").await.ok().html;
    let at = board.split("/units/142/check?continues=").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let address = format!("/units/142/check?continues={at}");
    assert_eq!(tablet.get(&address).await.ok().value("purpose"), "shift-start");
    d.pass(MINUTE);
    d.used("142", "ben", "stairs", Condition::Clean).await;
    let board = tablet.get("/stations/mill").await.ok();
    assert!(!board.html.contains("continues=") && board.text().contains("Start after-use check"));
    let led = tablet.get(&address).await;
    assert_eq!((led.status, led.to.as_str()), (303, "/units/142/check?purpose=after-use"));
}

#[tokio::test]
async fn what_has_no_tablets_name_yet_gets_one_with_the_page_of_a_unit_that_is_not_checked_too() {
    let d = district().await;
    d.say("hold", "142", "olga", "an inquiry").await;
    let mut new = d.signed_in("ben").await;
    let page = new.get("/units/142/check").await.ok();
    assert!(page.text().contains("held for an inquiry") && !page.html.contains("<form class=\"check\""));
    assert!(new.cookie("airmuster_tablet").starts_with("tablet-"));
}

#[tokio::test]
async fn a_form_for_a_unit_that_is_not_known_yet_promises_no_ride() {
    let d = district().await;
    for form in ["", "/after-use"] {
        let page = d.tablet().await.get(&format!("/forms/{}{form}", d.profile())).await.ok().html;
        assert!(
            page.contains("\"after\":{") && page.contains("Whether it rides, the station says."),
            "{page}"
        );
    }
}

#[tokio::test]
async fn whoever_asks_for_no_other_gets_the_check_that_is_due_and_a_tablet_keeps_it() {
    let d = district().await;
    let (asset, at) = (Asset::unit("142"), Place::Spare { station: "mill".to_owned() });
    d.register(Register::Unit {
        number: "142".to_owned(),
        profile: d.profile().to_owned(),
        cadence: Cadence::Weekly,
        in_use: true,
        serials: BTreeMap::new(),
    })
    .await;
    d.register(Register::Holder { asset, place: at }).await;
    let mut tablet = d.tablet().await;
    assert_eq!(tablet.get("/units/142/check").await.ok().value("purpose"), "periodic");
    assert_eq!(tablet.get("/units/117/check").await.ok().value("purpose"), "shift-start");
    assert_eq!(tablet.get("/units/117/check?purpose=proving").await.ok().value("purpose"), "proving");
    assert!(tablet.get("/units/142").await.ok().text().contains("Start periodic check"));
    d.used("117", "ana", "a drill", Condition::Clean).await;
    assert_eq!(tablet.get("/units/117/check").await.ok().value("purpose"), "after-use");
    let after_use = format!("/forms/{}/after-use", d.profile());
    assert!(tablet.get("/offline/list").await.ok().html.contains(&after_use));
    assert_eq!(tablet.get(&after_use).await.ok().value("purpose"), "after-use");
}

#[tokio::test]
async fn what_was_used_while_out_of_service_is_written_down_and_says_so() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.say("taken_out", "130", "ben", "strap").await;
    let mut tablet = d.tablet().await;
    let form = tablet.get("/units/130/used").await.ok();
    assert!(form.text().contains("It should not have been used."), "{}", form.text());
    let id = form.value("id");
    let nothing = [("id", id.as_str()), ("member", "ben"), ("pin", PIN)];
    let again = tablet.post("/units/130/used", &nothing).await;
    assert_eq!(again.status, 422);
    let kept = "Everything you entered is still here, but for the PIN: give it again.";
    assert!(again.text().contains(kept), "{}", again.text());
    for (field, say) in
        [("occasion", "Choose what it was."), ("what", "Say which one"), ("units", "Tick what was used.")]
    {
        assert!(again.said_at(field).contains(say), "{field}: {}", again.text());
    }
    let fields = [
        ("id", id.as_str()),
        ("occasion", "burn"),
        ("what", "drill yard"),
        ("u.130", "yes"),
        ("s.130", "clean"),
        ("member", "ben"),
        ("pin", PIN),
    ];
    assert_eq!(tablet.post("/units/130/used", &fields).await.status, 303);
    assert!(uses(&d).await[0].while_out);
    assert_eq!(d.state("130").await, State::OutOfService);
    let page = tablet.get("/units/130").await.ok().text();
    assert!(page.contains("Used while out of service") && page.contains("Burn: drill yard"), "{page}");
}
