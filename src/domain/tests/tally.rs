//! Checks in time, late and missed; how long seats stood open; and the questions that checks raise.
//! The worked examples are our own; days of 23 and 25 hours are those of `America/New_York` in 2026
//! (tz database, rule US: forward on 8 March, back on 1 November).
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use airmuster_domain::record::Cadence;
use airmuster_domain::shift::ShiftClock;
use airmuster_domain::shortcuts::{Question, Seen, questions};
use airmuster_domain::standing::State;
use airmuster_domain::tally::{Kept, Past, Span, median, open_by_hour, owed, together};
use chrono::DateTime;

const MINUTE: i64 = 60_000;
const HOUR: i64 = 60 * MINUTE;
const DAY: i64 = 24 * HOUR;

fn at(text: &str) -> i64 {
    DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis()
}

fn new_york() -> ShiftClock {
    ShiftClock::read("America/New_York", "07:00", 24, 90, 90).unwrap()
}

fn kept(clock: &ShiftClock, cadence: Cadence, past: &Past, from: i64, to: i64, now: i64) -> Vec<Kept> {
    owed(clock, cadence, past, (from, to), now).iter().map(|o| o.kept).collect()
}

#[test]
fn a_check_at_each_shift_is_in_time_late_or_missed() {
    let clock = ShiftClock::read("UTC", "07:00", 24, 90, 90).unwrap();
    let (from, to) = (at("2026-11-20T00:00:00Z"), at("2026-11-25T00:00:00Z"));
    let done = vec![
        at("2026-11-20T05:30:00Z"), // at the first moment that counts for the 20th
        at("2026-11-21T08:30:00Z"), // at the last moment in time
        at("2026-11-22T08:31:00Z"), // a minute late
        at("2026-11-24T05:29:00Z"), // still the 23rd's, and very late
    ];
    let past = Past { done, ..Past::default() };
    let late = at("2026-11-24T05:29:00Z") - at("2026-11-23T08:30:00Z");
    assert_eq!(
        kept(&clock, Cadence::EachShift, &past, from, to, at("2026-11-26T00:00:00Z")),
        [Kept::InTime, Kept::InTime, Kept::Late(MINUTE), Kept::Late(late), Kept::Missed]
    );
    // While it can still be made, it is neither.
    let soon = kept(&clock, Cadence::EachShift, &past, from, to, at("2026-11-24T20:00:00Z"));
    assert_eq!(soon.len(), 4);
    // Nobody checks what is out of service.
    let span = Span { from: at("2026-11-24T08:00:00Z"), until: Some(at("2026-11-24T09:00:00Z")) };
    let out = Past { against: vec![(State::OutOfService, span)], ..past };
    let excused = kept(&clock, Cadence::EachShift, &out, from, to, at("2026-11-26T00:00:00Z"));
    assert_eq!(excused.last(), Some(&Kept::NotOwed));
}

#[test]
fn a_check_is_owed_once_a_day_on_days_of_23_and_25_hours() {
    let clock = new_york();
    for (from, to) in [
        ("2026-03-06T00:00:00-05:00", "2026-03-11T00:00:00-04:00"),
        ("2026-10-30T00:00:00-04:00", "2026-11-04T00:00:00-05:00"),
    ] {
        let (from, to) = (at(from), at(to));
        let all = owed(&clock, Cadence::EachShift, &Past::default(), (from, to), to + 2 * DAY);
        let local: Vec<String> = all.iter().map(|o| clock.local(o.due).format("%H:%M").to_string()).collect();
        assert_eq!(local, ["08:30"; 5]);
        assert!(all.iter().all(|o| o.kept == Kept::Missed));
    }
}

#[test]
fn a_weekly_check_is_due_seven_days_after_the_one_before() {
    let clock = ShiftClock::default();
    let start = at("2026-09-01T12:00:00Z");
    let past =
        Past { done: vec![start, start + 7 * DAY, start + 15 * DAY, start + 18 * DAY], ..Past::default() };
    let now = start + 33 * DAY;
    assert_eq!(
        kept(&clock, Cadence::Weekly, &past, start, now, now),
        // In time; a day late; early; and after it two weeks with none.
        [Kept::InTime, Kept::Late(DAY), Kept::InTime, Kept::Missed]
    );
    assert_eq!(kept(&clock, Cadence::Weekly, &Past::default(), start, now, now), [], "nothing is known");
}

#[test]
fn overlapping_faults_are_one_repair_and_the_middle_one_is_said() {
    let span = |from, until| Span { from, until };
    let all = vec![span(50, None), span(0, Some(10)), span(5, Some(20)), span(30, Some(40))];
    assert_eq!(together(all), [span(0, Some(20)), span(30, Some(40)), span(50, None)]);
    assert_eq!(together(vec![span(0, None), span(5, Some(6))]), [span(0, None)]);
    assert_eq!((median(vec![]), median(vec![9]), median(vec![9, 1, 5, 2])), (None, Some(9), Some(2)));
}

#[test]
fn seats_are_open_in_the_hours_in_which_their_unit_was_not_in_service() {
    let clock = ShiftClock::read("UTC", "07:00", 24, 90, 90).unwrap();
    let day = at("2026-11-20T00:00:00Z");
    let checked = vec![day - 18 * HOUR, day + 7 * HOUR];
    let fault = Span { from: day + 12 * HOUR, until: Some(day + 15 * HOUR) };
    let past = Past { done: checked.clone(), good: checked, against: vec![(State::OutOfService, fault)] };
    let seats = [vec![(day - DAY, Some(0))], vec![(day + 20 * HOUR, None)]];
    let by_hour = open_by_hour(&clock, &seats, &[(Cadence::EachShift, past)], (day, day + DAY));
    let open: Vec<usize> = (0..24).filter(|h| by_hour[*h].0 > 0).collect();
    // Yesterday's check counts until 08:30, so that nothing opens at the change of shift.
    assert_eq!(open, [12, 13, 14, 20, 21, 22, 23]);
    assert_eq!((by_hour[0], by_hour[13], by_hour[21]), ((0, 1), (1, 1), (1, 2)));
}

// ------------------------------------------------------------------------------------- questions

fn seen(unit: &str, by: &str, day: i64, psi: i64) -> Seen {
    Seen {
        unit: unit.to_owned(),
        profile: "a".to_owned(),
        at: day * DAY,
        by: Some(by.to_owned()),
        took: 500_000,
        least: 200_000,
        pressure: format!("{psi} psi").parse().ok(),
        on_crew: Some(true),
    }
}

/// A month of checks of four units whose readings move.
fn honest() -> Vec<Seen> {
    let units = ["1", "2", "3", "4"];
    (0..30).flat_map(|d| units.map(|u| seen(u, "m-1", d, 4400 + (d * 7) % 5 * 20))).collect()
}

#[test]
fn nothing_is_asked_of_checks_that_were_made() {
    assert_eq!(questions(&honest()), []);
    assert_eq!(questions(&[]), []);
}

#[test]
fn what_took_less_time_than_its_steps_is_asked_about_from_the_third_on() {
    let mut all = honest();
    for s in all.iter_mut().take(2) {
        s.took = 90_000;
    }
    assert_eq!(questions(&all), []);
    all[7].took = 60_000;
    let (hurried, of) = (3, 120);
    let member = "m-1".to_owned();
    let asked = Question::Hurried { member, hurried, of, shortest: 60_000, least: 200_000 };
    assert_eq!(questions(&all), [asked]);
    // At the least time itself nothing is asked, and nothing where a clock was set back.
    for s in &mut all {
        s.took = if s.took < 200_000 { 200_000 } else { -1 };
    }
    assert_eq!(questions(&all), []);
}

#[test]
fn the_same_reading_is_asked_about_only_where_others_move() {
    let mut all = honest();
    let stuck = |s: &&mut Seen| s.unit == "2";
    for s in all.iter_mut().filter(stuck).take(8) {
        s.pressure = "4400 psi".parse().ok();
    }
    let asked = questions(&all);
    assert!(matches!(&asked[..], [Question::SameReading { unit, times: 8, .. }] if unit == "2"), "{asked:?}");
    // Seven in a row, or where all stand still: nothing.
    all.iter_mut().filter(stuck).nth(4).unwrap().pressure = "4420 psi".parse().ok();
    assert_eq!(questions(&all), []);
    let still: Vec<Seen> =
        honest().into_iter().map(|s| Seen { pressure: "4400 psi".parse().ok(), ..s }).collect();
    assert_eq!(questions(&still), []);
}

#[test]
fn checks_by_somebody_on_no_crew_are_asked_about_where_crews_are_entered() {
    let mut all = honest();
    for (n, s) in all.iter_mut().enumerate() {
        s.on_crew = if n < 3 { Some(false) } else { None };
    }
    let (member, checks, last) = ("m-1".to_owned(), 3, 0);
    assert_eq!(questions(&all), [Question::OffCrew { member, checks, last }]);
    all[0].on_crew = None;
    assert_eq!(questions(&all), []);
}
