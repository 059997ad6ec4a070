//! Correcting a check: it was made on another unit than it says, or something was misread.

use std::collections::BTreeSet;

use airmuster_domain::record::{Correction, Digest};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::correcting::Correcting;
use crate::service::fleet::Fleet;
use crate::web::auth::Visitor;
use crate::web::entered;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, member_options, page, when};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_desk, problem};
use crate::web::telling::tell;
use crate::web::view::record::{Answered, Correct};
use crate::web::view::{Link, ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    after: Vec<String>,
    what: String,
    right: String,
    step: Vec<String>,
    why: String,
    member: String,
    pin: String,
}

/// `GET /records/{seq}/correct`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
) -> Result<Html<Correct>, WebError> {
    let correcting = load(&app, seq).await?;
    let member = visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default();
    let input = Input { member, ..Input::default() };
    Ok(Html(view(&app, &visitor, &correcting, &input, Vec::new()).await?))
}

/// `POST /records/{seq}/correct`.
pub async fn correct(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let correcting = load(&app, seq).await?;
    let shown: BTreeSet<Digest> = input.after.iter().filter_map(|d| d.parse().ok()).collect();
    if shown != correcting.heads().iter().map(|h| h.digest).collect() {
        let say = "This check has been corrected meanwhile. Read that correction, then write yours.";
        return Err(WebError::Conflict(say.to_owned()));
    }
    let mut lines = Vec::new();
    let wrong_unit = input.what == "unit";
    let right_unit = if wrong_unit { right_unit(&app, &correcting, &input, &mut lines).await? } else { None };
    let misread = if input.what == "step" { input.step.clone() } else { Vec::new() };
    if !["unit", "step"].contains(&input.what.as_str()) {
        lines.push(problem("what", "Say what was wrong: the unit, or a reading."));
    } else if !wrong_unit && misread.is_empty() {
        lines.push(problem("step", "Tick each step that was misread."));
    }
    if input.why.trim().is_empty() {
        lines.push(problem("why", "Write down how you know, and whom you asked."));
    }
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if lines.is_empty() {
        let body = Correction {
            of: correcting.event.kept.record.name,
            replaces: correcting.heads().into_iter().collect(),
            misread,
            right_unit,
            why: input.why.trim().to_owned(),
        };
        match hand_in_desk(&app, "correction", &input.member, &body).await {
            Ok(receipt) => {
                return Ok(Redirect::to(&format!("/records/{}", receipt.seq)).into_response());
            }
            Err(IntakeError::Refused(r)) if r.forbidden => {
                lines.push(problem("member", format!("{}.", capital(&r.say))));
            }
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &correcting, &input, lines).await?).into_response())
}

async fn load(app: &App, seq: i64) -> Result<Correcting, WebError> {
    let kept = app.store.record(seq).await?.ok_or(WebError::NotFound)?;
    Correcting::load(&app.store, kept)
        .await?
        .ok_or_else(|| WebError::Conflict("Only a check is corrected.".to_owned()))
}

/// The unit that the check was really made on, with the profile that judges it.
async fn right_unit(
    app: &App,
    correcting: &Correcting,
    input: &Input,
    lines: &mut Vec<ProblemLine>,
) -> Result<Option<(String, String)>, WebError> {
    let number = input.right.trim();
    if correcting.event.check().is_some_and(|c| c.unit == number) {
        lines.push(problem("right", format!("The check says unit {number} already. Give the right one.")));
        return Ok(None);
    }
    let row = app.store.unit(number).await?;
    if row.is_none() {
        lines.push(problem("right", "Give the number of a unit in the register."));
    }
    Ok(row.map(|r| (r.number, r.profile)))
}

async fn view(
    app: &App,
    visitor: &Visitor,
    correcting: &Correcting,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Correct, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let event = &correcting.event;
    let seq = event.kept.place.seq;
    let envelope = &event.kept.record.envelope;
    let clock = &fleet.department.clock;
    let unit = event.check().map(|c| c.unit.clone()).unwrap_or_default();
    let signed = envelope.by.as_ref();
    let steps = match event.judged.as_ref().zip(event.check()).filter(|_| signed.is_some()) {
        Some((j, check)) => entered::answered(&j.form, &j.judgement, &check.answers),
        None => Vec::new(),
    };
    Ok(Correct {
        page: page(app, visitor, "Correct a check").await?,
        action: format!("/records/{seq}/correct"),
        about: Link {
            text: format!(
                "{} of unit {unit}, {}, {}",
                tell(&fleet, event).title,
                when(clock, envelope.time(), fleet.now),
                signed.map_or("not signed".to_owned(), |by| format!("signed by {}", fleet.name(by)))
            ),
            href: format!("/records/{seq}"),
        },
        unit,
        before: correcting
            .before
            .iter()
            .map(|k| Link {
                text: format!("Corrected {}", when(clock, k.record.envelope.time(), fleet.now)),
                href: format!("/records/{}", k.place.seq),
            })
            .collect(),
        after: correcting.heads().iter().map(|h| h.digest.to_string()).collect(),
        what: input.what.clone(),
        right: input.right.clone(),
        steps: steps
            .into_iter()
            .map(|(id, title, answer)| Answered { ticked: input.step.contains(&id), id, title, answer })
            .collect(),
        why: input.why.clone(),
        members: member_options(&app.store.people().await?, Some(&input.member)),
        problems: Problems { lines },
    })
}
