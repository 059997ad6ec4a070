//! What a seat lacks, and how a rig is manned, in words that several of the officer's pages share.

use airmuster_domain::ground::Kind;
use airmuster_domain::readiness::{Lack, Teams, Wearer};
use airmuster_domain::record::Cadence;
use airmuster_domain::standing::State as Holds;
use airmuster_domain::swap::Why;
use chrono::NaiveDate;

use crate::service::fleet::Fleet;
use crate::service::muster::{Manned, Muster};
use crate::service::swap::{Left, Proposal};
use crate::store::{RigRow, SeatRow};
use crate::web::entered::sentence;
use crate::web::present::{capital, ground_words, when};

/// A day with its year: `3 Mar 2027`.
pub fn date(day: NaiveDate) -> String {
    day.format("%-d %b %Y").to_string()
}

/// What a place lacks, in a sentence.
pub fn lack_words(muster: &Muster, place: &SeatRow, lack: &Lack) -> String {
    let who = muster.member(place).map_or("", |m| muster.fleet.name(m));
    match lack {
        Lack::Empty => "Nothing is in it.".to_owned(),
        Lack::Standing(state) => {
            let ground = muster.fleet.standing_in(place).and_then(|s| s.grounds.first());
            ground.map_or_else(|| sentence(state.words()), |g| sentence(&ground_words(g)))
        }
        Lack::NoCylinder => "No cylinder is fitted.".to_owned(),
        Lack::NotRead => "Nobody has read its cylinder yet.".to_owned(),
        Lack::Low { read, above } => {
            let level = above.words(read.unit());
            format!("Cylinder at {}; it must be above {level}. Change it or recharge it.", read.words())
        }
        Lack::ReadTooLongAgo { at } => {
            let at = when(&muster.fleet.department.clock, *at, muster.fleet.now);
            let cadence = place.asset.as_ref().and_then(|a| muster.fleet.racked.get(a)).map(|c| c.cadence);
            let often = cadence.map_or("again", Cadence::words);
            format!("Last read {at}; it is to be read {often}.")
        }
        Lack::NotIdentified => identified_words(muster, place).unwrap_or_default(),
        Lack::ClearanceUnknown => format!("{who}: no medical clearance entered."),
        Lack::NotCleared => format!("{who}: not medically cleared."),
        Lack::Nobody => "Nobody is on this seat.".to_owned(),
        Lack::FacepieceNotKnown => format!(
            "The register does not say make, model, style and size of {}; whether a fit test covers it is not known.",
            facepiece_words(muster, place)
        ),
        Lack::NoFacepiece => format!("No facepiece goes with the unit; whether one fits {who} is not known."),
        Lack::NoFitTest => {
            format!("{who}: no fit test with {}.", facepiece_words(muster, place))
        }
        Lack::FitTestPast { until } => {
            format!(
                "{who}: the fit test with {} counted until {}.",
                facepiece_words(muster, place),
                date(*until)
            )
        }
    }
}

/// Whether the alarm of the unit in a place knows who sits there; none where that is not asked.
pub fn identified_words(muster: &Muster, place: &SeatRow) -> Option<String> {
    let member = muster.member(place)?;
    let asked = muster.identification(muster.fleet.in_seat(place)?)?;
    let clock = &muster.fleet.department.clock;
    let at = |t| when(clock, t, muster.fleet.now);
    let who = muster.fleet.name(member);
    Some(match &asked.known {
        Some(k) if asked.knows(member, muster.fleet.now) => {
            format!("{who} is known to the alarm since {}, until {}.", at(k.at), at(k.until))
        }
        Some(k) if k.member == member => {
            format!("{who} was known to the alarm until {}: identify again.", at(k.until))
        }
        Some(k) => format!(
            "The alarm knows {} since {}, not {who}: identify there.",
            muster.fleet.name(&k.member),
            at(k.at)
        ),
        None => format!("The alarm does not know {who} yet: identify there."),
    })
}

/// When a spare cylinder was last read, and at what: `4,480 psi, read 06:58`.
pub fn read_words(fleet: &Fleet, asset: Option<&String>) -> Option<String> {
    let (at, pressure) = fleet.racked.get(asset?)?.read?;
    let at = when(&fleet.department.clock, at, fleet.now);
    Some(format!("{}, read {at}", pressure.words()))
}

fn facepiece_words(muster: &Muster, place: &SeatRow) -> String {
    let gear = muster.fleet.in_seat(place).and_then(|u| muster.gear(&u.row.number));
    match gear.and_then(|g| g.facepiece.as_ref()) {
        Some((number, kind)) if kind.known() => {
            format!("facepiece {number}, {} {} {}, size {}", kind.make, kind.model, kind.style, kind.size)
        }
        Some((number, _)) => format!("facepiece {number}"),
        None => "its facepiece".to_owned(),
    }
}

/// How a rig is manned, in a few words.
pub fn manned_words(muster: &Muster, rig: &RigRow) -> String {
    match muster.manned(rig) {
        Manned::Not if rig.why.is_empty() => rig.duty.words().to_owned(),
        Manned::Not => format!("{}: {}", rig.duty.words(), rig.why),
        Manned::NoRoster => "No roster kept".to_owned(),
        Manned::NotEntered => "Crew not entered for this shift".to_owned(),
        Manned::By(0) => "Unstaffed".to_owned(),
        Manned::By(n) => format!("Staffed, {n} on it"),
    }
}

/// Said wherever teams are.
pub const PLANNING: &str =
    "Planning help only. Whether anybody enters is decided by whoever commands at the scene.";

/// How many teams there are, in a sentence.
pub fn teams_words(teams: &Teams) -> String {
    let more = match teams.lacking {
        1 => "1 more ready member makes".to_owned(),
        n => format!("{n} more ready members make"),
    };
    match teams.inside.len() {
        0 => format!("No team of two with two outside: {more} one."),
        1 => format!("1 team of two, with {} outside. {more} another.", teams.outside.len()),
        n => format!("{n} teams of two, with {} outside. {more} another.", teams.outside.len()),
    }
}

/// Somebody with unit and rig.
pub fn wearer_words(muster: &Muster, w: &Wearer) -> String {
    format!("{}, unit {} ({})", muster.fleet.name(&w.member), w.unit, w.rig)
}

/// A proposal in words: what goes where, why that one, and what becomes of the other.
pub fn proposal_words(muster: &Muster, p: &Proposal<'_>) -> String {
    let unit = &p.spare.row.number;
    let at = muster.fleet.station_of(&p.spare.row).map_or("", |s| &s.name);
    let from = match p.from_rig {
        Some(rig) => format!("unit {unit} of reserve rig {} at {at}", rig.name),
        None => format!("spare {unit} at {at}"),
    };
    let way = match (p.near, p.minutes) {
        (true, _) => "at the rig’s own station".to_owned(),
        (false, Some(n)) => format!("{n} minutes away, the nearest that is free"),
        (false, None) => "how far is not known; none is free nearer".to_owned(),
    };
    let kind = match (p.now, muster.member(p.seat)) {
        (Some(now), None) => format!("of the same kind as unit {}", now.row.number),
        (Some(now), Some(m)) => {
            format!(
                "of the same kind as unit {}, with a facepiece that fits {}",
                now.row.number,
                muster.fleet.name(m)
            )
        }
        (None, _) => "of the kind that rides here".to_owned(),
    };
    let then = p.now.map_or_else(String::new, |now| {
        let held = now.standing.state >= Holds::Held;
        let to = if held { "goes to the bench" } else { "then stays at the station without a seat" };
        format!(" Unit {} {to}.", now.row.number)
    });
    let place = format!("{}, {}", p.seat.rig_name, p.seat.name.to_lowercase());
    format!("{}: {from}, {way}; in service and {kind}.{then}", capital(&place))
}

/// Why a seat stays open, and what fixes it.
pub fn left_words(muster: &Muster, left: &Left<'_>) -> String {
    let seat = left.seat;
    let lacks = left.lacks.iter().map(|l| lack_words(muster, seat, l)).collect::<Vec<_>>().join(" ");
    let why = match left.why {
        Some(Why::NoneOfThisKind) => Some("No spare of its kind is ready anywhere."),
        Some(Why::NoFacepieceFits) => {
            Some("There are spares of its kind, but none with a facepiece that fits who sits there.")
        }
        Some(Why::AllTaken) => Some("More important seats take all spares of its kind."),
        None => None,
    };
    let grounds = muster.fleet.standing_in(seat).map(|s| s.grounds.as_slice()).unwrap_or_default();
    let dirty = grounds.iter().any(|g| g.raise.kind == Kind::Soiled);
    let fix = |l: &Lack| match l {
        Lack::Nobody => Some("Put somebody on it."),
        Lack::ClearanceUnknown | Lack::NotCleared => Some("Seat another member."),
        Lack::NoFacepiece => Some("Enter the facepiece that goes with it."),
        Lack::FacepieceNotKnown => Some("Have an administrator enter its model."),
        Lack::NoFitTest | Lack::FitTestPast { .. } => Some("Seat another member, or enter a fit test."),
        Lack::NoCylinder => Some("Fit a full one, and check the unit again."),
        Lack::NotRead => Some("Check the unit."),
        Lack::Standing(Holds::CheckDue) => Some("Check it."),
        Lack::Standing(Holds::PutRight) if dirty => Some("Have it cleaned, and check it."),
        Lack::Standing(Holds::PutRight) => Some("Put it right, and check it."),
        // What it lacks says already what to do.
        Lack::Empty
        | Lack::Standing(_)
        | Lack::Low { .. }
        | Lack::NotIdentified
        | Lack::ReadTooLongAgo { .. } => None,
    };
    let mut more: Vec<&str> = why.into_iter().collect();
    for fix in left.lacks.iter().filter_map(fix) {
        if !more.contains(&fix) {
            more.push(fix);
        }
    }
    let unit = muster.fleet.in_seat(seat).map(|u| format!(", unit {}", u.row.number)).unwrap_or_default();
    format!("{}, {}{unit}: {lacks} {}", seat.rig_name, seat.name.to_lowercase(), more.join(" "))
        .trim_end()
        .to_owned()
}
