//! Holding something for an inquiry, how it was sealed, and through whose hands it goes.

use airmuster_domain::quantity::Pressure;
use airmuster_domain::record::{Asset, AssetKind, Body, Desk, HandOver, Seal, TakenOut};
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;
use serde_json::json;
use uuid::Uuid;

use super::fills::read_pressure;
use super::{asset_href, file, parts};
use crate::service::IntakeError;
use crate::service::ticket::thing_words;
use crate::service::upkeep::ThingFile;
use crate::store::packed_words;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, member_options, page, standing, when};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_desk, hand_in_desk_once, hand_in_field, id_within, problem};
use crate::web::telling::seal_words;
use crate::web::view::upkeep::{Chain, SealDraft, Sealing};
use crate::web::view::{Link, ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    id: Uuid,
    why: String,
    pressure: String,
    turns: String,
    place: String,
    with: Vec<String>,
    more: String,
    battery: String,
    to: String,
    member: String,
    pin: String,
}

/// `GET /assets/{asset}/seal`.
pub async fn show_seal(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
) -> Result<Html<Sealing>, WebError> {
    let file = still_there(&app, &asset).await?;
    let member = visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default();
    // What is on it goes with it, unless somebody says that it does not; once it is held, that has been said.
    let mut with = fitted(&file);
    if file.standing.state == Holds::Held {
        let held = app.store.packed_with(&file.asset.number, app.clock.now()).await?;
        with.retain(|a| held.contains(a));
    }
    let with = with.iter().map(ToString::to_string).collect();
    let input = Input { id: app.clock.id(), member, with, ..Input::default() };
    Ok(Html(view(&app, &visitor, &file, &input, Vec::new()).await?))
}

/// `POST /assets/{asset}/seal`: holds it, where it is not held, and what is packed with it; then
/// writes down how it was sealed.
pub async fn seal(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let file = still_there(&app, &asset).await?;
    if input.id.is_nil() {
        return Err(WebError::Unreadable);
    }
    let mut lines = Vec::new();
    let held = file.standing.state == Holds::Held;
    if !held && input.why.trim().is_empty() {
        lines.push(problem("why", "Say what happened, in a few words."));
    }
    let body = read(&file, &input, &mut lines);
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if lines.is_empty() {
        let by = &input.member;
        // What is held already, as after “Take out of service”, is not held twice.
        let already = app.store.packed_with(&file.asset.number, app.clock.now()).await?;
        let packed = fitted(&file).into_iter();
        let packed = packed.filter(|a| input.with.contains(&a.to_string()) && !already.contains(a));
        let things = (!held).then(|| file.asset.clone()).into_iter().chain(packed).collect();
        hold(&app, &file.asset, input.why.trim(), things, (input.id, by)).await?;
        // Tapped twice, it was sealed once.
        let id = id_within(input.id, &json!(body).to_string());
        match hand_in_desk_once(&app, "sealed", id, by, &body).await {
            Ok(()) => return Ok(Redirect::to(&format!("/assets/{}/seal", file.asset)).into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem("place", format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &file, &input, lines).await?).into_response())
}

/// Holds a thing for an inquiry, or what is packed with it. Each is taken out of service, too: once it is
/// released it is proved before it rides.
///
/// # Errors
/// With what intake says, or the database.
pub async fn hold(
    app: &App,
    about: &Asset,
    why: &str,
    things: Vec<Asset>,
    (id, by): (Uuid, &str),
) -> Result<(), WebError> {
    for asset in things {
        let why = if asset == *about {
            why.to_owned()
        } else {
            format!("{}, held for an inquiry", packed_words(&thing_words(about).to_lowercase()))
        };
        let body = TakenOut { asset, why };
        for kind in ["taken_out", "hold"] {
            // The form's own id is the word that takes out what it is about: “Take out of service” has written it.
            let own = kind == "taken_out" && body.asset == *about;
            let id = if own { id } else { id_within(id, &format!("{kind} {}", body.asset)) };
            match hand_in_field(app, kind, id, by, &body).await {
                Ok(_) => {}
                // Sent again, it is the same hold. One that was released since, or is of something else, holds
                // nothing now.
                Err(IntakeError::Before(first)) => {
                    if !still_open(app, &body.asset, first.id).await? {
                        hand_in_field(app, kind, app.clock.id(), by, &body).await?;
                    }
                }
                Err(e) => return Err(e.into()),
            }
        }
    }
    Ok(())
}

/// Whether what a record holds against a thing is open.
pub async fn still_open(app: &App, asset: &Asset, record: Uuid) -> Result<bool, WebError> {
    let standing = file(app, &asset.to_string()).await?.standing;
    Ok(standing.grounds.iter().any(|g| g.raise.from.id == record))
}

/// `POST /assets/{asset}/hand-over`.
pub async fn hand_over(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let file = still_there(&app, &asset).await?;
    let mut lines = Vec::new();
    if input.to.trim().is_empty() {
        lines.push(problem("to", "Write down who has it now."));
    }
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if lines.is_empty() {
        let [to, why] = [&input.to, &input.more].map(|s| s.trim().to_owned());
        let body = HandOver { asset: file.asset.clone(), to, why };
        match hand_in_desk(&app, "handed_over", &input.member, &body).await {
            Ok(_) => return Ok(Redirect::to(&format!("/assets/{}/seal", file.asset)).into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem("to", format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &file, &input, lines).await?).into_response())
}

async fn still_there(app: &App, asset: &str) -> Result<ThingFile, WebError> {
    let file = file(app, asset).await?;
    match file.standing.state {
        Holds::Retired => {
            Err(WebError::Conflict(format!("{} is retired or condemned.", thing_words(&file.asset))))
        }
        _ => Ok(file),
    }
}

fn read(file: &ThingFile, input: &Input, lines: &mut Vec<ProblemLine>) -> Seal {
    let text = input.pressure.trim();
    let pressure = read_pressure(text, rated(file));
    if pressure.is_none() && !text.is_empty() {
        let say = format!("Give the pressure with its unit, such as {}.", file.ledger.pressure_like());
        lines.push(problem("pressure", say));
    }
    let turns = input.turns.trim();
    let thousandths = parts(turns, 3);
    let eighths = thousandths.filter(|t| t % 125 == 0).and_then(|t| u16::try_from(t / 125).ok());
    if eighths.is_none() && !turns.is_empty() {
        lines.push(problem("turns", "Give the turns as a number, to an eighth: 4.5 or 4.125."));
    }
    if input.place.trim().is_empty() {
        lines.push(problem("place", "Write down where that was, and where it is kept."));
    }
    let with = fitted(file).into_iter().filter(|a| input.with.contains(&a.to_string()));
    let mut packed_with: Vec<String> = with.map(|a| thing_words(&a).to_lowercase()).collect();
    packed_with.extend(Some(input.more.trim().to_owned()).filter(|m| !m.is_empty()));
    Seal {
        asset: file.asset.clone(),
        pressure,
        eighths,
        place: input.place.trim().to_owned(),
        packed_with,
        battery_in: input.battery == "yes",
    }
}

/// What the cylinder is rated for, or the one that is on the unit.
fn rated(file: &ThingFile) -> Option<Pressure> {
    let mut on_it = file.ledger.upkeep.fitted_to(&file.asset.number).filter_map(|(_, t)| t.rated);
    match file.asset.kind {
        AssetKind::Unit => on_it.next(),
        _ => file.thing.rated,
    }
}

/// What is fitted to a unit.
fn fitted(file: &ThingFile) -> Vec<Asset> {
    if file.asset.kind != AssetKind::Unit {
        return Vec::new();
    }
    file.ledger.upkeep.fitted_to(&file.asset.number).map(|(a, _)| a.clone()).collect()
}

async fn view(
    app: &App,
    visitor: &Visitor,
    file: &ThingFile,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Sealing, WebError> {
    let title = thing_words(&file.asset);
    let fleet = &file.ledger.fleet;
    let chain = file.events.iter().filter_map(|e| {
        let record = &e.kept.record;
        let say = match &record.body {
            Body::Desk(Desk::Sealed(s)) => format!("Sealed: {}.", seal_words(s)),
            Body::Desk(Desk::HandedOver(h)) if h.why.is_empty() => format!("Handed over to {}.", h.to),
            Body::Desk(Desk::HandedOver(h)) => format!("Handed over to {}: {}.", h.to, h.why),
            _ => return None,
        };
        let who = record.envelope.by.as_deref().map_or("nobody", |by| fleet.name(by));
        let at = when(&fleet.department.clock, record.envelope.time(), fleet.now);
        Some(Chain { say, signed: format!("{at} · {who}"), href: format!("/records/{}", e.kept.place.seq) })
    });
    let packed = fitted(file).into_iter().map(|a| {
        let ticked = input.with.contains(&a.to_string());
        (Link { text: thing_words(&a), href: a.to_string() }, ticked)
    });
    Ok(Sealing {
        page: page(app, visitor, &format!("Hold {}", title.to_lowercase())).await?,
        href: asset_href(&file.asset),
        action: format!("/assets/{}", file.asset),
        standing: standing(&file.standing),
        held: file.standing.state == Holds::Held,
        chain: chain.collect(),
        unit: file.asset.kind == AssetKind::Unit,
        packed: packed.collect(),
        pressure_like: file.ledger.pressure_like(),
        id: input.id.to_string(),
        entered: SealDraft {
            why: input.why.clone(),
            pressure: input.pressure.clone(),
            turns: input.turns.clone(),
            place: input.place.clone(),
            more: input.more.clone(),
            battery: input.battery == "yes",
            to: input.to.clone(),
        },
        members: member_options(&app.store.people().await?, Some(&input.member)),
        problems: Problems { lines },
        title,
    })
}
