//! The officer's morning: who rides, whom a facepiece fits, what to move, and the signature.

use airmuster_domain::record::{Asset, Place, Register};
use airmuster_domain::standing::State;

use super::browser::Browser;
use super::district::{District, MINUTE, PIN, district, fit_test};

fn nobody() -> [(&'static str, &'static str); 3] {
    [("officer", ""), ("driver", ""), ("seat-3", "")]
}

/// Everybody named is tested with a medium facepiece and cleared, through the pages.
async fn fit(d: &District, officer: &mut Browser, members: &[&str]) {
    for member in members {
        let test = fit_test("2026-03-01");
        let entered = officer.post(&format!("/fitness/{member}/fit"), &test).await;
        assert_eq!(entered.status, 303, "{}", entered.text());
        let word = [("since", "2026-01-15"), ("cleared", "yes")];
        assert_eq!(officer.post(&format!("/fitness/{member}/clearance"), &word).await.status, 303);
    }
    assert!(d.records().await > 0);
}

#[tokio::test]
async fn members_are_put_on_seats_and_only_those_whom_the_facepiece_fits_make_them_ready() {
    let d = district().await;
    d.checked().await;
    let mut officer = d.signed_in("olga").await;
    // Where no roster is kept, units are ready without people.
    let before = officer.get("/rigs/engine-2").await.ok().text();
    assert!(before.contains("3 of 3 seats ready") && !before.contains("Staffed"), "{before}");
    fit(&d, &mut officer, &["olga", "ana"]).await;
    // Whoever may wear it comes first; why not is said under the field.
    let form = officer.get("/rigs/engine-2/crew").await.ok();
    let driver = form.html.split("<select id=\"driver\"").nth(1).unwrap().split("</select>").next().unwrap();
    let (may, not) = driver.split_once("<optgroup label=\"May not wear it\">").unwrap();
    assert!(may.contains("data-say=\"Ana Wick: fit until 1 Mar 2027.\">Ana Wick<"), "{driver}");
    assert!(not.contains("data-say=\"Ben Orr: no clearance entered.\">Ben Orr<"), "{driver}");
    let on = [("officer", "olga"), ("driver", "ana"), ("seat-3", "ben")];
    let put = officer.post("/rigs/engine-2/crew", &on).await;
    assert_eq!((put.status, put.to.as_str()), (303, "/rigs/engine-2"));
    let page = officer.get("/rigs/engine-2").await.ok().text();
    assert!(page.contains("Staffed, 3 on it") && page.contains("2 of 3 seats ready"), "{page}");
    let form = officer.get("/rigs/engine-2/crew").await.ok();
    assert!(
        form.html.contains(
            "<p class=\"soft\" id=\"seat-3-fit\" role=\"status\">Ben Orr: no clearance entered.</p>"
        ),
        "{}",
        form.html
    );
    assert!(
        form.html.contains("<optgroup label=\"Rode Engine 2 lately\"><option value=\"ana\""),
        "{}",
        form.html
    );
    // The sheet that is put up says of a member no more than that.
    let sheet = officer.get("/rigs/engine-2/sheet").await.ok().text();
    assert!(sheet.contains("Member not ready for this seat") && !sheet.contains("clearance"), "{sheet}");
    let why = "Ben Orr: no medical clearance entered. Ben Orr: no fit test with facepiece F-130, Invented One full, size medium.";
    assert!(page.contains(why), "{page}");
    assert!(page.contains("No team of two with two outside: 2 more ready members make one."), "{page}");
    // The unit itself is in service; it is the seat that is not ready.
    assert_eq!(d.state("130").await, State::InService);
    let both = [("officer", "ana"), ("driver", "ana"), ("seat-3", "")];
    let twice = officer.post("/rigs/engine-2/crew", &both).await;
    assert_eq!(twice.status, 422);
    assert!(twice.text().contains("One member cannot sit on two seats"), "{}", twice.text());
    // A seat that the roster leaves empty is no ready seat, though its unit is in service.
    let two = [("officer", "olga"), ("driver", "ana"), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &two).await.status, 303);
    let page = officer.get("/rigs/engine-2").await.ok().text();
    assert!(page.contains("2 of 3 seats ready") && page.contains("Nobody is on this seat."), "{page}");
    assert!(officer.get("/rigs").await.ok().text().contains("Seat 3: nobody on it"));
    // Nobody on it: that is entered too. Then its units are counted and not its seats.
    assert_eq!(officer.post("/rigs/engine-2/crew", &nobody()).await.status, 303);
    let rigs = officer.get("/rigs").await.ok().text();
    assert!(rigs.contains("Unstaffed") && rigs.contains("3 of 3 units ready"), "{rigs}");
    let wall = d.tablet().await.get("/wall").await.ok();
    assert!(wall.html.contains("<li class=\"aside\">"), "{}", wall.html);
}

#[tokio::test]
async fn the_last_crew_of_the_platoon_is_proposed_and_not_entered() {
    let d = district().await;
    let turns = ["A", "B"].map(str::to_owned).to_vec();
    d.register(Register::Rotation { turns, first: d.clock.now(), apart: std::collections::BTreeSet::new() })
        .await;
    let mut officer = d.signed_in("olga").await;
    let first = [("officer", "olga"), ("driver", "ana"), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &first).await.status, 303);
    d.pass(super::district::DAY);
    let mut officer = d.signed_in("olga").await;
    assert!(officer.get("/rigs").await.ok().text().contains("B platoon is on duty."));
    let other = officer.get("/rigs/engine-2/crew").await.ok();
    assert!(!other.html.contains(" selected"), "B platoon has no last crew");
    let second = [("officer", "tom"), ("driver", ""), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &second).await.status, 303);
    d.pass(super::district::DAY);
    let mut officer = d.signed_in("olga").await;
    assert!(officer.get("/rigs/engine-2").await.ok().text().contains("Crew not entered for this shift"));
    let form = officer.get("/rigs/engine-2/crew").await.ok();
    assert!(form.text().contains("the platoon’s last crew"), "{}", form.text());
    let chosen = |m: &str, name: &str| {
        form.html.contains(&format!("value=\"{m}\" data-say=\"{name}: no clearance entered.\" selected"))
    };
    assert!(
        chosen("olga", "Olga Fenn") && chosen("ana", "Ana Wick") && !chosen("tom", "Tom Varga"),
        "{}",
        form.html
    );
}

#[tokio::test]
async fn a_rig_that_takes_no_turns_is_offered_its_last_crew_whatever_the_platoon() {
    let d = district().await;
    let (turns, first) = (["A", "B"].map(str::to_owned).to_vec(), d.clock.now());
    let apart = std::collections::BTreeSet::from(["engine-2".to_owned()]);
    d.register(Register::Rotation { turns, first, apart }).await;
    let mut officer = d.signed_in("olga").await;
    let crew = [("officer", "olga"), ("driver", "ana"), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &crew).await.status, 303);
    d.pass(super::district::DAY);
    let mut officer = d.signed_in("olga").await;
    let form = officer.get("/rigs/engine-2/crew").await.ok();
    assert!(
        form.text().contains("This is the last crew.") && !form.text().contains("platoon"),
        "{}",
        form.text()
    );
    assert!(
        form.html.contains("value=\"ana\" data-say=\"Ana Wick: no clearance entered.\" selected"),
        "{}",
        form.html
    );
}

#[tokio::test]
async fn the_oncoming_officer_enters_crew_and_acceptance_before_the_shift_begins() {
    let d = district().await;
    d.checked().await;
    // 06:40 of the next morning: checks count for the shift from 07:00.
    d.pass(super::district::DAY - 24 * MINUTE);
    let mut officer = d.signed_in("olga").await;
    let running = [("officer", "tom"), ("driver", ""), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &running).await.status, 303);
    let form = officer.get("/rigs/engine-2/crew").await.ok();
    let next =
        form.html.split("href=\"/rigs/engine-2/crew?shift=").nth(1).unwrap().split('"').next().unwrap();
    assert!(form.text().contains("This shift, from yesterday 07:00 The shift from 07:00"), "{}", form.text());
    let ours = officer.get(&format!("/rigs/engine-2/crew?shift={next}")).await.ok();
    assert_eq!(ours.value("shift"), next);
    let on = [("officer", "olga"), ("driver", "ana"), ("seat-3", ""), ("shift", next)];
    let put = officer.post("/rigs/engine-2/crew", &on).await;
    assert_eq!((put.status, put.to), (303, format!("/rigs/engine-2?shift={next}")));
    let now = officer.get("/rigs/engine-2").await.ok().text();
    assert!(now.contains("Tom Varga") && !now.contains("Ana Wick"), "{now}");
    let then = officer.get(&format!("/rigs/engine-2?shift={next}")).await.ok();
    assert!(then.text().contains("Ana Wick") && !then.text().contains("Tom Varga"), "{}", then.text());
    assert!(then.html.contains(&format!("/rigs/engine-2/accept?shift={next}")), "{}", then.html);
    // Accepted for that shift, and for no other.
    let form = officer.get(&format!("/rigs/engine-2/accept?shift={next}")).await.ok();
    let (id, seen) = (form.value("id"), form.value("seen"));
    let sign = [
        ("id", id.as_str()),
        ("seen", &seen),
        ("shift", next),
        ("member", "olga"),
        ("pin", PIN),
        ("officer", "seen to"),
        ("driver", "seen to"),
        ("seat-3", "seen to"),
    ];
    let accepted = officer.post("/rigs/engine-2/accept", &sign).await;
    assert_eq!((accepted.status, accepted.to), (303, format!("/rigs/engine-2?shift={next}")));
    assert!(!officer.get("/rigs/engine-2").await.ok().text().contains("Reviewed by"));
    // A form of the shift that ran is not taken for the one that has begun meanwhile.
    let old = officer.get("/rigs/engine-2/crew").await.ok().value("shift");
    d.pass(21 * MINUTE);
    let begun = officer.get("/rigs/engine-2").await.ok().text();
    assert!(begun.contains("Reviewed by Olga Fenn") && begun.contains("Ana Wick"), "{begun}");
    let records = d.records().await;
    let late = [("officer", "tom"), ("driver", ""), ("seat-3", ""), ("shift", old.as_str())];
    let again = officer.post("/rigs/engine-2/crew", &late).await;
    assert_eq!(again.status, 422);
    assert!(
        again.text().contains("The shift from 07:00 has begun since you opened this."),
        "{}",
        again.text()
    );
    assert_eq!((d.records().await, again.value("shift").as_str()), (records, next));
}

#[tokio::test]
async fn personal_data_is_kept_outside_the_logbook_and_can_be_erased() {
    let d = district().await;
    let mut officer = d.signed_in("olga").await;
    fit(&d, &mut officer, &["ana"]).await;
    let page = officer.get("/fitness/ana").await.ok().text();
    assert!(
        page.contains("Invented One full Medium, fit until 1 Mar 2027")
            && page.contains("Cleared, 15 Jan 2026"),
        "{page}"
    );
    for seq in 1..=d.records().await {
        let kept = d.store.record(seq).await.unwrap().unwrap();
        let said = format!("{:?}", kept.record);
        assert!(!said.contains("2026-03-01") && !said.contains("Medium"), "{said}");
    }
    assert_eq!(officer.post("/fitness/ana/erase", &[("erase", "ana")]).await.status, 303);
    let page = officer.get("/fitness/ana").await.ok().text();
    assert!(page.contains("None entered.") && page.contains("No clearance entered"), "{page}");
    for (tested, say) in [("", "Give the day"), ("2027-01-01", "still to come")] {
        let again = officer.post("/fitness/ana/fit", &[("tested", tested), ("size", "M")]).await;
        assert_eq!(again.status, 422);
        assert!(again.said_at("tested").contains(say), "{}", again.said_at("tested"));
    }
    assert_eq!(officer.get("/fitness/nobody").await.status, 404);
}

#[tokio::test]
async fn a_rig_is_accepted_with_a_word_for_each_exception_and_what_changes_later_is_said() {
    let d = district().await;
    d.checked().await;
    d.pass(MINUTE);
    d.gauges_apart("130").await;
    let mut officer = d.signed_in("olga").await;
    let form = officer.get("/rigs/engine-2/accept").await.ok();
    let (id, seen) = (form.value("id"), form.value("seen"));
    let sign = |word: &'static str, member: &'static str| {
        let (id, seen) = (id.clone(), seen.clone());
        vec![
            ("id", id),
            ("seen", seen),
            ("seat-3", word.to_owned()),
            ("member", member.to_owned()),
            ("pin", PIN.to_owned()),
        ]
    };
    let post = async |officer: &mut Browser, fields: Vec<(&'static str, String)>| {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        officer.post("/rigs/engine-2/accept", &fields).await
    };
    let silent = post(&mut officer, sign("", "olga")).await;
    assert_eq!(silent.status, 422);
    assert!(silent.said_at("seat-3").contains("what you do about it"), "{}", silent.text());
    let crew = post(&mut officer, sign("asked for a spare", "ana")).await;
    assert!(crew.said_at("member").contains("An officer"), "{}", crew.text());
    assert_eq!(post(&mut officer, sign("asked for a spare", "olga")).await.status, 303);
    let page = officer.get("/rigs/engine-2").await.ok().text();
    assert!(page.contains("Reviewed by Olga Fenn at 07:05. Nothing has changed since."), "{page}");
    // It makes no unit better.
    assert_eq!(d.state("130").await, State::OutOfService);
    assert!(page.contains("2 of 3 seats ready"), "{page}");
    d.say("taken_out", "117", "ben", "strap").await;
    let page = officer.get("/rigs/engine-2").await.ok().text();
    assert!(page.contains("Changed since acceptance: Officer."), "{page}");
    // What was shown is not what is there any more.
    let late = post(&mut officer, sign("asked for a spare", "olga")).await;
    assert_eq!(late.status, 422);
    assert!(late.text().contains("Something has changed since you looked"), "{}", late.text());
}

#[tokio::test]
async fn a_plan_is_carried_out_in_one_record_each_move() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    let mut officer = d.signed_in("olga").await;
    let plan = officer.get("/swap").await.ok();
    let keys = plan.values("move");
    assert_eq!(keys, ["seat-3|142|130"], "{}", plan.text());
    let nothing = officer.post("/swap", &[]).await;
    assert_eq!(nothing.status, 422);
    let before = d.records().await;
    assert_eq!(officer.post("/swap", &[("move", &keys[0])]).await.status, 303);
    assert_eq!(d.records().await, before + 1);
    let page = officer.get("/swap").await.ok().text();
    assert!(page.contains("No seat needs another unit."), "{page}");
    let unit = d.tablet().await.get("/units/142").await.ok().text();
    assert!(unit.contains("Unit 130: spare at Millrace; unit 142: Engine 2, seat 3"), "{unit}");
}

#[tokio::test]
async fn a_rig_is_lent_and_everything_moved_to_another_in_one_action() {
    let d = district().await;
    let (id, name) = ("reserve-5".to_owned(), "Reserve 5".to_owned());
    d.register(Register::Rig { id, name, station: "mill".to_owned(), order: 9 }).await;
    for (order, name) in (1..).zip(["r1", "r2", "r3"]) {
        let (id, rig) = (name.to_owned(), "reserve-5".to_owned());
        d.register(Register::Seat { id, rig, name: name.to_owned(), kit: false, order }).await;
    }
    d.checked().await;
    let mut officer = d.signed_in("olga").await;
    let reserve = [("station", "mill"), ("duty", "reserve"), ("why", "")];
    assert_eq!(officer.post("/rigs/reserve-5/status", &reserve).await.status, 303);
    // A rescue-team pack, for which the reserve rig has no place, a spare cylinder, for which it has, and a crew.
    for (id, rig) in [("rack", "engine-2"), ("r-rack", "reserve-5")] {
        let (id, rig, name) = (id.to_owned(), rig.to_owned(), "Spare cylinder 1".to_owned());
        d.register(Register::Seat { id, rig, name, kit: true, order: 10 }).await;
    }
    d.register(Register::Cylinder { number: "C-9".to_owned(), rated: "4500 psi".parse().unwrap() }).await;
    let with_spare =
        Register::Holder { asset: Asset::cylinder("C-9"), place: Place::Seat { seat: "rack".to_owned() } };
    d.register(with_spare).await;
    let (rig, name) = ("engine-2".to_owned(), "Rescue-team pack".to_owned());
    d.register(Register::Seat { id: "pack".to_owned(), rig, name, kit: true, order: 9 }).await;
    d.arrives().await;
    let packed =
        Register::Holder { asset: Asset::unit("150"), place: Place::Seat { seat: "pack".to_owned() } };
    d.register(packed).await;
    fit(&d, &mut officer, &["olga", "ana"]).await;
    let crew = [("officer", "olga"), ("driver", "ana"), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &crew).await.status, 303);
    let before = d.records().await;
    let form = officer.get("/rigs/engine-2/status").await.ok().html;
    assert!(form.contains("Reserve 5, reserve: room for 3 at its seats and 1 in its kit places"), "{form}");
    let moved = officer.post("/rigs/engine-2/everything", &[("to", "reserve-5")]).await;
    assert_eq!(
        (moved.status, moved.to.split("&moved=").next()),
        (303, Some("/rigs/reserve-5?from=engine-2"))
    );
    // What was on it, what each rig is for, and who rides: five records, all or none.
    assert_eq!(d.records().await, before + 5);
    let page = officer.get(&moved.to).await.ok().text();
    let bare = officer.get("/rigs/reserve-5?from=engine-2").await.ok().text();
    assert!(!bare.contains("Everything was moved"), "no address alone says so: {bare}");
    assert!(
        page.contains("Staffed, 2 on it") && page.contains("Unit 117") && page.contains("Ana Wick"),
        "{page}"
    );
    let said = "Still on Engine 2, as no place here is free for it: Rescue-team pack: unit 150. \
        Reserve 5 is in use now and stands at Millrace, Engine 2 is reserve.";
    assert!(page.contains(said), "{page}");
    let old = officer.get("/rigs/engine-2").await.ok().text();
    assert!(old.contains("Millrace station · Reserve") && !old.contains("Ana Wick"), "{old}");
    // The swap plan does not take apart what has just been put together.
    let plan = officer.get("/swap").await.ok().text();
    assert!(!plan.contains("Unit 117") && !plan.contains("spare 117"), "{plan}");
    let again = officer.post("/rigs/engine-2/everything", &[("to", "reserve-5")]).await;
    assert_eq!(again.status, 422);
    let itself = officer.post("/rigs/engine-2/everything", &[("to", "engine-2")]).await;
    assert_eq!(itself.said_at("to"), "Choose another rig.");
    assert!(again.said_at("to").contains("Nothing on Engine 2"), "{}", again.text());
    // Lent to whom?
    let lent = officer.post("/rigs/engine-2/status", &[("station", "mill"), ("duty", "lent_out")]).await;
    assert!(lent.said_at("why").contains("whom it is lent to"), "{}", lent.text());
    let to = [("station", "mill"), ("duty", "lent_out"), ("why", "Upper Valley, until Friday")];
    assert_eq!(officer.post("/rigs/engine-2/status", &to).await.status, 303);
    let rigs = officer.get("/rigs").await.ok().text();
    assert!(rigs.contains("Lent out: Upper Valley, until Friday"), "{rigs}");
    // What is lent is neither open nor full, and what is on it is not counted.
    let wall = d.tablet().await.get("/wall").await.ok();
    assert!(wall.html.contains("<li class=\"aside\">") && !wall.html.contains("0 of 3"), "{}", wall.html);
}

#[tokio::test]
async fn a_late_record_that_pulls_a_unit_is_told_on_every_page_until_it_was_read() {
    let d = district().await;
    d.checked().await;
    let written = d.clock.now();
    d.pass(60 * MINUTE);
    d.say_at("taken_out", "117", "ben", "strap", written).await;
    let mut officer = d.signed_in("olga").await;
    for path in ["/stations", "/rigs", "/units/142"] {
        let page = officer.get(path).await.ok();
        assert!(page.text().contains("Unit 117 was taken out of service at 07:04"), "{}", page.text());
    }
    let crew = d.signed_in("ana").await.get("/stations").await.ok();
    assert!(!crew.text().contains("07:04, but"), "it is told to officers");
    let seq = d.records().await;
    assert_eq!(d.store.late_pulls().await.unwrap().len(), 1);
    // The ticket was opened after it.
    let read = officer.post(&format!("/records/{}/read", seq - 1), &[]).await;
    assert_eq!(read.status, 303);
    assert!(!officer.get("/stations").await.ok().text().contains("07:04, but"));
    assert_eq!(officer.post(&format!("/records/{}/read", seq - 1), &[]).await.status, 409);
    // Moved since, it has ridden all the same; moved before, it has not.
    let moved = |unit: &str, to: Place| Register::Holder { asset: Asset::unit(unit), place: to };
    d.register(moved("130", Place::Bench)).await;
    d.pass(20 * MINUTE);
    d.say_at("taken_out", "130", "ben", "hose", written).await;
    assert_eq!(d.store.late_pulls().await.unwrap().len(), 1);
    let on_the_bench = d.clock.now();
    d.pass(20 * MINUTE);
    d.say_at("hold", "130", "ben", "an accident", on_the_bench).await;
    assert_eq!(d.store.late_pulls().await.unwrap().len(), 1);
    let seq = d.store.late_pulls().await.unwrap()[0].kept.place.seq;
    assert_eq!(officer.post(&format!("/records/{seq}/read"), &[]).await.status, 303);
    // In time, or of a unit that does not ride: nothing is told.
    d.say("taken_out", "121", "ben", "strap").await;
    d.say_at("taken_out", "142", "ben", "strap", written).await;
    assert!(d.store.late_pulls().await.unwrap().is_empty());
}

#[tokio::test]
async fn the_teams_page_says_that_it_is_no_permission() {
    let d = district().await;
    d.checked().await;
    let mut officer = d.signed_in("olga").await;
    fit(&d, &mut officer, &["olga", "ana", "ben", "tom"]).await;
    let seat = Register::Seat {
        id: "seat-4".to_owned(),
        rig: "engine-2".to_owned(),
        name: "Seat 4".to_owned(),
        kit: false,
        order: 4,
    };
    d.register(seat).await;
    let place = Place::Seat { seat: "seat-4".to_owned() };
    d.register(Register::Holder { asset: Asset::unit("142"), place }).await;
    let on = [("officer", "olga"), ("driver", "ana"), ("seat-3", "ben"), ("seat-4", "tom")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &on).await.status, 303);
    let page = officer.get("/teams").await.ok().text();
    assert!(page.contains("1 team of two, with 2 outside."), "{page}");
    assert!(
        page.contains("Team 1 Tom Varga, unit 142 (Engine 2) and Ben Orr, unit 130 (Engine 2)"),
        "{page}"
    );
    assert!(page.contains("Planning help only."), "{page}");
}

#[tokio::test]
async fn the_wall_shows_rigs_on_any_tablet_and_nobodys_name_and_hears_of_each_record() {
    let d = district().await;
    d.checked().await;
    d.gauges_apart("130").await;
    let mut officer = d.signed_in("olga").await;
    let on = [("officer", "olga"), ("driver", ""), ("seat-3", "")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &on).await.status, 303);
    let mut screen = d.tablet().await;
    for path in ["/wall", "/wall/mill"] {
        let page = screen.get(path).await.ok();
        let text = page.text();
        assert!(text.contains("Engine 2") && text.contains("Seat 3: out of service"), "{text}");
        assert!(!page.html.contains("Olga"), "{}", page.html);
        let seq = d.records().await;
        assert!(page.html.contains(&format!("data-seq=\"{seq}\"")));
        assert_eq!(
            screen.get("/wall/events").await.ok().html,
            format!("retry: 5000\nid: {seq}\ndata: {seq}\n\n")
        );
    }
    assert_eq!(screen.get("/wall/nowhere").await.status, 404);
}

#[tokio::test]
async fn the_wall_does_not_say_what_a_member_lacks_and_says_what_falls_due() {
    let d = district().await;
    d.checked().await;
    let mut officer = d.signed_in("olga").await;
    fit(&d, &mut officer, &["olga", "ana", "ben"]).await;
    // Cleared but not tested; tested but not cleared.
    assert_eq!(officer.post("/fitness/olga/erase", &[("erase", "olga")]).await.status, 303);
    let word = [("since", "2026-01-15"), ("cleared", "yes")];
    assert_eq!(officer.post("/fitness/olga/clearance", &word).await.status, 303);
    let word = [("since", "2026-01-15"), ("cleared", "no")];
    assert_eq!(officer.post("/fitness/ana/clearance", &word).await.status, 303);
    let on = [("officer", "olga"), ("driver", "ana"), ("seat-3", "ben")];
    assert_eq!(officer.post("/rigs/engine-2/crew", &on).await.status, 303);
    let wall = d.tablet().await.get("/wall").await.ok().text();
    assert!(wall.contains("Officer: member not ready"), "{wall}");
    assert!(wall.contains("clearance apart"), "{wall}");
    // Whoever is not cleared is counted as if he were: nothing is left to be told from the numbers.
    assert!(wall.contains("2 of 3") && !wall.contains("Driver"), "{wall}");
    assert!(!wall.contains("cleared") && !wall.contains("fit test") && !wall.contains("due by"), "{wall}");
    let rigs = officer.get("/rigs").await.ok().text();
    assert!(rigs.contains("Officer: no fit test · Driver: not cleared"), "{rigs}");
    // In the next shift they are ready on the last check.
    d.pass(super::district::DAY);
    let wall = d.tablet().await.get("/wall").await.ok().text();
    assert!(wall.contains("3 due by 08:30"), "{wall}");
    assert!(d.signed_in("olga").await.get("/rigs").await.ok().text().contains("3 due by 08:30"));
}

#[tokio::test]
async fn the_daily_sheet_carries_the_logbooks_head() {
    let d = district().await;
    d.checked().await;
    let mut officer = d.signed_in("olga").await;
    let sheet = officer.get("/rigs/engine-2/sheet").await.ok().text();
    let head = d.store.head().await.unwrap();
    assert!(sheet.contains(&head.hash.to_string()), "{sheet}");
    assert!(sheet.contains("C-117, 4,480 psi") && sheet.contains("07:04, Ana Wick"), "{sheet}");
    assert!(sheet.contains("Not yet accepted by an officer."), "{sheet}");
    assert_eq!(officer.get("/rigs/nothing/sheet").await.status, 404);
}

#[tokio::test]
async fn what_had_no_inspection_is_listed_wherever_it_stands() {
    let d = district().await;
    d.checked().await;
    let mut officer = d.signed_in("olga").await;
    let page = officer.get("/uninspected").await.ok().text();
    assert!(page.contains("None. All 4 units have been inspected."), "{page}");
    d.pass(8 * super::district::DAY);
    d.check("117", "ana", airmuster_domain::rules::Purpose::ShiftStart, &[]).await;
    let mut officer = d.signed_in("olga").await;
    let week = officer.get("/uninspected?days=7").await.ok().text();
    assert!(week.contains("Unit 142 Spare at Millrace · Each shift Last good check 26 Nov 07:04"), "{week}");
    assert!(!week.contains("Unit 117"), "{week}");
    let month = officer.get("/uninspected").await.ok().text();
    assert!(month.contains("None."), "{month}");
}
