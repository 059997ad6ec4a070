//! What is lent out and borrowed: one unit at a time, and whole rigs.

use airmuster_domain::record::{Asset, Duty, Loan, LoanEnded, Place};
use airmuster_domain::standing::State as Holds;
use airmuster_domain::upkeep::day_words;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use chrono::NaiveDate;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::ticket::thing_words;
use crate::service::upkeep::Ledger;
use crate::web::auth::Visitor;
use crate::web::crew::unit::file;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::upkeep::asset_link;
use crate::web::view::loans::{Lend, LoanDraft, LoanEnd, LoanRow, Loans};
use crate::web::view::{Link, MemberOption, ProblemLine, Problems};

/// What the forms send.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    unit: String,
    profile: String,
    theirs: String,
    other: String,
    reference: String,
    due_back: String,
    station: String,
    note: String,
}

impl Input {
    fn draft(&self) -> LoanDraft {
        LoanDraft {
            unit: self.unit.clone(),
            theirs: self.theirs.clone(),
            other: self.other.clone(),
            reference: self.reference.clone(),
            due_back: self.due_back.clone(),
        }
    }

    /// The day, and what is missing in what both ways of a loan ask for.
    fn read(&self, whom: &str, paper: &str) -> Result<NaiveDate, Vec<ProblemLine>> {
        let mut lines = Vec::new();
        if self.other.trim().is_empty() {
            lines.push(problem("other", whom));
        }
        if self.reference.trim().is_empty() {
            lines.push(problem("reference", paper));
        }
        match self.due_back.trim().parse() {
            Ok(day) if lines.is_empty() => Ok(day),
            Ok(_) => Err(lines),
            Err(_) => {
                lines.push(problem("due_back", "Give the day, such as 2027-03-31."));
                Err(lines)
            }
        }
    }
}

/// `GET /loans`.
pub async fn show_loans(State(app): State<App>, visitor: Visitor) -> Result<Html<Loans>, WebError> {
    Ok(Html(view(&app, &visitor, &Input::default(), Vec::new()).await?))
}

/// `POST /loans`: a unit of another department is here.
pub async fn borrow(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let mut lines = Vec::new();
    if input.unit.trim().is_empty() {
        lines.push(problem("unit", "Give it a number here, one that no other unit has."));
    }
    if input.profile.is_empty() {
        lines.push(problem("profile", "Choose its kind."));
    }
    if input.theirs.trim().is_empty() {
        lines.push(problem("theirs", "Give the number that its owner has on it."));
    }
    let due_back = input.read("Name the department.", "Give their paper, or who handed it over.");
    let due_back = due_back.map_err(|more| lines.extend(more)).ok().filter(|_| lines.is_empty());
    if let Some(due_back) = due_back {
        let trimmed = |s: &str| s.trim().to_owned();
        let loan = Loan::Borrowed {
            unit: trimmed(&input.unit),
            profile: input.profile.clone(),
            from: trimmed(&input.other),
            theirs: trimmed(&input.theirs),
            reference: trimmed(&input.reference),
            due_back,
            station: input.station.clone(),
        };
        match hand_in_desk(&app, "loan", &by.id, &loan).await {
            Ok(_) => return Ok(Redirect::to(&format!("/units/{}", input.unit.trim())).into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem("unit", format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(view(&app, &visitor, &input, lines).await?).into_response())
}

/// `GET /units/{unit}/lend`.
pub async fn show_lend(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
) -> Result<Html<Lend>, WebError> {
    Ok(Html(lend_view(&app, &visitor, &unit, &Input::default(), Vec::new()).await?))
}

/// `POST /units/{unit}/lend`.
pub async fn lend(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let lines = match input.read("Name the department.", "Give the paper, or who took it.") {
        Err(lines) => lines,
        Ok(due_back) => {
            let loan = Loan::Lent {
                unit: unit.clone(),
                to: input.other.trim().to_owned(),
                reference: input.reference.trim().to_owned(),
                due_back,
            };
            match hand_in_desk(&app, "loan", &by.id, &loan).await {
                Ok(_) => return Ok(Redirect::to("/loans").into_response()),
                Err(IntakeError::Refused(r)) => vec![problem("other", format!("{}.", capital(&r.say)))],
                Err(e) => return Err(e.into()),
            }
        }
    };
    Ok(Again(lend_view(&app, &visitor, &unit, &input, lines).await?).into_response())
}

/// `POST /units/{unit}/back`: a lent one is a spare here, a borrowed one is with its owner.
pub async fn give_back(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let station = Some(input.station).filter(|s| !s.is_empty());
    let back = station.is_some();
    let body = LoanEnded { unit: unit.clone(), station, note: input.note.trim().to_owned() };
    match hand_in_desk(&app, "loan_ended", &by.id, &body).await {
        // What comes back is checked next.
        Ok(_) if back => Ok(Redirect::to(&format!("/units/{unit}")).into_response()),
        Ok(_) => Ok(Redirect::to("/loans").into_response()),
        Err(IntakeError::Refused(r)) => Err(WebError::Conflict(format!("{}.", capital(&r.say)))),
        Err(e) => Err(e.into()),
    }
}

async fn lend_view(
    app: &App,
    visitor: &Visitor,
    unit: &str,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Lend, WebError> {
    let file = file(app, unit).await?;
    if file.row.is_none() {
        return Err(WebError::NotFound);
    }
    if file.standing.state == Holds::Retired {
        return Err(WebError::Conflict(format!(
            "Unit {unit} is retired: it never comes back, and is not lent."
        )));
    }
    Ok(Lend {
        page: page(app, visitor, &format!("Lend unit {unit}")).await?,
        unit: Link { text: format!("unit {unit}"), href: format!("/units/{unit}") },
        place: capital(&file.place_words()),
        draft: input.draft(),
        problems: Problems { lines },
    })
}

async fn view(
    app: &App,
    visitor: &Visitor,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Loans, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let fleet = &ledger.fleet;
    let homes = app.store.homes().await?;
    let option = |id: &str, name: &str, chosen: bool| MemberOption {
        id: id.to_owned(),
        name: name.to_owned(),
        selected: chosen,
    };
    let stations = |chosen: Option<&str>| -> Vec<MemberOption> {
        fleet.stations.iter().map(|s| option(&s.id, &s.name, Some(s.id.as_str()) == chosen)).collect()
    };
    let mut out: Vec<(Option<NaiveDate>, LoanRow)> = Vec::new();
    let mut here: Vec<(Option<NaiveDate>, LoanRow)> = Vec::new();
    for (asset, loan) in ledger.upkeep.things.iter().filter_map(|(a, t)| Some((a, t.loan.as_ref()?))) {
        let number = asset.number.clone();
        let mut row = LoanRow { thing: asset_link(asset), ..due(loan.due_back(), ledger.today) };
        match loan {
            Loan::Lent { to, reference, .. } => {
                row.other = format!("Lent to {to}");
                row.detail.clone_from(reference);
                let home = homes.get(&asset.to_string()).and_then(|p: &Place| fleet.station_at(p));
                row.end = LoanEnd::Back(number, stations(home.map(|s| s.id.as_str())));
                out.push((Some(loan.due_back()), row));
            }
            Loan::Borrowed { from, theirs, reference, .. } => {
                row.other = format!("From {from}");
                row.detail = format!("Their number {theirs}, {reference}");
                row.end = LoanEnd::Given(number);
                here.push((Some(loan.due_back()), row));
            }
        }
    }
    for (asset, sent, ticket) in at_repairers(app).await? {
        let end = Link { text: "See the ticket".to_owned(), href: format!("/tickets/{ticket}") };
        let row = LoanRow {
            thing: Link { text: capital(&thing_words(&asset)), ..asset_link(&asset) },
            other: format!("With {}", sent.repairer),
            detail: match sent.loaner.as_str() {
                "" => sent.reference.clone(),
                loaner => format!("{}; lent to us meanwhile: {loaner}", sent.reference),
            },
            end: LoanEnd::There(end),
            ..due(sent.due_back, ledger.today)
        };
        out.push((Some(sent.due_back), row));
    }
    for rig in app.store.rigs().await?.into_iter().filter(|r| matches!(r.duty, Duty::LentOut | Duty::OnLoan))
    {
        let row = LoanRow {
            thing: Link { text: rig.name, href: format!("/rigs/{}", rig.id) },
            other: capital(rig.duty.words()),
            detail: rig.why,
            end: LoanEnd::There(Link {
                text: "Change it".to_owned(),
                href: format!("/rigs/{}/status", rig.id),
            }),
            ..LoanRow::default()
        };
        if rig.duty == Duty::LentOut { &mut out } else { &mut here }.push((None, row));
    }
    let in_order = |mut rows: Vec<(Option<NaiveDate>, LoanRow)>| -> Vec<LoanRow> {
        rows.sort_by_key(|(day, _)| (day.is_none(), *day));
        rows.into_iter().map(|(_, row)| row).collect()
    };
    let profiles = fleet.table.iter().flat_map(|t| &t.profiles);
    Ok(Loans {
        page: page(app, visitor, "Lent and borrowed").await?,
        profiles: profiles.map(|(id, p)| option(id, &p.title, *id == input.profile)).collect(),
        stations: stations(Some(&input.station)),
        out: in_order(out),
        here: in_order(here),
        open: !lines.is_empty(),
        draft: input.draft(),
        problems: Problems { lines },
    })
}

/// What is with outside repairers, under which ticket.
async fn at_repairers(app: &App) -> Result<Vec<(Asset, airmuster_domain::record::Sent, u64)>, WebError> {
    let tickets = app.store.open_tickets().await?;
    Ok(tickets.into_iter().filter_map(|t| Some((t.asset, t.sent?, t.ticket))).collect())
}

fn due(day: NaiveDate, today: NaiveDate) -> LoanRow {
    let late = day < today;
    let word = if late { "Was due back" } else { "Due back" };
    LoanRow { back: format!("{word} {}", day_words(day)), late, ..LoanRow::default() }
}
