//! The daily sheet: a rig and its shift on one printed page, with the logbook's head, and what has
//! had no inspection for a week or a month.

use airmuster_domain::quantity::Pressure;
use airmuster_domain::readiness::Lack;
use airmuster_domain::record::Place;
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::crew::shift_words_of;
use super::roster::{accepted_words, short};
use super::words::{lack_words, read_words};
use crate::service::fleet::UnitFacts;
use crate::service::muster::Muster;
use crate::store::{CheckRow, SeatRow};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{capital, page, unit_ref, when};
use crate::web::serving::App;
use crate::web::telling::cadence_words;
use crate::web::view::muster::{Sheet, SheetRow, Uninspected, UninspectedLine};

/// `GET /rigs/{rig}/sheet`.
pub async fn show_sheet(State(app): State<App>, Path(rig): Path<String>) -> Result<Html<Sheet>, WebError> {
    let head = app.store.head().await?;
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let row = muster.rig(&rig).ok_or(WebError::NotFound)?;
    let fleet = &muster.fleet;
    let station = fleet.stations.iter().find(|s| s.id == row.station).map_or("", |s| &s.name);
    let seats = || muster.places(&rig).filter(|p| !p.kit);
    Ok(Html(Sheet {
        department: fleet.department.name.clone(),
        station: format!("{station} station"),
        rig: row.name.clone(),
        back: format!("/rigs/{rig}"),
        shift: capital(&shift_words_of(&muster, &rig)),
        made: fleet.department.clock.local(fleet.now).format("%a %-d %b %Y %H:%M %Z").to_string(),
        ready: seats().filter(|p| muster.readiness(p).ready()).count(),
        seats: seats().count(),
        accepted: accepted_words(&app, &muster, &rig).await?,
        rows: muster.places(&rig).map(|p| line(&muster, p)).collect(),
        seq: head.seq,
        head: head.hash.to_string(),
    }))
}

fn line(muster: &Muster, place: &SeatRow) -> SheetRow {
    let fleet = &muster.fleet;
    let readiness = muster.readiness(place);
    let unit = fleet.in_seat(place);
    let cylinder = unit.map(|u| {
        let number = muster.gear(&u.row.number).and_then(|g| g.cylinder.clone());
        let read = u.last_known().and_then(CheckRow::last_pressure).map(Pressure::words);
        number.into_iter().chain(read).collect::<Vec<_>>().join(", ")
    });
    let checked = unit.and_then(|u| u.standing.last_check.as_ref()).map(|c| {
        let at = when(&fleet.department.clock, c.at, fleet.now);
        format!("{at}, {}", c.by.as_deref().map_or("nobody", |by| fleet.name(by)))
    });
    let mut lacks: Vec<String> = readiness.lacks.iter().map(|l| brief_words(muster, place, l)).collect();
    lacks.dedup();
    SheetRow {
        place: place.name.clone(),
        member: muster.member(place).map_or(String::new(), |m| fleet.name(m).to_owned()),
        unit: place.asset.as_deref().map_or("", |a| a.split_once(':').map_or(a, |(_, n)| n)).to_owned(),
        standing: fleet
            .standing_in(place)
            .map_or("Empty", airmuster_domain::standing::Standing::words)
            .to_owned(),
        lacks: lacks.join("; "),
        cylinder: cylinder.or_else(|| read_words(fleet, place.asset.as_ref())).unwrap_or_default(),
        checked: checked.unwrap_or_default(),
    }
}

/// The longest reason that is printed.
const BRIEF: usize = 80;

/// What a place lacks, as briefly as a page that is put up has it: of a member no more than that somebody
/// else is needed.
fn brief_words(muster: &Muster, place: &SeatRow, lack: &Lack) -> String {
    match lack {
        Lack::ClearanceUnknown | Lack::NotCleared | Lack::NoFitTest | Lack::FitTestPast { .. } => {
            "Member not ready for this seat".to_owned()
        }
        Lack::Standing(_) => cut(lack_words(muster, place, lack).trim_end_matches('.')),
        other => capital(&short(other)),
    }
}

/// The beginning of a text, to the end of a word.
fn cut(text: &str) -> String {
    let Some((end, _)) = text.char_indices().nth(BRIEF) else { return text.to_owned() };
    let end = text[..end].rfind(' ').unwrap_or(end);
    format!("{} …", text[..end].trim_end_matches([',', ';', ':']))
}

/// How far to look back.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Back {
    days: Option<u32>,
}

/// `GET /uninspected?days=7`: in a week, or else in a month.
pub async fn show_uninspected(
    State(app): State<App>,
    visitor: Visitor,
    Query(back): Query<Back>,
) -> Result<Html<Uninspected>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let fleet = &muster.fleet;
    let (days, span) = if back.days == Some(7) { (7, "week") } else { (31, "month") };
    let clock = &fleet.department.clock;
    // What is with another department is theirs to inspect, and is checked when it is back.
    let here = |u: &&UnitFacts| u.standing.state != Holds::Retired && u.row.place != Some(Place::Away);
    let all = || fleet.units.values().filter(here);
    let last = |u: &UnitFacts| u.standing.last_check.as_ref().map(|c| c.at);
    let mut without: Vec<_> =
        all().filter(|u| last(u).is_none_or(|at| clock.late_after(days, at) <= fleet.now)).collect();
    without.sort_by_key(|u| last(u));
    let lines = without.into_iter().map(|u| UninspectedLine {
        unit: unit_ref(&u.row.number),
        place: capital(&fleet.place_words(&u.row)),
        often: cadence_words(fleet, &u.row),
        last: last(u).map_or("No good check yet".to_owned(), |at| {
            format!("Last good check {}", when(&fleet.department.clock, at, fleet.now))
        }),
    });
    Ok(Html(Uninspected {
        page: page(&app, &visitor, &format!("Not inspected this {span}")).await?,
        span,
        days,
        lines: lines.collect(),
        all: all().count(),
    }))
}
