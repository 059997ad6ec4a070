//! The standing of an asset by a second hand: the ground table of the design read again and
//! written down anew, for the small table of these tests only. It calls nothing of the program that
//! judges, raises, clears or decides; it reads only what records hold.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::Millis;
use airmuster_domain::judge::{Answer, Raw};
use airmuster_domain::record::{
    Asset, AssetKind, Body, Check, Condition, Desk, Digest, Field, Outcome, Place, Record, RecordRef,
    Register,
};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;
use uuid::Uuid;

use super::{DAY, MINUTE, RULES};

/// What a step of the small table looks at, and how bad its failing is.
struct Row {
    id: &'static str,
    thing: AssetKind,
    out: bool,
    proving_only: bool,
}

const ROWS: [Row; 5] = [
    Row { id: "gauges", thing: AssetKind::Unit, out: true, proving_only: false },
    Row { id: "pressure", thing: AssetKind::Cylinder, out: false, proving_only: false },
    Row { id: "strap", thing: AssetKind::Unit, out: false, proving_only: false },
    Row { id: "seal", thing: AssetKind::Facepiece, out: true, proving_only: false },
    Row { id: "bench", thing: AssetKind::Unit, out: true, proving_only: true },
];

/// A failed attempt.
struct Fail {
    step: &'static str,
    thing: AssetKind,
    attempt: u8,
    item: Option<String>,
    out: bool,
    settled: bool,
}

/// A check, looked through.
struct Look {
    fails: Vec<Fail>,
    good: BTreeMap<&'static str, Option<String>>,
    missing: bool,
    unreadable: bool,
}

impl Look {
    fn clean(&self, purpose: Purpose) -> bool {
        // In a proving check nothing may have failed, not even what was then exchanged.
        let stands = |f: &Fail| !f.settled || (f.out && purpose == Purpose::Proving);
        !self.missing && !self.unreadable && !self.fails.iter().any(stands)
    }
}

/// The number in `4400 psi`; nothing else can be read here.
fn psi(answer: &Answer, field: &str) -> Option<i64> {
    match answer.values.get(field)? {
        Raw::Text(t) => t.strip_suffix(" psi")?.parse().ok(),
        _ => None,
    }
}

fn rated(profile: &str) -> Option<i64> {
    match profile {
        "a" => Some(4500),
        "b" => Some(5500),
        _ => None,
    }
}

/// `None`: it cannot be read.
fn good(answer: &Answer, rated: i64) -> Option<bool> {
    match answer.step.as_str() {
        "gauges" => {
            let apart = (psi(answer, "cylinder")? - psi(answer, "remote")?).abs();
            Some(apart * 10 <= rated && apart <= 450)
        }
        "pressure" => Some(psi(answer, "at")? * 10 > rated * 9),
        _ => match answer.values.get("good")? {
            Raw::Flag(b) => Some(*b),
            _ => None,
        },
    }
}

/// `None`: nobody here knows the table or the profile.
fn look(check: &Check, profile: &str) -> Option<Look> {
    let rated = rated(profile).filter(|_| check.rules == *RULES)?;
    let mut seen = Look { fails: vec![], good: BTreeMap::new(), missing: false, unreadable: false };
    let asked = |r: &&Row| check.purpose == Purpose::Proving || !r.proving_only;
    for row in ROWS.iter().filter(asked) {
        let mut tries: Vec<&Answer> = check.answers.iter().filter(|a| a.step == row.id).collect();
        tries.sort_by_key(|a| a.attempt);
        let mut fails: Vec<Fail> = Vec::new();
        let mut done = None;
        for t in tries {
            // What may be the same thing: everything but an exchangeable thing with another number.
            let same = |f: &&Fail| {
                row.thing == AssetKind::Unit || f.item.is_none() || t.item.is_none() || f.item == t.item
            };
            match good(t, rated) {
                None => seen.unreadable = true,
                Some(true) => done = Some((!fails.iter().filter(same).any(|f| f.out), t.item.clone())),
                Some(false) => {
                    let out = row.out || fails.iter().filter(same).count() > 0;
                    let (attempt, item) = (t.attempt, t.item.clone());
                    let (step, thing) = (row.id, row.thing);
                    fails.push(Fail { step, thing, attempt, item, out, settled: false });
                    done = Some((false, None));
                }
            }
        }
        match done {
            None => seen.missing = true,
            Some((false, _)) => {}
            Some((true, item)) => {
                for f in &mut fails {
                    f.settled = true;
                }
                seen.good.insert(row.id, item.or_else(|| own(check, row.thing)));
            }
        }
        seen.fails.append(&mut fails);
    }
    Some(seen)
}

/// The facepiece or cylinder that a check names for itself.
fn own(check: &Check, kind: AssetKind) -> Option<String> {
    match kind {
        AssetKind::Unit => None,
        AssetKind::Facepiece => check.facepiece.clone(),
        AssetKind::Cylinder => check.cylinder.clone(),
    }
}

fn asset(kind: AssetKind, number: &str) -> Asset {
    Asset { kind, number: number.to_owned() }
}

/// Every asset that a field record is about.
fn about(field: &Field) -> Vec<Asset> {
    match field {
        Field::Check(c) => {
            let kinds = [AssetKind::Facepiece, AssetKind::Cylinder];
            let kit = kinds.into_iter().filter_map(|k| own(c, k).map(|n| asset(k, &n)));
            std::iter::once(Asset::unit(&c.unit)).chain(kit).collect()
        }
        Field::TakenOut(b) | Field::Hold(b) | Field::Note(b) => vec![b.asset.clone()],
        Field::Photo(p) => vec![p.asset.clone()],
        Field::Used(u) => vec![Asset::unit(&u.unit)],
        // It is about a rig, and changes nothing on any unit.
        Field::RigAccepted(_) => Vec::new(),
        Field::Unknown { asset, .. } => asset.iter().cloned().collect(),
    }
}

/// All records, to be asked about one asset at one moment.
pub struct Oracle<'a> {
    fields: BTreeMap<RecordRef, &'a Record>,
    desk: Vec<&'a Record>,
    now: Millis,
}

/// What speaks against an asset: how bad, and its key. `now/…` is computed from the time.
pub type Against = BTreeSet<(State, String)>;

impl<'a> Oracle<'a> {
    pub fn new(fields: &[&'a Record], desk: &[&'a Record], now: Millis) -> Self {
        Self { fields: fields.iter().map(|r| (r.name, *r)).collect(), desk: desk.to_vec(), now }
    }

    /// Everything that speaks against an asset now. Empty: it may ride.
    pub fn against(&self, of: &Asset) -> Against {
        let mut open = Against::new();
        for r in self.fields.values() {
            self.field_against(r, of, &mut open);
        }
        for r in &self.desk {
            self.desk_against(r, of, &mut open);
        }
        self.due(of, &mut open);
        self.fitted_against(of, &mut open);
        open
    }

    /// What is fitted to a unit and is itself out of service or worse, but for what failed in a check
    /// of this unit since it was put on it, today or yesterday: there another one was asked for.
    fn fitted_against(&self, of: &Asset, open: &mut Against) {
        if of.kind != AssetKind::Unit || open.iter().any(|(state, _)| *state == State::Held) {
            return;
        }
        let mut on: BTreeMap<&Asset, (Option<&str>, Millis)> = BTreeMap::new();
        for r in &self.desk {
            let Body::Desk(Desk::Register(Register::Holder { asset, place })) = &r.body else { continue };
            let unit = match place {
                Place::With { unit } => Some(unit.as_str()),
                _ => None,
            };
            let at = on.get(asset).filter(|(before, _)| *before == unit).map(|(_, at)| *at);
            on.insert(asset, (unit, at.unwrap_or(r.envelope.time())));
        }
        let fitted = on.into_iter().filter(|(_, (unit, _))| *unit == Some(of.number.as_str()));
        for (item, (_, since)) in fitted.filter(|(a, _)| a.kind != AssetKind::Unit) {
            let bad = self.against(item).into_iter().any(|(state, key)| {
                // What the register does not know cannot be put on a unit.
                let counts = state >= State::OutOfService && !key.starts_with("now/");
                counts && !self.found_on(&key, of, since)
            });
            if bad {
                open.insert((State::OutOfService, format!("now/fitted/{item}")));
            }
        }
    }

    /// Whether a finding was made on this unit, then or later, and not before yesterday.
    fn found_on(&self, key: &str, unit: &Asset, since: Millis) -> bool {
        let Some(digest) = key.strip_prefix("finding/").and_then(|k| k.split('/').next()) else {
            return false;
        };
        let on = |r: &Record| match &r.body {
            Body::Field(Field::Check(c)) => c.unit == unit.number,
            Body::Desk(Desk::Correction(c)) => c.right_unit.as_ref().is_some_and(|(n, _)| *n == unit.number),
            _ => false,
        };
        let mut all = self.fields.values().chain(&self.desk);
        all.any(|r| {
            r.name.digest.to_string() == digest && {
                let at = r.envelope.time();
                on(r) && at >= since && self.now.div_euclid(DAY) - at.div_euclid(DAY) <= 1
            }
        })
    }

    /// Findings not cleared.
    pub fn open_findings(&self, of: &Asset) -> Vec<String> {
        self.against(of).into_iter().map(|(_, k)| k).filter(|k| k.starts_with("finding/")).collect()
    }

    fn field_against(&self, r: &Record, of: &Asset, open: &mut Against) {
        let Body::Field(field) = &r.body else { return };
        let d = r.name.digest;
        if about(field).contains(of) {
            if self.contested(r.name.id) {
                open.insert((State::OutOfService, format!("contested/{}/{of}", r.name.id)));
            }
            if self.doubts_of(&r.name).next().is_some() && self.doubted(r) {
                open.insert((State::OutOfService, format!("doubted/{d}/{of}")));
            }
        }
        match field {
            Field::Check(c) => {
                let unit = Asset::unit(&c.unit);
                if unit == *of && Self::cannot_judge(r) && self.doubted(r) {
                    open.insert((State::OutOfService, format!("doubted/{d}")));
                }
                if let Some(l) = look(c, &c.profile) {
                    self.fails_against(&l, d, c.run, &unit, of, open);
                }
                let key = format!("check-again/{d}");
                if unit == *of && c.outcome == Outcome::Stopped && !self.checked_again(&key, of, Some(c.run))
                {
                    open.insert((State::CheckDue, key));
                }
            }
            Field::TakenOut(b) if b.asset == *of => {
                self.unless_returned(format!("taken-out/{d}"), None, of, open);
            }
            Field::Hold(b) if b.asset == *of => {
                self.unless(
                    &format!("held/{d}"),
                    State::Held,
                    open,
                    |desk, key| matches!(desk, Desk::Release(c) if c.asset == *of && c.clears.contains(key)),
                );
            }
            Field::Used(u) if Asset::unit(&u.unit) == *of => {
                let key = format!("{}/{d}", if u.after_use { "used" } else { "check-again" });
                // A use that asks for the check after it is not done with by the one at the start of a shift.
                let looked_after = |p| !u.after_use || !matches!(p, Purpose::ShiftStart | Purpose::Periodic);
                let done = self.counting().any(|(_, c, l)| {
                    c.unit == of.number
                        && l.clean(c.purpose)
                        && c.seen.contains(&key)
                        && looked_after(c.purpose)
                });
                if !done {
                    open.insert((State::CheckDue, key));
                }
                let dirty = match u.condition {
                    Condition::Clean => return,
                    Condition::Soiled => (State::PutRight, format!("soiled/{d}")),
                    Condition::Contaminated => (State::OutOfService, format!("contaminated/{d}")),
                };
                self.unless(
                    &dirty.1,
                    dirty.0,
                    open,
                    |desk, key| matches!(desk, Desk::Cleaned(c) if c.asset == *of && c.clears.contains(key)),
                );
            }
            Field::Unknown { asset: Some(a), .. } if a == of && self.doubted(r) => {
                open.insert((State::OutOfService, format!("doubted/{d}")));
            }
            _ => {}
        }
    }

    fn desk_against(&self, r: &Record, of: &Asset, open: &mut Against) {
        let Body::Desk(desk) = &r.body else { return };
        let d = r.name.digest;
        match desk {
            Desk::Retired(b) | Desk::Condemned(b) if b.asset == *of => {
                open.insert((State::Retired, format!("retired/{d}")));
            }
            Desk::Fitting(f) if !f.was_there && Asset::unit(&f.unit) == *of => {
                self.unless_returned(format!("taken-out/{d}"), None, of, open);
            }
            Desk::Register(Register::Unit { number, in_use: false, .. }) if Asset::unit(number) == *of => {
                self.unless(
                    &format!("not-accepted/{number}"),
                    State::OutOfService,
                    open,
                    |desk, _| matches!(desk, Desk::Accepted(a) if a.unit == *number),
                );
            }
            Desk::Correction(c) => {
                let Some(Body::Field(Field::Check(check))) = self.fields.get(&c.of).map(|r| &r.body) else {
                    return;
                };
                let key = format!("check-again/{d}");
                if Asset::unit(&check.unit) == *of && !self.checked_again(&key, of, None) {
                    open.insert((State::CheckDue, key));
                }
                // By whom it was read counts here, not by whom it was corrected.
                let reader = &self.fields[&c.of].envelope.by;
                for step in c.misread.iter().filter(|_| Asset::unit(&check.unit) == *of) {
                    let key = format!("misread/{d}/{step}");
                    let again = self.counting().any(|(r, c, l)| {
                        c.unit == of.number
                            && c.seen.contains(&key)
                            && l.good.contains_key(step.as_str())
                            && r.envelope.by != *reader
                    });
                    if !again {
                        open.insert((State::CheckDue, key));
                    }
                }
                let Some((number, profile)) = &c.right_unit else { return };
                let right = Asset::unit(number);
                let moved = look(check, profile);
                if let Some(l) = &moved {
                    self.fails_against(l, d, check.run, &right, of, open);
                }
                if right == *of && moved.is_none_or(|l| l.unreadable) {
                    self.unless_returned(format!("taken-out/{d}"), None, of, open);
                }
            }
            _ => {}
        }
    }

    /// A finding tags what failed; a numbered thing itself, and the unit then needs another one.
    fn fails_against(&self, l: &Look, d: Digest, run: Uuid, unit: &Asset, of: &Asset, open: &mut Against) {
        for f in &l.fails {
            let tail = format!("{d}/{}/{}/{}", f.step, f.attempt, f.item.as_deref().unwrap_or("-"));
            let separate = f.item.as_ref().filter(|_| f.thing != AssetKind::Unit);
            let tagged = separate.map_or_else(|| unit.clone(), |n| asset(f.thing, n));
            if f.out && tagged == *of {
                self.unless_returned(format!("finding/{tail}"), Some(f.step), of, open);
            }
            if f.settled || unit != of {
                continue;
            }
            let known_good = |key: &str, another: bool| {
                self.counting().any(|(r, c, l)| {
                    c.unit == unit.number
                        && (c.seen.iter().any(|k| k == key) || r.name.id == run)
                        && match l.good.get(f.step) {
                            Some(item) => !another || (item.is_some() && *item != f.item),
                            None => false,
                        }
                })
            };
            if f.out && separate.is_some() {
                let key = format!("another/{tail}");
                if !known_good(&key, true) {
                    open.insert((State::OutOfService, key));
                }
            } else if !f.out {
                let key = format!("put-right/{tail}");
                if !known_good(&key, false) {
                    open.insert((State::PutRight, key));
                }
            }
        }
    }

    /// Open unless a return lists it and its proving check stands.
    fn unless_returned(&self, key: String, step: Option<&str>, of: &Asset, open: &mut Against) {
        let returned = self.said_by_now().any(|desk| {
            let Desk::Return(r) = desk else { return false };
            r.asset == *of
                && r.clears.contains(&key)
                && self.counting().any(|(p, c, l)| {
                    p.name == r.proving
                        && c.purpose == Purpose::Proving
                        && l.clean(c.purpose)
                        && step.is_none_or(|s| l.good.contains_key(s))
                        && proves(c, of)
                })
        });
        if !returned {
            open.insert((State::OutOfService, key));
        }
    }

    fn unless(&self, key: &str, state: State, open: &mut Against, clears: impl Fn(&Desk, &String) -> bool) {
        let key = key.to_owned();
        if !self.said_by_now().any(|desk| clears(desk, &key)) {
            open.insert((state, key));
        }
    }

    fn checked_again(&self, key: &str, of: &Asset, run: Option<Uuid>) -> bool {
        self.counting().any(|(r, c, l)| {
            c.unit == of.number
                && l.clean(c.purpose)
                && (c.seen.iter().any(|k| k == key) || run == Some(r.name.id))
        })
    }

    fn due(&self, of: &Asset, open: &mut Against) {
        let mut entry = None;
        for r in &self.desk {
            if let Body::Desk(Desk::Register(reg)) = &r.body {
                match reg {
                    Register::Unit { number, profile, .. } if Asset::unit(number) == *of => {
                        entry = Some(Some(profile.clone()));
                    }
                    Register::Facepiece { number, .. } if Asset::facepiece(number) == *of => {
                        entry = Some(None);
                    }
                    Register::Cylinder { number, .. } if Asset::cylinder(number) == *of => entry = Some(None),
                    _ => {}
                }
            }
        }
        let key = format!("now/{of}");
        match entry {
            None => {
                open.insert((State::OutOfService, key));
            }
            Some(None) => {}
            Some(Some(profile)) => {
                let last = self
                    .counting()
                    .filter(|(_, c, l)| c.unit == of.number && l.clean(c.purpose))
                    .max_by_key(|(r, ..)| (r.envelope.time(), r.name));
                // Every unit of these tests is checked weekly.
                let counts = last.is_some_and(|(r, c, _)| {
                    c.profile == profile && r.envelope.time().saturating_add(7 * DAY) > self.now
                });
                if !counts {
                    open.insert((State::CheckDue, key));
                }
            }
        }
    }

    /// Signed, complete checks that may clear something by now.
    fn counting(&self) -> impl Iterator<Item = (&Record, &Check, Look)> {
        self.fields.values().filter_map(|r| {
            let Body::Field(Field::Check(c)) = &r.body else { return None };
            let l = look(c, &c.profile)?;
            let counts = c.outcome == Outcome::Complete
                && r.envelope.by.is_some()
                && r.envelope.time() <= self.horizon()
                && !self.contested(r.name.id)
                && !self.doubted(r)
                && !self.corrected(&r.name)
                && self.proven(&r.name)
                && self.countersigned(&r.name)
                && self.up_to_date(&r.name)
                && self.settled(r.name.id).is_none_or(|(_, s)| s.accepted == Some(r.name.digest));
            counts.then_some((*r, c, l))
        })
    }

    fn horizon(&self) -> Millis {
        self.now.saturating_add(2 * MINUTE)
    }

    fn said(&self) -> impl Iterator<Item = (usize, &Desk)> {
        self.desk.iter().enumerate().filter_map(|(i, r)| match &r.body {
            Body::Desk(d) => Some((i, d)),
            Body::Field(_) => None,
        })
    }

    fn said_by_now(&self) -> impl Iterator<Item = &Desk> {
        self.said().filter(|(i, _)| self.desk[*i].envelope.time() <= self.horizon()).map(|(_, d)| d)
    }

    fn settled(&self, id: Uuid) -> Option<(usize, &airmuster_domain::record::Settlement)> {
        self.said()
            .filter_map(|(i, d)| match d {
                Desk::Settlement(s) if s.id == id => Some((i, s)),
                _ => None,
            })
            .last()
    }

    fn variants(&self, id: Uuid) -> impl Iterator<Item = Digest> {
        self.fields.keys().filter(move |n| n.id == id).map(|n| n.digest)
    }

    fn contested(&self, id: Uuid) -> bool {
        self.variants(id).count() > 1
            && !self.settled(id).is_some_and(|(_, s)| self.variants(id).all(|d| s.variants.contains(&d)))
    }

    fn doubts_of(&self, name: &RecordRef) -> impl Iterator<Item = usize> {
        self.said().filter_map(move |(i, d)| match d {
            Desk::Doubt(doubt) if doubt.of == *name => Some(i),
            _ => None,
        })
    }

    /// Doubted after it was last settled, or never settled and not to be judged.
    fn doubted(&self, r: &Record) -> bool {
        let settled = self.settled(r.name.id).filter(|(_, s)| s.variants.contains(&r.name.digest));
        match settled {
            Some((at, _)) => self.doubts_of(&r.name).any(|i| i > at),
            None => self.doubts_of(&r.name).next().is_some() || Self::cannot_judge(r),
        }
    }

    fn cannot_judge(r: &Record) -> bool {
        match &r.body {
            Body::Field(Field::Check(c)) => look(c, &c.profile).is_none_or(|l| l.unreadable),
            Body::Field(Field::Unknown { asset, .. }) => asset.is_some(),
            _ => false,
        }
    }

    /// Never taken in as unproven, or else its signer or an officer has spoken since.
    fn proven(&self, name: &RecordRef) -> bool {
        let taken_in = self.said().filter(|(_, d)| matches!(d, Desk::Unproven(s) if s.of == *name)).last();
        taken_in.is_none_or(|(at, _)| {
            self.said().any(|(i, d)| {
                i > at
                    && match d {
                        Desk::Signature(s) => s.of == *name,
                        Desk::Settlement(s) => s.id == name.id && s.variants.contains(&name.digest),
                        _ => false,
                    }
            })
        })
    }

    /// Never taken in as waiting for a countersignature, or countersigned since.
    fn countersigned(&self, name: &RecordRef) -> bool {
        let waits =
            self.said().filter(|(_, d)| matches!(d, Desk::Uncountersigned(s) if s.of == *name)).last();
        waits.is_none_or(|(at, _)| {
            self.said().any(|(i, d)| i > at && matches!(d, Desk::Countersigned(s) if s.of == *name))
        })
    }

    /// Never taken in as made with a table whose time was over.
    fn up_to_date(&self, name: &RecordRef) -> bool {
        !self.said().any(|(_, d)| matches!(d, Desk::Outdated(s) if s.of == *name))
    }

    fn corrected(&self, name: &RecordRef) -> bool {
        self.said().any(|(_, d)| matches!(d, Desk::Correction(c) if c.of == *name))
    }
}

/// Whether a proving check was made on this very thing.
fn proves(c: &Check, of: &Asset) -> bool {
    if of.kind == AssetKind::Unit {
        return c.unit == of.number;
    }
    let steps: Vec<&str> = ROWS.iter().filter(|r| r.thing == of.kind).map(|r| r.id).collect();
    own(c, of.kind).as_ref() == Some(&of.number)
        && c.answers
            .iter()
            .filter(|a| steps.contains(&a.step.as_str()))
            .all(|a| a.item.as_ref().is_none_or(|n| *n == of.number))
}
