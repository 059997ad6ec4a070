//! The main lists as files: CSV for a spreadsheet, JSON for a program.

use std::collections::BTreeMap;

use airmuster_domain::role::Role;
use airmuster_domain::upkeep::Of;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, Months};

use super::auth::Visitor;
use super::error::WebError;
use super::present::grounds_words;
use super::serving::App;
use crate::service::exchange::{KEPT, write};
use crate::service::fleet::Fleet;
use crate::service::upkeep::Ledger;

/// Records read at a time.
const PAGE: i64 = 1_000;

/// `GET /lists/{file}`: `units.csv`, `checks.json` and so on.
pub async fn show_list(
    State(app): State<App>,
    visitor: Visitor,
    Path(file): Path<String>,
) -> Result<Response, WebError> {
    let (name, kind) = file.rsplit_once('.').ok_or(WebError::NotFound)?;
    if !matches!(kind, "csv" | "json") {
        return Err(WebError::NotFound);
    }
    let sheet = sheet(&app, &visitor, name).await?.ok_or(WebError::NotFound)?;
    let (mime, bytes) = match kind {
        "csv" => ("text/csv; charset=utf-8", sheet.csv()),
        _ => ("application/json", serde_json::to_vec(&sheet.json()).map_err(|_| WebError::Internal)?),
    };
    let headers = [
        (header::CONTENT_TYPE, mime.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}.{kind}\"")),
    ];
    Ok((headers, bytes).into_response())
}

async fn sheet(app: &App, visitor: &Visitor, name: &str) -> Result<Option<write::Sheet>, WebError> {
    let now = app.clock.now();
    if let Some(template) = KEPT.into_iter().find(|t| t.name == name) {
        // What members are called is for the administrator alone.
        let names: Option<BTreeMap<String, String>> = if visitor.is(&[Role::Administrator]) {
            Some(app.store.names().await?.into_iter().collect())
        } else {
            None
        };
        return Ok(Some(write::sheet(template, &app.store.entries().await?, names.as_ref())));
    }
    let clock = app.store.department().await?.clock;
    Ok(Some(match name {
        "checks" => {
            let mut all = Vec::new();
            let mut after = 0;
            loop {
                let rows = app.store.checks_after(after, PAGE).await?;
                let Some(last) = rows.last() else { break };
                after = last.seq;
                all.extend(rows);
            }
            write::checks(&all, &clock)
        }
        "tickets" => write::tickets(&app.store.tickets().await?, &clock),
        "standings" => standings(Fleet::load(&app.store, now).await?.as_ref()),
        "upkeep" => upkeep(&Ledger::load(&app.store, now).await?),
        _ => return Ok(None),
    }))
}

fn headings(names: &[&str]) -> Vec<String> {
    names.iter().map(|n| (*n).to_owned()).collect()
}

/// Every unit with its standing and what speaks against it.
fn standings(fleet: &Fleet) -> write::Sheet {
    let when = |t: Option<i64>| {
        let at = t.map(|t| fleet.department.clock.local(t));
        at.map(|t| t.format("%Y-%m-%d %H:%M").to_string()).unwrap_or_default()
    };
    let row = |u: &crate::service::fleet::UnitFacts| {
        vec![
            u.row.number.clone(),
            u.row.profile.clone(),
            fleet.place_words(&u.row),
            u.standing.state.words().to_owned(),
            grounds_words(&u.standing.grounds).join(" "),
            when(u.standing.last_check.as_ref().map(|c| c.at)),
            when(u.standing.until),
        ]
    };
    write::Sheet {
        headings: headings(&["unit", "profile", "place", "standing", "grounds", "last good check", "due"]),
        rows: fleet.units.values().map(row).collect(),
    }
}

/// Everything that falls due within a year, the first first.
fn upkeep(ledger: &Ledger) -> write::Sheet {
    let until = ledger.today.checked_add_months(Months::new(12)).unwrap_or(ledger.today);
    let mut dues = ledger.upkeep.forecast(ledger.today, until);
    dues.sort();
    let row = |d: &airmuster_domain::upkeep::Due| {
        let kind = match &d.on {
            Of::Asset(asset) => asset.kind.words(),
            Of::Source(_) => "source of air",
            Of::Member(..) => "member",
        };
        let what = match &d.on {
            Of::Asset(asset) => asset.number.clone(),
            Of::Source(id) => id.clone(),
            Of::Member(id, family) => format!("{id}, {family}"),
        };
        vec![d.by.to_string(), d.work.words().to_owned(), kind.to_owned(), what]
    };
    write::Sheet {
        headings: headings(&["due", "work", "kind", "which"]),
        rows: dues.iter().map(row).collect(),
    }
}

/// A moment as RFC 3339 has it, in UTC.
pub fn rfc3339(at: i64) -> String {
    DateTime::from_timestamp_millis(at)
        .unwrap_or_default()
        .to_rfc3339_opts(chrono::SecondsFormat::Millis, true)
}
