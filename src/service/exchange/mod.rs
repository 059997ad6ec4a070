//! A department's own data in, from tables as a spreadsheet saves them: looked through first, with
//! every problem named, then taken in all at once or not at all. What is there already is left as
//! it is, so that the same files can be taken in again. And out: see [`mod@write`] and [`export`].

mod archive;
mod columns;
mod read;
mod sheet;
pub mod write;

use std::fmt;

use airmuster_domain::record::{Asset, PersonChanged, Personal, Register, Stamp, TakenOut, encode};
use airmuster_domain::standing::State;
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use super::fleet::table_in_force;
use super::intake::{Beside, CLIENT, DESK, Intake, IntakeError, Origin};
use super::progress;
use crate::clock::Clock;
use crate::store::{FitRow, Store, StoreError};

pub use archive::{ArchiveError, export, is_zip, take_back};
pub use columns::{ALL, Column, KEPT, Template};
pub use read::{Dates, Fitted, Known, PastCheck, Read, read};
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
    /// Members who had another name before.
    renamed: Vec<String>,
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
        progress::begin("reading the tables", 0);
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
        let upkeep = store.upkeep().await?;
        let marked = upkeep.things.iter().filter_map(|(asset, thing)| {
            let (number, marks) = (asset.number.clone(), thing.marks.clone()?);
            Some(Register::CylinderMarks { number, marks })
        });
        known.entries.extend(marked);
        for (member, families) in &upkeep.qualified {
            let of = |(family, until): (&String, &_)| ((member.clone(), family.clone()), *until);
            known.until.extend(families.iter().map(of));
        }
        let fitted = |f: FitRow| Fitted { member: f.member, tested: f.tested, kind: f.kind };
        known.fits = store.fit_tests().await?.into_iter().map(fitted).collect();
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
        let renamed = read.names.iter().filter(|(id, _)| known.names.contains_key(id));
        let renamed = renamed.map(|(id, _)| id.clone()).collect();
        Ok(Self { read, checks, renamed })
    }

    /// What must be put right first.
    pub fn problems(&self) -> &[Problem] {
        &self.read.problems
    }

    /// Whether there is nothing to take in.
    pub fn is_empty(&self) -> bool {
        self.read.entries.is_empty()
            && self.read.names.is_empty()
            && self.read.fits.is_empty()
            && self.checks.is_empty()
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
        progress::begin("taking everything in at once", 0);
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
        // Of what is personal the logbook learns only that it changed.
        let changed = |member: &String, what: Personal| {
            encode("person_changed", &desk(), &PersonChanged { member: member.clone(), what })
        };
        records.extend(self.renamed.iter().map(|member| changed(member, Personal::Name)));
        records.extend(self.read.fits.iter().map(|fit| changed(&fit.member, Personal::FitTest)));
        let fits = self.read.fits.into_iter().map(|f| (f.member, f.tested, f.kind)).collect();
        let taken = intake.submit_all(records, Beside { names: self.read.names, fits }, origin).await;
        taken.map(|_| ()).map_err(|(_, e)| ExchangeError::Refused(e))
    }
}

impl fmt::Display for Plan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let of = |n: usize, one: &str, more: &str| format!("{n} {}", if n == 1 { one } else { more });
        let fits = match self.read.fits.len() {
            0 => String::new(),
            n => format!("{}, ", of(n, "fit test", "fit tests")),
        };
        write!(
            f,
            "{} of the register, {}, {fits}{}; {} there already",
            of(self.read.entries.len(), "entry", "entries"),
            of(self.read.names.len(), "name", "names"),
            of(self.checks.len(), "past check", "past checks"),
            of(self.read.unchanged, "row is", "rows are")
        )
    }
}

/// A row as a form gives it, as the file that it would be: cells by the headings of its table.
pub fn one_row(cells: &[(String, String)]) -> Vec<u8> {
    let mut out = csv::WriterBuilder::new().from_writer(Vec::new());
    // Writing into memory does not fail, and both rows are as long.
    let _ = out.write_record(cells.iter().map(|(heading, _)| heading));
    let _ = out.write_record(cells.iter().map(|(_, cell)| cell));
    out.into_inner().unwrap_or_default()
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
