//! Writing down upkeep that was done.

use airmuster_domain::record::{AssetKind, Upkept, Work};
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
use crate::web::present::{capital, page, standing};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::ticket::StageOption;
use crate::web::view::upkeep::Done;
use crate::web::view::{ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    work: String,
    on: String,
    reference: String,
    until: String,
    note: String,
    failed: String,
}

/// `GET /assets/{asset}/upkeep`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
) -> Result<Html<Done>, WebError> {
    let file = file(&app, &asset).await?;
    Ok(Html(view(&app, &visitor, &file, &Input::default(), Vec::new()).await?))
}

/// `POST /assets/{asset}/upkeep`. The session is signature enough.
pub async fn take_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let file = file(&app, &asset).await?;
    let lines = match read(&file, &input) {
        Ok(body) => match hand_in_desk(&app, "upkeep", &by, &body).await {
            Ok(_) => return Ok(Redirect::to(&asset_href(&file.asset)).into_response()),
            Err(IntakeError::Refused(r)) => vec![problem("work", format!("{}.", capital(&r.say)))],
            Err(e) => return Err(e.into()),
        },
        Err(lines) => lines,
    };
    Ok(Again(view(&app, &visitor, &file, &input, lines).await?).into_response())
}

fn read(file: &ThingFile, input: &Input) -> Result<Upkept, Vec<ProblemLine>> {
    let mut lines = Vec::new();
    let work = Work::DONE.into_iter().find(|w| w.id() == input.work);
    if work.is_none() {
        lines.push(problem("work", "Choose what was done."));
    }
    let on = input.on.trim().parse().ok();
    if on.is_none() {
        lines.push(problem("on", "Give the day on which it was done, such as 2026-03-31."));
    }
    match (work, on) {
        (Some(work), Some(on)) => Ok(Upkept {
            asset: file.asset.clone(),
            work,
            on,
            passed: input.failed != "yes",
            reference: input.reference.trim().to_owned(),
            until: input.until.trim().parse().ok(),
            note: input.note.trim().to_owned(),
        }),
        _ => Err(lines),
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    file: &ThingFile,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Done, WebError> {
    let title = thing_words(&file.asset);
    let all = visitor.is(&[Role::Technician, Role::Administrator]);
    let here = |w: &Work| w.on() == Some(file.asset.kind) && (all || *w == Work::Cleaned);
    let works = Work::DONE.into_iter().filter(here).map(|w| StageOption {
        value: w.id().to_owned(),
        label: capital(w.words()),
        selected: w.id() == input.work,
    });
    Ok(Done {
        page: page(app, visitor, &format!("Upkeep of {title}")).await?,
        href: asset_href(&file.asset),
        action: format!("/assets/{}/upkeep", file.asset),
        standing: standing(&file.standing),
        works: works.collect(),
        on: input.on.clone(),
        failed: input.failed == "yes",
        reference: input.reference.clone(),
        until: (file.asset.kind == AssetKind::Cylinder && all).then(|| input.until.clone()),
        note: input.note.clone(),
        problems: Problems { lines },
        title,
    })
}
