//! Enrolling a tablet: the code that an officer has made, and the tablet's own key.

use axum::extract::State;
use axum::response::{IntoResponse, Response};
use axum_extra::extract::{CookieJar, Form};
use serde::Deserialize;

use super::pages::{kept_secret, lasting, new_token};
use super::{STATION, TOKEN, Visitor, token_hash};
use crate::service::tablets::{Offered, TabletError, read_signature};
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{page, station_href};
use crate::web::serving::App;
use crate::web::signing::problem;
use crate::web::view::tablets::{Enrol, Enrolled};
use crate::web::view::{ProblemLine, Problems};

/// What the form sends; the script adds the key.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    code: String,
    key: String,
    proof: String,
}

/// `GET /enrol`.
pub async fn show_enrol(State(app): State<App>, visitor: Visitor) -> Result<Html<Enrol>, WebError> {
    Ok(Html(view(&app, &visitor, String::new(), Vec::new()).await?))
}

/// `POST /enrol`.
pub async fn enrol(
    State(app): State<App>,
    mut visitor: Visitor,
    jar: CookieJar,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let offered = match (input.key.as_str(), input.key.parse(), read_signature(&input.proof)) {
        ("", _, _) => None,
        (_, Ok(key), Some(proof)) => Some(Offered { key, proof }),
        _ => return Err(WebError::Unreadable),
    };
    let token = new_token(&app);
    let say = match app.tablets.enrol(&input.code, offered, &token_hash(&token)).await {
        Ok(tablet) => {
            visitor.enrolled = app.store.tablet(&tablet.id).await?;
            visitor.station = Some(tablet.station.clone());
            let view = Enrolled {
                page: page(&app, &visitor, "Enrolled").await?,
                name: tablet.name,
                signs: tablet.signs,
                board: station_href(&tablet.station),
            };
            let jar = jar.add(kept_secret(TOKEN, token)).add(lasting(STATION, tablet.station));
            return Ok((jar, Html(view)).into_response());
        }
        Err(TabletError::NoSuchCode) => {
            "This code is not open. Look at it again; after a quarter of an hour, or ten wrong ones, the officer makes a new one."
        }
        Err(TabletError::NotItsKey) => {
            "This browser could not make a key that holds. Load the page again, then give the code."
        }
        Err(TabletError::Intake(e)) => return Err(e.into()),
        Err(TabletError::Store(e)) => return Err(e.into()),
    };
    let view = view(&app, &visitor, input.code, vec![problem("code", say)]).await?;
    Ok(Again(view).into_response())
}

async fn view(
    app: &App,
    visitor: &Visitor,
    code: String,
    lines: Vec<ProblemLine>,
) -> Result<Enrol, WebError> {
    let known_as = visitor.enrolled.as_ref().map(|t| t.name.clone());
    Ok(Enrol {
        page: page(app, visitor, "Enrol this tablet").await?,
        code,
        known_as,
        problems: Problems { lines },
    })
}
