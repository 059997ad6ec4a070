//! `airmuster submit`, `standing`, `verify` and `head`.

use std::fmt::Write as _;
use std::io::{BufRead, BufReader};
use std::path::PathBuf;

use airmuster_domain::record::{Asset, Digest};
use uuid::Uuid;

use super::{DataFolder, Failure, open_input, print, print_json, watched};
use crate::clock::Clock;
use crate::service::{
    Intake, IntakeError, Origin,
    verify::{Depth, verify},
};

#[derive(Debug, clap::Args)]
pub(super) struct Submit {
    #[command(flatten)]
    data: DataFolder,
    /// Records in JSON, one a line, or - for standard input
    #[arg(value_name = "FILE")]
    records: PathBuf,
}

impl Submit {
    /// Every record gets its own answer as soon as it is stored; the exit code is 2 when one was
    /// refused.
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let input = BufReader::new(open_input(&self.records)?);
        let store = self.data.open(clock).await?;
        let (intake, writer) = Intake::start(store.clone(), clock.clone());
        let mut refused = 0;
        // Lines are bytes: one that is not text is refused, and takes no other with it.
        for (line, record) in (1..).zip(input.split(b'\n')) {
            let record = record?.trim_ascii().to_vec();
            if record.is_empty() {
                continue;
            }
            match intake.submit(record, Origin::Console).await {
                Ok(receipt) => print(serde_json::to_string(&receipt)?)?,
                Err(IntakeError::Store(e)) if !e.is_one_records() => {
                    return Err(Failure::other(format!("line {line}: {e}")));
                }
                Err(e) => {
                    refused += 1;
                    eprintln!("airmuster: line {line}: {e}");
                }
            }
        }
        drop(intake);
        writer.await?;
        store.close().await;
        if refused > 0 { Err(Failure::input(format!("{refused} of them not taken in"))) } else { Ok(()) }
    }
}

#[derive(Debug, clap::Args)]
pub(super) struct Standing {
    #[command(flatten)]
    data: DataFolder,
    /// The unit's number, or an asset like facepiece:F-204; without it, every asset
    #[arg(value_name = "UNIT")]
    unit: Option<String>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

impl Standing {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let store = self.data.open_existing(clock).await?;
        let department = store.department().await?;
        let assets = match &self.unit {
            None => store.assets().await?,
            Some(n) if n.contains(':') => {
                vec![n.parse::<Asset>().map_err(|e| Failure::input(e.to_string()))?]
            }
            Some(n) => vec![format!("unit:{n}").parse::<Asset>().map_err(|e| Failure::input(e.to_string()))?],
        };
        let now = clock.now();
        let mut standings = Vec::with_capacity(assets.len());
        for asset in assets {
            standings.push(store.standing(&asset, &department.clock, now).await?);
        }
        if self.json {
            return match (&self.unit, standings.as_slice()) {
                (Some(_), [one]) => print_json(one),
                _ => print_json(&standings),
            };
        }
        let when = |t| department.clock.local(t).format("%Y-%m-%d %H:%M");
        let mut out = String::new();
        for s in &standings {
            writeln!(out, "{}: {}", s.asset, s.words())?;
            if let Some(c) = &s.last_check {
                writeln!(out, "  last good check {} by {}", when(c.at), c.by.as_deref().unwrap_or("nobody"))?;
            }
            if let Some(until) = s.until {
                writeln!(out, "  counts until {}", when(until))?;
            }
            for g in &s.grounds {
                let r = &g.raise;
                writeln!(out, "  {}: {}", r.kind.terms().title, r.say)?;
                if !r.entered.is_empty() {
                    writeln!(out, "    entered {}; right is {}", r.entered, r.limit)?;
                }
                if !r.basis.is_empty() {
                    writeln!(out, "    basis: {}", r.basis)?;
                }
                if r.from.id != Uuid::nil() {
                    let by = r.by.as_deref().map(|by| format!(" by {by}")).unwrap_or_default();
                    writeln!(out, "    raised {}{by}, record {}", when(r.at), r.from.id)?;
                }
                writeln!(out, "    cleared only by {}; {}", g.cleared_by, g.who)?;
                writeln!(out, "    ground {}", r.key)?;
            }
        }
        print(out.trim_end())
    }
}

#[derive(Debug, clap::Args)]
pub(super) struct Verify {
    #[command(flatten)]
    data: DataFolder,
    /// A head that was written down: proves that nothing before it has changed
    #[arg(long, value_name = "HASH")]
    head: Option<Digest>,
    /// The chain and the standings only, and not every computed table: ten times as fast
    #[arg(long)]
    quick: bool,
}

impl Verify {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let store = self.data.open_existing(clock).await?;
        let depth = if self.quick { Depth::Standings } else { Depth::Tables };
        let report = watched(Box::pin(verify(&store, clock.now(), self.head, depth))).await?;
        if report.problems.is_empty() { print(report) } else { Err(Failure::other(report.to_string())) }
    }
}

#[derive(Debug, clap::Args)]
pub(super) struct Head {
    #[command(flatten)]
    data: DataFolder,
}

impl Head {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let head = self.data.open_existing(clock).await?.head().await?;
        print(format_args!("{} {} {}", head.seq, head.hash, head.epoch))
    }
}
