//! Where a rig is and what it is for, and moving everything on it to another one.

use airmuster_domain::record::{Asset, AssetKind, Duty, RigStatus, Used};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;
use serde_json::json;

use crate::service::IntakeError;
use crate::service::muster::Muster;
use crate::service::takeover::{CrewsOf, everything};
use crate::store::RigRow;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, hand_in_field, hand_in_together, problem};
use crate::web::view::muster::Status;
use crate::web::view::{Link, MemberOption, ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    station: String,
    duty: String,
    why: String,
}

/// `GET /rigs/{rig}/status`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
) -> Result<Html<Status>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    let (station, duty) = (row.station.clone(), row.duty.id().to_owned());
    let input = Input { station, duty, why: row.why.clone() };
    Ok(Html(view(&app, &visitor, &muster, row, &input, Vec::new()).await?))
}

/// `POST /rigs/{rig}/status`.
pub async fn set_status(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    let duty = Duty::ALL.into_iter().find(|d| d.id() == input.duty).ok_or(WebError::Unreadable)?;
    let why = input.why.trim().to_owned();
    if why.is_empty() && !matches!(duty, Duty::InUse | Duty::Reserve) {
        let lines = vec![problem("why", "Say whom it is lent to or borrowed from, or why it is out.")];
        return Ok(Again(view(&app, &visitor, &muster, row, &input, lines).await?).into_response());
    }
    let body = RigStatus { rig: rig.clone(), station: input.station.clone(), duty, why };
    match hand_in_desk(&app, "rig_status", &by.id, &body).await {
        Ok(_) => {
            if row.duty == Duty::LentOut && duty != Duty::LentOut {
                came_back(&app, &muster, row, &by.id).await?;
            }
            Ok(Redirect::to(&format!("/rigs/{rig}")).into_response())
        }
        Err(IntakeError::Refused(r)) => Err(WebError::Conflict(format!("{}.", capital(&r.say)))),
        Err(e) => Err(e.into()),
    }
}

/// Whatever comes back from a loan has a check before it rides: nobody here saw what was done with it.
async fn came_back(app: &App, muster: &Muster, rig: &RigRow, by: &str) -> Result<(), WebError> {
    let there = muster.fleet.seats.iter().filter(|s| s.rig == rig.id).filter_map(|s| s.asset.as_ref());
    for unit in there.filter_map(|a| a.parse::<Asset>().ok()).filter(|a| a.kind == AssetKind::Unit) {
        let what = format!("lent out with {}: check it before it rides", rig.name);
        let body = Used { unit: unit.number.clone(), what, after_use: true, ..Used::default() };
        hand_in_field(app, "used", app.clock.id(), by, &body).await?;
    }
    Ok(())
}

/// Where everything goes.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct To {
    to: String,
}

/// `POST /rigs/{rig}/everything`: what is on it, its crew and its duty, together or not at all.
pub async fn move_everything(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Form(input): Form<To>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    let mut crews = Vec::new();
    for shift in muster.shifts() {
        let then = muster.in_shift(&app.store, shift).await?;
        let crew = |rig: &str| then.crew(rig).cloned().unwrap_or_default();
        crews.push((shift, CrewsOf { from: crew(&rig), to: crew(&input.to) }));
    }
    let planned = if input.to == rig {
        Err("Choose another rig.".to_owned())
    } else {
        everything(&muster, &rig, &input.to, &crews)
    };
    let planned = match planned {
        Ok(planned) => planned,
        Err(say) => {
            let (station, duty) = (row.station.clone(), row.duty.id().to_owned());
            let as_is = Input { station, duty, why: row.why.clone() };
            let lines = vec![problem("to", say)];
            return Ok(Again(view(&app, &visitor, &muster, row, &as_is, lines).await?).into_response());
        }
    };
    let mut records = vec![("moved", json!(planned.moved))];
    records.extend(planned.duties.iter().map(|duty| ("rig_status", json!(duty))));
    records.extend(planned.crews.iter().map(|crew| ("crew", json!(crew))));
    match hand_in_together(&app, &by.id, &records).await {
        Ok(receipts) => {
            let moved = receipts.first().map_or(0, |r| r.seq);
            Ok(Redirect::to(&format!("/rigs/{}?from={rig}&moved={moved}", input.to)).into_response())
        }
        Err(IntakeError::Refused(r)) => {
            Err(WebError::Conflict(format!("{}. Nothing was moved.", capital(&r.say))))
        }
        Err(e) => Err(e.into()),
    }
}

/// A rig that everything could go to: what it is for, and what has room on it.
fn goal(muster: &Muster, rig: &RigRow) -> String {
    let free = |kit: bool| muster.places(&rig.id).filter(|p| p.kit == kit && p.asset.is_none()).count();
    let room = match (free(false), free(true)) {
        (0, 0) => "no free place".to_owned(),
        (seats, kits) => format!("room for {seats} at its seats and {kits} in its kit places"),
    };
    format!("{}, {}: {room}", rig.name, rig.duty.words().to_lowercase())
}

async fn view(
    app: &App,
    visitor: &Visitor,
    muster: &Muster,
    rig: &RigRow,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Status, WebError> {
    let option = |id: &str, name: &str, chosen: &str| MemberOption {
        id: id.to_owned(),
        name: name.to_owned(),
        selected: id == chosen,
    };
    Ok(Status {
        page: page(app, visitor, &format!("Move or lend {}", rig.name)).await?,
        rig: Link { text: rig.name.clone(), href: format!("/rigs/{}", rig.id) },
        stations: muster.fleet.stations.iter().map(|s| option(&s.id, &s.name, &input.station)).collect(),
        duties: Duty::ALL.into_iter().map(|d| option(d.id(), d.words(), &input.duty)).collect(),
        why: input.why.clone(),
        rigs: muster
            .rigs
            .iter()
            .filter(|r| r.id != rig.id)
            .map(|r| option(&r.id, &goal(muster, r), ""))
            .collect(),
        problems: Problems { lines },
    })
}
