//! The record of a period: checks in time, late and missed, what failed and how long it took, and in
//! which hours seats stood open.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::ground::Kind;
use airmuster_domain::record::{Asset, Place};
use airmuster_domain::standing::State;
use airmuster_domain::tally::{Kept, Past, Seat, Span, open_by_hour, owed, releases, together};
use chrono::NaiveDate;

use super::fleet::Fleet;
use crate::store::{CheckRow, Placed, Store, StoreError};

/// A check from so long before a period can still decide what is owed in it.
const BEFORE: Millis = 32 * 24 * 60 * 60_000;

/// What is asked about.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    /// Only the units of this rig.
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
    pub members: BTreeMap<String, Counts>,
    /// From failure to return, by unit.
    pub repairs: Vec<(String, Span)>,
    /// For each hour of the day, how many seats were open and how many were looked at.
    pub hours: [(usize, usize); 24],
}

/// A unit's checks and grounds.
struct Known {
    number: String,
    past: Past,
    /// Who signed each of the checks done, and whether it still waits for a countersignature.
    by: Vec<(Option<String>, bool)>,
    faults: Vec<Span>,
}

impl Period {
    /// Gathers it.
    pub async fn load(store: &Store, now: Millis, asked: &Asked) -> Result<Self, StoreError> {
        let fleet = Fleet::load(store, now).await?;
        let placed = store.placed().await?;
        let rows = seat_rows(&fleet, asked);
        let in_seats = seats(&rows, &placed);
        let ours = units(&fleet, asked);
        let cadences = store.cadences_past().await?;
        let signed = Signed::load(store, asked).await?;
        let mut known = Vec::new();
        for number in fleet.units.keys() {
            let once_there = in_seats.iter().flatten().any(|(_, unit)| unit.as_ref() == Some(number));
            if ours.contains(number) || once_there {
                let mut one = unit_past(store, number, asked, &signed).await?;
                let gone = away(number, &placed).into_iter().map(|span| (State::OutOfService, span));
                one.past.against.extend(gone);
                let stood = placed.iter().filter(|p| p.unit == *number);
                let stood: Vec<_> = stood.map(|p| (p.since, p.place.clone())).collect();
                let own = cadences.own.get(number).map_or(&[][..], Vec::as_slice);
                one.past.cadences = cadences.history.of(own, &stood);
                known.push(one);
            }
        }
        let mut out = Self {
            all: Counts::default(),
            units: BTreeMap::new(),
            days: BTreeMap::new(),
            members: BTreeMap::new(),
            repairs: Vec::new(),
            hours: [(0, 0); 24],
            fleet,
        };
        for k in known.iter().filter(|k| ours.contains(&k.number)) {
            out.take(k, asked);
        }
        out.repairs.sort_by_key(|(_, span)| std::cmp::Reverse(span.from));
        let nth = |unit: &String| known.iter().position(|k| k.number == *unit);
        let seats: Vec<Seat> = in_seats
            .iter()
            .map(|seat| seat.iter().map(|(since, unit)| (*since, unit.as_ref().and_then(nth))).collect())
            .collect();
        let pasts: Vec<Past> = known.into_iter().map(|k| k.past).collect();
        let span = (asked.from, asked.to.min(now));
        out.hours = open_by_hour(&out.fleet.department.clock, &seats, &pasts, span);
        Ok(out)
    }

    fn take(&mut self, k: &Known, asked: &Asked) {
        let clock = &self.fleet.department.clock;
        let theirs = |by: Option<&String>| asked.member.is_none() || by == asked.member.as_ref();
        let span = (asked.from, asked.to);
        let inside = |t: &Millis| (asked.from..asked.to).contains(t);
        let own = self.units.entry(k.number.clone()).or_default();
        for (t, (by, waits)) in k.past.done.iter().zip(&k.by) {
            if !inside(t) || !theirs(by.as_ref()) {
                continue;
            }
            let mut counts = vec![&mut *own, &mut self.all];
            counts.extend(by.as_ref().map(|by| self.members.entry(by.clone()).or_default()));
            for c in counts {
                c.done += 1;
                c.waiting += usize::from(*waits);
            }
        }
        for one in owed(clock, &k.past, span, self.fleet.now) {
            let by = one.check.and_then(|n| k.by.get(n)).and_then(|(by, _)| by.clone());
            if !theirs(by.as_ref()) {
                continue;
            }
            own.take(one.kept);
            self.all.take(one.kept);
            self.days.entry(clock.local(one.due).date_naive()).or_default().take(one.kept);
            if let Some(by) = by {
                self.members.entry(by).or_default().take(one.kept);
            }
        }
        let ended = |span: &Span| span.until.is_none_or(|until| until >= asked.from) && span.from < asked.to;
        if asked.member.is_none() {
            let faults = together(k.faults.clone()).into_iter().filter(ended);
            self.repairs.extend(faults.map(|span| (k.number.clone(), span)));
        }
    }
}

fn units(fleet: &Fleet, asked: &Asked) -> Vec<String> {
    if let Some(unit) = &asked.unit {
        return vec![unit.clone()];
    }
    if let Some(rig) = &asked.rig {
        let there = fleet.seats.iter().filter(|s| s.rig == *rig).filter_map(|s| fleet.in_seat(s));
        return there.map(|u| u.row.number.clone()).collect();
    }
    let there = fleet.units.values().filter(|u| u.standing.state != State::Retired);
    there.map(|u| u.row.number.clone()).collect()
}

/// The seats whose hours are counted; none where a unit or a member is asked about.
fn seat_rows(fleet: &Fleet, asked: &Asked) -> Vec<String> {
    if asked.unit.is_some() || asked.member.is_some() {
        return Vec::new();
    }
    let ours = |rig: &str| asked.rig.as_deref().is_none_or(|r| r == rig);
    fleet.seats.iter().filter(|s| !s.kit && ours(&s.rig)).map(|s| s.seat.clone()).collect()
}

type InSeat = Vec<(Millis, Option<String>)>;

/// What stood in each seat since when.
fn seats(rows: &[String], placed: &[Placed]) -> Vec<InSeat> {
    let nth: BTreeMap<&str, usize> = rows.iter().enumerate().map(|(n, s)| (s.as_str(), n)).collect();
    let mut out: Vec<InSeat> = vec![Vec::new(); rows.len()];
    let mut now: BTreeMap<&str, usize> = BTreeMap::new();
    for p in placed {
        if let Some(left) = now.remove(p.unit.as_str())
            && out[left].last().is_some_and(|(_, unit)| unit.as_ref() == Some(&p.unit))
        {
            out[left].push((p.since, None));
        }
        if let Place::Seat { seat } = &p.place
            && let Some(n) = nth.get(seat.as_str())
        {
            out[*n].push((p.since, Some(p.unit.clone())));
            now.insert(&p.unit, *n);
        }
    }
    out
}

/// When a unit was with another department: no check of it was owed here then.
fn away(unit: &str, placed: &[Placed]) -> Vec<Span> {
    let own: Vec<&Placed> = placed.iter().filter(|p| p.unit == unit).collect();
    let until = |n: usize| own.get(n + 1).map(|next| next.since);
    let out = own.iter().enumerate().filter(|(_, p)| p.place == Place::Away);
    out.map(|(n, p)| Span { from: p.since, until: until(n) }).collect()
}

/// What officers have said to checks of the time asked about.
struct Signed {
    /// When which was countersigned.
    at: BTreeMap<i64, Millis>,
    /// Those that stand and still wait for it.
    waiting: BTreeSet<i64>,
}

impl Signed {
    async fn load(store: &Store, asked: &Asked) -> Result<Self, StoreError> {
        let span = (asked.from - BEFORE, asked.to);
        let mut waiting = BTreeSet::new();
        for check in store.uncountersigned().await? {
            if (span.0..span.1).contains(&check.at) && store.stands(&check.name).await? {
                waiting.insert(check.seq);
            }
        }
        Ok(Self { at: store.countersigned(span).await?, waiting })
    }
}

async fn unit_past(store: &Store, number: &str, asked: &Asked, signed: &Signed) -> Result<Known, StoreError> {
    let checks = store.checks_between(number, (asked.from - BEFORE, asked.to)).await?;
    let waits = |c: &CheckRow| signed.waiting.contains(&c.seq);
    let made: Vec<_> = checks.iter().filter(|c| c.outcome == "complete" && (c.counts || waits(c))).collect();
    let good = made.iter().filter(|c| c.clean && c.counts);
    let mut past = Past {
        done: made.iter().map(|c| c.at).collect(),
        good: releases(good.map(|c| (signed.at.get(&c.seq).map_or(c.at, |t| c.at.max(*t)), c.at)).collect()),
        ..Past::default()
    };
    let mut faults = Vec::new();
    for (raise, until) in store.grounds_since(&Asset::unit(number), asked.from - BEFORE).await? {
        let span = Span { from: raise.at, until };
        past.against.push((raise.kind.terms().state, span));
        if matches!(raise.kind, Kind::Finding | Kind::TakenOut) {
            faults.push(span);
        }
    }
    let by = made.iter().map(|c| (c.by.clone(), waits(c))).collect();
    Ok(Known { number: number.to_owned(), past, by, faults })
}
