//! Moving a unit: into an empty place on a rig, to the spares, to the bench or to a repairer.

use airmuster_domain::record::{Asset, Place, Register};
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::BENCH;
use crate::service::fleet::Fleet;
use crate::service::unit::UnitFile;
use crate::web::auth::Visitor;
use crate::web::crew::unit::{file, view};
use crate::web::error::WebError;
use crate::web::html::Again;
use crate::web::present::capital;
use crate::web::serving::App;
use crate::web::signing::hand_in_desk;
use crate::web::view::unit::{Destination, Destinations, Moving};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    to: String,
}

/// `POST /units/{unit}/move`.
pub async fn move_unit(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let member = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let file = file(&app, &unit).await?;
    let row = file.row.as_ref().ok_or(WebError::NotFound)?;
    let no = |say: String| Err(WebError::Conflict(format!("{say} Nothing was moved.")));
    match file.standing.state {
        Holds::Retired => return no(format!("Unit {unit} is retired.")),
        Holds::Held => {
            let say = "is held for an inquiry: it stays where it is until an administrator releases it.";
            return no(format!("Unit {unit} {say}"));
        }
        _ => {}
    }
    let Some(place) = read(&file.fleet, &input.to) else {
        let say = Some("Choose where it goes.".to_owned());
        return Ok(Again(view(&app, &visitor, &file, say).await?).into_response());
    };
    let words = capital(&file.fleet.words_of(&place));
    if row.place.as_ref() == Some(&place) {
        return no(format!("{words}: unit {unit} is there already."));
    }
    if !free(&file.fleet, &place) {
        return no(format!("{words} is not empty any more."));
    }
    let body = Register::Holder { asset: Asset::unit(&unit), place };
    hand_in_desk(&app, "register", &member.id, &body).await?;
    Ok(Redirect::to(&format!("/units/{unit}")).into_response())
}

/// The form on a unit's page; none where the visitor may not move it, or nobody may.
pub fn form(file: &UnitFile, visitor: &Visitor, problem: Option<String>) -> Option<Moving> {
    let row = file.row.as_ref()?;
    let away = row.place == Some(Place::Away);
    if away || !visitor.is(BENCH) || matches!(file.standing.state, Holds::Held | Holds::Retired) {
        return None;
    }
    let fleet = &file.fleet;
    let group = |label: &str, places: &mut dyn Iterator<Item = Place>| Destinations {
        label: label.to_owned(),
        places: places
            .filter(|p| row.place.as_ref() != Some(p) && free(fleet, p))
            .map(|p| Destination { value: written(&p), label: capital(&fleet.words_of(&p)) })
            .collect(),
    };
    let mut groups = vec![
        group("On a rig", &mut fleet.seats.iter().map(|s| Place::Seat { seat: s.seat.clone() })),
        group("Spare", &mut fleet.stations.iter().map(|s| Place::Spare { station: s.id.clone() })),
        group("Repair", &mut [Place::Bench, Place::Repairer].into_iter()),
    ];
    groups.retain(|g| !g.places.is_empty());
    Some(Moving { groups, problem })
}

/// Whether there is room: a place on a rig takes one thing, every other place takes all.
fn free(fleet: &Fleet, place: &Place) -> bool {
    let Place::Seat { seat } = place else { return true };
    fleet.seats.iter().any(|s| s.seat == *seat && s.asset.is_none())
}

/// A place as the form sends it.
fn written(place: &Place) -> String {
    match place {
        Place::Seat { seat } => format!("seat/{seat}"),
        Place::Spare { station } => format!("spare/{station}"),
        Place::With { unit } => format!("with/{unit}"),
        Place::Bench => "bench".to_owned(),
        Place::Repairer => "repairer".to_owned(),
        Place::Away => "away".to_owned(),
    }
}

/// A place of this department where a unit can be.
fn read(fleet: &Fleet, to: &str) -> Option<Place> {
    match to.split_once('/').unwrap_or((to, "")) {
        ("seat", id) => {
            fleet.seats.iter().find(|s| s.seat == id).map(|s| Place::Seat { seat: s.seat.clone() })
        }
        ("spare", id) => {
            fleet.stations.iter().find(|s| s.id == id).map(|s| Place::Spare { station: s.id.clone() })
        }
        ("bench", "") => Some(Place::Bench),
        ("repairer", "") => Some(Place::Repairer),
        _ => None,
    }
}
