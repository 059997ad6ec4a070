//! The spare cylinders of a rig: what each reads where it lies. One form, one signature, one record a
//! cylinder.

use airmuster_domain::record::{Asset, CylinderRead};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde_json::json;

use super::used::{Input, field};
use crate::service::IntakeError;
use crate::service::fleet::Fleet;
use crate::store::SeatRow;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::officer::words::read_words;
use crate::web::present::{capital, member_options, page, station_href};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_together, problem};
use crate::web::upkeep::fills::read_pressure;
use crate::web::view::spares::{SpareField, SparesForm};
use crate::web::view::{Link, ProblemLine, Problems};

/// `GET /rigs/{rig}/spares`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
) -> Result<Html<SparesForm>, WebError> {
    let member = visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default();
    let input = Input::from([("member".to_owned(), member)]);
    Ok(Html(view(&app, &visitor, &rig, &input, Vec::new()).await?))
}

/// `POST /rigs/{rig}/spares`: those that were read, all of them or none.
pub async fn take_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let cylinders = cylinders(&fleet, &rig);
    let (place, asset) = cylinders.first().ok_or(WebError::NotFound)?;
    let (back, first) = (station_href(&place.station), format!("p.{}", asset.number));
    let mut lines = Vec::new();
    let mut bodies = Vec::new();
    for (_, asset) in &cylinders {
        let id = format!("p.{}", asset.number);
        let text = field(&input, &id);
        if text.is_empty() {
            continue;
        }
        match read_pressure(text, app.store.thing(asset).await?.rated) {
            Some(pressure) => {
                let cylinder = asset.number.clone();
                bodies.push(("cylinder_read", json!(CylinderRead { cylinder, pressure })));
            }
            None => lines.push(problem(&id, "Give the pressure as its gauge shows it, such as 4480.")),
        }
    }
    if bodies.is_empty() && lines.is_empty() {
        lines.push(problem(&first, "Give the pressure of at least one."));
    }
    let member = field(&input, "member");
    lines.extend(check_pin(&app, &visitor, member, field(&input, "pin")).await?.err());
    if lines.is_empty() {
        match hand_in_together(&app, member, &bodies).await {
            Ok(_) => return Ok(Redirect::to(&back).into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem(&first, format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &rig, &input, lines).await?).into_response())
}

/// The cylinders that lie ready on a rig, with their places.
fn cylinders<'a>(fleet: &'a Fleet, rig: &str) -> Vec<(&'a SeatRow, Asset)> {
    let here = fleet.seats.iter().filter(|s| s.rig == rig);
    here.filter_map(|s| {
        let held = s.asset.as_ref().filter(|a| fleet.racked.contains_key(*a))?;
        Some((s, held.parse().ok()?))
    })
    .collect()
}

async fn view(
    app: &App,
    visitor: &Visitor,
    rig: &str,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<SparesForm, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let here = cylinders(&fleet, rig);
    let (first, _) = here.first().ok_or(WebError::NotFound)?;
    let (name, station) = (first.rig_name.clone(), first.station.clone());
    let problems = Problems { lines };
    let mut fields = Vec::new();
    for (place, asset) in &here {
        let id = format!("p.{}", asset.number);
        let unit = app.store.thing(asset).await?.rated.map(airmuster_domain::quantity::Pressure::unit);
        let above = fleet.racked.get(&asset.to_string()).and_then(|c| c.above).zip(unit);
        let above = above.map(|(above, unit)| format!("It must be above {}.", above.words(unit)));
        let last = read_words(&fleet, place.asset.as_ref()).map(|words| format!("Last: {words}."));
        fields.push(SpareField {
            label: format!("{}: {}", place.name, asset.number),
            unit: unit.map_or("psi", airmuster_domain::quantity::PressureUnit::symbol),
            help: above.into_iter().chain(last).collect::<Vec<_>>().join(" "),
            value: field(input, &id).to_owned(),
            problem: problems.at(&id).map(str::to_owned),
            id,
        });
    }
    Ok(SparesForm {
        page: page(app, visitor, "Spare cylinders").await?,
        back: Link { text: name.clone(), href: station_href(&station) },
        rig: name,
        action: format!("/rigs/{rig}/spares"),
        cylinders: fields,
        members: member_options(&app.store.people().await?, Some(field(input, "member"))),
        problems,
    })
}
