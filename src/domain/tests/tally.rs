//! Checks in time, late and missed; how long seats stood open; and the questions that checks raise.
//! The worked examples are our own; days of 23 and 25 hours are those of `America/New_York` in 2026
//! (tz database, rule US: forward on 8 March, back on 1 November); that checking less often than monthly has
//! to be said is 29 CFR 1910.134(h)(3)(i)(B).
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use airmuster_domain::Millis;
use airmuster_domain::cadence::{Cadences, History};
use airmuster_domain::record::{Cadence, Place, Register, Spot};
use airmuster_domain::shift::{ShiftClock, Starts};
use airmuster_domain::shortcuts::{Question, Seen, questions};
use airmuster_domain::standing::State;
use airmuster_domain::tally::{Kept, Past, Span, hours, median, open_by_hour, owed, releases, together};
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

/// Found for one day only, so that most of what is asked lies outside.
fn starts(clock: &ShiftClock) -> Starts<'_> {
    let day = at("2026-11-21T00:00:00Z");
    Starts::over(clock, (day, day + DAY))
}

fn kept(clock: &ShiftClock, cadence: Cadence, past: &Past, from: i64, to: i64, now: i64) -> Vec<Kept> {
    let past = Past { cadences: vec![(from, cadence)], ..past.clone() };
    owed(&starts(clock), &past, (from, to), now).iter().map(|o| o.kept).collect()
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
        let past = Past { cadences: vec![(from, Cadence::EachShift)], ..Past::default() };
        let all = owed(&starts(&clock), &past, (from, to), to + 2 * DAY);
        let local: Vec<String> = all.iter().map(|o| clock.local(o.due).format("%H:%M").to_string()).collect();
        assert_eq!(local, ["08:30"; 5]);
        assert!(all.iter().all(|o| o.kept == Kept::Missed));
    }
}

#[test]
fn a_weekly_check_is_due_seven_days_after_the_one_before() {
    let clock = ShiftClock::default();
    let start = at("2026-09-01T12:00:00Z");
    // Ninety minutes of grace each time.
    let grace = 90 * MINUTE;
    let done = vec![start, start + 7 * DAY + grace, start + 15 * DAY + grace, start + 18 * DAY];
    let past = Past { done, ..Past::default() };
    let now = start + 33 * DAY;
    assert_eq!(
        kept(&clock, Cadence::Weekly, &past, start, now, now),
        // At the last moment in time; a day less that grace late; early; and after it two weeks with none.
        [Kept::InTime, Kept::Late(DAY - grace), Kept::InTime, Kept::Missed]
    );
    assert_eq!(kept(&clock, Cadence::Weekly, &Past::default(), start, now, now), [], "nothing is known");
}

#[test]
fn a_weekly_check_at_the_same_time_of_day_is_in_time_over_both_changes_of_the_clocks() {
    let clock = ShiftClock::read("America/New_York", "07:00", 24, 0, 0).unwrap();
    for days in [
        ["2026-03-04T10:00:00-05:00", "2026-03-11T10:00:00-04:00", "2026-03-18T10:00:00-04:00"],
        ["2026-10-28T10:00:00-04:00", "2026-11-04T10:00:00-05:00", "2026-11-11T10:00:00-05:00"],
    ] {
        let done = days.map(at).to_vec();
        let now = done[2] + HOUR;
        let past = Past { done, ..Past::default() };
        let all = kept(&clock, Cadence::Weekly, &past, past.done[0], now, now);
        assert_eq!(all, [Kept::InTime, Kept::InTime], "{}", days[0]);
    }
}

#[test]
fn what_fell_due_while_a_cadence_held_is_owed_by_it_and_by_no_later_one() {
    let clock = ShiftClock::read("UTC", "07:00", 24, 90, 90).unwrap();
    let (from, to) = (at("2026-11-01T00:00:00Z"), at("2026-11-29T00:00:00Z"));
    let stood = |cadences: Vec<(i64, Cadence)>, done: Vec<i64>| {
        let past = Past { done, cadences, ..Past::default() };
        owed(&starts(&clock), &past, (from, to), to + DAY).iter().map(|o| (o.due, o.kept)).collect::<Vec<_>>()
    };
    // A weekly spare is moved into a seat that is checked at each shift, for three days.
    let cadences = vec![
        (at("2026-09-01T00:00:00Z"), Cadence::Weekly),
        (at("2026-11-10T12:00:00Z"), Cadence::EachShift),
        (at("2026-11-13T12:00:00Z"), Cadence::Weekly),
    ];
    let done =
        ["2026-10-30T07:00:00Z", "2026-11-05T07:00:00Z", "2026-11-11T07:10:00Z", "2026-11-12T09:00:00Z"];
    assert_eq!(
        stood(cadences, done.map(at).into()),
        [
            (at("2026-11-05T07:00:00Z"), Kept::InTime), // the week's, two days early
            (at("2026-11-11T08:30:00Z"), Kept::InTime),
            (at("2026-11-12T08:30:00Z"), Kept::Late(30 * MINUTE)),
            (at("2026-11-13T08:30:00Z"), Kept::Missed),
            (at("2026-11-19T10:30:00Z"), Kept::Missed), // a week after the last, as a spare again
        ]
    );
    // Checked after use only, it owes nothing by the calendar, and its last good check goes on.
    let idle = Past {
        good: releases(vec![(at("2026-01-01T00:00:00Z"), at("2026-01-01T00:00:00Z"))]),
        cadences: vec![(from, Cadence::AfterUse)],
        ..Past::default()
    };
    assert_eq!(owed(&starts(&clock), &idle, (from, to), to), []);
    assert!(idle.in_service_at(&starts(&clock), to));
    assert!(!Past { cadences: vec![(from, Cadence::Monthly)], ..idle }.in_service_at(&starts(&clock), to));
    // Of what nothing is known, nothing is owed, and nothing was in service.
    let unknown = Past { good: vec![(from, from)], ..Past::default() };
    assert!(!unknown.in_service_at(&starts(&clock), from + HOUR));
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
    let past = Past {
        done: checked.clone(),
        good: releases(checked.iter().map(|t| (*t, *t)).collect()),
        against: vec![(State::OutOfService, fault)],
        cadences: vec![(day, Cadence::EachShift)],
    };
    let seats = [vec![(day - DAY, Some(0))], vec![(day + 20 * HOUR, None)]];
    let starts = starts(&clock);
    let ready = past.in_service(&starts, hours((day, day + DAY)));
    let by_hour = open_by_hour(&starts, &seats, &[ready], (day, day + DAY));
    let open: Vec<usize> = (0..24).filter(|h| by_hour[*h].0 > 0).collect();
    // Yesterday's check counts until 08:30, so that nothing opens at the change of shift.
    assert_eq!(open, [12, 13, 14, 20, 21, 22, 23]);
    assert_eq!((by_hour[0], by_hour[13], by_hour[21]), ((0, 1), (1, 1), (1, 2)));
}

#[test]
fn starts_that_were_found_once_are_those_of_the_clock() {
    for (zone, start, hours) in [("America/New_York", "07:00", 24), ("America/New_York", "02:30", 1)] {
        let clock = ShiftClock::read(zone, start, hours, 20, 20).unwrap();
        // Over both changes of the clocks, and before and after what was found.
        for day in ["2026-03-08T12:00:00Z", "2026-11-01T12:00:00Z"].map(at) {
            let starts = Starts::over(&clock, (day - 2 * DAY, day + 2 * DAY));
            for n in 0..1000 {
                let t = day - 4 * DAY + n * 691_200;
                assert_eq!(
                    (starts.next(t), starts.current(t)),
                    (clock.next_start(t), clock.current_start(t))
                );
                for at in [starts.next(t) - 1, starts.next(t), starts.current(t)] {
                    assert_eq!(starts.next(at), clock.next_start(at));
                    assert_eq!(starts.current(at), clock.current_start(at));
                    let until = |cadence| clock.counts_until(cadence, at);
                    assert!(Cadence::ALL.into_iter().all(|c| starts.counts_until(c, at) == until(c)));
                }
            }
        }
    }
}

#[test]
fn moments_looked_at_in_one_go_are_as_each_by_itself() {
    let clock = new_york();
    let day = at("2026-10-30T12:00:00Z");
    let starts = Starts::over(&clock, (day, day + 5 * DAY));
    let against = |state, from: i64, until| (state, Span { from: day + from * HOUR, until });
    let past = Past {
        good: releases(vec![
            (day + HOUR, day),
            (day + 20 * HOUR, day + 19 * HOUR),
            (day + 60 * HOUR, day + HOUR),
        ]),
        against: vec![
            against(State::InService, 0, None),
            against(State::PutRight, 22, Some(day + 25 * HOUR)),
            against(State::OutOfService, 80, None),
        ],
        cadences: vec![(day + 2 * HOUR, Cadence::EachShift), (day + 50 * HOUR, Cadence::Weekly)],
        ..Past::default()
    };
    let moments: Vec<i64> = hours((day - DAY, day + 5 * DAY)).collect();
    assert_eq!(moments.len(), 6 * 24);
    let by_itself: Vec<bool> = moments.iter().map(|t| past.in_service_at(&starts, *t)).collect();
    assert_eq!(past.in_service(&starts, moments.iter().copied()), by_itself);
    let ready = |hour: i64| past.in_service_at(&starts, day + hour * HOUR);
    // Put right from 22 on, not checked for the next shift by 24:30, once a week from 50 on, out from 80 on.
    assert_eq!([0, 1, 21, 23, 26, 79, 81].map(ready), [false, true, true, false, false, true, false]);
}

#[test]
fn what_was_countersigned_later_was_made_in_time_and_releases_from_then_on() {
    let clock = ShiftClock::read("UTC", "07:00", 24, 90, 90).unwrap();
    let day = at("2026-11-20T00:00:00Z");
    let (made, signed) = (day + 7 * HOUR, day + 11 * HOUR);
    let past =
        |good| Past { done: vec![made], good, cadences: vec![(day, Cadence::EachShift)], ..Past::default() };
    let countersigned = past(releases(vec![(signed, made)]));
    let in_time = |p: &Past| {
        owed(&starts(&clock), p, (day, day + DAY), day + DAY).iter().all(|o| o.kept == Kept::InTime)
    };
    assert!(in_time(&countersigned));
    assert!(!countersigned.in_service_at(&starts(&clock), signed - 1), "it released nothing before");
    assert!(countersigned.in_service_at(&starts(&clock), signed));
    let next_due = day + DAY + 8 * HOUR + 30 * MINUTE;
    assert!(countersigned.in_service_at(&starts(&clock), next_due - 1));
    assert!(!countersigned.in_service_at(&starts(&clock), next_due), "it counts by when it was made");
    // Still waiting, it was made all the same.
    let waits = past(Vec::new());
    assert!(in_time(&waits) && !waits.in_service_at(&starts(&clock), next_due - 1));
    // An older check that is countersigned late takes nothing from a newer one.
    assert_eq!(releases(vec![(9, 2), (5, 5)]), [(5, 5), (9, 5)]);
}

#[test]
fn a_span_holds_its_first_moment_and_not_the_first_one_after_it() {
    let span = Span { from: 5, until: Some(9) };
    assert_eq!([4, 5, 8, 9].map(|t| span.holds(t)), [false, true, true, false]);
    let open = Span { from: 5, until: None };
    assert_eq!([4, 5, Millis::MAX].map(|t| open.holds(t)), [false, true, true]);
}

#[test]
fn a_check_belongs_to_the_shift_whose_early_minutes_have_begun() {
    let clock = ShiftClock::read("UTC", "07:00", 24, 90, 90).unwrap();
    // From the start of one shift to the start of another: the first is among them, the other is not.
    let (from, to) = (at("2026-11-20T07:00:00Z"), at("2026-11-22T07:00:00Z"));
    let past = Past { done: vec![at("2026-11-21T05:30:00Z")], ..Past::default() };
    assert_eq!(
        kept(&clock, Cadence::EachShift, &past, from, to, to),
        [Kept::Missed, Kept::InTime],
        "half past five is the next shift's"
    );
    let before = Past { done: vec![at("2026-11-21T05:30:00Z") - 1], ..Past::default() };
    let late = at("2026-11-21T05:30:00Z") - 1 - at("2026-11-20T08:30:00Z");
    assert_eq!(
        kept(&clock, Cadence::EachShift, &before, from, to, to),
        [Kept::Late(late), Kept::Missed],
        "a moment earlier it is this one's"
    );
    // One that was made before its shift began counts, as soon as that begins.
    let now = at("2026-11-21T07:00:00Z");
    assert_eq!(kept(&clock, Cadence::EachShift, &past, now, to, now), [Kept::InTime]);
    assert_eq!(kept(&clock, Cadence::EachShift, &past, now, to, now - 1), []);
}

#[test]
fn only_what_was_out_of_service_when_it_was_due_is_excused() {
    let clock = ShiftClock::read("UTC", "07:00", 24, 90, 90).unwrap();
    let (from, to) = (at("2026-11-20T00:00:00Z"), at("2026-11-22T00:00:00Z"));
    let kept = |state, from_to: (&str, &str)| {
        let span = Span { from: at(from_to.0), until: Some(at(from_to.1)) };
        let past = Past { against: vec![(state, span)], ..Past::default() };
        kept(&clock, Cadence::EachShift, &past, from, to, to + DAY)
    };
    let due = ("2026-11-20T08:30:00Z", "2026-11-20T08:31:00Z");
    for state in [State::OutOfService, State::Held, State::Retired] {
        assert_eq!(kept(state, due), [Kept::NotOwed, Kept::Missed], "{state:?}");
    }
    for state in [State::CheckDue, State::PutRight] {
        assert_eq!(kept(state, due), [Kept::Missed; 2], "{state:?}");
    }
    let before = ("2026-11-20T08:00:00Z", "2026-11-20T08:30:00Z");
    assert_eq!(kept(State::OutOfService, before), [Kept::Missed; 2]);
}

#[test]
fn a_monthly_check_is_due_thirty_one_days_after_the_one_before_under_the_first_cadence_too() {
    // 29 CFR 1910.134(h)(3)(i)(B): at least monthly.
    let clock = ShiftClock::default();
    let start = at("2026-09-01T12:00:00Z");
    let past = Past {
        done: vec![start, start + 31 * DAY, start + 62 * DAY + 2 * HOUR],
        // What came first held before, too.
        cadences: vec![(start + 80 * DAY, Cadence::Monthly)],
        ..Past::default()
    };
    let now = start + 70 * DAY;
    let all: Vec<(Millis, Kept)> =
        owed(&starts(&clock), &past, (start, now), now).iter().map(|o| (o.due, o.kept)).collect();
    assert_eq!(
        all,
        [(start + 31 * DAY, Kept::InTime), (start + 62 * DAY + 90 * MINUTE, Kept::Late(30 * MINUTE))]
    );
}

#[test]
fn what_is_said_and_blocks_nothing_takes_no_unit_out_of_service() {
    let clock = ShiftClock::read("UTC", "07:00", 24, 90, 90).unwrap();
    let day = at("2026-11-20T00:00:00Z");
    let made = day + 7 * HOUR;
    let with = |state| Past {
        good: vec![(made, made)],
        against: vec![(state, Span { from: made, until: Some(made + HOUR) })],
        cadences: vec![(day, Cadence::EachShift)],
        ..Past::default()
    };
    assert!(with(State::InService).in_service_at(&starts(&clock), made));
    assert!(!with(State::CheckDue).in_service_at(&starts(&clock), made));
    assert!(with(State::CheckDue).in_service_at(&starts(&clock), made + HOUR), "when that is over");
}

#[test]
fn spans_that_touch_are_one() {
    let span = |from, until| Span { from, until: Some(until) };
    assert_eq!(together(vec![span(10, 20), span(0, 10)]), [span(0, 20)]);
    assert_eq!(together(vec![span(11, 20), span(0, 10)]), [span(0, 10), span(11, 20)]);
}

#[test]
fn seats_are_looked_at_in_the_middle_of_each_hour_of_the_time_asked_about() {
    let clock = ShiftClock::read("UTC", "07:00", 24, 90, 90).unwrap();
    let day = at("2026-11-20T00:00:00Z");
    let seats = [vec![(day - DAY, None)]];
    let looked = |from: Millis, to: Millis| -> Vec<usize> {
        let by_hour = open_by_hour(&starts(&clock), &seats, &[], (day + from * MINUTE, day + to * MINUTE));
        (0..24).filter(|h| by_hour[*h].1 > 0).collect()
    };
    assert_eq!(looked(0, 120), [0, 1]);
    assert_eq!(looked(30, 90), [0], "the first moment belongs to it, the last does not");
    assert_eq!(looked(30, 91), [0, 1]);
    assert_eq!(looked(31, 120), [1], "nothing from before it");
    assert_eq!(looked(45, 46), Vec::<usize>::new());
}

// -------------------------------------------------------------------- how often, by rig and place

fn rig() -> Spot {
    Spot::Rig { rig: "engine-2".to_owned() }
}

fn seat(seat: &str) -> Place {
    Place::Seat { seat: seat.to_owned() }
}

fn spare() -> Place {
    Place::Spare { station: "mill".to_owned() }
}

/// Engine 2 with a driver's seat and a rack.
fn cadences(said: &[(Spot, Option<Cadence>)]) -> Cadences {
    let mut out = Cadences::default();
    for id in ["driver", "rack"] {
        let (rig, name) = ("engine-2".to_owned(), id.to_owned());
        out.hear(&Register::Seat { id: id.to_owned(), rig, name, kit: id == "rack", order: 1 });
    }
    for (at, cadence) in said {
        out.hear(&Register::Cadence { at: at.clone(), cadence: *cadence });
    }
    out
}

#[test]
fn a_place_goes_before_its_rig_and_both_before_what_a_unit_brings_along() {
    let rack = Spot::Seat { seat: "rack".to_owned() };
    let c = cadences(&[(rig(), Some(Cadence::EachShift)), (rack.clone(), Some(Cadence::Weekly))]);
    let own = Cadence::Monthly;
    assert_eq!(c.at(Some(&seat("driver")), own), (Cadence::EachShift, Some(rig())));
    assert_eq!(c.at(Some(&seat("rack")), own), (Cadence::Weekly, Some(rack.clone())));
    // Where nothing is said: elsewhere, on the bench, nowhere.
    for place in [Some(spare()), Some(seat("elsewhere")), Some(Place::Bench), Some(Place::Repairer), None] {
        assert_eq!(c.at(place.as_ref(), own), (own, None), "{place:?}");
    }
    // Nothing is said of the rack any more: the rig's holds again.
    let c =
        cadences(&[(rig(), Some(Cadence::EachShift)), (rack.clone(), Some(Cadence::Weekly)), (rack, None)]);
    assert_eq!(c.at(Some(&seat("rack")), own), (Cadence::EachShift, Some(rig())));
    let spares = Spot::Spares { station: "mill".to_owned() };
    let c = cadences(&[(spares.clone(), Some(Cadence::Weekly))]);
    assert_eq!(c.at(Some(&spare()), Cadence::EachShift), (Cadence::Weekly, Some(spares)));
}

#[test]
fn what_was_said_later_does_not_reach_back() {
    let own = [(0, Cadence::Weekly)];
    let placed: [(Millis, Place); 3] = [(0, spare()), (100, seat("driver")), (300, spare())];
    let history = History {
        set: vec![(200, rig(), Some(Cadence::EachShift)), (250, rig(), None)],
        rigs: cadences(&[]).rigs,
    };
    assert_eq!(
        history.of(&own, &placed),
        [(Millis::MIN, Cadence::Weekly), (200, Cadence::EachShift), (250, Cadence::Weekly)]
    );
    // Said before it came there, it holds from when it stood there, and only for as long.
    let early = History { set: vec![(50, rig(), Some(Cadence::EachShift))], ..history.clone() };
    assert_eq!(
        early.of(&own, &placed),
        [(Millis::MIN, Cadence::Weekly), (100, Cadence::EachShift), (300, Cadence::Weekly)]
    );
    // What it brings along may change, too; and of what was never registered nothing is known.
    let changed = [(0, Cadence::Weekly), (400, Cadence::Monthly)];
    assert_eq!(history.of(&changed, &[]), [(Millis::MIN, Cadence::Weekly), (400, Cadence::Monthly)]);
    assert_eq!(history.of(&[], &placed), []);
}

#[test]
fn only_what_is_less_than_the_law_asks_for_carries_a_caution() {
    let with: Vec<Cadence> = Cadence::ALL.into_iter().filter(|c| c.caution().is_some()).collect();
    assert_eq!(with, [Cadence::AfterUse]);
    assert!(Cadence::AfterUse.caution().unwrap_or_default().contains("1910.134(h)(3)(i)"));
    for cadence in Cadence::ALL {
        assert_eq!(Cadence::from_id(cadence.id()), Some(cadence));
    }
}

// ------------------------------------------------------------------------------------- questions

fn seen(unit: &str, by: &str, day: i64, psi: i64) -> Seen {
    Seen {
        unit: unit.into(),
        profile: "a".into(),
        at: day * DAY,
        by: Some(by.into()),
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
    let stuck = |s: &&mut Seen| &*s.unit == "2";
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
fn the_same_reading_is_asked_about_where_it_would_come_by_chance_less_than_once_in_ten_thousand_looks() {
    // Of 39 readings of the other unit 19 are as the one before: with one more of each, half. Half to the
    // thirteenth power is above 1/10,000 and to the fourteenth below.
    let other = |d: i64| seen("1", "m-1", d, 4400 + (d + 1) / 2 % 2 * 20);
    let run = |n: i64| -> Vec<Question> {
        let stuck = (0..n).map(|d| seen("2", "m-1", d, 4400));
        questions(&(0..40).map(other).chain(stuck).collect::<Vec<_>>())
    };
    assert_eq!(run(14), []);
    let (unit, pressure) = ("2".to_owned(), "4400 psi".parse().unwrap());
    let asked = Question::SameReading { unit, pressure, times: 15, between: (0, 14 * DAY), others: 48 };
    assert_eq!(run(15), [asked]);
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
