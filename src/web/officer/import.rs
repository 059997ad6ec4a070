//! Taking in the file in which a tablet has saved what it could not hand in.

use axum::extract::{Multipart, State};
use axum::response::{IntoResponse, Response};

use crate::service::{IntakeError, Status, outbox};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::page;
use crate::web::serving::App;
use crate::web::signing::problem;
use crate::web::view::import::Import;
use crate::web::view::{Fact, Problems};

/// `GET /unsent/import`.
pub async fn show_form(State(app): State<App>, visitor: Visitor) -> Result<Html<Import>, WebError> {
    Ok(Html(view(&app, &visitor, Vec::new(), Problems::default()).await?))
}

/// `POST /unsent/import`: an answer for each record.
pub async fn take_file(
    State(app): State<App>,
    visitor: Visitor,
    mut parts: Multipart,
) -> Result<Response, WebError> {
    let mut text = String::new();
    while let Some(part) = parts.next_field().await.map_err(|_| WebError::Unreadable)? {
        if part.name() == Some("file") {
            text = part.text().await.map_err(|_| WebError::Unreadable)?;
        }
    }
    let records = match outbox::read(&text) {
        Ok(records) => records,
        Err(e) => {
            let say = if text.is_empty() { "Choose the file first.".to_owned() } else { format!("{e}.") };
            let problems = Problems { lines: vec![problem("file", say)] };
            return Ok(Again(view(&app, &visitor, Vec::new(), problems).await?).into_response());
        }
    };
    let mut outcomes = Vec::with_capacity(records.len());
    for (nth, record) in (1..).zip(records) {
        let origin = record.origin();
        let outbox::Carried { text, seal, .. } = record;
        let value = match app.intake.submit_sealed(text.into_bytes(), seal, origin).await {
            Ok(r) => match r.status {
                Status::Stored => "stored".to_owned(),
                Status::AlreadyStored => "was there already".to_owned(),
                Status::NeedsAttention => {
                    format!("stored, needs attention: {}", r.attention.unwrap_or_default())
                }
            },
            Err(e @ (IntakeError::Store(_) | IntakeError::Stopping)) => return Err(e.into()),
            Err(e) => format!("not taken in: {e}"),
        };
        outcomes.push(Fact { label: format!("Record {nth}"), value });
    }
    app.sealed.look();
    Ok(Html(view(&app, &visitor, outcomes, Problems::default()).await?).into_response())
}

async fn view(
    app: &App,
    visitor: &Visitor,
    outcomes: Vec<Fact>,
    problems: Problems,
) -> Result<Import, WebError> {
    Ok(Import { page: page(app, visitor, "Records from a tablet's file").await?, outcomes, problems })
}
