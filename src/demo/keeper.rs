//! What the district has at a moment of its history, and how it changes: each change is a record.
//! Which grounds are open is asked of the domain, so that what comes later can name them.

use std::collections::{BTreeMap, VecDeque};

use airmuster_domain::ground::{Act, Done, Effects, Forms as _, Kind, Raise, clears, effects};
use airmuster_domain::judge::{Answer, Raw};
use airmuster_domain::record::{Asset, Check, Outcome, Place, RecordRef, Register, decode};
use airmuster_domain::rules::{Ask, Form, Purpose, Subject};
use airmuster_domain::shift::ShiftClock;
use airmuster_domain::standing::{State, Tables};
use airmuster_domain::{ENGINE, Millis};
use chrono::Datelike as _;
use rand::Rng as _;
use uuid::Uuid;

use super::answers::{Gauges, Wrong, good, is_low, psi, read_off, spoil};
use super::district::{POOL, STATIONS, profile, rated, station_of, units};
use super::pen::Pen;
use super::people::HURRIED;
use super::upkeep;

pub const MINUTE: Millis = 60_000;
pub const DAY: Millis = 24 * 60 * MINUTE;

/// A unit as it is just then. Pressure is in tenths of a psi, as at 21 °C.
pub struct Kept {
    pub place: Place,
    pub cylinder: String,
    pub facepiece: String,
    /// Nobody gets to it any more.
    pub left_alone: bool,
    tenths: i64,
    leak: i64,
    bias: i64,
    /// Where in its band the low-air alarm starts, in percent of the band.
    trip: i64,
    checked: Millis,
    /// The check that was stopped, to be gone on with.
    stopped: Option<Uuid>,
}

/// How a check goes.
#[derive(Default)]
pub struct How<'a> {
    /// What goes wrong in it.
    pub wrong: &'a [Wrong],
    /// Where it ends, unless it is gone through.
    pub end: Option<(Outcome, &'a str)>,
    /// What is said at a step, and whether that is good.
    pub said: Vec<(&'a str, bool, &'a str)>,
}

/// What slowly goes wrong: a unit, what its gauges differ by on the last day (or its low-air alarm
/// starts at), and how many days it has taken.
pub const GAUGES_DRIFT: [(&str, i64, i64); 3] = [("203", -455, 215), ("107", -330, 260), ("305", -275, 240)];
pub const ALARM_DRIFT: (&str, i64, i64) = ("302", 1512, 150);

/// How a bay's temperature moves a reading of 4,500 psi, by month: about 24 psi a degree.
const SEASON: [i64; 12] = [-115, -105, -80, -50, -20, 5, 15, 10, -15, -45, -85, -110];

/// Everything there is, and the pen.
pub struct Keeper {
    pub pen: Pen,
    pub clock: ShiftClock,
    pub units: BTreeMap<&'static str, Kept>,
    pub open: BTreeMap<Asset, Vec<Raise>>,
    pub tickets: BTreeMap<Asset, u64>,
    /// The check written last, where it was signed.
    pub done: Option<Done>,
    last_day: Millis,
    next_ticket: u64,
    pool: [VecDeque<String>; 3],
    tables: Tables,
}

impl Keeper {
    pub fn new(clock: ShiftClock, begin: Millis, last_day: Millis, seed: u64) -> Self {
        let mut pen = Pen::new(seed);
        let kept =
            units().into_iter().map(|(n, place, _)| (n, Kept::new(n, place, begin, &mut pen))).collect();
        Self {
            units: kept,
            pen,
            clock,
            open: BTreeMap::new(),
            tickets: BTreeMap::new(),
            done: None,
            last_day,
            next_ticket: 1,
            pool: POOL.map(|p| p.iter().map(|n| (*n).to_owned()).collect()),
            tables: Tables::new(),
        }
    }

    /// Takes a new unit in.
    pub fn add(&mut self, number: &'static str, place: Place, at: Millis) {
        let kept = Kept::new(number, place, at, &mut self.pen);
        self.units.insert(number, kept);
    }

    /// Whether the crew would check it: not while somebody else has to act first.
    pub fn may_be_checked(&self, unit: &str) -> bool {
        let open = self.open.get(&Asset::unit(unit));
        let waits = |r: &Raise| r.kind.terms().state > State::PutRight || r.kind == Kind::Soiled;
        self.units.get(unit).is_some_and(|u| !u.left_alone) && !open.is_some_and(|o| o.iter().any(waits))
    }

    /// The keys of what is open on an asset.
    pub fn keys(&self, asset: &Asset, kinds: &[Kind]) -> Vec<String> {
        let open = self.open.get(asset).into_iter().flatten();
        open.filter(|r| kinds.is_empty() || kinds.contains(&r.kind)).map(|r| r.key.clone()).collect()
    }

    /// Moves something.
    pub fn put(&mut self, at: Millis, by: &str, asset: &Asset, place: Place) {
        if *asset == Asset::unit(&asset.number)
            && let Some(unit) = self.units.get_mut(asset.number.as_str())
        {
            unit.place = place.clone();
        }
        if let Place::With { unit } = &place
            && *asset == Asset::facepiece(&asset.number)
            && let Some(unit) = self.units.get_mut(unit.as_str())
        {
            unit.facepiece.clone_from(&asset.number);
        }
        self.pen.desk("register", at, Some(by), &Register::Holder { asset: asset.clone(), place });
    }

    /// Fits a full cylinder from the station's. The other one goes to be filled, or where it is told.
    pub fn change_cylinder(&mut self, at: Millis, by: &str, unit: &'static str, to: Option<Place>) {
        let station = station_of(unit);
        let Some(full) = self.pool[station].pop_front() else { return };
        let Some(u) = self.units.get_mut(unit) else { return };
        let used = std::mem::replace(&mut u.cylinder, full.clone());
        u.tenths = filled(unit, &mut self.pen);
        let place = to.unwrap_or_else(|| {
            self.pool[station].push_back(used.clone());
            upkeep::fill(&mut self.pen, at, by, &used);
            Place::Spare { station: STATIONS[station].id.to_owned() }
        });
        self.put(at, by, &Asset::cylinder(&used), place);
        self.put(at, by, &Asset::cylinder(&full), Place::With { unit: unit.to_owned() });
    }

    /// After a repair the gauges agree again.
    pub fn mend(&mut self, unit: &str) {
        if let Some(u) = self.units.get_mut(unit) {
            u.bias = self.pen.rng.random_range(-50..=50);
        }
    }

    /// Writes a check.
    pub fn check(
        &mut self,
        at: Millis,
        unit: &'static str,
        by: Option<&'static str>,
        purpose: Purpose,
        how: &How<'_>,
    ) -> Option<RecordRef> {
        let rules = self.tables.default_digest();
        let form = self.tables.form(&rules, profile(unit), purpose)?;
        let (answers, low) = self.answers(at, unit, by.unwrap_or_default(), &form, how)?;
        let kept = self.units.get(unit)?;
        let (facepiece, cylinder) = (kept.facepiece.clone(), kept.cylinder.clone());
        let tried = |s: Subject| {
            let about = |a: &&Answer| form.step(&a.step).is_some_and(|f| f.subject() == s);
            answers.iter().filter(about).filter_map(|a| a.item.clone()).next_back()
        };
        let new_facepiece = tried(Subject::Facepiece).filter(|n| *n != facepiece);
        let new_cylinder = tried(Subject::Cylinder).filter(|n| *n != cylinder);
        let outcome = how.end.map_or(Outcome::Complete, |(end, _)| end);
        let seen = self.keys(&Asset::unit(unit), &[]);
        let weighty = !how.wrong.is_empty() || how.end.is_some() || !seen.is_empty();
        // A complete check has the id of its run, which what was stopped of it has named already.
        let stopped = self.units.get_mut(unit)?.stopped.take();
        let run = stopped.unwrap_or_else(|| self.pen.id(at));
        let id = if outcome == Outcome::Complete { run } else { self.pen.id(at) };
        let check = Check {
            unit: unit.to_owned(),
            profile: profile(unit).to_owned(),
            rules,
            engine: ENGINE,
            purpose,
            outcome,
            run,
            facepiece: Some(facepiece),
            cylinder: Some(cylinder),
            bay: None,
            started: at - self.takes(by, answers.len()),
            seen,
            answers,
        };
        let tablet = match purpose {
            Purpose::Proving | Purpose::Acceptance => "bench",
            _ => STATIONS[station_of(unit)].id,
        };
        let name = self.pen.field("check", (at, id), by, tablet, &check);
        self.done = None;
        if weighty || purpose == Purpose::Proving {
            self.weigh();
        }
        if outcome == Outcome::Stopped {
            self.units.get_mut(unit)?.stopped = Some(run);
        }
        self.after_check(at, unit, low, (new_facepiece, new_cylinder));
        Some(name)
    }

    /// The answers of a check, and whether a low cylinder was changed in it.
    fn answers(
        &mut self,
        at: Millis,
        unit: &str,
        by: &str,
        form: &Form,
        how: &How<'_>,
    ) -> Option<(Vec<Answer>, bool)> {
        let gauges = self.gauges(unit, at, by, form)?;
        let counts = self.pen.rng.random_bool(0.6);
        let mut answers = good(form, &gauges, &mut self.pen.rng, counts);
        let kept = self.units.get(unit)?;
        let full = self.pool[station_of(unit)].front()?;
        let low = how.wrong.is_empty() && is_low(form, gauges.pressure);
        if low {
            change_low(&mut answers, form, &kept.cylinder, full, &mut self.pen);
        }
        for wrong in how.wrong {
            spoil(&mut answers, form, wrong, |subject, item| match (item, subject) {
                ("own", Subject::Facepiece) => kept.facepiece.clone(),
                ("own", _) => kept.cylinder.clone(),
                ("other", _) => full.clone(),
                (number, _) => number.to_owned(),
            });
        }
        for (step, is_good, note) in &how.said {
            if let Some(a) = answers.iter_mut().find(|a| a.step == *step) {
                a.note = Some((*note).to_owned());
                if !is_good {
                    a.values.insert("good".into(), Raw::Flag(false));
                }
            }
        }
        if let Some((_, last)) = how.end {
            let upto = answers.iter().rposition(|a| a.step == last).map_or(answers.len(), |i| i + 1);
            answers.truncate(upto);
        }
        Some((answers, low))
    }

    /// What a check leaves behind: another facepiece or cylinder, a little less air, or a full cylinder.
    fn after_check(
        &mut self,
        at: Millis,
        unit: &'static str,
        low: bool,
        (facepiece, cylinder): (Option<String>, Option<String>),
    ) {
        let officer = super::history::officer(self, unit, at);
        if let Some(new) = facepiece {
            let own = self.units.get(unit).map(|u| u.facepiece.clone()).unwrap_or_default();
            self.put(at + 5 * MINUTE, officer, &Asset::facepiece(&own), Place::Bench);
            let with = Place::With { unit: unit.to_owned() };
            self.put(at + 5 * MINUTE, officer, &Asset::facepiece(&new), with);
        }
        if cylinder.is_some() {
            self.change_cylinder(at + 4 * MINUTE, officer, unit, (!low).then_some(Place::Bench));
        }
        let Some(u) = self.units.get_mut(unit) else { return };
        u.checked = at;
        u.tenths -= self.pen.rng.random_range(60..150);
        let topped_up = u.tenths < rated(unit) * 94 / 10 && self.pen.rng.random_bool(0.13);
        if topped_up {
            u.tenths = filled(unit, &mut self.pen);
        }
    }

    /// Weighs the record written last: what it raises, and what a signed check clears.
    pub fn weigh(&mut self) {
        let Ok(record) = decode(self.pen.last()) else { return };
        let Effects { raises, done, .. } = effects(&record, &mut self.tables);
        if let Some(done) = &done {
            let act = Act::Check(done.clone());
            for open in self.open.values_mut() {
                open.retain(|r| !clears(&act, r));
            }
        }
        let own = done.clone().map(Act::Check);
        let mut at_once = false;
        for raise in raises.into_iter().filter(|r| !own.as_ref().is_some_and(|a| clears(a, r))) {
            if raise.kind.terms().bench && !self.tickets.contains_key(&raise.asset) {
                self.tickets.insert(raise.asset.clone(), self.next_ticket);
                self.next_ticket += 1;
            }
            at_once |= raise.kind.terms().state > State::PutRight;
            self.open.entry(raise.asset.clone()).or_default().push(raise);
        }
        self.done = done;
        if at_once {
            // What takes a unit out arrives when it was written, unless the story has it come late; and
            // the server dates the ticket by its own clock, which stands at the batch's end.
            self.pen.cut();
        }
    }

    /// How long a check takes whom.
    fn takes(&mut self, by: Option<&str>, answers: usize) -> Millis {
        let each = if by == Some(HURRIED) { 3_200 } else { 9_500 + self.pen.rng.random_range(0..4_000) };
        i64::try_from(answers).unwrap_or(0) * each
    }

    fn gauges(&mut self, unit: &str, at: Millis, by: &str, form: &Form) -> Option<Gauges> {
        let local = self.clock.local(at);
        let (month, day) = (usize::try_from(local.month0()).unwrap_or(0), i64::from(local.day0()));
        let season = (SEASON[month] * (31 - day) + SEASON[(month + 1) % 12] * day) / 31 * rated(unit) / 4500;
        let ago = (self.last_day - at).max(0) / DAY;
        let rng = &mut self.pen.rng;
        // Two throws: near the middle more often than far out.
        let mut about = |most: i64| rng.random_range(-most..=most) / 2 + rng.random_range(-most..=most) / 2;
        let u = self.units.get_mut(unit)?;
        u.tenths -= u.leak * (at - u.checked).max(0) / DAY;
        let pressure = u.tenths / 10 + season + about(25);
        // One reads half a division, another a fifth of one.
        let step = if by.ends_with(['1', '3', '5', '7', '9']) { 20 } else { 50 };
        let bias = drifted(u.bias, GAUGES_DRIFT.iter().find(|d| d.0 == unit), ago) + about(30);
        let under = pressure - 12 + about(15);
        // Whatever is planted, nothing crosses its limit but where the story says so.
        let cylinder = read_off(under, step);
        let remote = read_off(under + bias, step).clamp(cylinder - 440, cylinder + 440);
        let trip = match trip_band(form) {
            Some((low, high)) => {
                // What drifts begins high in its band: less than a division nobody can see.
                let begins = if unit == ALARM_DRIFT.0 { 90 } else { u.trip };
                let usual = low + (high - low) * begins / 100;
                let at =
                    drifted(usual, Some(&ALARM_DRIFT).filter(|d| d.0 == unit), ago) + about((high - low) / 6);
                let rough = read_off(at, step);
                if (low..=high).contains(&rough) {
                    rough
                } else {
                    read_off(at.clamp(low + 10, high - 10), 10)
                }
            }
            None => 0,
        };
        Some(Gauges { pressure: read_off(pressure, step), pair: (cylinder, remote), trip })
    }
}

impl Kept {
    fn new(number: &str, place: Place, at: Millis, pen: &mut Pen) -> Self {
        Self {
            place,
            cylinder: format!("C-{number}"),
            facepiece: format!("F-{number}"),
            left_alone: false,
            tenths: filled(number, pen),
            leak: pen.rng.random_range(4..25),
            bias: pen.rng.random_range(-60..=60),
            trip: pen.rng.random_range(35..=65),
            checked: at,
            stopped: None,
        }
    }
}

/// A cylinder after filling, in tenths of a psi.
fn filled(number: &str, pen: &mut Pen) -> i64 {
    rated(number) * pen.rng.random_range(985..=1008) / 100
}

fn drifted(from: i64, drift: Option<&(&str, i64, i64)>, ago: i64) -> i64 {
    match drift {
        Some((_, to, days)) if ago < *days => from + (to - from) * (days - ago) / days,
        _ => from,
    }
}

/// The band of the low-air alarm, in psi.
fn trip_band(form: &Form) -> Option<(i64, i64)> {
    form.steps.iter().find_map(|s| match &s.ask {
        Ask::Trip(b) => {
            let rated = form.profile.rated;
            let psi = |l: airmuster_domain::quantity::Limit| {
                l.amount(rated).thousandths_of(airmuster_domain::quantity::PressureUnit::Psi) / 1000
            };
            Some((psi(b.at_least), psi(b.remark_above.unwrap_or(b.out_above))))
        }
        _ => None,
    })
}

/// What is written beside a low cylinder.
const CHANGED: [&str; 5] = [
    "Changed for a full one.",
    "Low, swapped. This one goes to the compressor.",
    "Was full last week by the sheet. Swapped.",
    "Cold bay. Swapped all the same.",
    "Changed, marked to be filled.",
];

/// A low cylinder is changed on the spot: the step is answered twice, and what follows is about the
/// other one.
fn change_low(answers: &mut Vec<Answer>, form: &Form, own: &str, full: &str, pen: &mut Pen) {
    let is = |a: &Answer, what: fn(&Ask) -> bool| form.step(&a.step).is_some_and(|s| what(&s.ask));
    let Some(place) = answers.iter().position(|a| is(a, |k| matches!(k, Ask::Reading { .. }))) else {
        return;
    };
    let pressure = read_off(filled(own, pen) / 10 - 60, 50);
    for a in answers.iter_mut().skip(place + 1) {
        if form.step(&a.step).is_some_and(|s| s.subject() == Subject::Cylinder) {
            a.item = Some(full.to_owned());
        }
        if is(a, |k| matches!(k, Ask::Pair { .. })) {
            let remote = pressure + 20 * pen.rng.random_range(-4..=2);
            a.values.insert("cylinder".into(), psi(pressure));
            a.values.insert("remote".into(), psi(remote));
        }
    }
    let mut second = answers[place].clone();
    (second.attempt, second.item) = (2, Some(full.to_owned()));
    second.values.insert("at".into(), psi(pressure));
    answers[place].item = Some(own.to_owned());
    answers[place].note = Some(CHANGED[pen.rng.random_range(0..CHANGED.len())].to_owned());
    answers.insert(place + 1, second);
}
