//! A department's own data in, from tables as a spreadsheet saves them: looked through first, with
//! every problem named, then taken in all at once or not at all. What is there already is left as
//! it is, so that the same files can be taken in again. And out: see [`mod@write`] and [`export`].

mod archive;
mod columns;
mod read;
mod sheet;
pub mod write;

use std::fmt;

use airmuster_domain::record::{Asset, Stamp, TakenOut, encode};
use airmuster_domain::standing::State;
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use super::fleet::table_in_force;
use super::intake::{CLIENT, DESK, Intake, IntakeError, Origin};
use crate::clock::Clock;
use crate::store::{Store, StoreError};

pub use archive::{ArchiveError, export, is_zip, take_back};
pub use columns::{ALL, Column, Template};
pub use read::{Dates, Known, PastCheck, Read, read};
pub use sheet::Problem;

/// What wrote the note about a past check, in its envelope: the same in every version, so that the
/// same row is the same record.
const FROM_FILE: &str = "airmuster import";

/// Why nothing was taken in.
#[derive(Debug, thiserror::Error)]
pub enum ExchangeError {
    /// What the files say was refused by the way in; the state may have changed meanwhile.
    #[error("nothing was taken in: {0}")]
    Refused(IntakeError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What files come to here and now: to be shown, and then to be taken in.
#[derive(Debug, Default)]
pub struct Plan {
    read: Read,
    /// Past checks that are not there yet, with their ids.
    checks: Vec<(Uuid, PastCheck)>,
}

impl Plan {
    /// Looks files through against what the department has.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn of(
        store: &Store,
        now: airmuster_domain::Millis,
        dates: Dates,
        files: &[(String, Vec<u8>)],
    ) -> Result<Self, StoreError> {
        let department = store.department().await?;
        let mut known = Known {
            entries: store.entries().await?,
            names: store.names().await?,
            clock: department.clock.clone(),
            now,
            dates,
            ..Known::default()
        };
        for (asset, standing) in store.unit_standings(&department.clock, now).await? {
            let why = match standing.state {
                State::Retired => "retired",
                State::Held => "held for an inquiry",
                _ => continue,
            };
            known.fixed.insert(asset.to_string(), why);
        }
        if let Some(table) = table_in_force(store).await? {
            known = known.with_table(&table);
        }
        let mut read = read(files, &known);
        let mut checks = Vec::new();
        for check in std::mem::take(&mut read.checks) {
            let id = id_of(&check);
            if store.variants(id).await?.is_empty() {
                checks.push((id, check));
            } else {
                read.unchanged += 1;
            }
        }
        Ok(Self { read, checks })
    }

    /// What must be put right first.
    pub fn problems(&self) -> &[Problem] {
        &self.read.problems
    }

    /// Whether there is nothing to take in.
    pub fn is_empty(&self) -> bool {
        self.read.entries.is_empty() && self.read.names.is_empty() && self.checks.is_empty()
    }

    /// Takes everything in, or nothing.
    ///
    /// # Errors
    /// When the way in refuses something; nothing was stored then.
    pub async fn take_in(
        self,
        intake: &Intake,
        clock: &Clock,
        by: Option<&str>,
        origin: &Origin,
    ) -> Result<(), ExchangeError> {
        let now = clock.now();
        let desk = || Stamp {
            id: clock.id(),
            tablet: DESK.to_owned(),
            at: now,
            client: CLIENT.to_owned(),
            by: by.map(str::to_owned),
            ..Stamp::default()
        };
        let mut records: Vec<Vec<u8>> =
            self.read.entries.iter().map(|e| encode("register", &desk(), e)).collect();
        for (id, check) in self.checks {
            let stamp = Stamp {
                id,
                tablet: DESK.to_owned(),
                at: check.at,
                client: FROM_FILE.to_owned(),
                by: check.by,
                ..Stamp::default()
            };
            let note = TakenOut { asset: Asset::unit(&check.unit), why: check.words };
            records.push(encode("note", &stamp, &note));
        }
        let taken = intake.submit_all(records, self.read.names, origin).await;
        taken.map(|_| ()).map_err(|(_, e)| ExchangeError::Refused(e))
    }
}

impl fmt::Display for Plan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let of = |n: usize, one: &str, more: &str| format!("{n} {}", if n == 1 { one } else { more });
        write!(
            f,
            "{} of the register, {}, {}; {} there already",
            of(self.read.entries.len(), "entry", "entries"),
            of(self.read.names.len(), "name", "names"),
            of(self.checks.len(), "past check", "past checks"),
            of(self.read.unchanged, "row is", "rows are")
        )
    }
}

/// The same row is the same record, however often it is taken in.
fn id_of(check: &PastCheck) -> Uuid {
    let by = check.by.as_deref().unwrap_or_default();
    let text = format!("{}\n{}\n{by}\n{}", check.unit, check.at, check.words);
    let hash: [u8; 32] = Sha256::digest(text.as_bytes()).into();
    let mut short = [0; 16];
    short.copy_from_slice(&hash[..16]);
    uuid::Builder::from_custom_bytes(short).into_uuid()
}
