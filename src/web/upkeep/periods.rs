//! How often upkeep is done here, what follows when it has lapsed, and where air comes from.

use airmuster_domain::practice::{self, Practice};
use airmuster_domain::record::{Lapse, Period, Register, Spec, Work};
use airmuster_domain::role::Role;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;
use serde_json::json;

use super::fills::air_words;
use crate::service::IntakeError;
use crate::service::upkeep::Ledger;
use crate::web::auth::Visitor;
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, hand_in_together, problem};
use crate::web::view::ticket::StageOption;
use crate::web::view::upkeep::{PeriodRow, Periods, PracticeRow, SourceRow, Sources};
use crate::web::view::{Link, ProblemLine, Problems};

/// What a period can be set for.
const SET: [Work; 5] =
    [Work::FlowTest, Work::Requalification, Work::FacepieceService, Work::Battery, Work::AirSample];

/// What the forms send.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    work: String,
    only: String,
    months: String,
    lapse: String,
    practice: String,
}

/// `GET /periods`.
pub async fn show_periods(State(app): State<App>, visitor: Visitor) -> Result<Html<Periods>, WebError> {
    Ok(Html(view(&app, &visitor, &Input::default(), Vec::new()).await?))
}

/// `POST /periods`: one period, or a whole practice. The session is signature enough.
pub async fn take_period(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let periods = match Practice::from_id(&input.practice) {
        Some(practice) => Ok(practice.periods(|work, only| ledger.upkeep.lapse(work, only))),
        None => read(&ledger, &input).map(|one| vec![one]),
    };
    let lines = match periods {
        Ok(periods) => {
            let bodies: Vec<_> =
                periods.into_iter().map(|p| ("register", json!(Register::Period(p)))).collect();
            match hand_in_together(&app, &by, &bodies).await {
                Ok(_) => return Ok(Redirect::to("/periods").into_response()),
                Err(IntakeError::Refused(r)) => vec![problem("months", format!("{}.", capital(&r.say)))],
                Err(e) => return Err(e.into()),
            }
        }
        Err(lines) => lines,
    };
    Ok(Again(view(&app, &visitor, &input, lines).await?).into_response())
}

fn read(ledger: &Ledger, input: &Input) -> Result<Period, Vec<ProblemLine>> {
    let mut lines = Vec::new();
    let work = SET.into_iter().find(|w| w.id() == input.work);
    if work.is_none() {
        lines.push(problem("work", "Choose the upkeep."));
    }
    let months = input.months.trim().parse::<u32>().ok();
    if months.is_none() {
        lines.push(problem("months", "Give the months from one to the next, such as 12."));
    }
    let spec = Spec::from_id(&input.only);
    let known = match work {
        _ if input.only.is_empty() => true,
        Some(Work::Requalification) => spec.is_some(),
        Some(Work::FlowTest | Work::Battery) => ledger.fleet.profile(&input.only).is_some(),
        _ => false,
    };
    if !known {
        lines.push(problem("only", "This upkeep is not set for that kind; choose another, or all."));
    }
    if let (Some(spec), Some(n), Some(Work::Requalification)) = (spec, months, work)
        && n > spec.most_months()
    {
        let most = spec.most_months();
        lines.push(problem(
            "months",
            format!("At most {most} months for {}: {}.", spec.words(), spec.basis()),
        ));
    }
    let lapse = if input.lapse == "out" { Lapse::OutOfService } else { Lapse::Said };
    match (work, months) {
        (Some(work), Some(months)) if lines.is_empty() => {
            Ok(Period { work, only: input.only.clone(), months, lapse })
        }
        _ => Err(lines),
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Periods, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let fleet = &ledger.fleet;
    let words = |only: &str| match (Spec::from_id(only), fleet.profile(only)) {
        (Some(spec), _) => spec.words().to_owned(),
        (_, Some(profile)) => profile.title.clone(),
        _ => only.to_owned(),
    };
    let mut keys: Vec<(Work, String)> = SET
        .into_iter()
        .filter(|w| *w != Work::Requalification)
        .map(|w| (w, String::new()))
        .chain(Spec::ALL.into_iter().map(|s| (Work::Requalification, s.id().to_owned())))
        .collect();
    let own = ledger.upkeep.periods.iter().map(|p| (p.work, p.only.clone()));
    keys.extend(own.filter(|k| !k.1.is_empty() && k.0 != Work::Requalification));
    keys.sort();
    keys.dedup();
    let rows = keys.iter().map(|(work, only)| {
        let set =
            ledger.upkeep.periods.iter().any(|p| p.work == *work && (p.only == *only || p.only.is_empty()));
        let out = ledger.upkeep.lapse(*work, only) == Lapse::OutOfService;
        let spec = Spec::from_id(only).filter(|_| *work == Work::Requalification);
        PeriodRow {
            work: capital(work.words()),
            only: if only.is_empty() { "all".to_owned() } else { words(only) },
            months: ledger.upkeep.months(*work, only),
            // A cylinder past its requalification is never filled, whatever the department says.
            lapse: match (work, out) {
                (Work::Requalification, _) => "it is not filled".to_owned(),
                (Work::AirSample, _) | (_, false) => "it is said".to_owned(),
                (_, true) => "out of service".to_owned(),
            },
            from: match (set, spec) {
                (true, _) => "set here".to_owned(),
                (false, Some(spec)) => spec.basis().to_owned(),
                (false, None) => "as shipped".to_owned(),
            },
        }
    });
    let option = |value: &str, label: String, chosen: &str| StageOption {
        value: value.to_owned(),
        label,
        selected: value == chosen,
    };
    let profiles = fleet.table.iter().flat_map(|t| t.profiles.iter());
    let only = profiles.map(|(id, p)| option(id, format!("Units: {}", p.title), &input.only)).chain(
        Spec::ALL.into_iter().map(|s| option(s.id(), format!("Cylinders: {}", s.words()), &input.only)),
    );
    Ok(Periods {
        page: page(app, visitor, "Periods of upkeep").await?,
        rows: rows.collect(),
        practices: practice::ALL
            .iter()
            .map(|p| PracticeRow { id: p.id.to_owned(), title: p.title.to_owned(), basis: sentence(p.basis) })
            .collect(),
        works: SET.map(|w| option(w.id(), capital(w.words()), &input.work)).to_vec(),
        only: only.collect(),
        months: input.months.clone(),
        out: input.lapse == "out",
        may: visitor.is(&[Role::Administrator]),
        problems: Problems { lines },
    })
}

/// What the form of a source sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct SourceInput {
    id: String,
    name: String,
    station: String,
}

/// `GET /sources`.
pub async fn show_sources(State(app): State<App>, visitor: Visitor) -> Result<Html<Sources>, WebError> {
    Ok(Html(sources(&app, &visitor, &SourceInput::default(), Vec::new()).await?))
}

/// `POST /sources`. The session is signature enough.
pub async fn take_source(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<SourceInput>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let mut lines = Vec::new();
    let trimmed = |s: &str| s.trim().to_owned();
    if input.name.trim().is_empty() {
        lines.push(problem("name", "Give it the name by which people know it."));
    }
    if input.station.is_empty() {
        lines.push(problem("station", "Choose the station where it stands."));
    }
    if lines.is_empty() {
        let [id, name, station] = [&input.id, &input.name, &input.station].map(|s| trimmed(s));
        match hand_in_desk(&app, "register", &by, &Register::Source { id, name, station }).await {
            Ok(_) => return Ok(Redirect::to("/sources").into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem("id", format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(sources(&app, &visitor, &input, lines).await?).into_response())
}

async fn sources(
    app: &App,
    visitor: &Visitor,
    input: &SourceInput,
    lines: Vec<ProblemLine>,
) -> Result<Sources, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let station =
        |id: &str| ledger.fleet.stations.iter().find(|s| s.id == id).map_or("", |s| s.name.as_str());
    let rows = ledger.upkeep.sources.iter().map(|(id, s)| SourceRow {
        source: Link { text: s.name.clone(), href: format!("/sources/{id}") },
        say: format!("{}. {}", station(&s.station), air_words(&ledger, id)),
        bad: s.failed.is_some(),
    });
    let stations = ledger.fleet.stations.iter().map(|s| StageOption {
        value: s.id.clone(),
        label: s.name.clone(),
        selected: s.id == input.station,
    });
    Ok(Sources {
        page: page(app, visitor, "Sources of air").await?,
        rows: rows.collect(),
        stations: stations.collect(),
        id: input.id.clone(),
        name: input.name.clone(),
        may: visitor.is(&[Role::Administrator]),
        problems: Problems { lines },
    })
}
