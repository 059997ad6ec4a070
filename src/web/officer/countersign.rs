//! Good checks that wait for an officer's countersignature, and whether any do.

use std::collections::HashSet;

use airmuster_domain::record::{Register, Signed};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::fleet::Fleet;
use crate::store::CheckRow;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, unit_ref, when};
use crate::web::serving::App;
use crate::web::signing::{check_pin_at, hand_in_desk, problem};
use crate::web::view::countersign::{Countersign, Waits};
use crate::web::view::{ProblemLine, Problems};

/// `GET /countersign`.
pub async fn show_list(State(app): State<App>, visitor: Visitor) -> Result<Html<Countersign>, WebError> {
    Ok(Html(view(&app, &visitor, &HashSet::new(), Vec::new()).await?))
}

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    check: Vec<i64>,
    pin: String,
}

/// `POST /countersign`: those that were ticked, under one PIN.
pub async fn countersign(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let officer = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let ticked: HashSet<i64> = input.check.iter().copied().collect();
    let mut lines = Vec::new();
    if ticked.is_empty() {
        lines.push(problem("checks", "Tick the checks that you have looked at."));
    }
    lines.extend(check_pin_at(&app, &visitor, ("checks", "pin"), &officer, &input.pin).await?.err());
    if lines.is_empty() {
        for row in app.store.uncountersigned().await?.iter().filter(|c| ticked.contains(&c.seq)) {
            match hand_in_desk(&app, "countersigned", &officer, &Signed { of: row.name }).await {
                Ok(_) => {}
                Err(IntakeError::Refused(r)) => {
                    lines.push(problem("checks", format!("Unit {}: {}.", row.unit, r.say)));
                }
                Err(e) => return Err(e.into()),
            }
        }
    }
    if lines.is_empty() {
        return Ok(Redirect::to("/countersign").into_response());
    }
    Ok(Again(view(&app, &visitor, &ticked, lines).await?).into_response())
}

/// What the administrator's form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Setting {
    required: String,
}

/// `POST /countersign/setting`.
pub async fn set(
    State(app): State<App>,
    visitor: Visitor,
    Form(setting): Form<Setting>,
) -> Result<Redirect, WebError> {
    let administrator = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let required = match setting.required.as_str() {
        "yes" => true,
        "no" => false,
        _ => return Err(WebError::Unreadable),
    };
    if app.store.countersigning().await? != required {
        let entry = Register::Countersigning { required };
        hand_in_desk(&app, "register", &administrator.id, &entry).await?;
    }
    Ok(Redirect::to("/countersign"))
}

async fn view(
    app: &App,
    visitor: &Visitor,
    ticked: &HashSet<i64>,
    lines: Vec<ProblemLine>,
) -> Result<Countersign, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let unproven: HashSet<i64> = app.store.unproven().await?.into_iter().map(|c| c.seq).collect();
    let me = visitor.member.as_ref().map(|m| m.id.as_str());
    let mut rows = Vec::new();
    for check in app.store.uncountersigned().await? {
        let kept = app.store.record(check.seq).await?.ok_or(WebError::Internal)?;
        let writer = kept.record.envelope.written_by;
        let own = me.is_some() && (me == check.by.as_deref() || me == writer.as_deref());
        rows.push(row(&fleet, &check, own, unproven.contains(&check.seq), ticked.contains(&check.seq)));
    }
    Ok(Countersign {
        page: page(app, visitor, "To countersign").await?,
        any: rows.iter().any(|r| r.ticks),
        rows,
        required: app.store.countersigning().await?,
        administrator: visitor.is(&[Role::Administrator]),
        problems: Problems { lines },
    })
}

fn row(fleet: &Fleet, check: &CheckRow, own: bool, unproven: bool, ticked: bool) -> Waits {
    let by = check.by.as_deref().map_or("nobody", |by| fleet.name(by));
    let what = Purpose::from_id(&check.purpose).map_or("Check", Purpose::title);
    let at = when(&fleet.department.clock, check.at, fleet.now);
    let place = fleet.units.get(&check.unit).map(|u| capital(&fleet.place_words(&u.row))).unwrap_or_default();
    Waits {
        seq: check.seq,
        unit: unit_ref(&check.unit),
        place,
        what: format!("{what}, {at}, signed by {by}"),
        good: check.clean,
        href: format!("/records/{}", check.seq),
        said: if own {
            "You made it or wrote it down. Another officer countersigns it.".to_owned()
        } else if unproven {
            "Its signer’s PIN is not proven yet; it counts only with both.".to_owned()
        } else {
            String::new()
        },
        ticks: !own,
        ticked,
    }
}
