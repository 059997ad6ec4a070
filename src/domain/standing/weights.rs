//! Field records weighed one by one, and what must be kept of them to weigh them together.
//!
//! Of a check that found nothing, knew of nothing and proves nothing, only that it was made matters,
//! unless something was raised in its run or was said against it. So years of checks fit in little.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use uuid::Uuid;

use crate::Millis;
use crate::ground::{Effects, Forms, Kind, effects};
use crate::record::{Asset, Body, Desk, Digest, Record, RecordRef};
use crate::rules::Purpose;

use super::{LastCheck, Source, Word, assets_of, speaks_about};

/// A field record, weighed by itself.
#[derive(Debug, Clone)]
pub struct Weighed {
    pub(super) name: RecordRef,
    at: Millis,
    by: Option<String>,
    pub(super) assets: BTreeSet<Asset>,
    pub(super) effects: Effects,
}

impl Weighed {
    /// `None` for what a desk has written.
    pub fn of(record: &Record, forms: &mut dyn Forms) -> Option<Self> {
        let Body::Field(field) = &record.body else { return None };
        let effects = Effects { verdict: None, ..effects(record, forms) };
        let (at, by) = (record.envelope.time(), record.envelope.by.clone());
        Some(Self { name: record.name, at, by, assets: assets_of(field), effects })
    }

    pub(super) fn source(&self) -> Source<'_> {
        Source { name: self.name, at: self.at, by: self.by.as_ref() }
    }

    /// What matters of it, where that is only that a check was made, or not even that.
    fn brief(&self) -> Option<Brief> {
        let Effects { raises, done, attention, .. } = &self.effects;
        let plain = raises.is_empty()
            && attention.is_none()
            && done.as_ref().is_none_or(|d| d.seen.is_empty() && d.purpose != Purpose::Proving);
        plain.then(|| done.as_ref().filter(|d| d.clean).map(|d| (d.unit.clone(), LastCheck::from(d))))
    }
}

/// A clean check of a unit, or a record that is only there.
type Brief = Option<(Asset, LastCheck)>;

/// Weighed field records, and what the desk has said in its order.
#[derive(Debug, Default)]
pub struct Weights<'a> {
    pub(super) whole: BTreeMap<RecordRef, Weighed>,
    pub(super) brief: BTreeMap<RecordRef, Brief>,
    pub(super) desk: Vec<Cow<'a, Record>>,
    words: HashMap<Uuid, Word>,
    heard: u64,
}

impl<'a> Weights<'a> {
    /// Keeps all of it.
    pub fn take(&mut self, weighed: Weighed) {
        self.brief.remove(&weighed.name);
        self.whole.insert(weighed.name, weighed);
    }

    /// Keeps what is likely to matter of it. [`Weights::wanting`] says of which more is needed.
    pub fn take_briefly(&mut self, weighed: Weighed) {
        match weighed.brief() {
            Some(brief) => {
                self.brief.insert(weighed.name, brief);
            }
            None => self.take(weighed),
        }
    }

    /// Takes in the desk's next record.
    pub fn hear(&mut self, record: Cow<'a, Record>) {
        let Body::Desk(desk) = &record.body else { return };
        let at = self.heard;
        self.heard += 1;
        if let Some(id) = speaks_about(desk) {
            let word = self.words.entry(id).or_default();
            word.hear(at, desk);
            // Proven as nearly all are, there is nothing more to say.
            if *word == Word::default() {
                self.words.remove(&id);
            }
        }
        if !matches!(desk, Desk::Unproven(_) | Desk::Signature(_)) {
            self.desk.push(record);
        }
    }

    /// The runs in which something was raised.
    pub(super) fn raising(&self) -> HashSet<Uuid> {
        self.whole.values().flat_map(|w| &w.effects.raises).filter_map(|r| r.run).collect()
    }

    /// Of which records, kept in brief, all is needed after all. To be asked once everything is in,
    /// and then to be taken whole.
    pub fn wanting(&self) -> Vec<RecordRef> {
        let mut ids = self.raising();
        ids.extend(self.words.iter().filter(|(_, w)| !w.doubts.is_empty()).map(|(id, _)| *id));
        ids.extend(self.whole.keys().map(|name| name.id));
        let names: Vec<&RecordRef> = self.brief.keys().collect();
        let twice = names.windows(2).filter(|two| two[0].id == two[1].id).map(|two| two[0].id);
        ids.extend(twice);
        self.brief.keys().filter(|name| ids.contains(&name.id)).copied().collect()
    }

    /// Which field records the desk has corrected.
    pub fn corrected(&self) -> impl Iterator<Item = RecordRef> {
        self.desk.iter().filter_map(|r| match &r.body {
            Body::Desk(Desk::Correction(c)) => Some(c.of),
            _ => None,
        })
    }

    /// What is said of each record of which anything is to be said.
    pub(super) fn words(&mut self) -> HashMap<Uuid, Word> {
        let mut words = std::mem::take(&mut self.words);
        for (name, weighed) in &self.whole {
            let word = words.entry(name.id).or_default();
            let e = &weighed.effects;
            if e.attention.is_some() && e.raises.iter().any(|r| r.kind == Kind::Doubted) {
                word.unreadable.insert(name.digest);
            }
        }
        for (id, word) in &mut words {
            word.variants.extend(variants(&self.whole, *id).chain(variants(&self.brief, *id)));
        }
        words
    }
}

fn variants<T>(of: &BTreeMap<RecordRef, T>, id: Uuid) -> impl Iterator<Item = Digest> {
    let (first, last) =
        (RecordRef { id, digest: Digest([0; 32]) }, RecordRef { id, digest: Digest([255; 32]) });
    of.range(first..=last).map(|(name, _)| name.digest)
}
