//! One rig takes the place of another: what stands on it, its crew and its duty, in one go.

use std::collections::BTreeMap;

use airmuster_domain::Millis;
use airmuster_domain::record::{Crew, Duty, Move, Moved, Place, RigStatus};
use airmuster_domain::standing::State;

use super::muster::Muster;
use crate::store::{SeatRow, Seated};

/// What is written down for it, all of it or nothing.
#[derive(Debug, Clone)]
pub struct Takeover {
    /// What goes where, place by place in their order; what finds no free place stays.
    pub moved: Moved,
    /// A reserve rig answers the calls now, and the other one stands by.
    pub duties: Vec<RigStatus>,
    /// The crews of the shifts that run or can be entered: off the one rig first, then on the other.
    pub crews: Vec<Crew>,
}

/// Plans it. `crews` are those of both rigs, by shift. `Err` says why nothing can be moved.
pub fn everything(
    muster: &Muster,
    from: &str,
    to: &str,
    crews: &[(Millis, CrewsOf)],
) -> Result<Takeover, String> {
    let (Some(old), Some(new)) = (muster.rig(from), muster.rig(to)) else {
        return Err("Choose the rig that everything goes to.".to_owned());
    };
    let mut moves = Vec::new();
    let mut seats: BTreeMap<&str, &str> = BTreeMap::new();
    // A seat without a unit has none to move; whoever rides there still needs one, if one is left.
    let going = || crews.iter().filter(|(_, c)| !c.from.is_empty() && c.to.is_empty());
    let rides =
        |p: &&SeatRow| !p.kit && p.asset.is_none() && going().any(|(_, c)| c.from.contains_key(&p.seat));
    // What is held stays as it is, and what is retired goes nowhere.
    let may_go = |p: &&SeatRow| p.asset.as_deref().is_some_and(|asset| !is_stuck(muster, asset));
    let mut free: Vec<&SeatRow> = muster.places(to).filter(|p| p.asset.is_none()).collect();
    for place in muster.places(from).filter(may_go).chain(muster.places(from).filter(rides)) {
        let Some(nth) = free.iter().position(|goal| fits(muster, place, goal, &free)) else { continue };
        let goal = free.remove(nth);
        seats.insert(&place.seat, &goal.seat);
        if let Some(asset) = place.asset.as_ref().and_then(|a| a.parse().ok()) {
            moves.push(Move {
                asset,
                from: Some(Place::Seat { seat: place.seat.clone() }),
                to: Place::Seat { seat: goal.seat.clone() },
            });
        }
    }
    if moves.is_empty() {
        return Err(format!("Nothing on {} fits into a free place on {}.", old.name, new.name));
    }
    let why = format!("everything from {} to {}", old.name, new.name);
    let mut duties = Vec::new();
    if new.duty == Duty::Reserve {
        let status = |rig: &crate::store::RigRow, duty| RigStatus {
            rig: rig.id.clone(),
            station: rig.station.clone(),
            duty,
            why: String::new(),
        };
        duties.push(status(new, Duty::InUse));
        duties.extend((old.duty == Duty::InUse).then(|| status(old, Duty::Reserve)));
    }
    let mut written = Vec::new();
    for (shift, of) in going() {
        let crew = |rig: &str, seats| Crew { rig: rig.to_owned(), shift: *shift, seats };
        let (go, stay): (Vec<_>, Vec<_>) =
            of.from.iter().partition(|(seat, _)| seats.contains_key(seat.as_str()));
        let owned = |(seat, member): (&String, &String)| (seat.clone(), member.clone());
        let on = |(seat, member): (&String, &String)| {
            Some(((*seats.get(seat.as_str())?).to_owned(), member.clone()))
        };
        written.push(crew(from, stay.into_iter().map(owned).collect()));
        written.push(crew(to, go.into_iter().filter_map(on).collect()));
    }
    Ok(Takeover { moved: Moved { moves, why }, duties, crews: written })
}

fn is_stuck(muster: &Muster, asset: &str) -> bool {
    let unit = asset.strip_prefix("unit:").and_then(|number| muster.fleet.units.get(number));
    unit.is_some_and(|u| matches!(u.standing.state, State::Held | State::Retired))
}

/// Whether a free place is the one for what is in another: seats in their order, a kit in a place of its name
/// or, where there is none, in one that is no other kit's. A pack does not go into a rack for cylinders.
fn fits(muster: &Muster, place: &SeatRow, goal: &SeatRow, free: &[&SeatRow]) -> bool {
    let same = |a: &SeatRow, b: &SeatRow| a.name.eq_ignore_ascii_case(&b.name);
    let others = |goal: &SeatRow| muster.places(&place.rig).any(|p| p.kit && same(p, goal));
    match (place.kit, goal.kit) {
        (false, false) => true,
        (true, true) => same(place, goal) || (!others(goal) && !free.iter().any(|f| f.kit && same(place, f))),
        _ => false,
    }
}

/// Who rides both rigs in a shift.
#[derive(Debug, Clone, Default)]
pub struct CrewsOf {
    /// The rig that everything is taken from.
    pub from: Seated,
    /// The one that it goes to.
    pub to: Seated,
}

/// What is on a rig, in words: `Rescue-team pack: unit 207`.
pub fn things_on(muster: &Muster, rig: &str) -> Vec<String> {
    let thing = |asset: &str| asset.replacen(':', " ", 1);
    let on = muster.places(rig).filter_map(|p| Some(format!("{}: {}", p.name, thing(p.asset.as_deref()?))));
    on.collect()
}

/// Who rides a rig, by place.
pub fn riders_of<'a>(muster: &'a Muster, rig: &'a str) -> Vec<(&'a SeatRow, &'a str)> {
    muster.places(rig).filter_map(|p| Some((p, muster.fleet.name(muster.member(p)?)))).collect()
}
