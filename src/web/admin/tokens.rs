//! Tokens for programs that read.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::tokens;
use crate::store::TokenRow;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{page, when};
use crate::web::serving::App;
use crate::web::signing::problem;
use crate::web::view::tokens::{TokenLine, Tokens};
use crate::web::view::{ProblemLine, Problems};

/// A name of up to 60 characters, so that the list stays one.
const LONGEST: usize = 60;

/// `GET /tokens`.
pub async fn show_list(State(app): State<App>, visitor: Visitor) -> Result<Html<Tokens>, WebError> {
    Ok(Html(view(&app, &visitor, None, "", Vec::new()).await?))
}

async fn view(
    app: &App,
    visitor: &Visitor,
    token: Option<String>,
    name: &str,
    lines: Vec<ProblemLine>,
) -> Result<Tokens, WebError> {
    let clock = app.store.department().await?.clock;
    let (now, names) = (app.clock.now(), app.store.names().await?);
    let line = |t: TokenRow| TokenLine {
        id: t.id,
        made: format!("{}, by {}", when(&clock, t.made_at, now), names.get(&t.made_by).unwrap_or(&t.made_by)),
        used: t.used_at.map_or("Never used".to_owned(), |at| format!("Last used {}", when(&clock, at, now))),
        gone: t.revoked_at.map(|at| format!("Taken back {}", when(&clock, at, now))).unwrap_or_default(),
        name: t.name,
    };
    Ok(Tokens {
        page: page(app, visitor, "Tokens for programs").await?,
        token,
        name: name.to_owned(),
        rows: app.store.tokens().await?.into_iter().map(line).collect(),
        problems: Problems { lines },
    })
}

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    name: String,
}

/// `POST /tokens`: the only answer in which the token is shown.
pub async fn make(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let name = input.name.trim();
    if name.is_empty() || name.chars().count() > LONGEST || name.contains(char::is_control) {
        let lines = vec![problem("name", "Say what it is for, in up to 60 characters.")];
        return Ok(Again(view(&app, &visitor, None, name, lines).await?).into_response());
    }
    let token = tokens::make(&app.store, &app.clock, name, &by).await?;
    Ok(Html(view(&app, &visitor, Some(token), "", Vec::new()).await?).into_response())
}

/// `POST /tokens/{token}/revoke`.
pub async fn revoke(State(app): State<App>, Path(token): Path<String>) -> Result<Redirect, WebError> {
    let id = token.parse().map_err(|_| WebError::NotFound)?;
    let mut write = app.store.begin().await?;
    let there = write.revoke_token(id, app.clock.now()).await?;
    write.commit().await?;
    if there { Ok(Redirect::to("/tokens")) } else { Err(WebError::NotFound) }
}
