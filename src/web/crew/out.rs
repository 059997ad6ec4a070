//! Taking a unit out of service on any member's word.

use airmuster_domain::record::{Asset, TakenOut};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;
use uuid::Uuid;

use super::unit::file;
use crate::service::IntakeError;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{member_options, page, standing, unit_ref};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_field, problem};
use crate::web::upkeep::seal::{hold, still_open};
use crate::web::view::unit::TakeOut;
use crate::web::view::{ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    id: Uuid,
    why: String,
    held: String,
    member: String,
    pin: String,
}

/// `GET /units/{unit}/out`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
) -> Result<Html<TakeOut>, WebError> {
    let input = Input {
        id: app.clock.id(),
        member: visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default(),
        ..Input::default()
    };
    Ok(Html(view(&app, &visitor, &unit, &input, Vec::new()).await?))
}

/// `POST /units/{unit}/out`.
pub async fn take_out(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(mut input): Form<Input>,
) -> Result<Response, WebError> {
    if input.id.is_nil() {
        return Err(WebError::Unreadable);
    }
    let looked = file(&app, &unit).await?;
    let mut lines = Vec::new();
    if input.why.trim().is_empty() {
        lines.push(problem("why", "Say why, in a few words."));
    }
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if lines.is_empty() {
        let body = TakenOut { asset: Asset::unit(&unit), why: input.why.trim().to_owned() };
        let taken = match hand_in_field(&app, "taken_out", input.id, &input.member, &body).await {
            Ok(_) => true,
            // Sent again from a page gone back to: the same thing while it still stands.
            Err(IntakeError::Before(first)) => still_open(&app, &body.asset, first.id).await?,
            Err(e) => return Err(e.into()),
        };
        if taken && input.held == "yes" {
            // What is on it is held with it. Then how it was found is written down, before anybody forgets.
            let fitted = looked.upkeep.fitted_to(&unit).map(|(item, _)| item.clone());
            let things = std::iter::once(body.asset.clone()).chain(fitted).collect();
            hold(&app, &body.asset, &body.why, things, (input.id, &input.member)).await?;
            return Ok(Redirect::to(&format!("/assets/{}/seal", body.asset)).into_response());
        }
        if taken {
            return Ok(Redirect::to(&format!("/units/{unit}")).into_response());
        }
        input.id = app.clock.id();
        let text =
            "This was sent before and has been dealt with since. If it is wrong again, send it once more.";
        lines.push(problem("why", text));
    }
    Ok(Again(view(&app, &visitor, &unit, &input, lines).await?).into_response())
}

async fn view(
    app: &App,
    visitor: &Visitor,
    unit: &str,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<TakeOut, WebError> {
    let file = file(app, unit).await?;
    Ok(TakeOut {
        page: page(app, visitor, &format!("Take unit {unit} out of service")).await?,
        unit: unit_ref(unit),
        place: file.place_words(),
        standing: standing(&file.standing),
        id: input.id.to_string(),
        why: input.why.clone(),
        held: input.held == "yes",
        members: member_options(&app.store.people().await?, Some(&input.member)),
        problems: Problems { lines },
    })
}
