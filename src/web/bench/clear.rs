//! Clearing what no repair is needed for: the end of a hold, cleaning, acceptance into service.

use airmuster_domain::desk::Refusal;
use airmuster_domain::ground::Kind;
use airmuster_domain::record::{Accepted, Asset, Clearing};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::{Ground, State as Holds};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::ticket::thing_words;
use crate::service::unit::UnitFile;
use crate::service::{IntakeError, Receipt};
use crate::store::CheckRow;
use crate::web::auth::Visitor;
use crate::web::crew::unit::{against, file};
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, grounds_words, member_options, page, standing, unit_ref, when};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_desk, problem};
use crate::web::view::clear::{Clear, Proof, Tick, Why};
use crate::web::view::{Link, MemberOption, ProblemLine, Problems};

/// One act at a time, so that one signature makes one record. In this order: while a unit is held
/// nothing else may be done to it, and a dirty one is not taken into service.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// The inquiry is over.
    Release,
    /// It was cleaned.
    Clean,
    /// A new unit goes into service.
    Accept,
}

impl Act {
    /// What is to be done first, if anything here is.
    pub fn first(file: &UnitFile) -> Option<Self> {
        if file.standing.state == Holds::Retired {
            return None;
        }
        [Self::Release, Self::Clean, Self::Accept].into_iter().find(|a| a.grounds(file).next().is_some())
    }

    /// Whose signature it needs, as [`airmuster_domain::desk::may`] has it.
    pub fn roles(self) -> &'static [Role] {
        match self {
            Self::Release => &[Role::Administrator],
            Self::Clean => &[Role::Technician, Role::Officer],
            Self::Accept => &[Role::Technician, Role::Administrator],
        }
    }

    /// On its button.
    pub fn verb(self) -> &'static str {
        match self {
            Self::Release => "Release it",
            Self::Clean => "It is clean",
            Self::Accept => "Take it into service",
        }
    }

    fn clears(self, kind: Kind) -> bool {
        match self {
            Self::Release => kind == Kind::Held,
            Self::Clean => matches!(kind, Kind::Soiled | Kind::Contaminated),
            Self::Accept => kind == Kind::NotAccepted,
        }
    }

    /// The open grounds that it clears. A unit that is not in the register cannot be accepted.
    fn grounds(self, file: &UnitFile) -> impl Iterator<Item = &Ground> {
        let there = self != Self::Accept || file.row.is_some();
        file.standing.grounds.iter().filter(move |g| there && self.clears(g.raise.kind))
    }

    fn title(self, unit: &str) -> String {
        match self {
            Self::Release => format!("Release unit {unit}"),
            Self::Clean => format!("Unit {unit} is clean"),
            Self::Accept => format!("Take unit {unit} into service"),
        }
    }

    /// Label of the reason, and what to say where it is missing. An acceptance rests on its check.
    fn why(self) -> Option<(&'static str, &'static str)> {
        match self {
            Self::Release => Some(("Who released it, and why", "Say who released it, and why.")),
            Self::Clean => Some(("How it was cleaned", "Say how it was cleaned, in a few words.")),
            Self::Accept => None,
        }
    }
}

/// The acceptance check that an acceptance rests on: the last complete good one that counts.
pub fn acceptance(file: &UnitFile) -> Option<&CheckRow> {
    file.checks.iter().find(|c| c.purpose == Purpose::Acceptance.id() && c.clean && c.counts)
}

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    ground: Vec<String>,
    /// The acceptance check that the form was made with.
    check: String,
    why: String,
    member: String,
    pin: String,
}

/// `GET /units/{unit}/clear`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
) -> Result<Html<Clear>, WebError> {
    let file = file(&app, &unit).await?;
    let act = to_do(&file)?;
    let signer = visitor.member.as_ref().filter(|_| visitor.is(act.roles()));
    let input = Input { member: signer.map(|m| m.id.clone()).unwrap_or_default(), ..Input::default() };
    Ok(Html(view(&app, &visitor, &file, act, &input, Vec::new()).await?))
}

/// `POST /units/{unit}/clear`.
pub async fn clear(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let looked = file(&app, &unit).await?;
    let act = to_do(&looked)?;
    let mut lines = look_at(&looked, act, &input);
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if !lines.is_empty() {
        return Ok(Again(view(&app, &visitor, &looked, act, &input, lines).await?).into_response());
    }
    match hand_in(&app, &looked, act, &input).await {
        Ok(_) => Ok(Redirect::to(&format!("/units/{unit}")).into_response()),
        Err(IntakeError::Refused(r)) => {
            let field = if r.forbidden { "member" } else { "ground" };
            let lines = vec![problem(field, format!("{}.", capital(&r.say)))];
            // What was open may have changed in the meantime.
            let file = file(&app, &unit).await?;
            let act = to_do(&file)?;
            Ok(Again(view(&app, &visitor, &file, act, &input, lines).await?).into_response())
        }
        Err(e) => Err(e.into()),
    }
}

fn to_do(file: &UnitFile) -> Result<Act, WebError> {
    let unit = &file.number;
    let act = Act::first(file).ok_or_else(|| {
        WebError::Conflict(format!("Nothing is open on unit {unit} that a signature alone would clear."))
    })?;
    if act == Act::Accept && acceptance(file).is_none() {
        return Err(WebError::Conflict(format!(
            "Unit {unit} has no complete good acceptance check that counts. Make that check first."
        )));
    }
    if act == Act::Accept && !file.lacks.is_empty() {
        let lacks = file.lacks.join(", ");
        return Err(WebError::Conflict(format!("Unit {unit} is not yet accepted: enter {lacks} first.")));
    }
    Ok(act)
}

/// What is missing in the form itself, or has changed since it was made.
fn look_at(file: &UnitFile, act: Act, input: &Input) -> Vec<ProblemLine> {
    let mut lines = Vec::new();
    let open = |key: &String| act.grounds(file).any(|g| g.raise.key == *key);
    let other_check = acceptance(file).is_none_or(|c| c.name.digest.to_string() != input.check);
    if input.ground.is_empty() {
        lines.push(problem("ground", "Tick what it is about; nothing is ticked for you."));
    } else if !input.ground.iter().all(open) {
        lines.push(problem("ground", "This has changed since you looked. Read it, then tick it again."));
    } else if act == Act::Accept && other_check {
        lines.push(problem("ground", "There is another acceptance check by now. Read it, then tick again."));
    }
    if let Some((_, missing)) = act.why().filter(|_| input.why.trim().is_empty()) {
        lines.push(problem("why", missing));
    }
    lines
}

async fn hand_in(app: &App, file: &UnitFile, act: Act, input: &Input) -> Result<Receipt, IntakeError> {
    let clearing = || Clearing {
        asset: Asset::unit(&file.number),
        clears: input.ground.clone(),
        why: input.why.trim().to_owned(),
    };
    let by = &input.member;
    match (act, acceptance(file)) {
        (Act::Accept, Some(check)) => {
            let body = Accepted { unit: file.number.clone(), check: check.name };
            hand_in_desk(app, "accepted", by, &body).await
        }
        (Act::Accept, None) => {
            let say = "acceptance needs a complete good acceptance check of this unit".to_owned();
            Err(Refusal { say, forbidden: false }.into())
        }
        (Act::Release, _) => hand_in_desk(app, "release", by, &clearing()).await,
        (Act::Clean, _) => hand_in_desk(app, "cleaned", by, &clearing()).await,
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    file: &UnitFile,
    act: Act,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Clear, WebError> {
    let title = act.title(&file.number);
    // What was packed with it is held by itself, and stays so.
    let packed = match act {
        Act::Release => app.store.packed_with(&file.number, file.fleet.now).await?,
        Act::Clean | Act::Accept => Vec::new(),
    };
    let ticked = |g: &Ground| input.ground.contains(&g.raise.key);
    let ticks = act.grounds(file).map(|g| {
        let said = against(file, g);
        Tick { key: g.raise.key.clone(), text: said.text, raised: said.raised, ticked: ticked(g) }
    });
    Ok(Clear {
        page: page(app, visitor, &title).await?,
        unit: unit_ref(&file.number),
        place: file.place_words(),
        standing: standing(&file.standing),
        title,
        lead: lead(act).to_owned(),
        ticks: ticks.collect(),
        stays: grounds_words(file.standing.grounds.iter().filter(|g| !act.clears(g.raise.kind))),
        packed: packed
            .iter()
            .map(|item| Link { text: thing_words(item), href: format!("/assets/{item}/release") })
            .collect(),
        proof: acceptance(file).filter(|_| act == Act::Accept).map(|c| proof(file, c)),
        caution: caution(act, file).map(str::to_owned),
        why: act.why().map(|(label, _)| Why { label: label.to_owned(), text: input.why.clone() }),
        members: signers(app, act, &input.member).await?,
        button: act.verb().to_owned(),
        problems: Problems { lines },
    })
}

fn lead(act: Act) -> &'static str {
    match act {
        Act::Release => "The hold ends, and it may be opened, cleaned and repaired again.",
        Act::Clean => "Write down that it was cleaned. It is checked before it rides again.",
        Act::Accept => "From now on it counts as one of the department’s units.",
    }
}

/// The caution that stands where the hand is.
fn caution(act: Act, file: &UnitFile) -> Option<&'static str> {
    match act {
        Act::Release => Some(
            "Release it only when whoever inquires has said so. What cleaning or opening takes away is lost to the inquiry.",
        ),
        Act::Clean => act.grounds(file).any(|g| g.raise.kind == Kind::Contaminated).then_some(
            "Protective gloves on. Clean it by your department’s procedure for contaminated gear and the maker’s instructions.",
        ),
        Act::Accept => Some(
            "A life will hang on this unit. Have the maker’s certificate in hand, and everything set up by the maker’s instructions.",
        ),
    }
}

fn proof(file: &UnitFile, check: &CheckRow) -> Proof {
    let fleet = &file.fleet;
    let by = check.by.as_deref().map_or("nobody", |by| fleet.name(by));
    let at = when(&fleet.department.clock, check.at, fleet.now);
    Proof {
        digest: check.name.digest.to_string(),
        text: format!("It rests on the acceptance check of {at} by {by}: complete, everything good."),
        href: format!("/records/{}", check.seq),
    }
}

/// Who may sign, and whoever was chosen.
async fn signers(app: &App, act: Act, chosen: &str) -> Result<Vec<MemberOption>, WebError> {
    let signers = app.store.signers().await?;
    let may = |id: &str| {
        signers.iter().any(|s| s.id == id && act.roles().iter().any(|role| s.roles.contains(role)))
    };
    let mut people = app.store.people().await?;
    people.retain(|p| p.member == chosen || may(&p.member));
    Ok(member_options(&people, Some(chosen)))
}
