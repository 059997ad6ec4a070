//! The standing of everything, weighed anew from all records.

use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap, HashSet};

use uuid::Uuid;

use crate::Millis;
use crate::cadence::Cadences;
use crate::ground::{Act, Done, Effects, Kind, Raise, act_of, clears, correction_effects, effects};
use crate::record::{Asset, Body, Desk, Place, Record, RecordRef, Register};
use crate::rules::Purpose;
use crate::shift::ShiftClock;
use crate::upkeep::Upkeep;

use super::{
    LastCheck, Registered, SLACK, Standing, Tables, Weighed, Weights, Word, contested_raise, decide,
    doubted_raise,
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

impl Case {
    /// What nothing has cleared by then.
    fn open(&self, horizon: Millis) -> Vec<Raise> {
        let open = self.raises.values().filter(|(_, cleared)| cleared.is_none_or(|at| at > horizon));
        open.map(|(r, _)| r.clone()).collect()
    }
}

/// Everything that follows from a set of field records and a sequence of desk records, but for
/// the time. The reference that every kept projection is compared with.
#[derive(Debug, Default)]
pub struct Account {
    cases: BTreeMap<Asset, Case>,
    /// Records that cannot be judged here, and why.
    pub attention: BTreeMap<RecordRef, String>,
    clock: ShiftClock,
    cadences: Cadences,
    places: BTreeMap<Asset, Place>,
    /// What is known of upkeep.
    pub upkeep: Upkeep,
}

impl Account {
    /// Weighs all records anew.
    pub fn of<'a>(fields: impl IntoIterator<Item = &'a Record>, desk: &[&'a Record]) -> Self {
        Self::with(&mut Tables::new(), fields, desk)
    }

    /// As [`Account::of`], where rule tables have been read before. Those that the desk's records
    /// hold are added.
    pub fn with<'a>(
        tables: &mut Tables,
        fields: impl IntoIterator<Item = &'a Record>,
        desk: &[&'a Record],
    ) -> Self {
        tables.add_all(desk.iter().copied());
        let fields: BTreeMap<RecordRef, &Record> = fields.into_iter().map(|r| (r.name, r)).collect();
        let mut weights = Weights::default();
        for record in fields.values() {
            if let Some(weighed) = Weighed::of(record, tables) {
                weights.take(weighed);
            }
        }
        for &record in desk {
            weights.hear(Cow::Borrowed(record));
        }
        Self::weigh(weights, &|name| fields.get(name).copied(), tables)
    }

    /// Weighs together what was weighed one by one. `original` finds the field records that were
    /// corrected ([`Weights::corrected`]).
    pub fn weigh<'r>(
        mut weights: Weights<'_>,
        original: &dyn Fn(&RecordRef) -> Option<&'r Record>,
        tables: &mut Tables,
    ) -> Self {
        let raising = weights.raising();
        let words = weights.words();
        let Weights { whole, brief, desk, .. } = weights;
        let mut book = Book { account: Self::default(), done: HashMap::new(), claims: HashMap::new() };
        let counts = |n: &RecordRef| words.get(&n.id).is_none_or(|w| w.counts(&n.digest));
        for (name, check) in brief {
            if let Some((unit, last)) = check.filter(|_| counts(&name)) {
                book.account.cases.entry(unit).or_default().clean.push(last);
            }
        }
        for weighed in whole.values() {
            book.settle_words(weighed, &words);
        }
        for (name, weighed) in whole {
            book.take(weighed.effects, name, counts, &raising);
        }
        book.take_desk(&desk, original, tables);
        book.finish(&words)
    }

    /// The standing of an asset at `now`.
    pub fn standing(&self, asset: &Asset, now: Millis) -> Standing {
        let empty = Case::default();
        let case = self.cases.get(asset).unwrap_or(&empty);
        let horizon = now.saturating_add(SLACK);
        let mut open = case.open(horizon);
        let fitted = |item: &Asset| self.cases.get(item).map(|c| c.open(horizon)).unwrap_or_default();
        let today = self.clock.local(now).date_naive();
        open.extend(self.upkeep.grounds_with(asset, today, &open, fitted));
        let last = case.clean.iter().filter(|c| c.at <= horizon).max_by_key(|c| (c.at, c.name)).cloned();
        let registered = case.registered.clone().map(|r| match r {
            Registered::Unit { cadence, profile } => {
                let (cadence, _) = self.cadences.at(self.places.get(asset), cadence);
                Registered::Unit { cadence, profile }
            }
            Registered::Item => Registered::Item,
        });
        decide(asset, open, last, registered.as_ref(), &self.clock, now)
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
            let last = LastCheck::from(&done);
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

    fn settle_words(&mut self, weighed: &Weighed, words: &HashMap<Uuid, Word>) {
        let Some(word) = words.get(&weighed.name.id) else { return };
        for asset in &weighed.assets {
            if word.variants.len() > 1 {
                self.raise(contested_raise(asset, weighed.source()));
            }
            if let Some(why) = word.doubt_of(&weighed.name.digest) {
                self.raise(doubted_raise(asset, weighed.source(), why));
            }
        }
    }

    fn take_desk<'r>(
        &mut self,
        desk: &[Cow<'_, Record>],
        original: &dyn Fn(&RecordRef) -> Option<&'r Record>,
        tables: &mut Tables,
    ) {
        for record in desk {
            let Body::Desk(d) = &record.body else {
                continue;
            };
            let e = match d {
                Desk::Correction(c) => {
                    original(&c.of).map(|of| correction_effects(record, c, of, tables)).unwrap_or_default()
                }
                _ => effects(record, tables),
            };
            for raise in e.raises {
                self.raise(raise);
            }
            for entry in d.entries().iter() {
                self.register(entry);
            }
            if let Desk::Moved(m) = d {
                let moves = m.moves.iter().map(|one| (one.asset.clone(), one.to.clone()));
                self.account.places.extend(moves);
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
        if let Register::Holder { asset, place } = r {
            self.account.places.insert(asset.clone(), place.clone());
        }
        self.account.cadences.hear(r);
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
