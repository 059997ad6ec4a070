//! Tablets: making a code, the list, and giving one up.

use airmuster_domain::Millis;
use airmuster_domain::record::{TabletRevoked, Trusted};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;
use uuid::Uuid;

use crate::service::tablets::TabletError;
use crate::store::{Department, TabletRow};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{page, when};
use crate::web::serving::App;
use crate::web::signing::problem;
use crate::web::view::tablets::{Code, Row, Tablet, Tablets};
use crate::web::view::{Fact, MemberOption, ProblemLine, Problems};

/// What a tablet holds for longer than a day wants somebody to look.
const LONG: Millis = 24 * 60 * 60 * 1000;

/// `GET /tablets`.
pub async fn show_list(State(app): State<App>, visitor: Visitor) -> Result<Html<Tablets>, WebError> {
    Ok(Html(list(&app, &visitor, &Asked::default(), None, Vec::new()).await?))
}

/// What the form for a code sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    name: String,
    place: String,
}

/// `POST /tablets`: a code, shown this once.
pub async fn make_code(
    State(app): State<App>,
    visitor: Visitor,
    Form(asked): Form<Asked>,
) -> Result<Response, WebError> {
    let member = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let name = asked.name.trim();
    let mut lines = Vec::new();
    if name.is_empty() || name.chars().count() > 60 || name.contains(char::is_control) {
        lines.push(problem("name", "Give the tablet a name of up to 60 characters, like “Bay”."));
    }
    if !app.store.stations().await?.iter().any(|s| s.id == asked.place) {
        lines.push(problem("place", "Choose the station where it stays."));
    }
    if !lines.is_empty() {
        return Ok(Again(list(&app, &visitor, &asked, None, lines).await?).into_response());
    }
    let (digits, ends_at) = match app.tablets.make_code(name, &asked.place, &member.id).await {
        Ok(made) => made,
        Err(e) => return Err(failed(e)),
    };
    let clock = app.store.department().await?.clock;
    let code = Code {
        digits: format!("{} {}", &digits[..4], &digits[4..]),
        name: name.to_owned(),
        until: when(&clock, ends_at, app.clock.now()),
    };
    Ok(Html(list(&app, &visitor, &Asked::default(), Some(code), Vec::new()).await?).into_response())
}

fn failed(e: TabletError) -> WebError {
    match e {
        TabletError::Intake(e) => e.into(),
        TabletError::Store(e) => e.into(),
        TabletError::NoSuchCode | TabletError::NotItsKey => WebError::Unreadable,
    }
}

async fn list(
    app: &App,
    visitor: &Visitor,
    asked: &Asked,
    code: Option<Code>,
    lines: Vec<ProblemLine>,
) -> Result<Tablets, WebError> {
    let stations = app.store.stations().await?;
    let department = app.store.department().await?;
    let now = app.clock.now();
    let station =
        |id: &str| stations.iter().find(|s| s.id == id).map_or_else(String::new, |s| s.name.clone());
    let all = app.store.tablets().await?;
    let rows = |gone: bool| {
        all.iter()
            .filter(|t| t.revoked_at.is_some() == gone)
            .map(|t| row(t, station(&t.station), &department, now))
            .collect()
    };
    Ok(Tablets {
        page: page(app, visitor, "Tablets").await?,
        rows: rows(false),
        gone: rows(true),
        code,
        name: asked.name.clone(),
        stations: stations
            .iter()
            .map(|s| MemberOption { id: s.id.clone(), name: s.name.clone(), selected: s.id == asked.place })
            .collect(),
        problems: Problems { lines },
    })
}

fn row(t: &TabletRow, station: String, department: &Department, now: Millis) -> Row {
    let at = |moment| when(&department.clock, moment, now);
    let waited = t.holding.and_then(|h| h.oldest_at).map(|oldest| now - oldest);
    Row {
        name: t.name.clone(),
        station,
        href: format!("/tablets/{}", t.id),
        heard: match (t.revoked_at, t.seen_at) {
            (Some(gone), _) => format!("Given up {}", at(gone)),
            (None, Some(seen)) => format!("Heard {}", at(seen)),
            (None, None) => "Never heard".to_owned(),
        },
        holds: match (t.holding, waited) {
            (None, _) => "Has not said what it holds".to_owned(),
            (Some(h), Some(waited)) if h.count > 0 => {
                let records = if h.count == 1 { "record" } else { "records" };
                format!("Holds {} {records}, the oldest for {}", h.count, how_long(waited))
            }
            (Some(_), _) => "Holds nothing that has not arrived".to_owned(),
        },
        long: waited.is_some_and(|w| w > LONG),
        key: match t.key {
            Some(_) => "Signs with a key of its own",
            None => "No key: enrolled without a secure connection",
        }
        .to_owned(),
    }
}

/// A length of time as people say it.
fn how_long(time: Millis) -> String {
    let minutes = time.max(0) / 60_000;
    let (count, what) = match minutes {
        0..120 => (minutes, "minute"),
        120..2880 => (minutes / 60, "hour"),
        _ => (minutes / 1440, "day"),
    };
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// `GET /tablets/{tablet}`.
pub async fn show_tablet(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Html<Tablet>, WebError> {
    Ok(Html(one(&app, &visitor, &id, None, Vec::new()).await?))
}

/// What the form for giving one up sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Given {
    number: String,
    incarnation: String,
    why: String,
}

/// `POST /tablets/{tablet}/revoke`.
pub async fn revoke(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    Form(given): Form<Given>,
) -> Result<Response, WebError> {
    let member = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let mut lines = Vec::new();
    let number: Option<u64> = given.number.trim().parse().ok();
    let incarnation: Option<Uuid> = given.incarnation.parse().ok();
    let trusted = match (number, incarnation) {
        (Some(0), _) | (Some(_), None) => None,
        (Some(number), Some(incarnation)) => Some(Trusted { incarnation, number }),
        (None, _) => {
            lines.push(problem("number", "Give the last number that you believe; 0 for none."));
            None
        }
    };
    if given.why.trim().is_empty() {
        lines.push(problem("why", "Say why, in a few words."));
    }
    if !lines.is_empty() {
        return Ok(Again(one(&app, &visitor, &id, Some(&given), lines).await?).into_response());
    }
    let revoked = TabletRevoked { tablet: id, trusted, why: given.why.trim().to_owned() };
    app.tablets.revoke(&revoked, &member.id).await.map_err(failed)?;
    Ok(Redirect::to("/tablets").into_response())
}

async fn one(
    app: &App,
    visitor: &Visitor,
    id: &str,
    given: Option<&Given>,
    lines: Vec<ProblemLine>,
) -> Result<Tablet, WebError> {
    let t = app.store.tablet(id).await?.ok_or(WebError::NotFound)?;
    let stations = app.store.stations().await?;
    let station = stations.iter().find(|s| s.id == t.station).map_or_else(String::new, |s| s.name.clone());
    let department = app.store.department().await?;
    let now = app.clock.now();
    let arrived = app.store.last_number(id).await?;
    let row = row(&t, station, &department, now);
    let names = app.store.names().await?;
    let name = |id: &String| names.get(id).unwrap_or(id).clone();
    let fact = |label: &str, value: String| Fact { label: label.to_owned(), value };
    let mut facts = vec![
        fact("Station", row.station.clone()),
        fact("Its name in records", t.id.clone()),
        fact("Enrolled", {
            let by = t.enrolled_by.as_ref().map(|by| format!(" by {}", name(by))).unwrap_or_default();
            format!("{}{by}", when(&department.clock, t.enrolled_at, now))
        }),
        fact("Heard", row.heard.clone()),
        fact("Holds", row.holds.clone()),
        fact("Key", row.key.clone()),
    ];
    if t.revoked_at.is_some() {
        let up_to = t.trusted.map_or("nothing more".to_owned(), |l| format!("up to number {}", l.number));
        facts.push(fact("Believed", up_to));
    }
    let written = t.holding.and_then(|h| h.last);
    let incarnation = arrived.or(written).map(|l| l.incarnation.to_string()).unwrap_or_default();
    Ok(Tablet {
        page: page(app, visitor, &t.name).await?,
        in_use: t.revoked_at.is_none(),
        number: given
            .map_or_else(|| arrived.map_or("0".to_owned(), |l| l.number.to_string()), |g| g.number.clone()),
        incarnation: given.map_or(incarnation, |g| g.incarnation.clone()),
        advice: advice(arrived, written),
        why: given.map(|g| g.why.clone()).unwrap_or_default(),
        facts,
        row,
        problems: Problems { lines },
    })
}

/// What has arrived, and what the tablet said of itself.
fn advice(arrived: Option<Trusted>, written: Option<Trusted>) -> String {
    let arrived_words = match arrived {
        Some(l) => format!("Number {} is the last that has arrived.", l.number),
        None => "Nothing with a number has arrived from it.".to_owned(),
    };
    match written {
        Some(w) if arrived.is_none_or(|a| a.incarnation == w.incarnation && w.number > a.number) => format!(
            "{arrived_words} When it was last heard it had written up to number {}: give that one if it was \
             still in good hands then.",
            w.number
        ),
        _ => arrived_words,
    }
}
