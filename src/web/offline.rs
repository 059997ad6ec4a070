//! What a tablet fetches ahead, so that it can work with no network.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::Query;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::assets::{Static, show_file};
use super::auth::Visitor;
use super::error::WebError;
use super::html::Html;
use super::present::{page, station_href};
use super::serving::App;
use super::view::unsent::Unsent;
use crate::service::fleet::Fleet;

/// Everything that a tablet of a station keeps. The same for whoever holds it.
#[derive(Debug, Serialize)]
pub struct List {
    /// Names the program's pages and scripts as a whole: they are kept or replaced together.
    build: String,
    /// When this was made.
    made: i64,
    /// Pages.
    pages: Vec<String>,
    /// Style sheet, scripts, icons.
    assets: Vec<String>,
    /// Who may sign.
    members: Vec<Signer>,
    /// The key to which PINs are sealed.
    seal_key: SealTo,
    /// Units of the whole department with their profiles, for one that has moved here.
    units: Vec<Unit>,
}

#[derive(Debug, Serialize)]
struct Signer {
    id: String,
    name: String,
}

#[derive(Debug, Serialize)]
struct SealTo {
    /// What seals call it.
    name: String,
    /// The point.
    public: String,
}

#[derive(Debug, Serialize)]
struct Unit {
    number: String,
    profile: String,
}

/// The station whose pages a tablet has kept. Its cookie says the same, unless that was lost.
#[derive(Debug, Default, Deserialize)]
pub struct Asked {
    station: Option<String>,
}

/// `GET /offline/list`.
pub async fn show_list(
    State(app): State<App>,
    visitor: Visitor,
    Query(asked): Query<Asked>,
) -> Result<Json<List>, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let mut pages = vec!["/stations".to_owned(), "/unsent".to_owned(), "/unproven".to_owned()];
    if let Some(station) = visitor
        .station
        .as_ref()
        .or(asked.station.as_ref())
        .filter(|id| fleet.stations.iter().any(|s| s.id == **id))
    {
        pages.push(station_href(station));
        let seated = fleet.seats.iter().filter(|s| s.station == *station).filter_map(|s| fleet.in_seat(s));
        for rig in app.store.rigs().await?.iter().filter(|r| r.station == *station) {
            pages.push(format!("/rigs/{}/roster", rig.id));
            pages.push(format!("/rigs/{}/used", rig.id));
        }
        for unit in seated.chain(fleet.spares_of(station)) {
            pages.push(format!("/units/{}", unit.row.number));
            pages.push(format!("/units/{}/check", unit.row.number));
        }
    }
    if let Some(table) = &fleet.table {
        let of_kind = |p: &String| [format!("/forms/{p}"), format!("/forms/{p}/after-use")];
        pages.extend(table.profiles.keys().flat_map(of_kind));
    }
    let members = app.store.people().await?;
    Ok(Json(List {
        build: build(),
        made: app.clock.now(),
        pages,
        assets: Static::iter().filter(|n| n != "sw.js").map(|n| format!("/static/{n}")).collect(),
        members: members.into_iter().map(|p| Signer { id: p.member, name: p.name }).collect(),
        seal_key: SealTo { name: app.sealed.key().name(), public: app.sealed.key().public() },
        units: fleet
            .units
            .values()
            .map(|u| Unit { number: u.row.number.clone(), profile: u.row.profile.clone() })
            .collect(),
    }))
}

/// A name for what this program serves: it changes when a script, the style sheet or the version does.
fn build() -> String {
    let mut names: Vec<_> = Static::iter().collect();
    names.sort();
    let mut hash = Sha256::new();
    hash.update(env!("CARGO_PKG_VERSION"));
    for file in names.iter().filter_map(|n| Static::get(n)) {
        hash.update(file.metadata.sha256_hash());
    }
    hash.finalize().iter().take(8).fold(String::new(), |mut out, b| {
        use std::fmt::Write;
        let _ = write!(out, "{b:02x}");
        out
    })
}

/// `GET /sw.js`: the worker must come from the top, or it would not see the pages.
pub async fn show_worker(headers: HeaderMap) -> Response {
    let mut response = show_file(Path("sw.js".to_owned()), headers).await;
    response.headers_mut().insert(header::CACHE_CONTROL, header::HeaderValue::from_static("no-cache"));
    response.into_response()
}

/// `GET /unsent`: what this tablet has written and the server has not received.
pub async fn show_unsent(State(app): State<App>, visitor: Visitor) -> Result<Html<Unsent>, WebError> {
    Ok(Html(Unsent { page: page(&app, &visitor, "On this tablet").await? }))
}
