//! The swap plan: proposed as a whole, accepted as a whole or in part, each move a record.

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::words::{proposal_words, why_words};
use crate::service::IntakeError;
use crate::service::muster::Muster;
use crate::service::swap::propose;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::muster::SwapPlan;
use crate::web::view::{ProblemLine, Problems};

/// `GET /swap`.
pub async fn show_plan(State(app): State<App>, visitor: Visitor) -> Result<Html<SwapPlan>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    Ok(Html(view(&app, &visitor, &muster, Vec::new()).await?))
}

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    #[serde(rename = "move")]
    moves: Vec<String>,
    /// The rig whose page it was asked from.
    rig: String,
}

/// `POST /swap`: carries out what is ticked, while it is as it was shown.
pub async fn carry_out(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    if input.moves.is_empty() {
        let lines = vec![problem("move", "Tick what you have moved, or go back.")];
        return Ok(Again(view(&app, &visitor, &muster, lines).await?).into_response());
    }
    let proposed = propose(&muster);
    let mut wanted = Vec::new();
    for key in &input.moves {
        let Some(p) = proposed.moves.iter().find(|p| p.key() == *key) else {
            let say = "The seat or the spare has changed since you looked. Nothing was moved; look again.";
            return Err(WebError::Conflict(say.to_owned()));
        };
        wanted.push(p);
    }
    for (done, p) in wanted.into_iter().enumerate() {
        match hand_in_desk(&app, "moved", &by.id, &p.record()).await {
            Ok(_) => {}
            Err(IntakeError::Refused(r)) => {
                let say = format!("{}. {done} of {} moves were made.", capital(&r.say), input.moves.len());
                return Err(WebError::Conflict(say));
            }
            Err(e) => return Err(e.into()),
        }
    }
    let back = muster.rig(&input.rig).map_or("/swap".to_owned(), |r| format!("/rigs/{}", r.id));
    Ok(Redirect::to(&back).into_response())
}

async fn view(
    app: &App,
    visitor: &Visitor,
    muster: &Muster,
    lines: Vec<ProblemLine>,
) -> Result<SwapPlan, WebError> {
    let proposed = propose(muster);
    Ok(SwapPlan {
        page: page(app, visitor, "Swap plan").await?,
        moves: proposed.moves.iter().map(|p| (p.key(), proposal_words(muster, p))).collect(),
        left: proposed.left.iter().map(|(seat, why)| why_words(seat, *why)).collect(),
        problems: Problems { lines },
    })
}
