//! How often what stands where is checked: by rig, by place on a rig, and for a station's spares.

use std::collections::BTreeMap;

use airmuster_domain::record::{Cadence, Place, Register, Spot};
use airmuster_domain::standing::State as Holds;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::fleet::Fleet;
use crate::service::muster::Muster;
use crate::store::UnitRow;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, when};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::telling::spot_words;
use crate::web::view::cadences::{CadenceForm, CadenceGroup, CadenceRow, Cadences};
use crate::web::view::ticket::StageOption;
use crate::web::view::{ProblemLine, Problems};

/// What the form sends, and what a link chooses.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    at: String,
    cadence: String,
}

/// `GET /cadences?at=rig/engine-2`.
pub async fn show_list(
    State(app): State<App>,
    visitor: Visitor,
    Query(input): Query<Input>,
) -> Result<Html<Cadences>, WebError> {
    Ok(Html(view(&app, &visitor, &input.at, Vec::new()).await?))
}

/// `POST /cadences`. The session is signature enough.
pub async fn set(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let at = spot_of(&input.at).ok_or(WebError::NotFound)?;
    let cadence = Cadence::from_id(&input.cadence);
    if cadence.is_none() && !input.cadence.is_empty() {
        return Err(WebError::Unreadable);
    }
    let said = app.store.cadences().await?.set.get(&at).copied();
    if said != cadence {
        match hand_in_desk(&app, "register", &by, &Register::Cadence { at, cadence }).await {
            Ok(_) => {}
            Err(IntakeError::Refused(r)) => {
                let lines = vec![problem("cadence", format!("{}.", capital(&r.say)))];
                return Ok(Again(view(&app, &visitor, &input.at, lines).await?).into_response());
            }
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Redirect::to("/cadences").into_response())
}

/// A place as links and forms name it.
fn spot_of(key: &str) -> Option<Spot> {
    let (on, id) = key.split_once('/')?;
    let id = id.to_owned();
    Some(match on {
        "rig" => Spot::Rig { rig: id },
        "seat" => Spot::Seat { seat: id },
        "spares" => Spot::Spares { station: id },
        _ => return None,
    })
}

fn key_of(spot: &Spot) -> String {
    match spot {
        Spot::Rig { rig } => format!("rig/{rig}"),
        Spot::Seat { seat } => format!("seat/{seat}"),
        Spot::Spares { station } => format!("spares/{station}"),
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    chosen: &str,
    lines: Vec<ProblemLine>,
) -> Result<Cadences, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let fleet = &muster.fleet;
    let cadences = app.store.cadences().await?;
    let mut said: BTreeMap<Spot, String> = BTreeMap::new();
    for (spot, seq) in app.store.cadences_said().await? {
        if let Some(kept) = app.store.record(seq).await?.filter(|_| cadences.set.contains_key(&spot)) {
            let e = &kept.record.envelope;
            let at = when(&fleet.department.clock, e.time(), fleet.now);
            let by = e.by.as_deref().map_or("at the machine itself", |by| fleet.name(by));
            said.insert(spot, format!("set here {at}, {by}"));
        }
    }
    let mut groups = Vec::new();
    for rig in &muster.rigs {
        let spot = Spot::Rig { rig: rig.id.clone() };
        let row = |place: &str, what: Option<Cadence>, from: String, spot: &Spot| CadenceRow {
            place: place.to_owned(),
            what: what.map_or("–".to_owned(), |c| capital(c.words())),
            from,
            href: format!("/cadences?at={}", key_of(spot)),
        };
        let on_rig = cadences.set.get(&spot).copied();
        let from = said.get(&spot).cloned().unwrap_or_else(|| "nothing is set for the whole rig".to_owned());
        let mut rows = vec![row("Everything on it", on_rig, from, &spot)];
        for place in muster.places(&rig.id) {
            let own = Spot::Seat { seat: place.seat.clone() };
            let unit = fleet.in_seat(place).map(|u| &u.row);
            let there = cadences.said(&Place::Seat { seat: place.seat.clone() });
            let what = there.as_ref().map(|(c, _)| *c).or(unit.map(|u| u.cadence));
            let from = match (said.get(&own), there, unit) {
                (Some(words), ..) => words.clone(),
                (None, Some(_), _) => "as the rig".to_owned(),
                (None, None, Some(unit)) => format!("unit {}’s own", unit.number),
                (None, None, None) => "nothing is set".to_owned(),
            };
            rows.push(row(&place.name, what, from, &own));
        }
        groups.push(CadenceGroup { name: rig.name.clone(), rows });
    }
    let spares = fleet.stations.iter().map(|s| {
        let spot = Spot::Spares { station: s.id.clone() };
        CadenceRow {
            place: s.name.clone(),
            what: cadences.set.get(&spot).map_or("–".to_owned(), |c| capital(c.words())),
            from: said.get(&spot).cloned().unwrap_or_else(|| "each unit’s own".to_owned()),
            href: format!("/cadences?at={}", key_of(&spot)),
        }
    });
    groups.push(CadenceGroup { name: "Spares".to_owned(), rows: spares.collect() });
    let form = match spot_of(chosen).filter(|s| known(&muster, s)) {
        Some(spot) => Some(form(&muster, &spot, cadences.set.get(&spot).copied())),
        None if chosen.is_empty() => None,
        None => return Err(WebError::NotFound),
    };
    let less = less(fleet, &cadences.set);
    Ok(Cadences {
        page: page(app, visitor, "How often things are checked").await?,
        groups,
        caution: Cadence::AfterUse.caution().filter(|_| !less.is_empty()).unwrap_or_default(),
        less,
        form,
        problems: Problems { lines },
    })
}

fn known(muster: &Muster, spot: &Spot) -> bool {
    match spot {
        Spot::Rig { rig } => muster.rig(rig).is_some(),
        Spot::Seat { seat } => muster.fleet.seats.iter().any(|s| s.seat == *seat),
        Spot::Spares { station } => muster.fleet.stations.iter().any(|s| s.id == *station),
    }
}

/// What is checked less often than the law asks for: places that are set so, and units that bring it
/// along.
fn less(fleet: &Fleet, set: &BTreeMap<Spot, Cadence>) -> Vec<String> {
    let spots =
        set.iter().filter(|(_, c)| c.caution().is_some()).map(|(s, _)| capital(&spot_words(fleet, s)));
    let own = |u: &UnitRow| u.cadence_of.is_none() && u.cadence.caution().is_some();
    let units = fleet.units.values().filter(|u| u.standing.state != Holds::Retired && own(&u.row));
    spots.chain(units.map(|u| format!("Unit {}", u.row.number))).collect()
}

fn form(muster: &Muster, spot: &Spot, said: Option<Cadence>) -> CadenceForm {
    let name = match spot {
        Spot::Rig { rig } => muster.rig(rig).map_or_else(|| rig.clone(), |r| r.name.clone()),
        Spot::Seat { .. } | Spot::Spares { .. } => capital(&spot_words(&muster.fleet, spot)),
    };
    let way =
        |value: &str, label: String, selected: bool| StageOption { value: value.to_owned(), label, selected };
    let nothing = match spot {
        Spot::Seat { .. } => "As the rig, or each unit’s own",
        Spot::Rig { .. } | Spot::Spares { .. } => "Each unit’s own",
    };
    let ways = Cadence::ALL.map(|c| way(c.id(), capital(c.words()), said == Some(c)));
    CadenceForm {
        name,
        at: key_of(spot),
        ways: std::iter::once(way("", nothing.to_owned(), said.is_none())).chain(ways).collect(),
        caution: Cadence::AfterUse.caution().unwrap_or_default(),
    }
}
