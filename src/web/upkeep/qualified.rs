//! Until when technicians are qualified for which kinds of unit.

use airmuster_domain::record::Register;
use airmuster_domain::role::Role;
use airmuster_domain::upkeep::day_words;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::family_words;
use crate::service::IntakeError;
use crate::service::upkeep::Ledger;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::ticket::StageOption;
use crate::web::view::upkeep::{Qualifications, QualifiedRow};
use crate::web::view::{ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    /// Member and family, a slash between them.
    of: String,
    until: String,
    reference: String,
}

/// `GET /qualifications`.
pub async fn show(State(app): State<App>, visitor: Visitor) -> Result<Html<Qualifications>, WebError> {
    Ok(Html(view(&app, &visitor, &Input::default(), Vec::new()).await?))
}

/// `POST /qualifications`. The session is signature enough.
pub async fn take(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let mut lines = Vec::new();
    let until = input.until.trim().parse().ok();
    if input.of.is_empty() {
        lines.push(problem("of", "Choose whose."));
    }
    if until.is_none() {
        lines.push(problem("until", "Give the last day on which it holds, such as 2028-03-31."));
    }
    if let (Some((member, family)), Some(until)) = (input.of.split_once('/'), until) {
        let [member, family] = [member, family].map(str::to_owned);
        let body =
            Register::Qualification { member, family, until, reference: input.reference.trim().to_owned() };
        match hand_in_desk(&app, "register", &by, &body).await {
            Ok(_) => return Ok(Redirect::to("/qualifications").into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem("of", format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &input, lines).await?).into_response())
}

async fn view(
    app: &App,
    visitor: &Visitor,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Qualifications, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let signers = app.store.signers().await?;
    let technicians = signers.iter().filter(|s| s.roles.contains(&Role::Technician));
    let pairs: Vec<(&str, &str)> =
        technicians.flat_map(|s| s.qualified.iter().map(|f| (s.id.as_str(), f.as_str()))).collect();
    let rows = pairs.iter().map(|(member, family)| {
        let until = ledger.upkeep.qualified.get(*member).and_then(|f| f.get(*family));
        let lapsed = ledger.upkeep.unqualified(member, family, ledger.today).is_some();
        let kinds = family_words(&ledger, family);
        QualifiedRow {
            name: ledger.fleet.name(member).to_owned(),
            say: match until {
                None => format!("{kinds}: nobody has said until when"),
                Some(d) if lapsed => {
                    format!("{kinds}: lapsed after {}. No return is signed with it.", day_words(*d))
                }
                Some(d) => format!("{kinds}: until {}", day_words(*d)),
            },
            lapsed,
        }
    });
    let options = pairs.iter().map(|(member, family)| {
        let value = format!("{member}/{family}");
        let label = format!("{}: {}", ledger.fleet.name(member), family_words(&ledger, family));
        StageOption { selected: value == input.of, value, label }
    });
    Ok(Qualifications {
        page: page(app, visitor, "Qualifications").await?,
        rows: rows.collect(),
        options: options.collect(),
        may: visitor.is(&[Role::Administrator]),
        until: input.until.clone(),
        reference: input.reference.clone(),
        problems: Problems { lines },
    })
}
