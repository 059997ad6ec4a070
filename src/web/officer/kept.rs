//! A rig's roster for a tablet: to read and to sign with no network. It is kept on the tablet, so it says
//! until when fit tests count and nothing medical.

use airmuster_domain::Millis;
use airmuster_domain::readiness::Lack;
use airmuster_domain::record::Asset;
use airmuster_domain::role::Role;
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, State};
use serde_json::json;

use super::crew::shift_words;
use super::words::{date, lack_words, manned_words, read_words};
use crate::service::intake::CLIENT;
use crate::service::muster::{Manned, Muster};
use crate::service::ticket::thing_words;
use crate::store::SeatRow;
use crate::web::auth::Visitor;
use crate::web::crew::check::tablet_of;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{checked_sentence, member_options, page, standing, station_href, unit_ref, when};
use crate::web::serving::App;
use crate::web::view::kept::{KeptRoster, KeptSeat};
use crate::web::view::{Link, Problems};

/// For so many shifts to come a kept roster knows when each begins.
const SHIFTS: usize = 15;

/// `GET /rigs/{rig}/roster`.
pub async fn show_roster(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
) -> Result<Html<KeptRoster>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    let fleet = &muster.fleet;
    let station = fleet.stations.iter().find(|s| s.id == row.station);
    let places: Vec<&SeatRow> = muster.places(&rig).collect();
    let rows: Vec<KeptSeat> = places.iter().map(|p| seat(&muster, p)).collect();
    let mut starts: Vec<Millis> = vec![muster.shift];
    while starts.len() < SHIFTS {
        let last = starts.last().copied().unwrap_or(muster.shift);
        starts.push(fleet.department.clock.next_start(last));
    }
    let about = json!({
        "rig": rig,
        "name": row.name,
        "tablet": tablet_of(&visitor),
        "client": CLIENT,
        "starts": starts,
        "places": muster.reviewed_but_for_clearance(&rig),
    });
    let accepted = muster.accepted_but_for_clearance(&app.store, &rig).await?;
    let accepted = accepted.map(|(a, changed)| {
        let by = a.by.as_deref().map_or("", |m| fleet.name(m));
        let at = when(&fleet.department.clock, a.at, fleet.now);
        match changed.as_slice() {
            [] => format!("Reviewed by {by} at {at}."),
            changed => format!("Reviewed by {by} at {at}. Changed since acceptance: {}.", changed.join(", ")),
        }
    });
    let signers = app.store.signers().await?;
    let mut people = app.store.people().await?;
    people.retain(|p| signers.iter().any(|s| s.id == p.member && s.roles.contains(&Role::Officer)));
    Ok(Html(KeptRoster {
        page: page(&app, &visitor, &format!("{}: roster", row.name)).await?,
        rig: row.name.clone(),
        station: format!("{} station", station.map_or("", |s| &s.name)),
        shift: shift_words(&muster),
        state: Some(manned_words(&muster, row)).filter(|_| muster.manned(row) != Manned::NoRoster),
        ready: rows.iter().filter(|r| r.ready && !r.kit).count(),
        seats: rows.iter().filter(|r| !r.kit).count(),
        accepted,
        rows,
        members: member_options(&people, None),
        problems: Problems::default(),
        about: about.to_string(),
        full: format!("/rigs/{rig}"),
        used: format!("/rigs/{rig}/used"),
        back: Link { text: "Back to the board".to_owned(), href: station_href(&row.station) },
    }))
}

fn seat(muster: &Muster, place: &SeatRow) -> KeptSeat {
    let fleet = &muster.fleet;
    let lacks = muster.but_for_clearance(place).lacks;
    let unit = fleet.in_seat(place);
    let asset = place.asset.as_ref().and_then(|a| a.parse::<Asset>().ok());
    KeptSeat {
        seat: place.seat.clone(),
        place: place.name.clone(),
        kit: place.kit,
        member: muster.member(place).map(|m| fleet.name(m).to_owned()),
        unit: unit.map(|u| unit_ref(&u.row.number)),
        thing: asset.filter(|_| unit.is_none()).as_ref().map(thing_words),
        standing: fleet.standing_in(place).map(standing),
        until: unit.and_then(|u| u.standing.until),
        ready: lacks.is_empty(),
        rest: lacks.iter().any(|l| *l != Lack::Standing(Holds::CheckDue)),
        reasons: lacks.iter().map(|l| lack_words(muster, place, l)).collect(),
        fit: fit(muster, place),
        checked: unit
            .map(|u| checked_sentence(fleet, &u.standing))
            .or_else(|| read_words(fleet, place.asset.as_ref()))
            .unwrap_or_default(),
    }
}

/// Until when the member on a seat may wear what is with its unit, by the fit test. Where there is none
/// or it is past, that is what the seat lacks.
fn fit(muster: &Muster, place: &SeatRow) -> Option<String> {
    let rider = muster.rider(muster.member(place)?);
    let worn = muster.apparatus(muster.fleet.in_seat(place)?).facepiece?;
    let until = rider.fit_for(&worn).filter(|until| *until >= muster.today)?;
    Some(format!("Fit until {}", date(until)))
}
