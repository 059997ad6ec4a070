//! Putting members on the seats that are ridden in this shift.

use std::collections::BTreeMap;

use airmuster_domain::readiness::Apparatus;
use airmuster_domain::record::Crew as Record;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::{Form, Query};

use super::shift::{Asked, Chosen};
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
use crate::web::view::muster::{Crew, CrewGroup, CrewMember, CrewSeat};
use crate::web::view::{Link, ProblemLine, Problems};

/// The field that says for which shift.
const SHIFT: &str = "shift";

/// `GET /rigs/{rig}/crew`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Html<Crew>, WebError> {
    let chosen = Chosen::load(&app, asked.shift()).await?;
    let muster = &chosen.muster;
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    let (seats, proposed) = if let Some(seats) = muster.crew(&rig) {
        (seats.clone(), false)
    } else {
        let seats = muster.proposed(&app.store, &rig).await?;
        let any = !seats.is_empty();
        (seats, any)
    };
    Ok(Html(view(&app, &visitor, &chosen, row, &seats, proposed, Vec::new()).await?))
}

/// `POST /rigs/{rig}/crew`: the fields are the seats, the values members; `shift` says for which shift.
pub async fn put_on(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Form(mut input): Form<BTreeMap<String, String>>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let asked = input.remove(SHIFT).map(|t| t.parse().map_err(|_| WebError::Unreadable)).transpose()?;
    let chosen = Chosen::load(&app, asked).await?;
    let muster = &chosen.muster;
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
    let mut lines = Vec::new();
    if chosen.passed {
        lines.push(problem(SHIFT, chosen.begun()));
    } else {
        let body = Record { rig: rig.clone(), shift: muster.shift, seats: seats.clone() };
        match hand_in_desk(&app, "crew", &by.id, &body).await {
            Ok(_) => return Ok(Redirect::to(&chosen.address(format!("/rigs/{rig}"))).into_response()),
            Err(IntakeError::Refused(r)) => {
                let field = seats.keys().next().map_or("", String::as_str);
                lines.push(problem(field, format!("{}.", capital(&r.say))));
            }
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &chosen, row, &seats, false, lines).await?).into_response())
}

/// "B platoon, shift from 07:00"; without a platoon where a rig takes no turns.
pub fn shift_words_of(muster: &Muster, rig: &str) -> String {
    words(muster, muster.platoon_of(rig))
}

/// "B platoon, shift from 07:00".
pub fn shift_words(muster: &Muster) -> String {
    words(muster, muster.platoon())
}

fn words(muster: &Muster, platoon: Option<&str>) -> String {
    let from = when(&muster.fleet.department.clock, muster.shift, muster.fleet.now);
    match platoon {
        Some(p) => format!("{p} platoon, shift from {from}"),
        None => format!("shift from {from}"),
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    chosen: &Chosen,
    rig: &RigRow,
    seats: &Seated,
    proposed: bool,
    lines: Vec<ProblemLine>,
) -> Result<Crew, WebError> {
    let muster = &*chosen.muster;
    let people = app.store.people().await?;
    let mates = muster.mates(&app.store, &rig.id).await?;
    let station = muster.fleet.stations.iter().find(|s| s.id == rig.station).map_or("", |s| &s.name);
    let of_platoon = match muster.platoon_of(&rig.id) {
        Some(p) => format!("{p} platoon, {station}"),
        None => format!("Rode {} lately", rig.name),
    };
    let one = |place: &SeatRow| {
        let unit = muster.fleet.in_seat(place);
        let gear = unit.and_then(|u| muster.gear(&u.row.number));
        let words = match (unit, gear.and_then(|g| g.facepiece.as_ref())) {
            (Some(u), Some((n, kind))) => format!("unit {}, facepiece {n}, size {}", u.row.number, kind.size),
            (Some(u), None) => format!("unit {}, no facepiece with it", u.row.number),
            (None, _) => "no unit".to_owned(),
        };
        let apparatus = unit.map(|u| muster.apparatus(u));
        let on_it = seats.get(&place.seat);
        let mut groups = [of_platoon.clone(), "May wear it too".to_owned(), "May not wear it".to_owned()]
            .map(|label| CrewGroup { label, members: Vec::new() });
        for p in &people {
            let (may, say) = fitness(muster, apparatus.as_ref(), p);
            let group = match (may, mates.contains(&p.member)) {
                (true, true) => 0,
                (true, false) => 1,
                (false, _) => 2,
            };
            groups[group].members.push(CrewMember {
                id: p.member.clone(),
                name: p.name.clone(),
                say: format!("{}: {say}.", p.name),
                selected: on_it == Some(&p.member),
            });
        }
        CrewSeat {
            field: place.seat.clone(),
            name: place.name.clone(),
            unit: words,
            groups: groups.into_iter().filter(|g| !g.members.is_empty()).collect(),
        }
    };
    Ok(Crew {
        page: page(app, visitor, &format!("Crew of {}", rig.name)).await?,
        rig: Link { text: rig.name.clone(), href: format!("/rigs/{}", rig.id) },
        back: chosen.address(format!("/rigs/{}", rig.id)),
        shift: shift_words_of(muster, &rig.id),
        start: muster.shift,
        shifts: chosen.choices(&format!("/rigs/{}/crew", rig.id)),
        last: match muster.platoon_of(&rig.id) {
            _ if !proposed => "",
            Some(_) => "the platoon’s last crew",
            None => "the last crew",
        },
        seats: muster.places(&rig.id).filter(|p| !p.kit).map(one).collect(),
        problems: Problems { lines },
    })
}

/// Whether somebody may wear the facepiece of a seat, and in a few words why.
fn fitness(muster: &Muster, unit: Option<&Apparatus>, person: &Person) -> (bool, String) {
    let rider = muster.rider(&person.member);
    match rider.cleared {
        Some(true) => {}
        Some(false) => return (false, "not cleared".to_owned()),
        None => return (false, "no clearance entered".to_owned()),
    }
    let Some(worn) = unit.and_then(|u| u.facepiece.as_ref()) else {
        return (true, "cleared".to_owned());
    };
    if !worn.known() {
        return (false, "cleared; the facepiece’s model is not known".to_owned());
    }
    match rider.fit_for(worn) {
        Some(until) if until < muster.today => (false, format!("fit test past since {}", date(until))),
        Some(until) => (true, format!("fit until {}", date(until))),
        None => (false, "no fit test with this one".to_owned()),
    }
}
