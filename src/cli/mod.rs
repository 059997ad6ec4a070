//! The command line: one file per command.

mod air;
mod backup;
mod checking;
mod export;
mod forget;
mod import;
mod init;
mod judge;
mod keys;
mod logbook;
mod mail;
mod nightly;
mod person;
mod secure;
mod serve;
mod settings;

use std::fmt::Display;
use std::future::Future;
use std::io::{ErrorKind, IsTerminal as _, Read, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

use clap::{Parser, Subcommand};

use crate::clock::Clock;
use crate::service::progress::{Progress, heard};
use crate::store::{Store, StoreError};

/// Breathing-apparatus checks, standings and repairs for a fire department.
#[derive(Debug, Parser)]
#[command(version, about, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve an invented fire district from a temporary folder, to try everything out
    Demo(serve::Demo),
    /// Make a department and its first administrator
    Init(init::Init),
    /// Serve a department's own data
    Serve(Box<serve::Serve>),
    /// Judge the answers of one check (TOML) and print the verdict (JSON)
    Judge(judge::Judge),
    /// What a cylinder reads in the cold, how long it lasts, what to fill it to
    #[command(subcommand)]
    Air(air::Air),
    /// Look at a rule table
    #[command(subcommand)]
    Rules(checking::Rules),
    /// Hand records in (JSON, one a line) and print a receipt for each
    Submit(logbook::Submit),
    /// Print standings with their grounds
    Standing(logbook::Standing),
    /// Prove the logbook and recompute everything from it
    Verify(logbook::Verify),
    /// Print the logbook's head, to be written down
    Head(logbook::Head),
    /// Write a backup, also while the program serves, and prove it
    Backup(backup::Backup),
    /// Make a data folder from a backup
    Restore(backup::Restore),
    /// Keep the server's keys apart from its data
    #[command(subcommand)]
    Keys(keys::Keys),
    /// Look at the settings
    #[command(subcommand)]
    Config(settings::Config),
    /// Take in a department's own data from tables (CSV), or an export into an empty folder
    Import(import::Import),
    /// Write everything into one ZIP file that people can read and another box can take back
    Export(export::Export),
    /// Take in the file in which a tablet has saved what it could not hand in
    ImportOutbox(backup::ImportOutbox),
    /// Name a member and set a PIN, read from standard input
    Person(person::Person),
    /// End a member's roles and erase name, PIN and sign-ins; what was signed stays
    Forget(forget::Forget),
}

/// Where the data is.
#[derive(Debug, clap::Args)]
struct DataFolder {
    /// Folder with the database
    #[arg(long, env = "AIRMUSTER_DATA", value_name = "DIR")]
    data: PathBuf,
}

impl DataFolder {
    async fn open(&self, clock: &Clock) -> Result<Store, StoreError> {
        Store::open(&self.data, clock.id()).await
    }

    /// Opens a database that must be there: asking about nothing is a mistake.
    async fn open_existing(&self, clock: &Clock) -> Result<Store, Failure> {
        if !self.data.join(crate::store::FILE).is_file() {
            return Err(Failure::input(format!("there is no database in {}", self.data.display())));
        }
        Ok(self.open(clock).await?)
    }
}

/// Why a command failed, and with which exit code.
#[derive(Debug)]
struct Failure {
    say: String,
    code: u8,
}

impl Failure {
    /// The input is bad: exit code 2.
    fn input(say: impl Into<String>) -> Self {
        Self { say: say.into(), code: 2 }
    }

    /// Something else went wrong: exit code 1.
    fn other(say: impl Into<String>) -> Self {
        Self { say: say.into(), code: 1 }
    }
}

impl<E: std::error::Error> From<E> for Failure {
    fn from(e: E) -> Self {
        Self::other(e.to_string())
    }
}

/// Runs the program.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let outcome = match cli.command {
        Command::Judge(c) => c.run(),
        Command::Rules(c) => c.run(),
        Command::Air(c) => c.run(),
        other => tokio::runtime::Builder::new_multi_thread()
            .enable_all()
            .build()
            .map_err(Failure::from)
            .and_then(|rt| rt.block_on(run_async(other))),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            if !failure.say.is_empty() {
                eprintln!("airmuster: {}", failure.say);
            }
            ExitCode::from(failure.code)
        }
    }
}

async fn run_async(command: Command) -> Result<(), Failure> {
    let clock = Clock::System;
    match command {
        Command::Demo(c) => c.run(&clock).await,
        Command::Init(c) => c.run(&clock).await,
        Command::Serve(c) => c.run(&clock).await,
        Command::Submit(c) => c.run(&clock).await,
        Command::Standing(c) => c.run(&clock).await,
        Command::Verify(c) => c.run(&clock).await,
        Command::Head(c) => c.run(&clock).await,
        Command::Person(c) => c.run(&clock).await,
        Command::Forget(c) => c.run(&clock).await,
        Command::Backup(c) => c.run(&clock).await,
        Command::Restore(c) => c.run(&clock).await,
        Command::Import(c) => c.run(&clock).await,
        Command::Export(c) => c.run(&clock).await,
        Command::ImportOutbox(c) => c.run(&clock).await,
        Command::Judge(c) => c.run(),
        Command::Rules(c) => c.run(),
        Command::Config(c) => c.run(),
        Command::Keys(c) => c.run(&clock),
        Command::Air(c) => c.run(),
    }
}

/// How often a terminal is told how far long work has come.
const LOOK: Duration = Duration::from_millis(200);

/// Does long work. Whoever sits at a terminal sees how far it has come, on a line that is gone when it is
/// done; a script sees nothing of it.
async fn watched<F: Future>(work: F) -> F::Output {
    if !std::io::stderr().is_terminal() {
        return work.await;
    }
    let progress = Progress::default();
    let work = heard(progress.clone(), work);
    tokio::pin!(work);
    let mut every = tokio::time::interval(LOOK);
    loop {
        tokio::select! {
            out = &mut work => {
                eprint!("\r\x1b[K");
                return out;
            }
            _ = every.tick() => {
                if let Some(words) = progress.words() {
                    eprint!("\r{words}\x1b[K");
                }
            }
        }
    }
}

/// Opens a file, or standard input for `-`.
fn open_input(path: &Path) -> Result<Box<dyn Read>, Failure> {
    if path.as_os_str() == "-" {
        return Ok(Box::new(std::io::stdin()));
    }
    let file = std::fs::File::open(path).map_err(|e| unreadable(path, &e))?;
    Ok(Box::new(file))
}

/// Reads a file, or standard input for `-`.
fn read_input(path: &Path) -> Result<String, Failure> {
    std::io::read_to_string(open_input(path)?).map_err(|e| unreadable(path, &e))
}

fn unreadable(path: &Path, e: &std::io::Error) -> Failure {
    Failure::input(format!("{} cannot be read: {e}", path.display()))
}

/// Prints a value as JSON.
fn print_json(value: &impl serde::Serialize) -> Result<(), Failure> {
    print(format_args!("{}", serde_json::to_string_pretty(value)?))
}

/// Prints a line or several. A reader that has seen enough ends the command without a word.
fn print(text: impl Display) -> Result<(), Failure> {
    match writeln!(std::io::stdout(), "{text}") {
        Err(e) if e.kind() == ErrorKind::BrokenPipe => Err(Failure::other("")),
        written => Ok(written?),
    }
}
