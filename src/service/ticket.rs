//! A ticket with everything that deciding about it needs.

use std::collections::BTreeSet;
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::desk::Signer;
use airmuster_domain::ground::{Done, Raise, effects};
use airmuster_domain::proving::narrowed;
use airmuster_domain::record::{Asset, AssetKind, Place};
use airmuster_domain::role::Role;
use airmuster_domain::rules::{Purpose, resolve};
use airmuster_domain::standing::{Ground, Standing};
use airmuster_domain::upkeep::Upkeep;

use super::bench::Bench;
use super::history::{Event, events};
use super::unit::DRAWN;
use crate::store::{CheckRow, Kept, Store, StoreError, Ticket, UnitRow, With};

/// How many records are listed.
const LISTED: i64 = 60;

/// A repair job.
#[derive(Debug, Clone)]
pub struct JobFile {
    /// The bench that it stands in.
    pub bench: Bench,
    /// The ticket.
    pub ticket: Ticket,
    /// How its thing stands.
    pub standing: Standing,
    /// The unit: itself, or the one that it is with.
    pub unit: Option<UnitRow>,
    /// What is with the unit.
    pub with: With,
    /// The unit's last checks, newest first.
    pub checks: Vec<CheckRow>,
    /// What happened to the thing, newest first.
    pub events: Vec<Event>,
    /// What happened on the ticket, oldest first.
    pub entries: Vec<Kept>,
    /// The proving check of the thing since the ticket was opened that proves most: all that is open, everything
    /// asked, or the last one.
    pub proof: Option<Done>,
    /// All members.
    pub signers: Vec<Signer>,
    /// What is known of upkeep.
    pub upkeep: Arc<Upkeep>,
    /// Which ticket has which of the grounds.
    pub shares: Shares,
    /// Tickets that are worked on under this one.
    pub joined: Vec<Ticket>,
}

/// Which open ticket of a thing has which of its grounds.
#[derive(Debug, Clone, Default)]
pub struct Shares {
    open: Vec<u64>,
    split: Vec<(String, u64)>,
}

impl Shares {
    /// Reads it.
    pub async fn load(store: &Store, asset: &Asset) -> Result<Self, StoreError> {
        let tickets = store.tickets_of(asset).await?;
        let mut open: Vec<u64> = tickets.iter().filter(|t| !t.stage.is_closed()).map(|t| t.ticket).collect();
        open.sort_unstable();
        let split = if open.len() > 1 { store.split_off(asset).await? } else { Vec::new() };
        Ok(Self { open, split })
    }

    /// Whether a ground is a ticket's: the first open one has all that no other open one was given.
    pub fn has(&self, ticket: u64, key: &str) -> bool {
        let given = self.split.iter().find(|(k, n)| k == key && self.open.contains(n)).map(|(_, n)| *n);
        given.or(self.open.first().copied()).is_none_or(|n| n == ticket)
    }
}

impl JobFile {
    /// Gathers it. `None` when there is no such ticket.
    pub async fn load(store: &Store, now: Millis, number: u64) -> Result<Option<Self>, StoreError> {
        let Some(ticket) = store.ticket(number).await? else {
            return Ok(None);
        };
        let bench = Bench::load(store, now).await?;
        let asset = &ticket.asset;
        let place = store.place(asset).await?;
        let unit = match (&place, asset.kind) {
            (_, AssetKind::Unit) => store.unit(&asset.number).await?,
            (Some(Place::With { unit }), _) => store.unit(unit).await?,
            _ => None,
        };
        let checks = match &unit {
            Some(unit) => store.checks_of(&unit.number, DRAWN).await?,
            None => Vec::new(),
        };
        let events = events(store, asset, LISTED).await?;
        let mut file = Self {
            standing: store.standing(asset, &bench.fleet.department.clock, now).await?,
            with: match &unit {
                Some(unit) => store.with(&unit.number).await?,
                None => With::default(),
            },
            entries: store.ticket_entries(number).await?,
            proof: None,
            events,
            signers: store.signers().await?,
            upkeep: store.upkeep().await?,
            shares: Shares::load(store, asset).await?,
            joined: store.open_tickets().await?.into_iter().filter(|t| t.under == Some(number)).collect(),
            bench,
            unit,
            checks,
            ticket,
        };
        file.proof = file.proof(store);
        Ok(Some(file))
    }

    /// The qualification that its unit asks for; a facepiece or cylinder asks for none.
    pub fn family(&self) -> Option<&str> {
        if self.ticket.asset.kind != AssetKind::Unit {
            return None;
        }
        let profile = self.unit.as_ref().and_then(|u| self.bench.fleet.profile(&u.profile));
        // A unit whose profile is not known here has a family that nobody is qualified for.
        Some(profile.map_or("", |p| p.family.as_str()))
    }

    /// Since when a member's qualification for it no longer holds.
    pub fn lapsed(&self, signer: &Signer) -> Option<chrono::NaiveDate> {
        let fleet = &self.bench.fleet;
        let today = fleet.department.clock.local(fleet.now).date_naive();
        self.upkeep.unqualified(&signer.id, self.family()?, today)
    }

    /// Whether a member may return it.
    pub fn may_return(&self, signer: &Signer) -> bool {
        let holds = |f: &str| signer.qualified.contains(f) && self.lapsed(signer).is_none();
        signer.roles.contains(&Role::Technician) && self.family().is_none_or(holds)
    }

    /// Open grounds that a return clears.
    pub fn for_return(&self) -> impl Iterator<Item = &Raise> {
        self.own().map(|g| &g.raise).filter(|r| r.kind.terms().bench)
    }

    /// The steps whose failing is all that is open here, where a repair of them is proved without asking
    /// everything: with commas between, and how many steps that asks. `None`: everything is to be asked.
    pub fn narrow_proof(&self) -> Option<(String, usize)> {
        let profile = &self.unit.as_ref()?.profile;
        let steps: BTreeSet<&str> = self.for_return().map(|r| r.step.as_deref()).collect::<Option<_>>()?;
        let form = resolve(self.bench.fleet.table.as_ref()?, profile, Purpose::Proving).ok()?;
        let asked = narrowed(&form, steps.iter().copied())?.steps.len();
        Some((steps.into_iter().collect::<Vec<_>>().join(","), asked))
    }

    /// The proving check since the ticket was opened, among those that speak for its thing, that proves most.
    fn proof(&self, store: &Store) -> Option<Done> {
        let mut all: Vec<Done> = Vec::new();
        for e in self.events.iter().filter(|e| e.counts) {
            let Some(done) = effects(&e.kept.record, &mut *store.tables()).done else { continue };
            let for_it = done.unit == self.ticket.asset || done.with.contains(&self.ticket.asset);
            let proves = done.purpose == Purpose::Proving && (done.clean || !done.proved.is_empty());
            if for_it && proves && done.at >= self.ticket.opened_at {
                all.push(done);
            }
        }
        let all_open = |d: &Done| self.for_return().all(|r| barred(r, d).is_none());
        let best = all.iter().position(all_open).or_else(|| all.iter().position(|d| d.clean));
        (!all.is_empty()).then(|| all.swap_remove(best.unwrap_or(0)))
    }

    /// Open grounds that are this ticket's, or no ticket's at all.
    pub fn own(&self) -> impl Iterator<Item = &Ground> {
        let own =
            |g: &&Ground| !g.raise.kind.terms().bench || self.shares.has(self.ticket.ticket, &g.raise.key);
        self.standing.grounds.iter().filter(own)
    }
}

/// Why a ground cannot be returned with this proving check.
pub fn barred(raise: &Raise, proof: &Done) -> Option<&'static str> {
    if raise.at > proof.at {
        return Some("Raised after the proving check: prove it again.");
    }
    let why = if proof.clean {
        "The proving check has no good answer at this step: prove it again."
    } else {
        "The proving check does not answer everything: for this, prove everything."
    };
    (!proof.proves(raise)).then_some(why)
}

/// The thing that a ticket is about, in words: `Unit 130`, `Facepiece F-204`.
pub fn thing_words(asset: &Asset) -> String {
    let kind = match asset.kind {
        AssetKind::Unit => "Unit",
        AssetKind::Facepiece => "Facepiece",
        AssetKind::Cylinder => "Cylinder",
    };
    format!("{kind} {}", asset.number)
}
