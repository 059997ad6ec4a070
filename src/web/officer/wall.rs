//! The page that hangs on the wall: rigs only, nobody's name, so that nobody need be signed in.

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::roster::{short_for_anybody, tile};
use crate::service::muster::Muster;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::serving::App;
use crate::web::view::muster::Wall;
use crate::web::view::roster::RigsOf;

/// `GET /wall`: the whole department.
pub async fn show_all(State(app): State<App>) -> Result<Html<Wall>, WebError> {
    wall(&app, None).await
}

/// `GET /wall/{station}`.
pub async fn show_station(
    State(app): State<App>,
    Path(station): Path<String>,
) -> Result<Html<Wall>, WebError> {
    wall(&app, Some(&station)).await
}

async fn wall(app: &App, station: Option<&str>) -> Result<Html<Wall>, WebError> {
    // The head first: what comes in meanwhile is drawn with the next one.
    let seq = app.store.head().await?.seq;
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let fleet = &muster.fleet;
    let shown = || fleet.stations.iter().filter(|s| station.is_none_or(|id| s.id == id));
    let title = match station {
        Some(_) => shown().next().map(|s| s.name.clone()).ok_or(WebError::NotFound)?,
        None => fleet.department.name.clone(),
    };
    let part = |s: &crate::store::Station| RigsOf {
        station: s.name.clone(),
        rigs: muster
            .rigs
            .iter()
            .filter(|r| r.station == s.id)
            .map(|r| tile(&muster, &r.id, Muster::but_for_clearance, short_for_anybody))
            .collect(),
        teams: None,
    };
    Ok(Html(Wall {
        title,
        platoon: muster.platoon().map(|p| format!("{p} platoon")),
        clock: fleet.department.clock.local(fleet.now).format("%a %-d %b · %H:%M").to_string(),
        seq,
        people: fleet.seats.iter().any(|s| muster.member(s).is_some()),
        stations: shown().map(part).filter(|s| !s.rigs.is_empty()).collect(),
    }))
}

/// `GET /wall/events`: one event, the number of the last record, and when to ask again. A stream
/// that ends at once holds no connection, so that the server can stop at any time; to the page it
/// is the same as one that goes on (HTML standard, server-sent events: `retry`).
pub async fn show_events(State(app): State<App>) -> Result<Response, WebError> {
    let seq = app.store.head().await?.seq;
    let headers = [(header::CONTENT_TYPE, "text/event-stream"), (header::CACHE_CONTROL, "no-store")];
    Ok((headers, format!("retry: 5000\nid: {seq}\ndata: {seq}\n\n")).into_response())
}
