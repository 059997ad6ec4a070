//! Retiring a unit for good.

use airmuster_domain::record::{Asset, TakenOut};
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::unit::UnitFile;
use crate::web::auth::Visitor;
use crate::web::crew::unit::file;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, member_options, page, standing, unit_ref};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_desk, problem};
use crate::web::view::ticket::Retire;
use crate::web::view::{ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    why: String,
    member: String,
    pin: String,
}

/// `GET /units/{unit}/retire`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
) -> Result<Html<Retire>, WebError> {
    let file = still_there(&app, &unit).await?;
    let member = visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default();
    let input = Input { member, ..Input::default() };
    Ok(Html(view(&app, &visitor, &file, &input, Vec::new()).await?))
}

/// `POST /units/{unit}/retire`.
pub async fn retire(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let file = still_there(&app, &unit).await?;
    let mut lines = Vec::new();
    if input.why.trim().is_empty() {
        lines.push(problem("why", "Say why, in a few words."));
    }
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if lines.is_empty() {
        let body = TakenOut { asset: Asset::unit(&unit), why: input.why.trim().to_owned() };
        match hand_in_desk(&app, "retired", &input.member, &body).await {
            Ok(_) => return Ok(Redirect::to(&format!("/units/{unit}")).into_response()),
            Err(IntakeError::Refused(r)) => {
                let field = if r.forbidden { "member" } else { "why" };
                lines.push(problem(field, format!("{}.", capital(&r.say))));
            }
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &file, &input, lines).await?).into_response())
}

/// A unit that can still be retired.
async fn still_there(app: &App, unit: &str) -> Result<UnitFile, WebError> {
    let file = file(app, unit).await?;
    match file.standing.state {
        Holds::Retired => Err(WebError::Conflict(format!("Unit {unit} is retired already."))),
        _ if file.row.is_none() => Err(WebError::NotFound),
        _ => Ok(file),
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    file: &UnitFile,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Retire, WebError> {
    Ok(Retire {
        page: page(app, visitor, &format!("Retire unit {}", file.number)).await?,
        unit: unit_ref(&file.number),
        profile: capital(&file.profile_words()),
        standing: standing(&file.standing),
        why: input.why.clone(),
        members: member_options(&app.store.people().await?, Some(&input.member)),
        problems: Problems { lines },
    })
}
