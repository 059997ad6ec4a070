//! Whether drift is found where it was planted, and hardly anywhere else. The district's story is told
//! again with other luck, and the records go through the same computation as the watch list.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::Millis;
use airmuster_domain::drift::{Taken, trends};
use airmuster_domain::ground::Forms as _;
use airmuster_domain::readings::readings;
use airmuster_domain::record::{Body, Desk, Field, Outcome, Part, decode};
use airmuster_domain::rules::Purpose;
use airmuster_domain::shortcuts::{Question, Seen, least, questions};
use airmuster_domain::standing::Tables;

use super::district::{self, RIGS, profile, station_of};
use super::history::{DAYS, History};
use super::keeper::{ALARM_DRIFT, GAUGES_DRIFT};
use super::pen::SEED;
use super::people::{HURRIED, JUNIOR_TECHNICIAN, TECHNICIAN};
use crate::service::shortcuts::BACK;

/// 2026-11-25 10:20 in Denver, by `date -d '2026-11-25 10:20 MST' +%s`.
const NOW: Millis = 1_795_627_200_000;
/// How many seeds are tried: two in an ordinary run, `AIRMUSTER_SEEDS=20` in a long one.
fn seeds() -> u64 {
    std::env::var("AIRMUSTER_SEEDS").ok().and_then(|n| n.parse().ok()).unwrap_or(2)
}

/// Checks by unit, and when what is watched was last worked on.
#[derive(Default)]
struct Unit {
    taken: Vec<Taken>,
    since: Millis,
}

fn units(seed: u64) -> BTreeMap<String, Unit> {
    let mut tables = Tables::new();
    let mut out: BTreeMap<String, Unit> = BTreeMap::new();
    for batch in History::seeded(NOW, DAYS, seed).unwrap().flatten() {
        for bytes in batch.records {
            let record = decode(&bytes).unwrap();
            let at = record.envelope.time();
            match record.body {
                Body::Field(Field::Check(c)) if c.outcome == Outcome::Complete => {
                    let form = tables.form(&c.rules, &c.profile, c.purpose).unwrap();
                    let readings = readings(&form, &c.answers);
                    out.entry(c.unit).or_default().taken.push(Taken { at, readings });
                }
                Body::Desk(Desk::Return(r)) if r.worked_on.iter().any(|p| *p != Part::Other) => {
                    out.entry(r.asset.number).or_default().since = at;
                }
                _ => {}
            }
        }
    }
    for unit in out.values_mut() {
        unit.taken.sort_by_key(|t| t.at);
    }
    out
}

/// The units that the watch list names.
fn named(seed: u64) -> (Vec<String>, usize) {
    let mut tables = Tables::new();
    let rules = tables.default_digest();
    let units = units(seed);
    let count = units.len();
    let mut out = Vec::new();
    for (number, unit) in units {
        let Some(form) = tables.form(&rules, profile(&number), Purpose::Proving) else { continue };
        if trends(&form, |_| unit.since, &unit.taken).iter().any(|t| t.is_watched(NOW)) {
            out.push(number);
        }
    }
    (out, count)
}

/// DEVELOPERS.md states the figures that this prints with `AIRMUSTER_SEEDS=20`.
#[test]
fn the_planted_units_are_named_and_no_more_than_one_in_fifty_of_the_others() {
    let mut planted: Vec<&str> = GAUGES_DRIFT.iter().map(|d| d.0).chain([ALARM_DRIFT.0]).collect();
    planted.sort_unstable();
    let (mut healthy, mut wrongly, mut missed) = (0, Vec::new(), Vec::new());
    let seeds = seeds();
    for seed in SEED..SEED + seeds {
        let (named, count) = named(seed);
        missed.extend(planted.iter().filter(|p| !named.iter().any(|n| n == *p)).map(|p| (seed, *p)));
        wrongly.extend(named.into_iter().filter(|n| !planted.contains(&n.as_str())).map(|n| (seed, n)));
        healthy += count - planted.len();
    }
    println!(
        "{seeds} seeds: missed {missed:?}; named {} of {healthy} healthy ones: {wrongly:?}",
        wrongly.len()
    );
    assert!(missed.is_empty(), "not named: {missed:?}");
    assert!(wrongly.len() * 50 <= healthy, "{} of {healthy}: {wrongly:?}", wrongly.len());
}

/// Complete checks in the order of their time, with who was on a crew then.
fn seen(seed: u64) -> Vec<Seen> {
    let clock = airmuster_domain::shift::ShiftClock::read(
        district::ZONE,
        district::SHIFT_START,
        24,
        district::MARGIN,
        district::MARGIN,
    )
    .unwrap();
    let mut tables = Tables::new();
    let mut crews: BTreeMap<(usize, Millis), BTreeSet<String>> = BTreeMap::new();
    let mut checks = Vec::new();
    for batch in History::seeded(NOW, DAYS, seed).unwrap().flatten() {
        for bytes in batch.records {
            let record = decode(&bytes).unwrap();
            let (at, by) = (record.envelope.time(), record.envelope.by.clone());
            match record.body {
                Body::Desk(Desk::Crew(c)) => {
                    let rig = RIGS.iter().find(|r| r.id == c.rig).unwrap();
                    crews.entry((rig.station, c.shift)).or_default().extend(c.seats.into_values());
                }
                Body::Field(Field::Check(c)) if c.outcome == Outcome::Complete && by.is_some() => {
                    checks.push((at, by, c));
                }
                _ => {}
            }
        }
    }
    let early = i64::from(district::MARGIN) * 60_000;
    let mut out: Vec<Seen> = Vec::new();
    for (at, by, check) in checks {
        let form = tables.form(&check.rules, &check.profile, check.purpose).unwrap();
        let shifts = [clock.current_start(at), clock.current_start(at + early)];
        let there = shifts.map(|shift| crews.get(&(station_of(&check.unit), shift)));
        let bench = [TECHNICIAN.id, JUNIOR_TECHNICIAN.id].map(str::to_owned);
        let on_crew = match (&by, there) {
            (Some(by), [Some(now), Some(next)]) if !bench.contains(by) => {
                Some(now.contains(by) || next.contains(by))
            }
            _ => None,
        };
        let (took, least) = (at - check.started, least(&form, &check.answers));
        let pressure = readings(&form, &check.answers).pressure;
        let (unit, profile, by) = (check.unit.into(), check.profile.into(), by.map(Into::into));
        out.push(Seen { unit, profile, at, by, took, least, pressure, on_crew });
    }
    out.sort_by_key(|s| s.at);
    out
}

/// DEVELOPERS.md states the figures that this prints with `AIRMUSTER_SEEDS=20`.
#[test]
fn the_hurried_member_is_asked_about_and_hardly_anybody_else() {
    let seeds = seeds();
    let (mut windows, mut hurried, mut others) = (0, 0, Vec::new());
    for seed in SEED..SEED + seeds {
        let all = seen(seed);
        // Four weeks at a time, as the page looks at them.
        for n in 0..DAYS * 86_400_000 / BACK {
            let to = NOW - n * BACK;
            let window: Vec<Seen> = all.iter().filter(|s| (to - BACK..to).contains(&s.at)).cloned().collect();
            windows += 1;
            for question in questions(&window) {
                match question {
                    Question::Hurried { member, .. } if member == HURRIED => hurried += 1,
                    other => others.push((seed, n, other)),
                }
            }
        }
    }
    println!(
        "{seeds} seeds, {windows} times four weeks: the hurried one {hurried} times; others {}: {others:?}",
        others.len()
    );
    assert_eq!(hurried, windows, "the hurried one was not asked about");
    assert!(others.len() * 50 <= windows, "{} in {windows}: {others:?}", others.len());
}
