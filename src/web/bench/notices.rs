//! Notices: stop using things, or inspect them by a day.

use airmuster_domain::record::{Asset, AssetKind, Notice, NoticeDone, NoticeEnded, Reach, Slot, Spec};
use airmuster_domain::role::Role;
use airmuster_domain::upkeep::day_words;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::upkeep::Ledger;
use crate::web::auth::Visitor;
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, standing};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::telling::reach_words;
use crate::web::upkeep::asset_link;
use crate::web::view::parts::{NoticeDraft, NoticePage, NoticeRow, Notices, ReachedRow};
use crate::web::view::ticket::StageOption;
use crate::web::view::{Fact, Link, ProblemLine, Problems};

/// Who puts a notice in force.
const GIVES: &[Role] = &[Role::Technician, Role::Administrator];

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    number: String,
    title: String,
    source: String,
    what: String,
    by: String,
    /// `unit`, `cylinder`, `facepiece`, or a slot's id.
    thing: String,
    only: String,
    name: String,
    from: String,
    to: String,
    made_from: String,
    made_to: String,
}

/// `GET /notices`.
pub async fn show_notices(State(app): State<App>, visitor: Visitor) -> Result<Html<Notices>, WebError> {
    Ok(Html(view(&app, &visitor, &Input::default(), Vec::new()).await?))
}

/// `POST /notices`. The session is signature enough.
pub async fn take_notice(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let lines = match read(&input) {
        Ok(notice) => match hand_in_desk(&app, "notice", &by, &notice).await {
            Ok(_) => return Ok(Redirect::to(&format!("/notices/{}", notice.number)).into_response()),
            Err(IntakeError::Refused(r)) => vec![problem("number", format!("{}.", capital(&r.say)))],
            Err(e) => return Err(e.into()),
        },
        Err(lines) => lines,
    };
    Ok(Again(view(&app, &visitor, &input, lines).await?).into_response())
}

fn read(input: &Input) -> Result<Notice, Vec<ProblemLine>> {
    let mut lines = Vec::new();
    let trimmed = |s: &str| s.trim().to_owned();
    let by = input.by.trim().parse().ok();
    if by.is_none() && !input.by.trim().is_empty() {
        lines.push(problem("by", "Give the day as such as 2027-03-31, or leave it empty."));
    }
    let mut month = |field: &str, text: &str| {
        let read = text.trim().parse().ok();
        if read.is_none() && !text.trim().is_empty() {
            lines.push(problem(field, "Give it as year and month, such as 2024-03."));
        }
        read
    };
    let (made_from, made_to) = (month("made_from", &input.made_from), month("made_to", &input.made_to));
    let slot = Slot::ALL.into_iter().find(|s| s.id() == input.thing);
    let kind = match input.thing.as_str() {
        "cylinder" => AssetKind::Cylinder,
        "facepiece" => AssetKind::Facepiece,
        _ => AssetKind::Unit,
    };
    let notice = Notice {
        number: trimmed(&input.number),
        title: trimmed(&input.title),
        source: trimmed(&input.source),
        what: trimmed(&input.what),
        by,
        reach: Reach {
            kind,
            only: trimmed(&input.only),
            slot,
            name: trimmed(&input.name),
            from: trimmed(&input.from),
            to: trimmed(&input.to),
            made_from,
            made_to,
        },
    };
    if lines.is_empty() { Ok(notice) } else { Err(lines) }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Notices, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let mut all: Vec<(bool, NoticeRow)> = ledger
        .upkeep
        .notices
        .values()
        .map(|n| {
            let reached = ledger.upkeep.reached(&n.notice.number);
            let open = reached.iter().filter(|(.., done)| done.is_none()).count();
            let asks = match n.notice.by {
                None => "Stop using".to_owned(),
                Some(by) => format!("Inspect by {}", day_words(by)),
            };
            let how_far = match (n.ended, open) {
                (true, _) => "withdrawn".to_owned(),
                (false, 0) => format!("all {} dealt with", reached.len()),
                (false, open) => format!("{open} of {} still to be dealt with", reached.len()),
            };
            let overdue = n.notice.by.is_none_or(|by| by < ledger.today);
            let row = NoticeRow {
                link: Link {
                    text: format!("{}: {}", n.notice.number, n.notice.title),
                    href: format!("/notices/{}", n.notice.number),
                },
                say: format!("{asks}; {}; {how_far}.", reach_words(&n.notice.reach)),
                stops: overdue && open > 0 && !n.ended,
            };
            (n.ended || open == 0, row)
        })
        .collect();
    all.sort_by_key(|(over, _)| *over);
    Ok(Notices {
        page: page(app, visitor, "Notices").await?,
        rows: all.into_iter().map(|(_, row)| row).collect(),
        form: visitor.is(GIVES).then(|| draft(&ledger, input)),
        problems: Problems { lines },
    })
}

fn draft(ledger: &Ledger, input: &Input) -> NoticeDraft {
    let option = |value: &str, label: String, chosen: &str| StageOption {
        value: value.to_owned(),
        label,
        selected: value == chosen,
    };
    let parts = Slot::ALL.map(|s| option(s.id(), format!("A part of units: {}", s.words()), &input.thing));
    let whole = [("unit", "Whole units"), ("cylinder", "Cylinders"), ("facepiece", "Facepieces")];
    let whole = whole.map(|(value, label)| option(value, label.to_owned(), &input.thing));
    let table = ledger.fleet.table.iter().flat_map(|t| t.profiles.iter());
    let profiles = table.map(|(id, p)| option(id, format!("Units: {}", p.title), &input.only));
    let specs =
        Spec::ALL.into_iter().map(|s| option(s.id(), format!("Cylinders: {}", s.words()), &input.only));
    NoticeDraft {
        number: input.number.clone(),
        title: input.title.clone(),
        source: input.source.clone(),
        what: input.what.clone(),
        by: input.by.clone(),
        things: whole.into_iter().chain(parts).collect(),
        only: profiles.chain(specs).collect(),
        name: input.name.clone(),
        from: input.from.clone(),
        to: input.to.clone(),
        made_from: input.made_from.clone(),
        made_to: input.made_to.clone(),
    }
}

/// What the forms of a notice send.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct DoneInput {
    asset: String,
    what: String,
    why: String,
}

/// `GET /notices/{notice}`.
pub async fn show_notice(
    State(app): State<App>,
    visitor: Visitor,
    Path(notice): Path<String>,
) -> Result<Html<NoticePage>, WebError> {
    Ok(Html(one(&app, &visitor, &notice, DoneInput::default(), Vec::new()).await?))
}

/// `POST /notices/{notice}/done`. The session is signature enough.
pub async fn deal_with(
    State(app): State<App>,
    visitor: Visitor,
    Path(notice): Path<String>,
    Form(input): Form<DoneInput>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let Ok(asset) = input.asset.parse::<Asset>() else {
        let lines = vec![problem("what", "Choose the one that was dealt with.")];
        return Ok(Again(one(&app, &visitor, &notice, input, lines).await?).into_response());
    };
    let body = NoticeDone { notice: notice.clone(), asset, what: input.what.trim().to_owned() };
    match hand_in_desk(&app, "notice_done", &by, &body).await {
        Ok(_) => Ok(Redirect::to(&format!("/notices/{notice}")).into_response()),
        Err(IntakeError::Refused(r)) => {
            let lines = vec![problem("what", format!("{}.", capital(&r.say)))];
            Ok(Again(one(&app, &visitor, &notice, input, lines).await?).into_response())
        }
        Err(e) => Err(e.into()),
    }
}

/// `POST /notices/{notice}/end`. The session is signature enough.
pub async fn end(
    State(app): State<App>,
    visitor: Visitor,
    Path(notice): Path<String>,
    Form(input): Form<DoneInput>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let body = NoticeEnded { notice: notice.clone(), why: input.why.trim().to_owned() };
    match hand_in_desk(&app, "notice_ended", &by, &body).await {
        Ok(_) => Ok(Redirect::to("/notices").into_response()),
        Err(IntakeError::Refused(r)) => {
            let lines = vec![problem("why", format!("{}.", capital(&r.say)))];
            Ok(Again(one(&app, &visitor, &notice, input, lines).await?).into_response())
        }
        Err(e) => Err(e.into()),
    }
}

async fn one(
    app: &App,
    visitor: &Visitor,
    number: &str,
    input: DoneInput,
    lines: Vec<ProblemLine>,
) -> Result<NoticePage, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let fleet = &ledger.fleet;
    let noticed = ledger.upkeep.notices.get(number).ok_or(WebError::NotFound)?;
    let n = &noticed.notice;
    let (mut open, mut done) = (Vec::new(), Vec::new());
    for (asset, what, dealt) in ledger.upkeep.reached(number) {
        let state = app.store.standing(&asset, &fleet.department.clock, fleet.now).await?;
        let place = app.store.place(&asset).await?.map_or("not placed".to_owned(), |p| fleet.words_of(&p));
        let words = if what.is_empty() { place } else { format!("{place}; {what}") };
        let is_open = dealt.is_none();
        let row = ReachedRow {
            thing: asset_link(&asset),
            value: asset.to_string(),
            standing: standing(&state),
            say: dealt.map_or(words, |d| sentence(&d)),
            selected: input.asset == asset.to_string(),
        };
        if is_open { open.push(row) } else { done.push(row) }
    }
    let fact = |label: &str, value: String| Fact { label: label.to_owned(), value };
    let mut facts = vec![
        fact("From", n.source.clone()),
        fact("Which", capital(&reach_words(&n.reach))),
        fact("What is to be done", n.what.clone()),
        fact("By", n.by.map_or("not used until dealt with".to_owned(), day_words)),
    ];
    if noticed.ended {
        facts.push(fact("Now", "withdrawn".to_owned()));
    }
    Ok(NoticePage {
        page: page(app, visitor, &format!("Notice {number}")).await?,
        title: format!("Notice {number}"),
        href: format!("/notices/{number}"),
        about: n.title.clone(),
        facts,
        open,
        done,
        may: visitor.is(&[Role::Technician]) && !noticed.ended,
        may_end: visitor.is(&[Role::Administrator]) && !noticed.ended,
        what: input.what,
        why: input.why,
        problems: Problems { lines },
    })
}
