//! The facts that boards, rosters and benches have in common: every unit with its standing, its
//! last reading and its place. Gathered in a few queries; what they mean is decided elsewhere.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::ground::Kind;
use airmuster_domain::quantity::Limit;
use airmuster_domain::readiness::{Readiness, SpareCylinder, last_read, spare};
use airmuster_domain::record::{Asset, AssetKind, Cadence, Place};
use airmuster_domain::rules::{Kind as StepKind, Profile, Table};
use airmuster_domain::standing::{Standing, State};

use crate::store::{CheckRow, Department, SeatRow, Station, Store, StoreError, UnitRow};

/// A unit with everything that a line about it says.
#[derive(Debug, Clone)]
pub struct UnitFacts {
    /// As registered.
    pub row: UnitRow,
    /// How it stands.
    pub standing: Standing,
    /// Its last check with a reading.
    pub last: Option<CheckRow>,
}

impl UnitFacts {
    /// Its last check with a reading, unless it was used since: then nobody knows what its cylinder holds.
    pub fn last_known(&self) -> Option<&CheckRow> {
        let used =
            self.standing.grounds.iter().filter(|g| g.raise.kind == Kind::Used).map(|g| g.raise.at).max();
        self.last.as_ref().filter(|c| used.is_none_or(|used| c.at > used))
    }
}

/// Everything at one moment.
#[derive(Debug, Clone)]
pub struct Fleet {
    /// The department.
    pub department: Department,
    /// The moment.
    pub now: Millis,
    /// The rule table in force.
    pub table: Option<Arc<Table>>,
    /// Units by number.
    pub units: BTreeMap<String, UnitFacts>,
    /// Standings of what is in a place without being a unit: the cylinders of a rack.
    pub items: BTreeMap<String, Standing>,
    /// What is known of the cylinders among them.
    pub racked: BTreeMap<String, SpareCylinder>,
    /// Stations in order.
    pub stations: Vec<Station>,
    /// Places on rigs, in order.
    pub seats: Vec<SeatRow>,
    /// Spares: station id and unit.
    pub spares: Vec<(String, Asset)>,
    /// Units with a good check that waits for an officer's countersignature.
    pub awaited: BTreeSet<String>,
    /// Names by member id.
    pub names: HashMap<String, String>,
}

impl Fleet {
    /// How it all is, to the second.
    pub async fn load(store: &Store, now: Millis) -> Result<Arc<Self>, StoreError> {
        store.kept(now, Box::pin(Self::read(store, now))).await
    }

    async fn read(store: &Store, now: Millis) -> Result<Self, StoreError> {
        let department = store.department().await?;
        let rows = store.units().await?;
        let mut standings = store.standings_of(&rows, &department.clock, now).await?;
        let mut lasts = store.last_readings().await?;
        let mut units = BTreeMap::new();
        for row in rows {
            if let Some(standing) = standings.remove(&Asset::unit(&row.number)) {
                let last = lasts.remove(&row.number);
                units.insert(row.number.clone(), UnitFacts { row, standing, last });
            }
        }
        let seats = store.seats(None).await?;
        let table = table_in_force(store).await?;
        let cadences = store.cadences().await?;
        let (mut items, mut racked) = (BTreeMap::new(), BTreeMap::new());
        for seat in &seats {
            let Some(Ok(asset)) = seat.asset.as_ref().map(|a| a.parse::<Asset>()) else { continue };
            if asset.kind == AssetKind::Unit {
                continue;
            }
            let standing = store.standing(&asset, &department.clock, now).await?;
            if asset.kind == AssetKind::Cylinder {
                let place = Place::Seat { seat: seat.seat.clone() };
                let (cadence, _) = cadences.at(Some(&place), UNSAID);
                let level = table.as_deref().and_then(recharge_level);
                let cylinder = spare_cylinder(store, &asset, standing.state, cadence, level).await?;
                racked.insert(asset.to_string(), cylinder);
            }
            items.insert(asset.to_string(), standing);
        }
        Ok(Self {
            items,
            racked,
            now,
            table,
            units,
            stations: store.stations().await?,
            seats,
            spares: store.spares(None).await?,
            awaited: store.uncountersigned().await?.into_iter().filter(|c| c.clean).map(|c| c.unit).collect(),
            names: store.names().await?,
            department,
        })
    }

    /// The unit in a seat.
    pub fn in_seat(&self, seat: &SeatRow) -> Option<&UnitFacts> {
        let number = seat.asset.as_deref()?.strip_prefix("unit:")?;
        self.units.get(number)
    }

    /// How what is in a place stands, whatever it is.
    pub fn standing_in(&self, seat: &SeatRow) -> Option<&Standing> {
        match self.in_seat(seat) {
            Some(unit) => Some(&unit.standing),
            None => self.items.get(seat.asset.as_deref()?),
        }
    }

    /// Whether a cylinder that lies ready in a place is ready; none where no cylinder does.
    pub fn spare_ready(&self, seat: &SeatRow) -> Option<Readiness> {
        let cylinder = self.racked.get(seat.asset.as_deref()?)?;
        Some(spare(cylinder, &self.department.clock, self.now))
    }

    /// The spares of a station.
    pub fn spares_of(&self, station: &str) -> impl Iterator<Item = &UnitFacts> {
        self.spares.iter().filter(move |(s, _)| s == station).filter_map(|(_, a)| self.units.get(&a.number))
    }

    /// A profile of the table in force.
    pub fn profile(&self, name: &str) -> Option<&Profile> {
        self.table.as_ref()?.profiles.get(name)
    }

    /// What a member is called, or the id.
    pub fn name<'a>(&'a self, member: &'a str) -> &'a str {
        self.names.get(member).map_or(member, String::as_str)
    }

    /// Where a unit is, in words: `Engine 2, driver`.
    pub fn place_words(&self, unit: &UnitRow) -> String {
        unit.place.as_ref().map_or("not placed".to_owned(), |place| self.words_of(place))
    }

    /// A place in words.
    pub fn words_of(&self, place: &Place) -> String {
        match place {
            Place::Bench => "on the bench".to_owned(),
            Place::Repairer => "at an outside repairer".to_owned(),
            Place::Away => "with another department".to_owned(),
            Place::With { unit } => format!("with unit {unit}"),
            Place::Spare { station } => {
                let name =
                    self.stations.iter().find(|s| s.id == *station).map_or(station.as_str(), |s| &s.name);
                format!("spare at {name}")
            }
            Place::Seat { seat } => match self.seats.iter().find(|s| s.seat == *seat) {
                Some(s) => format!("{}, {}", s.rig_name, s.name.to_lowercase()),
                None => seat.clone(),
            },
        }
    }

    /// The station where a unit belongs, where it has one.
    pub fn station_of(&self, unit: &UnitRow) -> Option<&Station> {
        self.station_at(unit.place.as_ref()?)
    }

    /// The station of a place, where it has one.
    pub fn station_at(&self, place: &Place) -> Option<&Station> {
        let id = match place {
            Place::Spare { station } => station,
            Place::Seat { seat } => &self.seats.iter().find(|s| s.seat == *seat)?.station,
            Place::With { .. } | Place::Bench | Place::Repairer | Place::Away => return None,
        };
        self.stations.iter().find(|s| s.id == *id)
    }

    /// Whether a unit that still counts as checked is to be checked again in this shift.
    pub fn due_this_shift(&self, standing: &Standing) -> bool {
        standing.until.is_some_and(|until| until <= self.department.clock.next_start(self.now))
    }
}

/// A spare cylinder where nothing is said of its place or rig: 29 CFR 1910.134(h)(3)(iii) has
/// self-contained apparatus inspected monthly and its cylinders kept fully charged.
const UNSAID: Cadence = Cadence::Monthly;

/// The limit above which a cylinder's pressure must be, by a rule table.
pub fn recharge_level(table: &Table) -> Option<Limit> {
    table.steps.iter().find_map(|s| match &s.kind {
        StepKind::Reading { above, .. } => *above,
        _ => None,
    })
}

async fn spare_cylinder(
    store: &Store,
    asset: &Asset,
    state: State,
    cadence: Cadence,
    level: Option<Limit>,
) -> Result<SpareCylinder, StoreError> {
    let thing = store.thing(asset).await?;
    let mut happened = store.cylinder_in_use(&asset.number).await?;
    happened.extend(thing.filled.map(|f| (f.at, Some(f.pressure))));
    happened.extend(thing.read.map(|r| (r.at, Some(r.pressure))));
    let above = level.zip(thing.rated).map(|(level, rated)| level.amount(rated));
    Ok(SpareCylinder { state, read: last_read(&happened), above, cadence })
}

/// The rule table in force.
pub async fn table_in_force(store: &Store) -> Result<Option<Arc<Table>>, StoreError> {
    let digest = store.rules_in_force().await?;
    let tables = store.tables();
    let digest = digest.unwrap_or_else(|| tables.default_digest());
    Ok(tables.get(&digest).cloned())
}
