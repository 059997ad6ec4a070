//! The bench, a ticket, proving and returning, retiring.

use airmuster_domain::judge::Raw;
use airmuster_domain::record::{Asset, Outcome, Place, Register};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::browser::{Browser, Page};
use super::district::{DAY, District, MINUTE, PIN, district};

#[tokio::test]
async fn the_bench_says_because_and_puts_open_seats_first_and_those_who_wait_aside() {
    let d = district().await;
    d.checked().await;
    d.say("taken_out", "142", "ben", "Cracked backframe").await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    d.pass(MINUTE);
    d.say("taken_out", "121", "ana", "Hose chafed").await;
    let mut technician = d.signed_in("tom").await;
    insta::assert_snapshot!(technician.get("/bench").await.ok().text(), @r"
    Bench
    Watch list: what drifts toward a limit
    Notices
    Lent and borrowed
    Approvals
    Labels
    Narrow it down
    Stage
    Things
    From
    Number or word
    Only what I am qualified to return
    Show these
    1
    Because Engine 2, seat 3 is open
    Gauge agreement: 490 psi apart; limit 450 psi, the stricter of 10 % of 4,500 and 450 psi
    Unit 130 4,500 psi, low-air alarm at a third
    1 min ticket 2
    Reported
    Put it on the bench
    2
    Because Engine 2, driver is open
    Taken out of service: Hose chafed
    Unit 121 4,500 psi, low-air alarm at a third
    0 min ticket 3
    Reported
    Put it on the bench
    3
    Because Millrace has no spare left
    Taken out of service: Cracked backframe
    Unit 142 4,500 psi, low-air alarm at a third
    2 min ticket 1
    Reported
    Put it on the bench
    ");
    let waits =
        technician.post("/tickets/2/stage", &[("stage", "waiting_for_parts"), ("was", "reported")]).await;
    assert_eq!((waits.status, waits.to.as_str()), (303, "/tickets/2"));
    let text = technician.get("/bench").await.ok().part("Standing aside", "–");
    assert!(text.contains("Because Engine 2, seat 3 is open, but it waits for parts"), "{text}");
}

#[tokio::test]
#[expect(clippy::too_many_lines, reason = "one story, told in order")]
async fn from_the_finding_to_a_proved_return() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    let mut t = d.signed_in("tom").await;
    let page = t.get("/tickets/1").await.ok();
    insta::assert_snapshot!(page.text(), @r"
    Ticket 1 · opened 07:05 by a check of Ana Wick
    Unit 130 Out of service
    4,500 psi, low-air alarm at a third · first on the bench, because Engine 2, seat 3 is open
    Found
    Gauge agreement
    490 psi apart; limit 450 psi, the stricter of 10 % of 4,500 and 450 psi.
    Limit from: common practice, no published source
    Readings, check by check
    26 Nov 4,480 / 4,470 · 10 apart · alarm 1,520
    26 Nov 4,480 / 3,990 · 490 apart · alarm 1,520
    Wide bar: cylinder gauge. Heavy line near its end: other gauge. Heavy line at the left: where the low-air alarm started. Hairlines: lowest alarm, recharge, rated.
    Parts
    Regulator
    RG-130
    Cylinder
    C-130
    Facepiece
    F-130
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
    Stage: Reported
    Why if it helps the next one
    1
    Put it back in the queue
    2
    Take it on the bench
    3
    Wait for parts
    4
    Ready to prove
    Send it to an outside repairer
    Repairer
    Their reference
    Due back
    Lent meanwhile number, if any
    A unit that another department or the repairer lends gets a number here first: borrow a unit.
    Whatever comes back has a check before it rides.
    Send it
    Work
    What was done
    Parts used
    Readings
    Write it down
    Nothing written down yet.
    Photos
    A photo of the damage
    What it shows
    Add the photo
    Prove
    Start the proving check
    Return to service
    No proving check stands since the ticket was opened. Repair it, then prove it: everything asked, everything good.
    Retire it for good
    ");
    d.pass(MINUTE);
    t.post("/tickets/1/stage", &[("stage", "on_the_bench"), ("was", "reported")]).await;
    let empty = t.post("/tickets/1/work", &[("text", " "), ("parts", "gauge 1")]).await;
    assert_eq!((empty.status, empty.said_at("text").as_str()), (422, "Write down what was done."));
    assert_eq!(empty.value("parts"), "gauge 1");
    let work = [("text", "Remote gauge exchanged"), ("parts", "gauge 1"), ("readings", "4,500 and 4,490")];
    assert_eq!(t.post("/tickets/1/work", &work).await.status, 303);
    d.pass(MINUTE);
    d.check("130", "tom", Purpose::Proving, &[]).await;
    let form = t.get("/tickets/1").await.ok();
    assert!(form.text().contains("The proving check, 07:07 by Tom Varga, stands."), "{}", form.text());
    assert!(form.html.contains("Remote gauge exchanged.</textarea>"), "the work log goes into the return");
    let (ground, proving) = (form.value("ground"), form.value("proving"));
    // Nothing entered.
    let back = returned(&mut t, &proving, &[]).await;
    assert_eq!(back.status, 422);
    assert_eq!(back.said_at("ground"), "Tick what was dealt with; only that is returned.");
    assert_eq!(back.said_at("remedy"), "Write down what was done.");
    assert!(back.said_at("second_member").contains("second signer"), "{}", back.said_at("second_member"));
    // A gauge without a certificate; what was entered is kept, and no ground is ticked by itself.
    let gauge = [
        ("ground", ground.as_str()),
        ("worked_on", "gauge"),
        ("remedy", "Gauge exchanged"),
        ("member", "tom"),
        ("pin", PIN),
    ];
    let back = returned(&mut t, &proving, &gauge).await;
    assert!(back.said_at("certificate").contains("bench test"), "{}", back.said_at("certificate"));
    assert!(back.html.contains(&format!("value=\"{ground}\" checked")));
    assert!(back.html.contains(r#"name="worked_on" value="gauge" checked"#));
    assert!(back.html.contains("Gauge exchanged</textarea>"));
    assert_eq!(d.state("130").await, State::OutOfService);
    // Not by a technician who is not qualified for this kind of unit.
    let tia = [&gauge[..3], &[("certificate", "Bench sheet 12"), ("member", "tia"), ("pin", PIN)]].concat();
    let back = returned(&mut t, &proving, &tia).await;
    assert_eq!(back.status, 422);
    assert!(back.said_at("member").contains("qualified for this kind of unit"), "{}", back.said_at("member"));
    // As it should be.
    let done = [&gauge[..], &[("certificate", "Bench sheet 12")]].concat();
    let done = returned(&mut t, &proving, &done).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/units/130"));
    assert_eq!(d.state("130").await, State::InService);
    let unit = t.get("/units/130").await.ok().part("What happened", "Ticket 1: on the bench");
    insta::assert_snapshot!(unit, @r"
    What happened
    07:07
    Returned to service
    Gauge exchanged. Worked on: gauge. Bench test or certificate: Bench sheet 12. Tom Varga
    07:07
    Proving check
    Everything asked is good. Tom Varga
    07:06
    Work on ticket 1
    Remote gauge exchanged. Parts: gauge 1. Readings: 4,500 and 4,490. Tom Varga
    07:06
    ");
    let closed = t.get("/tickets/1").await.ok().text();
    assert!(closed.contains("This ticket is closed: returned."), "{closed}");
    // A return sent again finds nothing to return, and makes no record.
    let before = d.records().await;
    let again = [&gauge[..], &[("certificate", "Bench sheet 12")]].concat();
    assert_eq!(returned(&mut t, &proving, &again).await.status, 409);
    assert_eq!(d.records().await, before);
}

/// The fields of a form with every step that it asks answered as good.
fn all_good(form: &Page) -> Vec<(String, String)> {
    let mut fields: Vec<(String, String)> = Vec::new();
    for name in ["id", "started", "purpose", "rules", "repaired", "seen"] {
        fields.extend(form.values(name).into_iter().map(|value| (name.to_owned(), value)));
    }
    for at in form.html.split("name=\"a.").skip(1) {
        let name = format!("a.{}", at.split('"').next().unwrap_or_default());
        if name.ends_with(".1.good") && !fields.iter().any(|(known, _)| *known == name) {
            fields.push((name, "yes".to_owned()));
        }
    }
    fields
}

#[tokio::test]
async fn a_torn_strap_is_proved_by_what_its_repair_can_have_touched_and_after_work_on_a_gauge_by_everything()
{
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    let torn = [("harness-condition", &[("good", Raw::Flag(false))][..])];
    d.check("130", "ana", Purpose::ShiftStart, &torn).await;
    d.pass(MINUTE);
    let mut t = d.signed_in("tom").await;
    let ticket = t.get("/tickets/1").await.ok();
    let prove = "/units/130/check?purpose=proving&#38;repaired=harness-condition";
    assert!(ticket.html.contains(prove), "{}", ticket.html);
    let text = ticket.text();
    assert!(text.contains("Prove this repair: 8 steps") && text.contains("Prove everything"), "{text}");
    let form = t.get(&prove.replace("&#38;", "&")).await.ok();
    let fields = all_good(&form);
    let signed = [("member".to_owned(), "tom".to_owned()), ("pin".to_owned(), PIN.to_owned())];
    let fields = [&fields[..], &signed].concat();
    let fields: Vec<(&str, &str)> = fields.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    assert_eq!(fields.iter().filter(|(name, _)| name.starts_with("a.")).count(), 8);
    let review = t.post("/units/130/check", &[&fields[..], &[("do", "review")]].concat()).await.ok();
    assert!(review.text().contains("It rides after the return to service, not before."), "{}", review.text());
    assert_eq!(review.value("repaired"), "harness-condition");
    let verdict = t.post("/units/130/check/sign", &fields).await;
    assert_eq!(verdict.status, 303, "{}", verdict.text());
    let verdict = t.get(&verdict.to).await.ok().text();
    assert!(verdict.contains("Proved. Now return it to service"), "{verdict}");
    let form = t.get("/tickets/1").await.ok();
    let stands = "The proving check of what failed, 07:06 by Tom Varga, stands.";
    assert!(form.text().contains(stands), "{}", form.text());
    let (ground, proving) = (form.value("ground"), form.value("proving"));
    let strap = [
        ("ground", ground.as_str()),
        ("worked_on", "other"),
        ("remedy", "Strap exchanged"),
        ("certificate", "Bench sheet 12"),
        ("member", "tom"),
        ("pin", PIN),
    ];
    let back = returned(&mut t, &proving, &[&strap[..], &[("worked_on", "gauge")]].concat()).await;
    assert!(back.said_at("worked_on").contains("whole proving check"), "{}", back.text());
    assert_eq!(d.state("130").await, State::OutOfService);
    let told =
        "Proves a repair at: Harness condition, Repaired parts, Who repaired it. The rest has no answer.";
    assert!(form.text().contains(told), "{}", form.text());
    assert_eq!(returned(&mut t, &proving, &strap).await.status, 303);
    assert_eq!(d.state("130").await, State::InService);
}

#[tokio::test]
async fn a_proof_of_one_repair_does_not_return_what_failed_elsewhere() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    let torn = [("harness-condition", &[("good", Raw::Flag(false))][..])];
    d.check("130", "ana", Purpose::ShiftStart, &torn).await;
    d.gauges_apart("130").await;
    d.pass(MINUTE);
    let mut t = d.signed_in("tom").await;
    let ticket = t.get("/tickets/1").await.ok();
    assert!(ticket.text().contains("Start the proving check"), "{}", ticket.text());
    assert!(!ticket.html.contains("repaired="), "the gauges may have touched anything");
    // Made all the same, it proves the harness alone.
    let mut check = d.answered("130", Purpose::Proving, &[]).await;
    let touched = ["identity", "harness", "hoses", "straps", "secure", "stowed", "repair"];
    check.answers.retain(|a| touched.iter().any(|part| a.step.contains(part)));
    d.submit_check(&check, "tom").await;
    let text = t.get("/tickets/1").await.ok().text();
    assert_eq!(text.matches("does not answer everything: for this, prove everything.").count(), 1, "{text}");
    // The whole of it, made later, proves both.
    d.pass(MINUTE);
    d.check("130", "tom", Purpose::Proving, &[]).await;
    let text = t.get("/tickets/1").await.ok().text();
    assert!(text.contains("The proving check, 07:07 by Tom Varga, stands."), "{text}");
    assert!(!text.contains("prove everything"), "{text}");
}

#[tokio::test]
async fn what_a_broken_off_part_and_its_check_found_twice_is_one_thing_to_tick() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    let apart = ["4480 psi", "3990 psi"].map(|t| Raw::Text(t.into()));
    let [a, b] = apart;
    let found = [("gauge-agreement", &[("cylinder", a), ("remote", b)][..])];
    let whole = d.answered("130", Purpose::ShiftStart, &found).await;
    let mut part = whole.clone();
    part.outcome = Outcome::BrokenOff;
    part.answers.retain(|answer| answer.step == "gauge-agreement");
    d.submit_part(&part).await;
    d.submit_check(&whole, "ana").await;
    assert_eq!(d.open("130").await.len(), 2);
    d.pass(MINUTE);
    d.check("130", "tom", Purpose::Proving, &[]).await;
    let mut t = d.signed_in("tom").await;
    let form = t.get("/tickets/1").await.ok();
    let grounds = form.values("ground");
    assert_eq!(grounds.len(), 1, "{grounds:?}");
    let unit = t.get("/units/130").await.ok().part("Out of service", "See the ticket");
    assert_eq!(unit.matches("490 psi apart").count(), 1, "{unit}");
    assert!(unit.contains("Ana Wick") && !unit.contains("Unsigned"), "{unit}");
    let fields = [
        ("ground", grounds[0].as_str()),
        ("worked_on", "gauge"),
        ("remedy", "Gauge exchanged"),
        ("certificate", "Bench sheet 12"),
        ("member", "tom"),
        ("pin", PIN),
    ];
    assert_eq!(returned(&mut t, &form.value("proving"), &fields).await.status, 303);
    assert_eq!(d.state("130").await, State::InService);
}

async fn returned(browser: &mut Browser, proving: &str, fields: &[(&str, &str)]) -> Page {
    browser.post("/tickets/1/return", &[&[("proving", proving)], fields].concat()).await
}

#[tokio::test]
async fn no_fault_found_needs_a_second_signer_with_a_pin_of_their_own() {
    let d = district().await;
    d.checked().await;
    d.say("taken_out", "117", "ana", "Hissing").await;
    d.pass(MINUTE);
    d.check("117", "tom", Purpose::Proving, &[]).await;
    let mut t = d.signed_in("tom").await;
    let form = t.get("/tickets/1").await.ok();
    let (ground, proving) = (form.value("ground"), form.value("proving"));
    let own = [
        ("ground", ground.as_str()),
        ("remedy", "Listened an hour"),
        ("reproduced", "Cold, moving, at full pressure"),
        ("member", "tom"),
        ("pin", PIN),
    ];
    let nothing_done = [("ground", ground.as_str()), ("remedy", "Listened"), ("member", "tom"), ("pin", PIN)];
    let said = returned(&mut t, &proving, &nothing_done).await.said_at("reproduced");
    assert!(said.starts_with("No fault found? Then say how the conditions were reproduced"), "{said}");
    let with = |second: &'static str, pin: &'static str| {
        [&own[..], &[("second_member", second), ("second_pin", pin)]].concat()
    };
    let himself = returned(&mut t, &proving, &with("tom", PIN)).await;
    assert_eq!(himself.said_at("second_member"), "The second signer is somebody else.");
    let wrong = returned(&mut t, &proving, &with("ben", "000000")).await;
    assert!(wrong.said_at("second_pin").starts_with("Name and PIN"), "{}", wrong.text());
    assert_eq!(d.state("117").await, State::OutOfService);
    assert_eq!(returned(&mut t, &proving, &with("ben", PIN)).await.status, 303);
    assert_eq!(d.state("117").await, State::InService);
    let text = t.get("/units/117").await.ok().text();
    assert!(
        text.contains("No fault was found; second signer Ben Orr. Conditions reproduced: Cold, moving"),
        "{text}"
    );
}

#[tokio::test]
async fn only_a_qualified_technician_is_shown_the_return_form_and_others_read_why_not() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    let why = |page: &Page| page.part("Return to service", "Retire").replace("Return to service\n", "");
    let not_proved = d.signed_in("tom").await.get("/tickets/1").await.ok();
    assert!(why(&not_proved).starts_with("No proving check stands"), "{}", why(&not_proved));
    d.pass(MINUTE);
    d.check("130", "tom", Purpose::Proving, &[]).await;
    let tia = d.signed_in("tia").await.get("/tickets/1").await.ok();
    assert_eq!(why(&tia), "You are not qualified for this kind of unit. Qualified for it: Tom Varga.");
    let olga = d.signed_in("olga").await.get("/tickets/1").await.ok();
    assert_eq!(why(&olga), "A technician returns it. Qualified for it: Tom Varga.");
    assert!(!olga.html.contains("/tickets/1/work"), "an officer writes no work down");
}

#[tokio::test]
async fn a_proving_check_that_failed_or_came_before_the_fault_returns_nothing() {
    let d = district().await;
    d.checked().await;
    d.check("130", "tom", Purpose::Proving, &[]).await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    d.pass(MINUTE);
    d.check("130", "tom", Purpose::Proving, &[("bypass", &[("good", Raw::Flag(false))])]).await;
    let mut t = d.signed_in("tom").await;
    let page = t.get("/tickets/1").await.ok();
    assert!(page.text().contains("No proving check stands"), "{}", page.text());
    // A good one; then something new is found, which it cannot have proved.
    d.pass(MINUTE);
    d.check("130", "tom", Purpose::Proving, &[]).await;
    d.pass(MINUTE);
    d.say("taken_out", "130", "ben", "Smells of oil").await;
    let page = t.get("/tickets/1").await.ok();
    let after = page.text();
    assert!(after.contains("Raised after the proving check: prove it again."), "{after}");
    let new = d.open("130").await.into_iter().find(|k| k.starts_with("taken-out")).unwrap();
    let fields = [
        ("ground", new.as_str()),
        ("worked_on", "other"),
        ("remedy", "Wiped"),
        ("member", "tom"),
        ("pin", PIN),
    ];
    let forced = returned(&mut t, &page.value("proving"), &fields).await;
    assert_eq!(forced.status, 422);
    assert!(forced.said_at("ground").contains("prove it again"), "{}", forced.said_at("ground"));
}

#[tokio::test]
async fn a_facepiece_is_proved_with_a_unit_and_its_ticket_says_how() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    // The vacuum does not hold; the facepiece is tagged itself.
    d.check("117", "ana", Purpose::ShiftStart, &[("facepiece-vacuum", &[("good", Raw::Flag(false))])]).await;
    let mut t = d.signed_in("tom").await;
    let page = t.get("/tickets/1").await.ok();
    assert!(page.text().contains("Facepiece F-117"), "{}", page.text());
    assert!(
        page.text().contains("make the proving check of unit 117 with facepiece F-117 on it"),
        "{}",
        page.text()
    );
    assert!(page.html.contains("/units/117/check?purpose=proving"));
    d.register(Register::Holder { asset: Asset::facepiece("F-117"), place: Place::Bench }).await;
    let page = t.get("/tickets/1").await.ok();
    assert!(page.html.contains(r#"action="/tickets/1/prove""#), "{}", page.text());
    let to = t.get("/tickets/1/prove?unit=142").await;
    assert_eq!(to.to, "/units/142/check?purpose=proving");
    assert_eq!(t.get("/tickets/1/prove?unit=99").await.status, 404);
    d.pass(MINUTE);
    let mut check = d.answered("142", Purpose::Proving, &[]).await;
    check.facepiece = Some("F-117".to_owned());
    for answer in check.answers.iter_mut().filter(|a| a.item.as_deref() == Some("F-142")) {
        answer.item = Some("F-117".to_owned());
    }
    d.submit_check(&check, "tom").await;
    let form = t.get("/tickets/1").await.ok();
    let fields = [
        ("ground", &*form.value("ground")),
        ("worked_on", "other"),
        ("remedy", "Face seal exchanged"),
        ("member", "tom"),
        ("pin", PIN),
    ];
    let done = returned(&mut t, &form.value("proving"), &fields).await;
    assert_eq!((done.status, done.to.as_str()), (303, "/tickets/1"), "{}", done.text());
}

#[tokio::test]
async fn a_retired_unit_never_comes_back_and_is_not_retired_twice() {
    let d = district().await;
    d.checked().await;
    d.say("taken_out", "142", "ben", "Fifteen years old").await;
    let mut t = d.signed_in("tom").await;
    t.get("/units/142/retire").await.ok();
    let wrong = t.post("/units/142/retire", &[("why", "Worn"), ("member", "olga"), ("pin", PIN)]).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.said_at("member").contains("technician or administrator"), "{}", wrong.said_at("member"));
    assert!(wrong.html.contains("Worn</textarea>"));
    let done = t.post("/units/142/retire", &[("why", "Worn"), ("member", "tom"), ("pin", PIN)]).await;
    assert_eq!(done.to, "/units/142");
    assert_eq!(d.state("142").await, State::Retired);
    d.pass(DAY);
    d.check("142", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("142").await, State::Retired);
    let mut t = d.signed_in("tom").await;
    let before = d.records().await;
    let again = t.post("/units/142/retire", &[("why", "Worn"), ("member", "tom"), ("pin", PIN)]).await;
    assert_eq!((again.status, d.records().await), (409, before));
    assert!(t.get("/bench").await.ok().text().contains("Nothing to repair."));
}

#[tokio::test]
async fn nothing_is_done_to_a_unit_that_is_held() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    d.say("hold", "130", "olga", "Injury at the mill fire").await;
    let mut t = d.signed_in("tom").await;
    let page = t.get("/tickets/1").await.ok();
    assert!(page.text().contains("held for an inquiry: nothing may be done to it"), "{}", page.text());
    assert!(!page.html.contains("purpose=proving") && !page.html.contains("/tickets/1/stage"));
    let before = d.records().await;
    let work = t.post("/tickets/1/work", &[("text", "Opened it")]).await;
    assert_eq!((work.status, d.records().await), (409, before));
    // What the desk says is why: nobody was faster.
    let says = work.text();
    assert!(says.contains("Not possible now\nThis is held for an inquiry: nothing may be done"), "{says}");
    // On the bench it stands aside, and nothing is to be pressed.
    let bench = t.get("/bench").await.ok();
    let aside = bench.part("Standing aside", "–");
    assert!(aside.contains("Because Engine 2, seat 3 is open, but it is held for an inquiry"), "{aside}");
    assert!(aside.contains("Leave it") && !bench.html.contains("/tickets/1/stage"), "{aside}");
    // Nothing else is joined to it; retiring it is refused, and the reason stays in the form.
    d.say("taken_out", "142", "ben", "Cracked backframe").await;
    let joined = t.post("/tickets/2/join", &[("under", "1")]).await;
    assert_eq!(joined.status, 422);
    assert!(joined.said_at("stages").contains("is held for an inquiry"), "{}", joined.text());
    let gone = t.post("/units/130/retire", &[("why", "Worn out"), ("member", "tom"), ("pin", PIN)]).await;
    assert_eq!(gone.status, 422);
    assert!(gone.said_at("why").contains("held for an inquiry"), "{}", gone.text());
    assert!(gone.html.contains("Worn out"));
}

#[tokio::test]
async fn a_unit_that_is_out_without_a_ticket_is_on_the_bench_too() {
    let d = district().await;
    d.checked().await;
    let mut t = d.signed_in("tom").await;
    assert!(!t.get("/bench").await.ok().text().contains("Out without a ticket"));
    let failed = [("work", "flow_test"), ("on", "2026-11-25"), ("reference", "Bench 7"), ("failed", "yes")];
    let failed = t.post("/assets/unit:121/upkeep", &failed).await;
    assert_eq!(failed.status, 303, "{}", failed.text());
    assert_eq!(d.state("121").await, State::OutOfService);
    let out = t.get("/bench").await.ok().part("Out without a ticket", "–");
    assert!(out.contains("Unit 121\n") && out.contains("low test failed on 25 Nov 2026."), "{out}");
    // With a ticket it is in the queue, and not twice.
    d.say("taken_out", "121", "ana", "Hose chafed").await;
    let page = t.get("/bench").await.ok().text();
    assert!(page.contains("Hose chafed") && !page.contains("Out without a ticket"), "{page}");
}

#[tokio::test]
async fn a_job_is_taken_on_the_bench_from_the_queue_with_one_tap() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    let mut t = d.signed_in("tom").await;
    let page = t.get("/bench").await.ok();
    assert!(page.html.contains("action=\"/tickets/1/stage\""), "{}", page.html);
    let taken = t.post("/tickets/1/stage", &[("stage", "on_the_bench"), ("was", "reported")]).await;
    assert_eq!((taken.status, taken.to.as_str()), (303, "/tickets/1"));
    let page = t.get("/tickets/1").await.ok();
    // The digit of each stage stands on its button.
    assert!(page.html.contains("data-key=\"4\"") && page.html.contains("<kbd aria-hidden=\"true\">4</kbd>"));
    // An officer sees the queue and changes nothing.
    assert!(!d.signed_in("olga").await.get("/bench").await.ok().html.contains("/stage\""));
}

#[tokio::test]
async fn a_tap_on_an_old_page_undoes_nobodys_stage_and_a_second_tap_writes_nothing() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    let mut t = d.signed_in("tom").await;
    let old = t.get("/bench").await.ok().value("was");
    assert_eq!(old, t.get("/tickets/1").await.ok().value("was"));
    let waits = [("stage", "waiting_for_parts"), ("was", &old), ("note", "ordered")];
    assert_eq!(t.post("/tickets/1/stage", &waits).await.status, 303);
    let before = d.records().await;
    let late = t.post("/tickets/1/stage", &[("stage", "on_the_bench"), ("was", &old)]).await;
    assert_eq!(late.status, 422);
    assert!(
        late.said_at("stages").contains("moved since you opened this: Waiting for parts now"),
        "{}",
        late.text()
    );
    assert!(late.text().contains("Stage: Waiting for parts"), "{}", late.text());
    let twice = t.post("/tickets/1/stage", &[("stage", "waiting_for_parts"), ("was", &old)]).await;
    assert_eq!((twice.status, d.records().await), (303, before));
    // What a second one adds is not thrown away unsaid.
    let more = t
        .post("/tickets/1/stage", &[("stage", "waiting_for_parts"), ("was", &old), ("note", "until May")])
        .await;
    assert_eq!((more.status, more.value("note").as_str()), (422, "until May"));
}

#[tokio::test]
async fn what_is_refused_about_sending_away_or_splitting_is_said_in_its_own_form() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    d.pass(MINUTE);
    d.say("taken_out", "130", "ana", "Hose chafed").await;
    let mut t = d.signed_in("tom").await;
    let sent = |due_back, loaner| {
        [
            ("stage", "at_repairer"),
            ("was", "reported"),
            ("repairer", "Basin Instruments"),
            ("reference", "BI-9"),
            ("due_back", due_back),
            ("loaner", loaner),
        ]
    };
    let past = t.post("/tickets/1/stage", &sent("2026-11-01", "")).await;
    assert_eq!(past.status, 422);
    assert!(past.said_at("due_back").contains("not one that has passed"), "{}", past.text());
    assert!(past.html.contains("<details open><summary>Send it"), "{}", past.html);
    // A unit of ours that stands on a rig is nobody's loaner.
    let ours = t.post("/tickets/1/stage", &sent("2026-12-24", "117")).await;
    assert_eq!(ours.status, 422);
    assert!(ours.said_at("loaner").contains("Unit 117 is ours and on a rig"), "{}", ours.text());
    assert!(ours.html.contains("<a href=\"/loans\">borrow a unit</a>"));
    let none = t.post("/tickets/1/split", &[]).await;
    assert_eq!(none.status, 422);
    assert!(none.said_at("split").starts_with("Tick what is still open"), "{}", none.text());
    assert!(none.html.contains("<details open><summary>Split it"), "{}", none.html);
    assert_eq!(t.post("/tickets/1/stage", &sent("2026-12-24", "BI-loan")).await.status, 303);
}

#[tokio::test]
async fn of_a_retired_unit_there_is_a_sentence_and_no_form() {
    let d = district().await;
    d.checked().await;
    let mut t = d.signed_in("tom").await;
    let gone = [("why", "Worn"), ("member", "tom"), ("pin", PIN)];
    assert_eq!(t.post("/units/142/retire", &gone).await.status, 303);
    let check = t.get("/units/142/check").await.ok();
    assert!(check.text().contains("This unit is retired: it never comes back"), "{}", check.text());
    assert!(!check.html.contains("class=\"check\"") && !check.html.contains("name=\"rules\""));
    let parts = t.get("/units/142/parts").await.ok();
    assert!(parts.text().contains("It is retired: it never comes back.") && !parts.html.contains("<details"));
    let lend = t.get("/units/142/lend").await;
    assert_eq!(lend.status, 409);
    assert!(lend.text().contains("Not possible now\nUnit 142 is retired"), "{}", lend.text());
}

/// The review of a check in which everything asked is good.
async fn reviewed(d: &District, browser: &mut Browser, unit: &str, purpose: Purpose) -> Page {
    let path = format!("/units/{unit}/check?purpose={}", purpose.id());
    let form = browser.get(&path).await.ok();
    handed_in(d, browser, unit, purpose, &form, &[]).await
}

/// The same of a form that was opened before, with more fields.
async fn handed_in(
    d: &District,
    browser: &mut Browser,
    unit: &str,
    purpose: Purpose,
    form: &Page,
    more: &[(&str, &str)],
) -> Page {
    let mut fields: Vec<(String, String)> =
        ["id", "started", "purpose", "rules"].into_iter().map(|n| (n.to_owned(), form.value(n))).collect();
    fields.extend(form.values("seen").into_iter().map(|key| ("seen".to_owned(), key)));
    for answer in d.answered(unit, purpose, &[]).await.answers {
        for (field, value) in answer.values {
            let name = format!("a.{}.1.{field}", answer.step);
            match value {
                Raw::Text(text) => {
                    let (number, unit) = text.split_once(' ').unwrap();
                    fields.push((format!("{name}_unit"), unit.to_owned()));
                    fields.push((name, number.to_owned()));
                }
                _ => fields.push((name, "yes".to_owned())),
            }
        }
    }
    let fields = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).chain(more.iter().copied());
    let fields: Vec<(&str, &str)> = fields.collect();
    browser.post(&format!("/units/{unit}/check"), &fields).await.ok()
}

#[tokio::test]
async fn the_review_promises_no_ride_for_what_the_check_cannot_clear() {
    let d = district().await;
    d.checked().await;
    let says = "Signed like this, the unit may ride.";
    let shift = Purpose::ShiftStart;
    let mut ana = d.signed_in("ana").await;
    // Raised after the form was opened: whoever checks did not know of it.
    let form = ana.get("/units/142/check").await.ok();
    d.pass(MINUTE);
    d.used("142", "ben", "stairs", airmuster_domain::record::Condition::Clean).await;
    let before = ana.get("/units/142/check?purpose=after-use").await.ok();
    let page = handed_in(&d, &mut ana, "142", shift, &form, &[]).await.text();
    assert!(!page.contains(says) && page.contains("stairs"), "{page}");
    d.pass(MINUTE);
    d.used("142", "ben", "the hose tower", airmuster_domain::record::Condition::Clean).await;
    let page = handed_in(&d, &mut ana, "142", Purpose::AfterUse, &before, &[]).await.text();
    assert!(page.contains("checked again by somebody who knows of this"), "{page}");
    assert!(!page.contains(says) && page.contains("hose tower") && !page.contains("stairs"), "{page}");
    // The facepiece that failed is good in the next check: another one is asked for.
    d.check("121", "ana", shift, &[("facepiece-vacuum", &[("good", Raw::Flag(false))])]).await;
    let form = ana.get("/units/121/check").await.ok();
    assert!(form.html.contains("\"another\":[[\"facepiece-vacuum\",\"F-121\""), "the tablet knows which");
    let page = handed_in(&d, &mut ana, "121", shift, &form, &[]).await.text();
    assert!(!page.contains(says) && page.contains("before another one than the one that failed"), "{page}");
    let other = [("a.facepiece-vacuum.1.item", "F-9")];
    let page = handed_in(&d, &mut ana, "121", shift, &form, &other).await.text();
    assert!(page.contains(says), "{page}");
    // A misread step is for somebody else, and who signs is not known yet.
    let seq = d.check("117", "ana", shift, &[]).await;
    d.pass(MINUTE);
    let word = [("what", "step"), ("step", "gauge-agreement"), ("why", "read wrong"), ("pin", PIN)];
    let mut olga = d.signed_in("olga").await;
    let sent =
        olga.post(&format!("/records/{seq}/correct"), &[&word[..], &[("member", "olga")]].concat()).await;
    assert_eq!(sent.status, 303, "{}", sent.text());
    let page = reviewed(&d, &mut ana, "117", shift).await.text();
    assert!(page.contains("only if another member signs than the one who misread it"), "{page}");
    assert!(!page.contains(says), "{page}");
}

#[tokio::test]
async fn the_review_never_says_that_a_unit_may_ride_that_does_not() {
    let d = district().await;
    d.checked().await;
    let mut t = d.signed_in("tom").await;
    let says = "Signed like this, the unit may ride.";
    assert!(reviewed(&d, &mut t, "117", Purpose::ShiftStart).await.text().contains(says));
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    let page = reviewed(&d, &mut t, "130", Purpose::Proving).await;
    let text = page.text();
    assert!(text.contains("It rides after the return to service, not before."), "{text}");
    assert!(!text.contains(says) && page.html.contains("willbe is-out"), "{text}");
    // The crew's check leaves the finding open.
    let text = reviewed(&d, &mut t, "130", Purpose::ShiftStart).await.text();
    assert!(text.contains("does not ride before what else is open against it is dealt with."), "{text}");
    assert!(text.contains("490 psi apart") && !text.contains(says), "{text}");
    d.arrives().await;
    let text = reviewed(&d, &mut t, "150", Purpose::Acceptance).await.text();
    assert!(text.contains("It rides once it has been accepted into service, not before."), "{text}");
    // What waits for a good check only rides after it.
    d.used("121", "ana", "kitchen fire", airmuster_domain::record::Condition::Clean).await;
    assert!(reviewed(&d, &mut t, "121", Purpose::AfterUse).await.text().contains(says));
    let text = reviewed(&d, &mut t, "121", Purpose::ShiftStart).await.text();
    assert!(!text.contains(says) && text.contains("Used: kitchen fire"), "{text}");
}

#[tokio::test]
async fn a_clean_proving_or_acceptance_check_leads_to_the_signature_that_follows_it() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    d.pass(MINUTE);
    let proved = d.check("130", "tom", Purpose::Proving, &[]).await;
    let verdict = format!("/records/{proved}/verdict");
    let page = d.signed_in("tom").await.get(&verdict).await.ok();
    assert!(page.text().contains("Proved. Now return it to service"), "{}", page.text());
    assert!(page.html.contains("<a class=\"do next\" href=\"/tickets/1\">Return it to service</a>"));
    assert!(!page.text().contains("red tag"), "{}", page.text());
    // Who may not return it is not sent there.
    let page = d.signed_in("ana").await.get(&verdict).await.ok();
    assert!(page.text().contains("Proved.") && !page.html.contains("/tickets/"), "{}", page.text());
    d.arrives().await;
    let accepted = d.check("150", "tom", Purpose::Acceptance, &[]).await;
    let page = d.signed_in("tom").await.get(&format!("/records/{accepted}/verdict")).await.ok();
    assert!(page.html.contains("href=\"/units/150/clear\">Accept it into service</a>"), "{}", page.text());
    // One that found something proves nothing.
    d.gauges_apart("142").await;
    d.pass(MINUTE);
    let apart = [("cylinder", Raw::Text("4480 psi".into())), ("remote", Raw::Text("3990 psi".into()))];
    let bad = d.check("142", "tom", Purpose::Proving, &[("gauge-agreement", &apart)]).await;
    let page = d.signed_in("tom").await.get(&format!("/records/{bad}/verdict")).await.ok();
    assert!(
        page.text().contains("hang the red tag on it") && !page.text().contains("Proved."),
        "{}",
        page.text()
    );
}
