//! The standing of an asset, with its grounds.
//!
//! **The theorem.** Standing = f(set of field records, sequence of desk records, now). Field
//! records are merged by set union; `f` reads no arrival order, no received time and no
//! projection. So any order, any repetition and any interleaving of field records with a given
//! desk sequence gives the same standing. [`Account::of`] is `f` without `now`,
//! [`Account::standing`] adds it; `tests/theorem.rs` tries it.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::Millis;
use crate::ground::{Act, Done, Effects, Forms, Kind, Raise, act_of, clears, correction_effects, effects};
use crate::record::{
    Asset, Body, Cadence, Correction, Desk, Digest, Field, Record, RecordRef, Register, Settlement,
};
use crate::rules::{self, Form, Purpose, Table, TableErrors};
use crate::shift::ShiftClock;

/// How far ahead of now something that releases may be dated: two minutes.
pub const SLACK: Millis = 120_000;

/// What holds of an asset now. Ordered from best to worst.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// It may ride.
    InService,
    /// A check is due.
    CheckDue,
    /// The crew puts something right first.
    PutRight,
    /// It does not ride.
    OutOfService,
    /// Nothing may be done to it.
    Held,
    /// For good.
    Retired,
}

impl State {
    /// On a screen.
    pub fn words(self) -> &'static str {
        match self {
            Self::InService => "In service",
            Self::CheckDue => "Check due",
            Self::PutRight => "Put right",
            Self::OutOfService => "Out of service",
            Self::Held => "Held",
            Self::Retired => "Retired",
        }
    }
}

/// One ground of a standing, explained.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Ground {
    /// How it was raised.
    #[serde(flatten)]
    pub raise: Raise,
    /// The standing that it alone would give.
    pub state: State,
    /// What clears it.
    pub cleared_by: &'static str,
    /// Who can do that.
    pub who: &'static str,
}

impl From<Raise> for Ground {
    fn from(raise: Raise) -> Self {
        let terms = raise.kind.terms();
        Self { raise, state: terms.state, cleared_by: terms.cleared_by, who: terms.who }
    }
}

/// The last check that counts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LastCheck {
    /// The record.
    pub name: RecordRef,
    /// When.
    pub at: Millis,
    /// Who signed it.
    pub by: Option<String>,
}

/// A standing: never without what it stands on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Standing {
    /// The asset.
    pub asset: Asset,
    /// What holds.
    pub state: State,
    /// What speaks against it, worst first. Empty only when it is in service.
    pub grounds: Vec<Ground>,
    /// The complete good check that speaks for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_check: Option<LastCheck>,
    /// Until when that check counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<Millis>,
}

/// What the register says of an asset.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Registered {
    /// How often a unit is checked; `None` for facepieces and cylinders.
    pub cadence: Option<Cadence>,
}

/// From open grounds, the last check and the time to a standing.
///
/// `open` holds the grounds that nothing has cleared at `now`.
pub fn decide(
    asset: &Asset,
    open: Vec<Raise>,
    last_check: Option<LastCheck>,
    registered: Option<Registered>,
    clock: &ShiftClock,
    now: Millis,
) -> Standing {
    let mut grounds: Vec<Ground> = open.into_iter().map(Ground::from).collect();
    let computed = |kind: Kind, say: String| {
        Ground::from(Raise {
            asset: asset.clone(),
            key: format!("now/{asset}"),
            kind,
            from: last_check
                .as_ref()
                .map_or(RecordRef { id: Uuid::nil(), digest: Digest([0; 32]) }, |c| c.name),
            run: None,
            step: None,
            item: None,
            at: last_check.as_ref().map_or(0, |c| c.at),
            by: None,
            say,
            entered: String::new(),
            limit: String::new(),
            basis: String::new(),
        })
    };
    let mut until = None;
    match registered {
        None => grounds.push(computed(
            Kind::NotAccepted,
            format!("no {} of this number is in the register", asset.kind.words()),
        )),
        Some(Registered { cadence: Some(cadence) }) => {
            until = last_check.as_ref().map(|c| clock.counts_until(cadence, c.at));
            match until {
                None => grounds.push(computed(Kind::CheckDue, "no complete good check yet".to_owned())),
                Some(until) if until <= now => {
                    grounds.push(computed(Kind::CheckDue, "the last good check no longer counts".to_owned()));
                }
                Some(_) => {}
            }
        }
        Some(Registered { cadence: None }) => {}
    }
    grounds.sort_by(|a, b| {
        (b.state, a.raise.kind, a.raise.at, &a.raise.key).cmp(&(
            a.state,
            b.raise.kind,
            b.raise.at,
            &b.raise.key,
        ))
    });
    let state = grounds.first().map_or(State::InService, |g| g.state);
    Standing { asset: asset.clone(), state, grounds, last_check, until }
}

/// What the desk has said about one record id.
#[derive(Debug, Clone, Default)]
pub struct Word {
    /// Hashes of all field records with this id.
    pub variants: BTreeSet<Digest>,
    /// The last settlement and its place in the desk's sequence.
    pub settlement: Option<(u64, Settlement)>,
    /// Doubts, with their places.
    pub doubts: Vec<(u64, Digest)>,
    /// Variants that cannot be judged by themselves.
    pub unreadable: BTreeSet<Digest>,
    /// Variants whose power to clear a correction has taken away.
    pub corrected: BTreeSet<Digest>,
}

impl Word {
    /// Whether several variants stand against each other.
    pub fn contested(&self) -> bool {
        self.variants.len() > 1 && !self.names_all(&self.variants)
    }

    /// Whether this variant is in doubt.
    pub fn doubted(&self, digest: &Digest) -> bool {
        let settled_at =
            self.settlement.as_ref().filter(|(_, s)| s.variants.contains(digest)).map(|(at, _)| *at);
        let fresh = |(at, d): &(u64, Digest)| d == digest && settled_at.is_none_or(|s| *at > s);
        self.doubts.iter().any(fresh) || (self.unreadable.contains(digest) && settled_at.is_none())
    }

    /// Whether this variant may clear anything.
    pub fn counts(&self, digest: &Digest) -> bool {
        let rejected = self.settlement.as_ref().is_some_and(|(_, s)| s.accepted != Some(*digest));
        !self.contested() && !self.doubted(digest) && !self.corrected.contains(digest) && !rejected
    }

    fn names_all(&self, digests: &BTreeSet<Digest>) -> bool {
        self.settlement.as_ref().is_some_and(|(_, s)| digests.iter().all(|d| s.variants.contains(d)))
    }

    /// Takes in one desk record, `at` being its place in the sequence.
    pub fn hear(&mut self, at: u64, desk: &Desk) {
        match desk {
            Desk::Settlement(s) => self.settlement = Some((at, s.clone())),
            Desk::Doubt(d) => self.doubts.push((at, d.of.digest)),
            Desk::Correction(c) => {
                self.corrected.insert(c.of.digest);
            }
            _ => {}
        }
    }
}

/// The id of the field record that a desk record speaks about.
pub fn speaks_about(desk: &Desk) -> Option<Uuid> {
    match desk {
        Desk::Settlement(s) => Some(s.id),
        Desk::Doubt(d) => Some(d.of.id),
        Desk::Correction(c) => Some(c.of.id),
        _ => None,
    }
}

/// Everything that a field record is about.
pub fn assets_of(field: &Field) -> BTreeSet<Asset> {
    match field {
        Field::Check(c) => std::iter::once(Asset::unit(&c.unit))
            .chain(c.facepiece.iter().map(|n| Asset::facepiece(n)))
            .chain(c.cylinder.iter().map(|n| Asset::cylinder(n)))
            .collect(),
        Field::TakenOut(b) | Field::Hold(b) | Field::Note(b) => [b.asset.clone()].into(),
        Field::Used(u) => [Asset::unit(&u.unit)].into(),
        Field::Unknown { asset, .. } => asset.iter().cloned().collect(),
    }
}

/// The ground that several variants of one record raise on an asset.
pub fn contested_raise(asset: &Asset, id: Uuid, one: &Record) -> Raise {
    word_raise(
        asset,
        Kind::Contested,
        format!("contested/{id}/{asset}"),
        one,
        "two versions of one record were handed in".to_owned(),
    )
}

/// The ground that a doubt raises on an asset.
pub fn doubted_raise(asset: &Asset, of: &Record, why: &str) -> Raise {
    word_raise(asset, Kind::Doubted, format!("doubted/{}/{asset}", of.name.digest), of, why.to_owned())
}

fn word_raise(asset: &Asset, kind: Kind, key: String, of: &Record, say: String) -> Raise {
    Raise {
        asset: asset.clone(),
        key,
        kind,
        from: of.name,
        run: None,
        step: None,
        item: None,
        at: of.envelope.time(),
        by: of.envelope.by.clone(),
        say,
        entered: String::new(),
        limit: String::new(),
        basis: String::new(),
    }
}

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

/// Rule tables by the hash of their text, with their forms worked out once.
#[derive(Debug)]
pub struct Tables {
    tables: HashMap<Digest, Arc<Table>>,
    forms: HashMap<(Digest, String, Purpose), Option<Arc<Form>>>,
    default: Digest,
}

impl Default for Tables {
    fn default() -> Self {
        Self::new()
    }
}

impl Tables {
    /// The table that ships with the program.
    ///
    /// # Panics
    /// Never: a test reads the shipped table.
    #[expect(clippy::expect_used, reason = "the shipped table is part of the program")]
    pub fn new() -> Self {
        let mut out = Self { tables: HashMap::new(), forms: HashMap::new(), default: Digest([0; 32]) };
        out.default = out.add(rules::DEFAULT).expect("the shipped rule table can be read");
        out
    }

    /// Adds a table.
    ///
    /// # Errors
    /// When the text is not a rule table.
    pub fn add(&mut self, text: &str) -> Result<Digest, TableErrors> {
        let digest = Digest::of(text.as_bytes());
        if !self.tables.contains_key(&digest) {
            self.tables.insert(digest, Arc::new(rules::parse(text)?));
            self.forms.retain(|(d, _, _), _| *d != digest);
        }
        Ok(digest)
    }

    /// The shipped table.
    pub fn default_digest(&self) -> Digest {
        self.default
    }

    /// The table of this hash.
    pub fn get(&self, digest: &Digest) -> Option<&Arc<Table>> {
        self.tables.get(digest)
    }
}

impl Forms for Tables {
    fn form(&mut self, rules: &Digest, profile: &str, purpose: Purpose) -> Option<Arc<Form>> {
        let key = (*rules, profile.to_owned(), purpose);
        if let Some(form) = self.forms.get(&key) {
            return form.clone();
        }
        let table = self.tables.get(rules)?;
        let form = rules::resolve(table, profile, purpose).ok().map(Arc::new);
        self.forms.insert(key, form.clone());
        form
    }
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
}

impl Account {
    /// Weighs all records anew.
    pub fn of<'a>(fields: impl IntoIterator<Item = &'a Record>, desk: &[&Record]) -> Self {
        let mut tables = Tables::new();
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
            let e = effects(record, &mut tables);
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
        book.take_desk(desk, &fields, &mut tables);
        book.finish(&words)
    }

    /// The standing of an asset at `now`.
    pub fn standing(&self, asset: &Asset, now: Millis) -> Standing {
        let empty = Case::default();
        let case = self.cases.get(asset).unwrap_or(&empty);
        let horizon = now.saturating_add(SLACK);
        let open = case
            .raises
            .values()
            .filter(|(_, cleared)| cleared.is_none_or(|at| at > horizon))
            .map(|(r, _)| r.clone())
            .collect();
        let last = case.clean.iter().filter(|c| c.at <= horizon).max_by_key(|c| (c.at, c.name)).cloned();
        decide(asset, open, last, case.registered, &self.clock, now)
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
            let last = LastCheck { name: done.name, at: done.at, by: done.by.clone() };
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
                if word.doubts.iter().any(|(_, d)| *d == name.digest) {
                    self.raise(doubted_raise(&asset, record, "its time cannot be right"));
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
                Desk::Correction(c) => self.correct(record, c, fields, tables),
                _ => effects(record, tables),
            };
            for raise in e.raises {
                self.raise(raise);
            }
            if let Desk::Register(r) = d {
                self.register(r);
            }
            let done = &self.done;
            if let Some(claim) = Claim::desk(d, record.envelope.time(), |p| done.get(p).cloned()) {
                for asset in cleared_assets(d) {
                    self.claims.entry(asset).or_default().push(claim.clone());
                }
            }
        }
    }

    fn correct(
        &self,
        record: &Record,
        c: &Correction,
        fields: &BTreeMap<RecordRef, &Record>,
        tables: &mut Tables,
    ) -> Effects {
        fields.get(&c.of).map(|of| correction_effects(record, c, of, tables)).unwrap_or_default()
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
        Register::Unit { number, cadence, .. } => {
            Some((Asset::unit(number), Registered { cadence: Some(*cadence) }))
        }
        Register::Facepiece { number, .. } => Some((Asset::facepiece(number), Registered { cadence: None })),
        Register::Cylinder { number, .. } => Some((Asset::cylinder(number), Registered { cadence: None })),
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
