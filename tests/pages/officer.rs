//! The rigs, moving a spare, and settling what is in doubt.

use airmuster_domain::judge::Raw;
use airmuster_domain::record::Register;
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{DAY, District, MINUTE, PIN, district};

#[tokio::test]
async fn the_roster_puts_open_seats_first_and_says_what_fixes_each() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    let mut officer = d.signed_in("olga").await;
    insta::assert_snapshot!(officer.get("/rigs").await.ok().text(), @r"
    Rigs
    Swap plan Teams Fit tests Not inspected How often Lent and borrowed Settings Record Questions Wall page
    Millrace
    Engine 2 Seat 3: out of service 2 of 3 seats ready
    ");
    insta::assert_snapshot!(officer.get("/rigs/engine-2").await.ok().text(), @r"
    Millrace station
    Engine 2
    2 of 3 seats ready
    2 checks are due by tomorrow 08:30.
    Engine 2, seat 3: spare 142 at Millrace, at the rig’s own station; in service and of the same kind as unit 130. Unit 130 then stays at the station without a seat.
    Put spare 142 there
    Seat 3 Unit 130
    Out of service Last good check 07:04
    4,480 psi
    Gauge agreement: 490 psi apart; limit 450 psi, the stricter of 10 % of 4,500 and 450 psi.
    See the ticket
    Officer Unit 117
    In service Checked 07:04, due by tomorrow 08:30
    4,480 psi
    Driver Unit 121
    In service Checked 07:04, due by tomorrow 08:30
    4,480 psi
    Crew on duty Accept rig and crew Move or lend the rig Daily sheet We used these
    ");
    assert_eq!(officer.get("/rigs/engine-9").await.status, 404);
}

#[tokio::test]
async fn a_spare_is_moved_once_and_only_while_things_are_as_they_were_shown() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/rigs/engine-2").await.ok();
    let action = "/swap";
    assert!(page.html.contains("action=\"/swap\""), "{}", page.html);
    let fields = [("move", "seat-3|142|130"), ("rig", "engine-2")];
    let moved = officer.post(action, &fields).await;
    assert_eq!((moved.status, moved.to.split('?').next()), (303, Some("/rigs/engine-2")));
    // What was moved is said, by the record itself.
    let text = officer.get(&moved.to).await.ok().text();
    assert!(text.contains("Moved: 142 to Engine 2, seat 3."), "{text}");
    assert!(text.contains("3 of 3 seats ready") && text.contains("Unit 142"), "{text}");
    let others = officer.get("/rigs/engine-2?moved=1,2,x,99999").await.ok().text();
    assert!(!others.contains("Moved:"), "{others}");
    // Whoever was slower sees what there is to be moved by now.
    let before = d.records().await;
    let late = officer.post(action, &fields).await;
    assert_eq!(late.status, 409);
    let text = late.text();
    assert!(text.contains("Moved already: 142 to Engine 2, seat 3. This is how it is now."), "{text}");
    assert!(text.contains("No seat needs another unit."), "{text}");
    assert_eq!(d.records().await, before);
    let old = d.tablet().await.get("/units/130").await.ok().text();
    assert!(old.contains("spare at Millrace"), "{old}");
    let gone = officer.post(action, &[("move", "seat-3|999|130")]).await;
    assert!(gone.text().contains("Nothing was moved; this is how it is now."), "{}", gone.text());
    // An address that is opened again later tells nothing.
    d.pass(6 * MINUTE);
    let later = officer.get(&moved.to).await.ok().text();
    assert!(!later.contains("Moved:"), "{later}");
}

#[tokio::test]
async fn a_swap_is_offered_for_the_shift_that_runs_and_for_none_to_come() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    d.pass(super::district::DAY - 24 * MINUTE);
    let mut officer = d.signed_in("olga").await;
    let now = officer.get("/rigs/engine-2").await.ok().html;
    assert!(now.contains("action=\"/swap\""), "{now}");
    let next = now.split("href=\"/rigs/engine-2?shift=").nth(1).unwrap().split('"').next().unwrap();
    let then = officer.get(&format!("/rigs/engine-2?shift={next}")).await.ok().html;
    assert!(!then.contains("action=\"/swap\""), "{then}");
}

#[tokio::test]
async fn no_unit_is_proposed_that_may_not_ride_itself() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    d.say("taken_out", "142", "ben", "strap").await;
    let mut officer = d.signed_in("olga").await;
    assert!(!officer.get("/rigs/engine-2").await.ok().html.contains("action=\"/swap\""));
    let moved = officer.post("/swap", &[("move", "seat-3|142|130")]).await;
    assert_eq!(moved.status, 409);
}

/// What a check reads: the cylinder before anything is opened, and the pair of gauges under pressure.
fn read(cylinder: &str, pair: &str) -> [(&'static str, Vec<(&'static str, Raw)>); 2] {
    let text = |t: &str| Raw::Text(t.into());
    [
        ("cylinder-pressure", vec![("at", text(cylinder))]),
        ("gauge-agreement", vec![("cylinder", text(pair)), ("remote", text(pair))]),
    ]
}

async fn reads(d: &District, unit: &str, cylinder: &str, pair: &str) {
    let said = read(cylinder, pair);
    let but: Vec<(&str, &[(&str, Raw)])> = said.iter().map(|(step, values)| (*step, &values[..])).collect();
    d.check(unit, "ana", Purpose::ShiftStart, &but).await;
}

#[tokio::test]
async fn a_cylinder_is_as_full_as_its_gauge_said_last_on_every_page() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    // 90 % of 4,500 psi is 4,050.
    reads(&d, "117", "4060 psi", "4000 psi").await;
    assert_eq!(d.state("117").await, State::InService);
    let mut officer = d.signed_in("olga").await;
    let roster = officer.get("/rigs/engine-2").await.ok().text();
    assert!(roster.contains("2 of 3 seats ready"), "{roster}");
    assert!(roster.contains("Cylinder at 4,000 psi; it must be above 4,050 psi."), "{roster}");
    for page in ["/stations/mill", "/stations", "/rigs"] {
        let text = officer.get(page).await.ok().text();
        assert!(text.contains("2 of 3 seats ready"), "{page}: {text}");
    }
    let sheet = officer.get("/rigs/engine-2/sheet").await.ok().text();
    assert!(sheet.contains("C-117, 4,000 psi"), "{sheet}");
}

#[tokio::test]
async fn a_spare_is_proposed_only_where_it_makes_the_seat_ready() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    reads(&d, "142", "4060 psi", "4000 psi").await;
    let mut officer = d.signed_in("olga").await;
    let plan = officer.get("/swap").await.ok();
    assert!(plan.values("move").is_empty(), "its cylinder is low: {}", plan.text());
    let text = plan.text();
    assert!(text.contains("Engine 2, seat 3, unit 130: Gauge agreement: 490 psi apart"), "{text}");
    assert!(text.contains("No spare of its kind is ready anywhere."), "{text}");
    // A full one, with a facepiece that fits the officer, whom the one on her own unit does not.
    d.pass(MINUTE);
    d.check("142", "ana", Purpose::ShiftStart, &[]).await;
    let large = ("F-142".to_owned(), "large".to_owned());
    d.register(Register::Facepiece { number: large.0, size: large.1 }).await;
    let fit = [("tested", "2026-03-01"), ("make", "Invented"), ("model", "One"), ("style", "full")];
    for (member, size, cleared) in [("olga", "large", "yes"), ("ana", "medium", "no")] {
        let fit: Vec<(&str, &str)> = fit.into_iter().chain([("size", size)]).collect();
        assert_eq!(officer.post(&format!("/fitness/{member}/fit"), &fit).await.status, 303);
        let word = [("since", "2026-01-15"), ("cleared", cleared)];
        assert_eq!(officer.post(&format!("/fitness/{member}/clearance"), &word).await.status, 303);
    }
    let on = [("officer", "olga"), ("driver", ""), ("seat-3", "ana")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &on).await.status, 303);
    let plan = officer.get("/swap").await.ok();
    assert_eq!(plan.values("move"), ["officer|142|117"], "{}", plan.text());
    // Who may not wear any attracts none, and what fixes the others is said.
    let text = plan.text();
    assert!(
        text.contains("Engine 2, driver, unit 121: Nobody is on this seat. Put somebody on it."),
        "{text}"
    );
    assert!(text.contains("Ana Wick: not medically cleared. Seat another member."), "{text}");
}

fn both<'a>(digests: &'a [String], member: &'a str, accepted: &'a str) -> [(&'a str, &'a str); 6] {
    [
        ("variant", &digests[0]),
        ("variant", &digests[1]),
        ("accepted", accepted),
        ("why", "Asked Ana"),
        ("member", member),
        ("pin", PIN),
    ]
}

#[tokio::test]
async fn a_settlement_names_every_version_and_makes_no_unit_better() {
    let d = district().await;
    d.pass(DAY);
    let good = d.answered("117", Purpose::ShiftStart, &[]).await;
    let first = d.submit_check(&good, "ana").await;
    let mut other = good.clone();
    for answer in other.answers.iter_mut().filter(|a| a.step == "harness-condition") {
        answer.values.insert("good".into(), Raw::Flag(false));
    }
    other.started += 1;
    let second = d.submit_check(&other, "ana").await;
    assert_eq!(d.state("117").await, State::OutOfService);
    let mut officer = d.signed_in("olga").await;
    let page = officer.get(&format!("/records/{first}")).await.ok();
    assert!(page.text().contains("2 versions of one record were handed in."), "{}", page.text());
    let address = format!("/records/{first}/settle");
    let form = officer.get(&address).await.ok();
    let digests = form.values("variant");
    assert_eq!(digests.len(), 2);
    // One version unread, nothing chosen.
    let one = [("variant", digests[0].as_str()), ("why", "Asked Ana"), ("member", "olga"), ("pin", PIN)];
    let again = officer.post(&address, &one).await;
    assert_eq!(again.status, 422);
    assert!(again.html.contains("Asked Ana</textarea>"));
    assert!(again.html.contains(&format!("value=\"{}\" checked", digests[0])));
    assert!(again.said_at("variant").contains("every version"), "{}", again.said_at("variant"));
    assert!(again.said_at("accepted").contains("which one holds"), "{}", again.said_at("accepted"));
    // A crew member's PIN does not settle.
    let crew = officer.post(&address, &both(&digests, "ben", "none")).await;
    assert_eq!(crew.status, 422);
    assert!(crew.said_at("member").contains("officer or administrator"), "{}", crew.said_at("member"));
    let good = d.store.record(first).await.unwrap().unwrap().record.name.digest.to_string();
    let settled = officer.post(&address, &both(&digests, "olga", &good)).await;
    assert_eq!((settled.status, settled.to.as_str()), (303, "/units/117"));
    // The good version holds; what the other one found stays found.
    let open = d.open("117").await;
    assert_eq!(open.len(), 1, "{open:?}");
    assert!(open.first().unwrap().starts_with("finding/"), "{open:?}");
    assert_eq!(d.state("117").await, State::OutOfService);
    assert_eq!(officer.get(&address).await.status, 409);
    let page = officer.get(&format!("/records/{second}")).await.ok().text();
    assert!(page.contains("How it was settled") && !page.contains("Settle it"), "{page}");
}

#[tokio::test]
async fn a_check_with_a_signature_that_nothing_proves_counts_only_once_an_officer_accepts_it() {
    let d = district().await;
    let check = d.answered("117", Purpose::ShiftStart, &[]).await;
    let seq = d.submit_unproven(&check, "ana").await;
    assert_eq!(d.state("117").await, State::CheckDue);
    let unit = d.tablet().await.get("/units/117").await.ok().text();
    assert!(unit.contains("Everything asked is good, but it does not count."), "{unit}");
    let mut officer = d.signed_in("olga").await;
    let address = format!("/records/{seq}/settle");
    let form = officer.get(&address).await.ok();
    assert!(form.text().contains("signature is not proven"), "{}", form.text());
    let digest = form.value("variant");
    let fields = [
        ("variant", digest.as_str()),
        ("accepted", digest.as_str()),
        ("why", "I saw her do it"),
        ("member", "olga"),
        ("pin", PIN),
    ];
    assert_eq!(officer.post(&address, &fields).await.status, 303);
    assert_eq!(d.state("117").await, State::InService);
}

#[tokio::test]
async fn a_record_that_a_tablet_must_have_written_is_missed_by_its_number() {
    let d = district().await;
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/tablets/gaps").await.ok();
    assert!(page.text().contains("No number is missing"), "{}", page.text());
    d.numbered("121", 1, None).await;
    d.numbered("121", 3, Some("00".repeat(32))).await;
    insta::assert_snapshot!(officer.get("/tablets/gaps").await.ok().text(), @r"
    Missing records
    Each tablet counts what it writes. Here the count does not fit: something was written that is not in the logbook.
    Tablet 4 seen 07:04
    number 2 never arrived
    Open “On this tablet” on it. If the record is there, press Send now, or save it to a file and take the file in. If it is not, ask who used the tablet then, and check those units again.
    I have looked into it
    What you found out, and whom you asked
    Note it as dealt with
    What a tablet has written and not yet sent shows here only once it sends something later.
    ");
}

#[tokio::test]
async fn an_officer_notes_what_became_of_a_missing_record_and_it_stays_to_be_read() {
    let d = district().await;
    d.numbered("117", 1, None).await;
    d.numbered("117", 3, None).await;
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/tablets/gaps").await.ok();
    let gap = page.value("gap");
    let empty = officer.post("/tablets/gaps", &[("gap", &gap), ("why", " ")]).await;
    assert_eq!(empty.status, 422);
    assert!(empty.said_at(&gap).contains("Write down what you found out"), "{}", empty.html);
    let why = "Ana dropped it in the river; unit 117 was checked again";
    d.pass(MINUTE);
    let done = officer.post("/tablets/gaps", &[("gap", &gap), ("why", why)]).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/tablets/gaps"));
    let page = officer.get("/tablets/gaps").await.ok();
    let text = page.text();
    for words in ["has been looked into", "Tablet 4: number 2 never arrived", "Olga Fenn, 07:05", why] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let record = officer.get(&format!("/records/{}", d.records().await)).await.ok().text();
    for words in ["Missing records were looked into", "Number 2 never arrived", why, "Signed by Olga Fenn"] {
        assert!(record.contains(words), "{words}: {record}");
    }
    let again = officer.post("/tablets/gaps", &[("gap", &gap), ("why", why)]).await;
    assert_eq!(again.status, 409, "somebody has dealt with it");
}
