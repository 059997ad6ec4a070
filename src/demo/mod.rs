//! An invented fire district in an invented place, with eighteen months behind it. All of it is
//! handed in through intake, record by record, as stations and desks would have done.
//!
//! `district` and `people` say what there is, `story` what happens, `history` goes through
//! the days, `keeper` knows how things stand on each and `pen` writes it down.

mod acts;
mod answers;
mod district;
mod history;
mod keeper;
mod past;
mod pen;
mod people;
mod story;
mod today;
mod upkeep;
#[cfg(test)]
mod watched;

use std::future::{Future, poll_fn};
use std::net::SocketAddr;
use std::pin::Pin;
use std::task::Poll;

use airmuster_domain::readiness::FacepieceKind;
use airmuster_domain::record::Digest;
use chrono::Days;

use self::history::{DAYS, History};
use self::pen::Batch;
use self::people::{ADMINISTRATOR, CREWS, PIN, Person, TECHNICIAN, everybody};
use crate::clock::Clock;
use crate::service::pin::{Cost, PinError, Pins};
use crate::service::{Intake, IntakeError, Origin, Receipt, Status};
use crate::store::{Store, StoreError, Write};

/// Why the demo cannot be served.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// Somebody's own data.
    #[error("this folder holds another department's data; serve it with “airmuster serve”")]
    Others,
    /// The demo's, but not all of it.
    #[error("the demo in this folder was never finished; remove the folder and start again")]
    Unfinished,
    /// A record that the demo made was not taken as it is.
    #[error("record {digest} of the demo was not taken in: {why}")]
    NotTaken {
        /// Which.
        digest: Digest,
        /// Why.
        why: String,
    },
    /// Intake refused a record.
    #[error("a record of the demo was refused: {0}")]
    Refused(#[from] IntakeError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// PINs.
    #[error(transparent)]
    Pin(#[from] PinError),
    /// The district's own settings.
    #[error("the demo's own settings cannot be read: {0}")]
    Settings(String),
    /// A task died.
    #[error("the demo could not be filled: {0}")]
    Task(#[from] tokio::task::JoinError),
}

/// What there is to try.
#[derive(Debug)]
pub struct District {
    /// Records that were handed in now; none when the folder had them already.
    pub handed_in: usize,
}

impl District {
    /// Where to go and whom to sign in as.
    pub fn welcome(&self, address: SocketAddr) -> String {
        let [officer, crew, _] = CREWS[0][0];
        let line = |p: Person, what: &str| format!("  {}  {:<20}{what}", p.id, p.name);
        let lines = [
            line(crew, "crew: checks, at a station's board"),
            line(officer, "officer: the rigs of Kettle Street"),
            line(TECHNICIAN, "technician: the bench"),
            line(ADMINISTRATOR, "administrator"),
        ];
        format!(
            "The {} is at http://{address}\nSign in as one of these, each with the PIN {PIN}:\n{}\nEverything in it is invented. Ctrl-C ends it.",
            district::NAME,
            lines.join("\n")
        )
    }
}

/// Whether a database is the demo's: its PINs are in every copy of the program.
///
/// # Errors
/// When the database cannot be read.
pub async fn is_in(store: &Store) -> Result<bool, StoreError> {
    let names = store.names().await?;
    let ours = |p: &Person| names.get(p.id).is_some_and(|name| name == p.name);
    Ok(store.department().await?.name == district::NAME || (ours(&ADMINISTRATOR) && ours(&TECHNICIAN)))
}

/// Fills an empty database; one that the demo has filled before is left as it is.
///
/// # Errors
/// When the folder holds something else, or a record is not taken in.
pub async fn fill(store: &Store, clock: &Clock) -> Result<District, DemoError> {
    fill_days(store, clock, DAYS).await
}

/// As [`fill`], with a history of so many days.
///
/// # Errors
/// See [`fill`].
pub async fn fill_days(store: &Store, clock: &Clock, days: i64) -> Result<District, DemoError> {
    if store.head().await?.seq > 0 {
        if store.department().await?.name != district::NAME {
            return Err(DemoError::Others);
        }
        // PINs come last: without them it was broken off.
        let finished = store.pin_hash(ADMINISTRATOR.id).await?.is_some();
        return if finished { Ok(District { handed_in: 0 }) } else { Err(DemoError::Unfinished) };
    }
    let history = History::new(clock.now(), days).map_err(DemoError::Settings)?;
    let handed_in = hand_in(store, history).await?;
    name_people(store, clock).await?;
    Ok(District { handed_in })
}

/// Hands a history in. Its clock is set by hand, so that every record is received when it was sent.
async fn hand_in(store: &Store, history: History) -> Result<usize, DemoError> {
    let then = Clock::at(0);
    let (intake, writer) = Intake::start(store.clone(), then.clone());
    let (days, mut written) = tokio::sync::mpsc::channel::<Vec<Batch>>(8);
    // One core writes the days while another takes them in.
    let author = tokio::task::spawn_blocking(move || {
        for day in history {
            if days.blocking_send(day).is_err() {
                return;
            }
        }
    });
    let mut handed_in = 0;
    while let Some(day) = written.recv().await {
        for batch in day {
            then.set(batch.at.max(then.now()));
            handed_in += batch.records.len();
            together(&intake, batch.records).await?;
        }
    }
    author.await?;
    drop(intake);
    writer.await?;
    Ok(handed_in)
}

type Submitting<'a> = Pin<Box<dyn Future<Output = Result<Receipt, IntakeError>> + Send + 'a>>;

/// Hands records in, in this order, without waiting for one before the next.
async fn together(intake: &Intake, records: Vec<Vec<u8>>) -> Result<(), DemoError> {
    let mut waiting: Vec<Submitting<'_>> = Vec::with_capacity(records.len());
    for record in records {
        waiting.push(Box::pin(intake.submit(record, Origin::Console)));
    }
    let mut receipts = Vec::with_capacity(waiting.len());
    poll_fn(|cx| {
        waiting.retain_mut(|w| match w.as_mut().poll(cx) {
            Poll::Ready(receipt) => {
                receipts.push(receipt);
                false
            }
            Poll::Pending => true,
        });
        if waiting.is_empty() { Poll::Ready(()) } else { Poll::Pending }
    })
    .await;
    for receipt in receipts {
        let receipt = receipt?;
        if receipt.status != Status::Stored {
            let why = receipt.attention.unwrap_or_else(|| "it was there already".to_owned());
            return Err(DemoError::NotTaken { digest: receipt.digest, why });
        }
    }
    Ok(())
}

/// Names and PINs are not in the logbook.
async fn name_people(store: &Store, clock: &Clock) -> Result<(), DemoError> {
    let pins = Pins::new(store.clone(), clock.clone(), Cost::Least);
    let mut hashes = Vec::new();
    for e in everybody() {
        hashes.push((e.person, pins.hash(PIN).await?));
    }
    let mut write = store.begin().await?;
    for (person, hash) in hashes {
        write.set_person(person.id, person.name, Some((&hash, clock.now()))).await?;
    }
    fit_people(store, &mut write, clock).await?;
    Ok(write.commit().await?)
}

/// Whose fit test is past, and who is not cleared.
const UNFIT: (&str, &str) = ("m-103", "m-124");

/// Fit tests and clearances, which are not in the logbook either. Everybody has been tested with a
/// facepiece of the size that goes with the seat they ride.
async fn fit_people(store: &Store, write: &mut Write, clock: &Clock) -> Result<(), DemoError> {
    let department = store.department().await?;
    let today = department.clock.local(clock.now()).date_naive();
    let (seats, gear) = (store.seats(None).await?, store.gear().await?);
    for (station, platoons) in CREWS.iter().enumerate() {
        for (nth, person) in platoons.iter().flatten().enumerate() {
            let id = district::seat_id(district::ENGINES[station], district::RIDDEN[nth % 3]);
            let unit = seats.iter().find(|s| s.seat == id).and_then(|s| s.asset.as_deref());
            let facepiece = unit.and_then(|u| gear.get(u.strip_prefix("unit:")?)?.facepiece.as_ref());
            let size = facepiece.map_or("medium", |(_, kind)| kind.size.as_str());
            let nth = u64::try_from(station * 9 + nth).unwrap_or(0);
            let ago = if person.id == UNFIT.0 { 378 } else { 40 + nth * 11 };
            let [make, model, style] = upkeep::MADE.map(str::to_owned);
            let kind = FacepieceKind { make, model, style, size: size.to_owned() };
            write.add_fit_test(person.id, today - Days::new(ago), &kind).await?;
            write.set_clearance(person.id, person.id != UNFIT.1, today - Days::new(90 + nth * 7)).await?;
        }
    }
    Ok(())
}
