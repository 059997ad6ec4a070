//! Upkeep as the pages need it: the ledger of all things, and one thing with everything about it.

use std::collections::BTreeMap;
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::record::{Asset, AssetKind, Body, Desk, Place};
use airmuster_domain::standing::Standing;
use airmuster_domain::upkeep::{Of, Thing, Upkeep};
use chrono::NaiveDate;

use super::fleet::Fleet;
use super::history::{Event, events};
use super::ticket::thing_words;
use crate::store::{Kept, Store, StoreError};

/// How many records are listed.
const LISTED: i64 = 60;

/// Everything known of upkeep at one moment.
#[derive(Debug, Clone)]
pub struct Ledger {
    /// All units, places and names.
    pub fleet: Arc<Fleet>,
    /// What is known of upkeep.
    pub upkeep: Arc<Upkeep>,
    /// Today, by the department's clock.
    pub today: NaiveDate,
}

/// A unit, facepiece or cylinder with everything about its upkeep.
#[derive(Debug, Clone)]
pub struct ThingFile {
    /// Everything else.
    pub ledger: Ledger,
    /// What it is.
    pub asset: Asset,
    /// What is known of it.
    pub thing: Thing,
    /// Where it is.
    pub place: Option<Place>,
    /// How it stands.
    pub standing: Standing,
    /// What happened to it, newest first.
    pub events: Vec<Event>,
}

/// A cylinder whose air is in doubt, and where it went since it was filled.
#[derive(Debug, Clone)]
pub struct Doubtful {
    /// The cylinder.
    pub number: String,
    /// When it was first filled from the source since the last good sample.
    pub since: Millis,
    /// Checks that name it and uses of the units that it was in, newest first.
    pub uses: Vec<Kept>,
}

impl Ledger {
    /// Reads it all.
    pub async fn load(store: &Store, now: Millis) -> Result<Self, StoreError> {
        let fleet = Fleet::load(store, now).await?;
        let today = fleet.department.clock.local(now).date_naive();
        Ok(Self { upkeep: store.upkeep().await?, today, fleet })
    }

    /// What most cylinders here are rated for, to show how a pressure is written; both ways where
    /// there is none.
    pub fn pressure_like(&self) -> String {
        let mut counts: BTreeMap<String, usize> = BTreeMap::new();
        for rated in self.upkeep.things.values().filter(|t| !t.gone).filter_map(|t| t.rated) {
            *counts.entry(rated.to_string()).or_default() += 1;
        }
        let most = counts.into_iter().max_by_key(|(_, count)| *count);
        most.map_or_else(|| "4500 psi or 300 bar".to_owned(), |(rated, _)| rated)
    }

    /// What upkeep is done to, in words.
    pub fn words(&self, of: &Of) -> String {
        match of {
            Of::Asset(asset) => thing_words(asset),
            Of::Source(id) => self.upkeep.sources.get(id).map_or_else(|| id.clone(), |s| s.name.clone()),
            Of::Member(id, _) => self.fleet.name(id).to_owned(),
        }
    }

    /// All facepieces or cylinders with where they are and how they stand, by number.
    pub async fn all(
        &self,
        store: &Store,
        kind: AssetKind,
    ) -> Result<Vec<(Asset, Option<Place>, Standing)>, StoreError> {
        let clock = &self.fleet.department.clock;
        let mut items = store.items(kind, self.fleet.now).await?;
        let item = |asset: &Asset| {
            let item = items.remove(asset).unwrap_or_default();
            (asset.clone(), item.place.clone(), item.standing(asset, &self.upkeep, clock, self.fleet.now))
        };
        Ok(self.upkeep.things.keys().filter(|a| a.kind == kind).map(item).collect())
    }

    /// Cylinders whose air is in doubt because of a source, with their uses.
    pub async fn doubtful(&self, store: &Store, source: &str) -> Result<Vec<Doubtful>, StoreError> {
        let mut out = Vec::new();
        for (asset, thing) in &self.upkeep.things {
            let Some(bad) = thing.bad_air.as_ref().filter(|b| b.source == source) else { continue };
            out.push(Doubtful {
                number: asset.number.clone(),
                since: bad.since,
                uses: uses(store, asset, bad.since).await?,
            });
        }
        Ok(out)
    }
}

/// Checks since then that name a cylinder, and the uses of the units that they found it in.
async fn uses(store: &Store, cylinder: &Asset, since: Millis) -> Result<Vec<Kept>, StoreError> {
    use airmuster_domain::record::Field;
    let since = |k: &Kept| k.record.envelope.time() >= since;
    let mut out: Vec<Kept> = Vec::new();
    let mut units = std::collections::BTreeSet::new();
    for kept in store.history(cylinder, LISTED).await?.into_iter().filter(since) {
        match &kept.record.body {
            Body::Field(Field::Check(c)) => {
                units.insert(c.unit.clone());
                out.push(kept);
            }
            Body::Desk(Desk::Register(airmuster_domain::record::Register::Holder {
                place: Place::With { unit },
                ..
            })) => {
                units.insert(unit.clone());
            }
            _ => {}
        }
    }
    for unit in units {
        let history = store.history(&Asset::unit(&unit), LISTED).await?;
        let used = |k: &Kept| matches!(k.record.body, Body::Field(Field::Used(_)));
        out.extend(history.into_iter().filter(since).filter(used));
    }
    out.sort_by_key(|k| std::cmp::Reverse(k.record.envelope.time()));
    Ok(out)
}

impl ThingFile {
    /// Gathers it. `None` when nothing is known of such a thing.
    pub async fn load(store: &Store, now: Millis, asset: &Asset) -> Result<Option<Self>, StoreError> {
        let ledger = Ledger::load(store, now).await?;
        let Some(thing) = ledger.upkeep.things.get(asset).cloned() else {
            return Ok(None);
        };
        Ok(Some(Self {
            standing: store.standing(asset, &ledger.fleet.department.clock, now).await?,
            place: store.place(asset).await?,
            events: events(store, asset, LISTED).await?,
            asset: asset.clone(),
            thing,
            ledger,
        }))
    }
}
