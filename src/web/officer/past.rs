//! The record of a period with its charts, the inspector's pack, and the questions that checks raise.

use airmuster_domain::Millis;
use airmuster_domain::shift::ShiftClock;
use airmuster_domain::shortcuts::Question;
use airmuster_domain::tally::median;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum_extra::extract::Query;
use chrono::{Days, NaiveDate};
use serde::Deserialize;

use crate::report::chart;
use crate::service::fleet::Fleet;
use crate::service::pack::{PackError, pack};
use crate::service::past::{Asked, Counts, Period};
use crate::service::shortcuts;
use crate::store::Made;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{age, member_options, page, unit_ref, when};
use crate::web::serving::App;
use crate::web::view::Action;
use crate::web::view::past::{CheckLine, Past, Questions, Table};
use crate::web::view::ticket::StageOption;

/// The longest period: a leap year.
const LONGEST: u64 = 366;
/// What is shown where nothing was asked.
const USUAL: u64 = 30;

/// What the form asks.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    rig: String,
    unit: String,
    member: String,
    from: String,
    to: String,
}

/// The days asked about, both of them included; what cannot be read is the usual period.
fn days(input: &Input, today: NaiveDate) -> (NaiveDate, NaiveDate) {
    let read = |text: &str| text.trim().parse::<NaiveDate>().ok();
    let to = read(&input.to).unwrap_or(today).min(today);
    let back = |n: u64| to.checked_sub_days(Days::new(n - 1)).unwrap_or(to);
    let from = read(&input.from).unwrap_or_else(|| back(USUAL)).min(to);
    (from.max(back(LONGEST)), to)
}

fn asked(input: &Input, clock: &ShiftClock, now: Millis) -> (Asked, NaiveDate, NaiveDate) {
    let (from, to) = days(input, clock.local(now).date_naive());
    let some = |text: &str| Some(text.trim().to_owned()).filter(|t| !t.is_empty());
    let after = to.succ_opt().unwrap_or(to);
    let asked = Asked {
        rig: some(&input.rig),
        unit: some(&input.unit),
        member: some(&input.member),
        from: clock.day_start(from),
        to: clock.day_start(after),
    };
    (asked, from, to)
}

/// `GET /past`.
pub async fn show_past(
    State(app): State<App>,
    visitor: Visitor,
    Query(input): Query<Input>,
) -> Result<Html<Past>, WebError> {
    let now = app.clock.now();
    let clock = app.store.department().await?.clock;
    let (asked, from, to) = asked(&input, &clock, now);
    let period = Period::load(&app.store, now, &asked).await?;
    let fleet = &period.fleet;
    let mut rigs: Vec<StageOption> = Vec::new();
    for s in &fleet.seats {
        if rigs.last().is_none_or(|r| r.value != s.rig) {
            let (value, label) = (s.rig.clone(), s.rig_name.clone());
            rigs.push(StageOption { selected: asked.rig.as_ref() == Some(&value), value, label });
        }
    }
    let query = [
        ("rig", &input.rig),
        ("unit", &input.unit),
        ("member", &input.member),
        ("from", &from.to_string()),
        ("to", &to.to_string()),
    ]
    .map(|(name, value)| format!("{name}={}", urlencoded(value)))
    .join("&");
    Ok(Html(Past {
        page: page(&app, &visitor, "Record").await?,
        rigs,
        unit: input.unit.clone(),
        members: member_options(&app.store.people().await?, asked.member.as_deref()),
        from: from.to_string(),
        to: to.to_string(),
        lead: lead(&period.all),
        checks: checks(&period),
        by_day: day_chart(&period, from, to),
        day_table: day_table(&period),
        by_hour: hour_chart(&period),
        hour_table: hour_table(&period),
        units: unit_table(&period),
        members_table: member_table(&period),
        repairs: repairs(&period),
        repair_lead: repair_lead(&period, now),
        pack: format!("/past/pack?{query}"),
    }))
}

/// Letters, digits and hyphens stay; all else goes as hexadecimal.
fn urlencoded(text: &str) -> String {
    text.bytes().fold(String::new(), |mut out, b| {
        if b.is_ascii_alphanumeric() || b == b'-' || b == b'.' {
            out.push(char::from(b));
        } else {
            out = format!("{out}%{b:02X}");
        }
        out
    })
}

fn lead(all: &Counts) -> String {
    let owed = all.in_time + all.late + all.missed;
    let waiting = match all.waiting {
        0 => String::new(),
        1 => " One of those done waits for an officer’s countersignature: it was made, and releases nothing yet."
            .to_owned(),
        n => format!(
            " {n} of those done wait for an officer’s countersignature: they were made, and release nothing yet."
        ),
    };
    format!(
        "{} checks done. Of {owed} owed, {} were made in time, {} late, {} missed.{waiting}",
        all.done, all.in_time, all.late, all.missed
    )
}

/// Each check, with how long it took where that is known; the newest first.
fn checks(period: &Period) -> Vec<CheckLine> {
    let fleet = &period.fleet;
    let line = |(unit, check): &(String, Made)| {
        let took = Some(Millis::from(check.took)).filter(|took| *took >= 0).map(seconds);
        let least = check.least.map(Millis::from);
        let say = match (took, least) {
            (Some(took), Some(least)) => format!("took {took}; its steps take {} at least", seconds(least)),
            (Some(took), None) => format!("took {took}"),
            (None, _) => "its clock was set back meanwhile".to_owned(),
        };
        CheckLine {
            href: format!("/records/{}", check.seq),
            what: format!("{}, unit {unit}", when(&fleet.department.clock, check.at, fleet.now)),
            by: check.by.as_deref().map_or("unsigned", |by| fleet.name(by)).to_owned(),
            say,
            hurried: check.took >= 0 && least.is_some_and(|least| Millis::from(check.took) < least),
        }
    };
    period.checks.iter().map(line).collect()
}

/// A time in seconds, or in minutes and seconds.
fn seconds(ms: Millis) -> String {
    let s = (ms + 500) / 1000;
    if s < 60 { format!("{s} s") } else { format!("{} min {:02} s", s / 60, s % 60) }
}

fn day_chart(period: &Period, from: NaiveDate, to: NaiveDate) -> Option<String> {
    let days: Vec<NaiveDate> = from.iter_days().take_while(|d| *d <= to).collect();
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let bars: Vec<(String, u32, u32)> = days
        .iter()
        .map(|day| {
            let c = period.days.get(day).copied().unwrap_or_default();
            (day.format("%-d %b").to_string(), count(c.late), count(c.missed))
        })
        .collect();
    chart::bars(&bars, 6, 1)
}

fn day_table(period: &Period) -> Table {
    let telling = period.days.iter().filter(|(_, c)| c.late + c.missed > 0);
    let rows = telling.rev().map(|(day, c)| {
        let numbers = [c.in_time, c.late, c.missed].map(|n| n.to_string());
        std::iter::once(day.format("%a %-d %b").to_string()).chain(numbers).collect()
    });
    // The newest first: on a phone nobody scrolls through a month to yesterday.
    Table::folded(&["Day", "In time", "Late", "Missed"], rows.collect(), 7, "days")
}

/// Tenths of a percent, or nothing where nothing was looked at.
fn share((open, all): (usize, usize)) -> Option<usize> {
    (open * 1000).checked_div(all)
}

fn hour_chart(period: &Period) -> Option<String> {
    let bars: Vec<(String, u32, u32)> = period
        .hours
        .iter()
        .enumerate()
        .map(|(hour, seen)| {
            (format!("{hour}"), share(*seen).and_then(|tenths| u32::try_from(tenths).ok()).unwrap_or(0), 0)
        })
        .collect();
    chart::bars(&bars, 12, 10)
}

fn hour_table(period: &Period) -> Table {
    let hours = period.hours.iter().enumerate().filter_map(|(hour, seen)| {
        let tenths = share(*seen)?;
        Some(vec![format!("{hour:02}:00"), format!("{}.{} %", tenths / 10, tenths % 10)])
    });
    let headings = ["Hour", "Seats open"].map(str::to_owned).to_vec();
    Table { headings, rows: hours.collect(), ..Table::default() }
}

fn unit_table(period: &Period) -> Table {
    let mut units: Vec<_> = period.units.iter().collect();
    units.sort_by_key(|(number, c)| (std::cmp::Reverse((c.missed, c.late)), *number));
    let telling = units.iter().filter(|(_, c)| c.late + c.missed > 0).count();
    let rows = units.into_iter().map(|(number, c)| {
        let numbers = [c.done, c.in_time, c.late, c.missed, c.not_owed].map(|n| n.to_string());
        std::iter::once(number.clone()).chain(numbers).collect()
    });
    let headings = ["Unit", "Done", "In time", "Late", "Missed", "Out then"];
    Table::folded(&headings, rows.collect(), telling.min(20), "units")
}

fn member_table(period: &Period) -> Table {
    let mut members: Vec<_> = period.members.iter().collect();
    members.sort_by_key(|(id, c)| (std::cmp::Reverse(c.done), *id));
    let rows = members.into_iter().map(|(id, c)| {
        let numbers = [c.done, c.in_time, c.late].map(|n| n.to_string());
        std::iter::once(period.fleet.name(id).to_owned()).chain(numbers).collect()
    });
    Table::folded(&["Member", "Done", "In time", "Late"], rows.collect(), 10, "members")
}

fn repairs(period: &Period) -> Table {
    let fleet = &period.fleet;
    let clock = &fleet.department.clock;
    let rows = period.repairs.iter().map(|(unit, span)| {
        let until = span.until.map_or("not yet".to_owned(), |t| when(clock, t, fleet.now));
        let took = age(span.from, span.until.unwrap_or(fleet.now));
        vec![unit.clone(), when(clock, span.from, fleet.now), until, took]
    });
    Table::folded(&["Unit", "Failed", "Returned", "Took"], rows.collect(), 8, "repairs")
}

fn repair_lead(period: &Period, now: Millis) -> String {
    let over: Vec<Millis> = period.repairs.iter().filter_map(|(_, s)| Some(s.until? - s.from)).collect();
    let open = period.repairs.len() - over.len();
    let longest = over.iter().max().copied();
    match (median(over), longest) {
        (Some(middle), Some(longest)) => format!(
            "From failure to return: half within {}, the longest {}. {open} not returned yet.",
            age(now - middle, now),
            age(now - longest, now)
        ),
        _ => format!("Nothing was returned in this time. {open} not returned yet."),
    }
}

/// `GET /past/pack`: the inspector's pack as a ZIP file.
pub async fn give_pack(State(app): State<App>, Query(input): Query<Input>) -> Result<Response, WebError> {
    let now = app.clock.now();
    let clock = app.store.department().await?.clock;
    let (asked, from, to) = asked(&input, &clock, now);
    let bytes = pack(&app.store, now, &asked).await.map_err(|e| match e {
        PackError::Store(e) => WebError::from(e),
        PackError::Zip(e) => WebError::Conflict(format!("The pack could not be made: {e}.")),
    })?;
    let name = format!("attachment; filename=\"inspection-{from}-{to}.zip\"");
    let headers = [
        (header::CONTENT_TYPE, "application/zip".to_owned()),
        (header::CONTENT_DISPOSITION, name),
        (header::CACHE_CONTROL, "no-store".to_owned()),
    ];
    Ok((headers, bytes).into_response())
}

/// `GET /questions`.
pub async fn show_questions(State(app): State<App>, visitor: Visitor) -> Result<Html<Questions>, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let asked = shortcuts::asked(&app.store, &fleet).await?;
    Ok(Html(Questions {
        page: page(&app, &visitor, "Questions").await?,
        rows: asked.iter().map(|q| question(&fleet, q)).collect(),
    }))
}

fn question(fleet: &Fleet, q: &Question) -> (String, Option<Action>) {
    let clock = &fleet.department.clock;
    let look = |text: &str, href: String| Some(Action { text: text.to_owned(), href, next: false });
    // Each of the checks that the question was asked of.
    let each_check = |member: &str| {
        let from = clock.local(fleet.now - shortcuts::BACK).format("%Y-%m-%d");
        format!("/past?member={}&from={from}#checks", urlencoded(member))
    };
    match q {
        Question::Hurried { member, hurried, of, shortest, least } => (
            format!(
                "{}: {hurried} of {of} checks took less time than their steps. The shortest was {}, where the steps \
                 answered take at least {}. Was the form filled in after the work was done?",
                fleet.name(member),
                seconds(*shortest),
                seconds(*least)
            ),
            look("See these checks", each_check(member)),
        ),
        Question::SameReading { unit, pressure, times, between, others } => (
            format!(
                "Unit {unit} was read at {} {times} times in a row, from {} to {}. Of other units of its kind {others} of \
                 100 readings were as the one before. Does its gauge move?",
                pressure.words(),
                when(clock, between.0, fleet.now),
                when(clock, between.1, fleet.now)
            ),
            look("See its readings", unit_ref(unit).href),
        ),
        Question::OffCrew { member, checks, last } => (
            format!(
                "{}: {checks} checks in shifts in which no crew of that house names them, the last at {}. Was the roster \
                 right, or did somebody sign for somebody else?",
                fleet.name(member),
                when(clock, *last, fleet.now)
            ),
            look("See these checks", each_check(member)),
        ),
    }
}
