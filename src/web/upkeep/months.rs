//! What falls due, month by month, as a page and as a calendar feed.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::desk::Signer;
use airmuster_domain::readiness::{FacepieceKind, fit_until};
use airmuster_domain::record::{AssetKind, Digest, Month, Work};
use airmuster_domain::role::Role;
use airmuster_domain::upkeep::{Due, Of, day_words};
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum_extra::extract::Query;
use chrono::{Months as Span, NaiveDate};
use serde::Deserialize;

use super::{family_words, of_link};
use crate::report::calendar::{Entry, calendar};
use crate::service::upkeep::Ledger;
use crate::web::auth::Visitor;
use crate::web::bench::BENCH;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{capital, page};
use crate::web::serving::App;
use crate::web::view::Link;
use crate::web::view::upkeep::{DueRow, MonthBlock, Months, UnknownRow};

/// How far ahead it is told, in months.
const AHEAD: u32 = 36;
/// The longest bar.
const BAR: usize = 600;
/// A month with so many times the work of the usual one is pointed out.
const PEAK: usize = 3;

/// Everything that falls due in the next three years.
fn ahead(ledger: &Ledger) -> Vec<Due> {
    let until = ledger.today.checked_add_months(Span::new(AHEAD)).unwrap_or(NaiveDate::MAX);
    ledger.upkeep.forecast(ledger.today, until)
}

/// `GET /upkeep`.
pub async fn show_months(State(app): State<App>, visitor: Visitor) -> Result<Html<Months>, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let (late, coming): (Vec<_>, Vec<_>) = ahead(&ledger).into_iter().partition(|d| d.by < ledger.today);
    let mut by_month: BTreeMap<Month, Vec<Due>> = BTreeMap::new();
    for n in 0..AHEAD {
        by_month.insert(Month::of(ledger.today).plus(n), Vec::new());
    }
    for due in coming {
        by_month.entry(Month::of(due.by)).or_default().push(due);
    }
    let (late_fits, fits): (Vec<_>, Vec<_>) =
        fits(&app, &visitor, &ledger).await?.into_iter().partition(|(by, _)| *by < ledger.today);
    let of = |month: &Month| -> Vec<DueRow> {
        fits.iter().filter(|(by, _)| Month::of(*by) == *month).map(|(_, row)| row.clone()).collect()
    };
    let count = |month: &Month, dues: &[Due]| dues.len() + of(month).len();
    let most = by_month.iter().map(|(m, dues)| count(m, dues)).max().unwrap_or(0).max(1);
    let peak = peak(&by_month, &|month| fits.iter().filter(|(by, _)| Month::of(*by) == *month).count());
    let months = by_month.iter().enumerate().map(|(i, (month, dues))| MonthBlock {
        title: month.first_day().format("%B %Y").to_string(),
        count: count(month, dues),
        bar: count(month, dues) * BAR / most,
        words: with_fits(counted(dues), of(month).len()),
        open: i == 0,
        rows: dues.iter().map(|d| row(&ledger, d)).chain(of(month)).collect(),
    });
    let months = months.collect();
    let late =
        late.iter().map(|d| row(&ledger, d)).chain(late_fits.into_iter().map(|(_, row)| row)).collect();
    Ok(Html(Months {
        page: page(&app, &visitor, "Upkeep").await?,
        today: day_words(ledger.today),
        feed: format!("/upkeep.ics?key={}", app.feed),
        late,
        unknown: unknown(&ledger).into_iter().chain(untested(&app, &visitor, &ledger).await?).collect(),
        months,
        peak,
    }))
}

/// The last day on which each member's last fit test with each kind of facepiece counts. They are
/// personal, and told to those alone who see them elsewhere.
async fn fits(app: &App, visitor: &Visitor, ledger: &Ledger) -> Result<Vec<(NaiveDate, DueRow)>, WebError> {
    if !visitor.is(&[Role::Officer, Role::Administrator]) {
        return Ok(Vec::new());
    }
    let last = last_fits(app, ledger).await?;
    let row = |((member, place), by): ((String, String), NaiveDate)| {
        let thing = Link { text: ledger.fleet.name(&member).to_owned(), href: format!("/fitness/{member}") };
        (by, DueRow { thing, work: "Fit test".to_owned(), by: format!("by {}", day_words(by)), place })
    };
    Ok(last.into_iter().map(row).collect())
}

/// Until when the last fit test of each member who rides counts, by member and kind of facepiece. Nothing falls
/// due with a kind that is in the register no more.
async fn last_fits(app: &App, ledger: &Ledger) -> Result<BTreeMap<(String, String), NaiveDate>, WebError> {
    let riders: BTreeSet<String> =
        app.store.signers().await?.into_iter().filter(rides).map(|s| s.id).collect();
    let here = ledger.upkeep.things.iter().filter(|(a, t)| a.kind == AssetKind::Facepiece && !t.gone);
    let kinds: Vec<FacepieceKind> = here
        .map(|(_, t)| FacepieceKind {
            make: t.make.clone(),
            model: t.model.clone(),
            style: t.style.clone(),
            size: t.size.clone(),
        })
        .collect();
    // What the register does not know may be of any kind.
    let worn = |kind: &FacepieceKind| kinds.iter().any(|k| !k.known() || kind.covers(k));
    let mut last: BTreeMap<(String, String), NaiveDate> = BTreeMap::new();
    // The newest comes first.
    for fit in
        app.store.fit_tests().await?.into_iter().filter(|f| riders.contains(&f.member) && worn(&f.kind))
    {
        let k = &fit.kind;
        let kind = [&k.make, &k.model, &k.style, &k.size].map(String::as_str).join(" ");
        last.entry((fit.member, kind)).or_insert_with(|| fit_until(fit.tested));
    }
    Ok(last)
}

/// Members who may ride and of whom no fit test was entered.
async fn untested(app: &App, visitor: &Visitor, ledger: &Ledger) -> Result<Option<UnknownRow>, WebError> {
    if !visitor.is(&[Role::Officer, Role::Administrator]) {
        return Ok(None);
    }
    let tested: BTreeSet<String> = app.store.fit_tests().await?.into_iter().map(|f| f.member).collect();
    let mut riders = app.store.signers().await?;
    riders.retain(|s| rides(s) && !tested.contains(&s.id));
    let link = |id: &String| Link { text: ledger.fleet.name(id).to_owned(), href: format!("/fitness/{id}") };
    let things: Vec<Link> = riders.iter().map(|s| link(&s.id)).collect();
    Ok((!things.is_empty()).then(|| UnknownRow { work: "Fit test".to_owned(), things }))
}

fn rides(member: &Signer) -> bool {
    member.roles.iter().any(|r| matches!(r, Role::Crew | Role::Officer))
}

fn row(ledger: &Ledger, due: &Due) -> DueRow {
    let place = match &due.on {
        Of::Asset(asset) => match ledger.upkeep.things.get(asset).and_then(|t| t.with.as_ref()) {
            Some(unit) => format!("on unit {unit}"),
            None => ledger
                .fleet
                .units
                .get(&asset.number)
                .map_or_else(String::new, |u| ledger.fleet.place_words(&u.row)),
        },
        Of::Source(_) => String::new(),
        Of::Member(_, family) => family_words(ledger, family),
    };
    DueRow {
        thing: of_link(ledger, &due.on),
        work: capital(due.work.words()),
        by: format!("by {}", day_words(due.by)),
        place,
    }
}

/// `12 flow test, 3 requalification`.
fn counted(dues: &[Due]) -> String {
    let mut counts: BTreeMap<Work, usize> = BTreeMap::new();
    for due in dues {
        *counts.entry(due.work).or_default() += 1;
    }
    counts.iter().map(|(work, n)| format!("{} {n}", work.words())).collect::<Vec<_>>().join(", ")
}

/// The same with fit tests.
fn with_fits(words: String, fits: usize) -> String {
    match fits {
        0 => words,
        n => format!("{words}, fit test {n}").trim_start_matches(", ").to_owned(),
    }
}

/// The month that would come as a surprise.
///
/// `fits`: how many fit tests run out in a month.
fn peak(by_month: &BTreeMap<Month, Vec<Due>>, fits: &dyn Fn(&Month) -> usize) -> String {
    let all = |month: &Month, dues: &[Due]| dues.len() + fits(month);
    let mut counts: Vec<usize> = by_month.iter().map(|(month, dues)| all(month, dues)).collect();
    counts.sort_unstable();
    let usual = counts.get(counts.len() / 2).copied().unwrap_or(0).max(4);
    match by_month.iter().max_by_key(|(month, dues)| (all(month, dues), std::cmp::Reverse(**month))) {
        Some((month, dues)) if all(month, dues) >= PEAK * usual => format!(
            "In {} {} things fall due at once: {}. Have some of them done earlier.",
            month.first_day().format("%B %Y"),
            all(month, dues),
            with_fits(counted(dues), fits(month))
        ),
        _ => String::new(),
    }
}

fn unknown(ledger: &Ledger) -> Vec<UnknownRow> {
    let mut by_work: BTreeMap<Work, Vec<_>> = BTreeMap::new();
    for (of, work) in ledger.upkeep.unknown() {
        by_work.entry(work).or_default().push(of_link(ledger, &of));
    }
    by_work.into_iter().map(|(work, things)| UnknownRow { work: capital(work.words()), things }).collect()
}

/// What the address of the feed says.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    key: String,
}

/// `GET /upkeep.ics`: for a calendar program, which cannot sign in and so has a secret address. It has
/// numbers and dates, and nobody's name.
pub async fn show_feed(
    State(app): State<App>,
    visitor: Visitor,
    Query(asked): Query<Asked>,
) -> Result<Response, WebError> {
    // By their hashes, so that the time it takes says nothing of the word.
    let known = Digest::of(asked.key.as_bytes()) == Digest::of(app.feed.as_bytes());
    if !known && !visitor.is(BENCH) {
        return Err(WebError::NotFound);
    }
    let now = app.clock.now();
    let ledger = Ledger::load(&app.store, now).await?;
    let mut seen: BTreeMap<(String, Work), usize> = BTreeMap::new();
    let dues = ahead(&ledger);
    let mut entries: Vec<Entry> = dues
        .iter()
        .filter(|due| !matches!(due.on, Of::Member(..)))
        .map(|due| {
            let key = match &due.on {
                Of::Asset(asset) => asset.to_string().replace(':', "-"),
                Of::Source(id) | Of::Member(id, _) => format!("source-{id}"),
            };
            let nth = seen.entry((key.clone(), due.work)).or_default();
            *nth += 1;
            let thing = ledger.words(&due.on);
            let late = if due.by < ledger.today { "Late: " } else { "" };
            Entry {
                uid: format!("{}-{key}-{nth}@airmuster", due.work.id().replace('_', "-")),
                day: due.by,
                summary: format!("{late}{thing}: {}", due.work.words()),
                details: format!(
                    "In time until the end of {}. {}",
                    day_words(due.by),
                    row(&ledger, due).place
                ),
            }
        })
        .collect();
    // Members fall due, too: how many on which day, and nobody's name.
    let mut members: BTreeMap<(NaiveDate, &str), usize> = BTreeMap::new();
    for due in dues.iter().filter(|d| matches!(d.on, Of::Member(..))) {
        *members.entry((due.by, "qualification")).or_default() += 1;
    }
    for by in last_fits(&app, &ledger).await?.into_values() {
        *members.entry((by, "fit test")).or_default() += 1;
    }
    entries.extend(members.into_iter().map(|((day, what), n)| Entry {
        uid: format!("members-{}-{day}@airmuster", what.replace(' ', "-")),
        day,
        summary: format!(
            "{}{} due",
            if day < ledger.today { "Late: " } else { "" },
            if n == 1 { format!("a {what} falls") } else { format!("{n} {what}s fall") }
        ),
        details: format!("In time until the end of {}. The upkeep page says whose.", day_words(day)),
    }));
    let name = format!("Upkeep, {}", ledger.fleet.department.name);
    let body = calendar(&name, now, &entries);
    Ok(([(header::CONTENT_TYPE, "text/calendar; charset=utf-8")], body).into_response())
}
