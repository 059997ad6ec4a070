//! A department of 20 stations and 400 units with years behind it, written down day by day. The place is
//! invented, and everything follows from the seed; nothing is kept but what is needed for the next day.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use airmuster_domain::ground::Forms as _;
use airmuster_domain::ground::effects;
use airmuster_domain::judge::{Answer, Raw, Values};
use airmuster_domain::quantity::{Pressure, PressureUnit};
use airmuster_domain::record::{
    Acknowledged, Asset, Cadence, Check, Condition, Crew, Occasion, Outcome, Part, Place, RecordRef,
    Register, Return, Stamp, Upkept, Used, Work, decode, encode,
};
use airmuster_domain::rules::{Ask, Form, Purpose};
use airmuster_domain::standing::Tables;
use airmuster_domain::{ENGINE, Millis};
use chrono::{DateTime, Datelike as _};
use rand::rngs::StdRng;
use rand::{Rng as _, SeedableRng as _};
use serde::Serialize;
use uuid::Uuid;

pub const STATIONS: usize = 20;
/// Seats on each of a station's three rigs.
const SEATS: usize = 5;
const RIGS: usize = 3;
/// At each station.
const SPARES: usize = 5;
/// At each station, in two turns.
const CREW: usize = 10;

pub const ADMINISTRATOR: &str = "m-0";
pub const TECHNICIAN: &str = "m-1";

const PROFILE: &str = "us-4500-third";
const MINUTE: Millis = 60_000;
const HOUR: Millis = 60 * MINUTE;
pub const DAY: Millis = 24 * HOUR;
/// Shifts begin at 07:00 and 19:00, UTC: nothing here is about time zones.
const FIRST_SHIFT: Millis = 7 * HOUR;
/// For so many days before the last one a roster was kept.
const ROSTERED: i64 = 60;

/// One more than the last member of the crews.
pub fn crews() -> Range<usize> {
    2..2 + STATIONS * CREW
}

/// The name of a member.
pub fn member(n: usize) -> String {
    format!("m-{n}")
}

/// The officer of a station, first of its crew.
pub fn officer(station: usize) -> String {
    member(2 + station * CREW)
}

pub fn station(n: usize) -> String {
    format!("station-{n}")
}

pub fn rig(station: usize, n: usize) -> String {
    format!("rig-{station}-{n}")
}

/// The units of a station: those in seats first.
pub fn units(station: usize) -> Range<usize> {
    let each = RIGS * SEATS + SPARES;
    1_000 + station * each..1_000 + (station + 1) * each
}

/// A unit that is on the bench.
struct Failed {
    unit: usize,
    /// When it is proved and returned.
    mended: Millis,
    clears: Vec<String>,
    seen: Vec<String>,
    /// The check that failed.
    check: RecordRef,
}

/// How a unit is.
struct Unit {
    /// psi
    pressure: i64,
    /// How much more the remote gauge shows, psi.
    bias: i64,
}

/// The department's years, a day at a time.
pub struct Past {
    rng: StdRng,
    tables: Tables,
    units: BTreeMap<usize, Unit>,
    failed: Vec<Failed>,
    tablets: BTreeMap<usize, (Uuid, u64)>,
    /// Midnight of the next day.
    day: Millis,
    /// Nothing is written after this moment.
    now: Millis,
    out: Vec<Vec<u8>>,
    /// Checks so far.
    pub checks: u64,
}

impl Past {
    /// So many years until now.
    pub fn new(now: Millis, years: i64, seed: u64) -> Self {
        let today = now - now.rem_euclid(DAY);
        let mut rng = StdRng::seed_from_u64(seed);
        let all = (0..STATIONS).flat_map(units);
        let kept = all.map(|n| {
            (n, Unit { pressure: rng.random_range(4_350..4_520), bias: rng.random_range(-60..=60) })
        });
        Self {
            units: kept.collect(),
            rng,
            tables: Tables::new(),
            failed: Vec::new(),
            tablets: BTreeMap::new(),
            day: today - years * 365 * DAY - years / 4 * DAY,
            now,
            out: Vec::new(),
            checks: 0,
        }
    }

    /// Midnight of the day that comes next.
    pub fn day(&self) -> Millis {
        self.day
    }

    /// What there is, as the administrator enters it before the first day.
    pub fn register(&mut self) -> Vec<Vec<u8>> {
        let at = self.day;
        let roles = |r: &[&str]| r.iter().map(|r| (*r).to_owned()).collect::<Vec<_>>();
        let mut all = vec![
            Register::Member {
                id: ADMINISTRATOR.to_owned(),
                roles: roles(&["administrator"]).into_iter().collect(),
                qualified: Vec::new().into_iter().collect(),
            },
            Register::Department {
                name: "Quarry Plain Fire Department".to_owned(),
                zone: "UTC".to_owned(),
                shift_start: "07:00".to_owned(),
                shift_hours: 12,
                early_minutes: 90,
                grace_minutes: 90,
            },
            Register::Member {
                id: TECHNICIAN.to_owned(),
                roles: roles(&["technician"]).into_iter().collect(),
                qualified: roles(&["us-open-circuit-third"]).into_iter().collect(),
            },
        ];
        for n in crews() {
            let role = if (n - 2).is_multiple_of(CREW) { "officer" } else { "crew" };
            all.push(Register::Member {
                id: member(n),
                roles: roles(&[role]).into_iter().collect(),
                qualified: Vec::new().into_iter().collect(),
            });
        }
        for s in 0..STATIONS {
            enter_station(&mut all, s);
        }
        for (nth, what) in all.iter().enumerate() {
            // The first one nobody could enter but who holds the machine.
            let by = (nth > 0).then_some(ADMINISTRATOR);
            self.desk("register", at, by, what);
        }
        self.take()
    }

    /// A good check of a unit, made at a moment by a member on a tablet that counts nothing.
    pub fn one_check(&mut self, at: Millis, unit: usize, by: &str) -> Vec<u8> {
        let station = (unit - 1_000) / units(0).len();
        self.check(at, (station, unit), by, Purpose::ShiftStart, (0, Vec::new()));
        self.out.pop().unwrap_or_default()
    }

    /// The form and the answers of a good check, as the judge gets them.
    pub fn form_and_answers(&mut self) -> Option<(Arc<Form>, Vec<Answer>)> {
        let rules = self.tables.default_digest();
        let form = self.tables.form(&rules, PROFILE, Purpose::ShiftStart)?;
        let answers = self.answers(&form, units(0).start, 0);
        Some((form, answers))
    }

    fn take(&mut self) -> Vec<Vec<u8>> {
        std::mem::take(&mut self.out)
    }

    fn id(&mut self, at: Millis) -> Uuid {
        let random: [u8; 10] = self.rng.random();
        uuid::Builder::from_unix_timestamp_millis(u64::try_from(at).unwrap_or(0), &random).into_uuid()
    }

    fn desk(&mut self, kind: &str, at: Millis, by: Option<&str>, body: &impl Serialize) {
        let stamp = Stamp {
            id: self.id(at),
            tablet: "desk".to_owned(),
            at,
            client: "airmuster-bench".to_owned(),
            by: by.map(str::to_owned),
            ..Stamp::default()
        };
        self.out.push(encode(kind, &stamp, body));
    }

    fn field(
        &mut self,
        kind: &str,
        (at, id): (Millis, Uuid),
        station: usize,
        by: &str,
        body: &impl Serialize,
    ) {
        let new = self.id(at);
        let (incarnation, number) = self.tablets.entry(station).or_insert((new, 0));
        *number += 1;
        let stamp = Stamp {
            id,
            tablet: self::station(station),
            incarnation: Some(*incarnation),
            number: Some(*number),
            at,
            client: "airmuster-bench".to_owned(),
            by: Some(by.to_owned()),
            ..Stamp::default()
        };
        self.out.push(encode(kind, &stamp, body));
    }

    /// The check of a unit, good unless the gauges are to be that far apart. What it raises is given back.
    fn check(
        &mut self,
        at: Millis,
        (station, unit): (usize, usize),
        by: &str,
        purpose: Purpose,
        (apart, seen): (i64, Vec<String>),
    ) -> Option<(RecordRef, Vec<String>)> {
        let rules = self.tables.default_digest();
        let form = self.tables.form(&rules, PROFILE, purpose)?;
        let answers = self.answers(&form, unit, apart);
        let id = self.id(at);
        let check = Check {
            unit: unit.to_string(),
            profile: PROFILE.to_owned(),
            rules,
            engine: ENGINE,
            purpose,
            outcome: Outcome::Complete,
            run: id,
            facepiece: Some(format!("F-{unit}")),
            cylinder: Some(format!("C-{unit}")),
            bay: None,
            started: at - i64::try_from(answers.len()).unwrap_or(0) * 11_000,
            seen,
            answers,
        };
        self.field("check", (at, id), station, by, &check);
        self.checks += 1;
        if apart == 0 && purpose != Purpose::Proving {
            return None;
        }
        let record = decode(self.out.last()?).ok()?;
        let raised = effects(&record, &mut self.tables).raises;
        Some((record.name, raised.into_iter().map(|r| r.key).collect()))
    }

    fn answers(&mut self, form: &Form, unit: usize, apart: i64) -> Vec<Answer> {
        let rng = &mut self.rng;
        let Some(u) = self.units.get_mut(&unit) else { return Vec::new() };
        u.pressure -= rng.random_range(2..14);
        if u.pressure < 4_200 {
            // Topped up at the station.
            u.pressure = rng.random_range(4_420..4_520);
        }
        let read = |n: i64| Raw::Text(format!("{} psi", (n + 10).div_euclid(20) * 20).into());
        let seconds = |n: i64| Raw::Text(format!("{n} s").into());
        let one = |field: &str, value: Raw| Values::from_iter([(field.into(), value)]);
        let under = u.pressure - 12 + rng.random_range(-10..=10);
        let remote = under + u.bias + rng.random_range(-15..=15) - apart;
        let steps = form.steps.iter().map(|s| {
            let values = match &s.ask {
                Ask::Reading { .. } => one("at", read(u.pressure)),
                Ask::Pair { .. } => {
                    Values::from_iter([("cylinder".into(), read(under)), ("remote".into(), read(remote))])
                }
                Ask::Drop { within, .. } => Values::from_iter([
                    ("start".into(), read(remote)),
                    ("end".into(), read(remote)),
                    ("seconds".into(), seconds(within.millis() / 1000)),
                ]),
                Ask::Hold { at_least } => one("held", seconds(at_least.millis() / 1000 + 1)),
                Ask::Identity | Ask::Confirm | Ask::Stages { .. } => one("good", Raw::Flag(true)),
                // A third of 4,500 psi, from just above its lower bound.
                Ask::Trip(_) => one("at", read(1_540 + rng.random_range(0..40))),
            };
            let note = (apart > 0 && matches!(s.ask, Ask::Pair { .. }))
                .then(|| "Remote gauge was knocked against the door frame.".to_owned());
            Answer { step: s.step.id.as_str().into(), attempt: 1, item: None, values, note }
        });
        steps.collect()
    }

    /// One unit's repair is over.
    fn mend(&mut self, failed: &Failed) {
        let station = (failed.unit - 1_000) / units(0).len();
        let at = failed.mended;
        self.desk("acknowledged", at, Some(&officer(station)), &Acknowledged { of: failed.check });
        let Some((proving, _)) =
            self.check(at, (station, failed.unit), TECHNICIAN, Purpose::Proving, (0, failed.seen.clone()))
        else {
            return;
        };
        let body = Return {
            asset: Asset::unit(&failed.unit.to_string()),
            clears: failed.clears.clone(),
            proving,
            worked_on: vec![Part::Gauge],
            bench_test: Some("Bench sheet, passed.".to_owned()),
            remedy: "Remote gauge replaced.".to_owned(),
            reproduced: String::new(),
            second_signer: None,
        };
        self.desk("return", at + 12 * MINUTE, Some(TECHNICIAN), &body);
    }

    /// One shift at one station.
    fn shift(&mut self, station: usize, start: Millis, turn: usize, day_number: i64) {
        let crew: Vec<String> = (0..CREW / 2)
            .map(|n| member(2 + station * CREW + turn * (CREW / 2) * usize::from(n > 0) + n))
            .collect();
        if start > self.now - ROSTERED * DAY {
            for r in 0..RIGS {
                let name = rig(station, r);
                let seats = crew.iter().take(if r == 0 { 4 } else { 0 }).enumerate();
                let seats = seats.map(|(n, m)| (format!("{name}-{n}"), m.clone())).collect();
                let body = Crew { rig: name, shift: start, seats };
                self.desk("crew", start + 5 * MINUTE, Some(&officer(station)), &body);
            }
        }
        for (nth, unit) in units(station).enumerate() {
            let spare = nth >= RIGS * SEATS;
            let weekly = turn == 0 && (day_number + i64::try_from(nth + station).unwrap_or(0)) % 7 == 0;
            if (spare && !weekly) || self.failed.iter().any(|f| f.unit == unit) {
                continue;
            }
            let at =
                start + i64::try_from(nth).unwrap_or(0) * 4 * MINUTE + self.rng.random_range(0..3 * MINUTE);
            let by = crew[nth % crew.len()].clone();
            let purpose = if spare { Purpose::Periodic } else { Purpose::ShiftStart };
            let apart = if self.rng.random_ratio(1, 2_500) { 560 } else { 0 };
            if let Some((check, raised)) = self.check(at, (station, unit), &by, purpose, (apart, Vec::new()))
            {
                let mended = at + self.rng.random_range(20..70) * HOUR;
                self.failed.push(Failed { unit, mended, clears: raised.clone(), seen: raised, check });
            } else if self.rng.random_ratio(1, 400) {
                self.use_it(at + 6 * HOUR, station, unit, &by);
            }
        }
    }

    /// Ridden to a call and checked after it.
    fn use_it(&mut self, at: Millis, station: usize, unit: usize, by: &str) {
        let used = Used {
            unit: unit.to_string(),
            what: "kitchen fire".to_owned(),
            condition: Condition::Clean,
            occasion: Some(Occasion::Incident),
            wearer: Some(by.to_owned()),
            cylinders: vec![format!("C-{unit}")],
            while_out: false,
            after_use: true,
        };
        let id = self.id(at);
        self.field("used", (at, id), station, by, &used);
        self.check(at + 40 * MINUTE, (station, unit), by, Purpose::AfterUse, (0, Vec::new()));
    }
}

impl Iterator for Past {
    type Item = Vec<Vec<u8>>;

    /// The records of the next day, in the order of their time as far as anybody would notice.
    fn next(&mut self) -> Option<Self::Item> {
        if self.day > self.now {
            return None;
        }
        let date = DateTime::from_timestamp_millis(self.day).unwrap_or_default().date_naive();
        let day_number = i64::from(date.num_days_from_ce());
        let (over, still): (Vec<_>, Vec<_>) = std::mem::take(&mut self.failed)
            .into_iter()
            .partition(|f| f.mended < (self.day + DAY / 2).min(self.now - HOUR));
        self.failed = still;
        for f in &over {
            self.mend(f);
        }
        for (turn, start) in [FIRST_SHIFT, FIRST_SHIFT + 12 * HOUR].into_iter().enumerate() {
            // A shift of which not everything has happened yet is left out.
            if self.day + start + 8 * HOUR > self.now {
                continue;
            }
            for s in 0..STATIONS {
                self.shift(s, self.day + start, turn, day_number);
            }
        }
        let tests = self.day + 10 * HOUR;
        let due = if tests <= self.now { STATIONS } else { 0 };
        for s in 0..due {
            for unit in
                units(s).filter(|u| i64::try_from(*u).unwrap_or(0) % 365 == i64::from(date.ordinal0()) % 365)
            {
                let body = Upkept {
                    asset: Asset::unit(&unit.to_string()),
                    work: Work::FlowTest,
                    on: date,
                    passed: true,
                    reference: "Sheet".to_owned(),
                    until: None,
                    note: String::new(),
                };
                self.desk("upkeep", tests, Some(TECHNICIAN), &body);
            }
        }
        self.day += DAY;
        Some(self.take())
    }
}

fn enter_station(all: &mut Vec<Register>, s: usize) {
    let order = u16::try_from(s + 1).unwrap_or(0);
    all.push(Register::Station { id: station(s), name: format!("Station {}", s + 1), order });
    for r in 0..RIGS {
        let (id, order) = (rig(s, r), u16::try_from(r + 1).unwrap_or(0));
        let name = format!("Engine {}-{}", s + 1, r + 1);
        all.push(Register::Rig { id: id.clone(), name, station: station(s), order });
        for seat in 0..SEATS {
            let order = u16::try_from(seat + 1).unwrap_or(0);
            let name = format!("Seat {order}");
            all.push(Register::Seat { id: format!("{id}-{seat}"), rig: id.clone(), name, kit: false, order });
        }
    }
    for (nth, unit) in units(s).enumerate() {
        let spare = nth >= RIGS * SEATS;
        let place = if spare {
            Place::Spare { station: station(s) }
        } else {
            Place::Seat { seat: format!("{}-{}", rig(s, nth / SEATS), nth % SEATS) }
        };
        let number = unit.to_string();
        let serials = [("frame".to_owned(), format!("FR-{unit}"))].into();
        let cadence = if spare { Cadence::Weekly } else { Cadence::EachShift };
        all.push(Register::Unit {
            number: number.clone(),
            profile: PROFILE.to_owned(),
            cadence,
            in_use: true,
            serials,
        });
        all.push(Register::Holder { asset: Asset::unit(&number), place });
        let with = Place::With { unit: number };
        all.push(Register::Facepiece { number: format!("F-{unit}"), size: "medium".to_owned() });
        all.push(Register::Holder { asset: Asset::facepiece(&format!("F-{unit}")), place: with.clone() });
        if let Some(rated) = Pressure::whole(4500, PressureUnit::Psi) {
            all.push(Register::Cylinder { number: format!("C-{unit}"), rated });
            all.push(Register::Holder { asset: Asset::cylinder(&format!("C-{unit}")), place: with });
        }
    }
}
