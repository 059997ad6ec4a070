//! The check form: shown, taken, judged, and written down where something is out of service.

use airmuster_domain::ENGINE;
use airmuster_domain::Millis;
use airmuster_domain::bay::Bay;
use airmuster_domain::ground::Kind;
use airmuster_domain::judge::{Answer, Judgement, Raw, judge_readable};
use airmuster_domain::record::{Check, Outcome};
use airmuster_domain::rules::{Consequence, Limits, Purpose};
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::{CookieJar, Form, Query};
use serde::Deserialize;
use serde_json::json;
use uuid::Uuid;

use super::after::{after_good, needs_another, no_check, nothing_to_check};
use super::filling::{Filling, bay_problem, groups, problems};
use super::input::Input;
use super::sign::review;
use crate::service::checking::{Checking, not_yet_raised, record, stopped};
use crate::service::fleet::Fleet;
use crate::service::{IntakeError, Origin};
use crate::web::auth::{TABLET, Visitor, lasting};
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{Scale, grounds_words, page, unit_ref};
use crate::web::serving::App;
use crate::web::shelf::shown_with;
use crate::web::view::Problems;
use crate::web::view::check::CheckForm;

/// What the address of a check may ask for.
#[derive(Debug, Default, Deserialize)]
pub struct Asked {
    purpose: Option<String>,
    continues: Option<Uuid>,
    /// Of a proving check, the steps that had failed and are repaired: what they cannot have touched is not asked.
    #[serde(default)]
    repaired: String,
}

/// `GET /units/{unit}/check`: the form, empty or going on with a stopped check.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    jar: CookieJar,
    Path(unit): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, WebError> {
    let fresh = Fresh::new(&app);
    // Going on with a stopped check, or new to this server, one is asked for once.
    if asked.continues.is_some() || visitor.tablet.is_none() {
        return form(&app, visitor, jar, &unit, asked, fresh).await;
    }
    let render = async {
        let made = form(&app, visitor.clone(), jar, &unit, asked, fresh).await;
        made.unwrap_or_else(IntoResponse::into_response)
    };
    shown_with(&app, visitor.clone(), &fresh.texts(), render).await
}

/// What is of one form alone.
#[derive(Debug, Clone, Copy)]
struct Fresh {
    id: Uuid,
    started: Millis,
}

impl Fresh {
    fn new(app: &App) -> Self {
        Self { id: app.clock.id(), started: app.clock.now() }
    }

    fn texts(self) -> [String; 2] {
        [self.id.hyphenated().to_string(), self.started.to_string()]
    }
}

async fn form(
    app: &App,
    mut visitor: Visitor,
    mut jar: CookieJar,
    unit: &str,
    asked: Asked,
    fresh: Fresh,
) -> Result<Response, WebError> {
    let before = match asked.continues {
        Some(id) => Some(stopped(&app.store, id, unit).await?.ok_or(WebError::NotFound)?),
        None => None,
    };
    let purpose = match (&before, asked.purpose.as_deref()) {
        (Some(b), _) => Some(b.purpose),
        (None, Some(id)) => Some(Purpose::from_id(id).ok_or(WebError::NotFound)?),
        (None, None) => None,
    };
    let mut checking =
        Checking::of_fleet(&app.store, fresh.started, unit, purpose, before.as_ref().map(|b| b.rules))
            .await?
            .ok_or(WebError::NotFound)?;
    let repaired = checking.narrow(&asked.repaired);
    // With either page: the first one that is kept ahead names the tablet for all others.
    if visitor.tablet.is_none() {
        let name = format!("tablet-{}", &app.clock.id().simple().to_string()[20..]);
        jar = jar.add(lasting(TABLET, name.clone()));
        visitor.tablet = Some(name);
    }
    if let Some(sentence) = nothing_to_check(&checking) {
        return Ok((jar, Html(no_check(app, &visitor, &checking, sentence).await?)).into_response());
    }
    // What was answered before a use does not look for what the use has done.
    let used = checking.standing.grounds.iter().any(|g| g.raise.kind == Kind::Used);
    if used && before.as_ref().is_some_and(|b| !b.purpose.looks_after_use()) {
        let to = format!("{}/check?purpose=after-use", unit_ref(&checking.unit.number).href);
        return Ok((jar, Redirect::to(&to)).into_response());
    }
    let mut input = Input {
        id: before.as_ref().map_or(fresh.id, |b| b.run),
        started: fresh.started,
        purpose: Some(checking.form.purpose),
        rules: Some(checking.rules),
        continues: asked.continues,
        repaired,
        seen: checking.shown().map(|g| g.raise.key.clone()).collect(),
        ..Input::default()
    };
    let judged = before.map(|b| {
        retype(&mut input, &b);
        judge_readable(&checking.form, &b.answers).0
    });
    let view = form_view(app, &visitor, &checking, &input, judged.as_ref(), Problems::default()).await?;
    Ok((jar, Html(view)).into_response())
}

/// `GET /forms/{profile}`: a form for a kind of unit, to be kept on a tablet for units that move in.
pub async fn show_blank(
    State(app): State<App>,
    visitor: Visitor,
    Path(profile): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Html<CheckForm>, WebError> {
    let purpose = match asked.purpose.as_deref() {
        Some(id) => Purpose::from_id(id).ok_or(WebError::NotFound)?,
        None => Purpose::ShiftStart,
    };
    blank(&app, &visitor, &profile, purpose).await
}

/// `GET /forms/{profile}/after-use`: the same for a unit of which the tablet itself has written down that it
/// was used. A tablet keeps pages by their path alone.
pub async fn show_blank_after_use(
    State(app): State<App>,
    visitor: Visitor,
    Path(profile): Path<String>,
) -> Result<Html<CheckForm>, WebError> {
    blank(&app, &visitor, &profile, Purpose::AfterUse).await
}

async fn blank(
    app: &App,
    visitor: &Visitor,
    profile: &str,
    purpose: Purpose,
) -> Result<Html<CheckForm>, WebError> {
    let Fresh { id, started } = Fresh::new(app);
    let checking = Checking::blank(&app.store, started, profile, purpose).await?.ok_or(WebError::NotFound)?;
    let input =
        Input { id, started, purpose: Some(purpose), rules: Some(checking.rules), ..Input::default() };
    Ok(Html(form_view(app, visitor, &checking, &input, None, Problems::default()).await?))
}

/// Puts a stopped check's answers back into the fields they came from.
fn retype(input: &mut Input, before: &Check) {
    if let Some(bay) = before.bay {
        (input.bay, input.bay_scale) = (bay.number(), bay.unit().symbol().to_owned());
    }
    for a in &before.answers {
        let typed = input.typed.entry((a.step.to_string(), a.attempt)).or_default();
        for (field, value) in a.values.iter() {
            let field = field.as_str();
            match value {
                Raw::Flag(good) => {
                    typed.insert(field.to_owned(), if *good { "yes" } else { "no" }.to_owned());
                }
                Raw::Text(text) => {
                    let (number, unit) = text.split_once(' ').unwrap_or((text.as_str(), ""));
                    typed.insert(field.to_owned(), number.to_owned());
                    typed.insert(format!("{field}_unit"), unit.to_owned());
                }
                Raw::Whole(n) => drop(typed.insert(field.to_owned(), n.to_string())),
                Raw::Decimal(n) => drop(typed.insert(field.to_owned(), n.to_string())),
            }
        }
        typed.extend(a.item.clone().map(|i| ("item".to_owned(), i)));
        typed.extend(a.note.clone().map(|n| ("note".to_owned(), n)));
    }
}

/// `POST /units/{unit}/check`: to the review, back to the form, or stopped by a call.
pub async fn take_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Result<Response, WebError> {
    let (input, checking) = begun(&app, &unit, pairs).await?;
    let answers = input.answers(&checking.form, &checking.with);
    let (judged, mut unreadable) = judge_readable(&checking.form, &answers);
    unreadable.extend(input.misnamed());
    if input.button == "stop" {
        return stop(&app, &visitor, &checking, &input, answers).await;
    }
    write_down(&app, &visitor, &checking, &input, &answers, &judged).await?;
    let mut problems = problems(&checking.form, &unreadable);
    problems.lines.extend(bay_problem(&input));
    if input.button == "edit" || !problems.lines.is_empty() {
        let back = !problems.lines.is_empty();
        let view = form_view(&app, &visitor, &checking, &input, Some(&judged), problems).await?;
        return Ok(if back { Again(view).into_response() } else { Html(view).into_response() });
    }
    let view = review(&app, &visitor, &checking, &input, &answers, &judged, Problems::default()).await?;
    Ok(Html(view).into_response())
}

/// The form that was sent, and what it is about.
pub async fn begun(
    app: &App,
    unit: &str,
    pairs: Vec<(String, String)>,
) -> Result<(Input, Checking), WebError> {
    let input = Input::read(pairs).ok_or(WebError::Unreadable)?;
    let purpose = input.purpose.ok_or(WebError::Unreadable)?;
    let mut checking = Checking::load(&app.store, app.clock.now(), unit, Some(purpose), input.rules)
        .await?
        .ok_or(WebError::NotFound)?;
    checking.narrow(&input.repaired);
    Ok((input, checking))
}

/// The tablet's name in a record.
pub fn tablet_of(visitor: &Visitor) -> &str {
    visitor.tablet.as_deref().unwrap_or("tablet")
}

/// The bell rang: what was answered is kept, and the unit stays due.
async fn stop(
    app: &App,
    visitor: &Visitor,
    checking: &Checking,
    input: &Input,
    answers: Vec<Answer>,
) -> Result<Response, WebError> {
    let check = checking.body(input.id, Outcome::Stopped, input.started, input.seen.clone(), answers);
    let check = Check { bay: input.bay().ok().flatten(), ..check };
    let bytes = record(&check, app.clock.id(), tablet_of(visitor), app.clock.now(), None, None);
    let receipt = app.intake.submit(bytes, Origin::Tablet { proven: None }).await?;
    Ok(Redirect::to(&format!("/records/{}/verdict", receipt.seq)).into_response())
}

/// An out-of-service answer counts from the moment it is given: unsigned, once in a run. The
/// page's script does this at the answer itself; here it is done for pages without.
async fn write_down(
    app: &App,
    visitor: &Visitor,
    checking: &Checking,
    input: &Input,
    answers: &[Answer],
    judged: &Judgement,
) -> Result<(), WebError> {
    let out = |s: &str| {
        judged.findings.iter().any(|f| f.step == s && f.consequence == Consequence::OutOfService && !f.repeat)
    };
    if !not_yet_raised(&app.store, input.id, judged).await? {
        return Ok(());
    }
    let failing = answers.iter().filter(|a| out(&a.step)).cloned().collect();
    let check = checking.body(input.id, Outcome::BrokenOff, input.started, input.seen.clone(), failing);
    let check = Check { bay: input.bay().ok().flatten(), ..check };
    let bytes = record(&check, app.clock.id(), tablet_of(visitor), app.clock.now(), None, None);
    match app.intake.submit(bytes, Origin::Tablet { proven: None }).await {
        Ok(_) | Err(IntakeError::Before(_)) => Ok(()),
        Err(e) => Err(e.into()),
    }
}

/// The form as it is shown.
pub async fn form_view(
    app: &App,
    visitor: &Visitor,
    checking: &Checking,
    input: &Input,
    judged: Option<&Judgement>,
    problems: Problems,
) -> Result<CheckForm, WebError> {
    let form = &checking.form;
    let scale = Scale::of(&checking.table, &form.profile);
    let number = &checking.unit.number;
    let bay = Bay::of(form);
    let clock = &checking.department.clock;
    let countersigned = form.purpose.is_the_crews() && app.store.countersigning().await?;
    let after = after_good(checking, input, None);
    let limits = json!({
        "limits": Limits::of(form),
        "unit": number,
        "profile": checking.unit.profile,
        "rules": checking.rules,
        "engine": ENGINE,
        "purpose": form.purpose,
        "repaired": input.repaired,
        "run": input.id,
        "started": input.started,
        "seen": input.seen,
        "countersigned": countersigned,
        "after": after.as_ref().map(|a| json!({ "state": a.standing.class(), "say": a.say, "because": a.because })),
        "another": needs_another(checking),
        "tablet": tablet_of(visitor),
        "client": crate::service::intake::CLIENT,
        "bay": bay,
        "shift": { "start": clock.current_start(app.clock.now()), "hours": clock.hours },
        "items": { "facepiece": checking.with.facepiece, "cylinder": checking.with.cylinder },
    });
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    Ok(CheckForm {
        page: page(app, visitor, &format!("Check unit {number}")).await?,
        unit: unit_ref(number),
        place: fleet.place_words(&checking.unit),
        profile: form.profile.title.clone(),
        id: input.id.to_string(),
        started: input.started,
        purpose: form.purpose.id().to_owned(),
        purpose_words: form.purpose.title().to_owned(),
        rules: checking.rules.to_string(),
        continues: input.continues.map(|c| c.to_string()),
        repaired: input.repaired.clone(),
        seen: input.seen.clone(),
        open_grounds: grounds_words(checking.shown()),
        stays: match checking.standing.state {
            Holds::Held => Some(
                "This unit is held for an inquiry: leave it exactly as it is. A check of it is kept and releases nothing.",
            ),
            Holds::Retired => Some("This unit is retired. A check of it is kept and changes nothing."),
            _ => None,
        },
        after,
        groups: groups(&Filling { form, scale, with: &checking.with, bay, input, judged }),
        problems,
        limits: limits.to_string(),
    })
}
