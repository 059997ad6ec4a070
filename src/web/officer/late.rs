//! What is told at the top of every page until it was read: to an officer, a record that came late and
//! pulls a unit which has ridden; to an administrator, the same finding for the third time.

use airmuster_domain::record::Acknowledged;
use airmuster_domain::role::Role;
use axum::extract::{Path, State};
use axum::response::Redirect;

use crate::service::bench::{REPEATED_WITHIN, repeated_since};
use crate::service::house::House;
use crate::store::{Kept, LatePull};
use crate::web::auth::Visitor;
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::present::when;
use crate::web::serving::App;
use crate::web::signing::hand_in_desk;
use crate::web::view::Late;

/// So many at a time, lest the page begins below the fold.
const AT_ONCE: usize = 3;

/// What a visitor has to be told at once, and how much more there is when that was read.
pub async fn to_be_told(app: &App, visitor: &Visitor, house: &House) -> Result<(Vec<Late>, usize), WebError> {
    let mut out = Vec::new();
    if visitor.is(&[Role::Administrator]) {
        out.extend(repeated(app).await?);
    }
    let waiting: &[LatePull] = if visitor.is(&[Role::Officer]) { &house.late } else { &[] };
    let clock = &house.department.clock;
    let now = app.clock.now();
    let one = |p: &LatePull| {
        let written = when(clock, p.kept.record.envelope.time(), now);
        let came = when(clock, p.kept.place.received, now);
        Late {
            text: format!(
                "{} {} was taken out of service at {written}, but that record came only at {came}. It may have been ridden in between.",
                crate::web::present::capital(p.asset.kind.words()),
                p.asset.number
            ),
            href: format!("/records/{}", p.kept.place.seq),
        }
    };
    let more = (out.len() + waiting.len()).saturating_sub(AT_ONCE);
    out.extend(waiting.iter().take(AT_ONCE).map(one));
    out.truncate(AT_ONCE);
    Ok((out, more))
}

/// The same finding a third time in ninety days: the administrator's to look into.
async fn repeated(app: &App) -> Result<Vec<Late>, WebError> {
    let all = app.store.repeated(repeated_since(app.clock.now())).await?;
    let unread = all.into_iter().filter(|r| r.unread);
    let one = |r: crate::store::Repeated| {
        let (kind, n) = (crate::web::present::capital(r.last.asset.kind.words()), &r.last.asset.number);
        let text = format!(
            "{kind} {n} failed the same step {} times in {REPEATED_WITHIN} days. {}",
            r.times,
            sentence(&r.last.say)
        );
        Some(Late { text, href: format!("/records/{}", r.seq?) })
    };
    Ok(unread.filter_map(one).collect())
}

/// `POST /records/{seq}/read`.
pub async fn acknowledge(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
) -> Result<Redirect, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let mut to_read: Vec<Kept> = app.store.late_pulls().await?.into_iter().map(|p| p.kept).collect();
    let repeats = app.store.repeated(repeated_since(app.clock.now())).await?;
    if repeats.iter().any(|r| r.unread && r.seq == Some(seq)) {
        to_read.extend(app.store.record(seq).await?);
    }
    let Some(kept) = to_read.into_iter().find(|k| k.place.seq == seq) else {
        return Err(WebError::Conflict(
            "There is nothing about this record that has not been read.".to_owned(),
        ));
    };
    let body = Acknowledged { of: kept.record.name };
    hand_in_desk(&app, "acknowledged", &by.id, &body).await?;
    Ok(Redirect::to(&format!("/records/{seq}")))
}
