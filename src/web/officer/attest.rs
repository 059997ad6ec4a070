//! A PIN that is forgotten: the officer attests that the member signed.

use airmuster_domain::record::Settlement;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::doubt::in_doubt;
use crate::web::auth::Visitor;
use crate::web::crew::unproven::{view, waiting};
use crate::web::error::WebError;
use crate::web::html::Again;
use crate::web::present::capital;
use crate::web::serving::App;
use crate::web::signing::{check_pin_at, hand_in_desk, problem};
use crate::web::view::Problems;

/// What the logbook says; names are not in it.
const WHY: &str =
    "the officer attests that the member who signed it made and signed it; the PIN could not be given";

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    pin: String,
}

/// `POST /records/{seq}/attest`.
pub async fn attest(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let officer = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let row = waiting(&app).await?.into_iter().find(|w| w.seq == seq).ok_or(WebError::NotFound)?;
    // Anything else that speaks against it is read and settled, not waved through.
    let doubt = in_doubt(&app.store, row.name.id).await?.ok_or(WebError::NotFound)?;
    if doubt.variants.len() != 1 || doubt.reasons.len() != 1 {
        return Ok(Redirect::to(&format!("/records/{seq}/settle")).into_response());
    }
    let field = format!("attest-{seq}");
    let refused = if row.by.as_deref() == Some(&officer) {
        Some(problem(&field, "You signed this check yourself. Give your PIN above, or ask another officer."))
    } else {
        check_pin_at(&app, &visitor, (&field, &field), &officer, &input.pin).await?.err()
    };
    let line = if let Some(line) = refused {
        line
    } else {
        let body = Settlement {
            id: row.name.id,
            variants: vec![row.name.digest],
            accepted: Some(row.name.digest),
            why: WHY.to_owned(),
        };
        match hand_in_desk(&app, "settlement", &officer, &body).await {
            Ok(_) => return Ok(Redirect::to("/unproven").into_response()),
            Err(IntakeError::Refused(r)) => problem(&field, format!("{}.", capital(&r.say))),
            Err(e) => return Err(e.into()),
        }
    };
    Ok(Again(view(&app, &visitor, Problems { lines: vec![line] }).await?).into_response())
}
