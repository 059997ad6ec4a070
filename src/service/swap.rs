//! The swap plan for the whole department, and the record that carries it out.

use airmuster_domain::readiness::Lack;
use airmuster_domain::record::{Asset, Duty, Move, Moved, Place};
use airmuster_domain::standing::State;
use airmuster_domain::swap::{OpenSeat, Spare, Why, plan};

use super::fleet::UnitFacts;
use super::muster::Muster;
use crate::store::{RigRow, SeatRow};

/// A seat to be filled, and from where.
#[derive(Debug, Clone)]
pub struct Proposal<'a> {
    /// The open seat.
    pub seat: &'a SeatRow,
    /// What is in it now.
    pub now: Option<&'a UnitFacts>,
    /// The unit that goes there.
    pub spare: &'a UnitFacts,
    /// The reserve rig that it comes from; none: from the spares.
    pub from_rig: Option<&'a RigRow>,
    /// Minutes from its station, where they are known; none needed at the same one.
    pub minutes: Option<u32>,
    /// Whether it stands at the rig's own station.
    pub near: bool,
}

/// What is proposed for all open seats.
#[derive(Debug, Clone, Default)]
pub struct Proposed<'a> {
    /// The most important seat first.
    pub moves: Vec<Proposal<'a>>,
    /// Seats that stay open, and why.
    pub left: Vec<(&'a SeatRow, Why)>,
}

/// Plans for every seat of a rig in use that needs another unit. Rigs are as important as their
/// order says; the first seats of all rigs come before the second ones.
pub fn propose(muster: &Muster) -> Proposed<'_> {
    let fleet = &muster.fleet;
    let mut wanting: Vec<(usize, &SeatRow)> = Vec::new();
    for rig in muster.rigs.iter().filter(|r| r.duty.rides()) {
        let seats = muster.places(&rig.id).filter(|s| !s.kit).enumerate();
        wanting.extend(seats.filter(|(_, s)| needs_another(muster, s)));
    }
    wanting.sort_by_key(|(rank, _)| *rank);
    let wanting: Vec<(&SeatRow, OpenSeat)> =
        wanting.into_iter().filter_map(|(_, s)| open_seat(muster, s).map(|o| (s, o))).collect();
    let sources = sources(muster);
    let open: Vec<OpenSeat> = wanting.iter().map(|(_, o)| o.clone()).collect();
    let spares: Vec<Spare> = sources.iter().map(|s| s.spare.clone()).collect();
    let drive = |a: &str, b: &str| muster.drives.get(&(a.min(b).to_owned(), a.max(b).to_owned())).copied();
    let planned = muster.planned.get_or_init(|| plan(&open, &spares, drive, muster.today)).clone();
    let proposal = |(seat, source): (usize, usize)| {
        let (row, source) = (wanting[seat].0, &sources[source]);
        Proposal {
            seat: row,
            now: fleet.in_seat(row),
            spare: source.unit,
            from_rig: source.rig,
            minutes: drive(&source.spare.station, &row.station),
            near: source.spare.station == row.station,
        }
    };
    Proposed {
        moves: planned.moves.into_iter().map(proposal).collect(),
        left: planned.left.into_iter().map(|(seat, why)| (wanting[seat].0, why)).collect(),
    }
}

/// What the crew does on the spot (a check that is due, something to be put right) needs no other
/// unit.
fn needs_another(muster: &Muster, seat: &SeatRow) -> bool {
    let unit_lacks = |l: &Lack| match l {
        Lack::Empty => true,
        Lack::Standing(state) => *state > State::PutRight,
        _ => false,
    };
    muster.readiness(seat).lacks.iter().any(unit_lacks)
}

/// An empty seat takes what the other seats of its rig have.
fn open_seat(muster: &Muster, seat: &SeatRow) -> Option<OpenSeat> {
    let fleet = &muster.fleet;
    let others = || muster.places(&seat.rig).filter(|s| !s.kit).find_map(|s| fleet.in_seat(s));
    let unit = fleet.in_seat(seat).or_else(others)?;
    Some(OpenSeat {
        seat: seat.seat.clone(),
        station: seat.station.clone(),
        profile: unit.row.profile.clone(),
        rider: muster.member(seat).map(|m| muster.rider(m)),
    })
}

struct Source<'a> {
    unit: &'a UnitFacts,
    rig: Option<&'a RigRow>,
    spare: Spare,
}

/// Units in service that ride nowhere: spares, and what stands on reserve rigs.
fn sources(muster: &Muster) -> Vec<Source<'_>> {
    let fleet = &muster.fleet;
    let source = |unit: &'_ UnitFacts, station: &str, on_reserve: bool| Spare {
        unit: unit.row.number.clone(),
        station: station.to_owned(),
        profile: unit.row.profile.clone(),
        facepiece: muster.apparatus(unit).facepiece,
        on_reserve,
    };
    let ready = |unit: &&UnitFacts| unit.standing.state == State::InService;
    let mut out = Vec::new();
    for station in &fleet.stations {
        for unit in fleet.spares_of(&station.id).filter(ready) {
            out.push(Source { unit, rig: None, spare: source(unit, &station.id, false) });
        }
    }
    for rig in muster.rigs.iter().filter(|r| r.duty == Duty::Reserve) {
        for unit in muster.places(&rig.id).filter(|p| !p.kit).filter_map(|p| fleet.in_seat(p)).filter(ready) {
            out.push(Source { unit, rig: Some(rig), spare: source(unit, &rig.station, true) });
        }
    }
    out
}

impl Proposal<'_> {
    /// The record that carries it out: the one out, the other in, together.
    pub fn record(&self) -> Moved {
        let mut moves = Vec::new();
        if let Some(old) = self.now {
            let to = match old.standing.state {
                State::Held | State::Retired => Place::Bench,
                _ => Place::Spare { station: self.seat.station.clone() },
            };
            moves.push(Move { asset: Asset::unit(&old.row.number), from: old.row.place.clone(), to });
        }
        moves.push(Move {
            asset: Asset::unit(&self.spare.row.number),
            from: self.spare.row.place.clone(),
            to: Place::Seat { seat: self.seat.seat.clone() },
        });
        Moved { moves, why: "an open seat was filled".to_owned() }
    }

    /// Names it in a form: seat, spare and what comes out, as they were when it was shown.
    pub fn key(&self) -> String {
        let now = self.now.map_or("", |u| u.row.number.as_str());
        format!("{}|{}|{now}", self.seat.seat, self.spare.row.number)
    }
}
