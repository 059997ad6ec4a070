//! The facts that boards, rosters and benches have in common: every unit with its standing, its
//! last reading and its place. Gathered in a few queries; what they mean is decided elsewhere.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::record::{Asset, Place};
use airmuster_domain::rules::{Profile, Table};
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
    /// Stations in order.
    pub stations: Vec<Station>,
    /// Places on rigs, in order.
    pub seats: Vec<SeatRow>,
    /// Spares: station id and unit.
    pub spares: Vec<(String, Asset)>,
    /// Names by member id.
    pub names: HashMap<String, String>,
}

impl Fleet {
    /// Reads it all.
    pub async fn load(store: &Store, now: Millis) -> Result<Self, StoreError> {
        let department = store.department().await?;
        let mut standings = store.unit_standings(&department.clock, now).await?;
        let mut lasts = store.last_readings().await?;
        let mut units = BTreeMap::new();
        for row in store.units().await? {
            if let Some(standing) = standings.remove(&Asset::unit(&row.number)) {
                let last = lasts.remove(&row.number);
                units.insert(row.number.clone(), UnitFacts { row, standing, last });
            }
        }
        Ok(Self {
            now,
            table: table_in_force(store).await?,
            units,
            stations: store.stations().await?,
            seats: store.seats(None).await?,
            spares: store.spares(None).await?,
            names: store.names().await?,
            department,
        })
    }

    /// The unit in a seat.
    pub fn in_seat(&self, seat: &SeatRow) -> Option<&UnitFacts> {
        let number = seat.asset.as_deref()?.strip_prefix("unit:")?;
        self.units.get(number)
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
        match &unit.place {
            None => "not placed".to_owned(),
            Some(Place::Bench) => "on the bench".to_owned(),
            Some(Place::Repairer) => "at an outside repairer".to_owned(),
            Some(Place::With { unit }) => format!("with unit {unit}"),
            Some(Place::Spare { station }) => {
                let name =
                    self.stations.iter().find(|s| s.id == *station).map_or(station.as_str(), |s| &s.name);
                format!("spare at {name}")
            }
            Some(Place::Seat { seat }) => match self.seats.iter().find(|s| s.seat == *seat) {
                Some(s) => format!("{}, {}", s.rig_name, s.name.to_lowercase()),
                None => seat.clone(),
            },
        }
    }

    /// The station where a unit belongs, where it has one.
    pub fn station_of(&self, unit: &UnitRow) -> Option<&Station> {
        let id = match unit.place.as_ref()? {
            Place::Spare { station } => station,
            Place::Seat { seat } => &self.seats.iter().find(|s| s.seat == *seat)?.station,
            Place::With { .. } | Place::Bench | Place::Repairer => return None,
        };
        self.stations.iter().find(|s| s.id == *id)
    }

    /// Whether the unit in a seat may ride.
    pub fn seat_ready(&self, seat: &SeatRow) -> bool {
        self.in_seat(seat).is_some_and(|u| u.standing.state == State::InService)
    }
}

/// The rule table in force.
pub async fn table_in_force(store: &Store) -> Result<Option<Arc<Table>>, StoreError> {
    let digest = store.rules_in_force().await?;
    let tables = store.tables();
    let digest = digest.unwrap_or_else(|| tables.default_digest());
    Ok(tables.get(&digest).cloned())
}
