//! What the desk says about field records: which are contested, doubted, corrected or settled.

use std::collections::BTreeSet;

use uuid::Uuid;

use crate::Millis;
use crate::ground::{Kind, Raise};
use crate::record::{Asset, Desk, Digest, Doubt, Field, Record, RecordRef, Settlement};

/// Why a record from the future is doubted, in the record that says so. The ground has always said it
/// in other words, and must go on to: what is kept of old logbooks is compared with what they give anew.
pub const LATE: &str = "it is dated later than it was received";

/// What the desk has said about one record id.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Word {
    /// Hashes of all field records with this id.
    pub variants: BTreeSet<Digest>,
    /// The last settlement and its place in the desk's sequence.
    pub settlement: Option<(u64, Settlement)>,
    /// Doubts, with their places.
    pub doubts: Vec<(u64, Doubt)>,
    /// Variants that cannot be judged by themselves.
    pub unreadable: BTreeSet<Digest>,
    /// Variants whose signature nothing has proven.
    pub unproven: BTreeSet<Digest>,
    /// Variants that wait for an officer's countersignature.
    pub uncountersigned: BTreeSet<Digest>,
    /// Variants made with a rule table whose time was over.
    pub outdated: BTreeSet<Digest>,
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
        let fresh = |(at, d): &(u64, Doubt)| d.of.digest == *digest && settled_at.is_none_or(|s| *at > s);
        self.doubts.iter().any(fresh) || (self.unreadable.contains(digest) && settled_at.is_none())
    }

    /// What was said first against this variant, if anything was.
    pub fn doubt_of(&self, digest: &Digest) -> Option<&str> {
        let first = self.doubts.iter().find(|(_, d)| d.of.digest == *digest);
        first.map(|(_, d)| if d.why == LATE { "its time cannot be right" } else { d.why.as_str() })
    }

    /// Whether this variant may clear anything.
    pub fn counts(&self, digest: &Digest) -> bool {
        self.stands(digest) && !self.uncountersigned.contains(digest)
    }

    /// Whether this variant stands as what its signer says, whatever an officer has still to say to it.
    pub fn stands(&self, digest: &Digest) -> bool {
        let rejected = self.settlement.as_ref().is_some_and(|(_, s)| s.accepted != Some(*digest));
        let taken_away = [&self.corrected, &self.unproven, &self.outdated];
        let taken_away = taken_away.iter().any(|set| set.contains(digest));
        !self.contested() && !self.doubted(digest) && !taken_away && !rejected
    }

    fn names_all(&self, digests: &BTreeSet<Digest>) -> bool {
        self.settlement.as_ref().is_some_and(|(_, s)| digests.iter().all(|d| s.variants.contains(d)))
    }

    /// Takes in one desk record, `at` being its place in the sequence.
    pub fn hear(&mut self, at: u64, desk: &Desk) {
        match desk {
            Desk::Settlement(s) => {
                // The officer's word stands for a signature that could not be proven.
                self.unproven.retain(|d| !s.variants.contains(d));
                self.settlement = Some((at, s.clone()));
            }
            Desk::Unproven(s) => {
                self.unproven.insert(s.of.digest);
            }
            Desk::Signature(s) => {
                self.unproven.remove(&s.of.digest);
            }
            Desk::Uncountersigned(s) => {
                self.uncountersigned.insert(s.of.digest);
            }
            // Nothing takes it back: the check is made again with the table in force.
            Desk::Outdated(s) => {
                self.outdated.insert(s.of.digest);
            }
            Desk::Countersigned(s) => {
                self.uncountersigned.remove(&s.of.digest);
            }
            Desk::Doubt(d) => self.doubts.push((at, d.clone())),
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
        Desk::Unproven(s)
        | Desk::Signature(s)
        | Desk::Uncountersigned(s)
        | Desk::Countersigned(s)
        | Desk::Outdated(s) => Some(s.of.id),
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
        Field::Photo(p) => [p.asset.clone()].into(),
        Field::Used(u) => std::iter::once(Asset::unit(&u.unit))
            .chain(u.cylinders.iter().map(|n| Asset::cylinder(n)))
            .collect(),
        // It is about a rig: two versions of it must not pull every unit there.
        Field::RigAccepted(_) => BTreeSet::new(),
        Field::Unknown { asset, .. } => asset.iter().cloned().collect(),
    }
}

/// Where a field record comes from.
#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
    /// Its name.
    pub name: RecordRef,
    /// Its time.
    pub at: Millis,
    /// Who signed it.
    pub by: Option<&'a String>,
}

impl<'a> From<&'a Record> for Source<'a> {
    fn from(record: &'a Record) -> Self {
        Self { name: record.name, at: record.envelope.time(), by: record.envelope.by.as_ref() }
    }
}

/// The ground that several variants of one record raise on an asset.
pub fn contested_raise<'a>(asset: &Asset, one: impl Into<Source<'a>>) -> Raise {
    let one = one.into();
    word_raise(
        asset,
        Kind::Contested,
        format!("contested/{}/{asset}", one.name.id),
        one,
        "two versions of one record were handed in".to_owned(),
    )
}

/// The ground that a doubt raises on an asset.
pub fn doubted_raise<'a>(asset: &Asset, of: impl Into<Source<'a>>, why: &str) -> Raise {
    let of = of.into();
    word_raise(asset, Kind::Doubted, format!("doubted/{}/{asset}", of.name.digest), of, why.to_owned())
}

fn word_raise(asset: &Asset, kind: Kind, key: String, of: Source<'_>, say: String) -> Raise {
    Raise {
        asset: asset.clone(),
        key,
        kind,
        from: of.name,
        run: None,
        step: None,
        item: None,
        at: of.at,
        by: of.by.cloned(),
        say,
        entered: String::new(),
        limit: String::new(),
        basis: String::new(),
        on: None,
    }
}
