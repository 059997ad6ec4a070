//! Cylinders and facepieces as things of their own, upkeep, fills and air.

use std::collections::BTreeSet;

use airmuster_domain::record::{Asset, Condition, Marks, Place, Register, Spec};
use airmuster_domain::standing::State;

use calcard::icalendar::{ICalendar, ICalendarComponentType, ICalendarProperty};

use super::district::{DAY, District, MINUTE, PIN, district, fit_test};

/// A cylinder by special permit at C-n, made and last requalified then. Today is 26 Nov 2026.
async fn marked(d: &District, number: &str, made: &str, requalified: Option<&str>) {
    let marks = Marks {
        volume_ml: 6_800,
        spec: Spec::PermitCarbon,
        made: made.parse().unwrap(),
        requalified: requalified.map(|m| m.parse().unwrap()),
        life_until: None,
        serial: String::new(),
    };
    d.register(Register::CylinderMarks { number: number.to_owned(), marks }).await;
}

async fn compressor(d: &District) {
    let [id, name, station] = ["shop", "Shop compressor", "mill"].map(str::to_owned);
    d.register(Register::Source { id, name, station }).await;
}

async fn spare_cylinder(d: &District, number: &str, rated: &str) {
    let (asset, rated) = (Asset::cylinder(number), rated.parse().unwrap());
    d.register(Register::Cylinder { number: number.to_owned(), rated }).await;
    let place = Place::Spare { station: "mill".to_owned() };
    d.register(Register::Holder { asset, place }).await;
}

const FILL: [(&str, &str); 3] = [("source", "shop"), ("pressure", "4500"), ("celsius", "21")];

fn fill(cylinder: &str) -> Vec<(&str, &str)> {
    std::iter::once(("cylinder", cylinder)).chain(FILL).collect()
}

#[tokio::test]
async fn a_cylinder_past_its_requalification_is_not_filled_and_the_screen_says_so() {
    let d = district().await;
    compressor(&d).await;
    marked(&d, "C-117", "2020-05", Some("2021-10")).await;
    marked(&d, "C-121", "2020-05", Some("2023-10")).await;
    let mut crew = d.signed_in("ana").await;
    let page = crew.get("/fills").await.ok();
    let barred = page.part("Not to be filled", "Fill log");
    assert!(barred.contains("Cylinder C-117\nC-117 was due for requalification by 31 Oct 2026."), "{barred}");
    assert!(!barred.contains("C-121"), "{barred}");
    // Nobody has read what is stamped on the third one.
    assert!(barred.contains("Cylinder C-130\nIts marks are not in the register"), "{barred}");
    let before = d.records().await;
    let refused = crew.post("/fills", &fill("C-117")).await;
    assert_eq!(refused.status, 422);
    assert_eq!(
        refused.said_at("cylinder"),
        "Do not fill it: C-117 was due for requalification by 31 Oct 2026."
    );
    assert_eq!(refused.value("pressure"), "4500", "what was entered is kept");
    let none = crew.post("/fills", &fill("C-999")).await;
    assert!(none.said_at("cylinder").starts_with("No cylinder of this number"), "{}", none.text());
    assert_eq!(d.records().await, before);
    // It may be used until it is empty.
    let own = crew.get("/assets/cylinder:C-117").await.ok();
    assert!(own.text().contains("it may be used until it is empty, and is not filled"), "{}", own.text());
    assert_eq!(d.state_of(&Asset::cylinder("C-117")).await, State::InService);
    // Requalified, it is filled, in small letters too.
    let mut tech = d.signed_in("tom").await;
    let done = [("work", "requalification"), ("on", "2026-11-20"), ("reference", "Holder B123, 7781")];
    let written = tech.post("/assets/cylinder:C-117/upkeep", &done).await;
    assert_eq!((written.status, written.to.as_str()), (303, "/assets/cylinder:C-117"), "{}", written.text());
    let own = tech.get("/assets/cylinder:C-117").await.ok();
    assert!(own.text().contains("Requalification\nby 30 Nov 2031"), "{}", own.text());
    let filled = crew.post("/fills", &fill("c-117")).await;
    assert_eq!(
        (filled.status, filled.to.as_str()),
        (303, "/fills?done=C-117&source=shop&celsius=21"),
        "{}",
        filled.text()
    );
    let page = crew.get(&filled.to).await.ok();
    assert!(
        page.text().contains("Cylinder C-117 is written down as filled to 4,500 psi."),
        "{}",
        page.text()
    );
    assert!(
        page.part("Fill log", "–").contains("4,500 psi at 21 °C, from Shop compressor\n07:04 · Ana Wick")
    );
}

#[tokio::test]
async fn a_cylinder_of_another_rating_is_not_fitted_and_a_fitted_one_is_taken_out_first() {
    let d = district().await;
    spare_cylinder(&d, "C-900", "5500 psi").await;
    spare_cylinder(&d, "C-901", "4500 psi").await;
    let mut tech = d.signed_in("tom").await;
    let refused = tech.post("/assets/cylinder:C-900/put", &[("to", "with/117")]).await;
    assert_eq!(refused.status, 422);
    // The unit has one; that is said before the rating can be.
    assert_eq!(refused.said_at("to"), "Cylinder C-117 is there; take that out first.");
    let out = tech.post("/assets/cylinder:C-117/put", &[("to", "spare/mill")]).await;
    assert_eq!(out.status, 303, "{}", out.text());
    let refused = tech.post("/assets/cylinder:C-900/put", &[("to", "with/117")]).await;
    assert_eq!(refused.status, 422);
    assert_eq!(
        refused.said_at("to"),
        "Cylinder C-900 is rated 5,500 psi and unit 117 takes 4,500 psi: fit one rated 4,500 psi."
    );
    let page = tech.get("/assets/cylinder:C-900").await.ok();
    assert!(!page.html.contains("with/117"), "it is not offered either");
    let page = tech.get("/assets/cylinder:C-901").await.ok();
    assert!(page.html.contains("with/117"));
    let fitted = tech.post("/assets/cylinder:C-901/put", &[("to", "with/117")]).await;
    assert_eq!(fitted.status, 303, "{}", fitted.text());
    let unit = tech.get("/units/117").await.ok();
    assert!(unit.text().contains("Cylinder\nC-901"), "{}", unit.text());
    assert!(tech.post("/assets/cylinder:C-901/put", &[("to", "nowhere")]).await.status == 422);
}

#[tokio::test]
async fn end_of_life_takes_a_cylinder_out_at_once_and_the_unit_that_has_it() {
    let d = district().await;
    d.checked().await;
    assert_eq!(d.state("117").await, State::InService);
    marked(&d, "C-117", "2011-11", Some("2024-11")).await;
    assert_eq!(d.state("117").await, State::InService, "November is not over");
    d.pass(5 * DAY);
    d.checked().await;
    assert_eq!(d.state_of(&Asset::cylinder("C-117")).await, State::OutOfService);
    assert_eq!(d.state("117").await, State::OutOfService);
    let page = d.tablet().await.get("/units/117").await.ok();
    let says = page.text();
    assert!(says.contains("Its cylinder C-117: its life ended on 30 Nov 2026; fit another one."), "{says}");
    spare_cylinder(&d, "C-901", "4500 psi").await;
    let mut officer = d.signed_in("olga").await;
    assert_eq!(officer.post("/assets/cylinder:C-117/put", &[("to", "bench")]).await.status, 303);
    assert_eq!(officer.post("/assets/cylinder:C-901/put", &[("to", "with/117")]).await.status, 303);
    assert_eq!(d.state("117").await, State::InService);
    // And it does not come back.
    officer.post("/assets/cylinder:C-901/put", &[("to", "bench")]).await;
    let back = officer.post("/assets/cylinder:C-117/put", &[("to", "with/117")]).await;
    assert_eq!(back.status, 422);
    assert!(back.said_at("to").contains("its life ended on 30 Nov 2026; fit another one"), "{}", back.text());
}

#[tokio::test]
async fn condemned_is_final() {
    let d = district().await;
    compressor(&d).await;
    marked(&d, "C-142", "2024-01", None).await;
    let mut tech = d.signed_in("tom").await;
    let sign = |why| [("why", why), ("member", "tom"), ("pin", PIN)];
    let empty = tech.post("/assets/cylinder:C-142/condemn", &sign("")).await;
    assert_eq!((empty.status, empty.said_at("why").as_str()), (422, "Say why, in a few words."));
    let done = tech.post("/assets/cylinder:C-142/condemn", &sign("Deep gouge at the shoulder")).await;
    assert_eq!(done.status, 303, "{}", done.text());
    assert_eq!(d.state_of(&Asset::cylinder("C-142")).await, State::Retired);
    let page = tech.get("/assets/cylinder:C-142").await.ok();
    let says = page.text();
    assert!(says.contains("Retired: condemned: Deep gouge at the shoulder.\n"), "{says}");
    assert!(says.contains("Nothing brings it back."), "{says}");
    assert!(!page.html.contains("value=\"with/"), "it is fitted nowhere; off its unit it goes to the bench");
    for (path, fields) in [
        ("/assets/cylinder:C-142/put", vec![("to", "with/142")]),
        ("/fills", fill("C-142")),
        (
            "/assets/cylinder:C-142/upkeep",
            vec![("work", "requalification"), ("on", "2026-11-20"), ("reference", "B123")],
        ),
    ] {
        let refused = tech.post(path, &fields).await;
        assert_eq!(refused.status, 422, "{path}: {}", refused.text());
    }
    assert_eq!(tech.get("/assets/cylinder:C-142/condemn").await.status, 409);
}

#[tokio::test]
async fn a_failed_air_sample_holds_what_was_filled_since_and_lists_its_uses() {
    let d = district().await;
    compressor(&d).await;
    for n in ["C-117", "C-121", "C-130"] {
        marked(&d, n, "2024-01", None).await;
    }
    let mut officer = d.signed_in("olga").await;
    let sample = |on, co| {
        vec![
            ("on", on),
            ("oxygen", "20.9"),
            ("oil", "0.1"),
            ("monoxide", co),
            ("dioxide", "410"),
            ("odour", "no"),
            ("reference", "Basin Laboratory 12"),
        ]
    };
    assert_eq!(officer.post("/fills", &fill("C-130")).await.status, 303);
    d.pass(2 * DAY);
    // A session does not last that long.
    let mut officer = d.signed_in("olga").await;
    let good = officer.post("/sources/shop", &sample("2026-11-28", "1.5")).await;
    assert_eq!(good.status, 303, "{}", good.text());
    d.pass(2 * DAY);
    let mut officer = d.signed_in("olga").await;
    assert_eq!(officer.post("/fills", &fill("C-117")).await.status, 303);
    d.pass(MINUTE);
    d.checked().await;
    d.used("117", "ana", "kitchen fire", Condition::Clean).await;
    // A form that says nothing of the odour, or no number, makes no sample.
    let mut vague = sample("2026-11-30", "a lot");
    vague.retain(|(field, _)| *field != "odour");
    let again = officer.post("/sources/shop", &vague).await;
    assert_eq!(again.status, 422);
    assert_eq!(again.said_at("odour"), "Say whether there was an odour.");
    assert!(again.said_at("monoxide").starts_with("Give the report’s figure"), "{}", again.text());
    let bad = officer.post("/sources/shop", &sample("2026-11-30", "14.5")).await;
    assert_eq!(bad.status, 303, "{}", bad.text());
    // A hundredth too much is too much: 29 CFR 1910.134(i)(1)(ii)(C), 10 ppm or less.
    let just = d.signed_in("olga").await.post("/sources/shop", &sample("2026-11-30", "10.01")).await;
    assert_eq!(just.status, 303, "{}", just.text());
    let says = officer.get("/sources/shop").await.ok().text();
    assert!(says.contains("the last sample failed, carbon monoxide 10.1 ppm, at most 10."), "{says}");
    assert_eq!(officer.post("/sources/shop", &sample("2026-11-30", "14.5")).await.status, 303);
    let page = officer.get("/sources/shop").await.ok();
    let says = page.text();
    assert!(
        says.contains("Fill nothing from it: the last sample failed, carbon monoxide 14.5 ppm, at most 10."),
        "{says}"
    );
    let held = page.part("Air in doubt: 1", "Enter a sample");
    assert!(held.contains("Cylinder C-117"), "{held}");
    assert!(held.contains("unit 117 used 07:05, kitchen fire"), "{held}");
    assert!(held.contains("in unit 117 at its check of 07:05"), "{held}");
    assert!(!held.contains("C-130"), "it was filled before the last good sample: {held}");
    assert_eq!(d.state_of(&Asset::cylinder("C-117")).await, State::OutOfService);
    assert_eq!(d.state("117").await, State::OutOfService);
    let refused = officer.post("/fills", &fill("C-121")).await;
    assert_eq!(refused.status, 422);
    assert!(refused.said_at("cylinder").contains("the last air sample of Shop compressor failed"));
    let mut tech = d.signed_in("tom").await;
    let flushed = [("work", "air_replaced"), ("on", "2026-11-30")];
    assert_eq!(tech.post("/assets/cylinder:C-117/upkeep", &flushed).await.status, 303);
    assert_eq!(d.state_of(&Asset::cylinder("C-117")).await, State::InService);
}

#[tokio::test]
async fn a_lapsed_flow_test_takes_the_unit_out_until_a_passed_one_is_written_down() {
    let d = district().await;
    d.checked().await;
    let mut tech = d.signed_in("tom").await;
    let form = tech.get("/assets/unit:117/upkeep").await.ok();
    assert!(form.html.contains("value=\"flow_test\"") && !form.html.contains("value=\"requalification\""));
    let no_paper = [("work", "flow_test"), ("on", "2025-11-20")];
    let refused = tech.post("/assets/unit:117/upkeep", &no_paper).await;
    assert_eq!(refused.status, 422);
    assert_eq!(refused.said_at("work"), "Name the certificate or sheet: who did it, and its number.");
    let tomorrow = [("work", "flow_test"), ("on", "2026-11-27"), ("reference", "Sheet 9")];
    assert!(tech.post("/assets/unit:117/upkeep", &tomorrow).await.said_at("work").contains("still to come"));
    let old = [("work", "flow_test"), ("on", "2025-11-20"), ("reference", "Sheet 1")];
    assert_eq!(tech.post("/assets/unit:117/upkeep", &old).await.status, 303);
    assert_eq!(d.state("117").await, State::OutOfService);
    let page = tech.get("/upkeep").await.ok();
    assert!(
        page.part("Late: 1", "Month").contains("Unit 117 Flow test by 20 Nov 2026 Engine 2, officer"),
        "{}",
        page.text()
    );
    let unit = tech.get("/units/117").await.ok();
    assert!(unit.text().contains("Flow test was due by 20 Nov 2026."), "{}", unit.text());
    assert!(
        unit.html.contains("<a class=\"do next\" href=\"/assets/unit:117/upkeep\">Enter the flow test</a>")
    );
    let new = [("work", "flow_test"), ("on", "2026-11-26"), ("reference", "Sheet 2")];
    assert_eq!(tech.post("/assets/unit:117/upkeep", &new).await.status, 303);
    assert_eq!(d.state("117").await, State::InService);
}

#[tokio::test]
async fn the_calendar_feed_is_rfc_5545_line_by_line() {
    let d = district().await;
    marked(&d, "C-117", "2020-05", Some("2022-02")).await;
    marked(&d, "C-121", "2012-03", Some("2024-02")).await;
    let page = d.signed_in("tom").await.get("/upkeep").await.ok();
    let address = page.html.split("href=\"/upkeep.ics").nth(1).unwrap().split('"').next().unwrap();
    let address = format!("/upkeep.ics{address}");
    for other in ["/upkeep.ics", "/upkeep.ics?key=", "/upkeep.ics?key=AAAAAAAAAAAAAAAAAAAAAA"] {
        assert_eq!(d.nobody().get(other).await.status, 404, "{other}");
        assert_eq!(d.tablet().await.get(other).await.status, 404, "{other}");
    }
    assert_eq!(d.signed_in("tom").await.get("/upkeep.ics").await.status, 200, "who may read it anyhow");
    let feed = d.nobody().get(&address).await;
    assert_eq!(feed.status, 200);
    let text = &feed.html;
    // RFC 5545, 3.1: lines end with CRLF and are at most 75 octets long; longer ones are folded.
    assert!(text.ends_with("END:VCALENDAR\r\n"));
    assert!(text.split("\r\n").all(|line| line.len() <= 75 && !line.contains('\n')), "{text}");
    let unfolded = text.replace("\r\n ", "");
    let lines: Vec<&str> = unfolded.split("\r\n").collect();
    assert_eq!(lines[0], "BEGIN:VCALENDAR");
    for needed in ["VERSION:2.0", "CALSCALE:GREGORIAN"] {
        assert!(lines.contains(&needed), "{needed}: {unfolded}");
    }
    assert_eq!(lines.iter().filter(|l| l.starts_with("PRODID:")).count(), 1, "3.7.3: exactly once");
    // 3.6.1: each event has a UID of its own, DTSTAMP and DTSTART.
    let events: Vec<&str> = unfolded.split("BEGIN:VEVENT\r\n").skip(1).collect();
    let uids: BTreeSet<&str> =
        events.iter().map(|e| e.lines().find(|l| l.starts_with("UID:")).unwrap()).collect();
    assert_eq!(uids.len(), events.len());
    for e in &events {
        for needed in ["DTSTAMP:", "DTSTART;VALUE=DATE:", "DTEND;VALUE=DATE:", "SUMMARY:"] {
            assert_eq!(e.lines().filter(|l| l.starts_with(needed)).count(), 1, "{needed} in {e}");
        }
    }
    let one = events.iter().find(|e| e.contains("SUMMARY:Cylinder C-117: requalification")).unwrap();
    assert!(
        one.contains("DTSTART;VALUE=DATE:20270228") && one.contains("DTEND;VALUE=DATE:20270301"),
        "{one}"
    );
    assert!(unfolded.contains("SUMMARY:Cylinder C-121: end of life"), "{unfolded}");
    assert!(!unfolded.contains("Ana") && !unfolded.contains("Tom Varga"), "nobody's name is in it");
    // A parser that shares nothing with what wrote it (the `calcard` crate) reads the same.
    let read = ICalendar::parse(text).unwrap();
    let read: BTreeSet<(String, [Option<u16>; 3])> = read
        .components
        .iter()
        .filter(|c| c.component_type == ICalendarComponentType::VEvent)
        .map(|c| {
            let first = |p| c.property(&p).and_then(|e| e.values.first()).unwrap();
            let day = first(ICalendarProperty::Dtstart).as_partial_date_time().unwrap();
            assert_eq!(day.hour, None, "a whole day");
            let summary = first(ICalendarProperty::Summary).as_text().unwrap().to_owned();
            (summary, [day.year, day.month.map(u16::from), day.day.map(u16::from)])
        })
        .collect();
    assert_eq!(read.len(), events.len());
    for (what, day) in
        [("Cylinder C-117: requalification", [2027, 2, 28]), ("Cylinder C-121: end of life", [2027, 3, 31])]
    {
        assert!(read.contains(&(what.to_owned(), day.map(Some))), "{what}: {read:?}");
    }
}

#[tokio::test]
async fn the_administrator_enters_what_is_stamped_on_a_cylinder() {
    let d = district().await;
    let mut admin = d.signed_in("ada").await;
    let bad = [("spec", "permit-carbon"), ("volume", "68"), ("made", "March"), ("requalified", "")];
    let again = admin.post("/assets/cylinder:C-130/marks", &bad).await;
    assert_eq!(again.status, 422);
    assert!(again.said_at("volume").starts_with("Give the water volume"), "{}", again.text());
    assert!(again.said_at("made").starts_with("Give it as year and month"), "{}", again.text());
    let good = [("spec", "permit-carbon"), ("volume", "6.8"), ("made", "2021-03"), ("requalified", "")];
    assert_eq!(admin.post("/assets/cylinder:C-130/marks", &good).await.status, 303);
    let page = admin.get("/assets/cylinder:C-130").await.ok();
    let says = page.text();
    assert!(says.contains("4,500 psi, 6.8 L, carbon fibre, special permit · On unit 130"), "{says}");
    assert!(says.contains("Requalification\nby 31 Mar 2026"), "{says}");
    let list = admin.get("/cylinders?q=130").await.ok();
    assert!(list.text().contains("Cylinder C-130") && !list.text().contains("C-117"), "{}", list.text());
}

#[tokio::test]
async fn anybody_writes_down_that_a_facepiece_is_clean_and_nothing_else() {
    let d = district().await;
    let mut crew = d.signed_in("ana").await;
    let form = crew.get("/assets/facepiece:F-117/upkeep").await.ok();
    assert!(form.html.contains("value=\"cleaned\"") && !form.html.contains("value=\"facepiece_service\""));
    let clean = [("work", "cleaned"), ("on", "2026-11-26")];
    assert_eq!(crew.post("/assets/facepiece:F-117/upkeep", &clean).await.status, 303);
    let page = crew.get("/assets/facepiece:F-117").await.ok();
    assert!(page.text().contains("Last cleaned\n26 Nov 2026"), "{}", page.text());
    let service = [("work", "facepiece_service"), ("on", "2026-11-26")];
    let refused = crew.post("/assets/facepiece:F-117/upkeep", &service).await;
    assert_eq!(refused.status, 422);
    assert!(refused.said_at("work").starts_with("This needs the signature of"), "{}", refused.text());
}

#[tokio::test]
async fn a_place_that_is_taken_takes_no_second_unit_even_at_the_console() {
    let d = district().await;
    let place = Place::Seat { seat: "officer".to_owned() };
    let refused = d.try_register(Register::Holder { asset: Asset::unit("142"), place }).await;
    assert_eq!(refused, "unit 117 is there; take that out first");
}

#[tokio::test]
async fn any_member_holds_a_unit_with_what_is_packed_with_it_and_each_hand_over_is_signed() {
    let d = district().await;
    d.checked().await;
    compressor(&d).await;
    marked(&d, "C-117", "2024-01", None).await;
    let mut tablet = d.tablet().await;
    let form = tablet.get("/assets/unit:117/seal").await.ok();
    let id = form.value("id");
    // What is on the unit goes with it unless somebody says that it does not.
    assert_eq!(form.values("with"), ["facepiece:F-117", "cylinder:C-117"]);
    assert_eq!(form.html.matches("\" checked").count(), 2, "{}", form.html);
    let empty =
        tablet.post("/assets/unit:117/seal", &[("id", &id), ("turns", "4.3"), ("pressure", "lots")]).await;
    assert_eq!(empty.status, 422);
    assert_eq!(empty.said_at("why"), "Say what happened, in a few words.");
    assert!(
        empty.said_at("turns").starts_with("Give the turns as a number, to an eighth"),
        "{}",
        empty.text()
    );
    assert!(empty.said_at("pressure").starts_with("Give the pressure"), "{}", empty.text());
    assert_eq!(empty.said_at("place"), "Write down where that was, and where it is kept.");
    let fields = [
        ("id", id.as_str()),
        ("why", "Wearer short of air on the second floor"),
        ("pressure", "2300"),
        ("turns", "4.5"),
        ("place", "Mill Lane 4; evidence cupboard"),
        ("with", "cylinder:C-117"),
        ("more", "left glove"),
        ("battery", "yes"),
        ("member", "ana"),
        ("pin", PIN),
    ];
    let held = tablet.post("/assets/unit:117/seal", &fields).await;
    assert_eq!(held.status, 303, "{}", held.text());
    for asset in [Asset::unit("117"), Asset::cylinder("C-117")] {
        assert_eq!(d.state_of(&asset).await, State::Held, "{asset}");
    }
    assert_eq!(d.state_of(&Asset::facepiece("F-117")).await, State::InService, "it was not ticked");
    let taken = d.open("117").await.into_iter().filter(|g| g.starts_with("taken-out/")).count();
    assert_eq!(taken, 1, "once released it is proved before it rides");
    let page = tablet.get("/assets/unit:117/seal").await.ok();
    let says = page.text();
    let wanted = "Sealed: 2,300 psi before closing; valve closed with 4.5 turns; Mill Lane 4; evidence cupboard; packed with cylinder c-117, left glove; the alarm’s battery left in.";
    assert!(says.to_lowercase().contains(&wanted.to_lowercase()), "{says}");
    let unsigned = [("to", "Inspector of the county"), ("member", "olga"), ("pin", "1")];
    assert_eq!(tablet.post("/assets/unit:117/hand-over", &unsigned).await.status, 422);
    let signed = [("to", "Inspector of the county"), ("more", "seal 44"), ("member", "olga"), ("pin", PIN)];
    assert_eq!(tablet.post("/assets/unit:117/hand-over", &signed).await.status, 303);
    let says = tablet.get("/assets/unit:117/seal").await.ok().text();
    assert!(says.contains("Handed over to Inspector of the county: seal 44."), "{says}");
    assert!(says.contains("Olga Fenn"), "{says}");
    // Until it is released nothing is done to it.
    let mut tech = d.signed_in("tom").await;
    for (path, fields) in [
        ("/fills", fill("C-117")),
        ("/assets/cylinder:C-117/put", vec![("to", "spare/mill")]),
        (
            "/assets/cylinder:C-117/upkeep",
            vec![("work", "requalification"), ("on", "2026-11-20"), ("reference", "B1")],
        ),
        ("/assets/unit:117/upkeep", vec![("work", "battery"), ("on", "2026-11-20")]),
        // Not held by itself, but on a unit that is.
        ("/assets/facepiece:F-117/upkeep", vec![("work", "cleaned"), ("on", "2026-11-20")]),
        ("/assets/facepiece:F-117/put", vec![("to", "spare/mill")]),
    ] {
        let refused = tech.post(path, &fields).await;
        assert_eq!(refused.status, 422, "{path}: {}", refused.text());
        assert!(refused.html.contains("inquiry"), "{path}: {}", refused.text());
    }
    // What is not held is not handed over.
    let not_held = [("to", "Somebody"), ("member", "olga"), ("pin", PIN)];
    assert_eq!(tablet.post("/assets/unit:121/hand-over", &not_held).await.status, 422);
}

#[tokio::test]
async fn what_is_ticked_when_a_hold_is_sent_again_is_held_too_and_what_was_released_is_held_anew() {
    let d = district().await;
    d.checked().await;
    let mut tablet = d.tablet().await;
    let form = tablet.get("/assets/unit:117/seal").await.ok();
    let id = form.value("id");
    let first = [
        ("id", id.as_str()),
        ("why", "Wearer short of air"),
        ("place", "Mill Lane 4"),
        ("with", "cylinder:C-117"),
        ("member", "ana"),
        ("pin", PIN),
    ];
    assert_eq!(tablet.post("/assets/unit:117/seal", &first).await.status, 303);
    let records = d.records().await;
    assert_eq!(tablet.post("/assets/unit:117/seal", &first).await.status, 303);
    assert_eq!(d.records().await, records, "tapped twice, it was sealed once");
    let face = Asset::facepiece("F-117");
    assert_eq!(d.state_of(&face).await, State::InService);
    // Back, and the facepiece is ticked as well.
    let both: Vec<_> = first.into_iter().chain([("with", "facepiece:F-117")]).collect();
    assert_eq!(tablet.post("/assets/unit:117/seal", &both).await.status, 303);
    assert_eq!(d.state_of(&face).await, State::Held);
    // Released, and sent once more from the old page: it is held again.
    let mut admin = d.signed_in("ada").await;
    let path = "/assets/facepiece:F-117/release";
    let ground = admin.get(path).await.ok().value("ground");
    let signed = [("ground", ground.as_str()), ("why", "Looked at"), ("member", "ada"), ("pin", PIN)];
    assert_eq!(admin.post(path, &signed).await.status, 303);
    assert_ne!(d.state_of(&face).await, State::Held);
    d.pass(MINUTE);
    assert_eq!(tablet.post("/assets/unit:117/seal", &both).await.status, 303);
    assert_eq!(d.state_of(&face).await, State::Held);
}

#[tokio::test]
async fn of_a_unit_that_is_held_already_only_what_is_held_with_it_is_ticked() {
    let d = district().await;
    d.checked().await;
    d.say("hold", "117", "olga", "Injury at the mill fire").await;
    let page = d.tablet().await.get("/assets/unit:117/seal").await.ok();
    assert_eq!(page.values("with").len(), 2);
    assert_eq!(page.html.matches("\" checked").count(), 0, "{}", page.html);
}

#[tokio::test]
async fn a_technician_whose_qualification_has_lapsed_does_not_return_a_unit() {
    let d = district().await;
    d.gauges_apart("130").await;
    d.pass(MINUTE);
    d.check("130", "tom", airmuster_domain::rules::Purpose::Proving, &[]).await;
    let mut tech = d.signed_in("tom").await;
    assert!(tech.get("/tickets/1").await.ok().html.contains("action=\"/tickets/1/return\""));
    let mut admin = d.signed_in("ada").await;
    let of = "tom/us-open-circuit-third";
    let empty = admin.post("/qualifications", &[("of", ""), ("until", "soon")]).await;
    assert_eq!((empty.status, empty.said_at("of").as_str()), (422, "Choose whose."));
    let lapsed = [("of", of), ("until", "2026-11-25"), ("reference", "Course 12")];
    assert_eq!(admin.post("/qualifications", &lapsed).await.status, 303);
    let says = admin.get("/qualifications").await.ok().text();
    assert!(
        says.contains("low-air alarm at a third: lapsed after 25 Nov 2026.") && !says.contains("us-open"),
        "{says}"
    );
    let page = tech.get("/tickets/1").await.ok();
    assert!(!page.html.contains("action=\"/tickets/1/return\""), "{}", page.text());
    let upkeep = tech.get("/upkeep").await.ok();
    assert!(
        upkeep.part("Late: 1", "Month").contains("Tom Varga Technician’s qualification"),
        "{}",
        upkeep.text()
    );
    let feed = tech.get("/upkeep.ics").await.ok().html;
    assert!(feed.contains("BEGIN:VCALENDAR") && !feed.contains("Varga"), "{feed}");
    assert!(feed.contains("SUMMARY:Late: a qualification falls due"), "{feed}");
    let holds = [("of", of), ("until", "2026-11-26"), ("reference", "Course 13")];
    assert_eq!(admin.post("/qualifications", &holds).await.status, 303);
    assert!(
        tech.get("/tickets/1").await.ok().html.contains("action=\"/tickets/1/return\""),
        "on its last day"
    );
}

#[tokio::test]
async fn a_facepiece_of_which_the_model_is_not_known_fits_nobody_until_it_was_entered() {
    let d = district().await;
    let number = "F-142".to_owned();
    d.register(Register::FacepieceModel {
        number,
        make: String::new(),
        model: "One".to_owned(),
        style: String::new(),
    })
    .await;
    let mut admin = d.signed_in("ada").await;
    let page = admin.get("/assets/facepiece:F-142").await.ok().text();
    // It is checked with a unit only, so nothing says by itself that it is in service.
    assert!(page.contains("Nothing against it") && !page.contains("In service"), "{page}");
    let none = [("make", ""), ("model", "One"), ("style", "full")];
    let again = admin.post("/assets/facepiece:F-142/model", &none).await;
    assert_eq!(again.status, 422);
    assert!(again.said_at("make").contains("as the fit tests do"), "{}", again.text());
    let all = [("make", "Invented"), ("model", "One"), ("style", "full")];
    assert_eq!(admin.post("/assets/facepiece:F-142/model", &all).await.status, 303);
    let page = admin.get("/assets/facepiece:F-142").await.ok().text();
    assert!(page.contains("Make\nInvented") && page.contains("Style\nfull"), "{page}");
    assert_eq!(admin.get("/assets/cylinder:C-142/model").await.status, 404);
}

#[tokio::test]
async fn fit_tests_fall_due_among_the_rest_for_those_who_may_see_them() {
    let d = district().await;
    let mut o = d.signed_in("olga").await;
    for (member, tested) in [("ana", "2026-03-01"), ("olga", "2025-03-01")] {
        let test = fit_test(tested);
        assert_eq!(o.post(&format!("/fitness/{member}/fit"), &test).await.status, 303);
    }
    let page = o.get("/upkeep").await.ok().text();
    let late = page.split("Late:").nth(1).unwrap().split("Month by month").next().unwrap().to_owned();
    // 29 CFR 1910.134(f)(2): at least annually.
    assert!(late.contains("Olga Fenn") && late.contains("by 1 Mar 2026"), "{late}");
    let march = page.split("March 2027").nth(1).unwrap().split("April 2027").next().unwrap().to_owned();
    assert!(march.contains("Ana Wick") && march.contains("Fit test"), "{march}");
    let unknown = page.split("Not known yet").nth(1).unwrap().to_owned();
    assert!(unknown.contains("Fit test") && unknown.contains("Ben Orr"), "{unknown}");
    // The calendar says how many, of those who ride alone and of what is worn here.
    for member in ["ben", "tom"] {
        let test = fit_test("2026-03-01");
        assert_eq!(o.post(&format!("/fitness/{member}/fit"), &test).await.status, 303);
        let other =
            [("tested", "2024-05-01"), ("make", "Other"), ("model", "Two"), ("style", "full"), ("size", "S")];
        assert_eq!(o.post(&format!("/fitness/{member}/fit"), &other).await.status, 303);
    }
    let feed = d.signed_in("tom").await.get("/upkeep.ics").await.ok().html;
    assert!(feed.contains("SUMMARY:2 fit tests fall due\r\n"), "{feed}");
    assert!(feed.contains("SUMMARY:Late: a fit test falls due\r\n"), "{feed}");
    assert_eq!(feed.matches("fit test").count(), 2, "{feed}");
    // They are personal: whoever works at the bench alone is not told.
    let bench = d.signed_in("tom").await.get("/upkeep").await.ok().text();
    assert!(!bench.contains("Fit test") && !bench.contains("fit test"), "{bench}");
}

#[tokio::test]
async fn a_fill_in_the_cold_to_the_rating_is_refused_and_the_page_says_what_to_fill_to() {
    let d = district().await;
    compressor(&d).await;
    marked(&d, "C-117", "2024-01", None).await;
    let mut crew = d.signed_in("ana").await;
    let page = crew.get("/fills").await.ok().text();
    assert!(page.contains("Rated 4,500 psi") && page.contains("−20 °C\n3,512 psi"), "{page}");
    let cold =
        |pressure| [("cylinder", "C-117"), ("source", "shop"), ("pressure", pressure), ("celsius", "-20")];
    let refused = crew.post("/fills", &cold("4500")).await;
    assert_eq!(refused.status, 422);
    let said = refused.said_at("cylinder");
    assert!(said.contains("4,500 psi at −20 °C comes to") && said.contains("to 3,512 psi"), "{said}");
    let filled = crew.post("/fills", &cold("3512")).await;
    assert_eq!(filled.status, 303, "{}", filled.text());
    assert!(!crew.get(&filled.to).await.ok().text().contains("above its rating"));
    // Where nobody read the temperature, what reads more than the rating is read again.
    let warm = [("cylinder", "C-117"), ("source", "shop"), ("pressure", "4900 psi")];
    let filled = crew.post("/fills", &warm).await;
    assert_eq!(filled.status, 303, "{}", filled.text());
    let said = crew.get(&filled.to).await.ok().text();
    assert!(said.contains("That is above its rating of 4,500 psi. Read it again"), "{said}");
}

#[tokio::test]
async fn a_unit_with_a_condemned_cylinder_on_it_is_out_at_once() {
    // 49 CFR 180.203: a condemned cylinder is never filled or used again.
    let d = district().await;
    d.checked().await;
    marked(&d, "C-117", "2024-01", None).await;
    assert_eq!(d.state("117").await, State::InService);
    let mut tech = d.signed_in("tom").await;
    let why = [("why", "neck cracked"), ("member", "tom"), ("pin", PIN)];
    let gone = tech.post("/assets/cylinder:C-117/condemn", &why).await;
    assert_eq!(gone.status, 303, "{}", gone.text());
    assert_eq!(d.state("117").await, State::OutOfService);
    let page = tech.get("/units/117").await.ok().text();
    assert!(page.contains("Its cylinder C-117 is condemned or retired; fit another one"), "{page}");
    assert!(page.contains("See cylinder C-117"), "{page}");
    // It is taken off, and goes to the bench only.
    let own = tech.get("/assets/cylinder:C-117").await.ok();
    assert!(own.html.contains("value=\"bench\"") && !own.html.contains("value=\"spare/"), "{}", own.html);
    let out = tech.post("/assets/cylinder:C-117/put", &[("to", "bench")]).await;
    assert_eq!(out.status, 303, "{}", out.text());
    assert_eq!(d.state("117").await, State::InService);
}
