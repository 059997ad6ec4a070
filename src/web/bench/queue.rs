//! The bench: what to repair first, and because of what.

use airmuster_domain::bench::Placed;
use airmuster_domain::record::Stage;
use axum::extract::State;

use super::{kind_words, thing};
use crate::service::bench::Bench;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{age, grounds_words, page, standing};
use crate::web::serving::App;
use crate::web::view::Standing;
use crate::web::view::bench::{Bench as BenchView, BenchRow};

/// `GET /bench`.
pub async fn show_queue(State(app): State<App>, visitor: Visitor) -> Result<Html<BenchView>, WebError> {
    let bench = Bench::load(&app.store, app.clock.now()).await?;
    let rows =
        bench.queue.iter().enumerate().map(|(i, p)| (p.job.stage.stands_aside(), row(&bench, i + 1, p)));
    let (aside, queue): (Vec<_>, Vec<_>) = rows.partition(|(aside, _)| *aside);
    let rows = |all: Vec<(bool, BenchRow)>| all.into_iter().map(|(_, row)| row).collect();
    Ok(Html(BenchView { page: page(&app, &visitor, "Bench").await?, queue: rows(queue), aside: rows(aside) }))
}

fn row(bench: &Bench, place: usize, p: &Placed) -> BenchRow {
    let job = &p.job;
    let at = bench.place(&job.asset);
    let s = bench.standing(&job.asset);
    let open = s.into_iter().flat_map(|s| &s.grounds);
    let finding = match grounds_words(open.filter(|g| g.raise.kind.terms().bench)).as_slice() {
        [] => "Nothing is open against it any more".to_owned(),
        [one] => short(one),
        [first, more @ ..] => format!("{}, and {} more", short(first), more.len()),
    };
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
        next: next(job.stage).to_owned(),
    }
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
