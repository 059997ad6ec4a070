//! The shift clock against the tz database's transitions, as published (IANA tz database,
//! files `northamerica`, `europe`, `australasia`; the moments below are worked out from its rules
//! by hand):
//!
//! - `America/New_York`, rule US since 2007: forward on the second Sunday of March, back on the first
//!   of November, both at 2:00 wall clock. 2026-03-08 07:00 UTC and 2026-11-01 06:00 UTC.
//! - `Europe/London`, rule EU: forward on the last Sunday of March, back on the last of October, both
//!   at 1:00 UTC. 2026-03-29 and 2026-10-25.
//! - `Australia/Lord_Howe`, rule LH: half an hour, forward on the first Sunday of October, back on
//!   the first of April, both at 2:00 wall clock. 2026-04-05 (to +10:30) and 2026-10-04 (to +11).
//!
//! Mutants that this turns red: shifts counted as 24 times 60 minutes, a repeated start taken at
//! its second occurrence, a skipped one moved on by a fixed step, `<` for `<=` at a start, weeks counted as
//! seven times 24 hours.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use airmuster_domain::Millis;
use airmuster_domain::record::Cadence;
use airmuster_domain::shift::ShiftClock;
use chrono::DateTime;
use proptest::prelude::*;

const MINUTE: i64 = 60_000;
const HOUR: i64 = 60 * MINUTE;

/// A moment written with its own offset, so that no zone's rules are needed to read it.
fn at(text: &str) -> Millis {
    DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis()
}

fn clock(zone: &str, start: &str, hours: u8) -> ShiftClock {
    ShiftClock::read(zone, start, hours, 0, 0).unwrap()
}

struct Day {
    zone: &'static str,
    start: &'static str,
    from: &'static str,
    to: &'static str,
    minutes: i64,
}

/// 24-hour shifts over each change of the clocks, and over a day without.
const DAYS: [Day; 8] = [
    Day {
        zone: "America/New_York",
        start: "07:00",
        from: "2026-03-07T07:00:00-05:00",
        to: "2026-03-08T07:00:00-04:00",
        minutes: 23 * 60,
    },
    Day {
        zone: "America/New_York",
        start: "07:00",
        from: "2026-10-31T07:00:00-04:00",
        to: "2026-11-01T07:00:00-05:00",
        minutes: 25 * 60,
    },
    Day {
        zone: "Europe/London",
        start: "08:30",
        from: "2026-03-28T08:30:00+00:00",
        to: "2026-03-29T08:30:00+01:00",
        minutes: 23 * 60,
    },
    Day {
        zone: "Europe/London",
        start: "08:30",
        from: "2026-10-24T08:30:00+01:00",
        to: "2026-10-25T08:30:00+00:00",
        minutes: 25 * 60,
    },
    Day {
        zone: "Australia/Lord_Howe",
        start: "07:00",
        from: "2026-04-04T07:00:00+11:00",
        to: "2026-04-05T07:00:00+10:30",
        minutes: 24 * 60 + 30,
    },
    Day {
        zone: "Australia/Lord_Howe",
        start: "07:00",
        from: "2026-10-03T07:00:00+10:30",
        to: "2026-10-04T07:00:00+11:00",
        minutes: 23 * 60 + 30,
    },
    // Midnight to midnight, the change inside.
    Day {
        zone: "America/New_York",
        start: "00:00",
        from: "2026-11-01T00:00:00-04:00",
        to: "2026-11-02T00:00:00-05:00",
        minutes: 25 * 60,
    },
    Day {
        zone: "America/Phoenix",
        start: "07:00",
        from: "2026-03-07T07:00:00-07:00",
        to: "2026-03-08T07:00:00-07:00",
        minutes: 24 * 60,
    },
];

#[test]
fn a_shift_is_as_long_as_the_local_day_says() {
    for Day { zone, start, from, to, minutes } in DAYS {
        let (c, from, to) = (clock(zone, start, 24), at(from), at(to));
        assert_eq!(to - from, minutes * MINUTE, "{zone}: the example itself");
        assert_eq!(c.next_start(from), to, "{zone}");
        assert_eq!(c.next_start(to - 1), to, "{zone}");
        assert_eq!(c.current_start(from), from, "{zone}");
        assert_eq!(c.current_start(to - 1), from, "{zone}");
        assert_eq!(c.current_start(to), to, "{zone}");
    }
}

#[test]
fn a_start_that_the_clocks_skip_falls_on_the_first_moment_after_the_gap() {
    // 02:00 to 03:00 is skipped; whatever the minutes, the next moment there is is 03:00.
    for start in ["02:00", "02:10", "02:30", "02:59"] {
        let c = clock("America/New_York", start, 24);
        let gap_ends = at("2026-03-08T03:00:00-04:00");
        assert_eq!(c.next_start(at("2026-03-08T01:59:59-05:00")), gap_ends, "{start}");
    }
    // Half an hour at Lord Howe.
    let c = clock("Australia/Lord_Howe", "02:10", 24);
    assert_eq!(c.next_start(at("2026-10-04T01:59:00+10:30")), at("2026-10-04T02:30:00+11:00"));
    // Apia went over the date line: 2011-12-30 has no moment at all (tz database, `australasia`).
    let c = clock("Pacific/Apia", "07:00", 24);
    let eve = at("2011-12-29T07:00:00-10:00");
    assert_eq!(c.next_start(eve), at("2011-12-31T00:00:00+14:00"));
    assert_eq!(c.next_start(c.next_start(eve)), at("2011-12-31T07:00:00+14:00"));
}

#[test]
fn a_start_that_the_clocks_repeat_falls_on_its_first_occurrence() {
    let c = clock("America/New_York", "01:30", 24);
    let first = at("2026-11-01T01:30:00-04:00");
    assert_eq!(c.next_start(at("2026-10-31T12:00:00-04:00")), first);
    assert_eq!(c.next_start(first), at("2026-11-02T01:30:00-05:00"));
    assert_eq!(c.current_start(at("2026-11-01T01:30:00-05:00")), first);
}

#[test]
fn shorter_shifts_follow_local_time_too() {
    let c = clock("Europe/London", "07:00", 12);
    let starts = ["2026-10-24T07:00:00+01:00", "2026-10-24T19:00:00+01:00", "2026-10-25T07:00:00+00:00"];
    assert_eq!(c.next_start(at(starts[0])), at(starts[1]));
    assert_eq!(c.next_start(at(starts[1])), at(starts[2]));
    assert_eq!(at(starts[2]) - at(starts[1]), 13 * HOUR, "the night of 13 hours");
}

#[test]
fn a_check_counts_until_the_grace_after_the_next_start_and_early_for_the_one_to_come() {
    let c = ShiftClock::read("America/New_York", "07:00", 24, 90, 60).unwrap();
    let due = |checked: &str| c.counts_until(Cadence::EachShift, at(checked)).unwrap();
    let monday = at("2026-06-08T08:00:00-04:00");
    let tuesday = at("2026-06-09T08:00:00-04:00");
    assert_eq!(due("2026-06-08T05:29:59-04:00"), monday, "a second too early for this morning");
    assert_eq!(due("2026-06-08T05:30:00-04:00"), tuesday, "90 minutes early");
    assert_eq!(due("2026-06-08T07:00:00-04:00"), tuesday);
    assert_eq!(due("2026-06-08T23:00:00-04:00"), tuesday);
}

/// A check, and until when it counts where it is due every seven and every thirty-one days: the same time
/// of day by the wall clock, and an hour of grace.
struct Again {
    zone: &'static str,
    checked: &'static str,
    week: &'static str,
    month: &'static str,
}

/// Over both changes of the clocks in three zones, and over none.
const AGAIN: [Again; 7] = [
    Again {
        zone: "America/New_York",
        checked: "2026-03-06T10:00:00-05:00",
        week: "2026-03-13T11:00:00-04:00",
        month: "2026-04-06T11:00:00-04:00",
    },
    Again {
        zone: "America/New_York",
        checked: "2026-10-30T10:00:00-04:00",
        week: "2026-11-06T11:00:00-05:00",
        month: "2026-11-30T11:00:00-05:00",
    },
    Again {
        zone: "Europe/London",
        checked: "2026-03-27T10:00:00+00:00",
        week: "2026-04-03T11:00:00+01:00",
        month: "2026-04-27T11:00:00+01:00",
    },
    Again {
        zone: "Europe/London",
        checked: "2026-10-23T10:00:00+01:00",
        week: "2026-10-30T11:00:00+00:00",
        month: "2026-11-23T11:00:00+00:00",
    },
    Again {
        zone: "Australia/Lord_Howe",
        checked: "2026-04-01T10:00:00+11:00",
        week: "2026-04-08T11:00:00+10:30",
        month: "2026-05-02T11:00:00+10:30",
    },
    Again {
        zone: "Australia/Lord_Howe",
        checked: "2026-10-01T10:00:00+10:30",
        week: "2026-10-08T11:00:00+11:00",
        month: "2026-11-01T11:00:00+11:00",
    },
    Again {
        zone: "America/Phoenix",
        checked: "2026-03-06T10:00:00-07:00",
        week: "2026-03-13T11:00:00-07:00",
        month: "2026-04-06T11:00:00-07:00",
    },
];

#[test]
fn weeks_and_months_are_counted_in_local_days_with_the_grace_of_a_shift() {
    for Again { zone, checked, week, month } in AGAIN {
        let c = ShiftClock::read(zone, "07:00", 24, 90, 60).unwrap();
        let until = |cadence| c.counts_until(cadence, at(checked));
        assert_eq!(until(Cadence::Weekly), Some(at(week)), "{zone}, {checked}");
        assert_eq!(until(Cadence::Monthly), Some(at(month)), "{zone}, {checked}");
        assert_eq!(until(Cadence::AfterUse), None, "until it is used");
    }
}

#[test]
fn a_weekly_check_made_early_for_a_shift_counts_as_made_at_its_start() {
    let c = ShiftClock::read("America/New_York", "07:00", 24, 90, 60).unwrap();
    let until = |checked: &str| c.counts_until(Cadence::Weekly, at(checked)).unwrap();
    // Over the change of 8 March.
    assert_eq!(until("2026-03-06T05:30:00-05:00"), at("2026-03-13T08:00:00-04:00"));
    assert_eq!(until("2026-03-06T07:00:00-05:00"), at("2026-03-13T08:00:00-04:00"));
    assert_eq!(until("2026-03-06T07:01:00-05:00"), at("2026-03-13T08:01:00-04:00"));
    assert_eq!(
        until("2026-03-06T05:29:00-05:00"),
        at("2026-03-13T06:29:00-04:00"),
        "not early: in the night"
    );
    // 02:30 is skipped a week later: the first moment after the gap, and the grace.
    assert_eq!(until("2026-03-01T02:30:00-05:00"), at("2026-03-08T04:00:00-04:00"));
}

#[test]
fn settings_that_make_no_shifts_are_refused_in_words() {
    let read = |zone: &str, start: &str, hours, early, grace| {
        ShiftClock::read(zone, start, hours, early, grace).map(|_| ()).unwrap_err()
    };
    assert!(read("Mars/Olympus", "07:00", 24, 0, 0).contains("time zone"));
    assert!(read("UTC", "25:00", 24, 0, 0).contains("time of day"));
    assert!(read("UTC", "seven", 24, 0, 0).contains("time of day"));
    assert!(read("UTC", "07:00", 0, 0, 0).contains("divide"));
    assert!(read("UTC", "07:00", 7, 0, 0).contains("divide"));
    assert!(read("UTC", "07:00", 48, 0, 0).contains("divide"));
    assert!(read("UTC", "07:00", 12, 400, 320).contains("shorter than a shift"));
    assert!(read("UTC", "07:00", 24, u16::MAX, u16::MAX).contains("shorter than a shift"));
}

#[test]
fn beyond_the_calendar_a_check_is_late_so_many_days_of_24_hours_later() {
    let c = ShiftClock::read("America/New_York", "07:00", 24, 90, 60).unwrap();
    assert_eq!(c.late_after(400_000_000, 0), 400_000_000 * 24 * HOUR + HOUR);
}

fn any_clock() -> impl Strategy<Value = ShiftClock> {
    let zones = [
        "UTC",
        "America/New_York",
        "America/St_Johns",
        "Europe/London",
        "Australia/Lord_Howe",
        "Asia/Kathmandu",
        "Africa/Casablanca",
        "Pacific/Apia",
        "America/Nuuk",
        "Antarctica/Troll",
    ];
    let hours = prop::sample::select(vec![1_u8, 2, 3, 4, 6, 8, 12, 24]);
    (prop::sample::select(zones.to_vec()), 0..24_u32, 0..60_u32, hours, 0..30_u16, 0..30_u16).prop_map(
        |(zone, h, m, hours, early, grace)| {
            ShiftClock::read(zone, &format!("{h:02}:{m:02}"), hours, early, grace).unwrap()
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(20_000) })]

    /// 1990 to 2060.
    #[test]
    fn every_moment_lies_in_one_shift(c in any_clock(), t in 631_152_000_000_i64..2_840_140_800_000) {
        let (start, next) = (c.current_start(t), c.next_start(t));
        prop_assert!(start <= t && t < next);
        prop_assert_eq!(c.current_start(next), next);
        prop_assert_eq!(c.next_start(start), next, "nothing starts between");
        // No shift is longer than its hours and what the clocks can add: a day at the date line.
        prop_assert!(next - start <= (i64::from(c.hours) + 24) * HOUR);
    }

    #[test]
    fn a_check_counts_for_a_while_after_it_was_made(
        c in any_clock(),
        t in 631_152_000_000_i64..2_840_140_800_000,
    ) {
        for cadence in [Cadence::EachShift, Cadence::Weekly, Cadence::Monthly] {
            prop_assert!(c.counts_until(cadence, t).unwrap() > t);
        }
        // A later check never counts for a shorter time.
        prop_assert!(c.counts_until(Cadence::EachShift, t + HOUR) >= c.counts_until(Cadence::EachShift, t));
    }

    /// Nothing panics, whatever a record says of its time.
    #[test]
    fn the_ends_of_time_are_survived(
        c in any_clock(),
        t in prop_oneof![
            any::<i64>(),
            // Where the calendar of the library ends, and around it.
            (-100_000_000_i64..100_000_000).prop_map(|d| 8_210_266_876_799_999_i64.saturating_add(d)),
            (-100_000_000_i64..100_000_000).prop_map(|d| (-8_334_601_228_800_000_i64).saturating_add(d)),
            Just(i64::MIN),
            Just(i64::MAX),
        ],
    ) {
        prop_assert!(c.next_start(t) > t || t >= i64::MAX - 24 * HOUR);
        prop_assert!(c.current_start(t) <= t);
        for cadence in [Cadence::EachShift, Cadence::Weekly, Cadence::Monthly] {
            prop_assert!(c.counts_until(cadence, t).unwrap() >= t);
        }
    }
}
