//! What is asked of a member beside the register's entry: a new PIN, leaving, erasing.

use std::collections::HashMap;

use airmuster_domain::record::{Leaving, Left, PersonChanged, Personal};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::register::{Shelves, view};
use crate::service::exchange::KEPT;
use crate::service::leaving;
use crate::service::new_pin::may_be_set;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::Again;
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::ProblemLine;
use crate::web::view::register::{Choice, MemberParts};

/// What the page of a member has below the form.
pub async fn parts(
    app: &App,
    shelves: &Shelves,
    id: &str,
    given: Option<&HashMap<String, Vec<String>>>,
) -> Result<MemberParts, WebError> {
    let ending = leaving::ending(&app.store, app.clock.now(), id).await?;
    let rig = |seat: &str| {
        let place = shelves.fleet.seats.iter().find(|s| s.seat == seat);
        place.map_or(seat.to_owned(), |s| format!("{}, {}", s.rig_name, s.name.to_lowercase()))
    };
    let mut ends: Vec<String> =
        ending.seats.iter().map(|seat| format!("The seat {} in this shift", rig(seat))).collect();
    ends.extend(ending.qualified.iter().map(|f| format!("The qualification for {f}")));
    let said =
        |field: &str| given.and_then(|g| g.get(field)).and_then(|v| v.first()).cloned().unwrap_or_default();
    let label = |how: Leaving| match how {
        Leaving::Transferred => "Transfer: goes on signing, and is put on seats anew",
        Leaving::OnLeave => "Leave: cannot sign until roles are given again",
        Leaving::Separated => "Separation: cannot sign any more",
    };
    let way = |how: Leaving| Choice {
        value: how.id().to_owned(),
        label: label(how).to_owned(),
        chosen: said("how") == how.id(),
    };
    let has_pin = app.store.pin_hash(id).await?.is_some();
    Ok(MemberParts {
        href: format!("/members/{id}"),
        id: id.to_owned(),
        pin: if has_pin { "The member has a PIN." } else { "The member has no PIN yet and cannot sign." }
            .to_owned(),
        active: ending.active,
        ways: Leaving::ALL.map(way).into(),
        ends,
        why: said("why"),
        personal: shelves.names.contains_key(id),
    })
}

async fn known(app: &App, member: &str) -> Result<(), WebError> {
    app.store.signer(member).await?.map(|_| ()).ok_or(WebError::NotFound)
}

async fn again(
    app: &App,
    visitor: &Visitor,
    member: &str,
    given: &[(&str, &str)],
    lines: Vec<ProblemLine>,
) -> Result<Response, WebError> {
    let t = KEPT.into_iter().find(|t| t.name == "members").ok_or(WebError::NotFound)?;
    let mut view = view(app, visitor, t, member, None, lines).await?;
    let given = given.iter().map(|(field, value)| ((*field).to_owned(), vec![(*value).to_owned()])).collect();
    view.member = Some(parts(app, &Shelves::load(app).await?, member, Some(&given)).await?);
    Ok(Again(view).into_response())
}

fn back(member: &str, done: &str) -> Response {
    Redirect::to(&format!("/register/members/{member}?done={done}")).into_response()
}

/// A new PIN, twice.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct NewPin {
    pin: String,
    again: String,
}

/// `POST /members/{member}/pin`.
pub async fn set_pin(
    State(app): State<App>,
    visitor: Visitor,
    Path(member): Path<String>,
    Form(input): Form<NewPin>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    known(&app, &member).await?;
    let names = app.store.names().await?;
    let line = match (may_be_set(&input.pin), names.get(&member)) {
        (Err(say), _) => Some(problem("pin", say)),
        (Ok(()), _) if input.pin != input.again => {
            Some(problem("again", "The two are not the same. Give the new PIN twice."))
        }
        (Ok(()), None) => Some(problem("name", "Enter what the member is called first.")),
        (Ok(()), Some(name)) => {
            let hash = app.pins.hash(&input.pin).await?;
            let body = PersonChanged { member: member.clone(), what: Personal::Pin };
            hand_in_desk(&app, "person_changed", &by, &body).await?;
            let mut write = app.store.begin().await?;
            write.set_person(&member, name, Some((&hash, app.clock.now()))).await?;
            write.commit().await?;
            None
        }
    };
    match line {
        Some(line) => again(&app, &visitor, &member, &[], vec![line]).await,
        None => Ok(back(&member, "pin")),
    }
}

/// How somebody leaves.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Leave {
    how: String,
    why: String,
}

/// `POST /members/{member}/leave`.
pub async fn leave(
    State(app): State<App>,
    visitor: Visitor,
    Path(member): Path<String>,
    Form(input): Form<Leave>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    known(&app, &member).await?;
    let how = Leaving::ALL.into_iter().find(|h| h.id() == input.how);
    let why = input.why.trim().to_owned();
    let mut lines = Vec::new();
    if how.is_none() {
        lines.push(problem("how", "Choose transfer, leave or separation."));
    }
    if why.is_empty() {
        lines.push(problem(
            "why",
            "Say where to, or why, in a few words. Nothing about health: this stays in the logbook.",
        ));
    }
    if how.is_some_and(|h| !h.keeps_roles()) && leaving::is_last_administrator(&app.store, &member).await? {
        lines.push(problem("how", "Somebody stays administrator. Give the role to another member first."));
    }
    let (Some(how), true) = (how, lines.is_empty()) else {
        let given = [("how", input.how.as_str()), ("why", input.why.as_str())];
        return again(&app, &visitor, &member, &given, lines).await;
    };
    let shift = app.store.department().await?.clock.current_start(app.clock.now());
    let body = Left { member: member.clone(), how, shift, why };
    hand_in_desk(&app, "left", &by, &body).await?;
    Ok(back(&member, "left"))
}

/// What is to be erased, named a second time.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Erase {
    erase: String,
}

/// `POST /members/{member}/erase`.
pub async fn erase(
    State(app): State<App>,
    visitor: Visitor,
    Path(member): Path<String>,
    Form(input): Form<Erase>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    known(&app, &member).await?;
    if leaving::ending(&app.store, app.clock.now(), &member).await?.active {
        return Err(WebError::Conflict(
            "End the member’s roles first: choose leave or separation.".to_owned(),
        ));
    }
    if input.erase.trim() != member {
        let say = format!("Write {member} to erase what is kept of this member.");
        return again(&app, &visitor, &member, &[], vec![problem("erase", say)]).await;
    }
    // The fact first: were the rest lost, there would be one mention too many and never one too few.
    let body = PersonChanged { member: member.clone(), what: Personal::Erased };
    hand_in_desk(&app, "person_changed", &by, &body).await?;
    leaving::erase(&app.store, &member).await?;
    Ok(back(&member, "erased"))
}
