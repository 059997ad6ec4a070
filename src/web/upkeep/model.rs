//! What a facepiece is besides its size: a fit test is for one make, model, style and size.

use airmuster_domain::record::{AssetKind, Register};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::{asset_href, file};
use crate::service::IntakeError;
use crate::service::ticket::thing_words;
use crate::service::upkeep::ThingFile;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::upkeep::Model;
use crate::web::view::{ProblemLine, Problems};

/// The form.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    make: String,
    model: String,
    style: String,
}

/// `GET /assets/{asset}/model`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
) -> Result<Html<Model>, WebError> {
    let file = facepiece(&app, &asset).await?;
    let thing = &file.thing;
    let input = Input { make: thing.make.clone(), model: thing.model.clone(), style: thing.style.clone() };
    Ok(Html(view(&app, &visitor, &file, input, Vec::new()).await?))
}

/// `POST /assets/{asset}/model`.
pub async fn take_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let file = facepiece(&app, &asset).await?;
    let parts = [("make", &input.make), ("model", &input.model), ("style", &input.style)];
    let mut lines: Vec<ProblemLine> = parts
        .iter()
        .filter(|(_, part)| part.trim().is_empty() || part.chars().count() > 60)
        .map(|(field, _)| problem(field, "Write it as the fit tests do, in up to 60 characters."))
        .collect();
    if lines.is_empty() {
        let [make, model, style] = parts.map(|(_, part)| part.trim().to_owned());
        let body = Register::FacepieceModel { number: file.asset.number.clone(), make, model, style };
        match hand_in_desk(&app, "register", &by, &body).await {
            Ok(_) => return Ok(Redirect::to(&asset_href(&file.asset)).into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem("model", format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &file, input, lines).await?).into_response())
}

async fn facepiece(app: &App, asset: &str) -> Result<ThingFile, WebError> {
    let file = file(app, asset).await?;
    if file.asset.kind == AssetKind::Facepiece { Ok(file) } else { Err(WebError::NotFound) }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    file: &ThingFile,
    input: Input,
    lines: Vec<ProblemLine>,
) -> Result<Model, WebError> {
    let title = thing_words(&file.asset);
    Ok(Model {
        page: page(app, visitor, &format!("Model of {title}")).await?,
        href: asset_href(&file.asset),
        make: input.make,
        model: input.model,
        style: input.style,
        problems: Problems { lines },
        title,
    })
}
