//! Which teams the members on ready seats could make. Planning help, never a permission.

use axum::extract::State;

use super::words::{PLANNING, teams_words, wearer_words};
use crate::service::muster::Muster;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::page;
use crate::web::serving::App;
use crate::web::view::muster::{Teams, TeamsOf};

/// `GET /teams`.
pub async fn show_teams(State(app): State<App>, visitor: Visitor) -> Result<Html<Teams>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let part = |name: &str, station: Option<&str>| {
        let teams = muster.teams(station);
        TeamsOf {
            name: name.to_owned(),
            count: teams_words(&teams),
            inside: teams
                .inside
                .iter()
                .map(|[a, b]| [wearer_words(&muster, a), wearer_words(&muster, b)])
                .collect(),
            outside: teams.outside.iter().map(|w| wearer_words(&muster, w)).collect(),
        }
    };
    let mut parts: Vec<TeamsOf> = muster.fleet.stations.iter().map(|s| part(&s.name, Some(&s.id))).collect();
    if parts.len() > 1 {
        parts.push(part("The whole department", None));
    }
    Ok(Html(Teams { page: page(&app, &visitor, "Teams").await?, parts, planning: PLANNING }))
}
