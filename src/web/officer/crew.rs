//! Putting members on the seats that are ridden in this shift.

use std::collections::BTreeMap;

use airmuster_domain::readiness::Apparatus;
use airmuster_domain::record::Crew as Record;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;

use super::words::date;
use crate::service::IntakeError;
use crate::service::muster::Muster;
use crate::store::{Person, RigRow, SeatRow, Seated};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, when};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::muster::{Crew, CrewSeat};
use crate::web::view::{Link, MemberOption, ProblemLine, Problems};

/// `GET /rigs/{rig}/crew`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
) -> Result<Html<Crew>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    let (seats, proposed) = if let Some(seats) = muster.crew(&rig) {
        (seats.clone(), false)
    } else {
        let seats = muster.proposed(&app.store, &rig).await?;
        let any = !seats.is_empty();
        (seats, any)
    };
    Ok(Html(view(&app, &visitor, &muster, row, &seats, proposed, Vec::new()).await?))
}

/// `POST /rigs/{rig}/crew`: the fields are the seats, the values members.
pub async fn put_on(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Form(input): Form<BTreeMap<String, String>>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    // The form names every seat, also those that stay empty: what does not is not this form.
    if muster.places(&rig).any(|p| !p.kit && !input.contains_key(&p.seat)) {
        return Err(WebError::Unreadable);
    }
    let seats: Seated = muster
        .places(&rig)
        .filter(|p| !p.kit)
        .filter_map(|p| Some((p.seat.clone(), input.get(&p.seat).filter(|m| !m.is_empty())?.clone())))
        .collect();
    let body = Record { rig: rig.clone(), shift: muster.shift, seats };
    match hand_in_desk(&app, "crew", &by.id, &body).await {
        Ok(_) => Ok(Redirect::to(&format!("/rigs/{rig}")).into_response()),
        Err(IntakeError::Refused(r)) => {
            let field = body.seats.keys().next().map_or("", String::as_str);
            let lines = vec![problem(field, format!("{}.", capital(&r.say)))];
            let seats = &body.seats;
            Ok(Again(view(&app, &visitor, &muster, row, seats, false, lines).await?).into_response())
        }
        Err(e) => Err(e.into()),
    }
}

/// "B platoon, shift from 07:00".
pub fn shift_words(muster: &Muster) -> String {
    let from = when(&muster.fleet.department.clock, muster.shift, muster.fleet.now);
    match muster.platoon() {
        Some(p) => format!("{p} platoon, shift from {from}"),
        None => format!("shift from {from}"),
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    muster: &Muster,
    rig: &RigRow,
    seats: &Seated,
    proposed: bool,
    lines: Vec<ProblemLine>,
) -> Result<Crew, WebError> {
    let people = app.store.people().await?;
    let one = |place: &SeatRow| {
        let unit = muster.fleet.in_seat(place);
        let gear = unit.and_then(|u| muster.gear(&u.row.number));
        let words = match (unit, gear.and_then(|g| g.facepiece.as_ref())) {
            (Some(u), Some((n, kind))) => format!("unit {}, facepiece {n}, size {}", u.row.number, kind.size),
            (Some(u), None) => format!("unit {}, no facepiece with it", u.row.number),
            (None, _) => "no unit".to_owned(),
        };
        let apparatus = unit.map(|u| muster.apparatus(u));
        let chosen = seats.get(&place.seat);
        CrewSeat {
            field: place.seat.clone(),
            name: place.name.clone(),
            unit: words,
            members: people
                .iter()
                .map(|p| MemberOption {
                    id: p.member.clone(),
                    name: format!("{}: {}", p.name, fitness(muster, apparatus.as_ref(), p)),
                    selected: chosen == Some(&p.member),
                })
                .collect(),
        }
    };
    Ok(Crew {
        page: page(app, visitor, &format!("Crew of {}", rig.name)).await?,
        rig: Link { text: rig.name.clone(), href: format!("/rigs/{}", rig.id) },
        shift: shift_words(muster),
        proposed,
        seats: muster.places(&rig.id).filter(|p| !p.kit).map(one).collect(),
        problems: Problems { lines },
    })
}

/// Whether somebody may wear the facepiece of a seat, in a few words.
fn fitness(muster: &Muster, unit: Option<&Apparatus>, person: &Person) -> String {
    let rider = muster.rider(&person.member);
    match rider.cleared {
        Some(true) => {}
        Some(false) => return "not cleared".to_owned(),
        None => return "no clearance entered".to_owned(),
    }
    let Some(worn) = unit.and_then(|u| u.facepiece.as_ref()) else {
        return "cleared".to_owned();
    };
    if !worn.known() {
        return "cleared; the facepiece’s model is not known".to_owned();
    }
    match rider.fit_for(worn) {
        Some(until) if until < muster.today => format!("fit test past since {}", date(until)),
        Some(until) => format!("fit until {}", date(until)),
        None => "no fit test with this one".to_owned(),
    }
}
