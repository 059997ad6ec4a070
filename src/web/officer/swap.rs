//! The swap plan: proposed as a whole, accepted as a whole or in part, each move a record.

use airmuster_domain::record::{Body, Desk, Moved, Place};
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::words::{left_words, proposal_words};
use crate::service::IntakeError;
use crate::service::muster::Muster;
use crate::service::swap::{carried_out, propose};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, just_written, problem};
use crate::web::view::muster::SwapPlan;
use crate::web::view::{ProblemLine, Problems};

/// What was just moved: the numbers of the records, with commas between.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Done {
    moved: String,
}

impl Done {
    /// What was just moved, by the records themselves.
    pub async fn moves(&self, app: &App) -> Result<Vec<Moved>, WebError> {
        let told = just_written(app, &self.moved, SHOWN).await?.into_iter();
        Ok(told
            .filter_map(|body| match body {
                Body::Desk(Desk::Moved(moved)) => Some(moved),
                _ => None,
            })
            .collect())
    }
}

/// What was moved, in words.
pub fn words_of(muster: &Muster, moves: &[Moved]) -> Option<String> {
    let seated = moves.iter().filter_map(|m| m.moves.iter().find(|m| matches!(m.to, Place::Seat { .. })));
    let out: Vec<String> =
        seated.map(|m| format!("{} to {}", m.asset.number, muster.fleet.words_of(&m.to))).collect();
    (!out.is_empty()).then(|| format!("Moved: {}.", out.join("; ")))
}

/// `GET /swap`.
pub async fn show_plan(
    State(app): State<App>,
    visitor: Visitor,
    Query(done): Query<Done>,
) -> Result<Html<SwapPlan>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let mut view = view(&app, &visitor, &muster, Vec::new()).await?;
    view.page.flash = words_of(&muster, &done.moves(&app).await?);
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
    // Tapped twice, or by two officers: what is done is done.
    let (mut wanted, mut already) = (Vec::new(), Vec::new());
    let mut changed = false;
    for key in &input.moves {
        match (carried_out(&muster, key), proposed.moves.iter().find(|p| p.key() == *key)) {
            (Some(words), _) => already.push(words),
            (None, Some(p)) => wanted.push(p),
            (None, None) => changed = true,
        }
    }
    if changed {
        let nothing = if already.is_empty() { "Nothing was moved" } else { "Nothing more was moved" };
        let say = format!(
            "{}A seat or spare has changed since you looked. {nothing}; this is how it is now.",
            moved_before(&already)
        );
        return overtaken(&app, &visitor, &muster, say).await;
    }
    let mut made: Vec<String> = Vec::new();
    for p in wanted {
        match hand_in_desk(&app, "moved", &by.id, &p.record()).await {
            Ok(receipt) => made.push(receipt.seq.to_string()),
            Err(IntakeError::Refused(r)) => {
                let muster = Muster::load(&app.store, app.clock.now()).await?;
                if let Some(words) = carried_out(&muster, &p.key()) {
                    already.push(words);
                    continue;
                }
                let (done, all) = (made.len(), input.moves.len());
                let say = format!(
                    "{}{}. {done} of {all} moves were made; this is how it is now.",
                    moved_before(&already),
                    capital(&r.say)
                );
                return overtaken(&app, &visitor, &muster, say).await;
            }
            Err(e) => return Err(e.into()),
        }
    }
    if made.is_empty() {
        let muster = Muster::load(&app.store, app.clock.now()).await?;
        let say = format!("{}This is how it is now.", moved_before(&already));
        return overtaken(&app, &visitor, &muster, say).await;
    }
    let back = muster.rig(&input.rig).map_or("/swap".to_owned(), |r| format!("/rigs/{}", r.id));
    Ok(Redirect::to(&format!("{back}?moved={}", made.join(","))).into_response())
}

/// What was wanted and had been moved before; empty where nothing was.
fn moved_before(already: &[String]) -> String {
    if already.is_empty() { String::new() } else { format!("Moved already: {}. ", already.join("; ")) }
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
