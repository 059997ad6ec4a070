//! A rig's seats: which are open, and which spare would fill one.

use airmuster_domain::standing::State;

use super::fleet::{Fleet, UnitFacts};
use crate::store::SeatRow;

/// A spare that would fill an open seat.
#[derive(Debug, Clone)]
pub struct Filling<'a> {
    /// The open seat.
    pub seat: &'a SeatRow,
    /// What is in it now.
    pub now: Option<&'a UnitFacts>,
    /// The spare.
    pub spare: &'a UnitFacts,
}

/// The first open seat of a rig that a spare can fill: the most important seat, the nearest
/// spare.
pub fn filling<'a>(fleet: &'a Fleet, rig: &str) -> Option<Filling<'a>> {
    let seats = fleet.seats.iter().filter(|s| s.rig == rig && !s.kit);
    seats.filter(|s| open(fleet, s)).find_map(|seat| {
        let now = fleet.in_seat(seat);
        // An empty seat takes what the other seats of its rig have.
        let profile = now.map(|u| &u.row.profile).or_else(|| {
            let others = fleet.seats.iter().filter(|s| s.rig == rig && !s.kit);
            others.filter_map(|s| fleet.in_seat(s)).map(|u| &u.row.profile).next()
        })?;
        let fits = |u: &&UnitFacts| fits(u, profile);
        let near = fleet.spares_of(&seat.station).find(fits);
        let far = || {
            let others = fleet.stations.iter().filter(|s| s.id != seat.station);
            others.flat_map(|s| fleet.spares_of(&s.id)).find(fits)
        };
        near.or_else(far).map(|spare| Filling { seat, now, spare })
    })
}

/// Whether a seat needs another unit: what is due or to be put right, the crew does on the spot.
fn open(fleet: &Fleet, seat: &SeatRow) -> bool {
    fleet.in_seat(seat).is_none_or(|u| u.standing.state > State::PutRight)
}

/// Whether a unit may ride, and is of this kind.
fn fits(unit: &UnitFacts, profile: &str) -> bool {
    unit.standing.state == State::InService && unit.row.profile == *profile
}
