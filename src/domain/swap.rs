//! The swap plan: which spares to move into which open seats.
//!
//! An assignment problem: the most important seats are filled first, with the fewest moves (one
//! for each seat filled), and then with the nearest spares. Solved by the Kuhn–Munkres algorithm of
//! the `pathfinding` library.

use pathfinding::kuhn_munkres::kuhn_munkres;
use pathfinding::matrix::Matrix;

use crate::readiness::{FacepieceKind, Rider};

/// Minutes at which all farther stations, and those whose drive is not known, are alike.
pub const FAR: u32 = 240;

/// A seat that needs another unit.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct OpenSeat {
    /// The seat's id.
    pub seat: String,
    /// The station's id.
    pub station: String,
    /// The kind of unit that rides here.
    pub profile: String,
    /// Who rides here, where that is known: cleared, and the spare's facepiece must fit.
    pub rider: Option<Rider>,
}

/// A unit that could go there: in service, with a cylinder above the recharge level.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Spare {
    /// Its number.
    pub unit: String,
    /// The station's id.
    pub station: String,
    /// Its profile.
    pub profile: String,
    /// The facepiece that goes with it.
    pub facepiece: Option<FacepieceKind>,
    /// Whether it stands on a reserve rig, which is stripped of it.
    pub on_reserve: bool,
}

/// Why a seat stays open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// There is no spare of the kind that rides there that is ready itself.
    NoneOfThisKind,
    /// There are some, but none with a facepiece that the rider has a current fit test for.
    NoFacepieceFits,
    /// More important seats take them all.
    AllTaken,
}

/// The plan. Seats and spares are named by their places in what was given.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Plan {
    /// Seat and spare, the most important seat first.
    pub moves: Vec<(usize, usize)>,
    /// Seats that stay open.
    pub left: Vec<(usize, Why)>,
}

/// The plan for these seats, the most important first. `minutes` is the drive between two stations,
/// where it is known; `today` decides which fit tests count.
pub fn plan(
    open: &[OpenSeat],
    spares: &[Spare],
    minutes: impl Fn(&str, &str) -> Option<u32>,
    today: chrono::NaiveDate,
) -> Plan {
    let cost = |seat: &OpenSeat, spare: &Spare| {
        let drive = if seat.station == spare.station {
            0
        } else {
            minutes(&spare.station, &seat.station).unwrap_or(FAR).min(FAR)
        };
        // A minute is two, so that a reserve rig is stripped only where that saves a drive.
        i64::from(2 * drive) + i64::from(spare.on_reserve)
    };
    let costs: Vec<Vec<Option<i64>>> = open
        .iter()
        .map(|seat| spares.iter().map(|s| fits(seat, s, today).then(|| cost(seat, s))).collect())
        .collect();
    let assigned = assign(&costs);
    let mut out = Plan::default();
    for (n, (seat, spare)) in open.iter().zip(assigned).enumerate() {
        match spare {
            Some(spare) => out.moves.push((n, spare)),
            None => out.left.push((n, why(seat, spares, today))),
        }
    }
    out
}

fn fits(seat: &OpenSeat, spare: &Spare, today: chrono::NaiveDate) -> bool {
    let wearable = |rider: &Rider| {
        let until = spare.facepiece.as_ref().and_then(|worn| rider.fit_for(worn));
        rider.cleared == Some(true) && until.is_some_and(|until| until >= today)
    };
    seat.profile == spare.profile && seat.rider.as_ref().is_none_or(wearable)
}

fn why(seat: &OpenSeat, spares: &[Spare], today: chrono::NaiveDate) -> Why {
    if !spares.iter().any(|s| s.profile == seat.profile) {
        Why::NoneOfThisKind
    } else if !spares.iter().any(|s| fits(seat, s, today)) {
        Why::NoFacepieceFits
    } else {
        Why::AllTaken
    }
}

/// Assigns a column to each row, the first row being the most important; `None` in `costs` is a
/// pair that does not go together, and in the answer a row left without.
///
/// A row's worth falls by one step from row to row, and a step is more than all costs together, so
/// the sum is greatest for the best set of rows. That such a set is also the lexicographically best
/// one, and as large as any, is because the sets of rows that can be assigned form a matroid
/// (Edmonds and Fulkerson 1965), whose heaviest basis is the one that choosing greedily gives. The
/// weights stay small therefore: powers of two are not needed.
pub fn assign(costs: &[Vec<Option<i64>>]) -> Vec<Option<usize>> {
    let rows = costs.len();
    let columns = costs.first().map_or(0, Vec::len);
    if rows == 0 || columns == 0 {
        return vec![None; rows];
    }
    let dearest = costs.iter().flatten().flatten().max().copied().unwrap_or(0);
    let count = i64::try_from(rows).unwrap_or(i64::MAX);
    let step = (dearest + 1) * count + 1;
    // As many columns more as there are rows stand for staying open.
    let weights = Matrix::from_fn(rows, columns + rows, |(row, column)| {
        let rank = i64::try_from(row).unwrap_or(0);
        match costs[row].get(column).copied().flatten() {
            Some(cost) => step * (count - rank) + (dearest - cost),
            None => 0,
        }
    });
    let (_, taken) = kuhn_munkres(&weights);
    taken
        .into_iter()
        .enumerate()
        .map(|(row, column)| costs[row].get(column).copied().flatten().map(|_| column))
        .collect()
}
