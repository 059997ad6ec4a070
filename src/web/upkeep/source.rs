//! A source of air: its samples, and the cylinders that a failed one holds.

use airmuster_domain::record::{AirSample, Asset, Body, Desk, Field};
use airmuster_domain::role::Role;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::fills::air_words;
use super::{asset_link, parts};
use crate::service::IntakeError;
use crate::service::upkeep::Ledger;
use crate::store::Kept;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, when};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::telling::grade_words;
use crate::web::view::upkeep::{DoubtfulRow, FillRow, SampleDraft, Source};
use crate::web::view::{Link, ProblemLine, Problems};

/// How many samples are listed.
const LISTED: i64 = 40;

/// Who enters a sample.
const MAY: &[Role] = &[Role::Technician, Role::Officer, Role::Administrator];

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    on: String,
    oxygen: String,
    oil: String,
    monoxide: String,
    dioxide: String,
    odour: String,
    reference: String,
}

/// `GET /sources/{source}`.
pub async fn show_source(
    State(app): State<App>,
    visitor: Visitor,
    Path(source): Path<String>,
) -> Result<Html<Source>, WebError> {
    Ok(Html(view(&app, &visitor, &source, Input::default(), Vec::new()).await?))
}

/// `POST /sources/{source}`. The session is signature enough.
pub async fn take_sample(
    State(app): State<App>,
    visitor: Visitor,
    Path(source): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let lines = match read(&source, &input) {
        Ok(sample) => match hand_in_desk(&app, "air_sample", &by, &sample).await {
            Ok(_) => return Ok(Redirect::to(&format!("/sources/{source}")).into_response()),
            Err(IntakeError::Refused(r)) => vec![problem("on", format!("{}.", capital(&r.say)))],
            Err(e) => return Err(e.into()),
        },
        Err(lines) => lines,
    };
    Ok(Again(view(&app, &visitor, &source, input, lines).await?).into_response())
}

fn read(source: &str, input: &Input) -> Result<AirSample, Vec<ProblemLine>> {
    let mut lines = Vec::new();
    let on = input.on.trim().parse().ok();
    if on.is_none() {
        lines.push(problem("on", "Give the day on which it was taken, such as 2026-03-31."));
    }
    let mut number = |field: &str, text: &str, places: u32, like: &str| {
        let read = parts(text, places);
        if read.is_none() {
            lines.push(problem(field, format!("Give the report’s figure as a number, such as {like}.")));
        }
        read.unwrap_or_default()
    };
    let oxygen = number("oxygen", &input.oxygen, 2, "20.9");
    let oil = number("oil", &input.oil, 2, "0.1");
    // Kept in tenths; what lies between two is written down as the worse one, so that no rounding passes.
    let monoxide = number("monoxide", &input.monoxide, 2, "1.5").div_ceil(10);
    let dioxide = number("dioxide", &input.dioxide, 0, "410");
    if !matches!(input.odour.as_str(), "yes" | "no") {
        lines.push(problem("odour", "Say whether there was an odour."));
    }
    match on {
        Some(on) if lines.is_empty() => Ok(AirSample {
            source: source.to_owned(),
            on,
            oxygen,
            oil,
            monoxide,
            dioxide,
            odour: input.odour == "yes",
            reference: input.reference.trim().to_owned(),
        }),
        _ => Err(lines),
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    source: &str,
    input: Input,
    lines: Vec<ProblemLine>,
) -> Result<Source, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let fleet = &ledger.fleet;
    let s = ledger.upkeep.sources.get(source).ok_or(WebError::NotFound)?;
    let clock = &fleet.department.clock;
    let mut doubtful = Vec::new();
    for d in ledger.doubtful(&app.store, source).await? {
        doubtful.push(DoubtfulRow {
            thing: asset_link(&Asset::cylinder(&d.number)),
            since: when(clock, d.since, fleet.now),
            uses: d.uses.iter().map(|k| used(&ledger, k)).collect(),
        });
    }
    let samples =
        app.store.upkeep_entries(&["air_sample"], Some(&format!("source/{source}")), LISTED).await?;
    let samples = samples.iter().filter_map(|kept| {
        let Body::Desk(Desk::AirSample(s)) = &kept.record.body else { return None };
        Some(FillRow {
            when: airmuster_domain::upkeep::day_words(s.on),
            thing: Link::default(),
            say: format!("{}. {}", capital(&grade_words(s)), s.reference),
            who: kept.record.envelope.by.as_deref().map_or("nobody", |by| fleet.name(by)).to_owned(),
        })
    });
    Ok(Source {
        page: page(app, visitor, &s.name).await?,
        title: s.name.clone(),
        href: format!("/sources/{source}"),
        station: fleet
            .stations
            .iter()
            .find(|t| t.id == s.station)
            .map_or_else(String::new, |t| t.name.clone()),
        say: air_words(&ledger, source),
        bad: s.failed.is_some(),
        doubtful,
        samples: samples.collect(),
        may: visitor.is(MAY),
        entered: SampleDraft {
            on: input.on,
            oxygen: input.oxygen,
            oil: input.oil,
            monoxide: input.monoxide,
            dioxide: input.dioxide,
            odour: input.odour,
            reference: input.reference,
        },
        problems: Problems { lines },
    })
}

/// A check or a use, leading to its record.
fn used(ledger: &Ledger, kept: &Kept) -> Link {
    let at = when(&ledger.fleet.department.clock, kept.record.envelope.time(), ledger.fleet.now);
    let text = match &kept.record.body {
        Body::Field(Field::Used(u)) => format!("unit {} used {at}, {}", u.unit, u.what),
        Body::Field(Field::Check(c)) => format!("in unit {} at its check of {at}", c.unit),
        _ => at,
    };
    Link { text, href: format!("/records/{}", kept.place.seq) }
}
