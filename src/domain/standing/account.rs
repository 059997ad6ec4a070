//! The standing of everything, weighed anew from all records.

use std::collections::{BTreeMap, HashMap, HashSet};

use uuid::Uuid;

use crate::Millis;
use crate::ground::{Act, Done, Effects, Kind, Raise, act_of, clears, correction_effects, effects};
use crate::record::{Asset, Body, Desk, Record, RecordRef, Register};
use crate::rules::Purpose;
use crate::shift::ShiftClock;
use crate::upkeep::Upkeep;

use super::{
    LastCheck, Registered, SLACK, Standing, Tables, Word, assets_of, contested_raise, decide, doubted_raise,
    speaks_about,
};

/// Something that may clear grounds, and the earliest moment from which it does.
#[derive(Debug, Clone, PartialEq)]
pub struct Claim {
    /// What was done.
    pub act: Act,
    /// When it was dated; for a return, the later of itself and its proving check.
    pub at: Millis,
}

impl Claim {
    /// A check's claim.
    pub fn check(done: Done) -> Self {
        Self { at: done.at, act: Act::Check(done) }
    }

    /// A desk record's claim, with the proving check where that is there and counts.
    pub fn desk(desk: &Desk, at: Millis, proving: impl FnOnce(&RecordRef) -> Option<Done>) -> Option<Self> {
        let act = act_of(desk, proving)?;
        let at = match &act {
            Act::Return { proving: Some(p), .. } => at.max(p.at),
            _ => at,
        };
        Some(Self { act, at })
    }
}

/// From when on a ground is cleared, if anything clears it.
pub fn cleared_at<'a>(raise: &Raise, claims: impl IntoIterator<Item = &'a Claim>) -> Option<Millis> {
    claims.into_iter().filter(|c| clears(&c.act, raise)).map(|c| c.at).min()
}

/// Everything known of one asset.
#[derive(Debug, Clone, Default)]
struct Case {
    raises: BTreeMap<String, (Raise, Option<Millis>)>,
    clean: Vec<LastCheck>,
    registered: Option<Registered>,
}

/// Everything that follows from a set of field records and a sequence of desk records, but for
/// the time. The reference that every kept projection is compared with.
#[derive(Debug, Default)]
pub struct Account {
    cases: BTreeMap<Asset, Case>,
    /// Records that cannot be judged here, and why.
    pub attention: BTreeMap<RecordRef, String>,
    clock: ShiftClock,
    /// What is known of upkeep.
    pub upkeep: Upkeep,
}

impl Account {
    /// Weighs all records anew.
    pub fn of<'a>(fields: impl IntoIterator<Item = &'a Record>, desk: &[&Record]) -> Self {
        Self::with(&mut Tables::new(), fields, desk)
    }

    /// As [`Account::of`], where rule tables have been read before. Those that the desk's records
    /// hold are added.
    pub fn with<'a>(
        tables: &mut Tables,
        fields: impl IntoIterator<Item = &'a Record>,
        desk: &[&Record],
    ) -> Self {
        for record in desk {
            if let Body::Desk(Desk::Rules(r)) = &record.body {
                // One that cannot be read is refused at the desk; here it is simply not known.
                let _ = tables.add(&r.text);
            }
        }
        let fields: BTreeMap<RecordRef, &Record> = fields.into_iter().map(|r| (r.name, r)).collect();
        let mut words: HashMap<Uuid, Word> = HashMap::new();
        for name in fields.keys() {
            words.entry(name.id).or_default().variants.insert(name.digest);
        }
        for (at, record) in (0..).zip(desk) {
            if let Body::Desk(d) = &record.body
                && let Some(id) = speaks_about(d)
            {
                words.entry(id).or_default().hear(at, d);
            }
        }
        let mut book = Book { account: Self::default(), done: HashMap::new(), claims: HashMap::new() };
        let mut weighed: Vec<(RecordRef, Effects)> = Vec::with_capacity(fields.len());
        for record in fields.values() {
            let e = effects(record, tables);
            if e.attention.is_some()
                && e.raises.iter().any(|r| r.kind == Kind::Doubted)
                && let Some(word) = words.get_mut(&record.name.id)
            {
                word.unreadable.insert(record.name.digest);
            }
            weighed.push((record.name, e));
        }
        let raising: HashSet<Uuid> =
            weighed.iter().flat_map(|(_, e)| &e.raises).filter_map(|r| r.run).collect();
        for (name, e) in weighed {
            book.take(e, name, |n| words.get(&n.id).is_some_and(|w| w.counts(&n.digest)), &raising);
        }
        book.settle_words(&fields, &words);
        book.take_desk(desk, &fields, tables);
        book.finish(&words)
    }

    /// The standing of an asset at `now`.
    pub fn standing(&self, asset: &Asset, now: Millis) -> Standing {
        let empty = Case::default();
        let case = self.cases.get(asset).unwrap_or(&empty);
        let horizon = now.saturating_add(SLACK);
        let mut open: Vec<Raise> = case
            .raises
            .values()
            .filter(|(_, cleared)| cleared.is_none_or(|at| at > horizon))
            .map(|(r, _)| r.clone())
            .collect();
        open.extend(self.upkeep.grounds(asset, self.clock.local(now).date_naive()));
        let last = case.clean.iter().filter(|c| c.at <= horizon).max_by_key(|c| (c.at, c.name)).cloned();
        decide(asset, open, last, case.registered.as_ref(), &self.clock, now)
    }

    /// All assets that anything is known of.
    pub fn assets(&self) -> impl Iterator<Item = &Asset> {
        self.cases.keys()
    }

    /// Each ground ever raised on an asset, and from when on it is cleared.
    pub fn grounds(&self, asset: &Asset) -> impl Iterator<Item = (&Raise, Option<Millis>)> {
        self.cases.get(asset).into_iter().flat_map(|c| c.raises.values().map(|(r, at)| (r, *at)))
    }
}

struct Book {
    account: Account,
    done: HashMap<RecordRef, Done>,
    claims: HashMap<Asset, Vec<Claim>>,
}

impl Book {
    fn take(
        &mut self,
        e: Effects,
        name: RecordRef,
        counts: impl Fn(&RecordRef) -> bool,
        raising: &HashSet<Uuid>,
    ) {
        if let Some(why) = e.attention {
            self.account.attention.insert(name, why);
        }
        for raise in e.raises {
            self.raise(raise);
        }
        let Some(done) = e.done.filter(|d| counts(&d.name)) else {
            return;
        };
        if done.clean {
            let last = LastCheck {
                name: done.name,
                at: done.at,
                by: done.by.clone(),
                profile: done.profile.clone(),
            };
            self.account.cases.entry(done.unit.clone()).or_default().clean.push(last);
        }
        // Most checks knew of nothing and can clear nothing; they need not be kept.
        if !done.seen.is_empty() || raising.contains(&done.name.id) {
            self.claims.entry(done.unit.clone()).or_default().push(Claim::check(done.clone()));
        }
        if done.purpose == Purpose::Proving {
            self.done.insert(done.name, done);
        }
    }

    fn raise(&mut self, raise: Raise) {
        let case = self.account.cases.entry(raise.asset.clone()).or_default();
        case.raises.entry(raise.key.clone()).or_insert((raise, None));
    }

    fn settle_words(&mut self, fields: &BTreeMap<RecordRef, &Record>, words: &HashMap<Uuid, Word>) {
        for (name, record) in fields {
            let (Some(word), Body::Field(field)) = (words.get(&name.id), &record.body) else {
                continue;
            };
            for asset in assets_of(field) {
                if word.variants.len() > 1 {
                    self.raise(contested_raise(&asset, name.id, record));
                }
                if let Some(why) = word.doubt_of(&name.digest) {
                    self.raise(doubted_raise(&asset, record, why));
                }
            }
        }
    }

    fn take_desk(&mut self, desk: &[&Record], fields: &BTreeMap<RecordRef, &Record>, tables: &mut Tables) {
        for record in desk {
            let Body::Desk(d) = &record.body else {
                continue;
            };
            let e = match d {
                Desk::Correction(c) => {
                    fields.get(&c.of).map(|of| correction_effects(record, c, of, tables)).unwrap_or_default()
                }
                _ => effects(record, tables),
            };
            for raise in e.raises {
                self.raise(raise);
            }
            if let Desk::Register(r) = d {
                self.register(r);
            }
            self.account.upkeep.hear(d, record.envelope.time());
            let done = &self.done;
            if let Some(claim) = Claim::desk(d, record.envelope.time(), |p| done.get(p).cloned()) {
                for asset in cleared_assets(d) {
                    self.claims.entry(asset).or_default().push(claim.clone());
                }
            }
        }
    }

    fn register(&mut self, r: &Register) {
        if let Register::Department { zone, shift_start, shift_hours, early_minutes, grace_minutes, .. } = r
            && let Ok(clock) =
                ShiftClock::read(zone, shift_start, *shift_hours, *early_minutes, *grace_minutes)
        {
            self.account.clock = clock;
        }
        if let Some((asset, registered)) = registered(r) {
            self.account.cases.entry(asset).or_default().registered = Some(registered);
        }
    }

    fn finish(mut self, words: &HashMap<Uuid, Word>) -> Account {
        let none = Vec::new();
        for (asset, case) in &mut self.account.cases {
            let claims = self.claims.get(asset).unwrap_or(&none);
            case.raises.retain(|_, (raise, cleared)| {
                let word = words.get(&raise.from.id);
                match raise.kind {
                    Kind::Contested => word.is_some_and(Word::contested),
                    Kind::Doubted => word.is_none_or(|w| w.doubted(&raise.from.digest)),
                    _ => {
                        *cleared = cleared_at(raise, claims);
                        true
                    }
                }
            });
        }
        self.account
    }
}

/// What the register says of an asset, from one entry.
pub fn registered(r: &Register) -> Option<(Asset, Registered)> {
    match r {
        Register::Unit { number, cadence, profile, .. } => {
            Some((Asset::unit(number), Registered::Unit { cadence: *cadence, profile: profile.clone() }))
        }
        Register::Facepiece { number, .. } => Some((Asset::facepiece(number), Registered::Item)),
        Register::Cylinder { number, .. } => Some((Asset::cylinder(number), Registered::Item)),
        _ => None,
    }
}

/// The assets on which a desk record can clear something.
pub fn cleared_assets(desk: &Desk) -> Vec<Asset> {
    match desk {
        Desk::Return(r) => vec![r.asset.clone()],
        Desk::Release(c) | Desk::Cleaned(c) => vec![c.asset.clone()],
        Desk::Accepted(a) => vec![Asset::unit(&a.unit)],
        _ => Vec::new(),
    }
}
