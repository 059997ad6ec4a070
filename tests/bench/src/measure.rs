//! What is measured, and the table of it. Every rate stands beside that of a yardstick which ran just
//! before and after it on the same machine.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use airmuster::clock::Clock;
use airmuster_domain::judge::judge;
use hyper::Method;
use hyper::body::Bytes;
use tokio::process::Command;

use super::bare;
use super::client::{Connection, Failed, Lasts, load, pages};
use super::make::PIN;
use super::past::{ADMINISTRATOR, Past, TECHNICIAN, officer, station, units};
use super::server::Server;

/// How long one round of a load lasts.
const ROUND: Duration = Duration::from_millis(1_500);
const ROUNDS: usize = 3;
/// How long a tablet shows a page until it asks for the next one.
const GLANCE: Duration = Duration::from_millis(250);
/// Each minute all pages are rendered anew: so long, one turn of it is within, and no more than its share.
const A_MINUTE: Duration = Duration::from_mins(1);
/// Connections that ask for a page again and again.
const ASKING: usize = 4;

/// One line of the table.
struct Figure {
    what: String,
    /// What it should be.
    target: &'static str,
    /// What it is, in each folder.
    is: Vec<String>,
}

/// All figures so far.
#[derive(Default)]
struct Table(Vec<Figure>);

impl Table {
    fn put(&mut self, what: impl Into<String>, target: &'static str, is: String) {
        let what = what.into();
        match self.0.iter_mut().find(|f| f.what == what) {
            Some(f) => f.is.push(is),
            None => self.0.push(Figure { what, target, is: vec![is] }),
        }
    }

    fn print(&self, columns: &[PathBuf]) {
        let names = columns.iter().map(|c| c.file_name().unwrap_or_default().to_string_lossy().into_owned());
        let head = Figure { what: String::new(), target: "target", is: names.collect() };
        for f in std::iter::once(&head).chain(&self.0) {
            print!("{:<46} {:>14}", f.what, f.target);
            for is in &f.is {
                print!("  {is:>24}");
            }
            println!();
        }
    }
}

fn milliseconds(d: Duration) -> String {
    format!("{:.1} ms", d.as_secs_f64() * 1_000.0)
}

fn median(mut of: Vec<f64>) -> f64 {
    of.sort_by(f64::total_cmp);
    of.get(of.len() / 2).copied().unwrap_or_default()
}

/// Measures `program` with each folder and prints the table.
pub async fn measure(program: &Path, dirs: &[PathBuf]) -> Result<(), Failed> {
    let mut table = Table::default();
    for (nth, dir) in dirs.iter().enumerate() {
        eprintln!("measuring with {}", dir.display());
        sizes(&mut table, program, dir).await?;
        start(&mut table, program, dir).await?;
        let (server, _) = Server::airmuster(program, dir).await?;
        table.put("memory after the start", "", mebibytes(server.memory()?.now));
        let mut visitors = Visitors::sign_in(&server).await?;
        one_by_one(&mut table, &server, &visitors).await?;
        against_memory(&mut table, &server, &visitors).await?;
        at_shift_start(&mut table, &server, &visitors).await?;
        hand_in(&mut table, &server, dir, &mut visitors).await?;
        sign_in_together(&mut table, &server).await?;
        table.put("memory at most", "80 MiB", mebibytes(server.memory()?.most));
        server.stop().await?;
        // Making every table anew takes minutes a year: the first of several folders says how fast that is.
        let flags: &[Option<&str>] =
            if nth == 0 && dirs.len() > 1 { &[Some("--quick"), None] } else { &[Some("--quick")] };
        verify(&mut table, program, dir, flags).await?;
        judging(&mut table)?;
    }
    table.print(dirs);
    Ok(())
}

fn mebibytes(kib: u64) -> String {
    format!("{} MiB", kib.div_ceil(1024))
}

async fn sizes(table: &mut Table, program: &Path, dir: &Path) -> Result<(), Failed> {
    let store = airmuster::store::Store::open(dir, Clock::System.id()).await?;
    let head = store.head().await?.seq;
    store.leave_nothing().await?;
    store.close().await;
    let bytes = std::fs::metadata(store.path())?.len();
    table.put("records", "", head.to_string());
    table.put(
        "database",
        "4 kB a record",
        format!("{} MB, {} B each", bytes / 1_000_000, bytes / u64::try_from(head)?.max(1)),
    );
    table.put(
        "program",
        "25 MB",
        format!("{:.1} MB", f64::from(u32::try_from(std::fs::metadata(program)?.len())?) / 1e6),
    );
    Ok(())
}

async fn start(table: &mut Table, program: &Path, dir: &Path) -> Result<(), Failed> {
    let mut took = Vec::new();
    for _ in 0..5 {
        let (server, until_ready) = Server::airmuster(program, dir).await?;
        took.push(until_ready.as_secs_f64() * 1_000.0);
        server.stop().await?;
    }
    table.put("start to ready", "300 ms", format!("{:.0} ms", median(took)));
    Ok(())
}

/// Sessions of everybody who is needed.
struct Visitors {
    officer: String,
    technician: String,
    administrator: String,
}

impl Visitors {
    async fn sign_in(server: &Server) -> Result<Self, Failed> {
        let mut connection = Connection::open(server.address, None).await?;
        Ok(Self {
            officer: connection.sign_in(&officer(0), PIN).await?,
            technician: connection.sign_in(TECHNICIAN, PIN).await?,
            administrator: connection.sign_in(ADMINISTRATOR, PIN).await?,
        })
    }
}

/// Who asks for what: a name, an address, and whose session.
fn asked(v: &Visitors) -> Vec<(&'static str, String, &str)> {
    let unit = units(0).start;
    vec![
        ("station board", format!("/stations/{}", station(0)), &v.officer),
        ("roster", "/rigs".to_owned(), &v.officer),
        ("bench", "/bench".to_owned(), &v.technician),
        ("unit", format!("/units/{unit}"), &v.officer),
        ("check form", format!("/units/{unit}/check"), &v.officer),
    ]
}

/// Pages that nobody asks for a hundred times a second, but which are to be there at once.
fn more(v: &Visitors) -> Vec<(&'static str, String, &str)> {
    fn page<'a>(name: &'static str, path: &str, who: &'a str) -> (&'static str, String, &'a str) {
        (name, path.to_owned(), who)
    }
    vec![
        page("rig", "/rigs/rig-0-0", &v.officer),
        page("wall", "/wall", &v.officer),
        page("swap plan", "/swap", &v.officer),
        page("teams", "/teams", &v.officer),
        page("crew form", "/rigs/rig-0-0/crew", &v.officer),
        page("acceptance form", "/rigs/rig-0-0/accept", &v.officer),
        page("daily sheet", "/rigs/rig-0-0/sheet", &v.officer),
        page("without inspection", "/uninspected", &v.officer),
        page("kept roster", "/rigs/rig-0-0/roster", &v.officer),
        page("rig's status", "/rigs/rig-0-0/status", &v.officer),
        page("used units", "/rigs/rig-0-0/used", &v.officer),
        page("how often things are checked", "/cadences", &v.officer),
        page("loans", "/loans", &v.officer),
        page("record of a period", "/past", &v.officer),
        page("each check of a member", &format!("/past?member={}", officer(0)), &v.officer),
        page("questions", "/questions", &v.officer),
        page("fitness", "/fitness", &v.officer),
        page("watch list", "/watch", &v.technician),
        page("upkeep", "/upkeep", &v.technician),
        page("cylinders", "/cylinders", &v.technician),
        page("register of units", "/register/units", &v.administrator),
    ]
}

async fn one_by_one(table: &mut Table, server: &Server, v: &Visitors) -> Result<(), Failed> {
    let mut slowest = (Duration::ZERO, "");
    for (name, path, cookie) in asked(v).into_iter().chain(more(v)) {
        let mut connection = Connection::open(server.address, Some(cookie.to_owned())).await?;
        let began = Instant::now();
        connection.get(&path).await?;
        slowest = slowest.max((began.elapsed(), name));
        let l = pages(server.address, Some(cookie), &path, 1, Duration::from_secs(1)).await;
        let is = l.map_or_else(|e| e.to_string(), |l| milliseconds(l.half));
        table.put(format!("{name}, half of them in"), "20 ms", is);
    }
    // No page but a file of everything, made once in a while: what it takes is said.
    for (name, path) in [
        ("inspector's pack, a rig's month", "/past/pack?rig=rig-0-0"),
        ("inspector's pack, everybody's month", "/past/pack"),
    ] {
        let mut connection = Connection::open(server.address, Some(v.officer.clone())).await?;
        let began = Instant::now();
        connection.get(path).await?;
        table.put(name, "", milliseconds(began.elapsed()));
    }
    let (took, name) = slowest;
    table.put("the slowest, the first time after a start", "", format!("{name} {}", milliseconds(took)));
    Ok(())
}

async fn against_memory(table: &mut Table, server: &Server, v: &Visitors) -> Result<(), Failed> {
    let folder = tempfile::tempdir()?;
    let pages_of = asked(v);
    for (nth, (_, path, cookie)) in pages_of.iter().enumerate() {
        let mut connection = Connection::open(server.address, Some((*cookie).to_owned())).await?;
        std::fs::write(folder.path().join(nth.to_string()), connection.get(path).await?.body)?;
    }
    let memory = Server::from_memory(folder.path()).await?;
    for (nth, (name, path, cookie)) in pages_of.iter().enumerate() {
        let (mut ours, mut theirs) = (Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            let same = format!("/{nth}");
            theirs.push(pages(memory.address, Some(cookie), &same, ASKING, ROUND).await?.rate);
            ours.push(pages(server.address, Some(cookie), path, ASKING, ROUND).await?.rate);
        }
        let (ours, theirs) = (median(ours), median(theirs));
        table.put(
            format!("{name}, of the rate from memory"),
            "0.25",
            format!("{:.2} ({ours:.0}/s)", ours / theirs),
        );
    }
    memory.stop().await
}

/// Fifty tablets, each of which loads a board and then a form, and looks at it for a moment.
async fn at_shift_start(table: &mut Table, server: &Server, v: &Visitors) -> Result<(), Failed> {
    let l =
        load(server.address, Some(&v.officer), 50, Lasts { all: A_MINUTE, pause: GLANCE }, |c, nth, turn| {
            Box::pin(async move {
                let unit = units(nth % 20).start + nth / 20;
                let path = if turn % 2 == 0 {
                    format!("/stations/{}", station(nth % 20))
                } else {
                    format!("/units/{unit}/check")
                };
                c.get(&path).await
            })
        });
    let l = l.await?;
    table.put("50 tablets, 99 of 100 pages in", "10 ms", milliseconds(l.p99));
    Ok(())
}

async fn hand_in(table: &mut Table, server: &Server, dir: &Path, v: &mut Visitors) -> Result<(), Failed> {
    let clock = Clock::System;
    let mut past = Past::new(clock.now(), 1, 7);
    let by = officer(0);
    let mut records = Vec::new();
    for n in 0..40_000 {
        let unit = units(n % 20).start + n / 20 % 20;
        records.push(past.one_check(clock.now(), unit, &by));
    }
    let (alone, together): (Vec<_>, Vec<_>) = records.into_iter().enumerate().partition(|(n, _)| n % 4 == 0);
    let bytes = |of: Vec<(usize, Vec<u8>)>| of.into_iter().map(|(_, r)| r).collect::<Vec<_>>();
    let (alone, together) = (bytes(alone), bytes(together));
    let (mut bare, mut one, mut many) = (Vec::new(), Vec::new(), Vec::new());
    for round in 0..ROUNDS {
        bare.push(bare::inserts(dir, &alone, ROUND).await?);
        one.push(post(server, &v.officer, 1, part(&alone, round)).await?);
        many.push(post(server, &v.officer, 64, part(&together, round)).await?);
    }
    let (bare, one, many) = (median(bare), median(one), median(many));
    table.put("bare insert, a commit each", "", format!("{bare:.0}/s"));
    table.put("a check handed in, of a bare insert", "0.6", format!("{:.2} ({one:.0}/s)", one / bare));
    table.put("64 tablets handing in, of bare inserts", "2", format!("{:.2} ({many:.0}/s)", many / bare));
    Ok(())
}

fn part(of: &[Vec<u8>], round: usize) -> Arc<Vec<Bytes>> {
    let each = of.len() / ROUNDS;
    Arc::new(of.iter().skip(round * each).take(each).map(|r| Bytes::copy_from_slice(r)).collect())
}

async fn post(server: &Server, cookie: &str, many: usize, records: Arc<Vec<Bytes>>) -> Result<f64, Failed> {
    let each = records.len() / many;
    let l = load(
        server.address,
        Some(cookie),
        many,
        Lasts { all: ROUND, pause: Duration::ZERO },
        move |c, nth, turn| {
            let record = usize::try_from(turn)
                .ok()
                .filter(|t| *t < each)
                .and_then(|t| records.get(nth * each + t))
                .cloned();
            Box::pin(async move {
                let record = record.ok_or("more records are needed")?;
                c.ask(Method::POST, "/api/v1/records", "application/json", record).await
            })
        },
    );
    Ok(l.await?.rate)
}

/// What it costs when a whole shift signs in at once.
async fn sign_in_together(table: &mut Table, server: &Server) -> Result<(), Failed> {
    let began = Instant::now();
    let mut coming = Vec::new();
    for s in 0..20 {
        let to = server.address;
        coming.push(tokio::spawn(async move {
            Connection::open(to, None).await?.sign_in(&officer(s), PIN).await
        }));
    }
    for one in coming {
        one.await??;
    }
    table.put("20 members sign in at once", "", format!("{:.1} s", began.elapsed().as_secs_f64()));
    Ok(())
}

async fn verify(table: &mut Table, program: &Path, dir: &Path, flags: &[Option<&str>]) -> Result<(), Failed> {
    let store = airmuster::store::Store::open(dir, Clock::System.id()).await?;
    let records = store.head().await?.seq;
    store.close().await;
    for flag in flags {
        let name = if flag.is_some() { "verify --quick" } else { "verify" };
        let began = Instant::now();
        let mut command = Command::new(program);
        command.arg("verify").args(flag).arg("--data").arg(dir);
        let out = command.output().await?;
        if !out.status.success() {
            return Err(format!("verify: {}", String::from_utf8_lossy(&out.stderr)).into());
        }
        let rate = f64::from(u32::try_from(records)?) / began.elapsed().as_secs_f64();
        let target = if flag.is_some() { "100000/s" } else { "" };
        table.put(format!("{name}, records"), target, format!("{rate:.0}/s"));
    }
    Ok(())
}

fn judging(table: &mut Table) -> Result<(), Failed> {
    let mut past = Past::new(Clock::System.now(), 1, 7);
    let (form, answers) = past.form_and_answers().ok_or("no form")?;
    let mut took = Vec::new();
    for _ in 0..200 {
        let began = Instant::now();
        for _ in 0..100 {
            let judged = judge(&form, std::hint::black_box(&answers)).map_err(|_| "not judged")?;
            std::hint::black_box(judged);
        }
        took.push(began.elapsed().as_secs_f64() * 1e6 / 100.0);
    }
    table.put("a check judged", "5 µs", format!("{:.1} µs", median(took)));
    Ok(())
}
