//! Return to service: every open ground, what was worked on, the proof, the signatures.

use airmuster_domain::record::{AssetKind, Part, RecordRef, Return};
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::ticket::{Entered, file, view};
use crate::service::IntakeError;
use crate::service::ticket::{JobFile, barred};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::capital;
use crate::web::serving::App;
use crate::web::signing::{check_pin, check_pin_at, hand_in_desk, problem};
use crate::web::view::{ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    /// Keys of the grounds ticked.
    pub ground: Vec<String>,
    /// Parts worked on.
    pub worked_on: Vec<String>,
    /// What was done.
    pub remedy: String,
    /// Bench test or certificate.
    pub certificate: String,
    /// The proving check that the form was made with: id and digest.
    pub proving: String,
    /// Who returns it.
    pub member: String,
    /// That member's PIN.
    pub pin: String,
    /// Who signs second.
    pub second_member: String,
    /// The second signer's PIN.
    pub second_pin: String,
    /// Whether this came from a form, and is not the empty one to begin with.
    #[serde(skip)]
    pub sent: bool,
}

/// `POST /tickets/{ticket}/return`.
pub async fn take_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(ticket): Path<u64>,
    Form(mut input): Form<Input>,
) -> Result<Response, WebError> {
    input.sent = true;
    let file = file(&app, ticket).await?;
    let parts: Vec<Part> =
        Part::ALL.into_iter().filter(|p| input.worked_on.iter().any(|w| w == p.id())).collect();
    let mut lines = look_at(&file, &input, &parts);
    lines.extend(check_pin(&app, &input.member, &input.pin).await?.err());
    if parts.is_empty() {
        lines.extend(second(&app, &input).await?);
    }
    let proving = read_ref(&input.proving).filter(|p| file.proof.as_ref().is_some_and(|d| d.name == *p));
    let Some(proving) = proving else {
        return Err(WebError::Conflict(
            "The proving check of this ticket has changed since you looked. Nothing was returned; look again.".to_owned(),
        ));
    };
    if !lines.is_empty() {
        return again(&app, &visitor, &file, input, lines, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    let asset = file.ticket.asset.clone();
    let certificate = input.certificate.trim();
    let body = Return {
        asset: asset.clone(),
        clears: input.ground.clone(),
        proving,
        bench_test: (!certificate.is_empty()).then(|| certificate.to_owned()),
        remedy: input.remedy.trim().to_owned(),
        second_signer: parts.is_empty().then(|| input.second_member.clone()),
        worked_on: parts,
    };
    match hand_in_desk(&app, "return", &input.member, &body).await {
        Ok(_) => Ok(Redirect::to(&match asset.kind {
            AssetKind::Unit => format!("/units/{}", asset.number),
            AssetKind::Facepiece | AssetKind::Cylinder => format!("/tickets/{ticket}"),
        })
        .into_response()),
        Err(IntakeError::Refused(r)) if r.forbidden => {
            let lines = vec![problem("member", format!("{}.", capital(&r.say)))];
            again(&app, &visitor, &file, input, lines, StatusCode::UNPROCESSABLE_ENTITY).await
        }
        // The state is against it: what was entered is kept, and looked at against how it stands.
        Err(IntakeError::Refused(r)) => {
            let lines = vec![problem("ground", format!("{}.", capital(&r.say)))];
            let file = self::file(&app, ticket).await?;
            again(&app, &visitor, &file, input, lines, StatusCode::CONFLICT).await
        }
        Err(e) => Err(e.into()),
    }
}

/// What is missing in the form itself.
fn look_at(file: &JobFile, input: &Input, parts: &[Part]) -> Vec<ProblemLine> {
    let mut lines = Vec::new();
    if input.ground.is_empty() {
        lines.push(problem("ground", "Tick what was dealt with; only that is returned."));
    }
    let proof = file.proof.as_ref();
    let mut ticked = file.for_return().filter(|r| input.ground.contains(&r.key));
    if let Some(why) = ticked.find_map(|r| proof.and_then(|p| barred(r, p))) {
        lines.push(problem("ground", why));
    }
    if input.remedy.trim().is_empty() {
        lines.push(problem("remedy", "Write down what was done."));
    }
    if parts.iter().any(|p| p.needs_bench_test()) && input.certificate.trim().is_empty() {
        let text = "Work on a regulator, reducer, valve, gauge or alarm needs a bench test’s result or the repairer’s certificate.";
        lines.push(problem("certificate", text));
    }
    lines
}

/// “No fault found” is signed by two.
async fn second(app: &App, input: &Input) -> Result<Option<ProblemLine>, WebError> {
    if input.second_member.is_empty() {
        let text = "Nothing was worked on, so no fault was found: that needs a second signer. Or tick what was worked on.";
        return Ok(Some(problem("second_member", text)));
    }
    if input.second_member == input.member {
        return Ok(Some(problem("second_member", "The second signer is somebody else.")));
    }
    let fields = ("second_member", "second_pin");
    Ok(check_pin_at(app, fields, &input.second_member, &input.second_pin).await?.err())
}

fn read_ref(text: &str) -> Option<RecordRef> {
    let (id, digest) = text.split_once('/')?;
    Some(RecordRef { id: id.parse().ok()?, digest: digest.parse().ok()? })
}

async fn again(
    app: &App,
    visitor: &Visitor,
    file: &JobFile,
    input: Input,
    lines: Vec<ProblemLine>,
    status: StatusCode,
) -> Result<Response, WebError> {
    let entered = Entered { returning: Some(input), problems: Problems { lines }, ..Entered::default() };
    let view = view(app, visitor, file, entered).await?;
    Ok(match status {
        StatusCode::UNPROCESSABLE_ENTITY => Again(view).into_response(),
        status => (status, Html(view)).into_response(),
    })
}
