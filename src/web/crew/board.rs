//! The station chooser and the station board.

use airmuster_domain::ground::Kind;
use airmuster_domain::readiness::{Lack, Readiness};
use airmuster_domain::record::Asset;
use airmuster_domain::standing::State as Standing;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;

use crate::service::fleet::{Fleet, UnitFacts};
use crate::service::muster::Muster;
use crate::store::SeatRow;
use crate::web::auth::{STATION, Visitor, lasting};
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::officer::words::lack_words;
use crate::web::present::{
    capital, checked_words, ground_words, page, standing, start_words, station_href, thin, unit_ref, when,
};
use crate::web::serving::App;
use crate::web::view::Action;
use crate::web::view::board::{Line, RigBlock, StationBoard, StationChooser, StationTile};

/// Where only a countersignature is missing.
const AWAITED: &str = "A good check waits for an officer’s countersignature.";

/// `GET /`: the board of the tablet's station, or the chooser.
pub async fn show_start(visitor: Visitor) -> Response {
    let to = visitor.station.as_deref().map_or("/stations".to_owned(), station_href);
    Redirect::to(&to).into_response()
}

/// `GET /stations`.
pub async fn show_stations(
    State(app): State<App>,
    visitor: Visitor,
) -> Result<Html<StationChooser>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let fleet = &muster.fleet;
    let stations = fleet
        .stations
        .iter()
        .map(|s| {
            let seats: Vec<&SeatRow> =
                fleet.seats.iter().filter(|seat| seat.station == s.id && !seat.kit).collect();
            let mut rigs: Vec<&str> = seats.iter().map(|s| s.rig_name.as_str()).collect();
            rigs.dedup();
            // As on every other page, a rig that nobody rides is neither open nor full.
            let ridden = |s: &&&SeatRow| muster.rig(&s.rig).is_some_and(|rig| !muster.aside(rig));
            let counted: Vec<&&SeatRow> = seats.iter().filter(ridden).collect();
            StationTile {
                name: s.name.clone(),
                href: station_href(&s.id),
                rigs: rigs.join(", "),
                ready: counted.iter().filter(|s| muster.but_for_clearance(s).ready()).count(),
                seats: counted.len(),
            }
        })
        .collect();
    let people = fleet.seats.iter().any(|s| muster.member(s).is_some());
    Ok(Html(StationChooser { page: page(&app, &visitor, "Stations").await?, stations, people }))
}

/// `GET /stations/{station}`: the board. The tablet remembers which station it looked at last.
pub async fn show_board(
    State(app): State<App>,
    mut visitor: Visitor,
    jar: CookieJar,
    Path(id): Path<String>,
) -> Result<impl IntoResponse, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let fleet = &muster.fleet;
    let station = fleet.stations.iter().find(|s| s.id == id).ok_or(WebError::NotFound)?;
    let mut rigs: Vec<RigBlock> = Vec::new();
    for seat in fleet.seats.iter().filter(|s| s.station == id) {
        let href = format!("/rigs/{}", seat.rig);
        if rigs.last().is_none_or(|r| r.href != href) {
            let used = format!("/rigs/{}/used", seat.rig);
            let roster = format!("/rigs/{}/roster", seat.rig);
            let (id, name) = (seat.rig.clone(), seat.rig_name.clone());
            let aside = muster.rig(&id).is_some_and(|rig| muster.aside(rig));
            rigs.push(RigBlock { id, roster, name, href, used, aside, ..RigBlock::default() });
        }
        if let Some(rig) = rigs.last_mut() {
            let line = match fleet.in_seat(seat) {
                None => item_line(fleet, seat),
                unit => seat_line(&muster, seat, unit),
            };
            if seat.kit { rig.kits.push(line) } else { rig.seats.push(line) }
        }
    }
    let spares = fleet.spares_of(&id).map(|u| line(fleet, "Spare".to_owned(), Some(u))).collect();
    let people = fleet.seats.iter().any(|s| s.station == id && muster.member(s).is_some());
    let mut attention: Vec<Action> = app
        .store
        .needing_attention()
        .await?
        .into_iter()
        .map(|(seq, _, why)| Action {
            text: format!("A record needs attention: {why}."),
            href: format!("/records/{seq}"),
            next: false,
        })
        .collect();
    let (waiting, others) = app.store.count_unproven().await?;
    if waiting > 0 {
        let what = if others == 0 { "check" } else { "signature" };
        let checks =
            if waiting == 1 { &format!("One {what} waits") } else { &format!("{waiting} {what}s wait") };
        let text = format!("{checks} for the signer’s PIN.");
        attention.push(Action { text, href: "/unproven".to_owned(), next: false });
    }
    let waiting = app.store.uncountersigned().await?.len();
    if waiting > 0 {
        let checks = if waiting == 1 { "One check waits" } else { &format!("{waiting} checks wait") };
        let text = format!("{checks} for an officer’s countersignature.");
        attention.push(Action { text, href: "/countersign".to_owned(), next: false });
    }
    visitor.station = Some(id.clone());
    let view = StationBoard {
        page: page(&app, &visitor, &station.name).await?,
        station: station.name.clone(),
        rigs,
        spares,
        people,
        attention,
    };
    // Fetched to be kept, it says nothing about where the tablet is.
    let jar = if visitor.ahead { jar } else { jar.add(lasting(STATION, id)) };
    Ok((jar, Html(view)))
}

/// A check that a call has stopped can be gone on with, unless the unit was used meanwhile: then all of it is
/// looked at anew.
fn stopped_check(unit: &UnitFacts) -> Option<Action> {
    let grounds = &unit.standing.grounds;
    if grounds.iter().any(|g| g.raise.kind == Kind::Used) {
        return None;
    }
    let stopped = grounds.iter().find(|g| g.raise.kind == Kind::CheckAgain && g.raise.run.is_some())?;
    Some(Action {
        text: "Go on".to_owned(),
        href: format!("/units/{}/check?continues={}", unit.row.number, stopped.raise.from.id),
        next: false,
    })
}

/// A place that holds something other than a unit, or nothing.
fn item_line(fleet: &Fleet, seat: &SeatRow) -> Line {
    let place = seat.name.clone();
    let asset = seat.asset.as_ref().and_then(|a| a.parse::<Asset>().ok());
    let (Some(asset), Some(s)) = (asset, fleet.standing_in(seat)) else {
        let missing = if seat.kit { "Nothing is here." } else { "No unit is here." };
        return Line { place, reason: Some(missing.to_owned()), ..Line::default() };
    };
    let readiness = fleet.spare_ready(seat);
    let cylinder = fleet.racked.get(&asset.to_string());
    let moment = |t| when(&fleet.department.clock, t, fleet.now);
    let lack = readiness.iter().flat_map(|r| &r.lacks).find_map(|l| match l {
        Lack::NotRead => Some("Nobody has read it since it lies here.".to_owned()),
        Lack::ReadTooLongAgo { .. } => {
            Some(format!("To be read {}.", cylinder.map_or("again", |c| c.cadence.words())))
        }
        Lack::Low { read, above } => Some(format!("It must be above {}.", above.words(read.unit()))),
        _ => None,
    });
    let again = |text: &str| Action {
        text: text.to_owned(),
        href: format!("/rigs/{}/spares", seat.rig),
        next: false,
    };
    Line {
        place,
        thing: Some(format!("{} {}", capital(asset.kind.words()), asset.number)),
        standing: Some(standing(s)),
        ready: readiness.as_ref().is_some_and(Readiness::ready),
        read: cylinder.and_then(|c| c.read).map(|(_, p)| (p.number(), p.unit().symbol())),
        checked: cylinder.and_then(|c| c.read).map(|(at, _)| format!("read {}", moment(at))),
        due: readiness.as_ref().and_then(|r| r.due_by).map(moment),
        reason: s.grounds.first().map(ground_words).or(lack),
        action: readiness.map(|r| again(if r.ready() { "Read again" } else { "Read it" })),
        ..Line::default()
    }
}

/// A place on a rig with its unit: ready is the seat, not only what is on it.
fn seat_line(muster: &Muster, place: &SeatRow, unit: Option<&UnitFacts>) -> Line {
    let line = line(&muster.fleet, place.name.clone(), unit);
    let readiness = muster.but_for_clearance(place);
    let rest = readiness.lacks.iter().find(|l| !matches!(l, Lack::Standing(_) | Lack::Empty));
    let reason = rest.map(|lack| match lack {
        // Who lacks what is told by name on the roster only.
        Lack::NoFitTest | Lack::FitTestPast { .. } => "Member not ready: see the roster.".to_owned(),
        lack => lack_words(muster, place, lack),
    });
    Line { ready: readiness.ready(), rest: rest.is_some(), reason: line.reason.or(reason), ..line }
}

/// A seat, kit or spare in one line.
fn line(fleet: &Fleet, place: String, unit: Option<&UnitFacts>) -> Line {
    let Some(unit) = unit else {
        return Line { place, reason: Some("No unit is here.".to_owned()), ..Line::default() };
    };
    let s = &unit.standing;
    let (checked, due) = checked_words(fleet, s);
    let start = start_words(s, unit.row.cadence);
    let used = s.grounds.iter().find(|g| g.raise.kind == Kind::Used).filter(|_| unit.last_known().is_none());
    let number = &unit.row.number;
    let check = |text: &str| {
        Some(Action { text: text.to_owned(), href: format!("/units/{number}/check"), next: false })
    };
    Line {
        place,
        unit: Some(unit_ref(number)),
        thing: None,
        soon: s.state == Standing::InService && fleet.due_this_shift(s),
        strip: thin(fleet, unit),
        standing: Some(standing(s)),
        ready: s.state == Standing::InService,
        rest: false,
        read: None,
        checked,
        due: due.filter(|_| s.state == Standing::InService),
        reason: match s.state {
            Standing::CheckDue if fleet.awaited.contains(number) => Some(AWAITED.to_owned()),
            Standing::CheckDue if used.is_some() => {
                used.map(|g| format!("{}. Not read since.", ground_words(g)))
            }
            state => s.grounds.first().filter(|_| state > Standing::CheckDue).map(ground_words),
        },
        action: match s.state {
            Standing::InService if fleet.due_this_shift(s) => check(start),
            Standing::InService => check("Check again"),
            Standing::CheckDue | Standing::PutRight => stopped_check(unit).or_else(|| check(start)),
            Standing::OutOfService | Standing::Held | Standing::Retired => {
                Some(Action { text: "See why".to_owned(), href: format!("/units/{number}"), next: false })
            }
        },
    }
}
