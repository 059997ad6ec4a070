//! Hands a history in through intake, as stations and desks would have done, a day in a transaction.

use std::path::Path;
use std::time::Instant;

use airmuster::clock::Clock;
use airmuster::service::intake::Beside;
use airmuster::service::pin::{Cost, Pins};
use airmuster::service::{Intake, Origin};
use airmuster::store::Store;
use airmuster_domain::readiness::FacepieceKind;
use chrono::{DateTime, Days};

use super::client::Failed;
use super::past::{ADMINISTRATOR, DAY, Past, TECHNICIAN, crews, member};

/// Everybody's PIN.
pub const PIN: &str = "135790";
const SEED: u64 = 400;

/// Fills a new folder with so many years, and says how many records and checks they were.
pub async fn make(dir: &Path, years: i64) -> Result<(), Failed> {
    let began = Instant::now();
    let clock = Clock::System;
    let then = Clock::at(0);
    let store = Store::open(dir, clock.id()).await?;
    let (intake, writer) = Intake::start(store.clone(), then.clone());
    let (days, mut written) = tokio::sync::mpsc::channel(8);
    let now = clock.now();
    let author = tokio::task::spawn_blocking(move || {
        let mut past = Past::new(now, years, SEED);
        let first = (past.day(), past.register());
        let mut day = Some(first);
        while let Some(next) = day {
            if days.blocking_send(next).is_err() {
                break;
            }
            let at = past.day();
            day = past.next().map(|records| (at + DAY, records));
        }
        past.checks
    });
    let mut records = 0;
    while let Some((at, day)) = written.recv().await {
        then.set(at.min(now));
        records += day.len();
        if !day.is_empty() {
            intake
                .submit_all(day, Beside::default(), &Origin::Console)
                .await
                .map_err(|(nth, e)| format!("record {nth} of the day {at} was refused: {e}"))?;
        }
    }
    let checks = author.await?;
    drop(intake);
    writer.await?;
    name_people(&store, &clock).await?;
    store.close().await;
    let took = began.elapsed().as_secs_f64();
    let size = std::fs::metadata(store.path())?.len();
    #[expect(clippy::cast_precision_loss, reason = "far below 2^52")]
    let (rate, each) = (records as f64 / took, size as f64 / checks as f64);
    println!(
        "{years} years: {records} records, {checks} checks, {took:.0} s ({rate:.0} records/s), {each:.0} bytes a check"
    );
    Ok(())
}

async fn name_people(store: &Store, clock: &Clock) -> Result<(), Failed> {
    // As in a real department: trying a PIN costs what it costs.
    let hash = Pins::new(store.clone(), clock.clone(), Cost::Full).hash(PIN).await?;
    let today = DateTime::from_timestamp_millis(clock.now()).unwrap_or_default().date_naive();
    let mut write = store.begin().await?;
    for (nth, id) in
        [ADMINISTRATOR.to_owned(), TECHNICIAN.to_owned()].into_iter().chain(crews().map(member)).enumerate()
    {
        write.set_person(&id, &format!("Member {nth}"), Some((&hash, clock.now()))).await?;
        let [make, model, style] = ["Invented", "One", "full"].map(str::to_owned);
        let kind = FacepieceKind { make, model, style, size: "medium".to_owned() };
        write.add_fit_test(&id, today - Days::new(100), &kind).await?;
        write.set_clearance(&id, true, today - Days::new(200)).await?;
    }
    Ok(write.commit().await?)
}
