//! Review and sign: everything entered on one screen, then the PIN that makes it a record.

use airmuster_domain::judge::{Answer, Judgement, Verdict, judge_readable};
use airmuster_domain::record::{Check, Outcome};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;

use super::after::{after_good, proves_nothing};
use super::check::{begun, form_view, tablet_of};
use super::filling::problems;
use super::input::Input;
use crate::service::checking::{Checking, record};
use crate::service::fleet::Fleet;
use crate::service::{IntakeError, Origin};
use crate::web::auth::Visitor;
use crate::web::entered;
use crate::web::error::WebError;
use crate::web::html::Again;
use crate::web::present::{member_options, page, unit_ref};
use crate::web::serving::App;
use crate::web::signing::{check_pin, problem};
use crate::web::view::review::Review;
use crate::web::view::{Fact, Link, Problems, Standing};

/// `POST /units/{unit}/check/sign`.
pub async fn sign_check(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Result<Response, WebError> {
    let (input, checking) = begun(&app, &unit, pairs).await?;
    let answers = input.answers(&checking.form, &checking.with);
    let (judged, mut unreadable) = judge_readable(&checking.form, &answers);
    unreadable.extend(input.misnamed());
    if !unreadable.is_empty() {
        let problems = problems(&checking.form, &unreadable);
        let view = form_view(&app, &visitor, &checking, &input, Some(&judged), problems).await?;
        return Ok(Again(view).into_response());
    }
    let line = match check_pin(&app, &visitor, &input.member, &input.pin).await? {
        Ok(()) => may_sign(&app, &checking, &input).await?,
        Err(line) => Some(line),
    };
    if let Some(line) = line {
        let lines = Problems { lines: vec![line] };
        let view = review(&app, &visitor, &checking, &input, &answers, &judged, lines).await?;
        return Ok(Again(view).into_response());
    }
    let by = Some(input.member.clone());
    let written_by = Some(input.written_by.clone()).filter(|w| !w.is_empty() && *w != input.member);
    let check = checking.body(input.id, Outcome::Complete, input.started, input.seen.clone(), answers);
    let check = Check { bay: input.bay().ok().flatten(), ..check };
    let bytes = record(&check, input.id, tablet_of(&visitor), app.clock.now(), by.clone(), written_by);
    let seq = match app.intake.submit_once(bytes, Origin::Tablet { proven: by }).await {
        Ok(receipt) => receipt.seq,
        // Going back and sending again leads to what was handed in the first time.
        Err(IntakeError::Before(first)) => {
            let kept = app.store.variants(first.id).await?;
            kept.first().ok_or(WebError::Internal)?.place.seq
        }
        Err(e) => return Err(e.into()),
    };
    Ok(Redirect::to(&format!("/records/{seq}/verdict")).into_response())
}

/// A proving check is made by a technician.
async fn may_sign(
    app: &App,
    checking: &Checking,
    input: &Input,
) -> Result<Option<crate::web::view::ProblemLine>, WebError> {
    if checking.form.purpose != Purpose::Proving {
        return Ok(None);
    }
    let signer = app.store.signer(&input.member).await?;
    let technician = signer.is_some_and(|s| s.roles.contains(&Role::Technician));
    Ok((!technician).then(|| problem("member", "A proving check is signed by a technician.")))
}

/// The last look before a check is signed.
pub async fn review(
    app: &App,
    visitor: &Visitor,
    checking: &Checking,
    input: &Input,
    answers: &[Answer],
    judged: &Judgement,
    problems: Problems,
) -> Result<Review, WebError> {
    let form = &checking.form;
    let number = &checking.unit.number;
    let people = app.store.people().await?;
    let chosen = match input.member.as_str() {
        "" => visitor.member.as_ref().map(|m| m.id.as_str()),
        member => Some(member),
    };
    let missing = judged
        .missing
        .iter()
        .filter_map(|id| form.step(id))
        .map(|s| Link { text: s.step.title.clone(), href: format!("#s-{}", s.step.id) })
        .collect();
    let after = after_good(checking, input, Some(answers)).filter(|_| judged.verdict == Verdict::InService);
    Ok(Review {
        page: page(app, visitor, &format!("Review unit {number}")).await?,
        unit: unit_ref(number),
        place: Fleet::load(&app.store, app.clock.now()).await?.place_words(&checking.unit),
        purpose_words: form.purpose.title().to_owned(),
        standing: match judged.verdict {
            Verdict::InService => after.as_ref().map_or(Standing::InService, |a| a.standing),
            Verdict::PutRight => Standing::PutRight,
            Verdict::Incomplete => Standing::CheckDue,
            Verdict::OutOfService => Standing::OutOfService,
        },
        proves_nothing: proves_nothing(checking, judged),
        after,
        countersigned: form.purpose.is_the_crews() && app.store.countersigning().await?,
        findings: entered::findings(form, judged, answers),
        missing,
        bay: input.bay().ok().flatten().and_then(|at| entered::bay(form, answers, at)),
        groups: entered::groups(form, judged, answers),
        hidden: input.hidden().map(|(n, v)| Fact { label: n.clone(), value: v.clone() }).collect(),
        members: member_options(&people, chosen),
        writers: member_options(&people, Some(input.written_by.as_str()).filter(|w| !w.is_empty())),
        problems,
    })
}
