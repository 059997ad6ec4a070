//! The officer's signature under a rig and its crew. It makes no unit better.

use std::collections::BTreeMap;

use airmuster_domain::record::{Digest, Reviewed, RigAccepted};
use airmuster_domain::role::Role;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::{Form, Query};
use uuid::Uuid;

use super::crew::shift_words_of;
use super::shift::{Asked, Chosen};
use super::words::lack_words;
use crate::service::IntakeError;
use crate::store::RigRow;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{member_options, page};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_field, problem};
use crate::web::view::muster::{Accept, AcceptPlace};
use crate::web::view::{Link, ProblemLine, Problems};

type Input = BTreeMap<String, String>;

fn field<'a>(input: &'a Input, name: &str) -> &'a str {
    input.get(name).map_or("", String::as_str)
}

/// `GET /rigs/{rig}/accept`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Html<Accept>, WebError> {
    let chosen = Chosen::load(&app, asked.shift()).await?;
    let row = chosen.muster.rig(&rig).ok_or(WebError::NotFound)?;
    let officer = visitor.member.as_ref().filter(|_| visitor.is(&[Role::Officer]));
    let member = officer.map(|m| m.id.clone()).unwrap_or_default();
    let input = Input::from([
        ("member".to_owned(), member),
        ("id".to_owned(), app.clock.id().hyphenated().to_string()),
    ]);
    Ok(Html(view(&app, &visitor, &chosen, row, &input, Vec::new()).await?))
}

/// `POST /rigs/{rig}/accept`.
pub async fn accept(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let asked = input.get("shift").map(|t| t.parse().map_err(|_| WebError::Unreadable)).transpose()?;
    let chosen = Chosen::load(&app, asked).await?;
    let muster = &chosen.muster;
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    let id: Uuid = field(&input, "id").parse().map_err(|_| WebError::Unreadable)?;
    let mut places = muster.reviewed(&rig);
    let mut lines = Vec::new();
    if chosen.passed {
        lines.push(problem("seen", chosen.begun()));
    } else if shown(&places) != field(&input, "seen") {
        lines.push(problem("seen", "Something has changed since you looked. Read it again, then sign."));
    }
    for place in places.iter_mut().filter(|p| !p.ready) {
        let word = field(&input, &place.seat).trim();
        if word.is_empty() {
            lines.push(problem(&place.seat, "Not ready: say in a word what you do about it."));
        }
        place.word = Some(word.to_owned());
    }
    let (member, pin) = (field(&input, "member"), field(&input, "pin"));
    match app.store.signer(member).await? {
        Some(s) if !s.roles.contains(&Role::Officer) => {
            lines.push(problem("member", "An officer accepts a rig."));
        }
        _ => lines.extend(check_pin(&app, &visitor, member, pin).await?.err()),
    }
    if !lines.is_empty() {
        return Ok(Again(view(&app, &visitor, &chosen, row, &input, lines).await?).into_response());
    }
    let body = RigAccepted { rig: rig.clone(), shift: muster.shift, places };
    match hand_in_field(&app, "rig_accepted", id, member, &body).await {
        Ok(_) | Err(IntakeError::Before(_)) => {}
        Err(e) => return Err(e.into()),
    }
    Ok(Redirect::to(&chosen.address(format!("/rigs/{rig}"))).into_response())
}

/// Names what was shown.
fn shown(places: &[Reviewed]) -> String {
    Digest::of(serde_json::to_string(places).unwrap_or_default().as_bytes()).to_string()
}

async fn view(
    app: &App,
    visitor: &Visitor,
    chosen: &Chosen,
    rig: &RigRow,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Accept, WebError> {
    let muster = &*chosen.muster;
    let fleet = &muster.fleet;
    let places = muster.places(&rig.id).map(|p| {
        let readiness = muster.readiness(p);
        let mut what = p.name.clone();
        if let Some(unit) = fleet.in_seat(p) {
            what = format!("{what}: unit {}", unit.row.number);
        }
        if let Some(member) = muster.member(p) {
            what = format!("{what}, {}", fleet.name(member));
        }
        AcceptPlace {
            field: p.seat.clone(),
            what,
            ready: readiness.ready(),
            lacks: readiness.lacks.iter().map(|l| lack_words(muster, p, l)).collect::<Vec<_>>().join(" "),
            word: field(input, &p.seat).to_owned(),
        }
    });
    let signers = app.store.signers().await?;
    let mut people = app.store.people().await?;
    people.retain(|p| signers.iter().any(|s| s.id == p.member && s.roles.contains(&Role::Officer)));
    Ok(Accept {
        page: page(app, visitor, &format!("Accept {}", rig.name)).await?,
        rig: Link { text: rig.name.clone(), href: format!("/rigs/{}", rig.id) },
        shift: shift_words_of(muster, &rig.id),
        start: muster.shift,
        shifts: chosen.choices(&format!("/rigs/{}/accept", rig.id)),
        back: chosen.address(format!("/rigs/{}", rig.id)),
        places: places.collect(),
        id: field(input, "id").to_owned(),
        seen: shown(&muster.reviewed(&rig.id)),
        members: member_options(&people, Some(field(input, "member"))),
        problems: Problems { lines },
    })
}
