//! What a period comes to: which checks were in time, late or missed, how long a failure took to be
//! returned, and in which hours seats stood open. Everything is asked of times alone.

use chrono::Timelike as _;

use crate::Millis;
use crate::cadence::last_until;
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
    /// Complete, signed checks that stand, whatever they found and whatever an officer has still to say
    /// to them; in order.
    pub done: Vec<Millis>,
    /// Those of them that found nothing and release: from when on which check was the last of them, as
    /// [`releases`] has them.
    pub good: Vec<(Millis, Millis)>,
    /// What stood against it, with the standing that it alone would give.
    pub against: Vec<(State, Span)>,
    /// How often it was to be checked, from when on; in order. What came first held before, too.
    pub cadences: Vec<(Millis, Cadence)>,
}

impl Past {
    fn out_at(&self, t: Millis) -> bool {
        self.against.iter().any(|(state, span)| *state >= State::OutOfService && span.holds(t))
    }

    fn cadence_at(&self, t: Millis) -> Option<Cadence> {
        last_until(&self.cadences, t).or(self.cadences.first()).map(|(_, c)| *c)
    }

    /// Whether it was in service: a good check counted, and nothing stood against it.
    pub fn in_service_at(&self, clock: &ShiftClock, t: Millis) -> bool {
        let last = last_until(&self.good, t).map(|(_, at)| *at);
        let counted = last.zip(self.cadence_at(t));
        counted.is_some_and(|(at, cadence)| clock.counts_until(cadence, at).is_none_or(|until| until > t))
            && !self.against.iter().any(|(state, span)| *state > State::InService && span.holds(t))
    }
}

/// From pairs of when a good check began to count and when it was made: from when on which was the last.
/// One that waited for a countersignature counts from that on, and by the time at which it was made.
pub fn releases(mut good: Vec<(Millis, Millis)>) -> Vec<(Millis, Millis)> {
    good.sort_unstable();
    let mut last = Millis::MIN;
    for (_, at) in &mut good {
        last = last.max(*at);
        *at = last;
    }
    good
}

/// The checks of a unit that fell due from `from` on and before `to`. One whose time still runs at
/// `now` is not among them.
///
/// A check at each shift counts for the shift from the department's early minutes before its start
/// until as many before the next one's; it is due when the minutes of grace are over. One every week
/// or month is due so many days after the one before; without one before, nothing is owed. Where only
/// use asks for one, none is owed by the calendar. What was due while a cadence held is owed by it.
pub fn owed(clock: &ShiftClock, past: &Past, (from, to): (Millis, Millis), now: Millis) -> Vec<Owed> {
    let mut out = Vec::new();
    for (nth, (since, cadence)) in past.cadences.iter().enumerate() {
        let since = if nth == 0 { Millis::MIN } else { *since };
        let until = past.cadences.get(nth + 1).map_or(Millis::MAX, |(next, _)| *next);
        let span = (from.max(since), to.min(until));
        out.extend(match cadence {
            Cadence::EachShift => each_shift(clock, &past.done, span, now),
            Cadence::Weekly => each_period(7 * DAY, &past.done, span, now),
            Cadence::Monthly => each_period(31 * DAY, &past.done, span, now),
            Cadence::AfterUse => Vec::new(),
        });
    }
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
    units: &[Past],
    (from, to): (Millis, Millis),
) -> [(usize, usize); 24] {
    let mut out = [(0, 0); 24];
    let mut t = from + (HOUR / 2 - from).rem_euclid(HOUR);
    while t < to {
        let hour = &mut out[usize::try_from(clock.local(t).hour()).unwrap_or(0) % 24];
        for seat in seats {
            let Some(n) = seat.partition_point(|(since, _)| *since <= t).checked_sub(1) else { continue };
            let unit = seat[n].1.and_then(|unit| units.get(unit));
            let ready = unit.is_some_and(|past| past.in_service_at(clock, t));
            hour.0 += usize::from(!ready);
            hour.1 += 1;
        }
        t += HOUR;
    }
    out
}
