//! The rigs, and one rig's roster: open seats first, and what fixes each.

use airmuster_domain::ground::Kind;
use airmuster_domain::record::{Asset, Place, Register};
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, State};
use axum::response::Redirect;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::fleet::{Fleet, UnitFacts};
use crate::service::roster::filling;
use crate::service::ticket::thing_words;
use crate::store::SeatRow;
use crate::web::auth::Visitor;
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{checked_sentence, ground_words, page, standing, thin, unit_ref, when};
use crate::web::serving::App;
use crate::web::signing::hand_in_desk;
use crate::web::view::Action;
use crate::web::view::roster::{RigTile, Rigs, RigsOf, Roster, Seat, Swap};

/// `GET /rigs`.
pub async fn show_rigs(State(app): State<App>, visitor: Visitor) -> Result<Html<Rigs>, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let mut stations: Vec<RigsOf> = fleet
        .stations
        .iter()
        .map(|s| RigsOf { station: s.name.clone(), rigs: rigs_of(&fleet, &s.id) })
        .collect();
    stations.retain(|s| !s.rigs.is_empty());
    Ok(Html(Rigs { page: page(&app, &visitor, "Rigs").await?, stations }))
}

fn rigs_of(fleet: &Fleet, station: &str) -> Vec<RigTile> {
    let mut out: Vec<RigTile> = Vec::new();
    for seat in fleet.seats.iter().filter(|s| s.station == station) {
        let href = format!("/rigs/{}", seat.rig);
        if out.last().is_none_or(|r| r.href != href) {
            out.push(RigTile { name: seat.rig_name.clone(), href, ..RigTile::default() });
        }
        let Some(rig) = out.last_mut() else { continue };
        let ready = fleet.seat_ready(seat);
        rig.seats += usize::from(!seat.kit);
        rig.ready += usize::from(!seat.kit && ready);
        if !ready {
            let state =
                fleet.standing_in(seat).map_or("empty".to_owned(), |s| s.state.words().to_lowercase());
            rig.open.push(format!("{}: {state}", seat.name));
        }
    }
    out
}

/// `GET /rigs/{rig}`.
pub async fn show_rig(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
) -> Result<Html<Roster>, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let places: Vec<&SeatRow> = fleet.seats.iter().filter(|s| s.rig == rig).collect();
    let first = places.first().ok_or(WebError::NotFound)?;
    let station = fleet.stations.iter().find(|s| s.id == first.station).map_or("", |s| &s.name);
    let swap = swap(&fleet, &rig);
    let mut rows: Vec<Seat> = Vec::new();
    let tickets = app.store.open_tickets().await?;
    for place in &places {
        let unit = fleet.in_seat(place);
        let ticket =
            unit.and_then(|u| tickets.iter().find(|t| t.asset == u.standing.asset)).map(|t| t.ticket);
        rows.push(seat(&fleet, place, unit, ticket));
    }
    // Open ones first; among them, and among the others, the rig's own order.
    rows.sort_by_key(|r| r.ready);
    if swap.is_none()
        && let Some(fix) = rows.iter_mut().find_map(|r| r.fix.as_mut())
    {
        fix.next = true;
    }
    Ok(Html(Roster {
        page: page(&app, &visitor, &first.rig_name).await?,
        rig: first.rig_name.clone(),
        station: format!("{station} station"),
        ready: places.iter().filter(|s| !s.kit && fleet.seat_ready(s)).count(),
        seats: places.iter().filter(|s| !s.kit).count(),
        notes: notes(&fleet, &places),
        rows,
        swap,
    }))
}

fn seat(fleet: &Fleet, place: &SeatRow, unit: Option<&UnitFacts>, ticket: Option<u64>) -> Seat {
    let Some(unit) = unit else {
        return item(fleet, place);
    };
    let s = &unit.standing;
    let number = &unit.row.number;
    let ready = s.state == Holds::InService;
    let link = |text: &str, href: String| Some(Action { text: text.to_owned(), href, next: false });
    let check = |text: &str| link(text, format!("/units/{number}/check"));
    let fix = s.grounds.first().and_then(|g| match (g.raise.kind, ticket) {
        (Kind::CheckDue | Kind::CheckAgain | Kind::Misread | Kind::PutRight, _) => check("Start check"),
        (Kind::AnotherItem, _) => check("Check with another one"),
        (Kind::Finding | Kind::TakenOut, Some(t)) => link("See the ticket", format!("/tickets/{t}")),
        _ => link("See why", format!("/units/{number}")),
    });
    Seat {
        place: place.name.clone(),
        member: None,
        unit: Some(unit_ref(number)),
        thing: None,
        standing: Some(standing(s.state)),
        ready,
        reason: s.grounds.first().map(|g| sentence(&ground_words(g))),
        fix,
        checked: checked_sentence(fleet, s),
        strip: thin(fleet, unit),
    }
}

/// A place that holds something other than a unit, or nothing.
fn item(fleet: &Fleet, place: &SeatRow) -> Seat {
    let asset = place.asset.as_ref().and_then(|a| a.parse::<Asset>().ok());
    let (Some(asset), Some(s)) = (asset, fleet.standing_in(place)) else {
        let reason = Some("Nothing is in it.".to_owned());
        return Seat { place: place.name.clone(), reason, ..Seat::default() };
    };
    Seat {
        place: place.name.clone(),
        thing: Some(thing_words(&asset)),
        standing: Some(standing(s.state)),
        ready: s.state == Holds::InService,
        reason: s.grounds.first().map(|g| sentence(&ground_words(g))),
        ..Seat::default()
    }
}

/// How many checks are due now, and by when the next ones are.
fn notes(fleet: &Fleet, places: &[&SeatRow]) -> Vec<String> {
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
    out
}

fn swap(fleet: &Fleet, rig: &str) -> Option<Swap> {
    let f = filling(fleet, rig)?;
    let spare = &f.spare.row.number;
    let at = fleet.station_of(&f.spare.row).map_or("", |s| &s.name);
    let text = match f.now {
        Some(now) => format!(
            "{}: spare {spare} at {at} is in service and of the same kind as unit {}, which then stays at the station without a seat.",
            f.seat.name, now.row.number
        ),
        None => {
            format!("{}: spare {spare} at {at} is in service and of the kind that rides here.", f.seat.name)
        }
    };
    Some(Swap {
        text,
        action: format!("/rigs/{rig}/seats/{}/spare", f.seat.seat),
        spare: spare.clone(),
        instead: f.now.map(|u| u.row.number.clone()).unwrap_or_default(),
        button: format!("Put spare {spare} there"),
    })
}

/// A move as it was proposed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Move {
    spare: String,
    instead: String,
}

/// `POST /rigs/{rig}/seats/{seat}/spare`: moves a spare into a seat, while it is as it was shown.
pub async fn move_spare(
    State(app): State<App>,
    visitor: Visitor,
    Path((rig, seat)): Path<(String, String)>,
    Form(asked): Form<Move>,
) -> Result<Redirect, WebError> {
    let member = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let f = filling(&fleet, &rig)
        .filter(|f| f.seat.seat == seat && f.spare.row.number == asked.spare)
        .filter(|f| f.now.map_or("", |u| &u.row.number) == asked.instead);
    let Some(f) = f else {
        let say = "The seat or the spare has changed since you looked. Nothing was moved; look again.";
        return Err(WebError::Conflict(say.to_owned()));
    };
    // The old unit first: were the second move lost, the seat would show as empty, never as filled twice.
    let mut moves = Vec::new();
    if let Some(old) = f.now {
        moves.push((Asset::unit(&old.row.number), Place::Spare { station: f.seat.station.clone() }));
    }
    moves.push((Asset::unit(&asked.spare), Place::Seat { seat: seat.clone() }));
    for (asset, place) in moves {
        hand_in_desk(&app, "register", &member.id, &Register::Holder { asset, place }).await?;
    }
    Ok(Redirect::to(&format!("/rigs/{rig}")))
}
