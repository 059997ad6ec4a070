//! The end of a hold on a facepiece or cylinder.

use airmuster_domain::ground::Kind;
use airmuster_domain::record::{AssetKind, Clearing};
use airmuster_domain::role::Role;
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
use crate::web::present::{capital, grounds_words, member_options, page, standing};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_desk, problem};
use crate::web::view::upkeep::Release;
use crate::web::view::{ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    ground: Vec<String>,
    why: String,
    member: String,
    pin: String,
}

/// `GET /assets/{asset}/release`.
pub async fn show_release(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
) -> Result<Response, WebError> {
    let file = file(&app, &asset).await?;
    if file.asset.kind == AssetKind::Unit {
        return Ok(Redirect::to(&format!("/units/{}/clear", file.asset.number)).into_response());
    }
    let member = visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default();
    let input = Input { member, ..Input::default() };
    Ok(Html(view(&app, &visitor, &held(file)?, &input, Vec::new()).await?).into_response())
}

/// `POST /assets/{asset}/release`.
pub async fn release(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let file = held(file(&app, &asset).await?)?;
    let mut lines = Vec::new();
    if input.why.trim().is_empty() {
        lines.push(problem("why", "Say who released it, and why."));
    }
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if lines.is_empty() {
        let why = input.why.trim().to_owned();
        let body = Clearing { asset: file.asset.clone(), clears: input.ground.clone(), why };
        match hand_in_desk(&app, "release", &input.member, &body).await {
            Ok(_) => return Ok(Redirect::to(&asset_href(&file.asset)).into_response()),
            Err(IntakeError::Refused(r)) => {
                let field = if r.forbidden { "member" } else { "why" };
                lines.push(problem(field, format!("{}.", capital(&r.say))));
            }
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &file, &input, lines).await?).into_response())
}

fn held(file: ThingFile) -> Result<ThingFile, WebError> {
    if file.standing.grounds.iter().any(|g| g.raise.kind == Kind::Held) {
        return Ok(file);
    }
    Err(WebError::Conflict(format!("{} is not held for an inquiry.", thing_words(&file.asset))))
}

async fn view(
    app: &App,
    visitor: &Visitor,
    file: &ThingFile,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Release, WebError> {
    let title = thing_words(&file.asset);
    let grounds = || file.standing.grounds.iter();
    let signers = app.store.signers().await?;
    let mut people = app.store.people().await?;
    people.retain(|p| signers.iter().any(|s| s.id == p.member && s.roles.contains(&Role::Administrator)));
    Ok(Release {
        page: page(app, visitor, &format!("Release {}", title.to_lowercase())).await?,
        href: asset_href(&file.asset),
        action: format!("/assets/{}/release", file.asset),
        standing: standing(&file.standing),
        held: grounds()
            .filter(|g| g.raise.kind == Kind::Held)
            .map(|g| (g.raise.key.clone(), grounds_words([g]).concat()))
            .collect(),
        stays: grounds_words(grounds().filter(|g| g.raise.kind != Kind::Held)),
        why: input.why.clone(),
        members: member_options(&people, Some(&input.member)),
        problems: Problems { lines },
        title,
    })
}
