//! Tickets that are one job, and jobs that are two.

use airmuster_domain::record::{TicketApart, TicketJoined, TicketSplit};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::{Deserialize, Serialize};

use super::ticket::{Entered, file, view};
use crate::service::IntakeError;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::Again;
use crate::web::present::capital;
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::Problems;

/// What the forms send.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    under: String,
    ground: Vec<String>,
}

/// `POST /tickets/{ticket}/join`. The session is signature enough.
pub async fn join(
    State(app): State<App>,
    visitor: Visitor,
    Path(ticket): Path<u64>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let Ok(under) = input.under.parse() else {
        return again(&app, &visitor, ticket, ("stages", "Choose the ticket that is the same job.")).await;
    };
    let body = TicketJoined { ticket, under, why: String::new() };
    done(&app, &visitor, ticket, ("ticket_joined", &body), under).await
}

/// `POST /tickets/{ticket}/apart`. The session is signature enough.
pub async fn take_apart(
    State(app): State<App>,
    visitor: Visitor,
    Path(ticket): Path<u64>,
) -> Result<Response, WebError> {
    done(&app, &visitor, ticket, ("ticket_apart", &TicketApart { ticket }), ticket).await
}

/// `POST /tickets/{ticket}/split`. The session is signature enough.
pub async fn split(
    State(app): State<App>,
    visitor: Visitor,
    Path(ticket): Path<u64>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let grounds = input.ground.iter().flat_map(|keys| keys.split(' ')).map(str::to_owned).collect();
    let into = app.store.tickets().await?.last().map_or(1, |t| t.ticket + 1);
    let body = TicketSplit { ticket, grounds, into, why: String::new() };
    done_at("split", &app, &visitor, ticket, ("ticket_split", &body), into).await
}

/// Hands it in and leads to the ticket that it is now on, or says what stands against it.
async fn done(
    app: &App,
    visitor: &Visitor,
    ticket: u64,
    record: (&str, &impl Serialize),
    to: u64,
) -> Result<Response, WebError> {
    done_at("stages", app, visitor, ticket, record, to).await
}

/// As [`done`], where it is said at another place of the page.
async fn done_at(
    field: &str,
    app: &App,
    visitor: &Visitor,
    ticket: u64,
    (kind, body): (&str, &impl Serialize),
    to: u64,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    match hand_in_desk(app, kind, &by, body).await {
        Ok(_) => Ok(Redirect::to(&format!("/tickets/{to}")).into_response()),
        Err(IntakeError::Refused(r)) if !r.forbidden => {
            again(app, visitor, ticket, (field, &format!("{}.", capital(&r.say)))).await
        }
        Err(e) => Err(e.into()),
    }
}

async fn again(
    app: &App,
    visitor: &Visitor,
    ticket: u64,
    (field, say): (&str, &str),
) -> Result<Response, WebError> {
    let file = file(app, ticket).await?;
    let entered = Entered { problems: Problems { lines: vec![problem(field, say)] }, ..Entered::default() };
    Ok(Again(view(app, visitor, &file, entered).await?).into_response())
}
