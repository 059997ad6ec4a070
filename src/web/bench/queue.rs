//! The bench: what to repair first, and because of what.

use airmuster_domain::bench::Placed;
use airmuster_domain::record::{Asset, AssetKind, Stage};
use airmuster_domain::role::Role;
use airmuster_domain::standing::{Ground, State};
use axum::extract;
use axum_extra::extract::Query;
use serde::Deserialize;

use super::{kind_words, thing};
use crate::service::bench::{Bench, REPEATED_WITHIN};
use crate::service::ticket::thing_words;
use crate::store::Repeated;
use crate::web::auth::Visitor;
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{age, capital, grounds_words, page, standing, when};
use crate::web::serving::App;
use crate::web::telling::sent_words;
use crate::web::upkeep::asset_link;
use crate::web::view::bench::{Bench as BenchView, BenchRow, Filter, NoTicketRow, RepeatedRow};
use crate::web::view::ticket::StageOption;
use crate::web::view::{Link, Standing};

/// What narrows the queue down.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    stage: String,
    kind: String,
    station: String,
    q: String,
    own: String,
}

/// `GET /bench`.
pub async fn show_queue(
    extract::State(app): extract::State<App>,
    visitor: Visitor,
    Query(input): Query<Input>,
) -> Result<Html<BenchView>, WebError> {
    let bench = Bench::load(&app.store, app.clock.now()).await?;
    let technician = visitor.member.as_ref().filter(|_| visitor.is(&[Role::Technician]));
    let me = technician.map(|m| m.id.as_str());
    let all = bench.queue.len();
    let rows: Vec<(bool, BenchRow)> = bench
        .queue
        .iter()
        .enumerate()
        .map(|(i, p)| (p, row(&bench, i + 1, p, me)))
        .filter(|(p, row)| wanted(&bench, p, row, &input, me))
        .map(|(p, row)| (p.job.stands_aside(), row))
        .collect();
    let narrowed =
        [&input.stage, &input.kind, &input.station, &input.q, &input.own].iter().any(|f| !f.is_empty());
    let left_out = narrowed.then(|| all - rows.len());
    let (aside, queue): (Vec<_>, Vec<_>) = rows.into_iter().partition(|(aside, _)| *aside);
    let rows = |all: Vec<(bool, BenchRow)>| all.into_iter().map(|(_, row)| row).collect();
    Ok(Html(BenchView {
        page: page(&app, &visitor, "Bench").await?,
        filter: filter(&bench, &input, me.is_some(), left_out),
        repeated: bench.repeated.iter().map(|r| repeated(&bench, r)).collect(),
        queue: rows(queue),
        aside: rows(aside),
        no_ticket: without_ticket(&bench).collect(),
    }))
}

fn wanted(bench: &Bench, p: &Placed, row: &BenchRow, input: &Input, me: Option<&str>) -> bool {
    let job = &p.job;
    let q = input.q.trim().to_lowercase();
    let text = format!("{} {} {} {}", row.thing.text, row.finding, row.number, row.profile).to_lowercase();
    let station = || {
        let place = bench.home(&job.asset).or_else(|| bench.place(&job.asset));
        place.and_then(|p| bench.fleet.station_at(p)).is_some_and(|s| s.id == input.station)
    };
    (input.stage.is_empty() || job.stage.id() == input.stage)
        && (input.kind.is_empty() || job.asset.kind.words() == input.kind)
        && (input.station.is_empty() || station())
        && (q.is_empty() || text.contains(&q))
        && (input.own.is_empty() || me.is_none_or(|me| bench.may_return(me, &job.asset)))
}

fn filter(bench: &Bench, input: &Input, technician: bool, left_out: Option<usize>) -> Filter {
    let option = |value: &str, label: String, chosen: &str| StageOption {
        value: value.to_owned(),
        label,
        selected: value == chosen,
    };
    let stages = Stage::ALL.into_iter().filter(|s| !s.is_closed());
    let kinds = [AssetKind::Unit, AssetKind::Facepiece, AssetKind::Cylinder];
    Filter {
        stages: stages.map(|s| option(s.id(), s.words().to_owned(), &input.stage)).collect(),
        kinds: kinds.map(|k| option(k.words(), format!("{}s", capital(k.words())), &input.kind)).to_vec(),
        stations: bench
            .fleet
            .stations
            .iter()
            .map(|s| option(&s.id, s.name.clone(), &input.station))
            .collect(),
        q: input.q.clone(),
        own: !input.own.is_empty(),
        technician,
        left_out,
    }
}

fn repeated(bench: &Bench, r: &Repeated) -> RepeatedRow {
    let fleet = &bench.fleet;
    let last = when(&fleet.department.clock, r.last.at, fleet.now);
    let record =
        r.seq.map(|seq| Link { text: "the last record".to_owned(), href: format!("/records/{seq}") });
    RepeatedRow {
        thing: asset_link(&r.last.asset),
        say: format!("{} times in {REPEATED_WITHIN} days, last {last}. {}", r.times, sentence(&r.last.say)),
        record,
    }
}

fn row(bench: &Bench, place: usize, p: &Placed, me: Option<&str>) -> BenchRow {
    let job = &p.job;
    let at = bench.place(&job.asset);
    let s = bench.standing(&job.asset);
    let open = s.into_iter().flat_map(|s| &s.grounds);
    let shares = bench.shares.get(&job.asset);
    let own = |g: &&Ground| shares.is_none_or(|s| s.has(job.ticket, &g.raise.key));
    let own = open.filter(|g| g.raise.kind.terms().bench).filter(own);
    let finding = match grounds_words(own).as_slice() {
        [] => "Nothing is open against it any more".to_owned(),
        [one] => short(one),
        [first, more @ ..] => format!("{}, and {} more", short(first), more.len()),
    };
    let sent = bench.tickets.get(&job.ticket).and_then(|t| t.sent.as_ref());
    let today = bench.fleet.department.clock.local(bench.fleet.now).date_naive();
    let joined = bench.joined.get(&job.ticket).into_iter().flatten();
    BenchRow {
        place,
        because: format!("Because {}", p.because),
        href: format!("/tickets/{}", job.ticket),
        number: job.ticket.to_string(),
        thing: thing(&job.asset, at, job.ticket),
        profile: kind_words(&bench.fleet, &job.asset, at),
        standing: s.map_or(Standing::OutOfService, standing),
        finding,
        age: age(job.opened, bench.fleet.now),
        stage: job.stage.words().to_owned(),
        was: job.stage.id(),
        next: if job.held { "Leave it" } else { next(job.stage) }.to_owned(),
        // One tap: it is on the bench, and its ticket is there.
        takes: me.is_some() && !job.held && job.stage == Stage::Reported,
        sent: sent.map(sent_words).unwrap_or_default(),
        late: sent.is_some_and(|s| s.due_back < today),
        joined: joined
            .map(|t| Link { text: thing_words(&t.asset), href: format!("/tickets/{}", t.ticket) })
            .collect(),
        unqualified: match me {
            Some(me) if !bench.may_return(me, &job.asset) => "You are not qualified to return it.".to_owned(),
            _ => String::new(),
        },
    }
}

/// Units that a technician has to do with and that no ticket speaks of: a flow test that failed or lapsed, a
/// notice, something on them that is out of service.
fn without_ticket(bench: &Bench) -> impl Iterator<Item = NoTicketRow> {
    let has = |asset: &Asset| {
        bench.tickets.values().chain(bench.joined.values().flatten()).any(|t| t.asset == *asset)
    };
    let units = bench
        .fleet
        .units
        .values()
        .filter(move |u| u.standing.state == State::OutOfService && !has(&u.standing.asset));
    units.filter_map(|u| {
        let ours = |g: &&Ground| g.state == State::OutOfService && g.who.starts_with("a technician");
        let why = grounds_words(u.standing.grounds.iter().filter(ours));
        (!why.is_empty()).then(|| NoTicketRow {
            thing: asset_link(&u.standing.asset),
            place: bench.fleet.place_words(&u.row),
            why: why.join(" "),
        })
    })
}

/// A finding without the circumstances: they are on the ticket.
fn short(words: &str) -> String {
    words.trim_end_matches('.').split("; ").take(2).collect::<Vec<_>>().join("; ")
}

/// What to do with a job next.
fn next(stage: Stage) -> &'static str {
    match stage {
        Stage::Reported => "Put it on the bench",
        Stage::OnTheBench => "Work on it",
        Stage::ReadyToProve => "Prove it",
        Stage::WaitingForParts | Stage::AtRepairer => "Ask after it",
        Stage::Returned | Stage::Retired => "Look at it",
    }
}
