//! The swap plan: proposed as a whole, accepted as a whole or in part, each move a record.

use airmuster_domain::record::{Body, Desk, Place};
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::words::{left_words, proposal_words};
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

/// What was just moved: the numbers of the records, with commas between.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Done {
    moved: String,
}

impl Done {
    /// What was moved, in words, by the records themselves.
    pub async fn words(&self, app: &App, muster: &Muster) -> Result<Option<String>, WebError> {
        let mut out = Vec::new();
        for seq in self.moved.split(',').filter_map(|n| n.parse().ok()).take(SHOWN) {
            let Some(kept) = app.store.record(seq).await? else { continue };
            let Body::Desk(Desk::Moved(moved)) = kept.record.body else { continue };
            let seated = moved.moves.iter().find(|m| matches!(m.to, Place::Seat { .. }));
            out.extend(seated.map(|m| format!("{} to {}", m.asset.number, muster.fleet.words_of(&m.to))));
        }
        Ok((!out.is_empty()).then(|| format!("Moved: {}.", out.join("; "))))
    }
}

/// `GET /swap`.
pub async fn show_plan(
    State(app): State<App>,
    visitor: Visitor,
    Query(done): Query<Done>,
) -> Result<Html<SwapPlan>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let mut view = view(&app, &visitor, &muster, Vec::new()).await?;
    view.page.flash = done.words(&app, &muster).await?;
    Ok(Html(view))
}

/// So many moves are told one by one.
const SHOWN: usize = 20;

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
            let say =
                "A seat or spare has changed since you looked. Nothing was moved; this is how it is now.";
            return overtaken(&app, &visitor, &muster, say.to_owned()).await;
        };
        wanted.push(p);
    }
    let mut made: Vec<String> = Vec::new();
    for p in wanted {
        match hand_in_desk(&app, "moved", &by.id, &p.record()).await {
            Ok(receipt) => made.push(receipt.seq.to_string()),
            Err(IntakeError::Refused(r)) => {
                let (done, all) = (made.len(), input.moves.len());
                let say =
                    format!("{}. {done} of {all} moves were made; this is how it is now.", capital(&r.say));
                let muster = Muster::load(&app.store, app.clock.now()).await?;
                return overtaken(&app, &visitor, &muster, say).await;
            }
            Err(e) => return Err(e.into()),
        }
    }
    let back = muster.rig(&input.rig).map_or("/swap".to_owned(), |r| format!("/rigs/{}", r.id));
    Ok(Redirect::to(&format!("{back}?moved={}", made.join(","))).into_response())
}

/// Somebody was faster: the plan as it is by now, and what became of what was sent.
async fn overtaken(app: &App, visitor: &Visitor, muster: &Muster, say: String) -> Result<Response, WebError> {
    let mut view = view(app, visitor, muster, Vec::new()).await?;
    view.page.flash = Some(say);
    Ok((StatusCode::CONFLICT, Html(view)).into_response())
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
        left: proposed.left.iter().map(|l| left_words(muster, l)).collect(),
        problems: Problems { lines },
    })
}
