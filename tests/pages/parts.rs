//! Parts and approvals, notices, what is sent away, tickets that are one job or two, what is printed.

use airmuster::service::verify::{Depth, verify};
use airmuster_domain::judge::Raw;
use airmuster_domain::record::{Asset, Place, Register};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

use super::district::{DAY, District, MINUTE, PIN, district};

const NEW: [(&str, &str); 6] = [
    ("slot", "regulator"),
    ("act", "replace"),
    ("serial", "RG-900"),
    ("edition", "2018"),
    ("made", "2025-03"),
    ("warranty", "2030-03-31"),
];

fn named(name: &'static str) -> Vec<(&'static str, &'static str)> {
    NEW.into_iter().chain([("name", name)]).collect()
}

#[tokio::test]
async fn only_a_part_that_the_approval_names_is_fitted_and_by_a_qualified_technician_alone() {
    let d = district().await;
    d.checked().await;
    let mut t = d.signed_in("tom").await;
    let page = t.get("/units/117/parts").await.ok();
    assert!(page.text().contains("Serial\nRG-117"), "{}", page.text());
    let before = d.records().await;
    let nothing = t.post("/units/117/parts", &named("Brindle part 2")).await;
    assert_eq!(nothing.status, 422);
    assert!(nothing.text().contains("an administrator enters it first"), "{}", nothing.text());
    assert_eq!(nothing.value("serial"), "RG-900", "what was entered is kept");
    // 29 CFR 1910.134(h)(4)(ii): only parts designed for the respirator are used.
    let names =
        [("profile", "us-4500-third"), ("slot", "regulator"), ("names", "Brindle part\nBrindle part 2")];
    assert_eq!(t.post("/approvals", &names).await.status, 403);
    let mut ada = d.signed_in("ada").await;
    assert_eq!(ada.post("/approvals", &names).await.status, 303);
    let other = t.post("/units/117/parts", &named("Other part")).await;
    assert_eq!(other.status, 422);
    assert!(other.text().contains("does not name “Other part”: do not fit it."), "{}", other.text());
    // Tia has no qualification for this kind of unit.
    let tia = d.signed_in("tia").await.post("/units/117/parts", &named("Brindle part 2")).await;
    assert!(tia.text().contains("signed by a technician qualified for this kind of unit"), "{}", tia.text());
    assert_eq!(d.records().await, before + 1, "the approval and nothing else");
    assert_eq!(d.state("117").await, State::InService);
    let done = t.post("/units/117/parts", &named("Brindle part 2")).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let page = t.get("/units/117").await.ok().text();
    assert!(page.contains("Regulator RG-900 fitted in the place of RG-117"), "{page}");
    assert!(
        page.contains("RG-900, Brindle part 2, edition 2018, made 2025-03, warranty until 31 Mar 2030"),
        "{page}"
    );
    assert_eq!(d.state("117").await, State::OutOfService, "until it is proved");
    // The same serial is on no second unit.
    let twice = t.post("/units/121/parts", &named("Brindle part 2")).await;
    assert!(twice.text().contains("is on unit 117; remove it there first"), "{}", twice.text());
    // Its return names what was worked on, and so a bench test.
    d.pass(MINUTE);
    d.check("117", "tom", Purpose::Proving, &[]).await;
    let form = t.get("/tickets/1").await.ok();
    let (ground, proving) = (form.value("ground"), form.value("proving"));
    let fields = |part: &'static str| {
        vec![
            ("ground", ground.clone()),
            ("proving", proving.clone()),
            ("worked_on", part.to_owned()),
            ("remedy", "Regulator exchanged".to_owned()),
            ("certificate", "Bench sheet 4".to_owned()),
            ("member", "tom".to_owned()),
            ("pin", PIN.to_owned()),
        ]
    };
    let send = |part| fields(part);
    let other = send("other");
    let other: Vec<_> = other.iter().map(|(n, v)| (*n, v.as_str())).collect();
    let refused = t.post("/tickets/1/return", &other).await;
    assert!(refused.text().contains("tick what was worked on"), "{}", refused.text());
    let regulator = send("regulator");
    let regulator: Vec<_> = regulator.iter().map(|(n, v)| (*n, v.as_str())).collect();
    assert_eq!(t.post("/tickets/1/return", &regulator).await.status, 303);
    assert_eq!(d.state("117").await, State::InService);
}

async fn notice(d: &District, by: &'static str, from: &'static str, to: &'static str) -> String {
    let fields = [
        ("number", "N-1"),
        ("title", "Regulators that stick"),
        ("source", "letter 12"),
        ("what", "Exchange the lever"),
        ("by", by),
        ("thing", "regulator"),
        ("only", "us-4500-third"),
        ("from", from),
        ("to", to),
    ];
    let given = d.signed_in("tom").await.post("/notices", &fields).await;
    assert_eq!(given.status, 303, "{}", given.text());
    given.to
}

#[tokio::test]
async fn a_notice_without_a_day_puts_what_it_reaches_out_of_service_until_each_is_dealt_with() {
    let d = district().await;
    d.checked().await;
    assert_eq!(notice(&d, "", "RG-117", "RG-121").await, "/notices/N-1");
    assert_eq!(d.state("117").await, State::OutOfService);
    assert_eq!(d.state("121").await, State::OutOfService);
    assert_eq!(d.state("130").await, State::InService, "its serial is not in the range");
    let mut t = d.signed_in("tom").await;
    let page = t.get("/notices/N-1").await.ok();
    assert!(page.text().contains("Still to be dealt with: 2"), "{}", page.text());
    let unit = t.get("/units/117").await.ok().text();
    assert!(
        unit.contains("Notice N-1, Regulators that stick (its regulator RG-117): do not use it."),
        "{unit}"
    );
    let empty = t.post("/notices/N-1/done", &[("asset", "unit:117"), ("what", " ")]).await;
    assert_eq!((empty.status, empty.said_at("what").as_str()), (422, "Write down what was done and found."));
    let not_on_it = t.post("/notices/N-1/done", &[("asset", "unit:130"), ("what", "x")]).await;
    assert!(not_on_it.said_at("what").contains("is not on the list"), "{}", not_on_it.text());
    let done = t.post("/notices/N-1/done", &[("asset", "unit:117"), ("what", "Lever exchanged")]).await;
    assert_eq!(done.status, 303, "{}", done.text());
    assert_eq!(d.state("117").await, State::InService);
    let page = t.get("/notices/N-1").await.ok().text();
    assert!(page.contains("Still to be dealt with: 1") && page.contains("Lever exchanged."), "{page}");
    // Withdrawn by an administrator, it stops nothing.
    assert_eq!(t.post("/notices/N-1/end", &[("why", "wrong range")]).await.status, 403);
    let ended = d.signed_in("ada").await.post("/notices/N-1/end", &[("why", "wrong range")]).await;
    assert_eq!(ended.status, 303);
    assert_eq!(d.state("121").await, State::InService);
}

#[tokio::test]
async fn what_is_to_be_inspected_by_a_day_rides_until_then_and_an_unknown_serial_is_reached() {
    let d = district().await;
    d.register(Register::Unit {
        number: "150".to_owned(),
        profile: "us-4500-third".to_owned(),
        cadence: airmuster_domain::record::Cadence::Monthly,
        in_use: true,
        serials: std::collections::BTreeMap::new(),
    })
    .await;
    d.checked().await;
    d.check("150", "ana", Purpose::ShiftStart, &[]).await;
    notice(&d, "2026-11-27", "RG-117", "RG-117").await;
    assert_eq!((d.state("117").await, d.state("150").await), (State::InService, State::InService));
    let page = d.signed_in("tom").await.get("/notices/N-1").await.ok().text();
    assert!(page.contains("Still to be dealt with: 2"), "{page}");
    assert!(page.contains("its serial is not in the register, so look at it"), "{page}");
    d.pass(2 * DAY);
    assert_eq!(d.state("150").await, State::OutOfService, "its day has passed");
}

#[tokio::test]
async fn what_was_at_a_repairer_has_a_check_before_it_rides() {
    let d = district().await;
    d.checked().await;
    d.say("taken_out", "142", "ben", "Frame bent").await;
    let mut t = d.signed_in("tom").await;
    let missing = t.post("/tickets/1/stage", &[("stage", "at_repairer"), ("was", "reported")]).await;
    assert_eq!(missing.status, 422);
    assert_eq!(missing.said_at("repairer"), "Name the repairer.");
    assert_eq!(missing.said_at("due_back"), "Give the day on which it is due back, such as 2027-03-31.");
    let sent = [
        ("stage", "at_repairer"),
        ("was", "reported"),
        ("repairer", "Basin Instruments"),
        ("reference", "BI-77"),
        ("due_back", "2026-11-28"),
        ("loaner", "L-1"),
    ];
    assert_eq!(t.post("/tickets/1/stage", &sent).await.status, 303);
    let row = t.get("/bench").await.ok().text();
    assert!(
        row.contains("With Basin Instruments, reference BI-77, due back 28 Nov 2026; lent meanwhile: L-1."),
        "{row}"
    );
    let place = d.store.place(&Asset::unit("142")).await.unwrap();
    assert_eq!(place, Some(Place::Repairer));
    d.pass(3 * DAY);
    assert!(t.get("/bench").await.status == 303, "the session has ended");
    let mut t = d.signed_in("tom").await;
    assert!(t.get("/bench").await.ok().text().contains("Overdue. With Basin Instruments"));
    t.post("/tickets/1/stage", &[("stage", "ready_to_prove"), ("was", "at_repairer")]).await;
    assert_eq!(d.store.place(&Asset::unit("142")).await.unwrap(), Some(Place::Bench));
    // A facepiece that comes back asks for a check of the unit that it is put on.
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("117").await, State::InService);
    let facepiece = Asset::facepiece("F-117");
    let put = |place| Register::Holder { asset: facepiece.clone(), place };
    d.register(put(Place::Repairer)).await;
    assert_eq!(d.state("117").await, State::InService);
    d.pass(MINUTE);
    d.register(put(Place::With { unit: "117".to_owned() })).await;
    assert_eq!(d.state("117").await, State::CheckDue);
    let page = t.get("/units/117").await.ok().text();
    assert!(page.contains("Its facepiece F-117 was away: check them together before they ride."), "{page}");
    d.pass(MINUTE);
    d.check("117", "ana", Purpose::ShiftStart, &[]).await;
    assert_eq!(d.state("117").await, State::InService);
    // A unit that was away, with no ticket at all.
    d.register(Register::Holder { asset: Asset::unit("121"), place: Place::Repairer }).await;
    d.pass(MINUTE);
    d.register(Register::Holder {
        asset: Asset::unit("121"),
        place: Place::Seat { seat: "driver".to_owned() },
    })
    .await;
    let page = t.get("/units/121").await.ok().text();
    assert!(page.contains("It was at an outside repairer or on loan: check it before it rides."), "{page}");
}

#[tokio::test]
async fn tickets_are_joined_taken_apart_split_and_put_back() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    d.pass(MINUTE);
    d.say("taken_out", "130", "ben", "Strap torn").await;
    d.say("taken_out", "142", "ben", "Hissing").await;
    let mut t = d.signed_in("tom").await;
    // Split: the strap gets a ticket of its own.
    let page = t.get("/tickets/1").await.ok();
    let grounds = page.values("ground");
    let strap = grounds.iter().find(|g| g.starts_with("taken-out/")).unwrap().clone();
    let all: Vec<_> = grounds.iter().map(|g| ("ground", g.as_str())).collect();
    let too_much = t.post("/tickets/1/split", &all).await;
    assert!(too_much.text().contains("Something stays on this ticket"), "{}", too_much.text());
    let split = t.post("/tickets/1/split", &[("ground", strap.as_str())]).await;
    assert_eq!(split.to, "/tickets/3", "{}", split.text());
    let new = t.get("/tickets/3").await.ok().part("Found", "Readings");
    assert!(new.contains("Strap torn") && !new.contains("490 psi apart"), "{new}");
    let old = t.get("/tickets/1").await.ok();
    assert!(!old.part("Found", "Readings").contains("Strap torn"), "{}", old.text());
    // Join: what hisses is the same job.
    let joined = t.post("/tickets/2/join", &[("under", "3")]).await;
    assert_eq!(joined.to, "/tickets/3", "{}", joined.text());
    t.post("/tickets/3/stage", &[("stage", "on_the_bench"), ("was", "reported"), ("note", "both straps")])
        .await;
    let under = t.get("/tickets/2").await.ok();
    assert!(under.text().contains("Worked on under ticket 3"), "{}", under.text());
    assert!(under.text().contains("Stage: On the bench"), "it goes through the stages with it");
    assert!(t.get("/bench").await.ok().text().contains("With it: Unit 142"));
    assert!(
        t.post("/tickets/1/join", &[("under", "2")]).await.text().contains("is worked on under ticket 3")
    );
    assert_eq!(t.post("/tickets/2/apart", &[]).await.to, "/tickets/2");
    assert!(!t.get("/bench").await.ok().text().contains("With it: Unit 142"));
    // Put back in the queue.
    t.post("/tickets/3/stage", &[("stage", "reported"), ("was", "on_the_bench"), ("note", "no straps here")])
        .await;
    assert!(t.get("/tickets/3").await.ok().text().contains("Stage: Reported"));
    // A return closes the ticket whose grounds it clears, and leaves the other one open.
    d.pass(MINUTE);
    d.check("130", "tom", Purpose::Proving, &[]).await;
    let form = t.get("/tickets/3").await.ok();
    let fields = [
        ("ground", &*form.value("ground")),
        ("proving", &*form.value("proving")),
        ("worked_on", "other"),
        ("remedy", "Strap exchanged"),
        ("member", "tom"),
        ("pin", PIN),
    ];
    assert_eq!(t.post("/tickets/3/return", &fields).await.status, 303);
    assert!(t.get("/tickets/3").await.ok().text().contains("This ticket is closed: returned."));
    assert!(t.get("/tickets/1").await.ok().text().contains("490 psi apart"));
    assert_eq!(d.state("130").await, State::OutOfService);
    let check = verify(&d.store, d.clock.now(), None, Depth::Tables).await.unwrap();
    assert!(check.problems.is_empty(), "{:?}", check.problems);
}

#[tokio::test]
async fn the_bench_is_narrowed_down_and_says_who_may_not() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    let failed = [("good", Raw::Flag(false))];
    d.check("117", "ana", Purpose::ShiftStart, &[("facepiece-vacuum", &failed)]).await;
    let mut t = d.signed_in("tom").await;
    let both = t.get("/bench").await.ok().text();
    assert!(both.contains("Unit 130") && both.contains("Facepiece F-117"), "{both}");
    let one = t.get("/bench?kind=facepiece").await.ok().text();
    assert!(!one.contains("490 psi apart") && one.contains("Facepiece F-117"), "{one}");
    assert!(one.contains("Narrow it down: 1 left out"), "{one}");
    assert!(t.get("/bench?q=gauge").await.ok().text().contains("490 psi apart"));
    assert!(
        t.get("/bench?stage=waiting_for_parts").await.ok().text().contains("Nothing like this to repair.")
    );
    let mut tia = d.signed_in("tia").await;
    assert!(tia.get("/bench").await.ok().text().contains("You are not qualified to return it."));
    let own = tia.get("/bench?own=yes").await.ok().text();
    assert!(!own.contains("490 psi apart") && own.contains("Facepiece F-117"), "{own}");
}

#[tokio::test]
async fn the_same_finding_a_third_time_in_ninety_days_goes_to_the_administrator_until_it_is_read() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    d.pass(20 * DAY);
    d.gauges_apart("130").await;
    assert!(!d.signed_in("ada").await.get("/bench").await.ok().text().contains("third time"));
    d.pass(20 * DAY);
    let seq = d.gauges_apart("130").await;
    let mut ada = d.signed_in("ada").await;
    let page = ada.get("/upkeep").await.ok().text();
    assert!(page.contains("Unit 130 failed the same step 3 times in 90 days."), "{page}");
    assert!(!d.signed_in("olga").await.get("/bench").await.ok().text().contains("failed the same step"));
    let bench = d.signed_in("tom").await.get("/bench").await.ok().text();
    assert!(bench.contains("Found a third time in 90 days\n"), "{bench}");
    assert_eq!(ada.post(&format!("/records/{seq}/read"), &[]).await.status, 303);
    assert!(!ada.get("/upkeep").await.ok().text().contains("failed the same step"));
    // What is too long ago no longer counts.
    d.pass(60 * DAY);
    assert!(!d.signed_in("tom").await.get("/bench").await.ok().text().contains("third time"));
}

#[tokio::test]
async fn what_may_not_be_filled_is_not_offered_to_be_filled() {
    let d = district().await;
    let mut t = d.signed_in("tom").await;
    let marks = |made: &str, requalified: &str| {
        [
            ("spec", "permit-carbon".to_owned()),
            ("volume", "6.8".to_owned()),
            ("made", made.to_owned()),
            ("requalified", requalified.to_owned()),
        ]
    };
    let mut ada = d.signed_in("ada").await;
    for (cylinder, made, last) in
        [("C-117", "2020-05", "2025-05"), ("C-121", "2010-05", "2025-05"), ("C-130", "2020-05", "2020-05")]
    {
        let fields = marks(made, last);
        let fields: Vec<_> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        assert_eq!(ada.post(&format!("/assets/cylinder:{cylinder}/marks"), &fields).await.status, 303);
    }
    let good = t.get("/assets/cylinder:C-117").await.ok();
    assert!(good.text().contains("Fill it") && !good.text().contains("Do not fill it"), "{}", good.text());
    let past_life = t.get("/assets/cylinder:C-121").await.ok();
    assert!(past_life.text().contains("Do not fill it C-121 is past its life"), "{}", past_life.text());
    let past_test = t.get("/assets/cylinder:C-130").await.ok();
    assert!(
        past_test.text().contains("Do not fill it C-130 was due for requalification"),
        "{}",
        past_test.text()
    );
    d.register(Register::Holder { asset: Asset::cylinder("C-117"), place: Place::Bench }).await;
    let gone = [("why", "Burnt"), ("member", "tom"), ("pin", PIN)];
    assert_eq!(t.post("/assets/cylinder:C-117/condemn", &gone).await.status, 303);
    let condemned = t.get("/assets/cylinder:C-117").await.ok();
    assert!(
        condemned.text().contains("Do not fill it C-117 is condemned or retired"),
        "{}",
        condemned.text()
    );
    for page in [past_life, past_test, condemned] {
        assert!(!page.html.contains("/fills?cylinder="), "{}", page.text());
    }
}

#[tokio::test]
async fn a_flow_test_is_written_down_by_a_technician_who_is_qualified_for_the_unit() {
    let d = district().await;
    let test = [("work", "flow_test"), ("on", "2026-11-20"), ("reference", "Bench sheet 1")];
    for member in ["tia", "ada"] {
        let refused = d.signed_in(member).await.post("/assets/unit:117/upkeep", &test).await;
        assert_eq!(refused.status, 422);
        assert!(refused.said_at("work").contains("qualified for this kind of unit"), "{}", refused.text());
    }
    assert_eq!(d.signed_in("tom").await.post("/assets/unit:117/upkeep", &test).await.status, 303);
    let until = [("of", "tom/us-open-circuit-third"), ("until", "2026-11-01"), ("reference", "C-9")];
    assert_eq!(d.signed_in("ada").await.post("/qualifications", &until).await.status, 303);
    let lapsed = d.signed_in("tom").await.post("/assets/unit:117/upkeep", &test).await;
    assert!(lapsed.said_at("work").contains("qualified for this kind of unit"), "{}", lapsed.text());
}

#[tokio::test]
async fn periods_are_set_one_by_one_or_as_a_practice_and_never_above_their_floor() {
    let d = district().await;
    let mut ada = d.signed_in("ada").await;
    assert!(!d.signed_in("tom").await.get("/periods").await.ok().html.contains("action=\"/periods\""));
    let set =
        |work, only, months, lapse| [("work", work), ("only", only), ("months", months), ("lapse", lapse)];
    let too_long = ada.post("/periods", &set("requalification", "permit-carbon", "120", "said")).await;
    assert!(too_long.said_at("months").starts_with("At most 60 months"), "{}", too_long.text());
    let odd = ada.post("/periods", &set("air_sample", "dot-3aa", "3", "said")).await;
    assert!(odd.said_at("only").contains("not set for that kind"), "{}", odd.text());
    assert_eq!(ada.post("/periods", &set("battery", "us-4500-third", "6", "out")).await.status, 303);
    let text = ada.get("/periods").await.ok().text();
    assert!(
        text.contains("Batteries\n4,500 psi, low-air alarm at a third\n6\nout of service\nset here"),
        "{text}"
    );
    assert_eq!(ada.post("/periods", &[("practice", "us-texas")]).await.status, 303);
    let text = ada.get("/periods").await.ok().text();
    assert!(text.contains("Air sample\nall\n6\nit is said\nset here"), "{text}");
    let source = [("id", "shop"), ("name", "Shop compressor"), ("station", "mill")];
    assert_eq!(ada.post("/sources", &source).await.status, 303);
    assert!(
        d.signed_in("tom").await.get("/sources").await.ok().text().contains("Shop compressor\nMillrace.")
    );
    assert_eq!(ada.post("/sources", &[("id", "x"), ("name", "X"), ("station", "")]).await.status, 422);
}

#[tokio::test]
async fn the_red_tag_and_each_label_carry_a_code_that_leads_to_the_page() {
    let d = district().await;
    d.say("taken_out", "117", "ana", "Hissing").await;
    let mut t = d.signed_in("tom").await;
    let tag = t.get("/units/117/tag").await.ok();
    assert!(tag.html.contains("<svg class=\"qr\""), "{}", tag.text());
    let labels = t.get("/labels?kind=cylinder").await.ok();
    assert_eq!(labels.html.matches("<svg class=\"qr\"").count(), 4, "{}", labels.text());
    let some = t.get("/labels?kind=unit&numbers=117+130").await.ok();
    assert_eq!(some.html.matches("<svg class=\"qr\"").count(), 2, "{}", some.text());
    let text = some.text();
    assert!(text.contains("\n117\n") && text.contains("\n130\n") && !text.contains("\n121\n"), "{text}");
}
