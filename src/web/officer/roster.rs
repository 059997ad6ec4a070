//! The rigs, and one rig's roster: open seats first, and what fixes each.

use std::sync::Arc;

use airmuster_domain::ground::Kind;
use airmuster_domain::readiness::{Lack, Readiness};
use airmuster_domain::record::{Asset, Duty, Moved, Place};
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, State};
use axum_extra::extract::Query;
use serde::Deserialize;

use super::shift::{Asked, Chosen};
use super::swap::{Done, words_of};
use super::words::{
    PLANNING, identified_words, lack_words, manned_words, proposal_words, read_words, teams_words,
};
use crate::service::fleet::{Fleet, UnitFacts};
use crate::service::muster::{Manned, Muster};
use crate::service::swap::propose;
use crate::service::takeover::{riders_of, things_on};
use crate::service::ticket::thing_words;
use crate::store::{RigRow, SeatRow};
use crate::web::auth::Visitor;
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{checked_sentence, page, standing, start_words, thin, unit_ref, when};
use crate::web::serving::App;
use crate::web::view::Action;
use crate::web::view::roster::{RigTile, Rigs, RigsOf, Roster, Seat, Swap};

/// `GET /rigs`.
pub async fn show_rigs(State(app): State<App>, visitor: Visitor) -> Result<Html<Rigs>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let stations = muster.fleet.stations.iter().map(|s| RigsOf {
        station: s.name.clone(),
        rigs: muster
            .rigs
            .iter()
            .filter(|r| r.station == s.id)
            .map(|r| tile(&muster, &r.id, Muster::readiness, short))
            .collect(),
        teams: teams(&muster, Some(&s.id)),
    });
    let mut stations: Vec<RigsOf> = stations.collect();
    stations.retain(|s| !s.rigs.is_empty());
    Ok(Html(Rigs {
        page: page(&app, &visitor, "Rigs").await?,
        platoon: muster.platoon().map(|p| format!("{p} platoon")),
        stations,
        planning: PLANNING,
    }))
}

/// The teams of a station in a sentence; none where no crew was entered.
pub fn teams(muster: &Muster, station: Option<&str>) -> Option<String> {
    let mut here = muster.rigs.iter().filter(|r| station.is_none_or(|s| r.station == s));
    let entered = here.any(|r| matches!(muster.manned(r), Manned::By(n) if n > 0));
    entered.then(|| teams_words(&muster.teams(station)))
}

/// A rig in a line; `weighed` says whether a place is ready, `said` what it lacks.
pub fn tile(
    muster: &Muster,
    id: &str,
    weighed: fn(&Muster, &SeatRow) -> Readiness,
    said: fn(&Lack) -> String,
) -> RigTile {
    let mut out = RigTile { href: format!("/rigs/{id}"), ..RigTile::default() };
    if let Some(rig) = muster.rig(id) {
        out.name.clone_from(&rig.name);
        out.state = Some(manned_words(muster, rig)).filter(|_| muster.manned(rig) != Manned::NoRoster);
        out.aside = muster.aside(rig);
        out.away = rig.duty == Duty::LentOut;
    }
    let mut dues = Vec::new();
    for place in muster.places(id).filter(|_| !out.away) {
        let ready = weighed(muster, place);
        dues.extend(ready.due_by);
        out.seats += usize::from(!place.kit);
        out.ready += usize::from(!place.kit && ready.ready());
        if let Some(lack) = ready.lacks.first() {
            out.open.push(format!("{}: {}", place.name, said(lack)));
        }
    }
    out.due = dues.iter().min().map(|by| {
        let many = dues.iter().filter(|due| *due == by).count();
        format!("{many} due by {}", when(&muster.fleet.department.clock, *by, muster.fleet.now))
    });
    out
}

/// The same where nobody need be signed in: the roster says who sits there, and whether it is a fit test or a
/// clearance that a member lacks is told to officers only.
pub fn short_for_anybody(lack: &Lack) -> String {
    match lack {
        Lack::ClearanceUnknown | Lack::NotCleared | Lack::NoFitTest | Lack::FitTestPast { .. } => {
            "member not ready".to_owned()
        }
        lack => short(lack),
    }
}

/// What is lacking, in a word or two.
pub fn short(lack: &Lack) -> String {
    match lack {
        Lack::Empty => "empty".to_owned(),
        Lack::Standing(state) => state.words().to_lowercase(),
        Lack::NoCylinder => "no cylinder".to_owned(),
        Lack::NotRead | Lack::ReadTooLongAgo { .. } => "cylinder not read".to_owned(),
        Lack::NotIdentified => "not identified".to_owned(),
        Lack::Low { .. } => "cylinder low".to_owned(),
        Lack::Nobody => "nobody on it".to_owned(),
        Lack::NoFacepiece | Lack::FacepieceNotKnown => "facepiece not known".to_owned(),
        Lack::ClearanceUnknown | Lack::NotCleared => "not cleared".to_owned(),
        Lack::NoFitTest | Lack::FitTestPast { .. } => "no fit test".to_owned(),
    }
}

/// What an address asks besides the shift.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Came {
    /// The rig that everything has just come from.
    from: String,
}

/// `GET /rigs/{rig}`.
pub async fn show_rig(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Query(asked): Query<Asked>,
    Query(came): Query<Came>,
    Query(done): Query<Done>,
) -> Result<Html<Roster>, WebError> {
    let chosen = Chosen::load(&app, asked.shift()).await?;
    let muster = Arc::clone(&chosen.muster);
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    let fleet = &muster.fleet;
    let station = fleet.stations.iter().find(|s| s.id == row.station).map_or("", |s| &s.name);
    let tickets = app.store.open_tickets().await?;
    let places: Vec<&SeatRow> = muster.places(&rig).collect();
    let mut rows: Vec<Seat> = Vec::new();
    for place in &places {
        let unit = fleet.in_seat(place);
        let ticket =
            unit.and_then(|u| tickets.iter().find(|t| t.asset == u.standing.asset)).map(|t| t.ticket);
        rows.push(seat(&muster, place, unit, ticket));
    }
    let ready = places.iter().filter(|s| !s.kit && muster.readiness(s).ready()).count();
    let notes = notes(&muster, &places);
    // Open ones first; among them, and among the others, the rig's own order.
    rows.sort_by_key(|r| r.ready);
    // What is moved is moved now: of a shift to come nothing is.
    let swap = if chosen.runs() { swap(&muster, &rig) } else { None };
    let accepted = accepted_words(&app, &muster, &rig).await?;
    let asks_for_crew = muster.manned(row) == Manned::NotEntered;
    if swap.is_none()
        && !asks_for_crew
        && let Some(fix) = rows.iter_mut().find_map(|r| r.fix.as_mut())
    {
        fix.next = true;
    }
    let act = |text: &str, what: &str, next: bool| Action {
        text: text.to_owned(),
        href: match what {
            "crew" | "accept" => chosen.address(format!("/rigs/{rig}/{what}")),
            _ => format!("/rigs/{rig}/{what}"),
        },
        next,
    };
    let mut frame = page(&app, &visitor, &row.name).await?;
    let told = done.moves(&app).await?;
    let came = muster.rig(&came.from).and_then(|from| {
        told.iter().find(|m| whole(&muster, m, from, row)).map(|m| moved_words(&muster, from, row, m))
    });
    frame.flash = came.or_else(|| words_of(&muster, &told));
    Ok(Html(Roster {
        shifts: chosen.choices(&format!("/rigs/{rig}")),
        page: frame,
        rig: row.name.clone(),
        station: format!("{station} station"),
        state: Some(manned_words(&muster, row)).filter(|_| muster.manned(row) != Manned::NoRoster),
        ready,
        seats: places.iter().filter(|s| !s.kit).count(),
        aside: muster.aside(row),
        notes,
        rows,
        accepted,
        acts: [
            act("Crew on duty", "crew", swap.is_none() && asks_for_crew),
            act("Accept rig and crew", "accept", false),
            act("Move or lend the rig", "status", false),
            act("Daily sheet", "sheet", false),
            act("We used these", "used", false),
        ]
        .into_iter()
        .chain(places.iter().any(|p| racked(fleet, p)).then(|| act("Read spare cylinders", "spares", false)))
        .collect(),
        swap,
    }))
}

/// Whether a move took things from the one rig to the other, and nothing else.
fn whole(muster: &Muster, moved: &Moved, from: &RigRow, to: &RigRow) -> bool {
    let on = |place: Option<&Place>, rig: &RigRow| match place {
        Some(Place::Seat { seat }) => muster.places(&rig.id).any(|p| p.seat == *seat),
        _ => false,
    };
    from.id != to.id && moved.moves.iter().all(|m| on(m.from.as_ref(), from) && on(Some(&m.to), to))
}

/// After everything was moved from one rig to another: what each is for now, and what stays where it was.
fn moved_words(muster: &Muster, from: &RigRow, to: &RigRow, moved: &Moved) -> String {
    let (things, riders) = (things_on(muster, &from.id), riders_of(muster, &from.id));
    let mut left = match things.as_slice() {
        [] if riders.is_empty() => format!("Nothing is left on {}.", from.name),
        [] => String::new(),
        left => format!("Still on {}, as no place here is free for it: {}.", from.name, left.join("; ")),
    };
    if !riders.is_empty() {
        // Whose unit went and who did not go along rides with the old crew, as there is one here.
        let went = |seat: &SeatRow| {
            moved.moves.iter().any(|m| m.from == Some(Place::Seat { seat: seat.seat.clone() }))
        };
        let crewed = riders.iter().any(|(seat, _)| went(seat));
        let why = if crewed {
            format!("{} has a crew of its own", to.name)
        } else {
            "no seat here is free for them".to_owned()
        };
        let names: Vec<String> = riders.iter().map(|(seat, name)| format!("{}: {name}", seat.name)).collect();
        if !left.is_empty() {
            left.push(' ');
        }
        left = [left, format!("Still riding {}, as {why}: {}.", from.name, names.join("; "))].concat();
    }
    let duty = |r: &RigRow| r.duty.words().to_lowercase();
    let (ours, theirs) = (duty(to), duty(from));
    let station = muster.fleet.stations.iter().find(|s| s.id == to.station).map_or("", |s| &s.name);
    format!(
        "Everything was moved from {}. {left} {} is {ours} now and stands at {station}, {} is {theirs}.",
        from.name, to.name, from.name
    )
}

fn racked(fleet: &Fleet, place: &SeatRow) -> bool {
    place.asset.as_ref().is_some_and(|a| fleet.racked.contains_key(a))
}

/// Who reviewed a rig in this shift and when, and what has changed since.
pub async fn accepted_words(app: &App, muster: &Muster, rig: &str) -> Result<Option<String>, WebError> {
    let fleet = &muster.fleet;
    Ok(muster.accepted(&app.store, rig).await?.map(|(a, changed)| {
        let by = a.by.as_deref().map_or("", |m| fleet.name(m));
        let at = when(&fleet.department.clock, a.at, fleet.now);
        match changed.as_slice() {
            [] => format!("Reviewed by {by} at {at}. Nothing has changed since."),
            changed => {
                format!("Reviewed by {by} at {at}. Changed since acceptance: {}.", changed.join(", "))
            }
        }
    }))
}

fn seat(muster: &Muster, place: &SeatRow, unit: Option<&UnitFacts>, ticket: Option<u64>) -> Seat {
    let fleet = &muster.fleet;
    let readiness = muster.readiness(place);
    let mut row = Seat {
        place: place.name.clone(),
        member: muster.member(place).map(|m| fleet.name(m).to_owned()),
        ready: readiness.ready(),
        reasons: readiness.lacks.iter().map(|l| lack_words(muster, place, l)).collect(),
        // Where it is needed and lacks, it is among the reasons.
        identified: identified_words(muster, place)
            .filter(|_| !readiness.lacks.contains(&Lack::NotIdentified)),
        ..Seat::default()
    };
    let Some(unit) = unit else {
        let asset = place.asset.as_ref().and_then(|a| a.parse::<Asset>().ok());
        row.thing = asset.as_ref().map(thing_words);
        row.standing = fleet.standing_in(place).map(standing);
        if let Some(words) = read_words(fleet, place.asset.as_ref()) {
            row.checked = match readiness.due_by {
                Some(by) => format!("{words}; again by {}", when(&fleet.department.clock, by, fleet.now)),
                None => words,
            };
        }
        if readiness.lacks.iter().any(|l| matches!(l, Lack::NotRead | Lack::ReadTooLongAgo { .. })) {
            let href = format!("/rigs/{}/spares", place.rig);
            row.fix = Some(Action { text: "Read it".to_owned(), href, next: false });
        }
        return row;
    };
    let s = &unit.standing;
    let number = &unit.row.number;
    let link = |text: &str, href: String| Some(Action { text: text.to_owned(), href, next: false });
    let check = |text: &str| link(text, format!("/units/{number}/check"));
    row.fix = match (s.grounds.first(), ticket) {
        (Some(g), ticket) => match (g.raise.kind, ticket) {
            (
                Kind::CheckDue
                | Kind::CheckAgain
                | Kind::Used
                | Kind::Misread
                | Kind::PutRight
                | Kind::Soiled,
                _,
            ) => check(start_words(s, unit.row.cadence)),
            (Kind::AnotherItem, _) => check("Check with another one"),
            (Kind::Finding | Kind::TakenOut, Some(t)) => link("See the ticket", format!("/tickets/{t}")),
            _ => link("See why", format!("/units/{number}")),
        },
        (None, _) if !readiness.unit_ready() => check("Check it again"),
        (None, _) if readiness.lacks == [Lack::Nobody] => {
            link("Put somebody on it", format!("/rigs/{}/crew", place.rig))
        }
        (None, _) if !readiness.ready() => link("Seat another member", format!("/rigs/{}/crew", place.rig)),
        (None, _) => None,
    };
    row.unit = Some(unit_ref(number));
    row.standing = Some(standing(s));
    row.checked = match readiness.due_by {
        Some(by) => {
            let by = when(&fleet.department.clock, by, fleet.now);
            format!("Ready on the last check, due by {by}")
        }
        None => checked_sentence(fleet, s),
    };
    row.strip = thin(fleet, unit);
    row
}

/// How many checks are due now, and by when the next ones are.
fn notes(muster: &Muster, places: &[&SeatRow]) -> Vec<String> {
    let fleet = &muster.fleet;
    let units: Vec<&UnitFacts> = places.iter().filter_map(|s| fleet.in_seat(s)).collect();
    let mut out = Vec::new();
    let many = |n: usize| if n == 1 { "1 check is".to_owned() } else { format!("{n} checks are") };
    let due = units.iter().filter(|u| u.standing.state == Holds::CheckDue).count();
    if due > 0 {
        out.push(format!("{} due now.", many(due)));
    }
    let ready = units.iter().filter(|u| u.standing.state == Holds::InService);
    let untils: Vec<_> = ready.filter_map(|u| u.standing.until).collect();
    if let Some(next) = untils.iter().min() {
        let n = untils.iter().filter(|u| *u == next).count();
        let by = when(&fleet.department.clock, *next, fleet.now);
        out.push(format!("{} due by {by}.", many(n)));
    }
    out.extend(places.first().and_then(|p| teams(muster, Some(&p.station))).map(|t| sentence(&t)));
    out
}

fn swap(muster: &Muster, rig: &str) -> Option<Swap> {
    let proposed = propose(muster);
    let here = proposed.moves.iter().find(|p| p.seat.rig == rig)?;
    Some(Swap {
        text: proposal_words(muster, here),
        action: "/swap".to_owned(),
        key: here.key(),
        rig: rig.to_owned(),
        button: format!("Put spare {} there", here.spare.row.number),
        others: proposed.moves.len() - 1,
    })
}
