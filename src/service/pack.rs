//! What an inspector asks for, in one ZIP file of tables: every inspection of a period with the five
//! fields of 29 CFR 1910.134(h)(3)(iv) (date, who inspected, findings, required remedial action,
//! serial number or other identification), and what stands behind it. Clearances are not in it.

use std::io::{Cursor, Write as _};

use airmuster_domain::fitted::Serials;
use airmuster_domain::judge::Finding;
use airmuster_domain::quantity::Pressure;
use airmuster_domain::readiness::fit_until;
use airmuster_domain::record::{AssetKind, Body, Desk, Record, Work};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Consequence;
use airmuster_domain::upkeep::{decimal, grade_d};
use chrono::NaiveDate;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::exchange::write::Sheet;
use super::history::Event;
use super::past::{Asked, Period};
use super::ticket::thing_words;
use super::upkeep::Ledger;
use crate::store::{CheckRow, Kept, Store, StoreError};

/// What was done on a day is written down on that day or later, by clocks that may be so far apart.
const SLACK: i64 = 24 * 60 * 60_000;

/// Why there is no pack.
#[derive(Debug, thiserror::Error)]
pub enum PackError {
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The ZIP file itself.
    #[error("the ZIP file: {0}")]
    Zip(#[from] zip::result::ZipError),
}

const README: &str = "\
What stands behind the respirators of a department, from one logbook. Times are the department's own.

inspections.csv   every inspection of the period: date, who inspected, findings, remedial action, and
                  the unit with the serial numbers that it had then. \"record\" is its number in the
                  logbook.
tests.csv         flow tests, requalifications and other upkeep of the period, with the reference
cylinders.csv     every cylinder: rating, marks, last requalification, when the next one is due
fit-tests.csv     who was fit-tested with which facepiece, and until when it counts; nothing medical
technicians.csv   who may sign repairs of which kind of unit, and until when
air.csv           air samples of the period, with the laboratory's reference
";

/// Makes it.
///
/// # Errors
/// When the database cannot be read.
pub async fn pack(store: &Store, now: i64, asked: &Asked) -> Result<Vec<u8>, PackError> {
    let ledger = Ledger::load(store, now).await?;
    let period = Period::load(store, now, asked).await?;
    let head = store.head().await?;
    let local = |t: i64| ledger.fleet.department.clock.local(t);
    let readme = format!(
        "{}\n{} to {}\nLogbook head: record {}, {}\n\n{README}",
        ledger.fleet.department.name,
        local(asked.from).format("%Y-%m-%d"),
        local(asked.to - 1).format("%Y-%m-%d"),
        head.seq,
        head.hash
    );
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let mut add = |name: &str, bytes: &[u8]| -> Result<(), PackError> {
        zip.start_file(name, SimpleFileOptions::default())?;
        zip.write_all(bytes).map_err(zip::result::ZipError::Io)?;
        Ok(())
    };
    add("read-me.txt", readme.as_bytes())?;
    add("inspections.csv", &inspections(store, &ledger, &period, asked).await?)?;
    add("tests.csv", &tests(store, &ledger, asked).await?)?;
    add("cylinders.csv", &cylinders(&ledger))?;
    add("fit-tests.csv", &fit_tests(store, &ledger).await?)?;
    add("technicians.csv", &technicians(store, &ledger).await?)?;
    add("air.csv", &air(store, &ledger, asked).await?)?;
    Ok(zip.finish()?.into_inner())
}

async fn inspections(
    store: &Store,
    ledger: &Ledger,
    period: &Period,
    asked: &Asked,
) -> Result<Vec<u8>, StoreError> {
    let fleet = &ledger.fleet;
    let headings = [
        "date",
        "time",
        "inspected by",
        "unit",
        "serial numbers",
        "why",
        "findings",
        "remedial action",
        "record",
    ];
    let parts = store.parts_records().await?;
    let mut rows = Vec::new();
    for number in period.units.keys() {
        let mut serials = Serials::default();
        for Kept { record, .. } in &parts {
            if let Body::Desk(desk) = &record.body {
                serials.hear(number, desk, record.envelope.time());
            }
        }
        for check in store.checks_between(number, (asked.from, asked.to)).await? {
            let theirs = asked.member.is_none() || check.by == asked.member;
            if !theirs || !period.counts(number, check.at) {
                continue;
            }
            let (findings, remedy) = found(store, ledger, &check).await?;
            let of_then: Vec<String> =
                serials.at(check.at).into_iter().map(|(part, serial)| format!("{part} {serial}")).collect();
            let at = fleet.department.clock.local(check.at);
            rows.push(vec![
                at.format("%Y-%m-%d").to_string(),
                at.format("%H:%M").to_string(),
                check.by.as_deref().map_or("unsigned", |by| fleet.name(by)).to_owned(),
                number.clone(),
                of_then.join("; "),
                check.purpose.replace(['_', '-'], " "),
                findings,
                remedy,
                check.seq.to_string(),
            ]);
        }
    }
    rows.sort();
    Ok(Sheet::new(&headings, rows).csv())
}

/// What a check found, and what was done about it.
async fn found(store: &Store, ledger: &Ledger, check: &CheckRow) -> Result<(String, String), StoreError> {
    if check.clean && check.outcome == "complete" {
        let Some(kept) = store.record(check.seq).await? else { return Ok((String::new(), String::new())) };
        // Clean says that nothing stayed; a remark, or what was put right at once, is still a finding.
        let event = Event::of(store, kept).await?;
        let findings = event.judged.map(|j| j.judgement.findings).unwrap_or_default();
        if findings.is_empty() {
            return Ok(("none".to_owned(), "none".to_owned()));
        }
        return Ok((findings_words(&findings), settled_words(&findings)));
    }
    let Some(kept) = store.record(check.seq).await? else { return Ok((String::new(), String::new())) };
    let event = Event::of(store, kept).await?;
    let findings = event.judged.map(|j| j.judgement.findings).unwrap_or_default();
    let mut said = findings_words(&findings);
    if check.outcome != "complete" {
        let words = format!("not complete ({})", check.outcome.replace('_', " "));
        said = if said.is_empty() { words } else { format!("{said}; {words}") };
    }
    let mut remedies: Vec<String> = Vec::new();
    for (raise, cleared) in store.raised_by(check.name.id).await? {
        let words = match cleared {
            None => format!("open; cleared by {}", raise.kind.terms().cleared_by),
            Some(at) => {
                let answers = store.answers_to(&raise).await?;
                let returned = answers.iter().rev().find_map(|k| remedy(ledger, k));
                let day = ledger.fleet.department.clock.local(at).format("%Y-%m-%d");
                returned.unwrap_or_else(|| format!("put right, and good when checked again on {day}"))
            }
        };
        if !remedies.contains(&words) {
            remedies.push(words);
        }
    }
    if remedies.is_empty() {
        remedies.push(settled_words(&findings));
    }
    Ok((if said.is_empty() { "none".to_owned() } else { said }, remedies.join("; ")))
}

fn findings_words(findings: &[Finding]) -> String {
    let one = |f: &Finding| {
        let what = if f.working.starts_with(&f.title) {
            f.working.clone()
        } else {
            format!("{}: {}", f.title, f.working)
        };
        match &f.item {
            Some(item) => format!("{what} ({item})"),
            None => what,
        }
    };
    findings.iter().map(one).collect::<Vec<_>>().join("; ")
}

fn settled_words(findings: &[Finding]) -> String {
    if findings.iter().any(|f| f.consequence != Consequence::Remark) {
        "put right in the same check".to_owned()
    } else if findings.is_empty() {
        "none".to_owned()
    } else {
        "none needed".to_owned()
    }
}

fn remedy(ledger: &Ledger, kept: &Kept) -> Option<String> {
    let Body::Desk(Desk::Return(r)) = &kept.record.body else { return None };
    let at = ledger.fleet.department.clock.local(kept.record.envelope.time()).format("%Y-%m-%d").to_string();
    let by = kept.record.envelope.by.as_deref().map_or("nobody", |by| ledger.fleet.name(by));
    let test = r.bench_test.as_deref().map(|t| format!(" ({t})")).unwrap_or_default();
    Some(format!("{}{test}; returned to service on {at} by {by}", r.remedy))
}

async fn tests(store: &Store, ledger: &Ledger, asked: &Asked) -> Result<Vec<u8>, StoreError> {
    let row = |record: &Record| {
        let Body::Desk(Desk::Upkeep(u)) = &record.body else { return None };
        if !of_period(ledger, asked, u.on) {
            return None;
        }
        let by = record.envelope.by.as_deref().map_or("", |by| ledger.fleet.name(by)).to_owned();
        let passed = if u.passed { "passed" } else { "failed" }.to_owned();
        let thing = thing_words(&u.asset);
        Some(vec![
            u.on.to_string(),
            thing,
            u.work.words().to_owned(),
            passed,
            u.reference.clone(),
            by,
            u.note.clone(),
        ])
    };
    let rows = store.upkeep_since("upkeep", asked.from - SLACK).await?;
    let headings = ["date", "thing", "work", "result", "reference", "written down by", "note"];
    Ok(Sheet::new(&headings, rows.iter().filter_map(|k| row(&k.record))).csv())
}

/// Whether a local day is of the period.
fn of_period(ledger: &Ledger, asked: &Asked, on: NaiveDate) -> bool {
    let day = |t: i64| ledger.fleet.department.clock.local(t).date_naive();
    (day(asked.from)..=day(asked.to - 1)).contains(&on)
}

fn cylinders(ledger: &Ledger) -> Vec<u8> {
    let headings = [
        "number",
        "rated",
        "made to",
        "serial",
        "made",
        "last requalified",
        "next due",
        "life ends",
        "retired",
    ];
    let things = ledger.upkeep.things.iter().filter(|(asset, _)| asset.kind == AssetKind::Cylinder);
    let rows = things.map(|(asset, thing)| {
        let marks = thing.marks.as_ref();
        let due = ledger.upkeep.due(asset, Work::Requalification);
        vec![
            asset.number.clone(),
            thing.rated.map(Pressure::words).unwrap_or_default(),
            marks.map(|m| m.spec.words().to_owned()).unwrap_or_default(),
            marks.map(|m| m.serial.clone()).unwrap_or_default(),
            marks.map(|m| m.made.to_string()).unwrap_or_default(),
            marks.and_then(|m| m.requalified).map(|m| m.to_string()).unwrap_or_default(),
            due.map(|d| d.to_string()).unwrap_or_default(),
            thing.life_until().map(|m| m.to_string()).unwrap_or_default(),
            if thing.gone { "yes" } else { "no" }.to_owned(),
        ]
    });
    Sheet::new(&headings, rows).csv()
}

async fn fit_tests(store: &Store, ledger: &Ledger) -> Result<Vec<u8>, StoreError> {
    let headings = ["member", "tested", "counts until", "make", "model", "style", "size"];
    let rows = store.fit_tests().await?.into_iter().map(|f| {
        let kind = f.kind;
        vec![
            ledger.fleet.name(&f.member).to_owned(),
            f.tested.to_string(),
            fit_until(f.tested).to_string(),
            kind.make,
            kind.model,
            kind.style,
            kind.size,
        ]
    });
    Ok(Sheet::new(&headings, rows).csv())
}

async fn technicians(store: &Store, ledger: &Ledger) -> Result<Vec<u8>, StoreError> {
    let signers = store.signers().await?;
    let rows = signers.iter().filter(|s| s.roles.contains(&Role::Technician)).flat_map(|signer| {
        signer.qualified.iter().map(|family| {
            let until = ledger.upkeep.qualified.get(&signer.id).and_then(|of| of.get(family));
            let until = until.map_or_else(|| "not said".to_owned(), NaiveDate::to_string);
            vec![ledger.fleet.name(&signer.id).to_owned(), family.clone(), until]
        })
    });
    Ok(Sheet::new(&["member", "kind of unit", "until"], rows).csv())
}

async fn air(store: &Store, ledger: &Ledger, asked: &Asked) -> Result<Vec<u8>, StoreError> {
    let headings = [
        "date",
        "source",
        "oxygen %",
        "oil mg/m3",
        "carbon monoxide ppm",
        "carbon dioxide ppm",
        "odour",
        "grade D",
        "reference",
    ];
    let yes = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
    let row = |record: &Record| {
        let Body::Desk(Desk::AirSample(s)) = &record.body else { return None };
        if !of_period(ledger, asked, s.on) {
            return None;
        }
        let source = ledger.upkeep.sources.get(&s.source).map_or(&s.source, |known| &known.name);
        Some(vec![
            s.on.to_string(),
            source.clone(),
            decimal(s.oxygen, 2),
            decimal(s.oil, 2),
            decimal(s.monoxide, 1),
            s.dioxide.to_string(),
            yes(s.odour),
            yes(grade_d(s).is_empty()),
            s.reference.clone(),
        ])
    };
    let rows = store.upkeep_since("air_sample", asked.from - SLACK).await?;
    Ok(Sheet::new(&headings, rows.iter().filter_map(|k| row(&k.record))).csv())
}
