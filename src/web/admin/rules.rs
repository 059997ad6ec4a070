//! Rule tables: uploading a draft, seeing it as a form, what differs, what it would have done, and
//! putting it in force.

use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::judge::ask_words;
use airmuster_domain::record::Digest;
use airmuster_domain::rules::{self, Purpose, Table, differences, parse, resolve};
use airmuster_domain::shift::ShiftClock;
use axum::extract::{Multipart, Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use chrono::{NaiveDate, NaiveTime, TimeZone as _};
use serde::Deserialize;

use crate::service::fleet::table_in_force;
use crate::service::ruling::{self, Tried};
use crate::store::RuleDraft;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, when};
use crate::web::serving::App;
use crate::web::signing::problem;
use crate::web::view::register::Choice;
use crate::web::view::rules::{DifferenceRow, OneTable, RuleGroup, RuleStep, Rules, TableRow, TriedRow};
use crate::web::view::{Link, ProblemLine, Problems};

/// `GET /rules`.
pub async fn show_list(State(app): State<App>, visitor: Visitor) -> Result<Html<Rules>, WebError> {
    Ok(Html(list(&app, &visitor).await?))
}

fn title(name: &str, edition: &str) -> String {
    if edition.is_empty() { name.to_owned() } else { format!("{name}, {edition}") }
}

fn link(digest: &str, text: String) -> Link {
    Link { text, href: format!("/rules/{digest}") }
}

async fn list(app: &App, visitor: &Visitor) -> Result<Rules, WebError> {
    let clock = app.store.department().await?.clock;
    let (now, names) = (app.clock.now(), app.store.names().await?);
    let name = |by: &Option<String>| match by {
        Some(by) => names.get(by).unwrap_or(by).clone(),
        None => "the console".to_owned(),
    };
    let row = |t: &crate::store::RuleRow| TableRow {
        link: link(&t.digest, title(&t.name, &t.edition)),
        say: format!("In force since {}, by {}.", when(&clock, t.at, now), name(&t.by)),
        refused: String::new(),
    };
    let mut tables: Vec<TableRow> = app.store.rule_tables().await?.iter().map(row).collect();
    for t in tables.iter_mut().skip(1) {
        t.say = t.say.replace("In force since", "Put in force");
    }
    let current = if tables.is_empty() {
        let shipped = table_in_force(&app.store).await?.ok_or(WebError::Internal)?;
        TableRow {
            link: link(&shipped.digest, title(&shipped.name, &shipped.edition)),
            say: "It came with the program; the department has put none of its own in force.".to_owned(),
            refused: String::new(),
        }
    } else {
        tables.remove(0)
    };
    let mut drafts = Vec::new();
    for d in app.store.rule_drafts().await? {
        let text = parse(&d.text).map_or(d.digest.clone(), |t| title(&t.name, &t.edition));
        let say = draft_words(&clock, now, &d, &name(&Some(d.by.clone())));
        let refused = d.refused.clone().unwrap_or_default();
        drafts.push(TableRow { link: link(&d.digest, text), say, refused });
    }
    Ok(Rules {
        page: page(app, visitor, "Rule tables").await?,
        now: current,
        drafts,
        before: tables,
        ..Rules::default()
    })
}

fn draft_words(clock: &ShiftClock, now: Millis, d: &RuleDraft, by: &str) -> String {
    let uploaded = format!("A draft, uploaded {} by {by}.", when(clock, d.at, now));
    match (d.starts_at, d.again) {
        (None, _) => uploaded,
        (Some(at), again) => {
            let again = if again { " Last checks are looked at again then." } else { "" };
            format!("{uploaded} It comes into force {}.{again}", when(clock, at, now))
        }
    }
}

/// `POST /rules`: looks through a table and keeps it as a draft.
pub async fn take_draft(
    State(app): State<App>,
    visitor: Visitor,
    mut parts: Multipart,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let mut text = None;
    while let Some(part) = parts.next_field().await.map_err(|_| WebError::Unreadable)? {
        if part.name() == Some("file") {
            let bytes = part.bytes().await.map_err(|_| WebError::Unreadable)?;
            text = String::from_utf8(bytes.to_vec()).ok();
        }
    }
    let mut view = list(&app, &visitor).await?;
    let text = text.unwrap_or_default();
    if text.trim().is_empty() {
        "Choose the table’s file first.".clone_into(&mut view.say);
        view.problems = vec!["It is a text file in UTF-8, as “airmuster rules check” reads it.".to_owned()];
        return Ok(Again(view).into_response());
    }
    match parse(&text) {
        Ok(table) => {
            let draft =
                RuleDraft { digest: table.digest, text, by, at: app.clock.now(), ..RuleDraft::default() };
            let to = format!("/rules/{}", draft.digest);
            let mut write = app.store.begin().await?;
            write.keep_draft(&draft).await?;
            write.commit().await?;
            Ok(Redirect::to(&to).into_response())
        }
        Err(e) => {
            "Nothing was kept. Put this right in the file, then choose it again.".clone_into(&mut view.say);
            view.problems = e.to_string().lines().map(str::to_owned).collect();
            Ok(Again(view).into_response())
        }
    }
}

/// What is to be seen of a table as a form.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    profile: Option<String>,
    purpose: Option<String>,
}

/// A table by the hash of its text, wherever it is.
struct Found {
    text: String,
    table: Arc<Table>,
    draft: Option<RuleDraft>,
    say: String,
}

async fn find(app: &App, digest: &str) -> Result<Found, WebError> {
    let listed: Digest = digest.parse().map_err(|_| WebError::NotFound)?;
    let clock = app.store.department().await?.clock;
    let (now, names) = (app.clock.now(), app.store.names().await?);
    if let Some(d) = app.store.rule_drafts().await?.into_iter().find(|d| d.digest == digest) {
        let table = parse(&d.text).map_err(|_| WebError::Internal)?;
        let say = draft_words(&clock, now, &d, names.get(&d.by).unwrap_or(&d.by));
        return Ok(Found { text: d.text.clone(), table: Arc::new(table), draft: Some(d), say });
    }
    let all = app.store.rule_tables().await?;
    let table = app.store.tables().get(&listed).cloned().ok_or(WebError::NotFound)?;
    let (text, say) = match all.iter().position(|t| t.digest == digest) {
        Some(0) => (all[0].text.clone(), format!("In force since {}.", when(&clock, all[0].at, now))),
        Some(nth) => (
            all[nth].text.clone(),
            format!("Put in force {}; another one is now.", when(&clock, all[nth].at, now)),
        ),
        None => (rules::DEFAULT.to_owned(), "It came with the program.".to_owned()),
    };
    Ok(Found { text, table, draft: None, say })
}

/// `GET /rules/{digest}`.
pub async fn show_table(
    State(app): State<App>,
    visitor: Visitor,
    Path(digest): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Html<OneTable>, WebError> {
    Ok(Html(view(&app, &visitor, &digest, &asked, ("", ""), Vec::new()).await?))
}

/// `GET /rules/{digest}/text`.
pub async fn show_text(State(app): State<App>, Path(digest): Path<String>) -> Result<Response, WebError> {
    let found = find(&app, &digest).await?;
    let headers = [
        (header::CONTENT_TYPE, "application/toml; charset=utf-8"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"rules.toml\""),
    ];
    Ok((headers, found.text).into_response())
}

async fn view(
    app: &App,
    visitor: &Visitor,
    digest: &str,
    asked: &Asked,
    (day, time): (&str, &str),
    lines: Vec<ProblemLine>,
) -> Result<OneTable, WebError> {
    let Found { table, draft, say, .. } = find(app, digest).await?;
    let clock = app.store.department().await?.clock;
    let now = app.clock.now();
    let title = title(&table.name, &table.edition);
    let mut out = OneTable {
        page: page(app, visitor, &title).await?,
        href: format!("/rules/{digest}"),
        draft: draft.is_some(),
        planned: draft.as_ref().is_some_and(|d| d.starts_at.is_some()),
        row: TableRow {
            say,
            refused: draft.as_ref().and_then(|d| d.refused.clone()).unwrap_or_default(),
            ..TableRow::default()
        },
        problems: Problems { lines },
        hours: DEFAULT_GRACE.to_string(),
        day: day.to_owned(),
        time: time.to_owned(),
        title,
        ..OneTable::default()
    };
    if draft.is_some() {
        let in_force = table_in_force(&app.store).await?.ok_or(WebError::Internal)?;
        let row = |d: rules::Difference| DifferenceRow {
            place: d.place,
            before: d.before.unwrap_or_default(),
            after: d.after.unwrap_or_default(),
        };
        out.differences = differences(&in_force, &table).into_iter().map(row).collect();
        let trial = ruling::try_on(&app.store, now, &table).await?;
        let tried = |t: &Tried| TriedRow {
            unit: Link { text: format!("Unit {}", t.unit), href: format!("/units/{}", t.unit) },
            when: Link { text: when(&clock, t.at, now), href: format!("/records/{}", t.seq) },
            why: sentence(&t.why),
        };
        out.pulled = trial.pulled.iter().map(tried).collect();
        out.spared = trial.spared.iter().map(tried).collect();
        out.tried = trial_words(&trial);
        let again = ruling::look_again(&app.store, now, &table).await?;
        out.again = again
            .iter()
            .map(|a| TriedRow {
                unit: Link { text: format!("Unit {}", a.unit), href: format!("/units/{}", a.unit) },
                why: sentence(&a.why),
                ..TriedRow::default()
            })
            .collect();
        for profile in ruling::lacking_profiles(&app.store, &table).await? {
            out.warnings.push(format!(
                "The register has units of profile “{profile}”, which this table does not have: they could not be checked with it."
            ));
        }
    }
    form(&table, asked, &mut out);
    Ok(out)
}

fn sentence(words: &str) -> String {
    format!("{}.", capital(words.trim_end_matches('.')))
}

fn trial_words(t: &ruling::Trial) -> String {
    let units = |n: usize| if n == 1 { "1 unit".to_owned() } else { format!("{n} units") };
    let mut out = match t.checks {
        0 => "No check was made in the last 31 days, so it could not be tried.".to_owned(),
        n => format!("{n} checks of the last 31 days were judged by it."),
    };
    if t.checks > 0 {
        let pulled = match t.pulled.len() {
            0 => " No more units would have been out of service.".to_owned(),
            n => format!(" {} would have been out of service:", units(n)),
        };
        if t.unanswered > 0 {
            out = format!("{out} {} of them have no answer to a step that it asks.", t.unanswered);
        }
        if t.unknown > 0 {
            out = format!("{out} {} more are of profiles that it does not have.", t.unknown);
        }
        out = format!("{out}{pulled}");
    }
    out
}

fn form(table: &Table, asked: &Asked, out: &mut OneTable) {
    let profile = asked.profile.clone().filter(|p| table.profiles.contains_key(p));
    let Some(profile) = profile.or_else(|| table.profiles.keys().next().cloned()) else { return };
    let purpose = asked.purpose.as_deref().and_then(Purpose::from_id).unwrap_or(Purpose::ShiftStart);
    let choice = |value: &str, label: &str, chosen| Choice {
        value: value.to_owned(),
        label: label.to_owned(),
        chosen,
    };
    out.profiles = table.profiles.iter().map(|(id, p)| choice(id, &p.title, *id == profile)).collect();
    out.purposes = Purpose::ALL.map(|p| choice(p.id(), p.title(), p == purpose)).into();
    let Ok(form) = resolve(table, &profile, purpose) else { return };
    let step = |s: &rules::FormStep| RuleStep {
        title: s.step.title.clone(),
        instruction: s.step.instruction.clone(),
        right: capital(&ask_words(s, &form)),
        otherwise: s.step.consequence.words().to_owned(),
        caution: s.step.caution.clone().unwrap_or_default(),
        basis: s.step.basis.clone(),
    };
    out.groups = form
        .groups
        .iter()
        .map(|g| RuleGroup {
            title: g.title.clone(),
            caution: g.caution.clone().unwrap_or_default(),
            steps: form.steps.iter().filter(|s| s.step.group == g.id).map(step).collect(),
        })
        .collect();
}

/// For how many hours checks made with the table before still count, where nobody says otherwise: a shift,
/// so that a tablet without a network can hand in what it made. A choice of ours, no published source.
const DEFAULT_GRACE: i64 = 24;
/// A year.
const MOST_GRACE: i64 = 8760;

/// When it is to come into force.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Start {
    day: String,
    time: String,
    again: String,
    hours: String,
}

/// `POST /rules/{digest}/start`.
pub async fn start(
    State(app): State<App>,
    visitor: Visitor,
    Path(digest): Path<String>,
    Form(input): Form<Start>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let mut draft = find(&app, &digest).await?.draft.ok_or(WebError::NotFound)?;
    let clock = app.store.department().await?.clock;
    let now = app.clock.now();
    let hours = match input.hours.trim() {
        "" => Ok(DEFAULT_GRACE),
        text => text.parse().ok().filter(|h| (0..=MOST_GRACE).contains(h)).ok_or("hours"),
    };
    match moment(&clock, now, &input).map_err(|say| ("day", say)).and_then(|at| {
        let hours = hours.map_err(|field| (field, "Give whole hours, from 0 to 8760, such as 24."))?;
        Ok((at, hours))
    }) {
        Ok((at, hours)) => {
            draft.starts_at = Some(at);
            draft.again = input.again == "yes";
            draft.grace_hours = Some(hours);
            draft.planned_by = Some(by);
            draft.refused = None;
            let mut write = app.store.begin().await?;
            write.keep_draft(&draft).await?;
            write.commit().await?;
            ruling::come_into_force(&app.store, &app.intake, &app.clock).await?;
            Ok(Redirect::to(&format!("/rules/{digest}")).into_response())
        }
        Err((field, say)) => {
            let given = (input.day.as_str(), input.time.as_str());
            let lines = vec![problem(field, say)];
            let mut view = view(&app, &visitor, &digest, &Asked::default(), given, lines).await?;
            view.hours = input.hours;
            Ok(Again(view).into_response())
        }
    }
}

/// The stated moment, by the department's clock; now where none is stated.
fn moment(clock: &ShiftClock, now: Millis, input: &Start) -> Result<Millis, &'static str> {
    let (day, time) = (input.day.trim(), input.time.trim());
    if day.is_empty() && time.is_empty() {
        return Ok(now);
    }
    let how = "Give the day and the time of day, such as 2026-12-01 and 07:00, or leave both empty.";
    let day: NaiveDate = day.parse().map_err(|_| how)?;
    let time =
        ["%H:%M", "%H:%M:%S"].iter().find_map(|f| NaiveTime::parse_from_str(time, f).ok()).ok_or(how)?;
    let at = clock.zone.from_local_datetime(&day.and_time(time)).earliest();
    let at = at.ok_or("There is no such time on that day: the clocks go forward. Give another one.")?;
    let at = at.timestamp_millis();
    if at < now { Err("This is over already. Give a time to come, or leave both empty.") } else { Ok(at) }
}

/// `POST /rules/{digest}/drop`.
pub async fn drop_draft(State(app): State<App>, Path(digest): Path<String>) -> Result<Redirect, WebError> {
    find(&app, &digest).await?.draft.ok_or(WebError::NotFound)?;
    let mut write = app.store.begin().await?;
    write.drop_draft(&digest).await?;
    write.commit().await?;
    Ok(Redirect::to("/rules"))
}
