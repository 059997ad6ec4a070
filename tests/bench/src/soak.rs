//! Eight tablets that work through shift after shift, each faster than people would: whether the program
//! goes on answering, and in the same memory.

use std::path::Path;
use std::time::{Duration, Instant};

use airmuster::clock::Clock;
use hyper::Method;
use hyper::body::Bytes;

use super::client::{Connection, Failed, on_tablet};
use super::make::PIN;
use super::past::{Past, member, officer, station, units};
use super::server::{Memory, Server};

const TABLETS: usize = 8;
/// How long somebody looks at a page.
const GLANCE: Duration = Duration::from_millis(400);
/// How much more memory than after the first fifth may be in use at the end, in percent.
const GROWTH: u64 = 10;

/// Lets them work for so many minutes on a data folder made before, and says what memory was in use.
pub async fn soak(program: &Path, data: &Path, minutes: u64) -> Result<(), Failed> {
    let lasts = Duration::from_secs(minutes * 60);
    let (server, _) = Server::airmuster(program, data).await?;
    let until = Instant::now() + lasts;
    let mut tablets = Vec::new();
    for nth in 0..TABLETS {
        tablets.push(tokio::spawn(work(server.address, nth, until)));
    }
    let mut memory = Vec::new();
    let each = lasts / 30;
    while Instant::now() + each < until {
        tokio::time::sleep(each).await;
        if let Some(done) = tablets.iter().position(tokio::task::JoinHandle::is_finished) {
            tablets.swap_remove(done).await??;
            return Err("a tablet stopped before the others".into());
        }
        memory.push(server.memory()?);
    }
    let mut did = Done::default();
    for tablet in tablets {
        let one = tablet.await??;
        did = Done { checks: did.checks + one.checks, pages: did.pages + one.pages };
    }
    let settled = memory.get(memory.len() / 5).map_or(0, |m| m.now);
    let last = memory.last().map_or(0, |m| m.now);
    let most = memory.iter().map(|m: &Memory| m.most).max().unwrap_or_default();
    println!(
        "{TABLETS} tablets, {minutes} min: {} checks and {} pages without a failure; memory {} MiB after a fifth of the time, {} MiB at the end, {} MiB at most",
        did.checks,
        did.pages,
        settled / 1024,
        last / 1024,
        most / 1024
    );
    server.stop().await?;
    if last > settled + settled * GROWTH / 100 {
        return Err("memory grew".into());
    }
    Ok(())
}

/// What a tablet has done.
#[derive(Default)]
struct Done {
    checks: u64,
    pages: u64,
}

/// One tablet: the board, a unit's form, its check, what became of it, and now and then an officer's look.
async fn work(to: std::net::SocketAddr, nth: usize, until: Instant) -> Result<Done, Failed> {
    let who = officer(nth);
    let cookie = Connection::open(to, None).await?.sign_in(&who, PIN).await?;
    let mut connection = Connection::open(to, Some(on_tablet(&cookie, nth))).await?;
    let mut past = Past::new(Clock::System.now(), 1, u64::try_from(nth)?);
    let mut did = Done::default();
    let ours: Vec<usize> = units(nth).collect();
    for turn in 0.. {
        let unit = ours[turn % ours.len()];
        let mut pages = vec![format!("/stations/{}", station(nth)), format!("/units/{unit}/check")];
        if turn % ours.len() == 0 {
            pages.extend(["/rigs".to_owned(), "/wall".to_owned(), format!("/rigs/rig-{nth}-0/sheet")]);
        }
        pages.push(format!("/units/{unit}"));
        for page in pages {
            expect(&page, connection.get(&page).await?.status)?;
            did.pages += 1;
            tokio::time::sleep(GLANCE).await;
            if Instant::now() > until {
                return Ok(did);
            }
        }
        // Half of them are the officer's own, the others wait for a signature.
        let by = if turn % 2 == 0 { who.clone() } else { member(3 + nth * 10) };
        let check = Bytes::from(past.one_check(Clock::System.now(), unit, &by));
        let answer = connection.ask(Method::POST, "/api/v1/records", "application/json", check).await?;
        expect("a check", answer.status)?;
        did.checks += 1;
    }
    Ok(did)
}

fn expect(what: &str, status: hyper::StatusCode) -> Result<(), Failed> {
    if status == hyper::StatusCode::OK { Ok(()) } else { Err(format!("{what} was answered {status}").into()) }
}
