//! The one way in for data: `submit(bytes) → receipt`.
//!
//! One task writes. It commits whatever is waiting together, each record behind a savepoint of
//! its own, and answers only after the commit: what was acknowledged survives a power cut.

use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::ground::Kind;
use airmuster_domain::readiness::FacepieceKind;
use airmuster_domain::record::{
    Asset, Body, Check, Digest, Doubt, Field, NotARecord, Outcome, Record, RecordRef, Signed, Stamp,
    TicketOpened, decode, encode,
};
use airmuster_domain::standing::{LATE, SLACK};
use chrono::NaiveDate;
use serde::Serialize;
use tokio::sync::{mpsc, oneshot};
use uuid::Uuid;

use super::desk;
use super::tablets::{Bearer, Weighed, weigh};
use crate::clock::Clock;
use crate::store::{Beforehand, Place, Store, StoreError, TabletRow, Write};

/// How many records are committed together at most.
const TOGETHER: usize = 256;

/// The tablet's name in records that the server writes itself.
pub const DESK: &str = "desk";

/// What wrote a record, in its envelope.
pub const CLIENT: &str = concat!("airmuster ", env!("CARGO_PKG_VERSION"));

/// Where a record comes from, and so what it may be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// A tablet. Only field records; a signature that is not the proven one does not count until
    /// an officer has settled it.
    Tablet {
        /// The member whose PIN was checked, if one was.
        proven: Option<String>,
    },
    /// As from a tablet, by the bytes that it wrote itself: whether it did is weighed.
    HandedIn {
        /// Who hands it in.
        bearer: Bearer,
        /// What the tablet's key is said to say of it.
        signature: Option<Vec<u8>>,
    },
    /// A page at the server, the signer's PIN having been checked.
    Desk,
    /// Whoever holds the machine itself, at its console.
    Console,
    /// The server itself, which has opened a sealed signature or stopped PINs.
    Server,
}

impl Origin {
    /// Whether the signature of this member needs no further proof.
    fn proves(&self, by: &str) -> bool {
        match self {
            Self::Tablet { proven } => proven.as_deref() == Some(by),
            Self::HandedIn { bearer: Bearer::Member(id), .. } => id == by,
            Self::HandedIn { .. } => false,
            Self::Desk | Self::Console | Self::Server => true,
        }
    }
}

/// How a record was taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// Stored.
    Stored,
    /// It was there already, byte for byte.
    AlreadyStored,
    /// Stored, but it cannot be judged here.
    NeedsAttention,
}

/// What the writer of a record gets back.
#[derive(Debug, Clone, Serialize)]
pub struct Receipt {
    /// The record's id.
    pub id: Uuid,
    /// SHA-256 of its bytes, as they arrived.
    pub digest: Digest,
    /// How it was taken in.
    pub status: Status,
    /// Its number in the logbook.
    pub seq: i64,
    /// When it was received.
    pub received: Millis,
    /// Names the history; new after a restore.
    pub epoch: String,
    /// The end of the chain after it.
    pub head: Digest,
    /// Records up to this number are in a proved backup: what is not, the tablet keeps.
    pub backed_up: i64,
    /// Why it cannot be judged here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub attention: Option<String>,
}

/// Why a record was not taken in.
#[derive(Debug, Clone, thiserror::Error)]
pub enum IntakeError {
    /// Not a record at all.
    #[error("this is not a record: {0}")]
    NotARecord(#[from] NotARecord),
    /// A desk record that may not be made now.
    #[error("{0}")]
    Refused(#[from] airmuster_domain::desk::Refusal),
    /// Not taken from whoever hands it in.
    #[error("{0}")]
    NotAdmitted(&'static str),
    /// Another record with this id is stored, and only one was wanted.
    #[error("this was handed in before")]
    Before(RecordRef),
    /// The database cannot take it.
    #[error("{0}")]
    Store(Arc<StoreError>),
    /// The server is stopping.
    #[error("the server is stopping; try again")]
    Stopping,
}

impl From<StoreError> for IntakeError {
    fn from(e: StoreError) -> Self {
        Self::Store(Arc::new(e))
    }
}

/// One record and where it comes from.
struct Given {
    record: Record,
    bytes: Vec<u8>,
    seal: Option<Vec<u8>>,
    origin: Origin,
    once: bool,
}

/// Records that are taken in together or not at all, and what goes with them.
struct Together {
    records: Vec<Given>,
    beside: Beside,
}

/// What is personal and goes into the same transaction, beside the logbook.
#[derive(Debug, Default)]
pub struct Beside {
    /// What members are called, by id.
    pub names: Vec<(String, String)>,
    /// Fit tests: the member, the day, with which facepiece.
    pub fits: Vec<(String, NaiveDate, FacepieceKind)>,
}

/// What came of records that belong together: a receipt for each, or the place of the one that was
/// refused, counted from 0.
type AllOrNone = Result<Vec<Receipt>, (usize, IntakeError)>;

enum Job {
    One(Box<Given>, oneshot::Sender<Result<Receipt, IntakeError>>),
    All(Together, oneshot::Sender<AllOrNone>),
}

/// What is to be said to whom, once it is known whether the transaction holds.
enum Answer {
    One(oneshot::Sender<Result<Receipt, IntakeError>>, Result<Receipt, IntakeError>),
    All(oneshot::Sender<AllOrNone>, AllOrNone),
}

impl Answer {
    /// Nothing was stored after all.
    fn failed(self, why: &Arc<StoreError>) -> Self {
        let e = IntakeError::Store(Arc::clone(why));
        match self {
            Self::One(to, _) => Self::One(to, Err(e)),
            Self::All(to, _) => Self::All(to, Err((0, e))),
        }
    }

    /// Whether something was taken back that may have left a rule table behind.
    fn took_back(&self) -> bool {
        matches!(self, Self::One(_, Err(IntakeError::Store(_))) | Self::All(_, Err(_)))
    }

    /// Whoever asked may be gone; what is stored is stored all the same.
    fn send(self) {
        match self {
            Self::One(to, result) => drop(to.send(result)),
            Self::All(to, result) => drop(to.send(result)),
        }
    }
}

/// The way in. Cheap to clone; the writer stops when the last clone is gone.
#[derive(Debug, Clone)]
pub struct Intake {
    queue: mpsc::Sender<Job>,
}

impl Intake {
    /// Starts the writer. The handle ends when every [`Intake`] is dropped and all is written.
    pub fn start(store: Store, clock: Clock) -> (Self, tokio::task::JoinHandle<()>) {
        let (queue, jobs) = mpsc::channel(4 * TOGETHER);
        let task = tokio::spawn(write_all(store, clock, jobs));
        (Self { queue }, task)
    }

    /// Hands a record in. Handing the same bytes in again gives the same place.
    ///
    /// # Errors
    /// See [`IntakeError`]; nothing was stored then.
    pub async fn submit(&self, bytes: Vec<u8>, origin: Origin) -> Result<Receipt, IntakeError> {
        self.hand_in(bytes, None, origin, false).await
    }

    /// As [`Intake::submit`], with the seal of its signature. The receipt does not wait until it is
    /// opened: where nothing else proves the signature, the record counts as unproven until then.
    pub async fn submit_sealed(
        &self,
        bytes: Vec<u8>,
        seal: Option<Vec<u8>>,
        origin: Origin,
    ) -> Result<Receipt, IntakeError> {
        self.hand_in(bytes, seal, origin, false).await
    }

    /// As [`Intake::submit`], but refuses another record with an id that is stored: for forms,
    /// where going back and sending again is a mistake and not a second account.
    pub async fn submit_once(&self, bytes: Vec<u8>, origin: Origin) -> Result<Receipt, IntakeError> {
        self.hand_in(bytes, None, origin, true).await
    }

    /// Hands in records that hang together, in their order, with what members are called: all of
    /// them are stored, or none. For a department's own data from files.
    ///
    /// # Errors
    /// With the place of the record that was refused, counted from 0.
    pub async fn submit_all(
        &self,
        records: Vec<Vec<u8>>,
        beside: Beside,
        origin: &Origin,
    ) -> Result<Vec<Receipt>, (usize, IntakeError)> {
        let mut given = Vec::with_capacity(records.len());
        for (nth, bytes) in records.into_iter().enumerate() {
            let record = decode(&bytes).map_err(|e| (nth, e.into()))?;
            given.push(Given { record, bytes, seal: None, origin: origin.clone(), once: false });
        }
        let (answer, answered) = oneshot::channel();
        let job = Job::All(Together { records: given, beside }, answer);
        self.queue.send(job).await.map_err(|_| (0, IntakeError::Stopping))?;
        answered.await.map_err(|_| (0, IntakeError::Stopping))?
    }

    async fn hand_in(
        &self,
        bytes: Vec<u8>,
        seal: Option<Vec<u8>>,
        origin: Origin,
        once: bool,
    ) -> Result<Receipt, IntakeError> {
        let record = decode(&bytes)?;
        let (answer, answered) = oneshot::channel();
        let job = Job::One(Box::new(Given { record, bytes, seal, origin, once }), answer);
        self.queue.send(job).await.map_err(|_| IntakeError::Stopping)?;
        answered.await.map_err(|_| IntakeError::Stopping)?
    }
}

async fn write_all(store: Store, clock: Clock, mut jobs: mpsc::Receiver<Job>) {
    let mut batch = Vec::with_capacity(TOGETHER);
    while jobs.recv_many(&mut batch, TOGETHER).await > 0 {
        let mut answers = Vec::with_capacity(batch.len());
        let outcome = write_batch(&store, &clock, std::mem::take(&mut batch), &mut answers).await;
        if let Err(e) = outcome {
            tracing::error!(error = %e, jobs = answers.len(), "records could not be stored");
            let e = Arc::new(e);
            answers = answers.into_iter().map(|a| a.failed(&e)).collect();
        }
        // Rule tables of records that were not stored must not judge any others.
        if answers.iter().any(Answer::took_back)
            && let Err(e) = store.load_tables().await
        {
            tracing::error!(error = %e, "the rule tables could not be read again");
        }
        answers.into_iter().for_each(Answer::send);
    }
}

/// Takes a batch in, in one transaction. `answers` gets one for each job, also where it fails.
async fn write_batch(
    store: &Store,
    clock: &Clock,
    batch: Vec<Job>,
    answers: &mut Vec<Answer>,
) -> Result<(), Arc<StoreError>> {
    let mut work = Vec::with_capacity(batch.len());
    for job in batch {
        match job {
            Job::One(given, to) => {
                answers.push(Answer::One(to, Err(IntakeError::Stopping)));
                work.push(Together { records: vec![*given], beside: Beside::default() });
            }
            Job::All(together, to) => {
                answers.push(Answer::All(to, Err((0, IntakeError::Stopping))));
                work.push(together);
            }
        }
    }
    let mut write = store.begin().await?;
    // One alone needs no mark: taking it back is to abandon everything. What the database has against it may
    // then also be said at the commit.
    let alone = work.len() == 1;
    let mut kept = !alone;
    for (together, answer) in work.into_iter().zip(answers) {
        let mark = (!alone).then(|| write.mark());
        let mut result = take_in_all(&mut write, clock, &together).await;
        if !alone
            && result.is_ok()
            && let Err(e) = write.keep().await
        {
            result = Err((0, e.into()));
        }
        match &result {
            Ok(_) => kept = true,
            // SQLite may have given up the whole transaction then; nothing in it can be trusted.
            Err((_, IntakeError::Store(e))) if !e.is_one_records() => return Err(Arc::clone(e)),
            Err((nth, e)) => {
                if let (IntakeError::Store(why), Some(given)) = (e, together.records.get(*nth)) {
                    tracing::error!(error = %why, record = %given.record.name.id, "a record could not be stored");
                }
                if let Some(mark) = mark {
                    write.back(mark).await?;
                }
            }
        }
        match answer {
            Answer::One(_, said) => {
                *said = result
                    .map_err(|(_, e)| e)
                    .and_then(|r| r.into_iter().next().ok_or(IntakeError::Stopping));
            }
            Answer::All(_, said) => *said = result,
        }
    }
    let done = if kept { write.commit().await } else { write.abandon().await };
    Ok(done?)
}

/// All of what belongs together, or the first that is refused.
async fn take_in_all(write: &mut Write, clock: &Clock, together: &Together) -> AllOrNone {
    let mut receipts = Vec::with_capacity(together.records.len());
    for (nth, given) in together.records.iter().enumerate() {
        let receipt = take_in(write, clock, given).await.map_err(|e| (nth, e))?;
        if let Some(seal) = &given.seal
            && !write.keep_seal(receipt.seq, seal, clock.now()).await.map_err(|e| (nth, e.into()))?
        {
            tracing::warn!(seq = receipt.seq, "another seal for a record that has one was refused");
        }
        receipts.push(receipt);
    }
    for (member, name) in &together.beside.names {
        write.set_person(member, name, None).await.map_err(|e| (0, e.into()))?;
    }
    for (member, tested, kind) in &together.beside.fits {
        write.add_fit_test(member, *tested, kind).await.map_err(|e| (0, e.into()))?;
    }
    Ok(receipts)
}

async fn take_in(write: &mut Write, clock: &Clock, given: &Given) -> Result<Receipt, IntakeError> {
    let Given { record, bytes, origin, once, .. } = given;
    let before = write.beforehand(record).await?;
    let weighed = weigh_bearer(write, record, origin, before.tablet.as_ref()).await?;
    if let Some(place) = before.place {
        return Ok(receipt(write, record, place, Status::AlreadyStored, None));
    }
    if *once
        && before.has_variants
        && let Some(other) = write.variants(record.name.id).await?.first()
    {
        return Err(IntakeError::Before(other.record.name));
    }
    let now = clock.now();
    if let Body::Desk(d) = &record.body {
        desk::decide(write, d, &record.envelope, origin, now).await?;
    }
    let place = write.append(record, bytes, now);
    let mut projected = write.project_after(record, place, (before.has_variants, before.has_parts)).await?;
    if let Origin::HandedIn { signature: Some(signature), .. } = origin
        && let Weighed::Believed { signed: true } | Weighed::Doubted { signed: true, .. } = weighed
    {
        write.keep_signature(place.seq, signature).await?;
    }
    if let Weighed::Doubted { why, .. } = weighed {
        write_own(write, clock, "doubt", &Doubt { of: record.name, why: why.to_owned() }, now).await?;
        projected.attention.get_or_insert_with(|| why.to_owned());
    }
    if let Body::Field(Field::Check(check)) = &record.body {
        reserve(write, clock, record, (check, &before), origin, now).await?;
    }
    // An acceptance is worth its signature alone. What was used raises either way, and who says so is
    // looked at where a seal came along.
    let waits = match &record.body {
        Body::Field(Field::RigAccepted(_)) => true,
        Body::Field(Field::Used(_)) => given.seal.is_some(),
        _ => false,
    };
    if waits && record.envelope.by.as_ref().is_some_and(|by| !origin.proves(by)) {
        write_own(write, clock, "unproven", &Signed { of: record.name }, now).await?;
    }
    for asset in projected.for_bench {
        open_ticket(write, clock, asset, record.name, now).await?;
    }
    let status = if projected.attention.is_some() { Status::NeedsAttention } else { Status::Stored };
    Ok(receipt(write, record, place, status, projected.attention))
}

/// Whether the tablet that a record names is shown to have written it.
async fn weigh_bearer(
    write: &mut Write,
    record: &Record,
    origin: &Origin,
    known: Option<&TabletRow>,
) -> Result<Weighed, IntakeError> {
    let (Origin::HandedIn { bearer, signature }, Body::Field(_)) = (origin, &record.body) else {
        return Ok(Weighed::Believed { signed: false });
    };
    let repeated = match (known, record.envelope.incarnation, record.envelope.number) {
        // Only of one that was given up could somebody else have the key.
        (Some(t), Some(incarnation), Some(number)) if t.revoked_at.is_some() => {
            write.others_with_number(&t.id, &incarnation, number, &record.name.digest).await? > 0
        }
        _ => false,
    };
    match weigh(known, record, bearer, signature.as_deref(), repeated) {
        Weighed::NotAdmitted(say) => Err(IntakeError::NotAdmitted(say)),
        weighed => Ok(weighed),
    }
}

/// What speaks against letting a complete check count is written beside it, in the same moment.
async fn reserve(
    write: &mut Write,
    clock: &Clock,
    record: &Record,
    (check, before): (&Check, &Beforehand),
    origin: &Origin,
    now: Millis,
) -> Result<(), IntakeError> {
    if check.outcome != Outcome::Complete {
        return Ok(());
    }
    if record.envelope.time() > now.saturating_add(SLACK) {
        write_own(write, clock, "doubt", &Doubt { of: record.name, why: LATE.to_owned() }, now).await?;
    }
    let Some(by) = &record.envelope.by else {
        return Ok(());
    };
    if !origin.proves(by) {
        write_own(write, clock, "unproven", &Signed { of: record.name }, now).await?;
    }
    if before.has_newer_rules && write.is_over(&check.rules, record.envelope.time()).await? {
        write_own(write, clock, "outdated", &Signed { of: record.name }, now).await?;
    }
    if check.purpose.is_the_crews() && before.countersigning {
        write_own(write, clock, "uncountersigned", &Signed { of: record.name }, now).await?;
    }
    Ok(())
}

async fn open_ticket(
    write: &mut Write,
    clock: &Clock,
    asset: Asset,
    because: RecordRef,
    now: Millis,
) -> Result<(), IntakeError> {
    let open = write.open_grounds(&asset, now).await?;
    let retired = open.iter().any(|g| g.kind == Kind::Retired);
    let for_bench = open.iter().any(|g| g.kind.terms().bench);
    if retired || !for_bench || !write.open_tickets(&asset).await?.is_empty() {
        return Ok(());
    }
    let ticket = write.next_ticket().await?;
    write_own(write, clock, "ticket_opened", &TicketOpened { ticket, asset, because }, now).await
}

/// Writes a desk record of the server's own, in the same transaction.
async fn write_own(
    write: &mut Write,
    clock: &Clock,
    kind: &str,
    body: &impl Serialize,
    now: Millis,
) -> Result<(), IntakeError> {
    let stamp = Stamp {
        id: clock.id(),
        tablet: DESK.to_owned(),
        at: now,
        client: CLIENT.to_owned(),
        ..Stamp::default()
    };
    let bytes = encode(kind, &stamp, body);
    let record = decode(&bytes)?;
    let place = write.append(&record, &bytes, now);
    write.project(&record, place).await?;
    Ok(())
}

fn receipt(
    write: &Write,
    record: &Record,
    place: Place,
    status: Status,
    attention: Option<String>,
) -> Receipt {
    Receipt {
        id: record.name.id,
        digest: record.name.digest,
        status,
        seq: place.seq,
        received: place.received,
        epoch: write.head().epoch.clone(),
        head: write.head().hash,
        backed_up: write.head().backed_up,
        attention,
    }
}
