//! Return to service: every open ground, what was worked on, the proof, the signatures.

use std::collections::BTreeSet;

use airmuster_domain::desk::Signer;
use airmuster_domain::record::{AssetKind, Body, Desk, Part, RecordRef, Return};
use airmuster_domain::role::Role;
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::ticket::{Entered, file, view};
use crate::service::IntakeError;
use crate::service::ticket::{JobFile, barred};
use crate::web::auth::{Member, Visitor};
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, ground_words};
use crate::web::serving::App;
use crate::web::signing::{check_pin, check_pin_at, hand_in_desk, problem};
use crate::web::telling::part_words;
use crate::web::view::ticket::{GroundTick, ReturnForm, StageOption};
use crate::web::view::{MemberOption, ProblemLine, Problems};

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
    /// How the conditions were reproduced, where no fault was found.
    pub reproduced: String,
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
    input.ground = input.ground.iter().flat_map(|keys| keys.split(' ')).map(str::to_owned).collect();
    let file = file(&app, ticket).await?;
    let parts: Vec<Part> =
        Part::ALL.into_iter().filter(|p| input.worked_on.iter().any(|w| w == p.id())).collect();
    let mut lines = look_at(&file, &input, &parts);
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if parts.is_empty() {
        lines.extend(second(&app, &visitor, &input).await?);
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
        reproduced: if parts.is_empty() { input.reproduced.trim().to_owned() } else { String::new() },
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
    if parts.is_empty() && input.reproduced.trim().is_empty() {
        let text = "No fault found? Then say how the conditions were reproduced under which it failed. Or tick what was worked on.";
        lines.push(problem("reproduced", text));
    }
    let thorough = parts.iter().any(|p| p.needs_bench_test());
    if thorough && proof.is_some_and(|p| !p.clean) {
        let text = "Work on a regulator, reducer, valve, gauge or alarm is proved by the whole proving check: make that first.";
        lines.push(problem("worked_on", text));
    }
    if thorough && input.certificate.trim().is_empty() {
        let text = "Work on a regulator, reducer, valve, gauge or alarm needs a bench test’s result or the repairer’s certificate.";
        lines.push(problem("certificate", text));
    }
    lines
}

/// “No fault found” is signed by two.
async fn second(app: &App, visitor: &Visitor, input: &Input) -> Result<Option<ProblemLine>, WebError> {
    if input.second_member.is_empty() {
        let text = "Nothing was worked on, so no fault was found: that needs a second signer. Or tick what was worked on.";
        return Ok(Some(problem("second_member", text)));
    }
    if input.second_member == input.member {
        return Ok(Some(problem("second_member", "The second signer is somebody else.")));
    }
    let fields = ("second_member", "second_pin");
    Ok(check_pin_at(app, visitor, fields, &input.second_member, &input.second_pin).await?.err())
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

/// Why it cannot be returned by this member now; none where it can.
pub(super) fn not_yet(file: &JobFile, member: Option<&Member>) -> Option<String> {
    if file.ticket.stage.is_closed() {
        return Some(format!("This ticket is closed: {}.", file.ticket.stage.words().to_lowercase()));
    }
    if file.standing.state == Holds::Held {
        return Some(
            "It is held for an inquiry: nothing may be done to it until an administrator releases it."
                .to_owned(),
        );
    }
    if file.for_return().next().is_none() {
        return Some("Nothing is open that a return would clear.".to_owned());
    }
    let signer = member.and_then(|m| file.signers.iter().find(|s| s.id == m.id));
    if !signer.is_some_and(|s| file.may_return(s)) {
        let fleet = &file.bench.fleet;
        let who: Vec<&str> =
            file.signers.iter().filter(|s| file.may_return(s)).map(|s| fleet.name(&s.id)).collect();
        let technician = signer.is_some_and(|s| s.roles.contains(&Role::Technician));
        let why = if technician {
            "You are not qualified for this kind of unit."
        } else {
            "A technician returns it."
        };
        return Some(match who.as_slice() {
            [] => format!("{why} Nobody in the register is qualified for it."),
            who => format!("{why} Qualified for it: {}.", who.join(", ")),
        });
    }
    file.proof.is_none().then(|| {
        "No proving check stands since the ticket was opened. Repair it, then prove it: everything asked, everything good.".to_owned()
    })
}

pub(super) fn return_form(
    file: &JobFile,
    input: Input,
    visitor: &Visitor,
    name: impl Fn(&str) -> Option<String>,
) -> ReturnForm {
    let proof = file.proof.as_ref();
    let signer = if input.member.is_empty() {
        visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default()
    } else {
        input.member
    };
    let worked: BTreeSet<&str> = input.worked_on.iter().map(String::as_str).collect();
    let options = |filter: &dyn Fn(&Signer) -> bool, chosen: &str| -> Vec<MemberOption> {
        let people = file.signers.iter().filter(|s| filter(s));
        let mut out: Vec<MemberOption> = people
            .filter_map(|s| {
                Some(MemberOption { id: s.id.clone(), name: name(&s.id)?, selected: s.id == chosen })
            })
            .collect();
        out.sort_by(|a, b| a.name.cmp(&b.name));
        out
    };
    ReturnForm {
        grounds: ticks(file, &input.ground),
        parts: Part::ALL
            .into_iter()
            .map(|p| StageOption {
                value: p.id().to_owned(),
                label: capital(part_words(p)),
                selected: worked.contains(p.id()),
            })
            .collect(),
        remedy: if input.sent { input.remedy } else { work_so_far(file) },
        certificate: input.certificate,
        reproduced: input.reproduced,
        proving: proof.map(|p| format!("{}/{}", p.name.id, p.name.digest)).unwrap_or_default(),
        technicians: options(&|s| file.may_return(s), &signer),
        seconds: options(&|s| s.id != signer && !s.roles.is_empty(), &input.second_member),
    }
}

/// What could get a ticket of its own.
pub(super) fn splits(file: &JobFile) -> Vec<GroundTick> {
    let mut all = ticks(file, &[]);
    for tick in &mut all {
        tick.barred = None;
    }
    if all.len() < 2 { Vec::new() } else { all }
}

/// What a return can clear. A broken-off part and the check that it belongs to find the same twice:
/// that is one thing to tick.
fn ticks(file: &JobFile, ticked: &[String]) -> Vec<GroundTick> {
    let mut out: Vec<GroundTick> = Vec::new();
    for g in file.own().filter(|g| g.raise.kind.terms().bench) {
        let text = sentence(&ground_words(g));
        let barred = file.proof.as_ref().and_then(|p| barred(&g.raise, p)).map(str::to_owned);
        match out.iter_mut().find(|t| t.text == text && t.barred == barred) {
            Some(same) => {
                same.key.push(' ');
                same.key.push_str(&g.raise.key);
            }
            None => out.push(GroundTick { key: g.raise.key.clone(), text, ticked: false, barred }),
        }
    }
    for tick in &mut out {
        tick.ticked = tick.key.split(' ').all(|key| ticked.iter().any(|k| k == key));
    }
    out
}

/// The work log in one text, oldest first.
fn work_so_far(file: &JobFile) -> String {
    let texts = file.entries.iter().filter_map(|k| match &k.record.body {
        Body::Desk(Desk::Worked(w)) => Some(sentence(&w.text)),
        _ => None,
    });
    texts.collect::<Vec<_>>().join(" ")
}
