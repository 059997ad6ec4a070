//! A unit's parts, and which ones the approval of its kind names.

use airmuster_domain::record::{Component, Fitting, Register, Slot};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Profile;
use airmuster_domain::standing::State as Holds;
use airmuster_domain::upkeep::day_words;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use chrono::Months;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::fleet::Fleet;
use crate::service::unit::UnitFile;
use crate::web::auth::Visitor;
use crate::web::crew::unit::file;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, standing, unit_ref};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::parts::{ApprovalKind, Approvals, Parts, SlotView};
use crate::web::view::ticket::StageOption;
use crate::web::view::{Fact, ProblemLine, Problems};

/// So many months before a warranty ends it is pointed out.
const WARNED: u32 = 3;

/// What the form sends.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    slot: String,
    act: String,
    name: String,
    serial: String,
    edition: String,
    made: String,
    warranty: String,
    why: String,
}

/// `GET /units/{unit}/parts`.
pub async fn show_parts(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
) -> Result<Html<Parts>, WebError> {
    let file = file(&app, &unit).await?;
    Ok(Html(view(&app, &visitor, &file, &Input::default(), Vec::new()).await?))
}

/// `POST /units/{unit}/parts`. The session is signature enough.
pub async fn take_part(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let file = file(&app, &unit).await?;
    let lines = match read(&file, &input) {
        Ok(body) => match hand_in_desk(&app, "fitting", &by, &body).await {
            Ok(_) => {
                return Ok(Redirect::to(&format!("/units/{unit}/parts#{}", body.slot.id())).into_response());
            }
            Err(IntakeError::Refused(r)) => vec![problem(&input.slot, format!("{}.", capital(&r.say)))],
            Err(e) => return Err(e.into()),
        },
        Err(lines) => lines,
    };
    Ok(Again(view(&app, &visitor, &file, &input, lines).await?).into_response())
}

fn read(file: &UnitFile, input: &Input) -> Result<Fitting, Vec<ProblemLine>> {
    let slot = Slot::ALL.into_iter().find(|s| s.id() == input.slot);
    let Some(slot) = slot else { return Err(vec![problem("main", "Choose the part.")]) };
    let mut lines = Vec::new();
    let at = |text: &str| problem(slot.id(), text);
    let there = file.upkeep.things.get(&file.standing.asset).and_then(|t| t.parts.get(&slot));
    let out = there.map(|f| f.part.serial.clone());
    let (out, wants, was_there) = match input.act.as_str() {
        "enter" => (None, true, true),
        "fit" | "replace" => (out, true, false),
        "remove" => (out, false, false),
        _ => return Err(vec![at("Choose what is done.")]),
    };
    let made = input.made.trim().parse().ok();
    if made.is_none() && !input.made.trim().is_empty() {
        lines.push(at("Give the month in which it was made as year and month, such as 2024-03."));
    }
    let warranty = input.warranty.trim().parse().ok();
    if warranty.is_none() && !input.warranty.trim().is_empty() {
        lines.push(at("Give the end of its warranty as a day, such as 2029-03-31."));
    }
    let trimmed = |s: &str| s.trim().to_owned();
    let name = if input.name == "another" { String::new() } else { trimmed(&input.name) };
    let part = wants.then(|| Component {
        name,
        serial: trimmed(&input.serial),
        edition: trimmed(&input.edition),
        made,
        warranty,
    });
    let body = Fitting { unit: file.number.clone(), slot, out, part, was_there, why: trimmed(&input.why) };
    if lines.is_empty() { Ok(body) } else { Err(lines) }
}

/// The places for parts on a unit: those that its kind has, and those that something is in.
fn slots(file: &UnitFile) -> Vec<Slot> {
    let kind = file.row.as_ref().and_then(|r| file.fleet.profile(&r.profile));
    let own = kind.map(Profile::slots).unwrap_or_default();
    let there = file.upkeep.things.get(&file.standing.asset).map(|t| &t.parts);
    let in_use =
        |s: &Slot| *s == Slot::CylinderGauge || own.contains(s) || there.is_some_and(|p| p.contains_key(s));
    Slot::ALL.into_iter().filter(in_use).collect()
}

async fn view(
    app: &App,
    visitor: &Visitor,
    file: &UnitFile,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Parts, WebError> {
    let unit = &file.number;
    let locked = file.standing.state >= Holds::Held || file.row.is_none();
    let technician = visitor.is(&[Role::Technician]);
    let why_not = match (technician, file.standing.state) {
        (_, Holds::Held) => "It is held for an inquiry: nothing may be done to it.",
        (_, Holds::Retired) => "It is retired: it never comes back.",
        (false, _) => "A technician qualified for this kind of unit changes its parts.",
        _ => "",
    };
    Ok(Parts {
        page: page(app, visitor, &format!("Parts of unit {unit}")).await?,
        unit: unit_ref(unit),
        profile: capital(&file.profile_words()),
        standing: standing(&file.standing),
        lacks: if file.lacks.is_empty() {
            String::new()
        } else {
            format!("Still to be entered: {}.", file.lacks.join(", "))
        },
        // Of what never comes back the sentence is enough; what was on it is in its records.
        slots: if file.standing.state == Holds::Retired { Vec::new() } else { slots(file) }
            .into_iter()
            .map(|s| slot_view(file, s, input))
            .collect(),
        may: technician && !locked,
        why_not: why_not.to_owned(),
        problems: Problems { lines },
    })
}

fn slot_view(file: &UnitFile, slot: Slot, input: &Input) -> SlotView {
    let fact = |label: &str, value: String| Fact { label: label.to_owned(), value };
    let there = file.upkeep.things.get(&file.standing.asset).and_then(|t| t.parts.get(&slot));
    let fleet = &file.fleet;
    let clock = &fleet.department.clock;
    let today = clock.local(fleet.now).date_naive();
    let mut facts = Vec::new();
    let mut warranty = String::new();
    if let Some(f) = there {
        let p = &f.part;
        let or = |s: &str| if s.is_empty() { "not in the register".to_owned() } else { s.to_owned() };
        facts.push(fact("Serial", p.serial.clone()));
        facts.push(fact("Name", or(&p.name)));
        facts.push(fact("Edition", or(&p.edition)));
        facts.extend(p.made.map(|m| fact("Made", m.to_string())));
        facts.extend(p.warranty.map(|d| fact("Warranty until", day_words(d))));
        facts.push(fact("Known to be there since", day_words(clock.local(f.at).date_naive())));
        warranty = match p.warranty {
            Some(end) if end < today => "Its warranty has ended.".to_owned(),
            Some(end) if end.checked_sub_months(Months::new(WARNED)).is_some_and(|d| d <= today) => {
                format!("Its warranty ends on {}.", day_words(end))
            }
            _ => String::new(),
        };
    }
    let open = input.slot == slot.id();
    let mut acts = Vec::new();
    let mut act = |value: &str, label: &str| {
        let selected = open && input.act == value;
        acts.push(StageOption { value: value.to_owned(), label: label.to_owned(), selected });
    };
    if there.is_some() {
        act("enter", "Complete what the register has of it; nothing was worked on");
        act("replace", "Replace it with another one");
        act("remove", "Remove it");
    } else {
        act("enter", "Enter the one that is on the unit; nothing was worked on");
        act("fit", "Fit one");
    }
    let profile = file.row.as_ref().map_or("", |r| r.profile.as_str());
    let names = file.upkeep.approvals.get(profile).and_then(|a| a.get(&slot));
    let chosen =
        if open { input.name.clone() } else { there.map(|f| f.part.name.clone()).unwrap_or_default() };
    let entered =
        |sent: &str, kept: Option<String>| if open { sent.to_owned() } else { kept.unwrap_or_default() };
    let complete = there.map(|f| &f.part).filter(|p| p.edition.is_empty());
    SlotView {
        id: slot.id().to_owned(),
        title: capital(slot.words()),
        facts,
        warranty,
        acts,
        names: names
            .into_iter()
            .flatten()
            .map(|n| StageOption { value: n.clone(), label: n.clone(), selected: *n == chosen })
            .collect(),
        serial: entered(&input.serial, complete.map(|p| p.serial.clone())),
        edition: entered(&input.edition, None),
        made: entered(&input.made, None),
        warranty_until: entered(&input.warranty, None),
        why: entered(&input.why, None),
        open,
    }
}

/// What the form of an approval sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct ApprovalInput {
    profile: String,
    slot: String,
    names: String,
}

/// `GET /approvals`.
pub async fn show_approvals(State(app): State<App>, visitor: Visitor) -> Result<Html<Approvals>, WebError> {
    Ok(Html(approvals(&app, &visitor, &ApprovalInput::default(), Vec::new()).await?))
}

/// `POST /approvals`. The session is signature enough.
pub async fn take_approval(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<ApprovalInput>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let slot = Slot::ALL.into_iter().find(|s| s.id() == input.slot);
    let names: Vec<String> =
        input.names.lines().map(|n| n.trim().to_owned()).filter(|n| !n.is_empty()).collect();
    let mut lines = Vec::new();
    if input.profile.is_empty() {
        lines.push(problem("profile", "Choose the kind of unit."));
    }
    if slot.is_none() {
        lines.push(problem("slot", "Choose the part."));
    }
    if names.is_empty() {
        lines.push(problem("names", "Give the names that stand on its label, one a line."));
    }
    if let (Some(slot), true) = (slot, lines.is_empty()) {
        let body = Register::Approval { profile: input.profile.clone(), slot, names };
        match hand_in_desk(&app, "register", &by, &body).await {
            Ok(_) => return Ok(Redirect::to("/approvals").into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem("names", format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(approvals(&app, &visitor, &input, lines).await?).into_response())
}

async fn approvals(
    app: &App,
    visitor: &Visitor,
    input: &ApprovalInput,
    lines: Vec<ProblemLine>,
) -> Result<Approvals, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let upkeep = app.store.upkeep().await?;
    let title = |profile: &str| {
        capital(&fleet.profile(profile).map_or_else(|| profile.to_owned(), |p| p.title.clone()))
    };
    let kinds = upkeep.approvals.iter().map(|(profile, slots)| ApprovalKind {
        title: title(profile),
        facts: slots
            .iter()
            .map(|(slot, names)| Fact { label: capital(slot.words()), value: names.join(", ") })
            .collect(),
    });
    let option = |value: &str, label: String, chosen: &str| StageOption {
        value: value.to_owned(),
        label,
        selected: value == chosen,
    };
    let profiles = fleet.table.iter().flat_map(|t| t.profiles.keys());
    Ok(Approvals {
        page: page(app, visitor, "Approvals").await?,
        kinds: kinds.collect(),
        profiles: profiles.map(|p| option(p, title(p), &input.profile)).collect(),
        slots: Slot::ALL.map(|s| option(s.id(), capital(s.words()), &input.slot)).to_vec(),
        names: input.names.clone(),
        may: visitor.is(&[Role::Administrator]),
        problems: Problems { lines },
    })
}
