//! The fill log: what may be filled, what may not and why, and what was.

use std::collections::BTreeMap;

use airmuster_domain::air;
use airmuster_domain::quantity::{Amount, Pressure, Temperature, TemperatureUnit};
use airmuster_domain::record::{Asset, AssetKind, Body, Desk, Fill};
use airmuster_domain::upkeep::day_words;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::{Form, Query};
use serde::Deserialize;

use super::asset_link;
use crate::service::IntakeError;
use crate::service::upkeep::Ledger;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, when};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::ticket::StageOption;
use crate::web::view::upkeep::{BarredRow, FillRow, FillTo, Fills, SourceRow};
use crate::web::view::{Link, ProblemLine, Problems};

/// The temperatures for which the page says what to fill to, in °C.
const ROUND: [i16; 7] = [-20, -10, 0, 10, 21, 30, 40];
/// How many fills are listed.
const LISTED: i64 = 40;

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    cylinder: String,
    source: String,
    pressure: String,
    celsius: String,
    /// The cylinder that was just filled.
    done: String,
}

/// `GET /fills`.
pub async fn show_fills(
    State(app): State<App>,
    visitor: Visitor,
    Query(input): Query<Input>,
) -> Result<Html<Fills>, WebError> {
    Ok(Html(view(&app, &visitor, &input, Vec::new()).await?))
}

/// `POST /fills`. The session is signature enough.
pub async fn take_fill(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let lines = match read(&ledger, &input) {
        Ok(fill) => match hand_in_desk(&app, "fill", &by, &fill).await {
            Ok(_) => {
                let at = fill.celsius.map(|c| format!("&celsius={c}")).unwrap_or_default();
                let again = format!("/fills?done={}&source={}{at}", fill.cylinder, fill.source);
                return Ok(Redirect::to(&again).into_response());
            }
            Err(IntakeError::Refused(r)) => {
                vec![problem("cylinder", format!("Do not fill it: {}.", r.say))]
            }
            Err(e) => return Err(e.into()),
        },
        Err(lines) => lines,
    };
    Ok(Again(view(&app, &visitor, &input, lines).await?).into_response())
}

fn read(ledger: &Ledger, input: &Input) -> Result<Fill, Vec<ProblemLine>> {
    let mut lines = Vec::new();
    let sought = input.cylinder.trim();
    let found = ledger
        .upkeep
        .things
        .iter()
        .find(|(a, _)| a.kind == AssetKind::Cylinder && a.number.eq_ignore_ascii_case(sought));
    if found.is_none() {
        lines.push(problem(
            "cylinder",
            "No cylinder of this number is in the register. Look at the number again.",
        ));
    }
    let rated = found.and_then(|(_, t)| t.rated);
    let pressure = read_pressure(&input.pressure, rated);
    if pressure.is_none() {
        let say = format!("Give the pressure to which it was filled, such as {}.", ledger.pressure_like());
        lines.push(problem("pressure", say));
    }
    let celsius = input.celsius.trim();
    let read = celsius.parse::<i16>().ok();
    if read.is_none() && !celsius.is_empty() {
        lines.push(problem("celsius", "Give the temperature as a whole number of °C, such as 21."));
    }
    match (found, pressure) {
        (Some((asset, _)), Some(pressure)) if lines.is_empty() => {
            Ok(Fill { cylinder: asset.number.clone(), source: input.source.clone(), pressure, celsius: read })
        }
        _ => Err(lines),
    }
}

/// A pressure as entered; a bare number is in the unit in which the cylinder is rated.
pub fn read_pressure(text: &str, rated: Option<Pressure>) -> Option<Pressure> {
    let text = text.trim();
    text.parse().ok().or_else(|| format!("{text} {}", rated?.unit().symbol()).parse().ok())
}

async fn view(
    app: &App,
    visitor: &Visitor,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Fills, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let fleet = &ledger.fleet;
    let sources = ledger.upkeep.sources.iter().map(|(id, s)| StageOption {
        value: id.clone(),
        label: s.name.clone(),
        selected: *id == input.source || ledger.upkeep.sources.len() == 1,
    });
    let air = ledger.upkeep.sources.iter().map(|(id, s)| SourceRow {
        source: Link { text: s.name.clone(), href: format!("/sources/{id}") },
        say: air_words(&ledger, id),
        bad: s.failed.is_some(),
    });
    let cylinders = ledger.upkeep.things.iter().filter(|(a, t)| a.kind == AssetKind::Cylinder && !t.gone);
    let barred = cylinders.filter_map(|(a, _)| {
        let why = ledger.upkeep.no_fill_for(a, ledger.today);
        let why = format!("{}.", capital(&why.join("; ")));
        (why != ".").then(|| BarredRow { thing: asset_link(a), why })
    });
    let log = app.store.upkeep_entries(&["fill"], None, LISTED).await?;
    let log = log.iter().filter_map(|kept| {
        let Body::Desk(Desk::Fill(f)) = &kept.record.body else { return None };
        let at = f.celsius.map(|c| format!(" at {c} °C")).unwrap_or_default();
        let source = ledger.upkeep.sources.get(&f.source).map_or(&f.source, |s| &s.name);
        Some(FillRow {
            when: when(&fleet.department.clock, kept.record.envelope.time(), fleet.now),
            thing: asset_link(&Asset::cylinder(&f.cylinder)),
            say: format!("{}{at}, from {source}", f.pressure.words()),
            who: kept.record.envelope.by.as_deref().map_or("nobody", |by| fleet.name(by)).to_owned(),
        })
    });
    let done = ledger.upkeep.things.get(&Asset::cylinder(&input.done));
    let done = done.and_then(|t| t.filled.as_ref().map(|f| (f, t.rated)));
    let read = input.celsius.trim().parse().ok();
    Ok(Fills {
        page: page(app, visitor, "Fills").await?,
        done: done.map_or_else(String::new, |(f, rated)| {
            let (n, to) = (&input.done, f.pressure.words());
            format!("Cylinder {n} is written down as filled to {to}.{}", above(f.pressure, rated, read))
        }),
        fill_to: fill_to(&ledger, read),
        cylinder: input.cylinder.clone(),
        sources: sources.collect(),
        pressure: input.pressure.clone(),
        pressure_like: ledger.pressure_like(),
        celsius: input.celsius.clone(),
        air: air.collect(),
        barred: barred.collect(),
        log: log.collect(),
        problems: Problems { lines },
    })
}

/// What to say of a fill that reads more than the rating.
fn above(pressure: Pressure, rated: Option<Pressure>, celsius: Option<i16>) -> String {
    let Some(rated) = rated.filter(|r| pressure.amount() > r.amount()) else { return String::new() };
    let warm = celsius.is_some_and(|c| warmed_to(rated, c).is_some_and(|to| pressure.amount() <= to));
    if warm {
        return String::new();
    }
    format!(
        " That is above its rating of {}. Read it again once it has cooled to the bay’s temperature. If it still reads more, bring it down by the maker’s instructions.",
        rated.words()
    )
}

fn warmed_to(rated: Pressure, celsius: i16) -> Option<Amount> {
    let at = Temperature::whole(i32::from(celsius), TemperatureUnit::C)?;
    air::fill_to(rated.amount(), at).ok()
}

/// What to fill to, by temperature, for each rating that is in the register: the one that was entered last, and
/// some round ones.
fn fill_to(ledger: &Ledger, read: Option<i16>) -> Vec<FillTo> {
    let cylinders = ledger.upkeep.things.values().filter(|t| !t.gone);
    let rated: BTreeMap<String, Pressure> =
        cylinders.filter_map(|t| t.rated).map(|r| (r.words(), r)).collect();
    let mut at: Vec<i16> = ROUND.into_iter().chain(read.filter(|c| (-60..=80).contains(c))).collect();
    at.sort_unstable();
    at.dedup();
    let row = |(words, rated): (String, Pressure)| FillTo {
        rated: words,
        at: at
            .iter()
            .filter_map(|c| {
                let say = warmed_to(rated, *c)?.words(rated.unit());
                Some((format!("{c} °C").replace('-', "−"), say, read == Some(*c)))
            })
            .collect(),
    };
    rated.into_iter().map(row).collect()
}

/// How a source's air stands, in a sentence.
pub fn air_words(ledger: &Ledger, id: &str) -> String {
    let Some(s) = ledger.upkeep.sources.get(id) else { return String::new() };
    if let Some(why) = &s.failed {
        return format!("Fill nothing from it: the last sample failed, {why}.");
    }
    match (s.good, ledger.upkeep.sample_due(id)) {
        (Some(good), Some(by)) if by < ledger.today => {
            format!(
                "Last good sample {}. The next was due by {}: have one taken.",
                day_words(good),
                day_words(by)
            )
        }
        (Some(good), Some(by)) => {
            format!("Last good sample {}, the next by {}.", day_words(good), day_words(by))
        }
        _ => "No sample is written down yet: have one taken.".to_owned(),
    }
}
