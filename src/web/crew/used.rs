//! After use: which units of a rig were used at what, by whom, and in what state they came back.
//! One form, one signature, one record a unit.

use std::collections::BTreeMap;

use airmuster_domain::record::{Body, Condition, Field, Occasion, Used};
use airmuster_domain::standing::State as Holds;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;
use serde_json::json;
use uuid::Uuid;

use super::check::tablet_of;
use crate::service::IntakeError;
use crate::service::fleet::UnitFacts;
use crate::service::intake::CLIENT;
use crate::service::muster::Muster;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, member_options, page, standing, station_href};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_field, id_within, just_written, problem};
use crate::web::view::ticket::StageOption;
use crate::web::view::used::{UsedForm, UsedUnit};
use crate::web::view::{Link, ProblemLine, Problems};

/// So many uses are told one by one.
const SHOWN: usize = 40;

/// What the form is about.
enum About {
    Rig(String),
    Unit(String),
}

/// What a form sends that has a field for each of many things.
pub type Input = BTreeMap<String, String>;

/// A field without the space around it; empty where it was not sent.
pub fn field<'a>(input: &'a Input, name: &str) -> &'a str {
    input.get(name).map_or("", |v| v.trim())
}

/// `GET /rigs/{rig}/used`.
pub async fn show_of_rig(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Query(done): Query<Done>,
) -> Result<Html<UsedForm>, WebError> {
    show_form(&app, &visitor, &About::Rig(rig), &done).await
}

/// `GET /units/{unit}/used`.
pub async fn show_of_unit(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Query(done): Query<Done>,
) -> Result<Html<UsedForm>, WebError> {
    show_form(&app, &visitor, &About::Unit(unit), &done).await
}

/// `POST /rigs/{rig}/used`.
pub async fn take_of_rig(
    State(app): State<App>,
    visitor: Visitor,
    Path(rig): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    take_form(&app, &visitor, &About::Rig(rig), &input).await
}

/// `POST /units/{unit}/used`.
pub async fn take_of_unit(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    take_form(&app, &visitor, &About::Unit(unit), &input).await
}

/// What was just written down: the numbers of the records, with commas between.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Done {
    written: String,
}

impl Done {
    /// The units whose use these records tell.
    async fn units(&self, app: &App) -> Result<Vec<String>, WebError> {
        let told = just_written(app, &self.written, SHOWN).await?.into_iter();
        Ok(told
            .filter_map(|body| match body {
                Body::Field(Field::Used(used)) => Some(used.unit),
                _ => None,
            })
            .collect())
    }
}

async fn show_form(
    app: &App,
    visitor: &Visitor,
    about: &About,
    done: &Done,
) -> Result<Html<UsedForm>, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let member = visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default();
    let mut input = Input::from([
        ("id".to_owned(), app.clock.id().hyphenated().to_string()),
        ("member".to_owned(), member),
    ]);
    if let About::Unit(unit) = about {
        input.insert(format!("u.{unit}"), "yes".to_owned());
    }
    for (unit, ..) in units(&muster, about)? {
        let number = &unit.row.number;
        let gear = muster.gear(number);
        if let Some(cylinder) = gear.and_then(|g| g.cylinder.clone()) {
            input.insert(format!("c.{number}"), cylinder);
        }
        if let Some(member) = rides(&muster, number) {
            input.insert(format!("w.{number}"), member.to_owned());
        }
    }
    let form = view(app, visitor, &muster, about, &input, Vec::new()).await?;
    Ok(Html(UsedForm { written: done.units(app).await?, ..form }))
}

async fn take_form(app: &App, visitor: &Visitor, about: &About, input: &Input) -> Result<Response, WebError> {
    let muster = Muster::load(&app.store, app.clock.now()).await?;
    let id: Uuid = field(input, "id").parse().map_err(|_| WebError::Unreadable)?;
    let (bodies, mut lines) = read(&units(&muster, about)?, input);
    let member = field(input, "member");
    lines.extend(check_pin(app, visitor, member, field(input, "pin")).await?.err());
    if !lines.is_empty() {
        return Ok(Again(view(app, visitor, &muster, about, input, lines).await?).into_response());
    }
    let (mut written, mut numbers) = (Vec::new(), Vec::new());
    for body in &bodies {
        // By its unit, so that a form sent twice is seen for each, whatever else is ticked.
        match hand_in_field(app, "used", id_within(id, &body.unit), member, body).await {
            Ok(receipt) => {
                written.push(body.unit.as_str());
                numbers.push(receipt.seq.to_string());
            }
            Err(IntakeError::Before(first)) => {
                let kept = app.store.variants(first.id).await?;
                match kept.first().filter(|k| tells(&k.record.body, body)) {
                    Some(same) => {
                        written.push(body.unit.as_str());
                        numbers.push(same.place.seq.to_string());
                    }
                    None => lines.push(problem(&format!("s.{}", body.unit), otherwise(&body.unit))),
                }
            }
            Err(e) => return Err(e.into()),
        }
    }
    if lines.is_empty() {
        return Ok(Redirect::to(&format!("{}?written={}", action(about), numbers.join(","))).into_response());
    }
    // What is written is not sent again; the rest is, as uses of their own.
    let mut input = input.clone();
    input.insert("id".to_owned(), app.clock.id().hyphenated().to_string());
    for unit in &written {
        input.remove(&format!("u.{unit}"));
    }
    let mut form = view(app, visitor, &muster, about, &input, lines).await?;
    form.page.flash = (!written.is_empty()).then(|| format!("Written down: {}.", written.join(", ")));
    Ok(Again(form).into_response())
}

/// Whether a record tells this use. Whether the unit was out of service by then may have come of that record.
fn tells(record: &Body, use_: &Used) -> bool {
    let Body::Field(Field::Used(kept)) = record else { return false };
    Used { while_out: use_.while_out, ..kept.clone() } == *use_
}

/// What to say of a use that was sent before with other words.
fn otherwise(unit: &str) -> String {
    format!(
        "Unit {unit} was written down when this was sent before, and that stays. \
         What you changed is not written down yet. Send it again, and it is another use."
    )
}

/// Where the form is and where it is sent.
fn action(about: &About) -> String {
    match about {
        About::Rig(rig) => format!("/rigs/{rig}/used"),
        About::Unit(unit) => format!("/units/{unit}/used"),
    }
}

/// The units that the form asks about, with their places.
fn units<'a>(muster: &'a Muster, about: &About) -> Result<Vec<(&'a UnitFacts, String)>, WebError> {
    let fleet = &muster.fleet;
    match about {
        About::Unit(number) => {
            let unit = fleet.units.get(number).ok_or(WebError::NotFound)?;
            Ok(vec![(unit, capital(&fleet.place_words(&unit.row)))])
        }
        About::Rig(rig) => {
            muster.rig(rig).ok_or(WebError::NotFound)?;
            Ok(muster.places(rig).filter_map(|p| Some((fleet.in_seat(p)?, p.name.clone()))).collect())
        }
    }
}

fn rides<'a>(muster: &'a Muster, unit: &str) -> Option<&'a str> {
    let seat = muster.fleet.seats.iter().find(|s| s.asset.as_deref() == Some(&format!("unit:{unit}")))?;
    muster.member(seat)
}

fn read(units: &[(&UnitFacts, String)], input: &Input) -> (Vec<Used>, Vec<ProblemLine>) {
    let mut lines = Vec::new();
    let occasion = Occasion::ALL.into_iter().find(|o| o.id() == field(input, "occasion"));
    if occasion.is_none() {
        lines.push(problem("occasion", "Choose what it was."));
    }
    let what = field(input, "what");
    if what.is_empty() {
        lines.push(problem("what", "Say which one: its number, or where."));
    }
    let mut out = Vec::new();
    for (unit, _) in units {
        let number = &unit.row.number;
        if field(input, &format!("u.{number}")) != "yes" {
            continue;
        }
        let state = format!("s.{number}");
        let Some(condition) = Condition::ALL.into_iter().find(|c| c.id() == field(input, &state)) else {
            lines.push(problem(&state, format!("Say in what state unit {number} came back.")));
            continue;
        };
        let (cylinders, wearer) = (format!("c.{number}"), field(input, &format!("w.{number}")));
        let split = |c: char| matches!(c, ',' | ';') || c.is_whitespace();
        let numbers: Vec<String> =
            field(input, &cylinders).split(split).filter(|n| !n.is_empty()).map(str::to_owned).collect();
        let usable =
            |n: &String| n.len() <= 32 && n.chars().all(|c| c.is_ascii_alphanumeric() || "-.".contains(c));
        if !numbers.iter().all(usable) || numbers.len() > 20 {
            let text = "Write the numbers painted on them, with commas between.";
            lines.push(problem(&cylinders, text));
        }
        out.push(Used {
            unit: number.clone(),
            what: what.to_owned(),
            condition,
            occasion,
            wearer: Some(wearer.to_owned()).filter(|w| !w.is_empty()),
            cylinders: numbers,
            while_out: unit.standing.state >= Holds::OutOfService,
            after_use: true,
        });
    }
    if out.is_empty() && !lines.iter().any(|l| l.field.starts_with("s.")) {
        lines.push(problem("units", "Tick what was used."));
    }
    (out, lines)
}

fn back(muster: &Muster, about: &About) -> Link {
    match about {
        About::Rig(id) => match muster.rig(id) {
            Some(rig) => Link { text: rig.name.clone(), href: station_href(&rig.station) },
            None => Link { text: "Stations".to_owned(), href: "/stations".to_owned() },
        },
        About::Unit(unit) => Link { text: format!("Unit {unit}"), href: format!("/units/{unit}") },
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    muster: &Muster,
    of: &About,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<UsedForm, WebError> {
    let people = app.store.people().await?;
    let option = |value: &str, chosen: &str| StageOption {
        value: value.to_owned(),
        label: capital(value),
        selected: value == chosen,
    };
    let problems = Problems { lines };
    let at = |field: String| problems.at(&field).map(str::to_owned);
    let units = units(muster, of)?.into_iter().map(|(unit, place)| {
        let number = unit.row.number.clone();
        let state = field(input, &format!("s.{number}"));
        UsedUnit {
            place,
            standing: (unit.standing.state >= Holds::OutOfService).then(|| standing(&unit.standing)),
            used: field(input, &format!("u.{number}")) == "yes",
            conditions: Condition::ALL.into_iter().map(|c| option(c.id(), state)).collect(),
            wearers: member_options(&people, Some(field(input, &format!("w.{number}")))),
            cylinders: field(input, &format!("c.{number}")).to_owned(),
            condition_problem: at(format!("s.{number}")),
            cylinders_problem: at(format!("c.{number}")),
            number,
        }
    });
    let units: Vec<UsedUnit> = units.collect();
    let about = json!({
        "tablet": tablet_of(visitor),
        "client": CLIENT,
        "units": units.iter().map(|u| json!({ "unit": u.number, "out": u.standing.is_some() })).collect::<Vec<_>>(),
    });
    let chosen = field(input, "occasion");
    Ok(UsedForm {
        page: page(app, visitor, "We used these").await?,
        back: back(muster, of),
        action: action(of),
        id: field(input, "id").to_owned(),
        occasions: Occasion::ALL.into_iter().map(|o| option(o.id(), chosen)).collect(),
        what: field(input, "what").to_owned(),
        units,
        members: member_options(&people, Some(field(input, "member"))),
        problems,
        about: about.to_string(),
        written: Vec::new(),
    })
}
