//! A ticket: on the left what happened, on the right what to do.

use airmuster_domain::record::{
    Asset, AssetKind, Body, Desk, Place, Register, Sent, Slot, Stage, TicketStage, Worked,
};
use airmuster_domain::role::Role;
use airmuster_domain::standing::{Ground, State as Holds};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::{Form, Query};
use serde::Deserialize;
use serde_json::json;

use super::returning::{Input as Returning, not_yet, return_form};
use super::{kind_words, thing};
use crate::service::IntakeError;
use crate::service::history::Event;
use crate::service::ticket::{JobFile, thing_words};
use crate::store::{Kept, PhotosOf};
use crate::web::auth::Visitor;
use crate::web::crew::unit::part_words;
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::photos::shots;
use crate::web::present::{Scale, capital, page, stack, standing, when};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, hand_in_together, problem};
use crate::web::telling::{happened, sent_words};
use crate::web::view::check::StepState;
use crate::web::view::review::Finding;
use crate::web::view::ticket::{Sending, StageOption, Ticket, WorkDraft, WorkEntry};
use crate::web::view::{Fact, Link, ProblemLine, Problems};

/// What was entered in the forms of the page, where one of them came back.
#[derive(Debug, Default)]
pub struct Entered {
    /// The work form.
    pub work: WorkInput,
    /// The stage form.
    pub stage: StageInput,
    /// The return form.
    pub returning: Option<Returning>,
    /// What to put right.
    pub problems: Problems,
}

/// The ticket with everything about it, or that there is none.
pub async fn file(app: &App, ticket: u64) -> Result<JobFile, WebError> {
    JobFile::load(&app.store, app.clock.now(), ticket).await?.ok_or(WebError::NotFound)
}

/// `GET /tickets/{ticket}`.
pub async fn show_ticket(
    State(app): State<App>,
    visitor: Visitor,
    Path(ticket): Path<u64>,
) -> Result<Html<Ticket>, WebError> {
    let file = file(&app, ticket).await?;
    Ok(Html(view(&app, &visitor, &file, Entered::default()).await?))
}

/// Which unit a thing is proved with.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct ProveInput {
    unit: String,
}

/// `GET /tickets/{ticket}/prove`: to the proving check of the unit that a facepiece or cylinder
/// was put on.
pub async fn start_proof(
    State(app): State<App>,
    Query(input): Query<ProveInput>,
) -> Result<Redirect, WebError> {
    let unit = app.store.unit(input.unit.trim()).await?.ok_or(WebError::NotFound)?;
    Ok(Redirect::to(&proving_href(&unit.number)))
}

fn proving_href(unit: &str) -> String {
    format!("/units/{unit}/check?purpose=proving")
}

/// The stage form.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct StageInput {
    stage: String,
    /// The stage that the page showed.
    was: String,
    note: String,
    repairer: String,
    reference: String,
    due_back: String,
    loaner: String,
}

/// `POST /tickets/{ticket}/stage`. The session is signature enough. What is sent to a repairer is there
/// from then on, and on the bench again when it is not.
pub async fn set_stage(
    State(app): State<App>,
    visitor: Visitor,
    Path(ticket): Path<u64>,
    Form(input): Form<StageInput>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let stage = Stage::ALL.into_iter().find(|s| s.id() == input.stage).ok_or(WebError::Unreadable)?;
    let file = file(&app, ticket).await?;
    let now = file.ticket.stage;
    if input.was != now.id() {
        // Tapped twice, it is where it was wanted.
        if now == stage && stage != Stage::AtRepairer && input.note.trim().is_empty() {
            return Ok(Redirect::to(&format!("/tickets/{ticket}")).into_response());
        }
        let say =
            format!("It was moved since you opened this: {} now. Look again, then choose.", now.words());
        let lines = vec![problem("stages", say)];
        let entered = Entered { stage: input, problems: Problems { lines }, ..Entered::default() };
        return Ok(Again(view(&app, &visitor, &file, entered).await?).into_response());
    }
    let lines = match sent(stage, &input) {
        Ok(sent) => {
            let body = TicketStage { ticket, stage, note: input.note.trim().to_owned(), sent };
            let mut bodies = vec![("ticket_stage", json!(body))];
            let there = app.store.place(&file.ticket.asset).await? == Some(Place::Repairer);
            if (stage == Stage::AtRepairer) != there {
                let place = if there { Place::Bench } else { Place::Repairer };
                bodies
                    .push(("register", json!(Register::Holder { asset: file.ticket.asset.clone(), place })));
            }
            match hand_in_together(&app, &by, &bodies).await {
                Ok(_) => return Ok(Redirect::to(&format!("/tickets/{ticket}")).into_response()),
                Err(IntakeError::Refused(r)) if !r.forbidden => {
                    vec![problem(where_to(stage, &r.say), format!("{}.", capital(&r.say)))]
                }
                Err(e) => return Err(e.into()),
            }
        }
        Err(lines) => lines,
    };
    let entered = Entered { stage: input, problems: Problems { lines }, ..Entered::default() };
    Ok(Again(view(&app, &visitor, &file, entered).await?).into_response())
}

/// The field at which a refusal is said: what concerns the sending, in its form.
fn where_to(stage: Stage, say: &str) -> &'static str {
    match stage {
        Stage::AtRepairer if say.contains("due back") => "due_back",
        Stage::AtRepairer if say.contains("loaner") => "loaner",
        _ => "stages",
    }
}

/// To whom it is sent, where it is sent away.
fn sent(stage: Stage, input: &StageInput) -> Result<Option<Sent>, Vec<ProblemLine>> {
    if stage != Stage::AtRepairer {
        return Ok(None);
    }
    let trimmed = |s: &str| s.trim().to_owned();
    let mut lines = Vec::new();
    if input.repairer.trim().is_empty() {
        lines.push(problem("repairer", "Name the repairer."));
    }
    if input.reference.trim().is_empty() {
        lines.push(problem("reference", "Give the reference under which they have it."));
    }
    match input.due_back.trim().parse() {
        Ok(due_back) if lines.is_empty() => Ok(Some(Sent {
            repairer: trimmed(&input.repairer),
            reference: trimmed(&input.reference),
            due_back,
            loaner: trimmed(&input.loaner),
        })),
        Ok(_) => Err(lines),
        Err(_) => {
            lines.push(problem("due_back", "Give the day on which it is due back, such as 2027-03-31."));
            Err(lines)
        }
    }
}

/// The work form.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct WorkInput {
    text: String,
    parts: String,
    readings: String,
}

/// `POST /tickets/{ticket}/work`. The session is signature enough.
pub async fn take_work(
    State(app): State<App>,
    visitor: Visitor,
    Path(ticket): Path<u64>,
    Form(work): Form<WorkInput>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    if work.text.trim().is_empty() {
        let lines = vec![problem("text", "Write down what was done.")];
        let entered = Entered { work, problems: Problems { lines }, ..Entered::default() };
        let file = file(&app, ticket).await?;
        return Ok(Again(view(&app, &visitor, &file, entered).await?).into_response());
    }
    let trimmed = |s: &str| s.trim().to_owned();
    let body = Worked {
        ticket,
        text: trimmed(&work.text),
        parts: trimmed(&work.parts),
        readings: trimmed(&work.readings),
    };
    hand_in_desk(&app, "worked", &by, &body).await?;
    Ok(Redirect::to(&format!("/tickets/{ticket}")).into_response())
}

/// The page.
pub async fn view(
    app: &App,
    visitor: &Visitor,
    file: &JobFile,
    entered: Entered,
) -> Result<Ticket, WebError> {
    let fleet = &file.bench.fleet;
    let clock = &fleet.department.clock;
    let ticket = &file.ticket;
    let number = ticket.ticket;
    let closed = ticket.stage.is_closed();
    let held = file.standing.state >= Holds::Held;
    let place = app.store.place(&ticket.asset).await?;
    let scale =
        file.unit.as_ref().zip(fleet.table.as_ref()).and_then(|(unit, table)| {
            table.profiles.get(&unit.profile).map(|profile| Scale::of(table, profile))
        });
    let technician = visitor.is(&[Role::Technician]);
    let provable = technician && !closed && !held && !ticket.stage.stands_aside();
    let not_yet = not_yet(file, visitor.member.as_ref());
    let people = app.store.people().await?;
    let returned = entered.returning.is_some();
    let returning = not_yet.is_none().then(|| {
        return_form(file, entered.returning.unwrap_or_default(), visitor, |id| {
            people.iter().find(|p| p.member == id).map(|p| p.name.clone())
        })
    });
    Ok(Ticket {
        page: page(app, visitor, &format!("Ticket {number}")).await?,
        number: number.to_string(),
        href: format!("/tickets/{number}"),
        thing: thing(&ticket.asset, place.as_ref(), number),
        profile: kind_words(fleet, &ticket.asset, place.as_ref()),
        standing: standing(&file.standing),
        opened: opened(file),
        stage: ticket.stage.words().to_owned(),
        was: ticket.stage.id(),
        because: match file.bench.find(number) {
            Some((1, p)) => format!("first on the bench, because {}", p.because),
            Some((n, p)) => format!("number {n} on the bench, because {}", p.because),
            None if closed => "closed".to_owned(),
            None => "worked on under another ticket".to_owned(),
        },
        findings: findings(file),
        stack: scale.map(|s| stack(&s, clock, &file.checks)).unwrap_or_default(),
        events: happened(fleet, &file.events),
        components: components(file),
        shots: shots(app, fleet, PhotosOf::Asset(&ticket.asset)).await?,
        work: file.entries.iter().rev().filter_map(|k| work_entry(file, k)).collect(),
        works: technician && !held,
        stages: if closed || ticket.under.is_some() { Vec::new() } else { stages(ticket.stage) },
        sent: ticket.sent.as_ref().map(sent_words).unwrap_or_default(),
        sending: Sending {
            open: entered
                .problems
                .lines
                .iter()
                .any(|l| matches!(l.field.as_str(), "repairer" | "reference" | "due_back" | "loaner")),
            repairer: entered.stage.repairer,
            reference: entered.stage.reference,
            due_back: entered.stage.due_back,
            loaner: entered.stage.loaner,
        },
        note: entered.stage.note,
        under: ticket.under.map(|n| Link { text: format!("ticket {n}"), href: format!("/tickets/{n}") }),
        joined: file.joined.iter().map(ticket_link).collect(),
        joins: if closed || !file.joined.is_empty() || ticket.under.is_some() {
            Vec::new()
        } else {
            joins(file)
        },
        siblings: siblings(file).collect(),
        splits: if closed { Vec::new() } else { super::returning::splits(file) },
        work_draft: WorkDraft {
            text: entered.work.text,
            parts: entered.work.parts,
            readings: entered.work.readings,
        },
        prove: file.unit.as_ref().filter(|_| provable).map(|u| proving_href(&u.number)),
        prove_repair: file.unit.as_ref().filter(|_| provable).zip(file.narrow_proof()).map(
            |(unit, (repaired, asked))| Link {
                text: format!("Prove this repair: {asked} steps"),
                href: format!("{}&repaired={repaired}", proving_href(&unit.number)),
            },
        ),
        prove_with_any: provable && file.unit.is_none(),
        prove_with: prove_with(&ticket.asset, file),
        proved: file.proof.as_ref().map(|p| {
            let by = p.by.as_deref().map_or("nobody", |b| fleet.name(b));
            let of = if p.clean { "" } else { " of what failed" };
            format!("The proving check{of}, {} by {by}, stands.", when(clock, p.at, fleet.now))
        }),
        returning,
        returned,
        not_yet: not_yet.unwrap_or_default(),
        retire: (visitor.is(&[Role::Technician, Role::Administrator])
            && ticket.asset.kind == AssetKind::Unit
            && !closed
            && !held)
            .then(|| format!("/units/{}/retire", ticket.asset.number)),
        problems: entered.problems,
    })
}

fn ticket_link(t: &crate::store::Ticket) -> Link {
    Link {
        text: format!("Ticket {}, {}", t.ticket, thing_words(&t.asset)),
        href: format!("/tickets/{}", t.ticket),
    }
}

/// Open tickets that this one could be worked on under.
fn joins(file: &JobFile) -> Vec<StageOption> {
    let others = file.bench.tickets.values().filter(|t| t.ticket != file.ticket.ticket);
    others
        .map(|t| StageOption {
            value: t.ticket.to_string(),
            label: format!("Ticket {}, {}", t.ticket, thing_words(&t.asset)),
            selected: false,
        })
        .collect()
}

/// Other open tickets of the same thing.
fn siblings(file: &JobFile) -> impl Iterator<Item = Link> {
    let all = file.bench.tickets.values().chain(file.bench.joined.values().flatten());
    all.filter(|t| t.asset == file.ticket.asset && t.ticket != file.ticket.ticket).map(ticket_link)
}

fn opened(file: &JobFile) -> String {
    let fleet = &file.bench.fleet;
    let at = when(&fleet.department.clock, file.ticket.opened_at, fleet.now);
    let because = file.entries.iter().find_map(|k| match &k.record.body {
        Body::Desk(Desk::TicketOpened(t)) => Some(t.because),
        _ => None,
    });
    let opener = because.and_then(|b| file.events.iter().find(|e| e.kept.record.name == b));
    let by = opener.and_then(|e| e.kept.record.envelope.by.as_deref()).map(|by| fleet.name(by));
    match (opener.map(Event::check), by) {
        (Some(Some(_)), Some(by)) => format!("opened {at} by a check of {by}"),
        (Some(Some(_)), None) => format!("opened {at} by an answer in a check"),
        (Some(None), Some(by)) => format!("opened {at} on the word of {by}"),
        _ => format!("opened {at}"),
    }
}

/// What is open, each thing once.
fn findings(file: &JobFile) -> Vec<Finding> {
    let mut out: Vec<Finding> = Vec::new();
    for f in file.own().map(finding) {
        if !out.iter().any(|o| o.step == f.step && o.working == f.working && o.item == f.item) {
            out.push(f);
        }
    }
    out
}

/// An open ground as a finding, with what clears it.
fn finding(g: &Ground) -> Finding {
    let r = &g.raise;
    let (step, working) = match r.say.split_once(": ").filter(|_| r.step.is_some()) {
        Some((title, working)) => (title.to_owned(), sentence(working)),
        None => (r.kind.terms().title.to_owned(), sentence(&r.say)),
    };
    Finding {
        step,
        state: match g.state {
            Holds::InService => StepState::Good,
            Holds::CheckDue => StepState::Missing,
            Holds::PutRight => StepState::PutRight,
            Holds::OutOfService | Holds::Held | Holds::Retired => StepState::OutOfService,
        },
        working,
        basis: r.basis.trim_end_matches('.').to_owned(),
        now: if r.kind.terms().bench { String::new() } else { format!("{} clears it.", g.cleared_by) },
        item: r.item.as_ref().map(|item| format!("Number {item}")),
        note: String::new(),
    }
}

fn components(file: &JobFile) -> Vec<Fact> {
    let mut out = Vec::new();
    if let Some(unit) = &file.unit {
        if file.ticket.asset.kind != AssetKind::Unit {
            out.push(Fact { label: "With".to_owned(), value: format!("Unit {}", unit.number) });
            return out;
        }
        let thing = file.upkeep.things.get(&file.ticket.asset);
        for (slot, fitted) in thing.into_iter().flat_map(|t| &t.parts) {
            out.push(Fact { label: capital(slot.words()), value: part_words(&fitted.part) });
        }
        let others = unit.serials.iter().filter(|(part, _)| Slot::named(part).is_none());
        out.extend(others.map(|(part, serial)| Fact { label: capital(part), value: serial.clone() }));
    }
    let with = [("Cylinder", &file.with.cylinder), ("Facepiece", &file.with.facepiece)];
    for (label, number) in with {
        out.extend(number.iter().map(|n| Fact { label: label.to_owned(), value: n.clone() }));
    }
    out
}

fn work_entry(file: &JobFile, kept: &Kept) -> Option<WorkEntry> {
    let Body::Desk(Desk::Worked(w)) = &kept.record.body else { return None };
    let fleet = &file.bench.fleet;
    let e = &kept.record.envelope;
    Some(WorkEntry {
        when: when(&fleet.department.clock, e.time(), fleet.now),
        who: e.by.as_deref().map_or("nobody", |by| fleet.name(by)).to_owned(),
        text: w.text.clone(),
        parts: w.parts.clone(),
        readings: w.readings.clone(),
    })
}

/// What moving it there is called.
fn stage_verb(stage: Stage) -> &'static str {
    match stage {
        Stage::Reported => "Put it back in the queue",
        Stage::OnTheBench => "Take it on the bench",
        Stage::WaitingForParts => "Wait for parts",
        Stage::ReadyToProve => "Ready to prove",
        other => other.words(),
    }
}

/// The stages it may go to; the one it is in is chosen.
fn stages(now: Stage) -> Vec<StageOption> {
    let open = Stage::ALL.into_iter().filter(|s| !s.is_closed() && *s != Stage::AtRepairer);
    open.map(|s| StageOption {
        value: s.id().to_owned(),
        label: stage_verb(s).to_owned(),
        selected: s == now,
    })
    .collect()
}

fn prove_with(asset: &Asset, file: &JobFile) -> String {
    let thing = match asset.kind {
        AssetKind::Unit => return String::new(),
        AssetKind::Facepiece => "facepiece",
        AssetKind::Cylinder => "cylinder",
    };
    match &file.unit {
        Some(unit) => format!(
            "A {thing} is proved with its unit: make the proving check of unit {} with {thing} {} on it, and no other.",
            unit.number, asset.number
        ),
        None => format!(
            "A {thing} is proved with a unit: put {} on one, and in its proving check give that number as the {thing} that is here.",
            asset.number
        ),
    }
}
