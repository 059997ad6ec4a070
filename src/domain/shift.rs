//! The shift clock: until when a check counts. Local days of 23 and 25 hours come out right,
//! because shifts are counted in local time and only then turned into moments.

use std::collections::BTreeSet;

use chrono::{
    DateTime, Datelike as _, Days, Duration, MappedLocalTime, NaiveDate, NaiveDateTime, NaiveTime, TimeZone,
    Utc,
};
use chrono_tz::Tz;

use crate::Millis;
use crate::record::Cadence;

const MINUTE: i64 = 60_000;
const DAY: i64 = 24 * 60 * MINUTE;
/// 0001-01-01T00:00:00Z.
const YEAR_1: Millis = -62_135_596_800_000;
/// 9999-12-31T00:00:00Z.
const YEAR_9999: Millis = 253_402_214_400_000;

/// When shifts start, and how far a check may lie from that.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShiftClock {
    /// The department's time zone.
    pub zone: Tz,
    /// Local time of the first shift start of a day.
    pub start: NaiveTime,
    /// Length of a shift in hours; divides 24.
    pub hours: u8,
    /// A check this many minutes before the start counts for the shift.
    pub early_minutes: u16,
    /// A check is due this many minutes after the start.
    pub grace_minutes: u16,
}

/// Whose turn a shift is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Rotation {
    /// The platoons in the order of their turns, one as often as it has turns in a row; empty where nobody
    /// rotates.
    pub turns: Vec<String>,
    /// A moment in a shift of the first one.
    pub first: Millis,
    /// Rigs that take no turns: volunteers', the chief's and the medics'.
    pub apart: BTreeSet<String>,
}

impl Rotation {
    /// These platoons taking turns, the `nth` of them (counted from 0) in the shift that runs at `now`.
    pub fn now(turns: Vec<String>, nth: usize, clock: &ShiftClock, now: Millis) -> Self {
        // So many shifts before this one, it was the first one's.
        let mut first = clock.current_start(now);
        for _ in 0..nth {
            first = clock.current_start(first.saturating_sub(1));
        }
        Self { turns, first, apart: BTreeSet::new() }
    }

    /// Which turn, counted from 0, the shift is that runs at `t`: the same platoon can have several.
    pub fn turn(&self, clock: &ShiftClock, t: Millis) -> Option<usize> {
        let count = i64::try_from(self.turns.len()).ok().filter(|n| *n > 0)?;
        usize::try_from(clock.shifts_between(self.first, t).rem_euclid(count)).ok()
    }

    /// The platoon of the shift that runs at `t`.
    pub fn platoon(&self, clock: &ShiftClock, t: Millis) -> Option<&str> {
        self.turns.get(self.turn(clock, t)?).map(String::as_str)
    }
}

impl Default for ShiftClock {
    /// One 24-hour shift from 07:00 UTC, until the department says otherwise.
    fn default() -> Self {
        Self {
            zone: Tz::UTC,
            start: NaiveTime::from_hms_opt(7, 0, 0).unwrap_or_default(),
            hours: 24,
            early_minutes: 90,
            grace_minutes: 90,
        }
    }
}

impl ShiftClock {
    /// From the department's settings as text. `Err` says which one cannot be read.
    pub fn read(
        zone: &str,
        start: &str,
        hours: u8,
        early_minutes: u16,
        grace_minutes: u16,
    ) -> Result<Self, String> {
        let zone =
            zone.parse().map_err(|_| format!("“{zone}” is not a time zone; write it like America/Denver"))?;
        let start = NaiveTime::parse_from_str(start, "%H:%M")
            .map_err(|_| format!("“{start}” is not a time of day; write it like 07:00"))?;
        if hours == 0 || 24 % hours != 0 {
            return Err(format!("a shift of {hours} hours does not divide a day"));
        }
        if u64::from(early_minutes) + u64::from(grace_minutes) >= u64::from(hours) * 60 {
            return Err("early and grace minutes together must be shorter than a shift".to_owned());
        }
        Ok(Self { zone, start, hours, early_minutes, grace_minutes })
    }

    /// The first shift start after `t`.
    pub fn next_start(&self, t: Millis) -> Millis {
        let local = self.local(t);
        let day = local.date_naive();
        (-1..=2)
            .filter_map(|d| day.checked_add_signed(Duration::days(d)))
            .flat_map(|d| self.starts_of(d))
            .find(|s| *s > t)
            .unwrap_or(t.saturating_add(DAY))
    }

    /// The start of the shift that runs at `t`.
    pub fn current_start(&self, t: Millis) -> Millis {
        let day = self.local(t).date_naive();
        (-2..=1)
            .filter_map(|d| day.checked_add_signed(Duration::days(d)))
            .flat_map(|d| self.starts_of(d))
            .take_while(|s| *s <= t)
            .last()
            .unwrap_or(t)
    }

    /// The first moment of a local day.
    pub fn day_start(&self, day: NaiveDate) -> Millis {
        self.moment_of(day.and_time(NaiveTime::MIN)).unwrap_or_default()
    }

    /// How many shift starts lie between two moments; below zero where `to` is the earlier one.
    /// Counted on the calendar, so that days of 23 and 25 hours are days.
    pub fn shifts_between(&self, from: Millis, to: Millis) -> i64 {
        let place = |t: Millis| {
            let start = self.current_start(t);
            let day = self.local(start).date_naive();
            let starts = self.starts_of(day);
            let nth = starts.iter().position(|s| *s == start).unwrap_or(0);
            let per_day = i64::from(24 / self.hours.max(1));
            i64::from(day.num_days_from_ce()) * per_day + i64::try_from(nth).unwrap_or(0)
        };
        place(to) - place(from)
    }

    /// Until when a check made at `checked` counts; none: until it is used. At each shift, until the minutes
    /// of grace after the next one's start are over; weekly and monthly, see [`ShiftClock::late_after`].
    pub fn counts_until(&self, cadence: Cadence, checked: Millis) -> Option<Millis> {
        match cadence {
            Cadence::EachShift => {
                Some(self.next_start(self.counted_from(checked)).saturating_add(self.grace()))
            }
            _ => cadence.days().map(|days| self.late_after(days, checked)),
        }
    }

    /// When a check that is due so many days after one made at `checked` is late. It is due at the same time
    /// of day so many local days later, whatever the clocks did meanwhile, and late when the minutes of
    /// grace are over. One that was made early for a shift counts as made at its start.
    pub fn late_after(&self, days: u32, checked: Millis) -> Millis {
        self.late_from(days, checked, self.current_start(self.counted_from(checked)))
    }

    /// `start`: of the shift that the check counts for.
    fn late_from(&self, days: u32, checked: Millis, start: Millis) -> Millis {
        let day = self.local(checked.max(start)).naive_local().checked_add_days(Days::new(days.into()));
        // Beyond the calendar there are no local days.
        let due = day.and_then(|day| self.moment_of(day)).filter(|due| *due > checked);
        let due = due.unwrap_or_else(|| checked.saturating_add(i64::from(days) * DAY));
        due.saturating_add(self.grace())
    }

    /// The moment by which it is decided for which shift a check made at `checked` counts.
    fn counted_from(&self, checked: Millis) -> Millis {
        checked.saturating_add(i64::from(self.early_minutes) * MINUTE)
    }

    fn grace(&self) -> Millis {
        i64::from(self.grace_minutes) * MINUTE
    }

    /// A moment in the department's time zone. One before year 1 or after 9999 is taken as that: a
    /// tablet's clock may say anything, and the calendar must not end in the middle of a day.
    pub fn local(&self, t: Millis) -> DateTime<Tz> {
        let t = t.clamp(YEAR_1, YEAR_9999);
        DateTime::<Utc>::from_timestamp_millis(t).unwrap_or_default().with_timezone(&self.zone)
    }

    /// The shift starts of a local day, in order. A start that the clocks skip falls on the first
    /// moment after the gap; one that they repeat, on its first occurrence.
    fn starts_of(&self, day: NaiveDate) -> Vec<Millis> {
        let hours = i64::from(self.hours.max(1));
        let mut out: Vec<Millis> = (0..24 / hours)
            .filter_map(|i| {
                let (time, _) = self.start.overflowing_add_signed(Duration::hours(i * hours));
                self.moment_of(day.and_time(time))
            })
            .collect();
        out.sort_unstable();
        out
    }

    fn moment_of(&self, mut at: NaiveDateTime) -> Option<Millis> {
        // No zone has skipped more than a day, and clocks are moved by whole minutes.
        for _ in 0..=24 * 60 {
            match self.zone.from_local_datetime(&at) {
                MappedLocalTime::Single(t) | MappedLocalTime::Ambiguous(t, _) => {
                    return Some(t.timestamp_millis());
                }
                MappedLocalTime::None => at = at.checked_add_signed(Duration::minutes(1))?,
            }
        }
        None
    }
}

/// The shift starts of a stretch of time, found once: whoever looks at all units of a department for a
/// month asks for them tens of thousands of times. Outside the stretch the clock itself is asked.
#[derive(Debug, Clone)]
pub struct Starts<'a> {
    /// Whose shifts they are.
    pub clock: &'a ShiftClock,
    all: Vec<Millis>,
}

impl<'a> Starts<'a> {
    /// From the shift that runs at `from` to the first that starts after `to`.
    pub fn over(clock: &'a ShiftClock, (from, to): (Millis, Millis)) -> Self {
        let mut all = vec![clock.current_start(from)];
        while let Some(last) = all.last().copied().filter(|last| *last <= to) {
            all.push(clock.next_start(last));
        }
        Self { clock, all }
    }

    /// As [`ShiftClock::next_start`].
    pub fn next(&self, t: Millis) -> Millis {
        match self.all.partition_point(|s| *s <= t) {
            0 => self.clock.next_start(t),
            n => self.all.get(n).copied().unwrap_or_else(|| self.clock.next_start(t)),
        }
    }

    /// As [`ShiftClock::current_start`].
    pub fn current(&self, t: Millis) -> Millis {
        match self.all.partition_point(|s| *s <= t) {
            n if n > 0 && n < self.all.len() => self.all[n - 1],
            _ => self.clock.current_start(t),
        }
    }

    /// As [`ShiftClock::counts_until`].
    pub fn counts_until(&self, cadence: Cadence, checked: Millis) -> Option<Millis> {
        match cadence {
            Cadence::EachShift => {
                let next = self.next(self.clock.counted_from(checked));
                Some(next.saturating_add(self.clock.grace()))
            }
            _ => cadence.days().map(|days| self.late_after(days, checked)),
        }
    }

    /// As [`ShiftClock::late_after`].
    pub fn late_after(&self, days: u32, checked: Millis) -> Millis {
        self.clock.late_from(days, checked, self.current(self.clock.counted_from(checked)))
    }
}
