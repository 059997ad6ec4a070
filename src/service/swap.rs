//! The swap plan for the whole department, and the record that carries it out.

use airmuster_domain::readiness::{Lack, Readiness, Seated, seat};
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
    /// Seats that stay open, the most important first.
    pub left: Vec<Left<'a>>,
}

/// A seat that stays open.
#[derive(Debug, Clone)]
pub struct Left<'a> {
    /// The seat.
    pub seat: &'a SeatRow,
    /// What it lacks.
    pub lacks: Vec<Lack>,
    /// Why no other unit goes there; none where no other unit would help.
    pub why: Option<Why>,
}

/// Plans for every open seat of a rig in use that another unit would make ready. Rigs are as important as
/// their order says; the first seats of all rigs come before the second ones, and what a full cylinder mends
/// too after all that nothing else does.
pub fn propose(muster: &Muster) -> Proposed<'_> {
    let fleet = &muster.fleet;
    let mut not_ready: Vec<(usize, &SeatRow, Readiness)> = Vec::new();
    for rig in muster.rigs.iter().filter(|r| !muster.aside(r)) {
        let seats = muster.places(&rig.id).filter(|s| !s.kit).enumerate();
        let seats = seats.map(|(rank, s)| (rank, s, muster.if_filled(s)));
        not_ready.extend(seats.filter(|(.., readiness)| !readiness.ready()));
    }
    not_ready.sort_by_key(|(rank, ..)| *rank);
    let mut wanting: Vec<(&SeatRow, OpenSeat, Readiness)> = Vec::new();
    let mut left = Vec::new();
    for (_, seat, readiness) in not_ready {
        match open_seat(muster, seat).filter(|_| readiness.another_unit_helps()) {
            Some(open) => wanting.push((seat, open, readiness)),
            None => left.push(Left { seat, lacks: readiness.lacks, why: None }),
        }
    }
    wanting.sort_by_key(|(.., readiness)| readiness.lacks.iter().all(Lack::is_of_the_cylinder));
    let sources = sources(muster);
    let open: Vec<OpenSeat> = wanting.iter().map(|(_, o, _)| o.clone()).collect();
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
    let moves = planned.moves.into_iter().map(proposal).collect();
    let unfilled = planned.left.into_iter().map(|(n, why)| {
        let (seat, _, readiness) = &wanting[n];
        Left { seat, lacks: readiness.lacks.clone(), why: Some(why) }
    });
    Proposed { moves, left: unfilled.chain(left).collect() }
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

/// Units that ride nowhere and would make a seat ready: spares, and what stands on reserve rigs.
fn sources(muster: &Muster) -> Vec<Source<'_>> {
    let fleet = &muster.fleet;
    let source = |unit: &'_ UnitFacts, station: &str, on_reserve: bool| Spare {
        unit: unit.row.number.clone(),
        station: station.to_owned(),
        profile: unit.row.profile.clone(),
        facepiece: muster.apparatus(unit).facepiece,
        on_reserve,
    };
    // Whoever rides it identifies there, whatever its alarm knows now; whom it fits is weighed seat by seat.
    let (clock, now) = (&fleet.department.clock, fleet.now);
    let ready = |unit: &&UnitFacts| {
        seat(Some(&muster.apparatus(unit)), Seated::NotEntered, clock, now, muster.today).ready()
    };
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

/// What a key names, in words, where it has been carried out: the spare is on that seat.
pub fn carried_out(muster: &Muster, key: &str) -> Option<String> {
    let (seat, rest) = key.split_once('|')?;
    let (spare, _) = rest.split_once('|')?;
    let there = Asset::unit(spare).to_string();
    muster.fleet.seats.iter().find(|s| s.seat == seat && s.asset.as_ref() == Some(&there))?;
    let place = Place::Seat { seat: seat.to_owned() };
    Some(format!("{spare} to {}", muster.fleet.words_of(&place)))
}
