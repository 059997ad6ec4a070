//! The bench: open tickets in the order in which to take them, and what hangs on each.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::bench::{Job, Placed, Stake, order};
use airmuster_domain::desk::Signer;
use airmuster_domain::record::{Asset, AssetKind, Place};
use airmuster_domain::role::Role;
use airmuster_domain::standing::{Standing, State};
use airmuster_domain::upkeep::Upkeep;

use super::fleet::Fleet;
use super::ticket::Shares;
use crate::store::{Repeated, Store, StoreError, Ticket};

/// The technician's queue at one moment.
#[derive(Debug, Clone)]
pub struct Bench {
    /// All units, places and names.
    pub fleet: Arc<Fleet>,
    /// Open tickets, first first.
    pub queue: Vec<Placed>,
    /// Tickets that are worked on under another one, by that one.
    pub joined: BTreeMap<u64, Vec<Ticket>>,
    /// The tickets of the queue.
    pub tickets: BTreeMap<u64, Ticket>,
    /// Which ticket of a thing has which of its grounds.
    pub shares: HashMap<Asset, Shares>,
    /// All members, as far as authority goes.
    pub signers: Vec<Signer>,
    /// What is known of upkeep.
    pub upkeep: Arc<Upkeep>,
    /// Found a third time in ninety days, or more often, the last first.
    pub repeated: Vec<Repeated>,
    homes: Homes,
    /// How each of their things stands, and where it is.
    things: HashMap<Asset, (Standing, Option<Place>)>,
}

/// Days within which the same finding a third time goes to the administrator.
pub const REPEATED_WITHIN: i64 = 90;

/// The moment so many days before now from which repeated findings count.
pub fn repeated_since(now: Millis) -> Millis {
    now.saturating_sub(REPEATED_WITHIN * 86_400_000)
}

impl Bench {
    /// Gathers the facts and puts the jobs in order.
    pub async fn load(store: &Store, now: Millis) -> Result<Self, StoreError> {
        let fleet = Fleet::load(store, now).await?;
        let tickets = store.open_tickets().await?;
        let (mut things, mut shares) = (HashMap::new(), HashMap::new());
        for t in &tickets {
            let standing = match fleet.units.get(&t.asset.number).filter(|_| t.asset.kind == AssetKind::Unit)
            {
                Some(unit) => unit.standing.clone(),
                None => store.standing(&t.asset, &fleet.department.clock, now).await?,
            };
            things.insert(t.asset.clone(), (standing, store.place(&t.asset).await?));
            if !shares.contains_key(&t.asset) {
                shares.insert(t.asset.clone(), Shares::load(store, &t.asset).await?);
            }
        }
        let homes = store.homes().await?;
        let mut joined: BTreeMap<u64, Vec<Ticket>> = BTreeMap::new();
        let (under, tickets): (Vec<_>, Vec<_>) = tickets.into_iter().partition(|t| t.under.is_some());
        for t in under {
            joined.entry(t.under.unwrap_or_default()).or_default().push(t);
        }
        let jobs = tickets.iter().map(|t| job(&fleet, t.clone(), &things, &homes)).collect();
        Ok(Self {
            queue: order(jobs),
            joined,
            tickets: tickets.into_iter().map(|t| (t.ticket, t)).collect(),
            shares,
            signers: store.signers().await?,
            upkeep: store.upkeep().await?,
            repeated: store.repeated(repeated_since(now)).await?,
            fleet,
            homes,
            things,
        })
    }

    /// How the thing of a ticket stands.
    pub fn standing(&self, asset: &Asset) -> Option<&Standing> {
        self.things.get(asset).map(|(s, _)| s)
    }

    /// Where the thing of a ticket is.
    pub fn place(&self, asset: &Asset) -> Option<&Place> {
        self.things.get(asset).and_then(|(_, p)| p.as_ref())
    }

    /// Where it belongs: the last place on a rig or at a station that it had.
    pub fn home(&self, asset: &Asset) -> Option<&Place> {
        self.homes.get(&asset.to_string())
    }

    /// Whether a member is a technician qualified for the thing of a ticket today.
    pub fn may_return(&self, member: &str, asset: &Asset) -> bool {
        let Some(signer) = self.signers.iter().find(|s| s.id == member) else { return false };
        if !signer.roles.contains(&Role::Technician) {
            return false;
        }
        if asset.kind != AssetKind::Unit {
            return true;
        }
        let unit = self.fleet.units.get(&asset.number);
        let Some(profile) = unit.and_then(|u| self.fleet.profile(&u.row.profile)) else { return false };
        let today = self.fleet.department.clock.local(self.fleet.now).date_naive();
        signer.qualified.contains(&profile.family)
            && self.upkeep.unqualified(member, &profile.family, today).is_none()
    }

    /// A ticket's place in the queue, from 1, with its job.
    pub fn find(&self, ticket: u64) -> Option<(usize, &Placed)> {
        self.queue.iter().enumerate().find(|(_, p)| p.job.ticket == ticket).map(|(i, p)| (i + 1, p))
    }
}

type Homes = BTreeMap<String, Place>;

fn job(fleet: &Fleet, t: Ticket, things: &HashMap<Asset, (Standing, Option<Place>)>, homes: &Homes) -> Job {
    let place = things.get(&t.asset).and_then(|(_, p)| p.as_ref());
    // What hangs on a facepiece or cylinder is what hangs on the unit that it is with.
    let unit = match place {
        Some(Place::With { unit }) => Some(unit.as_str()),
        _ if t.asset.kind == AssetKind::Unit => Some(t.asset.number.as_str()),
        _ => None,
    };
    let state = |asset: &Asset| things.get(asset).map(|(s, _)| s.state);
    let on_held =
        unit.and_then(|unit| fleet.units.get(unit)).is_some_and(|u| u.standing.state == State::Held);
    Job {
        held: on_held || state(&t.asset) == Some(State::Held),
        ticket: t.ticket,
        stake: unit.map_or(Stake::Nothing, |unit| stake(fleet, unit, homes)),
        asset: t.asset,
        opened: t.opened_at,
        stage: t.stage,
    }
}

fn stake(fleet: &Fleet, unit: &str, homes: &Homes) -> Stake {
    let Some(facts) = fleet.units.get(unit) else {
        return Stake::Nothing;
    };
    if facts.standing.state == State::InService {
        return Stake::Nothing;
    }
    if matches!(facts.row.place, Some(Place::Seat { .. })) {
        return Stake::SeatOpen { seat: fleet.place_words(&facts.row) };
    }
    // On the bench it still holds the seat that it came from, while nothing else is in it.
    let home = homes.get(&Asset::unit(unit).to_string());
    if let Some(Place::Seat { seat }) = home
        && fleet.seats.iter().any(|s| s.seat == *seat && s.asset.is_none())
    {
        return Stake::SeatOpen { seat: fleet.words_of(&Place::Seat { seat: seat.clone() }) };
    }
    let station = match (fleet.station_of(&facts.row), home) {
        (Some(station), _) => Some(station),
        (None, Some(place)) => fleet.station_at(place),
        (None, None) => None,
    };
    match station {
        Some(home) if fleet.spares_of(&home.id).all(|s| s.standing.state != State::InService) => {
            Stake::LastSpare { station: home.name.clone() }
        }
        _ => Stake::Nothing,
    }
}
