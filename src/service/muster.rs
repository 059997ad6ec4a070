//! Everything that an officer's pages weigh at one moment: units, seats, who rides them, and what
//! is known of each rider. Gathered in a few queries; `airmuster_domain::readiness` decides.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

use airmuster_domain::Millis;
use airmuster_domain::quantity::Amount;
use airmuster_domain::readiness::{
    self, Apparatus, FitTest, Known, Lack, Readiness, Rider, Seated as On, Teams, Wearer, fit_until, seat,
    teams,
};
use airmuster_domain::readings::IDENTIFICATION;
use airmuster_domain::record::{Asked, Asset, Reviewed, RigAccepted};
use airmuster_domain::shift::Rotation;
use airmuster_domain::standing::State;
use airmuster_domain::swap::Plan;
use chrono::NaiveDate;

use super::fleet::{Fleet, UnitFacts, recharge_level};
use crate::store::{Acceptance, CheckRow, Gear, Identification, RigRow, SeatRow, Seated, Store, StoreError};

const MINUTE: Millis = 60_000;
const HOUR: Millis = 60 * MINUTE;

/// A roster is kept for a rig where one was entered within this time.
const KEPT: Millis = 30 * 24 * 60 * 60_000;

/// The crew that is proposed is looked for in so many shifts before.
const LOOKED_BACK: i64 = 12;

/// Everything at one moment.
#[derive(Debug, Clone)]
pub struct Muster {
    /// Units, seats, stations.
    pub fleet: Arc<Fleet>,
    /// When the shift began, or will begin: the running one, unless [`Muster::in_shift`] was asked.
    pub shift: Millis,
    /// The day in the department's zone.
    pub today: NaiveDate,
    /// Rigs, in order.
    pub rigs: Vec<RigRow>,
    /// Whose turn it is.
    pub rotation: Rotation,
    /// Minutes between stations.
    pub drives: BTreeMap<(String, String), u32>,
    crews: BTreeMap<String, Seated>,
    rostered: BTreeSet<String>,
    gear: BTreeMap<String, Gear>,
    riders: BTreeMap<String, Rider>,
    levels: BTreeMap<String, Amount>,
    /// What the department asks of wearer identification, and whom alarms know.
    asked: Identification,
    identified: BTreeMap<String, Known>,
    /// The swap plan for all open seats, once a page has asked for it.
    pub(super) planned: OnceLock<Plan>,
}

/// How a rig is manned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Manned {
    /// It answers no calls.
    Not,
    /// No roster is kept for it.
    NoRoster,
    /// A roster is kept, but none was entered for this shift yet.
    NotEntered,
    /// The crew of this shift.
    By(usize),
}

impl Muster {
    /// How it all is, to the second.
    pub async fn load(store: &Store, now: Millis) -> Result<Arc<Self>, StoreError> {
        store.kept(now, Box::pin(Self::read(store, now))).await
    }

    async fn read(store: &Store, now: Millis) -> Result<Self, StoreError> {
        let fleet = Fleet::load(store, now).await?;
        let clock = &fleet.department.clock;
        let shift = clock.current_start(now);
        let mut levels = BTreeMap::new();
        if let Some(table) = &fleet.table {
            let level = recharge_level(table);
            for (name, profile) in &table.profiles {
                levels.extend(level.map(|l| (name.clone(), l.amount(profile.rated))));
            }
        }
        let asked = store.identification().await?;
        let mut identified = BTreeMap::new();
        if asked.asked != Asked::No {
            for (unit, member, at) in store.identified().await? {
                let until = at.saturating_add(i64::from(asked.hours) * HOUR);
                identified.insert(unit, Known { member, at, until });
            }
        }
        Ok(Self {
            asked,
            identified,
            shift,
            today: clock.local(now).date_naive(),
            rigs: store.rigs().await?,
            rotation: store.rotation().await?,
            drives: store.drives().await?,
            crews: store.crews(shift).await?,
            rostered: store.rostered(now - KEPT).await?,
            gear: store.gear().await?,
            riders: riders(store).await?,
            levels,
            planned: OnceLock::new(),
            fleet,
        })
    }

    /// The shifts for which a crew can be entered and a rig accepted: the one that runs and, once checks
    /// count for it, the next.
    pub fn shifts(&self) -> Vec<Millis> {
        let clock = &self.fleet.department.clock;
        let running = clock.current_start(self.fleet.now);
        let early = Millis::from(clock.early_minutes) * MINUTE;
        let next = clock.next_start(self.fleet.now);
        let mut out = vec![running];
        out.extend((next - early <= self.fleet.now).then_some(next));
        out
    }

    /// The same with the crews of another shift.
    pub async fn in_shift(self: &Arc<Self>, store: &Store, shift: Millis) -> Result<Arc<Self>, StoreError> {
        if shift == self.shift {
            return Ok(Arc::clone(self));
        }
        let crews = store.crews(shift).await?;
        Ok(Arc::new(Self { shift, crews, planned: OnceLock::new(), ..Self::clone(self) }))
    }

    /// A rig.
    pub fn rig(&self, id: &str) -> Option<&RigRow> {
        self.rigs.iter().find(|r| r.id == id)
    }

    /// A rig's places, in order.
    pub fn places<'a>(&'a self, rig: &'a str) -> impl Iterator<Item = &'a SeatRow> {
        self.fleet.seats.iter().filter(move |s| s.rig == rig)
    }

    /// The crew of a rig in this shift, where one was entered.
    pub fn crew(&self, rig: &str) -> Option<&Seated> {
        self.crews.get(rig)
    }

    /// Whether its units are counted and not its seats: it answers no calls, or nobody rides it.
    pub fn aside(&self, rig: &RigRow) -> bool {
        matches!(self.manned(rig), Manned::Not | Manned::By(0))
    }

    /// How a rig is manned.
    pub fn manned(&self, rig: &RigRow) -> Manned {
        match self.crews.get(&rig.id) {
            _ if !rig.duty.rides() => Manned::Not,
            Some(crew) => Manned::By(crew.len()),
            None if self.rostered.contains(&rig.id) => Manned::NotEntered,
            None => Manned::NoRoster,
        }
    }

    /// The platoon on duty.
    pub fn platoon(&self) -> Option<&str> {
        self.rotation.platoon(&self.fleet.department.clock, self.shift)
    }

    /// The platoon that rides a rig in this shift; none where the rig takes no turns.
    pub fn platoon_of(&self, rig: &str) -> Option<&str> {
        self.platoon().filter(|_| !self.rotation.apart.contains(rig))
    }

    /// Members who have lately ridden this rig, or with its platoon at its station.
    pub async fn mates(&self, store: &Store, rig: &str) -> Result<BTreeSet<String>, StoreError> {
        let clock = &self.fleet.department.clock;
        let platoon = self.platoon_of(rig);
        let station = self.rig(rig).map(|r| r.station.as_str());
        let ridden = store.ridden_since(clock.current_start(self.fleet.now - KEPT)).await?;
        let mut out = BTreeSet::new();
        for (other, shifts) in &ridden.rigs {
            let near = self.rig(other).is_some_and(|r| Some(r.station.as_str()) == station);
            if other != rig && !(platoon.is_some() && near && self.platoon_of(other).is_some()) {
                continue;
            }
            let ours = |shift: Millis| platoon.is_none() || self.rotation.platoon(clock, shift) == platoon;
            let members = shifts.iter().filter(|(shift, _)| ours(**shift)).flat_map(|(_, members)| members);
            out.extend(members.map(ToString::to_string));
        }
        Ok(out)
    }

    /// Who sits there.
    pub fn member(&self, place: &SeatRow) -> Option<&str> {
        self.crews.get(&place.rig)?.get(&place.seat).map(String::as_str)
    }

    /// What is known of a member; of one of whom nothing was entered, nothing.
    pub fn rider(&self, member: &str) -> Rider {
        let unknown = || Rider { member: member.to_owned(), ..Rider::default() };
        self.riders.get(member).cloned().unwrap_or_else(unknown)
    }

    /// What goes with a unit.
    pub fn gear(&self, unit: &str) -> Option<&Gear> {
        self.gear.get(unit)
    }

    /// Whom a unit's alarm knows, where the department asks and its profile has it.
    pub fn identification(&self, unit: &UnitFacts) -> Option<readiness::Identification> {
        let has = self.fleet.profile(&unit.row.profile).is_some_and(|p| p.fitted.contains(IDENTIFICATION));
        (has && self.asked.asked != Asked::No).then(|| readiness::Identification {
            needed: self.asked.asked == Asked::Needed,
            known: self.identified.get(&unit.row.number).cloned(),
        })
    }

    /// A unit as far as readiness goes.
    pub fn apparatus(&self, unit: &UnitFacts) -> Apparatus {
        let gear = self.gear.get(&unit.row.number);
        Apparatus {
            state: unit.standing.state,
            until: unit.standing.until,
            cylinder: gear.is_some_and(|g| g.cylinder.is_some()),
            read: unit.last_known().and_then(CheckRow::last_pressure),
            above: self.levels.get(&unit.row.profile).copied(),
            facepiece: gear.and_then(|g| g.facepiece.as_ref()).map(|(_, kind)| kind.clone()),
            identification: self.identification(unit),
        }
    }

    /// Whether a place is ready: a seat with who sits there, a kit by what is in it.
    pub fn readiness(&self, place: &SeatRow) -> Readiness {
        self.weighed(place, |rider| rider)
    }

    /// As [`Muster::readiness`], as if every member were cleared: what is shown where nobody need be signed in
    /// to see who sits there.
    pub fn but_for_clearance(&self, place: &SeatRow) -> Readiness {
        self.weighed(place, |rider| Rider { cleared: Some(true), ..rider })
    }

    fn weighed(&self, place: &SeatRow, known: impl FnOnce(Rider) -> Rider) -> Readiness {
        let clock = &self.fleet.department.clock;
        if let Some(unit) = self.fleet.in_seat(place) {
            let rider = self.member(place).map(|m| known(self.rider(m)));
            let on = match &rider {
                _ if place.kit => On::NotEntered,
                Some(rider) => On::By(rider),
                // A rig that nobody rides is told as unstaffed, once and not seat by seat.
                None if self.crew(&place.rig).is_some_and(|crew| !crew.is_empty()) => On::Nobody,
                None => On::NotEntered,
            };
            return seat(Some(&self.apparatus(unit)), on, clock, self.fleet.now, self.today);
        }
        if let Some(ready) = self.fleet.spare_ready(place) {
            return ready;
        }
        match self.fleet.standing_in(place).map(|s| s.state) {
            None => seat(None, On::NotEntered, clock, self.fleet.now, self.today),
            // Nothing stands against it, and nobody has read it.
            Some(State::InService) => Readiness { lacks: vec![Lack::NotRead], due_by: None },
            Some(state) => Readiness { lacks: vec![Lack::Standing(state)], due_by: None },
        }
    }

    /// As [`Muster::readiness`], of an empty seat too saying what whoever sits there lacks.
    pub fn if_filled(&self, place: &SeatRow) -> Readiness {
        let mut readiness = self.readiness(place);
        if self.fleet.in_seat(place).is_none() && readiness.lacks == [Lack::Empty] {
            let crew = self.crew(&place.rig).filter(|crew| !crew.is_empty());
            match (self.member(place).map(|m| self.rider(m).cleared), crew) {
                (Some(Some(true)), _) | (None, None) => {}
                (Some(Some(false)), _) => readiness.lacks.push(Lack::NotCleared),
                (Some(None), _) => readiness.lacks.push(Lack::ClearanceUnknown),
                (None, Some(_)) => readiness.lacks.push(Lack::Nobody),
            }
        }
        readiness
    }

    /// The teams that the ready members of these stations can field; of all, without any.
    pub fn teams(&self, station: Option<&str>) -> Teams {
        let mut ready = Vec::new();
        for rig in self.rigs.iter().filter(|r| r.duty.rides() && station.is_none_or(|s| r.station == s)) {
            for place in self.places(&rig.id).filter(|p| !p.kit && self.readiness(p).ready()) {
                if let (Some(member), Some(unit)) = (self.member(place), self.fleet.in_seat(place)) {
                    ready.push(Wearer {
                        member: member.to_owned(),
                        unit: unit.row.number.clone(),
                        profile: unit.row.profile.clone(),
                        rig: rig.name.clone(),
                    });
                }
            }
        }
        teams(&ready)
    }

    /// A rig's places as an acceptance writes them down.
    pub fn reviewed(&self, rig: &str) -> Vec<Reviewed> {
        self.places(rig).map(|p| self.as_reviewed(p, &self.readiness(p))).collect()
    }

    /// The same, whatever is known of clearances.
    pub fn reviewed_but_for_clearance(&self, rig: &str) -> Vec<Reviewed> {
        self.places(rig).map(|p| self.as_reviewed(p, &self.but_for_clearance(p))).collect()
    }

    fn as_reviewed(&self, place: &SeatRow, readiness: &Readiness) -> Reviewed {
        Reviewed {
            seat: place.seat.clone(),
            asset: place.asset.as_ref().and_then(|a| a.parse::<Asset>().ok()),
            member: self.member(place).map(str::to_owned),
            ready: readiness.ready(),
            word: None,
        }
    }

    /// The acceptance of a rig in this shift, if an officer signed it, and the names of the places
    /// that are not as they were then.
    pub async fn accepted(
        &self,
        store: &Store,
        rig: &str,
    ) -> Result<Option<(Acceptance, Vec<String>)>, StoreError> {
        self.accepted_by(store, rig, |a| {
            a.changed(&self.reviewed(rig)).into_iter().map(str::to_owned).collect()
        })
        .await
    }

    /// The same for a tablet to keep. Of a place with the same unit and member only that it is no longer ready
    /// is told there: that it became so may be a clearance.
    pub async fn accepted_but_for_clearance(
        &self,
        store: &Store,
        rig: &str,
    ) -> Result<Option<(Acceptance, Vec<String>)>, StoreError> {
        let now = self.reviewed_but_for_clearance(rig);
        let better = |a: &RigAccepted, n: &Reviewed| {
            n.ready
                && a.places.iter().any(|p| (&p.seat, &p.asset, &p.member) == (&n.seat, &n.asset, &n.member))
        };
        let changed = |a: &RigAccepted| {
            let told: Vec<Reviewed> = now.iter().filter(|n| !better(a, n)).cloned().collect();
            a.changed(&told).into_iter().map(str::to_owned).collect()
        };
        self.accepted_by(store, rig, changed).await
    }

    async fn accepted_by(
        &self,
        store: &Store,
        rig: &str,
        changed: impl FnOnce(&RigAccepted) -> Vec<String>,
    ) -> Result<Option<(Acceptance, Vec<String>)>, StoreError> {
        use airmuster_domain::role::Role;
        let Some(acceptance) = store.acceptance(rig, self.shift).await? else { return Ok(None) };
        let signer = match &acceptance.by {
            Some(by) => store.signer(by).await?,
            None => None,
        };
        if !signer.is_some_and(|s| s.roles.contains(&Role::Officer)) {
            return Ok(None);
        }
        let name = |seat: &String| self.places(rig).find(|p| p.seat == *seat).map(|p| p.name.clone());
        let changed = changed(&acceptance.body).iter().filter_map(name).collect();
        Ok(Some((acceptance, changed)))
    }

    /// Who is proposed for a rig: its last crew from a shift of the platoon that is on then, without
    /// whoever rides another rig already; where it takes no turns, its last crew.
    pub async fn proposed(&self, store: &Store, rig: &str) -> Result<Seated, StoreError> {
        let clock = &self.fleet.department.clock;
        let mut before = store.crews_before(rig, self.shift, LOOKED_BACK).await?;
        if let Some(platoon) = self.platoon_of(rig) {
            before.retain(|(shift, _)| self.rotation.platoon(clock, *shift) == Some(platoon));
        }
        let mut seats = before.into_iter().next().map(|(_, seats)| seats).unwrap_or_default();
        let others = self.crews.iter().filter(|(other, _)| *other != rig);
        let elsewhere: BTreeSet<&String> = others.flat_map(|(_, seats)| seats.values()).collect();
        seats.retain(|_, member| !elsewhere.contains(member));
        Ok(seats)
    }
}

async fn riders(store: &Store) -> Result<BTreeMap<String, Rider>, StoreError> {
    let mut out: BTreeMap<String, Rider> = BTreeMap::new();
    let mut of = |member: &str, change: &dyn Fn(&mut Rider)| {
        let empty = || Rider { member: member.to_owned(), ..Rider::default() };
        change(out.entry(member.to_owned()).or_insert_with(empty));
    };
    for f in store.fit_tests().await? {
        let fit = FitTest { kind: f.kind, until: fit_until(f.tested) };
        of(&f.member, &|r| r.fits.push(fit.clone()));
    }
    for c in store.clearances().await? {
        of(&c.member, &|r| r.cleared = Some(c.cleared));
    }
    Ok(out)
}
