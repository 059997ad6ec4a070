//! Everything that the department has written, in one ZIP file that a person can read without this
//! program, and back again: the same records, the same head, the same standings.
//!
//! What is in it: `README.txt`; `manifest.json` (head, and the SHA-256 of every other file);
//! `logbook.jsonl` (every record as the exact text in which it was handed in); `register.json` and
//! `standings.json`; `tables/` (the register in the tables in which it can be taken in); `lists/`
//! (checks and tickets); `photos/` with `photos.json`, which names them. Only the logbook and the
//! photographs are taken back: the rest is computed.
//! `people.json` with what members are called is written only when asked for; PINs never are.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter, Read as _, Seek, Write};
use std::path::{Path, PathBuf};

use airmuster_domain::Millis;
use airmuster_domain::record::{Digest, LARGEST, decode};
use airmuster_domain::shift::ShiftClock;
use chrono::DateTime;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use super::write;
use crate::clock::Clock;
use crate::service::backup::{BackupError, part_of, put};
use crate::service::intake::CLIENT;
use crate::service::progress;
use crate::service::verify::{Depth, verify};
use crate::store::{self, Head, Store, StoreError};

/// Version of the format.
const VERSION: u32 = 1;
/// Records read or written at a time.
const PAGE: i64 = 1_000;
/// A line of the logbook at most: a record whose every byte was escaped, and what stands beside it.
const LONGEST_LINE: u64 = 6 * LARGEST as u64 + 1_000;
/// The files that are read whole, at most.
const LARGEST_FILE: u64 = 16 * 1024 * 1024;

const README: &str = "\
This is everything that a department has written with airmuster, as of one moment.

logbook.jsonl    every record, one a line, in the order in which it arrived. \"record\" is the exact
                 text that was handed in. \"hash\" is the link of the chain: SHA-256 of the hash
                 before (32 bytes, the first one zeros), the number, the time received, the tablet's
                 length and name, the record's length and bytes; numbers as 8 bytes, most significant
                 first. Times are milliseconds since 1970-01-01 00:00 UTC.
register.json    what the department has: stations, rigs, seats, units, members by id
standings.json   the standing of every asset when this was made, with its grounds
tables/          the same register for a spreadsheet; it can be taken in again as it is
lists/           checks and tickets for a spreadsheet
photos/          the photographs; photos.json says which record's \"photo\" each one is
manifest.json    the end of the chain, and the SHA-256 of every file

Names of members are in people.json if they were asked for, and nowhere else; PINs are not here.

To take it back into an empty folder: airmuster import --data NEWDIR FILE.zip
";

/// Why there is no export, or nothing was taken back.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// Something is there already, or cannot get its place.
    #[error(transparent)]
    Place(#[from] BackupError),
    /// The file is not one of ours, or not whole.
    #[error("this export cannot be taken back: {0}")]
    Unsound(String),
    /// The file or folder cannot be read or written.
    #[error("{0}: {1}")]
    File(PathBuf, std::io::Error),
    /// The ZIP file itself.
    #[error("the ZIP file: {0}")]
    Zip(#[from] zip::result::ZipError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

#[derive(Serialize, Deserialize)]
struct Manifest {
    airmuster_export: u32,
    made: String,
    program: String,
    records: i64,
    head: Digest,
    /// SHA-256 by file.
    files: BTreeMap<String, Digest>,
}

/// A photograph: its name in records, and what is kept of it.
#[derive(Serialize, Deserialize)]
struct Photograph {
    photo: Digest,
    received_at: Millis,
    width: u32,
    height: u32,
    file: String,
}

#[derive(Serialize, Deserialize)]
struct Line<'a> {
    seq: i64,
    received_at: Millis,
    hash: Digest,
    #[serde(borrow)]
    record: std::borrow::Cow<'a, str>,
}

/// Writes everything into a file that must not exist yet; with what members are called if asked.
///
/// # Errors
/// When it cannot be read or written; no file is left behind then.
pub async fn export(store: &Store, clock: &Clock, file: &Path, people: bool) -> Result<Head, ArchiveError> {
    if file.exists() {
        return Err(BackupError::Exists(file.to_owned()).into());
    }
    let failed = |e| ArchiveError::File(file.to_owned(), e);
    // From a copy, so that all of it is as of one moment while the program serves.
    let dir = tempfile::tempdir().map_err(failed)?;
    progress::begin("copying", 0);
    store.copy_to(&dir.path().join(store::FILE)).await?;
    let copy = Store::open(dir.path(), clock.id()).await?;
    let part = part_of(file);
    let written = write_all(&copy, clock.now(), &part, people).await;
    copy.close().await;
    match written {
        Ok(head) => {
            put(&part, file)?;
            Ok(head)
        }
        Err(e) => {
            let _ = std::fs::remove_file(&part);
            Err(e)
        }
    }
}

async fn write_all(store: &Store, now: Millis, part: &Path, people: bool) -> Result<Head, ArchiveError> {
    let failed = |e| ArchiveError::File(part.to_owned(), e);
    let file = File::create(part).map_err(failed)?;
    let mut out = Archive { zip: ZipWriter::new(BufWriter::new(file)), files: BTreeMap::new() };
    let department = store.department().await?;
    let entries = store.entries().await?;
    let names: BTreeMap<String, String> = store.names().await?.into_iter().collect();
    out.add("README.txt", README.as_bytes())?;
    let head = out.logbook(store).await?;
    out.json("register.json", &entries)?;
    let mut standings = Vec::new();
    for asset in store.assets().await? {
        standings.push(store.standing(&asset, &department.clock, now).await?);
    }
    out.json("standings.json", &standings)?;
    for (name, table) in write::register(&entries, people.then_some(&names)) {
        out.add(&format!("tables/{name}"), &table)?;
    }
    out.checks(store, &department.clock).await?;
    out.add("lists/tickets.csv", &write::tickets(&store.tickets().await?, &department.clock).csv())?;
    out.photographs(store).await?;
    if people {
        out.json("people.json", &names)?;
    }
    let made = DateTime::from_timestamp_millis(now).map(|t| t.to_rfc3339()).unwrap_or_default();
    let manifest = Manifest {
        airmuster_export: VERSION,
        made,
        program: CLIENT.to_owned(),
        records: head.seq,
        head: head.hash,
        files: std::mem::take(&mut out.files),
    };
    out.json("manifest.json", &manifest)?;
    let buffered = out.zip.finish()?;
    buffered.into_inner().map_err(|e| failed(e.into_error()))?;
    Ok(head)
}

struct Archive<W: Write + Seek> {
    zip: ZipWriter<W>,
    files: BTreeMap<String, Digest>,
}

impl<W: Write + Seek> Archive<W> {
    fn add(&mut self, name: &str, bytes: &[u8]) -> Result<(), ArchiveError> {
        self.zip.start_file(name, SimpleFileOptions::default())?;
        self.zip.write_all(bytes).map_err(zip::result::ZipError::Io)?;
        self.files.insert(name.to_owned(), Digest::of(bytes));
        Ok(())
    }

    fn json(&mut self, name: &str, value: &impl Serialize) -> Result<(), ArchiveError> {
        let text =
            serde_json::to_vec_pretty(value).map_err(|e| ArchiveError::Unsound(format!("{name}: {e}")))?;
        self.add(name, &text)
    }

    /// Page by page: there may be millions.
    async fn checks(&mut self, store: &Store, clock: &ShiftClock) -> Result<(), ArchiveError> {
        let name = "lists/checks.csv";
        self.zip.start_file(name, SimpleFileOptions::default().large_file(true))?;
        let mut hash = Sha256::new();
        let mut after = None;
        loop {
            let rows = store.checks_after(after.unwrap_or(0), PAGE).await?;
            let text = write::checks(&rows, clock).csv_part(after.is_none());
            hash.update(&text);
            self.zip.write_all(&text).map_err(zip::result::ZipError::Io)?;
            let Some(last) = rows.last() else { break };
            after = Some(last.seq);
        }
        self.files.insert(name.to_owned(), Digest(hash.finalize().into()));
        Ok(())
    }

    async fn photographs(&mut self, store: &Store) -> Result<(), ArchiveError> {
        let mut all: Vec<Photograph> = Vec::new();
        while let Some((photo, received_at, picture)) =
            store.picture_after(all.last().map(|p| &p.photo)).await?
        {
            let file = format!("photos/{photo}.jpg");
            self.add(&file, &picture.bytes)?;
            all.push(Photograph { photo, received_at, width: picture.width, height: picture.height, file });
        }
        self.json("photos.json", &all)
    }

    async fn logbook(&mut self, store: &Store) -> Result<Head, ArchiveError> {
        let name = "logbook.jsonl";
        self.zip.start_file(name, SimpleFileOptions::default().large_file(true))?;
        let mut hash = Sha256::new();
        let mut after = 0;
        progress::begin("writing", store.head().await?.seq);
        loop {
            let rows = store.rows_after(after, PAGE).await?;
            let Some(last) = rows.last() else { break };
            after = last.read()?.seq;
            for row in &rows {
                let row = row.read()?;
                let wrong = |e: String| ArchiveError::Unsound(format!("record {}: {e}", row.seq));
                let line = Line {
                    seq: row.seq,
                    received_at: row.received_at,
                    hash: row.hash.try_into().map(Digest).map_err(|_| wrong("its link".to_owned()))?,
                    record: std::str::from_utf8(row.bytes).map_err(|e| wrong(e.to_string()))?.into(),
                };
                let mut text = serde_json::to_vec(&line).map_err(|e| wrong(e.to_string()))?;
                text.push(b'\n');
                hash.update(&text);
                self.zip.write_all(&text).map_err(zip::result::ZipError::Io)?;
            }
            progress::done(after);
        }
        progress::begin("writing lists", 0);
        self.files.insert(name.to_owned(), Digest(hash.finalize().into()));
        Ok(store.head().await?)
    }
}

/// Whether a file begins as a ZIP file does.
pub fn is_zip(file: &Path) -> bool {
    let mut begins = [0; 4];
    File::open(file).and_then(|mut f| f.read_exact(&mut begins)).is_ok() && begins == *b"PK\x03\x04"
}

/// Takes an export back into a folder that has no database yet. Every link of the chain is made
/// anew and must come out as it was; only then is the database put in its place. As after a
/// restore, tablets hand in again what they still have.
///
/// # Errors
/// When it is not whole; nothing is left behind then.
pub async fn take_back(file: &Path, dir: &Path, clock: &Clock) -> Result<Head, ArchiveError> {
    let target = dir.join(store::FILE);
    if target.exists() {
        return Err(BackupError::Exists(target).into());
    }
    std::fs::create_dir_all(dir).map_err(|e| ArchiveError::File(dir.to_owned(), e))?;
    // Beside its place, so that moving it there is one step.
    let building = tempfile::tempdir_in(dir).map_err(|e| ArchiveError::File(dir.to_owned(), e))?;
    let store = Store::open(building.path(), clock.id()).await?;
    let rebuilt = rebuild(file, &store, clock).await;
    store.close().await;
    let head = rebuilt?;
    put(&building.path().join(store::FILE), &target)?;
    Ok(head)
}

async fn rebuild(file: &Path, store: &Store, clock: &Clock) -> Result<Head, ArchiveError> {
    let opened = File::open(file).map_err(|e| ArchiveError::File(file.to_owned(), e))?;
    let mut zip = ZipArchive::new(BufReader::new(opened))?;
    let unsound = |say: String| ArchiveError::Unsound(say);
    let manifest: Manifest = serde_json::from_slice(&whole(&mut zip, "manifest.json")?)
        .map_err(|e| unsound(format!("manifest.json cannot be read: {e}")))?;
    if manifest.airmuster_export != VERSION {
        let other = manifest.airmuster_export;
        return Err(unsound(format!("it is of version {other}; this program reads version {VERSION}")));
    }
    progress::begin("taking back", manifest.records);
    let mut hash = Sha256::new();
    let mut reader = BufReader::new(zip.by_name("logbook.jsonl")?);
    let mut nth = 0;
    loop {
        let mut lines = Vec::new();
        let mut read = 0;
        while read < PAGE {
            let mut line = Vec::new();
            (&mut reader)
                .take(LONGEST_LINE)
                .read_until(b'\n', &mut line)
                .map_err(|e| unsound(format!("record {}: {e}", nth + read + 1)))?;
            if line.is_empty() {
                break;
            }
            hash.update(&line);
            lines.push(line);
            read += 1;
        }
        if lines.is_empty() {
            break;
        }
        let mut write = store.begin().await?;
        for line in lines {
            nth += 1;
            append(&mut write, nth, &line).await?;
        }
        write.commit().await?;
        progress::done(nth);
    }
    progress::begin("looking whether all of it is here", 0);
    drop(reader);
    if manifest.files.get("logbook.jsonl") != Some(&Digest(hash.finalize().into())) {
        return Err(unsound("logbook.jsonl is not the file that the manifest names".to_owned()));
    }
    let head = store.head().await?;
    if (head.seq, head.hash) != (manifest.records, manifest.head) {
        return Err(unsound(format!("the logbook ends in {} and not in {}", head.hash, manifest.head)));
    }
    photographs_back(&mut zip, &manifest, store).await?;
    if manifest.files.contains_key("people.json") {
        let text = named(&mut zip, &manifest, "people.json")?;
        let names: BTreeMap<String, String> =
            serde_json::from_slice(&text).map_err(|e| unsound(format!("people.json cannot be read: {e}")))?;
        let mut write = store.begin().await?;
        for (member, name) in names {
            write.set_person(&member, &name, None).await?;
        }
        write.commit().await?;
    }
    let report = verify(store, clock.now(), Some(manifest.head), Depth::Tables).await?;
    match report.problems.first() {
        None => Ok(head),
        Some(first) => Err(unsound(first.clone())),
    }
}

/// Takes the photographs back, each as the manifest names it.
async fn photographs_back(
    zip: &mut ZipArchive<BufReader<File>>,
    manifest: &Manifest,
    store: &Store,
) -> Result<(), ArchiveError> {
    let all: Vec<Photograph> = serde_json::from_slice(&named(zip, manifest, "photos.json")?)
        .map_err(|e| ArchiveError::Unsound(format!("photos.json cannot be read: {e}")))?;
    for p in all {
        let picture =
            store::Picture { width: p.width, height: p.height, bytes: named(zip, manifest, &p.file)? };
        let mut write = store.begin().await?;
        write.keep_picture(&p.photo, &picture, p.received_at).await?;
        write.commit().await?;
    }
    Ok(())
}

/// A file whose SHA-256 is the one in the manifest.
fn named(
    zip: &mut ZipArchive<BufReader<File>>,
    manifest: &Manifest,
    name: &str,
) -> Result<Vec<u8>, ArchiveError> {
    let bytes = whole(zip, name)?;
    if manifest.files.get(name) == Some(&Digest::of(&bytes)) {
        Ok(bytes)
    } else {
        Err(ArchiveError::Unsound(format!("{name} is not the file that the manifest names")))
    }
}

/// Appends a record as it was: its authority was decided when it was made.
async fn append(write: &mut store::Write, nth: i64, line: &[u8]) -> Result<(), ArchiveError> {
    let unsound = |say: String| ArchiveError::Unsound(format!("record {nth}: {say}"));
    let line: Line = serde_json::from_slice(line).map_err(|e| unsound(e.to_string()))?;
    let bytes = line.record.as_bytes();
    let record = decode(bytes).map_err(|e| unsound(e.to_string()))?;
    let place = write.append(&record, bytes, line.received_at);
    write.project(&record, place).await?;
    if line.seq != nth || write.head().hash != line.hash {
        return Err(unsound("its link of the chain does not fit".to_owned()));
    }
    Ok(())
}

fn whole(zip: &mut ZipArchive<BufReader<File>>, name: &str) -> Result<Vec<u8>, ArchiveError> {
    let mut bytes = Vec::new();
    let file = zip.by_name(name)?;
    file.take(LARGEST_FILE + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| ArchiveError::Unsound(format!("{name}: {e}")))?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(ArchiveError::Unsound(format!("{name} is too large")));
    }
    Ok(bytes)
}
