//! What programs read, with a token: units with their standings, seats, checks, tickets. Described by
//! `OpenAPI` 3.1, which is made from this file and served beside it.

use airmuster_domain::record::Place;
use airmuster_domain::role::Role;
use airmuster_domain::standing::State as Holds;
use axum::Json;
use axum::extract::{Path, Query, State};
use serde::{Deserialize, Serialize};
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::{IntoParams, Modify, OpenApi, ToSchema};

use super::error::WebError;
use super::lists::rfc3339;
use super::present::grounds_words;
use super::serving::App;
use crate::service::fleet::{Fleet, UnitFacts};
use crate::service::muster::Muster;
use crate::store::CheckRow;

/// Who reads without a token: whoever may look at the bench.
pub const READERS: &[Role] = &[Role::Technician, Role::Officer, Role::Administrator];

/// Checks in one answer at most.
const MOST: u16 = 1000;

/// The description, made from the handlers below.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "airmuster",
        description = "What the department's breathing apparatus is fit for, for other programs to read. \
                       Nothing can be changed here. A unit may ride only while its standing is in_service; \
                       whoever shows it must not call anything else ready."
    ),
    paths(stations, rigs, seats, units, unit, checks, tickets),
    modifiers(&Token),
    security(("token" = []))
)]
struct Description;

struct Token;

impl Modify for Token {
    fn modify(&self, api: &mut utoipa::openapi::OpenApi) {
        let scheme = HttpBuilder::new()
            .scheme(HttpAuthScheme::Bearer)
            .description(Some("Made by an administrator at /tokens, shown once, taken back there."))
            .build();
        api.components.get_or_insert_default().add_security_scheme("token", SecurityScheme::Http(scheme));
    }
}

/// `GET /api/v1/openapi.json`.
pub async fn describe() -> Json<utoipa::openapi::OpenApi> {
    Json(Description::openapi())
}

/// Why something was not answered.
#[derive(Debug, Serialize, ToSchema)]
pub struct Say {
    /// What to do, in words.
    say: String,
}

/// A house.
#[derive(Debug, Serialize, ToSchema)]
pub struct Station {
    /// Short name, which others refer to.
    id: String,
    /// What it is called.
    name: String,
}

/// A vehicle.
#[derive(Debug, Serialize, ToSchema)]
pub struct Rig {
    /// Short name, which others refer to.
    id: String,
    /// What it is called.
    name: String,
    /// Id of the station where it is.
    station: String,
    /// What it is for at present.
    duty: Duty,
}

/// What a rig is for at present.
#[derive(Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Duty {
    /// It answers calls.
    InUse,
    /// It stands by for another rig.
    Reserve,
    /// The vehicle is out of service.
    OutOfService,
    /// Another department has it.
    LentOut,
    /// It belongs to another department.
    OnLoan,
}

/// A riding position, or the place of a kit.
#[derive(Debug, Serialize, ToSchema)]
pub struct Seat {
    /// Short name, which others refer to.
    id: String,
    /// Id of the rig.
    rig: String,
    /// What it is called.
    name: String,
    /// The place of a kit, and nobody's seat.
    kit: bool,
    /// What is in it, such as unit:117.
    asset: Option<String>,
    /// Whether it is ready: what is in it is in service, and whoever sits there may wear it.
    ready: bool,
}

/// How a unit stands, worst first. Only `in_service` may ride.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Never to be used again.
    Retired,
    /// Kept untouched for an inquiry.
    Held,
    /// Not to be used until a technician returns it.
    OutOfService,
    /// The crew can put it right on the spot.
    PutRight,
    /// Not proved in time.
    CheckDue,
    /// Proved, with nothing open against it.
    InService,
}

impl From<Holds> for Standing {
    fn from(state: Holds) -> Self {
        match state {
            Holds::Retired => Self::Retired,
            Holds::Held => Self::Held,
            Holds::OutOfService => Self::OutOfService,
            Holds::PutRight => Self::PutRight,
            Holds::CheckDue => Self::CheckDue,
            Holds::InService => Self::InService,
        }
    }
}

/// A breathing apparatus with its standing as of now.
#[derive(Debug, Serialize, ToSchema)]
pub struct Unit {
    /// The number painted on it.
    number: String,
    /// Which kind it is, by the rule table.
    profile: String,
    /// Where it is, in words.
    place: String,
    /// Id of the station where it is, if it is at one.
    station: Option<String>,
    /// Id of the seat that it is in, if it is in one.
    seat: Option<String>,
    /// How it stands.
    standing: Standing,
    /// What speaks against it, worst first, in sentences; empty only where it is in service.
    grounds: Vec<String>,
    /// When its last good check was made.
    #[schema(format = DateTime)]
    checked_at: Option<String>,
    /// Until when that check counts.
    #[schema(format = DateTime)]
    due_at: Option<String>,
}

/// A check that was made.
#[derive(Debug, Serialize, ToSchema)]
pub struct Check {
    /// Its number in the logbook: give it as `after` to read on.
    seq: i64,
    /// The unit.
    unit: String,
    /// When.
    #[schema(format = DateTime)]
    at: String,
    /// Id of the member who signed it.
    by: Option<String>,
    /// Why it was made: shift-start, after-use, periodic, proving, acceptance.
    purpose: String,
    /// `complete`, `broken_off` or `stopped`.
    outcome: String,
    /// `in_service`, `put_right`, `incomplete`, `out_of_service`; nothing where it cannot be judged here.
    verdict: Option<String>,
    /// Whether it may clear anything: signed, proven, not doubted, not corrected.
    counts: bool,
    /// The cylinder's pressure as read, with its unit.
    pressure: Option<String>,
}

/// Checks in the order in which they arrived.
#[derive(Debug, Serialize, ToSchema)]
pub struct Checks {
    /// The checks.
    checks: Vec<Check>,
    /// Give this as `after` to read on; nothing where there are no more.
    next: Option<i64>,
}

/// A repair job.
#[derive(Debug, Serialize, ToSchema)]
pub struct Job {
    /// Its number.
    ticket: u64,
    /// What is to be repaired, such as unit:130.
    asset: String,
    /// When it was opened.
    #[schema(format = DateTime)]
    opened_at: String,
    /// Where it stands: `reported`, `on_the_bench`, `waiting_for_parts`, `at_repairer`,
    /// `ready_to_prove`.
    stage: String,
    /// Since when.
    #[schema(format = DateTime)]
    since: String,
}

/// All stations, in order.
#[utoipa::path(
    get,
    path = "/api/v1/stations",
    responses(
        (status = 200, description = "All stations", body = Vec<Station>),
        (status = 401, description = "No token, or one that was taken back", body = Say),
        (status = 503, description = "Not just now; try again", body = Say)
    )
)]
pub async fn stations(State(app): State<App>) -> Result<Json<Vec<Station>>, WebError> {
    let stations = app.store.stations().await?.into_iter();
    Ok(Json(stations.map(|s| Station { id: s.id, name: s.name }).collect()))
}

/// All rigs, in the order of their stations.
#[utoipa::path(
    get,
    path = "/api/v1/rigs",
    responses(
        (status = 200, description = "All rigs", body = Vec<Rig>),
        (status = 401, description = "No token, or one that was taken back", body = Say),
        (status = 503, description = "Not just now; try again", body = Say)
    )
)]
pub async fn rigs(State(app): State<App>) -> Result<Json<Vec<Rig>>, WebError> {
    use airmuster_domain::record::Duty as Kept;
    let duty = |d: Kept| match d {
        Kept::InUse => Duty::InUse,
        Kept::Reserve => Duty::Reserve,
        Kept::OutOfService => Duty::OutOfService,
        Kept::LentOut => Duty::LentOut,
        Kept::OnLoan => Duty::OnLoan,
    };
    let rigs = app.store.rigs().await?.into_iter();
    Ok(Json(rigs.map(|r| Rig { id: r.id, name: r.name, station: r.station, duty: duty(r.duty) }).collect()))
}

/// All seats and places of kits, and whether each is ready now.
#[utoipa::path(
    get,
    path = "/api/v1/seats",
    responses(
        (status = 200, description = "All seats", body = Vec<Seat>),
        (status = 401, description = "No token, or one that was taken back", body = Say),
        (status = 503, description = "Not just now; try again", body = Say)
    )
)]
pub async fn seats(State(app): State<App>) -> Result<Json<Vec<Seat>>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let seat = |s: &crate::store::SeatRow| Seat {
        id: s.seat.clone(),
        rig: s.rig.clone(),
        name: s.name.clone(),
        kit: s.kit,
        asset: s.asset.clone(),
        ready: muster.readiness(s).ready(),
    };
    Ok(Json(muster.fleet.seats.iter().map(seat).collect()))
}

fn unit_of(fleet: &Fleet, u: &UnitFacts) -> Unit {
    Unit {
        number: u.row.number.clone(),
        profile: u.row.profile.clone(),
        place: fleet.place_words(&u.row),
        station: fleet.station_of(&u.row).map(|s| s.id.clone()),
        seat: match &u.row.place {
            Some(Place::Seat { seat }) => Some(seat.clone()),
            _ => None,
        },
        standing: u.standing.state.into(),
        grounds: grounds_words(&u.standing.grounds),
        checked_at: u.standing.last_check.as_ref().map(|c| rfc3339(c.at)),
        due_at: u.standing.until.map(rfc3339),
    }
}

/// All units with their standings.
#[utoipa::path(
    get,
    path = "/api/v1/units",
    responses(
        (status = 200, description = "All units", body = Vec<Unit>),
        (status = 401, description = "No token, or one that was taken back", body = Say),
        (status = 503, description = "Not just now; try again", body = Say)
    )
)]
pub async fn units(State(app): State<App>) -> Result<Json<Vec<Unit>>, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    Ok(Json(fleet.units.values().map(|u| unit_of(&fleet, u)).collect()))
}

/// One unit with its standing.
#[utoipa::path(
    get,
    path = "/api/v1/units/{number}",
    params(("number" = String, Path, description = "The number painted on it")),
    responses(
        (status = 200, description = "The unit", body = Unit),
        (status = 400, description = "The number cannot be read", body = Say),
        (status = 401, description = "No token, or one that was taken back", body = Say),
        (status = 404, description = "There is no such unit", body = Say),
        (status = 503, description = "Not just now; try again", body = Say)
    )
)]
pub async fn unit(State(app): State<App>, Path(number): Path<String>) -> Result<Json<Unit>, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let unit = fleet.units.get(&number).ok_or(WebError::NotFound)?;
    Ok(Json(unit_of(&fleet, unit)))
}

/// Which checks.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Which {
    /// Those that arrived after the one of this number.
    #[param(minimum = 0)]
    after: Option<u32>,
    /// So many at most.
    #[param(minimum = 1, maximum = 1000)]
    limit: Option<u16>,
}

/// Checks, from the first or after one that was read before.
#[utoipa::path(
    get,
    path = "/api/v1/checks",
    params(Which),
    responses(
        (status = 200, description = "Checks in the order in which they arrived", body = Checks),
        (status = 400, description = "What was asked cannot be read", body = Say),
        (status = 401, description = "No token, or one that was taken back", body = Say),
        (status = 503, description = "Not just now; try again", body = Say)
    )
)]
pub async fn checks(State(app): State<App>, Query(which): Query<Which>) -> Result<Json<Checks>, WebError> {
    let limit = which.limit.unwrap_or(100);
    if !(1..=MOST).contains(&limit) {
        return Err(WebError::Asked("Ask for 1 to 1000 checks at once.".to_owned()));
    }
    let rows = app.store.checks_after(which.after.unwrap_or(0).into(), limit.into()).await?;
    let next = rows.last().map(|c| c.seq).filter(|_| rows.len() == usize::from(limit));
    let check = |c: CheckRow| Check {
        seq: c.seq,
        unit: c.unit,
        at: rfc3339(c.at),
        by: c.by,
        purpose: c.purpose,
        outcome: c.outcome,
        verdict: c.verdict,
        counts: c.counts,
        pressure: c.pressure.map(|p| p.to_string()),
    };
    Ok(Json(Checks { checks: rows.into_iter().map(check).collect(), next }))
}

/// Tickets that are not closed.
#[utoipa::path(
    get,
    path = "/api/v1/tickets",
    responses(
        (status = 200, description = "Open tickets, oldest first", body = Vec<Job>),
        (status = 401, description = "No token, or one that was taken back", body = Say),
        (status = 503, description = "Not just now; try again", body = Say)
    )
)]
pub async fn tickets(State(app): State<App>) -> Result<Json<Vec<Job>>, WebError> {
    let ticket = |t: crate::store::Ticket| Job {
        ticket: t.ticket,
        asset: t.asset.to_string(),
        opened_at: rfc3339(t.opened_at),
        stage: t.stage.id().to_owned(),
        since: rfc3339(t.stage_at),
    };
    Ok(Json(app.store.open_tickets().await?.into_iter().map(ticket).collect()))
}
