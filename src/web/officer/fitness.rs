//! Fit tests and medical clearance: personal, kept outside the logbook, which learns only that
//! something was changed.

use airmuster_domain::readiness::{FacepieceKind, fit_until};
use airmuster_domain::record::{PersonChanged, Personal};
use airmuster_domain::role::Role;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use chrono::{Days, NaiveDate};
use serde::Deserialize;

use super::words::date;
use crate::store::{ClearanceRow, FitRow};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::page;
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::muster::{Fitness, FitnessLine, FitnessOf};
use crate::web::view::{Link, ProblemLine, Problems};

/// A fit test that runs out within this many days is said to.
const SOON: Days = Days::new(30);

/// `GET /fitness`: members who ride, those who cannot first.
pub async fn show_all(State(app): State<App>, visitor: Visitor) -> Result<Html<Fitness>, WebError> {
    let today = today(&app).await?;
    let (fits, clearances) = (app.store.fit_tests().await?, app.store.clearances().await?);
    let signers = app.store.signers().await?;
    let rides = |id: &str| {
        signers.iter().any(|s| s.id == id && s.roles.contains(&Role::Crew))
            || signers.iter().any(|s| s.id == id && s.roles.contains(&Role::Officer))
    };
    let mut lines: Vec<(u8, FitnessLine)> = Vec::new();
    for person in app.store.people().await?.into_iter().filter(|p| rides(&p.member)) {
        let own: Vec<&FitRow> = fits.iter().filter(|f| f.member == person.member).collect();
        let clearance = clearances.iter().find(|c| c.member == person.member);
        let last = own.iter().map(|f| fit_until(f.tested)).max();
        let (rank, concern) = match (clearance, last) {
            (Some(c), _) if !c.cleared => (0, Some("Not cleared".to_owned())),
            (None, _) => (1, Some("No clearance entered".to_owned())),
            (_, None) => (1, Some("No fit test".to_owned())),
            (_, Some(until)) if until < today => (0, Some(format!("Fit test past since {}", date(until)))),
            (_, Some(until)) if until < today + SOON => (2, Some(format!("Fit test due by {}", date(until)))),
            _ => (3, None),
        };
        lines.push((
            rank,
            FitnessLine {
                member: Link { text: person.name, href: format!("/fitness/{}", person.member) },
                clearance: clearance_words(clearance),
                fit: own.first().map_or("no fit test".to_owned(), |f| fit_words(f)),
                concern,
            },
        ));
    }
    lines.sort_by_key(|(rank, _)| *rank);
    let members = lines.into_iter().map(|(_, line)| line).collect();
    Ok(Html(Fitness { page: page(&app, &visitor, "Fit tests and clearance").await?, members }))
}

async fn today(app: &App) -> Result<NaiveDate, WebError> {
    Ok(app.store.department().await?.clock.local(app.clock.now()).date_naive())
}

fn clearance_words(c: Option<&ClearanceRow>) -> String {
    match c {
        Some(c) if c.cleared => format!("Cleared, {}", date(c.since)),
        Some(c) => format!("Not cleared, {}", date(c.since)),
        None => "No clearance entered".to_owned(),
    }
}

fn fit_words(f: &FitRow) -> String {
    let kind = [&f.kind.make, &f.kind.model, &f.kind.style, &f.kind.size];
    let kind: Vec<&str> = kind.into_iter().map(String::as_str).filter(|s| !s.is_empty()).collect();
    format!("{}, fit until {}", kind.join(" "), date(fit_until(f.tested)))
}

/// `GET /fitness/{member}`.
pub async fn show_one(
    State(app): State<App>,
    visitor: Visitor,
    Path(member): Path<String>,
) -> Result<Html<FitnessOf>, WebError> {
    Ok(Html(view(&app, &visitor, &member, &Fit::default(), "", Vec::new()).await?))
}

/// A fit test as the form sends it.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Fit {
    tested: String,
    make: String,
    model: String,
    style: String,
    size: String,
}

/// `POST /fitness/{member}/fit`.
pub async fn enter_fit(
    State(app): State<App>,
    visitor: Visitor,
    Path(member): Path<String>,
    Form(input): Form<Fit>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    known(&app, &member).await?;
    let mut lines = Vec::new();
    let tested = past_day(&input.tested, today(&app).await?);
    lines.extend(tested.as_ref().err().map(|say| problem("tested", *say)));
    if input.size.trim().is_empty() {
        lines.push(problem("size", "Give the size: a fit test is for one size."));
    }
    let (Ok(tested), true) = (tested, lines.is_empty()) else {
        return Ok(Again(view(&app, &visitor, &member, &input, "", lines).await?).into_response());
    };
    let text = |s: &str| s.trim().to_owned();
    let kind = FacepieceKind {
        make: text(&input.make),
        model: text(&input.model),
        style: text(&input.style),
        size: text(&input.size),
    };
    changed(&app, &by.id, &member, Personal::FitTest).await?;
    let mut write = app.store.begin().await?;
    write.add_fit_test(&member, tested, &kind).await?;
    write.commit().await?;
    Ok(Redirect::to(&format!("/fitness/{member}")).into_response())
}

/// A clearance as the form sends it.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Clearance {
    since: String,
    cleared: String,
}

/// `POST /fitness/{member}/clearance`.
pub async fn enter_clearance(
    State(app): State<App>,
    visitor: Visitor,
    Path(member): Path<String>,
    Form(input): Form<Clearance>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    known(&app, &member).await?;
    let since = match past_day(&input.since, today(&app).await?) {
        Ok(day) => day,
        Err(say) => {
            let lines = vec![problem("since", say)];
            let view = view(&app, &visitor, &member, &Fit::default(), &input.since, lines).await?;
            return Ok(Again(view).into_response());
        }
    };
    changed(&app, &by.id, &member, Personal::Clearance).await?;
    let mut write = app.store.begin().await?;
    write.set_clearance(&member, input.cleared == "yes", since).await?;
    write.commit().await?;
    Ok(Redirect::to(&format!("/fitness/{member}")).into_response())
}

/// What is to be erased, named a second time.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Erase {
    erase: String,
}

/// `POST /fitness/{member}/erase`.
pub async fn erase(
    State(app): State<App>,
    visitor: Visitor,
    Path(member): Path<String>,
    Form(input): Form<Erase>,
) -> Result<Redirect, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    known(&app, &member).await?;
    if input.erase != member {
        return Err(WebError::Unreadable);
    }
    for what in [Personal::FitTest, Personal::Clearance] {
        changed(&app, &by.id, &member, what).await?;
    }
    let mut write = app.store.begin().await?;
    write.erase_fitness(&member).await?;
    write.commit().await?;
    Ok(Redirect::to(&format!("/fitness/{member}")))
}

async fn known(app: &App, member: &str) -> Result<(), WebError> {
    app.store.signer(member).await?.map(|_| ()).ok_or(WebError::NotFound)
}

/// The fact goes into the logbook first: were the rest lost, there would be one mention too many
/// and never one too few.
async fn changed(app: &App, by: &str, member: &str, what: Personal) -> Result<(), WebError> {
    let body = PersonChanged { member: member.to_owned(), what };
    hand_in_desk(app, "person_changed", by, &body).await?;
    Ok(())
}

fn past_day(text: &str, today: NaiveDate) -> Result<NaiveDate, &'static str> {
    match text.trim().parse::<NaiveDate>() {
        Ok(day) if day <= today => Ok(day),
        Ok(_) => Err("This day is still to come. Give the day on which it was."),
        Err(_) => Err("Give the day, such as 2026-03-01."),
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    member: &str,
    input: &Fit,
    since: &str,
    lines: Vec<ProblemLine>,
) -> Result<FitnessOf, WebError> {
    known(app, member).await?;
    let name = app.store.names().await?.remove(member).unwrap_or_else(|| member.to_owned());
    let fits = app.store.fit_tests().await?;
    let clearances = app.store.clearances().await?;
    Ok(FitnessOf {
        page: page(app, visitor, &name).await?,
        name,
        member: member.to_owned(),
        href: format!("/fitness/{member}"),
        clearance: clearance_words(clearances.iter().find(|c| c.member == member)),
        fits: fits
            .iter()
            .filter(|f| f.member == member)
            .map(|f| format!("{}; tested {}", fit_words(f), date(f.tested)))
            .collect(),
        entered: [&input.tested, &input.make, &input.model, &input.style, &input.size].map(Clone::clone),
        since: since.to_owned(),
        problems: Problems { lines },
    })
}
