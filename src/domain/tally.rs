//! What a period comes to: which checks were in time, late or missed, how long a failure took to be
//! returned, and in which hours seats stood open. Everything is asked of times alone.

use chrono::Timelike as _;

use crate::Millis;
use crate::record::Cadence;
use crate::shift::Starts;
use crate::standing::State;

const MINUTE: Millis = 60_000;
const HOUR: Millis = 60 * MINUTE;

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

    /// Whether it was in service at each of these moments, which are in order: a good check counted, and
    /// nothing stood against it.
    pub fn in_service(&self, starts: &Starts<'_>, moments: impl IntoIterator<Item = Millis>) -> Vec<bool> {
        let (mut checks, mut cadences) = (0, 0);
        // The last check and the cadence that `until` was found for.
        let mut of = None;
        let mut until = None;
        let in_service = |t: Millis| {
            checks += self.good[checks..].iter().take_while(|(since, _)| *since <= t).count();
            cadences += self.cadences[cadences..].iter().take_while(|(since, _)| *since <= t).count();
            let last = checks.checked_sub(1).map(|n| self.good[n].1);
            let now = last.zip(self.cadences.get(cadences.saturating_sub(1)));
            let Some((at, (_, cadence))) = now else { return false };
            if of != Some((at, *cadence)) {
                of = Some((at, *cadence));
                until = starts.counts_until(*cadence, at);
            }
            until.is_none_or(|until| until > t)
                && !self.against.iter().any(|(state, span)| *state > State::InService && span.holds(t))
        };
        moments.into_iter().map(in_service).collect()
    }

    /// Whether it was in service at one moment.
    pub fn in_service_at(&self, starts: &Starts<'_>, t: Millis) -> bool {
        self.in_service(starts, [t]) == [true]
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
/// or month is due so many local days after the one before, with the same grace
/// ([`crate::shift::ShiftClock::late_after`]); without one before, nothing is owed. Where only use asks for
/// one, none is owed by the calendar. What was due while a cadence held is owed by it.
pub fn owed(starts: &Starts<'_>, past: &Past, (from, to): (Millis, Millis), now: Millis) -> Vec<Owed> {
    let mut out = Vec::new();
    for (nth, (since, cadence)) in past.cadences.iter().enumerate() {
        let since = if nth == 0 { Millis::MIN } else { *since };
        let until = past.cadences.get(nth + 1).map_or(Millis::MAX, |(next, _)| *next);
        let span = (from.max(since), to.min(until));
        out.extend(match (cadence, cadence.days()) {
            (Cadence::EachShift, _) => each_shift(starts, &past.done, span, now),
            (_, Some(days)) => each_period(starts, days, &past.done, span, now),
            (_, None) => Vec::new(),
        });
    }
    for one in &mut out {
        if one.kept != Kept::InTime && past.out_at(one.due) {
            one.kept = Kept::NotOwed;
        }
    }
    out
}

fn each_shift(starts: &Starts<'_>, done: &[Millis], (from, to): (Millis, Millis), now: Millis) -> Vec<Owed> {
    let clock = starts.clock;
    let (early, grace) = (i64::from(clock.early_minutes) * MINUTE, i64::from(clock.grace_minutes) * MINUTE);
    let mut out = Vec::new();
    let mut start = starts.current(from);
    if start < from {
        start = starts.next(start);
    }
    while start < to && start <= now {
        let next = starts.next(start);
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

fn each_period(
    starts: &Starts<'_>,
    days: u32,
    done: &[Millis],
    (from, to): (Millis, Millis),
    now: Millis,
) -> Vec<Owed> {
    let mut out = Vec::new();
    for (n, at) in done.iter().enumerate() {
        let next = done.get(n + 1).copied();
        let after = |periods: u32| starts.late_after(days.saturating_mul(periods), *at);
        let mut periods = 1;
        let (mut due, mut then) = (after(1), after(2));
        // What goes by without one is missed, once for each period that is over.
        while next.unwrap_or(now) >= then {
            out.push(Owed { due, kept: Kept::Missed, check: None });
            periods += 1;
            (due, then) = (then, after(periods + 1));
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

/// The moments at which seats are looked at: the middle of every hour from `from` on and before `to`.
pub fn hours((from, to): (Millis, Millis)) -> impl Iterator<Item = Millis> {
    let first = from + (HOUR / 2 - from).rem_euclid(HOUR);
    std::iter::successors(Some(first), |t| Some(t + HOUR)).take_while(move |t| *t < to)
}

/// For each hour of the local day, how many seats stood open and how many were looked at, which is done
/// at the [`hours`] of a span; a seat of which nothing is known yet is left out. `ready` has for each unit,
/// named by its place, whether it was in service at each of them.
pub fn open_by_hour(
    starts: &Starts<'_>,
    seats: &[Seat],
    ready: &[Vec<bool>],
    span: (Millis, Millis),
) -> [(usize, usize); 24] {
    let mut out = [(0, 0); 24];
    let hour = |t: Millis| usize::try_from(starts.clock.local(t).hour()).unwrap_or(0) % 24;
    let moments: Vec<(Millis, usize)> = hours(span).map(|t| (t, hour(t))).collect();
    for seat in seats {
        let mut known = 0;
        for (nth, (t, hour)) in moments.iter().enumerate() {
            known += seat[known..].iter().take_while(|(since, _)| since <= t).count();
            let Some(there) = known.checked_sub(1) else { continue };
            let unit = seat[there].1.and_then(|unit| ready.get(unit));
            let ready = unit.and_then(|hours| hours.get(nth)).copied().unwrap_or(false);
            out[*hour].0 += usize::from(!ready);
            out[*hour].1 += 1;
        }
    }
    out
}
