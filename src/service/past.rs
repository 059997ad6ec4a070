//! The record of a period: checks in time, late and missed, what failed and how long it took, and in
//! which hours seats stood open.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::ground::Kind;
use airmuster_domain::record::Place;
use airmuster_domain::shift::{ShiftClock, Starts};
use airmuster_domain::standing::State;
use airmuster_domain::tally::{Kept, Past, Seat, Span, hours, open_by_hour, owed, releases, together};
use chrono::NaiveDate;

use super::fleet::Fleet;
use crate::store::{Made, Placed, Store, StoreError, Week};

/// A check from so long before a period can still decide what is owed in it: a month, and the grace, which is
/// shorter than a shift.
const BEFORE: Millis = 33 * 24 * 60 * 60_000;

/// What is asked about.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    /// Only what rode on this rig, while it did.
    pub rig: Option<String>,
    /// Only this unit.
    pub unit: Option<String>,
    /// Only this member's checks.
    pub member: Option<String>,
    /// From this moment on.
    pub from: Millis,
    /// Before this one.
    pub to: Millis,
}

/// How many checks were what.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Complete and signed, owed or not.
    pub done: usize,
    /// Owed, and made by when they were due.
    pub in_time: usize,
    /// Made later.
    pub late: usize,
    /// Not made.
    pub missed: usize,
    /// Not owed, as the unit was out of service.
    pub not_owed: usize,
    /// Done, and still waiting for an officer's countersignature: they release nothing yet.
    pub waiting: usize,
}

impl Counts {
    fn take(&mut self, kept: Kept) {
        match kept {
            Kept::InTime => self.in_time += 1,
            Kept::Late(_) => self.late += 1,
            Kept::Missed => self.missed += 1,
            Kept::NotOwed => self.not_owed += 1,
        }
    }
}

/// What a period comes to.
#[derive(Debug, Clone)]
pub struct Period {
    /// All units, places and names.
    pub fleet: Arc<Fleet>,
    /// All that was asked about.
    pub all: Counts,
    /// By unit.
    pub units: BTreeMap<String, Counts>,
    /// By local day.
    pub days: BTreeMap<NaiveDate, Counts>,
    /// By who signed.
    pub members: BTreeMap<Arc<str>, Counts>,
    /// From failure to return, by unit.
    pub repairs: Vec<(String, Span)>,
    /// For each hour of the day, how many seats were open and how many were looked at.
    pub hours: [(usize, usize); 24],
    /// Where a unit or a member was asked about: each check with its unit, the newest first.
    pub checks: Vec<(String, Made)>,
    /// Where a rig was asked about: when each unit was on it.
    rode: Option<HashMap<String, Vec<Span>>>,
}

/// A unit's checks and grounds.
struct Known<'a> {
    number: &'a str,
    past: Past,
    /// The checks done.
    week: Week,
    faults: Vec<Span>,
    /// From when on it is retired.
    retired: Option<Millis>,
}

impl Known<'_> {
    /// Whether it is of the period: a unit that was retired before it is not, unless it was checked in it
    /// all the same, or is the one asked about.
    fn is_of(&self, asked: &Asked) -> bool {
        let span = asked.from..asked.to;
        asked.unit.is_some()
            || self.retired.is_none_or(|t| t > asked.from)
            || self.week.checks().iter().any(|c| span.contains(&c.at))
    }
}

/// The local day of moments that come again and again: units are due at the same time.
struct Days<'a> {
    clock: &'a ShiftClock,
    known: HashMap<Millis, NaiveDate>,
}

impl Days<'_> {
    fn of(&mut self, t: Millis) -> NaiveDate {
        *self.known.entry(t).or_insert_with(|| self.clock.local(t).date_naive())
    }
}

impl Period {
    /// Gathers it, unit by unit, and keeps of each no more than its numbers.
    pub async fn load(store: &Store, now: Millis, asked: &Asked) -> Result<Self, StoreError> {
        let fleet = Fleet::load(store, now).await?;
        let clock = &fleet.department.clock;
        let placed = store.placed().await?;
        let rows = seat_rows(&fleet, asked);
        let in_seats = seats(&rows, &placed);
        let seated: BTreeSet<&str> = in_seats.iter().flatten().filter_map(|(_, unit)| *unit).collect();
        let rode = asked.rig.as_deref().map(|rig| rode(&fleet, rig, &placed));
        let cadences = store.cadences_past().await?;
        let mut stood: HashMap<&str, Vec<&Placed>> = HashMap::new();
        for p in placed.iter() {
            stood.entry(&p.unit).or_default().push(p);
        }
        let span = (asked.from - BEFORE, asked.to);
        let starts = Starts::over(clock, (span.0, now.max(asked.to)));
        let until_now = (asked.from, asked.to.min(now));
        let mut days = Days { clock, known: HashMap::new() };
        let mut out = Self {
            all: Counts::default(),
            units: BTreeMap::new(),
            days: BTreeMap::new(),
            members: BTreeMap::new(),
            repairs: Vec::new(),
            hours: [(0, 0); 24],
            checks: Vec::new(),
            rode,
            fleet: Arc::clone(&fleet),
        };
        // Which unit is which in `ready`.
        let mut nth: HashMap<&str, usize> = HashMap::new();
        let mut ready = Vec::new();
        let mut weeks = store.lately().await?;
        for number in fleet.units.keys() {
            let once_there = seated.contains(number.as_str());
            let may_be_ours = out.may_be_ours(number, asked);
            if !may_be_ours && !once_there {
                continue;
            }
            let mut one = known(number, weeks.of(number, span, now).await?);
            let stood = stood.get(number.as_str()).map_or(&[][..], Vec::as_slice);
            one.past.against.extend(away(stood).into_iter().map(|span| (State::OutOfService, span)));
            let stood: Vec<_> = stood.iter().map(|p| (p.since, p.place.clone())).collect();
            let own = cadences.own.get(number).map_or(&[][..], Vec::as_slice);
            one.past.cadences = cadences.history.of(own, &stood);
            if may_be_ours && one.is_of(asked) {
                out.take(&one, asked, &starts, &mut days);
            }
            if once_there {
                nth.insert(number, ready.len());
                ready.push(one.past.in_service(&starts, hours(until_now)));
            }
        }
        drop(weeks);
        out.checks.sort_by_key(|(_, check)| std::cmp::Reverse(check.at));
        out.repairs.sort_by_key(|(_, span)| std::cmp::Reverse(span.from));
        let place = |unit: Option<&str>| nth.get(unit?).copied();
        let seats: Vec<Seat> = in_seats
            .iter()
            .map(|seat| seat.iter().map(|(since, unit)| (*since, place(*unit))).collect())
            .collect();
        out.hours = open_by_hour(&starts, &seats, &ready, until_now);
        Ok(out)
    }

    /// Whether what a unit did can be asked about.
    fn may_be_ours(&self, unit: &str, asked: &Asked) -> bool {
        asked.unit.as_deref().is_none_or(|one| one == unit)
            && self.rode.as_ref().is_none_or(|rode| {
                let there = rode.get(unit).map_or(&[][..], Vec::as_slice);
                there.iter().any(|s| s.from < asked.to && s.until.is_none_or(|until| until > asked.from))
            })
    }

    /// Whether what a unit did at a moment counts: with a rig, only while it was on it.
    pub fn counts(&self, unit: &str, at: Millis) -> bool {
        let there = |rode: &HashMap<String, Vec<Span>>| {
            rode.get(unit).is_some_and(|spans| spans.iter().any(|s| s.holds(at)))
        };
        self.rode.as_ref().is_none_or(there)
    }

    fn take(&mut self, k: &Known<'_>, asked: &Asked, starts: &Starts<'_>, days: &mut Days<'_>) {
        let theirs =
            |by: Option<&Arc<str>>| asked.member.is_none() || by.map(|by| &**by) == asked.member.as_deref();
        // Of what is retired no check is owed.
        let span = (asked.from, k.retired.map_or(asked.to, |t| t.clamp(asked.from, asked.to)));
        let rode = self.rode.as_ref().map(|rode| rode.get(k.number).cloned().unwrap_or_default());
        let there = |at: Millis| rode.as_ref().is_none_or(|spans| spans.iter().any(|s| s.holds(at)));
        let own = self.units.entry(k.number.to_owned()).or_default();
        let checks = k.week.checks();
        for check in checks.iter().filter(|c| (asked.from..asked.to).contains(&c.at)) {
            if !theirs(check.by.as_ref()) || !there(check.at) {
                continue;
            }
            if asked.unit.is_some() || asked.member.is_some() {
                self.checks.push((k.number.to_owned(), check.clone()));
            }
            let member = check.by.as_ref().map(|by| self.members.entry(Arc::clone(by)).or_default());
            for c in [&mut *own, &mut self.all].into_iter().chain(member) {
                c.done += 1;
                c.waiting += usize::from(check.waits);
            }
        }
        for one in owed(starts, &k.past, span, self.fleet.now) {
            let by = one.check.and_then(|n| checks.get(n)).and_then(|c| c.by.as_ref());
            if !theirs(by) || !there(one.due) {
                continue;
            }
            own.take(one.kept);
            self.all.take(one.kept);
            self.days.entry(days.of(one.due)).or_default().take(one.kept);
            if let Some(by) = by {
                self.members.entry(Arc::clone(by)).or_default().take(one.kept);
            }
        }
        let ended = |span: &Span| span.until.is_none_or(|until| until >= asked.from) && span.from < asked.to;
        if asked.member.is_none() {
            // A failure is a rig's where it came to light.
            let faults = together(k.faults.clone()).into_iter().filter(|s| ended(s) && there(s.from));
            self.repairs.extend(faults.map(|span| (k.number.to_owned(), span)));
        }
    }
}

/// When each unit was on a rig. What is known first of a unit's place held before, too.
fn rode(fleet: &Fleet, rig: &str, placed: &[Placed]) -> HashMap<String, Vec<Span>> {
    let seats: BTreeSet<&str> =
        fleet.seats.iter().filter(|s| s.rig == rig).map(|s| s.seat.as_str()).collect();
    let mut out: HashMap<String, Vec<Span>> = HashMap::new();
    let mut before: BTreeSet<&str> = BTreeSet::new();
    for p in placed {
        let first = before.insert(&p.unit);
        let open = out.get_mut(&p.unit).and_then(|spans| spans.last_mut()).filter(|s| s.until.is_none());
        if let Some(open) = open {
            open.until = Some(p.since);
        }
        if let Place::Seat { seat } = &p.place
            && seats.contains(seat.as_str())
        {
            let from = if first { Millis::MIN } else { p.since };
            out.entry(p.unit.clone()).or_default().push(Span { from, until: None });
        }
    }
    out
}

/// The seats whose hours are counted; none where a unit or a member is asked about.
fn seat_rows(fleet: &Fleet, asked: &Asked) -> Vec<String> {
    if asked.unit.is_some() || asked.member.is_some() {
        return Vec::new();
    }
    let ours = |rig: &str| asked.rig.as_deref().is_none_or(|r| r == rig);
    fleet.seats.iter().filter(|s| !s.kit && ours(&s.rig)).map(|s| s.seat.clone()).collect()
}

type InSeat<'a> = Vec<(Millis, Option<&'a str>)>;

/// What stood in each seat since when.
fn seats<'a>(rows: &[String], placed: &'a [Placed]) -> Vec<InSeat<'a>> {
    let nth: BTreeMap<&str, usize> = rows.iter().enumerate().map(|(n, s)| (s.as_str(), n)).collect();
    let mut out: Vec<InSeat<'_>> = vec![Vec::new(); rows.len()];
    let mut now: BTreeMap<&str, usize> = BTreeMap::new();
    for p in placed {
        if let Some(left) = now.remove(p.unit.as_str())
            && out[left].last().is_some_and(|(_, unit)| *unit == Some(&p.unit))
        {
            out[left].push((p.since, None));
        }
        if let Place::Seat { seat } = &p.place
            && let Some(n) = nth.get(seat.as_str())
        {
            out[*n].push((p.since, Some(&p.unit)));
            now.insert(&p.unit, *n);
        }
    }
    out
}

/// When a unit was with another department: no check of it was owed here then. It is given where it was.
fn away(own: &[&Placed]) -> Vec<Span> {
    let until = |n: usize| own.get(n + 1).map(|next| next.since);
    let out = own.iter().enumerate().filter(|(_, p)| p.place == Place::Away);
    out.map(|(n, p)| Span { from: p.since, until: until(n) }).collect()
}

fn known(number: &str, week: Week) -> Known<'_> {
    let checks = week.checks();
    let good = checks.iter().filter(|c| c.clean && !c.waits);
    let mut past = Past {
        done: checks.iter().map(|c| c.at).collect(),
        good: releases(good.map(|c| (c.since, c.at)).collect()),
        ..Past::default()
    };
    let mut faults = Vec::new();
    let mut retired: Option<Millis> = None;
    for (kind, span) in week.against() {
        past.against.push((kind.terms().state, span));
        if matches!(kind, Kind::Finding | Kind::TakenOut) {
            faults.push(span);
        }
        if kind == Kind::Retired {
            retired = Some(retired.map_or(span.from, |t| t.min(span.from)));
        }
    }
    Known { number, past, week, faults, retired }
}
