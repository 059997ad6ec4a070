//! What a period comes to: which checks were in time, late or missed, how long a failure took to be
//! returned, and in which hours seats stood open. Everything is asked of times alone; how often a
//! unit is checked is taken to have been always what it is now.

use chrono::Timelike as _;

use crate::Millis;
use crate::record::Cadence;
use crate::shift::ShiftClock;
use crate::standing::State;

const MINUTE: Millis = 60_000;
const HOUR: Millis = 60 * MINUTE;
const DAY: Millis = 24 * HOUR;

/// A stretch of time; without an end it goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Span {
    /// Its first moment.
    pub from: Millis,
    /// The first moment after it.
    pub until: Option<Millis>,
}

impl Span {
    /// Whether a moment lies in it.
    pub fn holds(&self, t: Millis) -> bool {
        self.from <= t && self.until.is_none_or(|until| t < until)
    }
}

/// What became of a check that was owed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// Made by the time it was due.
    InTime,
    /// Made so much later, in milliseconds.
    Late(Millis),
    /// Not made before the next one was owed.
    Missed,
    /// The unit was out of service or held when it was due.
    NotOwed,
}

/// A check that was owed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Owed {
    /// When it was due.
    pub due: Millis,
    /// What became of it.
    pub kept: Kept,
    /// The check that was made, by its place in what was given.
    pub check: Option<usize>,
}

/// What is known of a unit's past.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Past {
    /// Complete, signed checks that count, whatever they found; in order.
    pub done: Vec<Millis>,
    /// Those of them that found nothing; in order.
    pub good: Vec<Millis>,
    /// What stood against it, with the standing that it alone would give.
    pub against: Vec<(State, Span)>,
}

impl Past {
    fn out_at(&self, t: Millis) -> bool {
        self.against.iter().any(|(state, span)| *state >= State::OutOfService && span.holds(t))
    }

    /// Whether it was in service: a good check counted, and nothing stood against it.
    pub fn in_service_at(&self, clock: &ShiftClock, cadence: Cadence, t: Millis) -> bool {
        let last = self.good.partition_point(|at| *at <= t).checked_sub(1).map(|n| self.good[n]);
        last.is_some_and(|at| clock.counts_until(cadence, at) > t)
            && !self.against.iter().any(|(state, span)| *state > State::InService && span.holds(t))
    }
}

/// The checks of a unit that fell due from `from` on and before `to`. One whose time still runs at
/// `now` is not among them.
///
/// A check at each shift counts for the shift from the department's early minutes before its start
/// until as many before the next one's; it is due when the minutes of grace are over. One every week
/// or month is due so many days after the one before; without one before, nothing is owed.
pub fn owed(
    clock: &ShiftClock,
    cadence: Cadence,
    past: &Past,
    (from, to): (Millis, Millis),
    now: Millis,
) -> Vec<Owed> {
    let mut out = match cadence {
        Cadence::EachShift => each_shift(clock, &past.done, (from, to), now),
        Cadence::Weekly => each_period(7 * DAY, &past.done, (from, to), now),
        Cadence::Monthly => each_period(31 * DAY, &past.done, (from, to), now),
    };
    for one in &mut out {
        if one.kept != Kept::InTime && past.out_at(one.due) {
            one.kept = Kept::NotOwed;
        }
    }
    out
}

fn each_shift(clock: &ShiftClock, done: &[Millis], (from, to): (Millis, Millis), now: Millis) -> Vec<Owed> {
    let (early, grace) = (i64::from(clock.early_minutes) * MINUTE, i64::from(clock.grace_minutes) * MINUTE);
    let mut out = Vec::new();
    let mut start = clock.current_start(from);
    if start < from {
        start = clock.next_start(start);
    }
    while start < to && start <= now {
        let next = clock.next_start(start);
        let (due, closes) = (start + grace, next - early);
        let first = done.partition_point(|t| *t < start - early);
        let check = done.get(first).filter(|t| **t < closes).map(|_| first);
        let kept = match check.map(|n| done[n]) {
            Some(at) if at <= due => Some(Kept::InTime),
            Some(at) => Some(Kept::Late(at - due)),
            None => (closes <= now).then_some(Kept::Missed),
        };
        out.extend(kept.map(|kept| Owed { due, kept, check }));
        start = next;
    }
    out
}

fn each_period(period: Millis, done: &[Millis], (from, to): (Millis, Millis), now: Millis) -> Vec<Owed> {
    let mut out = Vec::new();
    for (n, at) in done.iter().enumerate() {
        let next = done.get(n + 1).copied();
        let mut due = at + period;
        // What goes by without one is missed, once for each period that is over.
        while next.unwrap_or(now) >= due + period {
            out.push(Owed { due, kept: Kept::Missed, check: None });
            due += period;
        }
        if let Some(next) = next {
            // One made early is owed no more; it counts where it was made.
            let kept = if next <= due { Kept::InTime } else { Kept::Late(next - due) };
            out.push(Owed { due: due.min(next), kept, check: Some(n + 1) });
        }
    }
    out.retain(|o| (from..to).contains(&o.due));
    out
}

/// Spans laid together where they touch or overlap, in order.
pub fn together(mut spans: Vec<Span>) -> Vec<Span> {
    spans.sort_unstable();
    let mut out: Vec<Span> = Vec::with_capacity(spans.len());
    for span in spans {
        match out.last_mut() {
            Some(last) if last.until.is_none_or(|until| span.from <= until) => {
                last.until = last.until.zip(span.until).map(|(a, b)| a.max(b));
            }
            _ => out.push(span),
        }
    }
    out
}

/// The one in the middle; of an even number the earlier of the two.
pub fn median(mut values: Vec<Millis>) -> Option<Millis> {
    values.sort_unstable();
    values.get(values.len().checked_sub(1)? / 2).copied()
}

/// A seat, with what stood in it since when; in order. `None`: nothing.
pub type Seat = Vec<(Millis, Option<usize>)>;

/// For each hour of the local day, how many seats stood open and how many were looked at. Looked at in
/// the middle of every hour from `from` on and before `to`; a seat of which nothing is known yet is
/// left out. `units` are named by their places.
pub fn open_by_hour(
    clock: &ShiftClock,
    seats: &[Seat],
    units: &[(Cadence, Past)],
    (from, to): (Millis, Millis),
) -> [(usize, usize); 24] {
    let mut out = [(0, 0); 24];
    let mut t = from - from.rem_euclid(HOUR) + HOUR / 2;
    while t < to {
        let hour = &mut out[usize::try_from(clock.local(t).hour()).unwrap_or(0) % 24];
        for seat in seats {
            let Some(n) = seat.partition_point(|(since, _)| *since <= t).checked_sub(1) else { continue };
            let unit = seat[n].1.and_then(|unit| units.get(unit));
            let ready = unit.is_some_and(|(cadence, past)| past.in_service_at(clock, *cadence, t));
            hour.0 += usize::from(!ready);
            hour.1 += 1;
        }
        t += HOUR;
    }
    out
}
