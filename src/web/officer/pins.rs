//! PINs that are not taken any more after too many wrong ones, until an officer allows them again.

use airmuster_domain::record::PinStop;
use axum::extract::State;
use axum::response::Redirect;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::door::MOST;
use crate::store::Stopped;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{page, when};
use crate::web::serving::App;
use crate::web::view::pins::{Pins, StoppedRow};

/// `GET /pins`.
pub async fn show_stopped(State(app): State<App>, visitor: Visitor) -> Result<Html<Pins>, WebError> {
    let names = app.store.names().await?;
    let clock = app.store.department().await?.clock;
    let now = app.clock.now();
    let row = |s: &Stopped, who: String, field: &'static str| StoppedRow {
        who,
        field,
        name: s.name.clone(),
        since: format!("{} wrong, the last {}", s.count, when(&clock, s.last, now)),
    };
    let members = app.store.stopped_members(MOST).await?;
    let members = members.iter().map(|s| row(s, names.get(&s.name).unwrap_or(&s.name).clone(), "member"));
    let tablets = app.store.stopped_tablets(MOST).await?;
    let tablets =
        tablets.iter().map(|s| row(s, format!("Tablet {}", s.name.trim_start_matches("tablet-")), "tablet"));
    let rows = members.chain(tablets).collect();
    Ok(Html(Pins { page: page(&app, &visitor, "Stopped PINs").await?, rows }))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    member: Option<String>,
    tablet: Option<String>,
}

/// `POST /pins/allow`: the member, or whoever is at the tablet, may try again.
pub async fn allow(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Redirect, WebError> {
    let officer = visitor.member.ok_or(WebError::Forbidden)?.id;
    let stopped = match (input.member, input.tablet) {
        (Some(member), None) => PinStop::of_member(&member),
        (None, Some(tablet)) => PinStop::of_tablet(&tablet),
        _ => return Err(WebError::Unreadable),
    };
    // What is not stopped needs no word in the logbook.
    let of = |all: Vec<Stopped>, name: Option<&String>| all.iter().any(|s| Some(&s.name) == name);
    if of(app.store.stopped_members(MOST).await?, stopped.member.as_ref())
        || of(app.store.stopped_tablets(MOST).await?, stopped.tablet.as_ref())
    {
        app.door.allow(&officer, &stopped).await?;
        app.sealed.look();
    }
    Ok(Redirect::to("/pins"))
}
