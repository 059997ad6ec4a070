//! Everything that a unit's page shows.

use std::collections::HashMap;
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::desk::lacks;
use airmuster_domain::ground::Kind;
use airmuster_domain::record::{Asset, Digest, RecordRef};
use airmuster_domain::rules::Profile;
use airmuster_domain::standing::Standing;
use airmuster_domain::upkeep::Upkeep;

use super::fleet::Fleet;
use super::history::{Event, events};
use crate::store::{CheckRow, Store, StoreError, Ticket, UnitRow};

/// How many checks are drawn one under the other.
pub const DRAWN: i64 = 24;
/// How many records are listed.
const LISTED: i64 = 60;

/// A unit with everything that is known of it.
#[derive(Debug, Clone)]
pub struct UnitFile {
    /// All units, places and names.
    pub fleet: Arc<Fleet>,
    /// Its number.
    pub number: String,
    /// As registered; none where only records speak of it.
    pub row: Option<UnitRow>,
    /// How it stands.
    pub standing: Standing,
    /// The facepiece and cylinder with it, and how they stand.
    pub with: Vec<Standing>,
    /// Its last checks, newest first.
    pub checks: Vec<CheckRow>,
    /// What happened to it, newest first.
    pub events: Vec<Event>,
    /// Its open ticket.
    pub ticket: Option<Ticket>,
    /// What is known of upkeep.
    pub upkeep: Arc<Upkeep>,
    /// What the register lacks before a new one can be accepted.
    pub lacks: Vec<String>,
    /// Where the records that its standing rests on are in the logbook.
    seqs: HashMap<Digest, i64>,
}

impl UnitFile {
    /// Gathers it. `None` when nothing is known of such a unit.
    pub async fn load(store: &Store, now: Millis, number: &str) -> Result<Option<Self>, StoreError> {
        let fleet = Fleet::load(store, now).await?;
        let asset = Asset::unit(number);
        let clock = &fleet.department.clock;
        let row = store.unit(number).await?;
        let events = events(store, &asset, LISTED).await?;
        if row.is_none() && events.is_empty() {
            return Ok(None);
        }
        let standing = store.standing(&asset, clock, now).await?;
        let on_it = store.with(number).await?;
        let mut with = Vec::new();
        let items =
            [on_it.cylinder.map(|n| Asset::cylinder(&n)), on_it.facepiece.map(|n| Asset::facepiece(&n))];
        for item in items.into_iter().flatten() {
            with.push(store.standing(&item, clock, now).await?);
        }
        let mut seqs = HashMap::new();
        let grounds = standing.grounds.iter().map(|g| g.raise.from);
        let rests_on: Vec<RecordRef> = grounds.chain(standing.last_check.as_ref().map(|c| c.name)).collect();
        for name in rests_on {
            if let Some(seq) = store.seq_of(&name).await? {
                seqs.insert(name.digest, seq);
            }
        }
        let ticket = store.tickets_of(&asset).await?.into_iter().rfind(|t| !t.stage.is_closed());
        let upkeep = store.upkeep().await?;
        let slots = row.as_ref().and_then(|r| fleet.profile(&r.profile)).map(Profile::slots);
        let new = standing.grounds.iter().any(|g| g.raise.kind == Kind::NotAccepted);
        let today = clock.local(now).date_naive();
        let lacks = if new { lacks(&asset, slots.as_deref(), &upkeep, today) } else { Vec::new() };
        Ok(Some(Self {
            upkeep,
            lacks,
            checks: store.checks_of(number, DRAWN).await?,
            number: number.to_owned(),
            fleet,
            row,
            standing,
            with,
            events,
            ticket,
            seqs,
        }))
    }

    /// Where a record that the standing rests on is in the logbook.
    pub fn seq(&self, name: &RecordRef) -> Option<i64> {
        self.seqs.get(&name.digest).copied()
    }

    /// Where it is, in words.
    pub fn place_words(&self) -> String {
        self.row.as_ref().map_or_else(|| "not in the register".to_owned(), |row| self.fleet.place_words(row))
    }

    /// What kind of unit it is, in words.
    pub fn profile_words(&self) -> String {
        let Some(row) = &self.row else {
            return "not in the register".to_owned();
        };
        self.fleet.profile(&row.profile).map_or_else(|| row.profile.clone(), |p| p.title.clone())
    }
}
