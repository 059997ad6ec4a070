//! A record that came late and pulls a unit which has ridden: told at the top of every page of an
//! officer until it was read.

use airmuster_domain::record::Acknowledged;
use airmuster_domain::role::Role;
use axum::extract::{Path, State};
use axum::response::Redirect;

use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::present::when;
use crate::web::serving::App;
use crate::web::signing::hand_in_desk;
use crate::web::view::Late;

/// What an officer has to be told at once.
pub async fn to_be_told(app: &App, visitor: &Visitor) -> Result<Vec<Late>, WebError> {
    if !visitor.is(&[Role::Officer]) {
        return Ok(Vec::new());
    }
    let pulls = app.store.late_pulls().await?;
    if pulls.is_empty() {
        return Ok(Vec::new());
    }
    let clock = app.store.department().await?.clock;
    let now = app.clock.now();
    let one = |p: crate::store::LatePull| {
        let written = when(&clock, p.kept.record.envelope.time(), now);
        let came = when(&clock, p.kept.place.received, now);
        Late {
            text: format!(
                "{} {} was taken out of service at {written}, but that record came only at {came}. It may have been ridden in between.",
                crate::web::present::capital(p.asset.kind.words()),
                p.asset.number
            ),
            href: format!("/records/{}", p.kept.place.seq),
        }
    };
    Ok(pulls.into_iter().map(one).collect())
}

/// `POST /records/{seq}/read`.
pub async fn acknowledge(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
) -> Result<Redirect, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let pulls = app.store.late_pulls().await?;
    let Some(kept) = pulls.into_iter().map(|p| p.kept).find(|k| k.place.seq == seq) else {
        return Err(WebError::Conflict(
            "There is nothing about this record that has not been read.".to_owned(),
        ));
    };
    let body = Acknowledged { of: kept.record.name };
    hand_in_desk(&app, "acknowledged", &by.id, &body).await?;
    Ok(Redirect::to(&format!("/records/{seq}")))
}
